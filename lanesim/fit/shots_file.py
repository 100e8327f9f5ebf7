"""The shots file: one measured throw a line, in plain CSV with the units in the column names.

A shot is made by where it was laid down (`laydown_board`), where it was sent (`launch_angle_deg`
or `arrow_board`) and how fast (`speed_mph`); everything else is optional, and an empty field means
"not measured". At least one column must say what the ball then did (`board_at_40ft`, `entry_board`,
`breakpoint_board`, `outcome`, ...). Lines that start with `#` are comments::

    game,ball,pattern,laydown_board,arrow_board,speed_mph,rev_rpm,board_at_40ft,entry_board,outcome
    1,strong-solid,medium-42,24,14.1,18.5,430,7.3,17.4,pocket

A ball in the gutter is worth a line with the outcome `gutter`: without that word the fit takes the
columns at the pins for not measured and the ball for one that may have stayed on the lane; without
the line the player looks steadier than he is.

Fields are separated by commas, semicolons or tabs; numbers have a decimal POINT. Boards are the
player's: a left-hander counts from the left. Angles are negative toward the ball-arm side.
"""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError, InputWarning, shown
from ..files import csv_text, read_rows, read_text, write_text

# Words that the outcome column takes; the same as pocket.OUTCOMES (held by a test: this module is
# read by `--help` and must not pull in the compiled core).
OUTCOME_WORDS = ("pocket", "high", "light", "opposite", "missed", "gutter")
TEXT_COLUMNS = ("game", "ball", "pattern", "outcome")
BOARD_AT = re.compile(r"board_at_(\d+(?:\.\d+)?)_?ft")
BOARD_AT_RANGE_FT = (1.0, 59.0)  # the ball meets the head pin at about 59.4 ft


@dataclass(frozen=True)
class Column:
    """A number column: unit, accepted range, ASSUMED standard deviation of its measurement, words.

    `sd` is our assumption (no published figure found): a track of cameras or a careful eye. Every
    study that weighs measurements takes other values by an option.
    """

    unit: str
    low: float
    high: float
    sd: float
    words: str
    hint: str = ""


RELEASE_COLUMNS: dict[str, Column] = {
    "laydown_board": Column("boards", 0.5, 39.5, 0.5, "board of the ball at the foul line",
                            "boards count 1 to 39 from the ball-arm side"),
    "launch_angle_deg": Column("deg", -12, 12, 0.15, "heading at release, negative toward the "
                               "ball-arm side"),
    "arrow_board": Column("boards", 0.5, 39.5, 0.5, "board crossed at the arrows"),
    "speed_mph": Column("mph", 8, 32, 0.15, "ball speed at release",
                        "km/h times 0.6214 or m/s times 2.237 gives mph"),
    "rev_rpm": Column("rpm", 0, 750, 12.0, "rev rate at release",
                      "turns per second times 60 gives rpm"),
    "rotation_deg": Column("deg", -90, 180, 4.0, "axis rotation at release"),
    "tilt_deg": Column("deg", -60, 89, 3.0, "axis tilt at release"),
}
RESULT_COLUMNS: dict[str, Column] = {
    "speed_pins_mph": Column("mph", 5, 32, 0.2, "ball speed at the pins",
                             "km/h times 0.6214 or m/s times 2.237 gives mph"),
    "breakpoint_board": Column("boards", 0.0, 40.0, 0.6, "outermost board"),
    "breakpoint_ft": Column("ft", 0, 60, 2.0, "distance of the outermost point",
                            "metres times 3.281 gives feet"),
    "entry_board": Column("boards", 0.0, 40.0, 0.5, "board at first contact with a pin"),
    "entry_angle_deg": Column("deg", -15, 15, 0.4, "heading at first contact with a pin"),
}
_BOARD_AT_COLUMN = Column("boards", 0.0, 40.0, 0.5, "board of the ball at that distance",
                          "boards count 1 to 39 from the ball-arm side")
OUTCOME_SD_BOARDS = 0.5  # assumed: how sharply an eye tells pocket from high or light

# Words in a column name that give a foreign unit away, and what to do.
_FOREIGN_UNITS = (
    (re.compile(r"km_?h|kph"), "this file speaks mph (km/h times 0.6214)"),
    (re.compile(r"_m_?s$|_mps$|m_per_s"), "this file speaks mph (m/s times 2.237)"),
    (re.compile(r"_rps$|rad_?s$"), "this file speaks rpm"),
    (re.compile(r"_rad$"), "this file speaks degrees (rad times 57.3)"),
    (re.compile(r"\d+_?m$|_m$|_cm$|_in$|_mm$"), "this file speaks boards across and feet along "
     "the lane (a board is 2.70 cm, 1.064 in; m times 3.281 gives feet)"),
)


