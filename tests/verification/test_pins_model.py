"""The pin deck's rigid bodies against mechanics and the published pin."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lanesim.errors import InputError
from lanesim.lane import geometry as lane
from lanesim.pins import model
from lanesim.pins.table import mirror_mask
from lanesim.units import INCH_M, LB_KG, MPH_MS

mujoco = pytest.importorskip("mujoco")


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


def test_simulated_shape_follows_the_published_profile():
    # what a ball or another pin touches: belly 2-7.6 in and head above 12.6 in. The neck between
    # is a capsule and leaves a hollow; that is stated, not tested away.
    assert model.profile_error_in(2.0, 7.6) < 0.05
    assert model.profile_error_in(12.6, 14.9) < 0.10
    widest = max(model.model_radius_in(h) for h in np.linspace(0, 15, 301))
    assert 2 * widest == pytest.approx(4.766, abs=0.002)  # (M) diameter of the belly


@pytest.mark.parametrize("restitution", [0.2, 0.5, 0.7, 0.9])
def test_damping_ratio_against_its_equation_of_motion(restitution):
    zeta = model.damping_ratio(restitution)
    x, v, dt = 0.0, 1.0, 1e-4
    while x >= 0.0:  # spring constant and mass 1
        force = -x - 2 * zeta * v
        if force > 0.0 and v < 0.0:
            break  # it would pull: contact is over
        v += force * dt
        x += v * dt
    assert -v == pytest.approx(restitution, abs=2e-3)


@pytest.mark.parametrize("restitution", [0.4, 0.6, 0.7, 0.8])
def test_restitution_in_the_engine(restitution):
    physics = model.PinPhysics()
    engine = mujoco.MjModel.from_xml_string(f"""
      <mujoco><option gravity="0 0 0" timestep="{physics.step_ms * 1e-3}"/>
      <worldbody><geom name="floor" type="plane" size="1 1 1"/>
      <body pos="0 0 0.101"><freejoint/><geom name="ball" size="0.1" mass="2"/></body></worldbody>
      <contact><pair geom1="floor" geom2="ball" friction="0 0" solimp="0.97 0.97 0.001 0.5 2"
        solref="{model._solref(restitution, physics.contact_ms)}"/></contact></mujoco>""")
    data = mujoco.MjData(engine)
    came_back = []
    for gap in np.linspace(0.0, 3.0 * physics.step_ms * 1e-3, 16, endpoint=False):
        mujoco.mj_resetData(engine, data)
        data.qpos[2] = 0.1 + 1e-3 + gap  # every phase of the first step, a step being 1.5 mm
        data.qvel[2] = -3.0
        mujoco.mj_step(engine, data, 40)
        came_back.append(data.qvel[2] / 3.0)
    stepped = model.effective_restitution(restitution, physics.contact_ms, physics.step_ms)
    assert np.mean(came_back) == pytest.approx(stepped, abs=0.01)
    # and it tends to the nominal one with the step
    assert model.effective_restitution(restitution, 2.0, 0.01) == pytest.approx(
        restitution, abs=0.01)


def test_head_on_hit_slows_the_ball_as_mechanics_says():
    # Impact of a sphere on a free body: the pin resists with 1/m_eff = 1/m + h^2/I, h the height
    # of the blow below its centre of gravity; v'/v = 1 - (1 + e) m_eff/(M + m_eff).
    # The formula is for a free pin: no friction at its base (with it the pin resists more).
    physics = model.PinPhysics(ball_pin_friction=0.0, pin_deck_friction=0.0)
    hit = model.Hit(20.0, 0.0, 16.0)
    x, y, pin = model.first_contact(hit)
    assert pin == 1
    # a single blow depends on where in a step it begins (3.6 mm of travel): take them all
    speeds = []
    for shift in np.linspace(0.0, 16.0 * MPH_MS * physics.step_ms * 1e-3, 12, endpoint=False):
        fall = model.roll_at(hit, x - shift, y, physics, standing=1, record=True)
        t, ball = fall.time_s, fall.ball_xyz_m
        after = (t > 0.015) & (t < 0.04)
        speeds.append(np.polyfit(t[after], ball[after, 0], 1)[0])
    speed = np.mean(speeds)
    mass, cg, trans, _ = model.pin_mass_properties()
    blow = 4.5 * INCH_M  # belly and ball meet at about 4.5 in
    m_eff = 1.0 / (1.0 / mass + (cg - blow) ** 2 / trans)
    ball_mass = 15.0 * LB_KG
    restitution = model.effective_restitution(
        physics.ball_pin_restitution, physics.contact_ms, physics.step_ms)
    expected = 1.0 - (1.0 + restitution) * m_eff / (ball_mass + m_eff)
    assert speed / (16.0 * MPH_MS) == pytest.approx(expected, abs=0.015)


def test_energy_never_grows():
    engine = mujoco.MjModel.from_xml_string(
        model._xml(model.PinPhysics(), model.Hit(17.5, 6.0, 16.5)))
    engine.opt.enableflags |= mujoco.mjtEnableBit.mjENBL_ENERGY
    engine.body_gravcomp[:] = 0.0
    data = mujoco.MjData(engine)
    hit = model.Hit(17.5, 6.0, 16.5)
    x, y, _ = model.first_contact(hit)
    q, v = data.qpos.reshape(11, 7), data.qvel.reshape(11, 6)
    a, speed = math.radians(6.0), 16.5 * MPH_MS
    q[0, :2] = x - 0.02, y
    v[0, :2] = speed * math.cos(a), speed * math.sin(a)
    v[0, 3:5] = -v[0, 1] / hit.radius_m, v[0, 0] / hit.radius_m
    mujoco.mj_forward(engine, data)
    start = low = data.energy.sum()
    while data.time < 0.4:  # all the hard blows
        mujoco.mj_step(engine, data, 8)
        now = data.energy.sum()
        # what a spring holds during a blow comes back within 2 ms: compare with the last low
        assert now < start * 1.0001
        low = min(low, now)
    assert low < 0.8 * start


def test_mirror_image():
    one = model.simulate(model.Hit(17.5, 5.0, 16.0), record=True)
    two = model.simulate(model.Hit(22.5, -5.0, 16.0), record=True)
    swap = {1: 1, 2: 3, 3: 2, 4: 6, 5: 5, 6: 4, 7: 10, 8: 9, 9: 8, 10: 7}
    # each contact amplifies rounding some hundredfold: compare up to after the second pin
    assert [swap[p] for p in two.touched[:2]] == list(one.touched[:2])
    early = int(np.searchsorted(one.time_s, 0.045))
    ball, image = one.ball_xyz_m[:early], two.ball_xyz_m[:early]
    assert early > 5
    # 3 mm on 300 mm: the engine's iterative collider gives a normal good to about 1 %
    assert np.allclose(ball[:, 0], image[:, 0], atol=3e-3)
    assert np.allclose(ball[:, 1], -image[:, 1], atol=3e-3)
    assert int(mirror_mask(int(mirror_mask(712)))) == 712


def test_a_ball_that_touches_nothing_leaves_the_pins_alone():
    fall = model.roll_at(model.Hit(36.0, 0.0, 16.0), 0.5, 0.45, standing=0b1000000000)
    assert fall.standing == 0b1000000000
    assert fall.touched == ()


def test_same_seed_same_fall():
    hit = model.Hit(18.2, 4.0, 15.0)
    one, two = (model.simulate(hit, seed=7) for _ in range(2))
    assert (one.standing, one.touched, one.exit_board) == (
        two.standing, two.touched, two.exit_board)


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
