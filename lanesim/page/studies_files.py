"""Questions about games and files: as the games go by, a log, measured shots, an event.

Beside `studies`, which holds the list; the same rules hold.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

import msgspec

from ..errors import InputError
from . import told
from .nouns import Nouns
from .told import Answer, Table
from .wire import Asked, Spreading

Seed = Annotated[int, msgspec.Meta(ge=0, le=2**31)]


def _within(low: int, high: int) -> Any:
    return Annotated[int, msgspec.Meta(ge=low, le=high)]


# --- as the games go by ------------------------------------------------------------------------


class GamesAsked(Spreading, frozen=True, kw_only=True):
    """Games played shot by shot: as `lanesim transition` takes them."""

    others: Annotated[tuple[str, ...], msgspec.Meta(max_length=4)] = ()
    games: _within(1, 12) = 3  # type: ignore[valid-type]
    players: _within(1, 6) = 1  # type: ignore[valid-type]
    apart_boards: float = 1.0
    lanes: _within(1, 2) = 2  # type: ignore[valid-type]
    stay: bool = False
    shots: _within(16, 4096) = 128  # type: ignore[valid-type]
    seed: Seed = 1


def games(asked: GamesAsked, nouns: Nouns, tell: Any) -> Answer:
    """What becomes of the oil and of each ball's reaction."""
    from ..figures.transition import draw_transition
    from ..studies.play import Entrant
    from ..studies.transition import ASSUMPTIONS, transition

    ball, pattern, player = nouns.ball(asked), nouns.pattern(asked), nouns.player(asked)
    basis = nouns.basis(asked.fitted)
    if not -5 <= asked.apart_boards <= 5:
        raise InputError(f"apart is {asked.apart_boards:g} boards; accepted: -5 to 5 boards")
    entrants = [Entrant(ball, player, player.name)]
    for n in range(1, asked.players):
        boards = asked.apart_boards * ((n + 1) // 2) * (-1 if n % 2 else 1)
        line = replace(player.release, laydown_board=player.release.laydown_board + boards)
        entrants.append(Entrant(ball, replace(player, release=line), f"other {n}"))
    others = [basis.ball(nouns.own_ball(spec)) for spec in asked.others]
    tell.progress(0, asked.games, "playing")
    found = transition(entrants, pattern, asked.games, balls=others, lanes=asked.lanes,
                       follow=not asked.stay, shots=asked.shots, seed=asked.seed, looked=1,
                       friction=basis.friction, progress=tell.progress)
    words = basis.provenance([ball, *others], [pattern])
    oil = [[str(game), told.number(found.shots_per_lane[game].mean(), 0),
            told.number(found.lane_ml[game].mean(), 2), told.number(found.line_ml[0, game], 2),
            told.number(100 * found.line_left[0, game], 0),
            told.number(1000 * found.beyond_ml[game].mean(), 0)]
           for game in range(found.games + 1)]
    rows, pins = [], []
    for r in found.reactions:
        rows.append([r.ball, str(r.games), told.number(r.entry_board),
                     told.number(r.entry_angle_deg), told.share(r.pocket, 0),
                     f"{told.signed(r.move.feet, 0)} / {told.signed(r.move.target, 0)}",
                     told.share(r.pocket_moved, 0)])
        if r.pins is not None:
            pins.append([r.ball, str(r.games), told.strikes(r.pins, 0), told.per_game(r.pins),
                         told.strikes(r.pins_moved, 0), told.per_game(r.pins_moved),
                         told.leaves(r.pins_moved)])
    answer = Answer(
        found.to_dict() | {"spread_source": player.spread_source, "provenance": words},
        sentences=_advice(found),
        tables=[
            Table("Each ball's reaction, from its own first line",
                  ["ball", "after game", ("entry", "board"), ("angle", "deg"),
                   ("pocket, first line", "%"), ("move feet / target", "boards"),
                   ("pocket, moved", "%")], rows,
                  "Moves are boards away from your ball-arm side, from the first line. In "
                  "brackets: 95 % intervals."),
            Table("The oil, mean of the lanes",
                  ["after game", "shots a lane", ("oil on the lane", "mL"),
                   ("on your first line", "mL"), ("left of it", "%"),
                   (f"beyond {found.pattern.length_ft:g} ft", "uL")], oil),
        ],
        small=["Assumed: " + "; ".join(ASSUMPTIONS) + ".",
               f"Spread: {player.spread_source}. Values: {words}."])
    if pins:
        answer.tables.insert(1, Table(
            "What the pins make of the same shots",
            ["ball", "after game", ("strikes, first line", "%"), "pins per game",
             ("strikes, moved", "%"), "pins per game", "likeliest leaves, moved"], pins,
            told.PINS_NOTE, left=(0, 6)))
    answer.draw("The oil before and after the games, and the oil along the line",
                draw_transition(found))
    return answer


def _advice(found: Any) -> list[str]:
    advice = found.advice[0]
    out = [f"After game {game}: feet {told.signed(move.feet, 0)}, target "
           f"{told.signed(move.target)} boards from the first line." for game, move in advice.moves]
    if not out:
        out.append("No move pays clearly in these games.")
    if advice.change_to:
        when = f"after game {advice.change_games}" if advice.change_games else "from the start"
        out.append(f"Change to {advice.change_to} {when}: its pocket rate on its best line is "
                   "clearly higher.")
    elif len({r.ball for r in found.reactions}) > 1:
        out.append("No other ball looked at is clearly better.")
    return out


class WearAsked(Spreading, frozen=True, kw_only=True):
    """A log of games on each ball: as `lanesim wear` takes it."""

    file: str
    balls_file: str = ""
    today: str = ""
    event: str = ""
    shots: _within(64, 4096) = 512  # type: ignore[valid-type]
    sets: _within(4, 200) = 24  # type: ignore[valid-type]
    seed: Seed = 1


def wear(asked: WearAsked, nouns: Nouns, tell: Any) -> Answer:
    """What the games did to each cover, and what to do about it."""
    from datetime import date

    from ..catalog import read_balls, shipped_balls
    from ..equipment.ball_log import load_log, parse_day
    from ..figures.wear import draw_wear
    from ..studies import wear as study

    basis = nouns.basis(asked.fitted)
    known = read_balls(nouns.folder.path(asked.balls_file)) if asked.balls_file \
        else shipped_balls()
    known = {name: basis.ball(ball) for name, ball in known.items()}
    log = load_log(nouns.folder.path(asked.file), known)
    player, pattern = nouns.player(asked), nouns.pattern(asked)
    names = study.checked_names(log, known, ())
    tell.progress(0, 1, "wearing covers")
    found = study.wear(
        log, known, player, pattern, only=names,
        today=parse_day(asked.today, "today") if asked.today else date.today(),
        event=parse_day(asked.event, "event") if asked.event else None, shots=asked.shots,
        sets=asked.sets, seed=asked.seed, friction=basis.friction, progress=tell.progress)
    words = basis.provenance([known[name] for name in names], [pattern])
    rows = []
    for ball in found.balls:
        for s in ball.standings:
            rows.append([ball.ball.name, s.state, s.cover.finish,
                         f"{s.cover.games_since_surface:.0f}", f"{s.cover.games_total:.0f}",
                         s.boards_lost.text(), told.share(s.pocket_own_line, 0),
                         told.number(s.entry_angle_deg)])
    answer = Answer(
        found.to_dict() | {"spread_source": player.spread_source, "provenance": words},
        sentences=[f"{ball.ball.name}: {' '.join(ball.advice)}" for ball in found.balls],
        tables=[Table("Each ball, today and later",
                      ["ball", "state", "finish", "games since surface", "games in all",
                       ("lost, and band", "boards"), ("pocket, own line", "%"), ("angle", "deg")],
                      rows, "Lost: boards less hook than the new ball on the new ball's line. "
                            f"Bands: middle 90 % over {found.sets} sampled sets of wear "
                            "parameters.", left=(0, 1, 2))],
        small=["Assumed: " + "; ".join(study.ASSUMPTIONS) + "."])
    answer.draw("How each ball's hook falls with the games, with its band", draw_wear(found))
    return answer


# --- measured shots ----------------------------------------------------------------------------


class FitAsked(Spreading, frozen=True, kw_only=True):
    """A file of measured shots: as `lanesim fit` takes it."""

    file: str
    seed: Seed = 0


def fit(asked: FitAsked, nouns: Nouns, tell: Any) -> Answer:
    """What the shots say of ball, lane and measuring, and of the player's own spread."""
    from ..figures.fit import draw_fit
    from ..fit.fit import fit_shots
    from ..fit.fitted import fitted_text
    from ..fit.own_spread import estimate_spread
    from ..fit.shots_file import read_shots

    plain = msgspec.structs.replace(asked, fitted="")
    log = read_shots(nouns.folder.path(asked.file))
    default = nouns.ball(plain)
    log = log.with_names(default.name, nouns.pattern(plain).name)
    balls = {name: default if name == default.name else _found_ball(name, nouns)
             for name in sorted(set(log.ball))}
    own = nouns.pattern(plain)
    patterns = {name: own if name == own.name else nouns.own_pattern(name)
                for name in sorted(set(log.pattern))}
    usual = nouns.release(plain)
    tell.progress(0, 0, "fitting")
    player = nouns.player(plain)
    found = fit_shots(log, balls, patterns, hand=usual.hand, usual=usual, spread=player.spread,
                      seed=asked.seed, progress=lambda words: tell.progress(0, 0, words))
    spread = estimate_spread(log, hand=usual.hand, usual=usual, spread=player.spread,
                             assumed=player.spread_source)
    stem = asked.file.rsplit(".", 1)[0]
    answer = Answer(
        found.to_dict() | {"spread": spread.to_dict()},
        headline=f"{found.fitted_to} ({asked.file})".capitalize(),
        sentences=[*found.notes, *found.warnings],
        tables=[
            Table("What the shots say",
                  ["", "estimate", "95 % interval", "unit", ("still open", "%")],
                  [[term.label, told.number(found.estimate[i], 3),
                    f"{told.number(found.low[i], 3)} to {told.number(found.high[i], 3)}",
                    term.parameter.unit or "times the default",
                    told.number(100 * found.sd_share[i], 0)]
                   for i, term in enumerate(found.terms)],
                  "Still open: how much of the doubt before is left; 100 % means that the shots "
                  "say nothing about it.", left=(0, 3)),
            Table("How far off it is on shots that it had not seen",
                  ["", "assumed values", "fitted values", "shots"],
                  [[name, told.number(v["assumed_rms"], 2), told.number(v["fitted_rms"], 2),
                    f"{v['shots']:.0f}"] for name, v in found.cross_validated.items()],
                  "Root mean square of what is missed, in the column's own unit."),
            Table(f"Your own spread, {spread.shots} shots",
                  ["", "mean", "as measured, one time in three beyond ±",
                   "without the measuring ±", "95 % interval"],
                  [[name, told.number(c.mean, 2), told.number(c.seen, 2), told.number(c.sd, 2),
                    f"{told.number(c.low, 2)} to {told.number(c.high, 2)}" if c.estimated
                    else "assumed"] for name, c in spread.columns.items()]),
        ],
        files=[(f"{stem}-fitted.toml", fitted_text(found.fitted)),
               (f"{stem}-player.toml", spread.player_text(stem))])
    answer.tables = [t for t in answer.tables if t.rows]
    answer.draw("Measured against computed, and what the shots say of each parameter",
                draw_fit(found))
    return answer


def _found_ball(name: str, nouns: Nouns) -> Any:
    """A ball that a file names: a shipped one, or one of the folder's own of that name."""
    for entry in nouns.folder.files():
        if entry.kind == "balls" and name in entry.items:
            return nouns.own_ball(f"{entry.name}:{name}")
    return nouns.own_ball(name)


# --- the bag -----------------------------------------------------------------------------------


class BagAsked(Asked, frozen=True, kw_only=True):
    """An event file of the folder: as `lanesim bag` takes it."""

    file: str
    shots: _within(64, 20_000) = 2000  # type: ignore[valid-type]
    resamples: _within(10, 1000) = 100  # type: ignore[valid-type]
    seed: Seed = 1


def bag(asked: BagAsked, nouns: Nouns, tell: Any) -> Answer:
    """Which balls to take, drilled and finished how; with the report and the list for the shop."""
    from ..bag import report, words
    from ..bag.cache import Cache
    from ..bag.event import load_event
    from ..bag.plan import plan
    from ..figures import bag as figures
    from ..files import drawn
    from .readers import inspect

    # whatever it names must lie in the folder
    kind, _ = inspect(nouns.folder.text(asked.file), asked.file, nouns.folder.root)
    if kind != "event":
        raise InputError(f"{asked.file} is no event file; it holds {kind}")
    event = load_event(nouns.folder.path(asked.file))
    tell.progress(0, 0, "judging balls")
    found = plan(event, shots=asked.shots, seed=asked.seed, resamples=asked.resamples,
                 cache=Cache(nouns.folder.hidden / "kept"), progress=tell.progress)
    drawings = [("ladder", figures.draw_ladder(found)), ("lines", figures.draw_lines(found)),
                ("gains", figures.draw_gains(found)), ("pins", figures.draw_pins(found))]
    answer = Answer(
        found.to_dict(), headline=words.headline(found), sentences=words.findings(found),
        tables=[_table("The bag", words.ball_table(found), (0, 1, 2, 3)),
                _table("What to throw and where to start", words.advice_table(found),
                       (0, 1, 2, 9)),
                _table("The best bags", words.choice_table(found), (0,))],
        small=[words.line_words(found), *words.certainty(found), words.small_print(found)],
        report=report.bag_page(found, [(name, drawn(figure)) for name, figure in drawings]),
        facts=[("to drill", "; ".join(words.drill_list(found)) or "nothing"),
               ("to finish", "; ".join(words.finish_list(found)) or "nothing")])
    for name, figure in drawings:
        answer.draw(report.ALT[name], figure)
    return answer


def _table(caption: str, told: tuple[list[str], list[list[str]]], left: tuple[int, ...]) -> Table:
    head, rows = told
    return Table(caption, head, rows, left=left)
