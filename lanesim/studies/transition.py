"""The lane changes: oil taken and laid down shot by shot, and what that does to each ball.

Every shot is followed on the film that the shots before it left, then takes oil along its path and
lays part of it down farther on (`motion.kernels.carry_oil`). Volume is conserved to rounding:
what is not on the lane is with the balls (on the cover, in it, or wiped off between shots).

Stated assumptions

- First balls only, on full racks: 11 a game and player, ten frames and one fill ball (most games
  have 10 to 12). Spare balls are left out.
- On a pair, players take turns frame by frame and change lanes every frame.
- A ball starts each shot wiped dry.
- Oil within a board levels out between shots; it does not creep from board to board.
- The film on the ring that meets the lane follows the same equation as the ball's path does
  (kernels.track_film_rate), with one more way out: the lane takes back from the ring the share
  per turn that the ring takes from the lane (`lay_per_turn` = FrictionModel.pickup).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError, check_range
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import BOARD_M, BOARDS, CELL_AREA_M2, GRID_ROWS
from ..lane.pattern import OilPattern
from ..lines.lineup import find_line
from ..lines.plane import LAYDOWN_RANGE, board_at_arrows
from ..motion import kernels as k
from ..motion import setup
from ..motion.compiled import batch_kernel
from ..motion.pocket import BEST_BOARD, POCKET
from ..motion.trajectory import throw_many
from ..player import Player, Release, Spread, normal_deviates
from ..stats import Difference, Rate, paired_difference, wilson
from ..streams import Stage, stream
from ..units import MICRON_M, UL_M3
from .odds import has_carry_table, pins_of

if TYPE_CHECKING:
    from ..pins.outcomes import PinResult

FRAMES = 10
FIRST_BALLS = 11
LINE_HALF_WIDTH = 2.5  # boards on either side of the path that count as the line of play
SPEEDS_MPH = (-2.0, -1.5, -1.0, -0.5, 0.5, 1.0, 1.5, 2.0)

# Balls and games are many: one advice in a hundred from luck alone, not one in twenty.
ADVICE_CONFIDENCE = 0.99

Progress = Callable[[float, float], None]


@dataclass(frozen=True)
class OilTransfer:
    """How a shot moves oil.

    Attributes
    ----------
    swath_boards : standard deviation of the swath about the path [boards]. ASSUMED: rings of oil on
        a ball are some millimetres wide, and the contact pushes oil from a little farther.
    wipe_per_turn : rate per turn of the ball at which the swath gives up its oil. CALIBRATED to one
        published anchor (read, 2013): over 40 % of the oil gone from the line of play after 4-5
        games per lane on a similar line. Read as: 44 first balls (4 games) of a 200-average
        player on one lane take just over 40 % from the five boards along the line. It is about
        five times what the track-film equation takes up on a ring w_t wide (pickup x
        circumference x w_t over one cell = 0.062 per turn): a ball carries off more oil than
        the film that its contact feels.
    lay_per_turn : share per turn of the ring's oil that goes back onto the lane. ASSUMED equal to
        FrictionModel.pickup, film splitting being the same either way.
    """

    swath_boards: float = 0.35
    wipe_per_turn: float = 0.32
    lay_per_turn: float = DEFAULT_FRICTION.pickup

    def __post_init__(self) -> None:
        check_range("swath", self.swath_boards, 0.02, 5, "boards")
        check_range("wipe per turn", self.wipe_per_turn, 0, 20)
        check_range("lay per turn", self.lay_per_turn, 0, 20)


DEFAULT_TRANSFER = OilTransfer()


@dataclass(frozen=True)
class Entrant:
    """One who throws: a player (release, spread, hand) with the ball in use."""

    player: Player
    ball: Ball
    name: str = ""

    def __post_init__(self) -> None:
        if not self.name:
            object.__setattr__(self, "name", self.player.name)


# --- playing --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Played:
    """A spell of shots: film before and after, and every shot's path.

    Attributes
    ----------
    volume_ul : (lanes, 60, 39) oil after the shots, boards from the right.
    entrant, lane : (n,) who threw on which lane, in order.
    taken_ul, laid_ul : (n,) oil that each shot took off the lane and put back on it.
    path_board : (n, 61) board at whole feet, in the player's count; NaN once the shot has ended.
    flare_mm_per_turn : (n,) mean flare.
    """

    volume_ul: np.ndarray
    entrant: np.ndarray
    lane: np.ndarray
    taken_ul: np.ndarray
    laid_ul: np.ndarray
    path_board: np.ndarray
    flare_mm_per_turn: np.ndarray


def playing_order(
    entrants: int, games: int, lanes: int, first_balls: int = FIRST_BALLS, start_game: int = 0
) -> tuple[np.ndarray, np.ndarray]:
    """Who throws on which lane: index arrays (n,), (n,), frame by frame, players in turn.

    Balls beyond the tenth (fill balls) follow at once on the tenth frame's lane.
    """
    who, where = [], []
    for game in range(start_game, start_game + games):
        for frame in range(FRAMES):
            balls = 1 + (max(first_balls - FRAMES, 0) if frame == FRAMES - 1 else 0)
            if frame >= first_balls:
                break
            for entrant in range(entrants):
                who += [entrant] * balls
                where += [(frame + entrant + game) % lanes] * balls
    return np.array(who, dtype=np.int64), np.array(where, dtype=np.int64)


def throw_in_turn(
    volume_ul: np.ndarray,
    viscosity_cp: float,
    balls: Sequence[Ball],
    lefts: Sequence[bool],
    releases: np.ndarray,
    entrant: np.ndarray,
    lane: np.ndarray,
    *,
    transfer: OilTransfer = DEFAULT_TRANSFER,
    friction: FrictionModel = DEFAULT_FRICTION,
) -> Played:
    """Throw shots one after the other, each on the oil that those before it left.

    Parameters
    ----------
    volume_ul : (lanes, 60, 39) oil at the start, boards from the right; not changed.
    balls, lefts : ball of each entrant, and whether he is left-handed.
    releases : (n, 7) in release.RELEASE_COLUMNS, in the order thrown, the player's boards.
    entrant, lane : (n,) indices.
    """
    n = len(releases)
    if n == 0:
        raise InputError("no shots to play: at least 1 is needed")
    films = np.ascontiguousarray(volume_ul * (UL_M3 / CELL_AREA_M2))
    pars = np.array([
        setup.parameter_vector(b, viscosity_cp=viscosity_cp, friction=friction) for b in balls
    ])
    shots = setup.shot_matrix(releases)
    if not (np.all(np.isfinite(shots)) and np.all(np.isfinite(films))):
        raise InputError("a release or an oil volume is not a finite number; every one must be")
    paps = np.array([b.inertia.pap_body for b in balls])
    pins = setup.pin_array()
    swath = transfer.swath_boards * BOARD_M
    shares = np.empty(films.shape[2])
    rows = np.empty((n, k.R_COUNT))
    traces = np.empty((n, k.TRACE_FEET, k.T_COUNT))
    amounts = np.empty((n, 2))
    throw_chunk = batch_kernel()
    for i, (who, where) in enumerate(zip(entrant, lane, strict=True)):
        film = films[where, :, ::-1].copy() if lefts[who] else films[where]
        throw_chunk(shots, entrant, paps, pars, film, pins, rows, traces, i, 1)
        amounts[i] = k.carry_oil(
            rows[i], traces[i], pars[who], swath, transfer.wipe_per_turn, transfer.lay_per_turn,
            film, shares,
        )
        if lefts[who]:
            films[where] = film[:, ::-1]
    cell_ul = CELL_AREA_M2 / UL_M3
    return Played(
        volume_ul=films * cell_ul,
        entrant=entrant,
        lane=lane,
        taken_ul=amounts[:, 0] * cell_ul,
        laid_ul=amounts[:, 1] * cell_ul,
        path_board=traces[:, :, k.T_Y] / BOARD_M + 0.5,
        flare_mm_per_turn=1e3 * rows[:, k.R_FLARE] / np.maximum(rows[:, k.R_TURNS], 1e-9),
    )


def play_game(
    volume_ul: np.ndarray,
    pattern: OilPattern,
    entrants: Sequence[Entrant],
    lines: Sequence[np.ndarray],
    game: int,
    *,
    first_balls: int = FIRST_BALLS,
    transfer: OilTransfer = DEFAULT_TRANSFER,
    friction: FrictionModel = DEFAULT_FRICTION,
    seed: int = 1,
) -> Played:
    """One game of everybody. lines: each entrant's release row (7,) in this game."""
    who, where = playing_order(len(entrants), 1, len(volume_ul), first_balls, game)
    releases = np.empty((len(who), 7))
    for i, entrant in enumerate(entrants):
        mine = np.flatnonzero(who == i)
        rng = stream(Stage.PLAY_SHOTS, seed, game, i)
        spread = np.zeros((len(mine), 7))
        spread[:, :6] = rng.standard_normal((len(mine), 6)) * entrant.player.spread.array()
        releases[mine] = lines[i] + spread
    return throw_in_turn(
        volume_ul, pattern.viscosity_cp, [e.ball for e in entrants],
        [e.player.release.hand == "left" for e in entrants], releases, who, where,
        transfer=transfer, friction=friction,
    )


