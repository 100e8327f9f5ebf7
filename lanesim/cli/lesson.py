"""`lanesim lesson`: short lessons with numbers, pictures and motion computed on the spot."""

from __future__ import annotations

import sys
import textwrap
from pathlib import Path

import click

from . import common as c

FOLDER = "lanesim-lesson"
WIDTH = 96


@click.command("lesson", short_help="Short lessons: why a ball does what it does.")
@click.argument("name", required=False)
@click.option("--out", "folder", default=FOLDER, show_default=True, metavar="DIR",
              type=click.Path(path_type=Path), help="Folder for pictures and motion.")
@click.option("--no-pictures", is_flag=True, help="Only the words.")
@click.option("--all", "every", is_flag=True, help="All lessons, and a page that shows them.")
def command(name: str | None, folder: Path, no_pictures: bool, every: bool) -> None:
    """A lesson of one screen: a question to guess first, what happens, and what to try.

    Without NAME the lessons are listed. Every number in them is computed when you ask. In a
    terminal the answer waits until you press a key.

    \b
    lanesim lesson
    lanesim lesson lengths
    lanesim lesson --all --out lessons
    """
    from ..errors import InputError
    from ..files import check_folder
    from ..lessons import LESSONS, lesson, title

    if every and name:
        raise InputError("give a lesson's name or --all, not both")
    if every:
        check_folder(folder)
        c.announce_compile("batch")
        from ..lessons.gallery import write_all

        with c.progress("lessons", len(LESSONS)) as report:
            for path in write_all(folder, report):
                c.say_written(path)
        return
    if name is None:
        wide = max(map(len, LESSONS))
        click.echo("lanesim lesson NAME, one screen each:\n")
        for each in LESSONS:
            click.echo(f"  {each:<{wide}}  {title(each)}")
        return
    title(name)  # an unknown name is refused before any work
    if not no_pictures:
        check_folder(folder)
    c.announce_compile("batch")
    found = lesson(name)
    click.echo(f"{found.title}\n")
    _say(found.question)
    for letter, answer in zip("abcdef", found.answers, strict=False):
        click.echo(f"  {letter}) {answer}")
    click.echo()
    if sys.stdin.isatty() and sys.stdout.isatty():
        click.pause("Guess, then press a key ...")
    _say(f"It is {'abcdef'[found.right]}: {found.answers[found.right]}.")
    _say(found.happens)
    click.echo("To try on a real lane")
    _say(found.experiment)
    if not no_pictures:
        from ..lessons.gallery import write_lesson

        for path in write_lesson(found, folder):
            c.say_written(path)


def _say(text: str) -> None:
    for paragraph in text.split("\n\n"):
        click.echo(textwrap.fill(" ".join(paragraph.split()), WIDTH))
    click.echo()
