"""What numba keeps of the kernels on disk, and compiling the batch's in a second process.

Compiling is most of a first run's time and uses one processor; a command that has something else
to do first lets `compiling_ahead` work beside it.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numba
import numpy as np

from . import kernels as k

_ahead: subprocess.Popen | None = None


def is_kept(kernel: Callable) -> bool:
    """Whether numba has this kernel on disk, or will not compile at all.

    numba names an index file 'module.function-line.*.nbi' and takes it as stale if the source is
    newer. A wrong guess costs a remark or a process in vain, nothing more.
    """
    if numba.config.DISABLE_JIT:
        return True
    source = Path(k.__file__)
    line = kernel.py_func.__code__.co_firstlineno
    found = Path(kernel.stats.cache_path).glob(f"{source.stem}.{kernel.__name__}-{line}.*.nbi")
    return any(index.stat().st_mtime >= source.stat().st_mtime for index in found)


def compile_batch() -> None:
    """Compile `kernels.throw_chunk` for the arrays that `batch.run` hands over, without a shot."""
    which, table, traces = np.zeros(1, np.int64), np.zeros((1, 1)), np.zeros((1, 1, 1))
    shots = paps = pars = film = pins = rows = numba.typeof(table)  # only the types matter
    k.throw_chunk.compile((shots, numba.typeof(which), paps, pars, film, pins, rows,
                           numba.typeof(traces), numba.typeof(0), numba.typeof(1)))


@contextmanager
def compiling_ahead() -> Iterator[None]:
    """Compile the batch's kernel in a second process, if that is due, while the body runs.

    `batch_kernel` waits for it. The second process hands its work over through numba's cache on
    disk; should it fail, this one compiles by itself.
    """
    global _ahead
    if is_kept(k.throw_chunk) or (os.cpu_count() or 1) < 2 or not sys.executable:
        yield
        return
    # the very files that this process runs, whatever lies in the working folder: numba keeps
    # what it compiled by their place
    root = str(Path(__file__).parents[2])
    code = (f"import sys; sys.path.insert(0, {root!r}); "
            f"from {__name__} import compile_batch; compile_batch()")
    nothing = subprocess.DEVNULL
    _ahead = subprocess.Popen([sys.executable, "-c", code], stdin=nothing, stdout=nothing,
                              stderr=nothing)
    try:
        yield
    finally:
        _ahead.kill()
        _ahead.wait()
        _ahead = None


def batch_kernel() -> Callable:
    """`kernels.throw_chunk`, after a compilation that is under way in a second process."""
    if _ahead is not None:
        _ahead.wait()
    return k.throw_chunk
