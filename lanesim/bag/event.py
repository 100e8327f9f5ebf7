"""An event: who bowls, on what, how often, with which candidate balls, under which limits.

The event file is TOML; lanesim/data/demo_event.toml is a full example with every key explained.
Paths in it are taken from the file's own folder. Unknown keys are refused by name.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import msgspec

from ..catalog import invented_words, load_ball, load_pattern_named, load_player
from ..equipment.ball import Ball
from ..equipment.cover import parse_finish
from ..equipment.layout import Layout, read_layout
from ..errors import InputError, check_range
from ..files import parse_toml, read_text
from ..fit.fitted import Basis, load_fitted
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..player import Player
from .program import Case

PLACES = ("venue", "home", "new")
FINISH_CHANGES = ("none", "before", "between")
AIMS = ("mean", "worst", "cut")
DEFAULT_FINISH_GAMES = 3.0
# Pins per game that carrying, drilling or refinishing a ball must bring. Argued from the doubt: the
# difference of two bags is known to about half a pin from 2,000 shots a ball and the carry table
# (95 %), and a thorough search leaves a few tenths on a line; less than that is not worth a plug.
DEFAULT_LEAST_GAIN = 0.5
AS_IS = "as is"


# --- the file -------------------------------------------------------------------------------


class CaseEntry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """One of [limits] cases: a case that travels."""

    balls: int
    weight_lb: float | None = None
    case_lb: float = 0.0


class LimitsEntry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """[limits] of an event file; a key left out is no limit."""

    registered: int | None = None
    carried: int | None = None
    bag_weight_lb: float | None = None
    case_lb: float = 0.0
    drilled: int | None = None
    finish_changes: str = "before"
    cases: list[CaseEntry] = []


class LanesEntry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """[lanes] of an event file: who else is on the lanes."""

    players: int = 2
    lanes: int = 2
    apart_boards: float = 1.0
    their_ball: str = "strong-solid"
    my_ball: str = ""
    follow: bool = True


class RoundEntry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[round]] of an event file."""

    name: str
    pattern: str
    games: int
    weight: float = 1.0
    games_before: int = 0
    stages: list[int] | None = None
    stage_weights: list[float] | None = None


class BallSlot(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[ball]] of an event file."""

    ball: str
    place: str = "home"
    number: str = ""
    required: bool | None = None
    drill_anew: bool = False
    spares_only: bool = False
    layouts: list[str] | None = None
    finishes: list[str] | None = None
    note: str = ""


class EventEntry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """A whole event file."""

    name: str
    title: str = ""
    invented: bool = False
    player: str
    fitted: str = ""
    maximise: str = "mean"
    cut: float | None = None
    finish_games: float = DEFAULT_FINISH_GAMES
    least_gain: float = DEFAULT_LEAST_GAIN
    layouts: list[str] = []
    finishes: list[str] = []
    limits: LimitsEntry = msgspec.field(default_factory=LimitsEntry)
    lanes: LanesEntry = msgspec.field(default_factory=LanesEntry)
    round: list[RoundEntry]
    ball: list[BallSlot]


# --- the nouns ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Candidate:
    """A ball that may come along, and how it could be drilled and finished.

    Attributes
    ----------
    ball : as it is now (a new one: as it would be bought).
    place : "venue" (waits there), "home" (would travel) or "new" (to be bought, drilled, carried).
    required : must be in the bag.
    layouts : (layout, True if it has yet to be drilled); finishes : (text as in a ball file, True
        if it has yet to be made). `AS_IS` keeps the finish the ball has.
    spares_only : takes its place in the bag, but is never thrown at a full rack.
    number : what is engraved in it, as registered; printed on the sheet.
    """

    ball: Ball
    place: str
    required: bool
    layouts: tuple[tuple[Layout, bool], ...]
    finishes: tuple[tuple[str, bool], ...]
    note: str = ""
    spares_only: bool = False
    number: str = ""

    @property
    def name(self) -> str:
        """The ball's name."""
        return self.ball.name

    @property
    def travels(self) -> bool:
        """Whether it takes a place in the travelling bag."""
        return self.place != "venue"

    def variant(self, layout: Layout, finish: str, finish_games: float) -> Ball:
        """The ball drilled and finished so, with `finish_games` games on that finish."""
        ball = replace(self.ball, layout=layout)
        cover = ball.cover
        if finish != AS_IS:
            grit, polished = parse_finish(finish)
            cover = cover.refreshed(grit, polished)
        return replace(ball, cover=cover.played(finish_games))


