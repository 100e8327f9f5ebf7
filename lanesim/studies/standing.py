"""Where to stand, as a map: laydown board against board at the arrows, and the room on one line.

The map is no search: it throws the same shots of the player's spread on every line of a grid, and
says of each how often they find the pocket. A line's number is what a judgement of that line with
so few shots says. It comes row by row, the coarse rows first, so that it can be shown as it fills.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ..equipment.ball import Ball
from ..errors import check_range
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..motion.pocket import POCKET
from ..motion.trajectory import throw_many
from ..player import Release, Spread, sample_releases
from ..stats import Rate, wilson

DEFAULT_SHOTS = 64  # a line's rate is then known to 12 points (95 %) at worst
LAYDOWN_BOARDS = tuple(float(b) for b in range(6, 36))
ARROW_BOARDS = tuple(float(b) for b in range(3, 31))
CORRIDOR_SHOTS = 512
# Of the shots that hit, the middle so much makes the corridor: its edge is not one lucky shot.
CORRIDOR_SHARE = 0.9
_ANGLE_LIMIT_DEG = 10.0


@dataclass(frozen=True)
class MapRow:
    """One row of the map: pocket rate (a,) of each arrow board from one laydown board, 0 to 1.

    NaN where the straight line between the two boards is steeper than anybody throws.
    """

    laydown_board: float
    rates: np.ndarray


def standing_map(
    ball: Ball,
    release: Release,
    pattern: OilPattern,
    spread: Spread,
    *,
    laydowns: Sequence[float] = LAYDOWN_BOARDS,
    arrows: Sequence[float] = ARROW_BOARDS,
    shots: int = DEFAULT_SHOTS,
    seed: int = 1,
    friction: FrictionModel = DEFAULT_FRICTION,
) -> Iterator[MapRow]:
    """Rows of the map: every fourth laydown board first, then those between.

    Parameters
    ----------
    release : its laydown and angle play no part. laydowns, arrows : boards of the grid.
    shots : on every line, the same for all.
    """
    check_range("number of shots", shots, 1, 100_000)
    order = [*range(0, len(laydowns), 4), *range(2, len(laydowns), 4), *range(1, len(laydowns), 2)]
    deviations = sample_releases(release, spread, shots, seed) - release.row()
    for n in order:
        laydown = float(laydowns[n])
        angles = np.array([Release.angle_toward(laydown, a) for a in arrows])
        inside = np.flatnonzero(np.abs(angles) <= _ANGLE_LIMIT_DEG)
        rates = np.full(len(arrows), np.nan)
        if len(inside):
            lines = np.tile(release.row(), (len(inside), 1))
            lines[:, 0], lines[:, 1] = laydown, angles[inside]
            thrown = (lines[:, None, :] + deviations[None]).reshape(-1, lines.shape[1])
            table = throw_many(ball, thrown, pattern, hand=release.hand, friction=friction)
            rates[inside] = (table.outcome == POCKET).reshape(len(inside), shots).mean(axis=1)
        yield MapRow(laydown, rates)


@dataclass(frozen=True)
class Corridor:
    """The way of the shots that hit: boards (61,) at whole feet between which 90 % of them pass.

    low, high : NaN beyond the last foot that all of them reach; empty if none hits. rate : of all
    shots thrown, how many hit.
    """

    low: np.ndarray
    high: np.ndarray
    rate: Rate


def corridor(
    ball: Ball,
    release: Release,
    pattern: OilPattern,
    spread: Spread,
    *,
    shots: int = CORRIDOR_SHOTS,
    seed: int = 1,
    friction: FrictionModel = DEFAULT_FRICTION,
) -> Corridor:
    """How far a player's shots on one line may stray and still find the pocket."""
    releases = sample_releases(release, spread, shots, seed)
    table = throw_many(ball, releases, pattern, hand=release.hand, friction=friction,
                       keep_paths=True)
    hit = table.outcome == POCKET
    rate = wilson(int(hit.sum()), shots)
    if not hit.any() or table.path_board is None:
        return Corridor(np.empty(0), np.empty(0), rate)
    paths = table.path_board[hit]
    tail = (1.0 - CORRIDOR_SHARE) / 2.0
    low, high = np.quantile(paths, [tail, 1.0 - tail], axis=0)  # NaN once one has ended
    return Corridor(low, high, rate)
