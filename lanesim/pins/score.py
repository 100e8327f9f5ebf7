"""Exact distribution of a bowling score from the odds of one frame.

A game is ten independent frames with the same odds. What the next two balls are worth (their
own pins plus the bonus of earlier strikes and spares) is all that a frame has to know about the
past, so the score is a Markov chain over the four states

    (multiplier of the next ball, multiplier of the ball after it):
    (1, 1) nothing pending   (2, 1) after a spare   (2, 2) after a strike   (3, 2) after two

and its exact distribution is a dynamic program over the frames. In the tenth frame the fill
balls count once, and bonus only for the frames before. The same program with exact integer
weights counts games instead of adding probabilities, which is how the tests check it against the
published counts (Cooper & Kennedy, Math. Mag. 63 (1990); OEIS A060853; status: read).

A player's strike rate differs from game to game beyond chance, while frames within a game are
independent (PLoS ONE 7(1) e30112, 2012; status: read). `game` takes the size of that scatter as a
stated parameter: a total is then a mixture of exact programs over a law of strike rates.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np

from ..errors import InputError, check_range
from ..results import Result, Story

MAX_SCORE = 300
FRAMES = 10
_STATES = ((1, 1), (2, 1), (2, 2), (3, 2))


def pins_in(mask: int | np.ndarray) -> Any:
    """Number of pins standing in a 10-bit mask (bit p-1 = pin p); works on arrays."""
    if isinstance(mask, np.ndarray):
        return ((mask[..., None] >> np.arange(10)) & 1).sum(axis=-1)
    return int(mask).bit_count()


def leave_name(mask: int) -> str:
    """Standing pins as bowlers write them: 520 -> '4-10'; 0 -> 'strike'."""
    pins = [str(p + 1) for p in range(10) if mask >> p & 1]
    return "-".join(pins) if pins else "strike"


def leave_mask(name: str) -> int:
    """Mask of a leave written as '3-6-10'; 'strike' or '' is 0."""
    if name in ("", "strike"):
        return 0
    mask = 0
    for part in name.split("-"):
        if not part.isdigit() or not 1 <= int(part) <= 10:
            raise InputError(f"leave {name!r}: pins must be numbers 1 to 10 joined by '-'")
        mask |= 1 << (int(part) - 1)
    return mask


@dataclass(frozen=True)
class FrameOdds:
    """Odds of one frame.

    Parameters
    ----------
    strike : probability that the first ball takes all ten.
    pair : (10, 11) array; pair[f, g] = probability that the first ball takes f < 10 pins and the
        second g; zero where f + g > 10; f + g = 10 is a spare. strike + pair.sum() = 1.
    """

    strike: float
    pair: np.ndarray = field(repr=False)

    def __post_init__(self) -> None:
        check_range("strike probability", self.strike, 0.0, 1.0)
        pair = np.array(self.pair, dtype=float)
        if pair.shape != (10, 11):
            raise InputError(f"frame odds need a table of 10 x 11 counts, not {pair.shape}")
        impossible = np.add.outer(np.arange(10), np.arange(11)) > 10
        if not np.isfinite(pair).all() or (pair < 0).any() or pair[impossible].any():
            raise InputError("frame odds must be >= 0, finite, and zero where two balls pass 10")
        total = self.strike + pair.sum()
        if abs(total - 1.0) > 1e-9:
            raise InputError(f"frame odds add up to {total:.12g}; they must add up to 1")
        pair.setflags(write=False)
        object.__setattr__(self, "pair", pair)

    @classmethod
    def simple(
        cls,
        strike: float,
        *,
        nine: float = 1.0,
        spare: float = 0.95,
        other_spare: float = 0.60,
    ) -> FrameOdds:
        """Odds from three rates: the plainest description of a bowler.

        Parameters
        ----------
        strike : strike rate.
        nine : share of the non-strikes that leave one pin; the rest are counted as 8 (assumption).
        spare : conversion of one pin.
        other_spare : conversion of the two-pin leaves (assumption: 0.60); a miss takes one.
        """
        for name, value in (("strike", strike), ("nine", nine), ("spare", spare),
                            ("other_spare", other_spare)):
            check_range(f"{name} rate", value, 0.0, 1.0)
        rest = 1.0 - strike
        pair = np.zeros((10, 11))
        pair[9, 1] = rest * nine * spare
        pair[9, 0] = rest * nine * (1.0 - spare)
        pair[8, 2] = rest * (1.0 - nine) * other_spare
        pair[8, 1] = rest * (1.0 - nine) * (1.0 - other_spare)
        return cls(strike, pair)

    @classmethod
    def from_leaves(
        cls,
        masks: Sequence[int] | np.ndarray,
        probabilities: Sequence[float] | np.ndarray,
        conversion: Callable[[int], float],
        miss_counts: Callable[[int], np.ndarray] | None = None,
    ) -> FrameOdds:
        """Odds from a distribution of first-ball leaves.

        Parameters
        ----------
        masks, probabilities : leaves as 10-bit masks of standing pins (0 = strike) and their
            probabilities, adding up to 1.
        conversion : chance to pick up a leave.
        miss_counts : for a leave of n pins, n numbers adding up to 1: chances that a MISSED
            spare ball takes 0 .. n-1 of them. Default: a miss takes all but one (assumption).
        """
        total = float(np.sum(probabilities))
        if not np.isfinite(total) or abs(total - 1.0) > 1e-6:
            raise InputError(f"leave probabilities add up to {total:.9g}; they must add up to 1")
        strike = 0.0
        pair = np.zeros((10, 11))
        for mask, p in zip(masks, np.asarray(probabilities, dtype=float) / total, strict=True):
            if mask == 0:
                strike += p
                continue
            left = pins_in(int(mask))
            made = check_range(f"conversion of {leave_name(int(mask))}", conversion(int(mask)),
                               0.0, 1.0)
            first = 10 - left
            pair[first, left] += p * made
            if miss_counts is None:
                pair[first, left - 1] += p * (1.0 - made)
            else:
                counts = np.asarray(miss_counts(int(mask)), dtype=float)
                pair[first, :left] += p * (1.0 - made) * counts / counts.sum()
        # the sum is 1 up to rounding; put the last bits where they cannot change a rate
        scale = (1.0 - strike) / pair.sum() if pair.sum() > 0 else 1.0
        return cls(min(strike, 1.0), pair * scale)

    @property
    def first_ball(self) -> np.ndarray:
        """(11,) probabilities that a first ball takes 0 .. 10 pins."""
        return np.append(self.pair.sum(axis=1), self.strike)

    @property
    def spare_rate(self) -> float:
        """Share of the non-strikes that are picked up (NaN if every ball strikes)."""
        made = sum(self.pair[f, 10 - f] for f in range(10))
        rest = self.pair.sum()
        return float(made / rest) if rest > 0 else float("nan")

    def with_strike(self, strike: float) -> FrameOdds:
        """Same mix of leaves and spares among the non-strikes, another strike rate."""
        check_range("strike probability", strike, 0.0, 1.0)
        rest = self.pair.sum()
        if rest <= 0.0:
            raise InputError("a bowler who always strikes has no leaves to spread the rest over")
        return FrameOdds(strike, self.pair * ((1.0 - strike) / rest))


def game_polynomial(strike: Any, pair: Any, single: Any) -> np.ndarray:
    """Weights of the scores 0 .. 300: the dynamic program itself.

    Parameters
    ----------
    strike : weight of a strike.
    pair : pair[f][g], weight of an f-then-g frame without a strike.
    single : (11,) weight of one fill ball at a fresh rack, taking 0 .. 10 pins.

    Returns
    -------
    (301,) array; of Python integers (exact) if `strike` is one, else of floats.
    """
    exact = isinstance(strike, int)
    kind: Any = object if exact else float

    def empty() -> np.ndarray:
        return np.array([0] * (MAX_SCORE + 1), dtype=kind)

    def add(into: np.ndarray, source: np.ndarray, pins: int, weight: Any) -> None:
        if weight:
            into[pins:] += weight * source[: MAX_SCORE + 1 - pins]

    outcomes = [
        (f, g, pair[f][g]) for f in range(10) for g in range(11 - f) if pair[f][g]
    ]
    state = {s: empty() for s in _STATES}
    state[1, 1][0] = 1
    for _ in range(FRAMES - 1):
        new = {s: empty() for s in _STATES}
        for (a, b), weights in state.items():
            add(new[b + 1, 2], weights, 10 * a, strike)
            for f, g, weight in outcomes:
                add(new[(2, 1) if f + g == 10 else (1, 1)], weights, f * a + g * b, weight)
        state = new
    total = empty()
    for (a, b), weights in state.items():
        # tenth frame: a strike earns two fill balls, a spare one; they carry no bonus of their own
        for f, g, weight in outcomes:
            add(total, weights, 10 * a + f * b + g, strike * weight)
            if f + g < 10:
                add(total, weights, f * a + g * b, weight)
        for k in range(11):
            add(total, weights, 10 * a + 10 * b + k, strike * strike * single[k])
            for f, g, weight in outcomes:
                if f + g == 10:
                    add(total, weights, f * a + g * b + k, weight * single[k])
    return total


@dataclass(frozen=True, repr=False)
class GameScores(Result):
    """The distribution of one game's score, and what follows from it.

    `pmf` (301,) is the probability of each score 0 .. 300; `pins_per_point` the pins gained per
    game by one percentage point more strikes, the mix of leaves and spares unchanged; `scatter` the
    SD of the strike rate from game to game that went in.
    """

    odds: FrameOdds
    pmf: np.ndarray = field(repr=False)
    mean: float
    sd: float
    pins_per_point: float
    scatter: float = 0.0

    _figure: ClassVar[str] = "lanesim.figures.score:draw_scores"

    def story(self) -> Story:
        """Mean, spread and chances."""
        return Story(f"mean {self.mean:.1f} pins, one game", [
            ("mean", f"{self.mean:.1f} pins"), ("SD", f"{self.sd:.1f} pins"),
            ("in the middle", f"{self.quantile(0.5)} pins or more in half of the games"),
            ("from 5 to 95 %", f"{self.quantile(0.05)} to {self.quantile(0.95)} pins"),
            ("one strike more in a hundred", f"{self.pins_per_point:.2f} pins"),
        ])

    def _drawn(self) -> tuple[Any, ...]:
        return [self], ["one game"]

    def quantile(self, share: float) -> int:
        """Smallest score that a share of the games does not pass."""
        check_range("share", share, 0.0, 1.0)
        return min(int(np.searchsorted(np.cumsum(self.pmf), share - 1e-12)), MAX_SCORE)

    def series_pmf(self, games: int) -> np.ndarray:
        """(300 games + 1,) exact distribution of the total over a number of games."""
        check_range("games", games, 1, 200)
        if games != int(games):
            raise InputError(f"games must be a whole number, not {games!r}")
        out = np.ones(1)
        power, left = self.pmf, int(games)
        while left:  # exact convolution by doubling
            if left & 1:
                out = np.convolve(out, power)
            left >>= 1
            if left:
                power = np.convolve(power, power)
        return out

    def chance(self, total: float, games: int = 1) -> float:
        """Chance that `games` games add up to `total` or more."""
        check_range("cut", total, 0, MAX_SCORE * games, "pins")
        pmf = self.series_pmf(games)
        return float(min(pmf[int(np.ceil(total)):].sum(), 1.0))

    def to_dict(self, cut: float | None = None, games: int = 1) -> dict[str, Any]:
        """Plain numbers for `--json`."""
        out: dict[str, Any] = {
            "strike_rate": self.odds.strike,
            "spare_rate": self.odds.spare_rate,
            "mean": self.mean,
            "sd": self.sd,
            "quantiles": {str(q): self.quantile(q) for q in (0.05, 0.25, 0.5, 0.75, 0.95)},
            "pins_per_point": self.pins_per_point,
            "perfect_game": float(self.pmf[MAX_SCORE]),
            "first_ball": self.odds.first_ball,
            "pmf": self.pmf,
            "strike_scatter": self.scatter,
            "model": "independent frames; a strike rate that differs from game to game spreads "
                     "totals more (strike_scatter)",
        }
        if cut is not None:
            out["cut"] = {"total": cut, "games": games, "chance": self.chance(cut, games)}
        return out


def mean_score(odds: FrameOdds) -> float:
    """Mean of a game by expectation alone (no distribution), microseconds.

    A frame is worth its pins, plus the next ball after a spare, plus the next two after a strike.
    The fill balls of the tenth frame are those same next balls, so all ten frames have the same
    mean: with F the mean first ball and T the mean of two balls from a fresh rack,
    10 [pins of a frame + spare F + strike T].
    """
    s, pair = odds.strike, odds.pair
    f, g = np.indices(pair.shape)
    counts = f + g
    first = float((odds.first_ball * np.arange(11)).sum())
    spare = float(pair[counts == 10].sum())
    two = float((pair * counts).sum())  # both balls of a frame without a strike
    next_two = two + s * (10.0 + first)
    return 10.0 * (two + s * 10.0 + s * next_two + spare * first)


def strike_nodes(mean: float, scatter: float, count: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """Strike rates and weights that stand for a beta law of this mean and SD (Gauss-Jacobi).

    Exact for polynomials up to degree 2 count - 1; the chance of every score is one of degree 12
    in the strike rate, with the mix of leaves fixed.
    """
    check_range("strike rate", mean, 0.0, 1.0)
    check_range("scatter of the strike rate", scatter, 0.0, 0.5)
    if scatter <= 0.0 or not 0.0 < mean < 1.0:
        return np.array([mean]), np.ones(1)
    if scatter**2 >= 0.95 * mean * (1.0 - mean):
        most = np.sqrt(0.95 * mean * (1.0 - mean))
        raise InputError(f"a strike rate of {mean:.2f} cannot scatter by {scatter:.2f} from game "
                         f"to game; accepted: less than {most:.2f}")
    from scipy.special import roots_jacobi

    total = mean * (1.0 - mean) / scatter**2 - 1.0
    x, weight = roots_jacobi(count, (1.0 - mean) * total - 1.0, mean * total - 1.0)
    return 0.5 * (1.0 + x), weight / weight.sum()


def game(odds: FrameOdds, scatter: float = 0.0) -> GameScores:
    """Exact distribution of one game's score.

    scatter : SD of the player's strike rate from game to game, beyond chance (a share, 0.05 for
        five points). Within a game frames stay independent, as found over 450,000 frames of 100
        professionals (PLoS ONE 7(1) e30112, 2012; R): strikes cluster by game, not within one. The
        rate then follows a beta law (assumption), leaves and spares unchanged. 0: the same odds
        every game.
    """
    first = odds.first_ball
    rates, weights = strike_nodes(odds.strike, scatter)
    if len(rates) == 1:
        pmf = game_polynomial(float(odds.strike), odds.pair.tolist(), first.tolist())
    else:
        pmf = np.zeros(MAX_SCORE + 1)
        for rate, weight in zip(rates, weights, strict=True):
            own = odds.with_strike(float(rate))
            pmf += weight * game_polynomial(float(rate), own.pair.tolist(), own.first_ball.tolist())
    scores = np.arange(MAX_SCORE + 1)
    mean = float(pmf @ scores)
    sd = float(np.sqrt(max(pmf @ (scores - mean) ** 2, 0.0)))
    pmf.setflags(write=False)
    slope = float("nan")  # a bowler who always strikes has no leaves to trade for strikes
    if odds.pair.sum() > 0:
        low, high = max(odds.strike - 1e-3, 0.0), min(odds.strike + 1e-3, 1.0)
        slope = (mean_score(odds.with_strike(high)) - mean_score(odds.with_strike(low))) / (
            high - low
        )
    return GameScores(odds, pmf, mean, sd, slope / 100.0, scatter)


def expected_game(
    strike_rate: float,
    leaves: dict[int, float] | None = None,
    conversion: Callable[[int], float] | None = None,
    miss_counts: Callable[[int], np.ndarray] | None = None,
) -> float:
    """Mean pins per game.

    Parameters
    ----------
    strike_rate : chance of a strike on a first ball.
    leaves : mask -> relative weight among the NON-strikes; None = always one pin, made
        95 times in 100 (assumption).
    conversion, miss_counts : as in `FrameOdds.from_leaves`; needed with leaves.
    """
    check_range("strike rate", strike_rate, 0.0, 1.0)
    if not leaves or strike_rate >= 1.0:
        return mean_score(FrameOdds.simple(strike_rate))
    masks = [m for m in leaves if m]
    weights = np.array([leaves[m] for m in masks], dtype=float)
    if not masks or not np.isfinite(weights).all() or (weights < 0).any() or weights.sum() <= 0:
        raise InputError("leaves need masks with weights >= 0, not all zero")
    if conversion is None:
        raise InputError("leaves need the chance to pick each up; "
                         "pins.spares.default_spares().conversion gives one")
    probabilities = np.append(strike_rate, weights / weights.sum() * (1.0 - strike_rate))
    odds = FrameOdds.from_leaves([0, *masks], probabilities, conversion, miss_counts)
    return mean_score(odds)
