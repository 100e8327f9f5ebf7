"""What a player's spread makes of a given line, on shots that no search has seen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, ClassVar

import numpy as np

from ..defaults import SEED, SHOTS
from ..equipment.ball import Ball
from ..errors import InputError, check_range
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import BOARDS
from ..lane.pattern import OilPattern
from ..motion.pocket import HIGH_FROM_BOARD, LIGHT_TO_BOARD, OUTCOMES, POCKET
from ..motion.trajectory import ShotTable
from ..player import Release, Spread, sample_releases
from ..results import Result, Story
from ..stats import Difference, Rate, paired_difference, wilson
from .plane import board_at_arrows
from .throwing import Thrower
from .worth import Objective, Worth, worth_of

DEFAULT_SHOTS = SHOTS["lineup"][0]
# Three of 39 boards are the pocket: a ball that comes down on any board alike finds it this often.
CHANCE_RATE = (HIGH_FROM_BOARD - LIGHT_TO_BOARD) / BOARDS


@dataclass(frozen=True)
class Line:
    """A line: laydown board, launch angle [deg], speed [mph], and the rate found for it.

    judged : the rate stands on the shots of the final judgement, and `behind` is how far it lies
    behind the best line's (paired); else it is the search's rating, with the interval of the few
    shots that the search threw there.
    """

    laydown_board: float
    launch_angle_deg: float
    speed_mph: float
    rate: float
    low: float
    high: float
    judged: bool = False
    behind: Difference | None = None


@dataclass(frozen=True, repr=False)
class LineResult(Result):
    """A line judged under a player's spread.

    Attributes
    ----------
    ball, pattern : names. aim : the worth's name.
    release : the line; spread : the player's.
    rate : what was made as large as possible, with its Wilson interval, on shots the search has not
        seen; of a worth that is no share of shots (pins): the pocket's.
    pocket : the same for pocket hits (equal to `rate` if that is the aim).
    counts : (6,) shots per pocket.OUTCOMES.
    found : False if even the best line finds the pocket no more often than a ball that comes down
        on any board alike (3/39); `message` says what was found.
    shots : shots of the final judgement; search_shots : shots of the search.
    entry_* : mean and SD of entry board, angle [deg] and speed [mph] over shots that met a pin.
    map_laydown (l,), map_angle (a,), map_rate (l, a) : rate over the plane; empty without one.
    alternatives : other lines, each 3 boards or more from every better one, best first.
    table : the shots; values : (shots,) value of each under the aim.
    """

    ball: str
    pattern: str
    aim: str
    release: Release
    spread: Spread
    rate: Rate
    pocket: Rate
    counts: np.ndarray
    found: bool
    message: str
    shots: int
    search_shots: int
    seed: int
    entry_board_mean: float
    entry_board_sd: float
    entry_angle_mean_deg: float
    entry_angle_sd_deg: float
    entry_speed_mean_mph: float
    map_laydown: np.ndarray
    map_angle: np.ndarray
    map_rate: np.ndarray
    alternatives: tuple[Line, ...]
    table: ShotTable = field(repr=False)
    values: np.ndarray = field(repr=False)

    _figure: ClassVar[str] = "lanesim.figures.lineup:draw_lineup"

    def story(self) -> Story:
        """Where to stand and aim, and how often it hits."""
        return Story(f"{self.ball} on {self.pattern}: lay down on board "
                     f"{self.release.laydown_board:.1f}, pocket {self.pocket.text()}", [
            ("lay down on", f"board {self.release.laydown_board:.1f}"),
            ("launch angle", f"{self.release.launch_angle_deg:.2f} deg, over board "
                             f"{self.arrow_board:.1f} at the arrows"),
            ("speed", f"{self.release.speed_mph:.1f} mph"),
            ("in the pocket", f"{self.pocket.text()} of shots"),
            ("entry", f"board {self.entry_board_mean:.1f} at {self.entry_angle_mean_deg:.1f} deg"),
        ], notes=[] if self.found else [f"{self.message}."])

    @property
    def outcome_rates(self) -> dict[str, Rate]:
        """Rate with interval of every outcome."""
        return {
            name: wilson(int(count), self.shots)
            for name, count in zip(OUTCOMES, self.counts, strict=True)
        }

    @property
    def arrow_board(self) -> float:
        """Board of the straight launch line where it passes the arrows."""
        return board_at_arrows(self.release.laydown_board, self.release.launch_angle_deg)

    def summary(self) -> dict[str, Any]:
        """The numbers without the map and the shots."""
        skip = {"table", "values", "map_laydown", "map_angle", "map_rate", "counts"}
        out = {n: getattr(self, n) for n in self.__dataclass_fields__ if n not in skip}
        return out | {"arrow_board": self.arrow_board, "outcomes": self.outcome_rates}

    def to_dict(self) -> dict[str, Any]:
        """Everything but the single shots, ready for files.to_json."""
        return self.summary() | {
            "map_laydown": self.map_laydown, "map_angle": self.map_angle, "map_rate": self.map_rate,
        }


def check_shots(shots: int, least: int = 1) -> int:
    """The number of shots, if it is a whole number of `least` or more."""
    check_range("number of shots", shots, least, 10_000_000)
    if int(shots) != shots:
        raise InputError(f"number of shots is {shots:g}; accepted: a whole number")
    return int(shots)


def judge_line(
    ball: Ball,
    release: Release,
    pattern: OilPattern,
    spread: Spread,
    *,
    shots: int = DEFAULT_SHOTS,
    seed: int = SEED,
    friction: FrictionModel = DEFAULT_FRICTION,
    aim: str | Worth | Objective = "pocket",
    film: np.ndarray | None = None,
) -> LineResult:
    """What a player's spread makes of one given line (no search); see `LineResult`.

    aim : see `worth.worth_of`. film : (60, 39) [m] in the player's board order, instead of the
    pattern's fresh oil.
    """
    shots = check_shots(shots)
    thrower = Thrower.of(ball, release, pattern, spread, friction=friction, film=film)
    return judged(thrower, [ball], [release], pattern, worth_of(aim), shots, seed)[0]


def judged(
    thrower: Thrower, balls: Sequence[Ball], releases: Sequence[Release], pattern: OilPattern,
    worth: Worth, shots: int, seed: int, *, which: Sequence[int] | None = None,
    searched: int = 0,
) -> list[LineResult]:
    """Each release with its ball of the thrower, all on the same deviates.

    which : index of each release's ball in the thrower (default 0, 1, ..).
    searched : shots of the search behind each line.
    """
    index = np.arange(len(releases)) if which is None else np.asarray(which)
    rows = np.vstack([sample_releases(r, thrower.spread, shots, seed) for r in releases])
    table = thrower.throw(np.repeat(index, shots), rows)
    return [
        _result(ball, release, pattern, thrower.spread, worth, _part(table, n * shots, shots),
                seed, searched)
        for n, (ball, release) in enumerate(zip(balls, releases, strict=True))
    ]


def _result(
    ball: Ball, release: Release, pattern: OilPattern, spread: Spread, worth: Worth,
    table: ShotTable, seed: int, searched: int,
) -> LineResult:
    values = worth.of_shots(table)
    pocket = wilson(int(np.sum(table.outcome == POCKET)), len(table))
    met = np.isfinite(table.entry_board)
    entry = (table.entry_board, table.entry_angle_deg, table.entry_speed_mph)
    means = [float(np.mean(a[met])) if met.any() else math.nan for a in entry]
    sds = [float(np.std(a[met])) if met.any() else math.nan for a in entry[:2]]
    found = pocket.low > CHANCE_RATE
    empty = np.empty(0)
    return LineResult(
        ball=ball.name, pattern=pattern.name, aim=worth.name, release=release, spread=spread,
        rate=_rate(values, table), pocket=pocket,
        counts=np.bincount(table.outcome, minlength=len(OUTCOMES)), found=found,
        message=_message(release, pocket, found, searched > 0), shots=len(table),
        search_shots=searched, seed=seed, entry_board_mean=means[0], entry_board_sd=sds[0],
        entry_angle_mean_deg=means[1], entry_angle_sd_deg=sds[1], entry_speed_mean_mph=means[2],
        map_laydown=empty, map_angle=empty, map_rate=np.empty((0, 0)), alternatives=(),
        table=table, values=values,
    )


def _part(table: ShotTable, first: int, count: int) -> ShotTable:
    """Shots first, first + 1, .. of a table."""
    columns: dict[str, Any] = {f.name: getattr(table, f.name) for f in fields(table)}
    part: dict[str, Any] = {name: None if column is None else column[first : first + count]
                            for name, column in columns.items()}
    return ShotTable(**part)


def _rate(values: np.ndarray, table: ShotTable) -> Rate:
    """Rate of a worth that is a share of each shot, 0 to 1; of any other the pocket's."""
    if not np.all((values >= 0) & (values <= 1)):
        values = table.outcome == POCKET
    return wilson(float(values.sum()), len(table))


