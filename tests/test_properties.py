"""Mirror symmetry and conservation as properties of the core, over random states and shots.

Reflection y -> W - y: positions and velocities flip their y; spin and angular momentum, axial,
flip x and z; the film's boards turn round. The ball itself is reflected too, Q -> M Q M with
M = diag(1, -1, 1), which leaves the principal moments as they are and takes the quaternion
(q0, q1, q2, q3) to (q0, -q1, q2, -q3), the PAP (axial: where +omega leaves) to (-p1, p2, -p3).
All of it textbook mechanics (D); no number here comes from the code.
"""

from __future__ import annotations

import numpy as np
import pytest
from core_setup import matrix_of, slip_of, spin_of
from hypothesis import given, settings
from hypothesis import strategies as st

from lanesim.catalog import ball_names, load_ball, load_pattern_named, pattern_names
from lanesim.lane.geometry import LANE_WIDTH_M
from lanesim.motion import batch, reference, setup
from lanesim.motion import kernels as k
from lanesim.motion.trajectory import throw, throw_many
from lanesim.player import Release

balls = st.sampled_from(ball_names()).map(load_ball)
patterns = st.sampled_from(pattern_names()).map(load_pattern_named)
releases = st.builds(
    lambda *values: np.array(values),
    st.floats(10, 30), st.floats(-3, 1), st.floats(13, 23), st.floats(100, 550),
    st.floats(0, 85), st.floats(-5, 45), st.floats(-180, 180),
)

MIRROR_STATE = np.array([1, -1, 1, -1, -1, 1, -1, 1, -1, 1, -1, 1.0])


def mirrored_state(state):
    out = state * MIRROR_STATE
    out[1] += LANE_WIDTH_M
    return out


def random_state(seed, par):
    """Anything a ball could be doing on the lane."""
    rng = np.random.default_rng(seed)
    q = rng.normal(size=4)
    q /= np.linalg.norm(q)
    turn = matrix_of(q)
    spin = rng.normal(size=3) * 40
    momentum = turn @ (par[k.P_I1 : k.P_I3 + 1] * (turn.T @ spin))
    return np.array([
        rng.uniform(0, 18), rng.uniform(0, LANE_WIDTH_M), rng.uniform(4, 10), rng.normal(),
        *momentum, *q, rng.uniform(0, 2e-6),
    ])


@settings(max_examples=60, deadline=None)
@given(balls, patterns, st.integers(0, 2**32 - 1))
def test_right_hand_sides_mirror(ball, pattern, seed):
    """Rates at the mirrored state are the mirrored rates, sliding and rolling."""
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    state = random_state(seed, par)
    film, flipped = pattern.film_m("right"), pattern.film_m("left")
    other = mirrored_state(state)
    for derivative, extra, mirrored_extra in (
        (k.slide_derivative, (), ()), (k.roll_derivative, (1.0,), (-1.0,)),
    ):
        here, there = np.empty(12), np.empty(12)
        derivative(state, *extra, film, par, here)
        derivative(other, *mirrored_extra, flipped, par, there)
        assert np.allclose(there, here * MIRROR_STATE, rtol=1e-9, atol=1e-11)


@settings(max_examples=25, deadline=None)
@given(balls, patterns, releases)
def test_whole_shots_mirror_in_the_batch(ball, pattern, release):
    """A release mirrored outside the core comes out mirrored, on the mirrored film.

    Rotation and tilt change sign with the heading; the phase stays. Rounding differs between the
    two (sums are not taken in mirrored order), so steps near a limit may be chosen differently:
    the comparison is at the engine's promise, 0.02 board and 0.02 deg.
    """
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    shot = setup.shot_matrix(release)
    other = shot * np.array([1, -1, 1, 1, -1, -1, 1, 1.0])
    other[:, 0] = LANE_WIDTH_M - shot[:, 0]
    pap = ball.inertia.pap_array
    pins = setup.pin_array()
    one = batch.run(shot, np.zeros(1), pap[None], par[None], pattern.film_m("right"), pins).rows[0]
    two = batch.run(other, np.zeros(1), (pap * [-1, 1, -1])[None], par[None],
                    pattern.film_m("left"), pins).rows[0]
    assert one[k.R_END] == two[k.R_END]
    tolerance = 0.02 * par[k.P_BOARD]
    assert one[k.R_X] == pytest.approx(two[k.R_X], abs=tolerance)
    assert one[k.R_Y] == pytest.approx(LANE_WIDTH_M - two[k.R_Y], abs=tolerance)
    angle = [np.degrees(np.arctan2(r[k.R_VY], r[k.R_VX])) for r in (one, two)]
    assert angle[0] == pytest.approx(-angle[1], abs=0.02)


@settings(max_examples=5, deadline=None)
@given(balls, patterns, releases)
def test_whole_shots_mirror_in_the_reference(ball, pattern, release):
    """As above with the reference integrator, to 1e-6 m."""
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    state = setup.release_vector(setup.shot_matrix(release)[0], ball.inertia.pap_array, par)
    pins = setup.pin_array()
    one = reference.integrate(state, pattern.film_m("right"), par, pins, rtol=1e-9)
    two = reference.integrate(mirrored_state(state), pattern.film_m("left"), par, pins, rtol=1e-9)
    assert one.end == two.end
    back = mirrored_state(two.final_state)
    assert np.allclose(one.final_state[:4], back[:4], rtol=0, atol=1e-6)


