"""What our model gives for every target of `believe_targets`: pure functions of a `World`.

A World is one full set of assumptions: balls, patterns, friction, players and what the pins make of
an entry. `shipped_world` is the package as it is; the calibration makes its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lanesim.equipment.ball import Ball
from lanesim.lane.friction import DEFAULT_FRICTION, FrictionModel
from lanesim.lane.pattern import OilPattern
from lanesim.motion.pocket import POCKET
from lanesim.motion.trajectory import ShotTable, throw, throw_many
from lanesim.player import Player, Release, Spread

from .believe_lines import Carry, Found, Lane, best_lines
from .believe_targets import HOUSE, LADDER, SPORT, STRENGTH, URETHANE

AVERAGE, TOUR = "180", "tour"
LEAGUE_BALLS = ("weak-pearl", "polished-pearl", "medium-hybrid", "strong-solid")
PLASTIC = "plastic-spare"
OLD_GAMES = 300.0
LATE_FT = 59  # where paths are compared: the last foot that every shot passes before a pin


@dataclass(frozen=True)
class World:
    """One set of assumptions.

    balls, patterns : by name; friction : of lane and oil; film_sd : SD of the logarithm of the film
    from shot to shot; players : by level, and "tour"; carry : strike chance of entries;
    score : mean game of a player's lines; record : called with player, pattern, ball and every line
    found.
    """

    balls: Mapping[str, Ball]
    patterns: Mapping[str, OilPattern]
    friction: FrictionModel
    film_sd: float
    players: Mapping[str, Player]
    carry: Carry
    score: Callable[[Sequence[Found], Player], float]
    seed: int = 0
    thorough: bool = True
    record: Callable[[str, str, str, Found], None] | None = None


def found_lines(world: World, who: str, pattern: str, balls: Sequence[str]) -> dict[str, Found]:
    """The line of each ball for a player, judged."""
    player = world.players[who]
    lane = Lane(world.patterns[pattern], world.friction, world.film_sd)
    judge = 2048 if world.thorough else 320
    first, second = (48, 192) if world.thorough else (24, 80)
    found = best_lines([world.balls[b] for b in balls], lane, player.release, player.spread,
                       world.carry, seed=world.seed, first=first, second=second, judge=judge)
    if world.record is not None:
        for ball, one in zip(balls, found, strict=True):
            world.record(who, pattern, ball, one)
    return dict(zip(balls, found, strict=True))


# --- which ball, which score ------------------------------------------------------------------


def mean_rank(strikes: Mapping[str, float]) -> float:
    """Mean place in STRENGTH, weighed by exp((rate - best rate)/1 point)."""
    rates = np.array([100.0 * strikes[b] for b in STRENGTH])
    weight = np.exp(rates - rates.max())
    return float(weight @ np.arange(len(STRENGTH)) / weight.sum())


def ladder_values(world: World, who: str, label: str, names: Sequence[str]) -> dict[str, float]:
    """Target 1 on some of the five patterns."""
    out: dict[str, float] = {}
    behind, order = [], {}
    for name in names:
        more = (URETHANE,) if world.thorough else ()
        found = found_lines(world, who, name, (*STRENGTH, *more))
        rate = {b: f.strikes for b, f in found.items()}
        out[f"rank {label} {name}"] = mean_rank(rate)
        behind.append(100 * (max(rate.values()) - rate[PLASTIC]))
        order[name] = 100 * (rate["strong-solid"] - rate["weak-pearl"])
        for b, value in rate.items():
            out[f"strikes {label} {name} {b}"] = 100 * value
    out[f"plastic {label}"] = min(behind)
    if LADDER[0] in order and LADDER[-1] in order:
        out[f"crossover {label}"] = order[LADDER[-1]] - order[LADDER[0]]
    return out


def best_of(found: Mapping[str, Found]) -> Found:
    """The line of the ball that strikes most."""
    return max(found.values(), key=lambda f: f.strikes)


def level_values(world: World, levels: Sequence[str], sport: Sequence[str]) -> dict[str, float]:
    """Targets 2 and 3: mean games at home, and what the sport patterns take (levels `sport`)."""
    out: dict[str, float] = {}
    for level in levels:
        player = world.players[level]
        home = best_of(found_lines(world, level, HOUSE, LEAGUE_BALLS))
        out[f"house {level}"] = world.score([home], player)
        out[f"house strikes {level}"] = 100 * home.strikes
        if level in sport:
            away = [best_of(found_lines(world, level, p, LEAGUE_BALLS)) for p in SPORT]
            out[f"sport {level}"] = out[f"house {level}"] - world.score(away, player)
    return out


def tour_values(world: World) -> tuple[dict[str, float], list[Found]]:
    """Target 4 and the lines of the tour player on the tour's patterns."""
    lines = [best_of(found_lines(world, TOUR, p, STRENGTH[1:])) for p in SPORT]
    return {
        "tour strikes": 100 * float(np.mean([f.strikes for f in lines])),
        "tour mean": world.score(lines, world.players[TOUR]),
        "tour angle": float(np.mean([np.nanmean(f.table.entry_angle_deg) for f in lines])),
    }, lines


