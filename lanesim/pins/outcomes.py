"""From how shots arrive at the pins to strikes, leaves and pins per game."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..errors import InputError
from ..stats import two_sided_z
from .score import FrameOdds, leave_name, mean_score, pins_in
from .spares import DEFAULT_SPREAD_BOARDS, SpareTable, default_spares
from .table import REFERENCE_LB, CarryTable, default_table

ALL_STANDING = 0b1111111111
# measured, see weight_remark
WEIGHT_MEASURED = "12 lb struck 5 points less often than 15 lb, even over the pocket"
# indices into pocket.OUTCOMES ("pocket", "high", "light", "opposite", "missed", "gutter"); kept
# as numbers here so that reading a table needs no compiled code. A test compares the two.
_POCKET, _GUTTER = 0, 5


def weight_remark(weights_lb: Iterable[float], table: CarryTable | None = None) -> str:
    """One line on balls that weigh something else than the table's; empty if none does.

    For answers that were computed without `ball_lb`: what a lighter ball costs was measured on
    the same deck (benchmarks/measure_pin_effects.py, benchmarks/CARRY.md); it is told, not taken
    off.
    """
    provenance = (table or default_table()).provenance
    own = float(provenance.get("reference_weight_lb", REFERENCE_LB))
    others = sorted({w for w in weights_lb if abs(w - own) >= 0.5})
    if not others:
        return ""
    words = ", ".join(f"{w:g}" for w in others)
    return (f"strikes and pins are those of a {own:g} lb ball, not of {words} lb: on the same deck "
            f"{WEIGHT_MEASURED}")


@dataclass(frozen=True)
class PinResult:
    """What the pins make of a set of shots.

    Attributes
    ----------
    shots : number of shots.
    strike_rate, strike_low, strike_high : strikes per first ball, with a 95 % interval from the
        shots' own number (`sd_shots`) and from the finite runs behind the table (`sd_table`);
        the model's own error is not in it (see benchmarks/CARRY.md).
    pocket_rate, pocket_carry : share of shots in the pocket, and strikes among those (NaN if none).
    masks, probabilities : leaves, most likely first; mask 0 is the strike.
    mean_first_ball : pins taken by a first ball.
    spare_rate : share of the non-strikes picked up.
    pins_per_game : mean score of independent frames; `game_low`, `game_high` at the ends of the
        strike interval, leaves and spares unchanged.
    pins_per_point : pins per game for one percentage point more strikes.
    outside_share : share of shots beyond the table's box (given its nearest edge).
    assumed_spare_share : share of the non-strikes whose conversion is a fallback (see spares).
    spare_spread_boards : spread of the spare ball at the pins behind the simulated conversions.
    """

    shots: int
    strike_rate: float
    strike_low: float
    strike_high: float
    sd_shots: float
    sd_table: float
    pocket_rate: float
    pocket_carry: float
    masks: np.ndarray = field(repr=False)
    probabilities: np.ndarray = field(repr=False)
    mean_first_ball: float
    spare_rate: float
    pins_per_game: float
    game_low: float
    game_high: float
    pins_per_point: float
    outside_share: float
    assumed_spare_share: float
    odds: FrameOdds = field(repr=False)
    spare_spread_boards: float = DEFAULT_SPREAD_BOARDS

    def leaves(self, count: int = 8) -> list[tuple[str, float]]:
        """The most likely leaves, strikes left out, as ('4-9', share of first balls)."""
        rows = [(leave_name(int(m)), float(p))
                for m, p in zip(self.masks, self.probabilities, strict=True) if m]
        return rows[:count]

    def to_dict(self, count: int = 12) -> dict[str, Any]:
        """Plain numbers for JSON; the most likely leaves by name."""
        skip = {"masks", "probabilities", "odds"}
        out = {k: v for k, v in vars(self).items() if k not in skip}
        out["leaves"] = [{"leave": n, "share": p} for n, p in self.leaves(count)]
        out["first_ball"] = self.odds.first_ball
        return out


def pins_from_shots(
    entry_board: ArrayLike,
    entry_angle_deg: ArrayLike,
    entry_speed_mph: ArrayLike,
    outcome_codes: ArrayLike | None = None,
    *,
    table: CarryTable | None = None,
    spares: SpareTable | None = None,
    confidence: float = 0.95,
    ball_lb: float = REFERENCE_LB,
) -> PinResult:
    """Strikes, leaves and pins per game of a set of shots (10^6 in about half a second).

    Parameters
    ----------
    entry_board, entry_angle_deg, entry_speed_mph : (N,) state at first contact with a pin; not
        looked at where the outcome is the gutter. Angles positive toward higher boards. For a
        left-hander give the player's own boards: the rack is symmetric.
    outcome_codes : (N,) indices into pocket.OUTCOMES; None = shots with a finite entry reach the
        pins, the others are in the gutter, and the pocket is boards 16 to 19.
    table, spares : default: those in the package.
    ball_lb : weight of the ball, 12 to 16 lb; a table of one weight only does not use it.

    Raises
    ------
    InputError
        If the lengths differ, there is no shot, or a shot that is not in the gutter has an entry
        that is not finite.
    """
    table = (table or default_table()).for_ball(ball_lb)
    spares = spares or default_spares()
    board = np.atleast_1d(np.asarray(entry_board, dtype=float))
    angle = np.atleast_1d(np.asarray(entry_angle_deg, dtype=float))
    speed = np.atleast_1d(np.asarray(entry_speed_mph, dtype=float))
    finite = np.isfinite(board) & np.isfinite(angle) & np.isfinite(speed) if (
        board.shape == angle.shape == speed.shape
    ) else None
    if finite is None or board.ndim != 1 or board.size == 0:
        raise InputError("shots need equally long rows of entry board, angle and speed, not empty")
    if outcome_codes is None:
        gutter = ~finite
        pocket = finite & (board > 16.0) & (board < 19.0)
    else:
        codes = np.atleast_1d(np.asarray(outcome_codes))
        if codes.shape != board.shape or ((codes < 0) | (codes > _GUTTER)).any():
            raise InputError("outcome codes must be 0 to 5, one for each shot")
        gutter = codes == _GUTTER
        pocket = codes == _POCKET
        if (~finite & ~gutter).any():
            raise InputError("a shot that reached the pins has no finite entry board or angle")
    n = board.size
    at_pins = ~gutter
    share = float(at_pins.mean())
    chance = np.zeros(n)
    sd_table = 0.0
    leaves = np.zeros(1024)
    outside = 0.0
    if at_pins.any():
        entry = board[at_pins], angle[at_pins], speed[at_pins]
        placed = table.weigh(*entry)
        chance[at_pins] = placed.strike
        weights = table.run_weights(placed)
        masks, probabilities = table.leaves_of_runs(*weights)
        leaves[masks] += probabilities * share
        sd_table = float(np.sqrt(table.table_variance(*weights))) * share
        outside = float(placed.outside.mean()) * share
    leaves[ALL_STANDING] += 1.0 - share
    rate = float(leaves[0])
    # the shots' own part: how much the mean of N strike chances would move in another N shots
    sd_shots = float(chance.std(ddof=1) / np.sqrt(n)) if n > 1 else float("nan")
    low, high = _rate_interval(rate, np.nansum([sd_shots**2, sd_table**2]), confidence)

    masks = np.flatnonzero(leaves > 0)
    masks = masks[np.argsort(-leaves[masks], kind="stable")]
    probabilities = leaves[masks] / leaves.sum()
    odds = FrameOdds.from_leaves(masks, probabilities, spares.conversion, spares.miss_counts)
    mean = mean_score(odds)
    missed = masks != 0
    rest = probabilities[missed].sum()
    assumed = np.array([spares.source(int(m)) == "fallback" for m in masks[missed]], dtype=bool)
    assumed_share = float(probabilities[missed][assumed].sum() / rest) if rest > 0 else 0.0
    can_move = odds.pair.sum() > 0
    ends = [mean_score(odds.with_strike(x)) if can_move else mean for x in (low, high)]
    step = 0.01 if rate < 0.99 else -0.01
    slope = (mean_score(odds.with_strike(rate + step)) - mean) / (step * 100.0) if (
        can_move) else float("nan")
    return PinResult(
        shots=n,
        strike_rate=rate,
        strike_low=low,
        strike_high=high,
        sd_shots=sd_shots,
        sd_table=sd_table,
        pocket_rate=float(pocket.mean()),
        pocket_carry=float(chance[pocket].mean()) if pocket.any() else float("nan"),
        masks=masks,
        probabilities=probabilities,
        mean_first_ball=float(((10 - pins_in(masks)) * probabilities).sum()),
        spare_rate=odds.spare_rate,
        pins_per_game=mean,
        game_low=ends[0],
        game_high=ends[1],
        pins_per_point=slope,
        outside_share=outside,
        assumed_spare_share=assumed_share,
        odds=odds,
        spare_spread_boards=spares.spread_boards,
    )


def _rate_interval(rate: float, variance: float, confidence: float) -> tuple[float, float]:
    """Interval of a rate with a known variance: Wilson's with n = p q / variance.

    Where the variance vanishes the interval has no width.
    """
    z = two_sided_z(confidence)
    if variance <= 0.0 or not 0.0 < rate < 1.0:
        return rate, rate
    n = rate * (1.0 - rate) / variance
    centre = (rate + z * z / (2 * n)) / (1 + z * z / n)
    half = z * np.sqrt(variance + z * z / (4 * n * n)) / (1 + z * z / n)
    return float(max(centre - half, 0.0)), float(min(centre + half, 1.0))


def strike_chances(
    entry_board: ArrayLike,
    entry_angle_deg: ArrayLike,
    entry_speed_mph: ArrayLike,
    outcome_codes: ArrayLike,
    table: CarryTable | None = None,
) -> np.ndarray:
    """(N,) strike chance of each shot, 0 in the gutter: the objective for a line-up search."""
    table = table or default_table()
    codes = np.asarray(outcome_codes)
    chance = table.strike_probability(entry_board, entry_angle_deg, entry_speed_mph)
    return np.where(codes == _GUTTER, 0.0, np.nan_to_num(chance, nan=0.0))
