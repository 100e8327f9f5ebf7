"""The free rigid body and the flare that follows from it, against closed forms.

Friction off (mu = 0), so that only the reference's own rigid-body motion is left. Sources: Euler's
equations; Landau & Lifshitz, Mechanics, sections 36-37 (Jacobi elliptic solution); the flare
formula of physics page, section 12 (status D; textbook top).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from core_setup import DRY, INCH_M, NO_PINS, bare_parameters, matrix_of, spin_of, start_state
from scipy.spatial.transform import Rotation
from scipy.special import ellipj

from lanesim.equipment.layout import Layout, arc_in
from lanesim.lane.geometry import BALL_RADIUS_M
from lanesim.motion import batch, reference
from lanesim.motion import kernels as k
from lanesim.motion.kernels.body import axis_rate_squared

MASS = 6.8
SPIN = 45.0  # rad/s, 430 rpm


def moments(low: float, intermediate: float, high: float) -> tuple[float, float, float]:
    """I = m k^2 from radii of gyration [in]."""
    return tuple(MASS * (r * INCH_M) ** 2 for r in (low, intermediate, high))


SYMMETRIC = moments(2.50, 2.55, 2.55)
ASYMMETRIC = moments(2.48, 2.515, 2.535)


def fly(inertia, body_spin, quaternion=(0.8, 0.3, -0.4, 0.33)):
    """Free motion down a lane without friction; returns par, the path and the start's rotation."""
    par = bare_parameters(mu=0.0, moments=inertia, mass=MASS)
    turn = matrix_of(np.array(quaternion) / np.linalg.norm(quaternion))
    state = start_state(
        velocity=(8.0, 0.1), omega=tuple(turn @ np.asarray(body_spin)), par=par,
        quaternion=quaternion,
    )
    return par, state, reference.integrate(state, DRY, par, NO_PINS, rtol=1e-10)


def body_spin_at(path, par, t):
    state = path.state_at(t)
    return matrix_of(state[7:11]).T @ spin_of(state, par)


def test_symmetric_core_precesses_as_a_top():
    """Orientation and body rates of a symmetric top in closed form (textbook).

    With I2 = I3 = J: in the body w1 stays and (w2, w3) turn at (I1 - J)/J w1; in space
    Q(t) = exp(L t/J) Q0 exp((1/I1 - 1/J) L1 t e1).
    """
    body = SPIN * np.array([math.cos(math.pi / 4), math.sin(math.pi / 4), 0.0])
    par, state, path = fly(SYMMETRIC, body)
    i1, _, j = SYMMETRIC
    momentum = state[4:7]
    first = matrix_of(state[7:11])
    assert path.final_time > 2.0
    for t in np.linspace(0, path.final_time, 25):
        # Euler: dw2/dt = (I3 - I1)/I2 w3 w1, dw3/dt = (I1 - I2)/I3 w1 w2
        angle = (j - i1) / j * body[0] * t
        expected = np.array([body[0], body[1] * math.cos(angle), -body[1] * math.sin(angle)])
        assert np.allclose(body_spin_at(path, par, t), expected, rtol=0, atol=2e-6)
        turn = (
            Rotation.from_rotvec(momentum * t / j).as_matrix()
            @ first
            @ Rotation.from_rotvec([(1 / i1 - 1 / j) * i1 * body[0] * t, 0, 0]).as_matrix()
        )
        assert np.allclose(matrix_of(path.state_at(t)[7:11]), turn, rtol=0, atol=1e-6)


def test_flare_per_turn_of_the_symmetric_core():
    """pi R eps sin 2 beta, eps = 1 - (k_low/k_high)^2: 0.522 in at diff 0.05, k_low 2.50, 45 deg,
    R 4.275 in (physics page, section 12, D). Once from the rate, once from the followed motion.
    """
    eps = 1 - (2.50 / 2.55) ** 2
    formula = math.pi * 4.275 * eps * math.sin(math.radians(90))
    assert formula == pytest.approx(0.522, abs=5e-4)
    body = SPIN * np.array([math.cos(math.pi / 4), math.sin(math.pi / 4), 0.0])
    par, _, path = fly(SYMMETRIC, body)
    axis_rate = math.sqrt(axis_rate_squared(*body, par))
    per_turn = BALL_RADIUS_M / INCH_M * axis_rate * 2 * math.pi / SPIN
    assert per_turn == pytest.approx(0.522, abs=5e-4)
    assert per_turn == pytest.approx(formula, rel=1e-12)
    # the axis path actually followed over many short stretches of time
    t = np.linspace(0, path.final_time, 4000)
    axis = np.array([body_spin_at(path, par, s) for s in t])
    axis /= np.linalg.norm(axis, axis=1, keepdims=True)
    arc = np.sum(np.linalg.norm(np.diff(axis, axis=0), axis=1)) * BALL_RADIUS_M / INCH_M
    turns = SPIN * path.final_time / (2 * math.pi)
    assert arc / turns == pytest.approx(0.522, abs=5e-4)


