"""Forms for players, balls and events: a file as fields, fields as a file.

The fields are those of the file's own reader (`catalog.PlayerEntry`, `catalog.BallEntry`,
`bag.event.EventEntry`), so a form knows no limit that the commands do not. A file written by a
form has no comments; its former version is kept.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import msgspec

from ..errors import InputError
from .folder import Entry, Folder
from .readers import check_references
from .wire import Asked

EXAMPLE_FILES = ("demo_event.toml", "demo_event_balls.toml", "demo_player.toml", "demo_shots.csv",
                 "demo_log.csv")


class FormAsked(Asked, frozen=True, kw_only=True):
    """Which file, and as what it is to be read: player, balls or event."""

    name: str
    kind: str


class FormWritten(Asked, frozen=True, kw_only=True):
    """A form's fields, to be written."""

    name: str
    kind: str
    fields: dict[str, Any]
    over: bool = False


def _struct(kind: str) -> Any:
    from ..bag.event import EventEntry
    from ..catalog import BallEntry, PlayerEntry

    kinds: dict[str, Any] = {"player": PlayerEntry, "event": EventEntry,
                             "balls": dict[str, BallEntry]}
    if kind not in kinds:
        raise InputError(f"no form for '{kind[:40]}'; known: {', '.join(kinds)}")
    return kinds[kind]


def read(folder: Folder, asked: FormAsked) -> dict[str, Any]:
    """A file's fields; what the file leaves out stands there at its default."""
    from ..files import parse_toml

    text = folder.text(asked.name)
    entry = parse_toml(text, _struct(asked.kind), asked.name)
    return {"name": asked.name, "kind": asked.kind, "fields": msgspec.to_builtins(entry)}


def write(folder: Folder, asked: FormWritten) -> Entry:
    """Write a form's fields as a file, after the file's own reader has accepted it."""
    from ..checked import checked

    entry = checked(asked.fields, _struct(asked.kind), asked.name)
    fields = _without_nothing(msgspec.to_builtins(entry))
    check_references(fields, asked.name)
    import tomli_w

    return folder.write(asked.name, tomli_w.dumps(fields), over=asked.over)


def _without_nothing(value: Any) -> Any:
    """Leave out what was not given: TOML has no word for nothing."""
    if isinstance(value, dict):
        return {k: _without_nothing(v) for k, v in value.items() if v not in (None, "")}
    if isinstance(value, list):
        return [_without_nothing(v) for v in value]
    return value


def copy_example(folder: Folder) -> list[str]:
    """Put the invented event, its player and balls, and the invented shots and log into the folder.

    Files that are there already stay as they are. Returns the names that were written.
    """
    from ..catalog import DATA

    folder.root.mkdir(parents=True, exist_ok=True)
    written = []
    for name in EXAMPLE_FILES:
        target = folder.path(name)
        if not target.exists():
            shutil.copyfile(Path(DATA) / name, target)
            written.append(name)
    return written
