"""One colour, dash and marker per ball, the same in every picture.

A shipped ball has its own; any other ball gets one from its name, the same on every machine and in
every run. Where two balls of one picture would look alike, the later one takes the next that is
free, so that a picture never shows two alike. The looks differ in lightness, dash and marker as
well as in hue: they are told apart in a grey print and by colour-blind eyes.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from .style import PAPER, SERIES


@dataclass(frozen=True)
class Look:
    """How one ball is drawn: colour, dash of its lines and marker of its points."""

    color: str
    dash: Any
    marker: str

    def line(self, *, markers: bool = False) -> dict[str, Any]:
        """Keyword arguments for `Axes.plot`."""
        style: dict[str, Any] = {"color": self.color, "linestyle": self.dash}
        if markers:
            style |= {"marker": self.marker, "markeredgecolor": PAPER, "markeredgewidth": 0.7}
        return style


def look_of(name: str) -> Look:
    """The look of one ball, alone in a picture."""
    return looks([name])[0]


def looks(names: Sequence[str]) -> list[Look]:
    """A look for each name, all different up to as many as there are colours.

    A name that comes again (one ball, drilled or finished in two ways) gets a second look; beyond
    the last colour they come round again with other dashes.
    """
    count = len(SERIES)
    wanted = [_slot(name) for name in names]
    owner: dict[int, int] = {}
    for i, slot in enumerate(wanted):
        owner.setdefault(slot, i)
    free = [slot for slot in range(count) if slot not in owner]
    out = []
    taken = {(slot, 0) for slot in owner} | {(slot, 0) for slot in free}
    later = 0
    for i, slot in enumerate(wanted):
        turn = 0
        if owner[slot] != i:
            if later < len(free):
                # the next free one from its own on, so that order matters as little as it can
                place = min(range(later, len(free)), key=lambda k: (free[k] - slot) % count)
                free[later], free[place] = free[place], free[later]
                slot = free[later]
            else:
                # colours come round again: the first with a dash that no other has with it
                slot, turn = next(
                    pair for step in range(count * count)
                    if (pair := ((slot + step) % count, 1 + step // count)) not in taken)
                taken.add((slot, turn))
            later += 1
        color, _, marker = SERIES[slot]
        out.append(Look(color, SERIES[(slot + turn) % count][1], marker))
    return out


def looks_by_lane(balls: Sequence[str], lanes: Sequence[str]) -> list[Look]:
    """A look for each path where every lane is drawn apart: a ball keeps its look on all of them.

    balls, lanes : the ball of each path, and the name of the lane it is drawn on.
    """
    keys: list[tuple[str, int]] = []
    for i, (ball, lane) in enumerate(zip(balls, lanes, strict=True)):
        before = sum(b == ball and at == lane for b, at in zip(balls[:i], lanes[:i], strict=True))
        keys.append((ball, before))
    each = list(dict.fromkeys(keys))
    found = dict(zip(each, looks([ball for ball, _ in each]), strict=True))
    return [found[key] for key in keys]


def _slot(name: str) -> int:
    from ..catalog import ball_names

    shipped = ball_names()
    if name in shipped:
        return shipped.index(name) % len(SERIES)
    return zlib.crc32(name.encode()) % len(SERIES)
