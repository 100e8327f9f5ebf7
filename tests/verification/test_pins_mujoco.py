"""The package's pin deck against an independent engine (MuJoCo, `mujoco_rack`), ball by ball.

Same pins, same restitutions and frictions, another code for contact, shape and stepping. The two
differ in known ways (MuJoCo's pin is up to 0.37 in too slim at the neck, its blows last a
millisecond), and pins amplify everything; so what is compared are means over hits.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("mujoco")

import mujoco_rack

from lanesim.pins.model import Hit, PinPhysics, simulate
from lanesim.pins.score import pins_in
from lanesim.units import MPH_MS

OURS = replace(PinPhysics(), restitution_fade=0.0, spot_sd_in=1.0 / 16.0, friction_sd=0.1,
               pin_mass_sd=0.0, pin_cg_sd_in=0.0)
THEIRS = mujoco_rack.PinPhysics(
    ball_pin_restitution=OURS.ball_pin_restitution, pin_pin_restitution=OURS.pin_pin_restitution,
    deck_restitution=OURS.deck_restitution, kickback_restitution=OURS.kickback_restitution,
    ball_pin_friction=OURS.ball_pin_friction, pin_pin_friction=OURS.pin_pin_friction,
    pin_deck_friction=OURS.pin_deck_friction, ball_deck_friction=OURS.ball_deck_friction,
    kickback_friction=OURS.kickback_friction, contact_ms=0.8, step_ms=0.2)


def test_ball_after_the_head_pin_alone():
    # heading and speed of the ball after its first blow, without friction (what is left is the
    # shape and the restitution): 4 % and 0.4 deg
    ours = replace(OURS, ball_pin_friction=0.0, pin_deck_friction=0.0)
    theirs = replace(THEIRS, ball_pin_friction=0.0, pin_deck_friction=0.0)
    for board in (17.0, 18.0, 19.0):
        hit = Hit(board, 5.0, 16.5)
        x, y, _ = mujoco_rack.first_contact(hit)
        from lanesim.pins.model import roll_at

        one = roll_at(hit, x, y, ours, standing=1, record=True)
        two = mujoco_rack.roll_at(hit, x, y, theirs, standing=1, record=True)
        speed, heading = [], []
        for fall in (one, two):
            late = (fall.time_s > 0.03) & (fall.time_s < 0.06)
            vx, vy = (np.polyfit(fall.time_s[late], fall.ball_xyz_m[late, k], 1)[0]
                      for k in (0, 1))
            speed.append(math.hypot(vx, vy) / (16.5 * MPH_MS))
            heading.append(math.degrees(math.atan2(vy, vx)))
        assert speed[0] == pytest.approx(speed[1], abs=0.04)
        assert heading[0] == pytest.approx(heading[1], abs=0.4)


@pytest.mark.slow
@pytest.mark.parametrize(("board", "angle"), [(17.5, 6.0), (16.0, 4.0), (18.75, 5.0)])
def test_pins_left_and_exit_agree_in_the_mean(board, angle):
    hit = Hit(board, angle, 16.5)
    one = [simulate(hit, OURS, seed=k) for k in range(200)]
    two = [mujoco_rack.simulate(hit, THEIRS, seed=k) for k in range(60)]
    left = [np.array([pins_in(f.standing) for f in runs], float) for runs in (one, two)]
    error = math.hypot(*(x.std() / math.sqrt(len(x)) for x in left))
    # three standard errors and half a pin for what is built otherwise
    assert abs(left[0].mean() - left[1].mean()) < 3 * error + 0.5
    exits = [np.nanmedian([f.exit_board for f in runs]) for runs in (one, two)]
    assert exits[0] == pytest.approx(exits[1], abs=1.5)
