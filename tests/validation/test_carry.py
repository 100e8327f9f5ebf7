"""The shipped carry and spare tables against what has been published about strikes and leaves.

F observations took part in the calibration of the pin deck (benchmarks/pin_targets.py, CARRY.md);
H ones were held out. Where the model fails a published figure the test says so with xfail,
strictly, so that an improvement is noticed.
"""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pytest

from lanesim.pins.model import PinPhysics
from lanesim.pins.outcomes import pins_from_shots
from lanesim.pins.score import leave_mask, pins_in
from lanesim.pins.spares import default_spares
from lanesim.pins.table import NODE_ANGLES, NODE_BOARDS, NODE_SPEEDS, default_table

SPEED = 16.5


@pytest.fixture(scope="module")
def table():
    return default_table()


def leaves_at(table, boards, angles) -> dict[int, float]:
    """Non-strike leaves and their shares among the non-strikes, even over boards and angles."""
    b, a = (x.ravel() for x in np.meshgrid(boards, angles))
    masks, chance = table.leave_distribution(b, a, np.full(b.shape, SPEED))
    rest = chance[masks != 0].sum()
    return {int(m): float(p / rest) for m, p in zip(masks, chance, strict=True) if m}


def share_with(leaves: dict[int, float], name: str) -> float:
    """Share of the non-strikes in which all pins of `name` stand."""
    want = leave_mask(name)
    return sum(p for m, p in leaves.items() if m & want == want)


def test_table_is_complete(table):
    nodes = np.meshgrid(NODE_BOARDS, NODE_ANGLES, NODE_SPEEDS)
    assert np.isfinite(table.strike_probability(*nodes)).all()
    assert table.provenance["runs"] == len(table.board) >= 2000
    assert table.provenance["failed_runs_left_out"] <= 0.005 * len(table.board)


def professional(table, n=6000, sd=1.2):
    """Leaves of an invented professional: aim and spread as in the calibration (assumption)."""
    rng = np.random.default_rng(3)
    return pins_from_shots(rng.normal(17.0, sd, n), rng.normal(5.0, 0.9, n),
                           rng.normal(SPEED, 0.5, n), table=table)


def share_of(result, name: str) -> float:
    found = result.probabilities[result.masks == leave_mask(name)]
    return float(found.sum())


def test_strikes_at_the_best_entry(table):
    # F. About 85 % machine-thrown at 17.5 (S), best at about 6 deg (R)
    p, low, high, _ = table.strike_interval(17.5, 6.0, SPEED)
    assert p == pytest.approx(0.85, abs=0.10)
    assert low - 0.05 <= 0.85 <= high + 0.05


def test_best_board_at_six_degrees(table):
    # F. 17.5 (R); high carry on boards 17 to 18
    boards = np.arange(15.0, 20.01, 0.25)
    chance = table.strike_probability(boards, 6.0, SPEED)
    assert 16.75 <= boards[np.argmax(chance)] <= 18.25


def test_carry_of_a_professional_rises_with_the_angle(table):
    # C. Averaged over a professional's boards (SD 1.2 about 17), from 2 to 6 deg
    boards = np.random.default_rng(3).normal(17.0, 1.2, 4000)
    rates = [table.strike_probability(boards, a, SPEED).mean() for a in (2.0, 3.0, 4.0, 5.0, 6.0)]
    assert (np.diff(rates) > 0.0).all()
    assert rates[-1] > rates[0] + 0.1


@pytest.mark.xfail(strict=True, reason="a light hit at 15.5 strikes more often than one at 16, "
                   "where the 10 pin stands (CARRY.md)")
def test_strikes_at_five_degrees_have_one_maximum_over_the_boards(table):
    rates = table.strike_probability(np.arange(15.0, 19.01, 0.25), 5.0, SPEED)
    rising = np.diff(rates) > 0.0
    assert (np.diff(rising.astype(int)) <= 0).all()  # up, then down


def test_first_balls_of_professionals(table):
    # F. 61.1 % of 7,155 (R; television), 10, 7 and 9 pin 9.9, 4.7 and 1.2 % of both hands (R);
    # of a right-hander alone 11.6 and 3.0 (D, with 20 % left-handers)
    result = professional(table)
    assert result.strike_rate == pytest.approx(0.611, abs=0.05)
    assert 0.09 <= share_of(result, "10") <= 0.14
    assert 0.02 <= share_of(result, "7") <= 0.045
    assert share_of(result, "9") <= 0.03


@pytest.mark.xfail(strict=True, reason="on 17.5 strikes fall with the angle: the pocket lies at "
                   "17.2 (CARRY.md)")
def test_six_degrees_on_seventeen_and_a_half_are_not_worse_than_four(table):
    # H. High carry on boards 17-18 at 4-6 deg, best at about 6 (R)
    assert table.strike_probability(17.5, 6.0, SPEED) >= table.strike_probability(17.5, 4.0, SPEED)


@pytest.mark.xfail(strict=True, reason="3 to 4 %: light hits leave it too often (CARRY.md)")
def test_five_pins_of_a_professional(table):
    # C. at most 1 to 2.5 %
    assert share_of(professional(table), "5") <= 0.025


