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

import numpy as np
from numba import njit, prange

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


# =========================== friction field ====================================================


@njit(cache=True, error_model="numpy", inline="always")
def film_at(x, y, film, board, cell_x):
    """Lane film [m] at a point by tensor quadratic B-splines on the cell means.

    Each basis function integrates to one cell area, and the coefficients are mirrored at the
    lane's edges and at the foul line, so the volume is that of the grid exactly; the surface is
    C1, never negative, and zero from one cell beyond the last oiled one.

    Parameters
    ----------
    x, y : position [m];  film : (rows, boards) cell film [m];  board, cell_x : cell size [m].
    """
    rows, cols = film.shape
    fx = x / cell_x
    fy = y / board
    i = math.floor(fx)
    j = math.floor(fy)
    if i > rows or i < -1:
        return 0.0
    j = min(max(j, 0), cols - 1)
    tx = fx - i - 0.5
    ty = min(max(fy - j - 0.5, -0.5), 0.5)
    wx0 = 0.5 * (0.5 - tx) ** 2
    wx1 = 0.75 - tx * tx
    wx2 = 0.5 * (0.5 + tx) ** 2
    wy0 = 0.5 * (0.5 - ty) ** 2
    wy1 = 0.75 - ty * ty
    wy2 = 0.5 * (0.5 + ty) ** 2
    jm = max(j - 1, 0)
    jp = min(j + 1, cols - 1)
    total = 0.0
    i0 = max(i - 1, 0)
    if i0 < rows:
        total += wx0 * (wy0 * film[i0, jm] + wy1 * film[i0, j] + wy2 * film[i0, jp])
    if 0 <= i < rows:
        total += wx1 * (wy0 * film[i, jm] + wy1 * film[i, j] + wy2 * film[i, jp])
    elif i < 0:
        total += wx1 * (wy0 * film[0, jm] + wy1 * film[0, j] + wy2 * film[0, jp])
    if i + 1 < rows:
        total += wx2 * (wy0 * film[i + 1, jm] + wy1 * film[i + 1, j] + wy2 * film[i + 1, jp])
    return total


@njit(cache=True, error_model="numpy", inline="always")
def asperity_share(h_eff, par):
    """Share phi of the load carried by asperities: exp(-(lambda/lambda_ref)^q), lambda = h/sigma.

    Near 1 for lambda < 1/3 (boundary), small for lambda > 3 (full film): the regimes of
    Hamrock, Schmid & Jacobson, Fundamentals of Fluid Film Lubrication.
    """
    if h_eff <= 0.0:
        return 1.0
    ratio = h_eff / (par[P_SIGMA] * par[P_LAMBDA_REF])
    power = par[P_LAMBDA_POWER]
    if power == 1.0:
        return math.exp(-ratio)
    return math.exp(-(ratio**power))


@njit(cache=True, error_model="numpy", inline="always")
def friction_coefficient(x, h_lane, h_track, slip, par):
    """Friction coefficient [-] of mixed lubrication at a slip speed [m/s].

    mu = phi mu_dry + (1 - phi) min(eta |u| pi a^2 / (h N), cap).  With P_TWO_ZONE_X > 0 the two
    constant zones of Frohlich, Am. J. Phys. 72, 1170 (2004), instead: for teaching and tests.
    """
    if par[P_TWO_ZONE_X] > 0.0:
        return par[P_TWO_ZONE_MU] if x < par[P_TWO_ZONE_X] else par[P_MU_DRY]
    h_eff = par[P_CHI] * (h_lane + h_track)
    phi = asperity_share(h_eff, par)
    mu = phi * par[P_MU_DRY]
    if phi < 1.0:
        area = math.pi * par[P_CONTACT_A] ** 2
        load = par[P_MASS] * par[P_GRAVITY]
        mu += (1.0 - phi) * min(par[P_VISCOSITY] * slip * area / (h_eff * load), par[P_FILM_CAP])
    return mu


# =========================== rigid body ========================================================


@njit(cache=True, error_model="numpy", inline="always")
def rotation_matrix(q0, q1, q2, q3):
    """Nine entries, row by row, of the matrix body -> lane; any nonzero quaternion is allowed."""
    s = 2.0 / (q0 * q0 + q1 * q1 + q2 * q2 + q3 * q3)
    return (
        1.0 - s * (q2 * q2 + q3 * q3), s * (q1 * q2 - q0 * q3), s * (q1 * q3 + q0 * q2),
        s * (q1 * q2 + q0 * q3), 1.0 - s * (q1 * q1 + q3 * q3), s * (q2 * q3 - q0 * q1),
        s * (q1 * q3 - q0 * q2), s * (q2 * q3 + q0 * q1), 1.0 - s * (q1 * q1 + q2 * q2),
    )


@njit(cache=True, error_model="numpy", inline="always")
def body_rates_free(lx, ly, lz, m, par):
    """Angular velocity in the body frame [rad/s] from L in the lane frame: I^-1 Q^T L."""
    b1 = (m[0] * lx + m[3] * ly + m[6] * lz) / par[P_I1]
    b2 = (m[1] * lx + m[4] * ly + m[7] * lz) / par[P_I2]
    b3 = (m[2] * lx + m[5] * ly + m[8] * lz) / par[P_I3]
    return b1, b2, b3


@njit(cache=True, error_model="numpy", inline="always")
def to_lane(b1, b2, b3, m):
    """Turn a body-frame vector into the lane frame."""
    return (
        m[0] * b1 + m[1] * b2 + m[2] * b3,
        m[3] * b1 + m[4] * b2 + m[5] * b3,
        m[6] * b1 + m[7] * b2 + m[8] * b3,
    )


