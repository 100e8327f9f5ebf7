"""Which bodies are near each other or the building at this moment."""

from __future__ import annotations

import math

from .compiling import jit
from .layout import (
    ASLEEP,
    BODIES,
    BODY_WIDTH,
    CURTAIN_M,
    DROP_M,
    E_BALL_DECK,
    E_BALL_PIN,
    E_CURTAIN,
    E_DECK,
    E_KICKBACK,
    E_PIN_PIN,
    GAP,
    GONE,
    HALF_M,
    KICKBACK_M,
    MOVES,
    MU,
    MU_BALL_DECK,
    MU_BALL_PIN,
    MU_KICKBACK,
    MU_PIN_DECK,
    MU_PIN_PIN,
    NEAR_M,
    NX,
    NY,
    NZ,
    PAIR,
    PAIRS,
    RADIUS,
    RAX,
    RAY,
    RAZ,
    RBX,
    RBY,
    RBZ,
    REST,
    TAIL_M,
    TOUCH_M,
    WIDE_M,
    WIDTH,
    A,
    B,
)
from .nearest import box_distance, radius_at, segment_distance2, to_box, to_pin, to_plane, to_point
from .pin import BASE_RADIUS_M, LOW_M, MIDDLE_M, REACH_M, WIDEST_M

FLAT = 0.04  # sine of the lean up to which the base's whole edge is looked at
UPRIGHT = 0.002  # and from which its lowest point is where the lean says


@jit
def keep(q, pairs, n, a, b, nx, ny, nz, px, py, pz, gap, rest, mu):
    """Write one near pair; (px, py, pz) is the point of contact. Returns the new number."""
    if n >= PAIRS:
        return n
    o = n * PAIR
    i = a * WIDTH
    pairs[o + A], pairs[o + B] = a, b
    pairs[o + NX], pairs[o + NY], pairs[o + NZ] = nx, ny, nz
    pairs[o + RAX], pairs[o + RAY], pairs[o + RAZ] = px - q[i], py - q[i + 1], pz - q[i + 2]
    if b >= 0:
        i = b * WIDTH
        pairs[o + RBX], pairs[o + RBY], pairs[o + RBZ] = px - q[i], py - q[i + 1], pz - q[i + 2]
    pairs[o + GAP], pairs[o + REST], pairs[o + MU] = gap, rest, mu
    return n + 1


@jit
def gather(q, body, status, par, pairs):
    """Number of near pairs written; pins that something touches wake."""
    n = 0
    ball = status[0] != GONE
    radius = par[RADIUS]
    bx, by, bz = q[0], q[1], q[2]
    for p in range(1, BODIES):
        if status[p] == GONE:
            continue
        i = p * WIDTH
        cg = body[p * BODY_WIDTH + 3]
        ux, uy, uz = q[i + 6], q[i + 7], q[i + 8]
        ox, oy, oz = q[i] - cg * ux, q[i + 1] - cg * uy, q[i + 2] - cg * uz
        if ball:
            mx, my, mz = bx - ox - MIDDLE_M * ux, by - oy - MIDDLE_M * uy, bz - oz - MIDDLE_M * uz
            far = radius + REACH_M + NEAR_M
            if mx * mx + my * my + mz * mz < far * far:
                wx, wy, wz = bx - ox, by - oy, bz - oz
                along = wx * ux + wy * uy + wz * uz
                far = radius + WIDEST_M + NEAR_M
                if wx * wx + wy * wy + wz * wz - along * along < far * far:
                    d, s = to_point(wx, wy, wz, ux, uy, uz)
                    gap = d - radius
                    if gap < NEAR_M:
                        # from the ball to the pin
                        nx, ny, nz = ox + s * ux - bx, oy + s * uy - by, oz + s * uz - bz
                        size = math.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12
                        nx, ny, nz = nx / size, ny / size, nz / size
                        reach = radius + 0.5 * gap
                        n = keep(q, pairs, n, p, 0, nx, ny, nz, bx + reach * nx, by + reach * ny,
                                 bz + reach * nz, gap, par[E_BALL_PIN], par[MU_BALL_PIN])
                        if gap < TOUCH_M:
                            wake(body, status, p, nx, ny)
        for other in range(p + 1, BODIES):
            if status[other] == GONE or (status[p] == ASLEEP and status[other] == ASLEEP):
                continue
            k = other * WIDTH
            half = body[other * BODY_WIDTH + 3]
            vx, vy, vz = q[k + 6], q[k + 7], q[k + 8]
            lx, ly, lz = q[k] - half * vx, q[k + 1] - half * vy, q[k + 2] - half * vz
            wx, wy, wz = ox - lx, oy - ly, oz - lz
            mx = wx + MIDDLE_M * (ux - vx)
            my = wy + MIDDLE_M * (uy - vy)
            mz = wz + MIDDLE_M * (uz - vz)
            far = 2.0 * REACH_M + NEAR_M
            if mx * mx + my * my + mz * mz >= far * far:
                continue
            far = 2.0 * WIDEST_M + NEAR_M
            if segment_distance2(wx, wy, wz, ux, uy, uz, vx, vy, vz) >= far * far:
                continue
            gap, s, t = to_pin(wx, wy, wz, ux, uy, uz, vx, vy, vz)
            if gap >= NEAR_M:
                continue
            nx = wx + s * ux - t * vx
            ny = wy + s * uy - t * vy
            nz = wz + s * uz - t * vz
            size = math.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12
            nx, ny, nz = nx / size, ny / size, nz / size
            rho, _, _ = radius_at(t)
            reach = rho + 0.5 * gap
            n = keep(q, pairs, n, p, other, nx, ny, nz, lx + t * vx + reach * nx,
                     ly + t * vy + reach * ny, lz + t * vz + reach * nz, gap,
                     par[E_PIN_PIN], par[MU_PIN_PIN])
            if gap < TOUCH_M:
                wake(body, status, p, nx, ny)
                wake(body, status, other, -nx, -ny)
    for p in range(1, BODIES):
        if status[p] == MOVES:
            n = building(q, body, par, pairs, n, p)
    if ball:
        n = ball_and_building(q, par, pairs, n)
    return n


