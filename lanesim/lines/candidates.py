"""Candidates: lines whose usual shot arrives at the best board.

From a coarse grid, one usual shot a node: on every laydown row the angles at which the arrival
crosses the best board (there may be several, an outside and a deep line), each set right by one
more shot; and the lines where the arrival turns back at the best board, where a wrong angle costs
least. On a lane that differs little from one searched before: the lines found there, turned until
their usual shots arrive again.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..motion.pocket import BEST_BOARD
from .plane import Plane, nodes
from .throwing import ABOVE, BELOW, Thrower, entries, entry_board

LEAST_SLOPE = 5.0  # boards per degree below which a turn says nothing about the arrival
_NO_SLOPE = 3.0  # stands for one that is not known or next to nothing
_LOST_SLOPE = 12.0  # about that of most lines: for a ball that never gets to the pocket
_SMALLEST_SLOPE = 2.0
_LOST_LINES = 6  # nearest nodes of such a ball
_NEAR_BOARDS = 4.0
_BEYOND_BOARDS = (0.0, 0.5, 1.0)  # of a turning point beyond the best board
_MOST_FOLLOW_DEG = 1.0
_FOLLOWED_BOARDS = 3.0  # a line followed to another lane must come this near to the best board


@dataclass(frozen=True)
class Candidates:
    """Lines to try, in the order of their balls.

    which : (k,) ball; lines : (k, 2); slope : (k,) boards of arrival per degree of launch angle.
    grid : (b, l, a, 3) entry board, angle, speed of the usual shots on the plane's grid, NaN where
    no pin was met or no grid was thrown.
    """

    which: np.ndarray
    lines: np.ndarray
    slope: np.ndarray
    grid: np.ndarray = field(repr=False)


def crossings(thrower: Thrower, plane: Plane, which: np.ndarray | None = None) -> Candidates:
    """Candidates of the balls `which` (default all), from nothing."""
    balls = np.arange(len(thrower)) if which is None else which
    shape = (len(balls), len(plane.laydowns), len(plane.angles))
    grid = nodes(plane.laydowns, plane.angles)
    table = thrower.usual(np.repeat(balls, len(grid)), np.tile(grid, (len(balls), 1)))
    boards = entry_board(table).reshape(shape)
    off = boards - BEST_BOARD
    found = _set_right(thrower, plane, balls, off, _between_nodes(plane, off, boards))
    parts = [found, _near_turns(plane, off), _tangents(plane, off, boards),
             _nearest_nodes(off, grid, found[0])]
    owner, lines, slope = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.argsort(owner, kind="stable")
    slope = np.where(np.abs(slope) < _SMALLEST_SLOPE, _SMALLEST_SLOPE, slope)
    return Candidates(balls[owner[order]], plane.clipped(lines[order]), slope[order],
                      entries(table).reshape(*shape, 3))


# Each of these gives (ball's place (k,), lines (k, 2), slopes (k,)); off : (b, l, a) arrival less
# the best board, NaN nowhere but where a ball stopped on the lane.
_Found = tuple[np.ndarray, np.ndarray, np.ndarray]


def _between_nodes(plane: Plane, off: np.ndarray, boards: np.ndarray) -> tuple[_Found, np.ndarray]:
    """Where neighbouring nodes of a row lie on both sides of the best board, joined linearly; and
    the places (k, 3) of the lower nodes."""
    with np.errstate(invalid="ignore"):
        crossed = off[:, :, :-1] * off[:, :, 1:] <= 0
    place = np.argwhere(crossed)
    b, i, j = place.T
    step = plane.angles[1] - plane.angles[0]
    y0, y1 = off[b, i, j], off[b, i, j + 1]
    gap = np.where(np.abs(y1 - y0) > 1e-9, y1 - y0, 1.0)
    lines = np.column_stack([plane.laydowns[i],
                             plane.angles[j] + step * np.clip(-y0 / gap, 0, 1)])
    on_deck = (boards > BELOW) & (boards < ABOVE)
    # beside a gutter there is no slope to speak of
    cliff = ~(on_deck[b, i, j] & on_deck[b, i, j + 1])
    return (b, lines, np.where(cliff, _NO_SLOPE, gap / step)), place


def _set_right(
    thrower: Thrower, plane: Plane, balls: np.ndarray, off: np.ndarray,
    found: tuple[_Found, np.ndarray],
) -> _Found:
    """One usual shot on each line, and a step by the slope that it shows."""
    (b, lines, slope), place = found
    if not len(b):
        return b, lines, slope
    step = plane.angles[1] - plane.angles[0]
    y0, y1 = (off[b, place[:, 1], place[:, 2] + n] for n in (0, 1))
    here = thrower.usual_board(balls[b], lines) - BEST_BOARD
    left = lines[:, 1] - plane.angles[place[:, 2]]
    with np.errstate(invalid="ignore"):
        seen = np.where((here - y0) * np.sign(y1 - y0) > 0, (here - y0) / np.maximum(left, 0.05),
                        slope)
        move = np.where(np.isfinite(here) & (np.abs(seen) > 1.0), -here / seen, 0.0)
    lines = lines.copy()
    lines[:, 1] += np.clip(move, -step, step)
    return b, plane.clipped(lines), slope


def _near_turns(plane: Plane, off: np.ndarray) -> _Found:
    """Nodes at which a row's arrival turns back just short of the best board."""
    inner = np.abs(off[:, :, 1:-1])
    with np.errstate(invalid="ignore"):
        crossed = off[:, :, :-1] * off[:, :, 1:] <= 0
        turns = ((inner < _NEAR_BOARDS) & (inner <= np.abs(off[:, :, :-2]))
                 & (inner <= np.abs(off[:, :, 2:])) & ~crossed[:, :, :-1] & ~crossed[:, :, 1:])
    b, row, node = np.nonzero(turns)
    return (b, np.column_stack([plane.laydowns[row], plane.angles[node + 1]]),
            np.full(len(b), _NO_SLOPE))


