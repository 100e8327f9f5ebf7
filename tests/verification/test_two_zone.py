"""Two zones of constant friction: the oracle runs of the facts page, and the closed form.

Two-zone friction 0.04 then 0.20: Frohlich, Am. J. Phys. 72, 1170 (2004) (facts page, S/M).
The oracle runs: facts page, status D (uniform inertia k = 2.50 in, R = 4.275 in, tilt 0, mu 0.04
to 40 ft then 0.20, integrated to 60 ft). The page states neither g nor the digits to which the
feet were turned into metres. Found out: with g = 9.81 m/s^2 and 12.19 m and 18.29 m every one of
the fifteen numbers rounds as printed; with our own g and exact feet they stay within one unit of
the last digit. Both are checked.
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
    MPH_MS,
    NO_PINS,
    bare_parameters,
    released_spin,
    sphere_path,
    start_state,
)

from lanesim.lane.geometry import BALL_RADIUS_M, BOARD_M
from lanesim.motion import batch, reference
from lanesim.motion import kernels as k
from lanesim.units import GRAVITY_MS2

ZONE_M = 40 * FOOT_M
END_M = 60 * FOOT_M
KAPPA = (2.50 * INCH_M / BALL_RADIUS_M) ** 2

# speed m/s, rpm, rotation, deg right -> time s, boards left, entry deg, mph, roll at m
ORACLE = [
    (8.0, 416, 45, 1.8, 2.444, 12.8, 5.33, 15.4, 15.27),
    (8.94, 400, 45, 2.0, 2.177, 1.1, 4.25, 16.8, 16.76),
    (8.0, 300, 60, 1.5, 2.483, 9.8, 5.21, 14.4, 16.26),
]


def two_zone_parameters(gravity: float = GRAVITY_MS2, zone: float = ZONE_M, end: float = END_M):
    par = bare_parameters(mu=0.20, kappa=KAPPA, end_x=end, gravity=gravity)
    par[k.P_TWO_ZONE_X] = zone
    par[k.P_TWO_ZONE_MU] = 0.04
    return par


def start(case, par):
    speed, rpm, rotation, right, *_ = case
    a = -math.radians(right)
    velocity = speed * np.array([math.cos(a), math.sin(a)])
    omega = released_spin(rev_rpm=rpm, rotation_deg=rotation, tilt_deg=0, heading_deg=-right)
    return velocity, omega, start_state(velocity=tuple(velocity), omega=tuple(omega), par=par)


@pytest.mark.parametrize("case", ORACLE)
@pytest.mark.parametrize(
    ("units_of_last_digit", "gravity", "zone", "end"),
    [(0.5, 9.81, 12.19, 18.29), (1.0, GRAVITY_MS2, ZONE_M, END_M)],
    ids=["as printed", "exact feet, standard gravity"],
)
def test_oracle_runs(case, units_of_last_digit, gravity, zone, end):
    """Time, boards, entry angle, speed and start of roll of the facts page's runs (D)."""
    _, _, _, _, time_s, boards_left, angle_deg, mph, roll_m = case
    par = two_zone_parameters(gravity, zone, end)
    _, _, state = start(case, par)
    path = reference.integrate(state, DRY, par, NO_PINS, rtol=1e-9)
    last = path.final_state
    roll = next(s for s in path.segments if s.regime == reference.ROLL)
    n = units_of_last_digit
    assert path.end == k.END_PAST
    assert path.final_time == pytest.approx(time_s, abs=n * 1e-3)
    assert (last[1] - MIDDLE_M) / BOARD_M == pytest.approx(boards_left, abs=n * 0.1)
    assert math.degrees(math.atan2(last[3], last[2])) == pytest.approx(angle_deg, abs=n * 0.01)
    assert math.hypot(last[2], last[3]) / MPH_MS == pytest.approx(mph, abs=n * 0.1)
    assert roll.states[0, 0] == pytest.approx(roll_m, abs=n * 0.01)


def closed_form(velocity, omega):
    """Position, velocity, time at 60 ft, x where roll starts: two parabolas and a straight line.

    Derived: the slip of a uniform ball never turns, so zone 1 is a parabola with mu 0.04 to the
    time at which x = 40 ft, and zone 2 starts from there with mu 0.20 and the spin that is left.
    """
    g = GRAVITY_MS2
    surface = BALL_RADIUS_M * np.array([omega[1], -omega[0]])
    slip = velocity - surface
    e = slip / np.linalg.norm(slip)
    a = -0.04 * g * e
    t1 = (-velocity[0] + math.sqrt(velocity[0] ** 2 + 2 * a[0] * ZONE_M)) / a[0]
    v1 = velocity + a * t1
    at1 = velocity * t1 + 0.5 * a * t1**2
    surface1 = surface - a * t1 / KAPPA
    w1 = np.array([-surface1[1], surface1[0], 0.0]) / BALL_RADIUS_M
    kwargs = {"velocity": v1, "omega": w1, "mu": 0.20, "kappa": KAPPA, "radius": BALL_RADIUS_M}
    _, final, t_roll = sphere_path(0.0, **kwargs)
    at_roll, final, _ = sphere_path(t_roll, **kwargs)
    left = (END_M - ZONE_M - at_roll[0]) / final[0]
    return at1 + at_roll + final * left, final, t1 + t_roll + left, at1[0] + at_roll[0]


@pytest.mark.parametrize("case", ORACLE)
def test_reference_and_batch_against_the_closed_form(case):
    """Both engines against two parabolas and a straight line (D).

    The reference steps across the jump of friction at 40 ft by shrinking its steps (rtol 1e-9):
    10 um. The batch promises 0.02 board = 0.5 mm.
    """
    par = two_zone_parameters()
    velocity, omega, state = start(case, par)
    moved, final, time_s, roll_x = closed_form(velocity, omega)
    path = reference.integrate(state, DRY, par, NO_PINS, rtol=1e-9)
    assert np.allclose(path.final_state[:2] - [0, MIDDLE_M], moved, rtol=0, atol=1e-5)
    assert np.allclose(path.final_state[2:4], final, rtol=0, atol=1e-5)
    assert path.final_time == pytest.approx(time_s, abs=1e-5)
    roll = next(s for s in path.segments if s.regime == reference.ROLL)
    assert roll.states[0, 0] == pytest.approx(roll_x, abs=1e-4)

    speed, rpm, rotation, right, *_ = case
    shot = np.array([[MIDDLE_M, -math.radians(right), speed, rpm * 2 * math.pi / 60,
                      math.radians(rotation), 0.0, 0.0]])
    row = batch.run(shot, np.zeros(1), np.array([[1.0, 0, 0]]), par[None], DRY, NO_PINS).rows[0]
    assert row[k.R_X] == pytest.approx(END_M, abs=1e-6)
    assert row[k.R_Y] - MIDDLE_M == pytest.approx(moved[1], abs=0.02 * BOARD_M)
    assert np.allclose(row[[k.R_VX, k.R_VY]], final, rtol=0, atol=3e-3)
