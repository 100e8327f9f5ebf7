"""The search for lines as the bag asks for it: pins per game, many balls, results to keep."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from ..lines.effort import QUICK, Effort
from ..lines.search import STARTS, find
from ..lines.throwing import Thrower
from ..lines.worth import PinsWorth
from ..player import Release, Spread, normal_deviates
from ..streams import Stage
from .judging import PinParts

__all__ = ["STARTS", "Lines", "better_lines", "find_lines", "lines_judged"]


# Hundreds of pairs are searched again: fewer shots decide, and the walk is a single step.
AGAIN = Effort("again", first=24, finalists=6, second=32, decide=768, few=4, moves=1, distances=1)


@dataclass(frozen=True)
class Lines:
    """The line found for each ball, and the fresh shots on it.

    laydown_board, launch_angle_deg : (b,). board, angle_deg, speed_mph : (b, shots) entries, NaN
    where no pin was met. outcome : (b, shots) codes. starts : (b, STARTS, 3) where a search on a
    lane that differs little may start (search.Found). searched : shots thrown by the search.
    """

    laydown_board: np.ndarray
    launch_angle_deg: np.ndarray
    board: np.ndarray = field(repr=False)
    angle_deg: np.ndarray = field(repr=False)
    speed_mph: np.ndarray = field(repr=False)
    outcome: np.ndarray = field(repr=False)
    starts: np.ndarray = field(repr=False)
    searched: int = 0


def pins_worth(parts: PinParts) -> PinsWorth:
    """Pins per game of an arrival, from the four averages."""
    return PinsWorth(parts.shot_worth(parts.plain), parts.shot_worth(parts.flipped),
                     float(parts.shot_worth(parts.gutter)))


def find_lines(
    paps: np.ndarray, pars: np.ndarray, film: np.ndarray, release: Release, spread: Spread,
    parts: PinParts, *, shots: int, seed: int, starts: np.ndarray | None = None,
    effort: Effort = QUICK,
) -> Lines:
    """The best line of each ball (rows of `paps`, `pars`) on one film, judged on `shots` shots.

    film : (60, 39) [m] in the player's board order; release : its laydown and angle play no part;
    starts : (b, n, 3) `Lines.starts` of the same balls on a lane that differs little.
    """
    thrower = Thrower(paps, pars, film, release.row(), spread)
    found = find(thrower, pins_worth(parts), effort=effort, seed=seed, starts=starts)
    judged = _judged(thrower, found.lines, shots, seed)
    return replace(judged, starts=found.starts, searched=found.searched)


def better_lines(
    paps: np.ndarray, pars: np.ndarray, film: np.ndarray, release: Release, spread: Spread,
    parts: PinParts, *, seed: int, starts: np.ndarray, known: np.ndarray,
) -> tuple[np.ndarray, int]:
    """A thorough search that starts from a quick one; the lines (b, 2) and the shots it took.

    known : (b, m, 2) lines that take part in the decision; where the first of them, the quick
    search's, wins, it comes back as it was.
    """
    thrower = Thrower(paps, pars, film, release.row(), spread)
    found = find(thrower, pins_worth(parts), effort=AGAIN, seed=seed, starts=starts,
                 known=known)
    return found.lines, found.searched


def lines_judged(
    paps: np.ndarray, pars: np.ndarray, film: np.ndarray, release: Release, spread: Spread,
    parts: PinParts, lines: np.ndarray, *, shots: int, seed: int,
) -> Lines:
    """Given lines (b, 2) on the same fresh shots as those of `find_lines`."""
    return _judged(Thrower(paps, pars, film, release.row(), spread), lines, shots, seed)


def _judged(thrower: Thrower, lines: np.ndarray, shots: int, seed: int) -> Lines:
    """The player's shots on the lines; no search has seen them."""
    table = thrower.spread_shots(np.arange(len(lines)), lines,
                                 normal_deviates(shots, 6, seed, Stage.RELEASES))
    shape = (len(lines), shots)
    return Lines(
        lines[:, 0], lines[:, 1], table.entry_board.reshape(shape),
        table.entry_angle_deg.reshape(shape), table.entry_speed_mph.reshape(shape),
        table.outcome.reshape(shape), np.full((len(lines), STARTS, 3), np.nan),
    )