def _message(release: Release, pocket: Rate, found: bool, searched: bool) -> str:
    where = (f"laydown board {release.laydown_board:.1f}, launch {release.launch_angle_deg:+.2f} "
             f"deg, {release.speed_mph:.1f} mph")
    if found:
        return f"{where}: in the pocket {pocket.text()}"
    tried = "no line tried finds" if searched else "this line does not find"
    return (f"{tried} the pocket clearly more often than chance ({100 * CHANCE_RATE:.1f} %, "
            f"3 boards of 39); {'the best was ' if searched else ''}{where}: "
            f"in the pocket {pocket.text()}")


def judged_line(thrower: Thrower, which: int, line: Line, best: LineResult, worth: Worth) -> Line:
    """The line judged on the same deviates as the best one; which : its ball in the thrower."""
    release = replace(best.release, laydown_board=line.laydown_board,
                      launch_angle_deg=line.launch_angle_deg, speed_mph=line.speed_mph)
    rows = sample_releases(release, best.spread, best.shots, best.seed)
    table = thrower.throw(np.full(len(rows), which), rows)
    values = worth.of_shots(table)
    rate = _rate(values, table)
    return replace(line, rate=rate.rate, low=rate.low, high=rate.high, judged=True,
                   behind=paired_difference(best.values, values) if len(values) > 1 else None)
