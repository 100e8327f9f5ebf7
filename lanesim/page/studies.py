"""Where the page calls the studies: what each question takes, and its answer.

The commands call the same functions with the same arguments; `Answer.numbers` is what their --json
prints. A study that is renamed or takes other arguments is followed here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

import msgspec

from ..errors import InputError
from . import studies_files, told
from .nouns import Nouns
from .told import Answer, Table
from .wire import Asked, Shot, Spreading

Count = Annotated[int, msgspec.Meta(ge=1, le=100_000)]
Seed = Annotated[int, msgspec.Meta(ge=0, le=2**31)]


@dataclass(frozen=True)
class Teller:
    """Whom a study tells how far it is, and what can be shown already."""

    progress: Callable[..., None]
    part: Callable[[Any], None]


@dataclass(frozen=True)
class Study:
    """A question: what it takes, who answers it, and with the quick ones or the long ones."""

    asks: type[Any]
    work: Callable[[Any, Nouns, Teller], Answer]
    lane: str


# --- side by side ------------------------------------------------------------------------------


class CompareAsked(Asked, frozen=True, kw_only=True):
    """Shots side by side; the first is what the others are compared with."""

    shots_thrown: Annotated[list[Shot], msgspec.Meta(min_length=2, max_length=8)]
    level: str = "200"
    player: str = ""
    shots: Count = 4096
    seed: Seed = 1


def compare(asked: CompareAsked, nouns: Nouns, tell: Teller) -> Answer:
    """Each shot under the player's spread, on its own release."""
    from ..studies.compare import Compared
    from ..studies.compare import compare as study

    found = []
    spread, source = _spread(asked.level, asked.player, nouns)
    for n, shot in enumerate(asked.shots_thrown):
        tell.progress(n, len(asked.shots_thrown), "throwing")
        variant = Compared(f"{n + 1}: {shot.ball} on {shot.pattern}", nouns.ball(shot),
                           nouns.pattern(shot))
        found.append(study([variant], nouns.release(shot), spread=spread, shots=asked.shots,
                           seed=asked.seed, friction=nouns.basis(shot.fitted).friction))
    from ..studies.odds import difference

    judged = [each.judged[0] for each in found]
    with_pins = all(j.pins is not None for j in judged)
    rates = []
    for n, each in enumerate(found):
        label = each.variants[0].label
        row = [label, told.share(judged[n].line.pocket),
               told.gain(difference(judged[0], judged[n], "pocket")) if n else "–"]
        if with_pins:
            row += [told.strikes(judged[n].pins),
                    told.gain(difference(judged[0], judged[n], "strike")) if n else "–",
                    told.per_game(judged[n].pins), told.leaves(judged[n].pins)]
        rates.append(row)
    rate_head = ["", ("pocket", "%"), ("from the first", "points")]
    if with_pins:
        rate_head += [("strikes", "%"), ("from the first", "points"), "pins per game",
                      "likeliest leaves"]
    return Answer(
        {"shots": [each.to_dict() for each in found], "spread_source": source},
        tables=[
            Table(f"{asked.shots:,} shots each, nobody moves; spread: {source}", rate_head, rates,
                  "In brackets: 95 % intervals; differences are paired (the same shots). "
                  + (told.PINS_NOTE if with_pins else ""), left=(0, len(rate_head) - 1)),
        ])


def _spread(level: str, player: str, nouns: Nouns) -> tuple[Any, str]:
    from ..catalog import named_spread

    if player:
        own = nouns.own_player(player)
        return own.spread, own.spread_source
    return named_spread(level), f"assumed level {level}"


# --- where to stand ----------------------------------------------------------------------------


class MapAsked(Spreading, frozen=True, kw_only=True):
    """The map of laydown against arrow board; the shot's own line plays no part."""

    shots: Count = 64
    seed: Seed = 1


def standing(asked: MapAsked, nouns: Nouns, tell: Teller) -> Answer:
    """The map, row by row."""
    from ..studies import standing as study

    player, basis = nouns.player(asked), nouns.basis(asked.fitted)
    rows = {}
    tell.progress(0, len(study.LAYDOWN_BOARDS), "filling the map")
    for row in study.standing_map(nouns.ball(asked), player.release, nouns.pattern(asked),
                                  player.spread, shots=asked.shots, seed=asked.seed,
                                  friction=basis.friction):
        rows[row.laydown_board] = row.rates
        tell.part({"laydown": row.laydown_board, "rates": row.rates})
        tell.progress(len(rows), len(study.LAYDOWN_BOARDS))
    best = max(((float(rate), laydown, arrow) for laydown, rates in rows.items()
                for arrow, rate in zip(study.ARROW_BOARDS, rates, strict=True) if rate == rate))
    return Answer({"arrows": study.ARROW_BOARDS, "shots": asked.shots,
                   "rows": [{"laydown": at, "rates": rows[at]} for at in sorted(rows)]},
                  line={"laydown_board": best[1], "target_board": best[2]},
                  sentences=[f"On this map the best place is laydown board {best[1]:g} over board "
                             f"{best[2]:g} at the arrows: {100 * best[0]:.0f} % of "
                             f"{asked.shots} shots find the pocket."])


class CorridorAsked(Spreading, frozen=True, kw_only=True):
    """The room on the shot's own line."""

    seed: Seed = 1


def corridor(asked: CorridorAsked, nouns: Nouns) -> dict[str, Any]:
    """Between which boards the shots that hit pass; quick enough to be asked as the hand rests."""
    from ..studies.standing import corridor as study

    player = nouns.player(asked)
    found = study(nouns.ball(asked), player.release, nouns.pattern(asked), player.spread,
                  seed=asked.seed, friction=nouns.basis(asked.fitted).friction)
    keep = found.low == found.low
    return {"low": found.low[keep], "high": found.high[keep], "rate": found.rate,
            "spread_source": player.spread_source}