def pin_values(lines: Sequence[Found]) -> dict[str, float]:
    """Target 6: leaves of the tour player's shots, per cent of first balls."""
    from lanesim.pins.outcomes import pins_from_shots
    from lanesim.pins.score import leave_mask

    share: dict[int, float] = {}
    for found in lines:
        table = found.table
        got = pins_from_shots(table.entry_board, table.entry_angle_deg, table.entry_speed_mph)
        for mask, p in zip(got.masks, got.probabilities, strict=True):
            share[int(mask)] = share.get(int(mask), 0.0) + 100 * float(p) / len(lines)
    names = ("10", "7", "9", "3-10", "4-6-7-10", "7-10", "5", "4", "8", "4-9")
    return {f"leave {n}": share.get(leave_mask(n), 0.0) for n in names}


def carry_values(carry: Carry) -> dict[str, float]:
    """Target 7, at 16.5 mph."""
    from lanesim.pins.outcomes import pins_from_shots

    def strikes(boards: np.ndarray, angle: float) -> np.ndarray:
        return carry(boards, np.full(len(boards), angle), np.full(len(boards), 16.5))

    fine = np.linspace(14.0, 21.0, 281)
    width = {a: float(np.sum(strikes(fine, a) > 0.5) * (fine[1] - fine[0])) for a in (3.0, 6.0)}
    at = pins_from_shots([17.5], [6.0], [16.5])
    nines = float(at.odds.first_ball[9]) / max(1.0 - at.strike_rate, 1e-9) if hasattr(
        at.odds, "first_ball") else math.nan
    middle = np.linspace(17.0, 18.0, 41)
    return {
        "carry 17.5 at 6": 100 * float(strikes(np.array([17.5]), 6.0)[0]),
        "carry nine": 100 * nines,
        "carry 17-18": 100 * float(np.mean([strikes(middle, a).mean() for a in (4.0, 5.0, 6.0)])),
        "pocket width": width[6.0] - width[3.0],
    }


def exit_values(runs: int = 48) -> dict[str, float]:
    """Target 8: where the ball leaves the deck."""
    from lanesim.pins.model import Hit, simulate

    out = {}
    for key, board, angle in (("exit flush", 17.5, 6.0), ("exit steep", 16.5, 7.0)):
        boards = [simulate(Hit(board, angle, 16.5), seed=np.random.SeedSequence([7, n])).exit_board
                  for n in range(runs)]
        out[key] = float(np.nanmean(boards))
    return out


# --- what a change does to a path ---------------------------------------------------------------


def line_to(world: World, ball: Ball, release: Release, pattern: OilPattern, laydown: float,
            board: float = 17.5) -> Release:
    """The release from a laydown whose mean shot arrives at a board (by the path at 59 ft)."""
    angles = np.linspace(-6.0, 2.0, 81)
    rows = np.tile(release.row(), (len(angles), 1))
    rows[:, 0], rows[:, 1] = laydown, angles
    at = late_boards(world, ball, rows, pattern)
    off = at - board
    with np.errstate(invalid="ignore"):
        cross = np.flatnonzero(off[:-1] * off[1:] <= 0)
    if not len(cross):
        return replace(release, laydown_board=laydown, launch_angle_deg=-2.0)
    j = cross[-1]
    share = off[j] / (off[j] - off[j + 1])
    return replace(release, laydown_board=laydown,
                   launch_angle_deg=float(angles[j] + share * (angles[1] - angles[0])))


def late_boards(world: World, ball: Ball, rows: np.ndarray, pattern: OilPattern) -> np.ndarray:
    """Board at 59 ft of each release."""
    table = throw_many(ball, rows, pattern, friction=world.friction, keep_paths=True)
    assert table.path_board is not None
    return table.path_board[:, LATE_FT]


LINES = (("medium-39", 20.0), ("medium-42", 22.0), ("medium-42", 26.0))


