"""What is judged, and on which lanes: the ways to use each ball, and the stages of each round.

A stage is judged on the lane as it is at the stage's middle. The lane wears as the games are
played: by the player with the ball and from the line that are given for each stage (the plan's own,
once there is one), and by the others on their own best line of the fresh oil, moving with the oil
if the event says so. Before there is a plan, the player is taken to throw `my_ball` like the
others do theirs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ..equipment.ball import Ball
from ..equipment.layout import layout_text
from ..lane.friction import FrictionModel
from ..lane.pattern import OilPattern
from ..lines.plane import LAYDOWN_RANGE
from ..motion import setup
from ..player import Release
from ..studies.moves import best_move, moved
from ..studies.play import Entrant, play_game
from .cache import Cache, key_of
from .judging import default_parts
from .program import Variant
from .search import find_lines

if TYPE_CHECKING:
    from .event import Event, Round

ROOTS = ("bag.conditions",)
LINE_SHOTS = 256  # shots that judge the field's lines on the fresh oil
BOARD_STEP, DEG_STEP = 0.25, 0.05  # how finely a line is told to a bowler


@dataclass(frozen=True)
class Use:
    """A way to use a candidate: the variant of the program, and the ball before its first game."""

    candidate: int
    variant: Variant
    ball: Ball = field(repr=False)
    spares_only: bool = False


@dataclass(frozen=True)
class Thrown:
    """What the player throws in one stage: the ball as it then is, and the line."""

    ball: Ball
    laydown_board: float
    launch_angle_deg: float

    @classmethod
    def told(cls, ball: Ball, laydown_board: float, launch_angle_deg: float) -> Thrown:
        """A line as one is told it: to a quarter of a board and a twentieth of a degree."""
        return cls(ball, round(laydown_board / BOARD_STEP) * BOARD_STEP,
                   round(launch_angle_deg / DEG_STEP) * DEG_STEP)


@dataclass(frozen=True)
class Condition:
    """A stage of a round: its lane, how many games, and its weight (summing to 1).

    lane : name of the lane by what made it (see `cache.key_of`).
    """

    round: int
    name: str
    first_game: int
    games: int
    weight: float
    pattern: OilPattern = field(repr=False)
    lane: str = field(default="", repr=False)

    @property
    def label(self) -> str:
        """Like 'Saturday, short: games 3-4'."""
        return f"{self.name}: {self.games_text}"

    @property
    def place(self) -> str:
        """Like 'games 3-4 of Saturday, short', within a sentence."""
        return f"{self.games_text} of {self.name}"

    @property
    def games_text(self) -> str:
        """Like 'games 3-4'."""
        last = self.first_game + self.games
        if self.games == 1:
            return f"game {last}"
        return f"games {self.first_game + 1}-{last}"


def event_uses(event: Event) -> tuple[Use, ...]:
    """Every candidate x layout x finish, the balls as they are before the first game."""
    out = []
    for i, candidate in enumerate(event.candidates):
        for layout, fresh in candidate.layouts:
            for finish, sanded in candidate.finishes:
                ball = candidate.variant(layout, finish, 0.0)
                out.append(Use(i, Variant(
                    candidate.name, layout_text(layout), finish,
                    ball.weight_lb if candidate.travels else 0.0, candidate.travels, fresh, sanded,
                ), ball, candidate.spares_only))
    return tuple(out)


def arrays(
    balls: Sequence[Ball], pattern: OilPattern, friction: FrictionModel
) -> tuple[np.ndarray, np.ndarray]:
    """PAPs (b, 3) and parameter vectors (b, P_COUNT) of balls on the pattern's oil."""
    return (np.array([b.inertia.pap_body for b in balls]),
            np.array([setup.parameter_vector(b, viscosity_cp=pattern.viscosity_cp,
                                             friction=friction) for b in balls]))


