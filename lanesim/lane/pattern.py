"""Oil patterns: how much oil lies where, and the text file that says so.

A pattern is a grid of oil volumes, one cell per board and foot. BOARD 1 IS AT THE RIGHT EDGE of
the lane, seen from the foul line, whoever plays; `OilPattern.film_m` turns the grid round for a
left-handed player. The lane outside the grid is dry.

The file (ending `.oil`, UTF-8 text, a decimal point) is our own. Lines that start with `#` are
comments. Then come settings, one a line, and then the oil in ONE of two forms.

Settings::

    format: lanesim-oil-1        must come first
    name: medium-42              default: the file's name
    title: Medium, 42 feet
    length_ft: 42                whole feet, 0 (dry) to 60
    viscosity_cp: 34.7           default 34.7
    invented: yes                yes or no; default no
    board_one: right             the edge from which this FILE counts; right (default) or left
    symmetric: yes               bands only: write boards 1-20, the far half is their mirror image
    note: any text               may be repeated; the lines are joined

Short form, for writing by hand; every line adds to those before it::

    band boards 3 to 20 feet 0 to 42 oil 6.5 to 2

lays oil on boards 3..20 that tapers in a straight line from 6.5 uL per board-foot at 0 ft to 2 at
42 ft (`oil 6.5` alone: no taper). A cell receives the exact mean of that line over its foot, so a
band of length L holds L (start + end)/2 on every board, and distances need not be whole feet.

Long form, the grid itself: 39 volumes [uL] per line, board 1 first; foot 1 is the first foot
(0-1 ft). Either every foot up to `length_ft`, or all 60 (then oil carried beyond fits in)::

    foot 1: 0.000 1.250 ... (39 numbers)
"""

from __future__ import annotations

import math
import re
import textwrap
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import InputError, check_range, nearest_name, shown
from ..files import read_text, write_text
from ..units import MICRON_M, OIL_UNIT_M, UL_M3
from .geometry import BOARDS, CELL_AREA_M2, GRID_ROWS

FORMAT = "lanesim-oil-1"
SUFFIX = ".oil"
MAX_CELL_UL = 200.0  # 24 um of film: several times the heaviest oil laid; beyond it is a mistake
# Mean of one published range of lane oils (read). Published oils: 12 to 81 cP at 70 F (read).
DEFAULT_VISCOSITY_CP = 34.7
VISCOSITY_RANGE_CP = (5.0, 200.0)  # wider than the published 12-81 cP: warm and cold lanes
PRINT_DECIMALS = 3  # digits of a cell's volume [uL] in the long form

