"""Lane, ball and pin geometry from the governing body's specifications.

Frame (right-handed): x down the lane from the foul line, y across it from the edge on the
player's ball-arm side, z up. SI throughout; trade units in the names where used.

Sources: governing-body equipment specifications, second-hand unless said otherwise; the board
width from the lane's width over 39 boards (2.70 cm; SAGE 10.1177/17479541241306543 gives 2.73 cm).
"""

from __future__ import annotations

import math
from typing import Any

from ..errors import check_range
from ..units import FOOT_M, INCH_M

BOARDS = 39
LANE_WIDTH_IN = 41.5  # +- 0.5 in
LANE_WIDTH_M = LANE_WIDTH_IN * INCH_M
BOARD_M = LANE_WIDTH_M / BOARDS
HEAD_PIN_FT = 60.0  # foul line to the centre of the head-pin spot
HEAD_PIN_M = HEAD_PIN_FT * FOOT_M
PIT_M = 62 * FOOT_M + (10 + 3 / 16) * INCH_M
CELL_FT = 1.0  # an oil cell is one board by one foot
CELL_AREA_M2 = BOARD_M * FOOT_M
GRID_ROWS = 60  # oil rows from the foul line to the head pin

BALL_RADIUS_M = 4.275 * INCH_M  # diameter 8.550 in, inside 8.500-8.595
BALL_DIAMETER_RANGE_IN = (8.500, 8.595)
BALL_MAX_LB = 16.0
RG_RANGE_IN = (2.46, 2.80)
DIFFERENTIAL_MAX_IN = 0.060
FRICTION_CAP = 0.32  # the standard's limit on a ball's friction coefficient

ARROW_BOARDS = (5, 10, 15, 20, 25, 30, 35)

PIN_SPACING_IN = 12.0
_ROW_IN = PIN_SPACING_IN * math.sqrt(3.0) / 2.0
# Pin spots relative to the head pin [in]: (down the lane, to the LEFT seen from the foul line).
PIN_SPOTS_IN: dict[int, tuple[float, float]] = {
    1: (0.0, 0.0),
    2: (_ROW_IN, 6.0),
    3: (_ROW_IN, -6.0),
    4: (2 * _ROW_IN, 12.0),
    5: (2 * _ROW_IN, 0.0),
    6: (2 * _ROW_IN, -12.0),
    7: (3 * _ROW_IN, 18.0),
    8: (3 * _ROW_IN, 6.0),
    9: (3 * _ROW_IN, -6.0),
    10: (3 * _ROW_IN, -18.0),
}

PIN_HEIGHT_IN = 15.0
PIN_MASS_RANGE_LB = (3.375, 3.625)  # 3 lb 6 oz to 3 lb 10 oz (read)
PIN_CG_RANGE_IN = (5 + 40 / 64, 5 + 60 / 64)  # read
PIN_CROWN_RADIUS_IN = 1.273
# Profile: height above the deck [in], diameter [in]. From memory, four values corroborated.
PIN_PROFILE_IN: tuple[tuple[float, float], ...] = (
    (0.0, 2.031),
    (0.75, 2.828),
    (2.25, 3.906),
    (3.375, 4.510),
    (4.5, 4.766),
    (5.875, 4.563),
    (7.25, 3.703),
    (8.625, 2.472),
    (9.375, 1.965),
    (10.0, 1.797),
    (10.875, 1.870),
    (11.75, 2.094),
    (12.625, 2.406),
    (13.5, 2.547),
)


def board_to_y(board: Any) -> Any:
    """Distance [m] from the ball-arm edge of the point called `board`.

    Board b covers y in [(b-1) w, b w]; its number names its middle, so y = (b - 1/2) w.
    """
    return (board - 0.5) * BOARD_M


def y_to_board(y_m: float) -> float:
    """Board number (fractional) at a distance `y_m` [m] from the ball-arm edge."""
    return y_m / BOARD_M + 0.5


HEAD_PIN_Y_M = board_to_y(20.0)


def arrow_distance_ft(board: float) -> float:
    """How far out [ft] the arrow on a board lies: 12 ft at the outer, 16 ft at the middle one.

    The specification gives the boards (5, 10, .., 35) and the range 12-16 ft; the straight line
    between is our reading of the arrow-head they form.
    """
    check_range("arrow board", board, 1, 39)
    return 16.0 - 4.0 * abs(board - 20.0) / 15.0


def pin_positions_m() -> list[tuple[int, float, float]]:
    """The ten pins as (number, x, y) [m] for a right-handed player (y from the right edge)."""
    return [
        (pin, HEAD_PIN_M + dx * INCH_M, HEAD_PIN_Y_M + dy * INCH_M)
        for pin, (dx, dy) in PIN_SPOTS_IN.items()
    ]


def pin_radius_m(height_in: float) -> float:
    """Radius [m] of the pin at a height [in]: a cubic spline through the published table.

    Above the last tabulated height the crown is a sphere of radius 1.273 in ending at 15 in.
    """
    from scipy.interpolate import CubicSpline

    top = PIN_PROFILE_IN[-1][0]
    if not 0.0 <= height_in <= PIN_HEIGHT_IN:
        return 0.0
    if height_in > top:
        centre = PIN_HEIGHT_IN - PIN_CROWN_RADIUS_IN
        inside = PIN_CROWN_RADIUS_IN**2 - (height_in - centre) ** 2
        return math.sqrt(max(inside, 0.0)) * INCH_M
    heights, diameters = zip(*PIN_PROFILE_IN, strict=True)
    return float(CubicSpline(heights, diameters)(height_in)) / 2.0 * INCH_M


def pin_contact_distance_m(ball_radius_m: float = BALL_RADIUS_M) -> float:
    """Horizontal distance [m] of ball centre and pin axis when ball and upright pin first touch.

    The ball's centre rides at height R and the pin is a body of revolution about a vertical axis,
    so contact in three dimensions is contact of the ball's meridian circle with the pin's:
    D = max over heights z of r_pin(z) + sqrt(R^2 - (z - R)^2).
    """
    import numpy as np
    from scipy.interpolate import CubicSpline

    heights, diameters = zip(*PIN_PROFILE_IN, strict=True)
    z = np.linspace(0.0, min(heights[-1], 2 * ball_radius_m / INCH_M), 20001)
    r = CubicSpline(heights, diameters)(z) / 2.0 * INCH_M
    reach = ball_radius_m**2 - (z * INCH_M - ball_radius_m) ** 2
    return float(np.max(r + np.sqrt(np.maximum(reach, 0.0))))
