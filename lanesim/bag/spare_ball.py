"""What a ball for spares is worth: pins hit with it, and with a ball that hooks.

Two targets stand for all spares, half of them each (ASSUMED): the corner pin on the side of the
ball arm, shot across the lane, and the middle of the deck. Each ball is sent there with the
player's own release and spread on the fresh oil of each round; the share of shots that arrive
within `HALF_BOARDS` of it is told as the spread that a straight ball would need for the same. With
that spread the table of simulated spares gives the spares made, and the game's score what they are
worth (rates published of professionals play no part here: they hold for one way to shoot spares).
A spare ball is set against the other candidate of the event that is best at the target. No speed
or release is changed for spares, as some players do with one ball: where one does, the worth is
less.
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
# (board of the target, laydown board): ASSUMED ways to shoot at a far corner, and at the middle
CORNER = (CENTRE_BOARD - CORNER_IN * INCH_M / BOARD_M, 30.0)
MIDDLE = (CENTRE_BOARD, 22.0)
ANGLES_DEG = np.arange(-8.0, 0.01, 0.25)
SHOTS = 256
SCORED_SHOTS = 512


@dataclass(frozen=True)
class SpareBall:
    """A ball for spares against the best other ball.

    worth : pins per game over the event. made, otherwise : share of shots at the corner pin within
    HALF_BOARDS with it and with `instead`, the best other ball at that; means of the rounds.
    """

    ball: str
    worth: float
    made: float
    instead: str
    otherwise: float


def near_shares(
    event: Event, condition: Condition, balls: Sequence[Ball], seed: int,
    spare: tuple[float, float] = CORNER,
) -> np.ndarray:
    """(b,) share of the shots at a target that come near enough, at the best angle."""
    target, laydown = spare
    release = replace(event.player.release, laydown_board=laydown)
    rows = np.tile(release.row(), (len(balls) * len(ANGLES_DEG), 1))
    rows[:, 1] = np.tile(ANGLES_DEG, len(balls))
    which = np.repeat(np.arange(len(balls)), len(ANGLES_DEG))

    def boards(rows: np.ndarray, which: np.ndarray) -> np.ndarray:
        return throw_many(list(balls), rows, condition.pattern, hand=release.hand, which=which,
                          friction=event.friction).entry_board

    usual = np.abs(boards(rows, which) - target).reshape(len(balls), -1)
    best = np.where(np.isfinite(usual), usual, 99.0).argmin(axis=1)
    deviates = event.player.spread.deviations(
        normal_deviates(SHOTS, 6, seed, Stage.BAG_SPARES))
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
    # (targets, rounds, balls)
    shares = np.array([[near_shares(event, conditions[c], balls, seed, spare) for c in fresh]
                       for spare in (CORNER, MIDDLE)])
    weight /= weight.sum()
    at = len(mine)
    other = [int((weight @ rows[:, at:]).argmax()) for rows in shares]  # the best at each target
    out = []
    for n, one in enumerate(mine):
        gain = 0.0
        for w, k, c in zip(weight, range(len(fresh)), fresh, strict=True):
            top = int(np.nanargmax(judging.pins[c]))
            entry = judging.entries[c, top, :, :SCORED_SHOTS].astype(float)
            for rows, best in zip(shares, other, strict=True):
                with_it, without = (_pins(entry, straight_spread(float(s)))
                                    for s in (rows[k, n], rows[k, at + best]))
                gain += 0.5 * w * (with_it - without)
        out.append(SpareBall(one.name, float(gain), float(weight @ shares[0, :, n]),
                             others[other[0]].name, float(weight @ shares[0, :, at + other[0]])))
    return tuple(out)


def _pins(entry: np.ndarray, spread_boards: float) -> float:
    table = replace(default_spares(), spread_boards=spread_boards, published=False)
    return float(pins_from_shots(*entry, spares=table).pins_per_game)
