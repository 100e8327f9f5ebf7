"""A uniform ball on friction that is constant, or varies any way it likes: textbook mechanics.

Sources beside each check. Closed forms: textbook mechanics of a sliding sphere (status D, derived
in core_setup.sphere_path); the problems with numbers: facts page, status as noted there.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from core_setup import (
    DRY,
    FOOT_M,
    INCH_M,
    MIDDLE_M,
    NO_PINS,
    bare_parameters,
    released_spin,
    slip_of,
    sphere_path,
    start_state,
)

from lanesim.lane.geometry import BALL_RADIUS_M, LANE_WIDTH_M
from lanesim.motion import batch, reference
from lanesim.motion import kernels as k
from lanesim.units import GRAVITY_MS2, MICRON_M, MPH_MS

# (speed m/s, heading deg, rpm, rotation deg, tilt deg): hooking, straight, back-up, no spin at all
RELEASES = [
    (8.3, -1.8, 436, 45, 15),
    (8.3, 0.0, 300, 0, 0),
    (7.5, 2.0, 350, -30, 40),
    (9.0, 1.0, 0, 0, 0),
]
KAPPAS = [0.4, 0.34, 2.0 / 3.0]  # solid sphere, a bowling ball of k = 2.50 in, a thin shell


def throw_uniform(release, mu, kappa, film=DRY, **changes):
    speed, heading, rpm, rotation, tilt = release
    par = bare_parameters(mu=mu, kappa=kappa, **changes)
    a = math.radians(heading)
    velocity = speed * np.array([math.cos(a), math.sin(a)])
    omega = released_spin(rev_rpm=rpm, rotation_deg=rotation, tilt_deg=tilt, heading_deg=heading)
    y = MIDDLE_M if par[k.P_LANE_WIDTH] > 10 else 0.5 * LANE_WIDTH_M
    state = start_state(velocity=tuple(velocity), omega=tuple(omega), par=par, y=y)
    return velocity, omega, par, state, reference.integrate(state, film, par, NO_PINS, rtol=1e-10)


@pytest.mark.parametrize("release", RELEASES)
@pytest.mark.parametrize("kappa", KAPPAS)
def test_parabola_then_straight(release, kappa):
    """Path and velocity at forty times against the closed form (textbook, D): below 1 um."""
    mu = 0.21  # so that the shell without spin, too, rolls before the end
    velocity, omega, _, state, path = throw_uniform(release, mu, kappa)
    for t in np.linspace(0, path.final_time, 40):
        moved, v, t_roll = sphere_path(
            t, velocity=velocity, omega=omega, mu=mu, kappa=kappa, radius=BALL_RADIUS_M
        )
        at = path.state_at(t)
        assert np.allclose(at[:2] - state[:2], moved, rtol=0, atol=1e-6)
        assert np.allclose(at[2:4], v, rtol=0, atol=2e-6)  # sliding ends at 1e-6 m/s of slip
    assert [s.regime for s in path.segments] == [reference.SLIDE, reference.ROLL]
    assert path.segments[0].t[-1] == pytest.approx(t_roll, abs=1e-6)


def test_solid_sphere_two_sevenths():
    """t_roll = 2 u0/(7 mu g), v_f = 5/7 v0 + 2/7 S0 (textbook, D), written out for the sphere."""
    velocity, omega, par, state, path = throw_uniform(RELEASES[0], 0.15, 0.4)
    u0 = np.linalg.norm(slip_of(state, par))
    assert path.segments[0].t[-1] == pytest.approx(2 * u0 / (7 * 0.15 * GRAVITY_MS2), abs=1e-6)
    surface = BALL_RADIUS_M * np.array([omega[1], -omega[0]])
    expected = 5 / 7 * velocity + 2 / 7 * surface
    assert np.allclose(path.final_state[2:4], expected, rtol=0, atol=1e-6)


@pytest.mark.parametrize("kappa", KAPPAS)
def test_batch_follows_the_same_closed_form(kappa):
    """The batch engine's end of slip, end position and final velocity against the closed form.

    Slip below 3 mm/s is finished in closed form without moving the ball, so positions agree to
    that speed times the time left (below 1e-6 s): well under 0.1 mm.
    """
    mu = 0.12
    release = RELEASES[0]
    par = bare_parameters(mu=mu, kappa=kappa)
    speed, heading, rpm, rotation, tilt = release
    shot = np.array([[MIDDLE_M, math.radians(heading), speed, rpm * 2 * math.pi / 60,
                      math.radians(rotation), math.radians(tilt), 0.3]])
    row = batch.run(shot, np.zeros(1), np.array([[1.0, 0, 0]]), par[None], DRY, NO_PINS).rows[0]
    a = math.radians(heading)
    velocity = speed * np.array([math.cos(a), math.sin(a)])
    omega = released_spin(rev_rpm=rpm, rotation_deg=rotation, tilt_deg=tilt, heading_deg=heading)
    moved, v, t_roll = sphere_path(
        row[k.R_TIME], velocity=velocity, omega=omega, mu=mu, kappa=kappa, radius=BALL_RADIUS_M
    )
    assert row[k.R_END] == k.END_PAST
    assert np.allclose(row[[k.R_VX, k.R_VY]], v, rtol=0, atol=1e-5)
    assert np.allclose(row[[k.R_X, k.R_Y]] - [0, MIDDLE_M], moved, rtol=0, atol=1e-4)
    at_roll, _, _ = sphere_path(
        t_roll, velocity=velocity, omega=omega, mu=mu, kappa=kappa, radius=BALL_RADIUS_M
    )
    assert row[k.R_ROLL_X] == pytest.approx(at_roll[0], abs=2e-3)


@pytest.mark.parametrize("seed", range(4))
def test_slip_direction_and_final_velocity_do_not_depend_on_the_map(seed):
    """Uniform ball, pivot torque off, random film: the slip keeps its direction, and
    v_f = (v0 + kappa S0)/(1 + kappa) whatever the map.

    Source: Aghamohammadi, arXiv:1106.2247, for constant mu (status of the physics page: table of
    section 12); for mu(x, y) derived: du/dt = -(1 + 1/kappa) mu g u/|u| is along u at all times.
    """
    rng = np.random.default_rng(seed)
    film = rng.uniform(0, 6, (60, 39)) * MICRON_M * (rng.random((60, 39)) < 0.5)
    film[35:] *= 0.1
    kappa = 0.345
    velocity, omega, par, state, path = throw_uniform(
        (7.2, -0.3, 420, 30, 10), 0.28, kappa, film=film, wide=False, end_x=18.0
    )
    first = path.segments[0]
    direction = slip_of(state, par) / np.linalg.norm(slip_of(state, par))
    mus = []
    for t in np.linspace(0, first.t[-1] * 0.999, 50):
        at = first.dense(t)
        slip = slip_of(at, par)
        sideways = slip[0] * direction[1] - slip[1] * direction[0]
        assert abs(sideways) < 1e-7, "slip turned away from its first direction [m/s]"
        mus.append(k.slide_rates(*at, film, par)[12])
    assert max(mus) > 1.5 * min(mus), "the map must vary along the path for this check to bite"
    assert path.segments[1].regime == reference.ROLL, "the ball must roll before the end"
    surface = BALL_RADIUS_M * np.array([omega[1], -omega[0]])
    expected = (velocity + kappa * surface) / (1 + kappa)
    assert np.allclose(path.final_state[2:4], expected, rtol=0, atol=1e-6)


# The facts page does not say which g each number used. The printed digits decide it: all of the
# times and distances (status D) round correctly with 9.81 m/s^2 and not with 9.8, the acceleration
# and the angular acceleration (status R) with 9.8. Each is checked with its own g.


def slide_without_spin(speed, mu, gravity):
    par = bare_parameters(mu=mu, radius=0.11, gravity=gravity)
    state = start_state(velocity=(speed, 0), omega=(0, 0, 0), par=par)
    return par, state, reference.integrate(state, DRY, par, NO_PINS, rtol=1e-10).segments[0]


def test_textbook_problem_skidding_ball():
    """R 0.11 m, 8.5 m/s, no spin, mu 0.21 -> 1.179 s, 8.59 m, 6.07 m/s (facts page, D).

    Tolerances: half the last printed digit.
    """
    _, _, slide = slide_without_spin(8.5, 0.21, 9.81)
    assert slide.t[-1] == pytest.approx(1.179, abs=5e-4)
    assert slide.states[0, -1] == pytest.approx(8.59, abs=5e-3)
    assert slide.states[2, -1] == pytest.approx(6.07, abs=5e-3)


def test_textbook_problem_with_accelerations():
    """v 8.1, mu 0.19, R 0.11 m -> a 1.86 m/s^2, alpha 42.3 rad/s^2 (both R), 1.242 s, 8.62 m,
    5.786 m/s (D): facts page. Tolerances: half the last printed digit.
    """
    par, state, _ = slide_without_spin(8.1, 0.19, 9.8)
    rates = k.slide_rates(*state, DRY, par)
    assert -rates[2] == pytest.approx(1.86, abs=5e-3)
    assert rates[5] / par[k.P_I1] == pytest.approx(42.3, abs=0.05)
    _, _, slide = slide_without_spin(8.1, 0.19, 9.81)
    assert slide.t[-1] == pytest.approx(1.242, abs=5e-4)
    assert slide.states[0, -1] == pytest.approx(8.62, abs=5e-3)
    assert slide.states[2, -1] == pytest.approx(5.786, abs=5e-4)


def test_textbook_problem_in_feet():
    """27 in round, k 3.28 in, 20 ft/s, mu 0.20 -> rolls after 18.6566 ft (R) at 12.637 ft/s.

    Facts page. g is not stated there; 18.6566 ft follows with 32.2 ft/s^2 (the engineering value):
    distance = (v0^2 - v_f^2)/(2 mu g).
    """
    radius = 27 * INCH_M / (2 * math.pi)
    kappa = (3.28 * INCH_M / radius) ** 2
    par = bare_parameters(mu=0.20, kappa=kappa, radius=radius, gravity=32.2 * FOOT_M)
    state = start_state(velocity=(20 * FOOT_M, 0), omega=(0, 0, 0), par=par)
    slide = reference.integrate(state, DRY, par, NO_PINS, rtol=1e-10).segments[0]
    assert slide.states[0, -1] / FOOT_M == pytest.approx(18.6566, abs=5e-4)
    assert slide.states[2, -1] / FOOT_M == pytest.approx(12.637, abs=1e-3)


def test_no_slip_from_the_start_rolls_at_once():
    """A ball released rolling keeps its velocity: mechanics."""
    par = bare_parameters(mu=0.2)
    speed = 18 * MPH_MS
    state = start_state(velocity=(speed, 0), omega=(0, speed / BALL_RADIUS_M, 0), par=par)
    path = reference.integrate(state, DRY, par, NO_PINS, rtol=1e-10)
    assert [s.regime for s in path.segments] == [reference.ROLL]
    assert np.allclose(path.final_state[2:4], [speed, 0], rtol=0, atol=1e-9)
