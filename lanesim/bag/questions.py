"""Questions about a bag, each answered by another bag or by another ball, with its interval.

The other bags are programs of their own (`other_programs`); the plan searches their lines
thoroughly too before anything is said of them. Intervals come from the resamples, the same for
both sides, with both bags kept.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from . import choice
from . import program as model
from .answers import Comparison, Crack, RoundGain, Trial
from .conditions import Condition, Use
from .pairs import INTERVAL, Judged
from .program import Program, Solution


@dataclass(frozen=True)
class Other:
    """Another bag that is asked about: kind 'without', 'cracked', 'one more', 'undrilled' or
    'drilled', and the ball in question."""

    kind: str
    ball: str
    program: Program


def other_programs(program: Program, best: Solution) -> list[Other]:
    """The programs behind the questions about the best bag."""
    out = []
    for name in best.drilled:
        if len(best.drilled) > 1:
            out.append(Other("without", name, _bag_less(program, best, name)))
        if len(program.balls) > 1:
            out.append(Other("cracked", name, model.without_ball(program, name)))
    out.append(Other("one more", "", replace(program, limits=_wider(program))))
    fresh = [b for b, d in best.drilled.items() if program.first_of((b, d)).new_drilling]
    if fresh:
        out.append(Other("undrilled", " and ".join(fresh),
                         replace(program, limits=replace(program.limits, drilled=0))))
    else:
        for ball in dict.fromkeys(v.ball for v in program.variants if v.new_drilling):
            keep = [i for i, v in enumerate(program.variants)
                    if v.ball != ball or v.new_drilling]
            out.append(Other("drilled", ball,
                             model.only_rows(program, keep, program.required | {ball})))
    return out


def _bag_less(program: Program, best: Solution, ball: str) -> Program:
    """The rest of the bag alone, free to be finished otherwise."""
    rest = model.only_drillings(program, {b: d for b, d in best.drilled.items() if b != ball})
    return replace(rest, limits=model.Limits(), required=frozenset(rest.balls))


def _wider(program: Program) -> model.Limits:
    limits = program.limits
    heaviest = max((v.weight_lb for v in program.variants), default=0.0)

    def plus(value, more):
        return None if value is None else value + more

    return replace(limits, registered=plus(limits.registered, 1), carried=plus(limits.carried, 1),
                   bag_weight_lb=plus(limits.bag_weight_lb, heaviest),
                   cases=(*limits.cases, model.Case(1)) if limits.cases else ())


# --- gains over the resamples -------------------------------------------------------------------


def worth(program: Program, samples: np.ndarray, solution: Solution) -> np.ndarray:
    """(resamples,) aim of a bag with its finishes kept; in each the best ball is used."""
    there = model.available(program, solution.drilled, solution.finish)
    out = np.empty(len(samples))
    for n, values in enumerate(samples):
        here = replace(program, values=values)
        out[n] = model.bag_value(here, model.best_use(here, there))[0]
    return out - model.spare_loss(program, solution.drilled)


def interval(values: np.ndarray) -> tuple[float, float]:
    """Ends of the 95 % interval of resamples."""
    low, high = np.percentile(values, INTERVAL)
    return float(low), float(high)


def exact(gap: float) -> float:
    """A difference; next to nothing is nothing."""
    return 0.0 if abs(gap) < 1e-6 else float(gap)


def _within(program: Program, part: Program) -> list[int]:
    """Rows of a program's variants that are in a part of it."""
    kept = set(part.variants)
    return [i for i, v in enumerate(program.variants) if v in kept]


def loss_without(
    program: Program, samples: np.ndarray, best: Solution, name: str
) -> tuple[float, float, float] | None:
    """(loss, low, high) of the aim if a ball of the bag were left at home; None for the only."""
    if len(best.drilled) < 2:
        return None
    rest = _bag_less(program, best, name)
    without = choice.solve(rest)
    assert without is not None  # no limits are left
    gap = worth(program, samples, best) - worth(rest, samples[:, _within(program, rest)], without)
    return exact(best.value - without.value), *interval(gap)


def cracks(program: Program, samples: np.ndarray, best: Solution) -> tuple[Crack, ...]:
    """The next best bag for each ball that might not come."""
    full, out = worth(program, samples, best), []
    for other in other_programs(program, best):
        if other.kind != "cracked":
            continue
        found = choice.solve(other.program)
        if found is None:
            out.append(Crack(other.ball, None, (), math.nan, math.nan, math.nan))
            continue
        gap = full - worth(other.program, samples[:, _within(program, other.program)], found)
        new = tuple(f"{b} ({d})" for b, d in found.drilled.items() if best.drilled.get(b) != d)
        out.append(Crack(other.ball, found.drilled, new, exact(best.value - found.value),
                         *interval(gap)))
    return tuple(out)


def comparisons(program: Program, samples: np.ndarray, best: Solution) -> tuple[Comparison, ...]:
    """What the next ball would bring, and whether drilling pays."""
    full, out = worth(program, samples, best), []
    drilled: list[Comparison] = []
    for other in other_programs(program, best):
        if other.kind in ("without", "cracked"):
            continue
        found = choice.solve(other.program)
        sign = -1.0 if other.kind == "undrilled" else 1.0
        if found is None:
            if other.kind == "undrilled":
                out.append(Comparison("drilling", math.nan, math.nan, math.nan,
                                      "no bag keeps the limits without a new drilling"))
            continue
        rows = _within(program, other.program)
        gap = sign * (worth(other.program, samples[:, rows], found) - full)
        gain = exact(sign * (found.value - best.value))
        if other.kind == "one more":
            out.append(Comparison("one more ball", gain, *interval(gap), _more(best, found)))
        elif other.kind == "undrilled":
            out.append(Comparison(
                f"drilling {other.ball}", gain, *interval(gap),
                "against the best bag of balls as drilled: " + ", ".join(found.drilled)))
        else:
            drilled.append(Comparison(
                f"drilling {other.ball}", gain, *interval(gap),
                "the best bag that has a new drilling, against the best bag: "
                + ", ".join(found.drilled)))
    if drilled:
        out.append(max(drilled, key=lambda q: q.gain))
    return tuple(out)


