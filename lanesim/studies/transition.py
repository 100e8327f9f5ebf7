"""What games do to every ball's reaction: moves, changes of speed or ball, and when they pay.

The squad plays (`play`), after every game each ball is looked at on the lanes as they are, and a
better line or speed looked for (`moves`). Rates are judged on fresh shots.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from ..defaults import SEED, SHOTS
from ..equipment.ball import Ball
from ..errors import InputError, check_kind, check_range
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import CELL_AREA_M2
from ..lane.pattern import OilPattern
from ..lines.lineup import find_lines
from ..lines.plane import board_at_arrows
from ..player import normal_deviates
from ..progress import Progress, silent
from ..results import Result, Story
from ..stats import Difference, Rate, paired_difference, wilson
from ..streams import Stage
from ..units import MICRON_M, UL_M3
from .moves import Move, best_move, best_speed, moved, thrown
from .odds import has_carry_table
from .play import (
    DEFAULT_TRANSFER,
    FIRST_BALLS,
    LINE_HALF_WIDTH,
    Entrant,
    OilTransfer,
    line_by_foot_ul,
    line_volume_ul,
    oriented,
    play_game,
    usual_path,
)

if TYPE_CHECKING:
    from ..pins.outcomes import PinResult

# Balls and games are many: one advice in a hundred from luck alone, not one in twenty.
ADVICE_CONFIDENCE = 0.99


def pattern_after(
    entrants: Sequence[Entrant],
    pattern: OilPattern,
    games: int,
    *,
    seed: int = SEED,
    lanes: int = 2,
    lane: int = 0,
    follow: bool = False,
    first_balls: int = FIRST_BALLS,
    transfer: OilTransfer = DEFAULT_TRANSFER,
    friction: FrictionModel = DEFAULT_FRICTION,
) -> list[OilPattern]:
    """The pattern after 0, 1, .., `games` games of all `entrants` on `lanes` lanes.

    Parameters
    ----------
    entrants : who plays, with what and on which line (the player's release).
    lane : which lane of the pair to return.
    follow : whether they move with the oil after every game (see `best_move`); False: nobody moves.

    Returns
    -------
    list of games + 1 patterns named like 'medium-42 after 3 games', the first one `pattern` itself.
    """
    _check(entrants, pattern, games, lanes, first_balls)
    check_range("lane", lane, 0, lanes - 1)
    volume = np.repeat(pattern.volume_ul[None], lanes, axis=0)
    lines = [e.player.release.row() for e in entrants]
    out = [pattern]
    for game in range(games):
        volume = play_game(
            entrants, lines, volume, pattern, game, first_balls=first_balls, transfer=transfer,
            friction=friction, seed=seed,
        ).volume_ul
        out.append(_stage(pattern, volume[lane], game + 1))
        if follow and game + 1 < games:
            now = [_stage(pattern, v, game + 1) for v in volume]
            lines = [
                moved(line, best_move(e, line, now, friction=friction, seed=seed))
                for e, line in zip(entrants, lines, strict=True)
            ]
    return out


def _stage(pattern: OilPattern, volume_ul: np.ndarray, games: int) -> OilPattern:
    if games == 0:
        return pattern
    plural = "" if games == 1 else "s"
    after = pattern.with_volume(volume_ul)
    return replace(after, name=f"{pattern.name} after {games} game{plural}",
                   title=f"{pattern.title}, after {games} game{plural}")


def _check(
    entrants: Sequence[Entrant], pattern: OilPattern, games: int, lanes: int, first_balls: int
) -> None:
    if isinstance(entrants, Sequence) and not entrants:
        raise InputError("nobody plays: give at least one player")
    for entrant in entrants if isinstance(entrants, Sequence) else [entrants]:
        check_kind("one who plays", entrant, Entrant)
    check_kind("pattern", pattern, OilPattern)
    check_range("number of players", len(entrants), 1, 24)
    check_range("games", games, 0, 40)
    check_range("lanes", lanes, 1, 2)
    check_range("first balls a game", first_balls, 1, 12)


@dataclass(frozen=True)
class Reaction:
    """What one ball does for one player after so many games. Rates over both lanes.

    Attributes
    ----------
    entrant, ball, games : who, with what, after how many games.
    entry_board, entry_angle_deg : median at the line of the start (nobody moves).
    pocket : pocket rate there.
    move : best move from that line (feet, target), positive away from the ball-arm side.
    pocket_moved : pocket rate after the move; entry_angle_moved_deg its median entry angle.
    gain : paired difference of the two rates, interval at ADVICE_CONFIDENCE.
    speed_mph : best change of speed instead of a move; pocket_speed its pocket rate.
    laydown_board, arrow_board : the moved line.
    pins, pins_moved, pins_speed : strikes, leaves and pins per game of the shots behind `pocket`,
        `pocket_moved` and `pocket_speed`; None: left out.
    """

    entrant: str
    ball: str
    games: int
    entry_board: float
    entry_angle_deg: float
    pocket: Rate
    move: Move
    pocket_moved: Rate
    entry_angle_moved_deg: float
    gain: Difference
    speed_mph: float
    pocket_speed: Rate
    laydown_board: float
    arrow_board: float
    hits_moved: np.ndarray = field(repr=False)
    pins: PinResult | None = None
    pins_moved: PinResult | None = None
    pins_speed: PinResult | None = None

    def to_dict(self) -> dict[str, Any]:
        """Plain values without the single shots."""
        from dataclasses import fields

        out = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "hits_moved"}
        for name in ("pins", "pins_moved", "pins_speed"):
            out[name] = out[name] and out[name].to_dict()
        return out


@dataclass(frozen=True)
class MoveAdvice:
    """What to do and when, for one entrant.

    Attributes
    ----------
    moves : (games, move from the start's line) each time another move has become better.
    first_move_games : after how many games the first move pays clearly; None: not in this play.
    change_games, change_to : when another ball's best line is clearly better than the own ball's.
    """

    entrant: str
    moves: tuple[tuple[int, Move], ...]
    first_move_games: int | None
    change_games: int | None
    change_to: str | None


@dataclass(frozen=True, repr=False)
class TransitionResult(Result):
    """A squad's play: the lanes after each game and what became of every ball's reaction.

    Attributes
    ----------
    stages : stages[g][l], pattern of lane l after g games (g = 0: fresh).
    shots_per_lane : (games + 1, lanes) first balls thrown so far.
    line_ml : (entrants, games + 1) oil within 2.5 boards of the entrant's path of the start, over
        the laid length, mean of the lanes [mL].
    path_board : (entrants, 61) that path in the player's boards.
    lane_ml, beyond_ml : (games + 1, lanes) oil on the lane, and beyond the laid length [mL].
    taken_ml, laid_ml : (entrants,) taken off by each entrant's ball and laid down by it [mL].
    line_boards : (entrants, games) how far the feet are from the start's line in each game.
    reactions : one per entrant looked at, ball and stage; advice : one per such entrant.
    """

    pattern: OilPattern
    entrants: tuple[Entrant, ...]
    games: int
    seed: int
    first_balls: int
    follow: bool
    transfer: OilTransfer
    stages: tuple[tuple[OilPattern, ...], ...]
    shots_per_lane: np.ndarray
    line_ml: np.ndarray
    path_board: np.ndarray
    lane_ml: np.ndarray
    beyond_ml: np.ndarray
    taken_ml: np.ndarray
    laid_ml: np.ndarray
    line_boards: np.ndarray
    reactions: tuple[Reaction, ...]
    advice: tuple[MoveAdvice, ...]

    _figure: ClassVar[str] = "lanesim.figures.transition:draw_transition"

    def story(self) -> Story:
        """Oil left on the first player's line, and what each ball then does."""
        header = ["ball", "after game", "oil left on the line [%]", "entry [board]", "pocket [%]",
                  "move feet / target [boards]", "pocket moved [%]"]
        rows = [[r.ball, str(r.games), f"{100 * self.line_left[0, r.games]:.0f}",
                 f"{r.entry_board:.1f}", f"{100 * r.pocket.rate:.0f}",
                 f"{r.move.feet:+.0f} / {r.move.target:+.0f}",
                 f"{100 * r.pocket_moved.rate:.0f}"] for r in self.reactions]
        return Story(f"{self.pattern.name}: {self.games} games of {len(self.entrants)}", (), header,
                     rows)

    @property
    def line_left(self) -> np.ndarray:
        """(entrants, games + 1) share of the line's oil that is left."""
        return self.line_ml / np.maximum(self.line_ml[:, :1], 1e-300)

    def lane_volume_ul(self, games: int) -> np.ndarray:
        """Mean of the lanes' volumes (60, 39) after so many games, boards from the right."""
        return np.mean([p.volume_ul for p in self.stages[games]], axis=0)

    def line_film_um(self, entrant: int, games: int) -> np.ndarray:
        """Mean film [um] along an entrant's first line foot by foot (60,), mean of the lanes."""
        volume = oriented(self.lane_volume_ul(games), self.entrants[entrant].player.release.hand)
        cells = 2.0 * LINE_HALF_WIDTH
        film_um = UL_M3 / CELL_AREA_M2 / MICRON_M
        return line_by_foot_ul(volume, self.path_board[entrant]) / cells * film_um

    def to_dict(self) -> dict[str, Any]:
        """Plain values: no grids; `stages` by their summaries."""
        return {
            "pattern": self.pattern.summary(),
            "entrants": [
                {"name": e.name, "ball": e.ball.name, "hand": e.player.release.hand,
                 "taken_ml": float(t), "laid_ml": float(d)}
                for e, t, d in zip(self.entrants, self.taken_ml, self.laid_ml, strict=True)
            ],
            "games": self.games,
            "seed": self.seed,
            "first_balls_per_game": self.first_balls,
            "follow": self.follow,
            "transfer": self.transfer,
            "assumptions": ASSUMPTIONS,
            "shots_per_lane": self.shots_per_lane,
            "line_ml": self.line_ml,
            "line_left": self.line_left,
            "lane_ml": self.lane_ml,
            "beyond_ml": self.beyond_ml,
            "line_boards": self.line_boards,
            "stages": [[p.summary() for p in lanes] for lanes in self.stages],
            "reactions": [r.to_dict() for r in self.reactions],
            "advice": list(self.advice),
        }


ASSUMPTIONS = (
    "first balls only (spare balls left out); 11 a game by default",
    "balls wiped dry before every shot",
    "how much a shot takes is calibrated to one published figure (over 40 % gone from the line of "
    "play after 4-5 games per lane)",
    "width of the swath and share laid down again are assumed",
)


def transition(
    entrants: Sequence[Entrant],
    pattern: OilPattern,
    games: int,
    *,
    balls: Sequence[Ball] = (),
    lanes: int = 2,
    follow: bool = True,
    settle: bool = True,
    looked: int | None = None,
    first_balls: int = FIRST_BALLS,
    shots: int = SHOTS["transition"][0],
    seed: int = SEED,
    pins: bool | None = None,
    transfer: OilTransfer = DEFAULT_TRANSFER,
    friction: FrictionModel = DEFAULT_FRICTION,
    progress: Progress = silent,
) -> TransitionResult:
    """Play `games` games and look at every ball before the first and after each.

    Parameters
    ----------
    entrants : who plays, with what.
    balls : other balls to look at for each entrant besides the one he throws.
    follow : whether entrants move with the oil after every game (their shots then take oil from
        elsewhere); False: all stay on the first line.
    settle : whether each ball starts on its best line on the fresh pattern (lineup.find_lines);
        False: on the player's release as it is.
    looked : for how many of the entrants the other balls and the changes of speed are looked at,
        the first ones (default: all). The rest only move with the oil, and have no reactions.
    shots : shots per lane for every rate.
    pins : also strikes, leaves and pins per game from the shipped carry table; None: if it is
        there.
    progress : called with (done, total) as work goes on.
    """
    _check(entrants, pattern, games, lanes, first_balls)
    check_range("shots", shots, *SHOTS["transition"][1:])
    with_strikes = has_carry_table() if pins is None else pins
    entrants = tuple(entrants)
    feet = int(pattern.length_ft)
    volume = np.repeat(pattern.volume_ul[None], lanes, axis=0)
    first = len(entrants) if looked is None else looked
    looked_at = [
        [e.ball, *(b for b in balls if b.name != e.ball.name and i < first)]
        for i, e in enumerate(entrants)
    ]
    total = games + (games + 1) * sum(map(len, looked_at))
    done = 0

    def step() -> None:
        nonlocal done
        done += 1
        progress(done, total)

    fresh = [pattern]
    starts = [
        _start_lines(e, mine, pattern, settle, friction, seed)
        for e, mine in zip(entrants, looked_at, strict=True)
    ]
    paths = np.array([
        usual_path(e, s[0], pattern, friction) for e, s in zip(entrants, starts, strict=True)
    ])
    stages: list[tuple[OilPattern, ...]] = []
    reactions: list[Reaction] = []
    in_force: dict[tuple[int, str], Move] = {}
    lines = [s[0] for s in starts]
    line_boards = np.zeros((len(entrants), games))
    taken = np.zeros(len(entrants))
    laid = np.zeros(len(entrants))
    counts = np.zeros((games + 1, lanes), dtype=int)
    line_ml = np.zeros((len(entrants), games + 1))
    for game in range(games + 1):
        now = tuple(_stage(pattern, v, game) for v in volume)
        stages.append(now)
        lanes_now = fresh if game == 0 else now
        for i, e in enumerate(entrants):
            own = oriented(volume, e.player.release.hand)
            line_ml[i, game] = np.mean([line_volume_ul(v, paths[i], feet) for v in own]) / 1000.0
            for b, start in zip(looked_at[i], starts[i], strict=True):
                standing = in_force.get((i, b.name), Move())
                if i >= first:
                    if follow and game < games:
                        in_force[i, b.name] = best_move(
                            e, start, lanes_now, standing=standing, friction=friction, seed=seed)
                        lines[i] = moved(start, in_force[i, b.name])
                    step()
                    continue
                reaction = _look(e, b, start, lanes_now, game, standing, shots, seed, friction,
                                 with_strikes)
                reactions.append(reaction)
                in_force[i, b.name] = reaction.move
                step()
                if b is e.ball and follow:
                    lines[i] = moved(start, reaction.move)
        if game == games:
            break
        line_boards[:, game] = [
            line[0] - s[0][0] for line, s in zip(lines, starts, strict=True)
        ]
        played = play_game(entrants, lines, volume, pattern, game, first_balls=first_balls,
                           transfer=transfer, friction=friction, seed=seed)
        volume = played.volume_ul
        taken += np.bincount(played.entrant, played.taken_ul, len(entrants)) / 1000.0
        laid += np.bincount(played.entrant, played.laid_ul, len(entrants)) / 1000.0
        counts[game + 1] = counts[game] + np.bincount(played.lane, minlength=lanes)
        step()
    return TransitionResult(
        pattern=pattern, entrants=entrants, games=games, seed=seed, first_balls=first_balls,
        follow=follow, transfer=transfer, stages=tuple(stages), shots_per_lane=counts,
        line_ml=line_ml, path_board=paths,
        lane_ml=np.array([[p.total_ml for p in lane] for lane in stages]),
        beyond_ml=np.array([[p.volume_ul[feet:].sum() / 1000.0 for p in lane] for lane in stages]),
        taken_ml=taken, laid_ml=laid, line_boards=line_boards, reactions=tuple(reactions),
        advice=tuple(_advise(e, reactions) for e in entrants[:first]),
    )


def _start_lines(
    entrant: Entrant, balls: Sequence[Ball], pattern: OilPattern, settle: bool,
    friction: FrictionModel, seed: int,
) -> list[np.ndarray]:
    """Release row of each ball on the fresh pattern: its best line, or the player's as it is."""
    player = entrant.player
    if not settle:
        return [player.release.row() for _ in balls]
    found = find_lines(balls, player.release, pattern, player.spread, shots=64, seed=seed,
                       friction=friction)
    return [line.release.row() for line in found]


def _look(
    entrant: Entrant, ball: Ball, start: np.ndarray, patterns: Sequence[OilPattern], games: int,
    standing: Move, shots: int, seed: int, friction: FrictionModel, with_strikes: bool,
) -> Reaction:
    """Look for the best move and the best change of speed, then judge them with fresh shots."""
    move = best_move(entrant, start, patterns, standing=standing, ball=ball, friction=friction,
                     shots=shots, seed=seed)
    speed = best_speed(entrant, start, patterns, ball=ball, friction=friction, shots=shots,
                       seed=seed)
    there = moved(start, move)
    quick = start.copy()
    quick[2] += speed
    judge = normal_deviates(shots, 6, seed, stage=Stage.MOVE_JUDGE)
    shot = thrown(ball, entrant, np.array([start, there, quick]), patterns, judge, friction)
    hit, board, angle = shot.hit, shot.board, shot.angle_deg
    pins: list[PinResult | None] = [None, None, None]
    if with_strikes:
        spread = entrant.player.spread
        pins[0] = shot.pins(0, spread)
        # no change is often the best one: the same shots, and the leaves take half a second
        pins[1] = pins[0] if np.array_equal(there, start) else shot.pins(1, spread)
        pins[2] = pins[0] if speed == 0.0 else shot.pins(2, spread)
    rates = [wilson(h.sum(), len(h)) for h in hit]
    return Reaction(
        entrant=entrant.name, ball=ball.name, games=games,
        entry_board=_median(board[0]), entry_angle_deg=_median(angle[0]), pocket=rates[0],
        move=move, pocket_moved=rates[1], entry_angle_moved_deg=_median(angle[1]),
        gain=paired_difference(hit[0], hit[1], ADVICE_CONFIDENCE), speed_mph=speed,
        pocket_speed=rates[2],
        laydown_board=float(there[0]), arrow_board=board_at_arrows(there[0], there[1]),
        hits_moved=hit[1], pins=pins[0], pins_moved=pins[1], pins_speed=pins[2],
    )


def _median(values: np.ndarray) -> float:
    good = values[np.isfinite(values)]
    return float(np.median(good)) if len(good) else float("nan")


def _advise(entrant: Entrant, reactions: Sequence[Reaction]) -> MoveAdvice:
    """Moves and changes of ball that pay clearly, from the reactions of one entrant."""
    mine = [r for r in reactions if r.entrant == entrant.name]
    sure = ADVICE_CONFIDENCE
    own = sorted((r for r in mine if r.ball == entrant.ball.name), key=lambda r: r.games)
    moves: list[tuple[int, Move]] = []
    standing = Move()
    for r in own:
        if r.move != standing and (r.gain.low > 0.0 or standing != Move()):
            moves.append((r.games, r.move))
            standing = r.move
    change_games, change_to = None, None
    for r in own:
        others = [o for o in mine if o.games == r.games and o.ball != r.ball]
        better = [
            o for o in others if paired_difference(r.hits_moved, o.hits_moved, sure).low > 0.0
        ]
        if better:
            change_games = r.games
            change_to = max(better, key=lambda o: o.pocket_moved.rate).ball
            break
    return MoveAdvice(
        entrant=entrant.name, moves=tuple(moves),
        first_move_games=moves[0][0] if moves else None,
        change_games=change_games, change_to=change_to,
    )
