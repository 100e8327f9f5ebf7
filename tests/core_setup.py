"""Parameter vectors and start states for tests of the core, built from plain mechanics.

Everything here is written from the textbook, not from lanesim's own release or set-up code, so
that the core is started by something else than the core.
"""

from __future__ import annotations

import math

import numpy as np

from lanesim.lane.geometry import BALL_RADIUS_M, BOARD_M, HEAD_PIN_M, LANE_WIDTH_M, PIT_M
from lanesim.motion import kernels as k
from lanesim.units import FOOT_M, GRAVITY_MS2, INCH_M, MPH_MS, RPM_RADS

NO_PINS = np.zeros((0, 2))
DRY = np.zeros((60, 39))
WIDE_M = 60.0  # a lane so wide that no gutter is met
MIDDLE_M = 0.5 * WIDE_M


def bare_parameters(
    *,
    mu: float,
    kappa: float = 0.4,
    moments: tuple[float, float, float] | None = None,
    mass: float = 6.8,
    radius: float = BALL_RADIUS_M,
    gravity: float = GRAVITY_MS2,
    wide: bool = True,
    end_x: float = PIT_M,
) -> np.ndarray:
    """A ball with constant dry friction `mu`, no pivot torque, no pins: textbook problems.

    kappa = I/(m R^2) of a uniform ball (0.4: the solid sphere), unless `moments` [kg m^2] say else.
    """
    par = np.zeros(k.P_COUNT)
    par[k.P_RADIUS] = radius
    par[k.P_MASS] = mass
    par[k.P_I1 : k.P_I3 + 1] = moments or (kappa * mass * radius**2,) * 3
    par[k.P_MU_DRY] = mu
    par[k.P_SIGMA] = 1e-6
    par[k.P_CHI] = 0.5
    par[k.P_LAMBDA_REF] = 0.75
    par[k.P_LAMBDA_POWER] = 1.0
    par[k.P_VISCOSITY] = 0.0347
    par[k.P_FILM_CAP] = 0.04
    par[k.P_CONTACT_A] = 0.0
    par[k.P_PICKUP] = 0.15
    par[k.P_UPTAKE] = 0.3
    par[k.P_RING_WIDTH] = 0.005
    par[k.P_GRAVITY] = gravity
    par[k.P_BOARD] = BOARD_M
    par[k.P_CELL_X] = FOOT_M
    par[k.P_LANE_WIDTH] = WIDE_M if wide else LANE_WIDTH_M
    par[k.P_PIN_REACH] = 0.16
    par[k.P_PINS_X] = HEAD_PIN_M
    par[k.P_END_X] = end_x
    return par


def start_state(
    *,
    velocity: tuple[float, float],
    omega: tuple[float, float, float],
    par: np.ndarray,
    y: float = MIDDLE_M,
    quaternion: tuple[float, float, float, float] = (1.0, 0.0, 0.0, 0.0),
) -> np.ndarray:
    """The 12 numbers from velocity [m/s], lane-frame spin [rad/s], orientation: L = Q I Q^T w."""
    q = np.asarray(quaternion) / np.linalg.norm(quaternion)
    turn = matrix_of(q)
    momentum = turn @ (par[k.P_I1 : k.P_I3 + 1] * (turn.T @ np.asarray(omega)))
    return np.array([0.0, y, *velocity, *momentum, *q, 0.0])


def matrix_of(quaternion: np.ndarray) -> np.ndarray:
    """Rotation matrix body -> lane by scipy, independent of the core's own."""
    from scipy.spatial.transform import Rotation

    w, x, y, z = quaternion
    return Rotation.from_quat([x, y, z, w]).as_matrix()


def spin_of(state: np.ndarray, par: np.ndarray) -> np.ndarray:
    """Lane-frame angular velocity [rad/s] of a state: Q I^-1 Q^T L."""
    turn = matrix_of(state[7:11])
    return turn @ ((turn.T @ state[4:7]) / par[k.P_I1 : k.P_I3 + 1])


def slip_of(state: np.ndarray, par: np.ndarray) -> np.ndarray:
    """Velocity [m/s] of the contact point: v + w x (-R z)."""
    w = spin_of(state, par)
    return np.array([state[2] - par[k.P_RADIUS] * w[1], state[3] + par[k.P_RADIUS] * w[0]])


def released_spin(
    *, rev_rpm: float, rotation_deg: float, tilt_deg: float, heading_deg: float
) -> np.ndarray:
    """Lane-frame spin of physics page, section 2: (-sin r cos t, cos r cos t, sin t), turned."""
    r, t, a = (math.radians(v) for v in (rotation_deg, tilt_deg, heading_deg))
    axis = np.array([-math.sin(r) * math.cos(t), math.cos(r) * math.cos(t), math.sin(t)])
    turn = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
    return rev_rpm * RPM_RADS * (turn @ axis)


def sphere_path(
    t: float, *, velocity: np.ndarray, omega: np.ndarray, mu: float, kappa: float, radius: float,
    gravity: float = GRAVITY_MS2,
) -> tuple[np.ndarray, np.ndarray, float]:
    """Closed form of a uniform ball on constant friction: displacement, velocity, t_roll.

    Textbook mechanics: with surface velocity of the spin S = (R wy, -R wx), slip u = v - S keeps
    its direction; v = v0 - mu g t u0/|u0| until t_roll = kappa |u0|/((1 + kappa) mu g), then
    v = (v0 + kappa S0)/(1 + kappa) for good.
    """
    surface = np.array([radius * omega[1], -radius * omega[0]])
    slip = np.asarray(velocity) - surface
    size = float(np.linalg.norm(slip))
    direction = slip / size if size > 0 else slip
    t_roll = kappa * size / ((1 + kappa) * mu * gravity)
    sliding = min(t, t_roll)
    v = np.asarray(velocity) - mu * gravity * sliding * direction
    moved = np.asarray(velocity) * sliding - 0.5 * mu * gravity * sliding**2 * direction
    return moved + v * (t - sliding), v, t_roll


__all__ = [
    "DRY", "FOOT_M", "INCH_M", "MIDDLE_M", "MPH_MS", "NO_PINS", "RPM_RADS", "WIDE_M",
    "bare_parameters", "matrix_of", "released_spin", "slip_of", "sphere_path", "spin_of",
    "start_state",
]
