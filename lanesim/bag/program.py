"""The choice of a bag as an integer program, solved exactly. No physics: numbers in, a bag out.

Sets: balls b, drillings d (a ball with one layout), variants v (a drilling with one finish),
conditions c with weights w_c, each in a phase p(c) between which finishes may change.

    y_d in {0, 1}       the ball is in the bag, drilled so
    z_vp in {0, 1}      in phase p that drilling has this finish
    0 <= u_vc           share of condition c thrown with v (0 or 1 in every solution)

    sum_(d of b) y_d <= 1                  one drilling per ball; = 1 if the ball must come
    sum_(v of d) z_vp = y_d                one finish per phase
    z_vp = z_vq                            if finishes may not change between phases
    sum_v u_vc = 1,  u_vc <= z_v,p(c)      one ball per condition, and it must be in the bag
    sum_d y_d <= registered;  sum_carried y_d <= carried;  sum_carried weight_d y_d <= bag limit;
    sum_(newly drilled) y_d <= drilled

This is the facility-location form with strong links (u_vc <= z_vp one by one), whose linear
relaxation is tight (common knowledge of operations research, from memory: Cornuejols, Fisher &
Nemhauser, Management Science 23, 789 (1977)). Objectives:

    mean    max sum_c w_c sum_v a_vc u_vc
    worst   max t, t <= sum_v a_vc u_vc for all c; then the best mean among those bags. Solved as a
            bottleneck: t is one of the values a_vc, so halving the sorted values, each time asking
            for a bag that has a_vc >= t everywhere, ends at the exact optimum (the epigraph form
            has a weak relaxation: measured ten times slower)
    cut     max Phi((M - C)/sqrt(V)), M = sum_c g_c a_vc u_vc and V = sum_c g_c s_vc^2 u_vc the mean
            and variance of the total over all games; in each condition the ball with the highest
            mean is used. Not linear: see `_best_chance` for how it is solved exactly all the same.

The total of independent games is taken as normal (a sum of a dozen games or more; game scores have
little skew). Among bags of equal value the one with the fewest balls, the fewest new drillings and
the fewest finish changes is returned, so a ball that brings nothing is never in it.
"""

from __future__ import annotations

import contextlib
import ctypes
import math
import os
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist
from typing import Any

import numpy as np

from ..errors import InputError, check_range

OBJECTIVES = ("mean", "worst", "cut")
TIE = 1e-6  # objective values closer than this are equal: the solver's own tolerance


@dataclass(frozen=True)
class Variant:
    """A ball as it could be used: which ball, drilled how, with which finish.

    weight_lb : what it adds to the bag; 0 for a ball that does not travel.
    carried : whether it travels; new_drilling : whether the layout has yet to be drilled;
    new_finish : whether the finish has yet to be made.
    """

    ball: str
    layout: str
    finish: str
    weight_lb: float = 0.0
    carried: bool = True
    new_drilling: bool = False
    new_finish: bool = False

    @property
    def drilling(self) -> tuple[str, str]:
        """Ball and layout."""
        return self.ball, self.layout


@dataclass(frozen=True)
class Limits:
    """What the event and the airline allow; None: no limit.

    registered : balls in all, those at the venue counted; carried : balls that travel;
    bag_weight_lb : their weight together; drilled : balls drilled new or anew.
    """

    registered: int | None = None
    carried: int | None = None
    bag_weight_lb: float | None = None
    drilled: int | None = None

    def __post_init__(self) -> None:
        for name, high, unit in (("registered", 99, "balls"), ("carried", 99, "balls"),
                                 ("drilled", 99, "balls"), ("bag_weight_lb", 1000, "lb")):
            value = getattr(self, name)
            if value is None:
                continue
            check_range(f"limit {name}", value, 0, high, unit)
            if unit == "balls" and int(value) != value:
                raise InputError(f"limit {name} is {value:g}; accepted: a whole number of balls")


