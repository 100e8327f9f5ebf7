"""Intervals and sample sizes against published values, scipy, and simulation."""

import math

import numpy as np
import pytest
from scipy.stats import binomtest

from lanesim.errors import InputError
from lanesim.stats import paired_difference, shots_to_see, two_sided_z, wilson


# Newcombe, Stat. Med. 17, 857 (1998), table I, method 3 (from memory; scipy agrees, below)
@pytest.mark.parametrize(("hits", "n", "low", "high"), [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0, 0.1611),
    (1, 29, 0.0061, 0.1718),
])
def test_wilson_against_published_examples(hits, n, low, high):
    got = wilson(hits, n)
    assert got.low == pytest.approx(low, abs=5.1e-5)
    assert got.high == pytest.approx(high, abs=5.1e-5)


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
@pytest.mark.parametrize(
    ("hits", "n"), [(0, 1), (1, 1), (0, 500), (7, 500), (250, 500), (500, 500)]
)
def test_wilson_against_scipy(hits, n, confidence):
    got = wilson(hits, n, confidence)
    want = binomtest(hits, n).proportion_ci(confidence, method="wilson")
    assert (got.low, got.high) == pytest.approx((want.low, want.high), abs=1e-12)
    assert 0.0 <= got.low <= got.rate <= got.high <= 1.0


def test_wilson_takes_a_sum_of_probabilities():
    assert wilson(2.5, 10).rate == 0.25
    assert wilson(2, 10).low < wilson(2.5, 10).low < wilson(3, 10).low


@pytest.mark.parametrize(("hits", "n"), [(1, 0), (-1, 5), (6, 5), (math.nan, 5)])
def test_wilson_refuses_nonsense(hits, n):
    with pytest.raises(InputError):
        wilson(hits, n)


def test_z():
    assert two_sided_z(0.95) == pytest.approx(1.959964, abs=1e-6)  # any normal table
    assert two_sided_z(0.99) == pytest.approx(2.575829, abs=1e-6)


def test_paired_difference_by_hand():
    # 10 only b, 4 only a, 50 both, 36 none: d = 0.06; adjusted: (10.5 - 4.5)/102 = 0.0588235,
    # se = sqrt(15 - 36/102)/102 = 0.0375211, half = 1.959964 se = 0.0735399
    a = np.r_[np.zeros(10), np.ones(4), np.ones(50), np.zeros(36)]
    b = np.r_[np.ones(10), np.zeros(4), np.ones(50), np.zeros(36)]
    got = paired_difference(a, b)
    assert got.value == pytest.approx(0.06)
    assert got.low == pytest.approx(0.0588235 - 0.0735399, abs=1e-6)
    assert got.high == pytest.approx(0.0588235 + 0.0735399, abs=1e-6)
    assert not got.clear


def test_paired_difference_of_plain_numbers_is_students():
    # differences 1, 2, 3: mean 2, sd 1, t(2, 0.975) = 4.302653 (any t table)
    got = paired_difference([0.0, 0.0, 0.0], [1.0, 2.0, 3.0])
    assert got.value == pytest.approx(2.0)
    assert got.high - got.value == pytest.approx(4.302653 / math.sqrt(3), abs=1e-6)


def test_pairing_narrows_the_interval():
    rng = np.random.default_rng(1)
    a = rng.random(4000) < 0.4
    b = a ^ (rng.random(4000) < 0.02)
    half = 0.5 * (paired_difference(a, b).high - paired_difference(a, b).low)
    independent = two_sided_z() * math.sqrt(2 * 0.4 * 0.6 / 4000)
    assert half < 0.3 * independent


@pytest.mark.parametrize(("both", "only_a", "only_b"), [
    (0.40, 0.02, 0.05), (0.30, 0.15, 0.15), (0.60, 0.01, 0.01), (0.05, 0.002, 0.01),
])
def test_paired_interval_covers(both, only_a, only_b):
    """A 95 % interval covers the truth in about 95 of 100 repetitions (4 standard errors)."""
    rng = np.random.default_rng(20)
    repeats, n = 2000, 300
    truth = only_b - only_a
    shares = [both, only_a, only_b, 1 - both - only_a - only_b]
    counts = rng.multinomial(n, shares, size=repeats)
    covered = 0
    for cells in counts:
        cell = np.repeat(np.arange(4), cells)
        got = paired_difference(cell <= 1, (cell == 0) | (cell == 2))
        covered += got.low <= truth <= got.high
    noise = math.sqrt(0.95 * 0.05 / repeats)
    # few discordant pairs make it cautious: it may cover more often than asked, not less
    assert 0.95 - 4 * noise < covered / repeats <= 0.995


def test_sample_size_against_r():
    # R, help page of power.prop.test: p1 = .50, p2 = .75, power = .90 gives n = 76.7 (from memory)
    assert shots_to_see(0.50, 0.75, power=0.90) == 77.0
    # same page: n = 50 has power 0.740: so 50 shots must be just enough for it
    assert shots_to_see(0.50, 0.75, power=0.7401) == 50.0


def test_sample_size_gives_the_power_it_promises():
    """Simulated: at that n a two-sided 5 % test of equal proportions rejects in about 80 %."""
    a, b = 0.40, 0.50
    n = int(shots_to_see(a, b))
    rng = np.random.default_rng(3)
    hits_a, hits_b = rng.binomial(n, a, 20000) / n, rng.binomial(n, b, 20000) / n
    pooled = 0.5 * (hits_a + hits_b)
    z = np.abs(hits_b - hits_a) / np.sqrt(2 * pooled * (1 - pooled) / n)
    assert np.mean(z > 1.959964) == pytest.approx(0.80, abs=0.015)


def test_sample_size_edges():
    assert shots_to_see(0.4, 0.4) == math.inf
    assert shots_to_see(0.4, 0.5) == shots_to_see(0.5, 0.4)
    # a tenth of the gap takes about a hundred times the shots
    assert shots_to_see(0.4, 0.41) == pytest.approx(100 * shots_to_see(0.4, 0.5), rel=0.05)
    with pytest.raises(InputError):
        shots_to_see(0.4, 1.2)


@pytest.mark.parametrize(("a", "b"), [([1], [1]), ([1, 0], [1]), ([1, math.nan], [1, 1])])
def test_paired_difference_refuses_nonsense(a, b):
    with pytest.raises(InputError):
        paired_difference(a, b)
