"""The ball for spares: what it is worth, and that it is taken along where it is."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from bag_events import small_event

from lanesim.bag.conditions import Condition
from lanesim.bag.plan import plan
from lanesim.bag.spare_ball import HALF_BOARDS, near_shares, straight_spread
from lanesim.catalog import load_ball


def test_the_straight_spread_gives_back_the_share_of_a_normal():
    for sd in (2.0, 3.0, 8.0):
        share = 2.0 * NormalDist(0.0, sd).cdf(HALF_BOARDS) - 1.0
        assert straight_spread(share) == pytest.approx(sd, rel=1e-9)
    assert 0.1 < straight_spread(1.0) < 2.0 and straight_spread(0.0) == 15.0


def test_a_ball_that_hardly_hooks_meets_the_corner_pin_more_often(tmp_path):
    """Qualitative, common practice without a source: plastic is for corner pins because it goes
    straight where a strong reactive ball hooks away."""
    event = small_event(tmp_path)
    one = event.rounds[0]
    condition = Condition(0, one.name, 0, 2, 1.0, one.pattern)
    balls = [load_ball(name) for name in ("plastic-spare", "strong-solid")]
    plastic, strong = near_shares(event, condition, balls, seed=3)
    assert plastic > strong and strong >= 0.0 and plastic <= 1.0
    assert np.array_equal(near_shares(event, condition, balls[:1], seed=3), [plastic])


def test_an_optional_ball_for_spares_is_taken_along_where_it_is_worth_it(tmp_path):
    """It is worth more than the least gain here; with a least gain above that it stays at home."""
    event = small_event(tmp_path)
    spare = replace(event.candidates[3], required=False)
    event = replace(event, candidates=(event.candidates[0], spare), rounds=event.rounds[1:],
                    carried=2)
    taken = plan(event, shots=256, resamples=10)
    (one,) = taken.spares
    assert one.worth > 0.5 and one.made > one.otherwise
    assert "plastic-spare" in taken.best.drilled
    loss = next(b.adds for b in taken.balls if b.name == "plastic-spare")
    assert loss == pytest.approx(one.worth, abs=1e-6)
    home = plan(replace(event, least_gain=one.worth + 0.5), shots=256, resamples=10)
    assert "plastic-spare" not in home.best.drilled
    assert home.best.value == pytest.approx(taken.best.value - one.worth, abs=0.02)