@dataclass(frozen=True)
class ShotLog:
    """Measured shots: one value per shot and column, NaN where nothing was measured.

    Attributes
    ----------
    source : where they come from, for messages.
    values : column name -> (n,) float64, for every number column present (units in the name).
    board_at : distance [ft] -> (n,) board of the ball there.
    ball, pattern, outcome : (n,) tuples of words; '' where not given.
    game : (n,) int; 1 for all if the file has no game column.
    line : (n,) line number in the file, for messages.
    """

    source: str
    values: Mapping[str, np.ndarray]
    board_at: Mapping[float, np.ndarray] = field(default_factory=dict)
    ball: tuple[str, ...] = ()
    pattern: tuple[str, ...] = ()
    outcome: tuple[str, ...] = ()
    game: tuple[int, ...] = ()
    line: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        count = len(next(iter(self.values.values()), ()))
        if count == 0:
            raise InputError(f"{self.source}: no shots in it; a shot needs laydown_board, "
                             "launch_angle_deg or arrow_board, and speed_mph")
        defaults: dict[str, tuple] = {
            "ball": ("",) * count, "pattern": ("",) * count, "outcome": ("",) * count,
            "game": (1,) * count, "line": tuple(range(1, count + 1)),
        }
        for name, default in defaults.items():
            given = tuple(getattr(self, name)) or default
            object.__setattr__(self, name, given)
            if len(given) != count:
                raise InputError(f"{self.source}: {name} has {len(given)} entries for {count} "
                                 "shots")
        for kind in (self.values, self.board_at):
            for column_name, column in kind.items():
                if len(column) != count:
                    raise InputError(f"{self.source}: {column_name} has {len(column)} entries for "
                                     f"{count} shots")

    def __len__(self) -> int:
        return len(self.line)

    def column(self, name: str) -> np.ndarray:
        """Values (n,) of a number column; all NaN if the file has none."""
        found = self.values.get(name)
        return np.full(len(self), np.nan) if found is None else found

    def take(self, index: Sequence[int] | np.ndarray) -> ShotLog:
        """Only the shots of that index, in that order."""
        rows = [int(i) for i in index]
        words: dict[str, Any] = {name: tuple(getattr(self, name)[i] for i in rows)
                                 for name in ("ball", "pattern", "outcome", "game", "line")}
        return replace(
            self, values={k: v[rows] for k, v in self.values.items()},
            board_at={k: v[rows] for k, v in self.board_at.items()},
            **words,
        )

    def with_names(self, ball: str = "", pattern: str = "") -> ShotLog:
        """The same shots with those names where the file gives none."""
        return replace(self, ball=tuple(b or ball for b in self.ball),
                       pattern=tuple(p or pattern for p in self.pattern))


def read_shots(path: str | Path) -> ShotLog:
    """Read a shots file.

    Raises
    ------
    InputError
        one line: file, line, column, what is wrong and what is accepted.
    """
    return parse_shots(read_text(path, "shots"), shown(path))


def parse_shots(text: str, where: str = "shots") -> ShotLog:
    """Read shots from text; see `read_shots`."""
    lines = list(read_rows(text, where, "empty; the first line must name the columns, for example "
                           "laydown_board,arrow_board,speed_mph,entry_board"))
    header = [name.lower() for name in lines[0][1]]
    _check_header(header, f"{where} line {lines[0][0]}")
    numbers: dict[str, list[float]] = {n: [] for n in header if n not in TEXT_COLUMNS}
    words: dict[str, list[str]] = {n: [] for n in TEXT_COLUMNS if n in header}
    for number, fields in lines[1:]:
        place = f"{where} line {number}"
        if len(fields) != len(header):
            hint = ("; is a comma used as decimal sign? write 18.6, not 18,6"
                    if len(fields) > len(header) else "")
            raise InputError(f"{place}: {len(fields)} fields for {len(header)} columns{hint}")
        for name, value in zip(header, fields, strict=True):
            if name in words:
                words[name].append(value)
            else:
                numbers[name].append(_number(value, name, place))
    log = ShotLog(
        source=where,
        values={n: np.array(v, dtype=float) for n, v in numbers.items()
                if not BOARD_AT.fullmatch(n)},
        board_at={_distance_ft(n): np.array(v, dtype=float) for n, v in numbers.items()
                  if BOARD_AT.fullmatch(n)},
        ball=tuple(words.get("ball", ())), pattern=tuple(words.get("pattern", ())),
        outcome=tuple(w.lower() for w in words.get("outcome", ())),
        game=tuple(_games(words["game"], [n for n, _ in lines[1:]], where))
        if "game" in words else (),
        line=tuple(number for number, _ in lines[1:]),
    )
    check_shots(log)
    return log


