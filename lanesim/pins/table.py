"""The carry table: strike chance and leaves by entry board, angle, speed and ball weight.

The table ships as the simulated hits themselves (entry, mask of standing pins) and is smoothed
when loaded, so nothing is hidden in it:

    P(leave | b, a, s, w) = sum_r k_r [leave_r = leave] / sum_r k_r,
    k_r = exp(-(b - b_r)^2/2h_b^2 - (a - a_r)^2/2h_a^2 - (s - s_r)^2/2h_s^2 - (w - w_r)^2/2h_w^2),

a Gaussian kernel average (Nadaraya 1964, Watson 1964; status: from memory). No shape is assumed
beyond smoothness over a bandwidth; the one in boards widens where the hits are sparse. The hits
reach a little beyond what is asked in angle, speed and weight, so that an average has neighbours
on both sides. The rack is symmetric, so every hit also serves mirrored:
(b, a, leave) -> (40 - b, -a, mirrored leave).

A table is for one ball weight (`for_ball`), 15 lb unless said. The same hits were run with every
parameter set of an ensemble that published observations do not rule out: `member(k)` is the table
of such a set, and a difference between two balls can be taken set by set.

A shot outside the box of the nodes is given the nearest edge and counted in `outside`.
"""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..errors import InputError, check_range
from ..files import read_arrays
from ..stats import wilson

DATA_FILE = Path(__file__).parents[1] / "data" / "carry.npz"
NODE_BOARDS = np.arange(1.0, 39.01, 0.25)
NODE_ANGLES = np.arange(0.0, 7.51, 0.5)
NODE_SPEEDS = np.array([13.0, 14.5, 16.0, 17.5, 19.0])
KERNEL_REACH = 4.0  # bandwidths; farther runs have no weight
WEIGHT_REACH = 1.6  # bandwidths of weight; farther runs are left out
REFERENCE_LB = 15.0
WEIGHTS_LB = (12.0, 16.0)  # lighter and heavier balls get the nearest
CENTRE_BOARD = 20.0
_MIRROR_PIN = np.array([0, 2, 1, 5, 4, 3, 9, 8, 7, 6])  # 2<->3, 4<->6, 7<->10, 8<->9


def mirror_mask(mask: ArrayLike) -> np.ndarray:
    """The leave seen in a mirror: pins 2/3, 4/6, 7/10 and 8/9 change places."""
    given = np.asarray(mask, dtype=np.int64)
    out = np.zeros_like(given)
    for pin, other in enumerate(_MIRROR_PIN):
        out |= ((given >> pin) & 1) << other
    return out


def board_bandwidth(board: ArrayLike, width: float) -> np.ndarray:
    """Bandwidth [boards] at a board: `width` between boards 13.5 and 21.5, then wider.

    The hits lie six times as dense there: linearly to 0.6 board (or `width`, if that is more)
    1.5 boards out.
    """
    b = np.asarray(board, dtype=float)
    away = np.maximum(np.maximum(13.5 - b, b - 21.5), 0.0)
    return width + (max(0.6, width) - width) * np.minimum(away / 1.5, 1.0)


@dataclass(frozen=True)
class ShotWeights:
    """Shots placed on the table's nodes.

    strike : strike chance of each shot, NaN where it is not finite; outside : shots that got the
    nearest edge; plain, flipped : (nodes,) mean weight of each node over the finite shots, for
    angles of 0 or more and for the mirrored ones.
    """

    strike: np.ndarray
    outside: np.ndarray
    plain: np.ndarray
    flipped: np.ndarray


@dataclass(frozen=True)
class KernelRuns:
    """The simulated runs as the kernel average uses them: (M,) rows.

    Every run and, where it can matter to an angle of 0 or more, its mirror image.

    Runs of a ball of a far other weight are left out.

    origin : index of the simulated run behind each row (a run and its mirror image are one).
    board, angle_deg, speed_mph : entry of each row; the angle of a mirror image is negative.
    leaves : (L,) kinds of leave, each once, 0 the strike; index : (M,) which of them each row left.
    """

    origin: np.ndarray
    board: np.ndarray
    angle_deg: np.ndarray
    speed_mph: np.ndarray
    leaves: np.ndarray
    index: np.ndarray


