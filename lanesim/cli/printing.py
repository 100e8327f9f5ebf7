"""What the commands print: nouns in words, numbers, tables, JSON on standard output; remarks on
standard error.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..errors import shown

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ..equipment.ball import Ball
    from ..lane.pattern import OilPattern
    from ..pins.outcomes import PinResult
    from ..player import Release


# --- nouns in words ------------------------------------------------------------------------


def ball_words(ball: Ball) -> str:
    """What a ball is, in a line: weight, cover, finish, core, layout."""
    from ..equipment.layout import layout_text

    core = (f"RG {ball.rg_in:g} in, differential {ball.diff_in:g} in"
            + (f", intermediate {ball.int_diff_in:g} in" if ball.int_diff_in else ""))
    used = f", {ball.cover.games_total:g} games old" if ball.cover.games_total else ""
    return (f"{ball.weight_lb:g} lb, {ball.cover.kind}, {ball.cover.finish}{used}, {core}, "
            f"{layout_text(ball.layout)}")


def release_words(release: Release) -> str:
    """A release in a line, units included."""
    return (f"{spin_words(release)}, laydown board {_short(release.laydown_board)}, launch "
            f"{release.launch_angle_deg:.2f} deg, "
            + (f"loft {_short(release.loft_ft)} ft, " if release.loft_ft else "")
            + f"{release.hand}-handed")


def spin_words(release: Release) -> str:
    """Speed, rev rate, rotation and tilt of a release."""
    return (f"{_short(release.speed_mph)} mph, {_short(release.rev_rpm)} rpm, rotation "
            f"{_short(release.rotation_deg)} deg, tilt {_short(release.tilt_deg)} deg")


def _short(value: float) -> str:
    return f"{round(value, 2):g}"


def pattern_words(pattern: OilPattern) -> str:
    """A pattern in a line: length, volume, ratios."""
    ratios = "/".join(number(r, 1) for r in (pattern.ratio_left, pattern.ratio_right))
    return (f"{pattern.length_ft:g} ft, {pattern.total_ml:.1f} mL, {pattern.mean_units:.1f} units, "
            f"ratio left/right {ratios}")


# --- numbers -------------------------------------------------------------------------------


def number(value: float, decimals: int = 1, missing: str = "-") -> str:
    """A number for a table; `missing` where there is none (NaN or None)."""
    if value is None or value != value:
        return missing
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def signed(value: float, decimals: int = 1, missing: str = "-") -> str:
    """A difference for a table, with its sign."""
    text = number(value, decimals, missing)
    return text if text == missing or text.startswith("-") or float(text) == 0 else f"+{text}"


def strike_text(pins: PinResult, decimals: int = 1) -> str:
    """Strike rate [%] with its interval, like '31.2 (29.8-32.6)'."""
    rate, low, high = (f"{100 * v:.{decimals}f}"
                       for v in (pins.strike_rate, pins.strike_low, pins.strike_high))
    return f"{rate} ({low}-{high})"


def game_text(pins: PinResult) -> str:
    """Pins per game with the ends of the strike interval, like '172 (169-175)'."""
    return f"{pins.pins_per_game:.0f} ({pins.game_low:.0f}-{pins.game_high:.0f})"


def leaves_text(pins: PinResult, count: int = 3) -> str:
    """The likeliest leaves with their share of first balls [%], like '10 8.1; 7 4.0'."""
    return "; ".join(f"{'all ten' if leave.count('-') == 9 else leave} {100 * share:.1f}"
                     for leave, share in pins.leaves(count))


PINS_NOTE = ("Strikes: 95 % intervals of the shots and of the table of simulated hits. Leaves: "
             "share of first balls [%].\n"
             "Pins per game: from such shots alone, leaves made at published (professionals') or "
             "simulated rates.")


def say_weight(balls: Iterable[Ball]) -> None:
    """Remark (standard error) if strikes are told of balls that the carry table does not know."""
    from ..pins.outcomes import weight_remark
    from ..studies.odds import has_carry_table

    words = weight_remark(ball.weight_lb for ball in balls) if has_carry_table() else ""
    if words:
        say(f"note: {words}")


def print_json(value: Any) -> None:
    """JSON of dicts, lists, arrays and dataclasses on standard output, in UTF-8 (RFC 8259)."""
    from ..files import to_json

    click.echo(to_json(value).encode("utf-8"))


def print_table(
    headers: Sequence[str],
    rows: Sequence[Sequence[Any]],
    *,
    title: str = "",
    note: str = "",
    left: Sequence[int] = (0,),
) -> None:
    """A table on standard output: drawn by rich on a terminal, plain aligned text elsewhere.

    headers : may hold a line break (the unit on the second line).
    left : indices of the columns set flush left; the others are flush right.
    """
    cells = [[str(cell) for cell in row] for row in rows]
    if title:
        click.secho(title, bold=True)
    if not (sys.stdout.isatty() and _rich_table(headers, cells, set(left))):
        click.echo(plain_table(headers, cells, left))
    if note:
        click.echo(note)


def plain_table(
    headers: Sequence[str], rows: Sequence[Sequence[str]], left: Sequence[int] = (0,)
) -> str:
    """The table as aligned text without colours."""
    tall = max((header.count("\n") for header in headers), default=0) + 1
    heads = [([""] * tall + header.split("\n"))[-tall:] for header in headers]
    lines = [[head[n] for head in heads] for n in range(tall)] + [list(row) for row in rows]
    wide = [max(len(line[c]) for line in lines) for c in range(len(headers))]

    def text(line: Sequence[str]) -> str:
        return "  ".join(
            cell.ljust(wide[c]) if c in left else cell.rjust(wide[c])
            for c, cell in enumerate(line)
        ).rstrip()

    rule = "  ".join("-" * w for w in wide)
    return "\n".join([*map(text, lines[:tall]), rule, *map(text, lines[tall:])])


def _rich_table(headers: Sequence[str], rows: Sequence[Sequence[str]], left: set[int]) -> bool:
    """Draw it by rich and return True, unless the terminal is too narrow for whole cells."""
    from rich import box
    from rich.console import Console
    from rich.measure import Measurement
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for c, header in enumerate(headers):
        table.add_column(Text(header), justify="left" if c in left else "right", no_wrap=True)
    for row in rows:
        table.add_row(*map(Text, row))
    console = Console()
    wanted = Measurement.get(console, console.options.update(max_width=10_000), table)
    if wanted.maximum > console.width:
        return False
    console.print(table)
    return True


def print_facts(pairs: Sequence[tuple[str, str]], *, title: str = "") -> None:
    """Name and value, one pair a line, on standard output."""
    if title:
        click.secho(title, bold=True)
    wide = max(len(name) for name, _ in pairs)
    for name, value in pairs:
        click.echo(f"  {name.ljust(wide)}  {value}")


def say(text: str) -> None:
    """A remark on standard error: never in the way of JSON or a table."""
    click.echo(text, err=True)


def save_pictures(
    pictures: Sequence[tuple[Path, Figure]], balls: Iterable[Ball] = (),
    patterns: Iterable[OilPattern] = (),
) -> list[Path]:
    """Write figures about these balls and patterns; what of them is invented stands in each."""
    from ..catalog import invented_words
    from ..files import save_figure

    if not pictures:
        return []
    from ..figures.style import stamp

    words = invented_words(balls, patterns)
    return [save_figure(stamp(figure, words), path) for path, figure in pictures]


def say_written(path: Path) -> None:
    """Tell which file was written (standard error)."""
    say(f"wrote {shown(path)}")
