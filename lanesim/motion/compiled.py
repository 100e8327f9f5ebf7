"""Compiling the batch in a second process.

Compiling is most of a first run's time and uses one processor. A command that has something else
to do first lets `compiling_ahead` work beside it. And a long call into the compiler cannot be
interrupted, a process can: so `batch_kernel` too lets a second process do it and waits, and a
Ctrl-C ends both at once. The second process hands its work over on disk (`kernels.store`); should
it fail, this one compiles by itself.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numba
import numpy as np

from . import kernels as k
from .kernels.compiling import is_kept, store

_ahead: subprocess.Popen | None = None
_one_at_a_time = threading.Lock()
_PACKAGE = Path(__file__).parents[1]

# The very files that this process runs, and nothing of the working folder: -P keeps that off the
# path, and our package is loaded from its place instead of being looked for.
_CODE = f"""
import importlib.util, sys
spec = importlib.util.spec_from_file_location(
    "lanesim", sys.argv[1] + "/__init__.py", submodule_search_locations=[sys.argv[1]])
sys.modules["lanesim"] = importlib.util.module_from_spec(spec)
spec.loader.exec_module(sys.modules["lanesim"])
from {__name__} import compile_for_another
compile_for_another()
"""


def compile_batch() -> None:
    """Compile `kernels.throw_chunk` for the arrays that `batch.run` hands over, without a shot."""
    which, table, traces = np.zeros(1, np.int64), np.zeros((1, 1)), np.zeros((1, 1, 1))
    shots = paps = pars = film = pins = rows = numba.typeof(table)  # only the types matter
    compiled: Any = k.throw_chunk
    compiled.compile((shots, numba.typeof(which), paps, pars, film, pins, rows,
                           numba.typeof(traces), numba.typeof(0), numba.typeof(1)))


def compile_for_another() -> None:
    """The second process's work: compile the batch, unless the first one is gone.

    The first process holds the other end of standard input; when it ends, however it ends, that is
    closed and this process ends too, even in the middle of a call into the compiler.
    """

    def watch() -> None:
        sys.stdin.buffer.read()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
    compile_batch()


def _start() -> subprocess.Popen:
    nothing = subprocess.DEVNULL
    return subprocess.Popen([sys.executable, "-P", "-c", _CODE, str(_PACKAGE)],
                            stdin=subprocess.PIPE, stdout=nothing, stderr=nothing)


def _end(process: subprocess.Popen) -> None:
    process.kill()
    process.wait()
    if process.stdin is not None:
        process.stdin.close()


def _can_start() -> bool:
    return bool(sys.executable) and store().writable()


@contextmanager
def compiling_ahead() -> Iterator[None]:
    """Compile the batch's kernel in a second process, if that is due, while the body runs.

    `batch_kernel` waits for it.
    """
    global _ahead
    if is_kept(k.throw_chunk) or (os.cpu_count() or 1) < 2 or not _can_start():
        yield
        return
    _ahead = _start()
    try:
        yield
    finally:
        _end(_ahead)
        _ahead = None


def _loaded() -> bool:
    settings: Any = numba.config
    compiled: Any = k.throw_chunk
    return bool(settings.DISABLE_JIT) or bool(compiled.signatures)


def batch_kernel() -> Callable:
    """`kernels.throw_chunk`, compiled by a second process if it is not kept yet."""
    with _one_at_a_time:
        if _ahead is not None:
            _ahead.wait()
        elif not _loaded() and not is_kept(k.throw_chunk) and _can_start():
            process = _start()
            try:
                process.wait()
            finally:
                _end(process)
    return k.throw_chunk