@jit
def wake(body, status, p, nx, ny):
    """A pin that is hit moves; remember from where, for the edge of its base."""
    if status[p] == ASLEEP:
        status[p] = MOVES
        size = math.sqrt(nx * nx + ny * ny)
        if size > 1e-6:
            body[p * BODY_WIDTH + 5], body[p * BODY_WIDTH + 6] = nx / size, ny / size


@jit
def building(q, body, par, pairs, n, p):
    """The deck, the gutters, the kickbacks and the curtain near one pin."""
    i = p * WIDTH
    cg = body[p * BODY_WIDTH + 3]
    x, y, z = q[i], q[i + 1], q[i + 2]
    ux, uy, uz = q[i + 6], q[i + 7], q[i + 8]
    ox, oy, oz = x - cg * ux, y - cg * uy, z - cg * uz
    mx, my, mz = ox + MIDDLE_M * ux, oy + MIDDLE_M * uy, oz + MIDDLE_M * uz
    rest, mu = par[E_DECK], par[MU_PIN_DECK]
    if mz - REACH_M < NEAR_M and mx - REACH_M < TAIL_M:
        inner = abs(my) + REACH_M < HALF_M and mx + REACH_M < TAIL_M
        for level in range(2):
            half = HALF_M if level == 0 else WIDE_M
            top = 0.0 if level == 0 else -DROP_M
            if level == 0 and abs(my) - REACH_M > HALF_M + NEAR_M:
                continue
            if level == 1 and (inner or mz - REACH_M > NEAR_M - DROP_M):
                continue
            if oz + LOW_M * uz < top + 0.3:
                for part in range(2):
                    upper = part == 1
                    if inner:
                        gap, s = to_plane(oz, uz, upper)
                        nx, ny, nz = 0.0, 0.0, 1.0
                    else:
                        gap, s, nx, ny, nz = to_box(ox, oy, oz, ux, uy, uz, upper, TAIL_M, half,
                                                    top)
                    if gap < NEAR_M:
                        rho, _, _ = radius_at(s)
                        reach = rho + 0.5 * gap
                        n = keep(q, pairs, n, p, -1, nx, ny, nz, ox + s * ux - reach * nx,
                                 oy + s * uy - reach * ny, oz + s * uz - reach * nz, gap, rest, mu)
        n = base_edge(q, body, pairs, n, p, ox, oy, oz, 0.0, 0.0, 1.0, rest, mu)
    for side in range(2):
        sign = 1.0 if side == 0 else -1.0
        if sign * my + REACH_M > KICKBACK_M - NEAR_M:
            for part in range(2):
                gap, s = to_plane(KICKBACK_M - sign * oy, -sign * uy, part == 1)
                if gap < NEAR_M:
                    rho, _, _ = radius_at(s)
                    n = keep(q, pairs, n, p, -1, 0.0, -sign, 0.0, ox + s * ux,
                             oy + s * uy + sign * (rho + 0.5 * gap), oz + s * uz, gap,
                             par[E_KICKBACK], par[MU_KICKBACK])
            n = base_edge(q, body, pairs, n, p, ox, oy, oz, 0.0, -sign, 0.0, par[E_KICKBACK],
                          par[MU_KICKBACK])
    if mx + REACH_M > par[CURTAIN_M] - NEAR_M:
        for part in range(2):
            gap, s = to_plane(par[CURTAIN_M] - ox, -ux, part == 1)
            if gap < NEAR_M:
                rho, _, _ = radius_at(s)
                n = keep(q, pairs, n, p, -1, -1.0, 0.0, 0.0, ox + s * ux + rho + 0.5 * gap,
                         oy + s * uy, oz + s * uz, gap, par[E_CURTAIN], par[MU_KICKBACK])
    return n