@dataclass(frozen=True)
class Stage:
    """A stretch of a round on nearly the same lane: the first of its games, how many, and how much
    a game of it counts against the others of the round."""

    first_game: int
    games: int
    weight: float = 1.0


@dataclass(frozen=True)
class Round:
    """A round: a pattern, games on it, and the stages at which the lane is looked at.

    weight : how much its games count (a chance that this pattern is used, or its importance).
    games_before : games that others have bowled on the oil before it starts.
    """

    name: str
    pattern: OilPattern
    games: int
    weight: float
    games_before: int
    stages: tuple[Stage, ...]


@dataclass(frozen=True)
class Lanes:
    """Who shares the lanes (all like the player, ASSUMED), and whether they move with the oil."""

    players: int
    lanes: int
    apart_boards: float
    their_ball: Ball
    my_ball: Ball
    follow: bool


@dataclass(frozen=True)
class Event:
    """An event, validated. See the fields of the file; limits as in `bag_model.Limits`.

    bag_weight_lb : what the balls may weigh together, the empty case taken off; cases : those
    that travel, each with room and weight, its own taken off; none: no such limit.
    finish_games : games of practice on every ball before the first round. least_gain : pins per
    game that carrying, drilling or refinishing a ball must bring, or it is left undone.
    player : with the true release; `basis` says how the player reads it.
    friction : the lane's friction model; a fit's where `fitted` names one.
    basis : the fit, or none: whose offsets turn true lines into those that the player reads.
    invented : what of it is known to be made up, in words.
    provenance : 'assumed', or 'fitted to N shots' and what of it the fit does not know.
    """

    name: str
    title: str
    player: Player
    rounds: tuple[Round, ...]
    candidates: tuple[Candidate, ...]
    lanes: Lanes
    registered: int | None = None
    carried: int | None = None
    bag_weight_lb: float | None = None
    drilled: int | None = None
    finish_changes: str = "before"
    maximise: str = "mean"
    cut: float | None = None
    finish_games: float = DEFAULT_FINISH_GAMES
    least_gain: float = DEFAULT_LEAST_GAIN
    cases: tuple[Case, ...] = ()
    friction: FrictionModel = DEFAULT_FRICTION
    provenance: str = "assumed"
    basis: Basis = field(default_factory=Basis)
    invented: tuple[str, ...] = ()

    def as_read(self, laydown_board: float, launch_angle_deg: float) -> tuple[float, float]:
        """A true line (laydown board, launch angle) as the player's own measuring calls it."""
        offsets = self.basis.offsets
        return (laydown_board - offsets.get("laydown_board", 0.0),
                launch_angle_deg - offsets.get("launch_angle_deg", 0.0))

    @property
    def games(self) -> int:
        """Games over all rounds."""
        return sum(r.games for r in self.rounds)


# --- reading --------------------------------------------------------------------------------


def load_event(path: str | Path) -> Event:
    """Read and validate an event file.

    Raises
    ------
    InputError
        one line that names the file, the round or ball, the key and what is accepted.
    """
    text = read_text(path, "event")
    return parse_event(text, str(path), Path(path).resolve().parent)


def parse_event(text: str, where: str, folder: Path) -> Event:
    """An event from TOML text; relative paths start at `folder`."""
    entry = parse_toml(text, EventEntry, where)
    try:
        return _event(entry, folder)
    except InputError as error:
        message = str(error)
        raise InputError(message if where in message else f"{where}: {message}") from None


