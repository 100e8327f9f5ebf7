"""The score program against counting, closed forms and a scorer of its own."""

from __future__ import annotations

import numpy as np
import pytest

from lanesim.errors import InputError
from lanesim.pins.score import (
    FrameOdds,
    expected_game,
    game,
    game_polynomial,
    leave_mask,
    leave_name,
    mean_score,
    pins_in,
)


@pytest.fixture(scope="module")
def counts() -> np.ndarray:
    """Number of distinct games of each score, by the program with integer weights of one."""
    pair = [[1 if f + g <= 10 else 0 for g in range(11)] for f in range(10)]
    return game_polynomial(1, pair, [1] * 11)


def test_number_of_distinct_games(counts):
    # 66^9 * 241, OEIS A060853 and Cooper & Kennedy 1990 (R)
    assert sum(counts) == 66**9 * 241 == 5_726_805_883_325_784_576


def test_most_common_score(counts):
    # 77, in 172,542,309,343,731,946 games (R, same sources)
    assert max(range(301), key=lambda k: counts[k]) == 77
    assert counts[77] == 172_542_309_343_731_946


def test_mean_over_all_games(counts):
    # 79.744 (R, Cooper & Kennedy)
    mean = sum(k * int(c) for k, c in enumerate(counts)) / int(sum(counts))
    assert mean == pytest.approx(79.744, abs=5e-4)


def test_tail_of_all_games(counts):
    # 288..300: 12, 11, 11, then one each (R, same sources)
    assert [int(c) for c in counts[288:]] == [12, 11, 11] + [1] * 10


def test_only_one_game_scores_nothing_and_twenty_score_one(counts):
    # by hand: one pin on one of the 20 balls of an all-open game
    assert counts[0] == 1
    assert counts[1] == 20


def test_perfect_game():
    result = game(FrameOdds(1.0, np.zeros((10, 11))))
    assert result.pmf[300] == 1.0
    assert result.mean == 300.0
    assert result.sd == 0.0


def test_all_nine_spares_make_190():
    # every frame 9 then 1: 10 + 9 each (rules of the game); the last fill ball is a 9
    pair = np.zeros((10, 11))
    pair[9, 1] = 1.0
    result = game(FrameOdds(0.0, pair))
    assert result.pmf[190] == pytest.approx(1.0, abs=1e-12)


def test_all_open_eights():
    pair = np.zeros((10, 11))
    pair[8, 0] = 1.0
    assert game(FrameOdds(0.0, pair)).mean == pytest.approx(80.0)


@pytest.mark.parametrize(
    ("strike", "pins"), [(0.40, 208), (0.50, 218.5), (0.60, 231), (0.65, 238), (0.70, 245)]
)
def test_table_of_strike_rates(strike, pins):
    # facts.md "Scoring" (D): nines and 95 % spares; given to the nearest pin or half
    assert game(FrameOdds.simple(strike, spare=0.95)).mean == pytest.approx(pins, abs=0.5)


def score_rolls(rolls: list[int]) -> int:
    """The rules of the game, frame by frame, written without the program under test."""
    total, at = 0, 0
    for _ in range(10):
        if rolls[at] == 10:
            total += 10 + rolls[at + 1] + rolls[at + 2]
            at += 1
        elif rolls[at] + rolls[at + 1] == 10:
            total += 10 + rolls[at + 2]
            at += 2
        else:
            total += rolls[at] + rolls[at + 1]
            at += 2
    return total


def random_odds(rng: np.random.Generator) -> FrameOdds:
    pair = rng.random((10, 11)) ** 3
    pair[np.add.outer(np.arange(10), np.arange(11)) > 10] = 0.0
    strike = rng.uniform(0.1, 0.8)
    return FrameOdds(strike, pair / pair.sum() * (1.0 - strike))


def play(odds: FrameOdds, rng: np.random.Generator) -> int:
    flat = np.append(odds.pair.ravel(), odds.strike)
    rolls: list[int] = []
    for k in rng.choice(flat.size, size=12, p=flat / flat.sum()):
        rolls += [10] if k == flat.size - 1 else [k // 11, k % 11]
    return score_rolls(rolls)


def test_against_played_games():
    rng = np.random.default_rng(20)
    odds = random_odds(rng)
    scores = np.array([play(odds, rng) for _ in range(20_000)])
    result = game(odds)
    # four standard errors
    assert scores.mean() == pytest.approx(result.mean, abs=4 * result.sd / np.sqrt(20_000))
    assert scores.std() == pytest.approx(result.sd, rel=4 / np.sqrt(2 * 20_000))
    for cut in (result.quantile(0.2), result.quantile(0.8)):
        p = result.chance(cut)
        assert (scores >= cut).mean() == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / 20_000))


@pytest.mark.parametrize("seed", range(5))
def test_mean_by_expectation_equals_mean_of_distribution(seed):
    odds = random_odds(np.random.default_rng(seed))
    result = game(odds)
    assert result.pmf.sum() == pytest.approx(1.0, abs=1e-12)
    assert mean_score(odds) == pytest.approx(result.mean, abs=1e-9)


def test_gain_per_point_is_the_difference_quotient():
    odds = FrameOdds.simple(0.6)
    up = game(odds.with_strike(0.61)).mean - game(odds.with_strike(0.59)).mean
    # the mean is cubic in the strike rate: a step of 1 point is off by its third derivative
    assert game(odds).pins_per_point == pytest.approx(up / 2, abs=1e-3)


