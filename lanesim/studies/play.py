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

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError, check_range
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import BOARD_M, BOARDS, CELL_AREA_M2, GRID_ROWS
from ..lane.pattern import OilPattern
from ..motion import kernels as k
from ..motion import setup
from ..motion.compiled import batch_kernel
from ..motion.trajectory import throw_many
from ..player import Player
from ..streams import Stage, stream
from ..units import UL_M3

FRAMES = 10
FIRST_BALLS = 11
LINE_HALF_WIDTH = 2.5  # boards on either side of the path that count as the line of play


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

    ball: Ball
    player: Player
    name: str = ""

    def __post_init__(self) -> None:
        if not self.name:
            object.__setattr__(self, "name", self.player.name)


# --- playing ------------------------------------------------------------------------------------


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
    entrants: Sequence[Entrant],
    lines: Sequence[np.ndarray],
    volume_ul: np.ndarray,
    pattern: OilPattern,
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
        spread[:, :6] = entrant.player.spread.deviations(
            rng.standard_normal((len(mine), 6)))
        releases[mine] = lines[i] + spread
    return throw_in_turn(
        volume_ul, pattern.viscosity_cp, [e.ball for e in entrants],
        [e.player.release.hand == "left" for e in entrants], releases, who, where,
        transfer=transfer, friction=friction,
    )


# --- oil along a line ---------------------------------------------------------------------------


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
    assert table.path_board is not None  # asked for
    path = table.path_board[0]
    last = int(np.flatnonzero(np.isfinite(path))[-1])
    return np.where(np.arange(len(path)) <= last, path, path[last])


def oriented(volume_ul: np.ndarray, hand: str) -> np.ndarray:
    """Volumes in the player's board order."""
    return volume_ul if hand == "right" else volume_ul[..., ::-1]


assert GRID_ROWS == k.TRACE_FEET - 1  # a trace sample at both ends of every row of the grid