@dataclass(frozen=True)
class Program:
    """A bag problem in numbers.

    Attributes
    ----------
    variants : (v,) see `Variant`.
    values : (v, c) pins per game of each variant in each condition.
    weights : (c,) how much each condition counts, >= 0; only their ratios matter.
    phase : (c,) whole numbers; conditions of one phase share the finishes.
    required : names of balls that must be in the bag.
    change_finish : whether finishes may change between phases.
    objective : "mean", "worst" or "cut".
    sd : (v, c) standard deviation of one game; games : (c,) games played there; cut : total over
        all games that is to be reached. For "cut" only.
    """

    variants: tuple[Variant, ...]
    values: np.ndarray
    weights: np.ndarray
    phase: np.ndarray
    limits: Limits = field(default_factory=Limits)
    required: frozenset[str] = frozenset()
    change_finish: bool = False
    objective: str = "mean"
    sd: np.ndarray | None = None
    games: np.ndarray | None = None
    cut: float | None = None

    def __post_init__(self) -> None:
        values = np.asarray(self.values, dtype=float)
        weights = np.asarray(self.weights, dtype=float)
        if not self.variants or values.ndim != 2 or values.shape[0] != len(self.variants):
            raise InputError("a bag needs at least one ball, and a row of values for each")
        if values.shape[1] != len(weights) or len(self.phase) != len(weights) or not len(weights):
            raise InputError("a bag needs at least one condition, and a weight and phase for each")
        if not (np.all(np.isfinite(values)) and np.all(np.isfinite(weights))):
            raise InputError("values and weights of a bag must be finite numbers")
        if np.any(weights < 0) or weights.sum() <= 0:
            raise InputError("weights of conditions must be >= 0 and not all 0")
        if self.objective not in OBJECTIVES:
            raise InputError(f"objective is '{self.objective}'; accepted: {', '.join(OBJECTIVES)}")
        names = {v.ball for v in self.variants}
        if not self.required <= names:
            missing = ", ".join(sorted(self.required - names))
            raise InputError(f"required balls without any variant: {missing}")
        if len({(v.ball, v.layout, v.finish) for v in self.variants}) != len(self.variants):
            raise InputError("two variants of a bag have the same ball, layout and finish")
        if self.objective == "cut" and (self.sd is None or self.games is None or self.cut is None):
            raise InputError("the chance of a cut needs the games, their spread and the cut")
        object.__setattr__(self, "values", values)
        object.__setattr__(self, "weights", weights / weights.sum())
        object.__setattr__(self, "phase", np.asarray(self.phase, dtype=np.int64))

    @property
    def balls(self) -> list[str]:
        """Names of the balls, in order of first mention."""
        return list(dict.fromkeys(v.ball for v in self.variants))

    @property
    def drillings(self) -> list[tuple[str, str]]:
        """(ball, layout) in order of first mention."""
        return list(dict.fromkeys(v.drilling for v in self.variants))

    @property
    def phases(self) -> list[int]:
        """The phases that have conditions."""
        return sorted({int(p) for p in self.phase})


@dataclass(frozen=True)
class Solution:
    """A bag.

    Attributes
    ----------
    drilled : ball -> layout, of every ball in the bag.
    finish : (ball, phase) -> finish.
    use : (c,) index of the variant used in each condition.
    value : objective (pins per game, or the chance); mean : weighted mean pins per game;
    per_condition : (c,) pins per game.
    bound : best value that any bag could have, proven; gap = bound - value >= 0.
    """

    drilled: dict[str, str]
    finish: dict[tuple[str, int], str]
    use: np.ndarray
    value: float
    mean: float
    per_condition: np.ndarray
    bound: float

    @property
    def gap(self) -> float:
        """How much better any other bag could be at most."""
        return max(self.bound - self.value, 0.0)

    @property
    def key(self) -> frozenset[tuple[str, str]]:
        """The bag as a set of (ball, layout)."""
        return frozenset(self.drilled.items())


# --- what a given bag is worth ----------------------------------------------------------------


def bag_value(program: Program, use: np.ndarray) -> tuple[float, float]:
    """(objective, weighted mean) if variant use[c] is thrown in condition c."""
    at = np.arange(len(program.weights))
    got = program.values[use, at]
    mean = float(program.weights @ got)
    if program.objective == "mean":
        return mean, mean
    if program.objective == "worst":
        return float(got.min()), mean
    total, variance = _moments(program, use)
    return _chance(total - float(program.cut or 0.0), variance), mean


def _moments(program: Program, use: np.ndarray) -> tuple[float, float]:
    assert program.games is not None and program.sd is not None
    at = np.arange(len(program.weights))
    return (float(program.games @ program.values[use, at]),
            float(program.games @ program.sd[use, at] ** 2))


def _chance(lead: float, variance: float) -> float:
    if variance <= 0.0:
        return 1.0 if lead >= 0.0 else 0.0
    return NormalDist().cdf(lead / math.sqrt(variance))


def best_use(program: Program, in_bag: np.ndarray) -> np.ndarray:
    """Index (c,) of the variant with the highest value among those there (v, c) boolean."""
    return np.where(in_bag, program.values, -np.inf).argmax(axis=0)


