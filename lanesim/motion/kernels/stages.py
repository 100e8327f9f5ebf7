"""Stages and steps of the batch's Runge-Kutta method, all lanes at once.

A ball turns through radians in the time in which its path changes little.  A step carries the
orientation as a rotation vector theta from the step's start, q = q0 exp(theta) in the body frame
(Munthe-Kaas, BIT 38, 92 (1998)).  Angular momentum moves slowly in the lane frame and the spin
slowly in the body frame, so that the fast turn is exact and only slow things are left to the
Runge-Kutta method (Dormand & Prince, J. Comput. Appl. Math. 6, 19 (1980), 5(4), first stage same as
last).  The other numbers are integrated as they are.
"""

from __future__ import annotations

from numba import njit

from .columns import P_BOARD, P_CELL_X, P_I2, P_RADIUS
from .compiling import CONTRACT, INLINE, INNER
from .film import film_patch, film_value
from .friction import asperity_share
from .laws import roll_law, slide_law
from .maths import unit_matrix
from .method import (
    A21,
    A31,
    A32,
    A41,
    A42,
    A43,
    A51,
    A52,
    A53,
    A54,
    A61,
    A62,
    A63,
    A64,
    A65,
    A71,
    A73,
    A74,
    A75,
    A76,
    E1,
    E3,
    E4,
    E5,
    E6,
    E7,
    TOL_H,
    TOL_THETA,
    TOL_V,
    TOL_X,
    TOL_Y,
)
from .pack import lane_parameters, store_rates, turned
from .rows import (
    AT_LIMIT,
    AT_NEED,
    KNOWN_FILM,
    KNOWN_LANE,
    KNOWN_PAR,
    KNOWN_PHI,
    KNOWN_PIVOT,
    KNOWN_TX,
    KNOWN_TY,
    LANES,
    RK_STAGES,
    S_FILM,
    S_LX,
    S_LY,
    S_LZ,
    S_THETA,
    S_VX,
    S_VY,
    S_X,
    S_Y,
    SLIDE,
    STEP_SIZE,
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
            stage[S_X + k], stage[S_Y + k], vx, vy, stage[S_LX + k], stage[S_LY + k],
            stage[S_LZ + k],
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
            stage[S_X + k], stage[S_Y + k], stage[S_VX + k], stage[S_VY + k],
            stage[S_LX + k], stage[S_LY + k], stage[S_LZ + k], unit_matrix(p0, p1, p2, p3),
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
