"""What a plan says of its bag ball by ball and stage by stage."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np

from ..lane.geometry import BOARD_M
from ..lines.plane import board_at_arrows
from ..motion.trajectory import throw_many
from ..units import FOOT_M
from . import program as model
from . import questions as ask
from .answers import Advice, BallInBag, OldNew, Trial
from .conditions import Condition, Use
from .event import Event
from .pairs import Judged, Judging
from .wear import Planned, games_before, worn
from .work import Work

STRENGTH_FT = 57  # how far across a ball has come here says how strong it is
TRIALS = 3
# Pins per game that two balls' difference may be off for reasons beyond shots and tables: the lane
# and the covers are known only so well. ASSUMED, for the order of what to throw in practice.
DOUBT_PINS = 4.0


def strength_of(event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...]
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


def balls_of(
    work: Work, program: model.Program, samples: np.ndarray, best: model.Solution,
    conditions: tuple[Condition, ...], strength: np.ndarray,
) -> tuple[BallInBag, ...]:
    event, uses, out = work.event, work.uses, []
    for name, layout in best.drilled.items():
        candidate = next(c for c in event.candidates if c.name == name)
        mine = [i for i, u in enumerate(uses) if u.variant.drilling == (name, layout)]
        finishes = {p: f for (b, p), f in best.finish.items() if b == name}
        on = [i for i in mine if uses[i].variant.finish in finishes.values()]
        loss, low, high = ask.loss_without(program, samples, best, name) or (None, None, None)
        used = [c for c in range(len(conditions)) if uses[best.use[c]].variant.ball == name]
        out.append(BallInBag(
            name, candidate.ball.title, candidate.number, candidate.place, layout, finishes,
            uses[on[0]].variant.new_drilling, any(uses[i].variant.new_finish for i in on),
            candidate.required, float(np.mean(strength[on])),
            float(sum(conditions[c].games for c in used)),
            float(uses[on[0]].ball.cover.games_total) + event.finish_games, loss, low,
            high,
            ask.finish_gain(program, best, name),
        ))
    # weakest last; a ball for spares only has no place on the ladder
    return tuple(sorted(out, key=lambda b: (np.isnan(b.strength), -b.strength)))


def old_new_of(
    work: Work, conditions: tuple[Condition, ...], best: model.Solution,
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


def advice_of(
    event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...], judged: Judged,
    best: model.Solution,
) -> tuple[Advice, ...]:
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


def trials_of(work: Work, program: model.Program, judged: Judged,
            conditions: tuple[Condition, ...], best: model.Solution) -> tuple[Trial, ...]:
    out = []
    for trial in ask.trials(program, judged, work.uses, conditions, best, DOUBT_PINS)[:TRIALS]:
        c, v = trial[0], int(best.use[trial[0]])
        line = work.event.as_read(float(judged.laydown[v, c]), float(judged.angle_deg[v, c]))
        out.append(ask.told(trial, best, work.uses, (line[0], board_at_arrows(*line))))
    return tuple(out)


def cut_chance_of(event: Event, program: model.Program, judging: Judging, best: model.Solution
                ) -> float | None:
    """Chance that all games together reach the cut with the best bag."""
    if event.cut is None:
        return None
    sd = np.zeros(program.values.shape)
    for c, v in enumerate(best.use):
        sd[v, c] = judging.game_sd(int(v), c)
    return model.bag_value(replace(program, objective="cut", sd=sd, cut=event.cut), best.use)[0]


def paths_of(event: Event, judging: Judging, judged: Judged, conditions: tuple[Condition, ...],
           best: model.Solution) -> np.ndarray:
    """(c, 61) board at whole feet of the usual shot on the line of each condition."""
    out = np.full((len(conditions), 61), np.nan)
    for c, condition in enumerate(conditions):
        v = int(best.use[c])
        release = replace(event.player.release, laydown_board=float(judged.laydown[v, c]),
                          launch_angle_deg=float(judged.angle_deg[v, c]))
        table = throw_many(judging.balls[c][judging.place[v]], release.row()[None],
                           condition.pattern, hand=release.hand, friction=event.friction,
                           keep_paths=True)
        assert table.path_board is not None
        out[c] = table.path_board[0]
    return out
