"""`lanesim patterns`: list the oil patterns, show one, draw it, check a file, write its grid."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from . import common as c

if TYPE_CHECKING:
    from ..lane.pattern import OilPattern


@click.command()
@click.argument("pattern", required=False, type=c.PatternName())
@c.picture_option("Draw the oil of PATTERN into FILE (.png, .svg or .pdf).")
@c.out_option("Write PATTERN to FILE (.oil) as a full grid, board by board and foot by foot.",
              "--expand", "grid", (".oil",))
@click.option("--check", "checked", metavar="FILE",
              help="Only check a pattern file: says what it holds, or what is wrong and where.")
@click.option("--from-tape", "tape", metavar="FILE",
              help="Make a pattern from tape readings: units on boards at several distances (a "
                   "small CSV table).")
@click.option("--scale-length", "length", type=int, metavar="FEET",
              help="Stretch the pattern to this length, films as thick as before.")
@click.option("--scale-volume", "volume", type=float, metavar="ML",
              help="Thin or thicken all its oil to this volume.")
@click.option("--hand", type=click.Choice(["right", "left"]), default="right", show_default=True,
              help="From which edge the picture numbers the boards.")
@c.json_option
def command(
    pattern: OilPattern | None,
    out: Path | None,
    grid: Path | None,
    checked: str | None,
    tape: str | None,
    length: int | None,
    volume: float | None,
    hand: str,
    as_json: bool,
) -> None:
    """List the oil patterns, or show one.

    PATTERN is the name of a shipped pattern or a pattern file. The ratio compares the middle five
    boards with boards 3 to 7 of each side. One unit is 0.180 um of oil.

    A table of tape readings names the boards (from the right edge; up to 20 alone: both halves
    alike) in its first line and has a line for each distance:
    \b
    feet, 2,  5, 10, 15, 20
    2,   13, 16, 30, 60, 64
    22,   5,  5,  8, 11, 11
    40,   3,  3,  3,  4,  4

    \b
    lanesim patterns
    lanesim patterns medium-42 --out medium-42.png
    lanesim patterns --check my-pattern.oil
    lanesim patterns medium-42 --scale-length 44 --scale-volume 27 --expand event.oil
    lanesim patterns --from-tape readings.csv --scale-volume 25 --expand event.oil
    """
    from ..catalog import load_pattern_named, pattern_names
    from ..errors import InputError
    from ..files import save_figure
    from ..lane.oil_file import load_pattern, save_pattern

    if tape is not None:
        if pattern is not None or checked is not None:
            raise InputError("--from-tape FILE stands alone: leave PATTERN and --check away")
        pattern, length = _from_tape(tape, length, volume), None
        volume = None
    elif (length is not None or volume is not None) and pattern is None:
        raise InputError("--scale-length and --scale-volume need a PATTERN or --from-tape FILE")
    if checked is not None:
        if pattern is not None or out is not None or grid is not None:
            raise InputError("--check FILE stands alone: leave PATTERN, --out and --expand away")
        pattern = load_pattern(checked)
    elif pattern is None:
        if out is not None or grid is not None:
            raise InputError("--out and --expand need a PATTERN; known: "
                             + ", ".join(pattern_names()))
        _list([load_pattern_named(name) for name in pattern_names()], as_json)
        return

    if length is not None or volume is not None:
        pattern = replace(pattern.scaled(length, volume), name=f"{pattern.name}-scaled",
                          note=pattern.note + _scaled_note(length, volume))
    files = []
    if out is not None:
        from ..figures.lane_view import draw_oil_map

        files.append(save_figure(draw_oil_map(pattern, hand=hand), out))
    if grid is not None:
        files.append(save_pattern(pattern, grid))
    if as_json:
        c.print_json(pattern.summary())
    else:
        click.echo(f"{checked} is in order" if checked else pattern.name)
        c.print_facts(_facts(pattern))
    for path in files:
        c.say_written(path)


def _from_tape(path: str, length: int | None, volume: float | None) -> OilPattern:
    from ..lane.tape import pattern_from_tape, read_tape

    tape = read_tape(path)
    name = Path(path).stem
    return pattern_from_tape(
        tape, name=name, title=f"From readings at {len(tape.feet)} distances", length_ft=length,
        volume_ml=volume, note=f"From tape readings on {len(tape.boards)} boards at "
        f"{len(tape.feet)} distances; joined in between." + _scaled_note(None, volume))


def _scaled_note(length: int | None, volume: float | None) -> str:
    words = [f"to {length:g} ft" if length is not None else "",
             f"to {volume:g} mL" if volume is not None else ""]
    return f" Scaled {' and '.join(w for w in words if w)}." if any(words) else ""


_HEADERS = ("pattern", "length\n[ft]", "oil\n[mL]", "ratio\nleft", "ratio\nright",
            "heads\n[units]", "mean\n[units]", "least\n[units]", "viscosity\n[cP]", "title")


def _list(patterns: list[OilPattern], as_json: bool) -> None:
    if as_json:
        c.print_json([p.summary() for p in patterns])
        return
    rows = [
        (p.name, f"{p.length_ft:g}", c.number(p.total_ml), _ratio(p.ratio_left, 1),
         _ratio(p.ratio_right, 1), c.number(p.head_units, 0), c.number(p.mean_units),
         c.number(p.least_units),
         c.number(p.viscosity_cp), p.title)
        for p in patterns
    ]
    c.print_table(_HEADERS, rows, left=(0, len(_HEADERS) - 1),
                  note="Invented patterns, never measured on a lane."
                  if all(p.invented for p in patterns) else "")


def _ratio(value: float, decimals: int = 2) -> str:
    return f"{c.number(value, decimals)}:1" if value == value else c.number(value)


def _facts(p: OilPattern) -> list[tuple[str, str]]:
    facts = [
        ("title", p.title),
        ("length", f"{p.length_ft:g} ft"),
        ("oil", f"{p.total_ml:.2f} mL, at most {float(p.volume_ul.max()):.1f} uL in a cell of one "
                "board by one foot"),
        ("ratio", f"{_ratio(p.ratio_left)} left, {_ratio(p.ratio_right)} right (the middle five "
                  "boards against boards 3 to 7)"),
        ("mean film", f"{p.mean_film_um:.2f} um = {p.mean_units:.1f} units"),
        ("heads", f"{p.head_units:.0f} units on the middle five boards over the first ten feet"),
        ("thinnest", f"{p.least_units:.1f} units on one board and foot of the oiled length"),
        ("viscosity", f"{p.viscosity_cp:.1f} cP"),
        ("left and right", "alike" if p.is_symmetric else "differ"),
        ("invented", "yes, never measured on a lane" if p.invented else "no"),
    ]
    return [*facts, ("note", p.note)] if p.note else facts
