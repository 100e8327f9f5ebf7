"""Long work in a command: a progress bar, and a word before the kernels are compiled."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator

from .printing import say


@contextlib.contextmanager
def progress(text: str, total: float | None = None) -> Iterator[Callable[..., None]]:
    """A progress bar on standard error, on a terminal only.

    Yields `report(done, total=None)`, the callback that studies take.
    """
    if not sys.stderr.isatty():
        yield lambda done, total=None: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    bar = Progress(TextColumn("{task.description}"), BarColumn(),
                   TextColumn("{task.percentage:>3.0f} %"), TimeRemainingColumn(),
                   console=Console(stderr=True), transient=True)
    with bar:
        task = bar.add_task(text, total=total)

        def report(done: float, total: float | None = None) -> None:
            bar.update(task, completed=done, total=total)

        yield report


_COMPILE_SECONDS = {"path": 5, "batch": 20}  # processor time, measured on a two-core machine
_announced: set[str] = set()


def announce_compile(kind: str = "path") -> None:
    """Say, before a first run, that the kernels are about to be compiled, and about how long.

    kind : 'path' for `trajectory.throw`, 'batch' for `trajectory.throw_many`. Silent when numba's
    cache on disk already holds what will be called.
    """
    from ..motion import kernels
    from ..motion.compiled import is_kept

    kernel = kernels.slide_rates if kind == "path" else kernels.throw_chunk
    if kind not in _announced and not is_kept(kernel):
        say(f"compiling the ball-motion kernels, about {_COMPILE_SECONDS[kind]} s, once")
    _announced.add(kind)
