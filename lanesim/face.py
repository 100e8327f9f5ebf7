"""The functions that `import lanesim` offers: every command's work, with names where objects are.

Each takes what the command of that name takes: a shipped ball's or pattern's name, a file, or the
object itself; a release as one object or as its settings (`speed=17, revs=300`). What cannot be is
refused with the same one line as in the commands, as an `InputError`. The answers are the studies'
own results; they print in a few lines, show as tables in a notebook, and have `plot()`,
`to_dict()`, `to_csv()` and `to_dataframe()`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .defaults import BALL as DEFAULT_BALL
from .defaults import LEVEL as DEFAULT_LEVEL
from .defaults import PATTERN as DEFAULT_PATTERN
from .defaults import SHOTS
from .errors import InputError

if TYPE_CHECKING:
    from .bag.plan import BagPlan
    from .equipment.ball import Ball
    from .fit.result import FitResult
    from .lane.pattern import OilPattern
    from .lines.judge import LineResult
    from .motion.trajectory import Trajectory
    from .pins.score import GameScores
    from .player import Player, Release
    from .studies.compare import Comparison
    from .studies.odds import OddsResult
    from .studies.sweep import Sweep
    from .studies.transition import TransitionResult
    from .studies.wear import WearResult

# a setting as a player says it -> the release's field
SETTINGS = {
    "speed": "speed_mph", "revs": "rev_rpm", "rotation": "rotation_deg", "tilt": "tilt_deg",
    "laydown": "laydown_board", "angle": "launch_angle_deg", "hand": "hand",
}


def as_ball(given: Any) -> Ball:
    """A ball from itself, a shipped name, or a ball file (FILE.toml or FILE.toml:NAME)."""
    from .catalog import load_ball
    from .equipment.ball import Ball

    if isinstance(given, Ball):
        return given
    if isinstance(given, str | Path):
        return load_ball(str(given))
    raise _wrong("ball", given, "a Ball, a shipped ball's name or a ball file")


def as_pattern(given: Any) -> OilPattern:
    """A pattern from itself, a shipped name, or an .oil file."""
    from .catalog import load_pattern_named
    from .lane.pattern import OilPattern

    if isinstance(given, OilPattern):
        return given
    if isinstance(given, str | Path):
        return load_pattern_named(str(given))
    raise _wrong("pattern", given, "an OilPattern, a shipped pattern's name or an .oil file")


def as_release(given: Any = None, settings: Mapping[str, Any] | None = None) -> Release:
    """A release from itself (None: the usual one) with settings such as speed=17 put on top."""
    from .player import Player, Release

    if isinstance(given, Player):
        given = given.release
    if given is None:
        given = Release()
    if not isinstance(given, Release):
        raise _wrong("release", given, "a Release, a Player, or settings such as speed=17")
    changes = {}
    for name, value in (settings or {}).items():
        if name not in SETTINGS:
            raise InputError(f"unknown setting '{name}'; known: {', '.join(SETTINGS)}")
        changes[SETTINGS[name]] = value
    return replace(given, **changes) if changes else given


def as_player(given: Any = None, settings: Mapping[str, Any] | None = None) -> Player:
    """A player from itself, a level's name ("elite", "220", ...), or a player file."""
    from .catalog import load_player, named_spread
    from .player import LEVELS, Player, Release

    if given is None:
        given = DEFAULT_LEVEL
    if isinstance(given, str) and given in LEVELS:
        given = Player("player", Release(), named_spread(given), f"assumed level {given}")
    elif isinstance(given, str | Path):
        given = load_player(str(given))
    if not isinstance(given, Player):
        raise _wrong("player", given, "a Player, a level (elite, 220, 200, 180, 160) or a player "
                                      "file")
    return replace(given, release=as_release(given.release, settings))


def _wrong(what: str, given: Any, accepted: str) -> InputError:
    return InputError(f"{what} is a {type(given).__name__}; accepted: {accepted}")


def _several(given: Any) -> Sequence[Any]:
    """One or more things as a sequence: a text is one thing."""
    return list(given) if isinstance(given, list | tuple) else [given]


