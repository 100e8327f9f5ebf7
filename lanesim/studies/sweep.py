"""A grid over one or more settings of ball and release, every point thrown once."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any, ClassVar

import numpy as np

from ..equipment.ball import Ball
from ..equipment.cover import parse_finish
from ..errors import InputError, check_kind, nearest_name
from ..files import csv_text
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..lines.throwing import check_nouns
from ..motion.pocket import OUTCOMES
from ..motion.trajectory import ShotTable, throw_many
from ..player import RELEASE_COLUMNS, Release
from ..progress import Progress, silent
from ..results import Result, Story

MAX_POINTS = 200_000
_CHUNK = 2048  # shots between two progress reports


@dataclass(frozen=True)
class Setting:
    """Something a sweep can vary: its name in options, heading, unit, and what it belongs to."""

    name: str
    title: str
    unit: str
    field: str  # field of Release, or of Ball.layout, or 'finish'
    of: str  # 'release', 'layout' or 'cover'


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
    )
}

# What a sweep reports at each point: (column of ShotTable, heading, unit).
MEASURES: dict[str, tuple[str, str]] = {
    "entry_board": ("entry board", "board"),
    "entry_angle_deg": ("entry angle", "deg"),
    "entry_speed_mph": ("entry speed", "mph"),
    "entry_rev_rpm": ("rev rate at entry", "rpm"),
    "entry_slip_ms": ("slip at entry", "m/s"),
    "breakpoint_board": ("breakpoint board", "board"),
    "breakpoint_ft": ("breakpoint distance", "ft"),
    "hook_ft": ("hook begins", "ft"),
    "roll_ft": ("roll begins", "ft"),
    "revolutions": ("revolutions", "turns"),
    "flare_in": ("track flare", "in"),
    "time_s": ("time", "s"),
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
    def labels(self) -> tuple[str, ...]:
        """The values as text."""
        if self.setting.name == "finish":
            return tuple("polish" if polished else f"{grit:g}" for grit, polished in self.values)
        return tuple(f"{value:.6g}" for value in self.values)


@dataclass(frozen=True, repr=False)
class Sweep(Result):
    """Results on the grid.

    Attributes
    ----------
    axes : the settings varied, slowest first; shape : their lengths.
    values : measure -> array of that shape, in the unit of MEASURES; entry_* is NaN where no pin
        was touched.
    outcome : array of that shape, indices into pocket.OUTCOMES.
    """

    ball: str
    pattern: str
    release: Release
    axes: tuple[Axis, ...]
    values: dict[str, np.ndarray]
    outcome: np.ndarray

    _figure: ClassVar[str] = "lanesim.figures.heat:draw_sweep"

    def story(self) -> Story:
        """The entry boards, and how many points ended how."""
        counts = ", ".join(f"{name} {n}" for name, n in self.counts().items() if n)
        facts = [(axis.setting.name, f"{axis.labels[0]} to {axis.labels[-1]} {axis.setting.unit}, "
                                     f"{len(axis.values)} values") for axis in self.axes]
        header: Sequence[str] = ()
        rows: list[list[str]] = []
        if len(self.axes) == 2:
            up, across = self.axes
            header = [f"entry board; {up.setting.name} down", *across.labels]
            rows = [[label, *(f"{v:.1f}" if math.isfinite(v) else "-" for v in line)]
                    for label, line in zip(up.labels, self.values["entry_board"], strict=True)]
        return Story(f"{self.ball} on {self.pattern}, {self.outcome.size} throws: {counts}", facts,
                     header, rows)

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of values along each axis."""
        return tuple(len(axis.values) for axis in self.axes)

    def counts(self) -> dict[str, int]:
        """How many points ended in each outcome."""
        return {name: int(np.sum(self.outcome == n)) for n, name in enumerate(OUTCOMES)}

    def to_dict(self) -> dict[str, Any]:
        """Axes and arrays, ready for JSON."""
        return {
            "ball": self.ball, "pattern": self.pattern, "release": self.release,
            "axes": [{"name": a.setting.name, "unit": a.setting.unit, "values": list(a.labels)
                      if a.setting.name == "finish" else list(a.values)} for a in self.axes],
            "counts": self.counts(),
            "outcome": np.array(OUTCOMES)[self.outcome],
            **self.values,
        }

    def to_csv(self) -> str:
        """One row per point: the settings, the outcome, all measures."""
        header = [*(f"{a.setting.name}_{a.setting.unit}" for a in self.axes), "outcome",
                  *self.values]
        columns = [column.ravel().tolist() for column in self.values.values()]
        codes = self.outcome.ravel()
        rows = (
            [*point, OUTCOMES[codes[n]], *(column[n] for column in columns)]
            for n, point in enumerate(product(*(a.labels for a in self.axes)))
        )
        return csv_text(header, rows)


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
        if name == "finish":
            raise InputError("finish takes a list, as in finish=500,1000,2000,4000,polish")
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


