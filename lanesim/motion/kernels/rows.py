"""Where the rows of the pack's arrays begin; the number of lane k stands k places on.

No numba here either.
"""

from __future__ import annotations

from .columns import P_COUNT

LANES = 16  # shots side by side

# The numbers that a step changes:
S_X = 0
S_Y = LANES
S_VX = 2 * LANES
S_VY = 3 * LANES
S_LX = 4 * LANES
S_LY = 5 * LANES
S_LZ = 6 * LANES
S_THETA = 7 * LANES  # three rows
S_FILM = 10 * LANES
STEP_ROWS = 11
STEP_SIZE = STEP_ROWS * LANES

RK_STAGES = 7

# what a shot is doing
SLIDE = 0
CREEP = 1
ROLL = 2
OVER = 3

# rows of Pack.own: what belongs to a shot between steps; first the numbers of a step
OWN_Q = STEP_SIZE  # orientation, four rows
OWN_STEP = OWN_Q + 4 * LANES  # length proposed for the next step [s]
OWN_CLOSING = OWN_STEP + LANES  # [m/s^2] rate at which slip fell over the last step
OWN_FORCED = OWN_CLOSING + LANES  # > 0: take exactly this step [s] and end there
OWN_END = OWN_FORCED + LANES  # how the shot ends there, END_*
OWN_PIN = OWN_END + LANES
OWN_TIME = OWN_PIN + LANES
OWN_TURNS = OWN_TIME + LANES  # [rad]
OWN_FLARE = OWN_TURNS + LANES  # [rad]
OWN_BREAK_X = OWN_FLARE + LANES
OWN_BREAK_Y = OWN_BREAK_X + LANES
OWN_ROLL_X = OWN_BREAK_Y + LANES
OWN_STEPS = OWN_ROLL_X + LANES
OWN_NEXT = OWN_STEPS + LANES  # next row of the trace
OWN_LOFT = OWN_NEXT + LANES  # where the ball touches down [m]
OWN_OIL_TURNS = OWN_LOFT + LANES  # as OWN_TURNS and OWN_FLARE, up to the end of the oil
OWN_OIL_FLARE = OWN_OIL_TURNS + LANES
OWN_SIZE = OWN_OIL_FLARE + LANES
OWN_ROWS = OWN_SIZE // LANES

# rows of Pack.known: what a stage reads besides the state
KNOWN_Q = 0
KNOWN_PIVOT = KNOWN_Q + 4 * LANES
KNOWN_TX = KNOWN_PIVOT + LANES  # place in the film's cell, and its 9 coefficients
KNOWN_TY = KNOWN_TX + LANES
KNOWN_FILM = KNOWN_TY + LANES
KNOWN_LANE = KNOWN_FILM + 9 * LANES  # lane film [m], and the share of the asperities
KNOWN_PHI = KNOWN_LANE + LANES
KNOWN_PAR = KNOWN_PHI + LANES  # the ball's parameters P_*
KNOWN_SIZE = KNOWN_PAR + P_COUNT * LANES

# rows of Pack.here and Pack.there: what is known of the ball at a step's start and end
AT_WX = 0
AT_WY = LANES
AT_WZ = 2 * LANES
AT_AXIS = 3 * LANES  # speed of the axis on the ball [rad/s]
AT_MU = 4 * LANES
AT_SLIP = 5 * LANES
AT_EXTRAS = 6  # the rows up to here
AT_NEED = 6 * LANES  # pivot torque needed and available [N m]
AT_LIMIT = 7 * LANES
AT_BODY = 8 * LANES  # body rates, three rows
AT_ROWS = 11
AT_SIZE = AT_ROWS * LANES

# rows of Pack.cross: where a step passes a whole cell
CROSS_PASSED = 0  # 1 if it does
CROSS_Y = LANES
CROSS_SLOPE = 2 * LANES
CROSS_FILM = 3 * LANES
CROSS_SIZE = 4 * LANES

# What is not a place in a row but a number of rows or a code: the same for any number of lanes.
COUNTS = {"P_COUNT", "STEP_ROWS", "RK_STAGES", "OWN_ROWS", "AT_EXTRAS", "AT_ROWS", "SLIDE", "CREEP",
          "ROLL", "OVER"}


def for_one_lane() -> dict[str, int]:
    """All these numbers for arrays of a single lane, by name: places are multiples of LANES."""
    return {name: value if name in COUNTS else value // LANES
            for name, value in globals().items() if isinstance(value, int)}