@njit(cache=True, error_model="numpy", inline="always")
def axis_rate(b1, b2, b3, par):
    """Speed [rad/s] at which the rotation axis moves over the ball, turn by turn.

    Euler's gyroscopic term c = I^-1 (I w x w), its part across w, over |w|.  The friction torque
    is left out on purpose: fixed on the lane, it circles once a turn in the body and moves the
    axis out and back, which leaves the next ring where the last one was.
    """
    i1 = par[P_I1]
    i2 = par[P_I2]
    i3 = par[P_I3]
    w2 = b1 * b1 + b2 * b2 + b3 * b3
    if w2 < 1e-12:
        return 0.0
    c1 = (i2 - i3) * b2 * b3 / i1
    c2 = (i3 - i1) * b3 * b1 / i2
    c3 = (i1 - i2) * b1 * b2 / i3
    inverse = 1.0 / w2
    along = (c1 * b1 + c2 * b2 + c3 * b3) * inverse
    d1 = c1 - along * b1
    d2 = c2 - along * b2
    d3 = c3 - along * b3
    return math.sqrt((d1 * d1 + d2 * d2 + d3 * d3) * inverse)


@njit(cache=True, error_model="numpy", inline="always")
def track_film_rate(h_lane, h_track, spin, axis_speed, par):
    """Rate [m/s] of the film on the track: n [pickup h_lane - h (1 - o + uptake)].

    n = spin/2 pi turns per second; the flare per turn s = R axis_speed 2 pi/spin; a ring covers
    the share o = exp(-(s/w_t)^2) of the one before it.
    """
    if spin < 1e-6:
        return 0.0
    turns = spin * (1.0 / (2.0 * math.pi))
    gap = par[P_RADIUS] * axis_speed / (turns * par[P_RING_WIDTH])
    overlap = math.exp(-gap * gap)
    return turns * (par[P_PICKUP] * h_lane - h_track * (1.0 - overlap + par[P_UPTAKE]))


# =========================== the right-hand side of each regime ================================


@njit(cache=True, error_model="numpy")
def slide_rates(x, y, vx, vy, lx, ly, lz, q0, q1, q2, q3, h, film, par):
    """Sliding: rates of the state, with omega in place of the quaternion's rate.

    m dv/dt = F = -mu N u/|u|;  dL/dt = (R Fy, -R Fx, Mz);  Mz by Contensou and Zhuravlev for a
    Hertz pressure.

    Returns
    -------
    (dx, dy, dvx, dvy, dLx, dLy, dLz, wx, wy, wz, dh, axis_speed, mu, slip)
    """
    m = rotation_matrix(q0, q1, q2, q3)
    b1, b2, b3 = body_rates_free(lx, ly, lz, m, par)
    wx, wy, wz = to_lane(b1, b2, b3, m)
    radius = par[P_RADIUS]
    ux = vx - radius * wy
    uy = vy + radius * wx
    slip = math.sqrt(ux * ux + uy * uy)
    h_lane = film_at(x, y, film, par[P_BOARD], par[P_CELL_X])
    mu = friction_coefficient(x, h_lane, h, slip, par)
    push = mu * par[P_GRAVITY]
    ax = 0.0
    ay = 0.0
    if slip > 0.0:
        share = -push / slip
        ax = share * ux
        ay = share * uy
    mass = par[P_MASS]
    a = par[P_CONTACT_A]
    below = a * abs(wz) + (15.0 * math.pi / 16.0) * slip
    pivot = 0.0
    if below > 0.0:
        pivot = -(3.0 * math.pi / 16.0) * mass * push * a * a * wz / below
    speed_of_axis = axis_rate(b1, b2, b3, par)
    spin = math.sqrt(b1 * b1 + b2 * b2 + b3 * b3)
    dh = track_film_rate(h_lane, h, spin, speed_of_axis, par)
    return (
        vx, vy, ax, ay, radius * mass * ay, -radius * mass * ax, pivot,
        wx, wy, wz, dh, speed_of_axis, mu, slip,
    )


@njit(cache=True, error_model="numpy", inline="always")
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


@njit(cache=True, error_model="numpy", inline="always")
def solve_symmetric(s, r0, r1, r2):
    """Solve the symmetric 3 x 3 system with entries xx, xy, xz, yy, yz, zz; also (s^-1)_zz."""
    xx, xy, xz, yy, yz, zz = s
    c00 = yy * zz - yz * yz
    c01 = xz * yz - xy * zz
    c02 = xy * yz - xz * yy
    c11 = xx * zz - xz * xz
    c12 = xy * xz - xx * yz
    c22 = xx * yy - xy * xy
    det = xx * c00 + xy * c01 + xz * c02
    return (
        (c00 * r0 + c01 * r1 + c02 * r2) / det,
        (c01 * r0 + c11 * r1 + c12 * r2) / det,
        (c02 * r0 + c12 * r1 + c22 * r2) / det,
        c22 / det,
    )


@njit(cache=True, error_model="numpy")
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
    radius = par[P_RADIUS]
    mass = par[P_MASS]
    kx = lx - mass * radius * vy
    ky = ly + mass * radius * vx
    j = roll_inertia(m, par)
    wx, wy, wz, _ = solve_symmetric(j, kx, ky, lz)
    b1 = m[0] * wx + m[3] * wy + m[6] * wz
    b2 = m[1] * wx + m[4] * wy + m[7] * wz
    b3 = m[2] * wx + m[5] * wy + m[8] * wz
    # gyroscopic torque -omega x (I omega), formed in the body frame and turned to the lane
    i1 = par[P_I1]
    i2 = par[P_I2]
    i3 = par[P_I3]
    gx, gy, gz = to_lane(
        (i2 - i3) * b2 * b3, (i3 - i1) * b3 * b1, (i1 - i2) * b1 * b2, m
    )
    dwx, dwy, dwz, inverse_zz = solve_symmetric(j, gx, gy, gz)
    h_lane = film_at(x, y, film, par[P_BOARD], par[P_CELL_X])
    mu = friction_coefficient(x, h_lane, h, 0.0, par)
    limit = mu * mass * par[P_GRAVITY]
    pivot_limit = (3.0 * math.pi / 16.0) * limit * par[P_CONTACT_A]
    pivot_need = -dwz / inverse_zz
    pivot = pivot_need if pivot_sign == 0.0 else -pivot_sign * pivot_limit
    dwx, dwy, dwz, _ = solve_symmetric(j, gx, gy, gz + pivot)
    fx = mass * radius * dwy
    fy = -mass * radius * dwx
    grip = math.sqrt(fx * fx + fy * fy) / limit
    speed_of_axis = axis_rate(b1, b2, b3, par)
    spin = math.sqrt(b1 * b1 + b2 * b2 + b3 * b3)
    dh = track_film_rate(h_lane, h, spin, speed_of_axis, par)
    return (
        radius * wy, -radius * wx, fx / mass, fy / mass, radius * fy, -radius * fx, pivot,
        wx, wy, wz, dh, speed_of_axis, mu, 0.0, grip, pivot_need, pivot_limit,
    )


