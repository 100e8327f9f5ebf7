"""Which balls to take: every candidate judged in every condition, then the best bag, proven.

1. The lanes: each round's pattern after the games bowled on it (`transition.pattern_after`).
2. Every ball x layout x finish on every such lane, each on its own best line (`bag_lines`), with
   common random numbers; pins per game from the carry and spare tables (`bag_pins`).
3. The best bag, exactly, and those nearly as good (`bag_model`).
4. The same choice on resampled shots and carry tables: how often is this still the best bag?

Stated assumptions: the other players on the lane are like this one; the lane changes the same
whatever bag is taken (as if `my_ball` were thrown); a stage is judged on the lane at its middle
and on the first lane of the pair; every finish has `finish_games` games on it; frames are
independent. Not in any interval: the model's own error, and what a search for a line misses (see
bag_lines). Balls are judged on lines of a quick search first; then thorough searches are made
until they have been made for all that the best bags throw, and for all that any other bag would
have to throw to be better, were its quick lines up to HOPE pins a game too low (`_settle`).
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from ..equipment.ball import Ball
from ..equipment.layout import layout_text
from ..errors import InputError, check_range
from ..lane.friction import FrictionModel
from ..lane.geometry import BOARD_M
from ..lane.pattern import OilPattern
from ..lines.plane import LAYDOWN_RANGE, board_at_arrows
from ..motion import setup
from ..motion.pocket import POCKET
from ..motion.trajectory import throw_many
from ..pins.score import game
from ..player import RELEASE_COLUMNS, Release, Spread
from ..streams import Stage, stream
from ..studies.transition import Entrant, pattern_after
from ..units import FOOT_M
from . import choice
from . import program as model
from .cache import LANE_SOURCES, SHOT_SOURCES, Cache, key_of
from .event import Event, Round
from .judging import default_parts, game_of, node_weights, resampled_parts
from .search import STARTS, Lines, better_lines, find_lines, lines_judged

DEFAULT_SHOTS = 2000
DEFAULT_RESAMPLES = 100
TABLE_RESAMPLES = 24
DEFAULT_MARGIN = 0.5  # pins per game within which bags count as nearly as good
MARGIN_CHANCE = 0.01  # the same for the chance of a cut
INTERVAL = (2.5, 97.5)
LINE_SHOTS = 256  # shots that judge the field's lines on the fresh oil
STRENGTH_FT = 57  # how far across a ball has come here says how strong it is
# Pins per game that a quick line is given the benefit of, see `_settle`: of 210 quick searches two
# or three were a little farther behind the best line, 5.2 at worst (`bag_lines`).
HOPE = 5.0
MOST_THOROUGH = 400  # pairs searched thoroughly at most
_GROUP = 12  # balls searched together: a record is written after each group

Progress = Callable[[float, float], None]


@dataclass(frozen=True)
class Use:
    """A way to use a candidate: the event's variant with the ball it makes."""

    candidate: int
    variant: model.Variant
    ball: Ball = field(repr=False)
    spares_only: bool = False


@dataclass(frozen=True)
class Condition:
    """A stage of a round: its lane, how many games, and its weight (summing to 1)."""

    round: int
    name: str
    first_game: int
    games: int
    weight: float
    pattern: OilPattern = field(repr=False)

    @property
    def label(self) -> str:
        """Like 'Saturday, short: games 3-4'."""
        return f"{self.name}: {self.games_text}"

    @property
    def games_text(self) -> str:
        """Like 'games 3-4'."""
        last = self.first_game + self.games
        if self.games == 1:
            return f"game {last}"
        return f"games {self.first_game + 1}-{last}"


@dataclass(frozen=True)
class Judged:
    """Every use in every condition.

    Attributes
    ----------
    pins, low, high : (v, c) pins per game with the resampling interval.
    strike, pocket : (v, c) rates. laydown, angle_deg : (v, c) the line.
    strength : (v,) boards a mean shot on the player's own line has hooked at STRENGTH_FT, mean
        over the first stage of each round.
    samples : (resamples, v, c) pins per game on resampled shots and tables.
    sd : (v, c) SD of one game (NaN where it was not needed).
    thorough : (v, c) whether the line is a thorough search's (see `settled`), not a quick one's.
    shots_thrown, records_found : work of this run, and records taken from the cache.
    """

    pins: np.ndarray
    low: np.ndarray
    high: np.ndarray
    strike: np.ndarray
    pocket: np.ndarray
    laydown: np.ndarray
    angle_deg: np.ndarray
    strength: np.ndarray
    samples: np.ndarray = field(repr=False)
    sd: np.ndarray = field(repr=False)
    thorough: np.ndarray = field(repr=False)
    shots_thrown: int = 0
    records_found: int = 0


@dataclass(frozen=True)
class BallInBag:
    """A ball of the bag, and what it is there for.

    adds : what the bag loses without it (objective), others re-finished; low, high from the
    resamples with the bags kept. None for the only ball. finishes : phase -> finish.
    next_finish_costs : what its next best finish would cost (objective); None without one.
    """

    name: str
    title: str
    place: str
    layout: str
    finishes: dict[int, str]
    new_drilling: bool
    new_finish: bool
    required: bool
    strength: float
    games: float
    adds: float | None
    adds_low: float | None
    adds_high: float | None
    next_finish_costs: float | None


@dataclass(frozen=True)
class Choice:
    """A bag among the best: value, how far behind, and in what share of resamples it won."""

    solution: model.Solution
    behind: float
    behind_low: float
    behind_high: float
    won: float


