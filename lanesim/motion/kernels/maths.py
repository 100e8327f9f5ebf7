"""Exponential, logarithm, quaternions and 3 x 3 algebra, one scalar at a time.

The batch follows many shots side by side in the processor's vector registers.  A compiler can
only do that with arithmetic, not with calls into a library, so exponential and logarithm are
written out.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from .compiling import CONTRACT, INLINE, INNER, PLAIN, kept

INV_LN2 = 1.0 / math.log(2.0)
LN2_HIGH = 6.93147180369123816490e-01  # ln 2 in two parts, the first with 32 zero bits at its end:
LN2_LOW = 1.90821492927058770002e-10  # n LN2_HIGH is exact (Cody & Waite, 1980)
ROUNDER = 1.5 * 2.0**52
SQRT2 = math.sqrt(2.0)


@njit(**PLAIN, **CONTRACT, **INLINE)
def exponential(x):
    """exp(x) to 3e-16 for |x| < 700 (beyond: the value there): 2^n times a series in |r| < 0.35.

    Adding 1.5 2^52 rounds to a whole number and leaves it in the last bits of the sum; shifted
    into the exponent's place they are 2^n.
    """
    x = -700.0 if x < -700.0 else x
    x = 700.0 if x > 700.0 else x
    shifted = x * INV_LN2 + ROUNDER
    n = shifted - ROUNDER
    r = (x - n * LN2_HIGH) - n * LN2_LOW
    p = 1 / 39916800 + r * (1 / 479001600)
    p = 1 / 40320 + r * (1 / 362880 + r * (1 / 3628800 + r * p))
    p = 1 / 120 + r * (1 / 720 + r * (1 / 5040 + r * p))
    p = 1.0 + r * (1.0 + r * (1 / 2 + r * (1 / 6 + r * (1 / 24 + r * p))))
    bits = (np.float64(shifted).view(np.int64) + 1023) << 52
    return p * np.int64(bits).view(np.float64)


@njit(**PLAIN, **CONTRACT, **INLINE)
def logarithm(x):
    """ln(x) to 3e-16 for normal positive x: exponent times ln 2, and 2 artanh((m - 1)/(m + 1))."""
    bits = np.float64(x).view(np.int64)
    # the exponent as the last bits of a number near 2^52
    power = np.int64((bits >> 52) | 0x4330000000000000).view(np.float64) - (2.0**52 + 1023.0)
    m = np.int64((bits & 0xFFFFFFFFFFFFF) | 0x3FF0000000000000).view(np.float64)
    large = m > SQRT2
    m = 0.5 * m if large else m
    power = power + 1.0 if large else power
    s = (m - 1.0) / (m + 1.0)
    z = s * s
    series = 1 / 13 + z * (1 / 15 + z * (1 / 17 + z * (1 / 19)))
    series = 1 / 5 + z * (1 / 7 + z * (1 / 9 + z * (1 / 11 + z * series)))
    series = 1.0 + z * (1 / 3 + z * series)
    return power * LN2_HIGH + (2.0 * s * series + power * LN2_LOW)


@njit(**INNER, **CONTRACT, **INLINE)
def quaternion_product(a0, a1, a2, a3, b0, b1, b2, b3):
    """Hamilton product a b."""
    return (
        a0 * b0 - a1 * b1 - a2 * b2 - a3 * b3,
        a0 * b1 + a1 * b0 + a2 * b3 - a3 * b2,
        a0 * b2 - a1 * b3 + a2 * b0 + a3 * b1,
        a0 * b3 + a1 * b2 - a2 * b1 + a3 * b0,
    )


@njit(**PLAIN, **CONTRACT, **INLINE)
def small_rotation(t0, t1, t2):
    """Unit quaternion of a rotation by the vector t [rad]: series, to 1e-14 up to 4 rad."""
    z = 0.25 * (t0 * t0 + t1 * t1 + t2 * t2)
    s = 1.0 - z * (1 / 110) * (1.0 - z * (1 / 156) * (1.0 - z * (1 / 210)))
    s = 1.0 - z * (1 / 42) * (1.0 - z * (1 / 72) * s)
    s = 0.5 * (1.0 - z * (1 / 6) * (1.0 - z * (1 / 20) * s))
    c = 1.0 - z * (1 / 132) * (1.0 - z * (1 / 182) * (1.0 - z * (1 / 240)))
    c = 1.0 - z * (1 / 56) * (1.0 - z * (1 / 90) * c)
    c = 1.0 - z * (1 / 2) * (1.0 - z * (1 / 12) * (1.0 - z * (1 / 30) * c))
    return c, s * t0, s * t1, s * t2


@njit(**INNER)
def rotation_exp(t0, t1, t2):
    """Unit quaternion of a rotation by the vector t [rad], of any size."""
    angle = math.sqrt(t0 * t0 + t1 * t1 + t2 * t2)
    s = math.sin(0.5 * angle) / angle if angle > 1e-12 else 0.5
    return math.cos(0.5 * angle), s * t0, s * t1, s * t2


@njit(**INNER, **CONTRACT, **INLINE)
def scaled_matrix(s, q0, q1, q2, q3):
    """The matrix of a quaternion, s = 2 over the square of its length."""
    return (
        1.0 - s * (q2 * q2 + q3 * q3), s * (q1 * q2 - q0 * q3), s * (q1 * q3 + q0 * q2),
        s * (q1 * q2 + q0 * q3), 1.0 - s * (q1 * q1 + q3 * q3), s * (q2 * q3 - q0 * q1),
        s * (q1 * q3 - q0 * q2), s * (q2 * q3 + q0 * q1), 1.0 - s * (q1 * q1 + q2 * q2),
    )


@kept(**CONTRACT, **INLINE)
def rotation_matrix(q0, q1, q2, q3):
    """Nine entries, row by row, of the matrix body -> lane; any nonzero quaternion is allowed."""
    return scaled_matrix(2.0 / (q0 * q0 + q1 * q1 + q2 * q2 + q3 * q3), q0, q1, q2, q3)


@njit(**INNER, **INLINE)
def unit_matrix(q0, q1, q2, q3):
    """`rotation_matrix` of a quaternion known to be of length 1: saves a division."""
    return scaled_matrix(2.0, q0, q1, q2, q3)


@njit(**INNER, **CONTRACT, **INLINE)
def to_body(x, y, z, m):
    """Turn a lane-frame vector into the body frame."""
    return (
        m[0] * x + m[3] * y + m[6] * z,
        m[1] * x + m[4] * y + m[7] * z,
        m[2] * x + m[5] * y + m[8] * z,
    )


@njit(**INNER, **CONTRACT, **INLINE)
def to_lane(b1, b2, b3, m):
    """Turn a body-frame vector into the lane frame."""
    return (
        m[0] * b1 + m[1] * b2 + m[2] * b3,
        m[3] * b1 + m[4] * b2 + m[5] * b3,
        m[6] * b1 + m[7] * b2 + m[8] * b3,
    )


@njit(**INNER, **CONTRACT, **INLINE)
def solve_symmetric(s, r0, r1, r2):
    """Solve the symmetric 3 x 3 system with entries xx, xy, xz, yy, yz, zz; also (s^-1)_zz."""
    xx, xy, xz, yy, yz, zz = s
    c00 = yy * zz - yz * yz
    c01 = xz * yz - xy * zz
    c02 = xy * yz - xz * yy
    c11 = xx * zz - xz * xz
    c12 = xy * xz - xx * yz
    c22 = xx * yy - xy * xy
    inverse = 1.0 / (xx * c00 + xy * c01 + xz * c02)
    return (
        (c00 * r0 + c01 * r1 + c02 * r2) * inverse,
        (c01 * r0 + c11 * r1 + c12 * r2) * inverse,
        (c02 * r0 + c12 * r1 + c22 * r2) * inverse,
        c22 * inverse,
    )