@njit(cache=True, error_model="numpy")
def roll_projection(vx, vy, lx, ly, lz, q0, q1, q2, q3, par):
    """Velocity and spin of the ball when friction has just ended its slip.

    A friction impulse acts at the contact point and so leaves K unchanged: omega = J^-1 K,
    v = (R wy, -R wx), L = K - m R (-vy, vx, 0).  Returns (vx, vy, Lx, Ly, Lz).
    """
    m = rotation_matrix(q0, q1, q2, q3)
    radius = par[P_RADIUS]
    mass = par[P_MASS]
    kx = lx - mass * radius * vy
    ky = ly + mass * radius * vx
    wx, wy, _wz, _ = solve_symmetric(roll_inertia(m, par), kx, ky, lz)
    nvx = radius * wy
    nvy = -radius * wx
    return nvx, nvy, kx + mass * radius * nvy, ky - mass * radius * nvx, lz


# =========================== release and contact with the pins =================================


@njit(cache=True, error_model="numpy", inline="always")
def quaternion_product(a0, a1, a2, a3, b0, b1, b2, b3):
    """Hamilton product a b."""
    return (
        a0 * b0 - a1 * b1 - a2 * b2 - a3 * b3,
        a0 * b1 + a1 * b0 + a2 * b3 - a3 * b2,
        a0 * b2 - a1 * b3 + a2 * b0 + a3 * b1,
        a0 * b3 + a1 * b2 - a2 * b1 + a3 * b0,
    )


@njit(cache=True, error_model="numpy", inline="always")
def rotation_exp(t0, t1, t2):
    """Unit quaternion of a rotation by the vector t [rad]."""
    angle2 = t0 * t0 + t1 * t1 + t2 * t2
    if angle2 < 4.0:  # series to 1e-14, several times faster than sine and cosine
        z = 0.25 * angle2
        s = 1.0 - z * (1 / 110) * (1.0 - z * (1 / 156) * (1.0 - z * (1 / 210)))
        s = 1.0 - z * (1 / 42) * (1.0 - z * (1 / 72) * s)
        s = 0.5 * (1.0 - z * (1 / 6) * (1.0 - z * (1 / 20) * s))
        c = 1.0 - z * (1 / 132) * (1.0 - z * (1 / 182) * (1.0 - z * (1 / 240)))
        c = 1.0 - z * (1 / 56) * (1.0 - z * (1 / 90) * c)
        c = 1.0 - z * (1 / 2) * (1.0 - z * (1 / 12) * (1.0 - z * (1 / 30) * c))
        return c, s * t0, s * t1, s * t2
    angle = math.sqrt(angle2)
    s = math.sin(0.5 * angle) / angle
    return math.cos(0.5 * angle), s * t0, s * t1, s * t2


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
def pin_gap(x, y, pins, par):
    """Smallest distance [m] to contact with any pin (negative: overlapping), and that pin's index.

    pins : (n, 2) pin axes [m].  In three dimensions: the reach already holds the pin's profile.
    """
    best = 1e9
    which = -1
    for k in range(pins.shape[0]):
        dx = x - pins[k, 0]
        dy = y - pins[k, 1]
        gap = math.sqrt(dx * dx + dy * dy) - par[P_PIN_REACH]
        if gap < best:
            best = gap
            which = k
    return best, which


# =========================== plain ODE form, for the reference ==================================


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
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


# =========================== Lie-group Runge-Kutta step for the batch ===========================
#
# A ball turns through radians in the time in which its path changes little.  The step carries the
# orientation as a rotation vector theta from the step's start, q = q0 exp(theta) in the body frame
# (Munthe-Kaas, BIT 38, 92 (1998)).  Angular momentum moves slowly in the lane frame and the spin
# slowly in the body frame, so that the fast turn is exact and only slow things are left to the
# Runge-Kutta method (Dormand & Prince, J. Comput. Appl. Math. 6, 19 (1980), 5(4), first stage
# same as last).  The other numbers are integrated as they are.

N_STEP = 12  # x, y, vx, vy, Lx, Ly, Lz, theta1..3, h, and one unused: whole vector registers
A21 = 1 / 5
A31, A32 = 3 / 40, 9 / 40
A41, A42, A43 = 44 / 45, -56 / 15, 32 / 9
A51, A52, A53, A54 = 19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729
A61, A62, A63, A64, A65 = 9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656
A71, A73, A74, A75, A76 = 35 / 384, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84
E1, E3, E4, E5, E6, E7 = 71 / 57600, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40
RK_STAGES = 7
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
CREEP_SLIP = 0.03  # [m/s] slip below which steps are taken by `creep_step`
CREEP_LEAVE = 0.12  # [m/s] slip above which they are not any more
CREEP_TURN = 0.4  # [rad] turn of the ball per creep step
GRIP_SAFE = 0.95  # traction never breaks while the bound on its use stays below this
MAX_STEPS = 5000

SLIDE = 0
ROLL = 1
CREEP = 2

# rows of the work array: stages 0..6, then these
W_START = 7  # state at the start of the step (11)
W_NEW = 8  # state at its end
W_TRIAL = 9
W_EXTRA = 10  # 0-2 omega, 3 axis speed, 4 mu, 5 slip, 6 grip, 7 pivot need, 8 pivot limit
W_ROWS = 11


