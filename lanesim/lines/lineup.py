"""Lining up: where to stand and which way to send the ball, given how well a player repeats.

The search has one global and three local rounds, all on the batch engine:

1. A coarse grid of laydown board x launch angle, one mean shot each. On every laydown row the
   angles whose shot arrives at the best board are read off: the candidate lines (there may be
   several a row, as an outside and a deep line), with those where the board turns back.
2. Each candidate is thrown with a few shots of the player's spread. Near a line, where a shot
   arrives is a smooth function of how it was sent: a local model (second order in laydown and
   angle, fitted to this and the neighbours' shots) says what any line nearby would give under the
   spread. The model has little noise and some error; what the shots did beyond it has much noise
   and no error; a line's rating joins both by their variances.
3. The best few lines get more shots, twice; models and ratings are made again each time.
4. The same shots are thrown at the four best rated lines, and from the best of these at its
   neighbours, as long as one of them does better by those shots.

The chosen line is then judged on fresh shots, which the search has not seen: the rate carries no
winner's luck. Equal seeds give the same deviates to every ball (common random numbers).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError, check_range
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import BOARDS, GRID_ROWS
from ..lane.pattern import OilPattern
from ..motion import setup
from ..motion.pocket import (
    BEST_BOARD,
    GUTTER,
    HIGH_FROM_BOARD,
    LIGHT_TO_BOARD,
    MISSED,
    OUTCOMES,
    POCKET,
)
from ..motion.trajectory import ShotTable, throw_parameters
from ..player import (
    RELEASE_COLUMNS,
    Release,
    Spread,
    normal_deviates,
    sample_releases,
    spread_releases,
)
from ..stats import Difference, Rate, paired_difference, wilson

SEARCH_STAGE = 2  # stages of the seed sequence; release samples use 1
DEFAULT_SHOTS = 1024
DEFAULT_SEARCH_SHOTS = 3000
DECIDE_SHOTS = 1024
# Assumed: the ball (4.3 in = 4 boards in radius) is on the lane, and a player stands so that the
# ball is laid down between these boards.
LAYDOWN_RANGE = (6.0, 35.0)
ANGLE_RANGE = (-8.0, 4.0)
# Three of 39 boards are the pocket: a ball that comes down on any board alike finds it this often.
CHANCE_RATE = (HIGH_FROM_BOARD - LIGHT_TO_BOARD) / BOARDS

_GRID_BOARDS, _GRID_DEG = 2.0, 0.5
_MAP_BOARDS, _MAP_DEG = 0.5, 0.1
_SPEED_OFFSETS_MPH = (-2.0, -1.0, 0.0, 1.0, 2.0)
# How far (boards, degrees, mph) from a line shots serve its local model: the weight's bell.
_REACH = np.array([1.0, 0.20, 0.6])
_LATTICE = np.array([0.5, 0.06, 0.5])  # spacing of the lines whose rate is estimated
_ROUND_SHARES = (0.4, 0.35, 0.25)  # of the search shots left after the grid
_ROUND_LINES = (40, 6, 3)  # most lines thrown in each round
_LATTICE_LINES = 16  # lines thrown whose neighbours are rated
_DECIDED_LINES = 4
# Where a walk looks: a turn to both sides and boards to both sides with the turn that usually goes
# with them, then closer. A step too small is lost in the noise of the shots.
_TURN_PER_BOARD = 0.08  # [deg]
WALK_STEPS = tuple(
    scale * np.array([[0.0, -_TURN_PER_BOARD], [0.0, _TURN_PER_BOARD],
                      [-1.0, _TURN_PER_BOARD], [1.0, -_TURN_PER_BOARD]]) for scale in (1.0, 0.5))
_MOST_MOVES = 4  # at each of the two distances
_BEYOND_BOARDS = (0.0, 0.5, 1.0)  # of a turning point beyond the best board
# Shots stand for a line with at least this spread (boards, degrees, mph): a player with none in one
# of them still needs weights that are smooth in it.
_KERNEL_FLOOR = np.array([0.25, 0.08, 0.15])
_MODEL_SHOTS = 256  # deviates at which a local model is evaluated
_MODEL_ERROR = 0.01  # smallest error of a modelled rate that is reckoned with
# nodes and weights of the standard normal's 5-point Gauss quadrature
_NORMAL_NODES = (
    np.polynomial.hermite_e.hermegauss(5)[0],
    np.polynomial.hermite_e.hermegauss(5)[1] / math.sqrt(2.0 * math.pi),
)
_BELOW, _ABOVE = -5.0, 45.0  # stand-ins for the entry board of a ball in either gutter

# Value of each shot, 0 to 1, from entry board, entry angle [deg] and entry speed [mph] (n,).
Objective = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]
Progress = Callable[[float, float], None]


@dataclass(frozen=True)
class Line:
    """A line: laydown board, launch angle [deg], speed [mph], and the rate found for it.

    judged : the rate stands on the shots of the final judgement, and `behind` is how far it lies
    behind the best line's (paired); else it is the search's rating, with the interval of the few
    shots that the search threw there.
    """

    laydown_board: float
    launch_angle_deg: float
    speed_mph: float
    rate: float
    low: float
    high: float
    judged: bool = False
    behind: Difference | None = None


@dataclass(frozen=True)
class LineResult:
    """A line judged under a player's spread.

    Attributes
    ----------
    ball, pattern : names. aim : "pocket", "strike" or the objective's name.
    release : the line; spread : the player's.
    rate : what was maximised, with its Wilson interval, on shots the search has not seen.
    pocket : the same for pocket hits (equal to `rate` if that is the aim).
    counts : (6,) shots per pocket.OUTCOMES.
    found : False if even the best line finds the pocket no more often than a ball that comes down
        on any board alike (3/39); `message` says what was found.
    shots : shots of the final judgement; search_shots : shots of the search.
    entry_* : mean and SD of entry board, angle [deg] and speed [mph] over shots that met a pin.
    map_laydown (l,), map_angle (a,), map_rate (l, a) : rate over the plane; empty without one.
    alternatives : other lines, each 3 boards or more from every better one, best first.
    table : the shots; values : (shots,) value of each under the aim.
    """

    ball: str
    pattern: str
    aim: str
    release: Release
    spread: Spread
    rate: Rate
    pocket: Rate
    counts: np.ndarray
    found: bool
    message: str
    shots: int
    search_shots: int
    seed: int
    entry_board_mean: float
    entry_board_sd: float
    entry_angle_mean_deg: float
    entry_angle_sd_deg: float
    entry_speed_mean_mph: float
    map_laydown: np.ndarray
    map_angle: np.ndarray
    map_rate: np.ndarray
    alternatives: tuple[Line, ...]
    table: ShotTable = field(repr=False)
    values: np.ndarray = field(repr=False)

    @property
    def outcome_rates(self) -> dict[str, Rate]:
        """Rate with interval of every outcome."""
        return {
            name: wilson(int(count), self.shots)
            for name, count in zip(OUTCOMES, self.counts, strict=True)
        }

    @property
    def arrow_board(self) -> float:
        """Board of the straight launch line where it passes the arrows."""
        return board_at_arrows(self.release.laydown_board, self.release.launch_angle_deg)

    def summary(self) -> dict[str, Any]:
        """The numbers without the map and the shots."""
        skip = {"table", "values", "map_laydown", "map_angle", "map_rate", "counts"}
        out = {n: getattr(self, n) for n in self.__dataclass_fields__ if n not in skip}
        return out | {"arrow_board": self.arrow_board, "outcomes": self.outcome_rates}

    def to_dict(self) -> dict[str, Any]:
        """Everything but the single shots, ready for files.to_json."""
        return self.summary() | {
            "map_laydown": self.map_laydown, "map_angle": self.map_angle, "map_rate": self.map_rate,
        }


def board_at_arrows(laydown_board: float, launch_angle_deg: float) -> float:
    """Board that a straight launch line crosses at the arrows (12 to 16 ft out, see lane.py)."""
    from ..lane.geometry import BOARD_M, arrow_distance_ft
    from ..units import FOOT_M

    slope = math.tan(math.radians(launch_angle_deg)) * FOOT_M / BOARD_M
    board = laydown_board
    for _ in range(30):  # the distance depends weakly on the board: a contraction
        board = laydown_board + slope * arrow_distance_ft(min(max(board, 1.0), 39.0))
    return board


# --- throwing and judging ------------------------------------------------------------------


class Thrower:
    """One ball on one film, ready to be thrown many times; counts its shots."""

    def __init__(
        self,
        ball: Ball,
        pattern: OilPattern,
        hand: str,
        friction: FrictionModel = DEFAULT_FRICTION,
        film: np.ndarray | None = None,
    ) -> None:
        self.film = pattern.film_m(hand) if film is None else np.asarray(film, dtype=float)
        if self.film.shape != (GRID_ROWS, BOARDS):
            raise InputError(f"the oil film has shape {self.film.shape}; accepted: (60, 39)")
        if not np.all(np.isfinite(self.film)) or np.any(self.film < 0):
            raise InputError("the oil film must be finite and not negative everywhere")
        self.paps = np.array([ball.inertia.pap_body])
        self.pars = np.array([
            setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp, friction=friction)
        ])
        self.thrown = 0

    def throw(self, releases: np.ndarray) -> ShotTable:
        """Follow releases (n, 7)."""
        self.thrown += len(releases)
        return throw_parameters(self.paps, self.pars, releases, self.film)


def aim_objective(
    aim: str | Objective, strike_probability: Objective | None = None
) -> tuple[str, Objective | None]:
    """Name and objective of an aim; None stands for the pocket.

    aim : "pocket", "strike" (the chance by `strike_probability`, default: the shipped carry table)
    or any callable of entry board, entry angle [deg] and entry speed [mph] with values in 0..1.
    """
    if callable(aim):
        return getattr(aim, "__name__", "custom"), aim
    if aim == "pocket":
        return aim, None
    if aim == "strike":
        if strike_probability is None:
            from ..pins.table import default_table

            strike_probability = default_table().strike_probability
        return aim, strike_probability
    raise InputError(f"aim is '{aim}'; accepted: pocket, strike")


def entry_values(
    board: np.ndarray, angle_deg: np.ndarray, speed_mph: np.ndarray, objective: Objective | None
) -> np.ndarray:
    """Value of each arrival: 1 or 0 for the pocket window, else the objective; 0 for NaN boards."""
    if objective is None:
        return ((board > LIGHT_TO_BOARD) & (board < HIGH_FROM_BOARD)).astype(float)
    return np.where(np.isfinite(board), objective(board, angle_deg, speed_mph), 0.0)


def shot_values(table: ShotTable, objective: Objective | None) -> np.ndarray:
    """Value (n,) of each shot: 1 or 0 for the pocket, else the objective; 0 without the head pin.

    Raises
    ------
    InputError
        if the objective gives a value outside 0..1.
    """
    if objective is None:
        return (table.outcome == POCKET).astype(float)
    values = np.asarray(
        objective(table.entry_board, table.entry_angle_deg, table.entry_speed_mph), dtype=float
    )
    values = np.where((table.outcome == MISSED) | (table.outcome == GUTTER), 0.0, values)
    if not np.all((values >= 0) & (values <= 1)):
        raise InputError("an aim's values must lie in 0..1 for every shot that meets the head pin")
    return values


def judge_line(
    ball: Ball,
    pattern: OilPattern,
    release: Release,
    spread: Spread,
    *,
    shots: int = DEFAULT_SHOTS,
    seed: int = 0,
    friction: FrictionModel = DEFAULT_FRICTION,
    aim: str | Objective = "pocket",
    strike_probability: Objective | None = None,
    film: np.ndarray | None = None,
) -> LineResult:
    """What a player's spread makes of one given line (no search); see `LineResult`."""
    _check_shots(shots)
    thrower = Thrower(ball, pattern, release.hand, friction, film)
    name, objective = aim_objective(aim, strike_probability)
    return _judged(thrower, ball, pattern, release, spread, shots, seed, name, objective)