def pattern_after(
    pattern: OilPattern,
    games: int,
    entrants: Sequence[Entrant],
    *,
    seed: int = 1,
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
    _check(entrants, games, lanes, first_balls)
    check_range("lane", lane, 0, lanes - 1)
    volume = np.repeat(pattern.volume_ul[None], lanes, axis=0)
    lines = [e.player.release.row() for e in entrants]
    out = [pattern]
    for game in range(games):
        volume = play_game(
            volume, pattern, entrants, lines, game, first_balls=first_balls, transfer=transfer,
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


def _check(entrants: Sequence[Entrant], games: int, lanes: int, first_balls: int) -> None:
    if not entrants:
        raise InputError("nobody plays: give at least one player")
    check_range("number of players", len(entrants), 1, 24)
    check_range("games", games, 0, 40)
    check_range("lanes", lanes, 1, 2)
    check_range("first balls a game", first_balls, 1, 12)


# --- oil along a line --------------------------------------------------------------------------


def line_by_foot_ul(
    volume_ul: np.ndarray, path_board: np.ndarray, half_width: float = LINE_HALF_WIDTH
) -> np.ndarray:
    """Oil [uL] within `half_width` boards of a path, foot by foot; shape (60,).

    volume_ul : (60, 39) in the same board order as the path; path_board : (61,) at whole feet. A
    board that lies partly inside counts by its share; the path within a foot is taken at its
    middle. What would lie beside the lane counts as nothing.
    """
    middle = 0.5 * (path_board[:-1] + path_board[1:])[:, None]
    right = np.arange(BOARDS) + 0.5  # board b covers b - 1/2 to b + 1/2 in board numbers
    inside = np.minimum(right + 1.0, middle + half_width) - np.maximum(right, middle - half_width)
    return np.sum(np.clip(inside, 0.0, 1.0) * volume_ul, axis=1)


def line_volume_ul(
    volume_ul: np.ndarray, path_board: np.ndarray, feet: int, half_width: float = LINE_HALF_WIDTH
) -> float:
    """Oil [uL] along a path over the first `feet` feet; see `line_by_foot_ul`."""
    return float(line_by_foot_ul(volume_ul, path_board, half_width)[:feet].sum())


def usual_path(
    entrant: Entrant, line: np.ndarray, pattern: OilPattern, friction: FrictionModel
) -> np.ndarray:
    """Board at whole feet (61,) of the entrant's release without spread, in his own count."""
    table = throw_many(entrant.ball, line[None], pattern, hand=entrant.player.release.hand,
                       friction=friction, keep_paths=True)
    path = table.path_board[0]
    last = int(np.flatnonzero(np.isfinite(path))[-1])
    return np.where(np.arange(len(path)) <= last, path, path[last])


def oriented(volume_ul: np.ndarray, hand: str) -> np.ndarray:
    """Volumes in the player's board order."""
    return volume_ul if hand == "right" else volume_ul[..., ::-1]


# --- moves -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Move:
    """A move [boards], positive away from the ball-arm side: feet (laydown) and target (arrows)."""

    feet: float = 0.0
    target: float = 0.0

    def distance(self, other: Move) -> float:
        """How much feet and target differ from another move's [boards]."""
        return abs(self.feet - other.feet) + abs(self.target - other.target)


# Moves looked at: in parallel, and feet twice as far as the target (both are common advice).
MOVES: tuple[Move, ...] = (
    *(Move(float(f), float(f)) for f in range(-6, 17)),
    *(Move(float(f), f / 2.0) for f in range(-6, 17, 2) if f != 0),
)
NEAR_BOARDS = 2.0  # moves whose usual shot arrives within so many boards of the best are tried
FEWEST_TRIED = 3  # or the nearest so many, if none does


def moved(line: np.ndarray, move: Move) -> np.ndarray:
    """A release row after a move; a parallel one keeps its launch angle."""
    out = line.copy()
    out[0] += move.feet
    if move.target != move.feet:
        arrows = board_at_arrows(line[0], line[1]) + move.target
        out[1] = Release.angle_toward(float(out[0]), float(np.clip(arrows, 1, BOARDS)))
    return out


def _possible(line: np.ndarray) -> list[Move]:
    return [m for m in MOVES if LAYDOWN_RANGE[0] <= line[0] + m.feet <= LAYDOWN_RANGE[1]]


class _Shots(NamedTuple):
    """How the shots of each release row ended, (rows, patterns x shots) each."""

    outcome: np.ndarray
    board: np.ndarray
    angle_deg: np.ndarray
    speed_mph: np.ndarray

    @property
    def hit(self) -> np.ndarray:
        """1 for a shot in the pocket, else 0."""
        return (self.outcome == POCKET).astype(float)

    def pins(self, row: int, spread: Spread) -> PinResult:
        """Strikes, leaves and pins per game of one row's shots under that spread."""
        return pins_of(self.board[row], self.angle_deg[row], self.speed_mph[row],
                       self.outcome[row].astype(int), spread)[0]


def _thrown(
    ball: Ball, entrant: Entrant, rows: np.ndarray, patterns: Sequence[OilPattern],
    deviates: np.ndarray, friction: FrictionModel,
) -> _Shots:
    """Throw each release row with the entrant's spread on each of the patterns."""
    releases = np.repeat(rows, len(deviates), axis=0)
    releases[:, :6] += np.tile(deviates * entrant.player.spread.array(), (len(rows), 1))
    parts = []
    for pattern in patterns:
        table = throw_many(ball, releases, pattern, hand=entrant.player.release.hand,
                           friction=friction)
        parts.append(np.stack([
            table.outcome, table.entry_board, table.entry_angle_deg, table.entry_speed_mph,
        ]).reshape(4, len(rows), len(deviates)))
    return _Shots(*np.concatenate(parts, axis=2))


def _worth_trying(
    ball: Ball, entrant: Entrant, rows: np.ndarray, patterns: Sequence[OilPattern],
    friction: FrictionModel,
) -> np.ndarray:
    """Indices of the rows whose usual shot arrives near the best board, and row 0 always."""
    board = _thrown(ball, entrant, rows, patterns, np.zeros((1, 6)), friction).board
    off = np.abs(np.where(np.isfinite(board), board, np.inf).mean(axis=1) - BEST_BOARD)
    near = np.flatnonzero(off <= NEAR_BOARDS)
    if len(near) < FEWEST_TRIED:
        near = np.argsort(off, kind="stable")[:FEWEST_TRIED]
    return np.unique(np.concatenate([[0], near]))


def _choose(
    ball: Ball, entrant: Entrant, rows: np.ndarray, sizes: np.ndarray,
    patterns: Sequence[OilPattern], friction: FrictionModel, deviates: np.ndarray,
) -> int:
    """Index of the row with the most pocket hits, or of the smallest change as good as it.

    Common random shots; a larger change is taken over a smaller one only if its gain is clear
    (95 %, paired). Row 0 is no change.
    """
    tried = _worth_trying(ball, entrant, rows, patterns, friction)
    hit = _thrown(ball, entrant, rows[tried], patterns, deviates, friction).hit
    top = int(np.argmax(hit.mean(axis=1)))
    for n in np.argsort(sizes[tried], kind="stable"):
        if n == top or not paired_difference(hit[n], hit[top]).clear:
            return int(tried[n])
    return int(tried[top])


def best_move(
    entrant: Entrant,
    line: np.ndarray,
    patterns: Sequence[OilPattern],
    *,
    standing: Move | None = None,
    ball: Ball | None = None,
    friction: FrictionModel = DEFAULT_FRICTION,
    shots: int = 96,
    seed: int = 1,
) -> Move:
    """The move from `line` with the most pocket hits on the lanes as they are.

    Of moves that are as good the one nearest to `standing`, the move in force (default: none), is
    taken; one farther off only if its gain is clear (95 %, paired, common random shots).
    """
    now = standing or Move()
    choices = [now, *(m for m in _possible(line) if m != now)]
    return choices[_choose(
        ball or entrant.ball, entrant, np.array([moved(line, m) for m in choices]),
        np.array([m.distance(now) for m in choices]), patterns, friction,
        normal_deviates(shots, 6, seed, stage=Stage.MOVE_SEARCH),
    )]


def _best_speed(
    entrant: Entrant, ball: Ball, line: np.ndarray, patterns: Sequence[OilPattern],
    friction: FrictionModel, deviates: np.ndarray,
) -> float:
    changes = np.array([0.0, *SPEEDS_MPH])
    rows = np.tile(line, (len(changes), 1))
    rows[:, 2] += changes
    return float(changes[_choose(ball, entrant, rows, np.abs(changes), patterns, friction,
                                 deviates)])


# --- the study ---------------------------------------------------------------------------------


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
class Advice:
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


@dataclass(frozen=True)
class TransitionResult:
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
    advice: tuple[Advice, ...]

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


def study(
    pattern: OilPattern,
    entrants: Sequence[Entrant],
    games: int,
    *,
    balls: Sequence[Ball] = (),
    lanes: int = 2,
    follow: bool = True,
    settle: bool = True,
    looked: int | None = None,
    first_balls: int = FIRST_BALLS,
    shots: int = 128,
    seed: int = 1,
    pins: bool | None = None,
    transfer: OilTransfer = DEFAULT_TRANSFER,
    friction: FrictionModel = DEFAULT_FRICTION,
    report: Progress | None = None,
) -> TransitionResult:
    """Play `games` games and look at every ball before the first and after each.

    Parameters
    ----------
    entrants : who plays, with what.
    balls : other balls to look at for each entrant besides the one he throws.
    follow : whether entrants move with the oil after every game (their shots then take oil from
        elsewhere); False: all stay on the first line.
    settle : whether each ball starts on its best line on the fresh pattern (lineup.find_line);
        False: on the player's release as it is.
    looked : for how many of the entrants the other balls and the changes of speed are looked at,
        the first ones (default: all). The rest only move with the oil, and have no reactions.
    shots : shots per lane for every rate.
    pins : also strikes, leaves and pins per game from the shipped carry table; None: if it is
        there.
    report : called with (done, total) as work goes on.
    """
    _check(entrants, games, lanes, first_balls)
    check_range("shots", shots, 8, 100_000)
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
        if report is not None:
            report(done, total)

    fresh = [pattern]
    starts = [
        [_start_line(e, b, pattern, settle, friction, seed) for b in mine]
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
    thrown = np.zeros((games + 1, lanes), dtype=int)
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
        played = play_game(volume, pattern, entrants, lines, game, first_balls=first_balls,
                           transfer=transfer, friction=friction, seed=seed)
        volume = played.volume_ul
        taken += np.bincount(played.entrant, played.taken_ul, len(entrants)) / 1000.0
        laid += np.bincount(played.entrant, played.laid_ul, len(entrants)) / 1000.0
        thrown[game + 1] = thrown[game] + np.bincount(played.lane, minlength=lanes)
        step()
    return TransitionResult(
        pattern=pattern, entrants=entrants, games=games, seed=seed, first_balls=first_balls,
        follow=follow, transfer=transfer, stages=tuple(stages), shots_per_lane=thrown,
        line_ml=line_ml, path_board=paths,
        lane_ml=np.array([[p.total_ml for p in lane] for lane in stages]),
        beyond_ml=np.array([[p.volume_ul[feet:].sum() / 1000.0 for p in lane] for lane in stages]),
        taken_ml=taken, laid_ml=laid, line_boards=line_boards, reactions=tuple(reactions),
        advice=tuple(_advise(e, reactions) for e in entrants[:first]),
    )


def _start_line(
    entrant: Entrant, ball: Ball, pattern: OilPattern, settle: bool, friction: FrictionModel,
    seed: int,
) -> np.ndarray:
    """Release row on the fresh pattern: the ball's best line, or the player's release as it is."""
    player = entrant.player
    if not settle:
        return player.release.row()
    found = find_line(ball, player.release, pattern, player.spread, shots=64, seed=seed,
                      friction=friction, with_map=False)
    return found.release.row()


def _look(
    entrant: Entrant, ball: Ball, start: np.ndarray, patterns: Sequence[OilPattern], games: int,
    standing: Move, shots: int, seed: int, friction: FrictionModel, with_strikes: bool,
) -> Reaction:
    """Look for the best move and the best change of speed, then judge them with fresh shots."""
    search = normal_deviates(shots, 6, seed, stage=Stage.MOVE_SEARCH)
    move = best_move(entrant, start, patterns, standing=standing, ball=ball, friction=friction,
                     shots=shots, seed=seed)
    speed = _best_speed(entrant, ball, start, patterns, friction, search)
    there = moved(start, move)
    quick = start.copy()
    quick[2] += speed
    judge = normal_deviates(shots, 6, seed, stage=Stage.MOVE_JUDGE)
    shot = _thrown(ball, entrant, np.array([start, there, quick]), patterns, judge, friction)
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


def _advise(entrant: Entrant, reactions: Sequence[Reaction]) -> Advice:
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
    return Advice(
        entrant=entrant.name, moves=tuple(moves),
        first_move_games=moves[0][0] if moves else None,
        change_games=change_games, change_to=change_to,
    )


assert GRID_ROWS == k.TRACE_FEET - 1  # a trace sample at both ends of every row of the grid
