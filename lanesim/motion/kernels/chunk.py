"""A chunk of shots through the pack, from the foul line to the pins: `throw_chunk`."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from .body import slip_velocity
from .columns import (
    END_FAILED,
    P_BOARD,
    P_CELL_X,
    P_COUNT,
    P_LAMBDA_POWER,
    P_LOFT,
    P_RADIUS,
    R_BREAK_X,
    R_BREAK_Y,
    R_END,
    R_FLARE,
    R_HEADING,
    R_HOOK_X,
    R_LOFT,
    R_OIL_FLARE,
    R_OIL_TURNS,
    R_PIN,
    R_ROLL_X,
    R_STEPS,
    R_TIME,
    R_TRACK_FILM,
    R_TURNED,
    R_TURNS,
    R_VX,
    R_VY,
    R_WX,
    R_WY,
    R_WZ,
    R_X,
    R_Y,
    T_COUNT,
    T_FILM,
    T_HEADING,
    T_Y,
    TRACE_FEET,
)
from .compiling import INLINE, INNER, kept
from .creep import creep_step
from .events import (
    cross_cells,
    hook_distance,
    judge_steps,
    last_turn_heading,
    slopes_to_headings,
)
from .film import film_at
from .friction import asperity_share
from .laws import roll_law, slide_law
from .method import CREEP_SLIP, STEP_FIRST
from .pack import lane_matrix, lane_parameters, new_pack, store_rates
from .rows import (
    AT_LIMIT,
    AT_NEED,
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
    OWN_END,
    OWN_FLARE,
    OWN_FORCED,
    OWN_LOFT,
    OWN_NEXT,
    OWN_OIL_FLARE,
    OWN_OIL_TURNS,
    OWN_PIN,
    OWN_Q,
    OWN_ROLL_X,
    OWN_ROWS,
    OWN_STEP,
    OWN_STEPS,
    OWN_TIME,
    OWN_TURNS,
    ROLL,
    S_FILM,
    S_LX,
    S_LY,
    S_LZ,
    S_VX,
    S_VY,
    S_X,
    S_Y,
    SLIDE,
)
from .stages import film_stage, lie_step, roll_stage
from .start import release_state
from .steps import accept_steps, plan_steps, set_pivots, settle_steps


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
    kept[OWN_LOFT // LANES] = shot[7]
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
    row[R_OIL_TURNS] = own[OWN_OIL_TURNS + k] / (2.0 * math.pi)
    row[R_OIL_FLARE] = own[OWN_OIL_FLARE + k] * par[P_RADIUS]
    row[R_LOFT] = own[OWN_LOFT + k]
    spin = math.sqrt(row[R_WX] ** 2 + row[R_WY] ** 2 + row[R_WZ] ** 2)
    a_turn = 2.0 * math.pi * math.sqrt(vx * vx + vy * vy) / spin if spin > 1e-6 else np.inf
    row[R_HEADING] = last_turn_heading(
        trace, int(own[OWN_NEXT + k]), own[S_X + k], own[S_Y + k], vy / vx, a_turn, par[P_CELL_X]
    )
    row[R_TURNED] = row[R_HEADING] - math.atan(trace[0, T_HEADING])
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
    known[KNOWN_PAR + P_LOFT * LANES + k] = own[OWN_LOFT + k]
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
        v, d, b, e, g = roll_law(x, y, vx, vy, lx, ly, lz, m, h, h_lane, phi, 0.0, par)
        store_rates(pack.rates, here, k, v[0], v[1], d, b, e, b)
        here[AT_NEED + k] = g[1]
        here[AT_LIMIT + k] = g[2]
    else:
        d, b, e = slide_law(x, y, vx, vy, lx, ly, lz, m, h, h_lane, phi, par)
        store_rates(pack.rates, here, k, vx, vy, d, b, e, b)


@njit(**INNER, **INLINE)
def leave_lane(pack, k):
    """Put the shot in lane k back among those that wait, and empty the lane."""
    n = pack.shot[k]
    for r in range(OWN_ROWS):
        pack.kept[n, r] = pack.own[r * LANES + k]
    pack.shot[k] = -1


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
def end_of_oil(film):
    """Number of rows of the film up to the last one with oil."""
    for row in range(film.shape[0], 0, -1):
        for column in range(film.shape[1]):
            if film[row - 1, column] > 0.0:
                return row
    return 0


@njit(**INNER)
def any_power(pars):
    """Whether the exponent q of `asperity_share` is other than 1 for any of the balls."""
    return np.any(pars[:, P_LAMBDA_POWER] != 1.0)


@kept(nogil=True)
def throw_chunk(shots, which, paps, pars, film, pins, rows, traces, first, count):
    """Follow shots first .. first + count of a batch; several threads may do so at once.

    shots (n, 8), which (n,) index of the ball, paps (b, 3), pars (b, P_COUNT), film (60, 39);
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
    oil_end = end_of_oil(film) * pars[which[first], P_CELL_X] + 1e-9
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
            accept_steps(pack, mode, oil_end, lanes)
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
