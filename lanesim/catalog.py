"""Finding balls, patterns and players: by the name of a shipped one, or by the path of a file.

A ball file is TOML with one table per ball (see lanesim/data/balls.toml for the keys); a player
file is TOML too. Unknown keys are refused, and a mistyped name gets the nearest match.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path

import msgspec

from .defaults import LEVEL
from .equipment.ball import Ball
from .equipment.cover import Cover, parse_finish
from .equipment.grip import DEFAULT_GRIP, Grip, load_grip
from .equipment.layout import Layout
from .errors import InputError, nearest_name, shown
from .files import parse_toml, read_text, read_toml
from .lane.oil_file import load_pattern, pattern_files
from .lane.pattern import OilPattern
from .player import LEVELS, Player, Release, Spread

DATA = Path(__file__).parent / "data"


class BallEntry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """One ball in a ball file; the layout is drilling_deg, pin_to_pap_in and val_deg. All three may
    be missing in a ball that is yet to be drilled, where an event gives its layouts.

    grip = "standard" (an assumed mid-size hand) or a grip file beside the ball file: the holes are
    then taken out, and the path uses the ball as drilled. Without it the ball moves as cast.
    """

    title: str = ""
    weight_lb: float
    rg_in: float
    diff_in: float
    int_diff_in: float = 0.0
    cover: str
    strength: str = "usual"
    finish: str = "2000"
    games_since_surface: float = 0.0
    games_total: float = 0.0
    oil_extractions: int = 0
    drilling_deg: float | None = None
    pin_to_pap_in: float | None = None
    val_deg: float | None = None
    grip: str = ""
    note: str = ""
    invented: bool = False

    def layout(self, undrilled: Layout | None) -> Layout:
        """The layout; `undrilled` for a ball without any."""
        given = {key: getattr(self, key) for key in ("drilling_deg", "pin_to_pap_in", "val_deg")}
        if undrilled is not None and all(value is None for value in given.values()):
            return undrilled
        for key, value in given.items():
            if value is None:
                raise InputError(f"{key} is missing; accepted: a number (a ball yet to be drilled "
                                 "needs no layout where an event has place = \"new\")")
        return Layout(*given.values())

    def ball(self, name: str, folder: Path, undrilled: Layout | None = None) -> Ball:
        """The validated ball; a grip file is looked for in `folder`."""
        grit, polished = parse_finish(self.finish)
        return Ball(
            name=name, title=self.title or name, weight_lb=self.weight_lb, rg_in=self.rg_in,
            diff_in=self.diff_in, int_diff_in=self.int_diff_in, note=self.note,
            invented=self.invented,
            cover=Cover(self.cover, grit, polished, self.games_since_surface, self.games_total,
                        self.oil_extractions, strength=self.strength),
            layout=self.layout(undrilled),
            grip=read_grip(self.grip, folder) if self.grip else None,
        )


def read_grip(spec: str, folder: Path = Path()) -> Grip:
    """A grip by 'standard' (grip.DEFAULT_GRIP) or from a TOML file, relative to `folder`."""
    return DEFAULT_GRIP if spec == "standard" else load_grip(folder / spec)


_ANY_LAYOUT = Layout(45.0, 4.0, 45.0)  # stands in for one that nobody asked for


def read_balls(path: str | Path, undrilled: Layout | None = None, only: str = ""
               ) -> dict[str, Ball]:
    """All balls of a ball file, by name.

    undrilled : the layout of balls that have none yet; None: each must have one. only : the ball
    that is wanted; the others may then be without.

    Raises
    ------
    InputError
        naming the file, the ball and the key.
    """
    where = shown(path)
    entries = parse_toml(read_text(path, "ball"), dict[str, BallEntry], where, each="ball")
    if not entries:
        raise InputError(f"{where}: no ball in it; each ball is a table [name]")
    balls = {}
    for name, entry in entries.items():
        try:
            passed_over = only and name != only
            balls[name] = entry.ball(name, Path(path).parent,
                                     _ANY_LAYOUT if passed_over else undrilled)
        except InputError as error:
            place = f"ball '{name}'"
            text = str(error).removeprefix(place).lstrip(": ")
            raise InputError(f"{where}: {place}: {text}") from None
    return balls


@cache
def shipped_balls() -> dict[str, Ball]:
    """The invented demo balls."""
    return read_balls(DATA / "balls.toml")


def invented_words(balls: Iterable[Ball] = (), patterns: Iterable[OilPattern] = ()) -> str:
    """What of these is made up, for an answer and a picture's small print; '' if nothing is.

    As in "invented ball and oil patterns"; by name where others are not made up.
    """
    words = []
    for kind, things in (("ball", tuple(balls)), ("oil pattern", tuple(patterns))):
        made_up = list(dict.fromkeys(thing.name for thing in things if thing.invented))
        if made_up:
            names = "" if all(thing.invented for thing in things) else " " + ", ".join(made_up)
            words.append(kind + "s" * (len(made_up) > 1) + names)
    return f"invented {' and '.join(words)}" if words else ""


def ball_names() -> list[str]:
    """Names of the shipped balls."""
    return list(shipped_balls())


def load_ball(spec: str, undrilled: Layout | None = None) -> Ball:
    """A ball from 'name', 'file.toml' (its only ball) or 'file.toml:name'.

    undrilled : see `read_balls`.
    """
    path, _, name = spec.partition(".toml")
    if _:
        name = name.removeprefix(":")
        balls = read_balls(path + ".toml", undrilled, name)
        if not name:
            if len(balls) > 1:
                raise InputError(f"{path}.toml holds {len(balls)} balls; say which, as in "
                                 f"{path}.toml:{next(iter(balls))}")
            return next(iter(balls.values()))
        if name not in balls:
            raise nearest_name(name, balls, f"ball in {path}.toml")
        return balls[name]
    if spec not in shipped_balls():
        raise nearest_name(spec, shipped_balls(), "ball")
    return shipped_balls()[spec]


def pattern_names() -> list[str]:
    """Names of the shipped patterns."""
    return sorted(pattern_files())


@cache
def load_pattern_named(spec: str) -> OilPattern:
    """A pattern by the name of a shipped one, or from a file's path."""
    known = pattern_files()
    if spec in known:
        return load_pattern(known[spec])
    if Path(spec).suffix or "/" in spec or Path(spec).exists():
        return load_pattern(spec)
    raise nearest_name(spec, known, "pattern")


