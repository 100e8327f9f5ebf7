"""`lanesim patterns`: list the oil patterns, show one, draw it, check a file, write its grid."""

from __future__ import annotations

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
@click.option("--hand", type=click.Choice(["right", "left"]), default="right", show_default=True,
              help="From which edge the picture numbers the boards.")
@c.json_option
def command(
    pattern: OilPattern | None,
    out: Path | None,
    grid: Path | None,
    checked: str | None,
    hand: str,
    as_json: bool,
) -> None:
    """List the oil patterns, or show one.

    PATTERN is the name of a shipped pattern or a pattern file. The ratio compares the middle
    (boards 18 to 18) with the outside (boards 3 to 7) of each side. One unit is 0.180 um of oil.

    \b
    lanesim patterns
    lanesim patterns medium-42 --out medium-42.png
    lanesim patterns --check my-pattern.oil
    """
    from ..catalog import load_pattern_named, pattern_names
    from ..errors import InputError
    from ..files import save_figure
    from ..lane.pattern import load_pattern, save_pattern

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


_HEADERS = ("pattern", "length\n[ft]", "oil\n[mL]", "ratio\nleft", "ratio\nright",
            "mean film\n[um]", "mean\n[units]", "viscosity\n[cP]", "title")


def _list(patterns: list[OilPattern], as_json: bool) -> None:
    if as_json:
        c.print_json([p.summary() for p in patterns])
        return
    rows = [
        (p.name, f"{p.length_ft:g}", c.number(p.total_ml), _ratio(p.ratio_left, 1),
         _ratio(p.ratio_right, 1), c.number(p.mean_film_um, 2), c.number(p.mean_units),
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
        ("ratio", f"{_ratio(p.ratio_left)} left, {_ratio(p.ratio_right)} right (boards 18-18 over "
                  "boards 3-7)"),
        ("mean film", f"{p.mean_film_um:.2f} um = {p.mean_units:.1f} units"),
        ("viscosity", f"{p.viscosity_cp:.1f} cP"),
        ("left and right", "alike" if p.is_symmetric else "differ"),
        ("invented", "yes, never measured on a lane" if p.invented else "no"),
    ]
    return [*facts, ("note", p.note)] if p.note else facts
