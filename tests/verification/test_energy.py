"""Energy and the quantity that friction cannot change, over whole shots.

Mechanics (no source needed): kinetic energy falls by exactly the work of friction and of the air's
drag; a force at the contact point has no moment about it, so K = L + m R (-vy, vx, 0) keeps its two
lane components through sliding, the switch, rolling and breaking loose, whatever the map of
friction, as long as nothing pulls at the centre.
"""

from __future__ import annotations

import numpy as np
import pytest
from core_setup import matrix_of, spin_of

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.motion import kernels as k
from lanesim.motion import reference, setup
from lanesim.motion.trajectory import trajectory_from_path
from lanesim.player import Release

SHOTS = [
    ("strong-solid", "medium-42", Release(18.6, 436, 45, 15, 24, -2.8)),
    ("strong-asym", "medium-39", Release(17.0, 480, 60, 8, 26, -2.5)),
    ("urethane-control", "short-33", Release(15.0, 350, 30, 25, 18, -1.0)),
    ("plastic-spare", "house-easy-41", Release(20.0, 200, 20, 30, 12, 0.5)),
    ("strong-asym", "short-33", Release(14.0, 500, 70, 2, 26, -2.5)),
]


def follow(ball_name, pattern_name, release, rtol=1e-10, air=True):
    ball = load_ball(ball_name)
    pattern = load_pattern_named(pattern_name)
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    if not air:
        par[k.P_DRAG] = 0.0
    film = pattern.film_m("right")
    state = setup.release_vector(
        setup.shot_matrix(release.row())[0], ball.inertia.pap_array, par
    )
    path = reference.integrate(state, film, par, setup.pin_array(), rtol=rtol)
    return par, film, path


def kinetic_energy(state, velocity, par):
    """1/2 m v^2 + 1/2 w . L, from the definitions."""
    return 0.5 * par[k.P_MASS] * velocity @ velocity + 0.5 * spin_of(state, par) @ state[4:7]


def rolling_state(state, par):
    """Spin, velocity of a rolling state from K alone: (J + m R^2 (1,1,0)) w = K, v = (Rwy, -Rwx).

    Written with numpy.linalg: the core solves the same system with its own cofactors.
    """
    m, radius = par[k.P_MASS], par[k.P_RADIUS]
    turn = matrix_of(state[7:11])
    inertia = turn @ np.diag(par[k.P_I1 : k.P_I3 + 1]) @ turn.T
    total = state[4:7] + m * radius * np.array([-state[3], state[2], 0.0])
    w = np.linalg.solve(inertia + m * radius**2 * np.diag([1.0, 1.0, 0.0]), total)
    return inertia, w, radius * np.array([w[1], -w[0]])


def air_work(path, par):
    """Work [J] against the air over a path: the integral of c |v|^3, by Gauss quadrature."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    total = 0.0
    for segment in path.segments:
        for a, b in zip(segment.t[:-1], segment.t[1:], strict=True):
            half = 0.5 * (b - a)
            for node, weight in zip(nodes, weights, strict=True):
                vx, vy = segment.dense(a + half * (1 + node))[2:4]
                total += weight * half * par[k.P_DRAG] * np.hypot(vx, vy) ** 3
    return total


@pytest.mark.parametrize(("ball", "pattern", "release"), SHOTS)
def test_friction_work_and_kinetic_energy(ball, pattern, release):
    """Kinetic energy + friction work, slip and pivot, + air work, constant to 1e-8."""
    par, film, path = follow(ball, pattern, release)
    curve = trajectory_from_path(
        path, film, par, ball=ball, pattern=pattern, release=release
    )
    first = path.segments[0].states[:, 0]
    start = kinetic_energy(first, first[2:4], par)
    last = path.final_state
    if path.segments[-1].regime == reference.ROLL:
        inertia, w, v = rolling_state(last, par)
        end = 0.5 * par[k.P_MASS] * v @ v + 0.5 * w @ inertia @ w
    else:
        end = kinetic_energy(last, last[2:4], par)
    assert start - end > 5.0, "friction must have done work for this check to mean anything [J]"
    lost = curve.friction_work_j + air_work(path, par)
    assert abs(end + lost - start) / start < 1e-8
    assert air_work(path, par) > 0.01 * start, "the air takes some percent"


@pytest.mark.parametrize(("ball", "pattern", "release"), SHOTS)
def test_momentum_about_the_contact_point(ball, pattern, release):
    """Kx and Ky keep their values to 1e-8 of |K| over the whole shot, in every regime."""
    par, _, path = follow(ball, pattern, release, air=False)
    lever = par[k.P_MASS] * par[k.P_RADIUS]

    def total(state):
        return state[4:6] + lever * np.array([-state[3], state[2]])

    first = total(path.segments[0].states[:, 0])
    for segment in path.segments:
        for state in segment.states.T:
            assert np.allclose(total(state), first, rtol=0, atol=1e-8 * np.linalg.norm(first))


def test_rolling_obeys_its_constraint():
    """While rolling, spin from K by numpy's solver is the core's, and dv/dt fits dK/dt = Mz z.

    The core's acceleration and torque against finite differences along the followed path.
    """
    par, film, path = follow(*SHOTS[0])
    roll = next(s for s in path.segments if s.regime == reference.ROLL)
    middle = 0.5 * (roll.t[0] + roll.t[-1])
    step = 1e-4
    rates = k.roll_rates(*roll.dense(middle), roll.pivot_sign, film, par)
    _, w, v = rolling_state(roll.dense(middle), par)
    assert np.allclose(rates[7:10], w, rtol=1e-10)
    assert np.allclose(rates[0:2], v, rtol=1e-10)
    near = {n: rolling_state(roll.dense(middle + n * step), par) for n in (-2, -1, 1, 2)}

    def slope(value):
        """Central difference of fourth order."""
        one, two = (value(near[n]) - value(near[-n]) for n in (1, 2))
        return (8 * one - two) / (12 * step)

    assert np.allclose(rates[2:4], slope(lambda s: s[2]), rtol=0, atol=1e-5)
    assert np.allclose(rates[4:7], slope(lambda s: s[0] @ s[1]), rtol=0, atol=1e-5)
