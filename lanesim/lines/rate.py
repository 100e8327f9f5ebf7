"""Rating lines: what a spread makes of them, from few shots and a local model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..streams import Stage, normal_deviates
from .candidates import LEAST_SLOPE, Candidates
from .effort import Effort
from .local_model import (
    ANGLE,
    ANGLE_SLOPE,
    BOARD,
    SD,
    SHARE,
    SPEED,
    SPEED_SLOPE,
    TERMS,
    Surface,
    laws,
)
from .plane import Plane
from .throwing import Thrower
from .worth import Worth

_SHIFTS = np.arange(-1.5, 1.51, 0.25)  # of the mean entry board, when a law is rated [boards]
_MOST_TURN_DEG = 0.2  # a law is good near its own line only
# Cells of boards over which the worth is added up under a law; the pocket's edges are among theirs.
_EDGES = np.arange(1.0, 39.01, 0.25)
_AT_BOARDS = 0.5 * (_EDGES[1:] + _EDGES[:-1])
_APART_BOARDS, _APART_DEG = 1.0, 0.12  # of the lines that go on
_TRIED_DEG = 0.12
_LOOKED_DEG = np.arange(-2, 3) * 0.06
_MODEL_SHOTS = 256
_FIRST_SAYS = 0.5  # weight of the first rating in the last one


@dataclass(frozen=True)
class Rated:
    """Lines of several balls with what they are worth; which (k,), lines (k, 2), worth (k,)."""

    which: np.ndarray
    lines: np.ndarray
    worth: np.ndarray


def law_worth(table: np.ndarray, worth: Worth) -> np.ndarray:
    """Expected worth (k, shifts) of a shot under each law, its mean board shifted by _SHIFTS.

    Arrival is taken as normal in the board, angle and speed going along. What the law puts beyond
    the lane, and the share that met no pin, is worth `nothing`.
    """
    from scipy.special import ndtr

    off = _AT_BOARDS[None, :] - table[:, BOARD, None]
    angle = table[:, ANGLE, None] + table[:, ANGLE_SLOPE, None] * off
    speed = table[:, SPEED, None] + table[:, SPEED_SLOPE, None] * off
    # a steep slope, far from the law's own board, would give angles that no ball has
    value = worth.at(np.broadcast_to(_AT_BOARDS, off.shape), np.maximum(angle, 0.0), speed)
    means = table[:, BOARD, None] + _SHIFTS
    chance = np.diff(ndtr((_EDGES - means[:, :, None]) / table[:, SD, None, None]), axis=2)
    hit = np.einsum("ksn,kn->ks", chance, value)
    hit += (1.0 - chance.sum(axis=2)) * worth.nothing
    share = table[:, SHARE, None]
    return share * hit + (1.0 - share) * worth.nothing


@dataclass(frozen=True)
class FirstLook:
    """All candidates rated by their laws, and the few that go on.

    laws : (k, 8) of the candidates; rated : the candidates turned to their best angle nearby;
    few : the lines that go on, apart from each other.
    """

    candidates: Candidates
    laws: np.ndarray
    rated: Rated
    few: Rated


def first_look(
    thrower: Thrower, plane: Plane, worth: Worth, candidates: Candidates, effort: Effort, seed: int
) -> FirstLook:
    """Throw a few shots of the spread on every candidate and rate it and its neighbours.

    Between two rows of the grid, along one curve, laws are joined half-way.
    """
    deviates = normal_deviates(effort.first, 6, seed, Stage.LINE_FIRST)
    table = thrower.spread_shots(candidates.which, candidates.lines, deviates)
    found = laws(table, deviates, len(candidates.lines))
    owner, points = _with_middles(candidates, found, plane.laydowns[1] - plane.laydowns[0])
    slope = points[:, 2:3]
    turn = _SHIFTS[None, :] / slope
    # where the curve turns back its slope says nothing: such a line is taken as it is
    turn = np.where(np.abs(slope) < LEAST_SLOPE, np.where(_SHIFTS == 0, 0.0, np.inf), turn)
    values = np.where(np.abs(turn) <= _MOST_TURN_DEG, law_worth(points[:, 3:], worth), -np.inf)
    best = values.argmax(axis=1)
    lines = points[:, :2].copy()
    lines[:, 1] += turn[np.arange(len(turn)), best]
    value = values.max(axis=1)
    kept = np.concatenate([
        _apart(np.flatnonzero(owner == ball), points, value, effort.finalists)
        for ball in range(len(thrower))])
    lines = plane.clipped(lines)
    count = len(candidates.lines)
    return FirstLook(candidates, found, Rated(candidates.which, lines[:count], value[:count]),
                     Rated(owner[kept], lines[kept], value[kept]))


def _with_middles(
    candidates: Candidates, found: np.ndarray, row_boards: float
) -> tuple[np.ndarray, np.ndarray]:
    """Owners (n,) and rows (n, 11) of line, slope and law: the candidates, then the middles."""
    points = np.column_stack([candidates.lines, candidates.slope, found])
    owners, middles = [candidates.which], [points]
    for ball in np.unique(candidates.which):
        mine = points[candidates.which == ball]
        for first in mine:
            later = np.flatnonzero(np.abs(mine[:, 0] - first[0] - row_boards) < 1e-6)
            if not len(later):
                continue
            other = mine[later[np.argmin(np.abs(mine[later, 1] - first[1]))]]
            if abs(other[1] - first[1]) < 1.0:
                owners.append(np.array([ball]))
                middles.append(0.5 * (first + other)[None])
    return np.concatenate(owners), np.concatenate(middles)


def _apart(mine: np.ndarray, points: np.ndarray, value: np.ndarray, most: int) -> np.ndarray:
    """The best rated of the points `mine`, apart from each other; indices."""
    kept: list[int] = []
    for k in mine[np.argsort(-value[mine], kind="stable")]:
        if all(abs(points[k, 0] - points[o, 0]) >= _APART_BOARDS
               or abs(points[k, 1] - points[o, 1]) >= _APART_DEG for o in kept):
            kept.append(int(k))
        if len(kept) == most:
            break
    return np.array(kept, dtype=int)


def second_look(
    thrower: Thrower, plane: Plane, worth: Worth, few: Rated, effort: Effort, seed: int
) -> Rated:
    """Throw each of a few lines at three angles: the best line near each, and what it is worth.

    The same shots on every line and ball. A model of the second order of where they arrive gives
    every shot's worth; its mean over many deviates plus what the shots did beyond it (a control
    variate) rates each line at five angles. The rating is a weighted mean of this and of the first
    one: the errors of the two are alike in size and have nothing to do with each other.
    """
    each = effort.second
    spread = thrower.spread
    turns = np.array([-_TRIED_DEG, 0.0, _TRIED_DEG])
    turned = np.repeat(turns, each)  # the turn of each of the shots
    off = _turned(spread.deviations(normal_deviates(3 * each, 6, seed, Stage.LINE_FINALISTS)),
                  turned)
    rows = np.repeat(thrower.releases[few.which], len(off), axis=0)
    rows[:, :2] = np.repeat(few.lines, len(off), axis=0)
    rows[:, :6] += np.tile(off, (len(few.lines), 1))
    table = thrower.throw(np.repeat(few.which, len(off)), rows)
    did = worth.of_shots(table).reshape(len(few.lines), -1)
    model = Surface.fitted(table, off, len(few.lines), spread)

    def expected(deviations: np.ndarray) -> np.ndarray:
        return worth.at(*np.moveaxis(model.arrivals(deviations), -1, 0))

    met = model.met
    share = _share_met(np.stack([met[:, turned == turn].mean(axis=1) for turn in turns]))
    beyond = (np.where(met, did - expected(off), 0.0).sum(axis=1)
              / np.maximum(met.sum(axis=1), 1))
    many = spread.deviations(normal_deviates(_MODEL_SHOTS, 6, seed, Stage.LINE_MODEL))
    value = np.column_stack([expected(_turned(many, turn)).mean(axis=1) for turn in _LOOKED_DEG])
    value = share * (value + beyond[:, None]) + (1.0 - share) * worth.nothing
    few_met = met.sum(axis=1) < 2 * TERMS  # no model from so few: what the shots did
    value[few_met] = did[few_met].mean(axis=1)[:, None]
    lines = few.lines.copy()
    lines[:, 1] += np.where(few_met, 0.0, _LOOKED_DEG[value.argmax(axis=1)])
    return Rated(few.which, plane.clipped(lines),
                 _FIRST_SAYS * few.worth + (1.0 - _FIRST_SAYS) * value.max(axis=1))


def _turned(deviations: np.ndarray, turn_deg: float | np.ndarray) -> np.ndarray:
    """Deviations (n, 6) of shots from a line that is turned by an angle."""
    out = deviations.copy()
    out[:, 1] += turn_deg
    return out


def _share_met(three: np.ndarray) -> np.ndarray:
    """(k, looked) share of shots that meet a pin at each angle looked at, from the shares (3, k)
    at the angles tried, joined linearly and drawn on beyond them."""
    low, middle, high = three
    below = _LOOKED_DEG[None, :] < 0.0
    steps = np.abs(_LOOKED_DEG[None, :]) / _TRIED_DEG
    ends = np.where(below, low[:, None], high[:, None])
    return np.clip(middle[:, None] + steps * (ends - middle[:, None]), 0.0, 1.0)
