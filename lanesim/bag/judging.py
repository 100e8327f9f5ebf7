"""Pins per game of many sets of shots at once, as averages of four numbers per shot.

The mean game of independent frames needs, of a first ball's leave, four averages only
(score.mean_score): s, a strike; F, the pins of the first ball; T, the pins of both balls of a
frame without a strike; p, a spare. With them

    game = 10 (T + 10 s + s (T + s (10 + F)) + p F).

Each is linear in the leaves, and the carry table gives leaves as a weighted average of simulated
runs on nodes of entry board, angle and speed. So the four are averaged on the nodes once and then
joined linearly, shot by shot, as the table itself does for strikes: the same numbers as
`pins.outcomes.pins_from_shots`, a thousand times faster (tests/test_bag.py compares them).
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field

import numpy as np

from ..pins.outcomes import ALL_STANDING
from ..pins.score import pins_in
from ..pins.spares import SpareTable, default_spares, player_spares
from ..pins.table import (
    CENTRE_BOARD,
    NODE_ANGLES,
    NODE_BOARDS,
    NODE_SPEEDS,
    CarryTable,
    default_table,
    mirror_mask,
)
from ..player import Spread
from ..streams import Stage, stream

PARTS = ("strike", "first", "both", "spare")
_REFERENCE = np.array([0.45, 9.3, 5.2, 0.45])  # near it a shot's worth is taken as linear
SHAPE = (len(NODE_BOARDS), len(NODE_ANGLES), len(NODE_SPEEDS))


def game_of(parts: np.ndarray) -> np.ndarray:
    """Pins per game (...,) from the four averages (..., 4) in the order of PARTS."""
    s, first, both, spare = np.moveaxis(np.asarray(parts), -1, 0)
    return 10.0 * (both + 10.0 * s + s * (both + s * (10.0 + first)) + spare * first)


def game_slopes(parts: np.ndarray) -> np.ndarray:
    """Derivatives (..., 4) of `game_of` by its four averages."""
    s, first, both, spare = np.moveaxis(np.asarray(parts), -1, 0)
    return 10.0 * np.stack([
        10.0 + both + 2.0 * s * (10.0 + first), s**2 + spare, 1.0 + s, first,
    ], axis=-1)


def parts_of_leaves(masks: np.ndarray, spares: SpareTable) -> np.ndarray:
    """(n, 4) the four numbers of each leave (0: a strike)."""
    out = np.zeros((len(masks), 4))
    for row, mask in zip(out, masks, strict=True):
        left = int(pins_in(int(mask)))
        if left == 0:
            row[:] = 1.0, 10.0, 0.0, 0.0
            continue
        made = spares.conversion(int(mask))
        counts = np.asarray(spares.miss_counts(int(mask)), dtype=float)
        missed = float(counts @ np.arange(left) / counts.sum())
        row[:] = 0.0, 10.0 - left, 10.0 - left + made * left + (1.0 - made) * missed, made
    return out


@dataclass(frozen=True)
class PinParts:
    """The four averages on the carry table's nodes.

    plain, flipped : (nodes, 4) for entry angles of 0 or more, and for the others, mirrored.
    gutter : (4,) of a first ball that takes nothing.
    """

    plain: np.ndarray = field(repr=False)
    flipped: np.ndarray = field(repr=False)
    gutter: np.ndarray = field(repr=False)

    def of_shots(self, board: np.ndarray, angle_deg: np.ndarray, speed_mph: np.ndarray
                 ) -> np.ndarray:
        """(n, 4) of each shot; NaN entries took no pin. Beyond the table: its nearest edge."""
        rows = np.broadcast_to(self.gutter, (len(board), 4)).copy()
        met = np.isfinite(board) & np.isfinite(angle_deg) & np.isfinite(speed_mph)
        for side, nodes in ((1.0, self.plain), (-1.0, self.flipped)):
            mine = np.flatnonzero(met & ((angle_deg >= 0) if side > 0 else (angle_deg < 0)))
            if len(mine):
                b = board[mine] if side > 0 else 2 * CENTRE_BOARD - board[mine]
                rows[mine] = _joined(nodes, b, np.abs(angle_deg[mine]), speed_mph[mine])
        return rows

    @functools.cached_property
    def worth(self) -> np.ndarray:
        """(nodes,) pins per game that a first ball there is worth: linear about a usual game."""
        slopes = game_slopes(_REFERENCE)
        return (self.plain - _REFERENCE) @ slopes + float(game_of(_REFERENCE))

    def shot_worth(self, parts: np.ndarray) -> np.ndarray:
        """(n,) the same of shots (n, 4)."""
        return (parts - _REFERENCE) @ game_slopes(_REFERENCE) + float(game_of(_REFERENCE))


def _corners(b: np.ndarray, a: np.ndarray, s: np.ndarray):
    """(flat node, weight) of the eight nodes round each shot."""
    low, share = [], []
    for value, nodes in ((b, NODE_BOARDS), (a, NODE_ANGLES), (s, NODE_SPEEDS)):
        at = (np.clip(value, nodes[0], nodes[-1]) - nodes[0]) / (nodes[1] - nodes[0])
        floor = np.minimum(at.astype(np.int64), len(nodes) - 2)
        low.append(floor)
        share.append(at - floor)
    for i in (0, 1):
        for j in (0, 1):
            for k in (0, 1):
                weight = np.ones(len(b))
                for up, part in zip((i, j, k), share, strict=True):
                    weight = weight * (part if up else 1.0 - part)
                yield ((low[0] + i) * SHAPE[1] + low[1] + j) * SHAPE[2] + low[2] + k, weight


def _joined(nodes: np.ndarray, b: np.ndarray, a: np.ndarray, s: np.ndarray) -> np.ndarray:
    out = np.zeros((len(b), *nodes.shape[1:]))
    for at, weight in _corners(b, a, s):
        out += weight[:, None] * nodes[at]
    return out


def node_weights(board: np.ndarray, angle_deg: np.ndarray, speed_mph: np.ndarray
                 ) -> tuple[np.ndarray, np.ndarray, float]:
    """Mean weight of each node over the shots, plain (nodes,) and flipped, and the gutter's."""
    size = int(np.prod(SHAPE))
    out = []
    met = np.isfinite(board) & np.isfinite(angle_deg) & np.isfinite(speed_mph)
    for side in (1.0, -1.0):
        mine = met & ((angle_deg >= 0) if side > 0 else (angle_deg < 0))
        total = np.zeros(size)
        if mine.any():
            b = board[mine] if side > 0 else 2 * CENTRE_BOARD - board[mine]
            for at, weight in _corners(b, np.abs(angle_deg[mine]), speed_mph[mine]):
                total += np.bincount(at, weight, minlength=size)
        out.append(total / len(board))
    return out[0], out[1], 1.0 - float(met.mean())