@dataclass(frozen=True)
class Advice:
    """Which ball in a condition, and the line to start on.

    laydown_board, arrow_board, launch_angle_deg : as the player reads them (`Event.as_read`);
    true_laydown_board, true_launch_angle_deg : on the lane.
    """

    condition: int
    use: int
    ball: str
    finish: str
    laydown_board: float
    arrow_board: float
    launch_angle_deg: float
    pins: float
    low: float
    high: float
    strike: float
    pocket: float
    change: bool
    hole_pins: float
    hole_ball: str
    true_laydown_board: float
    true_launch_angle_deg: float


@dataclass(frozen=True)
class Comparison:
    """A question about the bag answered by another bag: gain with its resampling interval."""

    question: str
    gain: float
    low: float
    high: float
    detail: str

    @property
    def clear(self) -> bool:
        """Whether the gain is more than the noise."""
        return self.low > 0.0


@dataclass(frozen=True)
class BagPlan:
    """The plan: see the module.

    Attributes
    ----------
    best : the bag; balls : its balls, strongest first; advice : what to throw in each condition.
    choices : the best bags, the best one first; other_share : share of the resamples won by a bag
        that is not among them; near_share : share in which the best bag is at most `margin`
        behind the resample's best.
    comparisons : what the next ball and a new drilling would bring.
    cut_chance : chance of the event's cut with this bag; None without one.
    paths : (c, 61) board at whole feet of the mean shot in each condition.
    settled : no other bag would be better even if all its quick lines were HOPE pins too low (see
        `_settle`); the lines of the listed bags are thorough ones.
    seconds : what took the time.
    """

    event: Event
    conditions: tuple[Condition, ...]
    uses: tuple[Use, ...]
    judged: Judged
    objective: str
    best: model.Solution
    balls: tuple[BallInBag, ...]
    advice: tuple[Advice, ...]
    choices: tuple[Choice, ...]
    other_share: float
    near_share: float
    comparisons: tuple[Comparison, ...]
    cut_chance: float | None
    paths: np.ndarray = field(repr=False)
    shots: int = 0
    seed: int = 0
    resamples: int = 0
    margin: float = 0.0
    damaged_records: int = 0
    settled: bool = True
    seconds: dict[str, float] = field(default_factory=dict)

    @property
    def pairs(self) -> int:
        """Pairs of a way to use a ball and a condition that were judged."""
        return int(np.isfinite(self.judged.pins).sum())

    @property
    def unit(self) -> str:
        """Unit of the objective."""
        return "chance" if self.objective == "cut" else "pins per game"

    @property
    def stability(self) -> float:
        """Share of the resamples in which the best bag is still the best."""
        return self.choices[0].won

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for files.to_json."""
        return {
            "event": self.event.name, "provenance": self.event.provenance,
            "maximise": self.objective, "unit": self.unit,
            "value": self.best.value, "mean_pins": self.best.mean, "proven_gap": self.best.gap,
            "cut": self.event.cut, "cut_chance": self.cut_chance,
            "still_best_share": self.stability, "other_bags_share": self.other_share,
            "within_margin_share": self.near_share, "margin": self.margin,
            "shots": self.shots, "seed": self.seed, "resamples": self.resamples,
            "balls": list(self.balls), "conditions": [
                {"label": self.conditions[a.condition].label,
                 "weight": self.conditions[a.condition].weight,
                 **{k: getattr(a, k) for k in a.__dataclass_fields__}} for a in self.advice],
            "bags": [{"balls": c.solution.drilled, "value": c.solution.value, "behind": c.behind,
                      "behind_low": c.behind_low, "behind_high": c.behind_high, "won": c.won}
                     for c in self.choices],
            "comparisons": [{"question": q.question, "gain": q.gain, "low": q.low, "high": q.high,
                             "clear": q.clear, "detail": q.detail} for q in self.comparisons],
            "shots_thrown": self.judged.shots_thrown, "from_cache": self.judged.records_found,
            "damaged_records_rebuilt": self.damaged_records,
            "thorough_lines": int(self.judged.thorough.sum()), "settled": self.settled,
            "hope_pins": HOPE, "seconds": self.seconds,
        }

    def table(self) -> tuple[list[str], list[list[Any]]]:
        """Header and rows: every use in every condition; lines as the player reads them, and as
        they truly are on the lane."""
        head = ["ball", "layout", "finish", "round", "first_game", "games", "weight",
                "pins_per_game", "low", "high", "strike_rate", "pocket_rate", "laydown_board",
                "launch_angle_deg", "arrow_board", "chosen", "thorough_line",
                "true_laydown_board", "true_launch_angle_deg"]
        rows = []
        for v, use in enumerate(self.uses):
            if use.spares_only:
                continue
            for c, condition in enumerate(self.conditions):
                j = self.judged
                true = float(j.laydown[v, c]), float(j.angle_deg[v, c])
                line = self.event.as_read(*true)
                rows.append([
                    use.variant.ball, use.variant.layout, use.variant.finish, condition.name,
                    condition.first_game + 1, condition.games, condition.weight,
                    float(j.pins[v, c]), float(j.low[v, c]), float(j.high[v, c]),
                    float(j.strike[v, c]), float(j.pocket[v, c]), *line, board_at_arrows(*line),
                    int(self.best.use[c] == v), int(j.thorough[v, c]), *true,
                ])
        return head, rows

    def to_csv(self) -> str:
        """The table as CSV."""
        from ..files import csv_text

        return csv_text(*self.table())


# --- candidates and lanes -----------------------------------------------------------------------


def event_uses(event: Event) -> tuple[Use, ...]:
    """Every candidate x layout x finish."""
    out = []
    for i, candidate in enumerate(event.candidates):
        for layout, fresh in candidate.layouts:
            for finish, sanded in candidate.finishes:
                ball = candidate.variant(layout, finish, event.finish_games)
                out.append(Use(i, model.Variant(
                    candidate.name, layout_text(layout), finish,
                    ball.weight_lb if candidate.travels else 0.0, candidate.travels, fresh, sanded,
                ), ball, candidate.spares_only))
    return tuple(out)


def lanes_of(event: Event, one: Round, *, seed: int, cache: Cache) -> list[OilPattern]:
    """The lane at the middle of each stage of a round."""
    lanes, player = event.lanes, event.player
    after = [one.games_before + s.first_game + s.games // 2 for s in one.stages]
    key = key_of(
        LANE_SOURCES, one.pattern.volume_ul, one.pattern.viscosity_cp, player.release,
        player.spread, lanes.players, lanes.lanes, lanes.apart_boards, lanes.follow,
        *_arrays([lanes.my_ball, lanes.their_ball], one.pattern, event.friction)[1],
        lanes.my_ball.inertia, lanes.their_ball.inertia, after, seed,
    )
    found = cache.get(key)
    if found is None:
        volumes = np.array([p.volume_ul for p in _play(event, one, after, seed)])
        found = {"volume_ul": volumes}
        cache.put(key, found)
    return [replace(one.pattern.with_volume(v), name=f"{one.pattern.name} after {n} games")
            if n else one.pattern for v, n in zip(found["volume_ul"], after, strict=True)]


def _play(event: Event, one: Round, after: list[int], seed: int) -> list[OilPattern]:
    lanes, player, pattern = event.lanes, event.player, one.pattern
    if max(after) == 0:
        return [pattern] * len(after)
    balls = [lanes.my_ball, lanes.their_ball]
    line = find_lines(*_arrays(balls, pattern, event.friction), pattern.film_m(player.release.hand),
                      player.release, player.spread, default_parts(player.spread),
                      shots=LINE_SHOTS, seed=seed)
    entrants = []
    for n in range(lanes.players):
        mine = 0 if n == 0 else 1
        apart = lanes.apart_boards * ((n + 1) // 2) * (-1 if n % 2 else 1)
        board = float(np.clip(line.laydown_board[mine] + apart, *LAYDOWN_RANGE))
        release = replace(player.release, laydown_board=board,
                          launch_angle_deg=float(line.launch_angle_deg[mine]))
        entrants.append(Entrant(balls[mine], replace(player, release=release), f"player {n + 1}"))
    stages = pattern_after(entrants, pattern, max(after), seed=seed, lanes=lanes.lanes,
                           follow=lanes.follow, friction=event.friction)
    return [stages[n] for n in after]


def _arrays(
    balls: list[Ball], pattern: OilPattern, friction: FrictionModel
) -> tuple[np.ndarray, np.ndarray]:
    """PAPs (b, 3) and parameter vectors (b, P_COUNT) of balls on the pattern's oil."""
    return (np.array([b.inertia.pap_body for b in balls]),
            np.array([setup.parameter_vector(b, viscosity_cp=pattern.viscosity_cp,
                                             friction=friction) for b in balls]))


