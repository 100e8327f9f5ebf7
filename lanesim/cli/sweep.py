"""`lanesim sweep`: a grid over one or more settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ..errors import InputError, nearest_name
from . import common as c

if TYPE_CHECKING:
    from ..studies.sweep import Sweep

_MOST_COLUMNS = 12  # of the printed table; beyond it the table would not fit a terminal
_MOST_ROWS = 40


@click.command()
@click.option("--over", "over", multiple=True, metavar="NAME=VALUES",
              help="Setting to vary, as NAME=LOW:HIGH:COUNT or NAME=VALUE,VALUE,... Repeat it for "
                   "a grid. Names: speed, revs, rotation, tilt, laydown, angle, pin (pin to PAP), "
                   "drilling (drilling angle), finish (a list of grits and 'polish'), rg, "
                   "differential, intermediate (differentials, in), cover (a list of kinds), "
                   "length (of the oil, ft), volume (of the oil, mL).  "
                   "[default: speed=16:20:9 and revs=250:450:9]")
@c.ball_option
@c.pattern_option
@c.release_options
@c.fitted_option
@click.option("--show", default="entry_board", show_default=True, metavar="MEASURE",
              help="What the table and the picture show: entry_board, entry_angle_deg, "
                   "entry_speed_mph, entry_rev_rpm, entry_slip_ms, breakpoint_board, "
                   "breakpoint_ft, hook_ft, roll_ft, revolutions, flare_in or time_s.")
@c.picture_option("Draw a heat map (two settings) or a curve (one) into FILE (.png, .svg or .pdf).")
@c.csv_option("Write every point with all measures to FILE (.csv).")
@c.json_option
@click.pass_context
def command(ctx, over, ball, pattern, release, basis, show, out, csv, as_json) -> None:
    """Throw a whole grid over speed, rev rate, angle, layout, finish, core, cover, oil, ...

    With --target, a swept laydown keeps its target; with --angle it keeps its angle. Offsets of a
    --fitted file are added where a setting is not swept.

    \b
    lanesim sweep --over speed=16:20:9 --over revs=250:450:9 --out speed-revs.png
    lanesim sweep --over laydown=18:30:13 --over angle=-5:0:11 --csv grid.csv
    lanesim sweep --over finish=500,1000,2000,4000,polish --show hook_ft
    lanesim sweep --over length=36:46:6 --over volume=18:30:5 --show entry_angle_deg
    """
    from ..studies.sweep import MEASURES, check_grid, parse_axis, sweep

    if show not in MEASURES:
        raise nearest_name(show, MEASURES, "measure")
    axes = [parse_axis(text) for text in over or ("speed=16:20:9", "revs=250:450:9")]
    if out is not None and len(axes) > 2:
        raise InputError(f"a picture shows one or two settings, not {len(axes)}; write --csv FILE")
    text = ctx.params["target"]
    target = None if text is None else c.parse_target(text)
    check_grid(ball, release, pattern, axes, target)
    c.announce_compile("batch")
    with c.progress("throwing") as report:
        found = sweep(ball, release, pattern, axes, target=target, friction=basis.friction,
                      progress=report)
    files = _write(found, ball, pattern, show, out, csv)
    words = basis.provenance([ball], [pattern])
    if as_json:
        c.print_json(found.to_dict() | {"provenance": words})
    else:
        _print(found, show, words)
        if target is not None and "laydown" in (axis.setting.name for axis in axes):
            click.echo(f"each laydown is aimed at {text}: the launch angle goes with it")
    for path in files:
        c.say_written(path)


def _print(found: Sweep, show: str, words: str) -> None:
    from ..studies.sweep import MEASURES

    title, unit = MEASURES[show]
    click.echo(f"{found.ball} on {found.pattern}; where not varied: "
               f"{c.release_words(found.release)}")
    click.echo(f"model: {words}")
    counts = ", ".join(f"{name} {n}" for name, n in found.counts().items() if n)
    click.echo(f"{found.outcome.size} points: {counts}\n")
    values = found.values[show]
    if len(found.axes) > 2 or found.shape[0] > _MOST_ROWS or (
        len(found.axes) == 2 and found.shape[1] > _MOST_COLUMNS
    ):
        click.echo("too many points for a table; --csv FILE holds them all")
        return
    places = 2 if unit in {"deg", "s", "m/s", "in"} else 1
    first = found.axes[0]
    stub = f"{first.setting.name}\n[{first.setting.unit}]"
    rows_of = values.reshape(found.shape[0], -1)
    hit = (found.outcome == 0).reshape(rows_of.shape)
    rows = [
        [label, *(c.number(value, places) + ("*" if pocket else " ")
                  for value, pocket in zip(row, hits, strict=True))]
        for label, row, hits in zip(first.labels, rows_of, hit, strict=True)
    ]
    if len(found.axes) == 1:
        heads = [stub, f"{title}\n[{unit}] "]
    else:
        second = found.axes[1]
        heads = [stub, *(f"{second.setting.name if not n else ''}\n{label} "
                         for n, label in enumerate(second.labels))]
    c.print_table(heads, rows, title=f"{title} [{unit}]; * = pocket", left=())


def _write(found: Sweep, ball, pattern, show: str, out, csv) -> list:
    """Draw first, then write: a drawing that fails leaves no file behind."""
    from ..files import write_text

    figure = None
    if out is not None:
        from ..figures.heat import draw_sweep

        figure = draw_sweep(found, show,
                            note=f"Where not varied: {c.release_words(found.release)}")
    files = []
    if figure is not None:
        files += c.save_pictures([(out, figure)], [ball], [pattern])
    if csv is not None:
        files.append(write_text(csv, found.to_csv()))
    return files