_MIDDLE = slice(17, 22)  # boards 18 from the right to 18 from the left: 18..22
_OUTER_RIGHT = slice(2, 7)  # boards 3..7 from the right edge
_OUTER_LEFT = slice(32, 37)  # boards 3..7 from the left edge: 33..37

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class OilPattern:
    """Oil on a lane, one volume per board and foot.

    Parameters
    ----------
    name : str
        Short name, as given on the command line.
    title : str
        A line for headings; the name if empty.
    volume_ul : array_like, shape (60, 39)
        Oil volume [uL] of each cell, 0 to 200. Row r covers r to r+1 ft from the foul line;
        column c is board c+1 counted from the RIGHT edge. Copied, C-ordered and made read-only.
    viscosity_cp : float
        Dynamic viscosity [cP], 5 to 200. The default 34.7 is the mean of one published range.
    note : str
        Free text; runs of white space become one space.
    invented : bool
        True if the pattern was made up and never measured on a lane.
    laid_ft : int, optional
        How far the oil was laid [ft], 0 to 60. Default: the end of the last row with any oil.
        Kept by `with_volume`, so that oil carried down does not lengthen the pattern.

    Raises
    ------
    InputError
        wrong shape, a volume that is not a finite number from 0 to 200 uL, other values out of
        range.
    """

    name: str
    title: str
    volume_ul: FloatArray = field(repr=False)
    viscosity_cp: float = DEFAULT_VISCOSITY_CP
    note: str = ""
    invented: bool = False
    laid_ft: int | None = None

    def __post_init__(self) -> None:
        name = _one_line(self.name)
        if not name:
            raise InputError("an oil pattern needs a name of at least one letter")
        where = f"oil pattern '{name}'"
        grid = _checked_grid(self.volume_ul, where)
        viscosity = check_range("viscosity_cp", self.viscosity_cp, *VISCOSITY_RANGE_CP, "cP", where)
        oiled = np.flatnonzero(grid.any(axis=1))
        laid = self.laid_ft
        if laid is None:
            laid = int(oiled[-1]) + 1 if oiled.size else 0
        if check_range("laid_ft", laid, 0, GRID_ROWS, "ft", where) != int(laid):
            raise InputError(f"{where}: laid_ft is {laid:g}; accepted: whole feet, 0 to 60")
        for key, value in (
            ("name", name),
            ("title", _one_line(self.title) or name),
            ("note", _one_line(self.note)),
            ("volume_ul", grid),
            ("viscosity_cp", viscosity),
            ("invented", bool(self.invented)),
            ("laid_ft", int(laid)),
        ):
            object.__setattr__(self, key, value)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, OilPattern):
            return NotImplemented
        return self._identity() == other._identity()

    def __hash__(self) -> int:
        return hash(self._identity())

    def _identity(self) -> tuple[object, ...]:
        # Adding 0.0 turns -0.0 into 0.0, which compares equal but has other bytes.
        cells = (self.volume_ul + 0.0).tobytes()
        return (self.name, self.title, cells, self.viscosity_cp, self.note, self.invented,
                self.laid_ft)

    @property
    def length_ft(self) -> float:
        """How far the oil was laid [ft]."""
        return float(self.laid_ft or 0)

    @property
    def total_ml(self) -> float:
        """All the oil on the lane [mL]."""
        return float(math.fsum(self.volume_ul.ravel())) / 1000.0

    @property
    def ratio_right(self) -> float:
        """Mean of boards 18L-18R (18..22) over the mean of boards 3-7 from the right edge.

        Over the whole length, by volume. This is the centre-to-outside ratio of the governing
        body's sport definition (<= 3:1; read). Infinite if the outer boards are dry and the
        middle is not; NaN if both are.
        """
        return self._ratio(_OUTER_RIGHT)

    @property
    def ratio_left(self) -> float:
        """As `ratio_right`, with boards 3-7 counted from the left edge (33..37)."""
        return self._ratio(_OUTER_LEFT)

    def _ratio(self, outer: slice) -> float:
        # Five boards each, so the sums' ratio is the means'. fsum: exact, whatever the order.
        middle_ul = math.fsum(self.volume_ul[:, _MIDDLE].ravel())
        outer_ul = math.fsum(self.volume_ul[:, outer].ravel())
        if outer_ul == 0.0:
            return math.inf if middle_ul > 0.0 else math.nan
        return middle_ul / outer_ul

    @property
    def mean_film_um(self) -> float:
        """Mean film thickness [um] over the oiled length times all 39 boards; 0 if dry."""
        rows = int(self.length_ft)
        if rows == 0:
            return 0.0
        return float(self.volume_ul[:rows].mean()) * UL_M3 / CELL_AREA_M2 / MICRON_M

    @property
    def mean_units(self) -> float:
        """Mean film in the trade's units (1 unit = 0.180 um; from memory / derived)."""
        return self.mean_film_um * MICRON_M / OIL_UNIT_M

    @property
    def is_symmetric(self) -> bool:
        """True if the left half is the mirror image of the right half to the printed digits."""
        flipped = self.volume_ul[:, ::-1]
        return bool(np.abs(self.volume_ul - flipped).max() < 0.5 * 10.0**-PRINT_DECIMALS)

    def film_m(self, hand: str = "right") -> FloatArray:
        """Mean film thickness [m] of every cell, in the PLAYER's board order.

        film = cell volume / cell area; 10 uL is 1.21 um.

        Parameters
        ----------
        hand : {"right", "left"}
            For a left-hander the columns are reversed: column 0 is the left edge.

        Returns
        -------
        ndarray, shape (60, 39), C-contiguous, a fresh copy
        """
        if hand not in ("right", "left"):
            raise InputError(f"hand is {hand!r}; accepted: right, left")
        grid = self.volume_ul if hand == "right" else self.volume_ul[:, ::-1]
        return np.ascontiguousarray(grid * (UL_M3 / CELL_AREA_M2))

    def film_by_foot_um(self) -> FloatArray:
        """Mean film [um] across all 39 boards, foot by foot; shape (60,)."""
        return self.volume_ul.mean(axis=1) * (UL_M3 / CELL_AREA_M2 / MICRON_M)

    def film_by_board_um(self, start_ft: int = 0, end_ft: int = GRID_ROWS) -> FloatArray:
        """Mean film [um] from `start_ft` to `end_ft`, board by board from the right; shape (39,).

        Raises
        ------
        InputError
            unless 0 <= start_ft < end_ft <= 60.
        """
        if not 0 <= start_ft < end_ft <= GRID_ROWS:
            raise InputError(f"feet {start_ft} to {end_ft}; accepted: 0 <= start < end <= "
                             f"{GRID_ROWS}")
        rows = self.volume_ul[int(start_ft):int(end_ft)]
        return rows.mean(axis=0) * (UL_M3 / CELL_AREA_M2 / MICRON_M)

    def mirrored(self) -> OilPattern:
        """The same pattern with left and right exchanged."""
        return replace(self, volume_ul=self.volume_ul[:, ::-1])

    def with_volume(self, volume_ul: ArrayLike) -> OilPattern:
        """The same pattern, same laid length, with other oil in its cells (checked again)."""
        return replace(self, volume_ul=np.asarray(volume_ul))

    def summary(self) -> dict[str, object]:
        """The reported numbers, names with units; plain values for tables and JSON."""
        return {
            "name": self.name,
            "title": self.title,
            "length_ft": self.length_ft,
            "total_ml": self.total_ml,
            "ratio_left": self.ratio_left,
            "ratio_right": self.ratio_right,
            "mean_film_um": self.mean_film_um,
            "mean_units": self.mean_units,
            "largest_cell_ul": float(self.volume_ul.max()),
            "viscosity_cp": self.viscosity_cp,
            "symmetric": self.is_symmetric,
            "invented": self.invented,
            "note": self.note,
        }