@njit(cache=True, error_model="numpy")
def stage_rates(work, z, q, regime, pivot, film, par, k):
    """Rates of the 11 step numbers in work[z], for the orientation q exp(theta); into work[k].

    Rows are named by number, not handed over as views: a view costs an atomic count each time.
    Also fills the extras, work[W_EXTRA]: omega, axis speed, mu, slip, grip, pivot need and limit.
    """
    t0 = work[z, 7]
    t1 = work[z, 8]
    t2 = work[z, 9]
    e0, e1, e2, e3 = rotation_exp(t0, t1, t2)
    p0, p1, p2, p3 = quaternion_product(q[0], q[1], q[2], q[3], e0, e1, e2, e3)
    if regime == SLIDE:
        r = slide_rates(
            work[z, 0], work[z, 1], work[z, 2], work[z, 3], work[z, 4], work[z, 5], work[z, 6],
            p0, p1, p2, p3, work[z, 10], film, par,
        )
        wx, wy, wz = r[7], r[8], r[9]
        work[k, 0], work[k, 1], work[k, 2], work[k, 3] = r[0], r[1], r[2], r[3]
        work[k, 4], work[k, 5], work[k, 6], work[k, 10] = r[4], r[5], r[6], r[10]
        work[W_EXTRA, 3], work[W_EXTRA, 4], work[W_EXTRA, 5] = r[11], r[12], r[13]
        work[W_EXTRA, 6] = 0.0
    else:
        g = roll_rates(
            work[z, 0], work[z, 1], work[z, 2], work[z, 3], work[z, 4], work[z, 5], work[z, 6],
            p0, p1, p2, p3, work[z, 10], pivot, film, par,
        )
        wx, wy, wz = g[7], g[8], g[9]
        work[k, 0], work[k, 1], work[k, 2], work[k, 3] = g[0], g[1], g[2], g[3]
        work[k, 4], work[k, 5], work[k, 6], work[k, 10] = g[4], g[5], g[6], g[10]
        work[W_EXTRA, 3], work[W_EXTRA, 4], work[W_EXTRA, 5] = g[11], g[12], 0.0
        work[W_EXTRA, 6], work[W_EXTRA, 7], work[W_EXTRA, 8] = g[14], g[15], g[16]
    work[W_EXTRA, 0] = wx
    work[W_EXTRA, 1] = wy
    work[W_EXTRA, 2] = wz
    # theta' = dexpinv of the BODY rate: omega + theta x omega/2 + c theta x (theta x omega)
    m = rotation_matrix(p0, p1, p2, p3)
    b0 = m[0] * wx + m[3] * wy + m[6] * wz
    b1 = m[1] * wx + m[4] * wy + m[7] * wz
    b2 = m[2] * wx + m[5] * wy + m[8] * wz
    c1 = t1 * b2 - t2 * b1
    c2 = t2 * b0 - t0 * b2
    c3 = t0 * b1 - t1 * b0
    d1 = t1 * c3 - t2 * c2
    d2 = t2 * c1 - t0 * c3
    d3 = t0 * c2 - t1 * c1
    square = t0 * t0 + t1 * t1 + t2 * t2
    c = 1.0 / 12.0 + square * (1.0 / 720.0 + square / 30240.0)
    work[k, 7] = b0 + 0.5 * c1 + c * d1
    work[k, 8] = b1 + 0.5 * c2 + c * d2
    work[k, 9] = b2 + 0.5 * c3 + c * d3


@njit(cache=True, error_model="numpy")
def lie_step(work, q, h, regime, pivot, film, par):
    """One Dormand-Prince step of length h [s] from work[W_START]; returns the error over tolerance.

    work[0] must hold the rates at the start.  Fills work[1..6], work[W_NEW] and the extras at the
    end of the step.
    """
    w = work
    for n in range(N_STEP):
        w[W_TRIAL, n] = w[W_START, n] + h * A21 * w[0, n]
    stage_rates(w, W_TRIAL, q, regime, pivot, film, par, 1)
    for n in range(N_STEP):
        w[W_TRIAL, n] = w[W_START, n] + h * (A31 * w[0, n] + A32 * w[1, n])
    stage_rates(w, W_TRIAL, q, regime, pivot, film, par, 2)
    for n in range(N_STEP):
        w[W_TRIAL, n] = w[W_START, n] + h * (A41 * w[0, n] + A42 * w[1, n] + A43 * w[2, n])
    stage_rates(w, W_TRIAL, q, regime, pivot, film, par, 3)
    for n in range(N_STEP):
        w[W_TRIAL, n] = w[W_START, n] + h * (
            A51 * w[0, n] + A52 * w[1, n] + A53 * w[2, n] + A54 * w[3, n]
        )
    stage_rates(w, W_TRIAL, q, regime, pivot, film, par, 4)
    for n in range(N_STEP):
        w[W_TRIAL, n] = w[W_START, n] + h * (
            A61 * w[0, n] + A62 * w[1, n] + A63 * w[2, n] + A64 * w[3, n] + A65 * w[4, n]
        )
    stage_rates(w, W_TRIAL, q, regime, pivot, film, par, 5)
    for n in range(N_STEP):
        w[W_NEW, n] = w[W_START, n] + h * (
            A71 * w[0, n] + A73 * w[2, n] + A74 * w[3, n] + A75 * w[4, n] + A76 * w[5, n]
        )
    stage_rates(w, W_NEW, q, regime, pivot, film, par, 6)
    for n in range(N_STEP):
        w[W_TRIAL, n] = h * abs(
            E1 * w[0, n] + E3 * w[2, n] + E4 * w[3, n] + E5 * w[4, n] + E6 * w[5, n]
            + E7 * w[6, n]
        )
    momentum = TOL_V * par[P_I2] / par[P_RADIUS]
    worst = max(w[W_TRIAL, 0] / TOL_X, w[W_TRIAL, 1] / TOL_Y)
    worst = max(worst, max(w[W_TRIAL, 2], w[W_TRIAL, 3]) / TOL_V)
    worst = max(worst, max(w[W_TRIAL, 4], w[W_TRIAL, 5], w[W_TRIAL, 6]) / momentum)
    worst = max(worst, max(w[W_TRIAL, 7], w[W_TRIAL, 8], w[W_TRIAL, 9]) / TOL_THETA)
    worst = max(worst, w[W_TRIAL, 10] / TOL_H)
    return worst


