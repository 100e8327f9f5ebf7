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
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..errors import InputError, check_range
from ..lane.geometry import BOARD_M
from ..lines.plane import board_at_arrows
from ..motion.trajectory import throw_many
from ..progress import Progress
from ..units import FOOT_M
from . import choice
from . import program as model
from . import questions as ask
from .answers import Advice, BagPlan, BallInBag, Choice, OldNew, Trial, Wear, ladder_gaps
from .cache import Cache
from .conditions import Condition, Use, event_conditions, event_uses
from .event import Event
from .pairs import Judged, Judging
from .spare_ball import SpareBall, spare_balls
from .wear import Planned, balls_worn, games_before, mixed, worn

__all__ = ["HOPE", "BagPlan", "event_conditions", "event_uses", "judge", "ladder_gaps", "plan"]

DEFAULT_SHOTS = 2000
DEFAULT_RESAMPLES = 100
DEFAULT_MARGIN = 0.5  # pins per game within which bags count as nearly as good
MARGIN_CHANCE = 0.01  # the same for the chance of a cut
STRENGTH_FT = 57  # how far across a ball has come here says how strong it is
# Pins per game that a quick line is given the benefit of, see `_settle`: 99 of 100 quick lines are
# no farther behind what a thorough search finds (benchmarks/bag_plan.py measures it).
HOPE = 12.0
MOST_THOROUGH = 2000  # pairs searched thoroughly at most
MOST_WEAR = 4  # times that an event is played to find its lanes
MOST_FULL = 2  # of those, with all shots and thorough lines
WEAR_SHOTS = 512  # shots that judge a line while the lanes are looked for
TRIALS = 3
# Pins per game that two balls' difference may be off for reasons beyond shots and tables: the lane
# and the covers are known only so well. ASSUMED, for the order of what to throw in practice.
DOUBT_PINS = 4.0


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


