"""The odds: how often a player's spread finds the pocket with each ball, and which ball more often.

Balls are compared on common random numbers: shot i has the same deviations with every ball, so the
difference of two balls is known far better than either rate. Each ball plays its own best line
unless told otherwise.

The intervals hold for the lines as they are. That a search ends a little beside the best line is
not in them (benchmarks/lines.py says how far): smaller differences between balls on their own lines
mean little.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from ..defaults import SEED, SHOTS
from ..equipment.ball import Ball
from ..errors import InputError
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..lines.effort import Effort
from ..lines.judge import LineResult, check_shots, judge_line
from ..lines.lineup import find_lines
from ..lines.throwing import check_nouns
from ..motion.pocket import GUTTER, POCKET
from ..motion.trajectory import ShotTable
from ..player import Release, Spread
from ..progress import Progress, silent
from ..results import Result, Story
from ..stats import Difference, paired_difference, shots_to_see, two_sided_z

if TYPE_CHECKING:
    from ..pins.outcomes import PinResult

DEFAULT_SHOTS = SHOTS["odds"][0]
LINES = ("own", "first", "given")


@dataclass(frozen=True)
class BallOdds:
    """One ball at its line. pins : strikes, leaves and pins per game, or None if not asked for."""

    line: LineResult
    pins: PinResult | None
    strikes: np.ndarray | None = field(repr=False, default=None)

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for files.to_json."""
        return self.line.summary() | {"pins": self.pins.to_dict() if self.pins else None}


@dataclass(frozen=True)
class BallPair:
    """Two balls on the same shots.

    measure : "pocket" or "strike". difference : rate of `second` less rate of `first`, paired; see
    `difference`.
    shots_each : shots with each ball on a real lane to see a difference of this size (two
    independent samples, 80 % power, 5 % two-sided; stats.shots_to_see); infinite if equal.
    """

    first: str
    second: str
    measure: str
    difference: Difference
    shots_each: float

    def sentence(self) -> str:
        """In words."""
        d = self.difference
        does = {"pocket": "finds the pocket", "strike": "strikes"}[self.measure]
        if d.value == 0.0:
            return f"{self.second} {does} exactly as often as {self.first}"
        points = abs(100 * d.value)
        # told from the side of the ball that does better
        up = d.value > 0
        better, worse = (self.second, self.first) if up else (self.first, self.second)
        low, high = (100 * d.low, 100 * d.high) if up else (-100 * d.high, -100 * d.low)
        text = (f"{better} {does} {points:.1f} points more often than {worse}, "
                f"{100 * d.confidence:.0f} % interval {low:.1f} to {high:.1f}")
        if not d.clear:
            text += " (no clear difference)"
        return text + (f"; to see this on a real lane you would need about "
                       f"{_round_up(self.shots_each):,} shots with each")


