"""The bag's integer program against brute force over every bag of small random problems.

The expected values come from plain enumeration in this file, which shares nothing with the
program but the statement of the problem.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lanesim.bag.choice import best_bags, solve
from lanesim.bag.clash import conflicting_limits, explain_infeasible
from lanesim.bag.program import (
    TIE,
    Case,
    Limits,
    Program,
    Variant,
    bag_value,
    without_ball,
)
from lanesim.errors import InputError


def random_program(seed: int, objective: str, change_finish: bool, *, whole: bool = False,
                   near_ties: bool = False, least_gain: float = 0.0) -> Program:
    """4 balls of 1 or 2 layouts and 1 or 2 finishes, 3 conditions in 2 phases, random limits."""
    rng = np.random.default_rng(seed)
    variants = []
    for b in range(4):
        travels, weight = bool(rng.random() < 0.7), float(rng.integers(14, 17))
        for layout in range(rng.integers(1, 3)):
            for finish in range(rng.integers(1, 3)):
                variants.append(Variant(
                    f"ball{b}", f"layout{layout}", f"finish{finish}",
                    weight if travels else 0.0, travels, bool(layout), bool(finish)))
    shape = (len(variants), 3)
    values = rng.integers(195, 205, shape) if whole else rng.normal(200, 8, shape)
    if near_ties:  # whole pins and a little: from far below the solver's tolerance to above it
        values = np.round(values) + rng.choice([0.0, 1.0, -1.0], shape) * 10.0 ** rng.integers(
            -13, -3, shape)
    return Program(
        tuple(variants), np.asarray(values, dtype=float), rng.random(3) + 0.1,
        np.array([0, 0, 1]),
        Limits(registered=int(rng.integers(1, 4)), carried=int(rng.integers(0, 3)),
               bag_weight_lb=float(rng.integers(14, 40)), drilled=int(rng.integers(0, 3))),
        required=frozenset(["ball0"] if rng.random() < 0.3 else []),
        change_finish=change_finish, objective=objective,
        sd=rng.uniform(15, 40, shape), games=rng.integers(1, 4, 3).astype(float),
        cut=float(rng.normal(1210, 40)), least_gain=least_gain,
    )


def normal_tail(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def worth(p: Program, there: list[set[int]]) -> float:
    """Objective of a bag with the variants there[c] at hand in condition c."""
    got, variance = [], 0.0
    for c, at in enumerate(there):
        best = max(at, key=lambda v: p.values[v, c])
        got.append(p.values[best, c])
        variance += p.games[c] * p.sd[best, c] ** 2
    if p.objective == "mean":
        return float(np.dot(p.weights, got))
    if p.objective == "worst":
        return min(got)
    return normal_tail((float(np.dot(p.games, got)) - p.cut) / math.sqrt(variance))


def every_bag(p: Program):
    """(value, drilled) of every bag that keeps the limits, with its best finishes."""
    choices = []
    for ball in p.balls:
        layouts = list(dict.fromkeys(v.layout for v in p.variants if v.ball == ball))
        choices.append([(ball, layout) for layout in layouts]
                       + ([] if ball in p.required else [None]))
    for picked in itertools.product(*choices):
        drillings = [d for d in picked if d is not None]
        first = [next(v for v in p.variants if v.drilling == d) for d in drillings]
        travel = [v for v in first if v.carried]
        if (not drillings or len(first) > p.limits.registered or len(travel) > p.limits.carried
                or sum(v.weight_lb for v in travel) > p.limits.bag_weight_lb
                or sum(v.new_drilling for v in first) > p.limits.drilled):
            continue
        options = [[i for i, v in enumerate(p.variants) if v.drilling == d] for d in drillings]
        best = -math.inf
        settings_of = list(itertools.product(*options))
        for phases in itertools.product(settings_of, repeat=2):
            if not p.change_finish and phases[0] != phases[1]:
                continue
            best = max(best, worth(p, [set(phases[k]) for k in p.phase]))
        yield best, dict(drillings)


@pytest.mark.parametrize("objective", ["mean", "worst", "cut"])
@pytest.mark.parametrize("change_finish", [False, True])
@given(seed=st.integers(0, 10**6))
@settings(max_examples=25, deadline=None, derandomize=True)
def test_the_program_finds_what_brute_force_finds(objective, change_finish, seed):
    p = random_program(seed, objective, change_finish)
    values = [v for v, _ in every_bag(p)]
    found = solve(p)
    if not values:
        assert found is None
        return
    assert found is not None
    close = 1e-4 if objective == "cut" else TIE  # the burden decides between bags that near
    assert found.value == pytest.approx(max(values), abs=close)
    assert found.gap <= 1e-5
    # what it returns is a bag that exists and is worth what it says
    same = [v for v, drilled in every_bag(p) if drilled == found.drilled]
    assert same and found.value == pytest.approx(same[0], abs=close)
    assert bag_value(p, found.use)[0] == pytest.approx(found.value)


def net_values(p: Program):
    """(net value, value, actions) of every bag with every choice of finishes, by the statement of
    the problem: what each action must bring and the burden are taken off here once more."""
    weights = p.weights
    behind = (p.values.max(axis=0) - p.values) @ weights
    for picked in every_picked(p):
        first = [next(v for v in p.variants if v.drilling == d) for d in picked]
        options = [[i for i, v in enumerate(p.variants) if v.drilling == d] for d in picked]
        fixed = sum((v.carried and v.ball not in p.required) + v.new_drilling for v in first)
        small = sum(1e-3 + 5e-4 * v.new_drilling + 1e-5 * v.weight_lb + 1e-6 * p.balls.index(v.ball)
                    for v in first)
        ways = list(itertools.product(*options))
        phases = p.phases
        for chosen in itertools.product(ways, repeat=len(phases)):
            if not p.change_finish and any(way != chosen[0] for way in chosen):
                continue
            at = dict(zip(phases, chosen, strict=True))
            value = worth(p, [set(at[k]) for k in p.phase])
            every = [i for way in chosen for i in way]
            made = sum(p.variants[i].new_finish for i in every) / len(phases)
            tiny = sum(2e-4 * p.variants[i].new_finish + 1e-4 * behind[i] / (1 + behind[i])
                       for i in every) / len(phases)
            unit = 1e-3 if p.objective == "cut" else 1.0
            yield (value - p.least_gain * (fixed + made) - unit * (small + tiny), value,
                   fixed + made)


def every_picked(p: Program):
    """The drillings of every bag that keeps the limits."""
    for _, drilled in every_bag(p):
        yield list(drilled.items())


def check_against_brute_force(p: Program) -> None:
    ranked = list(net_values(p))
    found = solve(p)
    if not ranked:
        assert found is None
        return
    assert found is not None
    # worst: of equal floors the best mean is asked for first, the burden only then
    close = TIE if p.objective == "worst" else 1e-4
    assert found.net == pytest.approx(max(net for net, _, _ in ranked), abs=close)
    assert any(value == pytest.approx(found.value, abs=1e-9)
               and actions == pytest.approx(found.actions) for _, value, actions in ranked)


@pytest.mark.parametrize("objective, many", [("mean", 300), ("worst", 40), ("cut", 40)])
def test_near_ties_are_never_lost(objective, many):
    for seed in range(many):
        check_against_brute_force(random_program(seed, objective, seed % 2 == 0, near_ties=True))


@pytest.mark.slow
def test_ten_thousand_programs_with_near_ties_and_none_is_lost():
    for seed in range(10_000):
        check_against_brute_force(random_program(
            10_000 + seed, "mean", seed % 2 == 0, near_ties=True,
            least_gain=(0.0, 0.5)[seed // 2 % 2]))


@pytest.mark.parametrize("objective, least, many", [("mean", 0.7, 40), ("worst", 0.7, 12),
                                                   ("cut", 0.02, 8)])
def test_every_action_brings_what_it_must(objective, least, many):
    """Against enumeration: nothing is carried, drilled or finished for less than least_gain."""
    for seed in range(many):
        p = random_program(seed, objective, seed % 2 == 0, least_gain=least)
        check_against_brute_force(p)
        found = solve(p)
        if found is None:
            continue
        for _, value, actions in net_values(p):
            if actions < found.actions - 1e-9:
                spared = found.actions - actions
                assert found.value - value >= least * spared - TIE


@pytest.mark.parametrize("seed", range(20))
def test_a_ball_for_spares_comes_along_where_it_is_worth_it(seed):
    """Against enumeration, with two of the balls worth something for spares; the better counts."""
    p = random_program(seed, "mean", False)
    p = replace(p, spare_worth={"ball1": 1.5, "ball2": 4.0}, limits=Limits(registered=2))
    values = [value - 4.0 + max(4.0 * ("ball2" in drilled), 1.5 * ("ball1" in drilled))
              for value, drilled in every_bag(replace(p, limits=Limits(
                  registered=2, carried=9, bag_weight_lb=99.0, drilled=9)))]
    found = solve(p)
    assert found is not None and found.value == pytest.approx(max(values), abs=TIE)
    assert found.gap <= 1e-5
    without = solve(without_ball(p, "ball2"))
    assert without is not None and without.value <= found.value + TIE


@pytest.mark.parametrize("seed", range(30))
def test_balls_that_travel_fit_into_their_cases(seed):
    """Against enumeration of every way to pack two cases."""
    rng = np.random.default_rng(seed)
    p = random_program(seed, "mean", False)
    cases = tuple(Case(int(rng.integers(0, 3)), float(rng.integers(14, 33))) for _ in range(2))
    p = replace(p, limits=Limits(registered=4, cases=cases))

    def fits(drilled) -> bool:
        weights = [v.weight_lb for d in drilled.items()
                   if (v := next(v for v in p.variants if v.drilling == d)).carried]
        for where in itertools.product(range(2), repeat=len(weights)):
            inside = [[w for w, k in zip(weights, where, strict=True) if k == n] for n in range(2)]
            if all(len(i) <= case.balls and sum(i) <= case.weight_lb
                   for i, case in zip(inside, cases, strict=True)):
                return True
        return False

    loose = replace(p, limits=Limits(registered=4, carried=4, bag_weight_lb=99, drilled=4))
    values = [value for value, drilled in every_bag(loose) if fits(drilled)]
    found = solve(p)
    if not values:
        assert found is None and "cases for" in explain_infeasible(p)
        return
    assert found is not None and fits(found.drilled)
    assert found.value == pytest.approx(max(values), abs=TIE)


@pytest.mark.parametrize("seed", range(8))
def test_next_best_bags_are_those_of_brute_force(seed):
    """The list holds the same values as the enumeration once bags that hold a listed bag go."""
    p = random_program(seed, "mean", True)
    listed = best_bags(p, margin=300, most=50)
    ranked = sorted(every_bag(p), key=lambda pair: (-pair[0], len(pair[1])))
    kept: list[tuple[float, frozenset]] = []
    for value, drilled in ranked:
        key = frozenset(drilled.items())
        if not any(other <= key for _, other in kept):
            kept.append((value, key))
    assert [s.value for s in listed] == pytest.approx([v for v, _ in kept], abs=2 * TIE)
    assert {s.key for s in listed} == {k for _, k in kept}


@pytest.mark.parametrize("objective", ["mean", "worst", "cut"])
@pytest.mark.parametrize("seed", range(12))
def test_a_dominated_ball_is_never_chosen(objective, seed):
    """A copy of a ball that is nowhere better, and as heavy, is never taken in its place.

    For mean and worst it is only as good in some conditions (a weak domination, ties included);
    for the chance of a cut it is worse everywhere.
    """
    p = random_program(seed, objective, False)
    p = replace(p, required=frozenset(), limits=Limits(registered=4, carried=4))
    twin = [i for i, v in enumerate(p.variants) if v.ball == "ball1"]
    worse = np.full((len(twin), 3), 0.5)
    if objective != "cut":
        worse = np.random.default_rng(seed).choice([0.0, 0.7], (len(twin), 3))
        worse[:, 0] = 0.5  # worse somewhere: never an exact copy
    p = replace(
        p, variants=p.variants + tuple(replace(p.variants[i], ball="shadow") for i in twin),
        values=np.vstack([p.values, p.values[twin] - worse]),
        sd=np.vstack([p.sd, p.sd[twin]]),
    )
    found = solve(p)
    assert found is not None
    if "shadow" in found.drilled:  # both, drilled or finished differently: two useful balls
        assert "ball1" in found.drilled
        assert (found.drilled["shadow"] != found.drilled["ball1"]
                or found.finish["shadow", 0] != found.finish["ball1", 0])
    one = solve(replace(p, limits=Limits(registered=1)))
    assert one is not None and "shadow" not in one.drilled


@pytest.mark.parametrize("objective", ["mean", "worst"])
@pytest.mark.parametrize("seed", range(8))
def test_a_ball_behind_everywhere_stays_at_home_without_any_limit(objective, seed):
    p = random_program(seed, objective, True)
    p = replace(p, required=frozenset(), limits=Limits())
    tail = Variant("last", "layout0", "finish0", 15.0)
    p = replace(p, variants=(*p.variants, tail),
                values=np.vstack([p.values, p.values.min(axis=0)]),
                sd=np.vstack([p.sd, p.sd[:1]]))
    found = solve(p)
    assert found is not None and "last" not in found.drilled


@pytest.mark.parametrize("objective", ["mean", "worst", "cut"])
@pytest.mark.parametrize("seed", range(6))
def test_doubling_all_weights_changes_nothing(objective, seed):
    p = random_program(seed, objective, True)
    a, b = solve(p), solve(replace(p, weights=2.0 * p.weights))
    if a is None:
        assert b is None
        return
    assert b is not None and (a.drilled, a.finish) == (b.drilled, b.finish)
    assert a.value == pytest.approx(b.value, abs=1e-12)


def test_ties_go_to_the_smaller_bag():
    """Two balls that together are no better than a third: one ball travels, not two."""
    variants = tuple(Variant(f"ball{i}", "own", "as is", 15.0) for i in range(3))
    values = np.array([[200.0, 210.0], [210.0, 200.0], [210.0, 210.0]])
    found = solve(Program(variants, values, np.ones(2), np.array([0, 0])))
    assert found is not None and found.drilled == {"ball2": "own"}
    pair = best_bags(Program(variants, values, np.ones(2), np.array([0, 0])), margin=0.0)
    assert [set(s.drilled) for s in pair] == [{"ball2"}, {"ball0", "ball1"}]


def three_balls(**limits) -> Program:
    variants = (Variant("a", "own", "as is", 15.0), Variant("b", "own", "as is", 16.0),
                Variant("c", "own", "as is", 14.0, new_drilling=True))
    return Program(variants, np.array([[200.0], [201.0], [202.0]]), np.ones(1), np.zeros(1),
                   Limits(**limits), required=frozenset("abc"))


@pytest.mark.parametrize("limits, guilty, needed", [
    ({"registered": 2}, ["registered", "required balls"], "registered 2 (at least 3 needed)"),
    ({"carried": 1, "registered": 8}, ["carried", "required balls"],
     "carried 1 (at least 3 needed)"),
    ({"bag_weight_lb": 44.0, "carried": 3}, ["bag_weight_lb", "required balls"],
     "bag weight 44 lb (at least 45 lb needed)"),
    ({"drilled": 0, "bag_weight_lb": 45}, ["drilled", "required balls"],
     "drilled 0 (at least 1 needed)"),
])
def test_limits_that_clash_are_named(limits, guilty, needed):
    p = three_balls(**limits)
    assert solve(p) is None
    assert conflicting_limits(p) == guilty
    assert needed in explain_infeasible(p)
    with pytest.raises(InputError, match="no bag keeps these limits together"):
        best_bags(p, margin=1.0)


def test_limits_that_can_be_met_name_nothing():
    p = three_balls(registered=3, carried=3, bag_weight_lb=45.0, drilled=1)
    assert conflicting_limits(p) == []
    assert solve(p) is not None


def test_finishes_may_change_between_phases_only_if_allowed():
    """One ball, two finishes, each better in one phase: worth 210 if it may change, else 205."""
    variants = tuple(Variant("a", "own", f, 15.0) for f in ("dull", "bright"))
    values = np.array([[210.0, 200.0], [200.0, 210.0]])
    p = Program(variants, values, np.ones(2), np.array([0, 1]))
    fixed, free = solve(p), solve(replace(p, change_finish=True))
    assert fixed is not None and fixed.value == pytest.approx(205.0)
    assert free is not None and free.value == pytest.approx(210.0)
    assert free.finish == {("a", 0): "dull", ("a", 1): "bright"}


def test_striking_off_a_ball_leaves_the_others():
    p = random_program(3, "mean", True)
    rest = without_ball(p, "ball2")
    assert "ball2" not in rest.balls and set(rest.balls) == set(p.balls) - {"ball2"}


@pytest.mark.parametrize("change, text", [
    ({"weights": np.array([1.0, -1.0, 1.0])}, "weights"),
    ({"weights": np.zeros(3)}, "not all 0"),
    ({"objective": "median"}, "accepted: mean, worst, cut"),
    ({"required": frozenset(["nobody"])}, "nobody"),
])
def test_bad_programs_are_refused(change, text):
    with pytest.raises(InputError, match=text):
        replace(random_program(1, "mean", False), **change)