@dataclass
class _Work:
    """One plan in the making."""

    event: Event
    uses: tuple[Use, ...]
    limits: model.Limits
    shots: int
    seed: int
    resamples: int
    margin: float
    most: int
    cache: Cache
    progress: Progress | None
    seconds: dict[str, float]

    spares: tuple[SpareBall, ...] = ()

    def __post_init__(self) -> None:
        self.required = frozenset(c.name for c in self.event.candidates if c.required)

    def took(self, what: str, start: float) -> None:
        """Add the time since `start` to what took it."""
        self.seconds[what] = self.seconds.get(what, 0.0) + time.perf_counter() - start

    def judging(self, conditions: tuple[Condition, ...], planned: Sequence[int] | None, *,
                shots: int, before: Judging | None) -> Judging:
        """All pairs on quick lines."""
        found = Judging(
            self.event, conditions, balls_worn(self.event, self.uses, conditions, planned),
            shots=shots, seed=self.seed, resamples=self.resamples, cache=self.cache,
            seconds=self.seconds, before=before)
        found.quick(self.progress)
        return found

    def judged(self, judging: Judging) -> Judged:
        """What is known now, with what the aim needs."""
        return judging.result(with_sd=self.event.maximise == "cut")

    def program(self, judged: Judged, conditions: tuple[Condition, ...]) -> model.Program:
        """The choice in numbers."""
        event = self.event
        games = np.array([float(c.games) for c in conditions])
        program = model.Program(
            tuple(u.variant for u in self.uses), _unusable(judged.pins),
            np.array([c.weight for c in conditions]), np.array([c.round for c in conditions]),
            self.limits, self.required, change_finish=event.finish_changes == "between",
            objective=event.maximise, sd=np.nan_to_num(judged.sd), games=games, cut=event.cut,
            least_gain=event.least_gain, spare_worth={s.ball: s.worth for s in self.spares},
        )
        if event.maximise != "cut":
            return program
        # so many pins per game are worth at most this much of a chance (a normal total)
        spread = float(np.sqrt((games * np.nanmean(judged.sd, axis=0) ** 2).sum()))
        per_pin = games.sum() / max(spread, 1e-9) / np.sqrt(2.0 * np.pi)
        return replace(program, least_gain=float(min(event.least_gain * per_pin, 1.0)))


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
    work = _Work(event, event_uses(event), limits, int(shots), seed, int(resamples), float(margin),
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


def _agreed(work: _Work) -> tuple[Any, ...]:
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
        same = planned is not None and _same_balls(work, now, planned)
        wear = replace(wear, agrees=same)
        if same or n == MOST_FULL - 1:
            break
        planned = now
        conditions = _lanes(work, planned)
        wear = replace(wear, rounds=wear.rounds + 1, mixed=False)
    return conditions, full, planned, found, settled, wear


def _same_balls(work: _Work, one: Planned, other: Planned) -> bool:
    """Whether two plans throw the same balls, drilled and finished alike, in every stage."""
    return one.use == other.use


def _lanes(work: _Work, planned: Planned | None) -> tuple[Condition, ...]:
    start = time.perf_counter()
    out = event_conditions(work.event, seed=work.seed, cache=work.cache,
                           thrown=None if planned is None else planned.thrown)
    work.took("lanes", start)
    return out


def _first_lanes(work: _Work) -> tuple[tuple[Condition, ...], Judging | None, Planned | None,
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
    for n in range(1, MOST_WEAR + 1):
        judging = work.judging(conditions, None if planned is None else planned.use,
                               shots=min(work.shots, WEAR_SHOTS), before=judging)
        start = time.perf_counter()
        best = choice.solve(work.program(work.judged(judging), conditions))
        work.took("integer program", start)
        assert best is not None  # the limits were looked at
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


# --- thorough lines wherever they could matter --------------------------------------------------


def _settle(work: _Work, judging: Judging, conditions: tuple[Condition, ...]
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


def _unusable(values: np.ndarray) -> np.ndarray:
    """Values with NaN rows (balls for spares only) far below every other ball's."""
    low = np.nanmin(values) - 100.0
    return np.where(np.isnan(values), low, values)


# --- the answers --------------------------------------------------------------------------------


def _answered(
    work: _Work, conditions: tuple[Condition, ...], judging: Judging, planned: Planned | None,
    found: list[model.Solution], settled: bool, wear: Wear,
) -> BagPlan:
    event, uses, best = work.event, work.uses, found[0]
    judged = work.judged(judging)
    program = work.program(judged, conditions)
    samples = _unusable(judged.samples)
    strength = _strength(event, uses, conditions)
    start = time.perf_counter()
    comparisons = ask.comparisons(program, samples, best)
    cracks = ask.cracks(program, samples, best)
    balls = _balls(work, program, samples, best, conditions, strength)
    work.took("questions", start)
    old_new = _old_new(work, conditions, best, planned, judging)
    start = time.perf_counter()
    won, others, behind = ask.resampled(program, samples, found)
    work.took("resampled choices", start)
    full, choices = ask.worth(program, samples, best), []
    for solution, wins in zip(found, won, strict=True):
        gap = full - ask.worth(program, samples, solution)
        choices.append(Choice(solution, ask.exact(best.value - solution.value), *ask.interval(gap),
                              ask.exact(best.net - solution.net), wins))
    advice = _advice(event, uses, conditions, judged, best)
    return BagPlan(
        event, conditions, uses, judged, event.maximise, best, balls, advice, tuple(choices),
        others, int(np.sum(behind <= work.margin)), comparisons, cracks, old_new,
        _trials(work, program, judged, conditions, best),
        _cut_chance(event, program, judging, best), wear, strength,
        _paths(event, judging, judged, conditions, best),
        work.spares, work.shots, work.seed, work.resamples, work.margin, program.least_gain, HOPE,
        work.cache.damaged, settled, work.seconds,
    )


def _strength(event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...]
              ) -> np.ndarray:
    """(v,) boards that a usual shot on the player's own line has hooked at STRENGTH_FT, mean over
    the first stage of each round; NaN for balls for spares only."""
    release = event.player.release
    fresh = [c for c in conditions if c.first_game == 0]
    thrown = [v for v, u in enumerate(uses) if not u.spares_only]
    rows = np.tile(release.row(), (len(thrown), 1))
    straight = release.laydown_board + np.tan(np.radians(release.launch_angle_deg)) * (
        STRENGTH_FT * FOOT_M) / BOARD_M
    out = np.full(len(uses), np.nan)
    total = np.zeros(len(thrown))
    for condition in fresh:
        table = throw_many([worn(event, uses[v], 0.0, 0.0) for v in thrown], rows,
                           condition.pattern, hand=release.hand, which=np.arange(len(thrown)),
                           friction=event.friction, keep_paths=True)
        assert table.path_board is not None
        # a ball that has left the lane counts as far as it came
        path = table.path_board[:, : STRENGTH_FT + 1]
        last = np.array([row[np.flatnonzero(np.isfinite(row))[-1]] for row in path])
        total += last - straight
    out[thrown] = total / len(fresh)
    return out


def _balls(
    work: _Work, program: model.Program, samples: np.ndarray, best: model.Solution,
    conditions: tuple[Condition, ...], strength: np.ndarray,
) -> tuple[BallInBag, ...]:
    event, uses, out = work.event, work.uses, []
    for name, layout in best.drilled.items():
        candidate = next(c for c in event.candidates if c.name == name)
        mine = [i for i, u in enumerate(uses) if u.variant.drilling == (name, layout)]
        finishes = {p: f for (b, p), f in best.finish.items() if b == name}
        on = [i for i in mine if uses[i].variant.finish in finishes.values()]
        loss = ask.loss_without(program, samples, best, name) or (None, None, None)
        used = [c for c in range(len(conditions)) if uses[best.use[c]].variant.ball == name]
        out.append(BallInBag(
            name, candidate.ball.title, candidate.number, candidate.place, layout, finishes,
            uses[on[0]].variant.new_drilling, any(uses[i].variant.new_finish for i in on),
            candidate.required, float(np.mean(strength[on])),
            float(sum(conditions[c].games for c in used)),
            float(uses[on[0]].ball.cover.games_total) + event.finish_games, *loss,
            ask.finish_gain(program, best, name),
        ))
    # weakest last; a ball for spares only has no place on the ladder
    return tuple(sorted(out, key=lambda b: (np.isnan(b.strength), -b.strength)))


def _old_new(
    work: _Work, conditions: tuple[Condition, ...], best: model.Solution,
    planned: Planned | None, judging: Judging,
) -> tuple[OldNew, ...]:
    """Every ball that could be drilled anew, as it is, against the same one bought new."""
    event, uses, start = work.event, work.uses, time.perf_counter()
    asked = [c for c in event.candidates if c.place == "home" and not c.spares_only
             and any(fresh for _, fresh in c.layouts)]
    out = []
    for candidate in asked:
        v = next(i for i, u in enumerate(uses) if u.variant.ball == candidate.name
                 and not u.variant.new_drilling and not u.variant.new_finish)
        old = uses[v]
        new = replace(old, ball=replace(old.ball, cover=old.ball.cover.as_new()))
        ages = [games_before(uses, conditions, None if planned is None else planned.use, v, c)
                for c in range(len(conditions))]
        pair = Judging(event, conditions, [[worn(event, old, *a), worn(event, new, *a)]
                                           for a in ages],
                       shots=work.shots, seed=work.seed, resamples=work.resamples,
                       cache=work.cache, seconds={})
        pair.quick()
        pair.deepen({(k, c) for k in (0, 1) for c in range(len(conditions))})
        judging.thrown += pair.thrown
        judging.kept += pair.kept
        found = pair.result()
        weights = np.array([c.weight for c in conditions])
        pins, strike = found.pins[1] - found.pins[0], found.strike[1] - found.strike[0]
        drawn = found.samples[:, 1] - found.samples[:, 0]
        out.append(OldNew(
            candidate.name, float(old.ball.cover.games_total),
            ask.round_gains(conditions, strike, pins, found.strikes[:, 1] - found.strikes[:, 0]),
            float(weights @ pins), *ask.interval(drawn @ weights),
            int(np.sum(drawn @ weights > 0.0))))
    work.took("old against new", start)
    return tuple(out)


def _advice(event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...], judged: Judged,
            best: model.Solution) -> tuple[Advice, ...]:
    out: list[Advice] = []
    for c, condition in enumerate(conditions):
        v = int(best.use[c])
        before = out[-1] if out and conditions[c - 1].round == condition.round else None
        top = int(np.nanargmax(judged.pins[:, c]))
        true = float(judged.laydown[v, c]), float(judged.angle_deg[v, c])
        line = event.as_read(*true)
        out.append(Advice(
            c, v, uses[v].variant.ball, uses[v].variant.finish, line[0], board_at_arrows(*line),
            line[1], float(judged.pins[v, c]), float(judged.low[v, c]), float(judged.high[v, c]),
            float(judged.strike[v, c]), float(judged.pocket[v, c]),
            before is not None and before.ball != uses[v].variant.ball,
            bool(judged.thorough[v, c]), float(judged.pins[top, c] - judged.pins[v, c]),
            f"{uses[top].variant.ball}, {uses[top].variant.finish}", *true,
        ))
    return tuple(out)


def _trials(work: _Work, program: model.Program, judged: Judged,
            conditions: tuple[Condition, ...], best: model.Solution) -> tuple[Trial, ...]:
    out = []
    for trial in ask.trials(program, judged, work.uses, conditions, best, DOUBT_PINS)[:TRIALS]:
        c, v = trial[0], int(best.use[trial[0]])
        line = work.event.as_read(float(judged.laydown[v, c]), float(judged.angle_deg[v, c]))
        out.append(ask.told(trial, best, work.uses, (line[0], board_at_arrows(*line))))
    return tuple(out)


def _cut_chance(event: Event, program: model.Program, judging: Judging, best: model.Solution
                ) -> float | None:
    """Chance that all games together reach the cut with the best bag."""
    if event.cut is None:
        return None
    sd = np.zeros(program.values.shape)
    for c, v in enumerate(best.use):
        sd[v, c] = judging.game_sd(int(v), c)
    return model.bag_value(replace(program, objective="cut", sd=sd, cut=event.cut), best.use)[0]


def _paths(event: Event, judging: Judging, judged: Judged, conditions: tuple[Condition, ...],
           best: model.Solution) -> np.ndarray:
    """(c, 61) board at whole feet of the usual shot on the line of each condition."""
    out = np.full((len(conditions), 61), np.nan)
    place = np.cumsum(judging.here) - 1
    for c, condition in enumerate(conditions):
        v = int(best.use[c])
        release = replace(event.player.release, laydown_board=float(judged.laydown[v, c]),
                          launch_angle_deg=float(judged.angle_deg[v, c]))
        table = throw_many(judging.balls[c][int(place[v])], release.row()[None],
                           condition.pattern, hand=release.hand, friction=event.friction,
                           keep_paths=True)
        assert table.path_board is not None
        out[c] = table.path_board[0]
    return out


