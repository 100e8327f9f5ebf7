"""How long work tells how far it is."""

from __future__ import annotations

from collections.abc import Callable

# Called with (done, total) in the work's own unit; total may change as the work goes on.
Progress = Callable[[float, float], None]


def silent(done: float, total: float) -> None:
    """The progress of work that nobody watches."""
