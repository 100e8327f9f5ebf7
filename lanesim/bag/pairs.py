"""Every way to use a ball in every condition: its line, its shots, its pins.

A pair is a ball in a condition. `Judging` finds a line for each, quickly first and thoroughly where
asked, throws the same fresh shots on each (common random numbers), and turns their arrivals into
pins per game, once for what they were and once for each resample of the shots and of the carry
table. What was found is kept by name (`cache.key_of`); a name tells of everything that led there.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from ..equipment.ball import Ball
from ..motion.pocket import POCKET
from ..player import Spread
from ..progress import Progress
from ..streams import Stage, stream
from .cache import Cache, key_of
from .conditions import Condition, arrays
from .judging import default_parts, game_of, node_weights, resampled_parts
from .search import STARTS, Lines, better_lines, find_lines, lines_judged

if TYPE_CHECKING:
    from .event import Event

ROOTS = ("bag.pairs",)
TABLE_RESAMPLES = 24
INTERVAL = (2.5, 97.5)
_GROUP = 12  # balls searched together: a record is written after each group

@dataclass(frozen=True)
class Judged:
    """Every use in every condition; rows of NaN for balls that are never thrown at full racks.

    Attributes
    ----------
    pins, low, high : (v, c) pins per game with the resampling interval.
    strike, pocket : (v, c) rates. laydown, angle_deg : (v, c) the line.
    samples, strikes : (resamples, v, c) pins per game and strike rates on resampled shots and
        tables.
    sd : (v, c) SD of one game (NaN where it was not needed).
    thorough : (v, c) whether the line is a thorough search's, not a quick one's.
    shots_thrown, records_found : work of this run, and records taken from the cache.
    """

    pins: np.ndarray
    low: np.ndarray
    high: np.ndarray
    strike: np.ndarray
    pocket: np.ndarray
    laydown: np.ndarray
    angle_deg: np.ndarray
    samples: np.ndarray = field(repr=False)
    strikes: np.ndarray = field(repr=False)
    sd: np.ndarray = field(repr=False)
    thorough: np.ndarray = field(repr=False)
    shots_thrown: int = 0
    records_found: int = 0


class Judging:
    """The judging as it goes on. Arrays are (condition, ball) over the balls thrown at racks."""

    def __init__(
        self, event: Event, conditions: tuple[Condition, ...],
        balls: Sequence[Sequence[Ball | None]], *, shots: int, seed: int, resamples: int,
        cache: Cache, seconds: dict[str, float] | None = None, before: Judging | None = None,
    ) -> None:
        """balls : [condition][use] as it then is; None where the use is not to be judged.
        before : an earlier judging on lanes that differ little: where searches may start."""
        self.event, self.conditions, self.cache = event, conditions, cache
        self.here = np.array([b is not None for b in balls[0]])
        self.which = np.flatnonzero(self.here)
        self.place = {int(v): n for n, v in enumerate(self.which)}
        self.balls = [[b for b in row if b is not None] for row in balls]
        self.shots, self.seed, self.resamples = shots, seed, resamples
        self.clock = seconds if seconds is not None else {}
        self.earlier = before
        c, v = len(conditions), len(self.balls[0])
        self.entries = np.empty((c, v, 3, shots), dtype=np.float32)
        self.starts = np.full((c, v, STARTS, 3), np.nan)
        self.lines = np.empty((c, v, 3))  # laydown, angle, share in the pocket
        self.pins, self.strike, self.sd = (np.full((c, v), np.nan) for _ in range(3))
        self.samples, self.strikes = (np.empty((resamples, c, v)) for _ in range(2))
        self.thorough = np.zeros((c, v), dtype=bool)
        self.keys: list[list[str]] = [[""] * v for _ in range(c)]
        self.thrown: int = 0 if before is None else before.thrown
        self.kept: int = 0 if before is None else before.kept
        counts = stream(Stage.BAG_RESAMPLE, seed).multinomial(
            shots, np.full(shots, 1.0 / shots), size=resamples) / shots
        self.counts = counts.astype(np.float32)
        # the lanes as the searches need them
        self.films = [k.pattern.film_m(event.player.release.hand) for k in conditions]
        self.arrays = [arrays(row, k.pattern, event.friction) if row else None
                       for row, k in zip(self.balls, conditions, strict=True)]

    # --- lines and shots ------------------------------------------------------------------

    def quick(self, progress: Progress | None = None) -> None:
        """All pairs, each from the record kept of it or by a quick search.

        A ball's search starts from its lines of the stage before, or of the earlier judging.
        """
        start = time.perf_counter()
        many = len(self.balls[0])
        every = len(self.conditions) * many
        for c in range(len(self.conditions)):
            for v in range(many):
                self.keys[c][v] = self._key(c, v, "quick", self._before(c, v)[0])
            missing = [v for v in range(many) if not self._take(c, v)]
            done = c * many + many - len(missing)
            if progress:
                progress(done, every)
            for n in range(0, len(missing), _GROUP):
                group = missing[n : n + _GROUP]
                self._search(c, group)
                if progress:
                    progress(done + n + len(group), every)
        self._took("lines and shots", start)
        self._measure([(c, v) for c in range(len(self.conditions)) for v in range(many)])

    def _before(self, c: int, v: int) -> tuple[str, np.ndarray | None]:
        """Where the search of a pair may start, and its name."""
        earlier = self.earlier
        at = None if earlier is None else earlier.place.get(int(self.which[v]))
        if earlier is not None and at is not None:
            return earlier.keys[c][at], earlier.starts[c, at]
        if c == 0 or self.conditions[c - 1].round != self.conditions[c].round:
            return "", None
        return self.keys[c - 1][v], self.starts[c - 1, v]

    def _inputs(self, c: int, group: list[int]) -> tuple[Any, ...]:
        given = self.arrays[c]
        assert given is not None  # asked only where balls are
        paps, pars = given
        return (paps[group], pars[group], self.films[c], self.event.player.release,
                self.event.player.spread, default_parts(self.event.player.spread))

    def _key(self, c: int, v: int, *more: Any) -> str:
        release = replace(self.event.player.release, laydown_board=20.0, launch_angle_deg=0.0)
        return key_of(ROOTS, self.conditions[c].lane, self.balls[c][v], self.event.friction,
                      release, self.event.player.spread, self.shots, self.seed, *more)

    def _take(self, c: int, v: int) -> bool:
        """Use the record kept of a pair, if there is one."""
        found = self.cache.get(self.keys[c][v])
        if found is None:
            return False
        self._put(c, v, found)
        self.kept += 1
        return True

    def _put(self, c: int, v: int, record: dict[str, np.ndarray]) -> None:
        self.entries[c, v], self.lines[c, v] = record["entry"], record["line"]
        self.starts[c, v] = record["starts"]

    def _search(self, c: int, group: list[int]) -> None:
        before = {v: self._before(c, v)[1] for v in group}
        cold = [v for v in group if before[v] is None]
        warm = [v for v in group if before[v] is not None]
        for some, starts in ((cold, None), (warm, [before[v] for v in warm])):
            if some:
                self._keep(c, some, find_lines(
                    *self._inputs(c, some), shots=self.shots, seed=self.seed,
                    starts=None if starts is None else np.array(starts)))

    def _keep(self, c: int, group: list[int], found: Lines) -> None:
        self.thrown += found.searched + found.outcome.size
        for n, v in enumerate(group):
            record = {
                "entry": np.stack([found.board[n], found.angle_deg[n], found.speed_mph[n]]
                                  ).astype(np.float32),
                "line": np.array([found.laydown_board[n], found.launch_angle_deg[n],
                                  np.mean(found.outcome[n] == POCKET)]),
                "starts": found.starts[n],
            }
            self.cache.put(self.keys[c][v], record)
            self._put(c, v, record)

    def deepen(self, pairs: set[tuple[int, int]]) -> None:
        """Search thoroughly for the lines of pairs (use, condition), uses counted over all."""
        start = time.perf_counter()
        changed = []
        for c in sorted({c for _, c in pairs}):
            group = sorted(self.place[v] for v, k in pairs if k == c)
            self.thorough[c, group] = True
            names, known = zip(*(self._known(c, v) for v in group), strict=True)
            for v, name in zip(group, names, strict=True):
                self.keys[c][v] = self._key(c, v, "thorough", *name)
            missing = [n for n, v in enumerate(group) if not self._take(c, v)]
            changed += [(c, v) for v in group]
            if missing:
                self._deepen(c, [group[n] for n in missing], np.array([known[n] for n in missing]))
        self._took("thorough lines", start)
        self._measure(changed)

    def _known(self, c: int, v: int) -> tuple[list[str], np.ndarray]:
        """(3, 2) the pair's line and those of the stages before and after, NaN without one; and
        their names."""
        names, out = [self.keys[c][v]], np.full((3, 2), np.nan)
        out[0] = self.lines[c, v, :2]
        for n, other in ((1, c - 1), (2, c + 1)):
            if (0 <= other < len(self.conditions)
                    and self.conditions[other].round == self.conditions[c].round):
                names.append(self.keys[other][v])
                out[n] = self.lines[other, v, :2]
        return names, out

    def _deepen(self, c: int, group: list[int], known: np.ndarray) -> None:
        inputs = self._inputs(c, group)
        lines, thrown = better_lines(*inputs, seed=self.seed, starts=self.starts[c, group],
                                     known=known)
        self.thrown += thrown
        moved = np.any(lines != known[:, 0], axis=1)
        for n in np.flatnonzero(~moved):  # the quick line stands, and the shots on it
            v = group[n]
            self.cache.put(self.keys[c][v], {"entry": self.entries[c, v], "line": self.lines[c, v],
                                             "starts": self.starts[c, v]})
        at = np.flatnonzero(moved)
        if len(at):
            paps, pars, film, release, spread, parts = inputs
            judged = lines_judged(paps[at], pars[at], film, release, spread, parts, lines[at],
                                  shots=self.shots, seed=self.seed)
            mine = [group[n] for n in at]
            self._keep(c, mine, replace(judged, starts=self.starts[c, mine]))

    def _took(self, what: str, start: float) -> None:
        self.clock[what] = self.clock.get(what, 0.0) + time.perf_counter() - start

    # --- pins -----------------------------------------------------------------------------

    @cached_property
    def resampled_nodes(self) -> tuple[np.ndarray, np.ndarray]:
        """The carry table resampled, plain and flipped (nodes, tables, 4): slow, made once."""
        tables = resampled_parts(
            min(TABLE_RESAMPLES, self.resamples), self.seed, self.event.player.spread
        )
        plain, flipped = (
            np.stack([getattr(t, side) for t in tables], axis=1) for side in ("plain", "flipped")
        )
        return plain, flipped

    def _measure(self, pairs: list[tuple[int, int]]) -> None:
        """Pins and resamples of pairs (condition, ball)."""
        start = time.perf_counter()
        parts_now = default_parts(self.event.player.spread)
        plain_nodes, flipped_nodes = self.resampled_nodes
        for c, v in pairs:
            entry = self.entries[c, v].astype(float)
            each = parts_now.of_shots(*entry)
            mean = each.mean(axis=0)
            self.pins[c, v], self.strike[c, v] = game_of(mean), mean[0]
            drawn = self.counts @ each.astype(np.float32)
            plain, flipped, gutter = node_weights(*entry)
            near, far = np.flatnonzero(plain), np.flatnonzero(flipped)
            others = (np.einsum("n,ntp->tp", plain[near], plain_nodes[near])
                      + np.einsum("n,ntp->tp", flipped[far], flipped_nodes[far])
                      + gutter * parts_now.gutter)
            table = np.arange(self.resamples) % len(others)
            self.samples[:, c, v] = game_of(drawn) + (game_of(others) - self.pins[c, v])[table]
            self.strikes[:, c, v] = drawn[:, 0] + (others[:, 0] - mean[0])[table]
            self.sd[c, v] = np.nan
        self._took("pins and resamples", start)

    def game_sd(self, v: int, c: int) -> float:
        """SD of one game of a use (counted over all) in a condition."""
        place = self.place[v]
        if not np.isfinite(self.sd[c, place]):
            self.sd[c, place] = _game_sd(self.entries[c, place].astype(float),
                                         self.event.player.spread)
        return float(self.sd[c, place])

    def result(self, *, with_sd: bool = False) -> Judged:
        """What is known now."""
        if with_sd:
            for v in np.flatnonzero(self.here):
                for c in range(len(self.conditions)):
                    self.game_sd(int(v), c)
        low, high = np.percentile(self.samples, INTERVAL, axis=0)

        def wide(array: np.ndarray) -> np.ndarray:
            """(v, ...) over all uses from (ball, ...)."""
            out = np.full((len(self.here), *array.shape[1:]), np.nan)
            out[self.here] = array
            return out

        def drawn(array: np.ndarray) -> np.ndarray:
            out = np.full((self.resamples, len(self.here), len(self.conditions)), np.nan)
            out[:, self.here] = np.swapaxes(array, 1, 2)
            return out

        thorough = np.zeros((len(self.here), len(self.conditions)), dtype=bool)
        thorough[self.here] = self.thorough.T
        return Judged(
            wide(self.pins.T), wide(low.T), wide(high.T), wide(self.strike.T),
            wide(self.lines[:, :, 2].T), wide(self.lines[:, :, 0].T), wide(self.lines[:, :, 1].T),
            drawn(self.samples), drawn(self.strikes), wide(self.sd.T), thorough, self.thrown,
            self.kept,
        )


def _game_sd(entry: np.ndarray, spread: Spread) -> float:
    from ..pins.outcomes import pins_from_shots
    from ..pins.score import game
    from ..pins.spares import player_spares

    return game(pins_from_shots(*entry, spares=player_spares(spread)).odds).sd