def _tangents(plane: Plane, off: np.ndarray, boards: np.ndarray) -> _Found:
    """Lines where the turning point of the arrival meets the best board."""
    met = np.where((boards > BELOW) & (boards < ABOVE), off, np.nan)
    found = [tangent_lines(plane.laydowns, plane.angles, one) for one in met]
    owner = np.repeat(np.arange(len(found)), [len(f) for f in found])
    return owner, np.concatenate(found), np.full(len(owner), _NO_SLOPE)


def _nearest_nodes(off: np.ndarray, grid: np.ndarray, found: np.ndarray) -> _Found:
    """For balls that never get there: the nodes that come nearest."""
    lost = np.setdiff1d(np.arange(len(off)), found)
    far = np.abs(np.nan_to_num(off[lost], nan=ABOVE)).reshape(len(lost), len(grid))
    near = np.argsort(far, axis=1, kind="stable")[:, :_LOST_LINES]
    owner = np.repeat(lost, near.shape[1])
    return owner, grid[near.ravel()], np.full(len(owner), _LOST_SLOPE)


def _turning_points(
    angles: np.ndarray, off: np.ndarray, sign: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Inner nodes (l, a - 2) of rows where `off` is least (sign +1) or largest (-1); by a parabola
    the angle and the height of the turning point.  None beside a NaN."""
    before, here, after = off[:, :-2], off[:, 1:-1], off[:, 2:]
    with np.errstate(invalid="ignore", divide="ignore"):
        turns = (sign * here <= sign * before) & (sign * here < sign * after)
        slope, bend = 0.5 * (after - before), before - 2.0 * here + after
        share = np.where(np.abs(slope) < np.abs(bend), -slope / bend, 0.0)
    height = here + share * (slope + 0.5 * share * bend)
    return turns, angles[1:-1] + share * (angles[1] - angles[0]), height


def tangent_lines(laydowns: np.ndarray, angles: np.ndarray, off: np.ndarray) -> np.ndarray:
    """Lines (k, 2) on which shots meet the best board and hardly mind the launch angle.

    off : (l, a) entry board of the usual shot less the best one, NaN where no pin was met.  On a
    row the board often turns back: what is sent farther out meets dry boards and comes back more.
    Where that turning point, moving from row to row, passes the best board, a wrong angle costs
    least; between two rows of a grid no crossing need show it.  Shots with a spread arrive on one
    side of the turning point, so places where it lies a little beyond the best board are given too.
    """
    found: list[np.ndarray] = []
    last = len(off) - 1
    for sign in (1.0, -1.0):
        turns, where, height = _turning_points(angles, off, sign)
        for i, j in np.argwhere(turns):
            here = np.array([laydowns[i], where[i, j]])
            if i in (0, last) and abs(height[i, j]) < _BEYOND_BOARDS[-1]:
                found.append(here)  # it may pass just outside the grid
            if i == last:
                continue
            for n in np.flatnonzero(turns[i + 1] & (np.abs(where[i + 1] - where[i, j]) < 1.0)):
                there = np.array([laydowns[i + 1], where[i + 1, n]])
                ends = [(height[i, j] + sign * beyond, height[i + 1, n] + sign * beyond)
                        for beyond in _BEYOND_BOARDS]
                found += [here + low / (low - high) * (there - here) for low, high in ends
                          if low * high < 0.0]
    return np.array(found).reshape(-1, 2)


def followed(thrower: Thrower, plane: Plane, starts: np.ndarray) -> Candidates:
    """Candidates from lines that met the pocket on a lane that differed little.

    starts : (b, n, 3) laydown, angle and slope; NaN rows are empty. A usual shot on each, turned by
    the slope it had, and another by the slope then seen. Balls none of whose lines come near the
    best board again are looked for from nothing.
    """
    which, row = np.nonzero(np.isfinite(starts[:, :, 0]))
    lines, slope = starts[which, row, :2].copy(), starts[which, row, 2].copy()
    here = thrower.usual_board(which, lines) - BEST_BOARD if len(which) else np.empty(0)
    with np.errstate(invalid="ignore", divide="ignore"):
        move = np.clip(-here / slope, -_MOST_FOLLOW_DEG, _MOST_FOLLOW_DEG)
        # where the curve turns back a turn leads nowhere: such a line stays as it is
        flat = np.abs(slope) < LEAST_SLOPE
        first = lines[:, 1].copy()
        lines[:, 1] += np.where(np.isfinite(move) & ~flat, move, 0.0)
        lines = plane.clipped(lines)
        there = thrower.usual_board(which, lines) - BEST_BOARD if len(which) else np.empty(0)
        seen = (there - here) / (lines[:, 1] - first)
        good = np.isfinite(seen) & (np.abs(lines[:, 1] - first) > 0.02)
        slope = np.where(good & (np.sign(seen) == np.sign(slope)), seen, slope)
        slope = np.where(np.abs(slope) < _SMALLEST_SLOPE, _SMALLEST_SLOPE, slope)
        move = np.where(flat, 0.0, np.clip(-there / slope, -0.3, 0.3))
        left = np.abs(there + slope * move)
        near = np.isfinite(left) & (left < _FOLLOWED_BOARDS)
    lines[:, 1] += np.where(near, move, 0.0)
    which, lines, slope = which[near], plane.clipped(lines[near]), slope[near]
    shape = (len(starts), len(plane.laydowns), len(plane.angles), 3)
    grid = np.full(shape, np.nan)
    lost = np.setdiff1d(np.arange(len(starts)), which)
    if len(lost):
        cold = crossings(thrower, plane, lost)
        grid[lost] = cold.grid
        which, lines, slope = (np.concatenate(pair) for pair in (
            (which, cold.which), (lines, cold.lines), (slope, cold.slope)))
    order = np.argsort(which, kind="stable")
    return Candidates(which[order], lines[order], slope[order], grid)
