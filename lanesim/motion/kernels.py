"""Every compiled function of lanesim and every constant it uses: the physics, one scalar at a time.

This file imports no code or constant of ours: numba's on-disk cache does not notice a change in
another file, so a compiled caller would go on giving yesterday's answer. A test holds that.

Frame: x down the lane from the foul line, y across it from the edge on the player's ball-arm
side, z up; SI units and radians. The core knows no left-hander: the mirror is applied outside.

State of a ball, 12 numbers::

    x, y, vx, vy | Lx, Ly, Lz | q0, q1, q2, q3 | h

position and velocity of the centre [m, m/s], angular momentum about the centre in the LANE frame
[kg m^2/s], unit quaternion body -> lane, and the oil film carried by the ball's track [m].
Angular momentum instead of the body rates because its rate is just the torque,
dL/dt = (R Fy, -R Fx, Mz): Euler's gyroscopic terms need no separate writing, and while the ball
spins fast L moves slowly, so that large steps stay accurate. The rates follow from
omega = Q diag(1/I) Q^T L.

Equations (derived in the docstrings):

- slip of the contact point     u = (vx - R wy, vy + R wx)
- sliding                       F = -mu N u/|u|, N = m g
- pivot torque                  Mz = -(3 pi/16) mu N a * a wz / (a |wz| + (15 pi/16) |u|)
- rolling                       K = L + m R (-vy, vx, 0) obeys dK/dt = Mz z, omega = J^-1 K
- friction                      mu = phi mu_dry + (1 - phi) min(eta |u| pi a^2/(h N), cap)
- oil on the track              dh/dt = n [pickup h_lane - h (1 - o + uptake)]
"""

from __future__ import annotations

import math
from collections import namedtuple

import numpy as np
from numba import njit

