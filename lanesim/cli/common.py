"""What the commands share: options, reading inputs, tables, progress.

A command module declares its options with the decorators here and receives nouns, not strings:

    @click.command()
    @ball_option
    @pattern_option
    @release_options          # -> release: Release
    @json_option              # -> as_json: bool
    def command(ball, pattern, release, as_json): ...

`player_options` gives `player: Player` (a release and its spread) instead, `sampling_options`
gives `shots` and `seed`, `fitted_option` puts a fit's values in the place of the assumed ones.
Heavy imports stay inside functions.
"""

from __future__ import annotations

import contextlib
import functools
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..errors import InputError

if TYPE_CHECKING:
    from ..equipment.ball import Ball
    from ..equipment.layout import Layout
    from ..fit.fitted import Basis
    from ..lane.pattern import OilPattern
    from ..pins.outcomes import PinResult
    from ..player import Player, Release

DEFAULT_BALL = "strong-solid"
DEFAULT_PATTERN = "medium-42"
LEVEL_NAMES = ("elite", "220", "200", "180", "160")
DEFAULT_LEVEL = "200"
PICTURE_KINDS = (".png", ".svg", ".pdf")

# The release a command uses where neither an option nor a player file says otherwise. Speed and
# rev rate: means of professional men (read, 2020); rotation and tilt: within what is coached and
# common; laydown and angle: a line that finds the pocket on medium-42 (our own computation).
DEFAULT_RELEASE: dict[str, float] = {
    "speed_mph": 18.6,
    "rev_rpm": 436.0,
    "rotation_deg": 45.0,
    "tilt_deg": 15.0,
    "laydown_board": 24.0,
    "launch_angle_deg": -2.8,
}


# --- reading inputs ------------------------------------------------------------------------


class BallName(click.ParamType):
    """A shipped ball's name, FILE.toml or FILE.toml:NAME, made a `Ball`."""

    name = "BALL"

    def convert(self, value: Any, param: Any, ctx: Any) -> Any:
        """Load and validate."""
        if not isinstance(value, str):
            return value
        from ..catalog import load_ball

        return load_ball(value)


class PatternName(click.ParamType):
    """A shipped pattern's name or a file, made an `OilPattern`."""

    name = "PATTERN"

    def convert(self, value: Any, param: Any, ctx: Any) -> Any:
        """Load and validate."""
        if not isinstance(value, str):
            return value
        from ..catalog import load_pattern_named

        return load_pattern_named(value)


class LayoutText(click.ParamType):
    """A layout as DRILLINGxPINxVAL, as in 50x4.5x30, made a `Layout`."""

    name = "LAYOUT"

    def convert(self, value: Any, param: Any, ctx: Any) -> Any:
        """Parse and validate."""
        return parse_layout(value) if isinstance(value, str) else value


class FinishText(click.ParamType):
    """A finish, 'polish' or a grit, made (grit, polished)."""

    name = "FINISH"

    def convert(self, value: Any, param: Any, ctx: Any) -> Any:
        """Parse and validate."""
        if not isinstance(value, str):
            return value
        from ..equipment.cover import parse_finish

        return parse_finish(value)


class OutputFile(click.ParamType):
    """A file to write, refused before any work if it could not be written.

    kinds : accepted endings; empty: any.
    """

    name = "FILE"

    def __init__(self, kinds: Sequence[str] = ()) -> None:
        self.kinds = tuple(kinds)

    def convert(self, value: Any, param: Any, ctx: Any) -> Path:
        """Check the ending and that the folder can take a file."""
        path = Path(value)
        if self.kinds and path.suffix.lower() not in self.kinds:
            raise InputError(f"cannot write {path}: the name must end in {_either(self.kinds)}")
        check_writable(path)
        return path


def check_writable(path: Path) -> None:
    """Raise InputError if a file could not be written at `path` (missing folders are made)."""
    if path.is_dir():
        raise InputError(f"cannot write {path}: it is a folder")
    check_folder(path.parent)


def check_folder(folder: Path) -> None:
    """Raise InputError if `folder` is not there as a folder we can write to and cannot be made."""
    present = folder
    while not present.exists() and present != present.parent:
        present = present.parent
    if not present.is_dir():
        raise InputError(f"cannot write to {folder}: {present} is not a folder")
    if not os.access(present, os.W_OK | os.X_OK):
        raise InputError(f"cannot write to {folder}: permission denied")


