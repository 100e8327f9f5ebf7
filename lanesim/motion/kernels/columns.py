"""Columns of every array that goes into or comes out of the compiled core, and its shared numbers.

No numba here: a module that only reads results needs no compiler, and nobody has to copy a number.
"""

from __future__ import annotations

# --- layout of the parameter vector (one ball on one lane) ------------------------------------
P_RADIUS = 0  # ball radius R [m]
P_MASS = 1  # [kg]
P_I1 = 2  # principal moments about the low-RG, intermediate and high-RG axes [kg m^2]
P_I2 = 3
P_I3 = 4
P_MU_DRY = 5  # dry friction of cover on lane [-]
P_SIGMA = 6  # combined roughness sqrt(Rq_ball^2 + Rq_lane^2) [m]
P_CHI = 7  # share of the film that reaches the contact [-]
P_LAMBDA_REF = 8  # film parameter at which phi = 1/e [-]
P_LAMBDA_POWER = 9  # exponent q [-]
P_VISCOSITY = 10  # oil viscosity eta [Pa s]
P_FILM_CAP = 11  # largest friction of the film's share [-]
P_CONTACT_A = 12  # Hertz contact radius a [m]; 0 switches the pivot torque off
P_PICKUP = 13  # film taken up by the track per turn, share of the lane's film [-]
P_UPTAKE = 14  # film absorbed by the cover per turn, share of the track's film [-]
P_RING_WIDTH = 15  # width of a track ring w_t [m]
P_GRAVITY = 16  # [m/s^2]
P_BOARD = 17  # board width [m]
P_CELL_X = 18  # length of an oil cell [m]
P_LANE_WIDTH = 19  # [m]
P_PIN_REACH = 20  # horizontal distance of ball centre and pin axis at contact [m]
P_PINS_X = 21  # x of the head-pin spot [m]; no pin is tested before x + PIN_REACH reaches it
P_END_X = 22  # x at which a ball that touched nothing has left the deck [m]
P_TWO_ZONE_X = 23  # > 0: friction is mu_dry from here on and P_TWO_ZONE_MU before, oil ignored
P_TWO_ZONE_MU = 24
P_DRAG = 25  # air drag: its force is P_DRAG |v| v [kg/m]; 0 switches it off
P_TILT = 26  # sideways acceleration by the lane's crosswise tilt [m/s^2]
P_CROWN = 27  # and by its crown, per metre from the lane's middle [1/s^2]
P_LOFT = 28  # the ball is in the air up to here [m]; of a batch's shot: from its release
P_COUNT = 29

# --- how a shot ends ---------------------------------------------------------------------------
END_PIN = 0
END_GUTTER = 1
END_PAST = 2
END_FAILED = 3

# --- columns of a batch row ---------------------------------------------------------------------
R_END = 0
R_PIN = 1  # index of the pin touched, -1 if none
R_X = 2  # [m]
R_Y = 3
R_VX = 4  # [m/s]
R_VY = 5
R_WX = 6  # angular velocity, lane frame [rad/s]
R_WY = 7
R_WZ = 8
R_TIME = 9  # [s]
R_BREAK_X = 10  # outermost point of the path [m]
R_BREAK_Y = 11
R_ROLL_X = 12  # where slip first ended [m], NaN if it never did
R_HOOK_X = 13  # where the heading had turned a tenth of its whole turn [m]
R_TURNS = 14  # revolutions
R_FLARE = 15  # arc of the rotation axis on the ball times the radius [m]
R_TRACK_FILM = 16  # film on the track at the end [m]
R_STEPS = 17
R_OIL_TURNS = 18  # revolutions up to the end of the oil
R_OIL_FLARE = 19  # arc of the axis on the ball times the radius up to there [m]
R_LOFT = 20  # where the ball touched down [m]
R_HEADING = 21  # mean heading over the last turn of the ball [rad], `events.last_turn_heading`
R_TURNED = 22  # how far the path has turned from the release to that [rad]
R_COUNT = 23

TRACE_FEET = 61  # the path is sampled at 0, 1, .., 60 cells from the foul line
T_Y = 0
T_HEADING = 1
T_FILM = 2
T_COUNT = 3

SLIP_END = 1e-6  # [m/s] slip at which the reference's sliding ends (located event)
TRACTION_MARGIN = 1.001  # rolling breaks when the force needed exceeds 1.001 mu N: no chatter
RESLIDE_SLIP = 1e-4  # [m/s] slip given to a ball that breaks loose, along the excess force