@settings(max_examples=10, deadline=None)
@given(balls, patterns, releases)
def test_left_hander_is_the_right_hander_on_the_mirrored_pattern(ball, pattern, release):
    """Bit for bit: the same numbers reach the core."""
    right = throw_many(ball, release, pattern, hand="right", keep_paths=True)
    left = throw_many(ball, release, pattern.mirrored(), hand="left", keep_paths=True)
    for name in ("outcome", "entry_board", "entry_angle_deg", "time_s", "path_board", "flare_in"):
        assert np.array_equal(getattr(right, name), getattr(left, name), equal_nan=True), name


def test_left_hander_in_full():
    """The same through `throw`, on a pattern that is not its own mirror image."""
    pattern = load_pattern_named("lopsided-40")
    assert not pattern.is_symmetric
    ball = load_ball("strong-asym")
    right = throw(ball, Release(17, 400, 45, 15, 24, -2.5), pattern)
    left = throw(ball, Release(17, 400, 45, 15, 24, -2.5, hand="left"), pattern.mirrored())
    other = throw(ball, Release(17, 400, 45, 15, 24, -2.5, hand="left"), pattern)
    assert np.array_equal(right.y_board, left.y_board)
    assert abs(other.entry_board - right.entry_board) > 0.1, "hand must matter on this pattern"


@settings(max_examples=100, deadline=None)
@given(balls, patterns, st.integers(0, 2**32 - 1))
def test_sliding_obeys_newton_and_pays_with_energy(ball, pattern, seed):
    """Force against the slip and at most mu N; no moment about the contact but the pivot's;
    d(kinetic energy)/dt = -(mu N |u| + |Mz wz|) exactly.
    """
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    state = random_state(seed, par)
    film = pattern.film_m("right")
    rates = k.slide_rates(*state, film, par)
    mass, radius = par[k.P_MASS], par[k.P_RADIUS]
    air = -par[k.P_DRAG] * np.hypot(*state[2:4]) * state[2:4]
    force = mass * np.array(rates[2:4]) - air
    slip, spin = slip_of(state, par), spin_of(state, par)
    load = mass * par[k.P_GRAVITY]
    assert np.linalg.norm(force) == pytest.approx(rates[12] * load, rel=1e-9)
    assert force @ slip == pytest.approx(-np.linalg.norm(force) * np.linalg.norm(slip), rel=1e-9)
    torque = np.array(rates[4:7])
    about_contact = torque[:2] + radius * np.array([-force[1], force[0]])
    assert np.allclose(about_contact, 0, atol=1e-12)
    assert torque[2] * spin[2] <= 0
    # d(m v^2/2 + w.L/2)/dt = F.v + w.dL/dt for a free rigid body under force and torque
    power = force @ state[2:4] + spin @ torque
    lost = rates[12] * load * np.linalg.norm(slip) + abs(torque[2] * spin[2])
    assert power == pytest.approx(-lost, rel=1e-9)


@settings(max_examples=100, deadline=None)
@given(balls, patterns, st.integers(0, 2**32 - 1))
def test_end_of_slip_keeps_the_momentum_about_the_contact(ball, pattern, seed):
    """The switch to rolling, an impulse of friction: K and Lz kept, no slip left, no energy won."""
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    state = random_state(seed, par)
    after = state.copy()
    after[2:7] = k.roll_projection(*state[2:11], par)
    lever = par[k.P_MASS] * par[k.P_RADIUS]

    def total(s):
        return s[4:7] + lever * np.array([-s[3], s[2], 0.0])

    def energy(s):
        return 0.5 * par[k.P_MASS] * s[2:4] @ s[2:4] + 0.5 * spin_of(s, par) @ s[4:7]

    assert np.allclose(total(after), total(state), rtol=0, atol=1e-11)
    assert np.allclose(slip_of(after, par), 0, atol=1e-10)
    assert energy(after) <= energy(state)


@settings(max_examples=50, deadline=None)
@given(balls, releases)
def test_release_state_is_what_was_asked_for(ball, release):
    """Physics page, section 2: speed, heading, spin vector and the PAP along it, any phase."""
    from core_setup import released_spin

    par = setup.parameter_vector(ball, viscosity_cp=34.7)
    state = setup.release_vector(setup.shot_matrix(release)[0], ball.inertia.pap_array, par)
    _, heading, mph, rpm, rotation, tilt, _ = release
    expected = released_spin(rev_rpm=rpm, rotation_deg=rotation, tilt_deg=tilt, heading_deg=heading)
    spin = spin_of(state, par)
    assert np.allclose(spin, expected, rtol=0, atol=1e-9)
    assert np.hypot(*state[2:4]) == pytest.approx(mph * 0.44704, rel=1e-12)
    pap_in_lane = matrix_of(state[7:11]) @ ball.inertia.pap_array
    assert np.allclose(pap_in_lane, spin / np.linalg.norm(spin), rtol=0, atol=1e-9)
