"""The rigid ball: its rates from its angular momentum, its slip, and the end of slip.

The rates follow from the angular momentum L in the lane frame, omega = Q diag(1/I) Q^T L.
"""

from __future__ import annotations

import math

from numba import njit

from .columns import (
    P_CROWN,
    P_DRAG,
    P_I1,
    P_I2,
    P_I3,
    P_LANE_WIDTH,
    P_LOFT,
    P_MASS,
    P_RADIUS,
    P_TILT,
)
from .compiling import CONTRACT, INLINE, INNER, PLAIN, kept
from .maths import rotation_matrix, solve_symmetric, to_body, to_lane


@njit(**INNER, **CONTRACT, **INLINE)
def body_rates_free(lx, ly, lz, m, par):
    """Angular velocity in the body frame [rad/s] from L in the lane frame: I^-1 Q^T L."""
    b1, b2, b3 = to_body(lx, ly, lz, m)
    return b1 * (1.0 / par[P_I1]), b2 * (1.0 / par[P_I2]), b3 * (1.0 / par[P_I3])


@njit(**INNER, **CONTRACT, **INLINE)
def contact_slip(vx, vy, wx, wy, par):
    """Velocity [m/s] of the contact point over the lane: (vx - R wy, vy + R wx)."""
    return vx - par[P_RADIUS] * wy, vy + par[P_RADIUS] * wx


@njit(**INNER, **CONTRACT, **INLINE)
def outer_pull(x, y, vx, vy, par):
    """Acceleration [m/s^2] of the centre by what is not the contact: air and gravity on a slope.

    Air drag of a sphere, -(rho Cd pi R^2/2) |v| v / m, and gravity along a lane that is tilted
    crosswise (the same everywhere) or crowned (growing from the lane's middle to its edges). All
    of it acts at the centre and turns nothing. In the air no lane pushes sideways.
    """
    drag = -par[P_DRAG] / par[P_MASS] * math.sqrt(vx * vx + vy * vy)
    side = par[P_TILT] + par[P_CROWN] * (y - 0.5 * par[P_LANE_WIDTH])
    side = side if x >= par[P_LOFT] else 0.0
    return drag * vx, drag * vy + side


@njit(**PLAIN, **CONTRACT, **INLINE)
def axis_rate_squared(b1, b2, b3, par):
    """Square of the speed [rad/s] at which the rotation axis moves over the ball, turn by turn.

    Euler's gyroscopic term c = I^-1 (I w x w), its part across w, over |w|.  The friction torque
    is left out on purpose: fixed on the lane, it circles once a turn in the body and moves the
    axis out and back, which leaves the next ring where the last one was.
    """
    i1 = par[P_I1]
    i2 = par[P_I2]
    i3 = par[P_I3]
    w2 = b1 * b1 + b2 * b2 + b3 * b3
    c1 = (i2 - i3) * b2 * b3 * (1.0 / i1)
    c2 = (i3 - i1) * b3 * b1 * (1.0 / i2)
    c3 = (i1 - i2) * b1 * b2 * (1.0 / i3)
    inverse = 1.0 / w2
    along = (c1 * b1 + c2 * b2 + c3 * b3) * inverse
    d1 = c1 - along * b1
    d2 = c2 - along * b2
    d3 = c3 - along * b3
    return (d1 * d1 + d2 * d2 + d3 * d3) * inverse if w2 > 1e-12 else 0.0


@njit(**INNER, **CONTRACT, **INLINE)
def roll_inertia(m, par):
    """The six entries of J = Q diag(I) Q^T + m R^2 diag(1, 1, 0): xx, xy, xz, yy, yz, zz."""
    i1 = par[P_I1]
    i2 = par[P_I2]
    i3 = par[P_I3]
    extra = par[P_MASS] * par[P_RADIUS] ** 2
    return (
        i1 * m[0] * m[0] + i2 * m[1] * m[1] + i3 * m[2] * m[2] + extra,
        i1 * m[0] * m[3] + i2 * m[1] * m[4] + i3 * m[2] * m[5],
        i1 * m[0] * m[6] + i2 * m[1] * m[7] + i3 * m[2] * m[8],
        i1 * m[3] * m[3] + i2 * m[4] * m[4] + i3 * m[5] * m[5] + extra,
        i1 * m[3] * m[6] + i2 * m[4] * m[7] + i3 * m[5] * m[8],
        i1 * m[6] * m[6] + i2 * m[7] * m[7] + i3 * m[8] * m[8],
    )


@njit(**INNER, **CONTRACT, **INLINE)
def stop_slip(vx, vy, lx, ly, lz, m, par):
    """`roll_projection` for a known orientation matrix."""
    radius = par[P_RADIUS]
    mass = par[P_MASS]
    kx = lx - mass * radius * vy
    ky = ly + mass * radius * vx
    wx, wy, _, _ = solve_symmetric(roll_inertia(m, par), kx, ky, lz)
    nvx = radius * wy
    nvy = -radius * wx
    return nvx, nvy, kx + mass * radius * nvy, ky - mass * radius * nvx, lz


@kept()
def roll_projection(vx, vy, lx, ly, lz, q0, q1, q2, q3, par):
    """Velocity and spin of the ball when friction has just ended its slip.

    A friction impulse acts at the contact point and so leaves K unchanged: omega = J^-1 K,
    v = (R wy, -R wx), L = K - m R (-vy, vx, 0).  Returns (vx, vy, Lx, Ly, Lz).
    """
    return stop_slip(vx, vy, lx, ly, lz, rotation_matrix(q0, q1, q2, q3), par)


@kept()
def slip_velocity(state, par):
    """Velocity (ux, uy) [m/s] of the contact point over the lane, of a ball in `state`."""
    m = rotation_matrix(state[7], state[8], state[9], state[10])
    wx, wy, _ = to_lane(*body_rates_free(state[4], state[5], state[6], m, par), m)
    return contact_slip(state[2], state[3], wx, wy, par)