def available(program: Program, drilled: dict[str, str], finish: dict[tuple[str, int], str]
              ) -> np.ndarray:
    """(v, c) whether each variant is in the bag in each condition."""
    there = np.zeros(program.values.shape, dtype=bool)
    for i, v in enumerate(program.variants):
        if drilled.get(v.ball) == v.layout:
            there[i] = [finish.get((v.ball, int(p))) == v.finish for p in program.phase]
    return there


# --- the program ------------------------------------------------------------------------------


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep what the solver prints by itself (seen in HiGHS of scipy 1.16) off standard output."""
    try:
        flush = ctypes.CDLL(None).fflush
        sys.stdout.flush()
        kept = os.dup(1)
    except (OSError, AttributeError, TypeError, ValueError):  # no such output or library here
        yield
        return
    try:
        flush(None)
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
        flush(None)
    finally:
        os.dup2(kept, 1)
        os.close(kept)


class _Milp:
    """The constraints of a program, ready for scipy.optimize.milp."""

    def __init__(self, program: Program, without: frozenset[str] = frozenset()) -> None:
        self.p = program
        p = program
        self.drillings = p.drillings
        self.phases = p.phases
        v, c = p.values.shape
        self.n_y, self.n_z, self.n_u = len(self.drillings), v * len(self.phases), v * c
        self.size = self.n_y + self.n_z + self.n_u
        self.upper = np.ones(self.size)
        self.rows: list[tuple[np.ndarray, np.ndarray]] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self._build(without)

    def y(self, d: int) -> int:
        return d

    def z(self, v: int, phase_index: int) -> int:
        return self.n_y + v * len(self.phases) + phase_index

    def u(self, v: int, c: int) -> int:
        return self.n_y + self.n_z + v * self.p.values.shape[1] + c

    def add(self, columns: Sequence[int], numbers: Any, low: float, high: float) -> None:
        """low <= numbers . x[columns] <= high."""
        self.rows.append((np.asarray(columns, dtype=np.int64),
                          np.broadcast_to(np.asarray(numbers, dtype=float), (len(columns),))))
        self.low.append(low)
        self.high.append(high)

    def _build(self, without: frozenset[str]) -> None:
        p = self.p
        first = {d: next(v for v in p.variants if v.drilling == d) for d in self.drillings}
        for ball in p.balls:
            mine = [self.y(i) for i, d in enumerate(self.drillings) if d[0] == ball]
            must = ball in p.required and "required balls" not in without
            self.add(mine, 1.0, 1.0 if must else 0.0, 1.0)
        members = {d: [i for i, v in enumerate(p.variants) if v.drilling == d]
                   for d in self.drillings}
        for k in range(len(self.phases)):
            for i, d in enumerate(self.drillings):
                columns = [self.z(v, k) for v in members[d]]
                self.add([*columns, self.y(i)], [1.0] * len(columns) + [-1.0], 0.0, 0.0)
        if not p.change_finish:
            for v in range(len(p.variants)):
                for k in range(1, len(self.phases)):
                    self.add([self.z(v, 0), self.z(v, k)], [1.0, -1.0], 0.0, 0.0)
        for c in range(len(p.weights)):
            k = self.phases.index(int(p.phase[c]))
            self.add([self.u(v, c) for v in range(len(p.variants))], 1.0, 1.0, 1.0)
            for v in range(len(p.variants)):
                self.add([self.u(v, c), self.z(v, k)], [1.0, -1.0], -np.inf, 0.0)
        for name, value, columns, numbers in self.limit_rows(first):
            if value is not None and name not in without and columns:
                self.add(columns, numbers, -np.inf, float(value))

    def limit_rows(self, first: dict[tuple[str, str], Variant]
                   ) -> Iterator[tuple[str, float | None, list[int], list[float]]]:
        limits = self.p.limits
        every = range(len(self.drillings))
        travel = [i for i in every if first[self.drillings[i]].carried]
        fresh = [i for i in every if first[self.drillings[i]].new_drilling]
        yield "registered", limits.registered, list(every), [1.0] * len(self.drillings)
        yield "carried", limits.carried, travel, [1.0] * len(travel)
        yield ("bag_weight_lb", limits.bag_weight_lb, travel,
               [first[self.drillings[i]].weight_lb for i in travel])
        yield "drilled", limits.drilled, fresh, [1.0] * len(fresh)

    def at_least(self, floor: float) -> None:
        """Allow in each condition only variants that are worth `floor` or more there."""
        start = self.n_y + self.n_z
        self.upper[start:] = (self.p.values >= floor).ravel()

    def best_ball_rows(self) -> None:
        """In each condition one of the best balls there is used (not: one with less variance)."""
        p = self.p
        for c in range(len(p.weights)):
            k = self.phases.index(int(p.phase[c]))
            order = np.argsort(-p.values[:, c], kind="stable")
            for n, v in enumerate(order[:-1]):
                columns = [self.u(int(w), c) for w in order[: n + 1]]
                self.add([*columns, self.z(int(v), k)], [1.0] * (n + 1) + [-1.0], 0.0, np.inf)

    def cut_off(self, key: frozenset[tuple[str, str]]) -> None:
        """Leave out the bag `key` and every bag that has it inside."""
        columns = [self.y(i) for i, d in enumerate(self.drillings) if d in key]
        self.add(columns, 1.0, -np.inf, len(columns) - 1.0)

    def weighted(self, per_condition: np.ndarray) -> np.ndarray:
        """Objective vector sum_vc per_condition[v, c] u_vc."""
        out = np.zeros(self.size)
        start = self.n_y + self.n_z
        out[start : start + self.n_u] = per_condition.ravel()
        return out

    def solve(
        self, gain: np.ndarray, time_limit_s: float = 120.0
    ) -> tuple[np.ndarray, float] | None:
        """(x, upper bound) maximising gain . x; None if infeasible."""
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        lengths = [len(columns) for columns, _ in self.rows]
        matrix = csr_array(
            (np.concatenate([n for _, n in self.rows]),
             np.concatenate([c for c, _ in self.rows]),
             np.concatenate([[0], np.cumsum(lengths)])),
            shape=(len(self.rows), self.size),
        )
        whole = np.zeros(self.size)
        whole[: self.n_y + self.n_z] = 1
        with _quiet():
            found = milp(
                -gain, constraints=LinearConstraint(matrix, self.low, self.high),
                integrality=whole, bounds=Bounds(0.0, self.upper),
                options={"mip_rel_gap": 0.0, "time_limit": time_limit_s},
            )
        if found.status == 2:
            return None
        if found.x is None:
            raise InputError(f"the bag could not be solved within {time_limit_s:g} s "
                             f"({found.message}); allow fewer layouts or finishes")
        return found.x, float(-found.mip_dual_bound)

    def read(self, x: np.ndarray) -> tuple[dict[str, str], dict[tuple[str, int], str]]:
        """Bag and finishes of a solution."""
        drilled = {d[0]: d[1] for i, d in enumerate(self.drillings) if x[self.y(i)] > 0.5}
        finish = {}
        for i, v in enumerate(self.p.variants):
            for k, phase in enumerate(self.phases):
                if x[self.z(i, k)] > 0.5:
                    finish[v.ball, phase] = v.finish
        return drilled, finish


def solve(
    program: Program, *, excluded: Sequence[frozenset[tuple[str, str]]] = (), lean: bool = True
) -> Solution | None:
    """The best bag, proven; None if no bag keeps the limits.

    Parameters
    ----------
    excluded : bags (sets of (ball, layout)) that are not to be returned, nor any with one inside.
    lean : of equally good bags take one with the fewest balls, new drillings and new finishes.
    """
    if program.objective == "cut":
        return _best_chance(program, excluded)
    # Pins above the best constant: the numbers that the solver compares are then the differences.
    base = program.values.max(axis=0)
    model = _Milp(program)
    for key in excluded:
        model.cut_off(key)
    mean_gain = model.weighted(program.weights * (program.values - base))
    if program.objective == "worst":
        floor = _highest_floor(program, model)
        if floor is None:
            return None
        model.at_least(floor)
    found = model.solve(mean_gain)
    if found is None:
        return None
    x, bound = found
    bound = floor if program.objective == "worst" else bound + float(program.weights @ base)
    solution = _read(program, model, x, bound)
    if not lean:
        return solution
    return _leanest(program, model, mean_gain, solution, bound)


def _highest_floor(program: Program, model: _Milp) -> float | None:
    """The highest value that some bag reaches in every condition, by halving; None: no bag."""
    # no bag's worst condition is worth more than the best ball of the hardest condition
    levels = np.unique(program.values)
    levels = levels[levels <= program.values.max(axis=0).min()]
    nothing = np.zeros(model.size)
    reached, beyond = -1, len(levels)
    while beyond - reached > 1:
        middle = (reached + beyond) // 2
        model.at_least(float(levels[middle]))
        if model.solve(nothing) is None:
            beyond = middle
        else:
            reached = middle
    if reached < 0:
        return None
    return float(levels[reached])


def _read(program: Program, model: _Milp, x: np.ndarray, bound: float) -> Solution:
    drilled, finish = model.read(x)
    use = best_use(program, available(program, drilled, finish))
    value, mean = bag_value(program, use)
    got = program.values[use, np.arange(len(use))]
    return Solution(drilled, finish, use, value, mean, got, max(bound, value))


def _leanest(
    program: Program, model: _Milp, mean_gain: np.ndarray, solution: Solution, bound: float
) -> Solution:
    """Of the bags as good as `solution`, one with the least to carry, drill and sand."""
    base = program.values.max(axis=0)
    columns = np.flatnonzero(mean_gain)
    if len(columns):
        got = solution.mean - float(program.weights @ base)
        model.add(columns, mean_gain[columns], got - TIE, np.inf)
    burden = np.zeros(model.size)
    for i, d in enumerate(model.drillings):
        first = next(v for v in program.variants if v.drilling == d)
        burden[model.y(i)] = -1.0 - 0.1 * first.new_drilling
    # last of all: what the variant is worth where it is not used, so that of two equal balls the
    # one that is nowhere better stays at home
    behind = (base - program.values).sum(axis=1)
    behind /= max(behind.max(), 1e-12)
    for i, v in enumerate(program.variants):
        for k in range(len(model.phases)):
            burden[model.z(i, k)] = -(0.01 * v.new_finish + 1e-3 * behind[i]) / len(model.phases)
    found = model.solve(burden)
    if found is None:  # rounding at the edge of the tie: the bag itself is fine
        return solution
    return _read(program, model, found[0], bound)


def _best_chance(
    program: Program, excluded: Sequence[frozenset[tuple[str, str]]]
) -> Solution | None:
    """max Phi((M - C)/sqrt(V)) over the bags, exactly.

    With z the best ratio (M - C)/sqrt(V) found so far, a better bag has M - C - z sqrt(V) > 0.
    Over the range of V that any bag can have, -z sqrt(V) lies below a straight line in V: for
    z >= 0 the chord of the concave root, else a tangent of the convex -z sqrt(V)... each from the
    side that never cuts a better bag off. The program with that line instead is linear. Its best
    bag is looked at; if it is no better, it is excluded and the next one is asked for. When the
    best of what is left is not above 0, no bag is better: proven. Every round excludes a bag, so
    it ends; the line is nearly the root, so it ends soon.
    """
    assert program.sd is not None and program.games is not None and program.cut is not None
    variance = program.games * program.sd**2
    low_v, high_v = float(variance.min(axis=0).sum()), float(variance.max(axis=0).sum())
    model = _Milp(program)
    model.best_ball_rows()
    for key in excluded:
        model.cut_off(key)
    best: Solution | None = None
    ratio = -math.inf
    for _ in range(10_000):
        z = 0.0 if best is None else ratio
        slope, at_zero = _line_above(z, low_v, high_v)
        gain = model.weighted(program.games * program.values + slope * variance)
        found = model.solve(gain)
        if found is None:
            break
        x, bound = found
        if best is not None and bound + at_zero - program.cut <= TIE:
            break
        here = _read(program, model, x, 1.0)
        total, spread = _moments(program, here.use)
        mine = (total - program.cut) / math.sqrt(max(spread, 1e-12))
        if best is None or mine > ratio + TIE:
            best, ratio = here, mine
        else:  # exactly this bag and its finishes
            _cut_exactly(model, x)
    if best is None:
        return None
    return replace(_without_idle(program, best), bound=best.value)


def _line_above(z: float, low: float, high: float) -> tuple[float, float]:
    """(slope, constant) of a line in V that is nowhere below -z sqrt(V) between low and high."""
    if high - low < 1e-12 * max(high, 1.0):
        return 0.0, -z * math.sqrt(low) if z >= 0 else -z * math.sqrt(high)
    if z >= 0:  # -z sqrt(V) is convex: its chord lies above it
        slope = -z * (math.sqrt(high) - math.sqrt(low)) / (high - low)
        return slope, -z * math.sqrt(low) - slope * low
    middle = 0.5 * (low + high)  # -z sqrt(V) is concave: any tangent lies above it
    slope = -z / (2.0 * math.sqrt(middle))
    return slope, -z * math.sqrt(middle) - slope * middle


def _cut_exactly(model: _Milp, x: np.ndarray) -> None:
    n = model.n_y + model.n_z
    on = np.round(x[:n]) > 0
    model.add(np.arange(n), np.where(on, -1.0, 1.0), 1.0 - on.sum(), np.inf)


def _without_idle(program: Program, solution: Solution) -> Solution:
    """The bag without the balls that no condition uses and nobody requires."""
    used = {program.variants[i].ball for i in solution.use} | program.required
    return replace(
        solution,
        drilled={b: d for b, d in solution.drilled.items() if b in used},
        finish={k: f for k, f in solution.finish.items() if k[0] in used},
    )


# --- around the best bag ----------------------------------------------------------------------


def best_bags(program: Program, *, margin: float, most: int = 8) -> list[Solution]:
    """The best bag and the next best ones within `margin` of it, best first, at most `most`.

    Bags differ in balls or layouts; each has its best finishes. A bag that holds another one of
    the list and is no better is left out.

    Raises
    ------
    InputError
        naming the limits that cannot be met together.
    """
    check_range("margin", margin, 0, 300)
    best = solve(program)
    if best is None:
        raise InputError(explain_infeasible(program))
    out = [best]
    while len(out) < most:
        following = solve(program, excluded=[s.key for s in out])
        if following is None or following.value < best.value - margin:
            break
        out.append(following)
    return out


def without_ball(program: Program, ball: str) -> Program:
    """The program with a ball struck off the candidates."""
    keep = [i for i, v in enumerate(program.variants) if v.ball != ball]
    return _rows(program, keep, program.required - {ball})


def only_drillings(program: Program, drilled: dict[str, str]) -> Program:
    """The program with the given balls and layouts alone (finishes stay free)."""
    keep = [i for i, v in enumerate(program.variants) if drilled.get(v.ball) == v.layout]
    return _rows(program, keep, program.required & set(drilled))


def _rows(program: Program, keep: list[int], required: frozenset[str]) -> Program:
    if not keep:
        raise InputError("no ball is left to choose from")
    return replace(
        program, variants=tuple(program.variants[i] for i in keep), values=program.values[keep],
        sd=None if program.sd is None else program.sd[keep], required=required,
    )


LIMIT_NAMES = ("registered", "carried", "bag_weight_lb", "drilled", "required balls")


def conflicting_limits(program: Program) -> list[str]:
    """Limits that cannot be met together, none of which is to blame without the others.

    A deletion filter (Chinneck & Dravnieks, ORSA J. Comput. 3, 157 (1991); from memory): each
    limit is dropped in turn and stays dropped if the rest is still infeasible. What is left is an
    irreducible set. Empty if a bag exists.
    """
    def feasible(without: frozenset[str]) -> bool:
        return _Milp(program, without).solve(np.zeros(_Milp(program, without).size)) is not None

    if feasible(frozenset()):
        return []
    dropped: frozenset[str] = frozenset()
    for name in LIMIT_NAMES:
        if not feasible(dropped | {name}):
            dropped |= {name}
    return [name for name in LIMIT_NAMES if name not in dropped]


def explain_infeasible(program: Program) -> str:
    """One line: which limits clash, and what each would have to be for a bag to exist."""
    names = conflicting_limits(program)
    if not names:
        return "a bag exists"
    parts = []
    for name in names:
        if name == "required balls":
            parts.append("the balls that must come (" + ", ".join(sorted(program.required)) + ")")
            continue
        limit = getattr(program.limits, name)
        needed = _needed(program, name)
        word = name.replace("bag_weight_lb", "bag weight")
        unit = " lb" if name == "bag_weight_lb" else ""
        text = f"{word} {limit:g}{unit}"
        parts.append(text if needed is None else f"{text} (at least {needed:g}{unit} needed)")
    return "no bag keeps these limits together: " + "; ".join(parts)


def _needed(program: Program, name: str) -> float | None:
    """Smallest value of one limit, the others kept, for which a bag exists; None if there is none.

    The elastic form: the limit's left side is minimised over the bags that keep the others.
    """
    model = _Milp(program, frozenset({name}))
    first = {d: next(v for v in program.variants if v.drilling == d) for d in model.drillings}
    gain = np.zeros(model.size)
    for known, _, columns, numbers in model.limit_rows(first):
        if known == name:
            gain[columns] = -np.asarray(numbers)
    found = model.solve(gain)
    return None if found is None else round(float(-gain @ found[0]), 6)
