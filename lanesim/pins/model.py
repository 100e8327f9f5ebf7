"""One ball into ten pins: what goes in, what comes out (the bodies themselves: `deck`).

Frame: x down the lane from the head-pin spot, y to the left of it (toward higher boards for a
right-hander), z up from the deck; SI. A left-hander's shot is the mirror image, so nothing here
knows handedness.
"""

from __future__ import annotations

import functools
import math
from dataclasses import astuple, dataclass, field
from typing import Any

import numpy as np

from ..errors import InputError, check_range
from ..lane import geometry as lane
from ..units import DEG_RAD, INCH_M, LB_KG, MPH_MS, RPM_RADS
from .deck.layout import (
    BODIES,
    BODY,
    GUTTER_DROP_IN,
    KICKBACK_M,
    PAIR_ROWS,
    PARAMETERS,
    STATE,
    TAIL_M,
)
from .deck.pin import pin_mass_properties

__all__ = [
    "GUTTER_DROP_IN", "KICKBACK_M", "TAIL_M", "Hit", "PinFall", "PinPhysics", "first_contact",
    "pin_mass_properties", "roll_at", "simulate",
]

CUSHION_M = TAIL_M + 0.75  # the curtain at the back of the pit (assumption)
NOISE = 45  # standard normal numbers of one rack, see deck.roll.set_up
FULL_RACK = 0b1111111111
ALL_SPOTS_M = np.array([lane.PIN_SPOTS_IN[p] for p in range(1, 11)]) * INCH_M
FRAMES = 700  # of a recorded run, 5 ms each
APPROACH_M = 0.02  # the ball starts this much before its first contact


@dataclass(frozen=True)
class PinPhysics:
    """What the pins, the ball and the building are made of, and how much a rack differs.

    Restitutions are those of a blow at 5 m/s; between two free bodies they fall with speed as
    (v / 5 m/s) ** -restitution_fade. Values: the point nearest the middle of what published
    observations do not rule out (benchmarks/calibrate_pins.py, benchmarks/CARRY.md). They are no
    measurements of any material.
    """

    ball_pin_restitution: float = 0.833
    pin_pin_restitution: float = 0.4556
    deck_restitution: float = 0.1974
    kickback_restitution: float = 0.5275
    ball_pin_friction: float = 0.121
    pin_pin_friction: float = 0.2208
    pin_deck_friction: float = 0.2063
    ball_deck_friction: float = 0.1312
    kickback_friction: float = 0.1726
    restitution_fade: float = 0.0676
    curtain_restitution: float = 0.3721
    spot_sd_in: float = 0.0774
    pin_mass_sd: float = 0.0157
    pin_cg_sd_in: float = 0.0519
    friction_sd: float = 0.2403

    def __post_init__(self) -> None:
        for name in ("ball_pin", "pin_pin", "deck", "kickback", "curtain"):
            check_range(f"{name}_restitution", getattr(self, f"{name}_restitution"), 0.02, 0.97)
        for name in ("ball_pin", "pin_pin", "pin_deck", "ball_deck", "kickback"):
            check_range(f"{name}_friction", getattr(self, f"{name}_friction"), 0.0, 1.0)
        check_range("restitution_fade", self.restitution_fade, 0.0, 0.3)
        check_range("spot_sd_in", self.spot_sd_in, 0.0, 0.5)
        check_range("pin_mass_sd", self.pin_mass_sd, 0.0, 0.1)
        check_range("pin_cg_sd_in", self.pin_cg_sd_in, 0.0, 0.3)
        check_range("friction_sd", self.friction_sd, 0.0, 0.5)

    def row(self, radius_m: float = lane.BALL_RADIUS_M) -> np.ndarray:
        """(PARAMETERS,) numbers as `deck.layout` orders them."""
        return np.array([*astuple(self)[:10], CUSHION_M, self.curtain_restitution, radius_m])

    def scatter(self) -> np.ndarray:
        """(4,) SDs: a spot [m], a mass [share], a centre of gravity [m], frictions [share]."""
        return np.array([self.spot_sd_in * INCH_M, self.pin_mass_sd, self.pin_cg_sd_in * INCH_M,
                         self.friction_sd])