def throw(ball: Any = DEFAULT_BALL, release: Any = None, pattern: Any = DEFAULT_PATTERN, *,
          finish: str | None = None, **settings: Any) -> Trajectory:
    """One ball down the lane.

    Parameters
    ----------
    ball, pattern : objects, shipped names or files.
    release : a Release or Player; None: the usual one. Settings (`speed` [mph], `revs` [rpm],
        `rotation`, `tilt`, `angle` [deg], `laydown` [board], `hand`) are put on top of it.
    finish : "polish" or a grit, as in "2000"; None: the ball's own.

    Raises
    ------
    InputError : one line that says what is wrong and what is accepted.
    """
    from .motion.trajectory import throw as throw_one

    return throw_one(_finished(as_ball(ball), finish), as_release(release, settings),
                     as_pattern(pattern))


def _finished(ball: Ball, finish: str | None) -> Ball:
    if finish is None:
        return ball
    from .equipment.cover import parse_finish

    return ball.with_finish(*parse_finish(str(finish)))


def compare(ball: Any = DEFAULT_BALL, release: Any = None, pattern: Any = DEFAULT_PATTERN, *,
            finish: Any = (), level: str | None = DEFAULT_LEVEL, shots: int | None = None,
            seed: int = 1, **settings: Any) -> Comparison:
    """One release with several balls, finishes or patterns; differences are from the first.

    ball, pattern, finish : one, or a list of which one at a time is thrown.
    level : whose spread of releases is then put on each; None: no shots beyond the one.
    """
    from .catalog import named_spread
    from .equipment.cover import parse_finish
    from .studies import compare as study

    variants = study.make_variants(
        [as_ball(b) for b in _several(ball)], [as_pattern(p) for p in _several(pattern)],
        finishes=[parse_finish(str(f)) for f in _several(finish)])
    return study.compare(variants, as_release(release, settings),
                         spread=None if level is None else named_spread(level), seed=seed,
                         shots=study.DEFAULT_SHOTS if shots is None else shots)


def sweep(ball: Any = DEFAULT_BALL, release: Any = None, pattern: Any = DEFAULT_PATTERN, *,
          over: Mapping[str, Any] | Sequence[str], **settings: Any) -> Sweep:
    """A grid of throws.

    over : {"speed": [16, 17, 18], "revs": (250, 450, 9)}: a list of values, or (from, to, how
        many) as a tuple; or texts as the command takes them, "speed=16:18:3".
    """
    from .studies import sweep as study

    if isinstance(over, Mapping):
        texts = [_axis_text(name, values) for name, values in over.items()]
    else:
        texts = [str(text) for text in _several(over)]
    return study.sweep(as_ball(ball), as_release(release, settings), as_pattern(pattern),
                       [study.parse_axis(text) for text in texts])


def _axis_text(name: str, values: Any) -> str:
    if isinstance(values, str):
        return f"{name}={values}"
    if isinstance(values, tuple) and len(values) == 3 and isinstance(values[2], int):
        return f"{name}={values[0]}:{values[1]}:{values[2]}"
    return f"{name}=" + ",".join(str(v) for v in values)


def lineup(ball: Any = DEFAULT_BALL, player: Any = None, pattern: Any = DEFAULT_PATTERN, *,
           aim: str = "pocket", shots: int | None = None, seed: int = 1,
           **settings: Any) -> LineResult:
    """Where to stand and aim, and how often the player's spread then does what is aimed at."""
    from .lines import lineup as search

    who = as_player(player, settings)
    return search.find_line(as_ball(ball), who.release, as_pattern(pattern), who.spread, aim=aim,
                            seed=seed, shots=search.DEFAULT_SHOTS if shots is None else shots)


def odds(ball: Any = DEFAULT_BALL, player: Any = None, pattern: Any = DEFAULT_PATTERN, *,
         lines: str = "own", aim: str = "pocket", shots: int | None = None, seed: int = 1,
         **settings: Any) -> OddsResult:
    """How often each of several balls finds the pocket and strikes, on the same shots."""
    from .studies import odds as study

    who = as_player(player, settings)
    return study.odds([as_ball(b) for b in _several(ball)], who.release, as_pattern(pattern),
                      who.spread, lines=lines, aim=aim, seed=seed,
                      shots=study.DEFAULT_SHOTS if shots is None else shots)


