"""Lessons as files: pictures, motion, and one page that shows them all."""

from __future__ import annotations

import html
from collections.abc import Callable, Iterator
from pathlib import Path

from ..figures.film import film_shots, gif_bytes, html_text
from ..files import save_figure, write_bytes, write_text
from . import LESSONS, Lesson, lesson


def write_lesson(found: Lesson, folder: Path) -> list[Path]:
    """A lesson's pictures (.png) and, where balls roll in it, its motion (.gif and .html)."""
    out = [save_figure(draw(), folder / f"{found.name}-{name}.png")
           for name, draw in found.scene.pictures]
    if found.scene.shots:
        film = film_shots(found.scene.shots, title=found.title)
        out += [write_bytes(folder / f"{found.name}.gif", gif_bytes(film, slower=1.5)),
                write_text(folder / f"{found.name}.html", html_text(film))]
    return out


def write_all(folder: Path, report: Callable[[float, float], None] | None = None
              ) -> Iterator[Path]:
    """Every lesson's files, and `lessons.html` which shows them."""
    sections = []
    for n, name in enumerate(LESSONS):
        found = lesson(name)
        files = write_lesson(found, folder)
        yield from files
        sections.append(_section(found, files))
        if report is not None:
            report(n + 1, len(LESSONS))
    yield write_text(folder / "lessons.html", _PAGE.replace("SECTIONS", "\n".join(sections)))


def _section(found: Lesson, files: list[Path]) -> str:
    def paragraphs(text: str) -> str:
        return "".join(f"<p>{html.escape(' '.join(p.split()))}</p>" for p in text.split("\n\n"))

    answers = "".join(f"<li>{html.escape(a)}</li>" for a in found.answers)
    right = html.escape(found.answers[found.right])
    pictures = "".join(
        f'<img src="{html.escape(path.name)}" alt="{html.escape(found.title)}: '
        f'{html.escape(path.stem.removeprefix(found.name).strip("-") or "the balls roll")}">'
        for path in files if path.suffix in {".png", ".gif"})
    return (f'<section><h2 id="{found.name}">{html.escape(found.title)}</h2>'
            f'{paragraphs(found.question)}<ol type="a">{answers}</ol>'
            f"<details><summary>The answer</summary><p><strong>{right}</strong></p>"
            f"{paragraphs(found.happens)}{pictures}<h3>To try on a real lane</h3>"
            f"{paragraphs(found.experiment)}</details></section>")


_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Lessons</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
body { margin: 1rem auto; max-width: 62rem; padding: 0 1rem; font: 1.1rem/1.5 system-ui, sans-serif;
       background: #fbfaf7; color: #1c2230; }
img { max-width: 100%; height: auto; display: block; margin: .8rem 0; }
summary { cursor: pointer; padding: .5rem 0; font-weight: bold; }
section { border-top: 1px solid #6b7080; }
</style></head><body>
<h1>Why a ball does what it does</h1>
<p>Guess first, then open the answer. Every number was computed when this page was made; balls,
patterns and players are invented.</p>
SECTIONS
</body></html>
"""
