"""What a file of the folder is, and whether its own reader accepts it.

An event or ball file may name other files. On the page they must lie beside it: a file from
somewhere else must not make the page read what is outside its folder.
"""

from __future__ import annotations

import re
import tempfile
import tomllib
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from ..errors import InputError

HIDDEN = ".lanesim-page"  # what the page keeps for itself, inside its folder
KINDS = ("pattern", "balls", "player", "event", "fitted", "shots", "log", "grip")
_REFERENCE = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_ .()+-]*(:[^/\\]*)?")
# keys whose text may be the name of a file
_NAMING = {"player", "fitted", "ball", "pattern", "their_ball", "my_ball", "grip"}


def inspect(text: str, name: str, folder: Path) -> tuple[str, tuple[str, ...]]:
    """Kind of a file's text (KINDS) and the names of the balls in it.

    Raises
    ------
    InputError
        what its reader says: one line with file, place and what is accepted.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        ending = Path(name).suffix.lower()
        if ending == ".oil":
            from ..lane.oil_file import parse_pattern

            return "pattern", (parse_pattern(text, name, default_name=Path(name).stem).name,)
        if ending == ".csv":
            return _table(text, name)
        return _toml(text, name, folder)


def _table(text: str, name: str) -> tuple[str, tuple[str, ...]]:
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    heads = set(re.split(r"[,;\t]", lines[0].lower().replace('"', ""))) if lines else set()
    if {"date", "ball"} <= {h.strip() for h in heads}:
        from ..equipment.ball_log import parse_log

        return "log", tuple(parse_log(text, name).balls)
    from ..fit.shots_file import parse_shots

    return "shots", tuple(sorted({b for b in parse_shots(text, name).ball if b}))


def _toml(text: str, name: str, folder: Path) -> tuple[str, tuple[str, ...]]:
    try:
        found = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError(f"{name}: not valid TOML: {error}".replace("\n", " ")) from None
    if not found:
        raise InputError(f"{name}: empty")
    check_references(found, name)
    if {"round", "ball"} & found.keys():
        from ..bag.event import parse_event

        return "event", tuple(c.name for c in parse_event(text, name, folder).candidates)
    if "format" in found:
        from ..fit.fitted import load_fitted

        _by_path(load_fitted, text, name, folder)
        return "fitted", ()
    if all(isinstance(value, dict) for value in found.values()):
        return "balls", tuple(_balls(text, name, folder))
    from dataclasses import fields

    from ..equipment.grip import Grip, load_grip

    if found.keys() <= {f.name for f in fields(Grip)}:
        _by_path(load_grip, text, name, folder)
        return "grip", ()
    from ..catalog import PlayerEntry
    from ..files import parse_toml

    try:
        return "player", (parse_toml(text, PlayerEntry, name).player().name,)
    except InputError as error:
        raise InputError(_with_name(name, str(error))) from None


def _balls(text: str, name: str, folder: Path) -> list[str]:
    from ..catalog import BallEntry
    from ..files import parse_toml

    entries = parse_toml(text, dict[str, BallEntry], name)
    for ball, entry in entries.items():
        try:
            entry.ball(ball, folder)
        except InputError as error:
            raise InputError(_with_name(name, _with_name(f"[{ball}]", str(error), ball))) from None
    return list(entries)


def _with_name(name: str, message: str, known: str = "") -> str:
    return message if (known or name) in message else f"{name}: {message}"


def _by_path(read: Callable[[Path], object], text: str, name: str, folder: Path) -> None:
    """Let a reader that wants a path read a text that does not lie in the folder yet."""
    place = folder / HIDDEN / "incoming"
    place.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=place) as away:
        path = Path(away) / name
        path.write_text(text, encoding="utf-8")
        try:
            read(path)
        except InputError as error:
            raise InputError(str(error).replace(str(path), name)) from None


def check_references(found: Any, where: str) -> None:
    """Refuse a text that names a file anywhere but beside it."""
    from ..lane.oil_file import pattern_files

    for key, value in _named(found):
        if not value or key not in _NAMING:
            continue
        if not _REFERENCE.fullmatch(value) or ".." in value:
            raise InputError(f"{where}: {key} is '{value[:90]}'; accepted on the page: a shipped "
                             "name, or a file that lies in the same folder")
        if key == "pattern" and not value.endswith(".oil") and value not in pattern_files():
            from ..errors import nearest_name

            raise InputError(f"{where}: {nearest_name(value, pattern_files(), 'pattern')}")


def _named(found: Any, key: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(found, dict):
        for name, value in found.items():
            yield from _named(value, name)
    elif isinstance(found, list):
        for value in found:
            yield from _named(value, key)
    elif isinstance(found, str):
        yield key, found