def event_conditions(
    event: Event, *, seed: int, cache: Cache, progress: Progress | None = None
) -> tuple[Condition, ...]:
    """The stages of all rounds with their lanes."""
    total = sum(r.weight * r.games for r in event.rounds)
    out = []
    for n, one in enumerate(event.rounds):
        for stage, lane in zip(one.stages, lanes_of(event, one, seed=seed, cache=cache),
                               strict=True):
            out.append(Condition(n, one.name, stage.first_game, stage.games,
                                 one.weight * stage.games / total, lane))
        if progress:
            progress(n + 1, len(event.rounds))
    return tuple(out)


# --- judging ------------------------------------------------------------------------------------


def judge(
    event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...], *,
    shots: int, seed: int, resamples: int, cache: Cache, with_sd: bool,
    progress: Progress | None = None, seconds: dict[str, float] | None = None,
) -> Judged:
    """Every use in every condition on the line of a quick search; see `Judged`."""
    judging = _Judging(event, uses, conditions, shots=shots, seed=seed, resamples=resamples,
                       cache=cache, with_sd=with_sd, seconds=seconds)
    judging.quick(progress)
    return judging.result()


class _Judging:
    """The judging as it goes on: quick lines for all pairs of a use and a condition, then thorough
    ones for those that matter. Arrays are (condition, use) over the uses thrown at full racks."""

    def __init__(
        self, event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...], *,
        shots: int, seed: int, resamples: int, cache: Cache, with_sd: bool,
        seconds: dict[str, float] | None = None,
    ) -> None:
        self.event, self.conditions, self.cache = event, conditions, cache
        self.here = np.array([not u.spares_only for u in uses])
        self.uses = tuple(u for u in uses if not u.spares_only)
        self.shots, self.seed, self.resamples, self.with_sd = shots, seed, resamples, with_sd
        self.clock = seconds if seconds is not None else {}
        c, v = len(conditions), len(self.uses)
        self.entries = np.empty((c, v, 3, shots), dtype=np.float32)
        self.starts = np.full((c, v, STARTS, 3), np.nan)
        self.lines = np.empty((c, v, 3))  # laydown, angle, share in the pocket
        self.pins, self.strike, self.sd = (np.full((c, v), np.nan) for _ in range(3))
        self.samples = np.empty((resamples, c, v))
        self.thorough = np.zeros((c, v), dtype=bool)
        self.thrown = self.kept = 0
        self.strength = _strength(event, self.uses, conditions) if v else np.empty(0)
        rng = stream(Stage.BAG_RESAMPLE, seed)
        counts = rng.multinomial(shots, np.full(shots, 1.0 / shots), size=resamples) / shots
        self.counts = counts.astype(np.float32)
        # the lanes as the searches need them
        player = event.player
        self.manner = np.array([getattr(player.release, n) for n in RELEASE_COLUMNS[2:]])
        self.films = [k.pattern.film_m(player.release.hand) for k in conditions]
        self.arrays = [_arrays([u.ball for u in self.uses], k.pattern, event.friction)
                       for k in conditions]

    # --- lines and shots ------------------------------------------------------------------

    def quick(self, progress: Progress | None = None) -> None:
        """All pairs, each from the record kept of it or by a quick search.

        In the later stages of a round a ball's search starts from its lines of the stage before.
        """
        start = time.perf_counter()
        every = len(self.conditions) * len(self.uses)
        for c in range(len(self.conditions)):
            keys = [self._key(c, v, self._before(c, v)) for v in range(len(self.uses))]
            missing = [v for v, key in enumerate(keys) if not self._take(c, v, key)]
            done = c * len(self.uses) + len(self.uses) - len(missing)
            if progress:
                progress(done, every)
            for n in range(0, len(missing), _GROUP):
                group = missing[n : n + _GROUP]
                self._search(c, group, [keys[v] for v in group])
                if progress:
                    progress(done + n + len(group), every)
        self.clock["lines and shots"] = time.perf_counter() - start
        self._measure([(c, v) for c in range(len(self.conditions)) for v in range(len(self.uses))])

    def _before(self, c: int, v: int) -> np.ndarray | None:
        """Where the search of a pair may start: the ball's best lines one stage before."""
        if c == 0 or self.conditions[c - 1].round != self.conditions[c].round:
            return None
        return self.starts[c - 1, v]

    def _inputs(self, c: int, group: list[int]) -> tuple[Any, ...]:
        paps, pars = self.arrays[c]
        return (paps[group], pars[group], self.films[c], self.event.player.release,
                self.event.player.spread, default_parts(self.event.player.spread))

    def _key(self, c: int, v: int, *more: Any) -> str:
        paps, pars = self.arrays[c]
        return key_of(SHOT_SOURCES, paps[v], pars[v], self.films[c], self.manner,
                      self.event.player.spread.array(), self.shots, self.seed, *more)

    def _take(self, c: int, v: int, key: str) -> bool:
        """Use the record kept of a pair, if there is one."""
        found = self.cache.get(key)
        if found is None:
            return False
        self._put(c, v, found)
        self.kept += 1
        return True

    def _put(self, c: int, v: int, record: dict[str, np.ndarray]) -> None:
        self.entries[c, v], self.lines[c, v] = record["entry"], record["line"]
        self.starts[c, v] = record["starts"]

    def _search(self, c: int, group: list[int], keys: list[str]) -> None:
        before = [self._before(c, v) for v in group]
        starts = None if before[0] is None else np.array(before)
        found = find_lines(*self._inputs(c, group), shots=self.shots, seed=self.seed,
                           starts=starts)
        self._keep(c, group, keys, found)

    def _keep(self, c: int, group: list[int], keys: list[str], found: Lines) -> None:
        self.thrown += found.searched + found.outcome.size
        for n, (v, key) in enumerate(zip(group, keys, strict=True)):
            record = {
                "entry": np.stack([found.board[n], found.angle_deg[n], found.speed_mph[n]]
                                  ).astype(np.float32),
                "line": np.array([found.laydown_board[n], found.launch_angle_deg[n],
                                  np.mean(found.outcome[n] == POCKET)]),
                "starts": found.starts[n],
            }
            self.cache.put(key, record)
            self._put(c, v, record)

    def deepen(self, pairs: set[tuple[int, int]]) -> None:
        """Search thoroughly for the lines of pairs (use, condition), uses counted over all."""
        start = time.perf_counter()
        place = np.cumsum(self.here) - 1
        changed = []
        for c in sorted({c for _, c in pairs}):
            group = sorted(int(place[v]) for v, k in pairs if k == c)
            self.thorough[c, group] = True
            known = np.array([self._known(c, v) for v in group])
            keys = [self._key(c, v, "thorough", known[n], self.starts[c, v])
                    for n, v in enumerate(group)]
            missing = [n for n, v in enumerate(group) if not self._take(c, v, keys[n])]
            changed += [(c, v) for v in group]
            if missing:
                self._deepen(c, [group[n] for n in missing], [keys[n] for n in missing],
                             known[missing])
        self.clock["thorough lines"] = (self.clock.get("thorough lines", 0.0)
                                        + time.perf_counter() - start)
        self._measure(changed)

    def _known(self, c: int, v: int) -> np.ndarray:
        """(3, 2) the pair's line and those of the stages before and after, NaN without one."""
        out = np.full((3, 2), np.nan)
        out[0] = self.lines[c, v, :2]
        for n, other in ((1, c - 1), (2, c + 1)):
            if (0 <= other < len(self.conditions)
                    and self.conditions[other].round == self.conditions[c].round):
                out[n] = self.lines[other, v, :2]
        return out

    def _deepen(self, c: int, group: list[int], keys: list[str], known: np.ndarray) -> None:
        inputs = self._inputs(c, group)
        lines, thrown = better_lines(*inputs, seed=self.seed, starts=self.starts[c, group],
                                     known=known)
        self.thrown += thrown
        moved = np.any(lines != known[:, 0], axis=1)
        for n in np.flatnonzero(~moved):  # the quick line stands, and the shots on it
            v = group[n]
            self.cache.put(keys[n], {"entry": self.entries[c, v], "line": self.lines[c, v],
                                     "starts": self.starts[c, v]})
        at = np.flatnonzero(moved)
        if len(at):
            paps, pars, *rest = inputs
            judged = lines_judged(paps[at], pars[at], *rest, lines[at], shots=self.shots,
                                  seed=self.seed)
            judged = replace(judged, starts=self.starts[c, [group[n] for n in at]])
            self._keep(c, [group[n] for n in at], [keys[n] for n in at], judged)

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
        """Pins and resamples of pairs (condition, use)."""
        start = time.perf_counter()
        parts_now = default_parts(self.event.player.spread)
        plain_nodes, flipped_nodes = self.resampled_nodes
        for c, v in pairs:
            entry = self.entries[c, v].astype(float)
            each = parts_now.of_shots(*entry)
            mean = each.mean(axis=0)
            self.pins[c, v], self.strike[c, v] = game_of(mean), mean[0]
            drawn = game_of(self.counts @ each.astype(np.float32))
            plain, flipped, gutter = node_weights(*entry)
            near, far = np.flatnonzero(plain), np.flatnonzero(flipped)
            others = (np.einsum("n,ntp->tp", plain[near], plain_nodes[near])
                      + np.einsum("n,ntp->tp", flipped[far], flipped_nodes[far])
                      + gutter * parts_now.gutter)
            moved = game_of(others) - self.pins[c, v]
            self.samples[:, c, v] = drawn + moved[np.arange(self.resamples) % len(moved)]
            if self.with_sd:
                self.sd[c, v] = _game_sd(entry, self.event.player.spread)
        self.clock["pins and resamples"] = (self.clock.get("pins and resamples", 0.0)
                                            + time.perf_counter() - start)

    def game_sd(self, v: int, c: int) -> float:
        """SD of one game of a use (counted over all) in a condition."""
        place = int(np.cumsum(self.here)[v]) - 1
        if not np.isfinite(self.sd[c, place]):
            self.sd[c, place] = _game_sd(self.entries[c, place].astype(float),
                                         self.event.player.spread)
        return float(self.sd[c, place])

    def result(self) -> Judged:
        """What is known now, with NaN rows for balls that are for spares only."""
        low, high = np.percentile(self.samples, INTERVAL, axis=0)

        def wide(array: np.ndarray) -> np.ndarray:
            out = np.full((len(self.here), *array.shape[1:]), np.nan)
            out[self.here] = array
            return out

        samples = np.full((self.resamples, len(self.here), len(self.conditions)), np.nan)
        samples[:, self.here] = np.swapaxes(self.samples, 1, 2)
        thorough = np.zeros((len(self.here), len(self.conditions)), dtype=bool)
        thorough[self.here] = self.thorough.T
        return Judged(
            wide(self.pins.T), wide(low.T), wide(high.T), wide(self.strike.T),
            wide(self.lines[:, :, 2].T), wide(self.lines[:, :, 0].T), wide(self.lines[:, :, 1].T),
            wide(self.strength), samples, wide(self.sd.T), thorough, self.thrown, self.kept,
        )


