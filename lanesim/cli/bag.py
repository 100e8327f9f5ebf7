"""`lanesim bag`: which balls to take to an event, drilled and finished how."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..errors import InputError
from . import common as c

if TYPE_CHECKING:
    from ..bag.answers import BagPlan

FOLDER = "lanesim-bag"


@click.command("bag", short_help="Which balls to take to an event.")
@click.argument("event_file", metavar="[EVENT]", required=False)
@click.option("--check", is_flag=True,
              help="Read EVENT, say what stands in it, and stop: nothing is thrown.")
@click.option("--new", "new_file", metavar="FILE", type=click.Path(path_type=Path),
              help="Write an event with every key explained to FILE, to fill in.")
@click.option("--out", "folder", default=FOLDER, show_default=True, metavar="DIR",
              type=click.Path(path_type=Path), help="Folder for the report, tables and pictures.")
@click.option("--cache", "cache_folder", metavar="DIR", type=click.Path(path_type=Path),
              help="Folder that keeps shots between runs. [default: DIR/kept in the --out folder]")
@click.option("--no-cache", is_flag=True, help="Keep nothing and use nothing kept.")
@click.option("--resamples", type=click.IntRange(10, 10_000), default=100, show_default=True,
              help="How often the choice is repeated on resampled shots.")
@click.option("--margin", type=click.FloatRange(0, 300), metavar="PINS",
              help="List the bags this close to the best one. [default: 0.5 pins per game; "
                   "0.01 for a chance]")
@c.sampling_options("bag")
@c.json_option
def command(event_file: str | None, check: bool, new_file: Path | None, folder: Path,
            cache_folder: Path | None, no_cache: bool, resamples: int, margin: float | None,
            shots: int, seed: int, as_json: bool) -> None:
    """Judge every ball, layout and finish in every condition of EVENT and choose the best bag.

    EVENT is a TOML file: rounds, patterns, balls and limits; --new FILE writes one to fill in. The
    choice is proven the best for the values found. Shots are kept, so that a changed limit does
    not redo the rest and an interrupted run goes on.
    """
    from ..bag.event import load_event
    from ..files import check_folder

    if new_file is not None:
        if event_file is not None or check:
            raise InputError("--new FILE writes an event; give no EVENT and no --check with it")
        c.say_written(write_new(new_file))
        return
    if event_file is None:
        raise InputError("which event? give EVENT, a TOML file; --new FILE writes one to fill in")
    if no_cache and cache_folder is not None:
        raise InputError("give --cache or --no-cache, not both")
    event = load_event(event_file)
    if check:
        from ..bag.words import event_lines

        for line in event_lines(event):
            click.echo(line)
        return
    check_folder(folder)
    kept = None if no_cache else cache_folder or folder / "kept"
    if kept is not None:
        check_folder(kept)
    plan = make_plan(event, shots=shots, seed=seed, resamples=resamples, margin=margin, kept=kept)
    written = write_plan(plan, folder)
    c.say_weight(each.ball for each in event.candidates if not each.spares_only)
    if as_json:
        c.print_json(plan.to_dict() | {"files": [str(path) for path in written]})
        return
    print_plan(plan)
    for path in written:
        c.say_written(path)


def write_new(path: Path) -> Path:
    """An event to fill in, where there is none yet."""
    from ..catalog import DATA
    from ..files import read_text, write_text

    if path.suffix != ".toml":
        raise InputError(f"{path}: an event file's name ends in .toml")
    if path.exists():
        raise InputError(f"{path} is there already; nothing was written")
    return write_text(path, read_text(DATA / "new_event.toml", "event"))


def make_plan(event: Any, *, shots: int, seed: int, resamples: int, margin: float | None,
              kept: Path | None) -> BagPlan:
    """Run the study with progress."""
    from ..bag.cache import Cache
    from ..bag.plan import plan

    c.announce_compile("batch")
    with c.progress("Judging balls") as report:
        return plan(event, shots=shots, seed=seed, resamples=resamples, margin=margin,
                    cache=Cache(kept), progress=report)


def write_plan(plan: BagPlan, folder: Path) -> list[Path]:
    """Report, table, lists and pictures; returns what was written."""
    from ..bag.report import bag_page
    from ..bag.words import shop_text
    from ..figures import bag as figures
    from ..files import drawn, to_json, write_bytes, write_text

    pictures = [("ladder", drawn(figures.draw_ladder(plan))),
                ("lines", drawn(figures.draw_lines(plan))),
                ("gains", drawn(figures.draw_gains(plan))),
                ("pins", drawn(figures.draw_pins(plan)))]
    out = [write_text(folder / "report.html", bag_page(plan, pictures)),
           write_text(folder / "bag.csv", plan.to_csv()),
           write_text(folder / "bag.json", to_json(plan.to_dict()) + "\n"),
           write_text(folder / "shop.txt", shop_text(plan))]
    return out + [write_bytes(folder / f"bag-{name}.png", png) for name, png in pictures]


def print_plan(plan: BagPlan) -> None:
    """The plan on standard output."""
    from ..bag import words as w

    if w.invented(plan):
        click.echo(w.invented(plan))
    click.echo(w.headline(plan))
    click.echo(w.sure(plan))
    click.echo(f"model: {plan.event.provenance}")
    click.echo()
    c.print_table(*w.ball_table(plan), title="The bag", left=(0, 1, 2, 3))
    for line in w.findings(plan):
        click.echo(line)
    for one in plan.old_new:
        click.echo(w.old_new_sentence(plan, one))
    click.echo()
    c.print_table(*w.advice_table(plan), title="What to throw and where to start",
                  left=(0, 1, 2, 9))
    if plan.event.basis.offsets:
        click.echo(w.line_words(plan))
    if plan.trials:
        click.echo("To throw first in practice:")
        for trial in plan.trials:
            click.echo(f"  {w.trial_sentence(plan, trial)}")
    click.echo()
    c.print_table(*w.crack_table(plan), title="If a ball cannot come", left=(0, 1))
    click.echo()
    c.print_table(*w.choice_table(plan), title="The best bags", left=(0,))
    for line in w.certainty(plan)[1:]:
        click.echo(line)
    if plan.damaged_records:
        c.say(f"note: {plan.damaged_records} damaged record(s) in the cache were made anew")
    took = ", ".join(f"{name} {s:.1f} s" for name, s in plan.seconds.items())
    click.echo(f"{plan.judged.shots_thrown:,} shots thrown, {plan.judged.records_found} results "
               f"from the cache; time: {took}")
