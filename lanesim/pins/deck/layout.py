"""What stands where in the rows of floats that the deck's functions share.

Bodies are the ball (0) and the pins 1 to 10. A body's state is its centre of gravity, velocity,
unit axis and angular momentum (all in the deck's frame: x down the lane from the head pin's spot,
y to the left of it, z up from the deck). A pin is a body of revolution and the ball has a uniform
inertia, so the turn about the own axis need not be kept, and between blows the angular momentum
is constant and the axis goes round it at a steady rate: free flight is exact.
"""

from __future__ import annotations

from ...lane import geometry as lane
from ...units import INCH_M

BODIES = 11
# state of a body: place 0-2, velocity 3-5, axis 6-8, angular momentum 9-11
WIDTH = 12
STATE = BODIES * WIDTH
# constants of a body: 1/m, 1/I across, 1/I along, centre of gravity over the base (ball: radius),
# m, and the horizontal direction of the last blow
BODY_WIDTH = 7
BODY = BODIES * BODY_WIDTH
# how a body is: the pin stands untouched, moves, or is out of play
ASLEEP, MOVES, GONE = 0.0, 1.0, 2.0
# parameters of one hit
(E_BALL_PIN, E_PIN_PIN, E_DECK, E_KICKBACK, MU_BALL_PIN, MU_PIN_PIN, MU_PIN_DECK, MU_BALL_DECK,
 MU_KICKBACK, FADE, CURTAIN_M, E_CURTAIN, RADIUS) = range(13)
PARAMETERS = 13
# a pair that is near: bodies a and b (b < 0: the building), normal from b to a, arms, gap,
# restitution, friction, 1/effective mass along the normal, overlap, sum of the push, of the
# friction (3), damping, whether it takes part
(A, B, NX, NY, NZ, RAX, RAY, RAZ, RBX, RBY, RBZ, GAP, REST, MU, MASS, OVER, PUSH, FX, FY, FZ, DAMP,
 ON) = range(22)
PAIR = 22
PAIRS = 48  # kept at once
PAIR_ROWS = PAIR * PAIRS

TAIL_M = lane.PIT_M - lane.HEAD_PIN_M  # head-pin spot to the edge of the pit
HALF_M = lane.LANE_WIDTH_M / 2.0
KICKBACK_M = (18.0 + 12.1) * INCH_M  # lane and gutters are 60 to 60.25 in wide (read)
GUTTER_DROP_IN = 3.5  # flat gutter beside the pins, below the deck (assumption)
DROP_M = GUTTER_DROP_IN * INCH_M
WIDE_M = 10.0  # half width of the floor below the deck: the whole building
E_BALL_DECK = 0.3  # assumption
NEAR_M = 0.020  # pairs nearer than this are kept
TOUCH_M = 30e-6  # and these touch
