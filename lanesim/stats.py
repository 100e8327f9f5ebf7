"""Rates with intervals, paired differences, and how many shots it takes to see a difference.

All intervals are two-sided. Simulated shots come from scrambled Sobol points, which are more even
than independent draws, so these intervals (made for independent shots) err on the wide side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from .errors import InputError, check_range

CONFIDENCE = 0.95
POWER = 0.80
SIGNIFICANCE = 0.05


@dataclass(frozen=True)
class Rate:
    """A share of `n` shots with its Wilson interval. `hits` need not be whole: see `wilson`."""

    hits: float
    n: int
    rate: float
    low: float
    high: float
    confidence: float = CONFIDENCE

    def text(self, digits: int = 1) -> str:
        """Like '42.3 % (39.3-45.3)'."""
        return (f"{100 * self.rate:.{digits}f} % "
                f"({100 * self.low:.{digits}f}-{100 * self.high:.{digits}f})")


@dataclass(frozen=True)
class Difference:
    """Mean of paired differences b - a over `n` shots with its interval; `sd` of one difference."""

    value: float
    low: float
    high: float
    n: int
    sd: float
    confidence: float = CONFIDENCE

    @property
    def clear(self) -> bool:
        """True if the interval leaves out zero."""
        return self.low > 0.0 or self.high < 0.0


def two_sided_z(confidence: float = CONFIDENCE) -> float:
    """The standard normal quantile that leaves (1 - confidence)/2 on each side; 1.96 for 95 %."""
    check_range("confidence", confidence, 0.5, 0.9999)
    return NormalDist().inv_cdf(0.5 + confidence / 2.0)


def wilson(hits: float, n: int, confidence: float = CONFIDENCE) -> Rate:
    """A rate with Wilson's score interval (no continuity correction).

    centre = (p + z^2/2n) / (1 + z^2/n), half width = z sqrt(p q/n + z^2/4n^2) / (1 + z^2/n).

    Parameters
    ----------
    hits : successes, 0 to n. Also a sum of n probabilities: a mean of values in 0..1 varies at
        most as much as a rate of hits and misses (v^2 <= v), so the interval is then too wide,
        never too narrow.
    n : shots, at least 1.

    Source: E. B. Wilson, J. Am. Stat. Assoc. 22, 209 (1927); compared with ten other intervals by
    Newcombe, Stat. Med. 17, 857 (1998).
    """
    if n < 1:
        raise InputError(f"a rate needs at least 1 shot, not {n}")
    check_range("hits", float(hits), 0, float(n))
    z = two_sided_z(confidence)
    p = float(hits) / n
    centre = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    # at 0 and n hits the formula touches 0 and 1; rounding must not step over or short of them
    low = 0.0 if hits == 0 else centre - half
    high = 1.0 if hits == n else centre + half
    return Rate(float(hits), int(n), p, low, high, confidence)


def paired_difference(
    a: ArrayLike, b: ArrayLike, confidence: float = CONFIDENCE
) -> Difference:
    """Mean of b - a over the same shots (common random numbers), with an interval.

    Parameters
    ----------
    a, b : shape (n,), the value of shot i under each of the two; n >= 2.

    If all values are 0 or 1 (hit or not) the interval is the adjusted Wald interval for paired
    rates: half a shot is added to each of the four cells (both, only a, only b, none), and
    d = (n01 - n10)/n, se = sqrt(n01 + n10 - (n01 - n10)^2/n)/n. It keeps its coverage when few
    pairs differ, and is then not zero wide. `value` stays the plain difference of rates.
    Otherwise Student's t interval of the mean difference.

    Source: Agresti & Min, Stat. Med. 24, 729 (2005) (from memory; coverage held by a test).
    """
    first, second = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    if first.shape != second.shape or first.ndim != 1 or len(first) < 2:
        raise InputError("a paired difference needs two equally long rows of at least 2 shots")
    if not (np.all(np.isfinite(first)) and np.all(np.isfinite(second))):
        raise InputError("a paired difference needs finite numbers")
    n = len(first)
    each = second - first
    sd = float(np.std(each, ddof=1))
    value = float(np.mean(each))
    if np.all((first == 0) | (first == 1)) and np.all((second == 0) | (second == 1)):
        only_b = float(np.sum(each > 0)) + 0.5
        only_a = float(np.sum(each < 0)) + 0.5
        total = n + 2.0
        centre = (only_b - only_a) / total
        half = two_sided_z(confidence) * math.sqrt(
            only_b + only_a - (only_b - only_a) ** 2 / total
        ) / total
        low, high = max(-1.0, centre - half), min(1.0, centre + half)
    else:
        from scipy.special import stdtrit

        check_range("confidence", confidence, 0.5, 0.9999)
        half = float(stdtrit(n - 1, 0.5 + confidence / 2.0)) * sd / math.sqrt(n)
        low, high = value - half, value + half
    return Difference(value, low, high, n, sd, confidence)


def shots_to_see(
    rate_a: float, rate_b: float, *, power: float = POWER, significance: float = SIGNIFICANCE
) -> float:
    """Shots EACH of two balls needs on a real lane to tell two rates apart.

    Two independent samples of n shots, two-sided test of equal proportions:
    n = (z_(1-significance/2) sqrt(2 p q) + z_power sqrt(p_a q_a + p_b q_b))^2 / (p_a - p_b)^2,
    p the mean of the two rates, q = 1 - p. On a real lane no shot can be thrown twice, so nothing
    is paired. Infinite for equal rates.

    Returns
    -------
    The number rounded up to whole shots (a float, as it may be infinite).

    Source: Fleiss, Levin & Paik, Statistical Methods for Rates and Proportions, 3rd ed. (2003),
    section 4.2, without continuity correction; the same as R's power.prop.test.
    """
    check_range("rate", rate_a, 0, 1)
    check_range("rate", rate_b, 0, 1)
    check_range("power", power, 0.5, 0.9999)
    check_range("significance", significance, 0.0001, 0.5)
    gap = abs(rate_a - rate_b)
    if gap == 0.0:
        return math.inf
    mean = 0.5 * (rate_a + rate_b)
    under_equal = two_sided_z(1.0 - significance) * math.sqrt(2 * mean * (1 - mean))
    under_apart = NormalDist().inv_cdf(power) * math.sqrt(
        rate_a * (1 - rate_a) + rate_b * (1 - rate_b)
    )
    return float(math.ceil(((under_equal + under_apart) / gap) ** 2 - 1e-9))
