"""One ball, from just before its first contact to the count of what stands."""

from __future__ import annotations

import math

from ...units import GRAVITY_MS2
from .blow import slip_at, solve, spin_of
from .compiling import jit, kept
from .layout import (
    ASLEEP,
    BODIES,
    BODY_WIDTH,
    GAP,
    GONE,
    HALF_M,
    MOVES,
    NX,
    NY,
    NZ,
    PAIR,
    RADIUS,
    TAIL_M,
    TOUCH_M,
    WIDTH,
    A,
    B,
)
from .pin import BASE_RADIUS_M
from .touch import gather

STEP_S = 1e-3  # longest step
SHORT_S = 20e-6  # shortest one, on the way to a contact
SLACK_M = 2e-5  # overlap left alone
SETTLE_S = 3.0  # the pins get this long before the count (assumption)
LEANING = math.cos(math.radians(30.0))  # a pin leaning more at the end is down (tips at about 10)
LYING = 0.5  # cosine of a lean from which no pin comes up again by itself
LOW_M = 0.08  # centre of gravity under this: not standing on the deck
CALM = 0.8  # share of the energy of tipping over that a wobbling pin may still have


@jit
def fly(q, body, status, seconds):
    """Free flight: parabola, steady turn of the axis about the angular momentum."""
    for b in range(BODIES):
        if status[b] != MOVES:
            continue
        i = b * WIDTH
        q[i] += q[i + 3] * seconds
        q[i + 1] += q[i + 4] * seconds
        q[i + 2] += q[i + 5] * seconds - 0.5 * GRAVITY_MS2 * seconds * seconds
        q[i + 5] -= GRAVITY_MS2 * seconds
        if b == 0:
            continue
        lx, ly, lz = q[i + 9], q[i + 10], q[i + 11]
        size = math.sqrt(lx * lx + ly * ly + lz * lz)
        if size < 1e-12:
            continue
        angle = size * body[b * BODY_WIDTH + 1] * seconds
        kx, ky, kz = lx / size, ly / size, lz / size
        ux, uy, uz = q[i + 6], q[i + 7], q[i + 8]
        c, s = math.cos(angle), math.sin(angle)
        d = (1.0 - c) * (kx * ux + ky * uy + kz * uz)
        x = c * ux + s * (ky * uz - kz * uy) + d * kx
        y = c * uy + s * (kz * ux - kx * uz) + d * ky
        z = c * uz + s * (kx * uy - ky * ux) + d * kz
        size = math.sqrt(x * x + y * y + z * z)
        q[i + 6], q[i + 7], q[i + 8] = x / size, y / size, z / size


@jit
def part(q, body, pairs, n):
    """Take overlap away, half of it a step, the lighter body moving more."""
    for c in range(n):
        o = c * PAIR
        deep = -pairs[o + GAP] - SLACK_M
        if deep > 0.0:
            a, b = int(pairs[o + A]), int(pairs[o + B])
            one = body[a * BODY_WIDTH]
            two = body[b * BODY_WIDTH] if b >= 0 else 0.0
            way = 0.5 * deep / (one + two)
            i = a * WIDTH
            for k in range(3):
                q[i + k] += way * one * pairs[o + NX + k]
            if b >= 0:
                i = b * WIDTH
                for k in range(3):
                    q[i + k] -= way * two * pairs[o + NX + k]


@jit
def until_next(q, body, pairs, n, seconds):
    """Time to the next contact among the near pairs, at most `seconds`."""
    for c in range(n):
        o = c * PAIR
        gap = pairs[o + GAP]
        if gap < TOUCH_M:
            continue
        vx, vy, vz = slip_at(q, body, pairs, o)
        w = -(vx * pairs[o + NX] + vy * pairs[o + NY] + vz * pairs[o + NZ])
        if w > 0.15 and gap + 5e-6 < w * seconds:
            seconds = (gap + 5e-6) / w
    return max(seconds, SHORT_S)


@jit
def energy_of(q, body, b):
    """Kinetic and potential energy of a body over the deck [J]."""
    i, k = b * WIDTH, b * BODY_WIDTH
    wx, wy, wz = spin_of(q, body, b)
    return (0.5 * body[k + 4] * (q[i + 3] ** 2 + q[i + 4] ** 2 + q[i + 5] ** 2)
            + 0.5 * (wx * q[i + 9] + wy * q[i + 10] + wz * q[i + 11])
            + body[k + 4] * GRAVITY_MS2 * q[i + 2])


@jit
def upright(q, status, p):
    """Whether a pin stands on the deck, leaning at most 30 degrees."""
    i = p * WIDTH
    return status[p] == ASLEEP or (
        status[p] == MOVES and q[i + 2] > LOW_M and q[i + 8] > LEANING)


@jit
def decided(q, body, status):
    """0: go on; 1: no pin can stand any more; 2: what stands stays, nothing comes near it."""
    standing = 0
    open_ = status[0] != GONE
    for p in range(1, BODIES):
        if status[p] == GONE:
            continue
        i = p * WIDTH
        if upright(q, status, p):
            standing += 1
            if status[p] == MOVES:
                cg = body[p * BODY_WIDTH + 3]
                over = math.sqrt(cg * cg + BASE_RADIUS_M * BASE_RADIUS_M)
                least = body[p * BODY_WIDTH + 4] * GRAVITY_MS2
                have = energy_of(q, body, p) - least * cg
                # the spin about its own axis tips nothing
                lu = q[i + 9] * q[i + 6] + q[i + 10] * q[i + 7] + q[i + 11] * q[i + 8]
                have -= 0.5 * lu * lu * body[p * BODY_WIDTH + 2]
                if have > CALM * least * (over - cg):
                    open_ = True
        else:
            speed2 = q[i + 3] ** 2 + q[i + 4] ** 2 + q[i + 5] ** 2
            if q[i + 8] > LYING and q[i + 2] > LOW_M:
                standing += 1  # leaning far, not yet lying
                open_ = True
            elif speed2 > 0.04:
                open_ = True
    if standing == 0:
        return 1
    return 0 if open_ else 2


