"""The pack: LANES shots side by side, each in one lane of the vector registers.

An array row holds one quantity of all lanes, and a loop `for k in range(lanes)` without library
calls, without stores through several names and with at least 16 turns is what the compiler turns
into vector instructions (4 lanes each with AVX2).  What is rare or branches - loading a shot, the
trace, pins and gutters, changes of regime - is done lane by lane.  A lane never sees its
neighbours, so a shot's answer does not depend on its company.
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np
from numba import njit

from .compiling import CONTRACT, INLINE, INNER
from .maths import quaternion_product, small_rotation, unit_matrix
from .rows import (
    AT_BODY,
    AT_EXTRAS,
    AT_SIZE,
    CROSS_SIZE,
    KNOWN_PAR,
    KNOWN_Q,
    KNOWN_SIZE,
    LANES,
    OWN_ROWS,
    OWN_SIZE,
    RK_STAGES,
    STEP_ROWS,
    STEP_SIZE,
)

Pack = namedtuple(
    "Pack",
    "own known here there stage rate rates length used error good stuck cross shot kept state",
)


@njit(**INNER)
def new_pack(count):
    """Scratch for LANES lanes and the waiting shots of a chunk of `count`."""
    return Pack(
        np.zeros(OWN_SIZE),
        np.zeros(KNOWN_SIZE),
        np.zeros(AT_SIZE),
        np.zeros(AT_SIZE),
        np.zeros(STEP_SIZE),  # stage: state of a stage, at last of the step's end
        np.zeros(STEP_SIZE),  # rate: its rates
        np.zeros(RK_STAGES * STEP_SIZE),  # rates of all stages
        np.zeros(STEP_SIZE),  # length of the step, once a row
        np.zeros(LANES),  # used: the same, once
        np.zeros(LANES),  # error of the step over its tolerance
        np.zeros(LANES),  # good: 1 where the step counts
        np.zeros(LANES),  # stuck: 1 where a creep step ended without slip
        np.zeros(CROSS_SIZE),  # cross: where a whole cell was passed
        np.full(LANES, -1),  # shot in the lane
        np.zeros((count, OWN_ROWS)),  # kept: `own` of shots that wait
        np.zeros(12),  # state: scratch of `release_state`
    )


@njit(**INNER, **INLINE)
def lane_parameters(known, k):
    """The parameter vector of the ball in lane k as a tuple: numbers in registers, not in memory.

    Written out because a tuple's length must be known to the compiler.
    """
    p = KNOWN_PAR + k
    return (
        known[p], known[p + LANES], known[p + 2 * LANES], known[p + 3 * LANES],
        known[p + 4 * LANES], known[p + 5 * LANES], known[p + 6 * LANES], known[p + 7 * LANES],
        known[p + 8 * LANES], known[p + 9 * LANES], known[p + 10 * LANES], known[p + 11 * LANES],
        known[p + 12 * LANES], known[p + 13 * LANES], known[p + 14 * LANES], known[p + 15 * LANES],
        known[p + 16 * LANES], known[p + 17 * LANES], known[p + 18 * LANES], known[p + 19 * LANES],
        known[p + 20 * LANES], known[p + 21 * LANES], known[p + 22 * LANES], known[p + 23 * LANES],
        known[p + 24 * LANES], known[p + 25 * LANES], known[p + 26 * LANES], known[p + 27 * LANES],
        known[p + 28 * LANES],
    )


@njit(**INNER, **CONTRACT, **INLINE)
def turned(known, t0, t1, t2, k):
    """Orientation q exp(theta) of the ball in lane k."""
    e0, e1, e2, e3 = small_rotation(t0, t1, t2)
    q = KNOWN_Q + k
    return quaternion_product(
        known[q], known[q + LANES], known[q + 2 * LANES], known[q + 3 * LANES], e0, e1, e2, e3
    )


@njit(**INNER, **INLINE)
def lane_matrix(known, k):
    """Orientation matrix of the ball in lane k at the start of its step."""
    q = KNOWN_Q + k
    return unit_matrix(known[q], known[q + LANES], known[q + 2 * LANES], known[q + 3 * LANES])


@njit(**INNER, **INLINE)
def store_row(rows, k, numbers):
    """Write the STEP_ROWS numbers of lane k."""
    for r in range(STEP_ROWS):
        rows[r * LANES + k] = numbers[r]


@njit(**INNER, **INLINE)
def store_extras(at, k, e):
    """Write (wx, wy, wz, axis_speed, mu, slip) of lane k: the first rows of `at`."""
    for r in range(AT_EXTRAS):
        at[r * LANES + k] = e[r]


@njit(**INNER, **INLINE)
def store_rates(rate, at, k, vx, vy, d, b, e, theta):
    """Write what a law returned for lane k into the rates and the extras."""
    store_row(
        rate, k,
        (vx, vy, d[0], d[1], d[2], d[3], d[4], theta[0], theta[1], theta[2], d[5]),
    )
    store_extras(at, k, e)
    at[AT_BODY + k] = b[0]
    at[AT_BODY + LANES + k] = b[1]
    at[AT_BODY + 2 * LANES + k] = b[2]
