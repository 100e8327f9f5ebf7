"""What a ball for spares is worth: corner pins hit with it, and with a ball that hooks.

The hard single pin for a player is the corner on the side of the ball arm, shot across the lane.
Each ball is sent there with the player's own release and spread on the fresh oil of each round; the
share of shots that arrive within `HALF_BOARDS` of it is told as the spread that a straight ball
would need for the same. With that spread the table of simulated spares gives the spares made, and
the game's score what they are worth (rates published of professionals play no part here: they hold
for one way to shoot spares). A spare ball is set against the best other candidate of the event, so
that its worth is rather too low than too high.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from ..equipment.ball import Ball
from ..lane.geometry import BOARD_M
from ..motion.trajectory import throw_many
from ..pins.outcomes import pins_from_shots
from ..pins.spares import default_spares
from ..pins.table import CENTRE_BOARD
from ..player import normal_deviates
from ..streams import Stage
from ..units import INCH_M
from .conditions import Condition, event_uses
from .event import Event
from .pairs import Judging
from .wear import worn

CORNER_IN = 18.0  # of the corner pins from the middle of the lane (R, the rules' pin deck)
HALF_BOARDS = 4.0  # ASSUMED: nearer than this takes the pin; ball and pin touch within six boards
LAYDOWN_BOARD = 30.0  # ASSUMED: from the far side, as one shoots it
ANGLES_DEG = np.arange(-8.0, 0.01, 0.25)
SHOTS = 256
SCORED_SHOTS = 512


@dataclass(frozen=True)
class SpareBall:
    """A ball for spares against the best other ball.

    worth : pins per game over the event. made, otherwise : share of corner pins hit within
    HALF_BOARDS with it and with `instead`, the best other ball at that; means of the rounds.
    """

    ball: str
    worth: float
    made: float
    instead: str
    otherwise: float


def corner_shares(event: Event, condition: Condition, balls: Sequence[Ball], seed: int
                  ) -> np.ndarray:
    """(b,) share of the shots at the corner pin that come near enough, at the best angle."""
    release = replace(event.player.release, laydown_board=LAYDOWN_BOARD)
    target = CENTRE_BOARD - CORNER_IN * INCH_M / BOARD_M
    rows = np.tile(release.row(), (len(balls) * len(ANGLES_DEG), 1))
    rows[:, 1] = np.tile(ANGLES_DEG, len(balls))
    which = np.repeat(np.arange(len(balls)), len(ANGLES_DEG))

    def boards(rows: np.ndarray, which: np.ndarray) -> np.ndarray:
        return throw_many(list(balls), rows, condition.pattern, hand=release.hand, which=which,
                          friction=event.friction).entry_board

    usual = np.abs(boards(rows, which) - target).reshape(len(balls), -1)
    best = np.where(np.isfinite(usual), usual, 99.0).argmin(axis=1)
    deviates = normal_deviates(SHOTS, 6, seed, Stage.BAG_SPARES) * event.player.spread.array()
    share = np.zeros(len(balls))
    for step in (-1, 0, 1):
        angle = ANGLES_DEG[np.clip(best + step, 0, len(ANGLES_DEG) - 1)]
        rows = np.tile(release.row(), (len(balls) * SHOTS, 1))
        rows[:, 1] = np.repeat(angle, SHOTS)
        rows[:, :6] += np.tile(deviates, (len(balls), 1))
        off = np.abs(boards(rows, np.repeat(np.arange(len(balls)), SHOTS)) - target)
        near = np.where(np.isfinite(off), off, 99.0) <= HALF_BOARDS
        share = np.maximum(share, near.reshape(len(balls), SHOTS).mean(axis=1))
    return share


def straight_spread(share: float) -> float:
    """SD [boards] of a straight ball that comes within HALF_BOARDS of its aim so often."""
    share = min(max(share, 0.5 / SHOTS), 1.0 - 0.5 / SHOTS)
    return float(np.clip(HALF_BOARDS / NormalDist().inv_cdf(0.5 * (1.0 + share)), 0.1, 15.0))


def spare_balls(
    event: Event, conditions: Sequence[Condition], judging: Judging, seed: int
) -> tuple[SpareBall, ...]:
    """Each candidate that is for spares only; none if the event has none, or nothing else."""
    mine = [c for c in event.candidates if c.spares_only]
    others = [c for c in event.candidates if not c.spares_only]
    if not mine or not others:
        return ()
    uses = event_uses(event)
    every = [*mine, *others]
    first = [next(u for u in uses if u.variant.ball == c.name) for c in every]
    balls = [worn(event, u, 0.0, 0.0) for u in first]
    fresh = [c for c, k in enumerate(conditions) if k.first_game == 0]
    weight = np.array([sum(k.weight for k in conditions if k.round == conditions[c].round)
                       for c in fresh])
    shares = np.array([corner_shares(event, conditions[c], balls, seed) for c in fresh])
    at = len(mine)
    pick = int((weight @ shares[:, at:]).argmax())  # the best other ball at corner pins
    out = []
    for n, one in enumerate(mine):
        gain = 0.0
        for w, c, row in zip(weight, fresh, shares, strict=True):
            top = int(np.nanargmax(judging.pins[c]))
            entry = judging.entries[c, top, :, :SCORED_SHOTS].astype(float)
            with_it, without = (_pins(entry, straight_spread(float(s)))
                                for s in (row[n], row[at + pick]))
            gain += w * (with_it - without)
        out.append(SpareBall(one.name, float(gain / weight.sum()),
                             float(weight @ shares[:, n] / weight.sum()), others[pick].name,
                             float(weight @ shares[:, at + pick] / weight.sum())))
    return tuple(out)


def _pins(entry: np.ndarray, spread_boards: float) -> float:
    table = replace(default_spares(), spread_boards=spread_boards, published=False)
    return float(pins_from_shots(*entry, spares=table).pins_per_game)