@jit
def retire(q, status):
    """Take what fell into the pit, and what lies low in a gutter, out of play."""
    for b in range(BODIES):
        if status[b] != MOVES:
            continue
        i = b * WIDTH
        in_pit = q[i + 2] < -0.25 and q[i] > TAIL_M
        in_gutter = b > 0 and q[i + 2] < 0.02 and abs(q[i + 1]) > HALF_M
        if in_pit or (in_gutter and abs(q[i + 5]) < 0.2 and abs(q[i + 4]) < 0.5):
            status[b] = GONE


@kept
def roll(q, body, status, par, pairs, frames, out):
    """Run one ball; the rows are changed in place.

    Parameters
    ----------
    q, body, status, par, pairs : see `layout`.
    frames : (n, 11, 6) place and axis of every body, every `frames` 5 ms; n may be 0.
    out : (6,) mask of standing pins, pins touched by the ball in order (digits of base 11, the
        first lowest), y [m] where the ball leaves the deck (1e9: never), seconds, steps, frames.
    """
    t = 0.0
    next_look = 0.0
    next_frame = 0.0
    kept = 0
    steps = 0
    touched = 0.0
    digit = 1.0
    seen = 0
    exit_y = 1e9
    while t < SETTLE_S:
        if kept < frames.shape[0] and t >= next_frame:
            next_frame += 0.005
            for b in range(BODIES):
                i = b * WIDTH
                for k in range(3):
                    frames[kept, b, k] = q[i + k] if status[b] != GONE else -50.0
                    frames[kept, b, 3 + k] = q[i + 6 + k]
            kept += 1
        n = gather(q, body, status, par, pairs)
        for c in range(n):
            o = c * PAIR
            if pairs[o + B] == 0.0 and pairs[o + GAP] < TOUCH_M:
                p = int(pairs[o + A])
                if not (seen >> p) & 1:
                    seen |= 1 << p
                    touched += digit * p
                    digit *= 11.0
        solve(q, body, par, pairs, n)
        seconds = until_next(q, body, pairs, n, STEP_S)
        part(q, body, pairs, n)
        before_x, before_y = q[0], q[1]
        fly(q, body, status, seconds)
        if exit_y > 1e8 and status[0] == MOVES and before_x < TAIL_M <= q[0]:
            share = (TAIL_M - before_x) / (q[0] - before_x)
            exit_y = before_y + share * (q[1] - before_y)
        t += seconds
        steps += 1
        if t >= next_look:
            next_look = t + 0.01
            retire(q, status)
            if t > 0.25:
                end = decided(q, body, status)
                if end != 0:
                    break
    mask = 0
    for p in range(1, BODIES):
        if upright(q, status, p):
            mask |= 1 << (p - 1)
    out[0], out[1], out[2], out[3], out[4], out[5] = mask, touched, exit_y, t, steps, kept


@kept
def set_up(q, body, status, par, ball, pin, standing, spots, noise, scatter):
    """Fill the rows of one hit.

    Parameters
    ----------
    ball : (9,) x, y [m], velocity x, y [m/s], spin x, y, z [1/s], mass [kg], inertia [kg m^2].
    pin : (4,) mass, centre of gravity, inertia across and along of a middling pin.
    standing : mask of the pins set up.
    spots : (10, 2) of the pins [m].
    noise : (45,) standard normal numbers: 20 for spots, 10 masses, 10 centres of gravity, 5
        frictions.
    scatter : (4,) SDs of a spot [m], of a mass [share], of a centre of gravity [m], of frictions
        [share].
    """
    for k in range(q.shape[0]):
        q[k] = 0.0
    for k in range(body.shape[0]):
        body[k] = 0.0
    q[0], q[1], q[2] = ball[0], ball[1], par[RADIUS]
    q[3], q[4] = ball[2], ball[3]
    q[8] = 1.0
    for k in range(3):
        q[9 + k] = ball[8] * ball[4 + k]
    status[0] = MOVES
    body[0], body[1], body[2], body[3], body[4] = (
        1.0 / ball[7], 1.0 / ball[8], 1.0 / ball[8], par[RADIUS], ball[7])
    for p in range(1, BODIES):
        i, k = p * WIDTH, p * BODY_WIDTH
        status[p] = ASLEEP if (standing >> (p - 1)) & 1 else GONE
        heavy = 1.0 + scatter[1] * noise[19 + p]
        cg = pin[1] + scatter[2] * noise[29 + p]
        body[k], body[k + 1], body[k + 2] = (
            1.0 / (pin[0] * heavy), 1.0 / (pin[2] * heavy), 1.0 / (pin[3] * heavy))
        body[k + 3], body[k + 4], body[k + 5] = cg, pin[0] * heavy, 1.0
        q[i] = spots[p - 1, 0] + scatter[0] * noise[2 * p - 2]
        q[i + 1] = spots[p - 1, 1] + scatter[0] * noise[2 * p - 1]
        q[i + 2] = cg
        q[i + 8] = 1.0
    for k in range(5):
        par[4 + k] *= max(1.0 + scatter[3] * noise[40 + k], 0.3)
