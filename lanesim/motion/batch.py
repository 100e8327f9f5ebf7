"""Thousands of shots at once on the reference's own right-hand sides: see `kernels.throw_chunk`."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np

from ..errors import InputError
from . import card
from . import kernels as k
from .compiled import batch_kernel

_settings: Any = numba.config
THREADS = _settings.NUMBA_NUM_THREADS  # this machine's processors, or NUMBA_NUM_THREADS
ENGINES = ("auto", "cpu", "gpu")
CARD_FROM_SHOTS = 1 << 17  # fewer are done before the card's functions are compiled
_CHUNK_SHOTS = 256  # many fillings of the core's lanes: few stand idle at the end


@dataclass(frozen=True)
class BatchRows:
    """What the core returns: rows (n, R_COUNT), traces (n, 61, T_COUNT) or (0, ..)."""

    rows: np.ndarray
    traces: np.ndarray


def _plain(array: np.ndarray, dtype: type = float) -> np.ndarray:
    """C-ordered, writable, of one type: any other kind would quietly compile a second signature."""
    return np.require(array, dtype, ["C", "A", "W"])


def run(
    shots: np.ndarray,
    which: np.ndarray,
    paps: np.ndarray,
    pars: np.ndarray,
    film: np.ndarray,
    pins: np.ndarray,
    *,
    keep_traces: bool = False,
    engine: str | None = None,
) -> BatchRows:
    """Follow all shots.

    Parameters
    ----------
    shots : (n, 8) SI rows of `setup.shot_matrix`; which : (n,) index of each shot's ball;
    paps : (b, 3); pars : (b, P_COUNT); film : (60, 39) [m]; pins : (m, 2) [m];
    keep_traces : also return board, heading and track film at each whole foot;
    engine : 'cpu', 'gpu' (a graphics card, see `card`) or 'auto': the card if there is one and the
    shots are many. None: what the environment's LANESIM_ENGINE says, else 'auto'.

    Raises
    ------
    InputError
        for no shots, a value that is not a finite number, or a card asked for and not there.
    """
    shots, paps, pars, film, pins = (_plain(a) for a in (shots, paps, pars, film, pins))
    which = _plain(which, np.int64)
    if len(shots) == 0:
        raise InputError("no shots to throw: the number of shots must be at least 1")
    if len(which) != len(shots) or which.min() < 0 or which.max() >= min(len(pars), len(paps)):
        raise InputError(f"each of the {len(shots)} shots needs the index of a ball, 0 to "
                         f"{min(len(pars), len(paps)) - 1}")
    for name, array in (("release", shots), ("ball parameter", pars), ("oil film", film)):
        if not np.all(np.isfinite(array)):
            raise InputError(f"a {name} is not a finite number; every one must be")
    rows = np.empty((len(shots), k.R_COUNT))
    traces = np.empty((len(shots) if keep_traces else 0, k.TRACE_FEET, k.T_COUNT))
    if _on_card(engine, len(shots)):
        card.run(shots, which, paps, pars, film, pins, rows, traces)
        return BatchRows(rows, traces)
    throw_chunk = batch_kernel()

    def follow(first: int) -> None:
        count = min(_CHUNK_SHOTS, len(shots) - first)
        throw_chunk(shots, which, paps, pars, film, pins, rows, traces, first, count)

    chunks = range(0, len(shots), _CHUNK_SHOTS)
    if len(chunks) == 1:
        follow(0)
    else:
        # compiled code lets go of the interpreter: threads of Python are enough. Chunks not yet
        # begun are dropped when a run is interrupted.
        pool = ThreadPoolExecutor(THREADS)
        try:
            list(pool.map(follow, chunks))
        finally:
            pool.shutdown(cancel_futures=True)
    return BatchRows(rows, traces)


def _on_card(engine: str | None, shots: int) -> bool:
    """Whether the card is to do it; only many shots are worth asking for one."""
    chosen = engine or os.environ.get("LANESIM_ENGINE") or "auto"
    if chosen not in ENGINES:
        raise InputError(f"engine is '{chosen}'; accepted: {', '.join(ENGINES)}")
    return chosen == "gpu" or (
        chosen == "auto" and shots >= CARD_FROM_SHOTS and card.why_not() == "")
