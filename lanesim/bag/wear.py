"""Oil and covers as the plan itself leaves them.

A lane wears by the balls and lines that the plan throws, a cover by the games that the plan gives
it; both change what is best. So the event is played with a plan, judged, planned anew, and so on
until the balls thrown are those that wore the lanes. Plans that lead to one another in a circle
are damped: the mean of their lanes is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..equipment.ball import Ball
from ..equipment.cover import parse_finish
from .cache import key_of
from .conditions import Condition, Thrown, Use
from .event import Event
from .pairs import Judging


@dataclass(frozen=True)
class Planned:
    """What is thrown: the use in each condition, and the ball and line there."""

    use: tuple[int, ...]
    thrown: tuple[Thrown, ...]

    @classmethod
    def of(cls, use: np.ndarray, judging: Judging) -> Planned:
        """A choice of uses on the lines that were found."""
        thrown = []
        for c, v in enumerate(use):
            at = judging.place[int(v)]
            laydown, angle = judging.lines[c, at, :2]
            thrown.append(Thrown.told(judging.balls[c][at], float(laydown), float(angle)))
        return cls(tuple(int(v) for v in use), tuple(thrown))


def games_before(
    uses: Sequence[Use], conditions: Sequence[Condition], planned: Sequence[int] | None, v: int,
    c: int,
) -> tuple[float, float]:
    """Games of the plan on a ball's cover at the middle of a stage: (before this round, in it).

    A ball of the plan has the games that the plan gives it, another one those of the ball that it
    would stand in for here, so that both are as worn.
    """
    here = conditions[c]
    middle = here.games / 2.0
    if planned is None:
        return 0.0, middle
    mine = uses[v].candidate
    thrown = [uses[w].candidate for w in planned]
    counted = mine if mine in thrown else thrown[c]
    before = sum(k.games for k, n in zip(conditions, thrown, strict=True)
                 if k.round < here.round and n == counted)
    inside = sum(k.games for k, n in zip(conditions[:c], thrown[:c], strict=True)
                 if k.round == here.round and n == counted)
    return float(before), inside + middle


def balls_worn(
    event: Event, uses: Sequence[Use], conditions: Sequence[Condition],
    planned: Sequence[int] | None,
) -> list[list[Ball | None]]:
    """[condition][use] the ball as it then is; None for a ball that is for spares only."""
    return [[None if use.spares_only else
             worn(event, use, *games_before(uses, conditions, planned, v, c))
             for v, use in enumerate(uses)] for c in range(len(conditions))]


def worn(event: Event, use: Use, before: float, inside: float) -> Ball:
    """A ball after practice, games in earlier rounds, and games in this one.

    Where finishes may change between rounds, a finish that is put on is put on before each round.
    """
    practice = event.finish_games
    if use.variant.new_finish and event.finish_changes == "between":
        cover = event.candidates[use.candidate].ball.cover.played(practice + before)
        cover = cover.refreshed(*parse_finish(use.variant.finish)).played(inside)
    else:
        cover = use.ball.cover.played(practice + before + inside)
    return replace(use.ball, cover=cover)


def mixed(several: Sequence[tuple[Condition, ...]]) -> tuple[Condition, ...]:
    """Conditions whose lanes are the mean of several."""
    out = []
    for same in zip(*several, strict=True):
        volume = np.mean([c.pattern.volume_ul for c in same], axis=0)
        out.append(replace(same[0], pattern=same[0].pattern.with_volume(volume),
                           lane=key_of((), "mean of", [c.lane for c in same])))
    return tuple(out)