def _check_shots(shots: int) -> None:
    check_range("number of shots", shots, 1, 10_000_000)
    if int(shots) != shots:
        raise InputError(f"number of shots is {shots:g}; accepted: a whole number")


def _judged(
    thrower: Thrower, ball: Ball, pattern: OilPattern, release: Release, spread: Spread,
    shots: int, seed: int, aim: str, objective: Objective | None,
    found_map: tuple[np.ndarray, np.ndarray, np.ndarray] | None = None,
    alternatives: tuple[Line, ...] = (), searched: int = 0,
) -> LineResult:
    table = thrower.throw(sample_releases(release, spread, int(shots), seed))
    values = shot_values(table, objective)
    hits = int(np.sum(table.outcome == POCKET))
    pocket = wilson(hits, len(table))
    met = np.isfinite(table.entry_board)
    found = pocket.low > CHANCE_RATE
    means = [float(np.mean(a[met])) if met.any() else math.nan
             for a in (table.entry_board, table.entry_angle_deg, table.entry_speed_mph)]
    sds = [float(np.std(a[met])) if met.any() else math.nan
           for a in (table.entry_board, table.entry_angle_deg)]
    empty = np.empty(0)
    axes = found_map or (empty, empty, np.empty((0, 0)))
    where = (f"laydown board {release.laydown_board:.1f}, launch {release.launch_angle_deg:+.2f} "
             f"deg, {release.speed_mph:.1f} mph")
    if found:
        message = f"{where}: in the pocket {pocket.text()}"
    else:
        tried = "no line tried finds" if searched else "this line does not find"
        message = (f"{tried} the pocket clearly more often than chance ({100 * CHANCE_RATE:.1f} %, "
                   f"3 boards of 39); {'the best was ' if searched else ''}{where}: "
                   f"in the pocket {pocket.text()}")
    return LineResult(
        ball=ball.name, pattern=pattern.name, aim=aim, release=release, spread=spread,
        rate=pocket if objective is None else wilson(float(values.sum()), len(table)),
        pocket=pocket, counts=np.bincount(table.outcome, minlength=len(OUTCOMES)), found=found,
        message=message, shots=len(table), search_shots=searched, seed=seed,
        entry_board_mean=means[0], entry_board_sd=sds[0], entry_angle_mean_deg=means[1],
        entry_angle_sd_deg=sds[1], entry_speed_mean_mph=means[2], map_laydown=axes[0],
        map_angle=axes[1], map_rate=axes[2], alternatives=alternatives, table=table, values=values,
    )


