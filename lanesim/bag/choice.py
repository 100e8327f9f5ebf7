"""The best bag and the next best ones, proven.

    mean    max sum_c w_c sum_v a_vc u_vc + g_b s_b - least_gain x actions - burden
    worst   max t, t <= sum_v a_vc u_vc for all c; then the best mean among those bags. Solved as a
            bottleneck: t is one of the values a_vc, so halving the sorted values, each time asking
            for a bag that has a_vc >= t everywhere, ends at the exact optimum (the epigraph form
            has a weak relaxation: measured ten times slower)
    cut     max Phi((M - C)/sqrt(V)), M = sum_c g_c a_vc u_vc and V = sum_c g_c s_vc^2 u_vc the mean
            and variance of the total over all games; in each condition the ball with the highest
            mean is used. Not linear: see `_best_chance` for how it is solved exactly all the same.

The total of independent games is taken as normal (a sum of a dozen games or more; game scores have
little skew). For worst and cut the actions are counted in steps: the best bag of all, then the
best with at least one action less, and so on, as long as one could still be the best net of what
its actions must bring. A ball that brings nothing is never in a bag.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ..errors import InputError, check_range
from .clash import explain_infeasible
from .program import (
    TIE,
    Program,
    Solution,
    burden_unit,
    drilling_burden,
    evaluated,
    finish_burden,
    moments,
    spare_loss,
)
from .rows import Rows
from .solver import SolverError

CLOSE = 1e-6  # pins or parts of a standard deviation: nearer than this is rounding
Key = frozenset[tuple[str, str]]


def solve(program: Program, *, excluded: Sequence[Key] = ()) -> Solution | None:
    """The best bag, proven; None if no bag keeps the limits.

    excluded : bags (sets of (ball, layout)) that are not to be returned, nor any with one inside.
    """
    if program.objective == "mean":
        return _best_mean(program, excluded)
    one = _best_worst if program.objective == "worst" else _best_chance
    return _fewer_actions(program, excluded, one)


def _rows(program: Program, excluded: Sequence[Key]) -> Rows:
    rows = Rows(program)
    for key in excluded:
        rows.cut_off(key)
    return rows


def _best_mean(program: Program, excluded: Sequence[Key]) -> Solution | None:
    # pins above the best constant: the numbers that the solver compares are then the differences
    base = program.values.max(axis=0)
    rows = _rows(program, excluded)
    gain = (rows.weighted(program.weights * (program.values - base)) + rows.spare_gain()
            - program.least_gain * rows.actions() - rows.burden())
    found = rows.maximise(gain)
    if found is None:
        return None
    constant = float(program.weights @ base) - spare_loss(program, {})
    solution = evaluated(program, *rows.read(found.x), found.bound + constant)
    if solution.net < found.gain + constant - 1e-3:
        raise SolverError("the bag could not be chosen: the solver's answer is worth "
                          f"{solution.net:.4f}, not what it says")
    return solution


# --- worst and cut: what the actions must bring ---------------------------------------------------


def _fewer_actions(
    program: Program, excluded: Sequence[Key],
    one: Callable[[Program, Rows], Solution | None],
) -> Solution | None:
    """The best net of the actions, from the best of all downward in the number of actions."""
    step = 1.0 / len(program.phases)  # a finish in one of the phases is the smallest action
    best: Solution | None = None
    most = math.inf
    while True:
        rows = _rows(program, excluded)
        if math.isfinite(most):
            rows.at_most_actions(most)
        found = one(program, rows)
        if found is None or (best is not None and found.value <= best.net):
            break  # with fewer actions nothing is worth more than this
        if best is None or found.net > best.net:
            best = found
        if program.least_gain == 0.0 or found.actions < 0.5 * step:
            break
        most = found.actions - 0.5 * step
    if best is None:
        return None
    return replace(best, bound=best.net)


def _best_worst(program: Program, rows: Rows) -> Solution | None:
    floor = _highest_floor(program, rows)
    if floor is None:
        return None
    rows.at_least(floor)
    base = program.values.max(axis=0)
    found = rows.maximise(
        rows.weighted(program.weights * (program.values - base))
        - program.least_gain * rows.actions() - rows.burden())
    if found is None:
        raise SolverError("the bag could not be chosen: the solver denies a bag that it found")
    return evaluated(program, *rows.read(found.x))


def _highest_floor(program: Program, rows: Rows) -> float | None:
    """The highest value that some bag reaches in every condition, by halving; None: no bag."""
    # no bag's worst condition is worth more than the best ball of the hardest condition
    levels = np.unique(program.values)
    levels = levels[levels <= program.values.max(axis=0).min()]
    nothing = np.zeros(rows.size)
    reached, beyond = -1, len(levels)
    while beyond - reached > 1:
        middle = (reached + beyond) // 2
        rows.at_least(float(levels[middle]))
        if rows.maximise(nothing) is None:
            beyond = middle
        else:
            reached = middle
    if reached < 0:
        return None
    return float(levels[reached])


def _best_chance(program: Program, rows: Rows) -> Solution | None:
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
    rows.best_ball_rows()
    burden = rows.burden() / burden_unit(program)  # totals are in pins
    hidden = _most_burden(program)  # how much of a bag's lead the burden may hide
    best: Solution | None = None
    ratio = -math.inf
    for _ in range(10_000):
        z = 0.0 if best is None else ratio
        slope, at_zero = _line_above(z, low_v, high_v)
        each = program.games * program.values + slope * variance
        base = each.max(axis=0)
        found = rows.maximise(rows.weighted(each - base) - burden)
        if found is None:
            break
        if best is not None and (found.bound + hidden + float(base.sum()) + at_zero - program.cut
                                 <= CLOSE):
            break
        here = evaluated(program, *rows.read(found.x))
        total, spread = moments(program, here.use)
        mine = (total - program.cut) / math.sqrt(max(spread, 1e-12))
        if best is None or mine > ratio + CLOSE:
            best, ratio = here, mine
        else:  # nor is any bag that uses the same variants, and surely not this one
            rows.cut_use(here.use)
            rows.cut_exactly(found.x)
    return None if best is None else _without_idle(program, best)


def _most_burden(program: Program) -> float:
    """Pins that the burden of a bag can come to at most."""
    made = float(finish_burden(program).max())
    return sum(made + max(drilling_burden(program, d) for d in program.drillings if d[0] == ball)
               for ball in program.balls)


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


def _without_idle(program: Program, solution: Solution) -> Solution:
    """The bag without the balls that no condition uses and nobody requires."""
    used = {program.variants[i].ball for i in solution.use} | program.required
    return evaluated(
        program, {b: d for b, d in solution.drilled.items() if b in used},
        {k: f for k, f in solution.finish.items() if k[0] in used})


# --- around the best bag ----------------------------------------------------------------------


def best_bags(program: Program, *, margin: float, most: int = 8) -> list[Solution]:
    """The best bag and the next best ones within `margin` of its net value, best first, at most
    `most`.

    Bags differ in balls or layouts; each has its best finishes. A bag that holds another one of
    the list is left out.

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
    tie = TIE * burden_unit(program)  # a margin of 0 lists the bags that are as good
    while len(out) < most:
        following = solve(program, excluded=[s.key for s in out])
        if following is None or following.net < best.net - margin - tie:
            break
        out.append(following)
    return out
