"""The batch on a graphics card: one thread a shot, the core's own functions compiled for it.

`numba-cuda` (extra "gpu") compiles the functions of `lanesim.motion.kernels` once more, for the
card, with the pack's arrays for a single lane in each thread's own memory; nothing of the physics,
the method or the events is written twice. Only exponential and logarithm are the card's library's.
The answers differ from the processor's in rounding, and so by the engine's accuracy where a
rounding decides about a step.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from ..errors import InputError
from . import kernels as k

THREADS_A_BLOCK = 256
CHUNK_SHOTS = 1 << 19  # shots on the card at once, twice over: 2 GB with their traces


@cache
def why_not() -> str:
    """Why no card can be used, in words; '' if one can."""
    try:
        from numba import cuda
    except ImportError as error:
        return f"numba-cuda is not installed ({error}); it comes with the extra 'gpu'"
    try:
        return "" if cuda.is_available() else "no NVIDIA card, or no driver for one, is there"
    except Exception as error:  # whatever a broken driver raises: it is no card to use
        return f"the card cannot be used ({error})"


def run(
    shots: np.ndarray,
    which: np.ndarray,
    paps: np.ndarray,
    pars: np.ndarray,
    film: np.ndarray,
    pins: np.ndarray,
    rows: np.ndarray,
    traces: np.ndarray,
) -> None:
    """Follow all shots on the card; arguments as `kernels.throw_chunk`, put in form by `batch.run`.

    Raises
    ------
    InputError
        if there is no card to use, saying why.
    """
    if why_not():
        raise InputError(f"no card: {why_not()}; accepted without one: the processor (engine cpu)")
    from numba import cuda

    from .kernels.card import follow_all

    keep = len(traces) > 0
    powered = bool(np.any(pars[:, k.P_LAMBDA_POWER] != 1.0))
    oiled = np.flatnonzero(np.any(film > 0.0, axis=1))
    cells = int(oiled[-1]) + 1 if len(oiled) else 0
    oil_end = cells * float(pars[0, k.P_CELL_X]) + 1e-9
    same = [cuda.to_device(a) for a in (paps, pars, film, pins)]
    size = min(len(shots), CHUNK_SHOTS)
    lanes = [
        (cuda.stream(), cuda.device_array((size, k.R_COUNT)),
         cuda.device_array((size, k.TRACE_FEET, k.T_COUNT)))
        for _ in range(1 if len(shots) <= size else 2)
    ]

    def launch(number: int) -> None:
        stream, there_rows, there_traces = lanes[number % 2]
        part = slice(number * size, min((number + 1) * size, len(shots)))
        given = [cuda.to_device(a, stream=stream)
                 for a in (alike_first(shots[part], which[part]), shots[part], which[part])]
        blocks = -(-len(shots[part]) // THREADS_A_BLOCK)
        follow_all[blocks, THREADS_A_BLOCK, stream](
            *given, *same, there_rows, there_traces, keep, powered, oil_end)

    def collect(number: int) -> None:
        stream, there_rows, there_traces = lanes[number % 2]
        part = slice(number * size, min((number + 1) * size, len(shots)))
        count = len(shots[part])
        there_rows[:count].copy_to_host(rows[part], stream=stream)
        if keep:
            there_traces[:count].copy_to_host(traces[part], stream=stream)
        stream.synchronize()

    # while one part comes back the next is at work
    chunks = -(-len(shots) // size)
    launch(0)
    for number in range(1, chunks):
        launch(number)
        collect(number - 1)
    collect(chunks - 1)


def alike_first(shots: np.ndarray, which: np.ndarray) -> np.ndarray:
    """An order (n,) of shots in which neighbours do the same at the same time: ball, then heading.

    The threads of a warp wait for each other; this is worth half of the speed again.
    """
    heading = shots[:, 1]
    low, high = float(heading.min()), float(heading.max())
    share = (heading - low) / (high - low) if high > low else np.zeros(len(shots))
    order = np.argsort((share * 65535.0).astype(np.uint16), kind="stable")
    if len(which) and which.min() != which.max():
        order = order[np.argsort(which[order], kind="stable")]
    return order.astype(np.int64)
