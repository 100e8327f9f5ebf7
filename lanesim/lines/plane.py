"""The plane of lines: where the ball is laid down, and at what angle it is sent.

A line is a row (laydown board, launch angle [deg]) in the player's boards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..errors import InputError, check_range
from ..lane.geometry import BOARD_M, arrow_distance_ft
from ..units import FOOT_M

# Assumed: the ball (4.3 in = 4 boards in radius) is on the lane, and a player stands so that the
# ball is laid down between these boards.
LAYDOWN_RANGE = (6.0, 35.0)
ANGLE_RANGE = (-8.0, 4.0)
_GRID_BOARDS, _GRID_DEG = 2.0, 0.5


@dataclass(frozen=True)
class Plane:
    """The window that lines are looked for in, and its coarse grid.

    laydown : boards, within 1..39; angle_deg : degrees, within -12..12.

    Raises
    ------
    InputError
        for a window that is empty or off the lane.
    """

    laydown: tuple[float, float] = LAYDOWN_RANGE
    angle_deg: tuple[float, float] = ANGLE_RANGE

    def __post_init__(self) -> None:
        _check_window("laydown range", self.laydown, 1.0, 39.0, "boards")
        _check_window("angle range", self.angle_deg, -12.0, 12.0, "deg")

    @cached_property
    def low(self) -> np.ndarray:
        """Lower ends (2,)."""
        return np.array([self.laydown[0], self.angle_deg[0]])

    @cached_property
    def high(self) -> np.ndarray:
        """Upper ends (2,)."""
        return np.array([self.laydown[1], self.angle_deg[1]])

    @cached_property
    def laydowns(self) -> np.ndarray:
        """Laydown boards (l,) of the coarse grid."""
        return even_points(*self.laydown, _GRID_BOARDS)

    @cached_property
    def angles(self) -> np.ndarray:
        """Launch angles (a,) of the coarse grid."""
        return even_points(*self.angle_deg, _GRID_DEG)

    def clipped(self, lines: np.ndarray) -> np.ndarray:
        """Lines (..., 2) brought into the window."""
        return np.clip(lines, self.low, self.high)


def _check_window(
    name: str, window: tuple[float, float], low: float, high: float, unit: str
) -> None:
    first = check_range(f"{name}, lower end", window[0], low, high, unit)
    last = check_range(f"{name}, upper end", window[1], low, high, unit)
    if first >= last:
        raise InputError(f"{name} is {first:g} to {last:g} {unit}; the first must be the smaller")


def even_points(low: float, high: float, step: float) -> np.ndarray:
    """Points from low to high, evenly spaced by about `step`; at least two."""
    return np.linspace(low, high, max(2, round((high - low) / step) + 1))


def nodes(laydowns: np.ndarray, angles: np.ndarray) -> np.ndarray:
    """Every pair (l a, 2) of two axes, laydown slowest."""
    return np.stack(np.meshgrid(laydowns, angles, indexing="ij"), axis=-1).reshape(-1, 2)


def board_at_arrows(laydown_board: float, launch_angle_deg: float) -> float:
    """Board that a straight launch line crosses at the arrows (12 to 16 ft out)."""
    slope = math.tan(math.radians(launch_angle_deg)) * FOOT_M / BOARD_M
    board = laydown_board
    for _ in range(30):  # the distance depends weakly on the board: a contraction
        board = laydown_board + slope * arrow_distance_ft(min(max(board, 1.0), 39.0))
    return board
