"""The state of a ball at the foul line, from a release."""

from __future__ import annotations

import math

from .columns import P_I1, P_I2, P_I3
from .compiling import kept
from .maths import quaternion_product, rotation_exp, rotation_matrix, to_lane


@kept()
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
