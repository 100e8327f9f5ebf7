"""`lanesim compare`: several balls, layouts, finishes or patterns under one release."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ..errors import InputError
from . import common as c

if TYPE_CHECKING:
    from ..studies.compare import Comparison

MAX_DRAWN = 8  # more paths than that are not told apart

# (measure, heading, decimals) of the printed table
COLUMNS = (
    ("hook_ft", "hook\n[ft]", 1),
    ("roll_ft", "roll\n[ft]", 1),
    ("breakpoint_board", "break-\npoint\n[board]", 1),
    ("breakpoint_ft", "at\n[ft]", 1),
    ("late_board", "at\n59 ft\n[board]", 1),
    ("late_angle_deg", "angle\n[deg]", 2),
    ("entry_board", "entry\n[board]", 1),
    ("entry_speed_mph", "speed\n[mph]", 1),
    ("total_flare_in", "flare\n[in]", 1),
)


@click.command()
@c.balls_option
@c.layouts_option
@c.finishes_option
@c.patterns_option
@click.option("--over", "over", multiple=True, metavar="NAME=VALUES",
              help="Another setting of ball or oil to vary, as NAME=VALUE,VALUE,... or "
                   "NAME=LOW:HIGH:COUNT: rg, differential, intermediate [in], cover, pin, "
                   "drilling, length [ft], volume [mL]. Repeat for several.")
@c.player_options
@c.fitted_option
@c.sampling_options("compare")
@c.picture_option("Draw the paths, one lane per pattern, with strike and pocket rates, into "
                  "FILE (.png, .svg or .pdf).")
@c.out_option("Draw speed, slip, friction, rotation, tilt and film along the lane into FILE.",
              "--curves", "curves")
@c.csv_option("Write values and differences to FILE (.csv).")
@c.json_option
def command(
    balls, layouts, finishes, patterns, over, player, basis, shots, seed, out, curves, csv, as_json,
) -> None:
    """Throw one release with several balls, layouts, finishes or patterns.

    Each --ball, --layout, --finish, --pattern and --over can be repeated; all combinations are
    thrown. The first one is the reference: the second table gives the others' differences from
    it, the third what the player's spread makes of each on this line. 'lanesim odds' finds their
    own lines.

    \b
    lanesim compare --pattern medium-39 --pattern long-45
    lanesim compare --finish 1000 --finish polish --out finishes.png
    lanesim compare --ball strong-solid --ball weak-pearl --ball plastic-spare
    lanesim compare --over rg=2.48,2.56 --over length=39,45
    """
    from ..studies.compare import compare, make_variants
    from ..studies.settings import parse_axis

    variants = make_variants(balls, patterns, layouts, finishes,
                             [parse_axis(text) for text in over])
    if (out or curves) and len(variants) > MAX_DRAWN:
        raise InputError(f"{len(variants)} paths are too many for one picture; accepted: up to "
                         f"{MAX_DRAWN}")
    c.announce_compile()
    c.announce_compile("batch")
    with c.progress("throwing", len(variants)) as report:
        found = compare(variants, player.release, spread=player.spread, shots=shots, seed=seed,
                        friction=basis.friction, progress=report)
    words = basis.provenance([v.ball for v in variants], [v.pattern for v in variants])
    files = _write(found, out, curves, csv)
    if as_json:
        c.print_json(found.to_dict()
                     | {"spread_source": player.spread_source, "provenance": words})
    else:
        _print(found, words, player.spread_source)
    if found.with_pins:
        c.say_weight(v.ball for v in found.variants)
    for path in files:
        c.say_written(path)


def _print(found: Comparison, words: str, spread_source: str) -> None:
    click.echo(f"release: {c.release_words(found.release)}")
    fixed = found.variants[0]
    if len({v.ball.name for v in found.variants}) == 1:
        click.echo(f"ball: {fixed.ball.name}")
    if len({v.pattern.name for v in found.variants}) == 1:
        click.echo(f"pattern: {fixed.pattern.name} ({c.pattern_words(fixed.pattern)})")
    click.echo(f"model: {words}")
    click.echo()
    heads, rows = value_table(found)
    c.print_table(heads, rows, left=(0, len(heads) - 1))
    click.echo()
    differences = found.differences()
    rows = [
        [label, *(c.signed(differences[name][n], places) for name, _, places in COLUMNS)]
        for n, label in enumerate(found.labels) if n
    ]
    c.print_table(heads[:-1], rows, title=f"Difference from {found.labels[0]}:",
                  note="A '-' has no value: a ball that never rolls, or touches no pin.")
    click.echo()
    heads, rows = rate_table(found)
    c.print_table(heads, rows, left=(0, len(heads) - 1) if found.with_pins else (0,),
                  title=f"{found.shots:,} shots each, nobody moves; spread: {spread_source}",
                  note="In brackets: 95 % intervals; differences are paired (the same shots).\n"
                       + (c.PINS_NOTE if found.with_pins else ""))


def rate_table(found: Comparison) -> tuple[list[str], list[list[str]]]:
    """Headings and cells of what the spread makes of each variant."""
    heads = ["", "pocket\n[%]", "from the first\n[points]"]
    if found.with_pins:
        heads += ["strikes\n[%]", "from the first\n[points]", "pins per\ngame",
                  "likeliest leaves\n[%]"]
    rows = []
    for n, (label, judged) in enumerate(zip(found.labels, found.judged, strict=True)):
        row = [label, judged.line.pocket.text().replace(" %", ""), _gain(found, n, "pocket")]
        if found.with_pins and judged.pins is not None:
            row += [c.strike_text(judged.pins), _gain(found, n, "strike"),
                    c.game_text(judged.pins), c.leaves_text(judged.pins)]
        rows.append(row)
    return heads, rows


def _gain(found: Comparison, n: int, measure: str) -> str:
    gain = found.gain(n, measure)
    if n == 0 or gain is None:
        return "-"
    return (f"{c.signed(100 * gain.value)} ({c.signed(100 * gain.low)} to "
            f"{c.signed(100 * gain.high)})")


def value_table(found: Comparison) -> tuple[list[str], list[list[str]]]:
    """Headings and cells of the values, a row per variant, the outcome last."""
    heads = ["", *(head for _, head, _ in COLUMNS), "outcome"]
    rows = [
        [label, *(c.number(found.values[name][n], places) for name, _, places in COLUMNS),
         found.outcomes[n]]
        for n, label in enumerate(found.labels)
    ]
    return heads, rows


def _write(found: Comparison, out, curves, csv) -> list:
    """Draw first, then write: a drawing that fails leaves no file behind."""
    from ..files import write_text

    drawn = []
    if out is not None:
        drawn.append((out, draw(found)))
    if curves is not None:
        from ..figures.curves import draw_curves

        drawn.append((curves, draw_curves(found.trajectories, found.labels,
                                          note=c.release_words(found.release))))
    files = c.save_pictures(drawn, [v.ball for v in found.variants],
                            [v.pattern for v in found.variants])
    if csv is not None:
        files.append(write_text(csv, found.to_csv()))
    return files


def draw(found: Comparison, title: str = ""):
    """Paths on one lane if all share its pattern, else a lane for each; rates under them."""
    from ..figures.compare import draw_comparison

    return draw_comparison(found, title=title, note=c.release_words(found.release))
