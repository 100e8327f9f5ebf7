"""Integer programs by HiGHS, with every answer looked at before it is believed.

    maximise gain . x,  low <= A x <= high,  0 <= x <= upper,  the first `whole` columns whole

The gain is scaled by a power of two (which costs no bit) so that its largest number is a few
hundred: what the solver takes for equal is then about 1e-9 of it. A status other than "optimal" or
"infeasible", an answer that breaks a row, one whose gain is not what the solver says, and a claim
that nothing is feasible are each tried again in another way (`WAYS`) before anything is said; what
no way settles ends in a SolverError with the solver's own status.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np

from ..errors import InputError

TIME_LIMIT_S = 120.0
BROKEN = 1e-5  # how far a row of numbers of the order of 1 may be off: ten solver tolerances
# Ways to solve one program, tried in turn: the solver's options.
WAYS: tuple[dict[str, Any], ...] = (
    {},
    {"presolve": "off"},
    {"presolve": "off", "random_seed": 7, "simplex_strategy": 4},
    {"presolve": "on", "random_seed": 11, "mip_heuristic_effort": 0.0},
    {"presolve": "off", "random_seed": 13, "primal_feasibility_tolerance": 1e-9,
     "dual_feasibility_tolerance": 1e-9, "mip_feasibility_tolerance": 1e-9},
)


class SolverError(InputError):
    """The solver gave no answer that could be verified."""


@dataclass(frozen=True)
class Answer:
    """A verified answer: x with its whole columns made whole, gain . x, and the best that any x
    could give by the solver's proof."""

    x: np.ndarray
    gain: float
    bound: float


@dataclass
class IntegerProgram:
    """Rows of an integer program; `whole` columns first, then the continuous ones."""

    size: int
    whole: int
    upper: np.ndarray
    columns: list[np.ndarray] = field(default_factory=list)
    numbers: list[np.ndarray] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def add(self, columns: Sequence[int] | np.ndarray, numbers: Any, low: float, high: float
            ) -> None:
        """low <= numbers . x[columns] <= high, scaled so that its largest number is about 1."""
        row = np.broadcast_to(np.asarray(numbers, dtype=float), (len(columns),))
        scale = _power_of_two(np.abs(row).max(initial=0.0), 1.0)
        self.columns.append(np.asarray(columns, dtype=np.int32))
        self.numbers.append(row * scale)
        self.low.append(low * scale)
        self.high.append(high * scale)

    def maximise(self, gain: np.ndarray, *, time_limit_s: float = TIME_LIMIT_S) -> Answer | None:
        """The best x; None if no x keeps the rows.

        Raises
        ------
        SolverError
            no way to solve it gave an answer that could be verified, or the time was over.
        """
        told, infeasible = [], 0
        for way in WAYS:
            status, answer = self._solved(np.asarray(gain, dtype=float), way, time_limit_s)
            if answer is not None:
                return answer
            if status == "infeasible":
                infeasible += 1
                if infeasible == 2:  # two ways agree
                    return None
            if status == "time":
                raise SolverError(f"the bag could not be chosen within {time_limit_s:g} s; allow "
                                  "fewer layouts or finishes")
            told.append(status)
        raise SolverError("the bag could not be chosen: the solver ended with "
                          + ", ".join(dict.fromkeys(told)))

    def _solved(self, gain: np.ndarray, way: dict[str, Any], time_limit_s: float
                ) -> tuple[str, Answer | None]:
        """One way: a word for how it ended, and the verified answer if there is one."""
        highs = _highs()
        scale = _power_of_two(np.abs(gain).max(initial=0.0), 512.0)
        solver = _quiet_solver()
        options = {"time_limit": time_limit_s, "mip_rel_gap": 0.0, "mip_abs_gap": 1e-6} | way
        known = [name for name, value in options.items()
                 if solver.setOptionValue(name, value) == highs.HighsStatus.kOk]
        if set(options) - set(known) - set(way):
            raise SolverError("the solver does not know the options "
                              f"{', '.join(sorted(set(options) - set(known)))}")
        solver.passModel(self._model(-scale * gain))
        solver.run()
        status = solver.getModelStatus()
        if status == highs.HighsModelStatus.kInfeasible:
            return "infeasible", None
        if status == highs.HighsModelStatus.kTimeLimit:
            return "time", None
        if status != highs.HighsModelStatus.kOptimal:
            return solver.modelStatusToString(status).lower(), None
        info = solver.getInfo()
        x = np.array(solver.getSolution().col_value, dtype=float)
        bound = -info.mip_dual_bound / scale if self.whole else -info.objective_function_value
        return self._verified(gain, x, bound, 1e-4 / scale)

    def _verified(self, gain: np.ndarray, x: np.ndarray, bound: float, close: float
                  ) -> tuple[str, Answer | None]:
        """The answer with whole columns made whole, if it keeps all rows and is near its bound."""
        if len(x) != self.size or not np.all(np.isfinite(x)) or not math.isfinite(bound):
            return "no numbers", None
        x[: self.whole] = np.round(x[: self.whole])
        x = np.clip(x, 0.0, self.upper)
        for columns, numbers, low, high in zip(self.columns, self.numbers, self.low, self.high,
                                               strict=True):
            got = float(numbers @ x[columns])
            if not low - BROKEN <= got <= high + BROKEN:
                return "an answer that breaks a limit", None
        mine = float(gain @ x)
        # beyond what rounding the columns may change, value and bound must meet
        if abs(bound - mine) > close + BROKEN * float(np.abs(gain).max(initial=0.0)):
            return "an answer that is not the best", None
        return "optimal", Answer(x, mine, max(bound, mine))

    def _model(self, cost: np.ndarray) -> Any:
        highs = _highs()
        model = highs.HighsLp()
        model.num_col_, model.num_row_ = self.size, len(self.columns)
        model.col_cost_ = cost
        model.col_lower_, model.col_upper_ = np.zeros(self.size), np.asarray(self.upper, float)
        model.row_lower_, model.row_upper_ = np.array(self.low), np.array(self.high)
        model.a_matrix_.format_ = highs.MatrixFormat.kRowwise
        lengths = [len(c) for c in self.columns]
        model.a_matrix_.start_ = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int32)
        model.a_matrix_.index_ = np.concatenate([*self.columns, np.empty(0, np.int32)])
        model.a_matrix_.value_ = np.concatenate([*self.numbers, np.empty(0)])
        kind = highs.HighsVarType
        model.integrality_ = ([kind.kInteger] * self.whole
                              + [kind.kContinuous] * (self.size - self.whole))
        return model


def _power_of_two(largest: float, wanted: float) -> float:
    """A power of two that brings `largest` to between `wanted` / 2 and `wanted`; 1 for nothing."""
    if largest <= 0.0 or not math.isfinite(largest):
        return 1.0
    return 2.0 ** math.floor(math.log2(wanted / largest))


@cache
def _highs() -> Any:
    import highspy

    return highspy


@cache
def _quiet_kind() -> type:
    class Quiet(_highs().Highs):  # type: ignore[misc]  # a base that is imported when used
        """A solver that is silent before it would print its first line on standard output."""

        def enableCallbacks(self) -> None:
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()

    return Quiet


def _quiet_solver() -> Any:
    solver = _quiet_kind()()
    solver.setOptionValue("output_flag", False)
    return solver
