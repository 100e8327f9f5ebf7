"""Options of the commands: how words become nouns, and the decorators that declare them.

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

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..defaults import BALL as DEFAULT_BALL
from ..defaults import LEVEL as DEFAULT_LEVEL
from ..defaults import LEVEL_NAMES, SEED, SHOTS
from ..defaults import PATTERN as DEFAULT_PATTERN
from ..defaults import RELEASE as DEFAULT_RELEASE
from ..errors import InputError
from ..figures.wanted import STYLES

if TYPE_CHECKING:
    from ..equipment.layout import Layout
    from ..fit.fitted import Basis
    from ..player import Player, Release

PICTURE_KINDS = (".png", ".svg", ".pdf")


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


class Inches(click.ParamType):
    """Inches as 4.5 or 4 1/2, made a number."""

    name = "INCHES"

    def convert(self, value: Any, param: Any, ctx: Any) -> Any:
        """Parse; the range is checked where the number is used."""
        if not isinstance(value, str):
            return value
        from ..equipment.inches import read_inches

        return read_inches(value, param.opts[0] if param is not None else "length")


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
        """Check the ending, that the file can be written, and that no other option writes it."""
        from ..files import check_target

        path = Path(value)
        if self.kinds and path.suffix.lower() not in self.kinds:
            raise InputError(f"cannot write {path}: the name must end in {_either(self.kinds)}")
        target = check_target(path)
        if ctx is not None:
            taken = ctx.meta.setdefault(f"{__name__}.outputs", {})
            other = taken.setdefault(target, param.name if param is not None else "")
            if param is not None and other != param.name:
                raise InputError(f"{path}: two options would write this file; give each its own")
        return path


def _either(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


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
        player = Player("player", Release(), named_spread(chosen),
                        f"assumed level {chosen}")
    given: dict[str, Any] = {
        "speed_mph": speed, "rev_rpm": revs, "rotation_deg": rotation, "tilt_deg": tilt,
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
layouts_option = click.option("--layout", "layouts", metavar="WORDS", multiple=True,
                              help='Drill it so, as in "drill 50, pin 4 1/2, VAL 30" [deg, in, '
                                   "deg]; what is left out stays the ball's own. Repeat for "
                                   "several.")
finish_option = click.option("--finish", type=FinishText(), metavar="GRIT|polish",
                             help="Resurface it first: a grit, as in 1000, or 'polish'.")
finishes_option = click.option("--finish", "finishes", type=FinishText(), metavar="GRIT|polish",
                               multiple=True,
                               help="Resurface it first: a grit, as in 1000, or 'polish'. Repeat "
                                    "for several.")
json_option = click.option("--json", "as_json", is_flag=True,
                           help="Print JSON on standard output instead of a table.")
seed_option = click.option("--seed", type=click.IntRange(0), default=SEED, show_default=True,
                           help="Seed of the random numbers: the same seed, the same answer.")


def layout_options(function: Callable) -> Callable:
    """--drilling, --pin and --val; the command gets `layout`, Layout -> Layout, as one argument."""

    @functools.wraps(function)
    def wrapped(*args: Any, drilling: float | None, pin: float | None, val: float | None,
                **kwargs: Any) -> Any:
        def change(own: Layout) -> Layout:
            from dataclasses import replace

            given = {"drilling_deg": drilling, "pin_to_pap_in": pin, "val_deg": val}
            return replace(own, **{k: v for k, v in given.items() if v is not None})

        return function(*args, layout=change, **kwargs)

    for option in reversed(LAYOUT_OPTIONS):
        wrapped = option(wrapped)
    return wrapped


LAYOUT_OPTIONS = (
    click.option("--drilling", type=float, metavar="DEG",
                 help="Drill it with this drilling angle. [default: the ball's]"),
    click.option("--pin", type=Inches(), metavar="IN",
                 help="Pin-to-PAP distance, as in 4.5 or '4 1/2'. [default: the ball's]"),
    click.option("--val", type=float, metavar="DEG",
                 help="VAL angle. [default: the ball's]"),
)


def out_option(text: str, flag: str = "--out", name: str = "out",
               kinds: Sequence[str] = PICTURE_KINDS) -> Callable:
    """An option for a file to write, checked before the work starts."""
    return click.option(flag, name, type=OutputFile(kinds), help=text)


def picture_option(text: str = "Draw it into FILE (.png, .svg or .pdf).") -> Callable:
    """--out FILE for a picture, --style and --title for all pictures of the command."""

    def decorate(function: Callable) -> Callable:
        @functools.wraps(function)
        def wrapped(*args: Any, picture_style: str, picture_title: str, **kwargs: Any) -> Any:
            from ..figures.wanted import pictures

            with pictures(picture_style, picture_title):
                return function(*args, **kwargs)

        for option in reversed((
            out_option(text),
            click.option("--style", "picture_style", type=click.Choice(STYLES), default="screen",
                         show_default=True, help="Look of the pictures: large for a projector, on "
                                                 "white for print, in greys."),
            click.option("--title", "picture_title", default="", metavar="TEXT",
                         help="Heading of the pictures. [default: what was found]"),
        )):
            wrapped = option(wrapped)
        return wrapped

    return decorate


def csv_option(text: str = "Write the numbers to FILE (.csv).") -> Callable:
    """--csv FILE."""
    return out_option(text, "--csv", "csv", (".csv",))


effort_option = click.option(
    "--effort", type=click.Choice(["quick", "thorough"]), default="thorough", show_default=True,
    help="How hard to look for a line: quick takes about 1,100 shots a ball, thorough some 20,000.")


def sampling_options(study: str) -> Callable:
    """--shots, with the default and the range that `study` has in defaults.SHOTS, and --seed."""
    shots, least, most = SHOTS[study]

    def decorate(function: Callable) -> Callable:
        function = seed_option(function)
        return click.option("--shots", type=click.IntRange(least, most), default=shots,
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
    """--fitted FILE and --lane FILE; below the options of balls, patterns, release and player.

    What the command receives as ball, balls, pattern, patterns, release or player then has the
    fit's values; `basis: Basis` has the friction model, the words for the answer (`provenance`),
    and serves for balls and patterns that the command loads itself.
    """

    @functools.wraps(function)
    def with_fitted(
        *args: Any, fitted_file: str | None, lane_file: str | None, **kwargs: Any
    ) -> Any:
        from ..fit.fitted import Basis, load_fitted
        from ..lane.surface import LEVEL_LANE, load_lane

        thrown = kwargs.get("release") or getattr(kwargs.get("player"), "release", None)
        lane = LEVEL_LANE if lane_file is None else load_lane(lane_file)
        basis = Basis(None if fitted_file is None else load_fitted(fitted_file),
                      lane.seen_from(thrown.hand if thrown is not None else "right"))
        return function(*args, basis=basis, **{k: _on(basis, k, v) for k, v in kwargs.items()})

    fitted = click.option(
        "--fitted", "fitted_file", metavar="FILE",
        help="File written by 'lanesim fit --out': its values replace the assumed ones of the "
             "balls, patterns and lane it knows, and its offsets are added to the release.",
    )
    lane = click.option(
        "--lane", "lane_file", metavar="FILE",
        help="How the lane lies: a TOML file with any of tilt_in (left edge above the right one), "
             "crown_in (middle above the edges; both within 0.040 in by the standard) and "
             "temperature_f (of the oil).  [default: level, flat, 70 F]",
    )
    return _apply((fitted, lane), with_fitted)


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