def _event(entry: EventEntry, folder: Path) -> Event:
    if entry.maximise not in AIMS:
        raise InputError(f"maximise is '{entry.maximise}'; accepted: {', '.join(AIMS)}")
    limits = entry.limits
    if limits.finish_changes not in FINISH_CHANGES:
        raise InputError(f"[limits] finish_changes is '{limits.finish_changes}'; accepted: "
                         f"{', '.join(FINISH_CHANGES)}")
    if not entry.round:
        raise InputError("no [[round]]; an event has at least one")
    if not entry.ball:
        raise InputError("no [[ball]]; an event has at least one candidate")
    for name in ("registered", "carried", "drilled"):
        if getattr(limits, name) is not None:
            check_range(f"[limits] {name}", getattr(limits, name), 0, 99, "balls")
    weight = limits.bag_weight_lb
    case = check_range("[limits] case_lb", limits.case_lb, 0, 60, "lb")
    if weight is not None:
        weight = check_range("[limits] bag_weight_lb", weight, 0, 500, "lb") - case
        if weight < 0:
            raise InputError(f"[limits] case_lb {case:g} lb alone is above bag_weight_lb "
                             f"{limits.bag_weight_lb:g} lb")
    check_range("finish_games", entry.finish_games, 0, 100, "games")
    check_range("least_gain", entry.least_gain, 0, 300, "pins")
    rounds = tuple(_round(r, folder) for r in entry.round)
    if len({r.name for r in rounds}) != len(rounds):
        raise InputError("two rounds have the same name; each needs its own")
    if sum(r.weight * s.games * s.weight for r in rounds for s in r.stages) <= 0:
        raise InputError("every round has weight 0; at least one must count")
    if entry.maximise == "cut":
        if entry.cut is None:
            raise InputError("maximise = 'cut' needs cut = the total over all games")
        check_range("cut", entry.cut, 1, 300 * sum(r.games for r in rounds), "pins")
    elif entry.cut is not None:
        check_range("cut", entry.cut, 1, 300 * sum(r.games for r in rounds), "pins")
    layouts = [read_layout(words) for words in entry.layouts]
    for finish in entry.finishes:
        parse_finish(finish)
    candidates = tuple(_candidate(b, folder, layouts, entry.finishes, limits.finish_changes)
                       for b in entry.ball)
    names = [c.name for c in candidates]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"ball '{name}' is listed twice; give a second one its own name")
    basis = Basis(load_fitted(_path(entry.fitted, folder)) if entry.fitted else None)
    provenance = basis.provenance([c.ball for c in candidates], [r.pattern for r in rounds])
    candidates = tuple(replace(c, ball=basis.ball(c.ball)) for c in candidates)
    rounds = tuple(replace(r, pattern=basis.pattern(r.pattern)) for r in rounds)
    player = load_player(_path(entry.player, folder))
    lanes = _lanes(entry.lanes, folder, candidates, basis)
    return Event(
        name=entry.name, title=entry.title or entry.name,
        player=replace(player, release=basis.release(player.release)), rounds=rounds,
        candidates=candidates, friction=basis.friction, provenance=provenance,
        lanes=lanes, registered=limits.registered, carried=limits.carried, bag_weight_lb=weight,
        drilled=limits.drilled, finish_changes=limits.finish_changes, maximise=entry.maximise,
        cut=entry.cut, finish_games=float(entry.finish_games),
        least_gain=float(entry.least_gain), basis=basis,
        invented=_invented(entry, candidates, rounds),
        cases=tuple(_case(n, case) for n, case in enumerate(limits.cases, start=1)),
    )


def _invented(entry: EventEntry, candidates: tuple[Candidate, ...], rounds: tuple[Round, ...]
              ) -> tuple[str, ...]:
    """What is made up: the whole event if it says so, else balls and patterns that say so."""
    if entry.invented:
        return ("this event, its player, balls and patterns",)
    words = invented_words([c.ball for c in candidates], [r.pattern for r in rounds])
    return (words.removeprefix("invented "),) if words else ()


def _case(n: int, entry: CaseEntry) -> Case:
    where = f"[limits] case {n}"
    check_range("balls", entry.balls, 0, 99, "balls", where)
    empty = check_range("case_lb", entry.case_lb, 0, 60, "lb", where)
    if entry.weight_lb is None:
        return Case(entry.balls)
    weight = check_range("weight_lb", entry.weight_lb, 0, 500, "lb", where)
    if weight < empty:
        raise InputError(f"{where}: case_lb {empty:g} lb alone is above weight_lb {weight:g} lb")
    return Case(entry.balls, weight - empty)


def _path(text: str, folder: Path) -> str:
    """A file's path taken from the event's folder."""
    return text if Path(text).is_absolute() else str(folder / text)