def _unusable(values: np.ndarray) -> np.ndarray:
    """Values with NaN rows (balls for spares only) far below every other ball's."""
    low = np.nanmin(values) - 100.0
    return np.where(np.isnan(values), low, values)


def _game_sd(entry: np.ndarray, spread: Spread) -> float:
    from ..pins.outcomes import pins_from_shots
    from ..pins.spares import player_spares

    return game(pins_from_shots(*entry, spares=player_spares(spread)).odds).sd


def _strength(event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...]
              ) -> np.ndarray:
    """(v,) boards hooked on the player's own line; see `Judged`."""
    release = event.player.release
    fresh = [c for c in conditions if c.first_game == 0]
    rows = np.tile(release.row(), (len(uses), 1))
    straight = release.laydown_board + np.tan(np.radians(release.launch_angle_deg)) * (
        STRENGTH_FT * FOOT_M) / BOARD_M
    total = np.zeros(len(uses))
    for condition in fresh:
        table = throw_many([u.ball for u in uses], rows, condition.pattern, hand=release.hand,
                           which=np.arange(len(uses)), friction=event.friction,
                           keep_paths=True)
        assert table.path_board is not None
        # a ball that has left the lane counts as far as it came
        path = table.path_board[:, : STRENGTH_FT + 1]
        last = np.array([row[np.flatnonzero(np.isfinite(row))[-1]] for row in path])
        total += last - straight
    return total / len(fresh)


