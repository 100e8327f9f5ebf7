"""Deciding among a few lines: the same shots on each, and a walk from the best."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ..streams import Stage, normal_deviates
from .effort import Effort
from .plane import Plane
from .rate import Rated
from .throwing import Thrower
from .worth import Worth

# Where a walk looks: a turn to both sides and boards to both sides with the turn that usually goes
# with them, then closer. A step too small is lost in the noise of the shots.
_TURN_PER_BOARD = 0.08  # [deg]
WALK_STEPS = tuple(
    scale * np.array([[0.0, -_TURN_PER_BOARD], [0.0, _TURN_PER_BOARD],
                      [-1.0, _TURN_PER_BOARD], [1.0, -_TURN_PER_BOARD]]) for scale in (1.0, 0.5))


def decided(
    thrower: Thrower, plane: Plane, worth: Worth, lines: Rated, effort: Effort, seed: int, *,
    group: np.ndarray | None = None, known: np.ndarray | None = None,
) -> Rated:
    """One line for each group of balls, by the same `effort.decide` shots on each line.

    lines : rated ones, of which each group's `effort.few` best take part. group : (b,) which balls
    compete (one ball at several speeds); default: each ball by itself. known : (b, m, 2) lines that
    take part whatever they are rated, NaN rows empty; where the first of them wins, it comes back
    as it was.
    """
    group = np.arange(len(thrower)) if group is None else group
    owner, every = _taking_part(lines, effort.few, group, known)
    deviates = normal_deviates(effort.decide, 6, seed, Stage.LINE_DECIDE)

    def value(which: np.ndarray, some: np.ndarray) -> np.ndarray:
        shots = worth.of_shots(thrower.spread_shots(which, some, deviates))
        return shots.reshape(len(some), -1).mean(axis=1)

    worths = value(owner, every)
    first = []
    for one in np.unique(group):
        mine = np.flatnonzero(group[owner] == one)
        first.append(mine[worths[mine].argmax()])
    best, top = walk_lines(
        every[first], worths[first], lambda which, some: value(owner[first][which], some),
        plane.low, plane.high, steps=WALK_STEPS[: effort.distances], most=effort.moves)
    return Rated(owner[first], best, top)


def _taking_part(
    lines: Rated, few: int, group: np.ndarray, known: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray]:
    """Balls (n,) and lines (n, 2) that take part in the decision; no line of a ball twice."""
    which, some = [], []
    for one in np.unique(group):
        balls = np.flatnonzero(group == one)
        mine = np.flatnonzero(np.isin(lines.which, balls))
        mine = mine[np.argsort(-lines.worth[mine], kind="stable")[:few]]
        rows = np.column_stack([lines.which[mine], lines.lines[mine]])
        if known is not None:
            given = [np.column_stack([np.full(len(known[b]), b), known[b]]) for b in balls]
            rows = np.vstack([*given, rows])
            rows = rows[np.isfinite(rows).all(axis=1)]
        rows = rows[np.sort(np.unique(rows.round(6), axis=0, return_index=True)[1])]
        which.append(rows[:, 0].astype(int))
        some.append(rows[:, 1:])
    return np.concatenate(which), np.concatenate(some)


def walk_lines(
    best: np.ndarray, top: np.ndarray, worth: Callable[[np.ndarray, np.ndarray], np.ndarray],
    low: np.ndarray, high: np.ndarray, *, steps: Sequence[np.ndarray] = WALK_STEPS, most: int,
) -> tuple[np.ndarray, np.ndarray]:
    """Walk from lines, at most `most` times at each distance, as long as a neighbour is worth more.

    best : (b, 2) laydown board and launch angle of each ball's line; top : (b,) its worth;
    worth : from the balls (k,) and lines (k, 2) to what they are worth (k,), by the same shots on
    every line; low, high : (2,) limits; steps : the neighbours, (k, 2) for each distance.
    Returns the lines and their worth.
    """
    best, top = best.copy(), top.copy()
    for step in steps:
        going = np.arange(len(best))
        for _ in range(most):
            moved = np.clip(best[going, None, :] + step, low, high)
            tried = worth(np.repeat(going, len(step)), moved.reshape(-1, 2))
            tried = tried.reshape(len(going), -1)
            at = tried.argmax(axis=1)
            found = tried[np.arange(len(going)), at]
            better = found > top[going]
            best[going[better]] = moved[better, at[better]]
            top[going[better]] = found[better]
            going = going[better]
            if not len(going):
                break
    return best, top
