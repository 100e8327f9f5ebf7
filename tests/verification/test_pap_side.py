"""Which side of the pin the PAP lies on: a right-hander's ball, by hand and by its flare."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from lanesim.equipment.layout import PAP_SIDE, Layout
from lanesim.units import INCH_M, RPM_RADS

MASS, RADIUS = 6.8, 4.275 * INCH_M


def test_mass_bias_lies_clockwise_of_the_pap_on_a_right_handers_ball():
    """Derived by hand from the trade's marking of a right-hander's ball (common practice, no
    source): fingers up, pin above the midline, PAP to the right of it, mass bias to the right of
    the thumb, so that seen at the pin from outside one turns clockwise from the PAP to the bias.
    """
    pap = Layout(50, 4.5, 30).pap_in_body()
    pin, bias = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])
    # at the pin, looking in from outside, counter-clockwise is a positive turn about +e1
    turn = np.dot(pin, np.cross(pap - pap[0] * pin, bias))
    assert turn < 0


def axis_path_in(pap: np.ndarray, moments: np.ndarray, seconds: float = 2.3) -> float:
    """Arc [in] of the spin axis over the ball, torque free, by Euler's equations and scipy."""
    def euler(t, w):
        return np.cross(moments * w, w) / moments

    spin = 436 * RPM_RADS * pap
    found = solve_ivp(euler, (0, seconds), spin, rtol=1e-10, atol=1e-10, max_step=0.01)
    axis = (found.y / np.linalg.norm(found.y, axis=0)).T
    steps = np.linalg.norm(np.diff(axis, axis=0), axis=1)
    return float(np.sum(steps)) * RADIUS / INCH_M


def moments(int_diff_in: float) -> np.ndarray:
    low, high = 2.49, 2.54
    return MASS * (np.array([low, high - int_diff_in, high]) * INCH_M) ** 2


def test_an_asymmetric_ball_flares_at_least_as_much_as_a_symmetric_one():
    """With the other side it would flare far less, against trade experience (no source)."""
    pap = Layout(50, 4.5, 30).pap_in_body()
    other = pap * np.array([1.0, -1.0, 1.0])
    symmetric = axis_path_in(pap, moments(0.0))
    asymmetric = axis_path_in(pap, moments(0.02))
    assert asymmetric > 0.97 * symmetric
    assert axis_path_in(other, moments(0.02)) < 0.6 * symmetric
    # a symmetric ball knows no side
    assert axis_path_in(other, moments(0.0)) == pytest.approx(symmetric, rel=1e-9)
    assert PAP_SIDE == -1.0
