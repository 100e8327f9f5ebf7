"""One search for lines: plane, candidates, local model, rate, decide; many balls at once.

1. `candidates`: on a coarse grid, or from the lines of a search on a lane that differs little,
   the lines whose usual shot arrives at the best board.
2. `rate.first_look`: a few shots of the spread on each; a linear model gives the law of arrival,
   which rates the line and its neighbours.
3. `rate.second_look`: the best few at three angles, with a model of the second order.
4. `decide.decided`, for a thorough effort: the same shots on the best of those, and a walk from
   the best of them to its neighbours as long as one does better.

What is made as large as possible is a `worth`, how much is spent an `effort`. The same deviates
serve every ball (common random numbers), and each ball's search depends on nothing but itself, so
results may be kept and put together ball by ball. A line found is to be judged on shots of another
stage (release.sample_releases): the search's own would carry the winner's luck.

How far the lines found are behind brute force is measured by benchmarks/lines.py, which says what
was found.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..progress import Progress, silent
from .candidates import Candidates, crossings, followed
from .decide import decided
from .effort import Effort
from .plane import Plane
from .rate import FirstLook, Rated, first_look, second_look
from .throwing import Thrower
from .worth import Worth

STARTS = 10  # best lines of a search that the next one may start from


@dataclass(frozen=True)
class Found:
    """What a search found.

    which : (g,) the ball of each group's line (with one ball a group: 0, 1, ..); lines : (g, 2).
    starts : (b, STARTS, 3) each ball's best candidates (laydown, angle, boards per degree), NaN
    rows at the end: where a search on a lane that differs little may start.
    rated : every candidate, and every line that went further, with its rating.
    searched : shots thrown by the search, all balls together.
    """

    which: np.ndarray
    lines: np.ndarray
    starts: np.ndarray = field(repr=False)
    rated: Rated = field(repr=False)
    first: FirstLook = field(repr=False)
    searched: int = 0


def find(
    thrower: Thrower, worth: Worth, *, effort: Effort, seed: int, plane: Plane | None = None,
    starts: np.ndarray | None = None, known: np.ndarray | None = None,
    group: np.ndarray | None = None, progress: Progress = silent,
) -> Found:
    """The best line of each ball of a thrower, or of each group of balls.

    Parameters
    ----------
    plane : where to look (default: the whole plane).
    starts : (b, n, 3) `Found.starts` of the same balls on a lane that differs little.
    known : (b, m, 2) lines that take part in the decision of a thorough effort.
    group : (b,) balls with the same number compete for one line: one ball at several speeds.
    progress : called with (steps done, steps).
    """
    plane = plane or Plane()
    before = thrower.thrown
    steps = 3 if effort.decide == 0 else 4
    progress(0, steps)
    tried = (crossings(thrower, plane) if starts is None
             else followed(thrower, plane, starts))
    progress(1, steps)
    first = first_look(thrower, plane, worth, tried, effort, seed)
    progress(2, steps)
    few = second_look(thrower, plane, worth, first.few, effort, seed)
    progress(3, steps)
    if effort.decide:
        best = decided(thrower, plane, worth, few, effort, seed, group=group, known=known)
        progress(4, steps)
    else:
        best = _best_rated(few, np.arange(len(thrower)) if group is None else group)
    every = Rated(*(np.concatenate(pair) for pair in (
        (first.rated.which, few.which), (first.rated.lines, few.lines),
        (first.rated.worth, few.worth))))
    return Found(best.which, best.lines, _starts(len(thrower), tried, first.rated), every, first,
                 thrower.thrown - before)


def _best_rated(few: Rated, group: np.ndarray) -> Rated:
    top = []
    for one in np.unique(group):
        mine = np.flatnonzero(group[few.which] == one)
        top.append(mine[few.worth[mine].argmax()])
    return Rated(few.which[top], few.lines[top], few.worth[top])


def _starts(balls: int, tried: Candidates, rated: Rated) -> np.ndarray:
    out = np.full((balls, STARTS, 3), np.nan)
    for ball in range(balls):
        mine = np.flatnonzero(tried.which == ball)
        top = mine[np.argsort(-rated.worth[mine], kind="stable")[:STARTS]]
        out[ball, : len(top)] = np.column_stack([tried.lines[top], tried.slope[top]])
    return out