@njit(cache=True, error_model="numpy", inline="always")
def hermite(s, h, p0, v0, p1, v1):
    """Cubic through two points with their rates, at the share s of the step."""
    s2 = s * s
    s3 = s2 * s
    return (
        (2 * s3 - 3 * s2 + 1) * p0 + (s3 - 2 * s2 + s) * h * v0
        + (3 * s2 - 2 * s3) * p1 + (s3 - s2) * h * v1
    )


@njit(cache=True, error_model="numpy")
def end_within_step(work, h, pins, par):
    """Share of the step at which the shot ends, and how: (share, END_* or -1, pin index).

    The path within the step is the cubic Hermite of its ends; it is looked at in 16 places where
    pins are near, and the crossing is found by bisection.
    """
    a = work[W_START]
    b = work[W_NEW]
    width = par[P_LANE_WIDTH]
    near = b[0] > min(par[P_PINS_X] - par[P_PIN_REACH] - 0.05, par[P_END_X])
    outside = b[1] < 0.0 or b[1] > width
    if not near and not outside:
        return 2.0, -1, -1
    pieces = 16
    before = 0.0
    for n in range(1, pieces + 1):
        s = n / pieces
        x = hermite(s, h, a[0], a[2], b[0], b[2])
        y = hermite(s, h, a[1], a[3], b[1], b[3])
        how = end_at(x, y, pins, par)
        if how >= 0:
            low = before
            high = s
            for _ in range(40):
                middle = 0.5 * (low + high)
                x = hermite(middle, h, a[0], a[2], b[0], b[2])
                y = hermite(middle, h, a[1], a[3], b[1], b[3])
                if end_at(x, y, pins, par) >= 0:
                    high = middle
                else:
                    low = middle
            x = hermite(high, h, a[0], a[2], b[0], b[2])
            y = hermite(high, h, a[1], a[3], b[1], b[3])
            which = pin_gap(x, y, pins, par)[1]
            return high, end_at(x, y, pins, par), which
        before = s
    return 2.0, -1, -1


@njit(cache=True, error_model="numpy")
def end_at(x, y, pins, par):
    """END_* code of a ball at (x, y), or -1 while it is still on its way."""
    if y < 0.0 or y > par[P_LANE_WIDTH]:
        return END_GUTTER
    if x > par[P_PINS_X] - par[P_PIN_REACH] and pin_gap(x, y, pins, par)[0] <= 0.0:
        return END_PIN
    if x > par[P_END_X]:
        return END_PAST
    return -1


@njit(cache=True, error_model="numpy")
def record_trace(trace, work, h, next_row, par):
    """Sample board position, heading and track film at whole cells passed in this step."""
    a = work[W_START]
    b = work[W_NEW]
    while next_row < TRACE_FEET and b[0] >= next_row * par[P_CELL_X]:
        target = next_row * par[P_CELL_X]
        s = (target - a[0]) / max(b[0] - a[0], 1e-12)
        for _ in range(2):  # Newton on the Hermite x(s); its slope is near (b-a)
            x = hermite(s, h, a[0], a[2], b[0], b[2])
            s += (target - x) / max(b[0] - a[0], 1e-12)
        trace[next_row, T_Y] = hermite(s, h, a[1], a[3], b[1], b[3])
        start = math.atan2(a[3], a[2])
        trace[next_row, T_HEADING] = start + s * (math.atan2(b[3], b[2]) - start)
        trace[next_row, T_FILM] = a[10] + s * (b[10] - a[10])
        next_row += 1
    return next_row


@njit(cache=True, error_model="numpy")
def hook_distance(trace, rows, heading_end, x_end, cell_x):
    """x [m] where the heading has turned a tenth of its whole turn (linear between samples)."""
    first = trace[0, T_HEADING]
    whole = heading_end - first
    if abs(whole) < 1e-9:
        return x_end
    before = 0.0
    for n in range(1, rows):
        share = (trace[n, T_HEADING] - first) / whole
        if share >= 0.1:
            return (n - 1 + (0.1 - before) / (share - before)) * cell_x
        before = share
    last = (rows - 1) * cell_x
    return last + (0.1 - before) / (1.0 - before) * (x_end - last)


@njit(cache=True, error_model="numpy")
def enter_roll(state, q, par):
    """Project a step state (11) and its orientation onto rolling; see `roll_projection`."""
    vx, vy, lx, ly, lz = roll_projection(
        state[2], state[3], state[4], state[5], state[6], q[0], q[1], q[2], q[3], par
    )
    state[2] = vx
    state[3] = vy
    state[4] = lx
    state[5] = ly
    state[6] = lz