def test_series_is_a_convolution():
    result = game(FrameOdds.simple(0.5))
    series = result.series_pmf(6)
    totals = np.arange(series.size)
    mean = series @ totals
    assert series.sum() == pytest.approx(1.0, abs=1e-12)
    assert mean == pytest.approx(6 * result.mean, abs=1e-8)
    assert series @ (totals - mean) ** 2 == pytest.approx(6 * result.sd**2, rel=1e-9)
    three = np.convolve(np.convolve(result.pmf, result.pmf), result.pmf)
    assert np.allclose(result.series_pmf(3), three, atol=1e-15)
    assert result.chance(0, 3) == pytest.approx(1.0)
    assert result.chance(900, 3) == pytest.approx(result.pmf[300] ** 3)


def test_odds_from_leaves():
    masks = [0, leave_mask("10"), leave_mask("7-10"), leave_mask("4-6-7-10")]
    odds = FrameOdds.from_leaves(
        masks, [0.6, 0.3, 0.06, 0.04],
        {masks[1]: 0.9, masks[2]: 0.01, masks[3]: 0.03}.__getitem__,
        lambda m: {1: np.ones(1), 2: np.array([0.2, 0.8]), 4: np.array([0, 0.1, 0.8, 0.1])}[
            pins_in(m)
        ],
    )
    assert odds.strike == pytest.approx(0.6)
    assert odds.pair[9, 1] == pytest.approx(0.27)
    assert odds.pair[8, 1] == pytest.approx(0.06 * 0.99 * 0.8)
    assert odds.pair[6, 2] == pytest.approx(0.04 * 0.97 * 0.8)
    assert odds.first_ball @ np.arange(11) == pytest.approx(6 + 2.7 + 0.48 + 0.24)


def test_names_of_leaves():
    assert leave_name(leave_mask("3-6-7-10")) == "3-6-7-10"
    assert leave_mask("10") == 512
    assert leave_name(0) == "strike"
    assert pins_in(np.array([0, 1023, 512])).tolist() == [0, 10, 1]
    with pytest.raises(InputError, match="1 to 10"):
        leave_mask("3-11")


def test_expected_game_without_leaves_is_the_simple_bowler():
    assert expected_game(0.5) == pytest.approx(game(FrameOdds.simple(0.5)).mean)


def test_expected_game_with_leaves():
    leaves = {leave_mask("10"): 3.0, leave_mask("7-10"): 1.0}
    made = {leave_mask("10"): 0.96, leave_mask("7-10"): 0.0}
    odds = FrameOdds.from_leaves([0, *leaves], [0.6, 0.3, 0.1], made.__getitem__)
    assert expected_game(0.6, leaves, made.__getitem__) == pytest.approx(game(odds).mean)
    with pytest.raises(InputError, match="pick each up"):
        expected_game(0.6, leaves)


@pytest.mark.parametrize(
    "make",
    [
        lambda: FrameOdds.simple(1.2),
        lambda: FrameOdds.simple(float("nan")),
        lambda: FrameOdds(0.5, np.zeros((10, 11))),
        lambda: FrameOdds(0.0, np.full((10, 11), 1 / 110)),
        lambda: FrameOdds.from_leaves([0, 512], [0.5, 0.6], lambda m: 0.9),
        lambda: FrameOdds.from_leaves([0, 512], [0.5, 0.5], lambda m: 1.9),
        lambda: game(FrameOdds.simple(0.5)).chance(2000, 3),
        lambda: game(FrameOdds.simple(0.5)).series_pmf(0),
    ],
)
def test_bad_odds_are_refused(make):
    with pytest.raises(InputError):
        make()


def test_scatter_of_the_strike_rate_against_drawn_games():
    # the same law by drawing: a rate from the beta law for each game, then its exact mean and SD
    from lanesim.pins.score import mean_score, strike_nodes

    odds, scatter = FrameOdds.simple(0.55, nine=0.8), 0.08
    mixed = game(odds, scatter)
    total = 0.55 * 0.45 / scatter**2 - 1.0
    drawn = np.random.default_rng(5).beta(0.55 * total, 0.45 * total, 40_000)
    means = np.interp(drawn, *np.array([(p, mean_score(odds.with_strike(p)))
                                        for p in np.linspace(0.05, 0.99, 200)]).T)
    assert mixed.mean == pytest.approx(means.mean(), abs=4 * means.std() / 200)
    nodes, weights = strike_nodes(0.55, scatter)
    inside = sum(w * game(odds.with_strike(p)).sd ** 2 for p, w in zip(nodes, weights, strict=True))
    assert mixed.sd**2 == pytest.approx(inside + means.var(), rel=0.02)
    assert nodes @ weights == pytest.approx(0.55)
    assert (nodes - 0.55) ** 2 @ weights == pytest.approx(scatter**2)
    assert mixed.sd > game(odds).sd
    assert mixed.chance(279) > game(odds).chance(279)


def test_no_scatter_is_the_exact_program():
    odds = FrameOdds.simple(0.5)
    assert np.array_equal(game(odds, 0.0).pmf, game(odds).pmf)
    with pytest.raises(InputError, match="cannot scatter"):
        game(odds, 0.5)
