"""What a blow does to the bodies that touch.

A blow is short against everything else that moves, so the bodies stand still in it and only their
velocities change (Darboux-Keller). Each touching place is a spring and dashpot that cannot pull,
all with the same frequency: place c with overlap x and closing speed w gets the push

    F = m (omega^2 x + 2 zeta omega w),  F >= 0,  m = 1/(n.K n) its effective mass,

and Coulomb friction against the slip there, at most mu F and at most what stops the slip. The half
period is cut into `PARTS` steps; zeta is what makes this very scheme give the wanted restitution
on a single body (`damping_table`). Because pushes act one after another on shared bodies, a pin
that a ball presses on the deck feels both, no energy comes from nowhere, and slip may stop or turn
within a blow, as the closed forms for single blows say (tests).

What only rests or rolls on something is stopped without a rebound (`rest`): projected Gauss-Seidel
with Coulomb's cone on sums over the sweeps.
"""

from __future__ import annotations

import math

import numpy as np

from .compiling import jit
from .layout import (
    BODY_WIDTH,
    DAMP,
    FADE,
    FX,
    FY,
    FZ,
    GAP,
    MASS,
    MU,
    NX,
    NY,
    NZ,
    ON,
    OVER,
    PAIR,
    PUSH,
    RAX,
    RAY,
    RAZ,
    RBX,
    RBY,
    RBZ,
    REST,
    TOUCH_M,
    WIDTH,
    A,
    B,
)

PARTS = 14  # steps in half a period
MOST = 70  # steps of one blow at most
OMEGA = math.pi  # of half a period 1
STEP = 1.0 / PARTS
SWEEPS = 8  # of `rest`
REST_MS = 0.04  # closing slower than this does not rebound [m/s]
FADE_FROM_MS = 5.0  # speed that restitutions are given for
TABLE = 64


def _single(zeta: float) -> float:
    """Restitution of one body under the stepped scheme."""
    x, w = 0.0, 1.0  # overlap and closing speed
    for _ in range(MOST):
        w -= STEP * max(0.0, OMEGA * OMEGA * x + 2.0 * zeta * OMEGA * w)
        x += STEP * w
        if x <= 0.0 and w <= 0.0:
            break
    return -w


def damping_table() -> np.ndarray:
    """(TABLE + 1,) zeta for restitutions 0, 1/TABLE .. 1; below the smallest reached: that one."""
    out = np.empty(TABLE + 1)
    for k in range(TABLE + 1):
        low, high = 0.0, 2.0
        for _ in range(60):
            zeta = 0.5 * (low + high)
            if _single(zeta) > k / TABLE:
                low = zeta
            else:
                high = zeta
        out[k] = 0.5 * (low + high)
    return out


DAMPING = damping_table()


@jit
def damping_for(restitution):
    at = min(max(restitution, 0.02), 1.0) * TABLE
    k = min(int(at), TABLE - 1)
    return DAMPING[k] + (at - k) * (DAMPING[k + 1] - DAMPING[k])


@jit
def spin_of(q, body, b):
    """Angular velocity of a body."""
    i, k = b * WIDTH, b * BODY_WIDTH
    lx, ly, lz = q[i + 9], q[i + 10], q[i + 11]
    ux, uy, uz = q[i + 6], q[i + 7], q[i + 8]
    across = body[k + 1]
    extra = (body[k + 2] - across) * (lx * ux + ly * uy + lz * uz)
    return across * lx + extra * ux, across * ly + extra * uy, across * lz + extra * uz


@jit
def slip_at(q, body, pairs, o):
    """Velocity of body a relative to b at pair o."""
    a, b = int(pairs[o + A]), int(pairs[o + B])
    i = a * WIDTH
    wx, wy, wz = spin_of(q, body, a)
    rx, ry, rz = pairs[o + RAX], pairs[o + RAY], pairs[o + RAZ]
    vx = q[i + 3] + wy * rz - wz * ry
    vy = q[i + 4] + wz * rx - wx * rz
    vz = q[i + 5] + wx * ry - wy * rx
    if b >= 0:
        i = b * WIDTH
        wx, wy, wz = spin_of(q, body, b)
        rx, ry, rz = pairs[o + RBX], pairs[o + RBY], pairs[o + RBZ]
        vx -= q[i + 3] + wy * rz - wz * ry
        vy -= q[i + 4] + wz * rx - wx * rz
        vz -= q[i + 5] + wx * ry - wy * rx
    return vx, vy, vz


@jit
def yields(q, body, b, rx, ry, rz, nx, ny, nz):
    """n.K n of one body: what a push of 1 along n at arm r changes its speed there along n."""
    i, k = b * WIDTH, b * BODY_WIDTH
    tx, ty, tz = ry * nz - rz * ny, rz * nx - rx * nz, rx * ny - ry * nx
    along = tx * q[i + 6] + ty * q[i + 7] + tz * q[i + 8]
    return (body[k] + body[k + 1] * (tx * tx + ty * ty + tz * tz)
            + (body[k + 2] - body[k + 1]) * along * along)


@jit
def mass_along(q, body, pairs, o, nx, ny, nz):
    """Effective mass of pair o along a direction."""
    total = yields(q, body, int(pairs[o + A]), pairs[o + RAX], pairs[o + RAY], pairs[o + RAZ],
                   nx, ny, nz)
    if pairs[o + B] >= 0.0:
        total += yields(q, body, int(pairs[o + B]), pairs[o + RBX], pairs[o + RBY],
                        pairs[o + RBZ], nx, ny, nz)
    return 1.0 / total


