"""What a shot is worth: what a search for a line makes as large as it can.

`Worth` states the contract; pocket hits, strikes and pins are three of them.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable

import numpy as np

from ..errors import InputError, nearest_name
from ..motion.pocket import GUTTER, HIGH_FROM_BOARD, LIGHT_TO_BOARD, MISSED, POCKET
from ..motion.trajectory import ShotTable
from ..pins.table import CENTRE_BOARD, NODE_ANGLES, NODE_BOARDS, NODE_SPEEDS

# Value of each arrival, 0 to 1, from entry board, entry angle [deg] and entry speed [mph] (n,).
Objective = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]


class Worth(ABC):
    """What shots are worth under one aim.

    A subclass gives `name`, `nothing` (the worth of a shot that meets no pin), `at` and `of_shots`.
    The two must agree: wherever a shot of a table met a pin that counts, `of_shots` is `at` of its
    entry. Rates are means of these numbers, so they must be finite; whether they are shares of
    shots (0 to 1) or pins is the worth's own affair, the search only compares.
    """

    name: str = ""
    nothing: float = 0.0

    @abstractmethod
    def at(
        self, board: np.ndarray, angle_deg: np.ndarray, speed_mph: np.ndarray
    ) -> np.ndarray:
        """Worth (...) of arrivals at finite entry boards, angles and speeds of one shape."""

    @abstractmethod
    def of_shots(self, table: ShotTable) -> np.ndarray:
        """Worth (n,) of each shot thrown."""


class PocketWorth(Worth):
    """1 for a shot in the pocket, else 0."""

    name = "pocket"

    def at(self, board, angle_deg, speed_mph):
        """1 inside the pocket's window of boards."""
        return ((board > LIGHT_TO_BOARD) & (board < HIGH_FROM_BOARD)).astype(float)

    def of_shots(self, table):
        """1 for the outcome 'pocket'."""
        return (table.outcome == POCKET).astype(float)


class ChanceWorth(Worth):
    """A chance, 0 to 1, that follows from the entry; 0 for a shot that misses the head pin.

    objective : from entry board, angle [deg] and speed [mph] (n,) to values (n,).
    """

    def __init__(self, name: str, objective: Objective) -> None:
        self.name, self.objective = name, objective

    def at(self, board, angle_deg, speed_mph):
        """What the objective says, asked with flat rows."""
        shape = np.shape(board)
        found = self.objective(*(np.ravel(v) for v in (board, angle_deg, speed_mph)))
        return np.asarray(found, dtype=float).reshape(shape)

    def of_shots(self, table):
        """The objective's value of each shot that meets the head pin.

        Raises
        ------
        InputError
            if it is outside 0..1.
        """
        values = np.asarray(self.objective(
            table.entry_board, table.entry_angle_deg, table.entry_speed_mph), dtype=float)
        values = np.where((table.outcome == MISSED) | (table.outcome == GUTTER), 0.0, values)
        if not np.all((values >= 0) & (values <= 1)):
            raise InputError("an aim's values must lie in 0..1 for every shot that meets the "
                             "head pin")
        return values


class PinsWorth(Worth):
    """Pins per game, on the carry table's nodes of entry board, angle and speed.

    plain, flipped : (nodes,) worth of arrivals at angles of 0 or more, and of the others, mirrored.
    gutter : worth of a first ball that takes nothing.
    """

    name = "pins"

    def __init__(self, plain: np.ndarray, flipped: np.ndarray, gutter: float) -> None:
        shape = (len(NODE_BOARDS), len(NODE_ANGLES), len(NODE_SPEEDS))
        self.plain = np.ascontiguousarray(plain, dtype=float).reshape(shape)
        self.flipped = np.ascontiguousarray(flipped, dtype=float).reshape(shape)
        self.nothing = float(gutter)

    def at(self, board, angle_deg, speed_mph):
        """Joined linearly on the nodes; beyond them the nearest edge."""
        out = joined(self.plain, board, angle_deg, speed_mph)
        back = angle_deg < 0
        if np.any(back):
            out[back] = joined(self.flipped, 2 * CENTRE_BOARD - board[back], -angle_deg[back],
                               speed_mph[back])
        return out

    def of_shots(self, table):
        """The same of thrown shots; what no pin was met by takes nothing."""
        out = np.full(len(table), self.nothing)
        met = np.flatnonzero(np.isfinite(table.entry_board))
        if len(met):
            out[met] = self.at(table.entry_board[met], table.entry_angle_deg[met],
                               table.entry_speed_mph[met])
        return out


def joined(
    values: np.ndarray, board: np.ndarray, angle_deg: np.ndarray, speed_mph: np.ndarray
) -> np.ndarray:
    """Values (boards, angles, speeds) on the carry table's nodes, joined linearly at points (...).

    Beyond the nodes the nearest edge.
    """
    low, share = [], []
    for at, axis in ((board, NODE_BOARDS), (angle_deg, NODE_ANGLES), (speed_mph, NODE_SPEEDS)):
        place = np.clip((at - axis[0]) / (axis[1] - axis[0]), 0.0, len(axis) - 1.0)
        floor = np.minimum(place.astype(np.int64), len(axis) - 2)
        low.append(floor)
        share.append(place - floor)
    u, w, x = share
    flat = values.ravel()
    board_step, angle_step = values.shape[1] * values.shape[2], values.shape[2]
    corner = low[0] * board_step + low[1] * angle_step + low[2]

    def edge(step: int) -> np.ndarray:
        at = corner + step
        return (1.0 - x) * flat[at] + x * flat[at + 1]

    return ((1.0 - u) * ((1.0 - w) * edge(0) + w * edge(angle_step))
            + u * ((1.0 - w) * edge(board_step) + w * edge(board_step + angle_step)))


AIMS = ("pocket", "strike")


def worth_of(aim: str | Worth | Objective) -> Worth:
    """The worth that an aim names.

    aim : "pocket", "strike" (chances of the shipped carry table), a `Worth`, or any callable of
    entry board, entry angle [deg] and entry speed [mph] with values in 0..1.

    Raises
    ------
    InputError
        for a name that is not known.
    """
    if isinstance(aim, Worth):
        return aim
    if callable(aim):
        return ChanceWorth(getattr(aim, "__name__", "custom"), aim)
    if aim == "pocket":
        return PocketWorth()
    if aim == "strike":
        from ..pins.table import default_table

        return ChanceWorth("strike", default_table().strike_probability)
    raise nearest_name(str(aim), AIMS, "aim")