class LineAsked(Spreading, frozen=True, kw_only=True):
    """The best line: as `lanesim lineup` takes it."""

    aim: str = "pocket"
    shots: Count = 4096
    seed: Seed = 1


def best_line(asked: LineAsked, nouns: Nouns, tell: Teller) -> Answer:
    """Where to stand and what to aim at, how much room there is, and what else would do."""
    from ..lines.lineup import find_line
    from ..lines.misses import miss_report
    from ..motion.pocket import OUTCOME_WORDS
    from ..studies.odds import has_carry_table, with_pins

    ball, pattern, player = nouns.ball(asked), nouns.pattern(asked), nouns.player(asked)
    basis = nouns.basis(asked.fitted)
    tell.progress(0, 1, "looking for the line")
    line = find_line(ball, player.release, pattern, player.spread, shots=asked.shots,
                     seed=asked.seed, aim=asked.aim, judge_others=3, friction=basis.friction,
                     progress=lambda done, total: tell.progress(0.8 * done, total))
    tell.progress(0.8, 1, "room for misses")
    room = miss_report(ball, line.release, pattern, player.spread, shots=min(asked.shots, 2048),
                       seed=asked.seed, aim=asked.aim, friction=basis.friction)
    pins = with_pins(line).pins if has_carry_table() else None
    shown = basis.measured(line.release)
    facts = [
        ("lay down on", f"board {told.number(shown.laydown_board)}"),
        ("over", f"board {told.number(line.arrow_board)} at the arrows "
                 f"(launch {told.signed(shown.launch_angle_deg, 2)} deg)"),
        ("in the pocket", f"{told.share(line.pocket)} % of shots"),
    ]
    if pins is not None:
        facts += [("strikes", f"{told.strikes(pins)} % of shots"),
                  ("pins per game", f"{told.per_game(pins)} on such shots alone"),
                  ("likeliest leaves", told.leaves(pins, 4))]
    facts += [
        ("entry", f"board {told.number(line.entry_board_mean)} at "
                  f"{told.number(line.entry_angle_mean_deg)} deg on average"),
        ("room, laydown", _room(room.room_laydown, "boards", 1)),
        ("room, angle", _room(room.room_angle, "deg", 2)),
    ]
    effects = [row for e in room.effects for row in (
        _effect(f"− {e.words}", e.entry_board_less, e.entry_angle_less_deg, e.rate_less),
        _effect(f"+ {e.words}", e.entry_board_more, e.entry_angle_more_deg, e.rate_more))]
    answer = Answer(
        line.to_dict() | {"misses": room.to_dict(), "pins": pins.to_dict() if pins else None,
                          "spread_source": player.spread_source,
                          "provenance": basis.provenance([ball], [pattern])},
        headline="" if line.found else f"No line found: {line.message}.", facts=facts,
        line={"laydown_board": round(line.release.laydown_board, 2),
              "target_board": round(line.arrow_board, 2)},
        tables=[
            Table("What a little more or less does from there",
                  ["", ("entry", "boards"), ("angle", "deg"), ("rate", "points"),
                   "95 % interval"], effects),
            Table("How it ends", ["", ("of shots", "%")],
                  [[OUTCOME_WORDS[name], told.share(r)] for name, r in line.outcome_rates.items()],
                  "In brackets: 95 % intervals."),
        ],
        small=[f"Spread: {player.spread_source}. Values: {basis.provenance([ball], [pattern])}."])
    if line.alternatives:
        answer.tables.append(Table(
            "Other lines", [("laydown", "board"), ("angle", "deg"), ("rate", "%"),
                            ("behind the best", "points")],
            [[told.number(a.laydown_board), told.signed(a.launch_angle_deg, 2),
              told.between(a.rate, a.low, a.high), "–" if a.behind is None
              else told.number(-100 * a.behind.value)] for a in line.alternatives],
            "Each the best within 3 boards, on the same shots as the best line."))
    return answer


def _room(room: Any, unit: str, decimals: int) -> str:
    def far(value: float, open_end: bool) -> str:
        return f"{'over ' if open_end else ''}{told.number(value, decimals)}"

    return (f"{far(room.rate_lower, room.lower_open)} {unit} lower, "
            f"{far(room.rate_higher, room.higher_open)} higher to {100 * room.share:.0f} % of the "
            "rate")


def _effect(words: str, board: float, angle: float, rate: Any) -> list[str]:
    return [words, told.signed(board, 2), told.signed(angle, 2), told.signed(100 * rate.value),
            f"{told.signed(100 * rate.low)} to {told.signed(100 * rate.high)}"]


STUDIES: dict[str, Study] = {
    "compare": Study(CompareAsked, compare, "short"),
    "map": Study(MapAsked, standing, "short"),
    "line": Study(LineAsked, best_line, "long"),
    "games": Study(studies_files.GamesAsked, studies_files.games, "long"),
    "wear": Study(studies_files.WearAsked, studies_files.wear, "long"),
    "fit": Study(studies_files.FitAsked, studies_files.fit, "long"),
    "bag": Study(studies_files.BagAsked, studies_files.bag, "long"),
}


def study_named(name: str) -> Study:
    """The study of that name."""
    if name not in STUDIES:
        raise InputError(f"no question '{name[:40]}'; known: {', '.join(STUDIES)}")
    return STUDIES[name]