@dataclass(frozen=True)
class Hit:
    """The ball as it first touches a pin.

    Parameters
    ----------
    board : board of the ball's centre (continuous), 1 to 39.
    angle_deg : heading, positive toward higher boards.
    speed_mph : speed of the centre.
    slip_side_ms, slip_forward_ms : velocity of the contact point over the lane [m/s], positive
        toward the ball-arm side and forward; both 0 = the ball rolls.
    spin_up_rpm : spin about the vertical, positive counter-clockwise seen from above.
    ball_lb, rg_in, radius_m : the ball (uniform inertia m k^2).
    """

    board: float
    angle_deg: float
    speed_mph: float
    slip_side_ms: float = 0.0
    slip_forward_ms: float = 0.0
    spin_up_rpm: float = 0.0
    ball_lb: float = 15.0
    rg_in: float = 2.52
    radius_m: float = lane.BALL_RADIUS_M

    def __post_init__(self) -> None:
        check_range("entry board", self.board, -4.0, 44.0)
        check_range("entry angle", self.angle_deg, -30.0, 30.0, "deg")
        check_range("entry speed", self.speed_mph, 3.0, 40.0, "mph")
        check_range("ball weight", self.ball_lb, 4.0, 18.0, "lb")
        check_range("RG", self.rg_in, 2.0, 3.4, "in")

    def start(self, x_m: float, y_m: float) -> np.ndarray:
        """(9,) the ball's numbers for `deck.roll.set_up`, `APPROACH_M` short of (x, y)."""
        a = self.angle_deg * DEG_RAD
        speed = self.speed_mph * MPH_MS
        forward, right = (math.cos(a), math.sin(a)), (math.sin(a), -math.cos(a))
        vx, vy = speed * forward[0], speed * forward[1]
        slip_x = self.slip_forward_ms * forward[0] + self.slip_side_ms * right[0]
        slip_y = self.slip_forward_ms * forward[1] + self.slip_side_ms * right[1]
        mass = self.ball_lb * LB_KG
        # slip = (vx - R wy, vy + R wx)
        return np.array([
            x_m - APPROACH_M * forward[0], y_m - APPROACH_M * forward[1], vx, vy,
            (slip_y - vy) / self.radius_m, (vx - slip_x) / self.radius_m,
            self.spin_up_rpm * RPM_RADS, mass, mass * (self.rg_in * INCH_M) ** 2,
        ])


@dataclass(frozen=True)
class PinFall:
    """What one simulated ball did.

    `standing` is a 10-bit mask (bit p-1 set: pin p stands); 0 is a strike. `touched` holds the
    pins the ball touched, in order. `exit_board` is the board of the ball's centre where it
    leaves the deck into the pit (NaN if it never did). The path arrays are None unless recorded:
    `time_s` (n,), `ball_xyz_m` (n, 3), `pin_xyz_m` (n, 10, 3), `pin_up` (n, 10, 3) unit axes.
    """

    standing: int
    touched: tuple[int, ...]
    exit_board: float
    seconds: float
    steps: int
    time_s: np.ndarray | None = field(default=None, repr=False)
    ball_xyz_m: np.ndarray | None = field(default=None, repr=False)
    pin_xyz_m: np.ndarray | None = field(default=None, repr=False)
    pin_up: np.ndarray | None = field(default=None, repr=False)

    @property
    def strike(self) -> bool:
        return self.standing == 0


@functools.cache
def _reach(radius_m: float) -> float:
    return lane.pin_contact_distance_m(radius_m)


