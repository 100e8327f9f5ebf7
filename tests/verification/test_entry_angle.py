"""Entry angle, hook, roll and rings of oil: one definition in the reference and in the batch.

Expected numbers are derived in the open from the reference's path, sampled finely here.
"""

from __future__ import annotations

import numpy as np
import pytest

from lanesim.catalog import ball_names, load_ball, load_pattern_named
from lanesim.lane.friction import FrictionModel
from lanesim.motion import setup
from lanesim.motion.trajectory import throw, throw_many
from lanesim.player import Release

LINE = Release(18.6, 436, 45, 15, laydown_board=24, launch_angle_deg=-2.8)


def last_turn(shot, exactly):
    """Headings [deg] within the last turn, from the sampled curves, even in time.

    exactly: the last 360 degrees that the ball turned; otherwise, as the definition has it, the
    time of a turn at the rate that the ball has at the pins.
    """
    turns = shot.revolutions[-1] - shot.revolutions
    start = shot.t_s[-1] - 60.0 / shot.rev_rpm[-1]
    if exactly:
        start = np.interp(1.0, turns[::-1], shot.t_s[::-1])
    times = np.linspace(start, shot.t_s[-1], 400)
    return np.interp(times, shot.t_s, shot.heading_deg)


@pytest.mark.parametrize("name", ball_names())
def test_the_entry_angle_is_the_mean_over_the_last_turn(name):
    """Mean and half range of the heading over a turn at the pins' rate, within what the samples of
    0.01 s resolve; and over the last 360 degrees that the ball turned. Where a ball still hooks by
    half a degree a turn and gains a tenth of its revs in it, the two differ by up to 0.05 deg.
    """
    ball, pattern = load_ball(name), load_pattern_named("medium-42")
    for release in (LINE, Release(17.0, 300, 45, 15, laydown_board=20, launch_angle_deg=-1.0)):
        one = throw(ball, release, pattern)
        if not one.first_pin:
            continue
        headings = last_turn(one, exactly=False)
        assert one.entry_angle_deg == pytest.approx(np.mean(headings), abs=0.01)
        assert one.entry_swing_deg == pytest.approx(np.ptp(headings) / 2, abs=0.02)
        headings = last_turn(one, exactly=True)
        assert one.entry_angle_deg == pytest.approx(np.mean(headings), abs=0.05)
        many = throw_many(ball, release.row(), pattern)
        assert many.entry_angle_deg[0] == pytest.approx(one.entry_angle_deg, abs=0.02)
        assert many.oil_rings[0] == pytest.approx(one.oil_rings, abs=0.02)
        assert many.oil_flare_in[0] == pytest.approx(one.oil_flare_in, rel=0.02, abs=0.01)


def test_the_swing_of_a_rolling_ball_is_seen():
    """An asymmetric ball that rolls swings by more than a tenth of a degree either way."""
    shot = throw(load_ball("strong-asym"), LINE, load_pattern_named("medium-42"))
    assert shot.first_pin and 0.05 < shot.entry_swing_deg < 0.5


def test_no_hook_and_no_roll_of_a_ball_that_goes_straight():
    """Thrown end over end it turns by less than a degree: nothing is claimed, in either engine."""
    ball, pattern = load_ball("plastic-spare"), load_pattern_named("medium-42")
    straight = Release(19, 200, 0, 0, laydown_board=20, launch_angle_deg=0.0)
    one, many = throw(ball, straight, pattern), throw_many(ball, straight.row(), pattern)
    assert abs(one.heading_deg[-1] - one.heading_deg[0]) < 1.0
    assert np.isnan([one.hook_ft, one.roll_ft, many.hook_ft[0], many.roll_ft[0]]).all()
    one = throw(load_ball("strong-solid"), LINE, pattern)
    many = throw_many(load_ball("strong-solid"), LINE.row(), pattern)
    assert abs(one.heading_deg[-1] - one.heading_deg[0]) > 1.0
    assert 0 < one.hook_ft < one.roll_ft < 60
    assert many.hook_ft[0] == pytest.approx(one.hook_ft, abs=0.5)


def test_rings_of_oil_end_with_the_oil():
    """As many as the ball has turned where the last oiled foot ends; none on a dry lane."""
    ball, pattern = load_ball("strong-solid"), load_pattern_named("medium-42")
    shot = throw(ball, LINE, pattern)
    end = np.flatnonzero(pattern.volume_ul.sum(axis=1) > 0)[-1] + 1
    assert setup.end_of_oil_m(pattern.film_m("right")) == pytest.approx(end * 0.3048)
    assert shot.oil_rings == pytest.approx(np.interp(end, shot.x_ft, shot.revolutions), abs=1e-9)
    assert 5 < shot.oil_rings < shot.revolutions[-1]
    assert 0 < shot.oil_flare_in < shot.flare_in[-1]
    dry = pattern.with_volume(np.zeros_like(pattern.volume_ul))
    assert throw(ball, LINE, dry).oil_rings == 0.0
    assert throw_many(ball, LINE.row(), dry).oil_rings[0] == 0.0


def test_a_ball_that_stops_is_not_past_the_head_pin():
    """Slowed by a gale that no air makes: it stops on the lane, and that is what is said."""
    gale = FrictionModel(drag_coefficient=2.0, air_density_kgm3=2.0)
    ball, pattern = load_ball("plastic-spare"), load_pattern_named("medium-42")
    backward = Release(8, 750, 180, 0, laydown_board=20, launch_angle_deg=0.0)
    shot = throw(ball, backward, pattern.with_volume(np.zeros_like(pattern.volume_ul)),
                 friction=gale)
    assert shot.x_ft[-1] < 59 and shot.outcome == "stopped" and shot.first_pin == 0
