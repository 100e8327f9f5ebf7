"""The player: one release, how it spreads from shot to shot, and samples of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np

from .defaults import RELEASE
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
    loft_ft : how far beyond the foul line the ball touches down [ft]; it flies straight until then
        and lands without a bounce. `throw` and `throw_many` follow it; studies take none.
    """

    speed_mph: float = RELEASE["speed_mph"]
    rev_rpm: float = RELEASE["rev_rpm"]
    rotation_deg: float = RELEASE["rotation_deg"]
    tilt_deg: float = RELEASE["tilt_deg"]
    laydown_board: float = RELEASE["laydown_board"]
    launch_angle_deg: float = RELEASE["launch_angle_deg"]
    hand: str = "right"
    phase_deg: float = 0.0
    loft_ft: float = 0.0

    def __post_init__(self) -> None:
        check_range("speed", self.speed_mph, 8, 32, "mph")
        check_range("rev rate", self.rev_rpm, 0, 750, "rpm")
        check_range("axis rotation", self.rotation_deg, -90, 180, "deg")
        check_range("axis tilt", self.tilt_deg, -60, 89, "deg")
        check_range("laydown board", self.laydown_board, 0.5, BOARDS + 0.5)
        check_range("launch angle", self.launch_angle_deg, -12, 12, "deg")
        check_range("phase", self.phase_deg, -360, 360, "deg")
        check_range("loft", self.loft_ft, 0, 20, "ft")
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
        """The release as one row (7,) in RELEASE_COLUMNS.

        Raises
        ------
        InputError
            for a loft, which has no place there and would be lost: see `lofted_row`.
        """
        if self.loft_ft:
            raise InputError(f"loft is {self.loft_ft:g} ft; accepted here: 0, for only single "
                             "throws are followed with one")
        return self.lofted_row()[:-1]

    def lofted_row(self) -> np.ndarray:
        """The release as one row (8,): RELEASE_COLUMNS, then the loft [ft]."""
        return np.array([*(getattr(self, name) for name in RELEASE_COLUMNS), self.loft_ft],
                        dtype=float)


def check_hand(hand: str) -> str:
    """Return `hand` if it is 'right' or 'left'."""
    if hand not in {"right", "left"}:
        raise InputError(f"hand is '{hand}'; accepted: right, left")
    return hand


# Largest accepted standard deviations, in the order of Spread's fields
SPREAD_LIMITS = (5.0, 3.0, 3.0, 120.0, 30.0, 20.0)
# name -> columns of the release, the one that leads and the one that goes with it
SPREAD_LINKS = {"link_speed_revs": (2, 3), "link_laydown_angle": (0, 1)}
LINK_LIMIT = 0.95


@dataclass(frozen=True)
class Spread:
    """Standard deviations of a player's release from shot to shot, normal.

    link_speed_revs, link_laydown_angle : how far the two go together, -1 to 1 (the correlation): a
    faster arm turns the ball faster (positive); who lays the ball down to one side still sends it
    at the target (negative, as angles count away from the ball-arm side). 0: each by itself.
    """

    sd_laydown_board: float
    sd_angle_deg: float
    sd_speed_mph: float
    sd_rev_rpm: float
    sd_rotation_deg: float
    sd_tilt_deg: float
    link_speed_revs: float = 0.0
    link_laydown_angle: float = 0.0

    def __post_init__(self) -> None:
        for field, high in zip(fields(self), SPREAD_LIMITS, strict=False):
            check_range(field.name, getattr(self, field.name), 0, high)
        for name in SPREAD_LINKS:
            check_range(name, getattr(self, name), -LINK_LIMIT, LINK_LIMIT)
        if not self.array().any():
            raise InputError("the spread is empty: give at least one standard deviation above 0")

    def array(self) -> np.ndarray:
        """The six standard deviations (6,) in RELEASE_COLUMNS order without the phase."""
        names = [f.name for f in fields(self) if f.name not in SPREAD_LINKS]
        return np.array([getattr(self, name) for name in names], dtype=float)

    def deviations(self, deviates: np.ndarray) -> np.ndarray:
        """How far shots (n, 6) are off the release, from standard normal deviates (n, 6)."""
        z = np.array(deviates, dtype=float)
        for name, (leads, follows) in SPREAD_LINKS.items():
            link = getattr(self, name)
            if link:
                z[:, follows] = link * z[:, leads] + math.sqrt(1.0 - link**2) * z[:, follows]
        return z * self.array()

    def covariance(self) -> np.ndarray:
        """Covariance (6, 6) of the release, in RELEASE_COLUMNS order without the phase."""
        root = self.deviations(np.eye(6))
        return root.T @ root