# --- the plan -----------------------------------------------------------------------------------


def plan(
    event: Event, *, shots: int = DEFAULT_SHOTS, seed: int = 1,
    resamples: int = DEFAULT_RESAMPLES, margin: float | None = None, most: int = 8,
    cache: Cache | None = None, progress: Progress | None = None,
) -> BagPlan:
    """The best bag for an event.

    Parameters
    ----------
    shots : fresh shots that judge each ball in each condition.
    resamples : how often the choice is repeated on resampled shots and tables.
    margin : bags within it of the best are listed [pins per game; for "cut" a chance]; default
        DEFAULT_MARGIN or MARGIN_CHANCE. most : at most so many.
    cache : where shots are kept; None: nowhere.
    progress : called with (done, total) pairs judged.

    Raises
    ------
    InputError
        if no bag keeps the limits, naming them.
    """
    check_range("number of shots", shots, 64, 1_000_000)
    check_range("number of resamples", resamples, 10, 10_000)
    cache = cache or Cache(None)
    uses = event_uses(event)
    limits = model.Limits(event.registered, event.carried, event.bag_weight_lb, event.drilled)
    required = frozenset(c.name for c in event.candidates if c.required)
    objective = event.maximise
    if margin is None:
        margin = MARGIN_CHANCE if objective == "cut" else DEFAULT_MARGIN
    check_range("margin", margin, 0, 300)
    # limits that cannot be met are told before any work
    blank = model.Program(tuple(u.variant for u in uses), np.zeros((len(uses), 1)), np.ones(1),
                          np.zeros(1), limits, required)
    if choice.solve(blank) is None:
        choice.best_bags(blank, margin=0.0)
    seconds: dict[str, float] = {}
    start = time.perf_counter()
    conditions = event_conditions(event, seed=seed, cache=cache)
    seconds["lanes"] = time.perf_counter() - start
    if all(u.spares_only for u in uses):
        raise InputError("every ball is for spares only; at least one must be for first balls")
    judging = _Judging(event, uses, conditions, shots=int(shots), seed=seed,
                       resamples=int(resamples), cache=cache, with_sd=objective == "cut",
                       seconds=seconds)
    judging.quick(progress)

    def programmed(judged: Judged) -> model.Program:
        return model.Program(
            tuple(u.variant for u in uses), _unusable(judged.pins),
            np.array([c.weight for c in conditions]),
            np.array([c.round for c in conditions]), limits, required,
            change_finish=event.finish_changes == "between", objective=objective,
            sd=np.nan_to_num(judged.sd),
            games=np.array([float(c.games) for c in conditions]), cut=event.cut,
        )

    found, settled = _settle(judging, programmed, margin, most, seconds)
    judged = judging.result()
    program = programmed(judged)
    samples = _unusable(judged.samples)
    best = found[0]
    start = time.perf_counter()
    comparisons = _comparisons(program, samples, best)
    balls = _balls(event, uses, program, judged, samples, best, conditions)
    seconds["questions"] = time.perf_counter() - start
    start = time.perf_counter()
    won, other, behind = _resampled(program, samples, found)
    seconds["resampled choices"] = time.perf_counter() - start
    choices = []
    for solution, share in zip(found, won, strict=True):
        gap = _worth(program, samples, best) - _worth(program, samples, solution)
        low, high = np.percentile(gap, INTERVAL)
        choices.append(Choice(solution, _exact(best.value - solution.value), float(low),
                              float(high), share))
    return BagPlan(
        event, conditions, uses, judged, objective, best, balls,
        _advice(event, uses, conditions, judged, best), tuple(choices), other,
        float(np.mean(behind <= margin)), comparisons,
        _cut_chance(event, program, judging, best),
        _paths(event, uses, conditions, judged, best), int(shots), seed, int(resamples),
        float(margin), cache.damaged, settled, seconds,
    )


