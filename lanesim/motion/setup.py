"""From nouns to the core's flat arrays, once: trade units end here."""

from __future__ import annotations

import numpy as np

from ..equipment.ball import Ball
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import (
    BALL_RADIUS_M,
    BOARD_M,
    HEAD_PIN_M,
    LANE_WIDTH_M,
    PIT_M,
    board_to_y,
    pin_contact_distance_m,
    pin_positions_m,
)
from ..units import CP_PAS, DEG_RAD, FOOT_M, GRAVITY_MS2, MPH_MS, RPM_RADS
from . import kernels as k

PIN_REACH_M = pin_contact_distance_m()


def parameter_vector(
    ball: Ball, *, viscosity_cp: float, friction: FrictionModel = DEFAULT_FRICTION
) -> np.ndarray:
    """The parameter vector (kernels.P_COUNT,) of one ball on a lane with oil of that viscosity."""
    body = ball.inertia
    par = np.zeros(k.P_COUNT)
    par[k.P_RADIUS] = BALL_RADIUS_M
    par[k.P_MASS] = body.mass_kg
    par[k.P_I1], par[k.P_I2], par[k.P_I3] = body.moments_kgm2
    par[k.P_MU_DRY] = ball.cover.dry_friction
    par[k.P_SIGMA] = friction.combined_roughness_m(ball.cover.roughness_um)
    par[k.P_CHI] = friction.film_share
    par[k.P_LAMBDA_REF] = friction.lambda_ref
    par[k.P_LAMBDA_POWER] = friction.lambda_power
    par[k.P_VISCOSITY] = viscosity_cp * CP_PAS
    par[k.P_FILM_CAP] = friction.film_cap
    par[k.P_CONTACT_A] = friction.contact_radius_m(body.mass_kg)
    par[k.P_PICKUP] = friction.pickup
    par[k.P_UPTAKE] = ball.cover.uptake
    par[k.P_RING_WIDTH] = friction.ring_width_mm * 1e-3
    par[k.P_GRAVITY] = GRAVITY_MS2
    par[k.P_BOARD] = BOARD_M
    par[k.P_CELL_X] = FOOT_M
    par[k.P_LANE_WIDTH] = LANE_WIDTH_M
    par[k.P_PIN_REACH] = PIN_REACH_M
    par[k.P_PINS_X] = HEAD_PIN_M
    par[k.P_END_X] = PIT_M
    return par


def pin_array() -> np.ndarray:
    """Axes of the ten pins (10, 2) [m], pin 1 first; the same rack from either side."""
    return np.array([(x, y) for _, x, y in pin_positions_m()])


def shot_matrix(releases: np.ndarray) -> np.ndarray:
    """Releases (n, 7) in trade units (release.RELEASE_COLUMNS) to the core's SI columns (n, 7):

    y [m], heading [rad], speed [m/s], spin [rad/s], rotation, tilt, phase [rad].
    """
    rows = np.atleast_2d(np.asarray(releases, dtype=float))
    out = np.empty_like(rows)
    out[:, 0] = board_to_y(rows[:, 0])
    out[:, 1] = rows[:, 1] * DEG_RAD
    out[:, 2] = rows[:, 2] * MPH_MS
    out[:, 3] = rows[:, 3] * RPM_RADS
    out[:, 4:7] = rows[:, 4:7] * DEG_RAD
    return np.ascontiguousarray(out)


def release_vector(shot: np.ndarray, pap: np.ndarray, par: np.ndarray) -> np.ndarray:
    """The 12-number state at the foul line of one row of `shot_matrix`."""
    state = np.empty(12)
    k.release_state(*shot, pap, par, state)
    return state
