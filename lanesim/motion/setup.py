"""From nouns to the core's flat arrays, once: trade units end here."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..equipment.ball import Ball
from ..equipment.cover import COVER_KINDS
from ..errors import nearest_name
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
    """The parameter vector (kernels.P_COUNT,) of one ball on a lane with oil of that viscosity.

    viscosity_cp : at 70 F; the lane's own temperature is taken from `friction.lane`.
    """
    body = ball.inertia
    cover = ball.cover
    par = np.zeros(k.P_COUNT)
    par[k.P_RADIUS] = BALL_RADIUS_M
    par[k.P_MASS] = body.mass_kg
    par[k.P_I1], par[k.P_I2], par[k.P_I3] = body.moments_kgm2
    par[k.P_MU_DRY] = cover.dry_friction * _cover_factor(friction, "dry_friction", cover.kind)
    par[k.P_SIGMA] = friction.combined_roughness_m(ball.cover.roughness_um)
    par[k.P_CHI] = friction.film_share
    par[k.P_LAMBDA_REF] = friction.lambda_ref
    par[k.P_LAMBDA_POWER] = friction.lambda_power
    par[k.P_VISCOSITY] = friction.viscosity_cp(viscosity_cp) * CP_PAS
    par[k.P_FILM_CAP] = friction.film_cap
    par[k.P_CONTACT_A] = friction.contact_radius_m(body.mass_kg)
    par[k.P_PICKUP] = friction.pickup
    par[k.P_UPTAKE] = min(1.0, cover.uptake * _cover_factor(friction, "uptake", cover.kind))
    par[k.P_RING_WIDTH] = friction.ring_width_mm * 1e-3
    par[k.P_GRAVITY] = GRAVITY_MS2
    par[k.P_BOARD] = BOARD_M
    par[k.P_CELL_X] = FOOT_M
    par[k.P_LANE_WIDTH] = LANE_WIDTH_M
    par[k.P_PIN_REACH] = PIN_REACH_M
    par[k.P_PINS_X] = HEAD_PIN_M
    par[k.P_END_X] = PIT_M
    par[k.P_DRAG] = friction.drag_kgm()
    par[k.P_TILT] = friction.lane.side_acceleration_ms2
    par[k.P_CROWN] = friction.lane.crown_acceleration_s2
    return par


def _cover_factor(friction: FrictionModel, name: str, kind: str) -> float:
    """Value of a new cover of a kind by `friction`, over that of COVER_KINDS; 1 if it says none."""
    given: dict[str, float] = dict(getattr(friction, name))
    for other in given:
        if other not in COVER_KINDS:
            raise nearest_name(other, COVER_KINDS, "cover kind")
    own = getattr(COVER_KINDS[kind], name)
    return given[kind] / own if kind in given else 1.0


def end_of_oil_m(film: np.ndarray) -> float:
    """Distance [m] from the foul line to the end of the last foot with oil; 0 on a dry lane."""
    oiled = np.flatnonzero(np.any(film > 0.0, axis=1))
    return (oiled[-1] + 1) * FOOT_M if len(oiled) else 0.0


def pin_array() -> np.ndarray:
    """Axes of the ten pins (10, 2) [m], pin 1 first; the same rack from either side."""
    return np.array([(x, y) for _, x, y in pin_positions_m()])


def shot_matrix(releases: np.ndarray) -> np.ndarray:
    """Releases in trade units, (n, 7) in player.RELEASE_COLUMNS or (n, 8) with loft [ft], in SI.

    Returns (n, 8): y [m], heading [rad], speed [m/s], spin [rad/s], rotation, tilt, phase [rad],
    loft [m].
    """
    rows = np.atleast_2d(np.asarray(releases, dtype=float))
    out = np.zeros((len(rows), 8))
    boards: Any = rows[:, 0]
    out[:, 0] = board_to_y(boards)
    out[:, 1] = rows[:, 1] * DEG_RAD
    out[:, 2] = rows[:, 2] * MPH_MS
    out[:, 3] = rows[:, 3] * RPM_RADS
    out[:, 4:7] = rows[:, 4:7] * DEG_RAD
    if rows.shape[1] > 7:
        out[:, 7] = rows[:, 7] * FOOT_M
    return out


def release_vector(shot: np.ndarray, pap: np.ndarray, par: np.ndarray) -> np.ndarray:
    """The 12-number state at the foul line of one row of `shot_matrix`."""
    state = np.empty(12)
    k.release_state(*shot[:7], pap, par, state)
    return state