def _settle(judging: _Judging, programmed: Callable[[Judged], model.Program], margin: float,
            most: int, seconds: dict[str, float]) -> tuple[list[model.Solution], bool]:
    """The best bags, after thorough searches wherever they could matter; and whether that is so.

    Quick lines leave pins behind. So the program is also solved with every quick line worth `HOPE`
    pins more. What that bag throws is searched thoroughly, and so on until the hopeful program's
    bag and all listed bags throw thorough lines only: then no other bag is better, even if each
    of its quick lines were that much too low. False if MOST_THOROUGH pairs did not suffice.
    """
    spent = 0.0
    while True:
        judged = judging.result()
        program = programmed(judged)
        # none for a ball that is never thrown at a full rack: it has no line to search
        hope = np.where(judged.thorough | np.isnan(judged.pins), 0.0, HOPE)
        start = time.perf_counter()
        hoped = choice.solve(replace(program, values=program.values + hope))
        assert hoped is not None  # the limits do not depend on the values
        wanted = _quick_pairs(hoped, judged)
        found = None
        if not wanted:
            found = choice.best_bags(program, margin=margin, most=most)
            wanted = {pair for s in found for pair in _quick_pairs(s, judged)}
        spent += time.perf_counter() - start
        seconds["integer program"] = spent
        if found is not None and not wanted:
            return found, True
        if judged.thorough.sum() + len(wanted) > MOST_THOROUGH:
            return choice.best_bags(program, margin=margin, most=most), False
        judging.deepen(wanted)


def _quick_pairs(solution: model.Solution, judged: Judged) -> set[tuple[int, int]]:
    return {(int(v), c) for c, v in enumerate(solution.use) if not judged.thorough[v, c]}


