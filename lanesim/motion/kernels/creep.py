"""Sticking and slipping: steps for a ball whose slip is nearly or exactly zero."""

from __future__ import annotations

import math

from numba import njit

from .body import axis_rate_squared, body_rates_free, contact_slip, outer_pull, stop_slip
from .columns import P_CONTACT_A, P_GRAVITY, P_I1, P_I2, P_I3, P_LOFT, P_MASS, P_RADIUS
from .compiling import CONTRACT, INLINE, INNER
from .friction import mixed_friction, track_film_rate
from .maths import quaternion_product, small_rotation, to_lane, unit_matrix
from .pack import lane_parameters, store_extras, store_row
from .rows import (
    AT_SLIP,
    AT_WX,
    AT_WY,
    AT_WZ,
    KNOWN_LANE,
    KNOWN_PHI,
    LANES,
    OWN_Q,
    S_FILM,
    S_LX,
    S_LY,
    S_LZ,
    S_VX,
    S_VY,
    S_X,
    S_Y,
)
from .stages import film_stage


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

    w the slip that the ball would have there without friction (with `outer_pull`), A the 2 x 2
    mobility of the contact point.  The law is Coulomb's own, set-valued at zero, not a smoothed
    one; where it sticks, the step ends with `stop_slip`, which keeps the angular momentum about
    the contact.

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
    ax, ay = outer_pull(x, y, vx, vy, par)
    free_x, free_y = contact_slip(vx + half * ax, vy + half * ay, wx, wy, par)
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
    nvx = vx + span * ax + push_x / mass
    nvy = vy + span * ay + push_y / mass
    nlx = lx + radius * push_y
    nly = ly - radius * push_x
    nlz = lz + pivot
    axis2 = axis_rate_squared(b1, b2, b3, par)
    spin2 = b1 * b1 + b2 * b2 + b3 * b3
    h_met = h_lane if x >= par[P_LOFT] else 0.0
    rate = track_film_rate(h_met, h_track, spin2, axis2, par)
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