# How functions are compiled. CALLED: by Python, kept on disk. PLAIN: by compiled code, and by tests
# alone. INNER: by compiled code alone; without the wrappers that Python would need, compiling takes
# a third less time. Only CALLED ones are kept on disk, for they hold all that they call; each has
# one signature, so that two processes which compile at once write the same.
PLAIN = {"error_model": "numpy"}
CALLED = {**PLAIN, "cache": True}
INNER = {**PLAIN, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
CONTRACT = {"fastmath": {"contract"}}  # a product and a sum in one rounding
INLINE = {"forceinline": True}

# --- layout of the parameter vector (one ball on one lane) ------------------------------------
P_RADIUS = 0  # ball radius R [m]
P_MASS = 1  # [kg]
P_I1 = 2  # principal moments about the low-RG, intermediate and high-RG axes [kg m^2]
P_I2 = 3
P_I3 = 4
P_MU_DRY = 5  # dry friction of cover on lane [-]
P_SIGMA = 6  # combined roughness sqrt(Rq_ball^2 + Rq_lane^2) [m]
P_CHI = 7  # share of the film that reaches the contact [-]
P_LAMBDA_REF = 8  # film parameter at which phi = 1/e [-]
P_LAMBDA_POWER = 9  # exponent q [-]
P_VISCOSITY = 10  # oil viscosity eta [Pa s]
P_FILM_CAP = 11  # largest friction of the film's share [-]
P_CONTACT_A = 12  # Hertz contact radius a [m]; 0 switches the pivot torque off
P_PICKUP = 13  # film taken up by the track per turn, share of the lane's film [-]
P_UPTAKE = 14  # film absorbed by the cover per turn, share of the track's film [-]
P_RING_WIDTH = 15  # width of a track ring w_t [m]
P_GRAVITY = 16  # [m/s^2]
P_BOARD = 17  # board width [m]
P_CELL_X = 18  # length of an oil cell [m]
P_LANE_WIDTH = 19  # [m]
P_PIN_REACH = 20  # horizontal distance of ball centre and pin axis at contact [m]
P_PINS_X = 21  # x of the head-pin spot [m]; no pin is tested before x + PIN_REACH reaches it
P_END_X = 22  # x at which a ball that touched nothing has left the deck [m]
P_TWO_ZONE_X = 23  # > 0: friction is mu_dry from here on and P_TWO_ZONE_MU before, oil ignored
P_TWO_ZONE_MU = 24
P_COUNT = 25

# --- how a shot ends ---------------------------------------------------------------------------
END_PIN = 0
END_GUTTER = 1
END_PAST = 2
END_FAILED = 3

# --- columns of a batch row ---------------------------------------------------------------------
R_END = 0
R_PIN = 1  # index of the pin touched, -1 if none
R_X = 2  # [m]
R_Y = 3
R_VX = 4  # [m/s]
R_VY = 5
R_WX = 6  # angular velocity, lane frame [rad/s]
R_WY = 7
R_WZ = 8
R_TIME = 9  # [s]
R_BREAK_X = 10  # outermost point of the path [m]
R_BREAK_Y = 11
R_ROLL_X = 12  # where slip first ended [m], NaN if it never did
R_HOOK_X = 13  # where the heading had turned a tenth of its whole turn [m]
R_TURNS = 14  # revolutions
R_FLARE = 15  # arc of the rotation axis on the ball times the radius [m]
R_TRACK_FILM = 16  # film on the track at the end [m]
R_STEPS = 17
R_COUNT = 18

TRACE_FEET = 61  # the path is sampled at 0, 1, .., 60 cells from the foul line
T_Y = 0
T_HEADING = 1
T_FILM = 2
T_COUNT = 3

SLIP_END = 1e-6  # [m/s] slip at which the reference's sliding ends (located event)
TRACTION_MARGIN = 1.001  # rolling breaks when the force needed exceeds 1.001 mu N: no chatter
RESLIDE_SLIP = 1e-4  # [m/s] slip given to a ball that breaks loose, along the excess force


# --- numbers behind the exponential and the logarithm ------------------------------------------
INV_LN2 = 1.0 / math.log(2.0)
LN2_HIGH = 6.93147180369123816490e-01  # ln 2 in two parts, the first with 32 zero bits at its end:
LN2_LOW = 1.90821492927058770002e-10  # n LN2_HIGH is exact (Cody & Waite, 1980)
ROUNDER = 1.5 * 2.0**52
SQRT2 = math.sqrt(2.0)


# =========================== exponential and logarithm ==========================================
#
# The batch follows many shots side by side in the processor's vector registers.  A compiler can
# only do that with arithmetic, not with calls into a library, so these two are written out.


@njit(**PLAIN, **CONTRACT, **INLINE)
def exponential(x):
    """exp(x) to 3e-16 for |x| < 700 (beyond: the value there): 2^n times a series in |r| < 0.35.

    Adding 1.5 2^52 rounds to a whole number and leaves it in the last bits of the sum; shifted
    into the exponent's place they are 2^n.
    """
    x = -700.0 if x < -700.0 else x
    x = 700.0 if x > 700.0 else x
    shifted = x * INV_LN2 + ROUNDER
    n = shifted - ROUNDER
    r = (x - n * LN2_HIGH) - n * LN2_LOW
    p = 1 / 39916800 + r * (1 / 479001600)
    p = 1 / 40320 + r * (1 / 362880 + r * (1 / 3628800 + r * p))
    p = 1 / 120 + r * (1 / 720 + r * (1 / 5040 + r * p))
    p = 1.0 + r * (1.0 + r * (1 / 2 + r * (1 / 6 + r * (1 / 24 + r * p))))
    bits = (np.float64(shifted).view(np.int64) + 1023) << 52
    return p * np.int64(bits).view(np.float64)


@njit(**PLAIN, **CONTRACT, **INLINE)
def logarithm(x):
    """ln(x) to 3e-16 for normal positive x: exponent times ln 2, and 2 artanh((m - 1)/(m + 1))."""
    bits = np.float64(x).view(np.int64)
    # the exponent as the last bits of a number near 2^52
    power = np.int64((bits >> 52) | 0x4330000000000000).view(np.float64) - (2.0**52 + 1023.0)
    m = np.int64((bits & 0xFFFFFFFFFFFFF) | 0x3FF0000000000000).view(np.float64)
    large = m > SQRT2
    m = 0.5 * m if large else m
    power = power + 1.0 if large else power
    s = (m - 1.0) / (m + 1.0)
    z = s * s
    series = 1 / 13 + z * (1 / 15 + z * (1 / 17 + z * (1 / 19)))
    series = 1 / 5 + z * (1 / 7 + z * (1 / 9 + z * (1 / 11 + z * series)))
    series = 1.0 + z * (1 / 3 + z * series)
    return power * LN2_HIGH + (2.0 * s * series + power * LN2_LOW)


# =========================== friction field ====================================================


@njit(**INNER, **INLINE)
def film_patch(fx, fy, film):
    """The 3 x 3 spline coefficients around a point and its place (tx, ty) in the middle cell.

    fx, fy : the point in cells.  Coefficients are the cell means, mirrored at the lane's edges and
    at the foul line and zero beyond the last row; tx and ty run from -0.5 to 0.5.  Any fx and fy
    are allowed, NaN too.
    """
    rows, cols = film.shape
    # comparisons written so that a NaN becomes the far end: it must not become an index
    cx = fx if fx < rows + 1.5 else rows + 1.5
    cx = cx if cx > 0.0 else 0.0
    cy = fy if fy < cols - 0.5 else cols - 0.5
    cy = cy if cy > 0.0 else 0.0
    i = int(cx)
    j = int(cy)
    i0 = min(max(i - 1, 0), rows - 1)
    i1 = min(i, rows - 1)
    i2 = min(i + 1, rows - 1)
    z0 = 1.0 if i <= rows else 0.0
    z1 = 1.0 if i < rows else 0.0
    z2 = 1.0 if i + 1 < rows else 0.0
    j0 = max(j - 1, 0)
    j2 = min(j + 1, cols - 1)
    return fx - i - 0.5, fy - j - 0.5, (
        z0 * film[i0, j0], z0 * film[i0, j], z0 * film[i0, j2],
        z1 * film[i1, j0], z1 * film[i1, j], z1 * film[i1, j2],
        z2 * film[i2, j0], z2 * film[i2, j], z2 * film[i2, j2],
    )


@njit(**INNER, **CONTRACT, **INLINE)
def film_value(tx, ty, f):
    """Lane film [m] from the coefficients and the place of `film_patch`: quadratic B-splines."""
    ty = ty if ty < 0.5 else 0.5  # beside the lane: as at its edge
    ty = ty if ty > -0.5 else -0.5
    wx0 = 0.5 * (0.5 - tx) ** 2
    wx1 = 0.75 - tx * tx
    wx2 = 0.5 * (0.5 + tx) ** 2
    wy0 = 0.5 * (0.5 - ty) ** 2
    wy1 = 0.75 - ty * ty
    wy2 = 0.5 * (0.5 + ty) ** 2
    return (
        wx0 * (wy0 * f[0] + wy1 * f[1] + wy2 * f[2])
        + wx1 * (wy0 * f[3] + wy1 * f[4] + wy2 * f[5])
        + wx2 * (wy0 * f[6] + wy1 * f[7] + wy2 * f[8])
    )


@njit(**CALLED, **INLINE)
def film_at(x, y, film, board, cell_x):
    """Lane film [m] at a point by tensor quadratic B-splines on the cell means.

    Each basis function integrates to one cell area, and the coefficients are mirrored at the
    lane's edges and at the foul line, so the volume is that of the grid exactly; the surface is
    C1, never negative, and zero from one cell beyond the last oiled one.

    Parameters
    ----------
    x, y : position [m];  film : (rows, boards) cell film [m];  board, cell_x : cell size [m].
    """
    tx, ty, f = film_patch(x / cell_x, y / board, film)
    return film_value(tx, ty, f)


@njit(**INNER, **CONTRACT, **INLINE)
def asperity_share(h_lane, h_track, powered, par):
    """Share phi of the load carried by asperities: exp(-(lambda/lambda_ref)^q), lambda = h/sigma.

    h = chi (h_lane + h_track).  Near 1 for lambda < 1/3 (boundary), small for lambda > 3 (full
    film): the regimes of Hamrock, Schmid & Jacobson, Fundamentals of Fluid Film Lubrication.
    powered = False leaves out the power, for callers that know q to be 1.
    """
    h_eff = par[P_CHI] * (h_lane + h_track)
    ratio = h_eff / (par[P_SIGMA] * par[P_LAMBDA_REF])
    if powered:
        raised = exponential(par[P_LAMBDA_POWER] * logarithm(ratio))
        ratio = raised if par[P_LAMBDA_POWER] != 1.0 else ratio
    phi = exponential(-ratio)
    return phi if h_eff > 0.0 else 1.0


@njit(**INNER, **CONTRACT, **INLINE)
def mixed_friction(x, h_lane, h_track, phi, slip, par):
    """`friction_coefficient` for a known share phi of the asperities."""
    area = math.pi * par[P_CONTACT_A] ** 2
    load = par[P_MASS] * par[P_GRAVITY]
    shear = par[P_VISCOSITY] * slip * area / (par[P_CHI] * (h_lane + h_track) * load)
    shear = shear if shear < par[P_FILM_CAP] else par[P_FILM_CAP]
    mu = phi * par[P_MU_DRY] + (1.0 - phi) * shear
    mu = mu if phi < 1.0 else par[P_MU_DRY]
    zone = par[P_TWO_ZONE_MU] if x < par[P_TWO_ZONE_X] else par[P_MU_DRY]
    return zone if par[P_TWO_ZONE_X] > 0.0 else mu


@njit(**PLAIN, **INLINE)
def friction_coefficient(x, h_lane, h_track, slip, par):
    """Friction coefficient [-] of mixed lubrication at a slip speed [m/s].

    mu = phi mu_dry + (1 - phi) min(eta |u| pi a^2 / (h N), cap).  With P_TWO_ZONE_X > 0 the two
    constant zones of Frohlich, Am. J. Phys. 72, 1170 (2004), instead: for teaching and tests.
    """
    return mixed_friction(x, h_lane, h_track, asperity_share(h_lane, h_track, True, par), slip, par)


# =========================== rigid body ========================================================


@njit(**INNER, **CONTRACT, **INLINE)
def quaternion_product(a0, a1, a2, a3, b0, b1, b2, b3):
    """Hamilton product a b."""
    return (
        a0 * b0 - a1 * b1 - a2 * b2 - a3 * b3,
        a0 * b1 + a1 * b0 + a2 * b3 - a3 * b2,
        a0 * b2 - a1 * b3 + a2 * b0 + a3 * b1,
        a0 * b3 + a1 * b2 - a2 * b1 + a3 * b0,
    )


@njit(**PLAIN, **CONTRACT, **INLINE)
def small_rotation(t0, t1, t2):
    """Unit quaternion of a rotation by the vector t [rad]: series, to 1e-14 up to 4 rad."""
    z = 0.25 * (t0 * t0 + t1 * t1 + t2 * t2)
    s = 1.0 - z * (1 / 110) * (1.0 - z * (1 / 156) * (1.0 - z * (1 / 210)))
    s = 1.0 - z * (1 / 42) * (1.0 - z * (1 / 72) * s)
    s = 0.5 * (1.0 - z * (1 / 6) * (1.0 - z * (1 / 20) * s))
    c = 1.0 - z * (1 / 132) * (1.0 - z * (1 / 182) * (1.0 - z * (1 / 240)))
    c = 1.0 - z * (1 / 56) * (1.0 - z * (1 / 90) * c)
    c = 1.0 - z * (1 / 2) * (1.0 - z * (1 / 12) * (1.0 - z * (1 / 30) * c))
    return c, s * t0, s * t1, s * t2


@njit(**INNER, **CONTRACT, **INLINE)
def scaled_matrix(s, q0, q1, q2, q3):
    """The matrix of a quaternion, s = 2 over the square of its length."""
    return (
        1.0 - s * (q2 * q2 + q3 * q3), s * (q1 * q2 - q0 * q3), s * (q1 * q3 + q0 * q2),
        s * (q1 * q2 + q0 * q3), 1.0 - s * (q1 * q1 + q3 * q3), s * (q2 * q3 - q0 * q1),
        s * (q1 * q3 - q0 * q2), s * (q2 * q3 + q0 * q1), 1.0 - s * (q1 * q1 + q2 * q2),
    )


@njit(**CALLED, **CONTRACT, **INLINE)
def rotation_matrix(q0, q1, q2, q3):
    """Nine entries, row by row, of the matrix body -> lane; any nonzero quaternion is allowed."""
    return scaled_matrix(2.0 / (q0 * q0 + q1 * q1 + q2 * q2 + q3 * q3), q0, q1, q2, q3)


@njit(**INNER, **INLINE)
def unit_matrix(q0, q1, q2, q3):
    """`rotation_matrix` of a quaternion known to be of length 1: saves a division."""
    return scaled_matrix(2.0, q0, q1, q2, q3)


@njit(**INNER, **CONTRACT, **INLINE)
def to_body(x, y, z, m):
    """Turn a lane-frame vector into the body frame."""
    return (
        m[0] * x + m[3] * y + m[6] * z,
        m[1] * x + m[4] * y + m[7] * z,
        m[2] * x + m[5] * y + m[8] * z,
    )


@njit(**INNER, **CONTRACT, **INLINE)
def body_rates_free(lx, ly, lz, m, par):
    """Angular velocity in the body frame [rad/s] from L in the lane frame: I^-1 Q^T L."""
    b1, b2, b3 = to_body(lx, ly, lz, m)
    return b1 * (1.0 / par[P_I1]), b2 * (1.0 / par[P_I2]), b3 * (1.0 / par[P_I3])


@njit(**INNER, **CONTRACT, **INLINE)
def to_lane(b1, b2, b3, m):
    """Turn a body-frame vector into the lane frame."""
    return (
        m[0] * b1 + m[1] * b2 + m[2] * b3,
        m[3] * b1 + m[4] * b2 + m[5] * b3,
        m[6] * b1 + m[7] * b2 + m[8] * b3,
    )


@njit(**INNER, **CONTRACT, **INLINE)
def contact_slip(vx, vy, wx, wy, par):
    """Velocity [m/s] of the contact point over the lane: (vx - R wy, vy + R wx)."""
    return vx - par[P_RADIUS] * wy, vy + par[P_RADIUS] * wx


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
def track_film_rate(h_lane, h_track, spin2, axis2, par):
    """Rate [m/s] of the film on the track: n [pickup h_lane - h (1 - o + uptake)].

    n = spin/2 pi turns per second; the flare per turn s = R axis_speed 2 pi/spin; a ring covers
    the share o = exp(-(s/w_t)^2) of the one before it.  spin2 and axis2 are the squares
    [rad^2/s^2] of the spin and of the speed of the axis on the ball (`axis_rate_squared`).
    """
    turns = math.sqrt(spin2) * (1.0 / (2.0 * math.pi))
    gap = par[P_RADIUS] * 2.0 * math.pi / par[P_RING_WIDTH]
    overlap = exponential(-gap * gap * axis2 * (1.0 / spin2))
    rate = turns * (par[P_PICKUP] * h_lane - h_track * (1.0 - overlap + par[P_UPTAKE]))
    return rate if spin2 > 1e-12 else 0.0


# =========================== the right-hand side of each regime ================================


@njit(**INNER, **CONTRACT, **INLINE)
def slide_law(x, vx, vy, lx, ly, lz, m, h, h_lane, phi, par):
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
    mass = par[P_MASS]
    a = par[P_CONTACT_A]
    below = a * abs(wz) + (15.0 * math.pi / 16.0) * slip
    pivot = -(3.0 * math.pi / 16.0) * mass * push * a * a * wz / below
    pivot = pivot if below > 0.0 else 0.0
    axis2 = axis_rate_squared(b1, b2, b3, par)
    dh = track_film_rate(h_lane, h, b1 * b1 + b2 * b2 + b3 * b3, axis2, par)
    return (
        (ax, ay, radius * mass * ay, -radius * mass * ax, pivot, dh),
        (b1, b2, b3),
        (wx, wy, wz, math.sqrt(axis2), mu, slip),
    )


@njit(**CALLED)
def slide_rates(x, y, vx, vy, lx, ly, lz, q0, q1, q2, q3, h, film, par):
    """Sliding: rates of the state, with omega in place of the quaternion's rate.

    m dv/dt = F = -mu N u/|u|;  dL/dt = (R Fy, -R Fx, Mz);  Mz by Contensou and Zhuravlev for a
    Hertz pressure.

    Returns
    -------
    (dx, dy, dvx, dvy, dLx, dLy, dLz, wx, wy, wz, dh, axis_speed, mu, slip)
    """
    m = rotation_matrix(q0, q1, q2, q3)
    h_lane = film_at(x, y, film, par[P_BOARD], par[P_CELL_X])
    phi = asperity_share(h_lane, h, True, par)
    d, _, e = slide_law(x, vx, vy, lx, ly, lz, m, h, h_lane, phi, par)
    return (
        vx, vy, d[0], d[1], d[2], d[3], d[4], e[0], e[1], e[2], d[5], e[3], e[4], e[5],
    )


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
def solve_symmetric(s, r0, r1, r2):
    """Solve the symmetric 3 x 3 system with entries xx, xy, xz, yy, yz, zz; also (s^-1)_zz."""
    xx, xy, xz, yy, yz, zz = s
    c00 = yy * zz - yz * yz
    c01 = xz * yz - xy * zz
    c02 = xy * yz - xz * yy
    c11 = xx * zz - xz * xz
    c12 = xy * xz - xx * yz
    c22 = xx * yy - xy * xy
    inverse = 1.0 / (xx * c00 + xy * c01 + xz * c02)
    return (
        (c00 * r0 + c01 * r1 + c02 * r2) * inverse,
        (c01 * r0 + c11 * r1 + c12 * r2) * inverse,
        (c02 * r0 + c12 * r1 + c22 * r2) * inverse,
        c22 * inverse,
    )


@njit(**INNER, **CONTRACT, **INLINE)
def roll_law(x, vx, vy, lx, ly, lz, m, h, h_lane, phi, pivot_sign, par):
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
    _, _, dwz, inverse_zz = solve_symmetric(j, gx, gy, gz)
    mu = mixed_friction(x, h_lane, h, phi, 0.0, par)
    limit = mu * mass * par[P_GRAVITY]
    pivot_limit = (3.0 * math.pi / 16.0) * limit * par[P_CONTACT_A]
    pivot_need = -dwz / inverse_zz
    pivot = pivot_need if pivot_sign == 0.0 else -pivot_sign * pivot_limit
    dwx, dwy, _, _ = solve_symmetric(j, gx, gy, gz + pivot)
    fx = mass * radius * dwy
    fy = -mass * radius * dwx
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


@njit(**CALLED)
def roll_rates(x, y, vx, vy, lx, ly, lz, q0, q1, q2, q3, h, pivot_sign, film, par):
    """Rolling without slip: the contact point stands still, v = (R wy, -R wx).

    The angular momentum about the moving contact point, K = L + m R (-vy, vx, 0), changes only
    by the pivot torque: dK/dt = Mz z (the contact point moves parallel to the centre), and
    K = J omega with J = I_lane + m R^2 diag(1, 1, 0).  Hence omega = J^-1 K, and from
    J domega/dt = Mz z - omega x (I omega) the force F = m R (dwy, -dwx).
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
    v, d, _, e, g = roll_law(x, vx, vy, lx, ly, lz, m, h, h_lane, phi, pivot_sign, par)
    return (
        v[0], v[1], d[0], d[1], d[2], d[3], d[4], e[0], e[1], e[2], d[5], e[3], e[4], e[5],
        g[0], g[1], g[2],
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


@njit(**CALLED)
def roll_projection(vx, vy, lx, ly, lz, q0, q1, q2, q3, par):
    """Velocity and spin of the ball when friction has just ended its slip.

    A friction impulse acts at the contact point and so leaves K unchanged: omega = J^-1 K,
    v = (R wy, -R wx), L = K - m R (-vy, vx, 0).  Returns (vx, vy, Lx, Ly, Lz).
    """
    return stop_slip(vx, vy, lx, ly, lz, rotation_matrix(q0, q1, q2, q3), par)


# =========================== release and contact with the pins =================================


@njit(**INNER)
def rotation_exp(t0, t1, t2):
    """Unit quaternion of a rotation by the vector t [rad], of any size."""
    angle = math.sqrt(t0 * t0 + t1 * t1 + t2 * t2)
    s = math.sin(0.5 * angle) / angle if angle > 1e-12 else 0.5
    return math.cos(0.5 * angle), s * t0, s * t1, s * t2


@njit(**CALLED)
def release_state(y0, heading, speed, spin, rotation, tilt, phase, pap, par, state):
    """Fill the 12 numbers of `state` at the foul line from a release.

    omega = spin * (-sin r cos t, cos r cos t, sin t) turned by the heading about z; the ball is
    oriented so that its positive axis point `pap` (body frame, unit) lies along omega.  The phase
    about omega: at phase 0 the low-RG axis (the pin) lies in the plane of omega and the vertical,
    on the upper side; positive phase turns the ball forward about omega.
    """
    sr = math.sin(rotation)
    cr = math.cos(rotation)
    st = math.sin(tilt)
    ct = math.cos(tilt)
    sh = math.sin(heading)
    ch = math.cos(heading)
    ox = -sr * ct * ch - cr * ct * sh
    oy = -sr * ct * sh + cr * ct * ch
    oz = st
    # lane-frame triad: omega, and the upward direction across it
    ux = -oz * ox
    uy = -oz * oy
    uz = 1.0 - oz * oz
    n = math.sqrt(ux * ux + uy * uy + uz * uz)
    if n < 1e-9:
        ux, uy, uz, n = 1.0, 0.0, 0.0, 1.0
    ux, uy, uz = ux / n, uy / n, uz / n
    # body-frame triad: pap, and the part of the pin axis e1 (or e3 if the pin is the PAP) across it
    p0, p1, p2 = pap[0], pap[1], pap[2]
    if abs(p0) < 1.0 - 1e-9:
        e0, e1, e2 = 1.0 - p0 * p0, -p0 * p1, -p0 * p2
    else:
        e0, e1, e2 = -p2 * p0, -p2 * p1, 1.0 - p2 * p2
    n = math.sqrt(e0 * e0 + e1 * e1 + e2 * e2)
    e0, e1, e2 = e0 / n, e1 / n, e2 / n
    # third directions by cross products, then Q = sum of lane (x) body
    wx, wy, wz = oy * uz - oz * uy, oz * ux - ox * uz, ox * uy - oy * ux
    f0, f1, f2 = p1 * e2 - p2 * e1, p2 * e0 - p0 * e2, p0 * e1 - p1 * e0
    m00 = ox * p0 + ux * e0 + wx * f0
    m01 = ox * p1 + ux * e1 + wx * f1
    m02 = ox * p2 + ux * e2 + wx * f2
    m10 = oy * p0 + uy * e0 + wy * f0
    m11 = oy * p1 + uy * e1 + wy * f1
    m12 = oy * p2 + uy * e2 + wy * f2
    m20 = oz * p0 + uz * e0 + wz * f0
    m21 = oz * p1 + uz * e1 + wz * f1
    m22 = oz * p2 + uz * e2 + wz * f2
    # quaternion of the matrix (the largest component first, for accuracy)
    trace = m00 + m11 + m22
    if trace > 0.0:
        s = 2.0 * math.sqrt(1.0 + trace)
        q0, q1, q2, q3 = 0.25 * s, (m21 - m12) / s, (m02 - m20) / s, (m10 - m01) / s
    elif m00 >= m11 and m00 >= m22:
        s = 2.0 * math.sqrt(1.0 + m00 - m11 - m22)
        q0, q1, q2, q3 = (m21 - m12) / s, 0.25 * s, (m01 + m10) / s, (m02 + m20) / s
    elif m11 >= m22:
        s = 2.0 * math.sqrt(1.0 + m11 - m00 - m22)
        q0, q1, q2, q3 = (m02 - m20) / s, (m01 + m10) / s, 0.25 * s, (m12 + m21) / s
    else:
        s = 2.0 * math.sqrt(1.0 + m22 - m00 - m11)
        q0, q1, q2, q3 = (m10 - m01) / s, (m02 + m20) / s, (m12 + m21) / s, 0.25 * s
    t0, t1, t2, t3 = rotation_exp(phase * ox, phase * oy, phase * oz)
    q0, q1, q2, q3 = quaternion_product(t0, t1, t2, t3, q0, q1, q2, q3)
    m = rotation_matrix(q0, q1, q2, q3)
    lx, ly, lz = to_lane(
        par[P_I1] * spin * p0, par[P_I2] * spin * p1, par[P_I3] * spin * p2, m
    )
    state[0] = 0.0
    state[1] = y0
    state[2] = speed * ch
    state[3] = speed * sh
    state[4] = lx
    state[5] = ly
    state[6] = lz
    state[7] = q0
    state[8] = q1
    state[9] = q2
    state[10] = q3
    state[11] = 0.0


@njit(**CALLED)
def slip_velocity(state, par):
    """Velocity (ux, uy) [m/s] of the contact point over the lane, of a ball in `state`."""
    m = rotation_matrix(state[7], state[8], state[9], state[10])
    wx, wy, _ = to_lane(*body_rates_free(state[4], state[5], state[6], m, par), m)
    return contact_slip(state[2], state[3], wx, wy, par)


@njit(**INNER)
def nearest_pin(x, y, pins):
    """Smallest horizontal distance [m] to any pin's axis, and that pin's index; pins (n, 2) [m]."""
    best = 1e9
    which = -1
    for k in range(pins.shape[0]):
        dx = x - pins[k, 0]
        dy = y - pins[k, 1]
        distance = math.sqrt(dx * dx + dy * dy)
        if distance < best:
            best = distance
            which = k
    return best, which


@njit(**CALLED)
def pin_gap(x, y, pins, par):
    """Smallest distance [m] to contact with any pin (negative: overlapping), and that pin's index.

    pins : (n, 2) pin axes [m].  In three dimensions: the reach already holds the pin's profile.
    """
    distance, which = nearest_pin(x, y, pins)
    return distance - par[P_PIN_REACH], which


# =========================== plain ODE form, for the reference ==================================


@njit(**CALLED)
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


@njit(**CALLED)
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


# =========================== many shots side by side ============================================
#
# The batch follows LANES shots at a time, one in each lane of the processor's vector registers:
# an array row holds one quantity of all lanes, and a loop `for k in range(lanes)` without library
# calls, without stores through several names and with at least 16 turns is what the compiler turns
# into vector instructions (4 lanes each with AVX2).  What is rare or branches - loading a shot,
# the trace, pins and gutters, changes of regime - is done lane by lane.  A lane never sees its
# neighbours, so a shot's answer does not depend on its company.
#
# A ball turns through radians in the time in which its path changes little.  A step carries the
# orientation as a rotation vector theta from the step's start, q = q0 exp(theta) in the body frame
# (Munthe-Kaas, BIT 38, 92 (1998)).  Angular momentum moves slowly in the lane frame and the spin
# slowly in the body frame, so that the fast turn is exact and only slow things are left to the
# Runge-Kutta method (Dormand & Prince, J. Comput. Appl. Math. 6, 19 (1980), 5(4), first stage
# same as last).  The other numbers are integrated as they are.

LANES = 16

# Where the rows of the pack's arrays begin; the number of lane k stands k places on.
# The numbers that a step changes:
S_X = 0
S_Y = LANES
S_VX = 2 * LANES
S_VY = 3 * LANES
S_LX = 4 * LANES
S_LY = 5 * LANES
S_LZ = 6 * LANES
S_THETA = 7 * LANES  # three rows
S_FILM = 10 * LANES
STEP_ROWS = 11
STEP_SIZE = STEP_ROWS * LANES

RK_STAGES = 7
A21 = 1 / 5
A31, A32 = 3 / 40, 9 / 40
A41, A42, A43 = 44 / 45, -56 / 15, 32 / 9
A51, A52, A53, A54 = 19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729
A61, A62, A63, A64, A65 = 9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656
A71, A73, A74, A75, A76 = 35 / 384, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84
E1, E3, E4, E5, E6, E7 = 71 / 57600, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40
RK_POWER = -1 / 5

# Error that one step may make, per component; benchmarks/README.md has the table they came from.
TOL_X = 2e-4  # [m]
TOL_Y = 4e-5  # [m]
TOL_V = 2e-4  # [m/s], also for R L / I
TOL_THETA = 4e-3  # [rad]
TOL_H = 2e-9  # [m]
STEP_FIRST = 0.01  # [s]
STEP_MIN = 1e-7
SLIDE_TURN = 2.2  # [rad] turn of the ball per sliding or rolling step
CREEP_SLIP = 0.03  # [m/s] slip below which steps are taken by `creep_law`
CREEP_LEAVE = 0.12  # [m/s] slip above which they are not any more
CREEP_TURN = 0.4  # [rad] turn of the ball per creep step
CREEP_LONGEST = 0.02  # [s]
GRIP_SAFE = 0.95  # traction never breaks while the bound on its use stays below this
MAX_STEPS = 5000
STOPPED = 0.05  # [m/s] a ball slower than this down the lane is given up

# what a shot is doing
SLIDE = 0
CREEP = 1
ROLL = 2
OVER = 3

# rows of Pack.own: what belongs to a shot between steps; first the numbers of a step
OWN_Q = STEP_SIZE  # orientation, four rows
OWN_STEP = OWN_Q + 4 * LANES  # length proposed for the next step [s]
OWN_CLOSING = OWN_STEP + LANES  # [m/s^2] rate at which slip fell over the last step
OWN_FORCED = OWN_CLOSING + LANES  # > 0: take exactly this step [s] and end there
OWN_END = OWN_FORCED + LANES  # how the shot ends there, END_*
OWN_PIN = OWN_END + LANES
OWN_TIME = OWN_PIN + LANES
OWN_TURNS = OWN_TIME + LANES  # [rad]
OWN_FLARE = OWN_TURNS + LANES  # [rad]
OWN_BREAK_X = OWN_FLARE + LANES
OWN_BREAK_Y = OWN_BREAK_X + LANES
OWN_ROLL_X = OWN_BREAK_Y + LANES
OWN_STEPS = OWN_ROLL_X + LANES
OWN_NEXT = OWN_STEPS + LANES  # next row of the trace
OWN_SIZE = OWN_NEXT + LANES
OWN_ROWS = OWN_SIZE // LANES

# rows of Pack.known: what a stage reads besides the state
KNOWN_Q = 0
KNOWN_PIVOT = KNOWN_Q + 4 * LANES
KNOWN_TX = KNOWN_PIVOT + LANES  # place in the film's cell, and its 9 coefficients
KNOWN_TY = KNOWN_TX + LANES
KNOWN_FILM = KNOWN_TY + LANES
KNOWN_LANE = KNOWN_FILM + 9 * LANES  # lane film [m], and the share of the asperities
KNOWN_PHI = KNOWN_LANE + LANES
KNOWN_PAR = KNOWN_PHI + LANES  # the ball's parameters P_*
KNOWN_SIZE = KNOWN_PAR + P_COUNT * LANES

# rows of Pack.here and Pack.there: what is known of the ball at a step's start and end
AT_WX = 0
AT_WY = LANES
AT_WZ = 2 * LANES
AT_AXIS = 3 * LANES  # speed of the axis on the ball [rad/s]
AT_MU = 4 * LANES
AT_SLIP = 5 * LANES
AT_EXTRAS = 6  # the rows up to here
AT_NEED = 6 * LANES  # pivot torque needed and available [N m]
AT_LIMIT = 7 * LANES
AT_BODY = 8 * LANES  # body rates, three rows
AT_ROWS = 11
AT_SIZE = AT_ROWS * LANES

# rows of Pack.cross: where a step passes a whole cell
CROSS_PASSED = 0  # 1 if it does
CROSS_Y = LANES
CROSS_SLOPE = 2 * LANES
CROSS_FILM = 3 * LANES
CROSS_SIZE = 4 * LANES

Pack = namedtuple(
    "Pack",
    "own known here there stage rate rates length used error good stuck cross shot kept state",
)


@njit(**INNER)
def new_pack(count):
    """Scratch for LANES lanes and the waiting shots of a chunk of `count`."""
    return Pack(
        np.zeros(OWN_SIZE),
        np.zeros(KNOWN_SIZE),
        np.zeros(AT_SIZE),
        np.zeros(AT_SIZE),
        np.zeros(STEP_SIZE),  # stage: state of a stage, at last of the step's end
        np.zeros(STEP_SIZE),  # rate: its rates
        np.zeros(RK_STAGES * STEP_SIZE),  # rates of all stages
        np.zeros(STEP_SIZE),  # length of the step, once a row
        np.zeros(LANES),  # used: the same, once
        np.zeros(LANES),  # error of the step over its tolerance
        np.zeros(LANES),  # good: 1 where the step counts
        np.zeros(LANES),  # stuck: 1 where a creep step ended without slip
        np.zeros(CROSS_SIZE),  # cross: where a whole cell was passed
        np.full(LANES, -1),  # shot in the lane
        np.zeros((count, OWN_ROWS)),  # kept: `own` of shots that wait
        np.zeros(12),  # state: scratch of `release_state`
    )


# --- stages -------------------------------------------------------------------------------------


@njit(**INNER, **INLINE)
def lane_parameters(known, k):
    """The parameter vector of the ball in lane k as a tuple: numbers in registers, not in memory.

    Written out because a tuple's length must be known to the compiler.
    """
    p = KNOWN_PAR + k
    return (
        known[p], known[p + LANES], known[p + 2 * LANES], known[p + 3 * LANES],
        known[p + 4 * LANES], known[p + 5 * LANES], known[p + 6 * LANES], known[p + 7 * LANES],
        known[p + 8 * LANES], known[p + 9 * LANES], known[p + 10 * LANES], known[p + 11 * LANES],
        known[p + 12 * LANES], known[p + 13 * LANES], known[p + 14 * LANES], known[p + 15 * LANES],
        known[p + 16 * LANES], known[p + 17 * LANES], known[p + 18 * LANES], known[p + 19 * LANES],
        known[p + 20 * LANES], known[p + 21 * LANES], known[p + 22 * LANES], known[p + 23 * LANES],
        known[p + 24 * LANES],
    )


@njit(**INNER)
def fetch_film(stage, known, film, lanes):
    """Bring the film's coefficients around each lane's ball into `known`: one by one, by index."""
    per_x = 1.0 / known[KNOWN_PAR + P_CELL_X * LANES]
    per_y = 1.0 / known[KNOWN_PAR + P_BOARD * LANES]
    for k in range(lanes):
        tx, ty, f = film_patch(stage[S_X + k] * per_x, stage[S_Y + k] * per_y, film)
        known[KNOWN_TX + k] = tx
        known[KNOWN_TY + k] = ty
        for n in range(9):
            known[KNOWN_FILM + n * LANES + k] = f[n]


@njit(**INNER, **INLINE)
def weigh_film(stage, known, k, powered):
    """Lane film under lane k and the share of the asperities there, from what was fetched."""
    f = KNOWN_FILM + k
    h_lane = film_value(
        known[KNOWN_TX + k], known[KNOWN_TY + k],
        (known[f], known[f + LANES], known[f + 2 * LANES], known[f + 3 * LANES],
         known[f + 4 * LANES], known[f + 5 * LANES], known[f + 6 * LANES], known[f + 7 * LANES],
         known[f + 8 * LANES]),
    )
    known[KNOWN_LANE + k] = h_lane
    known[KNOWN_PHI + k] = asperity_share(
        h_lane, stage[S_FILM + k], powered, lane_parameters(known, k)
    )


@njit(**INNER)
def film_stage(stage, known, film, powered, lanes):
    """Film and asperities under all lanes; the exponent's power is costly and rarely asked for."""
    fetch_film(stage, known, film, lanes)
    if powered:
        for k in range(lanes):
            weigh_film(stage, known, k, True)
    else:
        for k in range(lanes):
            weigh_film(stage, known, k, False)


@njit(**INNER, **CONTRACT, **INLINE)
def turned(known, t0, t1, t2, k):
    """Orientation q exp(theta) of the ball in lane k."""
    e0, e1, e2, e3 = small_rotation(t0, t1, t2)
    q = KNOWN_Q + k
    return quaternion_product(
        known[q], known[q + LANES], known[q + 2 * LANES], known[q + 3 * LANES], e0, e1, e2, e3
    )


@njit(**INNER, **INLINE)
def lane_matrix(known, k):
    """Orientation matrix of the ball in lane k at the start of its step."""
    q = KNOWN_Q + k
    return unit_matrix(known[q], known[q + LANES], known[q + 2 * LANES], known[q + 3 * LANES])


@njit(**INNER, **CONTRACT, **INLINE)
def rotation_vector_rate(t0, t1, t2, b0, b1, b2):
    """Rate of theta: dexpinv of the BODY rate, b + theta x b/2 + c theta x (theta x b)."""
    c1 = t1 * b2 - t2 * b1
    c2 = t2 * b0 - t0 * b2
    c3 = t0 * b1 - t1 * b0
    d1 = t1 * c3 - t2 * c2
    d2 = t2 * c1 - t0 * c3
    d3 = t0 * c2 - t1 * c1
    square = t0 * t0 + t1 * t1 + t2 * t2
    c = 1.0 / 12.0 + square * (1.0 / 720.0 + square * (1.0 / 30240.0))
    return b0 + 0.5 * c1 + c * d1, b1 + 0.5 * c2 + c * d2, b2 + 0.5 * c3 + c * d3


@njit(**INNER, **INLINE)
def store_row(rows, k, numbers):
    """Write the STEP_ROWS numbers of lane k."""
    for r in range(STEP_ROWS):
        rows[r * LANES + k] = numbers[r]


@njit(**INNER, **INLINE)
def store_extras(at, k, e):
    """Write (wx, wy, wz, axis_speed, mu, slip) of lane k: the first rows of `at`."""
    for r in range(AT_EXTRAS):
        at[r * LANES + k] = e[r]


@njit(**INNER, **INLINE)
def store_rates(rate, at, k, vx, vy, d, b, e, theta):
    """Write what a law returned for lane k into the rates and the extras."""
    store_row(
        rate, k,
        (vx, vy, d[0], d[1], d[2], d[3], d[4], theta[0], theta[1], theta[2], d[5]),
    )
    store_extras(at, k, e)
    at[AT_BODY + k] = b[0]
    at[AT_BODY + LANES + k] = b[1]
    at[AT_BODY + 2 * LANES + k] = b[2]


@njit(**INNER, **CONTRACT)
def slide_stage(stage, known, rate, at, lanes):
    """Rates of all lanes, sliding: `slide_law`."""
    for k in range(lanes):
        par = lane_parameters(known, k)
        t0 = stage[S_THETA + k]
        t1 = stage[S_THETA + LANES + k]
        t2 = stage[S_THETA + 2 * LANES + k]
        p0, p1, p2, p3 = turned(known, t0, t1, t2, k)
        vx = stage[S_VX + k]
        vy = stage[S_VY + k]
        d, b, e = slide_law(
            stage[S_X + k], vx, vy, stage[S_LX + k], stage[S_LY + k], stage[S_LZ + k],
            unit_matrix(p0, p1, p2, p3), stage[S_FILM + k],
            known[KNOWN_LANE + k], known[KNOWN_PHI + k], par,
        )
        theta = rotation_vector_rate(t0, t1, t2, b[0], b[1], b[2])
        store_rates(rate, at, k, vx, vy, d, b, e, theta)


@njit(**INNER, **CONTRACT)
def roll_stage(stage, known, rate, at, lanes):
    """Rates of all lanes, rolling: `roll_law`."""
    for k in range(lanes):
        par = lane_parameters(known, k)
        t0 = stage[S_THETA + k]
        t1 = stage[S_THETA + LANES + k]
        t2 = stage[S_THETA + 2 * LANES + k]
        p0, p1, p2, p3 = turned(known, t0, t1, t2, k)
        v, d, b, e, g = roll_law(
            stage[S_X + k], stage[S_VX + k], stage[S_VY + k], stage[S_LX + k],
            stage[S_LY + k], stage[S_LZ + k], unit_matrix(p0, p1, p2, p3),
            stage[S_FILM + k], known[KNOWN_LANE + k], known[KNOWN_PHI + k],
            known[KNOWN_PIVOT + k], par,
        )
        theta = rotation_vector_rate(t0, t1, t2, b[0], b[1], b[2])
        store_rates(rate, at, k, v[0], v[1], d, b, e, theta)
        at[AT_NEED + k] = g[1]
        at[AT_LIMIT + k] = g[2]


@njit(**INNER, **CONTRACT)
def next_stage(i, start, length, r, out):
    """State of stage i of Dormand & Prince from the rates r of those before; stage 6 is the end."""
    s = STEP_SIZE
    if i == 1:
        for n in range(s):
            out[n] = start[n] + length[n] * (A21 * r[n])
    elif i == 2:
        for n in range(s):
            out[n] = start[n] + length[n] * (A31 * r[n] + A32 * r[n + s])
    elif i == 3:
        for n in range(s):
            out[n] = start[n] + length[n] * (A41 * r[n] + A42 * r[n + s] + A43 * r[n + 2 * s])
    elif i == 4:
        for n in range(s):
            out[n] = start[n] + length[n] * (
                A51 * r[n] + A52 * r[n + s] + A53 * r[n + 2 * s] + A54 * r[n + 3 * s]
            )
    elif i == 5:
        for n in range(s):
            out[n] = start[n] + length[n] * (
                A61 * r[n] + A62 * r[n + s] + A63 * r[n + 2 * s] + A64 * r[n + 3 * s]
                + A65 * r[n + 4 * s]
            )
    else:
        for n in range(s):
            out[n] = start[n] + length[n] * (
                A71 * r[n] + A73 * r[n + 2 * s] + A74 * r[n + 3 * s] + A75 * r[n + 4 * s]
                + A76 * r[n + 5 * s]
            )


@njit(**INNER, **CONTRACT)
def lie_step(pack, mode, powered, film, lanes):
    """One Dormand-Prince step of each lane's own length from `own`; error over tolerance too.

    pack.rates must hold the rates at the start.  Leaves the state at the end in pack.stage, its
    rates in the last row of pack.rates, the extras in pack.there.
    """
    own, known, there, stage = pack.own, pack.known, pack.there, pack.stage
    length, error, r, e = pack.length, pack.error, pack.rates, pack.rate
    for i in range(1, RK_STAGES):
        next_stage(i, own, length, r, stage)
        film_stage(stage, known, film, powered, lanes)
        if mode == SLIDE:
            slide_stage(stage, known, e, there, lanes)
        else:
            roll_stage(stage, known, e, there, lanes)
        first = i * STEP_SIZE
        for n in range(STEP_SIZE):
            r[first + n] = e[n]
    s = STEP_SIZE
    for n in range(s):
        e[n] = abs(
            E1 * r[n] + E3 * r[n + 2 * s] + E4 * r[n + 3 * s] + E5 * r[n + 4 * s]
            + E6 * r[n + 5 * s] + E7 * r[n + 6 * s]
        )
    for k in range(lanes):
        momentum = known[KNOWN_PAR + P_RADIUS * LANES + k] / (
            TOL_V * known[KNOWN_PAR + P_I2 * LANES + k]
        )
        worst = max(e[S_X + k] * (1.0 / TOL_X), e[S_Y + k] * (1.0 / TOL_Y))
        worst = max(worst, max(e[S_VX + k], e[S_VY + k]) * (1.0 / TOL_V))
        turn = max(e[S_LX + k], e[S_LY + k], e[S_LZ + k])
        worst = max(worst, turn * momentum)
        turn = max(e[S_THETA + k], e[S_THETA + LANES + k], e[S_THETA + 2 * LANES + k])
        worst = max(worst, turn * (1.0 / TOL_THETA), e[S_FILM + k] * (1.0 / TOL_H))
        error[k] = worst * length[k]


# --- sticking and slipping ----------------------------------------------------------------------


@njit(**INNER, **CONTRACT, **INLINE)
def slip_newton(slip, c, axx, axy, ayy, free_x, free_y):
    """One Newton step for s in (s + c A) e = w, |e| = 1; returns s and the last e, not yet unit."""
    gx = slip + c * axx
    gy = slip + c * ayy
    gxy = c * axy
    d = 1.0 / (gx * gy - gxy * gxy)
    ex = (gy * free_x - gxy * free_y) * d
    ey = (gx * free_y - gxy * free_x) * d
    fx = (gy * ex - gxy * ey) * d
    fy = (gx * ey - gxy * ex) * d
    size = math.sqrt(ex * ex + ey * ey)
    slip += (size - 1.0) * size / (ex * fx + ey * fy)
    slip = slip if slip > 1e-9 else 1e-9
    return slip, ex, ey


@njit(**INNER, **CONTRACT, **INLINE)
def creep_law(x, y, vx, vy, lx, ly, lz, h_track, q, here, span, h_lane, phi, par):
    """One step for a ball whose slip is nearly or exactly zero.

    Near zero slip Coulomb's law is stiff: the direction of slip follows the excess force within
    microseconds.  So the friction impulse p over the step is found implicitly at the midpoint
    (Moreau's time stepping, in: Nonsmooth Mechanics and Applications, CISM 302, 1988):

        u_mid = w + A p/2,   p = -mu N h u_mid/|u_mid|,  or no slip at the end with |p| <= mu N h,

    w the slip that the ball would have there without friction, A the 2 x 2 mobility of the contact
    point.  The law is Coulomb's own, set-valued at zero, not a smoothed one; where it sticks, the
    step ends with `stop_slip`, which keeps the angular momentum about the contact.

    Parameters
    ----------
    x .. lz, h_track, q : the ball at the start;  here : its (wx, wy, wz, slip) there;
    span : length of the step [s];  h_lane, phi : lane film [m] and share of the asperities half a
    step on.

    Returns
    -------
    (x, y, vx, vy, Lx, Ly, Lz, theta1..3, h) at the end, (wx, wy, wz, axis_speed, mu, slip) there,
    1 where the contact stuck
    """
    radius = par[P_RADIUS]
    mass = par[P_MASS]
    half = 0.5 * span
    t0, t1, t2, t3 = small_rotation(half * here[0], half * here[1], half * here[2])
    p0, p1, p2, p3 = quaternion_product(t0, t1, t2, t3, q[0], q[1], q[2], q[3])
    m = unit_matrix(p0, p1, p2, p3)
    j1 = 1.0 / par[P_I1]
    j2 = 1.0 / par[P_I2]
    j3 = 1.0 / par[P_I3]
    b1, b2, b3 = body_rates_free(lx, ly, lz, m, par)
    wx, wy, wz = to_lane(b1, b2, b3, m)
    free_x, free_y = contact_slip(vx, vy, wx, wy, par)
    square = radius * radius
    axx = 1.0 / mass + square * (j1 * m[3] * m[3] + j2 * m[4] * m[4] + j3 * m[5] * m[5])
    ayy = 1.0 / mass + square * (j1 * m[0] * m[0] + j2 * m[1] * m[1] + j3 * m[2] * m[2])
    axy = -square * (j1 * m[0] * m[3] + j2 * m[1] * m[4] + j3 * m[2] * m[5])
    slip_free = math.sqrt(free_x * free_x + free_y * free_y)
    least = slip_free if slip_free < here[3] else here[3]
    mu = mixed_friction(x + half * vx, h_lane, h_track, phi, least, par)
    limit = mu * mass * par[P_GRAVITY] * span
    det = 1.0 / (axx * ayy - axy * axy)
    # the impulse that ends all slip within the step: slip without friction would be 2 w - u there
    last_x = 2.0 * free_x - (vx - radius * here[1])
    last_y = 2.0 * free_y - (vy + radius * here[0])
    need_x = -(ayy * last_x - axy * last_y) * det
    need_y = -(axx * last_y - axy * last_x) * det
    stuck = math.sqrt(need_x * need_x + need_y * need_y) <= limit
    # otherwise (s + c A) e = w with |e| = 1: Newton for s, from the isotropic guess
    c = 0.5 * limit
    slip = slip_free - 0.5 * c * (axx + ayy)
    slip = slip if slip > 1e-9 else 1e-9
    slip, ex, ey = slip_newton(slip, c, axx, axy, ayy, free_x, free_y)
    slip, ex, ey = slip_newton(slip, c, axx, axy, ayy, free_x, free_y)
    slip, ex, ey = slip_newton(slip, c, axx, axy, ayy, free_x, free_y)
    share = -limit / math.sqrt(ex * ex + ey * ey)
    push_x = need_x if stuck else share * ex
    push_y = need_y if stuck else share * ey
    slip = 0.0 if stuck else slip
    below = par[P_CONTACT_A] * abs(wz) + (15.0 * math.pi / 16.0) * slip
    pivot = -(3.0 * math.pi / 16.0) * limit * par[P_CONTACT_A] ** 2 * wz / below
    pivot = pivot if below > 0.0 else 0.0
    most = abs(wz) * par[P_I2]
    pivot = pivot if pivot > -most else -most
    pivot = pivot if pivot < most else most
    # spin at the midpoint with half of the impulse carries the turn of the whole step
    b1, b2, b3 = body_rates_free(
        lx + 0.5 * radius * push_y, ly - 0.5 * radius * push_x, lz + 0.5 * pivot, m, par
    )
    nvx = vx + push_x / mass
    nvy = vy + push_y / mass
    nlx = lx + radius * push_y
    nly = ly - radius * push_x
    nlz = lz + pivot
    axis2 = axis_rate_squared(b1, b2, b3, par)
    spin2 = b1 * b1 + b2 * b2 + b3 * b3
    rate = track_film_rate(h_lane, h_track, spin2, axis2, par)
    # the film falls exponentially: one implicit step cannot overshoot
    decay = -track_film_rate(0.0, 1.0, spin2, axis2, par)
    h_end = h_track + span * rate / (1.0 + 0.5 * span * decay)
    t0, t1, t2, t3 = small_rotation(span * b1, span * b2, span * b3)
    p0, p1, p2, p3 = quaternion_product(q[0], q[1], q[2], q[3], t0, t1, t2, t3)
    m = unit_matrix(p0, p1, p2, p3)
    svx, svy, slx, sly, slz = stop_slip(nvx, nvy, nlx, nly, nlz, m, par)
    nvx = svx if stuck else nvx
    nvy = svy if stuck else nvy
    nlx = slx if stuck else nlx
    nly = sly if stuck else nly
    nlz = slz if stuck else nlz
    e1, e2, e3 = body_rates_free(nlx, nly, nlz, m, par)
    wx, wy, wz = to_lane(e1, e2, e3, m)
    ux, uy = contact_slip(nvx, nvy, wx, wy, par)
    return (
        (x + half * (vx + nvx), y + half * (vy + nvy), nvx, nvy, nlx, nly, nlz,
         span * b1, span * b2, span * b3, h_end),
        (wx, wy, wz, math.sqrt(axis2), mu, math.sqrt(ux * ux + uy * uy)),
        1.0 if stuck else 0.0,
    )


@njit(**INNER, **CONTRACT)
def creep_step(pack, powered, film, lanes):
    """One `creep_law` step of each lane; the end in pack.stage, the extras in pack.there."""
    own = pack.own
    known = pack.known
    here = pack.here
    there = pack.there
    stage = pack.stage
    used = pack.used
    stick = pack.stuck
    for k in range(lanes):
        stage[S_X + k] = own[S_X + k] + 0.5 * used[k] * own[S_VX + k]
        stage[S_Y + k] = own[S_Y + k] + 0.5 * used[k] * own[S_VY + k]
        stage[S_FILM + k] = own[S_FILM + k]
    film_stage(stage, known, film, powered, lanes)
    for k in range(lanes):
        par = lane_parameters(known, k)
        end, e, stuck = creep_law(
            own[S_X + k], own[S_Y + k], own[S_VX + k], own[S_VY + k], own[S_LX + k],
            own[S_LY + k], own[S_LZ + k], own[S_FILM + k],
            (own[OWN_Q + k], own[OWN_Q + LANES + k], own[OWN_Q + 2 * LANES + k],
             own[OWN_Q + 3 * LANES + k]),
            (here[AT_WX + k], here[AT_WY + k], here[AT_WZ + k],
             here[AT_SLIP + k]),
            used[k], known[KNOWN_LANE + k], known[KNOWN_PHI + k], par,
        )
        store_row(stage, k, end)
        store_extras(there, k, e)
        stick[k] = stuck


# --- the length of a step -----------------------------------------------------------------------


@njit(**INNER, **INLINE)
def choose_pivot(wz, pivot_need, pivot_limit, inertia, h):
    """Pivot sign of a rolling step: that of wz, or 0 where friction can hold it in the step."""
    held = abs(wz) <= 2.0 * pivot_limit / inertia * h and abs(pivot_need) <= pivot_limit
    return 0.0 if held else (1.0 if wz >= 0.0 else -1.0)


@njit(**INNER)
def set_pivots(own, known, here, lanes):
    """Pivot sign of each lane's next rolling step."""
    for k in range(lanes):
        sign = choose_pivot(
            here[AT_WZ + k], here[AT_NEED + k], here[AT_LIMIT + k],
            known[KNOWN_PAR + P_I2 * LANES + k], own[OWN_STEP + k],
        )
        has_contact = known[KNOWN_PAR + P_CONTACT_A * LANES + k] > 0.0
        known[KNOWN_PIVOT + k] = sign if has_contact else 1.0


@njit(**INNER, **CONTRACT)
def plan_steps(pack, mode, lanes):
    """Choose the length of each lane's next step: pack.used, and pack.length row by row."""
    own = pack.own
    here = pack.here
    known = pack.known
    used = pack.used
    length = pack.length
    for k in range(lanes):
        wx = here[AT_WX + k]
        wy = here[AT_WY + k]
        wz = here[AT_WZ + k]
        w0 = math.sqrt(wx * wx + wy * wy + wz * wz)
        if mode == CREEP:
            h = CREEP_TURN / (w0 if w0 > 1.0 else 1.0)
            h = h if h < CREEP_LONGEST else CREEP_LONGEST
        else:
            x = own[S_X + k]
            vx = own[S_VX + k]
            h = own[OWN_STEP + k]
            # slip must not run out inside a sliding step
            closing = own[OWN_CLOSING + k]
            most = 0.9 * (here[AT_SLIP + k] - 0.6 * CREEP_SLIP) / closing
            most = most if most > 5e-4 else 5e-4
            h = most if closing > 0.0 and most < h else h
            # steps end on cell boundaries, the knots of the film's splines: smooth inside the step
            cell = known[KNOWN_PAR + P_CELL_X * LANES + k]
            cells = x / cell
            to_knot = (np.int32(cells + 0.02) + 1.0 - cells) * cell / vx
            h = to_knot if to_knot < h else h
            pieces = to_knot / h
            turn = to_knot * w0 * (1.0 / SLIDE_TURN)
            pieces = (pieces if pieces > turn else turn) - 0.02
            pieces = pieces if pieces < 1e6 else 1e6
            whole = float(np.int32(pieces))
            h = to_knot / (whole + 1.0 if pieces > whole else whole)
            # just past the jump between two constant zones: it must not lie inside a step
            jump = (known[KNOWN_PAR + P_TWO_ZONE_X * LANES + k] - x) / vx + 1e-7
            h = jump if 1e-7 < jump < h else h
            h = h if h > STEP_MIN else STEP_MIN
        forced = own[OWN_FORCED + k]
        h = forced if forced > 0.0 else h
        used[k] = h
        for r in range(STEP_ROWS):
            length[r * LANES + k] = h


# --- events -------------------------------------------------------------------------------------


@njit(**INNER, **INLINE)
def hermite(s, h, p0, v0, p1, v1):
    """Cubic through two points with their rates, at the share s of the step."""
    s2 = s * s
    s3 = s2 * s
    return (
        (2 * s3 - 3 * s2 + 1) * p0 + (s3 - 2 * s2 + s) * h * v0
        + (3 * s2 - 2 * s3) * p1 + (s3 - s2) * h * v1
    )


@njit(**INNER)
def end_at(x, y, pins, par):
    """END_* code of a ball at (x, y), or -1 while it is still on its way."""
    if y < 0.0 or y > par[P_LANE_WIDTH]:
        return END_GUTTER
    reach = par[P_PIN_REACH]
    if x > par[P_PINS_X] - reach and nearest_pin(x, y, pins)[0] <= reach:
        return END_PIN
    if x > par[P_END_X]:
        return END_PAST
    return -1


@njit(**INNER)
def end_within_step(own, stage, k, h, pins, par):
    """Share of lane k's step at which the shot ends, and how: (share, END_* or -1, pin index).

    The path within the step is the cubic Hermite of its ends; it is looked at in 16 places, and
    the crossing is found by bisection.
    """
    x0, y0, u0, v0 = own[S_X + k], own[S_Y + k], own[S_VX + k], own[S_VY + k]
    x1, y1, u1, v1 = stage[S_X + k], stage[S_Y + k], stage[S_VX + k], stage[S_VY + k]
    pieces = 16
    before = 0.0
    for n in range(1, pieces + 1):
        s = n / pieces
        if end_at(hermite(s, h, x0, u0, x1, u1), hermite(s, h, y0, v0, y1, v1), pins, par) >= 0:
            low = before
            high = s
            for _ in range(40):
                middle = 0.5 * (low + high)
                x = hermite(middle, h, x0, u0, x1, u1)
                y = hermite(middle, h, y0, v0, y1, v1)
                if end_at(x, y, pins, par) >= 0:
                    high = middle
                else:
                    low = middle
            x = hermite(high, h, x0, u0, x1, u1)
            y = hermite(high, h, y0, v0, y1, v1)
            return high, end_at(x, y, pins, par), nearest_pin(x, y, pins)[1]
        before = s
    return 2.0, -1, -1


@njit(**INNER, **CONTRACT, **INLINE)
def crossing(target, own, stage, k, h):
    """Board position, slope of the path and track film where lane k's step passes x = target.

    Slopes, not angles, while the shot runs: `slopes_to_headings` turns them at the end.
    """
    x0, u0, x1, u1 = own[S_X + k], own[S_VX + k], stage[S_X + k], stage[S_VX + k]
    y0, v0, y1, v1 = own[S_Y + k], own[S_VY + k], stage[S_Y + k], stage[S_VY + k]
    per_x = 1.0 / (x1 - x0)
    s = (target - x0) * per_x
    s += (target - hermite(s, h, x0, u0, x1, u1)) * per_x  # Newton; the slope is near x1 - x0
    s += (target - hermite(s, h, x0, u0, x1, u1)) * per_x
    film = own[S_FILM + k]
    return (
        hermite(s, h, y0, v0, y1, v1),
        (v0 + s * (v1 - v0)) / (u0 + s * (u1 - u0)),
        film + s * (stage[S_FILM + k] - film),
    )


@njit(**INNER, **CONTRACT)
def cross_cells(pack, lanes):
    """Where each lane's step passes the next whole cell, if it does: into pack.cross."""
    own, known, stage, used, cross = pack.own, pack.known, pack.stage, pack.used, pack.cross
    for k in range(lanes):
        cell = known[KNOWN_PAR + P_CELL_X * LANES + k]
        target = own[OWN_NEXT + k] * cell
        y, slope, film = crossing(target, own, stage, k, used[k])
        cross[CROSS_PASSED + k] = 1.0 if stage[S_X + k] >= target else 0.0
        cross[CROSS_Y + k] = y
        cross[CROSS_SLOPE + k] = slope
        cross[CROSS_FILM + k] = film


@njit(**INNER)
def record_trace(own, stage, k, h, cell, traces, t):
    """Write the cells that lane k's step passed into trace t, and which one is next."""
    n = int(own[OWN_NEXT + k])
    while n < TRACE_FEET and stage[S_X + k] >= n * cell:
        y, slope, film = crossing(n * cell, own, stage, k, h)
        traces[t, n, T_Y] = y
        traces[t, n, T_HEADING] = slope
        traces[t, n, T_FILM] = film
        n += 1
    own[OWN_NEXT + k] = n


@njit(**INNER)
def hook_distance(trace, rows, heading_end, x_end, cell_x):
    """x [m] where the heading has turned a tenth of its whole turn (linear between samples)."""
    first = math.atan(trace[0, T_HEADING])
    whole = heading_end - first
    if abs(whole) < 1e-9:
        return x_end
    before = 0.0
    for n in range(1, rows):
        share = (math.atan(trace[n, T_HEADING]) - first) / whole
        if share >= 0.1:
            return (n - 1 + (0.1 - before) / (share - before)) * cell_x
        before = share
    last = (rows - 1) * cell_x
    return last + (0.1 - before) / (1.0 - before) * (x_end - last)


@njit(**INNER)
def slopes_to_headings(trace):
    """Turn the slopes of a finished trace into headings [rad]."""
    for n in range(TRACE_FEET):
        trace[n, T_HEADING] = math.atan(trace[n, T_HEADING])


# --- a shot's way through the pack --------------------------------------------------------------


@njit(**INNER)
def start_shot(shot, pap, par, state, kept, trace):
    """Fill a shot's kept numbers at the foul line; returns the regime that it starts in."""
    release_state(
        shot[0], shot[1], shot[2], shot[3], shot[4], shot[5], shot[6], pap, par, state
    )
    for n in range(OWN_ROWS):
        kept[n] = 0.0
    for n in range(7):
        kept[n] = state[n]
    for n in range(4):
        kept[OWN_Q // LANES + n] = state[7 + n]
    kept[OWN_STEP // LANES] = STEP_FIRST
    kept[OWN_END // LANES] = END_FAILED
    kept[OWN_PIN // LANES] = -1
    kept[OWN_BREAK_X // LANES] = state[0]
    kept[OWN_BREAK_Y // LANES] = state[1]
    kept[OWN_ROLL_X // LANES] = np.nan
    kept[OWN_NEXT // LANES] = 1
    for n in range(TRACE_FEET):
        trace[n, T_Y] = np.nan
        trace[n, T_HEADING] = np.nan
        trace[n, T_FILM] = np.nan
    trace[0, T_Y] = state[1]
    trace[0, T_HEADING] = state[3] / state[2]
    trace[0, T_FILM] = 0.0
    ux, uy = slip_velocity(state, par)
    return CREEP if math.sqrt(ux * ux + uy * uy) < CREEP_SLIP else SLIDE


@njit(**INNER)
def finish_shot(pack, k, trace, keep, par, row):
    """Fill the row of the shot in lane k, which has ended."""
    own = pack.own
    here = pack.here
    vx = own[S_VX + k]
    vy = own[S_VY + k]
    row[R_END] = own[OWN_END + k]
    row[R_PIN] = own[OWN_PIN + k]
    row[R_X] = own[S_X + k]
    row[R_Y] = own[S_Y + k]
    row[R_VX] = vx
    row[R_VY] = vy
    row[R_WX] = here[AT_WX + k]
    row[R_WY] = here[AT_WY + k]
    row[R_WZ] = here[AT_WZ + k]
    row[R_TIME] = own[OWN_TIME + k]
    row[R_BREAK_X] = own[OWN_BREAK_X + k]
    row[R_BREAK_Y] = own[OWN_BREAK_Y + k]
    row[R_ROLL_X] = own[OWN_ROLL_X + k]
    row[R_HOOK_X] = hook_distance(
        trace, int(own[OWN_NEXT + k]), math.atan2(vy, vx), own[S_X + k], par[P_CELL_X]
    )
    row[R_TURNS] = own[OWN_TURNS + k] / (2.0 * math.pi)
    row[R_FLARE] = own[OWN_FLARE + k] * par[P_RADIUS]
    row[R_TRACK_FILM] = own[S_FILM + k]
    row[R_STEPS] = own[OWN_STEPS + k]
    if keep:
        slopes_to_headings(trace)


@njit(**INNER)
def enter_lane(pack, k, n, mode, ball, film):
    """Put waiting shot n into lane k: its numbers, its ball (the parameters), rates and extras."""
    own = pack.own
    known = pack.known
    here = pack.here
    for r in range(OWN_ROWS):
        own[r * LANES + k] = pack.kept[n, r]
    for r in range(4):
        known[KNOWN_Q + r * LANES + k] = own[OWN_Q + r * LANES + k]
    for r in range(P_COUNT):
        known[KNOWN_PAR + r * LANES + k] = ball[r]
    known[KNOWN_PIVOT + k] = 0.0
    pack.shot[k] = n
    x, y, vx, vy = own[S_X + k], own[S_Y + k], own[S_VX + k], own[S_VY + k]
    lx, ly, lz = own[S_LX + k], own[S_LY + k], own[S_LZ + k]
    h = own[S_FILM + k]
    par = lane_parameters(known, k)  # as in the stages: one version of each law is compiled
    m = lane_matrix(known, k)
    h_lane = film_at(x, y, film, par[P_BOARD], par[P_CELL_X])
    phi = asperity_share(h_lane, h, True, par)
    if mode == ROLL:
        v, d, b, e, g = roll_law(x, vx, vy, lx, ly, lz, m, h, h_lane, phi, 0.0, par)
        store_rates(pack.rates, here, k, v[0], v[1], d, b, e, b)
        here[AT_NEED + k] = g[1]
        here[AT_LIMIT + k] = g[2]
    else:
        d, b, e = slide_law(x, vx, vy, lx, ly, lz, m, h, h_lane, phi, par)
        store_rates(pack.rates, here, k, vx, vy, d, b, e, b)


@njit(**INNER, **INLINE)
def leave_lane(pack, k):
    """Put the shot in lane k back among those that wait, and empty the lane."""
    n = pack.shot[k]
    for r in range(OWN_ROWS):
        pack.kept[n, r] = pack.own[r * LANES + k]
    pack.shot[k] = -1


@njit(**INNER)
def retry_step(own, stage, k, used, error, mode, pins, known):
    """Whether lane k's step does not count, and then how long the next try is to be.

    A step that is too inaccurate is taken again, shorter; one within which the shot ends is taken
    again up to that point.
    """
    if mode != CREEP and not error <= 1.0 and used > 2.0 * STEP_MIN:
        shrink = max(0.2, 0.9 * error**RK_POWER) if error < 1e9 else 0.2
        own[OWN_STEP + k] = used * shrink
        own[OWN_CLOSING + k] = 0.0
        return True
    share, how, pin = end_within_step(own, stage, k, used, pins, lane_parameters(known, k))
    if how < 0:
        return False
    own[OWN_FORCED + k] = max(share * used, 1e-15)
    own[OWN_END + k] = how
    own[OWN_PIN + k] = pin if how == END_PIN else -1
    return True


@njit(**INNER)
def note_rolling(own, known, here, there, k, used, stuck):
    """Where slip first ended, for a creep step: in it, or to be caught at rest in the next one."""
    par = lane_parameters(known, k)
    rolling = 1.0 + par[P_MASS] * par[P_RADIUS] ** 2 / par[P_I2]
    fall = there[AT_MU + k] * par[P_GRAVITY] * rolling
    slip = here[AT_SLIP + k]
    if stuck > 0.0 or slip <= fall * used:
        late = min(slip / max(fall, 1e-9), used)
        own[OWN_ROLL_X + k] = own[S_X + k] + own[S_VX + k] * late


@njit(**INNER)
def judge_steps(own, stage, known, here, there, cross, used, error, stuck, good, shot, mode, pins,
                traces, offset, lanes):
    """Which steps count: `good` 1 or 0; writes the traces of those that do.

    The arrays are handed over one by one, and what happens rarely is done elsewhere: here every
    access through the pack and every view would cost an atomic count, more than the work.
    """
    # lane and pins are the same for all balls
    cell = known[KNOWN_PAR + P_CELL_X * LANES]
    width = known[KNOWN_PAR + P_LANE_WIDTH * LANES]
    pins_x = known[KNOWN_PAR + P_PINS_X * LANES]
    reach = known[KNOWN_PAR + P_PIN_REACH * LANES]
    near = min(pins_x - reach - 0.05, known[KNOWN_PAR + P_END_X * LANES])
    for k in range(lanes):
        good[k] = 0.0
        if shot[k] >= 0:
            own[OWN_STEPS + k] += 1.0
            y = stage[S_Y + k]
            again = False
            suspect = not error[k] <= 1.0 or stage[S_X + k] > near or not 0.0 <= y <= width
            if suspect and own[OWN_FORCED + k] <= 0.0:
                again = retry_step(own, stage, k, used[k], error[k], mode, pins, known)
            if not again:
                good[k] = 1.0
                if cross[CROSS_PASSED + k] > 0.0:
                    n = int(own[OWN_NEXT + k])
                    if n < TRACE_FEET:
                        t = offset + shot[k]
                        traces[t, n, T_Y] = cross[CROSS_Y + k]
                        traces[t, n, T_HEADING] = cross[CROSS_SLOPE + k]
                        traces[t, n, T_FILM] = cross[CROSS_FILM + k]
                        own[OWN_NEXT + k] = n + 1
                        if stage[S_X + k] >= (n + 1) * cell:
                            record_trace(own, stage, k, used[k], cell, traces, t)
                if mode == CREEP and math.isnan(own[OWN_ROLL_X + k]):
                    note_rolling(own, known, here, there, k, used[k], stuck[k])


@njit(**INNER, **CONTRACT)
def accept_steps(pack, mode, lanes):
    """Make the end of each good step the start of the next one; add up time, turns and flare."""
    own = pack.own
    known = pack.known
    here = pack.here
    there = pack.there
    stage = pack.stage
    taken, counts, errors, rates = pack.used, pack.good, pack.error, pack.rates
    for k in range(lanes):
        good = counts[k] > 0.0
        used = taken[k] if good else 0.0
        wx, wy, wz = here[AT_WX + k], here[AT_WY + k], here[AT_WZ + k]
        spin = math.sqrt(wx * wx + wy * wy + wz * wz)
        wx, wy, wz = there[AT_WX + k], there[AT_WY + k], there[AT_WZ + k]
        spin += math.sqrt(wx * wx + wy * wy + wz * wz)
        spin = spin if good else 0.0
        axis = here[AT_AXIS + k] + there[AT_AXIS + k]
        axis = axis if good else 0.0
        own[OWN_TIME + k] += used
        own[OWN_TURNS + k] += 0.5 * spin * used
        own[OWN_FLARE + k] += 0.5 * axis * used
        # outermost point: the end of the step, or where the path turns inside it
        x0, u0 = own[S_X + k], own[S_VX + k]
        y0, v0 = own[S_Y + k], own[S_VY + k]
        x1, u1 = stage[S_X + k], stage[S_VX + k]
        y1, v1 = stage[S_Y + k], stage[S_VY + k]
        s = v0 / (v0 - v1)
        s = s if v0 < 0.0 < v1 else 1.0
        x = hermite(s, used, x0, u0, x1, u1)
        y = hermite(s, used, y0, v0, y1, v1)
        outer = good and y < own[OWN_BREAK_Y + k]
        own[OWN_BREAK_X + k] = x if outer else own[OWN_BREAK_X + k]
        own[OWN_BREAK_Y + k] = y if outer else own[OWN_BREAK_Y + k]
        # how fast slip falls, and the next step from this one's error
        slip = here[AT_SLIP + k] - there[AT_SLIP + k]
        own[OWN_CLOSING + k] = slip / used if good else own[OWN_CLOSING + k]
        error = errors[k]
        factor = 0.9 * exponential(RK_POWER * logarithm(error))
        factor = factor if factor < 4.0 else 4.0
        factor = factor if factor > 0.3 else 0.3
        factor = factor if error > 1e-6 else 4.0
        own[OWN_STEP + k] = used * factor if good else own[OWN_STEP + k]
    for k in range(lanes):
        good = counts[k] > 0.0
        q = KNOWN_Q + k
        p0, p1, p2, p3 = turned(
            known, stage[S_THETA + k], stage[S_THETA + LANES + k], stage[S_THETA + 2 * LANES + k], k
        )
        norm = 1.0 / math.sqrt(p0 * p0 + p1 * p1 + p2 * p2 + p3 * p3)
        p0 = p0 * norm if good else known[q]
        p1 = p1 * norm if good else known[q + LANES]
        p2 = p2 * norm if good else known[q + 2 * LANES]
        p3 = p3 * norm if good else known[q + 3 * LANES]
        known[q] = p0
        known[q + LANES] = p1
        known[q + 2 * LANES] = p2
        known[q + 3 * LANES] = p3
        own[OWN_Q + k] = p0
        own[OWN_Q + LANES + k] = p1
        own[OWN_Q + 2 * LANES + k] = p2
        own[OWN_Q + 3 * LANES + k] = p3
        for r in range(7):
            m = r * LANES + k
            own[m] = stage[m] if good else own[m]
        own[S_FILM + k] = stage[S_FILM + k] if good else own[S_FILM + k]
        for r in range(AT_ROWS):
            m = r * LANES + k
            here[m] = there[m] if good else here[m]
    if mode == SLIDE:  # first stage same as last; theta is 0 again: its rate is the body rate
        last = (RK_STAGES - 1) * STEP_SIZE
        for k in range(lanes):
            good = counts[k] > 0.0
            for r in range(STEP_ROWS):
                m = r * LANES + k
                rates[m] = rates[last + m] if good else rates[m]
            for r in range(3):
                rates[S_THETA + r * LANES + k] = here[AT_BODY + r * LANES + k]
    elif mode == ROLL:
        for k in range(lanes):
            par = lane_parameters(known, k)
            vx, vy, lx, ly, lz = stop_slip(
                own[S_VX + k], own[S_VY + k], own[S_LX + k], own[S_LY + k],
                own[S_LZ + k], lane_matrix(known, k), par,
            )
            own[S_VX + k] = vx
            own[S_VY + k] = vy
            own[S_LX + k] = lx
            own[S_LY + k] = ly
            own[S_LZ + k] = lz


@njit(**INNER)
def grip_bound(known, here, k):
    """Upper bound of |F|/(mu N) over a turn of free rolling, from the gyroscopic torque's size."""
    par = lane_parameters(known, k)
    m = lane_matrix(known, k)
    b1, b2, b3 = to_body(
        here[AT_WX + k], here[AT_WY + k], here[AT_WZ + k], m
    )
    g1 = (par[P_I2] - par[P_I3]) * b2 * b3
    g2 = (par[P_I3] - par[P_I1]) * b3 * b1
    g3 = (par[P_I1] - par[P_I2]) * b1 * b2
    torque = math.sqrt(g1 * g1 + g2 * g2 + g3 * g3)
    rolling = par[P_I1] + par[P_MASS] * par[P_RADIUS] ** 2
    limit = here[AT_MU + k] * par[P_MASS] * par[P_GRAVITY]
    return 1.2 * par[P_MASS] * par[P_RADIUS] * torque / rolling / limit


@njit(**INNER)
def next_mode(own, known, here, used, stuck, k, mode):
    """What the shot in lane k does after a good step in `mode`."""
    if (
        own[OWN_FORCED + k] > 0.0
        or own[OWN_STEPS + k] >= MAX_STEPS
        or not own[S_VX + k] >= STOPPED
        or not math.isfinite(own[S_Y + k])
    ):
        return OVER
    slip = here[AT_SLIP + k]
    if mode == SLIDE:
        return CREEP if slip < CREEP_SLIP else SLIDE
    if mode == ROLL:
        return CREEP if grip_bound(known, here, k) >= GRIP_SAFE else ROLL
    if slip > CREEP_LEAVE:
        then = SLIDE
    elif stuck[k] > 0.0 and grip_bound(known, here, k) < GRIP_SAFE:
        then = ROLL
    else:
        return CREEP
    own[OWN_CLOSING + k] = 0.0
    own[OWN_STEP + k] = 4.0 * used[k]
    return then


@njit(**INNER)
def settle_steps(own, known, here, used, stuck, good, shot, mode, doing, lanes):
    """Ask `next_mode` for each lane with a good step (or out of patience); how many go."""
    going = 0
    for k in range(lanes):
        n = shot[k]
        if n >= 0 and (good[k] > 0.0 or own[OWN_STEPS + k] >= MAX_STEPS):
            then = next_mode(own, known, here, used, stuck, k, mode)
            doing[n] = then
            if then != mode:
                going += 1
    return going


@njit(**INNER)
def fill_lanes(pack, waiting, mode, doing, first, which, pars, film, lanes):
    """Put waiting shots that do `mode` into the empty lanes: (how many, where to go on looking)."""
    entered = 0
    for k in range(lanes):
        while pack.shot[k] < 0 and waiting < doing.shape[0]:
            if doing[waiting] == mode:
                enter_lane(pack, k, waiting, mode, pars[which[first + waiting]], film)
                entered += 1
            waiting += 1
    return entered, waiting


@njit(**INNER)
def empty_lanes(pack, mode, doing, first, which, pars, rows, traces, offset, keep, lanes):
    """Finish the shots that are over and put back those that now do something else."""
    for k in range(lanes):
        n = pack.shot[k]
        if n >= 0 and doing[n] == OVER:
            if not (pack.good[k] > 0.0 and pack.own[OWN_FORCED + k] > 0.0):
                pack.own[OWN_END + k] = END_FAILED
            par = pars[which[first + n]]
            finish_shot(pack, k, traces[offset + n], keep, par, rows[first + n])
            pack.shot[k] = -1
        elif n >= 0 and doing[n] != mode:
            leave_lane(pack, k)


@njit(**INNER)
def any_power(pars):
    """Whether the exponent q of `asperity_share` is other than 1 for any of the balls."""
    return np.any(pars[:, P_LAMBDA_POWER] != 1.0)


@njit(**CALLED, nogil=True)
def throw_chunk(shots, which, paps, pars, film, pins, rows, traces, first, count):
    """Follow shots first .. first + count of a batch; several threads may do so at once.

    shots (n, 7), which (n,) index of the ball, paps (b, 3), pars (b, P_COUNT), film (60, 39);
    fills rows (n, R_COUNT) and, unless its length is 0, traces (n, TRACE_FEET, T_COUNT).

    Three ways of stepping, chosen by the slip: SLIDE and ROLL by adaptive Lie-group Runge-Kutta
    steps on the reference's right-hand sides, and CREEP (`creep_law`) in between, where a ball
    sticks and slips within a turn.  All shots that do the same are followed side by side until
    they do something else.
    """
    keep = traces.shape[0] > 0
    offset = first if keep else 0
    if not keep:
        traces = np.empty((count, TRACE_FEET, T_COUNT))
    pack = new_pack(count)
    doing = np.zeros(count, np.int64)
    lanes = LANES if count > LANES // 2 else LANES // 2
    powered = any_power(pars)
    # a variable of plain integer type: were it known to start at 0, the compiler of Python would
    # make each function that takes it twice
    mode = np.int64(SLIDE)
    for n in range(count):
        doing[n] = start_shot(
            shots[first + n], paps[which[first + n]], pars[which[first + n]], pack.state,
            pack.kept[n], traces[offset + n],
        )
    for k in range(lanes):  # lanes that stand idle go on with a ball, not with zeros
        enter_lane(pack, k, np.int64(0), mode, pars[which[first]], film)
        pack.shot[k] = -1
    # taken out of the pack here: in the loop each would cost an atomic count
    own, known, here, there, stage = pack.own, pack.known, pack.here, pack.there, pack.stage
    used, error, stuck, good = pack.used, pack.error, pack.stuck, pack.good
    cross, shot, rates = pack.cross, pack.shot, pack.rates
    idle = 0
    while idle <= OVER:  # three modes in turn, until none of them has a shot left
        waiting = np.int64(0)  # as `mode`
        busy = 0
        going = lanes
        while True:
            if going > 0:  # lanes are empty
                entered, waiting = fill_lanes(
                    pack, waiting, mode, doing, first, which, pars, film, lanes
                )
                busy += entered
            if busy == 0:
                break
            idle = 0
            if mode == ROLL:
                set_pivots(own, known, here, lanes)
                film_stage(own, known, film, powered, lanes)
                roll_stage(own, known, rates, here, lanes)
            plan_steps(pack, mode, lanes)
            if mode == CREEP:
                creep_step(pack, powered, film, lanes)
            else:
                lie_step(pack, mode, powered, film, lanes)
            cross_cells(pack, lanes)
            judge_steps(
                own, stage, known, here, there, cross, used, error, stuck, good, shot, mode, pins,
                traces, offset, lanes,
            )
            accept_steps(pack, mode, lanes)
            going = settle_steps(
                own, known, here, used, stuck, good, shot, mode, doing, lanes
            )
            if going > 0:
                empty_lanes(
                    pack, mode, doing, first, which, pars, rows, traces, offset, keep, lanes
                )
                busy -= going
        mode = (mode + 1) % OVER
        idle += 1


# =========================== oil taken and laid down by shots ===================================
#
# A shot follows its path over the film as it lies; then, foot by foot along that path, it takes
# oil off the lane and lays part of what it carries down again.  Carried is the oil on the track
# ring that meets the lane, C, as an amount; per turn of the ball (n counts turns)
#
#     dC/dn = take - C (1 - o + uptake + lay)
#
# which is `track_film_rate` with one more way out: `lay`, the share that the lane takes back from
# the ring.  What flare turns away from the lane (1 - o) and what the cover drinks (uptake) stays
# with the ball for good; the rest, C lay, goes onto the lane where the ball is.  Within a foot the
# equation is solved in closed form, so that what leaves C is exactly what is split.
# Amounts are film [m] times one cell; the caller knows the cell's area.

SQRT_HALF = math.sqrt(0.5)
INV_SQRT_2PI = 1.0 / math.sqrt(2.0 * math.pi)


@njit(**INNER, inline="always")
def normal_ramp(u):
    """Integral of the standard normal distribution function from -infinity to u: u Phi + phi."""
    return u * 0.5 * math.erfc(-u * SQRT_HALF) + math.exp(-0.5 * u * u) * INV_SQRT_2PI


@njit(**PLAIN)
def swath_shares(y0, y1, sd, board, shares):
    """Share of a swath that lies on each board; fills shares, which sum to 1.

    The swath is a Gaussian of standard deviation sd [m] about a path that runs evenly from y0 to
    y1 [m] within the row: the exact integral over each board, (1/L) int Phi((b - y)/sd) dy at its
    two edges.  What would lie beside the lane is spread over the boards in proportion.
    """
    count = shares.shape[0]
    long_enough = abs(y1 - y0) > 1e-4 * sd
    total = 0.0
    before = 0.0
    for j in range(count + 1):
        edge = j * board
        if long_enough:
            here = (
                (normal_ramp((edge - y0) / sd) - normal_ramp((edge - y1) / sd)) * sd / (y1 - y0)
            )
        else:
            here = 0.5 * math.erfc(-(edge - 0.5 * (y0 + y1)) / sd * SQRT_HALF)
        if j > 0:
            shares[j - 1] = max(here - before, 0.0)  # rounding of two equal numbers, 1e-16
            total += shares[j - 1]
        before = here
    for j in range(count):
        shares[j] /= total


@njit(**CALLED)
def carry_oil(row, trace, par, swath, wipe, lay, film, shares):
    """Change the film [m] as one shot of `throw_chunk` did; returns (taken, laid) in film x cells.

    Parameters
    ----------
    row, trace : the shot's, from `throw_chunk`;  swath : standard deviation of its swath [m];
    wipe : rate per turn at which the swath gives up its oil (the share 1 - exp(-wipe n) in n
    turns);  lay : share per turn of the ring's oil that goes back onto the lane;
    film : (rows, boards), changed in place;  shares : (boards,) scratch.
    """
    rows, cols = film.shape
    cell = par[P_CELL_X]
    x_end = row[R_X]
    if not (x_end > 0.0 and row[R_TURNS] >= 0.0):
        return 0.0, 0.0
    turns_per_m = row[R_TURNS] / x_end
    overlap = 1.0
    if row[R_TURNS] > 0.0:
        gap = row[R_FLARE] / row[R_TURNS] / par[P_RING_WIDTH]
        overlap = math.exp(-gap * gap)
    loss = 1.0 - overlap + par[P_UPTAKE] + lay
    carried = 0.0
    taken = 0.0
    laid = 0.0
    for i in range(rows):
        x0 = i * cell
        if x0 >= x_end:
            break
        y0 = trace[i, T_Y]
        length = cell
        y1 = trace[i + 1, T_Y]
        if x_end < x0 + cell or math.isnan(y1):
            length = min(x_end - x0, cell)
            y1 = row[R_Y]
        turns = turns_per_m * length
        swath_shares(y0, y1, swath, par[P_BOARD], shares)
        share = 1.0 - math.exp(-wipe * turns)
        got = 0.0
        for j in range(cols):
            amount = film[i, j] * (share * shares[j])
            film[i, j] -= amount
            got += amount
        decay = loss * turns
        kept = 1.0
        mean = 1.0  # share of what came in evenly over the foot that is still carried at its end
        if decay > 0.0:
            kept = math.exp(-decay)
            mean = -math.expm1(-decay) / decay
        after = carried * kept + got * mean
        down = 0.0
        if loss > 0.0:
            down = (carried + got - after) * (lay / loss)
        for j in range(cols):
            film[i, j] += down * shares[j]
        carried = after
        taken += got
        laid += down
    return taken, laid