@jit
def base_edge(q, body, pairs, n, p, ox, oy, oz, nx, ny, nz, rest, mu):
    """Points of the base's edge near a floor (normal up) or a kickback (normal sideways)."""
    i = p * WIDTH
    ux, uy, uz = q[i + 6], q[i + 7], q[i + 8]
    lean = nx * ux + ny * uy + nz * uz
    # the way from the base's middle straight toward the plane, within the base
    ex, ey, ez = lean * ux - nx, lean * uy - ny, lean * uz - nz
    size = math.sqrt(ex * ex + ey * ey + ez * ez)
    if size < UPRIGHT:
        ex, ey, ez = body[p * BODY_WIDTH + 5], body[p * BODY_WIDTH + 6], 0.0
        if nz == 0.0:
            return n
    else:
        ex, ey, ez = ex / size, ey / size, ez / size
    points = 4 if size < FLAT else 1
    for _ in range(points):
        x, y, z = ox + BASE_RADIUS_M * ex, oy + BASE_RADIUS_M * ey, oz + BASE_RADIUS_M * ez
        if nz > 0.0:
            gap = z if x < TAIL_M and abs(y) < HALF_M else z + DROP_M
            if x >= TAIL_M:
                gap = NEAR_M
        else:
            gap = KICKBACK_M + ny * y
        # below the edge of the deck the point is beside it, not under it
        if -0.012 < gap < NEAR_M:
            n = keep(q, pairs, n, p, -1, nx, ny, nz, x, y, z, gap, rest, mu)
        ex, ey, ez = uy * ez - uz * ey, uz * ex - ux * ez, ux * ey - uy * ex
    return n


@jit
def ball_and_building(q, par, pairs, n):
    """The deck, the gutters, the kickbacks and the curtain near the ball."""
    radius = par[RADIUS]
    x, y, z = q[0], q[1], q[2]
    for level in range(2):
        d, nx, ny, nz = box_distance(x, y, z, TAIL_M, HALF_M if level == 0 else WIDE_M,
                                     0.0 if level == 0 else -DROP_M)
        if -0.03 < d - radius < NEAR_M:
            n = keep(q, pairs, n, 0, -1, nx, ny, nz, x - radius * nx, y - radius * ny,
                     z - radius * nz, d - radius, E_BALL_DECK, par[MU_BALL_DECK])
    for side in range(2):
        sign = 1.0 if side == 0 else -1.0
        gap = KICKBACK_M - sign * y - radius
        if gap < NEAR_M:
            n = keep(q, pairs, n, 0, -1, 0.0, -sign, 0.0, x, y + sign * radius, z, gap,
                     E_BALL_DECK, par[MU_KICKBACK])
    gap = par[CURTAIN_M] - x - radius
    if gap < NEAR_M:
        n = keep(q, pairs, n, 0, -1, -1.0, 0.0, 0.0, x + radius, y, z, gap, par[E_CURTAIN],
                 par[MU_KICKBACK])
    return n
