"""How far apart a pin and something else are, and where.

A pin is the body swept by spheres on its axis (see `pin`): with c a point, p(s) = base + s u and
rho(s) the spheres, its distance from a sphere of radius R about c is

    min over s of |c - p(s)| - rho(s) - R,

from another pin the same over two places, from a plane min over s of n.p(s) - rho(s). The minima
are found on a few even places and sharpened by Newton steps; there can be two (belly and head),
so a flat thing is asked for both.
"""

from __future__ import annotations

import math

from .compiling import jit
from .pin import HIGH_M, LOW_M, PIECES, RHO, STEP_M

SAMPLES = 12  # places on the axis looked at for a point
GAP_M = (HIGH_M - LOW_M) / (SAMPLES - 1)
COARSE = 7  # and on each of two axes
COARSE_GAP_M = (HIGH_M - LOW_M) / (COARSE - 1)
WAIST_M = 9.6 * 0.0254  # between belly and head, the slimmest place
HALF_SAMPLES = 6
SHARPEN = 9  # Newton steps on two axes at most
LAST_PIECE = PIECES - 1


@jit
def radius_at(s):
    """(rho, rho', rho'') of the spheres at s [m] above the base."""
    k = int((s - LOW_M) / STEP_M)
    if k < 0:
        k = 0
    elif k > LAST_PIECE:
        k = LAST_PIECE
    t = s - LOW_M - k * STEP_M
    a, b, c, d = RHO[k, 0], RHO[k, 1], RHO[k, 2], RHO[k, 3]
    return a + t * (b + t * (c + t * d)), b + t * (2.0 * c + 3.0 * t * d), 2.0 * c + 6.0 * t * d


@jit
def to_point(wx, wy, wz, ux, uy, uz):
    """(distance from the surface, s) of a pin and the point w from its base; u its axis."""
    along = wx * ux + wy * uy + wz * uz
    off2 = wx * wx + wy * wy + wz * wz - along * along
    if off2 < 0.0:
        off2 = 0.0
    best, s = 1e9, LOW_M
    for k in range(SAMPLES):
        at = LOW_M + k * GAP_M
        rho, _, _ = radius_at(at)
        f = math.sqrt(off2 + (at - along) * (at - along)) - rho
        if f < best:
            best, s = f, at
    low, high = max(LOW_M, s - GAP_M), min(HIGH_M, s + GAP_M)
    for _ in range(3):
        rho, slope, bend = radius_at(s)
        d = math.sqrt(off2 + (s - along) * (s - along)) + 1e-12
        first = (s - along) / d - slope
        second = off2 / (d * d * d) - bend
        if second < 0.5:
            second = 0.5
        s = min(max(s - first / second, low), high)
    rho, _, _ = radius_at(s)
    found = math.sqrt(off2 + (s - along) * (s - along)) - rho
    return found, s


@jit
def to_plane(height, rise, upper):
    """(gap, s) of one half of a pin and a plane.

    height : of the base over the plane; rise : change of height per length of axis;
    upper : whether the half above the waist.
    """
    first_at, last_at = (WAIST_M, HIGH_M) if upper else (LOW_M, WAIST_M)
    gap = (last_at - first_at) / (HALF_SAMPLES - 1)
    best, s = 1e9, first_at
    for k in range(HALF_SAMPLES):
        at = first_at + k * gap
        rho, _, _ = radius_at(at)
        f = height + at * rise - rho
        if f < best:
            best, s = f, at
    low, high = max(first_at, s - gap), min(last_at, s + gap)
    for _ in range(3):
        rho, slope, bend = radius_at(s)
        second = -bend
        if second < 0.5:
            second = 0.5
        s = min(max(s - (rise - slope) / second, low), high)
    rho, _, _ = radius_at(s)
    found = height + s * rise - rho
    if found > best:  # a step past the minimum of a bent piece
        found = best
    return found, s


@jit
def box_distance(x, y, z, tail, half, top):
    """(distance, nx, ny, nz) of a point from the block x <= tail, |y| <= half, z <= top.

    The normal points from the block to the point; inside, it points up and the distance is < 0.
    """
    dx = max(x - tail, 0.0)
    dy = max(abs(y) - half, 0.0)
    dz = max(z - top, 0.0)
    d = math.sqrt(dx * dx + dy * dy + dz * dz)
    if d < 1e-9:
        return z - top, 0.0, 0.0, 1.0
    if y < 0.0:
        dy = -dy
    return d, dx / d, dy / d, dz / d