@njit(cache=True, error_model="numpy")
def creep_step(work, q, h, film, par):
    """One step for a ball whose slip is nearly or exactly zero; True if the contact stuck.

    Near zero slip Coulomb's law is stiff: the direction of slip follows the excess force within
    microseconds.  So the friction impulse p over the step is found implicitly at the midpoint
    (Moreau's time stepping, in: Nonsmooth Mechanics and Applications, CISM 302, 1988):

        u_mid = w + A p/2,   p = -mu N h u_mid/|u_mid|,  or no slip at the end with |p| <= mu N h,

    w the slip that the ball would have there without friction, A the 2 x 2 mobility of the contact
    point.  The law is Coulomb's own, set-valued at zero, not a smoothed one; where it sticks, the
    step ends with `roll_projection`, which keeps the angular momentum about the contact.
    Reads work[W_START] and the extras there, fills work[W_NEW] and the extras at the end.
    """
    a = work[W_START]
    b = work[W_NEW]
    extra = work[W_EXTRA]
    radius = par[P_RADIUS]
    mass = par[P_MASS]
    half = 0.5 * h
    t0, t1, t2, t3 = rotation_exp(half * extra[0], half * extra[1], half * extra[2])
    p0, p1, p2, p3 = quaternion_product(t0, t1, t2, t3, q[0], q[1], q[2], q[3])
    m = rotation_matrix(p0, p1, p2, p3)
    j1 = 1.0 / par[P_I1]
    j2 = 1.0 / par[P_I2]
    j3 = 1.0 / par[P_I3]
    b1, b2, b3 = body_rates_free(a[4], a[5], a[6], m, par)
    wx, wy, wz = to_lane(b1, b2, b3, m)
    free_x = a[2] - radius * wy
    free_y = a[3] + radius * wx
    square = radius * radius
    axx = 1.0 / mass + square * (j1 * m[3] * m[3] + j2 * m[4] * m[4] + j3 * m[5] * m[5])
    ayy = 1.0 / mass + square * (j1 * m[0] * m[0] + j2 * m[1] * m[1] + j3 * m[2] * m[2])
    axy = -square * (j1 * m[0] * m[3] + j2 * m[1] * m[4] + j3 * m[2] * m[5])
    mid_x = a[0] + half * a[2]
    mid_y = a[1] + half * a[3]
    h_lane = film_at(mid_x, mid_y, film, par[P_BOARD], par[P_CELL_X])
    slip_free = math.sqrt(free_x * free_x + free_y * free_y)
    mu = friction_coefficient(mid_x, h_lane, a[10], min(slip_free, extra[5]), par)
    limit = mu * mass * par[P_GRAVITY] * h
    det = axx * ayy - axy * axy
    # the impulse that ends all slip within the step: slip without friction would be 2 w - u there
    last_x = 2.0 * free_x - (a[2] - radius * extra[1])
    last_y = 2.0 * free_y - (a[3] + radius * extra[0])
    need_x = -(ayy * last_x - axy * last_y) / det
    need_y = -(axx * last_y - axy * last_x) / det
    need = math.sqrt(need_x * need_x + need_y * need_y)
    stuck = need <= limit
    slip = 0.0
    if stuck:
        push_x = need_x
        push_y = need_y
    else:
        # (s + c A) e = w with |e| = 1: Newton for s, from the isotropic guess
        c = 0.5 * limit
        slip = max(slip_free - 0.5 * c * (axx + ayy), 1e-9)
        ex = free_x / slip_free
        ey = free_y / slip_free
        for _ in range(3):
            gx = slip + c * axx
            gy = slip + c * ayy
            gxy = c * axy
            d = gx * gy - gxy * gxy
            ex = (gy * free_x - gxy * free_y) / d
            ey = (gx * free_y - gxy * free_x) / d
            fx = (gy * ex - gxy * ey) / d
            fy = (gx * ey - gxy * ex) / d
            size = math.sqrt(ex * ex + ey * ey)
            slope = -(ex * fx + ey * fy) / size
            slip = max(slip - (size - 1.0) / slope, 1e-9)
        size = math.sqrt(ex * ex + ey * ey)
        push_x = -limit * ex / size
        push_y = -limit * ey / size
    below = par[P_CONTACT_A] * abs(wz) + (15.0 * math.pi / 16.0) * slip
    pivot = 0.0
    if below > 0.0:
        pivot = -(3.0 * math.pi / 16.0) * limit * par[P_CONTACT_A] ** 2 * wz / below
        most = abs(wz) * par[P_I2]
        if abs(pivot) > most:
            pivot = -math.copysign(most, wz)
    # spin at the midpoint with half of the impulse carries the turn of the whole step
    lx = a[4] + 0.5 * radius * push_y
    ly = a[5] - 0.5 * radius * push_x
    lz = a[6] + 0.5 * pivot
    b1, b2, b3 = body_rates_free(lx, ly, lz, m, par)
    wx, wy, wz = to_lane(b1, b2, b3, m)
    b[2] = a[2] + push_x / mass
    b[3] = a[3] + push_y / mass
    b[4] = a[4] + radius * push_y
    b[5] = a[5] - radius * push_x
    b[6] = a[6] + pivot
    b[7] = h * b1
    b[8] = h * b2
    b[9] = h * b3
    axis_speed = axis_rate(b1, b2, b3, par)
    spin = math.sqrt(b1 * b1 + b2 * b2 + b3 * b3)
    rate = track_film_rate(h_lane, a[10], spin, axis_speed, par)
    # the film falls exponentially: one implicit step cannot overshoot
    decay = -track_film_rate(0.0, 1.0, spin, axis_speed, par)
    b[10] = a[10] + h * rate / (1.0 + 0.5 * h * decay)
    t0, t1, t2, t3 = rotation_exp(b[7], b[8], b[9])
    p0, p1, p2, p3 = quaternion_product(q[0], q[1], q[2], q[3], t0, t1, t2, t3)
    if stuck:
        vx, vy, lx, ly, lz = roll_projection(
            b[2], b[3], b[4], b[5], b[6], p0, p1, p2, p3, par
        )
        b[2] = vx
        b[3] = vy
        b[4] = lx
        b[5] = ly
        b[6] = lz
    b[0] = a[0] + half * (a[2] + b[2])
    b[1] = a[1] + half * (a[3] + b[3])
    m = rotation_matrix(p0, p1, p2, p3)
    b1, b2, b3 = body_rates_free(b[4], b[5], b[6], m, par)
    wx, wy, wz = to_lane(b1, b2, b3, m)
    ux = b[2] - radius * wy
    uy = b[3] + radius * wx
    extra[0] = wx
    extra[1] = wy
    extra[2] = wz
    extra[3] = axis_speed
    extra[4] = mu
    extra[5] = math.sqrt(ux * ux + uy * uy)
    return stuck


@njit(cache=True, error_model="numpy")
def choose_pivot(wz, pivot_need, pivot_limit, inertia, h):
    """Pivot sign of a rolling step: that of wz, or 0 where friction can hold it in the step."""
    if abs(wz) <= 2.0 * pivot_limit / inertia * h and abs(pivot_need) <= pivot_limit:
        return 0.0
    return 1.0 if wz >= 0.0 else -1.0