def _judged_line(
    thrower: Thrower, line: Line, best: LineResult, objective: Objective | None
) -> Line:
    """The line judged on the same deviates as the best one."""
    release = replace(best.release, laydown_board=line.laydown_board,
                      launch_angle_deg=line.launch_angle_deg, speed_mph=line.speed_mph)
    table = thrower.throw(sample_releases(release, best.spread, best.shots, best.seed))
    values = shot_values(table, objective)
    rate = wilson(float(values.sum()), len(values))
    return replace(line, rate=rate.rate, low=rate.low, high=rate.high, judged=True,
                   behind=paired_difference(best.values, values) if len(values) > 1 else None)


# --- what errors cost ----------------------------------------------------------------------

# What a player changes: release column, how much, in words.
CHANGES = (
    ("laydown_board", 1.0, "one board of laydown"),
    ("launch_angle_deg", 0.5, "half a degree of launch angle"),
    ("speed_mph", 1.0, "1 mph of speed"),
    ("rev_rpm", 30.0, "30 rpm of rev rate"),
)
MISS_SHARE = 0.5  # the room ends where the rate has fallen to this share of the line's
_ROOM_STEPS = {"laydown_board": (0.25, 32), "launch_angle_deg": (0.05, 40)}


@dataclass(frozen=True)
class Effect:
    """What one change does to a line, both ways of it.

    change, amount : release column and size, as in CHANGES. For less (-) and more (+):
    entry_board, entry_angle_deg : change of the mean shot's entry; NaN where it meets no pin.
    rate : paired difference of the rate under the spread, on common random numbers.
    """

    change: str
    amount: float
    words: str
    entry_board_less: float
    entry_board_more: float
    entry_angle_less_deg: float
    entry_angle_more_deg: float
    rate_less: Difference
    rate_more: Difference


@dataclass(frozen=True)
class Room:
    """Room for error about a line in one release number, to lower and higher values.

    mean_* : how far the mean shot may be off and still meets the pocket.
    rate_* : how far the player's whole spread may be off until the rate has fallen to `share` of
    the line's own. `reach` if the search ended first: then `*_open` is True.
    """

    change: str
    mean_lower: float
    mean_higher: float
    rate_lower: float
    rate_higher: float
    lower_open: bool
    higher_open: bool
    reach: float
    share: float