def change_values(world: World) -> dict[str, float]:
    """Targets 9 and part of 16: finish, speed and age, on the lines in LINES."""
    solid = world.balls["strong-solid"]
    release = world.players["200"].release
    gains: dict[str, list[float]] = {"refinish": [], "grit range": [], "speed": [],
                                     "urethane less": []}
    for name, laydown in LINES:
        pattern = world.patterns[name]

        def boards(ball: Ball, *releases: Release, on: OilPattern = pattern) -> np.ndarray:
            return late_boards(world, ball, np.array([r.row() for r in releases]), on)

        fresh = solid.with_finish(1000.0)
        worn = replace(fresh, cover=fresh.cover.played(40.0))
        line = line_to(world, fresh, release, pattern, laydown)
        refreshed = worn.with_finish(1000.0)
        gains["refinish"].append(boards(refreshed, line)[0] - boards(worn, line)[0])
        middle = solid.with_finish(2000.0)
        line = line_to(world, middle, release, pattern, laydown)
        gains["grit range"].append(boards(solid.with_finish(500.0), line)[0]
                                   - boards(solid.with_finish(2000.0, True), line)[0])
        slow, fast = (replace(line, speed_mph=line.speed_mph + d) for d in (-0.5, 0.5))
        both = boards(middle, slow, fast)
        gains["speed"].append(both[0] - both[1])
        gains["urethane less"].append(boards(middle, line)[0]
                                      - boards(world.balls[URETHANE], line)[0])
    return {key: float(np.mean(values)) for key, values in gains.items()}


def friction_values(world: World) -> dict[str, float]:
    """Target 10: mean friction over the oiled length and on dry lane, reactive balls."""
    pattern = world.patterns["medium-42"]
    release = replace(world.players[TOUR].release, laydown_board=24.0, launch_angle_deg=-2.8)
    reactive = {n: b for n, b in world.balls.items()
                if b.cover.kind.startswith("reactive") and b.cover.games_total == 0}
    means = []
    for ball in reactive.values():
        path = throw(ball, release, pattern, friction=world.friction, rtol=1e-6)
        oiled = path.x_ft <= pattern.length_ft
        x, mu = path.x_ft[oiled], path.friction[oiled]
        means.append(np.sum(0.5 * (mu[1:] + mu[:-1]) * np.diff(x)) / (x[-1] - x[0]))
    dry = [b.cover.dry_friction for b in reactive.values()]
    return {"oil friction low": float(min(means)), "oil friction high": float(max(means)),
            "dry friction low": min(dry), "dry friction high": max(dry)}


# --- held out: looked at once, at the end -------------------------------------------------------


def held_out_values(world: World, tour_lines: Sequence[Found]) -> dict[str, float]:
    """Targets 5 and 11 to 16 that need more throws."""
    out: dict[str, float] = {}
    easy = best_of(found_lines(world, TOUR, HOUSE, STRENGTH[1:])).table
    pocket = easy.outcome == POCKET
    chance = world.carry(easy.entry_board[pocket], easy.entry_angle_deg[pocket],
                         easy.entry_speed_mph[pocket])
    out["easy pocket"] = 100 * float(pocket.mean())
    out["easy carry"] = 100 * float(np.mean(chance))
    still = world.players[TOUR]
    spread = still.spread
    machine = replace(still, spread=replace(spread, **{
        name: 0.3 * getattr(spread, name) for name in spread.__dataclass_fields__
        if name.startswith("sd_")}))
    other = replace(world, players={**world.players, "machine": machine})
    angles = [np.nanmean(found_lines(other, "machine", p, ("strong-solid",))[
        "strong-solid"].table.entry_angle_deg) for p in ("medium-42", "long-45")]
    out["machine angle"] = float(np.mean(angles))
    for name, length in (("medium-39", 39), ("medium-42", 42), ("long-45", 45)):
        offs = []
        for who in (AVERAGE, TOUR):
            found = found_lines(world, who, name, ("medium-hybrid", "strong-solid"))
            for ball, line in found.items():
                path = throw_many(world.balls[ball], line.release.row()[None],
                                  world.patterns[name], friction=world.friction, keep_paths=True)
                assert path.path_board is not None
                offs.append(path.path_board[0, length] - (length - 31))
        out[f"breakpoint {length}"] = float(np.mean(offs))
    out |= flare_values(world) | oil_values(world) | old_values(world)
    cover = world.balls["strong-solid"].with_finish(1000.0).cover.played(60.0)
    out["worn grit"] = _as_grit(cover)
    return out


def _as_grit(cover) -> float:
    """The grit whose fresh finish has the roughness of this cover."""
    grits = np.linspace(400.0, 5000.0, 231)
    ra = np.array([replace(cover, grit=g, polished=False, games_since_surface=0.0).ra_um
                   for g in grits])
    return float(np.interp(-cover.ra_um, -ra, grits)) if cover.ra_um >= ra[-1] else 5001.0


