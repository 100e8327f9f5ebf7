"""Lines for many balls on one lane at once: a search cheap enough for hundreds of pairs.

`lineup.find_line` spends about 3,000 shots and a second on one ball. A bag needs hundreds of
lines, so here the quick search takes about 1,000 shots a ball, and 600 where it starts from the
lines found one stage earlier; all balls go through each step together:

1. A coarse grid, one mean shot a node (16 laydown boards x 19 angles). On every row the angles
   whose shot arrives at the best board are read off; one more mean shot there sets it right; lines
   where the board turns back at the best one join them (`lineup.tangent_lines`). On a lane that
   differs little from one searched before (the next stage of a round), instead: the ten best lines
   found there, turned until their mean shots arrive again.
2. 20 shots of the spread on each such line. A linear model of how entry board, angle and speed
   answer to the six release numbers gives the law of arrival: normal about a mean, with angle and
   speed going along. Averaging the worth of a shot (pins, from the carry table) over that law
   rates the line and its neighbours at a little more or less angle; between rows the law is joined
   linearly.
3. The best four are thrown at three angles with 32 shots each, the same 96 deviates for every
   line and ball. A model of the second order of where they arrive predicts every shot's worth; its
   mean over many deviates plus what the shots did beyond it (a control variate) rates each line at
   five angles. Between the four a weighted mean of this and of the first rating decides: the
   errors of the two are alike in size and have nothing to do with each other.

The thorough search (`better_lines`) starts from a quick one's lines, takes more of everything, and
then throws the same 768 shots at the best few and at the lines known from the stages before and
after, and goes on from the best of them to a neighbour, if one does better by those shots.

The chosen line is judged on fresh shots that no search has seen. The same deviates serve every
ball (common random numbers), and each ball's search depends on nothing but itself, so results may
be kept and put together ball by ball.

Tried and dropped, each no better at equal cost: fewer shots in steps 2 and 3, a model pooled over
the neighbouring lines' shots, and lines half a board to the side by the model of step 3 (its slope
is too noisy: it always moved).

What a search leaves behind against brute force, in pins a game (the searches of
benchmarks/lines.py, three seeds a case): on cases 300 to 311, 400 to 411, 500 to 511 and 600 to
611, on which the last choices were made, the quick one 0.9 on average, in nine of ten below 2.9,
5.2 at worst, the thorough one 0.4, 1.7 and 5.2; on cases 700 to 711, fresh then, 0.6 on average and
5.0 at worst, and -0.1 (better than the lattice) and 1.1.  On six pairs of a shipped ball and a
pattern (five seeds each, against the best line that any search found): 1.4 and 5.1, 0.7 and 2.6.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..lines.lineup import ANGLE_RANGE, LAYDOWN_RANGE, WALK_STEPS, tangent_lines, walk_lines
from ..motion.pocket import BEST_BOARD, GUTTER
from ..motion.trajectory import ShotTable, throw_parameters
from ..player import Release, Spread, normal_deviates
from .judging import NODE_ANGLES, NODE_BOARDS, NODE_SPEEDS, SHAPE, PinParts

SEARCH_STAGE = 63  # stages of the seed sequence: the search's shots,
JUDGE_STAGE = 64  # and the fresh ones that judge
_LAYDOWNS = np.linspace(*LAYDOWN_RANGE, 16)
_ROW_BOARDS = _LAYDOWNS[1] - _LAYDOWNS[0]
_ANGLES = np.linspace(ANGLE_RANGE[0] + 0.5, 1.5, 19)
STARTS = 10  # best lines of a search that the next one may start from
_SHIFTS = np.arange(-1.5, 1.51, 0.25)  # of the mean entry board, when a law is rated [boards]
_MOST_TURN_DEG = 0.2  # a law is good near its own line only
_FIRST_SAYS = 0.5  # weight of the first rating in the last choice
_LEAST_SLOPE = 5.0  # boards per degree
_NO_SLOPE = 3.0  # stands for one that is not known or next to nothing
_LOST_SLOPE = 12.0  # about that of most lines: for a ball that never gets to the pocket
_TRIED_DEG = 0.12
_NEAR_BOARDS = 4.0
_LOOKED_DEG = np.arange(-2, 3) * 0.06
_LEAST_UNITS = np.array([0.2, 0.05, 0.1, 2.0, 0.5, 0.5])
TERMS = 12
_MODEL_SHOTS = 256
_MOST_FOLLOW_DEG = 1.0
_FOLLOWED_BOARDS = 3.0  # a line followed to another lane must come this near to the best board
_DECIDED_LINES = 4
_BELOW, _ABOVE = -5.0, 45.0  # stand-ins for the entry board of a ball in either gutter


@dataclass(frozen=True)
class Effort:
    """What a search spends.

    first : spread shots on every line of step 2; finalists : lines that go on to step 3; second :
    shots at each of three angles on each of them; decide : shots on each of the best few after
    that, 0 for no such round.
    """

    first: int
    finalists: int
    second: int
    decide: int = 0


QUICK = Effort(first=20, finalists=4, second=32)
THOROUGH = Effort(first=24, finalists=6, second=32, decide=768)


@dataclass(frozen=True)
class Lines:
    """The line found for each ball, and the fresh shots on it.

    laydown_board, launch_angle_deg : (b,). board, angle_deg, speed_mph : (b, shots) entries, NaN
    where no pin was met. outcome : (b, shots) codes. starts : (b, STARTS, 3) the best lines of
    step 2 (laydown, angle, boards per degree), NaN rows at the end: where a search on a lane that
    differs little may start. searched : shots thrown by the search, all balls together.
    """

    laydown_board: np.ndarray
    launch_angle_deg: np.ndarray
    board: np.ndarray = field(repr=False)
    angle_deg: np.ndarray = field(repr=False)
    speed_mph: np.ndarray = field(repr=False)
    outcome: np.ndarray = field(repr=False)
    starts: np.ndarray = field(repr=False)
    searched: int = 0


def find_lines(
    paps: np.ndarray, pars: np.ndarray, film: np.ndarray, release: Release, spread: Spread,
    parts: PinParts, *, shots: int, seed: int, starts: np.ndarray | None = None,
    effort: Effort = QUICK,
) -> Lines:
    """The best line of each ball (rows of `paps`, `pars`) on one film, judged on `shots` shots.

    film : (60, 39) [m] in the player's board order; release : its laydown and angle play no part;
    starts : (b, n, 3) `Lines.starts` of the same balls on a lane that differs little.
    """
    search = _Search(paps, pars, film, release, spread, parts, seed, effort)
    return judge_lines(search, search.best(starts), shots)


def better_lines(
    paps: np.ndarray, pars: np.ndarray, film: np.ndarray, release: Release, spread: Spread,
    parts: PinParts, *, seed: int, starts: np.ndarray, known: np.ndarray,
) -> tuple[np.ndarray, int]:
    """A thorough search that starts from a quick one; the lines (b, 2) and the shots it took.

    known : (b, m, 2) lines that take part in the decision; where the first of them, the quick
    search's, wins, it comes back as it was.
    """
    search = _Search(paps, pars, film, release, spread, parts, seed, THOROUGH)
    return search.best(starts, known), search.thrown


def lines_judged(
    paps: np.ndarray, pars: np.ndarray, film: np.ndarray, release: Release, spread: Spread,
    parts: PinParts, lines: np.ndarray, *, shots: int, seed: int,
) -> Lines:
    """Given lines (b, 2) on the same fresh shots as those of `find_lines`."""
    search = _Search(paps, pars, film, release, spread, parts, seed, QUICK)
    search.starts = np.full((len(paps), STARTS, 3), np.nan)
    return judge_lines(search, lines, shots)


def judge_lines(search: _Search, lines: np.ndarray, shots: int) -> Lines:
    """Fresh shots on the lines (b, 2)."""
    searched = search.thrown
    deviates = normal_deviates(shots, 6, search.seed, JUDGE_STAGE)
    table = search.throw_spread(np.arange(len(lines)), lines, deviates)
    shape = (len(lines), shots)
    return Lines(
        lines[:, 0], lines[:, 1], table.entry_board.reshape(shape),
        table.entry_angle_deg.reshape(shape), table.entry_speed_mph.reshape(shape),
        table.outcome.reshape(shape), search.starts, searched,
    )


def _entries(table: ShotTable) -> np.ndarray:
    """(n, 3) entry board, angle and speed; NaN where no pin was met."""
    return np.column_stack([table.entry_board, table.entry_angle_deg, table.entry_speed_mph])


class _Search:
    """One search for all balls; lines are rows (laydown board, launch angle)."""

    starts: np.ndarray

    def __init__(self, paps, pars, film, release, spread, parts, seed, effort) -> None:
        self.paps, self.pars, self.film, self.effort = paps, pars, film, effort
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
        return self.throw(np.repeat(which, len(deviates)), self._rows(lines, deviates))

    def _rows(self, lines: np.ndarray, deviates: np.ndarray) -> np.ndarray:
        """Releases (k n, 7): every deviate on every line."""
        rows = np.tile(self.row, (len(lines) * len(deviates), 1))
        rows[:, :2] = np.repeat(lines, len(deviates), axis=0)
        rows[:, :6] += np.tile(deviates * self.spread, (len(lines), 1))
        return rows

    # --- the three steps ------------------------------------------------------------------

    def crossings(self, which: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Ball (k,), line (k, 2) and slope (k,) [boards/deg] where mean shots of the balls `which`
        meet the pocket."""
        balls = len(which)
        laydown, angle = np.meshgrid(_LAYDOWNS, _ANGLES, indexing="ij")
        grid = np.column_stack([laydown.ravel(), angle.ravel()])
        boards = self.throw_mean(np.repeat(which, len(grid)), np.tile(grid, (balls, 1)))
        boards = boards.reshape(balls, len(_LAYDOWNS), len(_ANGLES))
        off = boards - BEST_BOARD
        on_deck = (boards > _BELOW) & (boards < _ABOVE)
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
        # beside a gutter there is no slope to speak of
        cliff = ~(on_deck[b, i, j] & on_deck[b, i, j + 1])
        slope = np.where(cliff, _NO_SLOPE, gap / step)
        # one mean shot there, and a step by the slope that it shows
        if len(b):
            here = self.throw_mean(which[b], lines) - BEST_BOARD
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
        turned, row, node = np.nonzero(turns)
        more = [(turned, np.column_stack([_LAYDOWNS[row], _ANGLES[node + 1]]), _NO_SLOPE)]
        met = np.where(on_deck, off, np.nan)
        for ball in range(balls):  # and where the turning point meets the best board
            tangent = tangent_lines(_LAYDOWNS, _ANGLES, met[ball])
            more.append((np.full(len(tangent), ball), tangent, _NO_SLOPE))
        for ball in lost:
            flat = np.abs(np.nan_to_num(off[ball], nan=_ABOVE)).ravel()
            near = np.argsort(flat, kind="stable")[:6]
            more.append((np.full(6, ball), grid[near], _LOST_SLOPE))
        b = np.concatenate([b, *(owner for owner, _, _ in more)])
        lines = np.concatenate([lines, *(some for _, some, _ in more)])
        slope = np.concatenate([slope, *(np.full(len(owner), s) for owner, _, s in more)])
        order = np.argsort(b, kind="stable")
        return which[b[order]], lines[order], np.where(np.abs(slope) < 2.0, 2.0, slope)[order]

    def followed(self, starts: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """As `crossings`, from lines that met the pocket on a lane that differed little.

        A mean shot on each, turned by the slope it had, and another by the slope then seen. Balls
        none of whose lines come near the best board again are looked for from nothing.
        """
        which, row = np.nonzero(np.isfinite(starts[:, :, 0]))
        lines, slope = starts[which, row, :2].copy(), starts[which, row, 2].copy()
        here = self.throw_mean(which, lines) - BEST_BOARD
        with np.errstate(invalid="ignore", divide="ignore"):
            move = np.clip(-here / slope, -_MOST_FOLLOW_DEG, _MOST_FOLLOW_DEG)
            # where the curve turns back a turn leads nowhere: such a line stays as it is
            flat = np.abs(slope) < _LEAST_SLOPE
            move = np.where(np.isfinite(move) & ~flat, move, 0.0)
            first = lines[:, 1].copy()
            lines[:, 1] = np.clip(first + move, *ANGLE_RANGE)
            there = self.throw_mean(which, lines) - BEST_BOARD
            seen = (there - here) / (lines[:, 1] - first)
            good = np.isfinite(seen) & (np.abs(lines[:, 1] - first) > 0.02)
            slope = np.where(good & (np.sign(seen) == np.sign(slope)), seen, slope)
            slope = np.where(np.abs(slope) < 2.0, 2.0, slope)
            move = np.where(flat, 0.0, np.clip(-there / slope, -0.3, 0.3))
            left = np.abs(there + slope * move)
            near = np.isfinite(left) & (left < _FOLLOWED_BOARDS)
        lines[:, 1] = np.clip(lines[:, 1] + np.where(near, move, 0.0), *ANGLE_RANGE)
        which, lines, slope = which[near], lines[near], slope[near]
        lost = np.setdiff1d(np.arange(len(starts)), which)
        if len(lost):
            found = self.crossings(lost)
            which, lines, slope = (np.concatenate(p) for p in zip((which, lines, slope), found,
                                                                  strict=True))
        order = np.argsort(which, kind="stable")
        return which[order], lines[order], slope[order]

    def best(self, starts: np.ndarray | None = None, known: np.ndarray | None = None
             ) -> np.ndarray:
        """The chosen line (b, 2) of each ball; see `find_lines` and `better_lines`."""
        balls = np.arange(len(self.paps))
        which, lines, slope = self.crossings(balls) if starts is None else self.followed(starts)
        deviates = normal_deviates(self.effort.first, 6, self.seed, SEARCH_STAGE)
        table = self.throw_spread(which, lines, deviates)
        laws = self._laws(table, deviates, len(lines))
        ball_of, chosen, rated = [], [], []
        self.starts = np.full((len(balls), STARTS, 3), np.nan)
        for ball in balls:
            mine = np.flatnonzero(which == ball)
            picks, worth, order = self._pick(lines[mine], slope[mine], laws[mine])
            ball_of += [ball] * len(picks)
            chosen.append(picks)
            rated.append(worth)
            top = mine[order[:STARTS]]
            self.starts[ball, : len(top)] = np.column_stack([lines[top], slope[top]])
        refined, value = self._finalists(np.array(ball_of), np.vstack(chosen),
                                         np.concatenate(rated))
        if self.effort.decide == 0:
            return np.array([refined[mine[value[mine].argmax()]] for mine in
                             (np.flatnonzero(np.array(ball_of) == ball) for ball in balls)])
        return self._decided(np.array(ball_of), refined, value, known)

    def _decided(self, ball_of: np.ndarray, refined: np.ndarray, value: np.ndarray,
                 known: np.ndarray | None) -> np.ndarray:
        """The best of each ball's best few and its known lines, by the same shots on each; then a
        walk from there, as long as a neighbour is better by those shots."""
        balls = np.arange(len(self.paps))
        which, lines = [], []
        for ball in balls:
            mine = np.flatnonzero(ball_of == ball)
            few = refined[mine[np.argsort(-value[mine], kind="stable")[:_DECIDED_LINES]]]
            if known is not None:
                few = np.vstack([known[ball][np.isfinite(known[ball][:, 0])], few])
            few = few[np.sort(np.unique(few.round(6), axis=0, return_index=True)[1])]
            which += [ball] * len(few)
            lines.append(few)
        every, owner = np.vstack(lines), np.array(which)
        worth = self._direct(owner, every)
        best, top = np.empty((len(balls), 2)), np.empty(len(balls))
        for ball in balls:
            mine = np.flatnonzero(owner == ball)
            at = mine[worth[mine].argmax()]
            best[ball], top[ball] = every[at], worth[at]
        low, high = np.transpose([LAYDOWN_RANGE, ANGLE_RANGE])
        return walk_lines(best, top, self._direct, low, high, steps=WALK_STEPS[:1], most=1)[0]

    def _direct(self, which: np.ndarray, lines: np.ndarray) -> np.ndarray:
        """(k,) mean worth of the same shots on each of the lines (k, 2)."""
        deviates = normal_deviates(self.effort.decide, 6, self.seed, SEARCH_STAGE + 300)
        entry = _entries(self.throw_spread(which, lines, deviates))
        return self.parts.shot_worth(self.parts.of_shots(*entry.T)).reshape(len(lines), -1
                                                                           ).mean(axis=1)

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
              ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Finalists (k, 2) of one ball, apart from each other, their ratings, and the order of all
        its lines, the best rated first."""
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
            if len(kept) == self.effort.finalists:
                break
        picked = table[kept, :2].copy()
        picked[:, 1] = np.clip(picked[:, 1] + turn[kept, shift[kept]], *ANGLE_RANGE)
        return picked, worth[kept], np.argsort(-worth[: len(lines)], kind="stable")

    def _finalists(self, which: np.ndarray, lines: np.ndarray, rated: np.ndarray
                   ) -> tuple[np.ndarray, np.ndarray]:
        """Throw them at three angles each: the best line (k, 2) near each, and its value (k,)."""
        second = self.effort.second
        deviates = normal_deviates(3 * second, 6, self.seed, SEARCH_STAGE + 100)
        turns = np.array([-_TRIED_DEG, 0.0, _TRIED_DEG])
        turned = np.repeat(turns, second)  # the angle of each of the deviates
        rows = self._rows(lines, deviates)
        rows[:, 1] += np.tile(turned, len(lines))
        table = self.throw(np.repeat(which, len(deviates)), rows)
        entry = _entries(table)
        worth = self.parts.shot_worth(self.parts.of_shots(*entry.T)).reshape(len(lines), -1)
        met = np.isfinite(entry[:, 0]).reshape(len(lines), -1)
        terms = self._terms(self._turned(deviates, turned))
        weighted = met[:, None, :] * terms.T
        normal = weighted @ terms + 1e-3 * np.eye(TERMS)
        solved = np.linalg.solve(
            normal, weighted @ np.nan_to_num(entry).reshape(len(lines), -1, 3))
        nothing = float(self.parts.shot_worth(self.parts.gutter))

        def mean_worth(off: np.ndarray) -> np.ndarray:
            """(k, n) worth of shots with deviations (n, 6) by each line's model."""
            where = self._terms(off) @ solved
            return self._worth_at(where[..., 0], where[..., 1], where[..., 2])

        # shots lost in the gutters at each of the three angles, drawn on linearly beyond them
        share = np.stack([met[:, turned == turn].mean(axis=1) for turn in turns])
        low, middle, high = share
        below = _LOOKED_DEG[None, :] < 0.0
        steps = np.abs(_LOOKED_DEG[None, :]) / _TRIED_DEG
        share = np.clip(middle[:, None] + steps * (np.where(below, low[:, None], high[:, None])
                                                   - middle[:, None]), 0.0, 1.0)
        beyond = (np.where(met, worth - mean_worth(self._turned(deviates, turned)), 0.0
                           ).sum(axis=1) / np.maximum(met.sum(axis=1), 1))
        many = normal_deviates(_MODEL_SHOTS, 6, self.seed, SEARCH_STAGE + 200)
        rate = np.column_stack([
            mean_worth(self._turned(many, turn)).mean(axis=1) for turn in _LOOKED_DEG])
        rate = share * (rate + beyond[:, None]) + (1.0 - share) * nothing
        few = met.sum(axis=1) < 2 * TERMS  # no model from so few: what the shots did
        rate[few] = worth[few].mean(axis=1)[:, None]
        value = _FIRST_SAYS * rated + (1.0 - _FIRST_SAYS) * rate.max(axis=1)
        refined = lines.copy()
        refined[:, 1] += np.where(few, 0.0, _LOOKED_DEG[rate.argmax(axis=1)])
        refined[:, 1] = np.clip(refined[:, 1], *ANGLE_RANGE)
        return refined, value

    def _units(self) -> np.ndarray:
        """(6,) what one deviate stands for in the terms: the spread, but never nothing."""
        return np.maximum(self.spread, _LEAST_UNITS)

    def _turned(self, deviates: np.ndarray, turn_deg: float | np.ndarray) -> np.ndarray:
        """Deviations (n, 6), in units, of shots from a line that is turned by an angle."""
        off = deviates * (self.spread / self._units())
        off[:, 1] += turn_deg / self._units()[1]
        return off

    def _terms(self, off: np.ndarray) -> np.ndarray:
        """Terms (..., 12) of the local model of the second order."""
        laydown, angle, speed, revs = (off[..., n : n + 1] for n in range(4))
        return np.concatenate([
            np.ones_like(laydown), off, laydown**2, angle**2, laydown * angle, speed**2, revs**2,
        ], axis=-1)

    def _worth_at(self, board: np.ndarray, angle: np.ndarray, speed: np.ndarray) -> np.ndarray:
        """Worth of arrivals, joined linearly on the table's nodes; angles below 0 count as 0."""
        low, share = [], []
        for value, nodes in ((board, NODE_BOARDS), (angle, NODE_ANGLES), (speed, NODE_SPEEDS)):
            at = (value - nodes[0]) / (nodes[1] - nodes[0])
            at = np.clip(at, 0.0, len(nodes) - 1.001)
            floor = at.astype(np.int64)
            low.append(floor)
            share.append(at - floor)
        u, w, x = share
        flat = self.worth.ravel()
        corner = (low[0] * SHAPE[1] + low[1]) * SHAPE[2] + low[2]

        def edge(step: int) -> np.ndarray:
            at = corner + step
            return (1.0 - x) * flat[at] + x * flat[at + 1]

        board_step = SHAPE[1] * SHAPE[2]
        return ((1.0 - u) * ((1.0 - w) * edge(0) + w * edge(SHAPE[2]))
                + u * ((1.0 - w) * edge(board_step) + w * edge(board_step + SHAPE[2])))
