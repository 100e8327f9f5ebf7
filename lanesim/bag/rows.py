"""A bag problem as rows of an integer program.

    y_d in {0, 1}       the ball is in the bag, drilled so
    z_vp in {0, 1}      in phase p that drilling has this finish
    q_dk in {0, 1}      the ball travels in case k
    s_b in {0, 1}       spares are shot with this ball, which is worth g_b
    0 <= u_vc           share of condition c thrown with v (0 or 1 in every solution)

    sum_(d of b) y_d <= 1                  one drilling per ball; = 1 if the ball must come
    sum_(v of d) z_vp = y_d                one finish per phase
    z_vp = z_vq                            if finishes may not change between phases
    sum_v u_vc = 1,  u_vc <= z_v,p(c)      one ball per condition, and it must be in the bag
    sum_d y_d <= registered;  sum_carried y_d <= carried;  sum_carried weight_d y_d <= bag limit;
    sum_(newly drilled) y_d <= drilled
    sum_b s_b <= 1,  s_b <= sum_(d of b) y_d
    sum_k q_dk = y_d (carried),  sum_d q_dk <= balls_k,  sum_d weight_d q_dk <= weight_k

This is the facility-location form with strong links (u_vc <= z_vp one by one), whose linear
relaxation is tight (common knowledge of operations research, from memory: Cornuejols, Fisher &
Nemhauser, Management Science 23, 789 (1977)).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from .program import (
    Program,
    available,
    burden_unit,
    drilling_actions,
    drilling_burden,
    finish_burden,
)
from .solver import Answer, IntegerProgram


class Rows:
    """The columns of a bag problem and their rows."""

    def __init__(self, program: Program, without: frozenset[str] = frozenset()) -> None:
        self.p = p = program
        self.drillings = p.drillings
        self.phases = p.phases
        self.first = {d: p.first_of(d) for d in self.drillings}
        self.travel = [i for i, d in enumerate(self.drillings) if self.first[d].carried]
        self.cases = () if "cases" in without else p.limits.cases
        v, c = p.values.shape
        self.n_y, self.n_z = len(self.drillings), v * len(self.phases)
        self.n_q = len(self.travel) * len(self.cases)
        self.spares = [b for b, pins in p.spare_worth.items()
                       if pins > 0.0 and b in p.balls and p.objective == "mean"]
        whole = self.n_y + self.n_z + self.n_q + len(self.spares)
        self.start_u, self.size = whole, whole + v * c
        self.integer = IntegerProgram(self.size, whole, np.ones(self.size))
        self._build(without)

    # --- columns ----------------------------------------------------------------------------

    def y(self, d: int) -> int:
        """Column of a drilling."""
        return d

    def z(self, v: int, phase_index: int) -> int:
        """Column of a variant in a phase."""
        return self.n_y + v * len(self.phases) + phase_index

    def q(self, n: int, case: int) -> int:
        """Column of the n-th ball that may travel, in a case."""
        return self.n_y + self.n_z + n * len(self.cases) + case

    def s(self, n: int) -> int:
        """Column of the n-th ball worth something for spares."""
        return self.n_y + self.n_z + self.n_q + n

    def u(self, v: int, c: int) -> int:
        """Column of a variant used in a condition."""
        return self.start_u + v * self.p.values.shape[1] + c

    # --- rows -------------------------------------------------------------------------------

    def add(self, columns: Any, numbers: Any, low: float, high: float) -> None:
        """low <= numbers . x[columns] <= high."""
        self.integer.add(columns, numbers, low, high)

    def _build(self, without: frozenset[str]) -> None:
        p = self.p
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
        for name, value, columns, numbers in self.limit_rows():
            if value is not None and name not in without and columns:
                self.add(columns, numbers, -np.inf, float(value))
        self._pack()
        for n, ball in enumerate(self.spares):
            mine = [self.y(i) for i, d in enumerate(self.drillings) if d[0] == ball]
            self.add([self.s(n), *mine], [1.0] + [-1.0] * len(mine), -np.inf, 0.0)
        if self.spares:
            self.add([self.s(n) for n in range(len(self.spares))], 1.0, -np.inf, 1.0)

    def limit_rows(self) -> Iterator[tuple[str, float | None, list[int], list[float]]]:
        """(name, limit, columns, numbers) of the limits that are sums over drillings."""
        limits = self.p.limits
        every = range(len(self.drillings))
        fresh = [i for i in every if self.first[self.drillings[i]].new_drilling]
        yield "registered", limits.registered, list(every), [1.0] * len(self.drillings)
        yield "carried", limits.carried, self.travel, [1.0] * len(self.travel)
        yield "bag_weight_lb", limits.bag_weight_lb, self.travel, self._weights()
        yield "drilled", limits.drilled, fresh, [1.0] * len(fresh)

    def _weights(self) -> list[float]:
        return [self.first[self.drillings[i]].weight_lb for i in self.travel]

    def _pack(self) -> None:
        """Every ball that travels lies in one case, and no case holds too much."""
        if not self.cases:
            return
        kinds = range(len(self.cases))
        weights = self._weights()
        for n, d in enumerate(self.travel):
            self.add([*(self.q(n, k) for k in kinds), self.y(d)],
                     [1.0] * len(self.cases) + [-1.0], 0.0, 0.0)
        for k, case in enumerate(self.cases):
            columns = [self.q(n, k) for n in range(len(self.travel))]
            if columns:
                self.add(columns, 1.0, -np.inf, float(case.balls))
                if case.weight_lb is not None:
                    self.add(columns, weights, -np.inf, float(case.weight_lb))

    def at_least(self, floor: float) -> None:
        """Allow in each condition only variants that are worth `floor` or more there."""
        self.integer.upper[self.start_u:] = (self.p.values >= floor).ravel()

    def at_most_actions(self, most: float) -> None:
        """Allow no more than `most` actions."""
        asked = self.actions()
        columns = np.flatnonzero(asked)
        if len(columns):
            self.add(columns, asked[columns], -np.inf, most)

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

    def cut_exactly(self, x: np.ndarray) -> None:
        """Leave out exactly this bag with its finishes."""
        n = self.n_y + self.n_z
        on = x[:n] > 0.5
        self.add(np.arange(n), np.where(on, -1.0, 1.0), 1.0 - on.sum(), np.inf)

    def cut_use(self, use: np.ndarray) -> None:
        """Leave out every bag that throws use[c] in all conditions."""
        columns = [self.u(int(v), c) for c, v in enumerate(use)]
        self.add(columns, 1.0, -np.inf, len(columns) - 1.0)

    # --- gains ------------------------------------------------------------------------------

    def weighted(self, per_condition: np.ndarray) -> np.ndarray:
        """Gain sum_vc per_condition[v, c] u_vc."""
        out = np.zeros(self.size)
        out[self.start_u:] = per_condition.ravel()
        return out

    def spare_gain(self) -> np.ndarray:
        """Pins per game of the ball for spares, against the best of all."""
        out = np.zeros(self.size)
        for n, ball in enumerate(self.spares):
            out[self.s(n)] = self.p.spare_worth[ball]
        return out

    def actions(self) -> np.ndarray:
        """Actions of each column."""
        out = np.zeros(self.size)
        for i, d in enumerate(self.drillings):
            out[self.y(i)] = drilling_actions(self.p, d)
        for i, v in enumerate(self.p.variants):
            for k in range(len(self.phases)):
                out[self.z(i, k)] = v.new_finish / len(self.phases)
        return out

    def burden(self) -> np.ndarray:
        """Burden of each column, in units of the aim."""
        out = np.zeros(self.size)
        for i, d in enumerate(self.drillings):
            out[self.y(i)] = drilling_burden(self.p, d)
        for i, weighs in enumerate(finish_burden(self.p)):
            for k in range(len(self.phases)):
                out[self.z(i, k)] = weighs / len(self.phases)
        return out * burden_unit(self.p)

    # --- solving ----------------------------------------------------------------------------

    def maximise(self, gain: np.ndarray) -> Answer | None:
        """The best x, verified; None if no bag keeps the rows."""
        return self.integer.maximise(gain)

    def read(self, x: np.ndarray) -> tuple[dict[str, str], dict[tuple[str, int], str]]:
        """Bag and finishes of a solution."""
        drilled = {d[0]: d[1] for i, d in enumerate(self.drillings) if x[self.y(i)] > 0.5}
        finish = {}
        for i, v in enumerate(self.p.variants):
            for k, phase in enumerate(self.phases):
                if x[self.z(i, k)] > 0.5:
                    finish[v.ball, phase] = v.finish
        there = available(self.p, drilled, finish)
        assert there.any(axis=0).all(), "a condition without a ball"
        return drilled, finish