def first_contact(hit: Hit) -> tuple[float, float, int]:
    """Centre (x, y) [m] of the ball at its first contact with a pin, and that pin's number.

    The board names where the ball's centre is AT the contact; the pin is the one whose contact
    circle a ball on this heading reaches first at that board.
    """
    reach = _reach(hit.radius_m)
    y = lane.board_to_y(hit.board) - lane.HEAD_PIN_Y_M
    a = hit.angle_deg * DEG_RAD
    best: tuple[float, float, int] | None = None
    for pin, (dx, dy) in lane.PIN_SPOTS_IN.items():
        px, py = dx * INCH_M, dy * INCH_M
        off = y - py
        if abs(off) >= reach:
            continue
        x = px - math.sqrt(reach**2 - off**2)
        if (px - x) * math.cos(a) + (py - y) * math.sin(a) <= 0.0:
            continue  # it would be leaving the pin, not meeting it
        if best is None or x < best[0]:
            best = (x, y, pin)
    if best is None:
        raise InputError(
            f"a ball on board {hit.board:g} at {hit.angle_deg:g} deg meets no pin; "
            "accepted: boards -3 to 43 on a heading toward the pins"
        )
    return best


def simulate(
    hit: Hit,
    physics: PinPhysics | None = None,
    *,
    standing: int = FULL_RACK,
    seed: int | np.random.SeedSequence | None = None,
    record: bool = False,
) -> PinFall:
    """Roll one ball into the standing pins and count what is left (about 10 ms).

    Parameters
    ----------
    hit : the ball at first contact with a pin of the FULL rack (spares use `roll_at`).
    standing : 10-bit mask of the pins set up.
    seed : draws where each pin stands, what it weighs, and the frictions; None = all at their
        middle.
    record : keep the motion, every 5 ms.
    """
    x, y, _ = first_contact(hit)
    return roll_at(hit, x, y, physics, standing=standing, seed=seed, record=record)


def rows(
    hit: Hit,
    physics: PinPhysics,
    place_m: tuple[float, float] | None = None,
    *,
    standing: int = FULL_RACK,
    seed: int | np.random.SeedSequence | None = None,
) -> tuple[np.ndarray, ...]:
    """State, constants, status, parameters and room for pairs of one ball (see `deck.layout`)."""
    from .deck.roll import set_up

    x, y = place_m if place_m is not None else first_contact(hit)[:2]
    noise = np.zeros(NOISE) if seed is None else np.random.default_rng(seed).standard_normal(NOISE)
    q, body, status = np.zeros(STATE), np.zeros(BODY), np.zeros(BODIES)
    par = physics.row(hit.radius_m)
    assert len(par) == PARAMETERS
    set_up(q, body, status, par, hit.start(x, y), np.array(pin_mass_properties()), standing,
           ALL_SPOTS_M, noise, physics.scatter())
    return q, body, status, par, np.zeros(PAIR_ROWS)


def roll_at(
    hit: Hit,
    x_m: float,
    y_m: float,
    physics: PinPhysics | None = None,
    *,
    standing: int = FULL_RACK,
    seed: int | np.random.SeedSequence | None = None,
    record: bool = False,
) -> PinFall:
    """As `simulate`, with the ball's centre starting 20 mm short of (x_m, y_m)."""
    from .deck.roll import roll

    state = rows(hit, physics or PinPhysics(), (x_m, y_m), standing=standing, seed=seed)
    frames = np.zeros((FRAMES if record else 0, BODIES, 6))
    out = np.zeros(6)
    roll(*state, frames, out)
    if not np.isfinite(state[0]).all():
        raise FloatingPointError(f"the pins flew apart: {hit}, {physics}, {seed}")
    extra: dict[str, Any] = {}
    if record:
        kept = int(out[5])
        extra = {
            "time_s": 0.005 * np.arange(kept),
            "ball_xyz_m": frames[:kept, 0, :3],
            "pin_xyz_m": frames[:kept, 1:, :3],
            "pin_up": frames[:kept, 1:, 3:],
        }
    left = out[2] < 1e8
    return PinFall(
        int(out[0]), touched_pins(int(out[1])),
        lane.y_to_board(out[2] + lane.HEAD_PIN_Y_M) if left else math.nan,
        float(out[3]), int(out[4]), **extra,
    )


def touched_pins(digits: int) -> tuple[int, ...]:
    """Pins in the order the ball touched them, from the kernel's digits of base 11."""
    out = []
    while digits:
        out.append(digits % 11)
        digits //= 11
    return tuple(out)
