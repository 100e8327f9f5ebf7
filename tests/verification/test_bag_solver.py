"""The solver: real statuses, and no answer that was not looked at."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from lanesim.bag import solver
from lanesim.bag.solver import WAYS, IntegerProgram, SolverError

TIES = Path(__file__).parents[1] / "data" / "tie_program.json"


def tie_program() -> tuple[IntegerProgram, np.ndarray]:
    """The program of tests/data/tie_program.json: a row whose slack is the solver's tolerance."""
    data = json.loads(TIES.read_text())
    p = IntegerProgram(len(data["gain"]), data["whole"], np.array(data["upper"]))
    for (columns, numbers), low, high in zip(data["rows"], data["low"], data["high"], strict=True):
        p.add(columns, numbers, -np.inf if low is None else low, np.inf if high is None else high)
    return p, np.array(data["gain"])


def knapsack() -> tuple[IntegerProgram, np.ndarray]:
    """Two of three things: worth 3 and 2."""
    p = IntegerProgram(3, 3, np.ones(3))
    p.add([0, 1, 2], 1.0, -np.inf, 2.0)
    return p, np.array([1.0, 2.0, 3.0])


@pytest.mark.parametrize("way", range(len(WAYS)))
def test_every_way_solves_the_program_with_a_row_at_the_tolerance(way, monkeypatch):
    """Optimum 3.101110373104074 (minimised), from another release of the solver without its
    presolve; the file says more."""
    monkeypatch.setattr(solver, "WAYS", (WAYS[way],))
    p, gain = tie_program()
    found = p.maximise(gain)
    assert found is not None and found.gain == pytest.approx(-3.101110373104074, abs=1e-4)
    assert found.bound - found.gain < 1e-4


def test_what_goes_wrong_is_tried_again_and_at_last_told(monkeypatch):
    p, gain = knapsack()
    true, ways = IntegerProgram._solved, []

    def failing(many: int):
        def solved(self, gain, way, limit):
            ways.append(way)
            return ("solve error", None) if len(ways) <= many else true(self, gain, way, limit)
        return solved

    monkeypatch.setattr(IntegerProgram, "_solved", failing(3))
    found = p.maximise(gain)
    assert found is not None and found.gain == pytest.approx(5.0)
    assert ways == list(WAYS[:4])
    ways.clear()
    monkeypatch.setattr(IntegerProgram, "_solved", failing(99))
    with pytest.raises(SolverError, match="solve error"):
        p.maximise(gain)


def test_an_answer_that_breaks_a_limit_or_is_not_the_best_is_refused():
    p, gain = knapsack()
    for x, bound, word in (([1, 1, 1], 6.0, "breaks a limit"), ([1, 0, 1], 5.0, "not the best"),
                           ([0, 1, np.nan], 5.0, "no numbers")):
        status, answer = p._verified(gain, np.array(x, dtype=float), bound, 1e-6)
        assert answer is None and word in status
    status, answer = p._verified(gain, np.array([1e-7, 1.0, 1.0]), 5.0, 1e-6)
    assert answer is not None and answer.x.tolist() == [0.0, 1.0, 1.0]


def test_nothing_feasible_is_none_only_if_two_ways_say_so(monkeypatch):
    p, gain = knapsack()
    p.add([0, 1, 2], 1.0, 3.0, np.inf)
    assert p.maximise(gain) is None
    p, gain = knapsack()
    true, count = IntegerProgram._solved, [0]

    def once_wrong(self, *rest):
        count[0] += 1
        return ("infeasible", None) if count[0] == 1 else true(self, *rest)

    monkeypatch.setattr(IntegerProgram, "_solved", once_wrong)
    assert p.maximise(gain) is not None


def test_a_time_limit_is_called_one():
    rng = np.random.default_rng(1)
    p = IntegerProgram(400, 400, np.ones(400))
    for _ in range(200):
        p.add(np.arange(400), rng.random(400), -np.inf, 90.0)
    with pytest.raises(SolverError, match=r"within 0.01 s; allow fewer"):
        p.maximise(rng.random(400), time_limit_s=0.01)


def test_the_solver_keeps_standard_output_clean(capfd):
    """Some releases print a line of their own when a solver is made: it would spoil --json."""
    p, gain = knapsack()
    assert p.maximise(gain) is not None
    assert capfd.readouterr().out == ""
