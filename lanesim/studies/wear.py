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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from typing import Any, ClassVar

import numpy as np

from ..defaults import SEED, SHOTS
from ..equipment.ball import Ball
from ..equipment.ball_log import BallLog, state_on, stepped
from ..equipment.cover import Cover, sampled_kinds
from ..errors import InputError, check_kind, check_range, nearest_name
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..player import Player
from ..progress import Progress, silent
from ..results import Result, Story
from .odds import has_carry_table
from .wear_lab import BAND, MEASURE_FT, Band, Lab, Standing, bands

STATES = ("new", "today", "event", "refreshed", "refreshed, oil out")
# Assumed: a player wants the ball back when a board and a half is gone: half the pocket's width,
# and what three quarters of a mile an hour more speed would do (1 mph is about 2 boards: read).
ALLOWED_BOARDS = 1.5
SURFACE_GAMES = tuple(float(g) for g in (*range(0, 20, 2), *range(20, 121, 5)))
MORE_GAMES = tuple(float(g) for g in range(0, 601, 20))


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
        out = {f.name: getattr(self, f.name) for f in fields(self)}
        return out | {
            "ball": self.ball.name,
            "standings": [s.to_dict() for s in self.standings],
            "refresh_on": self.refresh_on and self.refresh_on.isoformat(),
            "replace_on": self.replace_on and self.replace_on.isoformat(),
        }


@dataclass(frozen=True, repr=False)
class WearResult(Result):
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

    _figure: ClassVar[str] = "lanesim.figures.wear:draw_wear"

    def story(self) -> Story:
        """What each ball has lost, and what is advised."""
        header = ["ball", "games", "lost now [boards]", "advice"]
        rows = []
        for ball in self.balls:
            now = ball.standing("today")
            rows.append([ball.ball.name, f"{now.cover.games_total:g}", now.boards_lost.text(),
                         " ".join(ball.advice)])
        return Story(f"{len(rows)} balls on {self.pattern}, {self.today}", (), header, rows)

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
            "cautions": CAUTIONS,
            "balls": [b.to_dict() for b in self.balls],
        }


ASSUMPTIONS = (
    "the laws and parameters of wear are assumed (lanesim.cover lists them with their doubt)",
    "games to come are those of the log's later lines, else the pace of the last 60 days goes on",
    "a refresh restores the finish last prepared and nothing else",
)
# Usual practice in the trade and in workshops; no source of ours.
CAUTIONS = (
    "Sanding makes fine dust: sand wet or with extraction, wear a respirator and eye protection, "
    "keep dust and used compounds out of drains.",
    "Heat draws oil out and cracks covers: stay below what the ball's maker allows, never an oven "
    "or an open flame, and let the ball warm and cool slowly.",
    "A finish changed during play or beyond what the event allows can void a score: look up the "
    "current rules, and local codes for dust and solvents; a certified pro shop knows both.",
)


def wear(
    log: BallLog,
    balls: Mapping[str, Ball],
    player: Player,
    pattern: OilPattern,
    *,
    today: date,
    event: date | None = None,
    only: Sequence[str] = (),
    games_per_week: float | None = None,
    allowed_boards: float = ALLOWED_BOARDS,
    shots: int = SHOTS["wear"][0],
    sets: int = 24,
    seed: int = SEED,
    pins: bool | None = None,
    friction: FrictionModel = DEFAULT_FRICTION,
    progress: Progress = silent,
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
    progress : called with (done, total).
    """
    if event is not None and event < today:
        raise InputError(f"the event on {event} lies before today, {today}")
    check_range("allowed loss", allowed_boards, 0.1, 20, "boards")
    check_range("shots", shots, *SHOTS["wear"][1:])
    check_range("parameter sets", sets, 4, 1000)
    if games_per_week is not None:
        check_range("games a week", games_per_week, 0, 200)
    check_kind("player", player, Player)
    check_kind("pattern", pattern, OilPattern)
    names = checked_names(log, balls, only)
    with_strikes = has_carry_table() if pins is None else pins
    out = []
    for n, name in enumerate(names):
        out.append(_judge_ball(
            log, balls[name], player, pattern, today, event, games_per_week, allowed_boards, shots,
            sets, seed, friction, with_strikes,
        ))
        progress(n + 1, len(names))
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
    log: BallLog, ball: Ball, player: Player, pattern: OilPattern, today: date,
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
    lab = Lab(ball, player, pattern, friction, seed, shots, pins)
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
        surface_games=surface, lost_by_surface=bands(by_surface), total_games=total,
        lost_refreshed=bands(refreshed), lost_extracted=bands(extracted),
        refresh_after=refresh_after, replace_after=replace_after,
        replace_after_extraction=replace_extracted, refresh_on=refresh_on, replace_on=replace_on,
        advice=_advice(now, refresh_after, replace_after, replace_extracted, refresh_on,
                       replace_on, standings, allowed),
    )


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


def _if_moved(standings: Sequence[Standing]) -> str:
    """What a refresh does for a player who moves instead: a sentence on the own lines."""
    by_state = {s.state: s for s in standings}
    worn, fresh = by_state["today"].pocket_own_line, by_state["refreshed"].pocket_own_line
    return (f" Who moves to the ball's own best line finds the pocket {100 * worn.rate:.0f} % "
            f"(today) and {100 * fresh.rate:.0f} % (refreshed) of the time.")


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
        out.append(
            f"Refresh it now, if you stay on the new ball's line: there the usual shot ends more "
            f"than {allowed:g} boards from where the fresh finish took it ({MEASURE_FT} ft down) "
            f"after {span}; {now.games_since_surface:.0f} are played.{_if_moved(standings)}")
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