def landau_lifshitz(inertia, w1, w3, t):
    """Body rates at t of the free asymmetric top that has w2 = 0, w1, w3 > 0 at t = 0.

    Landau & Lifshitz, Mechanics, (37.8)-(37.12), for M^2 > 2 E I2; the other case by exchanging
    the axes 1 and 3, as they prescribe.
    """
    i1, i2, i3 = inertia
    energy2 = i1 * w1**2 + i3 * w3**2
    m2 = (i1 * w1) ** 2 + (i3 * w3) ** 2
    swap = m2 < energy2 * i2
    if swap:
        i1, i3 = i3, i1
    rate = math.sqrt((i3 - i2) * (m2 - energy2 * i1) / (i1 * i2 * i3))
    k2 = (i2 - i1) * (energy2 * i3 - m2) / ((i3 - i2) * (m2 - energy2 * i1))
    sn, cn, dn, _ = ellipj(rate * t, k2)
    a = math.sqrt((energy2 * i3 - m2) / (i1 * (i3 - i1))) * cn
    b = math.sqrt((energy2 * i3 - m2) / (i2 * (i3 - i2))) * sn
    c = math.sqrt((m2 - energy2 * i1) / (i3 * (i3 - i1))) * dn
    return np.array([c, b, a] if swap else [a, b, c])


@pytest.mark.parametrize("beta_deg", [20, 40, 60, 75])
def test_asymmetric_core_is_jacobi(beta_deg):
    """Free asymmetric core against the Jacobi elliptic solution; energy and L conserved.

    Both sides of the separatrix are covered: small angles from the low-RG axis circle it, large
    ones circle the high-RG axis (asserted, so that the cases cannot quietly fall together).
    """
    beta = math.radians(beta_deg)
    body = SPIN * np.array([math.cos(beta), 0.0, math.sin(beta)])
    par, state, path = fly(ASYMMETRIC, body)
    inertia = np.array(ASYMMETRIC)
    energy0 = 0.5 * np.sum(inertia * body**2)
    circles_low_axis = np.sum((inertia * body) ** 2) < 2 * energy0 * inertia[1]
    assert circles_low_axis == (beta_deg < 50)
    for t in np.linspace(0, path.final_time, 25):
        at = path.state_at(t)
        got = body_spin_at(path, par, t)
        assert np.allclose(got, landau_lifshitz(ASYMMETRIC, body[0], body[2], t), atol=5e-6)
        assert np.allclose(at[4:7], state[4:7], rtol=0, atol=1e-12)  # L in the lane frame
        assert 0.5 * np.sum(inertia * got**2) == pytest.approx(energy0, rel=1e-8)


def test_batch_turns_the_free_body_as_jacobi_does():
    """The Lie-group steps of the batch engine, friction off: lane-frame spin at the end of the
    lane against the one from L and the reference's orientation. Tolerance: its own step tolerance
    for angles (kernels.TOL_THETA) times steps would be 0.1 rad; the spin moves by the differential
    (2 %) of that, times 45 rad/s: 0.05 rad/s.
    """
    par = bare_parameters(mu=0.0, moments=ASYMMETRIC, mass=MASS)
    pap = Layout(50, 4.5, 30).pap_in_body()
    shot = np.array([30.0, 0.0, 8.0, SPIN, 0.7, 0.25, 0.4])
    state = np.empty(12)
    k.release_state(*shot, pap, par, state)
    path = reference.integrate(state, DRY, par, NO_PINS, rtol=1e-10)
    row = batch.run(shot[None], np.zeros(1), pap[None], par[None], DRY, NO_PINS).rows[0]
    expected = spin_of(path.final_state, par)
    assert np.allclose(row[[k.R_WX, k.R_WY, k.R_WZ]], expected, rtol=0, atol=0.05)
    assert row[k.R_TIME] == pytest.approx(path.final_time, abs=1e-9)


def flare_per_turn_in(pin_to_pap_in: float) -> float:
    par = bare_parameters(mu=0.1, moments=SYMMETRIC, mass=MASS)
    axis = Layout(50.0, pin_to_pap_in, 40.0).pap_in_body()
    rate = math.sqrt(axis_rate_squared(*(SPIN * axis), par))
    return float(BALL_RADIUS_M / INCH_M * rate * 2 * math.pi / SPIN)


def test_flare_against_pin_to_pap():
    """Zero at 0 and at a quarter circle, largest near 3 3/8 in (common practice, no source).

    The formula puts the top at an eighth of the circle, 3.357 in on a ball of 8.55 in diameter
    and 3.375 in on the trade's 27 in circumference.
    """
    quarter = arc_in(90.0)
    assert flare_per_turn_in(0.0) == pytest.approx(0.0, abs=1e-12)
    assert flare_per_turn_in(quarter) == pytest.approx(0.0, abs=1e-12)
    grid = np.arange(0.0, quarter, 0.005)
    flare = np.array([flare_per_turn_in(p) for p in grid])
    top = grid[np.argmax(flare)]
    assert top == pytest.approx(3.375, abs=0.02)
    assert np.all(np.diff(flare[grid < top]) > 0)
    assert np.all(np.diff(flare[grid > top]) < 0)