# Range of boards at the arrows over ten shots, by level: elite 1.5 in = 1.41 boards, 220+ average
# 2 boards, 200+ 3, 180+ 4, 160+ 4.5 (read). SD = range / 3.08, the mean range of ten normal draws.
ARROW_RANGE_BOARDS = {"elite": 1.41, "220": 2.0, "200": 3.0, "180": 4.0, "160": 4.5}
RANGE_OF_TEN = 3.08


def level_spread(
    level: str, *, sd_speed_mph: float, sd_rev_rpm: float, sd_rotation_deg: float,
    sd_tilt_deg: float = 1.0, growth: float = 0.5, laydown_share: float = 0.5,
    link_speed_revs: float = 0.0, link_laydown_angle: float = 0.0,
) -> Spread:
    """Spread of a named level from its range at the arrows and an elite player's other SDs.

    The variance at the arrows is that of the laydown and of the angle over 15 ft, `laydown_share`
    and the rest of it where the two have no link; with one both are larger (smaller), so that what
    is seen at the arrows stays. Speed, revs, rotation and tilt are the elite player's, times the
    ratio of the ranges to the power `growth`.
    """
    boards = ARROW_RANGE_BOARDS[level]
    together = 2.0 * link_laydown_angle * math.sqrt(laydown_share * (1.0 - laydown_share))
    across = boards / RANGE_OF_TEN / math.sqrt(1.0 + together)
    laydown, swing = math.sqrt(laydown_share) * across, math.sqrt(1.0 - laydown_share) * across
    grown = (boards / ARROW_RANGE_BOARDS["elite"]) ** growth
    return Spread(
        sd_laydown_board=round(laydown, 3),
        sd_angle_deg=round(math.degrees(swing * BOARD_M / (15.0 * FOOT_M)), 3),
        sd_speed_mph=round(sd_speed_mph * grown, 3),
        sd_rev_rpm=round(sd_rev_rpm * grown, 2),
        sd_rotation_deg=round(sd_rotation_deg * grown, 2),
        sd_tilt_deg=round(sd_tilt_deg * grown, 2),
        link_speed_revs=link_speed_revs, link_laydown_angle=link_laydown_angle,
    )


LEVELS: dict[str, Spread] = {
    level: level_spread(level, sd_speed_mph=0.17, sd_rev_rpm=8.0, sd_rotation_deg=1.5,
                        growth=0.6, laydown_share=0.52)
    for level in ARROW_RANGE_BOARDS
}
# How a player of the level usually throws. Professional men: 18.6 mph and 436 rpm (read); slower
# and with fewer revs below (common practice, no source).
LEVEL_RELEASES: dict[str, Release] = {
    "elite": Release(18.6, 436.0, 50.0, 12.0),
    "220": Release(17.8, 380.0, 50.0, 13.0),
    "200": Release(17.4, 345.0, 50.0, 14.0),
    "180": Release(17.0, 310.0, 50.0, 15.0),
    "160": Release(16.6, 270.0, 50.0, 16.0),
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
    rows[:, :6] += spread.deviations(deviates)
    return rows


def sample_releases(release: Release, spread: Spread, n: int, seed: int) -> np.ndarray:
    """`n` releases (n, 7) round `release`; equal seeds give common random numbers across balls."""
    return spread_releases(release, spread, normal_deviates(n, 6, seed))