def sweep(
    ball: Ball,
    release: Release,
    pattern: OilPattern,
    axes: Sequence[Axis],
    *,
    target: tuple[float, float | None] | None = None,
    friction: FrictionModel = DEFAULT_FRICTION,
    progress: Progress = silent,
) -> Sweep:
    """Throw every point of the grid with the batch engine.

    Parameters
    ----------
    ball, release, pattern : where the settings that are not varied stay.
    axes : one or more, slowest first.
    target : (board, distance [ft] or None for the arrows): the launch angle of each point is that
        of the line from its laydown over this spot, so that a swept laydown keeps its target.
    progress : called with (shots done, shots in all).

    Raises
    ------
    InputError
        for no axis, one given twice, a value outside its range (before anything is thrown), or
        more than MAX_POINTS points.
    """
    check_nouns([ball], release, pattern, None)
    balls, ball_of, rows = check_grid(ball, release, axes, target)
    total = len(rows)
    tables = []
    for start, stop in _chunks(total):
        used, which = np.unique(ball_of[start:stop], return_inverse=True)
        tables.append(throw_many([balls[k] for k in used], rows[start:stop], pattern,
                                 hand=release.hand, which=which, friction=friction))
        progress(stop, total)
    shape = tuple(len(axis.values) for axis in axes)
    return Sweep(
        ball.name, pattern.name, release, tuple(axes),
        {name: _column(tables, name).reshape(shape) for name in MEASURES},
        _column(tables, "outcome").reshape(shape).astype(int),
    )


def check_grid(
    ball: Ball,
    release: Release,
    axes: Sequence[Axis],
    target: tuple[float, float | None] | None = None,
) -> tuple[list[Ball], np.ndarray, np.ndarray]:
    """The points of a grid, all validated: balls, (n,) index of each point's ball, (n, 7) releases.

    Parameters and errors as `sweep`, which calls this first.
    """
    if not axes:
        raise InputError(f"no setting to sweep over; known: {', '.join(SETTINGS)}")
    names = [axis.setting.name for axis in axes]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"{name} is given twice")
    if target is not None and "angle" in names:
        raise InputError("a target fixes the launch angle: sweep over angle, or give a target")
    total = int(np.prod([len(axis.values) for axis in axes]))
    if total > MAX_POINTS:
        raise InputError(f"{total} points in the grid; accepted: up to {MAX_POINTS}")
    # One ball for each combination of ball settings, one row for each point.
    return *_balls(ball, axes), _releases(release, axes, target)


def _chunks(total: int) -> Iterator[tuple[int, int]]:
    for start in range(0, total, _CHUNK):
        yield start, min(start + _CHUNK, total)


def _column(tables: Sequence[ShotTable], name: str) -> np.ndarray:
    return np.concatenate([getattr(table, name) for table in tables])


def _indices(axes: Sequence[Axis]) -> np.ndarray:
    """(axes, points) index of each point's value on each axis, in C order."""
    shape = tuple(len(axis.values) for axis in axes)
    return np.indices(shape).reshape(len(shape), -1)


def _balls(ball: Ball, axes: Sequence[Axis]) -> tuple[list[Ball], np.ndarray]:
    index = _indices(axes)
    number = np.zeros(index.shape[1], dtype=int)
    made = [ball]
    for n, axis in enumerate(axes):
        if axis.setting.of == "release":
            continue
        made = [_changed(b, axis.setting, value) for b in made for value in axis.values]
        number = number * len(axis.values) + index[n]
    return made, number


def _changed(ball: Ball, setting: Setting, value: Any) -> Ball:
    if setting.of == "cover":
        return ball.with_finish(*value)
    return replace(ball, layout=replace(ball.layout, **{setting.field: value}))


def _releases(
    release: Release, axes: Sequence[Axis], target: tuple[float, float | None] | None
) -> np.ndarray:
    index = _indices(axes)
    rows = np.tile(release.row(), (index.shape[1], 1))
    for n, axis in enumerate(axes):
        if axis.setting.of != "release":
            continue
        for value in axis.values:
            replace(release, **{axis.setting.field: value})  # refuses a value out of range
        rows[:, RELEASE_COLUMNS.index(axis.setting.field)] = np.array(axis.values)[index[n]]
    if target is not None:
        laydown = rows[:, RELEASE_COLUMNS.index("laydown_board")]
        angle = {board: Release.angle_toward(board, *target) for board in np.unique(laydown)}
        for value in angle.values():
            replace(release, launch_angle_deg=value)
        rows[:, RELEASE_COLUMNS.index("launch_angle_deg")] = [angle[b] for b in laydown]
    return rows
