"""One ball into ten pins: what goes in, what comes out, what holds whatever the values."""

from __future__ import annotations

import numpy as np
import pytest

from lanesim.errors import InputError
from lanesim.lane import geometry as lane
from lanesim.pins import model
from lanesim.pins.table import mirror_mask
from lanesim.units import INCH_M, LB_KG


def test_pin_centre_of_gravity_is_in_the_published_range():
    # 5 40/64 .. 5 60/64 in (R: specification)
    _, cg, _, _ = model.pin_mass_properties()
    assert 5 + 40 / 64 <= cg / INCH_M <= 5 + 60 / 64


def test_pin_mass_properties_against_random_points():
    # the same body by sampling points in its bounding cylinder: no integral over the profile
    rng = np.random.default_rng(0)
    n = 400_000
    z = rng.uniform(0, 15, n)
    x, y = rng.uniform(-2.4, 2.4, (2, n))
    heights = np.linspace(0, 15, 1501)
    radius = np.interp(z, heights, [lane.pin_radius_m(h) / INCH_M for h in heights])
    inside = x**2 + y**2 < radius**2
    x, y, z = x[inside], y[inside], z[inside]
    mass, cg, trans, axial = model.pin_mass_properties()
    assert mass == pytest.approx(3.5 * LB_KG)
    assert cg / INCH_M == pytest.approx(z.mean(), abs=0.03)
    assert axial == pytest.approx(mass * np.mean(x**2 + y**2) * INCH_M**2, rel=0.01)
    assert trans == pytest.approx(mass * np.mean(x**2 + (z - z.mean()) ** 2) * INCH_M**2, rel=0.01)


def test_mirror_image():
    one = model.simulate(model.Hit(17.5, 5.0, 16.0), record=True)
    two = model.simulate(model.Hit(22.5, -5.0, 16.0), record=True)
    swap = {1: 1, 2: 3, 3: 2, 4: 6, 5: 5, 6: 4, 7: 10, 8: 9, 9: 8, 10: 7}
    assert [swap[p] for p in two.touched[:2]] == list(one.touched[:2])
    # each contact amplifies rounding some hundredfold: compare up to after the second pin
    early = 10
    ball, image = one.ball_xyz_m[:early], two.ball_xyz_m[:early]
    assert np.allclose(ball[:, 0], image[:, 0], atol=1e-3)
    assert np.allclose(ball[:, 1], -image[:, 1], atol=1e-3)
    assert int(mirror_mask(int(mirror_mask(712)))) == 712


def test_a_ball_that_touches_nothing_leaves_the_pins_alone():
    fall = model.roll_at(model.Hit(36.0, 0.0, 16.0), 0.5, 0.45, standing=0b1000000000)
    assert fall.standing == 0b1000000000
    assert fall.touched == ()
    assert fall.exit_board == pytest.approx(lane.y_to_board(0.45 + lane.HEAD_PIN_Y_M), abs=0.01)


def test_same_seed_same_fall():
    hit = model.Hit(18.2, 4.0, 15.0)
    one, two = (model.simulate(hit, seed=7) for _ in range(2))
    assert (one.standing, one.touched, one.exit_board) == (
        two.standing, two.touched, two.exit_board)
    falls = {model.simulate(hit, seed=k).exit_board for k in range(5)}
    assert len(falls) == 5  # racks differ


def test_a_single_pin_goes_down_when_the_ball_meets_it_and_stands_when_it_does_not():
    # geometry of the spots (D): ball centre within pin_contact_distance of the 10 pin's centre
    reach = lane.pin_contact_distance_m()
    spot = lane.PIN_SPOTS_IN[10][1] * INCH_M
    hit = model.Hit(20.0, 0.0, 16.0)
    for side, stands in ((0.97, False), (1.03, True)):
        fall = model.roll_at(hit, 0.3, spot + side * reach, standing=1 << 9)
        assert (fall.standing != 0) == stands
        assert (fall.touched == ()) == stands


def test_first_contact_by_board():
    reach = lane.pin_contact_distance_m()
    x, _, pin = model.first_contact(model.Hit(20.0, 0.0, 16.0))
    assert pin == 1
    assert x == pytest.approx(-reach)
    assert model.first_contact(model.Hit(10.0, 2.0, 16.0))[2] == 3
    assert model.first_contact(model.Hit(3.0, 2.0, 16.0))[2] in (6, 10)
    assert model.first_contact(model.Hit(30.0, -2.0, 16.0))[2] == 2


@pytest.mark.parametrize("bad", [{"board": 60}, {"angle_deg": 45}, {"speed_mph": float("nan")}])
def test_bad_hits_are_refused(bad):
    good = {"board": 17.5, "angle_deg": 6.0, "speed_mph": 16.0}
    with pytest.raises(InputError):
        model.Hit(**(good | bad))