def column_of(name: str) -> Column:
    """The column's unit, range and assumed measurement SD."""
    found = RELEASE_COLUMNS.get(name) or RESULT_COLUMNS.get(name)
    if found is not None:
        return found
    if BOARD_AT.fullmatch(name):
        return _BOARD_AT_COLUMN
    raise _unknown(name, "shots")


def known_columns() -> list[str]:
    """All column names; board_at_NNft stands for any distance."""
    return [*TEXT_COLUMNS, *RELEASE_COLUMNS, *RESULT_COLUMNS, "board_at_NNft"]


def _distance_ft(name: str) -> float:
    match = BOARD_AT.fullmatch(name)
    assert match is not None
    return float(match.group(1))


def _unknown(name: str, place: str) -> InputError:
    import difflib

    close = difflib.get_close_matches(name, [*known_columns(), "board_at_40ft"], n=1, cutoff=0.4)
    hint = f"; did you mean '{close[0]}'?" if close else ""
    for pattern, words in _FOREIGN_UNITS:
        if pattern.search(name):
            hint += f"; {words}"
            break
    return InputError(f"{place}: unknown column '{name}'"
                      + (hint or f"; known: {', '.join(known_columns())}"))


def _check_header(header: list[str], place: str) -> None:
    for name in header:
        if not name:
            raise InputError(f"{place}: a column has no name")
        if name in TEXT_COLUMNS or name in RELEASE_COLUMNS or name in RESULT_COLUMNS:
            continue
        if not BOARD_AT.fullmatch(name):
            raise _unknown(name, place)
        low, high = BOARD_AT_RANGE_FT
        if not low <= _distance_ft(name) <= high:
            raise InputError(f"{place}: {name}: accepted distances: {low:g} to {high:g} ft (at the "
                             "pins use entry_board)")
    double = sorted({n for n in header if header.count(n) > 1})
    if double:
        raise InputError(f"{place}: column '{double[0]}' stands there twice")
    for name in ("laydown_board", "speed_mph"):
        if name not in header:
            raise InputError(f"{place}: column '{name}' is missing; a shot needs laydown_board, "
                             "launch_angle_deg or arrow_board, and speed_mph")
    if "launch_angle_deg" not in header and "arrow_board" not in header:
        raise InputError(f"{place}: neither 'launch_angle_deg' nor 'arrow_board' is there; a shot "
                         "needs one of them")
    if not any(n in RESULT_COLUMNS or n == "outcome" or BOARD_AT.fullmatch(n) for n in header):
        raise InputError(f"{place}: no column says what the ball did; accepted: board_at_NNft, "
                         f"{', '.join(RESULT_COLUMNS)}, outcome")


def _number(text: str, name: str, place: str) -> float:
    if not text:
        return math.nan
    try:
        value = float(text)
    except ValueError:
        if re.fullmatch(r"[-+]?\d+,\d+", text):
            raise InputError(f"{place}, {name}: '{text}' has a comma as decimal sign; write "
                             f"{text.replace(',', '.')}") from None
        raise InputError(f"{place}, {name}: '{text}' is not a number; leave the field empty if it "
                         "was not measured") from None
    column = column_of(name)
    if not math.isfinite(value) or not column.low <= value <= column.high:
        hint = f" ({column.hint})" if column.hint else ""
        raise InputError(f"{place}, {name}: {text} is not possible; accepted: {column.low:g} to "
                         f"{column.high:g} {column.unit}{hint}")
    return value


def _games(words: list[str], lines: list[int], where: str) -> Iterable[int]:
    for word, number in zip(words, lines, strict=True):
        if not re.fullmatch(r"\d{1,4}", word) or int(word) < 1:
            raise InputError(f"{where} line {number}, game: '{word}' is not a game number; "
                             "accepted: 1, 2, 3, ...")
        yield int(word)


def check_shots(log: ShotLog) -> None:
    """Check what one field alone cannot show: incomplete shots, contradictions, foreign units.

    Raises
    ------
    InputError
        for a shot without what makes one, for values that contradict each other, and for a whole
        column that can only be in another unit.

    Warns
    -----
    InputWarning
        where a whole column is merely suspicious (a slow junior is not in m/s).
    """
    angle, arrow = log.column("launch_angle_deg"), log.column("arrow_board")
    for i, line in enumerate(log.line):
        place = f"{log.source} line {line}"
        for name in ("laydown_board", "speed_mph"):
            if not math.isfinite(log.column(name)[i]):
                raise InputError(f"{place}, {name}: empty; a shot needs it")
        if not math.isfinite(angle[i]) and not math.isfinite(arrow[i]):
            raise InputError(f"{place}: neither launch_angle_deg nor arrow_board is given; a shot "
                             "needs one of them")
        if log.outcome[i] and log.outcome[i] not in OUTCOME_WORDS:
            raise InputError(f"{place}, outcome: '{log.outcome[i]}' is not known; accepted: "
                             f"{', '.join(OUTCOME_WORDS)} or empty")
        _check_shot(log, i, place)
    _check_units(log)


