"""Balls ready to be thrown along lines on one lane, many times."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError, check_kind
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import BOARDS, GRID_ROWS
from ..lane.pattern import OilPattern
from ..motion import setup
from ..motion.pocket import GUTTER
from ..motion.trajectory import ShotTable, throw_parameters
from ..player import Release, Spread

# stand-ins for the entry board of a ball in either gutter
BELOW, ABOVE = -5.0, 45.0


class Thrower:
    """Balls on one film, each with the release numbers of its own; counts the shots.

    Parameters
    ----------
    paps, pars : (b, 3) and (b, P_COUNT), one row a ball (setup.parameter_vector).
    film : (60, 39) [m] in the player's board order.
    releases : (7,) or (b, 7) release.RELEASE_COLUMNS; laydown and angle are those of the lines.
    spread : the player's.
    """

    def __init__(
        self, paps: np.ndarray, pars: np.ndarray, film: np.ndarray, releases: np.ndarray,
        spread: Spread,
    ) -> None:
        self.film = np.asarray(film, dtype=float)
        if self.film.shape != (GRID_ROWS, BOARDS):
            raise InputError(f"the oil film has shape {self.film.shape}; accepted: (60, 39)")
        if not np.all(np.isfinite(self.film)) or np.any(self.film < 0):
            raise InputError("the oil film must be finite and not negative everywhere")
        self.paps, self.pars, self.spread = paps, pars, spread
        self.releases = np.broadcast_to(np.asarray(releases, dtype=float), (len(paps), 7))
        self.thrown = 0

    @classmethod
    def of(
        cls, balls: Ball | Sequence[Ball], release: Release, pattern: OilPattern, spread: Spread,
        *, friction: FrictionModel = DEFAULT_FRICTION, film: np.ndarray | None = None,
    ) -> Thrower:
        """From nouns; film : instead of the pattern's fresh oil."""
        several = [balls] if isinstance(balls, Ball) else balls
        check_nouns(several, release, pattern, spread)
        return cls(
            np.array([b.inertia.pap_body for b in several]),
            np.array([setup.parameter_vector(b, viscosity_cp=pattern.viscosity_cp,
                                             friction=friction) for b in several]),
            pattern.film_m(release.hand) if film is None else film, release.row(), spread,
        )

    def __len__(self) -> int:
        return len(self.paps)

    def throw(self, which: np.ndarray, rows: np.ndarray) -> ShotTable:
        """Follow releases (n, 7), each of ball `which` (n,)."""
        self.thrown += len(rows)
        return throw_parameters(self.paps, self.pars, rows, self.film, which=which)

    def usual(self, which: np.ndarray, lines: np.ndarray) -> ShotTable:
        """One shot without spread along each line (k, 2)."""
        rows = self.releases[which].copy()
        rows[:, :2] = lines
        return self.throw(which, rows)

    def usual_board(self, which: np.ndarray, lines: np.ndarray) -> np.ndarray:
        """Entry board (k,) of that shot; beyond the lane's edges in a gutter."""
        return entry_board(self.usual(which, lines))

    def spread_rows(
        self, which: np.ndarray, lines: np.ndarray, deviates: np.ndarray
    ) -> np.ndarray:
        """Releases (k n, 7): every deviate (n, 6) on every line (k, 2)."""
        rows = np.repeat(self.releases[which], len(deviates), axis=0)
        rows[:, :2] = np.repeat(lines, len(deviates), axis=0)
        rows[:, :6] += np.tile(self.spread.deviations(deviates), (len(lines), 1))
        return rows

    def spread_shots(
        self, which: np.ndarray, lines: np.ndarray, deviates: np.ndarray
    ) -> ShotTable:
        """Those releases thrown."""
        return self.throw(np.repeat(which, len(deviates)),
                          self.spread_rows(which, lines, deviates))


def check_nouns(
    balls: Sequence[Ball], release: Release, pattern: OilPattern, spread: Spread | None
) -> None:
    """Refuse arguments of the wrong kind, swapped ones above all; spread None: there is none."""
    for ball in balls if isinstance(balls, Sequence) else [balls]:
        check_kind("ball", ball, Ball)
    check_kind("release", release, Release)
    check_kind("pattern", pattern, OilPattern)
    if spread is not None:
        check_kind("spread", spread, Spread)


def entry_board(table: ShotTable) -> np.ndarray:
    """Entry board (n,), with stand-ins beyond the lane's edges for a ball in a gutter."""
    board = table.entry_board.copy()
    gutter = table.outcome == GUTTER
    # a gutter on the ball-arm side is one whose path went out beyond the lane's edge there
    board[gutter] = np.where(table.breakpoint_board[gutter] < 1.0, BELOW, ABOVE)
    return board


def entries(table: ShotTable) -> np.ndarray:
    """(n, 3) entry board, angle and speed; NaN where no pin was met."""
    return np.column_stack([table.entry_board, table.entry_angle_deg, table.entry_speed_mph])