def event_conditions(
    event: Event, *, seed: int, cache: Cache, thrown: Sequence[Thrown] | None = None
) -> tuple[Condition, ...]:
    """The stages of all rounds with their lanes.

    thrown : what the player throws in each stage of each round, in order; None: nothing is
    planned yet.
    """
    total = sum(r.weight * s.weight * s.games for r in event.rounds for s in r.stages)
    out: list[Condition] = []
    for n, one in enumerate(event.rounds):
        mine = None if thrown is None else thrown[len(out) : len(out) + len(one.stages)]
        name, lanes = lanes_of(event, one, mine, seed=seed, cache=cache)
        for k, (stage, lane) in enumerate(zip(one.stages, lanes, strict=True)):
            out.append(Condition(n, one.name, stage.first_game, stage.games,
                                 one.weight * stage.weight * stage.games / total, lane,
                                 f"{name}/{k}"))
    return tuple(out)


def lanes_of(
    event: Event, one: Round, mine: Sequence[Thrown] | None, *, seed: int, cache: Cache
) -> tuple[str, list[OilPattern]]:
    """A name, and the lane at the middle of each stage of a round."""
    lanes, player = event.lanes, event.player
    after = [one.games_before + s.first_game + s.games // 2 for s in one.stages]
    key = key_of(
        ROOTS, one.pattern.volume_ul, one.pattern.viscosity_cp, player.release, player.spread,
        lanes, event.friction, one.games_before, one.games,
        [(s.first_game, s.games) for s in one.stages],
        None if mine is None else list(mine), seed)
    if max(after) == 0:
        return key, [one.pattern] * len(after)
    found = cache.get(key)
    if found is None:
        found = {"volume_ul": _play(event, one, after, mine, seed)}
        cache.put(key, found)
    return key, [replace(one.pattern.with_volume(v), name=f"{one.pattern.name} after {n} games")
                 if n else one.pattern
                 for v, n in zip(found["volume_ul"], after, strict=True)]


def _play(event: Event, one: Round, after: list[int], mine: Sequence[Thrown] | None, seed: int
          ) -> np.ndarray:
    """(stages, 60, 39) oil on the first lane of the pair after so many games."""
    lanes, player, pattern = event.lanes, event.player, one.pattern
    release = player.release
    balls = [lanes.my_ball, lanes.their_ball]
    best = find_lines(*arrays(balls, pattern, event.friction), pattern.film_m(release.hand),
                      release, player.spread, default_parts(player.spread), shots=LINE_SHOTS,
                      seed=seed)
    entrants, lines = [], []
    for n in range(lanes.players):
        which = 0 if n == 0 else 1
        apart = lanes.apart_boards * ((n + 1) // 2) * (-1 if n % 2 else 1)
        line = replace(release, launch_angle_deg=float(best.launch_angle_deg[which]),
                       laydown_board=float(np.clip(best.laydown_board[which] + apart,
                                                   *LAYDOWN_RANGE)))
        entrants.append(Entrant(ball=balls[which], player=replace(player, release=line),
                                name=f"player {n + 1}"))
        lines.append(line.row())
    volume = np.repeat(pattern.volume_ul[None], lanes.lanes, axis=0)
    kept = {0: volume[0]}
    for game in range(max(after)):
        if mine is not None and game >= one.games_before:
            stage = max(k for k, s in enumerate(one.stages)
                        if s.first_game <= game - one.games_before)
            entrants[0] = replace(entrants[0], ball=mine[stage].ball)
            lines[0] = _release(release, mine[stage]).row()
        volume = play_game(entrants, lines, volume, pattern, game, friction=event.friction,
                           seed=seed).volume_ul
        kept[game + 1] = volume[0]
        if lanes.follow and game + 1 < max(after):
            now = [pattern.with_volume(v) for v in volume]
            told = mine is not None and game + 1 >= one.games_before  # the plan's line is next
            lines = [line if told and n == 0 else moved(line, best_move(
                         e, line, now, friction=event.friction, seed=seed))
                     for n, (e, line) in enumerate(zip(entrants, lines, strict=True))]
    return np.array([kept[n] for n in after])


def _release(release: Release, thrown: Thrown) -> Release:
    return replace(release, laydown_board=thrown.laydown_board,
                   launch_angle_deg=thrown.launch_angle_deg)
