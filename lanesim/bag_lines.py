"""Lines for many balls on one lane at once: a search cheap enough for hundreds of pairs.

`lineup.find_line` spends about 3,000 shots and a second on one ball. A bag needs hundreds of
lines, so here the search takes about 1,000 shots a ball, all balls go through each step together:

1. A coarse grid, one mean shot a node (14 laydown boards x 19 angles). On every row the angles
   whose shot arrives at the best board are read off; one more mean shot there sets it right.
2. 20 shots of the spread on each such line. A linear model of how entry board, angle and speed
   answer to the six release numbers gives the law of arrival: normal about a mean, with angle and
   speed going along. Averaging the worth of a shot (pins, from the carry table) over that law
   rates the line and its neighbours at a little more or less angle; between rows the law is joined
   linearly.
3. The best four are thrown at three angles with 32 shots each, the same 96 deviates for every
   line and ball. A model of the second order of where they arrive predicts every shot's worth; its
   mean over many deviates plus what the shots did beyond it (a control variate) rates each line at
   seven angles. Between the four a weighted mean of this and of the first rating decides: the
   errors of the two are alike in size and have nothing to do with each other.

The line is then judged on fresh shots that the search has not seen. Each ball's search depends on
nothing but itself, so results may be kept and put together ball by ball. The same deviates serve
every ball (common random numbers).

What the quickness costs, measured on 8 balls, 2 patterns and 3 seeds: against `find_line` with
4,000 search shots 1.3 pins a game on average, 5.6 at worst (tests/test_bag.py holds it to limits).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from .bag_pins import NODE_ANGLES, NODE_BOARDS, NODE_SPEEDS, SHAPE, PinParts
from .lineup import ANGLE_RANGE, LAYDOWN_RANGE
from .pocket import BEST_BOARD, GUTTER
from .release import Release, Spread, normal_deviates
from .trajectory import ShotTable, throw_parameters

SEARCH_STAGE = 63  # stages of the seed sequence: the search's shots,
JUDGE_STAGE = 64  # and the fresh ones that judge
_ROW_BOARDS = 2.0
_LAYDOWNS = np.arange(LAYDOWN_RANGE[0], LAYDOWN_RANGE[1], _ROW_BOARDS)
_ANGLES = np.linspace(ANGLE_RANGE[0] + 0.5, 1.5, 19)
_FIRST, _SECOND, _FINALISTS = 20, 32, 4
_SHIFTS = np.arange(-1.5, 1.51, 0.25)  # of the mean entry board, when a law is rated [boards]
_MOST_TURN_DEG = 0.2  # a law is good near its own line only
_FIRST_SAYS = 0.5  # weight of the first rating in the last choice
_LEAST_SLOPE = 5.0  # boards per degree
_TRIED_DEG = 0.12
_NEAR_BOARDS = 4.0
_LOOKED_DEG = np.arange(-3, 4) * 0.06
_MODEL_SHOTS = 256
_BELOW, _ABOVE = -5.0, 45.0  # stand-ins for the entry board of a ball in either gutter

Throw = Callable[[np.ndarray, np.ndarray], ShotTable]


@dataclass(frozen=True)
class Lines:
    """The line found for each ball, and the fresh shots on it.

    laydown_board, launch_angle_deg : (b,). board, angle_deg, speed_mph : (b, shots) entries, NaN
    where no pin was met. outcome : (b, shots) codes. searched : shots thrown by the search, all
    balls together.
    """

    laydown_board: np.ndarray
    launch_angle_deg: np.ndarray
    board: np.ndarray = field(repr=False)
    angle_deg: np.ndarray = field(repr=False)
    speed_mph: np.ndarray = field(repr=False)
    outcome: np.ndarray = field(repr=False)
    searched: int = 0


def find_lines(
    paps: np.ndarray, pars: np.ndarray, film: np.ndarray, release: Release, spread: Spread,
    parts: PinParts, *, shots: int, seed: int,
) -> Lines:
    """The best line of each ball (rows of `paps`, `pars`) on one film, judged on `shots` shots.

    film : (60, 39) [m] in the player's board order; release : its laydown and angle play no part.
    """
    search = _Search(paps, pars, film, release, spread, parts, seed)
    lines = search.best()
    deviates = normal_deviates(shots, 6, seed, JUDGE_STAGE)
    table = search.throw_spread(np.arange(len(paps)), lines, deviates)
    shape = (len(paps), shots)
    return Lines(
        lines[:, 0], lines[:, 1], table.entry_board.reshape(shape),
        table.entry_angle_deg.reshape(shape), table.entry_speed_mph.reshape(shape),
        table.outcome.reshape(shape), search.thrown - table.outcome.size,
    )


class _Search:
    """One search for all balls; lines are rows (laydown board, launch angle)."""

    def __init__(self, paps, pars, film, release, spread, parts, seed) -> None:
        self.paps, self.pars, self.film = paps, pars, film
        self.row, self.spread, self.parts = release.row(), spread.array(), parts
        self.seed = seed
        self.thrown = 0
        self.worth = parts.worth.reshape(SHAPE)

    def throw(self, which: np.ndarray, rows: np.ndarray) -> ShotTable:
        self.thrown += len(rows)
        return throw_parameters(self.paps, self.pars, rows, self.film, which=which)

    def throw_mean(self, which: np.ndarray, lines: np.ndarray) -> np.ndarray:
        """Entry board of the shot without spread; beyond the lane's edges in a gutter."""
        rows = np.tile(self.row, (len(lines), 1))
        rows[:, :2] = lines
        table = self.throw(which, rows)
        board = table.entry_board.copy()
        gutter = table.outcome == GUTTER
        board[gutter] = np.where(table.breakpoint_board[gutter] < 1.0, _BELOW, _ABOVE)
        return board

    def throw_spread(self, which: np.ndarray, lines: np.ndarray, deviates: np.ndarray) -> ShotTable:
        n = len(deviates)
        rows = np.tile(self.row, (len(lines) * n, 1))
        rows[:, :2] = np.repeat(lines, n, axis=0)
        rows[:, :6] += np.tile(deviates * self.spread, (len(lines), 1))
        return self.throw(np.repeat(which, n), rows)

    # --- the three steps ------------------------------------------------------------------

    def crossings(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Ball (k,), line (k, 2) and slope (k,) [boards/deg] where mean shots meet the pocket."""
        balls = len(self.paps)
        laydown, angle = np.meshgrid(_LAYDOWNS, _ANGLES, indexing="ij")
        grid = np.column_stack([laydown.ravel(), angle.ravel()])
        boards = self.throw_mean(np.repeat(np.arange(balls), len(grid)), np.tile(grid, (balls, 1)))
        boards = boards.reshape(balls, len(_LAYDOWNS), len(_ANGLES))
        off = boards - BEST_BOARD
        with np.errstate(invalid="ignore"):
            crossed = off[:, :, :-1] * off[:, :, 1:] <= 0
        found = np.argwhere(crossed)
        # a ball that never gets there: the nodes that come nearest
        lost = [b for b in range(balls) if not np.any(found[:, 0] == b)]
        step = _ANGLES[1] - _ANGLES[0]
        b, i, j = found.T
        y0, y1 = off[b, i, j], off[b, i, j + 1]
        gap = np.where(np.abs(y1 - y0) > 1e-9, y1 - y0, 1.0)
        lines = np.column_stack([_LAYDOWNS[i], _ANGLES[j] + step * np.clip(-y0 / gap, 0, 1)])
        slope = gap / step
        # one mean shot there, and a step by the slope that it shows
        if len(b):
            here = self.throw_mean(b, lines) - BEST_BOARD
            left = lines[:, 1] - _ANGLES[j]
            fresh = np.where((here - y0) * np.sign(gap) > 0, (here - y0) / np.maximum(left, 0.05),
                             slope)
            move = np.where(np.isfinite(here) & (np.abs(fresh) > 1.0), -here / fresh, 0.0)
            lines[:, 1] = np.clip(lines[:, 1] + np.clip(move, -step, step), *ANGLE_RANGE)
        # a curve that turns back just short of the best board between two nodes has a line there
        inner = np.abs(off[:, :, 1:-1])
        with np.errstate(invalid="ignore"):
            turns = ((inner < _NEAR_BOARDS) & (inner <= np.abs(off[:, :, :-2]))
                     & (inner <= np.abs(off[:, :, 2:])) & ~crossed[:, :, :-1] & ~crossed[:, :, 1:])
        ball, row, node = np.nonzero(turns)
        b = np.append(b, ball)
        lines = np.vstack([lines, np.column_stack([_LAYDOWNS[row], _ANGLES[node + 1]])])
        slope = np.append(slope, np.full(len(ball), 3.0))
        for ball in lost:
            flat = np.abs(np.nan_to_num(off[ball], nan=_ABOVE)).ravel()
            near = np.argsort(flat, kind="stable")[:6]
            b = np.append(b, np.full(6, ball))
            lines = np.vstack([lines, grid[near]])
            slope = np.append(slope, np.full(6, 12.0))
        order = np.argsort(b, kind="stable")
        return b[order], lines[order], np.where(np.abs(slope) < 2.0, 2.0, slope)[order]

    def best(self) -> np.ndarray:
        """The chosen line (b, 2) of each ball."""
        which, lines, slope = self.crossings()
        deviates = normal_deviates(_FIRST, 6, self.seed, SEARCH_STAGE)
        laws = self._laws(self.throw_spread(which, lines, deviates), deviates, len(lines))
        ball_of, chosen, rated = [], [], []
        for ball in range(len(self.paps)):
            mine = np.flatnonzero(which == ball)
            picks, worth = self._pick(lines[mine], slope[mine], laws[mine])
            ball_of += [ball] * len(picks)
            chosen.append(picks)
            rated.append(worth)
        return self._finalists(np.array(ball_of), np.vstack(chosen), np.concatenate(rated))

    def _laws(self, table: ShotTable, deviates: np.ndarray, count: int) -> np.ndarray:
        """(k, 7): mean board, SD, mean angle, its slope in the board, mean speed, its slope, share
        of the shots that meet a pin; by least squares on the shots of each line."""
        n = len(deviates)
        entry = np.stack([table.entry_board, table.entry_angle_deg, table.entry_speed_mph])
        entry = entry.reshape(3, count, n)
        met = np.isfinite(entry[0])
        terms = np.column_stack([np.ones(n), deviates])
        weight = met.astype(float)
        normal = np.einsum("kn,ni,nj->kij", weight, terms, terms) + 1e-3 * np.eye(7)
        right = np.einsum("kn,ni,ckn->kic", weight, terms, np.nan_to_num(entry))
        solved = np.linalg.solve(normal, right)  # (k, 7, 3)
        rest = np.where(met, entry[0] - np.einsum("ni,ki->kn", terms, solved[:, :, 0]), 0.0)
        free = np.maximum(met.sum(axis=1) - 7.0, 2.0)
        left = (rest**2).sum(axis=1) / free
        answer = solved[:, 1:, 0]
        variance = np.maximum((answer**2).sum(axis=1) + left, 0.04)
        along = [(answer * solved[:, 1:, c]).sum(axis=1) / variance for c in (1, 2)]
        few = met.sum(axis=1) < 10  # too few to say anything: rated as worth nothing
        share = np.where(few, 0.0, met.mean(axis=1))
        return np.column_stack([
            np.where(few, BEST_BOARD, solved[:, 0, 0]), np.sqrt(variance),
            np.where(few, 4.0, solved[:, 0, 1]), np.where(few, 0.0, along[0]),
            np.where(few, 16.0, solved[:, 0, 2]), np.where(few, 0.0, along[1]), share,
        ])

    def _rate(self, laws: np.ndarray) -> np.ndarray:
        """(k, shifts) expected worth of a shot under each law with its mean shifted."""
        step_a, step_s = NODE_ANGLES[1] - NODE_ANGLES[0], NODE_SPEEDS[1] - NODE_SPEEDS[0]
        mean, sd, angle, angle_slope, speed, speed_slope, share = laws.T[:, :, None]
        off = NODE_BOARDS[None, :] - mean
        at_a = np.clip((angle + angle_slope * off) / step_a, 0, len(NODE_ANGLES) - 1.001)
        at_s = np.clip((speed + speed_slope * off - NODE_SPEEDS[0]) / step_s, 0,
                       len(NODE_SPEEDS) - 1.001)
        i, j = at_a.astype(int), at_s.astype(int)
        u, w = at_a - i, at_s - j
        n = np.arange(len(NODE_BOARDS))[None, :]
        worth = ((1 - u) * ((1 - w) * self.worth[n, i, j] + w * self.worth[n, i, j + 1])
                 + u * ((1 - w) * self.worth[n, i + 1, j] + w * self.worth[n, i + 1, j + 1]))
        z = (off[:, None, :] - _SHIFTS[None, :, None]) / sd[:, :, None]
        density = np.exp(-0.5 * z**2) / sd[:, :, None] * (NODE_BOARDS[1] - NODE_BOARDS[0])
        density /= np.sqrt(2.0 * np.pi)
        nothing = float(self.parts.shot_worth(self.parts.gutter))
        on_lane = density.sum(axis=2)
        hit = np.einsum("ksn,kn->ks", density, worth) + (1.0 - np.minimum(on_lane, 1)) * nothing
        return share * hit + (1.0 - share) * nothing

    def _pick(self, lines: np.ndarray, slope: np.ndarray, laws: np.ndarray
              ) -> tuple[np.ndarray, np.ndarray]:
        """Up to _FINALISTS lines (k, 2) of one ball, apart from each other, and their ratings."""
        points = [np.array([*line, s, *law])
                  for line, s, law in zip(lines, slope, laws, strict=True)]
        for one, first in enumerate(lines):  # half-way to the next row along the same curve
            later = np.flatnonzero(np.abs(lines[:, 0] - first[0] - _ROW_BOARDS) < 1e-6)
            if not len(later):
                continue
            other = later[np.argmin(np.abs(lines[later, 1] - first[1]))]
            if abs(lines[other, 1] - first[1]) < 1.0:
                points.append(0.5 * (points[one] + points[other]))
        table = np.array(points)
        turn = _SHIFTS[None, :] / table[:, 2:3]
        # where the curve turns back its slope says nothing: such a line is taken as it is
        turn = np.where(np.abs(table[:, 2:3]) < _LEAST_SLOPE, np.where(_SHIFTS == 0, 0.0, np.inf),
                        turn)
        rate = np.where(np.abs(turn) <= _MOST_TURN_DEG, self._rate(table[:, 3:]), -np.inf)
        shift = rate.argmax(axis=1)
        worth = rate.max(axis=1)
        kept: list[int] = []
        for k in np.argsort(-worth, kind="stable"):
            if all(abs(table[k, 0] - table[o, 0]) >= 1.0 or abs(table[k, 1] - table[o, 1]) >= 0.12
                   for o in kept):
                kept.append(int(k))
            if len(kept) == _FINALISTS:
                break
        picked = table[kept, :2].copy()
        picked[:, 1] = np.clip(picked[:, 1] + turn[kept, shift[kept]], *ANGLE_RANGE)
        return picked, worth[kept]

    def _finalists(self, which: np.ndarray, lines: np.ndarray, rated: np.ndarray) -> np.ndarray:
        """Throw them at three angles each; the best line (b, 2) of each ball."""
        deviates = normal_deviates(3 * _SECOND, 6, self.seed, SEARCH_STAGE + 100)
        turns = np.array([-_TRIED_DEG, 0.0, _TRIED_DEG])
        turned = np.repeat(turns, _SECOND)  # the angle of each of the deviates
        rows = np.tile(self.row, (len(lines) * len(deviates), 1))
        rows[:, :2] = np.repeat(lines, len(deviates), axis=0)
        rows[:, :6] += np.tile(deviates * self.spread, (len(lines), 1))
        rows[:, 1] += np.tile(turned, len(lines))
        table = self.throw(np.repeat(which, len(deviates)), rows)
        entry = np.stack([table.entry_board, table.entry_angle_deg, table.entry_speed_mph])
        worth = self.parts.shot_worth(self.parts.of_shots(*entry)).reshape(len(lines), -1)
        entry = entry.reshape(3, len(lines), -1)
        met = np.isfinite(entry[0])
        terms = self._terms(deviates, turned)
        weight = met.astype(float)
        normal = np.einsum("kn,ni,nj->kij", weight, terms, terms) + 1e-3 * np.eye(terms.shape[1])
        right = np.einsum("kn,ni,ckn->kic", weight, terms, np.nan_to_num(entry))
        solved = np.linalg.solve(normal, right)
        nothing = float(self.parts.shot_worth(self.parts.gutter))

        def mean_worth(at: np.ndarray) -> np.ndarray:
            """(k, n) worth of shots with those terms by each line's model."""
            board, angle, speed = (at @ solved[:, :, c].T for c in range(3))
            flat = self.parts.of_shots(board.ravel(), angle.ravel(), speed.ravel())
            return self.parts.shot_worth(flat).reshape(board.shape).T

        # shots lost in the gutters at each of the three angles, drawn on linearly beyond them
        share = np.stack([met[:, turned == turn].mean(axis=1) for turn in turns])
        low, middle, high = share
        below = _LOOKED_DEG[None, :] < 0.0
        steps = np.abs(_LOOKED_DEG[None, :]) / _TRIED_DEG
        share = np.clip(middle[:, None] + steps * (np.where(below, low[:, None], high[:, None])
                                                   - middle[:, None]), 0.0, 1.0)
        beyond = (np.where(met, worth - mean_worth(terms), 0.0).sum(axis=1)
                  / np.maximum(met.sum(axis=1), 1))
        many = normal_deviates(_MODEL_SHOTS, 6, self.seed, SEARCH_STAGE + 200)
        rate = np.column_stack([
            mean_worth(self._terms(many, turn)).mean(axis=1) for turn in _LOOKED_DEG
        ]) + beyond[:, None]
        rate = share * rate + (1.0 - share) * nothing
        few = met.sum(axis=1) < 2 * terms.shape[1]  # no model from so few: what the shots did
        rate[few] = worth[few].mean(axis=1)[:, None]
        top = rate.argmax(axis=1)
        value = _FIRST_SAYS * rated + (1.0 - _FIRST_SAYS) * rate.max(axis=1)
        out = np.empty((len(self.paps), 2))
        for ball in range(len(self.paps)):
            mine = np.flatnonzero(which == ball)
            best = mine[value[mine].argmax()]
            out[ball] = lines[best]
            if not few[best]:
                out[ball, 1] += _LOOKED_DEG[top[best]]
        out[:, 1] = np.clip(out[:, 1], *ANGLE_RANGE)
        return out

    def _terms(self, deviates: np.ndarray, turn_deg: float | np.ndarray) -> np.ndarray:
        """Terms (n, 12) of the local model of the second order, the line turned by an angle."""
        off = deviates.copy()
        off[:, 1] += turn_deg / max(float(self.spread[1]), 0.05)
        return np.column_stack([
            np.ones(len(off)), off, off[:, 0] ** 2, off[:, 1] ** 2, off[:, 0] * off[:, 1],
            off[:, 2] ** 2, off[:, 3] ** 2,
        ])