@njit(cache=True, error_model="numpy")
def grip_bound(work, q, par):
    """Upper bound of |F|/(mu N) over a turn of free rolling, from the gyroscopic torque's size."""
    extra = work[W_EXTRA]
    m = rotation_matrix(q[0], q[1], q[2], q[3])
    b1 = m[0] * extra[0] + m[3] * extra[1] + m[6] * extra[2]
    b2 = m[1] * extra[0] + m[4] * extra[1] + m[7] * extra[2]
    b3 = m[2] * extra[0] + m[5] * extra[1] + m[8] * extra[2]
    g1 = (par[P_I2] - par[P_I3]) * b2 * b3
    g2 = (par[P_I3] - par[P_I1]) * b3 * b1
    g3 = (par[P_I1] - par[P_I2]) * b1 * b2
    torque = math.sqrt(g1 * g1 + g2 * g2 + g3 * g3)
    rolling = par[P_I1] + par[P_MASS] * par[P_RADIUS] ** 2
    limit = extra[4] * par[P_MASS] * par[P_GRAVITY]
    return 1.2 * par[P_MASS] * par[P_RADIUS] * torque / rolling / limit


@njit(cache=True, error_model="numpy")
def throw_one(shot, pap, par, film, pins, work, state, q, trace, row):
    """Follow one shot and fill its row (R_COUNT) and trace (TRACE_FEET, T_COUNT).

    shot : y, heading, speed, spin, rotation, tilt, phase (SI); work (W_ROWS, N_STEP), state (12),
    q (4) scratch.  Three ways of stepping, chosen by the slip: SLIDE and ROLL by adaptive Lie-group
    Runge-Kutta steps on the reference's right-hand sides, and CREEP (`creep_step`) in between,
    where a ball sticks and slips within a turn.
    """
    release_state(
        shot[0], shot[1], shot[2], shot[3], shot[4], shot[5], shot[6], pap, par, state
    )
    start = work[W_START]
    new = work[W_NEW]
    extra = work[W_EXTRA]
    for n in range(7):
        start[n] = state[n]
    for n in range(4):
        q[n] = state[7 + n]
    for n in range(7, N_STEP):
        start[n] = 0.0
    for n in range(R_COUNT):
        row[n] = np.nan
    for n in range(TRACE_FEET):
        trace[n, T_Y] = np.nan
        trace[n, T_HEADING] = np.nan
        trace[n, T_FILM] = np.nan
    trace[0, T_Y] = start[1]
    trace[0, T_HEADING] = math.atan2(start[3], start[2])
    trace[0, T_FILM] = 0.0
    next_row = 1
    time = 0.0
    turns = 0.0
    flare = 0.0
    break_x = start[0]
    break_y = start[1]
    mode = SLIDE
    pivot = 0.0
    end = END_FAILED
    pin = -1
    steps = 0
    h = STEP_FIRST
    closing = 0.0  # [m/s^2] rate at which slip fell over the last step
    stage_rates(work, W_START, q, 0, 0.0, film, par, 0)
    if extra[5] < CREEP_SLIP:
        mode = CREEP
    while steps < MAX_STEPS:
        steps += 1
        w0 = math.sqrt(extra[0] ** 2 + extra[1] ** 2 + extra[2] ** 2)
        axis0 = extra[3]
        slip0 = extra[5]
        error = 0.0
        stuck = False
        if mode == CREEP:
            used = min(CREEP_TURN / max(w0, 1.0), 0.02)
            stuck = creep_step(work, q, used, film, par)
        else:
            if mode == SLIDE:
                if closing > 0.0:
                    h = min(h, max(0.9 * (slip0 - 0.6 * CREEP_SLIP) / closing, 5e-4))
            else:
                pivot = 1.0
                if par[P_CONTACT_A] > 0.0:
                    pivot = choose_pivot(extra[2], extra[7], extra[8], par[P_I2], h)
                stage_rates(work, W_START, q, 1, pivot, film, par, 0)
            # steps end on cell boundaries, the knots of the film's splines: smooth inside the step
            cells = start[0] / par[P_CELL_X]
            to_knot = (math.floor(cells + 0.02) + 1.0 - cells) * par[P_CELL_X] / start[2]
            h = min(h, to_knot)
            h = to_knot / math.ceil(max(to_knot / h, to_knot * w0 / SLIDE_TURN) - 0.02)
            # end a step just past the jump between two constant zones: it must not lie inside one
            if par[P_TWO_ZONE_X] > start[0]:
                h = min(h, (par[P_TWO_ZONE_X] - start[0]) / start[2] + 1e-7)
            h = max(h, STEP_MIN)
            error = lie_step(work, q, h, mode, pivot, film, par)
            if error > 1.0 and h > STEP_MIN * 2:
                h *= max(0.2, 0.9 * error ** RK_POWER)
                closing = 0.0
                # the extras belong to the end of the rejected step: restore those of the start
                stage_rates(work, W_START, q, mode, pivot, film, par, 0)
                continue
            used = h
        share, how, touched = end_within_step(work, used, pins, par)
        if how >= 0:
            used *= share
            if mode == CREEP:
                stage_rates(work, W_START, q, 0, 0.0, film, par, 0)
                stuck = creep_step(work, q, used, film, par)
            else:
                lie_step(work, q, used, mode, pivot, film, par)
            end = how
            pin = touched if how == END_PIN else -1
        next_row = record_trace(trace, work, used, next_row, par)
        if mode == CREEP and math.isnan(row[R_ROLL_X]):
            # slip may pass zero in this step and be caught at rest only in the next one
            fall = extra[4] * par[P_GRAVITY] * (1.0 + par[P_MASS] * par[P_RADIUS] ** 2 / par[P_I2])
            if stuck or slip0 <= fall * used:
                row[R_ROLL_X] = start[0] + start[2] * min(slip0 / max(fall, 1e-9), used)
        time += used
        w1 = math.sqrt(extra[0] ** 2 + extra[1] ** 2 + extra[2] ** 2)
        turns += 0.5 * (w0 + w1) * used / (2.0 * math.pi)
        flare += 0.5 * (axis0 + extra[3]) * used * par[P_RADIUS]
        if new[1] < break_y:
            break_y = new[1]
            break_x = new[0]
        if start[3] < 0.0 < new[3]:
            s = start[3] / (start[3] - new[3])
            y = hermite(s, used, start[1], start[3], new[1], new[3])
            if y < break_y:
                break_y = y
                break_x = hermite(s, used, start[0], start[2], new[0], new[2])
        # ---- accept
        e0, e1, e2, e3 = rotation_exp(new[7], new[8], new[9])
        p0, p1, p2, p3 = quaternion_product(q[0], q[1], q[2], q[3], e0, e1, e2, e3)
        norm = 1.0 / math.sqrt(p0 * p0 + p1 * p1 + p2 * p2 + p3 * p3)
        q[0] = p0 * norm
        q[1] = p1 * norm
        q[2] = p2 * norm
        q[3] = p3 * norm
        for n in range(N_STEP):
            start[n] = new[n]
            work[0, n] = work[RK_STAGES - 1, n]
        start[7] = 0.0
        start[8] = 0.0
        start[9] = 0.0
        m = rotation_matrix(q[0], q[1], q[2], q[3])  # theta is 0 again: its rate is the body rate
        work[0, 7] = m[0] * extra[0] + m[3] * extra[1] + m[6] * extra[2]
        work[0, 8] = m[1] * extra[0] + m[4] * extra[1] + m[7] * extra[2]
        work[0, 9] = m[2] * extra[0] + m[5] * extra[1] + m[8] * extra[2]
        if mode == ROLL:
            enter_roll(start, q, par)
        if end != END_FAILED or start[2] < 0.05 or not math.isfinite(start[1]):
            break
        # ---- next mode
        if mode == SLIDE:
            closing = (slip0 - extra[5]) / used
            if extra[5] < CREEP_SLIP:
                mode = CREEP
        elif mode == CREEP:
            if extra[5] > CREEP_LEAVE:
                mode = SLIDE
                closing = 0.0
                h = used
                stage_rates(work, W_START, q, 0, 0.0, film, par, 0)
            elif stuck and grip_bound(work, q, par) < GRIP_SAFE:
                mode = ROLL
                h = used
                stage_rates(work, W_START, q, 1, 0.0, film, par, 0)
        elif grip_bound(work, q, par) >= GRIP_SAFE:
            mode = CREEP
        if mode != CREEP:
            h *= 4.0 if error < 1e-6 else max(min(4.0, 0.9 * error ** RK_POWER), 0.3)
    row[R_END] = end
    row[R_PIN] = pin
    row[R_X] = start[0]
    row[R_Y] = start[1]
    row[R_VX] = start[2]
    row[R_VY] = start[3]
    row[R_WX] = extra[0]
    row[R_WY] = extra[1]
    row[R_WZ] = extra[2]
    row[R_TIME] = time
    row[R_BREAK_X] = break_x
    row[R_BREAK_Y] = break_y
    heading = math.atan2(start[3], start[2])
    row[R_HOOK_X] = hook_distance(trace, next_row, heading, start[0], par[P_CELL_X])
    row[R_TURNS] = turns
    row[R_FLARE] = flare
    row[R_TRACK_FILM] = start[10]
    row[R_STEPS] = steps


