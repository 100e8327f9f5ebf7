"""The right-hand sides of sliding and rolling: one law each for the reference and the batch.

- sliding   F = -mu N u/|u|, N = m g, u = (vx - R wy, vy + R wx)
- pivot     Mz = -(3 pi/16) mu N a * a wz / (a |wz| + (15 pi/16) |u|)
- rolling   K = L + m R (-vy, vx, 0) obeys dK/dt = Mz z, omega = J^-1 K
"""

from __future__ import annotations

import math

from numba import njit

from .body import axis_rate_squared, body_rates_free, contact_slip, outer_pull, roll_inertia
from .columns import (
    P_BOARD,
    P_CELL_X,
    P_CONTACT_A,
    P_GRAVITY,
    P_I1,
    P_I2,
    P_I3,
    P_LOFT,
    P_MASS,
    P_RADIUS,
)
from .compiling import CONTRACT, INLINE, INNER, kept
from .film import film_at
from .friction import asperity_share, mixed_friction, track_film_rate
from .maths import quaternion_product, rotation_matrix, solve_symmetric, to_body, to_lane


@njit(**INNER, **CONTRACT, **INLINE)
def slide_law(x, y, vx, vy, lx, ly, lz, m, h, h_lane, phi, par):
    """Sliding: see `slide_rates`, for a known orientation matrix, lane film and asperity share phi.

    Returns
    -------
    (dvx, dvy, dLx, dLy, dLz, dh), (body rates), (wx, wy, wz, axis_speed, mu, slip)
    """
    b1, b2, b3 = body_rates_free(lx, ly, lz, m, par)
    wx, wy, wz = to_lane(b1, b2, b3, m)
    radius = par[P_RADIUS]
    ux, uy = contact_slip(vx, vy, wx, wy, par)
    slip = math.sqrt(ux * ux + uy * uy)
    mu = mixed_friction(x, h_lane, h, phi, slip, par)
    push = mu * par[P_GRAVITY]
    share = -push / slip
    share = share if slip > 0.0 else 0.0
    ax = share * ux
    ay = share * uy
    gx, gy = outer_pull(x, y, vx, vy, par)
    mass = par[P_MASS]
    a = par[P_CONTACT_A]
    below = a * abs(wz) + (15.0 * math.pi / 16.0) * slip
    pivot = -(3.0 * math.pi / 16.0) * mass * push * a * a * wz / below
    pivot = pivot if below > 0.0 else 0.0
    axis2 = axis_rate_squared(b1, b2, b3, par)
    h_met = h_lane if x >= par[P_LOFT] else 0.0
    dh = track_film_rate(h_met, h, b1 * b1 + b2 * b2 + b3 * b3, axis2, par)
    return (
        (ax + gx, ay + gy, radius * mass * ay, -radius * mass * ax, pivot, dh),
        (b1, b2, b3),
        (wx, wy, wz, math.sqrt(axis2), mu, slip),
    )


@kept()
def slide_rates(x, y, vx, vy, lx, ly, lz, q0, q1, q2, q3, h, film, par):
    """Sliding: rates of the state, with omega in place of the quaternion's rate.

    m dv/dt = F + G, F = -mu N u/|u|, G by `outer_pull`;  dL/dt = (R Fy, -R Fx, Mz);  Mz by
    Contensou and Zhuravlev for a Hertz pressure.

    Returns
    -------
    (dx, dy, dvx, dvy, dLx, dLy, dLz, wx, wy, wz, dh, axis_speed, mu, slip)
    """
    m = rotation_matrix(q0, q1, q2, q3)
    h_lane = film_at(x, y, film, par[P_BOARD], par[P_CELL_X])
    phi = asperity_share(h_lane, h, True, par)
    d, _, e = slide_law(x, y, vx, vy, lx, ly, lz, m, h, h_lane, phi, par)
    return (
        vx, vy, d[0], d[1], d[2], d[3], d[4], e[0], e[1], e[2], d[5], e[3], e[4], e[5],
    )