def _either(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def parse_layout(text: str) -> Layout:
    """Read a layout written DRILLINGxPINxVAL (degrees, inches, degrees), as in '50x4.5x30'."""
    from ..equipment.layout import Layout

    parts = text.lower().replace("×", "x").split("x")
    try:
        drilling, pin, val = (float(part) for part in parts)
    except ValueError:
        raise InputError(
            f"layout '{text}' is not understood; accepted: drilling angle [deg] x pin-to-PAP [in] "
            "x VAL angle [deg], as in 50x4.5x30"
        ) from None
    return Layout(drilling, pin, val)


def ball_words(ball: Ball) -> str:
    """What a ball is, in a line: weight, cover, finish, core, layout."""
    core = (f"RG {ball.rg_in:g} in, differential {ball.diff_in:g} in"
            + (f", intermediate {ball.int_diff_in:g} in" if ball.int_diff_in else ""))
    used = f", {ball.cover.games_total:g} games old" if ball.cover.games_total else ""
    return (f"{ball.weight_lb:g} lb, {ball.cover.kind}, {ball.cover.finish}{used}, {core}, "
            f"layout {layout_text(ball.layout)}")


def release_words(release: Release) -> str:
    """A release in a line, units included."""
    return (f"{spin_words(release)}, laydown board {_short(release.laydown_board)}, launch "
            f"{release.launch_angle_deg:.2f} deg, {release.hand}-handed")


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


def layout_text(layout: Layout) -> str:
    """The layout as options and tables write it."""
    return (f"{layout.drilling_angle_deg:g}x{layout.pin_to_pap_in:g}x{layout.val_angle_deg:g}")


def parse_target(text: str) -> tuple[float, float | None]:
    """Read 'BOARD' or 'BOARD@FEET' (no feet: at the arrows)."""
    board, at, feet = text.partition("@")
    try:
        return float(board), float(feet.lower().removesuffix("ft")) if at else None
    except ValueError:
        raise InputError(f"target '{text}' is not understood; accepted: a board, as in 10 (at the "
                         "arrows), or board@feet, as in 8@42") from None


def build_player(
    *,
    player_file: str | None = None,
    level: str | None = None,
    speed: float | None = None,
    revs: float | None = None,
    rotation: float | None = None,
    tilt: float | None = None,
    laydown: float | None = None,
    angle: float | None = None,
    target: str | None = None,
    hand: str | None = None,
) -> Player:
    """A player from a file or the defaults, with what the options say put on top."""
    from dataclasses import replace

    from ..catalog import load_player, named_spread
    from ..player import Player, Release

    if angle is not None and target is not None:
        raise InputError("give --angle or --target, not both: each fixes the launch direction")
    if player_file is not None:
        player = load_player(player_file)
        if level is not None:
            player = replace(player, spread=named_spread(level),
                             spread_source=f"assumed level {level}")
    else:
        chosen = level or DEFAULT_LEVEL
        player = Player("player", Release(**DEFAULT_RELEASE), named_spread(chosen),
                        f"assumed level {chosen}")
    given = {"speed_mph": speed, "rev_rpm": revs, "rotation_deg": rotation, "tilt_deg": tilt,
             "laydown_board": laydown, "launch_angle_deg": angle, "hand": hand}
    release = replace(player.release, **{k: v for k, v in given.items() if v is not None})
    if target is not None:
        board, feet = parse_target(target)
        release = replace(
            release, launch_angle_deg=Release.angle_toward(release.laydown_board, board, feet)
        )
    return replace(player, release=release)


# --- options -------------------------------------------------------------------------------

BALL_HELP = "Shipped ball, FILE.toml or FILE.toml:NAME; see 'lanesim balls'."
PATTERN_HELP = "Shipped oil pattern or a .oil file; see 'lanesim patterns'."

ball_option = click.option("--ball", type=BallName(), default=DEFAULT_BALL, show_default=True,
                           help=BALL_HELP)
balls_option = click.option("--ball", "balls", type=BallName(), multiple=True,
                            default=[DEFAULT_BALL],
                            help=f"{BALL_HELP} Repeat for several. [default: {DEFAULT_BALL}]")
pattern_option = click.option("--pattern", type=PatternName(), default=DEFAULT_PATTERN,
                              show_default=True, help=PATTERN_HELP)
patterns_option = click.option("--pattern", "patterns", type=PatternName(), multiple=True,
                               default=[DEFAULT_PATTERN],
                               help=f"{PATTERN_HELP} Repeat for several. "
                                    f"[default: {DEFAULT_PATTERN}]")
layout_option = click.option("--layout", type=LayoutText(), metavar="DxPxV",
                             help="Drill it so: drilling angle [deg] x pin-to-PAP [in] x VAL angle "
                                  "[deg], as in 50x4.5x30.")
layouts_option = click.option("--layout", "layouts", type=LayoutText(), metavar="DxPxV",
                              multiple=True,
                              help="Drill it so: drilling angle [deg] x pin-to-PAP [in] x VAL "
                                   "angle [deg], as in 50x4.5x30. Repeat for several.")
finish_option = click.option("--finish", type=FinishText(), metavar="GRIT|polish",
                             help="Resurface it first: a grit, as in 1000, or 'polish'.")
finishes_option = click.option("--finish", "finishes", type=FinishText(), metavar="GRIT|polish",
                               multiple=True,
                               help="Resurface it first: a grit, as in 1000, or 'polish'. Repeat "
                                    "for several.")
json_option = click.option("--json", "as_json", is_flag=True,
                           help="Print JSON on standard output instead of a table.")
seed_option = click.option("--seed", type=click.IntRange(0), default=1, show_default=True,
                           help="Seed of the random numbers: the same seed, the same answer.")


def out_option(text: str, flag: str = "--out", name: str = "out",
               kinds: Sequence[str] = PICTURE_KINDS) -> Callable:
    """An option for a file to write, checked before the work starts."""
    return click.option(flag, name, type=OutputFile(kinds), help=text)


def picture_option(text: str = "Draw it into FILE (.png, .svg or .pdf).") -> Callable:
    """--out FILE for a picture."""
    return out_option(text)


def csv_option(text: str = "Write the numbers to FILE (.csv).") -> Callable:
    """--csv FILE."""
    return out_option(text, "--csv", "csv", (".csv",))


def sampling_options(shots: int) -> Callable:
    """--shots (default `shots`) and --seed."""

    def decorate(function: Callable) -> Callable:
        function = seed_option(function)
        return click.option("--shots", type=click.IntRange(1, 10_000_000), default=shots,
                            show_default=True, help="Number of shots.")(function)

    return decorate


_RELEASE_OPTIONS = (
    click.option("--player", "player_file", metavar="FILE",
                 help="Player file (TOML) with the usual release and its spread; the options "
                      "below override it."),
    click.option("--speed", type=float, metavar="MPH",
                 help=f"Ball speed. [default: {DEFAULT_RELEASE['speed_mph']:g}]"),
    click.option("--revs", type=float, metavar="RPM",
                 help=f"Rev rate. [default: {DEFAULT_RELEASE['rev_rpm']:g}]"),
    click.option("--rotation", type=float, metavar="DEG",
                 help="Axis rotation, 0 end over end to 90 all side turn. "
                      f"[default: {DEFAULT_RELEASE['rotation_deg']:g}]"),
    click.option("--tilt", type=float, metavar="DEG",
                 help=f"Axis tilt. [default: {DEFAULT_RELEASE['tilt_deg']:g}]"),
    click.option("--laydown", type=float, metavar="BOARD",
                 help="Board of the ball at the foul line, counted from the ball-arm side. "
                      f"[default: {DEFAULT_RELEASE['laydown_board']:g}]"),
    click.option("--angle", type=float, metavar="DEG",
                 help="Launch angle; negative: toward the ball-arm side (lower boards). "
                      f"[default: {DEFAULT_RELEASE['launch_angle_deg']:g}]"),
    click.option("--target", metavar="BOARD[@FT]",
                 help="Instead of --angle: roll it over this board at the arrows, or at FT feet."),
    click.option("--hand", type=click.Choice(["right", "left"]), help="[default: right]"),
)
_RELEASE_KEYS = ("player_file", "speed", "revs", "rotation", "tilt", "laydown", "angle", "target",
                 "hand")


def _apply(options: Sequence[Callable], function: Callable) -> Callable:
    for option in reversed(options):
        function = option(function)
    return function


def release_options(function: Callable) -> Callable:
    """Options of one release; the command receives `release: Release`."""

    @functools.wraps(function)
    def with_release(*args: Any, **kwargs: Any) -> Any:
        given = {key: kwargs.pop(key) for key in _RELEASE_KEYS}
        release: Release = build_player(**given).release
        return function(*args, release=release, **kwargs)

    return _apply(_RELEASE_OPTIONS, with_release)


def player_options(function: Callable) -> Callable:
    """Options of a release and its spread; the command receives `player: Player`."""

    @functools.wraps(function)
    def with_player(*args: Any, **kwargs: Any) -> Any:
        given = {key: kwargs.pop(key) for key in (*_RELEASE_KEYS, "level")}
        return function(*args, player=build_player(**given), **kwargs)

    level = click.option(
        "--level", metavar="LEVEL",
        help="Assumed repeatability, by the average such players carry: "
             f"{', '.join(LEVEL_NAMES)}. [default: {DEFAULT_LEVEL}, or the player file's]",
    )
    return _apply((*_RELEASE_OPTIONS, level), with_player)


def fitted_option(function: Callable) -> Callable:
    """--fitted FILE; below the options of balls, patterns, release and player in the list.

    What the command receives as ball, balls, pattern, patterns, release or player then has the
    fit's values; `basis: Basis` has the friction model, the words for the answer (`provenance`),
    and serves for balls and patterns that the command loads itself.
    """

    @functools.wraps(function)
    def with_fitted(*args: Any, fitted_file: str | None, **kwargs: Any) -> Any:
        from ..fit.fitted import Basis, load_fitted

        basis = Basis(None if fitted_file is None else load_fitted(fitted_file))
        return function(*args, basis=basis, **{k: _on(basis, k, v) for k, v in kwargs.items()})

    return click.option(
        "--fitted", "fitted_file", metavar="FILE",
        help="File written by 'lanesim fit --out': its values replace the assumed ones of the "
             "balls, patterns and lane it knows, and its offsets are added to the release.",
    )(with_fitted)


def _on(basis: Basis, name: str, value: Any) -> Any:
    """An option's value on that basis."""
    from dataclasses import replace

    if name in {"ball", "pattern", "release"}:
        return getattr(basis, name)(value)
    if name in {"balls", "patterns"}:
        return tuple(getattr(basis, name[:-1])(one) for one in value)
    if name == "player":
        return replace(value, release=basis.release(value.release))
    return value


# --- printing ------------------------------------------------------------------------------


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
    """JSON of dicts, lists, arrays and dataclasses on standard output."""
    from ..files import to_json

    click.echo(to_json(value))


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


def say_written(path: Path) -> None:
    """Tell which file was written (standard error)."""
    say(f"wrote {path}")


# --- long work -----------------------------------------------------------------------------


@contextlib.contextmanager
def progress(text: str, total: float | None = None) -> Iterator[Callable[..., None]]:
    """A progress bar on standard error, on a terminal only.

    Yields `report(done, total=None)`, the callback that studies take.
    """
    if not sys.stderr.isatty():
        yield lambda done, total=None: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    bar = Progress(TextColumn("{task.description}"), BarColumn(),
                   TextColumn("{task.percentage:>3.0f} %"), TimeRemainingColumn(),
                   console=Console(stderr=True), transient=True)
    with bar:
        task = bar.add_task(text, total=total)

        def report(done: float, total: float | None = None) -> None:
            bar.update(task, completed=done, **({} if total is None else {"total": total}))

        yield report


_COMPILE_SECONDS = {"path": 5, "batch": 20}  # processor time, measured on a two-core machine
_announced: set[str] = set()


def announce_compile(kind: str = "path") -> None:
    """Say, before a first run, that the kernels are about to be compiled, and about how long.

    kind : 'path' for `trajectory.throw`, 'batch' for `trajectory.throw_many`. Silent when numba's
    cache on disk already holds what will be called.
    """
    from ..motion import kernels
    from ..motion.compiled import is_kept

    kernel = kernels.slide_rates if kind == "path" else kernels.throw_chunk
    if kind not in _announced and not is_kept(kernel):
        say(f"compiling the ball-motion kernels, about {_COMPILE_SECONDS[kind]} s, once")
    _announced.add(kind)