def pattern_directory() -> Path:
    """The folder of the patterns that ship with lanesim.

    `lanesim/data/patterns` in an installed wheel, else `patterns/` beside the package.
    """
    package = Path(__file__).resolve().parents[1]
    installed = package / "data" / "patterns"
    return installed if installed.is_dir() else package.parent / "patterns"


def pattern_files() -> dict[str, Path]:
    """The shipped patterns: name -> file, sorted by name."""
    return {path.stem: path for path in sorted(pattern_directory().glob(f"*{SUFFIX}"))}


def load_pattern(path: str | Path) -> OilPattern:
    """Read a pattern file.

    Raises
    ------
    InputError
        one line naming the file, the line or key, and what is accepted.
    """
    text = read_text(path, "oil pattern")
    return parse_pattern(text, shown(path), default_name=shown(Path(path).stem))


def save_pattern(pattern: OilPattern, path: str | Path) -> Path:
    """Write a pattern in the long form, whole or not at all."""
    return write_text(path, pattern_text(pattern))


def pattern_text(pattern: OilPattern) -> str:
    """The long form of a pattern: settings and the grid, volumes to 0.001 uL.

    `parse_pattern(pattern_text(p))` gives back p with its volumes rounded to three decimals.
    """
    rows = int(pattern.length_ft)
    if pattern.volume_ul[rows:].round(PRINT_DECIMALS).any():
        rows = GRID_ROWS
    lines = [
        f"format: {FORMAT}",
        f"name: {pattern.name}",
        f"title: {pattern.title}",
        f"length_ft: {int(pattern.length_ft)}",
        f"viscosity_cp: {pattern.viscosity_cp!r}",
        f"invented: {'yes' if pattern.invented else 'no'}",
        "board_one: right",
    ]
    lines += [f"note: {part}" for part in textwrap.wrap(
        pattern.note, 90, break_long_words=False, break_on_hyphens=False)]
    lines += ["", "# uL of oil per board and foot; first number: board 1, at the right edge"]
    # One width for the whole grid keeps the columns straight.
    texts = [[f"{v:.{PRINT_DECIMALS}f}" for v in row + 0.0]
             for row in pattern.volume_ul[:rows].round(PRINT_DECIMALS)]
    width = max((len(t) for row in texts for t in row), default=0)
    for foot, row in enumerate(texts, start=1):
        lines.append(f"foot {foot:2d}: " + " ".join(t.rjust(width) for t in row))
    return "\n".join(lines) + "\n"


