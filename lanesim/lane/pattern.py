"""Oil patterns: how much oil lies where.

A pattern is a grid of oil volumes, one cell per board and foot. BOARD 1 IS AT THE RIGHT EDGE of
the lane, seen from the foul line, whoever plays; `OilPattern.film_m` turns the grid round for a
left-handed player. The lane outside the grid is dry. Its text file: `oil_file`; patterns made from
readings off a lane: `tape`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import InputError, check_range
from ..units import MICRON_M, OIL_UNIT_M, UL_M3
from .geometry import BOARDS, CELL_AREA_M2, GRID_ROWS

UNIT_CELL_UL = OIL_UNIT_M * CELL_AREA_M2 / UL_M3  # one unit on one board and foot: 1.48 uL
MAX_CELL_UL = 200.0  # 24 um of film: several times the heaviest oil laid; beyond it is a mistake
# Mean of one published range of lane oils (read). Published oils: 12 to 81 cP at 70 F (read).
DEFAULT_VISCOSITY_CP = 34.7
VISCOSITY_RANGE_CP = (5.0, 200.0)  # wider than the published 12-81 cP: warm and cold lanes
PRINT_DECIMALS = 3  # digits of a cell's volume [uL] in the long form

_MIDDLE = slice(17, 22)  # the middle five boards, 18 to 22
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
        """Mean of the middle five boards over the mean of boards 3 to 7 from the right edge.

        Over the whole length, by volume. This is the centre-to-outside ratio of the governing
        body's sport definition (<= 3:1; read). Infinite if the outer boards are dry and the
        middle is not; NaN if both are.
        """
        return self._ratio(_OUTER_RIGHT)

    @property
    def ratio_left(self) -> float:
        """As `ratio_right`, with boards 3 to 7 counted from the left edge (33 to 37)."""
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

    def units_by_foot(self, first: int, last: int) -> FloatArray:
        """Mean units on boards `first` to `last` from the right, foot by foot; shape (60,)."""
        if not 1 <= first <= last <= BOARDS:
            raise InputError(f"boards {first} to {last}; accepted: 1 <= first <= last <= {BOARDS}")
        return self.volume_ul[:, first - 1:last].mean(axis=1) / UNIT_CELL_UL

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

    @property
    def head_units(self) -> float:
        """Units on the middle five boards over the first ten feet; how patterns are talked of."""
        return float(self.volume_ul[:10, _MIDDLE].mean()) / UNIT_CELL_UL

    @property
    def least_units(self) -> float:
        """The fewest units on any board over the oiled length, edge to edge; 0 if dry."""
        rows = int(self.length_ft)
        return float(self.volume_ul[:rows].min()) / UNIT_CELL_UL if rows else 0.0

    def scaled(self, length_ft: int | None = None, volume_ml: float | None = None) -> OilPattern:
        """The same shape on another length, or with another volume: what a player gets to know.

        The length stretches the pattern along the lane and leaves its films as thick as they were
        (each cell is the exact mean of the stretched films); then the volume multiplies all.

        Raises
        ------
        InputError
            for a dry pattern, a length that is not whole feet from 1 to 60, a volume out of range,
            or if a cell would hold more than 200 uL.
        """
        where = f"oil pattern '{self.name}'"
        grid, length = self.volume_ul, int(self.length_ft)
        if length == 0 or not grid.any():
            raise InputError(f"{where} is dry: there is no oil to scale")
        if length_ft is not None:
            check_range("length", length_ft, 1, GRID_ROWS, "ft", where)
            if int(length_ft) != length_ft:
                raise InputError(f"{where}: length is {length_ft:g} ft; accepted: whole feet, 1 to "
                                 f"{GRID_ROWS}")
            grid, length = _stretched(grid, int(length_ft) / length), int(length_ft)
        if volume_ml is not None:
            check_range("volume", volume_ml, 0.1, 100, "mL", where)
            grid = grid * (1000.0 * volume_ml / math.fsum(grid.ravel()))
        return replace(self, volume_ul=grid, laid_ft=length)

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
            "head_units": self.head_units,
            "least_units": self.least_units,
            "largest_cell_ul": float(self.volume_ul.max()),
            "viscosity_cp": self.viscosity_cp,
            "symmetric": self.is_symmetric,
            "invented": self.invented,
            "note": self.note,
        }


def _stretched(grid: FloatArray, factor: float) -> FloatArray:
    """Films of a grid stretched along the lane: cell means, exact; what passes 60 ft is lost."""
    edges = np.arange(GRID_ROWS + 1.0)
    total = np.vstack([np.zeros(BOARDS), np.cumsum(grid, axis=0)])
    at = np.minimum(edges / factor, float(GRID_ROWS))
    moved = np.array([np.interp(at, edges, total[:, b]) for b in range(BOARDS)]).T
    return np.maximum(np.diff(moved, axis=0), 0.0) * factor


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