def _round_up(shots: float) -> int:
    """Two significant digits: the need itself is only known roughly."""
    unit = 10 ** max(0, len(str(int(shots))) - 2)
    return int(-(-shots // unit) * unit)


@dataclass(frozen=True, repr=False)
class OddsResult(Result):
    """Odds of one or more balls on one pattern, and every pair compared."""

    pattern: str
    hand: str
    spread: Spread
    aim: str
    lines: str
    shots: int
    seed: int
    balls: tuple[BallOdds, ...]
    comparisons: tuple[BallPair, ...]

    _figure: ClassVar[str] = "lanesim.figures.odds:draw_odds"

    def story(self) -> Story:
        """Each ball's line and rates, and the differences in words."""
        header = ["", "laydown [board]", "angle [deg]", "pocket [%]", "strikes [%]", "pins a game"]
        rows = []
        for ball in self.balls:
            line, pins = ball.line, ball.pins
            rows.append([line.ball, f"{line.release.laydown_board:.1f}",
                         f"{line.release.launch_angle_deg:.2f}", f"{100 * line.pocket.rate:.1f}",
                         f"{100 * pins.strike_rate:.1f}" if pins else "-",
                         f"{pins.pins_per_game:.0f}" if pins else "-"])
        return Story(f"{', '.join(b.line.ball for b in self.balls)} on {self.pattern}, "
                     f"{self.shots:,} shots each", (), header, rows,
                     [f"{c.sentence()}." for c in self.comparisons])

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for files.to_json."""
        return {
            "pattern": self.pattern, "hand": self.hand, "spread": asdict(self.spread),
            "aim": self.aim, "lines": self.lines, "shots": self.shots, "seed": self.seed,
            "balls": [ball.to_dict() for ball in self.balls],
            "comparisons": [asdict(c) | {"sentence": c.sentence()} for c in self.comparisons],
        }


def odds(
    balls: Ball | Sequence[Ball],
    release: Release,
    pattern: OilPattern,
    spread: Spread,
    *,
    shots: int = DEFAULT_SHOTS,
    seed: int = SEED,
    lines: str = "own",
    aim: str = "pocket",
    pins: bool | None = None,
    effort: str | Effort = "thorough",
    friction: FrictionModel = DEFAULT_FRICTION,
    film: np.ndarray | None = None,
    progress: Progress = silent,
) -> OddsResult:
    """Outcome rates of each ball under a player's spread, and every pair's difference.

    Parameters
    ----------
    lines : "own" finds every ball's best line, "first" finds the first ball's and throws all on
        it, "given" takes the laydown and angle of `release` for all.
    aim : what the search maximises, "pocket" or "strike".
    pins : also strikes, leaves and pins per game from the shipped carry table; None: if it is
        there.
    effort : of the searches, see lines.effort.EFFORTS.
    """
    balls = [balls] if isinstance(balls, Ball) else balls
    if isinstance(balls, Sequence) and not balls:
        raise InputError("no ball given; accepted: one or more")
    check_nouns(balls, release, pattern, spread)
    if lines not in LINES:
        raise InputError(f"lines is '{lines}'; accepted: {', '.join(LINES)}")
    if pins is None:
        pins = has_carry_table()
    settings: dict[str, Any] = {"seed": seed, "friction": friction, "aim": aim, "film": film}
    shots = check_shots(shots, least=2)
    results: list[LineResult] = []
    searched = {"own": list(balls), "first": list(balls[:1]), "given": []}[lines]
    if searched:
        results = find_lines(searched, release, pattern, spread, shots=shots, effort=effort,
                             progress=progress, **settings)
    line = results[0].release if lines == "first" else release
    results += [judge_line(ball, line, pattern, spread, shots=shots, **settings)
                for ball in balls[len(results):]]
    judged = tuple(with_pins(line) if pins else BallOdds(line, None) for line in results)
    return OddsResult(
        pattern=pattern.name, hand=release.hand, spread=spread, aim=aim, lines=lines,
        shots=results[0].shots, seed=seed, balls=judged,
        comparisons=tuple(_compared(a, b, m) for a, b in itertools.combinations(judged, 2)
                          for m in (("pocket", "strike") if pins else ("pocket",))),
    )


def has_carry_table() -> bool:
    """Whether the table that strikes are read from is there."""
    from ..pins.table import DATA_FILE

    return DATA_FILE.exists()


def with_pins(line: LineResult) -> BallOdds:
    """A judged line with strikes, leaves and pins per game from the shipped carry table."""
    table = line.table
    return BallOdds(line, *pins_of(table.entry_board, table.entry_angle_deg,
                                   table.entry_speed_mph, table.outcome, line.spread))


def pins_of(
    entry_board: np.ndarray, entry_angle_deg: np.ndarray, entry_speed_mph: np.ndarray,
    outcome: np.ndarray, spread: Spread | None = None,
) -> tuple[PinResult, np.ndarray]:
    """Strikes, leaves and pins per game of shots (n,) from the shipped carry table, and
    `strikes_of` them; the columns are those of a ShotTable.

    spread : the player's, for spares without a published rate; None: a professional's.
    """
    from ..pins.outcomes import pins_from_shots
    from ..pins.spares import player_spares

    found = pins_from_shots(entry_board, entry_angle_deg, entry_speed_mph,
                            _pin_codes(entry_board, outcome),
                            spares=None if spread is None else player_spares(spread))
    return found, strikes_of(entry_board, entry_angle_deg, entry_speed_mph, outcome)


def strikes_of(
    entry_board: np.ndarray, entry_angle_deg: np.ndarray, entry_speed_mph: np.ndarray,
    outcome: np.ndarray,
) -> np.ndarray:
    """Strike chance (n,) of each shot; the columns are those of a ShotTable."""
    from ..pins.outcomes import strike_chances

    return strike_chances(entry_board, entry_angle_deg, entry_speed_mph,
                          _pin_codes(entry_board, outcome))


def _pin_codes(entry_board: np.ndarray, outcome: np.ndarray) -> np.ndarray:
    # a ball that passes all ten pins without touching one takes none, as in the gutter
    return np.where(np.isfinite(entry_board), outcome, GUTTER)


def values_of(ball: BallOdds, measure: str) -> np.ndarray:
    """Value (n,) of each shot: 1 or 0 for "pocket", the chance for "strike" (needs pins)."""
    if measure == "pocket":
        return (ball.line.table.outcome == POCKET).astype(float)
    assert ball.strikes is not None, "strikes are asked for, but the pins were left out"
    return ball.strikes


def difference(first: BallOdds, second: BallOdds, measure: str) -> Difference:
    """Rate of `second` less rate of `first` on the same shots; measure as in `values_of`.

    A strike difference also has the carry table's uncertainty in its interval, added in squares:
    what the two have in common (arrivals alike) cancels, what they have not does not.
    """
    found = paired_difference(values_of(first, measure), values_of(second, measure))
    if measure == "pocket":
        return found
    extra = two_sided_z(found.confidence) * _table_sd(first.line.table, second.line.table)
    return replace(found, low=found.value - math.hypot(found.value - found.low, extra),
                   high=found.value + math.hypot(found.high - found.value, extra))


def _table_sd(first: ShotTable, second: ShotTable) -> float:
    """SD of the difference of two averaged strike rates from the finite runs of the carry table.

    Both averages are linear in the runs, so the difference is the average with the weights'
    difference (CarryTable.run_weights, table_variance).
    """
    from ..pins.table import default_table

    table = default_table()
    total = None
    for shots, sign in ((first, -1.0), (second, 1.0)):
        at = _pin_codes(shots.entry_board, shots.outcome) != GUTTER
        if not at.any():
            continue
        placed = table.weigh(shots.entry_board[at], shots.entry_angle_deg[at],
                             shots.entry_speed_mph[at])
        share = sign * float(at.mean())
        plain, flipped = share * placed.plain, share * placed.flipped
        if total is not None:
            plain, flipped = plain + total.plain, flipped + total.flipped
        total = replace(placed, plain=plain, flipped=flipped)
    if total is None:
        return 0.0
    return math.sqrt(table.table_variance(*table.run_weights(total)))


def _compared(first: BallOdds, second: BallOdds, measure: str) -> BallPair:
    a, b = values_of(first, measure), values_of(second, measure)
    return BallPair(
        first.line.ball, second.line.ball, measure, difference(first, second, measure),
        shots_to_see(float(np.mean(a)), float(np.mean(b))),
    )
