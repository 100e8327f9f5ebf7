"""How pictures are wanted: a style, and a title of the user's own.

A command says so once and every picture drawn meanwhile follows. Nothing here needs matplotlib.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

STYLES = ("screen", "projector", "print", "grey")


@dataclass(frozen=True)
class Wanted:
    """style : one of STYLES; title : instead of each picture's own; "" keeps it."""

    style: str = "screen"
    title: str = ""


_AS_USUAL = Wanted()
_NOW: ContextVar[Wanted] = ContextVar("wanted", default=_AS_USUAL)


def wanted() -> Wanted:
    """What is asked for now."""
    return _NOW.get()


@contextmanager
def pictures(style: str = "screen", title: str = "") -> Iterator[None]:
    """All pictures drawn inside are made so."""
    token = _NOW.set(Wanted(style, title))
    try:
        yield
    finally:
        _NOW.reset(token)