@jit
def push(q, body, pairs, o, jx, jy, jz):
    """Give body a the impulse j at pair o, and body b the opposite."""
    a, b = int(pairs[o + A]), int(pairs[o + B])
    i = a * WIDTH
    rx, ry, rz = pairs[o + RAX], pairs[o + RAY], pairs[o + RAZ]
    light = body[a * BODY_WIDTH]
    q[i + 3] += light * jx
    q[i + 4] += light * jy
    q[i + 5] += light * jz
    q[i + 9] += ry * jz - rz * jy
    q[i + 10] += rz * jx - rx * jz
    q[i + 11] += rx * jy - ry * jx
    if b >= 0:
        i = b * WIDTH
        rx, ry, rz = pairs[o + RBX], pairs[o + RBY], pairs[o + RBZ]
        light = body[b * BODY_WIDTH]
        q[i + 3] -= light * jx
        q[i + 4] -= light * jy
        q[i + 5] -= light * jz
        q[i + 9] -= ry * jz - rz * jy
        q[i + 10] -= rz * jx - rx * jz
        q[i + 11] -= rx * jy - ry * jx


@jit
def solve(q, body, par, pairs, n):
    """Resolve every touching pair of the first n: 0 nothing, 1 resting only, 2 a blow."""
    hardest = 0.0
    some = False
    for c in range(n):
        o = c * PAIR
        pairs[o + ON] = 0.0
        if pairs[o + GAP] < TOUCH_M:
            some = True
            pairs[o + ON] = 1.0
            pairs[o + OVER] = 0.0
            nx, ny, nz = pairs[o + NX], pairs[o + NY], pairs[o + NZ]
            vx, vy, vz = slip_at(q, body, pairs, o)
            w = -(vx * nx + vy * ny + vz * nz)
            pairs[o + MASS] = mass_along(q, body, pairs, o, nx, ny, nz)
            e = pairs[o + REST]
            if pairs[o + A] >= 1.0 and pairs[o + B] >= 0.0 and w > 0.1:
                e *= (w / FADE_FROM_MS) ** (-par[FADE])
            pairs[o + DAMP] = damping_for(min(e, 0.97))
            hardest = max(hardest, w)
    if not some:
        return 0
    if hardest < REST_MS:
        rest(q, body, pairs, n)
        return 1
    for _ in range(MOST):
        more = False
        for c in range(n):
            o = c * PAIR
            if pairs[o + ON] == 0.0:
                continue
            nx, ny, nz = pairs[o + NX], pairs[o + NY], pairs[o + NZ]
            vx, vy, vz = slip_at(q, body, pairs, o)
            w = -(vx * nx + vy * ny + vz * nz)
            x = pairs[o + OVER]
            if x <= 0.0 and w <= 0.0:
                continue
            m = pairs[o + MASS]
            j = STEP * m * (OMEGA * OMEGA * x + 2.0 * pairs[o + DAMP] * OMEGA * w)
            if j > 0.0:
                # friction against the slip, at most what stops it
                tx, ty, tz = vx + w * nx, vy + w * ny, vz + w * nz
                slip = math.sqrt(tx * tx + ty * ty + tz * tz)
                f = 0.0
                if slip > 1e-9:
                    tx, ty, tz = tx / slip, ty / slip, tz / slip
                    f = min(pairs[o + MU] * j,
                            slip * mass_along(q, body, pairs, o, tx, ty, tz))
                push(q, body, pairs, o, j * nx - f * tx, j * ny - f * ty, j * nz - f * tz)
                vx, vy, vz = slip_at(q, body, pairs, o)
                w = -(vx * nx + vy * ny + vz * nz)
            x = max(x + STEP * w, 0.0)
            pairs[o + OVER] = x
            if x > 0.0 or w > 1e-6:
                more = True
        if not more:
            break
    return 2


@jit
def rest(q, body, pairs, n):
    """Stop what closes, without a rebound."""
    for c in range(n):
        o = c * PAIR
        pairs[o + PUSH] = pairs[o + FX] = pairs[o + FY] = pairs[o + FZ] = 0.0
    for _ in range(SWEEPS):
        for c in range(n):
            o = c * PAIR
            if pairs[o + ON] == 0.0:
                continue
            nx, ny, nz = pairs[o + NX], pairs[o + NY], pairs[o + NZ]
            vx, vy, vz = slip_at(q, body, pairs, o)
            w = -(vx * nx + vy * ny + vz * nz)
            new = max(pairs[o + PUSH] + pairs[o + MASS] * w, 0.0)
            j = new - pairs[o + PUSH]
            pairs[o + PUSH] = new
            push(q, body, pairs, o, j * nx, j * ny, j * nz)
            vx, vy, vz = slip_at(q, body, pairs, o)
            w = -(vx * nx + vy * ny + vz * nz)
            tx, ty, tz = vx + w * nx, vy + w * ny, vz + w * nz
            slip = math.sqrt(tx * tx + ty * ty + tz * tz)
            if slip < 1e-9:
                continue
            m = mass_along(q, body, pairs, o, tx / slip, ty / slip, tz / slip)
            fx, fy, fz = pairs[o + FX] - m * tx, pairs[o + FY] - m * ty, pairs[o + FZ] - m * tz
            size = math.sqrt(fx * fx + fy * fy + fz * fz)
            most = pairs[o + MU] * new
            if size > most:
                scale = most / size
                fx, fy, fz = fx * scale, fy * scale, fz * scale
            push(q, body, pairs, o, fx - pairs[o + FX], fy - pairs[o + FY], fz - pairs[o + FZ])
            pairs[o + FX], pairs[o + FY], pairs[o + FZ] = fx, fy, fz
