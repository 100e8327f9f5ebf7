"""The carry table's average, its intervals and what follows from it, on tables of known odds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lanesim.errors import InputError
from lanesim.motion.pocket import OUTCOMES
from lanesim.pins import outcomes
from lanesim.pins.score import leave_mask, pins_in
from lanesim.pins.spares import DEFAULT_SPREAD_BOARDS, PUBLISHED, SpareTable
from lanesim.pins.table import (
    KERNEL_REACH,
    NODE_ANGLES,
    NODE_BOARDS,
    NODE_SPEEDS,
    CarryTable,
    mirror_mask,
)

TEN, SEVEN, FOUR_NINE, NINE = (leave_mask(n) for n in ("10", "7", "4-9", "9"))


def true_strike(board, angle):
    """An invented smooth law, for these tests only."""
    return 0.9 * np.exp(-((board - 17.5) ** 2) / 4.0) * (0.6 + 0.05 * angle)


def make_table(seed: int, runs: int = 20_000) -> CarryTable:
    rng = np.random.default_rng(seed)
    board = rng.uniform(10, 24, runs)
    angle = rng.uniform(0, 7.5, runs)
    speed = rng.uniform(13, 19, runs)
    strike = rng.random(runs) < true_strike(board, angle)
    leave = np.where(board < 17.5, TEN, FOUR_NINE)
    return CarryTable(board, angle, speed, np.where(strike, 0, leave), (0.3, 0.7, 3.0))


@pytest.fixture(scope="module")
def table() -> CarryTable:
    return make_table(1)


@pytest.fixture(scope="module")
def spares() -> SpareTable:
    """Three leaves of invented odds: a wall of boards that makes them, nothing elsewhere."""
    made = np.zeros((3, 39))
    made[0, :9] = 10  # the 10 pin from boards 1-9
    made[1, 9:12] = 10  # 4-9: three boards
    made[2, 10:20] = 10  # the 9 pin
    taken = np.zeros((3, 39, 10))
    taken[:, :, 0] = 10 - made
    taken[1, 20, :2] = (4, 6)
    return SpareTable(np.array([TEN, FOUR_NINE, NINE]), made, taken)


def test_average_finds_the_law_behind_the_runs(table):
    boards = np.array([15.0, 16.5, 17.5, 18.5, 20.0])
    for angle in (2.0, 4.0, 6.0):
        found = table.strike_probability(boards, angle, 16.0)
        # about 150 runs count at a point: four standard errors, and 0.02 of smoothing bias
        allowed = 4 * np.sqrt(0.25 / 150) * np.ones(5) + 0.02
        assert (np.abs(found - true_strike(boards, angle)) < allowed).all()


def test_interval_covers_the_law():
    covered = []
    for seed in range(25):
        table = make_table(seed, 3000)
        for board in (16.0, 17.0, 18.0, 19.0):
            p, low, high, n = table.strike_interval(board, 4.0, 16.0)
            assert low <= p <= high
            assert n > 5
            covered.append(low <= true_strike(board, 4.0) <= high)
    # 100 intervals of 95 %, a little less for smoothing bias
    assert 0.87 < np.mean(covered) <= 1.0


def test_leaves_of_many_shots_agree_with_their_strike_chances(table):
    rng = np.random.default_rng(5)
    shots = rng.normal(17.5, 1.5, 500), rng.normal(4.0, 1.0, 500), rng.uniform(13, 19, 500)
    masks, chance = table.leave_distribution(*shots)
    assert chance.sum() == pytest.approx(1.0)
    assert (np.diff(chance) <= 0).all()
    # two ways to the same mean: linear interpolation of rates, and weights on the runs
    assert chance[masks == 0][0] == pytest.approx(table.strike_probability(*shots).mean(), abs=1e-9)


def test_runs_and_factors_give_the_average_by_hand(table):
    # the documented kernel, summed here over the public rows at the node 17, 1 deg, 16 mph
    runs = table.runs
    h_b, h_a, h_s = table.bandwidths
    n = len(table.board)
    assert np.array_equal(runs.origin[:n], np.arange(n))
    assert np.array_equal(runs.board[n:], 40.0 - table.board[runs.origin[n:]])
    assert np.array_equal(runs.leaves[runs.index][n:], mirror_mask(table.standing[runs.origin[n:]]))
    z = ((runs.board - 17.0) / h_b, (runs.angle_deg - 1.0) / h_a, (runs.speed_mph - 16.0) / h_s)
    weight = np.exp(-0.5 * (z[0] ** 2 + z[1] ** 2 + z[2] ** 2))
    expected = weight[runs.leaves[runs.index] == 0].sum() / weight.sum()
    # the factors leave out what lies over KERNEL_REACH bandwidths away
    cut = np.exp(-0.5 * KERNEL_REACH**2)
    assert table.strike_probability(17.0, 1.0, 16.0) == pytest.approx(expected, abs=cut)
    k_b, k_a, k_s = table.kernel_factors
    i, j, k = (int(np.argmin(np.abs(nodes - at))) for nodes, at in (
        (NODE_BOARDS, 17.0), (NODE_ANGLES, 1.0), (NODE_SPEEDS, 16.0)))
    assert np.allclose(k_b[i] * k_a[j] * k_s[k], weight, atol=1.01 * cut)


def test_one_sided_shots_leave_one_kind(table):
    masks, _ = table.leave_distribution([15.0], [4.0], [16.0])
    assert set(masks) == {0, TEN}


def test_mirror_of_a_shot_is_the_mirror_of_its_leaves(table):
    right = table.leave_distribution([16.2, 18.0], [3.0, 5.0], [15.0, 17.0])
    left = table.leave_distribution([23.8, 22.0], [-3.0, -5.0], [15.0, 17.0])
    assert np.array_equal(np.sort(mirror_mask(right[0])), np.sort(left[0]))
    for mask, p in zip(*right, strict=True):
        assert left[1][left[0] == int(mirror_mask(mask))][0] == pytest.approx(p)


def test_mirrored_masks_by_hand():
    names = {"7": "10", "4-9": "6-8", "3-10": "2-7", "5": "5", "1-2-4-7": "1-3-6-10"}
    for one, two in names.items():
        assert int(mirror_mask(leave_mask(one))) == leave_mask(two)


def test_outside_and_missing(table):
    assert table.outside([17.0, 17.0, 17.0, 45.0], [5, 9.0, 5, 5], [16, 16, 25, 16]).tolist() == [
        False, True, True, True]
    assert np.isnan(table.strike_probability(np.nan, 5.0, 16.0))
    edge = table.strike_probability(17.0, 5.0, 19.0)
    assert table.strike_probability(17.0, 5.0, 40.0) == edge
    with pytest.raises(InputError, match="no shot"):
        table.leave_distribution([np.nan], [5.0], [16.0])


def test_variance_from_the_runs_is_what_repeated_tables_show(table):
    rng = np.random.default_rng(9)
    shots = rng.normal(17.3, 1.0, 200), rng.normal(4.0, 0.8, 200), np.full(200, 16.0)
    rates = []
    for seed in range(40):
        other = make_table(100 + seed, 2500)
        rates.append(other.strike_probability(*shots).mean())
    predicted = other.table_variance(*other.run_weights(other.weigh(*shots)))
    # the spread of 40 values is known to 11 %; runs also fall differently: three of those
    assert np.std(rates) == pytest.approx(np.sqrt(predicted), rel=0.33)


def test_pins_from_shots_counts_gutters_and_pockets(table, spares):
    board = np.array([17.5] * 6 + [np.nan] * 2 + [15.0] * 2)
    codes = np.array([0] * 6 + [5] * 2 + [2] * 2)
    angle, speed = np.full(10, 4.0), np.full(10, 16.0)
    result = outcomes.pins_from_shots(board, angle, speed, codes, table=table, spares=spares)
    p = table.strike_probability([17.5, 15.0], 4.0, 16.0)
    assert result.strike_rate == pytest.approx((6 * p[0] + 2 * p[1]) / 10)
    assert result.pocket_rate == pytest.approx(0.6)
    assert result.pocket_carry == pytest.approx(p[0])
    assert result.probabilities.sum() == pytest.approx(1.0)
    assert result.probabilities[result.masks == 1023][0] == pytest.approx(0.2)
    assert result.strike_low < result.strike_rate < result.strike_high
    assert result.game_low < result.pins_per_game < result.game_high
    count = (10 - pins_in(result.masks)) @ result.probabilities
    assert result.mean_first_ball == pytest.approx(count)
    chances = outcomes.strike_chances(board, angle, speed, codes, table)
    assert chances.mean() == pytest.approx(result.strike_rate)


def test_more_strikes_more_pins(table, spares):
    at = [outcomes.pins_from_shots([b], [4.0], [16.0], table=table, spares=spares)
          for b in (15.5, 16.5, 17.4)]
    assert at[0].strike_rate < at[1].strike_rate < at[2].strike_rate
    assert at[0].pins_per_game < at[1].pins_per_game < at[2].pins_per_game


def test_all_gutter_balls(table, spares):
    result = outcomes.pins_from_shots([np.nan], [np.nan], [np.nan], [5], table=table, spares=spares)
    assert result.strike_rate == 0.0
    assert result.leaves() == [("1-2-3-4-5-6-7-8-9-10", 1.0)]


def test_codes_are_those_of_the_pocket_module():
    assert OUTCOMES[outcomes._POCKET] == "pocket"
    assert OUTCOMES[outcomes._GUTTER] == "gutter"


@pytest.mark.parametrize(
    ("board", "codes"), [([17.0, 17.0], [0]), ([], []), ([np.nan], [0]), ([17.0], [9])]
)
def test_bad_shots_are_refused(table, spares, board, codes):
    n = len(board)
    with pytest.raises(InputError):
        outcomes.pins_from_shots(board, [4.0] * n, [16.0] * n, codes, table=table, spares=spares)


def test_spread_behind_the_published_ten_pin_rate():
    # geometry of the lane (specification) and 95.9 % of 710 (R): see the docstring of spares
    from statistics import NormalDist

    from lanesim.lane import geometry as lane

    outside = lane.LANE_WIDTH_IN / 2 - 18.0  # from the pin's centre to the edge of the deck
    inside = lane.pin_contact_distance_m() / 0.0254
    z = NormalDist().inv_cdf(0.5 + 0.959 / 2)
    sd = (outside + inside) / 2 / z * 0.0254 / lane.BOARD_M
    assert sd == pytest.approx(DEFAULT_SPREAD_BOARDS, abs=0.02)


def test_conversion_is_the_best_aim_over_the_spread(spares):
    from statistics import NormalDist

    # ten boards make the 9 pin: aimed at the middle the ball must stay within five boards
    wide = SpareTable(spares.masks, spares.made, spares.taken, 3.0, published=False)
    expected = 2 * NormalDist(0, 3.0).cdf(5.5) - 1  # boards 11..20, aim 15 or 16: 5.5 and 4.5
    other = NormalDist(0, 3.0).cdf(5.5) + NormalDist(0, 3.0).cdf(4.5) - 1
    assert wide.conversion(NINE) == pytest.approx(other, abs=1e-9)
    assert wide.conversion(NINE) < expected
    assert wide.detail(NINE)["source"] == "simulated"
    tight = SpareTable(spares.masks, spares.made, spares.taken, 1.0, published=False)
    assert tight.conversion(NINE) > wide.conversion(NINE)


def test_published_rates_come_first(spares):
    for name, (made, tried) in PUBLISHED.items():
        detail = spares.detail(leave_mask(name))
        assert detail["source"] == "published"
        assert detail["rate"] == pytest.approx(made / tried)
        assert detail["low"] < detail["rate"] < detail["high"]


def test_a_players_spread_moves_every_spare():
    from lanesim.pins.spares import default_spares, player_spares, spread_at_pins
    from lanesim.player import LEVELS

    level = LEVELS["180"]
    # a straight line: 60 ft times the angle's SD in radians, and the laydown's, in squares;
    # a board is 41.5 in / 39
    angle = 720.0 * np.radians(level.sd_angle_deg) / (41.5 / 39)
    assert spread_at_pins(level) == pytest.approx(np.hypot(level.sd_laydown_board, angle), rel=1e-3)
    for name in ("10", "7", "9", "2-4-5"):
        leave = leave_mask(name)
        rates = [player_spares(LEVELS[k]).detail(leave) for k in ("elite", "200", "160")]
        assert [r["source"] for r in rates] == ["simulated"] * 3
        assert rates[0]["rate"] > rates[1]["rate"] > rates[2]["rate"]
    # without a player the professionals' published rates stand
    assert default_spares().source(leave_mask("10")) == "published"


def test_a_map_of_leaves_finds_the_law_behind_its_balls():
    # an invented law: a ball takes the 10 pin between boards 2 and 8 at any angle
    from lanesim.pins.spares import SpareMap

    rng = np.random.default_rng(4)
    boards, angles = np.arange(0.25, 40.0, 0.5), np.arange(-7.0, 7.1, 2.0)
    counts = np.zeros((1, len(boards), len(angles), 11))
    for i, b in enumerate(boards):
        hit = rng.random((len(angles), 40)) < (0.9 if 2 < b < 8 else 0.0)
        counts[0, i, :, 1] = hit.sum(axis=1)
        counts[0, i, :, 0] = 40 - hit.sum(axis=1)
    made = SpareMap(np.array([TEN]), counts, boards, angles)
    assert made.chance(TEN, np.array([5.0, 20.0, 38.0, np.nan, 50.0]),
                       np.full(5, -2.0)) == pytest.approx([0.9, 0, 0, 0, 0], abs=0.05)
    # the 7 pin is its mirror image
    assert made.chance(SEVEN, np.array([35.0, 5.0]), np.full(2, 2.0)) == pytest.approx(
        [0.9, 0.0], abs=0.05)
    with pytest.raises(InputError, match="4-9"):
        made.chance(FOUR_NINE, np.array([10.0]), np.array([0.0]))
    table = SpareTable.of_map(made, 1.0)
    rate = replace(table, published=False).conversion(TEN)
    # three boards of a normal law of SD 1 on either side, nine in ten
    assert rate == pytest.approx(0.9 * 0.997, abs=0.03)


def test_weights_and_decks_of_a_table():
    # invented: heavier balls strike more, the second deck strikes less
    rng = np.random.default_rng(6)
    n = 30_000
    board, angle = rng.uniform(14, 21, n), rng.uniform(0, 8, n)
    speed, weight = rng.uniform(12, 20, n), rng.uniform(11.2, 16.8, n)
    u = rng.random(n)
    strike = u < 0.1 * (weight - 10.0)
    other = u < 0.1 * (weight - 10.0) - 0.1
    table = CarryTable(board, angle, speed, np.where(strike, 0, TEN), (0.3, 0.7, 3.0, 0.8),
                       weight_lb=weight, ensemble=np.where(other, 0, TEN)[None])
    for lb in (12.0, 14.0, 16.0):
        found = table.for_ball(lb).strike_probability([16.0, 18.0], 4.0, 16.0)
        assert found == pytest.approx(0.1 * (lb - 10.0) * np.ones(2), abs=0.06)
    assert table.for_ball(8.0).ball_lb == 12.0  # the nearest
    at = np.arange(15.0, 20.1, 0.5)
    both = [t.strike_probability(at, 4.0, 16.0).mean() for t in (table, table.member(0))]
    assert both[0] - both[1] == pytest.approx(0.1, abs=0.03)  # paired: less noise than either
    with pytest.raises(InputError, match="0 to 0"):
        table.member(1)


def test_mirror_and_fallback_leaves(spares):
    eight = leave_mask("6-8")  # the mirror image of 4-9
    assert spares.detail(eight)["source"] == "simulated"
    assert spares.conversion(eight) == pytest.approx(spares.conversion(FOUR_NINE))
    odd = leave_mask("4-9-10")
    assert spares.detail(odd)["source"] == "fallback"
    assert spares.nearest(odd) == FOUR_NINE
    # contains the 9 pin (ten boards), the 10 (nine) and 4-9 (three): the hardest counts
    assert spares.conversion(odd) == pytest.approx(spares.conversion(FOUR_NINE))
    assert spares.conversion(FOUR_NINE) < spares.conversion(NINE)
    assert spares.nearest(leave_mask("2-5")) in spares._both_sides  # contains none


def test_misses_add_up(spares):
    for mask in (TEN, SEVEN, FOUR_NINE, leave_mask("1-2-4-10"), 1023):
        counts = spares.miss_counts(mask)
        assert counts.shape == (pins_in(mask),)
        assert counts.sum() == pytest.approx(1.0)
        assert (counts >= 0).all()
    with pytest.raises(InputError):
        spares.conversion(0)
