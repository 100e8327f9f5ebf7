"""The lane as the player alone leaves it from game to game, for a fit."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..equipment.ball import Ball
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..player import LEVELS, Player, Release, Spread
from .parameters import RELEASES
from .shot_model import ShotModel
from .shots_file import ShotLog


def films_by_game(
    log: ShotLog, balls: Mapping[str, Ball], patterns: Mapping[str, OilPattern], *,
    hand: str = "right", usual: Release | None = None, spread: Spread | None = None,
    lanes: int = 2, seed: int = 1, friction: FrictionModel = DEFAULT_FRICTION,
) -> dict[tuple[str, int], np.ndarray]:
    """Film of each (pattern, game) of the log when this player alone plays on, for `fit_shots`.

    Game 1 is on the pattern as laid; before game g the player has thrown g - 1 games with the ball
    and the mean release of the shots on that pattern (`transition.pattern_after`; nobody moves,
    `spread`: assumed, default level "200").

    The films are one draw of what such a player leaves, and the fit takes them as known: where
    shots are measured to 0.1 board, expect a warning of large residuals and too narrow intervals
    (benchmarks/FIT.md).
    """
    from ..studies.transition import Entrant, pattern_after

    usual = usual or Release(hand=hand)
    spread = spread or LEVELS["200"]
    out: dict[tuple[str, int], np.ndarray] = {}
    for name in sorted(set(log.pattern)):
        mine = log.take([i for i, p in enumerate(log.pattern) if p == name])
        ball = balls[max(sorted(set(mine.ball)), key=mine.ball.count)]
        # the model's own reading of the releases, straight lines where only an arrow was seen
        model = ShotModel(mine, balls, patterns, (), hand=hand, usual=usual, friction=friction,
                          spread=spread)
        middle = dict(zip(RELEASES, model.x_measured.mean(axis=0).tolist(), strict=True))
        player = Player("player", Release(**middle, hand=hand), spread)
        states = pattern_after([Entrant(ball, player)], patterns[name], max(mine.game) - 1,
                               seed=seed, lanes=lanes, friction=friction)
        for game in sorted(set(mine.game)):
            out[name, game] = states[game - 1].film_m(hand)
    return out