@njit(**INNER, **CONTRACT, **INLINE)
def roll_law(x, y, vx, vy, lx, ly, lz, m, h, h_lane, phi, pivot_sign, par):
    """Rolling: see `roll_rates`, for a known orientation matrix, lane film and asperity share phi.

    Returns
    -------
    (dx, dy), then as `slide_law`, then (grip, pivot_need, pivot_limit)
    """
    radius = par[P_RADIUS]
    mass = par[P_MASS]
    kx = lx - mass * radius * vy
    ky = ly + mass * radius * vx
    j = roll_inertia(m, par)
    wx, wy, wz, _ = solve_symmetric(j, kx, ky, lz)
    b1, b2, b3 = to_body(wx, wy, wz, m)
    # gyroscopic torque -omega x (I omega), formed in the body frame and turned to the lane
    i1 = par[P_I1]
    i2 = par[P_I2]
    i3 = par[P_I3]
    gx, gy, gz = to_lane(
        (i2 - i3) * b2 * b3, (i3 - i1) * b3 * b1, (i1 - i2) * b1 * b2, m
    )
    # pull at the centre: its torque about the contact is R z x m a
    ax, ay = outer_pull(x, y, radius * wy, -radius * wx, par)
    gx -= radius * mass * ay
    gy += radius * mass * ax
    _, _, dwz, inverse_zz = solve_symmetric(j, gx, gy, gz)
    mu = mixed_friction(x, h_lane, h, phi, 0.0, par)
    limit = mu * mass * par[P_GRAVITY]
    pivot_limit = (3.0 * math.pi / 16.0) * limit * par[P_CONTACT_A]
    pivot_need = -dwz / inverse_zz
    pivot = pivot_need if pivot_sign == 0.0 else -pivot_sign * pivot_limit
    dwx, dwy, _, _ = solve_symmetric(j, gx, gy, gz + pivot)
    fx = mass * (radius * dwy - ax)
    fy = -mass * (radius * dwx + ay)
    grip = math.sqrt(fx * fx + fy * fy) / limit
    axis2 = axis_rate_squared(b1, b2, b3, par)
    dh = track_film_rate(h_lane, h, b1 * b1 + b2 * b2 + b3 * b3, axis2, par)
    return (
        (radius * wy, -radius * wx),
        (radius * dwy, -radius * dwx, radius * fy, -radius * fx, pivot, dh),
        (b1, b2, b3),
        (wx, wy, wz, math.sqrt(axis2), mu, 0.0),
        (grip, pivot_need, pivot_limit),
    )


@kept()
def roll_rates(x, y, vx, vy, lx, ly, lz, q0, q1, q2, q3, h, pivot_sign, film, par):
    """Rolling without slip: the contact point stands still, v = (R wy, -R wx).

    The angular momentum about the moving contact point, K = L + m R (-vy, vx, 0), changes only
    by the pivot torque and by the pull G of air and gravity at the centre (`outer_pull`):
    dK/dt = Mz z + R z x G (the contact point moves parallel to the centre), and K = J omega with
    J = I_lane + m R^2 diag(1, 1, 0).  Hence omega = J^-1 K, and from
    J domega/dt = Mz z + R z x G - omega x (I omega) the force F = m R (dwy, -dwx) - G.
    pivot_sign +1 or -1: the contact turns with wz of that sign and Mz = -sign (3 pi/16) mu N a;
    0: it does not turn, and Mz is whatever keeps dwz = 0.

    Returns
    -------
    as `slide_rates`, then (grip, pivot_need, pivot_limit): the share |F|/(mu N) of the traction
    used, the pivot torque that is needed to hold wz and the one that the contact can give [N m].
    """
    m = rotation_matrix(q0, q1, q2, q3)
    h_lane = film_at(x, y, film, par[P_BOARD], par[P_CELL_X])
    phi = asperity_share(h_lane, h, True, par)
    v, d, _, e, g = roll_law(x, y, vx, vy, lx, ly, lz, m, h, h_lane, phi, pivot_sign, par)
    return (
        v[0], v[1], d[0], d[1], d[2], d[3], d[4], e[0], e[1], e[2], d[5], e[3], e[4], e[5],
        g[0], g[1], g[2],
    )


@kept()
def slide_derivative(state, film, par, out):
    """Derivative of the 12 numbers while sliding; dq/dt = (0, omega) q / 2."""
    r = slide_rates(
        state[0], state[1], state[2], state[3], state[4], state[5], state[6],
        state[7], state[8], state[9], state[10], state[11], film, par,
    )
    for k in range(7):
        out[k] = r[k]
    d = quaternion_product(0.0, r[7], r[8], r[9], state[7], state[8], state[9], state[10])
    for k in range(4):
        out[7 + k] = 0.5 * d[k]
    out[11] = r[10]


@kept()
def roll_derivative(state, pivot_sign, film, par, out):
    """Derivative of the 12 numbers while rolling; see `roll_rates`."""
    r = roll_rates(
        state[0], state[1], state[2], state[3], state[4], state[5], state[6],
        state[7], state[8], state[9], state[10], state[11], pivot_sign, film, par,
    )
    for k in range(7):
        out[k] = r[k]
    d = quaternion_product(0.0, r[7], r[8], r[9], state[7], state[8], state[9], state[10])
    for k in range(4):
        out[7 + k] = 0.5 * d[k]
    out[11] = r[10]
