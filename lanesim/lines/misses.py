"""Room for misses: what small changes of the release cost on a line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from ..defaults import SEED
from ..equipment.ball import Ball
from ..errors import check_range
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..motion.pocket import POCKET
from ..motion.trajectory import ShotTable
from ..player import RELEASE_COLUMNS, Release, Spread, normal_deviates, spread_releases
from ..stats import Difference, paired_difference
from .judge import check_shots
from .throwing import Thrower
from .worth import Objective, Worth, worth_of

# What a player changes: release column, how much, in words.
CHANGES = (
    ("laydown_board", 1.0, "one board of laydown"),
    ("launch_angle_deg", 0.5, "half a degree of launch angle"),
    ("speed_mph", 1.0, "1 mph of speed"),
    ("rev_rpm", 30.0, "30 rpm of rev rate"),
)
MISS_SHARE = 0.5  # the room ends where the rate has fallen to this share of the line's
_ROOM_STEPS = {"laydown_board": (0.25, 32), "launch_angle_deg": (0.05, 40)}


@dataclass(frozen=True)
class Effect:
    """What one change does to a line, both ways of it.

    change, amount : release column and size, as in CHANGES. For less (-) and more (+):
    entry_board, entry_angle_deg : change of the mean shot's entry; NaN where it meets no pin.
    rate : paired difference of the rate under the spread, on common random numbers.
    """

    change: str
    amount: float
    words: str
    entry_board_less: float
    entry_board_more: float
    entry_angle_less_deg: float
    entry_angle_more_deg: float
    rate_less: Difference
    rate_more: Difference


@dataclass(frozen=True)
class Room:
    """Room for error about a line in one release number, to lower and higher values.

    mean_* : how far the mean shot may be off and still meets the pocket.
    rate_* : how far the player's whole spread may be off until the rate has fallen to `share` of
    the line's own. `reach` if the search ended first: then `*_open` is True.
    """

    change: str
    mean_lower: float
    mean_higher: float
    rate_lower: float
    rate_higher: float
    lower_open: bool
    higher_open: bool
    reach: float
    share: float


@dataclass(frozen=True)
class MissReport:
    """Room in laydown and angle, and what small changes do, about one line."""

    release: Release
    room_laydown: Room
    room_angle: Room
    effects: tuple[Effect, ...]
    shots: int

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for files.to_json."""
        return asdict(self)


def miss_report(
    ball: Ball,
    release: Release,
    pattern: OilPattern,
    spread: Spread,
    *,
    shots: int = 512,
    seed: int = SEED,
    share: float = MISS_SHARE,
    friction: FrictionModel = DEFAULT_FRICTION,
    aim: str | Worth | Objective = "pocket",
    film: np.ndarray | None = None,
) -> MissReport:
    """How much room a line leaves, and what one board, half a degree, 1 mph and 30 rpm do.

    All lines are thrown with the same deviates, so their differences are paired. Laydown is moved
    with the launch angle kept, the angle with the laydown kept.

    Parameters
    ----------
    share : where the room ends, as a share of the line's rate (default half).
    shots : of every shifted line.
    """
    shots = check_shots(shots, least=2)
    check_range("share", share, 0.05, 0.95)
    thrower = Thrower.of(ball, release, pattern, spread, friction=friction, film=film)
    worth = worth_of(aim)
    deviates = normal_deviates(shots, 6, seed)

    def thrown(rows: np.ndarray) -> ShotTable:
        return thrower.throw(np.zeros(len(rows), dtype=int), rows)

    def values_at(column: str, shifts: np.ndarray) -> np.ndarray:
        rows = np.tile(spread_releases(release, spread, deviates), (len(shifts), 1))
        rows[:, RELEASE_COLUMNS.index(column)] += np.repeat(shifts, len(deviates))
        return worth.of_shots(thrown(rows)).reshape(len(shifts), -1)

    def mean_at(column: str, shifts: np.ndarray) -> ShotTable:
        rows = np.tile(release.row(), (len(shifts), 1))
        rows[:, RELEASE_COLUMNS.index(column)] += shifts
        return thrown(rows)

    base = values_at("laydown_board", np.zeros(1))[0]
    room = [
        _room(column, *_ROOM_STEPS[column], share, float(base.mean()), mean_at, values_at)
        for column in ("laydown_board", "launch_angle_deg")
    ]
    effects = []
    for column, amount, words in CHANGES:
        less, more = values_at(column, np.array([-amount, amount]))
        mean = mean_at(column, np.array([-amount, 0.0, amount]))
        board, angle = mean.entry_board, mean.entry_angle_deg
        effects.append(Effect(
            column, amount, words, float(board[0] - board[1]), float(board[2] - board[1]),
            float(angle[0] - angle[1]), float(angle[2] - angle[1]),
            paired_difference(base, less), paired_difference(base, more),
        ))
    return MissReport(release, room[0], room[1], tuple(effects), shots)


def _room(
    column: str, step: float, count: int, share: float, rate: float,
    mean_at: Callable[[str, np.ndarray], ShotTable],
    values_at: Callable[[str, np.ndarray], np.ndarray],
) -> Room:
    """Walk out to both sides: the mean shot in steps, the rate by coarse steps joined linearly."""
    reach = step * count
    ends = []
    for side in (-1.0, 1.0):
        shifts = side * step * np.arange(count + 1)
        lost = np.flatnonzero(mean_at(column, shifts).outcome != POCKET)
        # the last step that still meets the pocket and the first that does not: their middle
        mean = reach if not len(lost) else float(max(0.0, (lost[0] - 0.5) * step))
        before, at = rate, 0.0
        open_end = True
        for stop in range(4, count + 1, 4):
            here = float(values_at(column, np.array([side * step * stop])).mean())
            if here <= share * rate:
                done = (before - share * rate) / (before - here) if before > here else 1.0
                at += done * 4 * step
                open_end = False
                break
            before, at = here, stop * step
        ends.append((mean, float(at), open_end))
    (low_mean, low_rate, low_open), (high_mean, high_rate, high_open) = ends
    return Room(column, low_mean, high_mean, low_rate, high_rate, low_open, high_open, reach, share)