def _ball(spec: str, folder: Path, undrilled: Layout | None = None) -> Ball:
    return load_ball(_path(spec, folder) if ".toml" in spec else spec, undrilled)


def _round(entry: RoundEntry, folder: Path) -> Round:
    where = f"round '{entry.name}'"
    check_range("games", entry.games, 1, 40, "games", where)
    check_range("weight", entry.weight, 0, 1e6, "", where)
    check_range("games_before", entry.games_before, 0, 40, "games", where)
    starts = entry.stages if entry.stages is not None else [0]
    if not starts or starts[0] != 0 or sorted(set(starts)) != starts or starts[-1] >= entry.games:
        raise InputError(f"{where}: stages is {starts}; accepted: rising numbers of games already "
                         f"bowled, from 0 to below {entry.games}")
    ends = [*starts[1:], entry.games]
    weights = entry.stage_weights if entry.stage_weights is not None else [1.0] * len(starts)
    if len(weights) != len(starts):
        raise InputError(f"{where}: {len(weights)} stage_weights for {len(starts)} stages; "
                         "accepted: one for each stage")
    for weight in weights:
        check_range("stage_weights", weight, 0, 1e6, "", where)
    spec = entry.pattern
    pattern = load_pattern_named(_path(spec, folder) if spec.endswith(".oil") or "/" in spec
                                 else spec)
    return Round(
        entry.name, pattern, entry.games, float(entry.weight), entry.games_before,
        tuple(Stage(a, b - a, float(w))
              for a, b, w in zip(starts, ends, weights, strict=True)),
    )


def _candidate(
    entry: BallSlot, folder: Path, layouts: list[Layout], finishes: list[str], changes: str
) -> Candidate:
    where = f"ball '{entry.ball.rpartition(':')[2]}'"
    if entry.place not in PLACES:
        raise InputError(f"{where}: place is '{entry.place}'; accepted: {', '.join(PLACES)}")
    try:
        own = [read_layout(words) for words in entry.layouts] if entry.layouts else layouts
    except InputError as error:
        raise InputError(f"{where}: layouts: {error}") from None
    # a new ball needs no layout in its file where the event gives some
    ball = _ball(entry.ball, folder, own[0] if own and entry.place == "new" else None)
    if entry.place == "new":
        choices = [(layout, True) for layout in own] or [(ball.layout, True)]
    else:
        choices = [(ball.layout, False)]
        if entry.drill_anew:
            if entry.place == "venue":
                raise InputError(f"{where}: drill_anew is for balls at home; this one waits at the "
                                 "venue")
            choices += [(layout, True) for layout in own if layout != ball.layout]
        elif entry.layouts:
            raise InputError(f"{where}: layouts are given, but it is drilled already; set "
                             "drill_anew = true, or leave them out")
    surfaces = [(AS_IS, False)]
    if entry.finishes is not None:
        allowed = entry.finishes
    elif changes == "none" or (changes == "before" and entry.place == "venue"):
        allowed = []  # nobody can refinish a ball that is not there
    else:
        allowed = finishes
    if entry.spares_only:
        choices, allowed = choices[:1], []
    for finish in allowed:
        parse_finish(finish)
    surfaces += [(f, True) for f in allowed]
    required = entry.required if entry.required is not None else entry.place == "venue"
    return Candidate(ball, entry.place, required, tuple(dict.fromkeys(choices)),
                     tuple(dict.fromkeys(surfaces)), entry.note, entry.spares_only,
                     entry.number)


def _lanes(
    entry: LanesEntry, folder: Path, candidates: tuple[Candidate, ...], basis: Basis
) -> Lanes:
    check_range("[lanes] players", entry.players, 1, 12)
    check_range("[lanes] lanes", entry.lanes, 1, 2)
    check_range("[lanes] apart_boards", entry.apart_boards, -5, 5, "boards")
    theirs = basis.ball(_ball(entry.their_ball, folder))
    mine = theirs
    if entry.my_ball:
        known = {c.name: c.ball for c in candidates}
        if entry.my_ball not in known:
            raise InputError(f"[lanes] my_ball is '{entry.my_ball}'; accepted: one of the event's "
                             f"balls, {', '.join(known)}")
        mine = known[entry.my_ball]
    return Lanes(entry.players, entry.lanes, float(entry.apart_boards), theirs, mine, entry.follow)