def parse_pattern(text: str, where: str = "oil pattern", *, default_name: str = "") -> OilPattern:
    """Read a pattern from text in the short or the long form (see the module's docstring).

    Parameters
    ----------
    text : str
        The whole file.
    where : str
        What to call the source in errors, usually the file's path.
    default_name : str
        Name if the text has no `name:` line.

    Raises
    ------
    InputError
        one line naming the source, the line or key, and what is accepted. Nothing is returned
        unless everything is right.
    """
    return _Reader(where).read(text, default_name or Path(where).stem)


# --- reading -------------------------------------------------------------------------------

_KEYS = ("format", "name", "title", "length_ft", "viscosity_cp", "invented", "board_one",
         "symmetric", "note")
_BAND_KEYS = ("boards", "feet", "oil")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
_FOOT_LINE = re.compile(r"foot\s+([^:]*):(.*)", re.IGNORECASE)
_SETTING = re.compile(r"([^\s:]+)\s*:(.*)")


class _Reader:
    """State of one reading: the source's name, the line in hand and what was found so far."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.line = 0
        self.settings: dict[str, str] = {}
        self.set_on: dict[str, int] = {}
        self.grid = np.zeros((GRID_ROWS, BOARDS))
        self.band_lines = 0
        self.foot_on: dict[int, int] = {}

    def fail(self, message: str) -> InputError:
        return InputError(f"{self.where}, line {self.line}: {message}")

    def read(self, text: str, default_name: str) -> OilPattern:
        for self.line, raw in enumerate(text.removeprefix("\ufeff").splitlines(), start=1):
            line = raw.strip()
            if not line or line.startswith("#"):
                continue
            first = line.split()[0].lower()
            if first == "band":
                self.band(line.split("#")[0].split()[1:])
            elif first == "foot":
                self.foot(line.split("#")[0])
            else:
                self.setting(line)
        return self.finish(default_name)

    # settings

    def setting(self, line: str) -> None:
        match = _SETTING.fullmatch(line)
        if match is None:
            word = line.split()[0]
            raise self.fail(f"'{word}' starts no line known here; accepted: a setting such as "
                            "'length_ft: 42', a 'band ...' line or a 'foot N: ...' line")
        key, value = match[1], match[2].strip()
        if key not in _KEYS:
            raise self.fail(str(nearest_name(key, _KEYS, "setting")))
        if not self.settings and key != "format":
            raise self.fail(f"the first setting must be 'format: {FORMAT}', not '{key}'")
        if self.band_lines or self.foot_on:
            raise self.fail(f"setting '{key}' stands below the oil; settings come first")
        if key == "note" and key in self.settings:
            value = f"{self.settings[key]} {value}"
        elif key in self.settings:
            raise self.fail(f"'{key}' is given twice; first on line {self.set_on[key]}")
        self.settings[key] = value
        self.set_on[key] = self.line
        self.check_setting(key, value)

    def check_setting(self, key: str, value: str) -> None:
        choices = {"format": (FORMAT,), "invented": ("yes", "no"), "symmetric": ("yes", "no"),
                   "board_one": ("right", "left")}
        if key in choices and value not in choices[key]:
            raise self.fail(f"{key} is '{value}'; accepted: {', '.join(choices[key])}")
        if key in ("name", "title") and not value:
            raise self.fail(f"{key} is empty; accepted: some text")
        if key == "length_ft":
            self.whole(value, key, 0, GRID_ROWS, "ft")
        if key == "viscosity_cp":
            self.number(value, key, *VISCOSITY_RANGE_CP, "cP")

    def need_settings(self) -> None:
        """The oil can only be read once these are known."""
        for key in ("format", "length_ft"):
            if key not in self.settings:
                sample = FORMAT if key == "format" else "42"
                raise self.fail(f"the setting '{key}' is missing; it must stand above the oil, "
                                f"as '{key}: {sample}'")

    @property
    def length(self) -> int:
        return int(self.settings["length_ft"])

    # numbers

    def number(self, word: str, what: str, low: float, high: float, unit: str = "") -> float:
        tail = f" {unit}" if unit else ""
        accepted = f"accepted: {low:g} to {high:g}{tail}"
        if _DECIMAL_COMMA.fullmatch(word):
            raise self.fail(f"{what} is '{word}' with a decimal comma; write "
                            f"'{word.replace(',', '.')}'; {accepted}")
        if _NUMBER.fullmatch(word) is None:
            raise self.fail(f"{what} is '{word}', not a number; {accepted}")
        value = float(word)
        if not math.isfinite(value) or not low <= value <= high:
            raise self.fail(f"{what} is {word}{tail}; {accepted}")
        return value

    def whole(self, word: str, what: str, low: int, high: int, unit: str = "") -> int:
        if re.fullmatch(r"[+-]?\d+", word) is None:
            self.number(word, what, low, high, unit)  # the more telling error, if there is one
            raise self.fail(f"{what} is '{word}'; accepted: whole numbers, {low} to {high}")
        return int(self.number(word, what, low, high, unit))

    # oil

    def band(self, words: list[str]) -> None:
        self.need_settings()
        if self.foot_on:
            raise self.fail("a 'band' line below 'foot' lines; a file holds one form or the other")
        parts = self.band_parts(words)
        half = self.settings.get("symmetric", "no") == "yes"
        last_board = (BOARDS + 1) // 2 if half else BOARDS
        what = "board (symmetric: yes)" if half else "board"
        ends = [self.whole(w, what, 1, last_board) for w in parts["boards"]]
        first, last = ends[0], ends[-1]
        if first > last:
            raise self.fail(f"boards {first} to {last} run backwards; the lower board comes first")
        if len(parts["feet"]) != 2:
            raise self.fail("feet needs a start and an end, as 'feet 0 to 42'")
        start_ft, end_ft = (self.number(w, "distance", 0, self.length, "ft") for w in parts["feet"])
        if start_ft >= end_ft:
            raise self.fail(f"feet {start_ft:g} to {end_ft:g} do not run down the lane; "
                            "the end must be beyond the start")
        oil = [self.number(w, "oil", 0, MAX_CELL_UL, "uL") for w in parts["oil"]]
        column = taper_cells(start_ft, end_ft, oil[0], oil[-1])
        self.grid[:, first - 1:last] += column[:, None]
        if half:
            # Board 20 is its own mirror image and has just had its oil.
            mirror_first, mirror_last = BOARDS + 1 - last, BOARDS + 1 - first
            mirror_first = max(mirror_first, last_board + 1)
            self.grid[:, mirror_first - 1:mirror_last] += column[:, None]
        worst = float(self.grid.max())
        if worst > MAX_CELL_UL:
            row, board = np.unravel_index(int(self.grid.argmax()), self.grid.shape)
            raise self.fail(f"with this band board {board + 1}, foot {row + 1} holds {worst:g} uL; "
                            f"accepted: 0 to {MAX_CELL_UL:g} uL in a cell")
        self.band_lines += 1

    def band_parts(self, words: list[str]) -> dict[str, list[str]]:
        """Split 'boards A to B feet C to D oil E to F' into its three parts, in any order."""
        parts: dict[str, list[str]] = {}
        key = ""
        for word in words:
            if word[0].isalpha() and word.lower() not in ("to", "nan", "inf", "infinity"):
                key = word.lower()
                if key not in _BAND_KEYS:
                    raise self.fail(str(nearest_name(key, _BAND_KEYS, "word in a band")))
                if key in parts:
                    raise self.fail(f"'{key}' is given twice in one band")
                parts[key] = []
            elif not key:
                raise self.fail(f"a band begins with 'boards', not '{word}'")
            else:
                parts[key].append(word)
        for key in _BAND_KEYS:
            if key not in parts:
                raise self.fail(f"the band lacks '{key}'; accepted: "
                                "band boards A to B feet C to D oil E to F")
            given = parts[key]
            single = len(given) == 1 and given[0].lower() != "to"
            double = len(given) == 3 and given[1].lower() == "to"
            if not (single or double):
                raise self.fail(f"{key} reads '{' '.join(given)}'; accepted: one number, or two "
                                "as 'A to B'")
            parts[key] = [w for w in given if w.lower() != "to"]
        return parts

    def foot(self, line: str) -> None:
        self.need_settings()
        if self.band_lines:
            raise self.fail("a 'foot' line below 'band' lines; a file holds one form or the other")
        if self.settings.get("symmetric", "no") == "yes":
            raise self.fail("'symmetric: yes' goes with band lines only; a grid names every board")
        match = _FOOT_LINE.fullmatch(line.strip())
        if match is None:
            raise self.fail("a grid line reads 'foot N:' and then 39 volumes in uL")
        foot = self.whole(match[1].strip(), "foot", 1, GRID_ROWS)
        if foot in self.foot_on:
            raise self.fail(f"foot {foot} is given twice; first on line {self.foot_on[foot]}")
        words = match[2].split()
        if len(words) != BOARDS:
            raise self.fail(f"foot {foot} has {len(words)} volumes; accepted: {BOARDS}, "
                            "one for each board")
        self.grid[foot - 1] = [
            self.number(w, f"oil on foot {foot}, number {i} of the line", 0, MAX_CELL_UL, "uL")
            for i, w in enumerate(words, start=1)
        ]
        self.foot_on[foot] = self.line

    # the end of the file

    def finish(self, default_name: str) -> OilPattern:
        for key in ("format", "title", "length_ft"):
            if key not in self.settings:
                raise InputError(f"{self.where}: the setting '{key}' is missing")
        length = self.length
        if length and not (self.band_lines or self.foot_on):
            raise InputError(f"{self.where}: no oil: length_ft is {length} but there is no "
                             "'band' or 'foot' line")
        if self.foot_on:
            need = GRID_ROWS if max(self.foot_on) > length else length
            missing = sorted(set(range(1, need + 1)) - set(self.foot_on))
            if missing:
                raise InputError(
                    f"{self.where}: foot {missing[0]} is missing ({len(missing)} in all); "
                    f"accepted: every foot from 1 to {length} (length_ft), or from 1 to "
                    f"{GRID_ROWS}")
        if self.band_lines:
            oiled = np.flatnonzero(self.grid.any(axis=1))
            end = int(oiled[-1]) + 1 if oiled.size else 0
            if end != length:
                raise InputError(f"{self.where}: length_ft is {length} but the bands' oil ends in "
                                 f"foot {end}; make the two agree")
        grid = self.grid
        if self.settings.get("board_one", "right") == "left":
            grid = grid[:, ::-1]
        return OilPattern(
            name=self.settings.get("name", default_name),
            title=self.settings["title"],
            volume_ul=grid,
            viscosity_cp=float(self.settings.get("viscosity_cp", DEFAULT_VISCOSITY_CP)),
            note=self.settings.get("note", ""),
            invented=self.settings.get("invented", "no") == "yes",
            laid_ft=length,
        )


def taper_cells(start_ft: float, end_ft: float, start_ul: float, end_ul: float) -> FloatArray:
    """Oil [uL] per cell down one board, of a band that tapers in a straight line.

    Each cell holds the integral of the line over the part of its foot inside the band, so the
    board's total is (end_ft - start_ft)(start_ul + end_ul)/2 to rounding.

    Returns
    -------
    ndarray, shape (60,)
    """
    edges = np.clip(np.arange(GRID_ROWS + 1.0), start_ft, end_ft)
    slope = (end_ul - start_ul) / (end_ft - start_ft)
    middle = (edges[:-1] + edges[1:]) / 2.0
    return (edges[1:] - edges[:-1]) * (start_ul + slope * (middle - start_ft))


def _one_line(text: str) -> str:
    if not isinstance(text, str):
        raise InputError(f"an oil pattern's name, title and note must be text, not {text!r}")
    return " ".join(text.split())


def _checked_grid(volume_ul: ArrayLike, where: str) -> FloatArray:
    """A private, read-only, C-ordered float64 copy, or an error naming the first bad cell."""
    try:
        grid = np.array(volume_ul, dtype=np.float64, order="C", copy=True)
    except (TypeError, ValueError):
        raise InputError(f"{where}: volumes must be a table of numbers [uL]") from None
    if grid.shape != (GRID_ROWS, BOARDS):
        raise InputError(f"{where}: the grid is {grid.shape}; accepted: ({GRID_ROWS}, {BOARDS}), "
                         "feet by boards")
    with np.errstate(invalid="ignore"):
        bad = ~((grid >= 0.0) & (grid <= MAX_CELL_UL))
    if bad.any():
        row, column = (int(i) for i in np.argwhere(bad)[0])
        raise InputError(f"{where}: board {column + 1}, foot {row + 1} holds "
                         f"{grid[row, column]:g} uL; accepted: 0 to {MAX_CELL_UL:g} uL")
    grid.setflags(write=False)
    return grid
