"""The player: one release, how it spreads from shot to shot, and samples of it."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields

import numpy as np

from .errors import InputError, check_range
from .lane.geometry import BOARD_M, BOARDS, arrow_distance_ft, board_to_y
from .streams import normal_deviates
from .units import FOOT_M

RELEASE_COLUMNS = (
    "laydown_board",
    "launch_angle_deg",
    "speed_mph",
    "rev_rpm",
    "rotation_deg",
    "tilt_deg",
    "phase_deg",
)


@dataclass(frozen=True)
class Release:
    """One release at the foul line.

    Attributes
    ----------
    speed_mph : ball speed [mph]; rev_rpm : rev rate [rpm].
    rotation_deg : axis rotation, 0 (end over end) to 90 (all side turn), >= 0 for a hook.
    tilt_deg : axis tilt above the lane.
    laydown_board : board of the ball's contact point at the foul line, counted from the player's
        ball-arm side.
    launch_angle_deg : heading off straight down the lane; NEGATIVE toward the ball-arm side
        (toward lower boards), positive away from it.
    hand : 'right' or 'left'; a left-hander counts boards from the left.
    phase_deg : turn of the ball about its axis at release; 0 puts the pin on the upper side in the
        plane of the axis and the vertical. An assumption: it follows from the grip, and moves the
        path by far less than a board.
    """

    speed_mph: float = 18.0
    rev_rpm: float = 350.0
    rotation_deg: float = 45.0
    tilt_deg: float = 15.0
    laydown_board: float = 18.0
    launch_angle_deg: float = -1.5
    hand: str = "right"
    phase_deg: float = 0.0

    def __post_init__(self) -> None:
        check_range("speed", self.speed_mph, 8, 32, "mph")
        check_range("rev rate", self.rev_rpm, 0, 750, "rpm")
        check_range("axis rotation", self.rotation_deg, -90, 180, "deg")
        check_range("axis tilt", self.tilt_deg, -60, 89, "deg")
        check_range("laydown board", self.laydown_board, 0.5, BOARDS + 0.5)
        check_range("launch angle", self.launch_angle_deg, -12, 12, "deg")
        check_range("phase", self.phase_deg, -360, 360, "deg")
        check_hand(self.hand)

    @staticmethod
    def angle_toward(
        laydown_board: float, target_board: float, at_ft: float | None = None
    ) -> float:
        """Launch angle [deg] of a straight line over `target_board` at `at_ft`, or the arrows."""
        check_range("target board", target_board, 0.5, BOARDS + 0.5)
        distance = arrow_distance_ft(target_board) if at_ft is None else at_ft
        check_range("distance of the target", distance, 1, 60, "ft")
        across = board_to_y(target_board) - board_to_y(laydown_board)
        return math.degrees(math.atan2(across, distance * FOOT_M))

    def row(self) -> np.ndarray:
        """The release as one row (7,) in RELEASE_COLUMNS."""
        return np.array([getattr(self, name) for name in RELEASE_COLUMNS], dtype=float)


def check_hand(hand: str) -> str:
    """Return `hand` if it is 'right' or 'left'."""
    if hand not in {"right", "left"}:
        raise InputError(f"hand is '{hand}'; accepted: right, left")
    return hand


# Largest accepted standard deviations, in the order of Spread's fields
SPREAD_LIMITS = (5.0, 3.0, 3.0, 120.0, 30.0, 20.0)


@dataclass(frozen=True)
class Spread:
    """Standard deviations of a player's release from shot to shot, independent and normal."""

    sd_laydown_board: float
    sd_angle_deg: float
    sd_speed_mph: float
    sd_rev_rpm: float
    sd_rotation_deg: float
    sd_tilt_deg: float

    def __post_init__(self) -> None:
        for field, high in zip(fields(self), SPREAD_LIMITS, strict=True):
            check_range(field.name, getattr(self, field.name), 0, high)
        if not any(asdict(self).values()):
            raise InputError("the spread is empty: give at least one standard deviation above 0")

    def array(self) -> np.ndarray:
        """The six standard deviations (6,) in RELEASE_COLUMNS order without the phase."""
        return np.array([getattr(self, f.name) for f in fields(self)], dtype=float)


def _level(boards_at_arrows: float) -> Spread:
    """A named level from the range of boards at the arrows over ten shots (facts: SD = range/3.08).

    The spread at the arrows is split between laydown and angle so that both, 15 ft apart, add up
    in squares: half the variance each (assumed). Speed, revs, rotation and tilt are placeholders
    scaled with the level (from memory, low confidence).
    """
    sd_boards = boards_at_arrows / 3.08
    half = sd_boards / math.sqrt(2.0)
    angle = math.degrees(half * BOARD_M / (15.0 * FOOT_M))
    scale = boards_at_arrows / 1.41
    return Spread(
        sd_laydown_board=round(half, 3),
        sd_angle_deg=round(angle, 3),
        sd_speed_mph=round(0.20 * scale**0.5, 3),
        sd_rev_rpm=round(10.0 * scale**0.5, 2),
        sd_rotation_deg=round(3.0 * scale**0.5, 2),
        sd_tilt_deg=round(1.5 * scale**0.5, 2),
    )


# Ranges of boards at the arrows over ten shots are published (read): elite 1.5 in = 1.41 boards,
# 220+ average 2 boards, 200+ 3, 180+ 4, 160+ 4.5. The rest of each level is assumed, see `_level`.
LEVELS: dict[str, Spread] = {
    "elite": _level(1.41),
    "220": _level(2.0),
    "200": _level(3.0),
    "180": _level(4.0),
    "160": _level(4.5),
}


@dataclass(frozen=True)
class Player:
    """A player: the usual release, the spread, and where the spread comes from."""

    name: str
    release: Release
    spread: Spread
    spread_source: str = "assumed"


def spread_releases(release: Release, spread: Spread, deviates: np.ndarray) -> np.ndarray:
    """Releases (n, 7) in RELEASE_COLUMNS: the release plus the spread times `deviates` (n, 6)."""
    rows = np.tile(release.row(), (len(deviates), 1))
    rows[:, :6] += deviates * spread.array()
    return rows


def sample_releases(release: Release, spread: Spread, n: int, seed: int) -> np.ndarray:
    """`n` releases (n, 7) round `release`; equal seeds give common random numbers across balls."""
    return spread_releases(release, spread, normal_deviates(n, 6, seed))