@dataclass(frozen=True)
class CarryTable:
    """Simulated runs on the pin deck and their kernel average.

    Parameters
    ----------
    board, angle_deg, speed_mph : (R,) entry states of the runs.
    standing : (R,) 10-bit masks left standing.
    bandwidths : (boards, degrees, mph[, lb]) of the Gaussian kernel.
    weight_lb : (R,) ball weights of the runs; None: all of one weight.
    ball_lb : the weight that is asked about.
    ensemble : (K, R) masks of the same runs with other parameter sets.
    provenance : how the runs were made.
    """

    board: np.ndarray = field(repr=False)
    angle_deg: np.ndarray = field(repr=False)
    speed_mph: np.ndarray = field(repr=False)
    standing: np.ndarray = field(repr=False)
    bandwidths: tuple[float, ...]
    provenance: dict[str, Any] = field(repr=False, default_factory=dict)
    weight_lb: np.ndarray | None = field(repr=False, default=None)
    ball_lb: float = REFERENCE_LB
    ensemble: np.ndarray = field(
        repr=False, default_factory=lambda: np.empty((0, 0), dtype=np.int64))

    def __post_init__(self) -> None:
        sizes = {len(x) for x in (self.board, self.angle_deg, self.speed_mph, self.standing)}
        if len(sizes) != 1 or sizes == {0}:
            raise InputError("a carry table needs equally many boards, angles, speeds and leaves")
        if min(self.bandwidths) <= 0:
            raise InputError("bandwidths must be above 0")
        check_range("ball weight", self.ball_lb, 4.0, 20.0, "lb")

    # --- loading ---------------------------------------------------------------------------

    @classmethod
    def load(cls, path: str | Path | None = None) -> CarryTable:
        """Read a table; the one in the package by default."""
        source = Path(path) if path is not None else DATA_FILE
        data = read_arrays(source, "carry table")
        try:
            return cls(
                board=data["board"].astype(float) / 100.0,
                angle_deg=data["angle"].astype(float) / 100.0,
                speed_mph=data["speed"].astype(float) / 20.0,
                standing=data["standing"][0].astype(np.int64),
                bandwidths=tuple(float(v) for v in data["bandwidths"]),
                provenance=json.loads(str(data["provenance"])),
                weight_lb=data["weight"].astype(float) / 20.0,
                ensemble=data["standing"][1:].astype(np.int64),
            )
        except (KeyError, ValueError, IndexError) as error:
            raise InputError(f"{source}: not a carry table ({error})") from None

    # --- other weights, other parameter sets -----------------------------------------------

    def for_ball(self, weight_lb: float) -> CarryTable:
        """The table for a ball of another weight (12 to 16 lb; beyond: the nearest)."""
        weight = min(max(float(weight_lb), WEIGHTS_LB[0]), WEIGHTS_LB[1])
        if self.weight_lb is None or abs(weight - self.ball_lb) < 1e-9:
            return self
        key = round(weight, 2)
        if key not in self._others:
            self._others[key] = replace(self, ball_lb=key)
        return self._others[key]

    @property
    def members(self) -> int:
        """Parameter sets of the ensemble."""
        return len(self.ensemble)

    def member(self, number: int) -> CarryTable:
        """The table of one parameter set of the ensemble, at the same entries and weight."""
        if not 0 <= number < self.members:
            raise InputError(f"the ensemble has sets 0 to {self.members - 1}, not {number}")
        key = ("member", number)
        if key not in self._others:
            other = replace(self, standing=self.ensemble[number],
                            ensemble=np.empty((0, 0), dtype=np.int64))
            other.__dict__["kernel_factors"] = self.kernel_factors  # the same entries
            self._others[key] = other
        return self._others[key]

    @functools.cached_property
    def _others(self) -> dict[Any, CarryTable]:
        return {}

    # --- the kernel average on nodes -------------------------------------------------------

    @functools.cached_property
    def runs(self) -> KernelRuns:
        """The runs behind the average, with their mirror images."""
        used = np.arange(len(self.board))
        if self.weight_lb is not None:
            off = np.abs(self.weight_lb - self.ball_lb)
            used = np.flatnonzero(off < WEIGHT_REACH * self.bandwidths[3])
        near = used[self.angle_deg[used] < 4.0 * self.bandwidths[1]]
        masks = np.concatenate([self.standing[used], mirror_mask(self.standing[near])])
        leaves, index = np.unique(masks, return_inverse=True)
        return KernelRuns(
            origin=np.concatenate([used, near]),
            board=np.concatenate([self.board[used], 2 * CENTRE_BOARD - self.board[near]]),
            angle_deg=np.concatenate([self.angle_deg[used], -self.angle_deg[near]]),
            speed_mph=np.concatenate([self.speed_mph[used], self.speed_mph[near]]),
            leaves=leaves,
            index=index,
        )

    @functools.cached_property
    def kernel_factors(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Kernel factors (nodes, M) of nodes and `runs` along board, angle and speed.

        The weight of row m at the node (i, j, k) is their product: board[i, m] angle[j, m]
        speed[k, m]; nodes are NODE_BOARDS, NODE_ANGLES, NODE_SPEEDS. The factor of the ball's
        weight, the same at every node, is in the one along speed.
        """
        runs = self.runs
        h_b, h_a, h_s = self.bandwidths[:3]
        k_b = np.zeros((len(NODE_BOARDS), len(runs.board)), dtype=np.float32)
        order = np.argsort(runs.board, kind="stable")
        sorted_board = runs.board[order]
        width = board_bandwidth(NODE_BOARDS, h_b)
        first = np.searchsorted(sorted_board, NODE_BOARDS - KERNEL_REACH * width)
        last = np.searchsorted(sorted_board, NODE_BOARDS + KERNEL_REACH * width)
        for i, (low, high) in enumerate(zip(first, last, strict=True)):
            rows = order[low:high]
            k_b[i, rows] = np.exp(-0.5 * ((NODE_BOARDS[i] - runs.board[rows]) / width[i]) ** 2)

        def gauss(nodes: np.ndarray, at: np.ndarray, width: float) -> np.ndarray:
            z = (nodes[:, None] - at[None, :]) / width
            return np.where(np.abs(z) < KERNEL_REACH, np.exp(-0.5 * z * z), 0.0)

        k_s = gauss(NODE_SPEEDS, runs.speed_mph, h_s)
        if self.weight_lb is not None:
            z = (self.weight_lb[runs.origin] - self.ball_lb) / self.bandwidths[3]
            k_s *= np.exp(-0.5 * z * z)
        return k_b, gauss(NODE_ANGLES, runs.angle_deg, h_a), k_s

    @functools.cached_property
    def rows_near(self) -> tuple[np.ndarray, ...]:
        """For each of NODE_BOARDS the rows of `runs` that have a weight there."""
        return tuple(np.flatnonzero(row) for row in self.kernel_factors[0])

    @functools.cached_property
    def _nodes(self) -> dict[str, np.ndarray]:
        """Sums over runs at each node: weight, weight squared, weight of strikes."""
        k_b, k_a, k_s = self.kernel_factors
        strike = (self.runs.leaves[self.runs.index] == 0).astype(float)
        shape = (len(NODE_BOARDS), len(NODE_ANGLES), len(NODE_SPEEDS))
        sums = {name: np.empty(shape) for name in ("n", "n2", "strikes")}
        size = len(NODE_SPEEDS)
        for i, rows in enumerate(self.rows_near):
            wide = k_b[i, rows] * k_a[:, rows]  # (angles, rows)
            fast = k_s[:, rows].T  # (rows, speeds)
            both = wide @ np.hstack([fast, fast * strike[rows, None]])
            sums["n"][i], sums["strikes"][i] = both[:, :size], both[:, size:]
            sums["n2"][i] = (wide * wide) @ (fast * fast)
        with np.errstate(invalid="ignore"):  # NaN where no run reaches a node
            sums["strike"] = sums["strikes"] / sums["n"]
            sums["n_eff"] = sums["n"] ** 2 / sums["n2"]
        return sums

    # --- asking ----------------------------------------------------------------------------

    def weigh(
        self, board: ArrayLike, angle_deg: ArrayLike, speed_mph: ArrayLike
    ) -> ShotWeights:
        """Place shots on the nodes: strike chances, node weights, flags; see `ShotWeights`.

        Linear between nodes a quarter board, half a degree and 1.5 mph apart. Outside the box of
        the runs the nearest edge is used and the shot marked.
        """
        b, a, s = np.broadcast_arrays(
            np.asarray(board, float), np.asarray(angle_deg, float), np.asarray(speed_mph, float)
        )
        shape = b.shape
        b, a, s = b.ravel(), a.ravel(), s.ravel()
        lost = ~(np.isfinite(b) & np.isfinite(a) & np.isfinite(s))
        mirrored = a < 0
        b = np.where(mirrored, 2 * CENTRE_BOARD - b, b)
        a = np.abs(a)
        outside = np.zeros(b.shape, dtype=bool)
        low, share = [], []
        for value, nodes in ((b, NODE_BOARDS), (a, NODE_ANGLES), (s, NODE_SPEEDS)):
            step = nodes[1] - nodes[0]
            with np.errstate(invalid="ignore"):
                # up to half a step beyond the last node a run lies near enough
                outside |= (value < nodes[0] - step / 2) | (value > nodes[-1] + step / 2)
            at = (np.clip(np.where(lost, nodes[0], value), nodes[0], nodes[-1]) - nodes[0]) / step
            floor = np.minimum(at.astype(np.int64), len(nodes) - 2)
            low.append(floor)
            share.append(at - floor)
        n_a, n_s = len(NODE_ANGLES), len(NODE_SPEEDS)
        strike, size = self._nodes["strike"].ravel(), self._nodes["n"].size
        first = (low[0] * n_a + low[1]) * n_s + low[2]
        chance = np.zeros(b.size)
        plain, flipped = np.zeros(size), np.zeros(size)
        keep_plain, keep_flipped = ~mirrored & ~lost, mirrored & ~lost
        some = keep_flipped.any()
        for i in (0, 1):
            for j in (0, 1):
                across = (share[0] if i else 1.0 - share[0]) * (
                    share[1] if j else 1.0 - share[1])
                for k in (0, 1):
                    weight = across * (share[2] if k else 1.0 - share[2])
                    corner = first + (i * n_a + j) * n_s + k
                    chance += weight * strike[corner]
                    plain += np.bincount(corner, weight * keep_plain, minlength=size)
                    if some:
                        flipped += np.bincount(corner, weight * keep_flipped, minlength=size)
        used = max(int((~lost).sum()), 1)
        return ShotWeights(
            strike=np.where(lost, np.nan, chance).reshape(shape),
            outside=(outside & ~lost).reshape(shape),
            plain=plain / used,
            flipped=flipped / used,
        )

    def strike_probability(
        self, board: ArrayLike, angle_deg: ArrayLike, speed_mph: ArrayLike
    ) -> np.ndarray:
        """Strike chance of each shot (broadcast arrays); NaN where an input is not finite.

        Outside the box of the runs the nearest edge is used: ask `outside` which shots those are.
        """
        return self.weigh(board, angle_deg, speed_mph).strike

    def strike_interval(
        self, board: float, angle_deg: float, speed_mph: float, confidence: float = 0.95
    ) -> tuple[float, float, float, float]:
        """(rate, low, high, runs that count) at one entry: Wilson on the kernel's effective runs.

        Effective runs: (sum k)^2 / sum k^2. Smoothing bias is not in the interval.
        """
        shot = self.weigh(board, angle_deg, speed_mph)
        p = float(shot.strike)
        if not np.isfinite(p):
            return (float("nan"),) * 4
        at = shot.plain + shot.flipped
        near = at > 0
        n_eff = float((self._nodes["n_eff"].ravel()[near] * at[near]).sum())
        n = max(round(n_eff), 1)
        rate = wilson(min(max(p, 0.0), 1.0) * n, n, confidence)
        return p, rate.low, rate.high, n_eff

    def outside(
        self, board: ArrayLike, angle_deg: ArrayLike, speed_mph: ArrayLike
    ) -> np.ndarray:
        """True where a shot lies beyond the box of the runs and got the nearest edge."""
        return self.weigh(board, angle_deg, speed_mph).outside

    def run_weights(self, shots: ShotWeights) -> tuple[np.ndarray, np.ndarray]:
        """Weight of each run in the average over the shots: (plain, mirrored), together sum 1.

        The average leave distribution of any set of shots is linear in the runs; these are its
        coefficients, and with them go the leaves and the table's own uncertainty.
        """
        k_b, k_a, k_s = self.kernel_factors
        n = self._nodes["n"]
        out = []
        for at_nodes in (shots.plain, shots.flipped):
            scaled = np.divide(at_nodes.reshape(n.shape), n, out=np.zeros(n.shape), where=n > 0)
            total = np.zeros(k_b.shape[1])
            for i in np.flatnonzero(scaled.any(axis=(1, 2))):
                rows = self.rows_near[i]
                each = (scaled[i] @ k_s[:, rows]) * k_a[:, rows]
                total[rows] += each.sum(axis=0) * k_b[i, rows]
            out.append(total)
        return out[0], out[1]

    def leaves_of_runs(
        self, plain: np.ndarray, flipped: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """(masks, probabilities), most likely first, from the weights of `run_weights`."""
        runs = self.runs
        size = len(runs.leaves)
        chance = np.zeros(1024)
        chance[runs.leaves] += np.bincount(runs.index, plain, minlength=size)
        np.add.at(chance, mirror_mask(runs.leaves),
                  np.bincount(runs.index, flipped, minlength=size))
        masks = np.flatnonzero(chance > 0)
        masks = masks[np.argsort(-chance[masks], kind="stable")]
        return masks, chance[masks] / chance.sum()

    def leave_distribution(
        self, board: ArrayLike, angle_deg: ArrayLike, speed_mph: ArrayLike
    ) -> tuple[np.ndarray, np.ndarray]:
        """Leaves averaged over the shots: (masks, probabilities), most likely first; 0 = strike.

        Shots that are not finite are left out; InputError if none is.
        """
        plain, flipped = self.run_weights(self.weigh(board, angle_deg, speed_mph))
        if plain.sum() + flipped.sum() <= 0.0:
            raise InputError("no shot with a finite entry board, angle and speed")
        return self.leaves_of_runs(plain, flipped)

    def table_variance(self, plain: np.ndarray, flipped: np.ndarray) -> float:
        """Variance of an averaged strike rate that comes from the finite number of runs.

        sum_r u_r^2 p_r (1 - p_r), with u_r the weight of run r (a run and its mirror image are
        one) and p_r the smoothed strike chance where the run lies.
        """
        u = plain + flipped
        original = np.bincount(self.runs.origin, u, minlength=len(self.board))
        p = self._strike_at_runs
        return float((original**2 * p * (1.0 - p)).sum())

    @functools.cached_property
    def _strike_at_runs(self) -> np.ndarray:
        return self.strike_probability(self.board, self.angle_deg, self.speed_mph)


@functools.cache
def default_table() -> CarryTable:
    """The table that ships with the package, read once; for a ball of 15 lb (see `for_ball`)."""
    return CarryTable.load()