class PlayerEntry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """A player file: the usual release, and a level or the player's own standard deviations."""

    name: str = "player"
    hand: str = Release.hand
    speed_mph: float = Release.speed_mph
    rev_rpm: float = Release.rev_rpm
    rotation_deg: float = Release.rotation_deg
    tilt_deg: float = Release.tilt_deg
    laydown_board: float = Release.laydown_board
    launch_angle_deg: float = Release.launch_angle_deg
    level: str = LEVEL
    spread: dict[str, float] = {}
    spread_source: str = ""

    def player(self) -> Player:
        """The validated player."""
        release = Release(
            speed_mph=self.speed_mph, rev_rpm=self.rev_rpm, rotation_deg=self.rotation_deg,
            tilt_deg=self.tilt_deg, laydown_board=self.laydown_board,
            launch_angle_deg=self.launch_angle_deg, hand=self.hand,
        )
        spread = named_spread(self.level)
        source = f"assumed level {self.level}"
        if self.spread:
            for key in self.spread:
                if key not in Spread.__dataclass_fields__:
                    raise nearest_name(key, Spread.__dataclass_fields__, "spread key")
            spread = replace(spread, **self.spread)
            source = self.spread_source or "player file"
        return Player(self.name, release, spread, source)


def named_spread(level: str) -> Spread:
    """The spread of a named level (release.LEVELS)."""
    if level not in LEVELS:
        raise nearest_name(level, LEVELS, "level")
    return LEVELS[level]


def load_player(path: str | Path) -> Player:
    """A player from a TOML file."""
    try:
        return read_toml(path, PlayerEntry, "player").player()
    except InputError as error:
        text = str(error)
        where = shown(path)
        raise InputError(text if where in text else f"{where}: {text}") from None