def test_splits_of_a_professional(table):
    # H. 3-10 0.5, 4-6-7-10 0.4, 7-10 0.7 % of 7,155 (R, both hands)
    result = professional(table)
    assert share_of(result, "7-10") == pytest.approx(53 / 7155, abs=0.006)
    assert share_of(result, "4-6-7-10") == pytest.approx(30 / 7155, abs=0.005)


def test_ten_pin_when_light_and_steep(table):
    # F. At 16.5 and steep the 10 pin stands (R)
    assert share_with(leaves_at(table, [16.5], [6.5, 7.0]), "10") > 0.5


def test_rest_of_the_good_hits_are_nines(table):
    # H. At 17.5 nearly all the rest nine (S)
    leaves = leaves_at(table, [17.5], [6.0])
    assert sum(p for m, p in leaves.items() if pins_in(m) == 1) > 0.75


def test_high_hits_leave_four_and_nine(table):
    # H. High leaves: 4, 9, 4-7, 4-9, 3-4-6-7-9-10 (R): the 4 or the 9 pin in most
    leaves = leaves_at(table, [18.5, 19.0], [4.0, 5.0, 6.0])
    four_or_nine = leave_mask("4-9")
    assert sum(p for m, p in leaves.items() if m & four_or_nine) > 0.5


def test_light_hits_leave_two_five_or_seven(table):
    # H. Light leaves: 2, 5-7, 2-8 kind (R): a 2, 5, 7 or 8 pin in a good part of them; the
    # others are the 10 pin of a light steep hit
    leaves = leaves_at(table, [15.0, 15.5, 16.0], [4.0, 5.0, 6.0])
    kinds = leave_mask("2-5-7-8")
    assert sum(p for m, p in leaves.items() if m & kinds) > 0.3


def test_head_pin_never_stands_after_a_pocket_hit(table):
    # mechanics: the ball touches it first
    assert share_with(leaves_at(table, np.arange(16.0, 19.1, 0.5), [3.0, 5.0]), "1") < 0.01


def test_carry_of_pocket_hits(table):
    # H. 74 % of pocket hits in one professional final
    # (R). Boards even over the pocket, 4 to 6 deg: professionals crowd nearer the middle, so the
    # model may be lower
    b, a = (x.ravel() for x in np.meshgrid(np.arange(16.6, 18.5, 0.1), [4.0, 5.0, 6.0]))
    assert table.strike_probability(b, a, SPEED).mean() == pytest.approx(0.74, abs=0.12)


@pytest.mark.parametrize(
    ("leave", "published", "allowed"),
    [
        # none but the 10 pin, from whose rate the spread was derived, took part. All R.
        ("10", 0.959, 0.03),
        ("7", 0.955, 0.03),
        ("9", 0.989, 0.03),
        pytest.param("3-10", 17 / 35, 0.17,  # two standard errors of 35 tries
                     marks=pytest.mark.xfail(strict=True, reason="68 %: comes too easily")),
        ("4-6-7-10", 1 / 30, 0.07),
        ("7-10", 1 / 145, 0.03),
    ],
)
def test_simulated_spares(leave, published, allowed):
    spares = default_spares()
    assert spares.detail(leave_mask(leave))["source"] == "published"
    assert spares.simulated(leave_mask(leave))["rate"] == pytest.approx(published, abs=allowed)


def test_spares_of_a_level(table):
    # S (a coach's page, low): about 90 % of the non-strikes at 190-200, half at 150-160; whatever
    # the leaves, a weaker player makes fewer
    from lanesim.pins.spares import player_spares
    from lanesim.player import LEVELS

    rng = np.random.default_rng(3)
    rates = []
    for name, sd in (("220", 2.0), ("200", 3.0), ("180", 4.0), ("160", 4.5)):
        shots = rng.normal(17.0, sd / 3.08 * 1.6, 3000), rng.normal(4.5, 1.0, 3000)
        rates.append(pins_from_shots(*shots, rng.normal(SPEED, 0.5, 3000), table=table,
                                     spares=player_spares(LEVELS[name])).spare_rate)
    assert (np.diff(rates) < 0.0).all()
    assert rates[0] > 0.75
    assert rates[-1] < 0.70


def test_both_tables_are_of_the_present_pin_deck(table):
    # no table of earlier contact parameters is left over
    now = asdict(PinPhysics())
    assert table.provenance["physics"] == now
    assert default_spares().provenance["physics"] == now


def test_average_of_a_professional():
    # H. 215 over 8,701 games, just under 60 % strikes (R). A spread of 1.2 boards and 0.9
    # deg about the best entry is an assumption: this holds the level, not a figure
    rng = np.random.default_rng(3)
    n = 4000
    result = pins_from_shots(
        rng.normal(17.0, 1.2, n), rng.normal(5.0, 0.9, n), rng.normal(SPEED, 0.3, n)
    )
    assert 0.45 < result.strike_rate < 0.75
    assert 200 < result.pins_per_game < 240
