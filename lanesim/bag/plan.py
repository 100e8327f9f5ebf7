"""Which balls to take: every candidate judged in every condition, then the best bag, proven.

1. The lanes: each round's pattern as the games wear it (`conditions`), by the balls and lines that
   the plan itself throws (`wear`): played, judged and planned anew until both agree.
2. Every ball x layout x finish on every such lane, as worn by the games before, each on its own
   best line (`pairs`), with common random numbers; pins per game from the carry and spare tables.
3. The best bag, exactly, and those nearly as good (`choice`).
4. The same choice on resampled shots and carry tables: how often is this still the best bag?
5. The questions (`questions`): what each ball is worth, if one cracks, old against new, ...

Stated assumptions: the other players on the lane are like this one; a stage is judged on the lane
at its middle and on the first lane of the pair; every ball has `finish_games` games of practice on
it before the first round; frames are independent. Not in any interval: the model's own error, and
what a thorough search for a line still misses (`search`). Balls are judged on lines of a quick
search first; then thorough searches are made until they have been made for all that the best bags
and the bags of the questions throw, and for all that any other bag would have to throw to be
better, were its quick lines up to HOPE pins a game too low (`_settle`).
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..defaults import SHOTS
from ..errors import InputError, check_range
from ..progress import Progress
from . import choice
from . import details as of
from . import program as model
from . import questions as ask
from .answers import BagPlan, Choice, Wear, ladder_gaps
from .cache import Cache
from .conditions import Condition, Use, event_conditions, event_uses
from .event import Event
from .pairs import Judged, Judging
from .spare_ball import spare_balls
from .wear import Planned, balls_worn, mixed
from .work import Work, unusable

__all__ = ["HOPE", "BagPlan", "event_conditions", "event_uses", "judge", "ladder_gaps", "plan"]

DEFAULT_SHOTS = SHOTS["bag"][0]
DEFAULT_RESAMPLES = 100
DEFAULT_MARGIN = 0.5  # pins per game within which bags count as nearly as good
MARGIN_CHANCE = 0.01  # the same for the chance of a cut
# Pins per game that a quick line is given the benefit of, see `_settle`. Of 128 quick lines on two
# fresh events (benchmarks/bag_plan.py --doubt, seeds 1 and 2) one in a hundred was 25 pins or more
# behind what a thorough search found, the worst 30.
HOPE = 35.0
MOST_THOROUGH = 2000  # pairs searched thoroughly at most
MOST_WEAR = 4  # times that an event is played to find its lanes
MOST_FULL = 2  # of those, with all shots and thorough lines
WEAR_SHOTS = 512  # shots that judge a line while the lanes are looked for,
WEAR_USES = 8  # and the best so many of each stage, after the first time
AT_ONCE = 12  # so many of the best quick lines of each stage are searched thoroughly together


def judge(
    event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...], *,
    shots: int, seed: int, resamples: int, cache: Cache, planned: Sequence[int] | None = None,
    progress: Progress | None = None,
) -> Judged:
    """Every use in every condition on the line of a quick search; see `pairs.Judged`."""
    judging = Judging(event, conditions, balls_worn(event, uses, conditions, planned),
                      shots=shots, seed=seed, resamples=resamples, cache=cache)
    judging.quick(progress)
    return judging.result()


def plan(
    event: Event, *, shots: int = DEFAULT_SHOTS, seed: int = 1,
    resamples: int = DEFAULT_RESAMPLES, margin: float | None = None, most: int = 8,
    cache: Cache | None = None, progress: Progress | None = None,
) -> BagPlan:
    """The best bag for an event.

    Parameters
    ----------
    shots : fresh shots that judge each ball in each condition.
    resamples : how often the choice is repeated on resampled shots and tables.
    margin : bags within it of the best are listed [pins per game; for "cut" a chance]; default
        DEFAULT_MARGIN or MARGIN_CHANCE. most : at most so many.
    cache : where shots are kept; None: nowhere.
    progress : called with (done, total) pairs judged.

    Raises
    ------
    InputError
        if no bag keeps the limits, naming them.
    """
    check_range("number of shots", shots, 64, 1_000_000)
    check_range("number of resamples", resamples, 10, 10_000)
    if margin is None:
        margin = MARGIN_CHANCE if event.maximise == "cut" else DEFAULT_MARGIN
    check_range("margin", margin, 0, 300)
    limits = model.Limits(event.registered, event.carried, event.bag_weight_lb, event.drilled,
                          event.cases)
    work = Work(event, event_uses(event), limits, int(shots), seed, int(resamples), float(margin),
                 most, cache or Cache(None), progress, {})
    # limits that cannot be met are told before any work
    choice.best_bags(model.Program(
        tuple(u.variant for u in work.uses), np.zeros((len(work.uses), 1)), np.ones(1),
        np.zeros(1), limits, work.required), margin=0.0, most=1)
    if all(u.spares_only for u in work.uses):
        raise InputError("every ball is for spares only; at least one must be for first balls")
    conditions, judging, planned, found, settled, wear = _agreed(work)
    return _answered(work, conditions, judging, planned, found, settled, wear)


# --- lanes and plan that agree ------------------------------------------------------------------


def _agreed(work: Work) -> tuple[Any, ...]:
    """(conditions, judging, planned, bags, settled, wear) of a plan and the lanes that it wears."""
    conditions, judging, planned, wear = _first_lanes(work)
    full = None
    for n in range(MOST_FULL):
        full = work.judging(conditions, None if planned is None else planned.use,
                            shots=work.shots, before=full or judging)
        start = time.perf_counter()
        work.spares = spare_balls(work.event, conditions, full, work.seed)
        work.took("ball for spares", start)
        found, settled = _settle(work, full, conditions)
        now = Planned.of(found[0].use, full)
        same = planned is not None and now.use == planned.use
        wear = replace(wear, agrees=same)
        if same or n == MOST_FULL - 1:
            break
        planned = now
        conditions = _lanes(work, planned)
        wear = replace(wear, rounds=wear.rounds + 1, mixed=False)
    return conditions, full, planned, found, settled, wear


def _lanes(work: Work, planned: Planned | None) -> tuple[Condition, ...]:
    start = time.perf_counter()
    out = event_conditions(work.event, seed=work.seed, cache=work.cache,
                           thrown=None if planned is None else planned.thrown)
    work.took("lanes", start)
    return out


def _first_lanes(work: Work) -> tuple[tuple[Condition, ...], Judging | None, Planned | None,
                                       Wear]:
    """Lanes that a plan of quick lines and few shots wears by itself: where the full work may
    start from. One play is enough where no game wears a lane before it is judged."""
    planned: Planned | None = None
    judging: Judging | None = None
    seen: list[tuple[Planned, tuple[Condition, ...]]] = []
    conditions = _lanes(work, None)
    fresh = all(c.pattern is work.event.rounds[c.round].pattern for c in conditions)
    if fresh:
        return conditions, None, None, Wear(1, False, False)
    only: set[int] | None = None
    for n in range(1, MOST_WEAR + 1):
        judging = work.judging(conditions, None if planned is None else planned.use, only=only,
                               shots=min(work.shots, WEAR_SHOTS), before=judging)
        only = only or _contenders(work, judging)
        start = time.perf_counter()
        best = choice.solve(work.program(work.judged(judging), conditions))
        work.took("integer program", start)
        assert best is not None  # the limits were looked at
        if any(int(v) not in judging.place for v in best.use):  # the limits leave others only
            only = set(range(len(work.uses)))
            continue
        now = Planned.of(best.use, judging)
        if planned is not None and now.use == planned.use:
            return conditions, judging, planned, Wear(n, True, False)
        again = [k for k, (one, _) in enumerate(seen) if one.use == now.use]
        if again:  # a circle: the mean of its lanes
            circle = [lanes for _, lanes in seen[again[0]:]]
            return mixed(circle), judging, now, Wear(n, False, True)
        conditions = _lanes(work, now)
        planned = now
        seen.append((now, conditions))
    return conditions, judging, planned, Wear(MOST_WEAR + 1, False, False)


def _contenders(work: Work, judging: Judging) -> set[int]:
    """Uses that a plan may throw while the lanes are looked for: the best few of each stage, and
    those of balls that must come."""
    pins = judging.result().pins
    top = np.argsort(-np.nan_to_num(pins, nan=-1.0), axis=0, kind="stable")[:WEAR_USES]
    return {int(v) for v in top.ravel() if np.isfinite(pins[v]).all()} | {
        v for v, u in enumerate(work.uses)
        if u.variant.ball in work.required and not u.spares_only}


# --- thorough lines wherever they could matter --------------------------------------------------


def _settle(work: Work, judging: Judging, conditions: tuple[Condition, ...]
            ) -> tuple[list[model.Solution], bool]:
    """The best bags, after thorough searches wherever they could matter; and whether that is so.

    Quick lines leave pins behind. So every program is also solved with each quick line worth `HOPE`
    pins more. What that bag throws is searched thoroughly, and so on until the hopeful programs'
    bags and all listed bags throw thorough lines only: then no other bag is better, even if each
    of its quick lines were that much too low. The same for the bags behind the questions. False if
    MOST_THOROUGH pairs did not suffice.
    """
    while True:
        judged = work.judged(judging)
        program = work.program(judged, conditions)
        # none for a ball that is never thrown at a full rack: it has no line to search
        hope = np.where(judged.thorough | np.isnan(judged.pins), 0.0, HOPE)
        start = time.perf_counter()
        hoped = choice.solve(replace(program, values=program.values + hope))
        assert hoped is not None  # the limits do not depend on the values
        wanted = _quick_pairs(hoped.use, judged)
        found = None
        if not wanted:
            found = choice.best_bags(program, margin=work.margin, most=work.most)
            wanted = {pair for s in found for pair in _quick_pairs(s.use, judged)}
        if found is not None and not wanted:
            wanted = _wanted_by_questions(program, hope, judged, found[0])
        work.took("integer program", start)
        if found is not None and not wanted:
            return found, True
        if judged.thorough.sum() + len(wanted) > MOST_THOROUGH:
            return choice.best_bags(program, margin=work.margin, most=work.most), False
        # the best of the quick ones would be asked for soon: together they are cheaper
        quick = np.where(judged.thorough | np.isnan(judged.pins), -np.inf, judged.pins)
        reach = np.nanmax(judged.pins, axis=0) - HOPE
        for c in range(quick.shape[1]):
            for v in np.argsort(-quick[:, c], kind="stable")[:AT_ONCE]:
                if quick[v, c] > reach[c]:
                    wanted.add((int(v), c))
        judging.deepen(wanted)


def _wanted_by_questions(program: model.Program, hope: np.ndarray, judged: Judged,
                         best: model.Solution) -> set[tuple[int, int]]:
    """Quick pairs that the bags behind the questions throw, or would with quick lines better."""
    wanted: set[tuple[int, int]] = set()
    for other in ask.other_programs(program, best):
        kept = set(other.program.variants)
        rows = np.array([i for i, v in enumerate(program.variants) if v in kept])
        for more in (hope[rows], 0.0):
            found = choice.solve(replace(other.program, values=other.program.values + more))
            if found is not None:
                wanted |= _quick_pairs(rows[found.use], judged)
    return wanted


def _quick_pairs(use: np.ndarray, judged: Judged) -> set[tuple[int, int]]:
    return {(int(v), c) for c, v in enumerate(use)
            if not judged.thorough[v, c] and np.isfinite(judged.pins[v, c])}


# --- the answers --------------------------------------------------------------------------------


def _answered(
    work: Work, conditions: tuple[Condition, ...], judging: Judging, planned: Planned | None,
    found: list[model.Solution], settled: bool, wear: Wear,
) -> BagPlan:
    event, uses, best = work.event, work.uses, found[0]
    judged = work.judged(judging)
    program = work.program(judged, conditions)
    samples = unusable(judged.samples)
    strength = of.strength_of(event, uses, conditions)
    start = time.perf_counter()
    comparisons = ask.comparisons(program, samples, best)
    cracks = ask.cracks(program, samples, best)
    balls = of.balls_of(work, program, samples, best, conditions, strength)
    work.took("questions", start)
    old_new = of.old_new_of(work, conditions, best, planned, judging)
    start = time.perf_counter()
    won, others, behind = ask.resampled(program, samples, found)
    work.took("resampled choices", start)
    full, choices = ask.worth(program, samples, best), []
    for solution, wins in zip(found, won, strict=True):
        gap = full - ask.worth(program, samples, solution)
        choices.append(Choice(solution, ask.exact(best.value - solution.value), *ask.interval(gap),
                              ask.exact(best.net - solution.net), wins))
    advice = of.advice_of(event, uses, conditions, judged, best)
    return BagPlan(
        event, conditions, uses, judged, event.maximise, best, balls, advice, tuple(choices),
        others, int(np.sum(behind <= work.margin)), comparisons, cracks, old_new,
        of.trials_of(work, program, judged, conditions, best),
        of.cut_chance_of(event, program, judging, best), wear, strength,
        of.paths_of(event, judging, judged, conditions, best),
        work.spares, work.shots, work.seed, work.resamples, work.margin, program.least_gain, HOPE,
        work.cache.damaged, settled, work.seconds,
    )
