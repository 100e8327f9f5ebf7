"""The text file of an oil pattern (ending `.oil`), read and written.

UTF-8 text with a decimal point, our own. Lines that start with `#` are comments. Then come
settings, one a line, and then the oil in ONE of two forms.

Settings::

    format: lanesim-oil-1        must come first
    name: medium-42              default: the file's name
    title: Medium, 42 feet
    length_ft: 42                whole feet, 0 (dry) to 60
    viscosity_cp: 34.7           default 34.7
    invented: yes                yes or no; default no
    board_one: right             the edge from which this FILE counts; right (default) or left
    symmetric: yes               bands only: write boards 1-20, the far half is their mirror image
    oil_in: units                bands only: units (1 unit is 1.48 uL on a board and foot) or uL,
                                 the default
    note: any text               may be repeated; the lines are joined

Short form, for writing by hand; every line adds to those before it::

    band boards 3 to 20 feet 0 to 42 oil 6.5 to 2

lays oil on boards 3..20 that tapers in a straight line from 6.5 (uL or units per board and foot) at
0 ft to 2 at 42 ft (`oil 6.5` alone: no taper). More places make a taper in pieces::

    band boards 3 to 20 feet 0 to 12 to 42 oil 60 to 17 to 4 taper exponential

where `taper exponential` thins the film by the same share on every foot of a piece, as machines
lay it, instead of in straight lines. A cell receives the exact mean over its foot, so a straight
piece of length L holds L (start + end)/2 on every board, an exponential one
L (start - end)/ln(start/end), and distances need not be whole feet.

Long form, the grid itself: 39 volumes [uL] per line, board 1 first; foot 1 is the first foot
(0-1 ft). Either every foot up to `length_ft`, or all 60 (then oil carried beyond fits in)::

    foot 1: 0.000 1.250 ... (39 numbers)
"""

from __future__ import annotations

import itertools
import math
import re
import textwrap
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ..errors import InputError, nearest_name, shown
from ..files import read_text, write_text
from .geometry import BOARDS, GRID_ROWS
from .pattern import (
    DEFAULT_VISCOSITY_CP,
    MAX_CELL_UL,
    PRINT_DECIMALS,
    UNIT_CELL_UL,
    VISCOSITY_RANGE_CP,
    FloatArray,
    OilPattern,
)

FORMAT = "lanesim-oil-1"
SUFFIX = ".oil"


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
         "symmetric", "oil_in", "note")
_BAND_KEYS = ("boards", "feet", "oil", "taper")
_TAPERS = ("straight", "exponential")
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
                   "board_one": ("right", "left"), "oil_in": ("uL", "units")}
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
        column = self.band_column(parts)
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

    def band_column(self, parts: dict[str, list[str]]) -> FloatArray:
        """Oil [uL] per cell down each board of a band."""
        if len(parts["feet"]) < 2:
            raise self.fail("feet needs a start and an end, as 'feet 0 to 42'")
        feet = [self.number(w, "distance", 0, self.length, "ft") for w in parts["feet"]]
        for near, far in itertools.pairwise(feet):
            if near >= far:
                raise self.fail(f"feet {near:g} to {far:g} do not run down the lane; "
                                "the end must be beyond the start")
        unit, name = (UNIT_CELL_UL, "units") if self.settings.get("oil_in") == "units" else (
            1.0, "uL")
        oil = [self.number(w, "oil", 0, math.floor(MAX_CELL_UL / unit), name)
               for w in parts["oil"]]
        if len(oil) == 1:
            oil = oil * len(feet)
        if len(oil) != len(feet):
            raise self.fail(f"{len(feet)} distances but {len(oil)} amounts of oil; accepted: one "
                            "amount for each distance, or a single one")
        word = parts.get("taper", ["straight"])[0].lower()
        if word not in _TAPERS:
            raise self.fail(f"taper is '{word}'; accepted: {', '.join(_TAPERS)}")
        if word == "exponential" and min(oil) <= 0.0:
            raise self.fail("an exponential taper needs oil above 0 at every distance")
        return unit * taper_cells(feet, oil, word == "exponential")

    def band_parts(self, words: list[str]) -> dict[str, list[str]]:
        """Split 'boards A to B feet C to D oil E to F taper T' into its parts, in any order."""
        parts: dict[str, list[str]] = {}
        key = ""
        for word in words:
            plain = word.lower()
            if key == "taper" and not parts[key]:
                parts[key].append(plain)
            elif word[0].isalpha() and plain not in ("to", "nan", "inf", "infinity"):
                key = plain
                if key not in _BAND_KEYS:
                    raise self.fail(str(nearest_name(key, _BAND_KEYS, "word in a band")))
                if key in parts:
                    raise self.fail(f"'{key}' is given twice in one band")
                parts[key] = []
            elif not key:
                raise self.fail(f"a band begins with 'boards', not '{shown(word)}'")
            else:
                parts[key].append(word)
        for key in _BAND_KEYS[:3]:
            if key not in parts:
                raise self.fail(f"the band lacks '{key}'; accepted: "
                                "band boards A to B feet C to D oil E to F")
            given = parts[key]
            numbers, between = given[::2], given[1::2]
            in_turn = len(given) % 2 == 1 and all(w.lower() == "to" for w in between)
            most = 2 if key == "boards" else GRID_ROWS
            if not in_turn or not 1 <= len(numbers) <= most or "to" in map(str.lower, numbers):
                raise self.fail(f"{key} reads '{shown(' '.join(given))}'; accepted: one number, or "
                                + ("two as 'A to B'" if key == "boards" else
                                   "several as 'A to B', 'A to B to C'"))
            parts[key] = numbers
        if "taper" in parts and len(parts["taper"]) != 1:
            raise self.fail(f"taper reads '{shown(' '.join(parts['taper']))}'; accepted: "
                            f"{', '.join(_TAPERS)}")
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


def taper_cells(
    feet: Sequence[float], oil: Sequence[float], exponential: bool = False
) -> FloatArray:
    """Oil per cell down one board, of a band that tapers in pieces.

    Each cell holds the integral over the part of its foot inside the band. A straight piece from s
    at a to e at b integrates to (b - a)(s + e)/2, an exponential one, s (e/s)^((x - a)/(b - a)), to
    (b - a)(s - e)/ln(s/e).

    Parameters
    ----------
    feet, oil : two or more places, rising, and the oil there (above 0 if exponential).

    Returns
    -------
    ndarray, shape (60,)
    """
    out = np.zeros(GRID_ROWS)
    for a, b, s, e in zip(feet[:-1], feet[1:], oil[:-1], oil[1:], strict=True):
        edges = np.clip(np.arange(GRID_ROWS + 1.0), a, b)
        left, right = edges[:-1], edges[1:]
        rate = math.log(s / e) / (b - a) if exponential else 0.0
        if abs(rate) * (b - a) > 1e-9:
            start = s * np.exp(-rate * (left - a))
            out += start * -np.expm1(-rate * (right - left)) / rate
        else:
            slope = (e - s) / (b - a)
            out += (right - left) * (s + slope * (0.5 * (left + right) - a))
    return out