def transition(ball: Any = DEFAULT_BALL, player: Any = None, pattern: Any = DEFAULT_PATTERN, *,
               games: int = 3, others: Any = (), shots: int = SHOTS["transition"][0], seed: int = 1,
               **settings: Any) -> TransitionResult:
    """What becomes of the oil, and of each ball's reaction, as `games` games are bowled.

    ball : the one thrown; others : balls looked at beside it.
    """
    from .studies import transition as study

    who, thrown = as_player(player, settings), as_ball(ball)
    return study.transition([study.Entrant(thrown, who, who.name)], as_pattern(pattern), games,
                            balls=[as_ball(b) for b in _several(others)], seed=seed, shots=shots)


def wear(log: str | Path, player: Any = None, pattern: Any = DEFAULT_PATTERN, *,
         balls: str | Path | None = None, today: Any = None, event: Any = None,
         shots: int = SHOTS["wear"][0], seed: int = 1, **settings: Any) -> WearResult:
    """What the games in a log file have done to each ball, today and at an event.

    balls : ball file with the balls of the log; None: the shipped ones. today, event : dates, or
    texts as YYYY-MM-DD; today None: the day of the last entry.
    """
    from .catalog import read_balls, shipped_balls
    from .equipment.ball_log import load_log, parse_day
    from .studies import wear as study

    def day(value: Any, name: str) -> Any:
        return parse_day(value, name) if isinstance(value, str) else value

    known = shipped_balls() if balls is None else read_balls(balls)
    book = load_log(log, known)
    return study.wear(book, known, as_player(player, settings), as_pattern(pattern),
                      today=day(today, "today") or book.last_day, event=day(event, "event"),
                      seed=seed, shots=shots)


def fit_shots(shots: str | Path, player: Any = None, pattern: Any = None, *,
              ball: Any = None, seed: int = 0, **settings: Any) -> FitResult:
    """Set the model to a file of measured shots.

    ball, pattern : of all shots, where the file has no such column; balls of your own that the
    file names: a list of FILE.toml:NAME.
    """
    from .fit.fit import fit_shots as estimate
    from .fit.shots_file import read_shots

    who = as_player(player, settings)
    given = {b.name: b for b in map(as_ball, [] if ball is None else _several(ball))}
    log = read_shots(shots).with_names(next(iter(given), ""), "" if pattern is None else
                                       as_pattern(pattern).name)
    patterns = {} if pattern is None else {as_pattern(pattern).name: as_pattern(pattern)}
    for name in {*log.ball} - {*given}:
        given[name] = as_ball(name)
    for name in {*log.pattern} - {*patterns}:
        patterns[name] = as_pattern(name)
    return estimate(log, given, patterns, hand=who.release.hand, usual=who.release,
                    spread=who.spread, seed=seed)


def plan_bag(event: str | Path, *, shots: int | None = None, seed: int = 1,
             kept: str | Path | None = None) -> BagPlan:
    """Which balls to take to the event in a file, drilled and finished how.

    kept : folder that keeps what was thrown, so that a second run is quick; None: nothing is kept.
    """
    from .bag import plan as study
    from .bag.cache import Cache
    from .bag.event import load_event

    return study.plan(load_event(str(event)), seed=seed, cache=Cache(kept),
                      shots=study.DEFAULT_SHOTS if shots is None else shots)


def score(strikes: float = 50.0, *, nines: float = 80.0, spares: float = 95.0,
          other_spares: float = 60.0) -> GameScores:
    """The exact distribution of a game's score.

    All in percent: strikes of first balls; of the others those that leave one pin; single pins
    made; of the other leaves those made.
    """
    from .errors import check_range
    from .pins.score import FrameOdds, game

    def share(name: str, value: float) -> float:
        return check_range(name, value, 0, 100, "%") / 100.0

    return game(FrameOdds.simple(
        share("strikes", strikes), nine=share("nines", nines), spare=share("spares", spares),
        other_spare=share("other spares", other_spares)))
