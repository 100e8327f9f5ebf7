"""What happens within a step: pins, gutters, whole cells of the lane, and whether it counts."""

from __future__ import annotations

import math

from numba import njit

from .columns import (
    END_GUTTER,
    END_PAST,
    END_PIN,
    P_CELL_X,
    P_END_X,
    P_GRAVITY,
    P_I2,
    P_LANE_WIDTH,
    P_MASS,
    P_PIN_REACH,
    P_PINS_X,
    P_RADIUS,
    T_FILM,
    T_HEADING,
    T_Y,
    TRACE_FEET,
)
from .compiling import CONTRACT, INLINE, INNER, kept
from .method import RK_POWER, STEP_MIN
from .pack import lane_parameters
from .rows import (
    AT_MU,
    AT_SLIP,
    CREEP,
    CROSS_FILM,
    CROSS_PASSED,
    CROSS_SLOPE,
    CROSS_Y,
    KNOWN_PAR,
    LANES,
    OWN_CLOSING,
    OWN_END,
    OWN_FORCED,
    OWN_NEXT,
    OWN_PIN,
    OWN_ROLL_X,
    OWN_STEP,
    OWN_STEPS,
    S_FILM,
    S_VX,
    S_VY,
    S_X,
    S_Y,
)


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


@kept()
def pin_gap(x, y, pins, par):
    """Smallest distance [m] to contact with any pin (negative: overlapping), and that pin's index.

    pins : (n, 2) pin axes [m].  In three dimensions: the reach already holds the pin's profile.
    """
    distance, which = nearest_pin(x, y, pins)
    return distance - par[P_PIN_REACH], which


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
def last_turn_heading(trace, rows, x_end, y_end, slope_end, length, cell_x):
    """Heading [rad] of the straight line to the end of the path from where it was `length` before.

    With the way that the ball makes in one turn as the length it is the heading's mean over the
    last turn: a rolling ball's heading swings once or twice a turn, and this takes the swing out.
    trace : y and slope at the first `rows` whole cells; the path between is the cubic through them.
    """
    start = max(x_end - length, 0.0)
    n = min(int(start / cell_x), rows - 1)
    x0 = n * cell_x
    last = n == rows - 1
    x1 = x_end if last else x0 + cell_x
    y1 = y_end if last else trace[n + 1, T_Y]
    slope1 = slope_end if last else trace[n + 1, T_HEADING]
    s = (start - x0) / (x1 - x0) if x1 > x0 else 0.0
    y = hermite(s, x1 - x0, trace[n, T_Y], trace[n, T_HEADING], y1, slope1)
    return math.atan2(y_end - y, x_end - start)


@njit(**INNER)
def slopes_to_headings(trace):
    """Turn the slopes of a finished trace into headings [rad]."""
    for n in range(TRACE_FEET):
        trace[n, T_HEADING] = math.atan(trace[n, T_HEADING])


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
    if fall > 0.0 and (stuck > 0.0 or slip <= fall * used):
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
