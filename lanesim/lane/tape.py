"""A pattern from readings: units on some boards at some distances, as lane tapes give them.

The file is a small table (CSV): the first line names the boards, counted from the right edge, every
other line is one distance in feet and the units read there. Lines that start with `#` are
comments::

    feet, 2,  5,  8, 12, 16, 20
    2,   13, 16, 18, 40, 62, 64
    12,   6,  6,  7, 12, 18, 18
    22,   5,  5,  5,  8, 11, 11
    40,   3,  3,  3,  4,  4,  4

Boards 1 to 20 alone stand for a symmetric pattern. Between boards the film is joined in straight
lines and beyond the outermost reading it stays as read there; between distances it thins by the
same share on every foot (in a straight line where a reading is 0), before the first and beyond the
last one it stays as read there, and it ends at the pattern's length.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..errors import InputError, check_range, shown
from ..files import read_rows, read_text
from .geometry import BOARDS, GRID_ROWS
from .oil_file import taper_cells
from .pattern import DEFAULT_VISCOSITY_CP, MAX_CELL_UL, UNIT_CELL_UL, FloatArray, OilPattern

MIDDLE_BOARD = (BOARDS + 1) // 2
MAX_UNITS = MAX_CELL_UL / UNIT_CELL_UL
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")
_SAMPLE = "'feet, 2, 5, 10, 20'"


@dataclass(frozen=True)
class Tape:
    """Readings off a lane.

    feet : (n,) distances, rising; boards : (m,) from the right edge, rising;
    units : (n, m) film in units.
    """

    feet: tuple[float, ...]
    boards: tuple[int, ...]
    units: tuple[tuple[float, ...], ...]

    @property
    def symmetric(self) -> bool:
        """Whether the readings name one half of the lane only."""
        return self.boards[-1] <= MIDDLE_BOARD


def read_tape(path: str | Path) -> Tape:
    """Read a table of readings.

    Raises
    ------
    InputError
        one line naming the file, the line, what is wrong and what is accepted.
    """
    return parse_tape(read_text(path, "tape"), shown(path))


def parse_tape(text: str, where: str = "tape") -> Tape:
    """`read_tape` of the file's text."""
    boards: tuple[int, ...] = ()
    feet: list[float] = []
    units: list[tuple[float, ...]] = []
    empty = f"empty; the first line names the boards: {_SAMPLE}"
    for line, fields in read_rows(text, where, empty):
        place = f"{where}, line {line}"
        if not boards:
            boards = _boards(fields, place)
            continue
        if len(fields) != len(boards) + 1:
            raise InputError(f"{place}: {len(fields)} fields; accepted: {len(boards) + 1}, the "
                             "distance and one reading for each board")
        at = _number(fields[0], "distance", 0, GRID_ROWS, "ft", place)
        if feet and at <= feet[-1]:
            raise InputError(f"{place}: distance {at:g} ft does not lie beyond {feet[-1]:g} ft; "
                             "distances rise from line to line")
        feet.append(at)
        units.append(tuple(_number(f, f"reading on board {b}", 0, MAX_UNITS, "units", place)
                           for f, b in zip(fields[1:], boards, strict=True)))
    if len(feet) < 2:
        raise InputError(f"{where}: {len(feet)} distance{'' if len(feet) == 1 else 's'}; accepted: "
                         "2 or more, below a line that names the boards")
    return Tape(tuple(feet), boards, tuple(units))


def _boards(fields: list[str], place: str) -> tuple[int, ...]:
    if fields[0].lower() not in ("feet", "ft"):
        raise InputError(f"{place}: the first line begins with '{shown(fields[0])}'; accepted: "
                         f"'feet' and then the boards, as {_SAMPLE}")
    if len(fields) < 3:
        raise InputError(f"{place}: {len(fields) - 1} boards; accepted: 2 or more, as {_SAMPLE}")
    out: list[int] = []
    for field in fields[1:]:
        value = _number(field, "board", 1, BOARDS, "", place)
        if value != int(value):
            raise InputError(f"{place}: board {value:g}; accepted: whole boards, 1 to {BOARDS}")
        if out and value <= out[-1]:
            raise InputError(f"{place}: board {value:g} does not lie beyond {out[-1]}; boards rise "
                             "from left to right in the line")
        out.append(int(value))
    return tuple(out)


def _number(
    field: str, what: str, low: float, high: float, unit: str, place: str
) -> float:
    tail = f" {unit}" if unit else ""
    if _NUMBER.fullmatch(field) is None:
        raise InputError(f"{place}: {what} is '{shown(field)}', not a number; accepted: {low:g} to "
                         f"{high:.0f}{tail}")
    return check_range(what, float(field), low, high, unit, place)


def pattern_from_tape(
    tape: Tape, *, name: str, title: str = "", length_ft: int | None = None,
    volume_ml: float | None = None, viscosity_cp: float = DEFAULT_VISCOSITY_CP, note: str = "",
) -> OilPattern:
    """The pattern that the readings draw; see the module's docstring.

    Parameters
    ----------
    length_ft : where the oil ends; default: the first whole foot at or beyond the last reading.
    volume_ml : scale all films so that the pattern holds this much; default: as read.

    Raises
    ------
    InputError
        for a length before the last reading but one, or values out of range.
    """
    where = f"tape '{name}'"
    length = int(np.ceil(tape.feet[-1])) if length_ft is None else length_ft
    check_range("length", length, 1, GRID_ROWS, "ft", where)
    if int(length) != length or length <= tape.feet[-2]:
        raise InputError(f"{where}: length is {length:g} ft; accepted: whole feet beyond "
                         f"{tape.feet[-2]:g} ft, the last reading but one")
    across = np.array([_across(tape, row) for row in tape.units])
    grid = np.zeros((GRID_ROWS, BOARDS))
    for board in range(BOARDS):
        grid[:, board] = _down(tape.feet, across[:, board], float(length))
    pattern = OilPattern(name, title, grid * UNIT_CELL_UL, viscosity_cp, note, laid_ft=int(length))
    return pattern if volume_ml is None else pattern.scaled(volume_ml=volume_ml)


def _across(tape: Tape, row: tuple[float, ...]) -> FloatArray:
    """Units on all 39 boards at one distance."""
    boards = np.arange(1.0, BOARDS + 1.0)
    if tape.symmetric:
        boards = np.minimum(boards, BOARDS + 1.0 - boards)
    return np.interp(boards, tape.boards, row)


def _down(feet: tuple[float, ...], units: FloatArray, length: float) -> FloatArray:
    """Units of all cells of one board: the mean over each foot."""
    at, oil = [0.0, *feet, length], [units[0], *units, units[-1]]
    if length < feet[-1]:  # the last reading lies beyond the end: cut there
        at = at[:-1]
        oil = oil[:-1]
    out = np.zeros(GRID_ROWS)
    for a, b, s, e in zip(at[:-1], at[1:], oil[:-1], oil[1:], strict=True):
        if b <= a:
            continue
        end, last = min(b, length), float(e)
        thins = s > 0.0 and e > 0.0
        if end < b:
            share = (end - a) / (b - a)
            last = float(s * (e / s) ** share if thins else s + share * (e - s))
        out += taper_cells((a, end), (float(s), last), thins)
    return out
