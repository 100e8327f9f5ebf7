"""Many balls at once: on the processor one after another, on a graphics card one thread a ball.

The card runs the same compiled functions; `card_kernel` needs `numba-cuda` and is used by the
builds in benchmarks/ only.
"""

from __future__ import annotations

import functools

import numpy as np

from .compiling import jit, kept
from .layout import BODIES, BODY, PAIR_ROWS, PARAMETERS, STATE
from .roll import roll, set_up


@jit
def one_of_many(i, sets, places, scatters, pin, spots, noise, standing, which, q, body, status, par,
                pairs, frames, out):
    """Ball i: which = (set, place, noise, index of standing)."""
    for k in range(PARAMETERS):
        par[k] = sets[which[0], k]
    set_up(q, body, status, par, places[which[1]], pin, standing[which[3]], spots,
           noise[which[2]], scatters[which[0]])
    roll(q, body, status, par, pairs, frames, out)


@kept
def on_processor(sets, places, scatters, pin, spots, noise, standing, which, out):
    q, body = np.zeros(STATE), np.zeros(BODY)
    status, par, pairs = np.zeros(BODIES), np.zeros(PARAMETERS), np.zeros(PAIR_ROWS)
    frames = np.zeros((0, BODIES, 6))
    for i in range(which.shape[0]):
        one_of_many(i, sets, places, scatters, pin, spots, noise, standing, which[i], q, body,
                    status, par, pairs, frames, out[i])


@functools.cache
def card_kernel():
    """The kernel for a card: one thread a ball, its rows columns of the arrays handed in."""
    from numba import cuda

    @cuda.jit
    def kernel(sets, places, scatters, pin, spots, noise, standing, which, q, body, status, par,
               pairs, frames, out):
        i = cuda.grid(1)
        if i < which.shape[0]:
            one_of_many(i, sets, places, scatters, pin, spots, noise, standing, which[i],
                        q[:, i], body[:, i], status[:, i], par[:, i], pairs[:, i], frames, out[i])

    return kernel