@jit
def to_box(bx, by, bz, ux, uy, uz, upper, tail, half, top):
    """(gap, s, nx, ny, nz) of one half of a pin and a block, see `box_distance`."""
    first_at, last_at = (WAIST_M, HIGH_M) if upper else (LOW_M, WAIST_M)
    gap = (last_at - first_at) / (HALF_SAMPLES - 1)
    best, s = 1e9, first_at
    for k in range(HALF_SAMPLES):
        at = first_at + k * gap
        rho, _, _ = radius_at(at)
        d, _, _, _ = box_distance(bx + at * ux, by + at * uy, bz + at * uz, tail, half, top)
        if d - rho < best:
            best, s = d - rho, at
    low, high = max(first_at, s - gap), min(last_at, s + gap)
    for _ in range(4):
        rho, slope, bend = radius_at(s)
        d, nx, ny, nz = box_distance(bx + s * ux, by + s * uy, bz + s * uz, tail, half, top)
        lean = nx * ux + ny * uy + nz * uz
        second = -bend
        if second < 2.0:
            second = 2.0
        s = min(max(s - (lean - slope) / second, low), high)
    rho, _, _ = radius_at(s)
    d, nx, ny, nz = box_distance(bx + s * ux, by + s * uy, bz + s * uz, tail, half, top)
    return d - rho, s, nx, ny, nz


@jit
def segment_distance2(wx, wy, wz, ux, uy, uz, vx, vy, vz):
    """Squared distance of two axes from LOW to HIGH; w from the second base to the first."""
    b = ux * vx + uy * vy + uz * vz
    d = ux * wx + uy * wy + uz * wz
    e = vx * wx + vy * wy + vz * wz
    den = 1.0 - b * b
    s = LOW_M
    if den > 1e-9:
        s = min(max((b * e - d) / den, LOW_M), HIGH_M)
    t = min(max(b * s + e, LOW_M), HIGH_M)
    s = min(max(b * t - d, LOW_M), HIGH_M)
    x = wx + s * ux - t * vx
    y = wy + s * uy - t * vy
    z = wz + s * uz - t * vz
    return x * x + y * y + z * z


@jit
def pair_value(wx, wy, wz, ux, uy, uz, vx, vy, vz, s, t):
    x = wx + s * ux - t * vx
    y = wy + s * uy - t * vy
    z = wz + s * uz - t * vz
    one, _, _ = radius_at(s)
    two, _, _ = radius_at(t)
    return math.sqrt(x * x + y * y + z * z) - one - two


@jit
def to_pin(wx, wy, wz, ux, uy, uz, vx, vy, vz):
    """(gap, s, t) of two pins; w from the second base to the first, u and v their axes."""
    best, s, t = 1e9, LOW_M, LOW_M
    for i in range(COARSE):
        a = LOW_M + i * COARSE_GAP_M
        one, _, _ = radius_at(a)
        x, y, z = wx + a * ux, wy + a * uy, wz + a * uz
        for k in range(COARSE):
            b = LOW_M + k * COARSE_GAP_M
            two, _, _ = radius_at(b)
            px, py, pz = x - b * vx, y - b * vy, z - b * vz
            f = math.sqrt(px * px + py * py + pz * pz) - one - two
            if f < best:
                best, s, t = f, a, b
    uv = ux * vx + uy * vy + uz * vz
    scale = 1.0
    for _ in range(SHARPEN):
        x = wx + s * ux - t * vx
        y = wy + s * uy - t * vy
        z = wz + s * uz - t * vz
        d = math.sqrt(x * x + y * y + z * z) + 1e-12
        nu = (x * ux + y * uy + z * uz) / d
        nv = (x * vx + y * vy + z * vz) / d
        _, slope_s, bend_s = radius_at(s)
        _, slope_t, bend_t = radius_at(t)
        gs, gt = nu - slope_s, -nv - slope_t
        hss = (1.0 - nu * nu) / d - bend_s
        htt = (1.0 - nv * nv) / d - bend_t
        hst = -(uv - nu * nv) / d
        det = hss * htt - hst * hst
        stuck_s = (s < LOW_M + 1e-9 and gs > 0.0) or (s > HIGH_M - 1e-9 and gs < 0.0)
        stuck_t = (t < LOW_M + 1e-9 and gt > 0.0) or (t > HIGH_M - 1e-9 and gt < 0.0)
        if stuck_s or stuck_t:
            ds = 0.0 if stuck_s else -gs / max(hss, 2.0)
            dt = 0.0 if stuck_t else -gt / max(htt, 2.0)
        elif hss > 0.0 and det > 0.05 * abs(hss * htt) + 1e-3:
            ds = (-gs * htt + gt * hst) / det
            dt = (-gt * hss + gs * hst) / det
        else:
            ds = -gs / max(hss, 8.0)
            dt = -gt / max(htt, 8.0)
        most = max(abs(ds), abs(dt))
        if most < 1e-6:
            break
        if most > 0.7 * COARSE_GAP_M:
            ds, dt = 0.7 * ds * COARSE_GAP_M / most, 0.7 * dt * COARSE_GAP_M / most
        new_s = min(max(s + scale * ds, LOW_M), HIGH_M)
        new_t = min(max(t + scale * dt, LOW_M), HIGH_M)
        f = pair_value(wx, wy, wz, ux, uy, uz, vx, vy, vz, new_s, new_t)
        if f < best:
            best, s, t = f, new_s, new_t
            scale = 1.0
        else:
            scale *= 0.3
    return best, s, t