def _check_shot(log: ShotLog, i: int, place: str) -> None:
    speed, late = log.column("speed_mph")[i], log.column("speed_pins_mph")[i]
    if late > speed + 1.0:  # NaN compares false; 1 mph: two radars may disagree by that much
        raise InputError(f"{place}: speed_pins_mph {late:g} is above speed_mph {speed:g}; a ball "
                         "loses speed on the lane")
    entry = log.column("entry_board")[i]
    outcome = log.outcome[i]
    if math.isfinite(entry):
        if outcome == "gutter":
            raise InputError(f"{place}: entry_board {entry:g} and outcome 'gutter' contradict "
                             "each other; a gutter ball touches no pin")
        # the trade's windows (pocket.py) with a slack of two boards for reading errors
        low, high = {"pocket": (14.0, 21.0), "high": (17.0, 22.0), "light": (0.0, 18.0),
                     "opposite": (18.0, 40.0)}.get(outcome, (-math.inf, math.inf))
        if not low <= entry <= high:
            raise InputError(f"{place}: entry_board {entry:g} and outcome '{outcome}' contradict "
                             f"each other; accepted with '{outcome}': {low:g} to {high:g}")
    lowest = log.column("breakpoint_board")[i]
    if lowest > entry + 2.0:
        raise InputError(f"{place}: breakpoint_board {lowest:g} lies inside entry_board {entry:g}; "
                         "the breakpoint is the outermost board of the path")


def _check_units(log: ShotLog) -> None:
    def median(name: str) -> float:
        values = log.column(name)
        values = values[np.isfinite(values)]
        return float(np.median(values)) if len(values) else math.nan

    for name in ("speed_mph", "speed_pins_mph"):
        middle = median(name)
        if middle > 24.0:
            raise InputError(f"{log.source}, {name}: half of the shots are above {middle:.1f}; "
                             "that looks like km/h (times 0.6214 gives mph)")
        if middle < 9.0:
            warnings.warn(f"{log.source}, {name}: the middle value is {middle:.1f} mph; if that is "
                          "m/s, write it times 2.237", InputWarning, stacklevel=4)
    revs = median("rev_rpm")
    if 0.0 < revs < 15.0:
        raise InputError(f"{log.source}, rev_rpm: the middle value is {revs:.1f}; that looks like "
                         "turns per second (times 60 gives rpm)")
    if 15.0 <= revs < 60.0:
        warnings.warn(f"{log.source}, rev_rpm: the middle value is {revs:.0f} rpm; if that is "
                      "rad/s, write it times 9.549", InputWarning, stacklevel=4)
    turn = log.column("rotation_deg")
    turn = np.abs(turn[np.isfinite(turn)])
    if len(turn) >= 3 and turn.max() < 1.7 and turn.min() > 0.1:
        raise InputError(f"{log.source}, rotation_deg: all values are below 1.7; that looks like "
                         "radians (times 57.3 gives degrees)")
    feet = median("breakpoint_ft")
    if feet < 19.0:
        warnings.warn(f"{log.source}, breakpoint_ft: the middle value is {feet:.1f} ft; if that is "
                      "metres, write it times 3.281", InputWarning, stacklevel=4)


def shots_text(log: ShotLog, comment: str = "") -> str:
    """The shots as CSV text; `parse_shots` gives them back. Empty columns are left out."""
    words = [n for n in TEXT_COLUMNS[:3] if n == "game" or any(getattr(log, n))]
    releases = [n for n in RELEASE_COLUMNS if np.isfinite(log.column(n)).any()]
    results = [n for n in RESULT_COLUMNS if np.isfinite(log.column(n)).any()]
    distances = sorted(log.board_at)
    columns: list[Sequence] = [getattr(log, n) for n in words]
    columns += [log.column(n).tolist() for n in releases]
    columns += [log.board_at[d].tolist() for d in distances]
    columns += [log.column(n).tolist() for n in results]
    header = [*words, *releases, *(f"board_at_{d:g}ft" for d in distances), *results]
    if any(log.outcome):
        header.append("outcome")
        columns.append(log.outcome)
    rows = [["" if isinstance(v, float) and math.isnan(v) else v for v in row]
            for row in zip(*columns, strict=True)]
    lead = "".join(f"# {line}\n" for line in comment.splitlines())
    return lead + csv_text(header, rows)


def write_shots(path: str | Path, log: ShotLog, comment: str = "") -> Path:
    """Write a shots file, whole or not at all."""
    return write_text(path, shots_text(log, comment))
