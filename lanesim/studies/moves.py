"""Moves on a changing lane: which one brings the ball back to the pocket, and what it is worth.

A move is in boards, feet first, then the target at the arrows, away from the ball-arm side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ..equipment.ball import Ball
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import BOARDS
from ..lane.pattern import OilPattern
from ..lines.plane import LAYDOWN_RANGE, board_at_arrows
from ..motion.pocket import BEST_BOARD, POCKET
from ..motion.trajectory import throw_many
from ..player import Release, Spread, normal_deviates
from ..stats import paired_difference
from ..streams import Stage
from .odds import pins_of
from .play import Entrant

if TYPE_CHECKING:
    from ..pins.outcomes import PinResult

SPEEDS_MPH = (-2.0, -1.5, -1.0, -0.5, 0.5, 1.0, 1.5, 2.0)


@dataclass(frozen=True)
class Move:
    """A move [boards], positive away from the ball-arm side: feet (laydown) and target (arrows)."""

    feet: float = 0.0
    target: float = 0.0

    def distance(self, other: Move) -> float:
        """How much feet and target differ from another move's [boards]."""
        return abs(self.feet - other.feet) + abs(self.target - other.target)


# Moves looked at: in parallel, and feet twice as far as the target (both are common advice).
MOVES: tuple[Move, ...] = (
    *(Move(float(f), float(f)) for f in range(-6, 17)),
    *(Move(float(f), f / 2.0) for f in range(-6, 17, 2) if f != 0),
)
NEAR_BOARDS = 2.0  # moves whose usual shot arrives within so many boards of the best are tried
FEWEST_TRIED = 3  # or the nearest so many, if none does


def moved(line: np.ndarray, move: Move) -> np.ndarray:
    """A release row after a move; a parallel one keeps its launch angle."""
    out = line.copy()
    out[0] += move.feet
    if move.target != move.feet:
        arrows = board_at_arrows(line[0], line[1]) + move.target
        out[1] = Release.angle_toward(float(out[0]), float(np.clip(arrows, 1, BOARDS)))
    return out


def _possible(line: np.ndarray) -> list[Move]:
    return [m for m in MOVES if LAYDOWN_RANGE[0] <= line[0] + m.feet <= LAYDOWN_RANGE[1]]


class MoveShots(NamedTuple):
    """How the shots of each release row ended, (rows, patterns x shots) each."""

    outcome: np.ndarray
    board: np.ndarray
    angle_deg: np.ndarray
    speed_mph: np.ndarray

    @property
    def hit(self) -> np.ndarray:
        """1 for a shot in the pocket, else 0."""
        return (self.outcome == POCKET).astype(float)

    def pins(self, row: int, spread: Spread) -> PinResult:
        """Strikes, leaves and pins per game of one row's shots under that spread."""
        return pins_of(self.board[row], self.angle_deg[row], self.speed_mph[row],
                       self.outcome[row].astype(int), spread)[0]


def thrown(
    ball: Ball, entrant: Entrant, rows: np.ndarray, patterns: Sequence[OilPattern],
    deviates: np.ndarray, friction: FrictionModel,
) -> MoveShots:
    """Throw each release row with the entrant's spread on each of the patterns."""
    releases = np.repeat(rows, len(deviates), axis=0)
    releases[:, :6] += np.tile(entrant.player.spread.deviations(deviates), (len(rows), 1))
    parts = []
    for pattern in patterns:
        table = throw_many(ball, releases, pattern, hand=entrant.player.release.hand,
                           friction=friction)
        parts.append(np.stack([
            table.outcome, table.entry_board, table.entry_angle_deg, table.entry_speed_mph,
        ]).reshape(4, len(rows), len(deviates)))
    return MoveShots(*np.concatenate(parts, axis=2))


def _worth_trying(
    ball: Ball, entrant: Entrant, rows: np.ndarray, patterns: Sequence[OilPattern],
    friction: FrictionModel,
) -> np.ndarray:
    """Indices of the rows whose usual shot arrives near the best board, and row 0 always."""
    board = thrown(ball, entrant, rows, patterns, np.zeros((1, 6)), friction).board
    off = np.abs(np.where(np.isfinite(board), board, np.inf).mean(axis=1) - BEST_BOARD)
    near = np.flatnonzero(off <= NEAR_BOARDS)
    if len(near) < FEWEST_TRIED:
        near = np.argsort(off, kind="stable")[:FEWEST_TRIED]
    return np.unique(np.concatenate([[0], near]))


def _choose(
    ball: Ball, entrant: Entrant, rows: np.ndarray, sizes: np.ndarray,
    patterns: Sequence[OilPattern], friction: FrictionModel, deviates: np.ndarray,
) -> int:
    """Index of the row with the most pocket hits, or of the smallest change as good as it.

    Common random shots; a larger change is taken over a smaller one only if its gain is clear
    (95 %, paired). Row 0 is no change.
    """
    tried = _worth_trying(ball, entrant, rows, patterns, friction)
    hit = thrown(ball, entrant, rows[tried], patterns, deviates, friction).hit
    top = int(np.argmax(hit.mean(axis=1)))
    for n in np.argsort(sizes[tried], kind="stable"):
        if n == top or not paired_difference(hit[n], hit[top]).clear:
            return int(tried[n])
    return int(tried[top])


def best_move(
    entrant: Entrant,
    line: np.ndarray,
    patterns: Sequence[OilPattern],
    *,
    standing: Move | None = None,
    ball: Ball | None = None,
    friction: FrictionModel = DEFAULT_FRICTION,
    shots: int = 96,
    seed: int = 1,
) -> Move:
    """The move from `line` with the most pocket hits on the lanes as they are.

    Of moves that are as good the one nearest to `standing`, the move in force (default: none), is
    taken; one farther off only if its gain is clear (95 %, paired, common random shots).
    """
    now = standing or Move()
    choices = [now, *(m for m in _possible(line) if m != now)]
    return choices[_choose(
        ball or entrant.ball, entrant, np.array([moved(line, m) for m in choices]),
        np.array([m.distance(now) for m in choices]), patterns, friction,
        normal_deviates(shots, 6, seed, stage=Stage.MOVE_SEARCH),
    )]


def best_speed(
    entrant: Entrant,
    line: np.ndarray,
    patterns: Sequence[OilPattern],
    *,
    ball: Ball | None = None,
    friction: FrictionModel = DEFAULT_FRICTION,
    shots: int = 96,
    seed: int = 1,
) -> float:
    """The change of speed [mph] with the most pocket hits on that line; 0 where none is clear."""
    changes = np.array([0.0, *SPEEDS_MPH])
    rows = np.tile(line, (len(changes), 1))
    rows[:, 2] += changes
    return float(changes[_choose(
        ball or entrant.ball, entrant, rows, np.abs(changes), patterns, friction,
        normal_deviates(shots, 6, seed, stage=Stage.MOVE_SEARCH),
    )])
