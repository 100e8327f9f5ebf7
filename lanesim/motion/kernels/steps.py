"""The length of a step, what a good one leaves behind, and what the shot does next."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from .body import outer_pull, stop_slip
from .columns import (
    P_CELL_X,
    P_CONTACT_A,
    P_GRAVITY,
    P_I1,
    P_I2,
    P_I3,
    P_LOFT,
    P_MASS,
    P_RADIUS,
    P_TWO_ZONE_X,
)
from .compiling import CONTRACT, INLINE, INNER
from .events import hermite
from .maths import exponential, logarithm, to_body
from .method import (
    CREEP_LEAVE,
    CREEP_LONGEST,
    CREEP_SLIP,
    CREEP_TURN,
    GRIP_SAFE,
    JUMP,
    MAX_STEPS,
    RK_POWER,
    SLIDE_TURN,
    STEP_MIN,
    STOPPED,
)
from .pack import lane_matrix, lane_parameters, turned
from .rows import (
    AT_AXIS,
    AT_BODY,
    AT_LIMIT,
    AT_MU,
    AT_NEED,
    AT_ROWS,
    AT_SLIP,
    AT_WX,
    AT_WY,
    AT_WZ,
    CREEP,
    KNOWN_PAR,
    KNOWN_PIVOT,
    KNOWN_Q,
    LANES,
    OVER,
    OWN_BREAK_X,
    OWN_BREAK_Y,
    OWN_CLOSING,
    OWN_FLARE,
    OWN_FORCED,
    OWN_OIL_FLARE,
    OWN_OIL_TURNS,
    OWN_Q,
    OWN_STEP,
    OWN_STEPS,
    OWN_TIME,
    OWN_TURNS,
    RK_STAGES,
    ROLL,
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
    STEP_ROWS,
    STEP_SIZE,
)


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


@njit(**INNER, **CONTRACT, **INLINE)
def up_to_jump(h, away):
    """Length of a step when the right-hand side jumps `away` [s] ahead, or did if negative.

    To just before the jump, all stages on this side, then over it in a step too short to matter.
    """
    most = away - JUMP if away > 2.0 * JUMP else away + JUMP
    return most if away > 0.0 and most < h else h


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
            # the jump between two constant zones and the touch-down must not lie inside a step
            h = up_to_jump(h, (known[KNOWN_PAR + P_TWO_ZONE_X * LANES + k] - x) / vx)
            h = up_to_jump(h, (known[KNOWN_PAR + P_LOFT * LANES + k] - x) / vx)
            h = h if h > STEP_MIN else STEP_MIN
        forced = own[OWN_FORCED + k]
        h = forced if forced > 0.0 else h
        used[k] = h
        for r in range(STEP_ROWS):
            length[r * LANES + k] = h


@njit(**INNER, **CONTRACT)
def accept_steps(pack, mode, oil_end, lanes):
    """Make the end of each good step the start of the next one; add up time, turns and flare.

    oil_end : where the oil ends [m].
    """
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
        oiled = stage[S_X + k] <= oil_end
        own[OWN_OIL_TURNS + k] = own[OWN_TURNS + k] if oiled else own[OWN_OIL_TURNS + k]
        own[OWN_OIL_FLARE + k] = own[OWN_FLARE + k] if oiled else own[OWN_OIL_FLARE + k]
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
        # a step over a jump says nothing about the next one
        own[OWN_STEP + k] = used * factor if good and used > 4.0 * JUMP else own[OWN_STEP + k]
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
def grip_bound(own, known, here, k):
    """Upper bound of |F|/(mu N) over a turn of free rolling.

    From the size of the gyroscopic torque, and of the pull at the centre, of which a rolling ball
    needs the share I/(I + m R^2) from friction.
    """
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
    ax, ay = outer_pull(own[S_X + k], own[S_Y + k], own[S_VX + k], own[S_VY + k], par)
    pull = par[P_I3] * math.sqrt(ax * ax + ay * ay)
    return 1.2 * par[P_MASS] * (par[P_RADIUS] * torque + pull) / rolling / limit


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
        return CREEP if grip_bound(own, known, here, k) >= GRIP_SAFE else ROLL
    if slip > CREEP_LEAVE:
        then = SLIDE
    elif stuck[k] > 0.0 and grip_bound(own, known, here, k) < GRIP_SAFE:
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
