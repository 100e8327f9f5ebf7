"""Lessons: one screen of plain words each, its numbers, pictures and motion computed on the spot.

A lesson is a text file in `text/` and a scene in `scenes/` of the same name. The text holds no
number of its own: `{name}` stands where a number or a comparing word of the scene goes, so that a
text cannot say what the computation does not. It has four parts, each under a line that begins
with "## ": a question to guess first, its possible answers (one a line, beginning with "- "), what
happens, and what to try on a real lane.
"""

from __future__ import annotations

import string
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import nearest_name

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ..lane.pattern import OilPattern
    from ..motion.trajectory import Trajectory

TEXTS = Path(__file__).parent / "text"
# lesson -> module in scenes/ that has a function of that name ("-" is "_" there); order of reading
LESSONS: dict[str, str] = {
    "skid-hook-roll": "release",
    "rotation-and-tilt": "release",
    "speed-and-revs": "release",
    "low-and-high-rg": "core",
    "differential": "core",
    "layouts": "core",
    "finish": "cover",
    "old-cover": "cover",
    "lengths": "lane",
    "drying-lane": "lane",
    "entry-angle": "pins",
    "room": "pins",
}
PARTS = ("guess", "answers", "what happens", "try it")


@dataclass(frozen=True)
class Scene:
    """What a lesson computes.

    Attributes
    ----------
    values : what stands for each `{name}` of the text, ready to be read.
    pictures : (file name without ending, function that draws it).
    shots : (label, path, pattern) of the balls that roll in the motion picture; may be empty.
    """

    values: dict[str, str]
    pictures: tuple[tuple[str, Callable[[], Figure]], ...] = ()
    shots: tuple[tuple[str, Trajectory, OilPattern], ...] = field(default=(), repr=False)


@dataclass(frozen=True)
class Lesson:
    """A lesson ready to be read: `answers[right]` is the right one."""

    name: str
    title: str
    question: str
    answers: tuple[str, ...]
    right: int
    happens: str
    experiment: str
    scene: Scene = field(repr=False)


def title(name: str) -> str:
    """The title of a lesson, without computing it.

    Raises
    ------
    InputError : no such lesson; names the nearest.
    """
    return _raw(name).splitlines()[0].lstrip("# ").strip()


def _raw(name: str) -> str:
    if name not in LESSONS:
        raise nearest_name(name, LESSONS, "lesson")
    return (TEXTS / f"{name}.md").read_text(encoding="utf-8")


def fields_of(text: str) -> set[str]:
    """Names in braces."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def lesson(name: str) -> Lesson:
    """Compute a lesson.

    The right answer is the one of the text's answers that the scene names in `right` (a, b, c,
    ...), so that it too follows from the computation.

    Raises
    ------
    InputError : no such lesson; names the nearest.
    """
    import importlib

    text = _raw(name)
    module = importlib.import_module(f"lanesim.lessons.scenes.{LESSONS[name]}")
    scene: Scene = getattr(module, name.replace("-", "_"))()
    parts = _parts(text.format(**scene.values))
    answers = tuple(line[2:].strip() for line in parts["answers"].splitlines()
                    if line.startswith("- "))
    return Lesson(name, title(name), parts["guess"], answers, "abcdef".index(scene.values["right"]),
                  parts["what happens"], parts["try it"], scene)


def _parts(text: str) -> dict[str, str]:
    """The text's parts by their headings."""
    out: dict[str, str] = {}
    for part in text.split("\n## ")[1:]:
        heading, _, body = part.partition("\n")
        out[heading.strip().lower()] = body.strip()
    missing = [name for name in PARTS if name not in out]
    if missing:
        raise ValueError(f"a lesson lacks the part '{missing[0]}'")
    return out
