"""What games have done to a ball's reaction, when to refresh it, and when only a new one helps.

Each ball of a log is thrown in five states: new, as it is today, as it will be at the event, and
at the event with its finish refreshed, without and with an oil extraction before. Measures:

- boards lost: how far the usual shot, sent along the NEW ball's best line, arrives from where the
  new ball arrives, 59 ft down the lane; positive: less hook.
- pocket rate on the new ball's line (nobody adjusts) and on the state's own best line.
- strikes, leaves and pins per game there, from the carry table, if it is there.

The wear laws are assumed, so all of it is computed again with parameter sets drawn from
`cover.WEAR_DOUBT`; bands are the middle 90 % of those sets. They hold the doubt of the ageing
parameters, not that of the friction law or of the grit table.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from ..equipment.ball import Ball
from ..equipment.ball_log import BallLog, state_on, stepped
from ..equipment.cover import Cover, CoverKind, sampled_kinds
from ..errors import InputError, check_range, nearest_name
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..lines.judge import LineResult, judge_line
from ..lines.lineup import find_line
from ..motion.pocket import POCKET
from ..motion.trajectory import throw_many
from ..player import Player, normal_deviates
from ..stats import Rate
from .odds import has_carry_table, strikes_of, with_pins

if TYPE_CHECKING:
    from ..pins.outcomes import PinResult

MEASURE_FT = 59  # last whole foot before any pin: there the paths are compared
BAND = (5.0, 95.0)  # percentiles of a band
STATES = ("new", "today", "event", "refreshed", "refreshed, oil out")
# Assumed: a player wants the ball back when a board and a half is gone: half the pocket's width,
# and what three quarters of a mile an hour more speed would do (1 mph is about 2 boards: read).
ALLOWED_BOARDS = 1.5
SURFACE_GAMES = tuple(float(g) for g in (*range(0, 20, 2), *range(20, 121, 5)))
MORE_GAMES = tuple(float(g) for g in range(0, 601, 20))
_REAIM_DEG = np.linspace(-1.5, 1.5, 13)

Progress = Callable[[float, float], None]


@dataclass(frozen=True)
class Band:
    """A value with the stated parameters, and the middle 90 % over sampled ones.

    NaN in `value`, `low` or `high`: not reached within the games looked at.
    """

    value: float
    low: float
    high: float

    def text(self, digits: int = 1) -> str:
        """Like '2.3 (1.5-3.6)'."""
        def one(v: float) -> str:
            return "-" if v != v else f"{v:.{digits}f}"

        return f"{one(self.value)} ({one(self.low)} to {one(self.high)})"


@dataclass(frozen=True)
class Standing:
    """One state of a ball.

    Attributes
    ----------
    state : one of STATES. cover : the cover in that state.
    boards_lost : against the new ball on the new ball's line [boards], see the module's docstring.
    angle_lost_deg : entry angle [deg] lost against the new ball, each on its own best line, mean
        over the shots that met a pin; negative: steeper than the new one.
    pocket_new_line, pocket_own_line : pocket rates with Wilson intervals (sampling), and bands
        (wear parameters; on the own line each set's shots are re-aimed by the launch angle).
    pins_new_line, pins_own_line : strikes, leaves and pins per game of the same shots, and the
        strike rate's bands as the pocket's; None: the pins were left out.
    entry_board, entry_angle_deg : mean on the own best line.
    laydown_board, arrow_board : the own best line.
    """

    state: str
    cover: Cover
    boards_lost: Band
    angle_lost_deg: Band
    pocket_new_line: Rate
    pocket_new_line_band: Band
    pocket_own_line: Rate
    pocket_own_line_band: Band
    entry_board: float
    entry_angle_deg: float
    laydown_board: float
    arrow_board: float
    pins_new_line: PinResult | None = None
    strike_new_line_band: Band | None = None
    pins_own_line: PinResult | None = None
    strike_own_line_band: Band | None = None

    def to_dict(self) -> dict[str, Any]:
        """Plain values, the cover by what follows from it."""
        from dataclasses import fields

        out = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "cover"}
        for name in ("pins_new_line", "pins_own_line"):
            out[name] = out[name] and out[name].to_dict()
        return out | {"cover": cover_summary(self.cover)}


@dataclass(frozen=True)
class BallWear:
    """A ball's wear and what to do about it.

    Attributes
    ----------
    ball : as in the ball file (its state before the log).
    pace_per_week : games a week at which the ball is assumed to go on.
    games_to_event : games between today and the event; planned: from the log's later lines, not
        from the pace.
    standings : one per state (without an event: at today).
    surface_games (n,), lost_by_surface (n, 3) : boards lost since the finish was fresh, against
        games since then, from the oil it holds today: value, low, high.
    total_games (m,), lost_refreshed, lost_extracted (m, 3) : boards that the ball, if refreshed
        then, is short of a new one, against its games in all from today's on; without and with an
        oil extraction at that moment.
    refresh_after : games since the surface at which the change, either way (a polished ball gets
        rougher and hooks sooner), passes what is allowed.
    replace_after, replace_after_extraction : games in all from which a refreshed ball stays more
        than that short of a new one.
    refresh_on, replace_on : dates by the pace, None: no date within the games looked at.
    advice : sentences.
    """

    ball: Ball
    pace_per_week: float
    games_to_event: float
    planned: bool
    standings: tuple[Standing, ...]
    surface_games: np.ndarray
    lost_by_surface: np.ndarray
    total_games: np.ndarray
    lost_refreshed: np.ndarray
    lost_extracted: np.ndarray
    refresh_after: Band
    replace_after: Band
    replace_after_extraction: Band
    refresh_on: date | None
    replace_on: date | None
    advice: tuple[str, ...]

    def standing(self, state: str) -> Standing:
        """The standing of that state."""
        for s in self.standings:
            if s.state == state:
                return s
        raise nearest_name(state, [s.state for s in self.standings], "state")

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        from dataclasses import fields

        out = {f.name: getattr(self, f.name) for f in fields(self)}
        return out | {
            "ball": self.ball.name,
            "standings": [s.to_dict() for s in self.standings],
            "refresh_on": self.refresh_on and self.refresh_on.isoformat(),
            "replace_on": self.replace_on and self.replace_on.isoformat(),
        }


@dataclass(frozen=True)
class WearResult:
    """All balls of a log on one pattern for one player."""

    today: date
    event: date | None
    pattern: str
    player: str
    allowed_boards: float
    shots: int
    sets: int
    seed: int
    balls: tuple[BallWear, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain values, ready for files.to_json."""
        return {
            "today": self.today.isoformat(),
            "event": self.event and self.event.isoformat(),
            "pattern": self.pattern,
            "player": self.player,
            "allowed_boards": self.allowed_boards,
            "shots": self.shots,
            "parameter_sets": self.sets,
            "seed": self.seed,
            "band": "middle 90 % over sampled wear parameters",
            "assumptions": ASSUMPTIONS,
            "balls": [b.to_dict() for b in self.balls],
        }


ASSUMPTIONS = (
    "the laws and parameters of wear are assumed (lanesim.cover lists them with their doubt)",
    "games to come are those of the log's later lines, else the pace of the last 60 days goes on",
    "a refresh restores the finish last prepared and nothing else",
)


def cover_summary(cover: Cover) -> dict[str, Any]:
    """What a cover is and what follows from it."""
    return {
        "kind": cover.kind, "finish": cover.finish,
        "games_since_surface": cover.games_since_surface, "games_total": cover.games_total,
        "oil_extractions": cover.oil_extractions, "ra_um": cover.ra_um,
        "dry_friction": cover.dry_friction, "uptake": cover.uptake,
        "soaked_share": cover.soaked_share,
    }


def study(
    log: BallLog,
    balls: Mapping[str, Ball],
    pattern: OilPattern,
    player: Player,
    *,
    today: date,
    event: date | None = None,
    only: Sequence[str] = (),
    games_per_week: float | None = None,
    allowed_boards: float = ALLOWED_BOARDS,
    shots: int = 512,
    sets: int = 24,
    seed: int = 1,
    pins: bool | None = None,
    friction: FrictionModel = DEFAULT_FRICTION,
    report: Progress | None = None,
) -> WearResult:
    """Judge every ball of a log today and at an event.

    Parameters
    ----------
    balls : name -> ball as it was before the log's first entry.
    only : names to look at; empty: all in the log.
    games_per_week : games a week per ball from today on instead of the log's own pace.
    allowed_boards : loss at which the ball is to be refreshed or replaced [boards]. ASSUMED.
    shots : shots behind every rate; sets : sampled parameter sets behind every band.
    pins : also strikes, leaves and pins per game from the shipped carry table; None: if it is
        there.
    report : called with (done, total).
    """
    if event is not None and event < today:
        raise InputError(f"the event on {event} lies before today, {today}")
    check_range("allowed loss", allowed_boards, 0.1, 20, "boards")
    check_range("shots", shots, 16, 1_000_000)
    check_range("parameter sets", sets, 4, 1000)
    if games_per_week is not None:
        check_range("games a week", games_per_week, 0, 200)
    names = checked_names(log, balls, only)
    with_strikes = has_carry_table() if pins is None else pins
    out = []
    for n, name in enumerate(names):
        out.append(_judge_ball(
            log, balls[name], pattern, player, today, event, games_per_week, allowed_boards, shots,
            sets, seed, friction, with_strikes,
        ))
        if report is not None:
            report(n + 1, len(names))
    return WearResult(today, event, pattern.name, player.name, allowed_boards, shots, sets, seed,
                      tuple(out))


def checked_names(log: BallLog, balls: Mapping[str, Ball], only: Sequence[str] = ()) -> list[str]:
    """The balls to look at: `only`, or all of the log; InputError for one that is not known."""
    names = list(only) or list(log.balls)
    for name in names:
        if name not in log.balls:
            raise nearest_name(name, log.balls, f"ball in {log.where}")
        if name not in balls:
            raise nearest_name(name, balls, "ball")
    return names


def cover_at(
    log: BallLog, ball: Ball, today: date, event: date, games_per_week: float | None = None
) -> tuple[Cover, float, bool]:
    """Cover at the event, games played until then, and whether they are planned in the log.

    Lines of the log after today are followed as they stand, work on the ball included; without
    any, or if games_per_week is given, games go on at that pace and no work is done.
    """
    now = state_on(log, ball, today)
    plans = [e for e in log.of(ball.name, event) if e.day > today]
    if plans and games_per_week is None:
        return stepped(now, plans), sum(e.games for e in plans), True
    per_day = log.pace(ball.name, today) if games_per_week is None else games_per_week / 7.0
    games = per_day * (event - today).days
    return now.played(games), games, False


def _judge_ball(
    log: BallLog, ball: Ball, pattern: OilPattern, player: Player, today: date,
    event: date | None, games_per_week: float | None, allowed: float, shots: int, sets: int,
    seed: int, friction: FrictionModel, pins: bool,
) -> BallWear:
    now = state_on(log, ball, today)
    then, games, planned = cover_at(log, ball, today, event or today, games_per_week)
    covers = {
        "new": now.as_new(),
        "today": now,
        "event": then,
        "refreshed": then.refreshed(then.grit, then.polished),
        "refreshed, oil out": then.extracted().refreshed(then.grit, then.polished),
    }
    if event is None:
        del covers["event"]
    kinds = sampled_kinds(now.parameters, sets, seed)
    lab = _Lab(ball, pattern, player, friction, seed, shots, pins)
    standings = lab.standings(covers, kinds)
    surface, total = np.array(SURFACE_GAMES), np.array(MORE_GAMES)
    fresh = now.refreshed(now.grit, now.polished)
    # the finish alone: the oil in the cover stays what it is today
    by_surface = lab.lost(
        [replace(fresh, games_since_surface=min(g, 5000.0), games_total=max(now.games_total, g))
         for g in surface], [replace(fresh, games_total=max(now.games_total, g)) for g in surface],
        kinds)
    aged = [now.played(g).refreshed(now.grit, now.polished) for g in total]
    total = total + now.games_total
    new = [covers["new"]] * len(total)
    refreshed = lab.lost(aged, new, kinds)
    extracted = lab.lost([c.extracted() for c in aged], new, kinds)
    refresh_after = _reached(surface, np.abs(by_surface), allowed)
    replace_after = _reached(total, refreshed, allowed)
    replace_extracted = _reached(total, extracted, allowed)
    pace = log.pace(ball.name, today) * 7.0 if games_per_week is None else games_per_week
    refresh_on = _when(today, refresh_after.value - now.games_since_surface, pace)
    replace_on = _when(today, replace_extracted.value - now.games_total, pace)
    return BallWear(
        ball=ball, pace_per_week=pace, games_to_event=games, planned=planned, standings=standings,
        surface_games=surface, lost_by_surface=_bands(by_surface), total_games=total,
        lost_refreshed=_bands(refreshed), lost_extracted=_bands(extracted),
        refresh_after=refresh_after, replace_after=replace_after,
        replace_after_extraction=replace_extracted, refresh_on=refresh_on, replace_on=replace_on,
        advice=_advice(now, refresh_after, replace_after, replace_extracted, refresh_on,
                       replace_on, standings, allowed),
    )


class _Lab:
    """One ball's states, thrown by one player on one pattern."""

    def __init__(
        self, ball: Ball, pattern: OilPattern, player: Player, friction: FrictionModel, seed: int,
        shots: int, pins: bool,
    ) -> None:
        self.ball, self.pattern, self.player = ball, pattern, player
        self.friction, self.seed, self.shots, self.pins = friction, seed, shots, pins
        self.new_line: np.ndarray = player.release.row()

    def with_cover(self, cover: Cover) -> Ball:
        return replace(self.ball, cover=cover)

    def throw(self, covers: Sequence[Cover], rows: np.ndarray, which: np.ndarray, paths: bool):
        return throw_many([self.with_cover(c) for c in covers], rows, self.pattern, which=which,
                          hand=self.player.release.hand, friction=self.friction, keep_paths=paths)

    def arrival(self, covers: Sequence[Cover], rows: np.ndarray) -> np.ndarray:
        """Board at MEASURE_FT of one shot per cover; NaN for one that went into the gutter."""
        table = self.throw(covers, rows, np.arange(len(covers)), True)
        return table.path_board[:, MEASURE_FT]

    def lost(
        self, worn: Sequence[Cover], fresh: Sequence[Cover], kinds: Sequence[CoverKind]
    ) -> np.ndarray:
        """Boards lost (sets + 1, n) by worn covers against fresh ones; row 0: stated parameters."""
        laws = [worn[0].law, *kinds]
        covers = [replace(c, law=law) for law in laws for c in (*worn, *fresh)]
        unique = list(dict.fromkeys(covers))
        place = {c: n for n, c in enumerate(unique)}
        boards = self.arrival(unique, np.tile(self.new_line, (len(unique), 1)))
        table = boards[[place[c] for c in covers]].reshape(len(laws), 2, len(worn))
        return table[:, 1] - table[:, 0]

    def line(self, cover: Cover) -> LineResult:
        return find_line(self.with_cover(cover), self.player.release, self.pattern,
                         self.player.spread, shots=self.shots, seed=self.seed,
                         friction=self.friction, with_map=False)

    def standings(
        self, covers: Mapping[str, Cover], kinds: Sequence[CoverKind]
    ) -> tuple[Standing, ...]:
        """All states, on the new ball's line and on their own."""
        lines = {state: self.line(cover) for state, cover in covers.items()}
        new = lines["new"]
        self.new_line = new.release.row()
        out = []
        new_angles = np.zeros(0)
        for state, cover in covers.items():
            own = lines[state]
            there = judge_line(self.with_cover(cover), new.release, self.pattern,
                               self.player.spread, shots=self.shots, seed=self.seed,
                               friction=self.friction)
            (here, on_own), strikes, angles = self.by_set(cover, own.release.row(), kinds)
            if state == "new":
                new_angles = angles
            lost = self.lost([cover], [covers["new"]], kinds)[:, 0]
            out.append(Standing(
                state=state, cover=cover, boards_lost=_band(lost),
                angle_lost_deg=_band(new_angles - angles),
                pocket_new_line=there.pocket, pocket_new_line_band=_band(here),
                pocket_own_line=own.pocket, pocket_own_line_band=_band(on_own),
                entry_board=own.entry_board_mean, entry_angle_deg=own.entry_angle_mean_deg,
                laydown_board=own.release.laydown_board, arrow_board=own.arrow_board,
                **(self.pin_fields(there, own, strikes) if self.pins else {}),
            ))
        return tuple(out)

    def pin_fields(
        self, there: LineResult, own: LineResult, strikes: Sequence[np.ndarray]
    ) -> dict[str, Any]:
        """Fields of a Standing about the pins: on the new ball's line and on the own."""
        on_new = with_pins(there).pins
        on_own = on_new if own.release == there.release else with_pins(own).pins
        return {
            "pins_new_line": on_new, "strike_new_line_band": _band(strikes[0]),
            "pins_own_line": on_own, "strike_own_line_band": _band(strikes[1]),
        }

    def by_set(
        self, cover: Cover, own: np.ndarray, kinds: Sequence[CoverKind]
    ) -> tuple[list[np.ndarray], list[np.ndarray], np.ndarray]:
        """Pocket rate on the new ball's line and on the own, strike rate on both (empty without
        pins), and entry angle on the own; all (sets + 1,).

        On its own line a player re-aims: each parameter set's launch angle is shifted so that its
        usual shot arrives where that of the stated parameters does.
        """
        worn = [cover, *(replace(cover, law=kind) for kind in kinds)]
        spread = np.zeros((min(self.shots, 192), 7))
        spread[:, :6] = self.player.spread.deviations(
            normal_deviates(len(spread), 6, self.seed))
        fan = np.tile(own, (len(_REAIM_DEG), 1))
        fan[:, 1] += _REAIM_DEG
        which = np.repeat(np.arange(len(worn)), len(fan))
        table = self.throw(worn, np.tile(fan, (len(worn), 1)), which, True)
        boards = table.path_board[:, MEASURE_FT].reshape(len(worn), len(fan))
        goal = boards[0, len(fan) // 2]
        lines = np.tile(own, (len(worn), 1))
        lines[:, 1] += [_angle_for(goal, _REAIM_DEG, b) for b in boards]
        rates, strikes, angles = [], [], np.zeros(0)
        for rows in (np.tile(self.new_line, (len(worn), 1)), lines):
            which = np.repeat(np.arange(len(worn)), len(spread))
            shots = np.repeat(rows, len(spread), axis=0) + np.tile(spread, (len(worn), 1))
            table = self.throw(worn, shots, which, False)
            hit = (table.outcome == POCKET).reshape(len(worn), len(spread))
            rates.append(hit.mean(axis=1))
            if self.pins:
                chance = strikes_of(table.entry_board, table.entry_angle_deg,
                                    table.entry_speed_mph, table.outcome)
                strikes.append(chance.reshape(hit.shape).mean(axis=1))
            met = np.isfinite(table.entry_angle_deg).reshape(hit.shape)
            total = np.nansum(table.entry_angle_deg.reshape(hit.shape), axis=1)
            angles = total / np.maximum(met.sum(axis=1), 1)
        return rates, strikes, angles


def _angle_for(goal: float, angles: np.ndarray, boards: np.ndarray) -> float:
    """Shift of the launch angle nearest to none at which `boards` crosses `goal`.

    NaN boards (gutter) are left out; without a crossing the angle that comes nearest.
    """
    good = np.isfinite(boards)
    a, b = angles[good], boards[good] - goal
    if len(a) == 0:
        return 0.0
    found = [
        a[n] - b[n] * (a[n + 1] - a[n]) / (b[n + 1] - b[n])
        for n in range(len(a) - 1) if b[n] * b[n + 1] <= 0.0 and b[n] != b[n + 1]
    ]
    return float(min(found, key=abs)) if found else float(a[np.argmin(np.abs(b))])


def _band(values: np.ndarray) -> Band:
    """Value 0 of `values` with the percentiles of the others."""
    good = values[1:][np.isfinite(values[1:])]
    if len(good) == 0:
        return Band(float(values[0]), float("nan"), float("nan"))
    low, high = np.percentile(good, BAND)
    return Band(float(values[0]), float(low), float(high))


def _bands(values: np.ndarray) -> np.ndarray:
    """(n, 3) value, low, high of a table (sets + 1, n)."""
    bands = [_band(column) for column in values.T]
    return np.array([(b.value, b.low, b.high) for b in bands])


def _reached(games: np.ndarray, lost: np.ndarray, allowed: float) -> Band:
    """Games at which each row of `lost` first passes `allowed`; sets that never do count as last.

    A percentile that falls among those sets is NaN.
    """
    reached = np.array([_first_games(games, row, allowed) for row in lost])
    low, high = np.percentile(reached[1:], BAND, method="nearest")
    return Band(*(float(v) if np.isfinite(v) else float("nan") for v in (reached[0], low, high)))


def _first_games(games: np.ndarray, lost: np.ndarray, allowed: float) -> float:
    over = np.flatnonzero(lost > allowed)
    if len(over) == 0:
        return float("inf")
    n = int(over[0])
    if n == 0:
        return float(games[0])
    share = (allowed - lost[n - 1]) / (lost[n] - lost[n - 1])
    return float(games[n - 1] + share * (games[n] - games[n - 1]))


def _when(today: date, games: float, per_week: float) -> date | None:
    """Date after so many more games at a pace; None if there is none."""
    if not np.isfinite(games):
        return None
    if games <= 0:
        return today
    if per_week <= 0 or games / per_week * 7 > 3650:
        return None
    return today + timedelta(days=round(games / per_week * 7))


def _advice(
    now: Cover, refresh: Band, replace_after: Band, replace_extracted: Band,
    refresh_on: date | None, replace_on: date | None, standings: Sequence[Standing],
    allowed: float,
) -> tuple[str, ...]:
    out = []
    span = f"{refresh.text(0)} games since the surface"
    if np.isnan(refresh.value):
        out.append(f"No refresh is due: play changes this finish by less than {allowed:g} boards "
                   f"within {SURFACE_GAMES[-1]:g} games.")
    elif refresh.value <= now.games_since_surface:
        out.append(f"Refresh it now: {now.games_since_surface:.0f} games since the surface, "
                   f"{allowed:g} boards of change after {span}.")
    else:
        day = f", about {refresh_on}" if refresh_on else ""
        out.append(f"Refresh it after {span}{day}; {now.games_since_surface:.0f} are played.")
    short = {s.state: s.boards_lost for s in standings}
    back, out_too = short["refreshed"], short["refreshed, oil out"]
    when = "at the event" if "event" in short else "today"
    if out_too.value > allowed:
        out.append(f"Only a new one brings it back: {when} it is {back.text()} boards short of one "
                   f"if refreshed, {out_too.text()} with the oil drawn out as well.")
    elif back.value > allowed:
        out.append(f"Refreshing alone does not bring it back: {when} it is {back.text()} boards "
                   f"short of a new one, with the oil drawn out as well {out_too.text()}.")
    else:
        out.append(f"Refreshed it is {back.text()} boards short of a new one {when}.")
    last = MORE_GAMES[-1] + now.games_total
    if replace_after.value > now.games_total:
        out.append(f"Refreshing alone stops bringing it back at {replace_after.text(0)} games in "
                   f"all; {now.games_total:.0f} are played.")
    if replace_extracted.value > now.games_total:
        day = f", about {replace_on}" if replace_on else ""
        out.append("Even with the oil drawn out only a new one helps from "
                   f"{replace_extracted.text(0)} games in all{day}.")
    elif np.isnan(replace_extracted.value):
        out.append(f"Drawing the oil out and refreshing goes on bringing it back up to {last:.0f} "
                   "games in all, as far as was looked.")
    return tuple(out)