def _sampled(program: model.Program, values: np.ndarray) -> model.Program:
    return replace(program, values=values)


def _resampled(program: model.Program, samples: np.ndarray, found: list[model.Solution]
               ) -> tuple[list[float], float, np.ndarray]:
    """Share of the resamples won by each listed bag, by all others together, and how far the best
    bag is behind each resample's best (resamples,)."""
    wins = np.zeros(len(found))
    behind = np.zeros(len(samples))
    ways = [_finish_ways(program, s.drilled) for s in found]
    for m, values in enumerate(samples):
        here = _sampled(program, values)
        top = choice.solve(here)
        assert top is not None  # the limits do not depend on the values
        listed = [_best_finish(here, way, s) for way, s in zip(ways, found, strict=True)]
        n = int(np.argmax(listed))
        behind[m] = max(top.value - listed[0], 0.0)
        # the resample's best may be a listed bag with an idle ball more: then the listed one won
        if listed[n] >= top.value - model.TIE:
            wins[n] += 1
    share = wins / len(samples)
    return [float(s) for s in share], float(1.0 - share.sum()), behind


def _finish_ways(program: model.Program, drilled: dict[str, str]) -> np.ndarray | None:
    """(k, balls) variants of every way to finish a bag; None if there are very many."""
    rows = [[i for i, v in enumerate(program.variants) if v.drilling == d]
            for d in drilled.items()]
    if np.prod([len(r) for r in rows], dtype=float) > 5000:
        return None
    return np.array(list(itertools.product(*rows)))


def _best_finish(program: model.Program, ways: np.ndarray | None, bag: model.Solution) -> float:
    """Objective of a bag (balls and layouts) with its best finishes."""
    if ways is None or program.objective == "cut":
        small = model.only_drillings(program, bag.drilled)
        found = choice.solve(replace(small, limits=model.Limits(), required=frozenset()))
        assert found is not None
        return found.value
    got = program.values[ways].max(axis=1)  # (k, c)
    if not program.change_finish:
        return float((got @ program.weights if program.objective == "mean"
                      else got.min(axis=1)).max())
    phases = [program.phase == p for p in program.phases]
    if program.objective == "mean":
        return float(sum((got[:, at] @ program.weights[at]).max() for at in phases))
    return float(min(got[:, at].min(axis=1).max() for at in phases))


def _worth(program: model.Program, samples: np.ndarray, solution: model.Solution) -> np.ndarray:
    """(resamples,) objective of a bag with its finishes kept; in each the best ball is used."""
    there = model.available(program, solution.drilled, solution.finish)
    out = np.empty(len(samples))
    for n, values in enumerate(samples):
        here = _sampled(program, values)
        out[n] = model.bag_value(here, model.best_use(here, there))[0]
    return out


def _balls(
    event: Event, uses: tuple[Use, ...], program: model.Program, judged: Judged,
    samples: np.ndarray, best: model.Solution, conditions: tuple[Condition, ...],
) -> tuple[BallInBag, ...]:
    full = _worth(program, samples, best)
    out = []
    for name, layout in best.drilled.items():
        candidate = next(c for c in event.candidates if c.name == name)
        mine = [i for i, u in enumerate(uses) if u.variant.drilling == (name, layout)]
        finishes = {p: f for (b, p), f in best.finish.items() if b == name}
        worn = [i for i in mine if uses[i].variant.finish in finishes.values()]
        adds = low = high = None
        if len(best.drilled) > 1:
            rest = model.only_drillings(program, {b: d for b, d in best.drilled.items()
                                                  if b != name})
            rest = replace(rest, limits=model.Limits(), required=frozenset())
            without = choice.solve(rest)
            assert without is not None
            adds = _exact(best.value - without.value)
            drop = full - _worth(rest, samples[:, [
                i for i, v in enumerate(program.variants)
                if v.ball != name and best.drilled.get(v.ball) == v.layout]], without)
            low, high = (float(x) for x in np.percentile(drop, INTERVAL))
        used = [c for c in range(len(conditions))
                if uses[best.use[c]].variant.ball == name]
        out.append(BallInBag(
            name, candidate.ball.title, candidate.place, layout, finishes,
            uses[worn[0]].variant.new_drilling, any(uses[i].variant.new_finish for i in worn),
            candidate.required, float(np.mean(judged.strength[worn])),
            float(sum(conditions[c].games for c in used)), adds, low, high,
            _next_finish(program, best, name, layout),
        ))
    # weakest last; a ball for spares only has no place on the ladder
    return tuple(sorted(out, key=lambda b: (np.isnan(b.strength), -b.strength)))


def _exact(gap: float) -> float:
    """A difference without the solver's rounding: bags closer than its tolerance are equal."""
    return 0.0 if abs(gap) < model.TIE else float(gap)


def _next_finish(program: model.Program, best: model.Solution, name: str, layout: str
                 ) -> float | None:
    """What the best other finish of one ball would cost, the rest of the bag kept."""
    mine = {f for (b, _), f in best.finish.items() if b == name}
    others = [v.finish for v in program.variants
              if v.drilling == (name, layout) and v.finish not in mine]
    if not others:
        return None
    values = []
    for finish in others:
        changed = {k: (finish if k[0] == name else f) for k, f in best.finish.items()}
        there = model.available(program, best.drilled, changed)
        values.append(model.bag_value(program, model.best_use(program, there))[0])
    return _exact(best.value - max(values))