@njit(cache=True, parallel=True, error_model="numpy")
def throw_batch(shots, which, paps, pars, film, pins, rows, traces, chunks):
    """Follow many shots in parallel; the answer does not depend on the number of threads.

    shots (n, 7), which (n,) index of the ball, paps (b, 3), pars (b, P_COUNT), film (60, 39);
    fills rows (n, R_COUNT) and, unless its length is 0, traces (n, TRACE_FEET, T_COUNT).
    """
    count = shots.shape[0]
    keep = traces.shape[0] > 0
    for chunk in prange(chunks):
        work = np.zeros((W_ROWS, N_STEP))
        state = np.empty(12)
        q = np.empty(4)
        spare = np.empty((TRACE_FEET, T_COUNT))
        for n in range(chunk * count // chunks, (chunk + 1) * count // chunks):
            b = which[n]
            trace = traces[n] if keep else spare
            throw_one(shots[n], paps[b], pars[b], film, pins, work, state, q, trace, rows[n])


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


@njit(cache=True, error_model="numpy", inline="always")
def normal_ramp(u):
    """Integral of the standard normal distribution function from -infinity to u: u Phi + phi."""
    return u * 0.5 * math.erfc(-u * SQRT_HALF) + math.exp(-0.5 * u * u) * INV_SQRT_2PI


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
def carry_oil(row, trace, par, swath, wipe, lay, film, shares):
    """Change the film [m] as one shot of `throw_one` did; returns (taken, laid) in film x cells.

    Parameters
    ----------
    row, trace : the shot's, from `throw_one`;  swath : standard deviation of its swath [m];
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


@njit(cache=True, error_model="numpy")
def play_shots(
    shots, which, lanes, lefts, paps, pars, films, pins, swath, wipe, lay, rows, traces, amounts
):
    """Throw shots one after the other, each on the film that those before it left.

    shots (n, 7), which (n,) index of the ball, lanes (n,) index of the lane, lefts (n,) whether
    thrown left-handed; films (l, rows, boards) counted from the RIGHT edge, changed in place;
    fills rows (n, R_COUNT), traces (n, TRACE_FEET, T_COUNT) in the player's boards, and amounts
    (n, 2): taken and laid [film x cells].
    """
    work = np.zeros((W_ROWS, N_STEP))
    state = np.empty(12)
    q = np.empty(4)
    count, cols = films.shape[1], films.shape[2]
    film = np.empty((count, cols))
    shares = np.empty(cols)
    for n in range(shots.shape[0]):
        lane = lanes[n]
        for i in range(count):
            for j in range(cols):
                film[i, j] = films[lane, i, cols - 1 - j if lefts[n] else j]
        b = which[n]
        throw_one(shots[n], paps[b], pars[b], film, pins, work, state, q, traces[n], rows[n])
        taken, laid = carry_oil(rows[n], traces[n], pars[b], swath, wipe, lay, film, shares)
        for i in range(count):
            for j in range(cols):
                films[lane, i, cols - 1 - j if lefts[n] else j] = film[i, j]
        amounts[n, 0] = taken
        amounts[n, 1] = laid