@dataclass(frozen=True)
class MissReport:
    """Room in laydown and angle, and what small changes do, about one line."""

    release: Release
    room_laydown: Room
    room_angle: Room
    effects: tuple[Effect, ...]
    shots: int

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for files.to_json."""
        return asdict(self)


def miss_report(
    ball: Ball,
    pattern: OilPattern,
    release: Release,
    spread: Spread,
    *,
    shots: int = 512,
    seed: int = 0,
    share: float = MISS_SHARE,
    friction: FrictionModel = DEFAULT_FRICTION,
    aim: str | Objective = "pocket",
    strike_probability: Objective | None = None,
    film: np.ndarray | None = None,
) -> MissReport:
    """How much room a line leaves, and what one board, half a degree, 1 mph and 30 rpm do.

    All lines are thrown with the same deviates, so their differences are paired. Laydown is moved
    with the launch angle kept, the angle with the laydown kept.

    Parameters
    ----------
    share : where the room ends, as a share of the line's rate (default half).
    shots : of every shifted line.
    """
    _check_shots(shots)
    check_range("share", share, 0.05, 0.95)
    thrower = Thrower(ball, pattern, release.hand, friction, film)
    _, objective = aim_objective(aim, strike_probability)
    deviates = normal_deviates(int(shots), 6, seed)

    def values_at(column: str, shifts: np.ndarray) -> np.ndarray:
        rows = np.tile(spread_releases(release, spread, deviates), (len(shifts), 1))
        rows[:, RELEASE_COLUMNS.index(column)] += np.repeat(shifts, len(deviates))
        return shot_values(thrower.throw(rows), objective).reshape(len(shifts), -1)

    def mean_at(column: str, shifts: np.ndarray) -> ShotTable:
        rows = np.tile(release.row(), (len(shifts), 1))
        rows[:, RELEASE_COLUMNS.index(column)] += shifts
        return thrower.throw(rows)

    base = values_at("laydown_board", np.zeros(1))[0]
    room = [
        _room(column, *_ROOM_STEPS[column], share, float(base.mean()), mean_at, values_at)
        for column in ("laydown_board", "launch_angle_deg")
    ]
    effects = []
    for column, amount, words in CHANGES:
        less, more = values_at(column, np.array([-amount, amount]))
        mean = mean_at(column, np.array([-amount, 0.0, amount]))
        board, angle = mean.entry_board, mean.entry_angle_deg
        effects.append(Effect(
            column, amount, words, float(board[0] - board[1]), float(board[2] - board[1]),
            float(angle[0] - angle[1]), float(angle[2] - angle[1]),
            paired_difference(base, less), paired_difference(base, more),
        ))
    return MissReport(release, room[0], room[1], tuple(effects), int(shots))


def _room(
    column: str, step: float, count: int, share: float, rate: float,
    mean_at: Callable[[str, np.ndarray], ShotTable],
    values_at: Callable[[str, np.ndarray], np.ndarray],
) -> Room:
    """Walk out to both sides: the mean shot in steps, the rate by coarse steps joined linearly."""
    reach = step * count
    ends = []
    for side in (-1.0, 1.0):
        shifts = side * step * np.arange(count + 1)
        lost = np.flatnonzero(mean_at(column, shifts).outcome != POCKET)
        # the last step that still meets the pocket and the first that does not: their middle
        mean = reach if not len(lost) else float(max(0.0, (lost[0] - 0.5) * step))
        before, at = rate, 0.0
        open_end = True
        for stop in range(4, count + 1, 4):
            here = float(values_at(column, np.array([side * step * stop])).mean())
            if here <= share * rate:
                done = (before - share * rate) / (before - here) if before > here else 1.0
                at += done * 4 * step
                open_end = False
                break
            before, at = here, stop * step
        ends.append((mean, float(at), open_end))
    (low_mean, low_rate, low_open), (high_mean, high_rate, high_open) = ends
    return Room(column, low_mean, high_mean, low_rate, high_rate, low_open, high_open, reach, share)


# --- the search ----------------------------------------------------------------------------


def find_line(
    ball: Ball,
    pattern: OilPattern,
    player_release: Release,
    spread: Spread,
    *,
    shots: int = DEFAULT_SHOTS,
    seed: int = 0,
    friction: FrictionModel = DEFAULT_FRICTION,
    aim: str | Objective = "pocket",
    strike_probability: Objective | None = None,
    search_speed: bool = False,
    laydown_range: tuple[float, float] = LAYDOWN_RANGE,
    angle_range: tuple[float, float] = ANGLE_RANGE,
    search_shots: int = DEFAULT_SEARCH_SHOTS,
    decide_shots: int = DECIDE_SHOTS,
    with_map: bool = True,
    judge_others: int = 0,
    progress: Progress | None = None,
    film: np.ndarray | None = None,
) -> LineResult:
    """The laydown board and launch angle (and speed) with the highest rate under a spread.

    Parameters
    ----------
    player_release : the player's speed, rev rate, rotation, tilt and hand; its laydown and angle
        play no part.
    shots : shots of the final judgement, which alone gives the reported rate.
    aim, strike_probability : see `aim_objective`.
    search_speed : also vary the speed, 2 mph either way.
    laydown_range : boards, within 1..39 (default 6..35, assumed); angle_range : degrees.
    search_shots : about how many shots the search may take before it decides (1,000 or more; a
        search of the speed takes five grids and at least twice as many).
    decide_shots : shots on each of the last few lines and on each line of the walk from there,
        some ten to forty lines in all; 0: no such round, the best rated line is taken.
    with_map : also the map of rates (no more shots, but a tenth of a second).
    judge_others : how many of the other lines are judged on `shots` shots each, too.
    film : (60, 39) [m] in the player's board order, instead of the pattern's fresh oil.
    progress : called with (done, total).
    """
    _check_shots(shots)
    check_range("search shots", search_shots, 1000, 1_000_000)
    check_range("deciding shots", decide_shots, 0, 1_000_000)
    _check_window("laydown range", laydown_range, 1.0, 39.0, "boards")
    _check_window("angle range", angle_range, -12.0, 12.0, "deg")
    thrower = Thrower(ball, pattern, player_release.hand, friction, film)
    if not thrower.film.any():
        raise InputError(
            f"oil pattern '{pattern.name}' is all dry: there is no line to find on a lane "
            "without oil; accepted: a pattern with oil on at least one board"
        )
    name, objective = aim_objective(aim, strike_probability)
    report = progress or (lambda done, total: None)
    search = _Search(thrower, player_release, spread, objective, laydown_range, angle_range,
                     search_speed, seed)
    total = search_shots * (2 if search_speed else 1)
    report(0, total + shots)
    search.grid()
    report(thrower.thrown, total + shots)
    left = max(total - thrower.thrown, 600)
    lines = search.candidates()
    for share, most in zip(_ROUND_SHARES, _ROUND_LINES, strict=True):
        if len(search.lines):
            lines = search.best_lines(most)
        search.throw_round(lines, max(8, round(share * left / len(lines))))
        report(min(thrower.thrown, total), total + shots)
    best, others = search.final(decide_shots)
    searched = thrower.thrown
    release = replace(player_release, laydown_board=float(best[0]),
                      launch_angle_deg=float(best[1]), speed_mph=float(best[2]))
    result = _judged(
        thrower, ball, pattern, release, spread, shots, seed, name, objective,
        search.rate_map(release.speed_mph) if with_map else None, others, searched,
    )
    if judge_others and others:
        judged = [_judged_line(thrower, line, result, objective) for line in others[:judge_others]]
        result = replace(result, alternatives=tuple(sorted(judged, key=lambda a: -a.rate)))
    report(total + shots, total + shots)
    return result


def _check_window(name: str, window: tuple[float, float], low: float, high: float, unit: str):
    first = check_range(f"{name}, lower end", window[0], low, high, unit)
    last = check_range(f"{name}, upper end", window[1], low, high, unit)
    if first >= last:
        raise InputError(f"{name} is {first:g} to {last:g} {unit}; the first must be the smaller")


@dataclass(frozen=True)
class _Arrival:
    """Local model: terms (13, 3) of entry board, angle and speed; scatter of the board about it;
    share of the shots that meet a pin at all."""

    terms: np.ndarray
    scatter: float
    share_met: float


class _Search:
    """State of one search: the grid of mean shots and all spread shots thrown so far.

    A line is a row (laydown board, launch angle deg, speed mph).
    """

    def __init__(
        self, thrower: Thrower, release: Release, spread: Spread, objective: Objective | None,
        laydown_range: tuple[float, float], angle_range: tuple[float, float], search_speed: bool,
        seed: int,
    ) -> None:
        self.thrower, self.release, self.spread, self.objective = (
            thrower, release, spread, objective
        )
        self.low = np.array([laydown_range[0], angle_range[0], release.speed_mph])
        self.high = np.array([laydown_range[1], angle_range[1], release.speed_mph])
        self.laydowns = _axis(*laydown_range, _GRID_BOARDS)
        self.angles = _axis(*angle_range, _GRID_DEG)
        self.speeds = np.array([release.speed_mph])
        if search_speed:
            self.speeds = np.array([
                v for v in release.speed_mph + np.array(_SPEED_OFFSETS_MPH) if 8 <= v <= 32
            ])
            self.low[2], self.high[2] = self.speeds[0], self.speeds[-1]
        self.seed = seed
        self.round = 0
        self.boards = self.entry = np.empty(0)
        self.lines = np.empty((0, 3))  # thrown
        self.shots_at = np.empty(0, dtype=int)
        self.models: list[_Arrival | None] = []
        self.deviates = normal_deviates(_MODEL_SHOTS, 6, seed, SEARCH_STAGE)
        self.unit = np.maximum(spread.array(), np.append(_REACH, [10.0, 3.0, 2.0]))
        self.line_of = np.empty(0, dtype=int)  # of every shot
        self.releases = np.empty((0, 6))
        self.values = self.residuals = self.mixture = np.empty(0)
        self.entries = np.empty((0, 3))  # board, angle, speed; NaN where no pin was met

    def grid(self) -> None:
        """One mean shot at every node; boards (speeds, laydowns, angles) of arrival."""
        speed, laydown, angle = np.meshgrid(
            self.speeds, self.laydowns, self.angles, indexing="ij"
        )
        rows = np.tile(self.release.row(), (speed.size, 1))
        rows[:, 0], rows[:, 1], rows[:, 2] = laydown.ravel(), angle.ravel(), speed.ravel()
        table = self.thrower.throw(rows)
        board = table.entry_board.copy()
        gutter = table.outcome == GUTTER
        # a gutter on the ball-arm side is one whose path went out beyond the lane's edge there
        board[gutter] = np.where(table.breakpoint_board[gutter] < 1.0, _BELOW, _ABOVE)
        self.boards = board.reshape(speed.shape)
        self.entry = np.stack([
            table.entry_board, table.entry_angle_deg, table.entry_speed_mph
        ]).reshape(3, *speed.shape)

    def candidates(self) -> np.ndarray:
        """Lines (k, 3) whose mean shot should arrive at the best board; nearest nodes if none do.

        Crossings on neighbouring laydown rows are joined, so that lines half-way are thrown too;
        and see `tangent_lines`.
        """
        lines: list[tuple[float, float, float]] = []
        for s, speed in enumerate(self.speeds):
            rows = [_crossings(self.angles, self.boards[s, i], BEST_BOARD)
                    for i in range(len(self.laydowns))]
            for i, here in enumerate(rows):
                lines += [(self.laydowns[i], a, speed) for a in here]
                if i + 1 == len(rows):
                    continue
                for a in here:
                    near = [b for b in rows[i + 1] if abs(b - a) < 2 * _GRID_DEG]
                    if near:
                        b = min(near, key=lambda b: abs(b - a))
                        middle = 0.5 * (self.laydowns[i] + self.laydowns[i + 1])
                        lines.append((middle, 0.5 * (a + b), speed))
            tangent = tangent_lines(self.laydowns, self.angles, self.entry[0, s] - BEST_BOARD)
            lines += [(laydown, angle, speed) for laydown, angle in tangent]
        if not lines:
            off = np.abs(np.nan_to_num(self.boards, nan=_ABOVE) - BEST_BOARD)
            order = np.argsort(off, axis=None, kind="stable")[:20]
            s, i, j = np.unravel_index(order, off.shape)
            lines = list(zip(self.speeds[s], self.laydowns[i], self.angles[j], strict=True))
            lines = [(b, a, v) for v, b, a in lines]
        return np.array(lines, dtype=float)

    def throw_round(self, lines: np.ndarray, each: int) -> None:
        """Throw `each` shots of the spread round every line, keep them, and fit anew."""
        self.round += 1
        count = len(lines)
        stage = SEARCH_STAGE + 10 * self.round
        if self.round < len(_ROUND_SHARES):
            # Every line gets points that follow each other. Never every count-th one: in base 2
            # those of an even count all lie in one half of a coordinate.
            deviates = normal_deviates(count * each, 6, self.seed, stage)
        else:  # the last few lines meet the same shots: their differences are paired
            deviates = np.tile(normal_deviates(each, 6, self.seed, stage), (count, 1))
        rows = self._rows(lines, deviates)
        table = self.thrower.throw(rows)
        self.values = np.concatenate([self.values, shot_values(table, self.objective)])
        first = len(self.lines)
        self.lines = np.concatenate([self.lines, lines])
        self.shots_at = np.concatenate([self.shots_at, np.full(count, each)])
        self.line_of = np.concatenate([self.line_of, first + np.repeat(np.arange(count), each)])
        self.releases = np.concatenate([self.releases, rows[:, :6]])
        entry = [table.entry_board, table.entry_angle_deg, table.entry_speed_mph]
        self.entries = np.concatenate([self.entries, np.column_stack(entry)])
        self.models = [self._fit(line) for line in self.lines]

    def _rows(self, lines: np.ndarray, deviates: np.ndarray) -> np.ndarray:
        """Releases (k n, 7): on each of the lines (k, 3) its own n of the deviates (k n, 6)."""
        rows = np.tile(self.release.row(), (len(deviates), 1))
        rows[:, :3] = np.repeat(lines, len(deviates) // len(lines), axis=0)
        rows[:, :6] += deviates * self.spread.array()
        return rows

    def _nearness(self, lines: np.ndarray) -> np.ndarray:
        """Weight (k, lines thrown) of each thrown line for lines (k, 3): 1 on it, falling off."""
        gap = (lines[:, None, :] - self.lines[None, :, :]) / _REACH
        return np.exp(-0.5 * np.sum(gap**2, axis=2))

    def _terms(self, off: np.ndarray) -> np.ndarray:
        """Terms (n, 13) of the local model: 1, the six deviations, and their squares and product
        in laydown and angle; speed, rev rate and rotation squared."""
        return np.column_stack([
            np.ones(len(off)), off, off[:, 0] ** 2, off[:, 1] ** 2, off[:, 0] * off[:, 1],
            off[:, 2] ** 2, off[:, 3] ** 2, off[:, 4] ** 2,
        ])

    def _fit(self, line: np.ndarray) -> _Arrival | None:
        """Model of where the shots near a line arrive, by weighted least squares; None if few."""
        near = self._nearness(line[None, :])[0][self.line_of]
        used = np.flatnonzero(near > 0.02)
        weight = near[used]
        met = np.isfinite(self.entries[used, 0])
        if met.sum() < 26:  # twice the terms
            return None
        share_met = float(weight[met].sum() / weight.sum())
        used, weight = used[met], weight[met]
        off = (self.releases[used] - np.append(line, self.release.row()[3:6])) / self.unit
        terms = self._terms(off)
        # the terms are of order one and 13 in number: the normal equations are safe and quick;
        # lstsq, as a number without spread leaves its column empty
        weighted = (terms * weight[:, None]).T
        solution = np.linalg.lstsq(weighted @ terms, weighted @ self.entries[used], rcond=1e-10)[0]
        left = self.entries[used, 0] - terms @ solution[:, 0]
        count = weight.sum() ** 2 / np.sum(weight**2)  # effective shots
        freedom = max(count - 13.0, 1.0)
        scatter = math.sqrt(np.sum(weight * left**2) / weight.sum() * count / freedom)
        return _Arrival(solution, scatter, share_met)

    def modelled(self, index: int, shifts: np.ndarray) -> np.ndarray:
        """Rates (k,) that the model of a thrown line gives for it shifted by (k, 3)."""
        model = self.models[index]
        if model is None:
            return np.zeros(len(shifts))
        spread = self.deviates * self.spread.array()
        off = np.tile(spread, (len(shifts), 1))
        off[:, :3] += np.repeat(shifts, len(spread), axis=0)
        return self._expected(model, off).reshape(len(shifts), -1).mean(axis=1)

    def _expected(self, model: _Arrival, off: np.ndarray) -> np.ndarray:
        """Value (n,) that a model expects of shots (n, 6) off its line."""
        board, angle, speed = (self._terms(off / self.unit) @ model.terms).T
        value = np.zeros(len(board))
        for z, w in zip(*_NORMAL_NODES, strict=True):
            value += w * entry_values(board + z * model.scatter, angle, speed, self.objective)
        return model.share_met * value

    def rated(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Best line (n, 3) near each line thrown, its rating (n,), and the shots thrown there (n,).

        Rating: the model's rate plus what the shots did that the model does not know, averaged
        over all shots thrown with the weights that make them stand for that line, and shrunk by
        t^2 / (t^2 + variance of that average), t the model's own error over all lines thrown.
        """
        self._take_residuals()
        still = np.zeros((1, 3))
        centre = np.array([self.modelled(i, still)[0] for i in range(len(self.lines))])
        gap, noise = self._unexplained(self.lines)
        error = max(float(np.mean(gap**2 - noise)), _MODEL_ERROR**2)
        best, rating = self.lines.copy(), centre + error / (error + noise) * gap
        for i in np.argsort(-rating, kind="stable")[:_LATTICE_LINES]:
            shifted = np.clip(self.lines[i] + self._shifts(), self.low, self.high)
            gap, noise = self._unexplained(shifted)
            rate = self.modelled(i, shifted - self.lines[i]) + error / (error + noise) * gap
            top = int(np.argmax(rate))
            if rate[top] > rating[i]:
                best[i], rating[i] = shifted[top], rate[top]
        return best, rating, self.shots_at

    def _take_residuals(self) -> None:
        """What every shot did less what its own line's model expected of it."""
        expected = np.zeros(len(self.values))
        for i, model in enumerate(self.models):
            mine = np.flatnonzero(self.line_of == i)
            if model is None:
                continue
            off = self.releases[mine] - np.append(self.lines[i], self.release.row()[3:6])
            expected[mine] = self._expected(model, off)
        self.residuals = self.values - expected
        # density of the mixture of lines that every shot came from, up to a constant
        origins, counts = np.unique(self.lines, axis=0, return_inverse=True)
        share = np.bincount(counts.ravel(), weights=self.shots_at)
        self.mixture = self._density(origins) @ (share / share.sum())

    def _density(self, lines: np.ndarray) -> np.ndarray:
        """Density (shots, k), up to a constant, of every shot if aimed along each line."""
        width = np.maximum(self.spread.array()[:3], _KERNEL_FLOOR)
        gap = np.zeros((len(self.releases), len(lines)))
        for a in range(3 if len(self.speeds) > 1 else 2):
            gap += ((self.releases[:, a, None] - lines[None, :, a]) / width[a]) ** 2
        return np.exp(-0.5 * gap)

    def _unexplained(self, lines: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean residual (k,) of shots standing for each line (k, 3), and its variance (k,).

        Multiple importance sampling with the balance heuristic (Veach & Guibas, SIGGRAPH 1995):
        a shot weighs by its density under the line over its density under all lines thrown.
        """
        weight = self._density(lines) / self.mixture[:, None]
        total = np.maximum(weight.sum(axis=0), 1e-300)
        mean = self.residuals @ weight / total
        square = self.residuals**2 @ weight / total
        # two shots' worth of the widest scatter, so that few shots are never taken as certain
        effective = total**2 / np.maximum((weight**2).sum(axis=0), 1e-300)
        noise = (np.maximum(square - mean**2, 0.0) * effective + 0.5) / (effective + 2) / effective
        return mean, noise

    def _shifts(self) -> np.ndarray:
        reach = [np.arange(-r, r + 1) for r in (1, 4, 1 if len(self.speeds) > 1 else 0)]
        lattice = np.stack(np.meshgrid(*reach, indexing="ij"), axis=-1).reshape(-1, 3)
        return lattice * _LATTICE / self.round  # closer each round

    def best_lines(self, most: int) -> np.ndarray:
        """Up to `most` lines (k, 3), best first, apart from each other."""
        lines, rating, _ = self.rated()
        return self._apart(lines, rating, most)

    def _apart(self, lines: np.ndarray, rating: np.ndarray, most: int) -> np.ndarray:
        """`best_lines` of lines (k, 3) with ratings (k,)."""
        apart = (1.2 if self.round == 1 else 0.6) * _REACH  # at first, not all in one place
        chosen: list[int] = []
        for i in np.argsort(-rating, kind="stable"):
            gaps = (lines[i] - lines[chosen]) / apart
            if np.all(np.sum(gaps**2, axis=1) > 1.0):
                chosen.append(int(i))
            if len(chosen) == most:
                break
        return lines[chosen]

    def final(self, decide_shots: int) -> tuple[np.ndarray, tuple[Line, ...]]:
        """The best line (3,), and the others, 3 boards or more from every better one."""
        lines, rating, shots = self.rated()
        best = self._apart(lines, rating, _DECIDED_LINES)
        best = self.decided(best, decide_shots) if decide_shots else best[0]
        taken = [best[0]]
        others = []
        for i in np.argsort(-rating, kind="stable"):
            if rating[i] < 0.5 * rating.max():
                break
            if np.all(np.abs(np.array(taken) - lines[i, 0]) >= 3.0):
                taken.append(lines[i, 0])
                span = wilson(min(1.0, max(0.0, rating[i])) * shots[i], int(shots[i]))
                others.append(Line(*map(float, lines[i]), span.rate, span.low, span.high))
        return best, tuple(others)

    def decided(self, few: np.ndarray, shots: int) -> np.ndarray:
        """The best line (3,) by the same shots on a few lines (k, 3) and on a walk from there."""
        deviates = normal_deviates(shots, 6, self.seed, SEARCH_STAGE + 90)

        def worth(lines: np.ndarray) -> np.ndarray:
            rows = self._rows(lines, np.tile(deviates, (len(lines), 1)))
            values = shot_values(self.thrower.throw(rows), self.objective)
            return values.reshape(len(lines), shots).mean(axis=1)

        value = worth(few)
        best, top = few[[value.argmax()]], value[[value.argmax()]]
        speed = np.array([best[0, 2]])
        lines, _ = walk_lines(
            best[:, :2], top, lambda _, at: worth(np.column_stack([at, speed.repeat(len(at))])),
            self.low[:2], self.high[:2], most=_MOST_MOVES)
        return np.append(lines[0], speed)

    def rate_map(self, speed: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Axes and rate (l, a) over the whole plane at one speed.

        Near the lines thrown: from their models. Elsewhere: the mean shots of the grid, joined
        linearly, their arrival spread by the scatter left after laydown and angle are taken out,
        and blurred by the player's laydown and angle. That is cruder, but there the rate is small.
        """
        from scipy.ndimage import gaussian_filter

        laydowns = _axis(self.low[0], self.high[0], _MAP_BOARDS)
        angles = _axis(self.low[1], self.high[1], _MAP_DEG)
        s = int(np.argmin(np.abs(self.speeds - speed)))
        fine_l = _axis(self.low[0], self.high[0], 0.5)
        fine_a = _axis(self.low[1], self.high[1], 0.05)
        entry = [_bilinear(self.laydowns, self.angles, e[s], fine_l, fine_a) for e in self.entry]
        values = np.zeros(entry[0].shape)
        fits = [m for m in self.models if m is not None]
        others = [np.hypot(m.scatter, np.linalg.norm(
            m.terms[3:7, 0] * self.spread.array()[2:] / self.unit[2:])) for m in fits]
        scatter = float(np.median(others)) if fits else 1.0
        nodes, weights = np.polynomial.hermite_e.hermegauss(7)
        for z, w in zip(nodes, weights / weights.sum(), strict=True):
            values += w * entry_values(entry[0] + scatter * z, entry[1], entry[2], self.objective)
        sd_laydown, sd_angle = self.spread.array()[:2]
        blurred = gaussian_filter(values, (sd_laydown / 0.5, sd_angle / 0.05), mode="constant")
        rough = _bilinear(fine_l, fine_a, blurred, laydowns, angles)
        where = np.stack(np.meshgrid(laydowns, angles, indexing="ij"), axis=-1).reshape(-1, 2)
        lines = np.column_stack([where, np.full(len(where), speed)])
        near = self._nearness(lines)
        usable = np.array([m is not None for m in self.models])
        near[:, ~usable] = 0.0
        nearest = near.argmax(axis=1)
        rate = rough.ravel().copy()
        for i in np.unique(nearest[near.max(axis=1) > 0.3]):
            mine = np.flatnonzero((nearest == i) & (near.max(axis=1) > 0.3))
            rate[mine] = self.modelled(i, lines[mine] - self.lines[i])
        return laydowns, angles, rate.reshape(rough.shape)


def _turning_points(
    angles: np.ndarray, off: np.ndarray, sign: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Inner nodes (l, a - 2) of rows where `off` is least (sign +1) or largest (-1); by a parabola
    the angle and the height of the turning point.  None beside a NaN."""
    before, here, after = off[:, :-2], off[:, 1:-1], off[:, 2:]
    with np.errstate(invalid="ignore", divide="ignore"):
        turns = (sign * here <= sign * before) & (sign * here < sign * after)
        slope, bend = 0.5 * (after - before), before - 2.0 * here + after
        share = np.where(np.abs(slope) < np.abs(bend), -slope / bend, 0.0)
    height = here + share * (slope + 0.5 * share * bend)
    return turns, angles[1:-1] + share * (angles[1] - angles[0]), height


def tangent_lines(laydowns: np.ndarray, angles: np.ndarray, off: np.ndarray) -> np.ndarray:
    """Lines (k, 2) on which shots meet the best board and hardly mind the launch angle.

    off : (l, a) entry board of the mean shot less the best one, NaN where no pin was met.  On a row
    the board often turns back: what is sent farther out meets dry boards and comes back more.
    Where that turning point, moving from row to row, passes the best board, a wrong angle costs
    least; between two rows of a grid no crossing need show it.  Shots with a spread arrive on one
    side of the turning point, so places where it lies a little beyond the best board are given too.
    """
    found: list[np.ndarray] = []
    last = len(off) - 1
    for sign in (1.0, -1.0):
        turns, where, height = _turning_points(angles, off, sign)
        for i, j in np.argwhere(turns):
            here = np.array([laydowns[i], where[i, j]])
            if i in (0, last) and abs(height[i, j]) < _BEYOND_BOARDS[-1]:
                found.append(here)  # it may pass just outside the grid
            if i == last:
                continue
            for n in np.flatnonzero(turns[i + 1] & (np.abs(where[i + 1] - where[i, j]) < 1.0)):
                there = np.array([laydowns[i + 1], where[i + 1, n]])
                ends = [(height[i, j] + sign * beyond, height[i + 1, n] + sign * beyond)
                        for beyond in _BEYOND_BOARDS]
                found += [here + low / (low - high) * (there - here) for low, high in ends
                          if low * high < 0.0]
    return np.array(found).reshape(-1, 2)


def walk_lines(
    best: np.ndarray, top: np.ndarray, worth: Callable[[np.ndarray, np.ndarray], np.ndarray],
    low: np.ndarray, high: np.ndarray, *, steps: Sequence[np.ndarray] = WALK_STEPS, most: int,
) -> tuple[np.ndarray, np.ndarray]:
    """Walk from lines, at most `most` times at each distance, as long as a neighbour is worth more.

    best : (b, 2) laydown board and launch angle of each ball's line; top : (b,) its worth;
    worth : from the balls (k,) and lines (k, 2) to what they are worth (k,), by the same shots on
    every line; low, high : (2,) limits; steps : the neighbours, (k, 2) for each distance.
    Returns the lines and their worth.
    """
    best, top = best.copy(), top.copy()
    for step in steps:
        going = np.arange(len(best))
        for _ in range(most):
            moved = np.clip(best[going, None, :] + step, low, high)
            tried = worth(np.repeat(going, len(step)), moved.reshape(-1, 2))
            tried = tried.reshape(len(going), -1)
            at = tried.argmax(axis=1)
            found = tried[np.arange(len(going)), at]
            better = found > top[going]
            best[going[better]] = moved[better, at[better]]
            top[going[better]] = found[better]
            going = going[better]
            if not len(going):
                break
    return best, top


def _axis(low: float, high: float, step: float) -> np.ndarray:
    """Points from low to high, evenly spaced by about `step`."""
    return np.linspace(low, high, max(2, round((high - low) / step) + 1))


def _crossings(x: np.ndarray, y: np.ndarray, level: float) -> list[float]:
    """Where the joined points (x, y) cross a level; pieces with NaN are left out."""
    out = []
    for x0, x1, y0, y1 in zip(x[:-1], x[1:], y[:-1], y[1:], strict=True):
        if (y0 - level) * (y1 - level) < 0:  # False for NaN
            out.append(float(x0 + (level - y0) / (y1 - y0) * (x1 - x0)))
        elif y0 == level:
            out.append(float(x0))
    return out


def _bilinear(
    x: np.ndarray, y: np.ndarray, z: np.ndarray, new_x: np.ndarray, new_y: np.ndarray
) -> np.ndarray:
    """z (len(x), len(y)) joined linearly on new axes; NaN spreads to the cells it touches."""
    def weights(old: np.ndarray, new: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        i = np.clip(np.searchsorted(old, new, side="right") - 1, 0, len(old) - 2)
        return i, (new - old[i]) / (old[i + 1] - old[i])

    i, u = weights(x, new_x)
    j, v = weights(y, new_y)
    u, v = u[:, None], v[None, :]
    a, b = z[np.ix_(i, j)], z[np.ix_(i, j + 1)]
    c, d = z[np.ix_(i + 1, j)], z[np.ix_(i + 1, j + 1)]
    return (1 - u) * ((1 - v) * a + v * b) + u * ((1 - v) * c + v * d)
