"""Chance to pick up each leave, with the source of every number.

Simulated on the pin deck (`SpareMap`): for every common leave, balls crossing the head pin's line
at every board and at angles from -8 to 8 deg; kept is what each took. A player's conversion
(`SpareTable`, `player_spares`) follows from his own spread: a straight ball thrown across the
lane, its board at the pins normal about the best aim, with the spread there that his laydown and
launch angle make (`spread_at_pins`). So a weaker player misses single pins more often.

Published rates (professionals on television; read): 10 pin 95.9 % of 710, 7 pin 95.5 % of 333,
9 pin 98.9 % of 88, 3-10 17 of 35, 4-6-7-10 1 of 30, 7-10 0 of 53 on television and 1 in 145 since
2003 (the latter is used). They stand where NO player is given: that is a professional.

The professionals' spread of 2.2 boards at the pins is derived from the published 10-pin rate: the
ball may pass at most 2.75 in outside the pin (then it is in the gutter) and 6.65 in inside it, a
window of 9.4 in; 95.9 % of a normal law lies within +-2.04 SD of its middle, so one SD is 2.30 in
= 2.16 boards. The other published rates are then a check (benchmarks/CARRY.md).

A leave in neither list gets the lowest rate among the listed leaves that it contains (who makes
5-8-10 makes 8-10, but for pins that knock down pins), or, if it contains none, the rate of the most
similar one (largest share of pins in common): source "fallback", mirror images alike.
"""

from __future__ import annotations

import functools
import json
import math
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError, check_range
from ..files import read_arrays
from ..lane import geometry as lane
from ..player import Spread
from .score import leave_mask, leave_name, pins_in
from .table import mirror_mask

DATA_FILE = Path(__file__).parents[1] / "data" / "spares.npz"
DEFAULT_SPREAD_BOARDS = 2.16  # derived, see above
AIM_BOARDS = np.arange(1, 40)
ACROSS_DEG = 0.1  # a ball to board b starts at about board 22 on the other side: 1.7 deg to 3
SMOOTH_BOARDS, SMOOTH_DEG = 0.35, 1.2
# leave: (made, tried); status read
PUBLISHED: dict[str, tuple[float, int]] = {
    "10": (0.959 * 710, 710),
    "7": (0.955 * 333, 333),
    "9": (0.989 * 88, 88),
    "3-10": (17, 35),
    "4-6-7-10": (1, 30),
    "7-10": (1, 145),
}