def flare_values(world: World) -> dict[str, float]:
    """Target 13: arc of the axis until the oil ends, i.e. the width of the rings of oil."""
    pattern = world.patterns["medium-42"]
    release = replace(world.players[TOUR].release, laydown_board=24.0, launch_angle_deg=-2.8)

    def flare(ball: Ball) -> float:
        path = throw(ball, release, pattern, friction=world.friction, rtol=1e-6)
        return float(np.interp(pattern.length_ft, path.x_ft, path.flare_in))

    solid = world.balls["strong-solid"]
    pins = np.array([1.5, 2.5, 3.0, 3.375, 3.75, 4.25, 5.0, 6.0])
    by_pin = [flare(replace(solid, layout=replace(solid.layout, pin_to_pap_in=float(p))))
              for p in pins]
    j = int(np.clip(np.argmax(by_pin), 1, len(pins) - 2))
    a, b, _ = np.polyfit(pins[j - 1:j + 2], by_pin[j - 1:j + 2], 2)
    return {"flare": max(flare(b) for b in world.balls.values()), "flare pin": -b / (2 * a)}


def oil_values(world: World) -> dict[str, float]:
    """Target 14: one lane, level 200 on a line of his own with the strong solid."""
    from lanesim.studies import transition as t

    pattern = world.patterns["medium-42"]
    found = found_lines(world, "200", "medium-42", ("strong-solid",))["strong-solid"]
    player = replace(world.players["200"], release=found.release)
    entrant = t.Entrant(player, world.balls["strong-solid"])
    path = t.usual_path(entrant, found.release.row(), pattern, world.friction)
    after = t.pattern_after(pattern, 13, [entrant], lanes=1, friction=world.friction, seed=3)
    feet = int(pattern.length_ft)

    def line(games: int, end: int, half: float) -> float:
        return t.line_volume_ul(after[games].volume_ul, path, end, half)

    return {"play line": 100 * (1 - line(4, feet, 2.5) / line(0, feet, 2.5)),
            "heads": 100 * line(13, 10, 5.0) / line(0, 10, 5.0)}


def old_values(world: World) -> dict[str, float]:
    """Target 16."""
    out: dict[str, float] = {}
    found = found_lines(world, TOUR, "heavy-42", (*STRENGTH[1:], URETHANE))
    rate = {b: 100 * f.strikes for b, f in found.items()}
    pair = max(rate["strong-solid"], rate["strong-asym"])
    out["heavy pair"] = pair - max(v for b, v in rate.items()
                                   if b not in ("strong-solid", "strong-asym"))
    line = found["strong-solid"].release
    heavy, solid = world.patterns["heavy-42"], world.balls["strong-solid"]
    shiny = solid.with_finish(2000.0, True)
    old = replace(solid, cover=replace(solid.cover, games_total=OLD_GAMES,
                                       games_since_surface=60.0))

    def hook(ball: Ball) -> float:
        return float(throw(ball, line, heavy, friction=world.friction, rtol=1e-6).hook_ft)

    out["shiny late"] = hook(shiny) - hook(solid)
    out["old later"] = hook(old) - hook(solid)
    rows = line.row()[None]
    out["old weaker"] = float(late_boards(world, solid, rows, heavy)[0]
                              - late_boards(world, old, rows, heavy)[0])
    other = replace(world, balls={**world.balls, "old": old})
    dry = found_lines(other, TOUR, "short-flat-35", ("strong-solid", "old"))
    out["old on dry"] = 100 * (dry["old"].strikes - dry["strong-solid"].strikes)
    return out


# --- the package as it is -----------------------------------------------------------------------


def table_score(found: Sequence[Found], player: Player) -> float:
    """Mean game by the shipped carry and spare tables, the lines equally often."""
    from lanesim.studies.odds import pins_of

    games = []
    for one in found:
        t: ShotTable = one.table
        games.append(pins_of(t.entry_board, t.entry_angle_deg, t.entry_speed_mph, t.outcome,
                             player.spread)[0].pins_per_game)
    return float(np.mean(games))


def shipped_players() -> dict[str, Player]:
    """The levels with their typical release, where the package has one, and the tour player."""
    from lanesim import player as p

    usual = getattr(p, "LEVEL_RELEASES", None)
    plain = Release(17.6, 350.0, 50.0, 12.0)
    out = {}
    for level in ("160", "180", "200", "220"):
        spread: Spread = p.LEVELS[level]
        out[level] = Player(level, usual[level] if usual else plain, spread)
    elite = usual["elite"] if usual else Release(18.6, 436.0, 50.0, 12.0)
    out[TOUR] = Player(TOUR, elite, p.LEVELS["elite"])
    return out


def shipped_world(seed: int = 0, thorough: bool = True) -> World:
    """Balls, patterns, friction, players and tables as they ship."""
    from lanesim.catalog import load_ball, load_pattern_named
    from lanesim.pins.table import default_table

    names = (*STRENGTH, URETHANE)
    return World(
        balls={n: load_ball(n) for n in names},
        patterns={n: load_pattern_named(n) for n in {*LADDER, HOUSE, *SPORT}},
        friction=DEFAULT_FRICTION, film_sd=0.0, players=shipped_players(),
        carry=default_table().strike_probability, score=table_score, seed=seed, thorough=thorough,
    )