def _more(best: Solution, found: Solution) -> str:
    new = sorted(set(found.drilled.items()) - set(best.drilled.items()))
    gone = sorted(set(best.drilled) - set(found.drilled))
    text = ", ".join(f"{b} ({d})" for b, d in new) or "no further ball is used"
    return text + (f"; {', '.join(gone)} would stay at home" if gone else "")


def finish_gain(program: Program, best: Solution, name: str) -> float | None:
    """What a ball's new finish is worth against the one it has; None if it keeps that."""
    mine = {k: f for k, f in best.finish.items() if k[0] == name}
    made = {v.finish for v in program.variants
            if v.drilling == (name, best.drilled[name]) and v.new_finish}
    kept = [v.finish for v in program.variants
            if v.drilling == (name, best.drilled[name]) and not v.new_finish]
    if not kept or not made & set(mine.values()):
        return None
    before = {k: (kept[0] if k[0] == name else f) for k, f in best.finish.items()}
    there = model.available(program, best.drilled, before)
    kept_value = model.bag_value(program, model.best_use(program, there))[0]
    return exact(best.value + model.spare_loss(program, best.drilled) - kept_value)


# --- how sure -----------------------------------------------------------------------------------


def resampled(program: Program, samples: np.ndarray, found: Sequence[Solution]
              ) -> tuple[list[int], int, np.ndarray]:
    """Resamples won by each listed bag, by all others together, and how far the best bag is behind
    each resample's best (resamples,), net of what actions must bring."""
    wins = [0] * len(found)
    others = 0
    behind = np.zeros(len(samples))
    keys = [s.key for s in found]
    mine = model.only_drillings(program, found[0].drilled)
    mine = replace(mine, limits=model.Limits())
    rows = _within(program, mine)
    for m, values in enumerate(samples):
        top = choice.solve(replace(program, values=values))
        assert top is not None  # the limits do not depend on the values
        if top.key in keys:
            wins[keys.index(top.key)] += 1
        else:
            others += 1
        if top.key != keys[0]:
            kept = choice.solve(replace(mine, values=values[rows],
                                        required=frozenset(found[0].drilled) & program.required))
            assert kept is not None
            behind[m] = max(top.net - kept.net, 0.0)
    return wins, others, behind


# --- old against new, and what to throw first ---------------------------------------------------


def round_gains(
    conditions: Sequence[Condition], strikes: np.ndarray, pins: np.ndarray,
    strike_samples: np.ndarray,
) -> tuple[RoundGain, ...]:
    """Gains by round of differences (c,) and (resamples, c), weighted by games."""
    out = []
    for n in dict.fromkeys(c.round for c in conditions):
        at = [i for i, c in enumerate(conditions) if c.round == n]
        share = np.array([float(conditions[i].games) for i in at])
        share /= share.sum()
        low, high = interval(100.0 * strike_samples[:, at] @ share)
        out.append(RoundGain(conditions[at[0]].name, 100.0 * float(strikes[at] @ share), low, high,
                             float(pins[at] @ share)))
    return tuple(out)


def trials(
    program: Program, judged: Judged, uses: Sequence[Use], conditions: Sequence[Condition],
    best: Solution, doubt_pins: float,
) -> list[tuple[int, int, float, float]]:
    """(condition, other use, gap, worth) of the shots to throw first, the most telling first.

    For the first stage of each round: the ball of the plan against each other ball of the bag.
    Their difference is known to a normal error of `doubt_pins` (stated by the caller) and the
    resamples' own. What knowing it would be worth is s E[(Z - gap/s)+] a game (the unit normal
    loss, a textbook formula), over the games of the round.
    """
    there = model.available(program, best.drilled, best.finish)
    out = []
    for c, condition in enumerate(conditions):
        if condition.first_game:
            continue
        games = sum(k.games for k in conditions if k.round == condition.round)
        v = int(best.use[c])
        for w in map(int, np.flatnonzero(there[:, c])):
            if uses[w].variant.ball == uses[v].variant.ball or uses[w].spares_only:
                continue
            gap = float(judged.pins[v, c] - judged.pins[w, c])
            drawn = judged.samples[:, v, c] - judged.samples[:, w, c]
            s = math.hypot(float(drawn.std()), doubt_pins)
            z = gap / s
            unit = NormalDist()
            loss = unit.pdf(z) - z * (1.0 - unit.cdf(z))
            out.append((c, int(w), gap, s * loss * games))
    return sorted(out, key=lambda t: -t[3])


def told(trial: tuple[int, int, float, float], best: Solution, uses: Sequence[Use],
         line: tuple[float, float]) -> Trial:
    """A trial in words' parts. line : laydown and arrow board as the player reads them."""
    c, w, gap, value = trial
    return Trial(c, uses[int(best.use[c])].variant.ball, *line, uses[w].variant.ball, gap, value)