@dataclass(frozen=True)
class SpareMap:
    """What balls take of each leave, by board and angle on the head pin's line.

    Parameters
    ----------
    masks : (L,) leaves; a leave and its mirror image are one.
    counts : (L, boards, angles, 11) balls that took 0 .. 10 pins, by cells.
    boards, angles_deg : middles of the cells, evenly spaced.

    Averages are Gaussian over SMOOTH_BOARDS and SMOOTH_DEG.
    """

    masks: np.ndarray = field(repr=False)
    counts: np.ndarray = field(repr=False)
    boards: np.ndarray = field(repr=False)
    angles_deg: np.ndarray = field(repr=False)
    provenance: dict[str, Any] = field(repr=False, default_factory=dict)

    @classmethod
    def load(cls, path: str | Path | None = None) -> SpareMap:
        """Read a map; the one in the package by default."""
        source = Path(path) if path is not None else DATA_FILE
        data = read_arrays(source, "spare table")
        try:
            return cls(data["masks"].astype(np.int64), data["counts"].astype(float),
                       data["boards"].astype(float), data["angles"].astype(float),
                       json.loads(str(data["provenance"])))
        except (KeyError, ValueError) as error:
            raise InputError(f"{source}: not a spare table ({error})") from None

    def along(self, board: np.ndarray, angle_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Shares (L, n, 11) of pins taken at n places, and the balls (L, n) that count there."""
        k_b = np.exp(-0.5 * ((board[:, None] - self.boards) / SMOOTH_BOARDS) ** 2)
        k_a = np.exp(-0.5 * ((angle_deg[:, None] - self.angles_deg) / SMOOTH_DEG) ** 2)
        weight = k_b[:, :, None] * k_a[:, None, :]  # (n, boards, angles)
        sums = np.einsum("nba,lbak->lnk", weight, self.counts, optimize=True)
        total = sums.sum(axis=2)
        square = np.einsum("nba,lba->ln", weight**2, self.counts.sum(axis=3), optimize=True)
        return sums / np.maximum(total, 1e-12)[..., None], total**2 / np.maximum(square, 1e-12)

    @functools.cached_property
    def _grid(self) -> np.ndarray:
        """(L, boards, angles) smoothed chance to take every pin, at the middles of the cells."""
        b, a = np.meshgrid(self.boards, self.angles_deg, indexing="ij")
        shares, _ = self.along(b.ravel(), a.ravel())
        made = np.take_along_axis(shares, pins_in(self.masks)[:, None, None], axis=2)[..., 0]
        return made.reshape(len(self.masks), *b.shape)

    def index(self, mask: int) -> tuple[int, bool] | None:
        """(row, whether mirrored) of a leave, None if it is not on the map."""
        for flipped, one in ((False, mask), (True, int(mirror_mask(mask)))):
            found = np.flatnonzero(self.masks == one)
            if found.size:
                return int(found[0]), flipped
        return None

    def chance(self, mask: int, board: np.ndarray, angle_deg: np.ndarray) -> np.ndarray:
        """(n,) chance to take every pin of a leave; 0 off the lane or where not finite.

        Linear between cells. Raises InputError for a leave that is not on the map.
        """
        found = self.index(mask)
        if found is None:
            raise InputError(f"leave {leave_name(mask)} is not among the simulated ones")
        row, flipped = found
        board, angle = np.asarray(board, float), np.asarray(angle_deg, float)
        there = np.isfinite(board) & np.isfinite(angle) & (board > 0.0) & (board < 40.0)
        b = np.where(there, board, 20.0)
        a = np.where(there, angle, 0.0)
        if flipped:
            b, a = 40.0 - b, -a
        grid = self._grid[row]
        out = np.zeros(b.shape)
        low, share = [], []
        for value, nodes in ((b, self.boards), (a, self.angles_deg)):
            at = np.clip((value - nodes[0]) / (nodes[1] - nodes[0]), 0.0, len(nodes) - 1.0)
            floor = np.minimum(at.astype(int), len(nodes) - 2)
            low.append(floor)
            share.append(at - floor)
        for i in (0, 1):
            for k in (0, 1):
                weight = (share[0] if i else 1 - share[0]) * (share[1] if k else 1 - share[1])
                out += weight * grid[low[0] + i, low[1] + k]
        return np.where(there, out, 0.0)


@dataclass(frozen=True)
class SpareTable:
    """Conversions of leaves for one spread of the spare ball.

    Parameters
    ----------
    masks : (L,) simulated leaves.
    made : (L, 39) runs that took every pin, the ball aimed at boards 1 to 39.
    taken : (L, 39, 10) runs that missed and took 0 .. 9 pins.
    spread_boards : SD of the ball's board at the pins.
    published : whether the rates of PUBLISHED stand before simulated ones.
    """

    masks: np.ndarray = field(repr=False)
    made: np.ndarray = field(repr=False)
    taken: np.ndarray = field(repr=False)
    spread_boards: float = DEFAULT_SPREAD_BOARDS
    provenance: dict[str, Any] = field(repr=False, default_factory=dict)
    published: bool = True

    def __post_init__(self) -> None:
        check_range("spread of the spare ball", self.spread_boards, 0.1, 15.0, "boards")

    @classmethod
    def load(
        cls, path: str | Path | None = None, spread_boards: float = DEFAULT_SPREAD_BOARDS
    ) -> SpareTable:
        """Read a table; the one in the package by default."""
        return cls.of_map(SpareMap.load(path), spread_boards)

    @classmethod
    def of_map(cls, spare_map: SpareMap, spread_boards: float = DEFAULT_SPREAD_BOARDS
               ) -> SpareTable:
        """For a straight ball across the lane: at board b it comes at (b - 20) ACROSS degrees."""
        chance, balls = spare_map.along(AIM_BOARDS.astype(float),
                                        ACROSS_DEG * (AIM_BOARDS - 20.0))
        counts = chance * balls[..., None]
        size = pins_in(spare_map.masks)
        made = np.take_along_axis(counts, size[:, None, None], axis=2)[..., 0]
        rest = counts.copy()
        np.put_along_axis(rest, size[:, None, None], 0.0, axis=2)
        return cls(masks=spare_map.masks, made=made, taken=rest[..., :10],
                   spread_boards=spread_boards, provenance=spare_map.provenance)

    @functools.cached_property
    def _aimed(self) -> np.ndarray:
        """(39, 41) chance that a ball aimed at a board arrives at board 1..39, or in a gutter."""
        from statistics import NormalDist

        law = NormalDist(0.0, self.spread_boards)
        edges = np.concatenate([[-np.inf], np.arange(0.5, 40.0), [np.inf]])
        return np.array([
            np.diff([0.0 if e == -np.inf else 1.0 if e == np.inf else law.cdf(e - aim)
                     for e in edges])
            for aim in AIM_BOARDS
        ])

    @functools.cached_property
    def _best(self) -> dict[int, tuple[float, float, np.ndarray, float]]:
        """mask -> (simulated rate, its SD, pins taken by misses (10,), aimed board)."""
        out = {}
        chance = self._aimed[:, 1:-1]
        for mask, made, taken in zip(self.masks, self.made, self.taken, strict=True):
            runs = made + taken.sum(axis=1)
            p = made / np.maximum(runs, 1)
            rate = chance @ p
            aim = int(np.argmax(rate))
            smooth = (made + 0.5) / (runs + 1.0)
            sd = float(np.sqrt((chance[aim] ** 2 * smooth * (1 - smooth)
                                / np.maximum(runs, 1)).sum()))
            counts = chance[aim] @ (taken / np.maximum(runs, 1)[:, None])
            counts[0] += 1.0 - chance[aim].sum()  # in a gutter
            out[int(mask)] = (float(rate[aim]), sd, counts, float(AIM_BOARDS[aim]))
        return out

    def _simulated(self, mask: int) -> tuple[float, float, np.ndarray, float] | None:
        if mask in self._best:
            return self._best[mask]
        other = int(mirror_mask(mask))
        if other in self._best:
            rate, sd, counts, aim = self._best[other]
            return rate, sd, counts, 40.0 - aim
        return None

    @functools.cached_property
    def _both_sides(self) -> list[int]:
        """The simulated leaves and their mirror images."""
        return list(dict.fromkeys(
            one for known in self.masks for one in (int(known), int(mirror_mask(int(known))))
        ))

    def nearest(self, mask: int) -> int:
        """The simulated leave that stands in for one that is not; see the module's rule."""
        inside = [m for m in self._both_sides if m & mask == m]
        if inside:
            return min(inside, key=lambda m: self._simulated(m)[0])  # type: ignore[index]
        return max(self._both_sides, key=lambda m: pins_in(m & mask) / pins_in(m | mask))

    def source(self, mask: int) -> str:
        """'published', 'simulated' or 'fallback'."""
        if self.published and mask in _published_masks():
            return "published"
        return "simulated" if self._simulated(mask) else "fallback"

    def conversion(self, mask: int) -> float:
        """Chance to pick up a leave."""
        return self.detail(mask)["rate"]

    def miss_counts(self, mask: int) -> np.ndarray:
        """(n,) chances that a missed spare ball at n pins takes 0 .. n-1 of them.

        From the simulated misses; if the simulation never missed, half a pin's worth is put on
        taking none (a ball in the gutter).
        """
        n = pins_in(mask)
        found = self._simulated(mask)
        like = mask if found else self.nearest(mask)
        found = found or self._simulated(like)
        assert found is not None
        # the pins that the stand-in lacks are counted as taken
        taken = np.roll(found[2], max(n - pins_in(like), 0))
        counts = taken[:n].copy()
        counts[n - 1] += taken[n:].sum()
        total = counts.sum()
        if total <= 0.0:
            counts[0] = 1.0
            return counts
        return counts / total

    def detail(self, mask: int) -> dict[str, Any]:
        """rate, low, high (95 %), source, aim (board; None if published) of a leave."""
        from ..stats import wilson

        if not 0 < mask < 1024:
            raise InputError(f"a leave is a mask from 1 to 1023, not {mask}")
        source = self.source(mask)
        if source == "published":
            made, tried = _published_masks()[mask]
            rate = wilson(made, tried)
            return {"rate": rate.rate, "low": rate.low, "high": rate.high, "source": source,
                    "tried": tried, "aim": None}
        found = self.simulated(mask if source == "simulated" else self.nearest(mask))
        assert found is not None
        return {key: found[key] for key in ("rate", "low", "high")} | {
            "source": source, "tried": None, "aim": found["aim"]}

    def simulated(self, mask: int) -> dict[str, float] | None:
        """The simulated rate of a leave, published or not: rate, sd, low, high (95 %), aim.

        The interval covers the number of runs, not what the model gets wrong. None if neither the
        leave nor its mirror image was simulated.
        """
        found = self._simulated(mask)
        if found is None:
            return None
        rate, sd, _, aim = found
        return {"rate": rate, "sd": sd, "low": max(rate - 1.96 * sd, 0.0),
                "high": min(rate + 1.96 * sd, 1.0), "aim": aim}


@functools.cache
def _published_masks() -> dict[int, tuple[float, int]]:
    return {leave_mask(name): value for name, value in PUBLISHED.items()}


@functools.cache
def default_map() -> SpareMap:
    """The map that ships with the package, read once."""
    return SpareMap.load()


@functools.cache
def default_spares() -> SpareTable:
    """The table that ships with the package, read once: a professional, published rates first."""
    return SpareTable.of_map(default_map())


def spread_at_pins(spread: Spread) -> float:
    """SD [boards] at the pins of a straight ball: sqrt(sd_laydown^2 + (60 ft tan sd_angle)^2)."""
    across = lane.HEAD_PIN_M * math.tan(math.radians(spread.sd_angle_deg)) / lane.BOARD_M
    return math.hypot(spread.sd_laydown_board, across)


@functools.lru_cache(maxsize=32)
def player_spares(spread: Spread) -> SpareTable:
    """The shipped table for a player's spread (at least 0.1 boards at the pins), all simulated."""
    return replace(default_spares(), published=False,
                   spread_boards=min(max(spread_at_pins(spread), 0.1), 15.0))
