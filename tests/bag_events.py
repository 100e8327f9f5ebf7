"""A small event for the tests of the bag."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from lanesim.bag.event import Event, parse_event

TEXT = """
name = "evening"
title = "Evening <league> & friends"
player = "player.toml"
cut = 500
finishes = ["500"]

[limits]
registered = 3
carried = 2
drilled = 1

[lanes]
players = 1
lanes = 1
follow = false

[[round]]
name = "short"
pattern = "medium-39"
games = 2
stages = [0, 1]

[[round]]
name = "long"
pattern = "long-45"
games = 1

[[ball]]
ball = "strong-solid"
place = "venue"
required = false

[[ball]]
ball = "weak-pearl"
finishes = []

[[ball]]
ball = "medium-hybrid"
place = "new"
layouts = ["drill 50 deg, pin 5 in, VAL 40 deg"]

[[ball]]
ball = "plastic-spare"
spares_only = true
required = true
"""


def write_event(folder: Path) -> Path:
    """The event and its player as files."""
    (folder / "player.toml").write_text('name = "Kim"\nspeed_mph = 17.5\nrev_rpm = 380\n')
    path = folder / "event.toml"
    path.write_text(TEXT)
    return path


def small_event(folder: Path, **changes) -> Event:
    """The same, read."""
    write_event(folder)
    return replace(parse_event(TEXT, "evening.toml", folder), **changes)
