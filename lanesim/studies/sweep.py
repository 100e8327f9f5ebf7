"""A grid over one or more settings of ball and release, every point thrown once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any, ClassVar

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError
from ..files import csv_text
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..lines.throwing import check_nouns
from ..motion.pocket import OUTCOMES
from ..motion.trajectory import throw_many
from ..player import RELEASE_COLUMNS, Release
from ..progress import Progress, silent
from ..results import Result, Story
from .settings import MAX_POINTS, SETTINGS, Axis, Setting, changed_ball, changed_pattern, parse_axis

__all__ = ["MEASURES", "SETTINGS", "Axis", "Grid", "Setting", "Sweep", "check_grid", "parse_axis",
           "sweep"]

_CHUNK = 2048  # shots between two progress reports


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
            "axes": [{"name": a.setting.name, "unit": a.setting.unit,
                      "values": list(a.labels if a.by_name else a.values)} for a in self.axes],
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
    grid = check_grid(ball, release, pattern, axes, target)
    total = len(grid.rows)
    columns = {name: np.empty(total) for name in (*MEASURES, "outcome")}
    done = 0
    for number, lane in enumerate(grid.patterns):
        mine = np.flatnonzero(grid.pattern_of == number)
        for start, stop in _chunks(len(mine)):
            some = mine[start:stop]
            used, which = np.unique(grid.ball_of[some], return_inverse=True)
            table = throw_many([grid.balls[k] for k in used], grid.rows[some], lane,
                               hand=release.hand, which=which, friction=friction)
            for name, column in columns.items():
                column[some] = getattr(table, name)
            done += len(some)
            progress(done, total)
    shape = tuple(len(axis.values) for axis in axes)
    return Sweep(
        ball.name, pattern.name, release, tuple(axes),
        {name: columns[name].reshape(shape) for name in MEASURES},
        columns["outcome"].reshape(shape).astype(int),
    )


@dataclass(frozen=True)
class Grid:
    """The points of a grid in C order: rows (n, 7) of releases, and each point's ball and pattern.

    balls, patterns : one for each combination of their settings; ball_of, pattern_of : (n,).
    """

    balls: list[Ball]
    ball_of: np.ndarray
    patterns: list[OilPattern]
    pattern_of: np.ndarray
    rows: np.ndarray


def check_grid(
    ball: Ball,
    release: Release,
    pattern: OilPattern,
    axes: Sequence[Axis],
    target: tuple[float, float | None] | None = None,
) -> Grid:
    """The points of a grid, all validated.

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
    balls, ball_of = [ball], np.zeros(total, dtype=int)
    lanes: list[tuple[tuple[Setting, Any], ...]] = [()]  # the settings of each pattern
    lane_of = np.zeros(total, dtype=int)
    for axis, index in zip(axes, _indices(axes), strict=True):
        if axis.setting.of == "pattern":
            lanes = [(*lane, (axis.setting, value)) for lane in lanes for value in axis.values]
            lane_of = lane_of * len(axis.values) + index
        elif axis.setting.of != "release":
            balls = [changed_ball(b, axis.setting, value) for b in balls for value in axis.values]
            ball_of = ball_of * len(axis.values) + index
    patterns = [changed_pattern(pattern, lane) for lane in lanes]
    return Grid(balls, ball_of, patterns, lane_of, _releases(release, axes, target))


def _chunks(total: int) -> Iterator[tuple[int, int]]:
    for start in range(0, total, _CHUNK):
        yield start, min(start + _CHUNK, total)


def _indices(axes: Sequence[Axis]) -> np.ndarray:
    """(axes, points) index of each point's value on each axis, in C order."""
    shape = tuple(len(axis.values) for axis in axes)
    return np.indices(shape).reshape(len(shape), -1)


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
