"""What can be varied: settings of the release, the ball and the oil, and lists of their values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..equipment.ball import Ball
from ..equipment.cover import COVER_KINDS, parse_finish
from ..errors import InputError, check_kind, nearest_name
from ..lane.pattern import OilPattern

MAX_POINTS = 200_000
WORDS = ("finish", "cover")  # settings whose values are words


@dataclass(frozen=True)
class Setting:
    """Something a sweep can vary: its name in options, heading, unit, and what it belongs to."""

    name: str
    title: str
    unit: str
    field: str  # field of Release, Ball, Ball.layout or Ball.cover, or argument of pattern.scaled
    of: str  # 'release', 'ball', 'layout', 'cover' or 'pattern'


SETTINGS: dict[str, Setting] = {
    s.name: s
    for s in (
        Setting("speed", "ball speed", "mph", "speed_mph", "release"),
        Setting("revs", "rev rate", "rpm", "rev_rpm", "release"),
        Setting("rotation", "axis rotation", "deg", "rotation_deg", "release"),
        Setting("tilt", "axis tilt", "deg", "tilt_deg", "release"),
        Setting("laydown", "laydown", "board", "laydown_board", "release"),
        Setting("angle", "launch angle", "deg", "launch_angle_deg", "release"),
        Setting("pin", "pin to PAP", "in", "pin_to_pap_in", "layout"),
        Setting("drilling", "drilling angle", "deg", "drilling_deg", "layout"),
        Setting("finish", "finish", "grit", "finish", "cover"),
        Setting("rg", "RG", "in", "rg_in", "ball"),
        Setting("differential", "differential", "in", "diff_in", "ball"),
        Setting("intermediate", "intermediate differential", "in", "int_diff_in", "ball"),
        Setting("cover", "cover", "kind", "kind", "cover"),
        Setting("length", "oil length", "ft", "length_ft", "pattern"),
        Setting("volume", "oil volume", "mL", "volume_ml", "pattern"),
    )
}

@dataclass(frozen=True)
class Axis:
    """One setting, by itself or by its name, and the values it takes.

    Finishes are (grit, polished) pairs.
    """

    setting: Setting
    values: tuple[Any, ...]

    def __post_init__(self) -> None:
        if isinstance(self.setting, str):
            if self.setting not in SETTINGS:
                raise nearest_name(self.setting, SETTINGS, "setting")
            object.__setattr__(self, "setting", SETTINGS[self.setting])
        check_kind("a sweep's setting", self.setting, Setting)
        if isinstance(self.values, str) or not isinstance(self.values, Iterable):
            raise InputError(f"the values of {self.setting.name} are {self.values!r}; accepted: a "
                             "list of them")
        object.__setattr__(self, "values", tuple(self.values))
        if not self.values:
            raise InputError(f"no value of {self.setting.name} to sweep over")

    @property
    def by_name(self) -> bool:
        """Whether the values are words, not numbers."""
        return self.setting.name in WORDS

    @property
    def labels(self) -> tuple[str, ...]:
        """The values as text."""
        if self.setting.name == "cover":
            return self.values
        if self.setting.name == "finish":
            return tuple("polish" if polished else f"{grit:g}" for grit, polished in self.values)
        return tuple(f"{value:.6g}" for value in self.values)


def parse_axis(text: str) -> Axis:
    """Read NAME=LOW:HIGH:COUNT or NAME=VALUE,VALUE,...

    Raises
    ------
    InputError
        naming the part that is not understood and what is accepted.
    """
    name, equals, rest = (part.strip() for part in text.partition("="))
    if not equals or not rest:
        raise InputError(f"'{text}' is not understood; accepted: NAME=LOW:HIGH:COUNT, as in "
                         "speed=16:20:9, or NAME=VALUE,VALUE,..., as in finish=500,2000,polish")
    if name not in SETTINGS:
        raise nearest_name(name, SETTINGS, "setting")
    setting = SETTINGS[name]
    if ":" in rest:
        if name in WORDS:
            example = {"finish": "500,1000,2000,4000,polish",
                       "cover": ",".join(list(COVER_KINDS)[:2])}[name]
            raise InputError(f"{name} takes a list, as in {name}={example}")
        try:
            low, high, count = rest.split(":")
            values: tuple[Any, ...] = tuple(
                np.linspace(float(low), float(high), _count(count)).tolist())
        except ValueError as error:
            if isinstance(error, InputError):
                raise
            raise InputError(f"{name}={rest} is not understood; accepted: {name}=LOW:HIGH:COUNT"
                             ) from None
    elif name == "finish":
        values = tuple(parse_finish(word) for word in rest.split(","))
    elif name == "cover":
        values = tuple(word.strip() for word in rest.split(","))
    else:
        try:
            values = tuple(float(word) for word in rest.split(","))
        except ValueError:
            raise InputError(f"{name}={rest} is not understood; accepted: numbers with commas "
                             "between them") from None
    if len(set(values)) < len(values):
        raise InputError(f"{name}={rest} gives a value twice")
    return Axis(setting, values)


def _count(text: str) -> int:
    count = int(text)
    if not 2 <= count <= MAX_POINTS:
        raise InputError(f"a count of {count} values; accepted: 2 to {MAX_POINTS}")
    return count


def changed_ball(ball: Ball, setting: Setting, value: Any) -> Ball:
    """The ball with one of its settings changed; one of a release or pattern leaves it as it is.

    Raises
    ------
    InputError
        for a value out of range, or a cover kind that is not known.
    """
    if setting.name == "finish":
        return ball.with_finish(*value)
    if setting.of == "cover":
        return replace(ball, cover=replace(ball.cover, law=None, **{setting.field: value}))
    if setting.of == "layout":
        return replace(ball, layout=replace(ball.layout, **{setting.field: value}))
    return replace(ball, **{setting.field: value}) if setting.of == "ball" else ball


def changed_pattern(pattern: OilPattern, axes: Iterable[tuple[Setting, Any]]) -> OilPattern:
    """The pattern's shape at another length and volume (pattern.scaled), named by them.

    Raises
    ------
    InputError
        as pattern.scaled.
    """
    given = {s.field: value for s, value in axes if s.of == "pattern"}
    if not given:
        return pattern
    length = given.get("length_ft")
    if length is not None:
        given["length_ft"] = int(length) if float(length).is_integer() else length
    words = [f"{value:g} {'ft' if field == 'length_ft' else 'mL'}"
             for field, value in given.items()]
    return replace(pattern.scaled(**given), name=f"{pattern.name} at {', '.join(words)}")