class _Runs:
    """The carry table's runs with the four numbers of each, for averages on the nodes."""

    def __init__(self, table: CarryTable, spares: SpareTable) -> None:
        self.table = table
        runs = table.runs
        self.plain = parts_of_leaves(runs.leaves, spares)[runs.index]
        self.flipped = parts_of_leaves(mirror_mask(runs.leaves), spares)[runs.index]

    def averages(self, weight: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """(nodes, 4) plain and flipped, each run counted `weight` (R,) times (default once)."""
        k_b, k_a, k_s = self.table.kernel_factors
        origin = self.table.runs.origin
        times = np.ones(len(origin)) if weight is None else weight[origin]
        columns = np.column_stack([np.ones(len(times)), self.plain, self.flipped[:, 2:]])
        columns *= times[:, None]
        n = columns.shape[1]
        sums = np.empty((*SHAPE, n))
        for i, rows in enumerate(self.table.rows_near):
            if weight is not None:
                rows = rows[times[rows] > 0]
            each = (k_b[i, rows] * k_a[:, rows])[:, None] * k_s[:, rows]  # (angles, speeds, rows)
            sums[i] = each @ columns[rows]
        flat = sums.reshape(-1, n)
        with np.errstate(invalid="ignore", divide="ignore"):
            shares = flat[:, 1:] / flat[:, :1]
        # strikes and first balls are the same in the mirror, spares need not be
        return shares[:, :4], shares[:, [0, 1, 4, 5]]


def _spares(spread: Spread | None) -> SpareTable:
    return default_spares() if spread is None else player_spares(spread)


@functools.lru_cache(maxsize=4)
def _default_runs(spread: Spread | None) -> _Runs:
    return _Runs(default_table(), _spares(spread))


@functools.lru_cache(maxsize=4)
def default_parts(spread: Spread | None = None) -> PinParts:
    """The four averages from the tables that ship with the package.

    spread : the player's, for spares without a published rate; None: a professional's.
    """
    plain, flipped = _default_runs(spread).averages()
    gutter = parts_of_leaves(np.array([ALL_STANDING]), _spares(spread))[0]
    return PinParts(plain, flipped, gutter)


@functools.lru_cache(maxsize=4)
def resampled_parts(count: int, seed: int, spread: Spread | None = None) -> tuple[PinParts, ...]:
    """`count` versions from carry tables whose runs are drawn anew with replacement.

    What the finite number of simulated runs leaves open; the model's own error is not in it.
    spread : as in `default_parts`.
    """
    runs = _default_runs(spread)
    rng = stream(Stage.BAG_TABLE, seed)
    size = len(runs.table.board)
    usual = default_parts(spread)
    out = []
    for _ in range(count):
        times = np.bincount(rng.integers(0, size, size), minlength=size).astype(float)
        new = runs.averages(times)
        # a node that none of the drawn runs reaches keeps its average
        out.append(PinParts(np.where(np.isfinite(new[0]), new[0], usual.plain),
                            np.where(np.isfinite(new[1]), new[1], usual.flipped),
                            usual.gutter))
    return tuple(out)