def _comparisons(program: model.Program, samples: np.ndarray, best: model.Solution
                 ) -> tuple[Comparison, ...]:
    """What the next ball would add, and whether drilling pays."""
    out = []
    full = _worth(program, samples, best)

    def against(other: model.Solution | None, question: str, sign: float, text: str) -> None:
        if other is None:
            return
        gap = sign * (_worth(program, samples, other) - full)
        low, high = (float(x) for x in np.percentile(gap, INTERVAL))
        out.append(Comparison(question, _exact(sign * (other.value - best.value)), low, high, text))

    limits = program.limits

    def plus(value: float | None, more: float) -> Any:
        return None if value is None else value + more

    heaviest = max((v.weight_lb for v in program.variants), default=0.0)
    wider = replace(limits, registered=plus(limits.registered, 1), carried=plus(limits.carried, 1),
                    bag_weight_lb=plus(limits.bag_weight_lb, heaviest))
    more = choice.solve(replace(program, limits=wider))
    if more is not None:
        new = sorted(set(more.drilled.items()) - set(best.drilled.items()))
        gone = sorted(set(best.drilled) - set(more.drilled))
        text = ", ".join(f"{b} ({d})" for b, d in new) or "no further ball is used"
        if gone:
            text += f"; {', '.join(gone)} would stay at home"
        against(more, "one more ball", 1.0, text)
    fresh = [b for b, d in best.drilled.items()
             if next(v for v in program.variants if v.drilling == (b, d)).new_drilling]
    none = choice.solve(replace(program, limits=replace(limits, drilled=0)))
    if fresh:
        if none is None:
            out.append(Comparison("drilling", np.nan, np.nan, np.nan,
                                  "no bag keeps the limits without a new drilling"))
        else:
            against(none, "drilling " + " and ".join(fresh), -1.0,
                    "against the best bag of balls as drilled: " + ", ".join(none.drilled))
    else:
        can = [v.ball for v in program.variants if v.new_drilling]
        if can:
            tried = []
            for ball in dict.fromkeys(can):
                keep = [i for i, v in enumerate(program.variants)
                        if v.ball != ball or v.new_drilling]
                forced = model.only_rows(program, keep, program.required | {ball})
                solution = choice.solve(forced)
                if solution is not None:
                    tried.append((solution.value, ball, solution))
            if tried:
                _, ball, solution = max(tried, key=lambda t: t[0])
                against(solution, f"drilling {ball}", 1.0,
                        "the best bag that has a new drilling, against the best bag: "
                        + ", ".join(solution.drilled))
    return tuple(out)


def _advice(event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...], judged: Judged,
            best: model.Solution) -> tuple[Advice, ...]:
    out: list[Advice] = []
    for c, condition in enumerate(conditions):
        v = int(best.use[c])
        before = out[-1] if out and conditions[c - 1].round == condition.round else None
        top = int(np.nanargmax(judged.pins[:, c]))
        true = float(judged.laydown[v, c]), float(judged.angle_deg[v, c])
        line = event.as_read(*true)
        out.append(Advice(
            c, v, uses[v].variant.ball, uses[v].variant.finish, line[0], board_at_arrows(*line),
            line[1], float(judged.pins[v, c]), float(judged.low[v, c]), float(judged.high[v, c]),
            float(judged.strike[v, c]), float(judged.pocket[v, c]),
            before is not None and before.ball != uses[v].variant.ball,
            float(judged.pins[top, c] - judged.pins[v, c]),
            f"{uses[top].variant.ball} {uses[top].variant.layout} {uses[top].variant.finish}",
            *true,
        ))
    return tuple(out)


def _cut_chance(event: Event, program: model.Program, judging: _Judging, best: model.Solution
                ) -> float | None:
    """Chance that all games together reach the cut with the best bag."""
    if event.cut is None:
        return None
    sd = np.zeros(program.values.shape)
    for c, v in enumerate(best.use):
        sd[v, c] = judging.game_sd(int(v), c)
    return model.bag_value(replace(program, objective="cut", sd=sd, cut=event.cut), best.use)[0]


def _paths(event: Event, uses: tuple[Use, ...], conditions: tuple[Condition, ...],
           judged: Judged, best: model.Solution) -> np.ndarray:
    """(c, 61) board at whole feet of the mean shot on the line of each condition."""
    out = np.full((len(conditions), 61), np.nan)
    for c, condition in enumerate(conditions):
        v = int(best.use[c])
        release: Release = replace(event.player.release, laydown_board=float(judged.laydown[v, c]),
                                   launch_angle_deg=float(judged.angle_deg[v, c]))
        table = throw_many(uses[v].ball, release.row()[None], condition.pattern,
                           hand=release.hand, friction=event.friction, keep_paths=True)
        assert table.path_board is not None
        out[c] = table.path_board[0]
    return out


def ladder_gaps(plan_: BagPlan) -> list[tuple[str, str, float]]:
    """Neighbours on the ladder that are clearly farther apart than the others: (a, b, boards).

    Farther than 1.5 times the mean step, for ladders of three balls or more (our own rule).
    """
    balls = [b for b in plan_.balls if np.isfinite(b.strength)]
    if len(balls) < 3:
        return []
    steps = [a.strength - b.strength for a, b in itertools.pairwise(balls)]
    mean = float(np.mean(steps))
    return [(a.name, b.name, s) for a, b, s in zip(balls[:-1], balls[1:], steps, strict=True)
            if s > 1.5 * mean]
