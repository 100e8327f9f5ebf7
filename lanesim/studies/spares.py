"""Spare balls rolled on the lane: for every common leave the best line with each ball.

Each ball is thrown the player's usual way and, as many do at spares, straight: the wrist turned
behind the ball (`straight_release`). The mean shot of a grid of lines (laydown, angle) goes down
this oil to the head pin's line; there the pin deck says how often a ball on that board and heading
takes the leave (`pins.spares.SpareMap`). A line's worth is that chance averaged over the grid with
the player's spread of laydown and angle, gutters and all; the best line of each way is then thrown
with the whole spread, and the better way kept.

What a plastic ball is worth: pins per game with the best of all balls at every leave, less the
same without the plastic ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, ClassVar

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError, check_range
from ..lane import geometry as lane
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..lines.throwing import check_nouns
from ..motion import batch, setup
from ..motion import kernels as k
from ..pins.outcomes import pins_from_shots
from ..pins.score import FrameOdds, leave_mask, mean_score, pins_in
from ..pins.spares import SpareMap, default_map, player_spares
from ..pins.table import mirror_mask
from ..player import Release, Spread, sample_releases
from ..progress import Progress, silent
from ..results import Result, Story
from ..streams import Stage, stream
from ..units import FOOT_M

COMMON = ("10", "7", "9", "8", "5", "4", "3-10", "6-10", "4-7", "3-6-10", "2-4-5", "2-8", "4-9",
          "5-7", "8-10", "7-10")
STRAIGHT_ROTATION_DEG = 4.0  # wrist behind the ball (assumption)
STRAIGHT_REVS = 0.6  # share of the usual revs that is left then (assumption)
LAYDOWNS = np.arange(3.0, 37.1, 2.0)
ANGLES_DEG = np.arange(-4.5, 4.51, 0.125)
HEAD_PIN_FT = 60
SHOTS = 192
# First balls behind the leaves: about the pocket, with the player's own spread (assumption).
FIRST_BALL_BOARD, FIRST_BALL_ANGLE_DEG, FIRST_BALL_ANGLE_SD = 17.2, 4.5, 1.0
PLASTIC = "plastic"
_NOWHERE = np.array([[lane.PIT_M + 5.0, 50.0]])  # no pin in the way


@dataclass(frozen=True)
class SpareLine:
    """One leave with one ball: where to stand, where to aim, how often it goes down.

    way : "straight" or "usual". low, high : 95 %, of the shots thrown and the hits simulated; what
    the models get wrong is not in it. arrives_board : mean board on the head pin's line.
    """

    leave: str
    ball: str
    plastic: bool
    way: str
    release: Release
    chance: float
    low: float
    high: float
    arrives_board: float
    arrow_board: float


@dataclass(frozen=True, repr=False)
class SparesResult(Result):
    """The best line for each leave with each ball.

    lines : of every leave and ball, the better way. plastic_worth : pins per game that the plastic
    balls add, with a range from the intervals of the chances; None without a plastic ball or
    without another.
    """

    pattern: str
    hand: str
    spread: Spread
    shots: int
    seed: int
    lines: tuple[SpareLine, ...]
    plastic_worth: tuple[float, float, float] | None = field(default=None)

    _figure: ClassVar[str] = "lanesim.figures.spares:draw_spares"

    def best(self, leave: str) -> SpareLine:
        """The best ball and line for a leave."""
        mine = [x for x in self.lines if x.leave == leave]
        if not mine:
            raise InputError(f"leave {leave} was not among those asked for")
        return max(mine, key=lambda x: x.chance)

    def sentence(self) -> str:
        """The plastic ball's worth in words; empty if there is nothing to say."""
        if self.plastic_worth is None:
            return ""
        value, low, high = self.plastic_worth
        return (f"at spares a plastic ball is worth {value:.1f} pins a game "
                f"({low:.1f} to {high:.1f}) over doing without it")

    def story(self) -> Story:
        """Each leave with its best line."""
        rows = []
        for leave in dict.fromkeys(x.leave for x in self.lines):
            x = self.best(leave)
            rows.append([leave, x.ball, x.way, f"{100 * x.chance:.0f}",
                         f"{x.release.laydown_board:.0f}", f"{x.arrow_board:.1f}",
                         f"{x.arrives_board:.1f}"])
        words = self.sentence()
        return Story(f"Spares on {self.pattern}", (),
                     ["leave", "ball", "way", "made [%]", "stand [board]", "over arrow board",
                      "at the pins"], rows, [f"{words}."] if words else [])

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for files.to_json."""
        return {"pattern": self.pattern, "hand": self.hand, "spread": asdict(self.spread),
                "shots": self.shots, "seed": self.seed, "lines": [asdict(x) for x in self.lines],
                "plastic_worth": self.plastic_worth}


def straight_release(release: Release) -> Release:
    """The player's release with the wrist behind the ball (assumption: see the constants)."""
    return replace(release, rotation_deg=min(STRAIGHT_ROTATION_DEG, abs(release.rotation_deg)),
                   rev_rpm=STRAIGHT_REVS * release.rev_rpm)


def at_head_pin(
    ball: Ball, releases: np.ndarray, pattern: OilPattern, hand: str, friction: FrictionModel,
    film: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """(board, heading [deg]) of shots (n, 7) on the head pin's line; NaN where in a gutter."""
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp, friction=friction)
    result = batch.run(
        setup.shot_matrix(releases), np.zeros(len(releases), np.int64),
        np.array([ball.inertia.pap_body]), par[None], film, _NOWHERE, keep_traces=True)
    end = result.traces[:, HEAD_PIN_FT]
    return end[:, k.T_Y] / lane.BOARD_M + 0.5, np.degrees(end[:, k.T_HEADING])


def spares(
    balls: Sequence[Ball],
    release: Release,
    pattern: OilPattern,
    spread: Spread,
    *,
    leaves: Sequence[str] = COMMON,
    shots: int = SHOTS,
    seed: int = 1,
    friction: FrictionModel = DEFAULT_FRICTION,
    film: np.ndarray | None = None,
    progress: Progress = silent,
) -> SparesResult:
    """Best line of each ball for each leave on a pattern.

    Parameters
    ----------
    leaves : as bowlers write them ('3-10'), from the player's side: a left-hander's own corner pin
        is the 7.
    shots : thrown with the player's spread on each ball's best line for each leave.
    film : (60, 39) oil [m] in the player's board order in place of the fresh pattern's.

    Raises
    ------
    InputError
        for no ball or leave, or a leave that the pin deck's map does not have.
    """
    balls = list(balls)
    if not balls or not leaves:
        raise InputError("no ball or no leave given; accepted: one or more of each")
    check_nouns(balls, release, pattern, spread)
    check_range("shots", shots, 16, 100_000)
    deck = default_map()
    oil = pattern.film_m(release.hand) if film is None else film
    masks = {}
    for name in leaves:
        mask = leave_mask(name)
        # boards are counted from the player's side: the rack seen from there is mirrored
        masks[name] = int(mirror_mask(mask)) if release.hand == "left" else mask
        if deck.index(masks[name]) is None:
            raise InputError(f"leave {name} is not among the {len(deck.masks)} simulated ones")
    found: list[SpareLine] = []
    for number, ball in enumerate(balls):
        tried = {}
        for way, base in (("straight", straight_release(release)), ("usual", release)):
            progress(number, len(balls))
            tried[way] = base, _grid(ball, base, pattern, spread, friction, oil, seed)
        for name, mask in masks.items():
            both = []
            for way, (base, (board, heading, extra)) in tried.items():
                i, j = _best_on_grid(deck, mask, board, heading, extra, spread)
                line = replace(base, laydown_board=float(LAYDOWNS[i]),
                               launch_angle_deg=float(ANGLES_DEG[j]))
                both.append(_thrown(ball, line, way, name, mask, deck, pattern, spread, shots,
                                    seed, friction, oil))
            found.append(max(both, key=lambda x: x.chance))
    worth = _plastic_worth(found, spread, release.hand)
    return SparesResult(pattern.name, release.hand, spread, shots, seed, tuple(found), worth)


def _grid(ball, base: Release, pattern, spread: Spread, friction, oil, seed
          ) -> tuple[np.ndarray, np.ndarray, float]:
    """(laydowns, angles) boards and headings of the mean shot; SD [boards] that speed, revs and
    rotation add, as on a line through the middle of the lane.
    """
    rows = np.tile(base.row(), (len(LAYDOWNS) * len(ANGLES_DEG), 1))
    rows[:, 0] = np.repeat(LAYDOWNS, len(ANGLES_DEG))
    rows[:, 1] = np.tile(ANGLES_DEG, len(LAYDOWNS))
    board, heading = at_head_pin(ball, rows, pattern, base.hand, friction, oil)
    shape = len(LAYDOWNS), len(ANGLES_DEG)
    board, heading = board.reshape(shape), heading.reshape(shape)
    i = len(LAYDOWNS) // 2
    arrives = np.where(np.isfinite(board[i]), np.abs(board[i] - 20.0), np.inf)
    line = replace(base, laydown_board=float(LAYDOWNS[i]),
                   launch_angle_deg=float(ANGLES_DEG[int(np.argmin(arrives))]))
    rest = replace(spread, sd_laydown_board=0.0, sd_angle_deg=0.0)
    some, _ = at_head_pin(ball, sample_releases(line, rest, 64, seed), pattern, base.hand,
                          friction, oil)
    extra = float(np.nanstd(some)) if np.isfinite(some).any() else 0.0
    return board, heading, extra


def _best_on_grid(deck: SpareMap, mask: int, board, heading, extra: float, spread: Spread
                  ) -> tuple[int, int]:
    """Numbers of the laydown and angle that make the leave most often under the spread."""
    from scipy.ndimage import gaussian_filter

    z = np.linspace(-1.8, 1.8, 5)
    weight = np.exp(-0.5 * z * z)
    weight /= weight.sum()
    total = np.zeros(board.shape)
    for step, share in zip(z, weight, strict=True):
        at = (board + step * extra).ravel()
        total += share * deck.chance(mask, at, heading.ravel()).reshape(board.shape)
    steps = LAYDOWNS[1] - LAYDOWNS[0], ANGLES_DEG[1] - ANGLES_DEG[0]
    total = gaussian_filter(total, (spread.sd_laydown_board / steps[0],
                                    spread.sd_angle_deg / steps[1]), mode="nearest")
    i, j = np.unravel_index(int(np.argmax(total)), total.shape)
    return int(i), int(j)


def _thrown(ball, line: Release, way, name, mask, deck: SpareMap, pattern, spread, shots, seed,
            friction, oil) -> SpareLine:
    rows = sample_releases(line, spread, shots, seed)
    board, heading = at_head_pin(ball, rows, pattern, line.hand, friction, oil)
    chance = deck.chance(mask, board, heading)
    mean = float(chance.mean())
    there = np.isfinite(board)
    wide = 3.54 * max(float(np.nanstd(board)) if there.any() else 1.0, 0.5)
    # simulated balls behind the answer: those on the boards where it arrives, on about its heading
    balls = deck.counts[0].sum() / 40.0 * wide * 0.27
    sd = float(np.sqrt(chance.var() / shots + mean * (1.0 - mean) / max(balls, 1.0)))
    slope = np.tan(np.radians(line.launch_angle_deg)) / lane.BOARD_M
    arrow = line.laydown_board
    for _ in range(5):  # the arrows lie nearer at the edges
        arrow = line.laydown_board + slope * FOOT_M * lane.arrow_distance_ft(
            min(max(arrow, 1.0), 39.0))
    return SpareLine(
        leave=name, ball=ball.name, plastic=ball.cover.kind == PLASTIC, way=way, release=line,
        chance=mean, low=max(mean - 1.96 * sd, 0.0), high=min(mean + 1.96 * sd, 1.0),
        arrives_board=float(np.nanmean(board)) if there.any() else float("nan"),
        arrow_board=float(arrow))


def _plastic_worth(lines: Sequence[SpareLine], spread: Spread, hand: str
                   ) -> tuple[float, float, float] | None:
    """Pins per game of the best of all balls less the best of the others; low and high."""
    plastic = [x for x in lines if x.plastic]
    others = [x for x in lines if not x.plastic]
    if not plastic or not others:
        return None
    rng = stream(Stage.SPARE_FIRST_BALLS, 0)
    n = 4000
    usual = player_spares(spread)
    first = pins_from_shots(
        rng.normal(FIRST_BALL_BOARD, max(usual.spread_boards, 0.5), n),
        rng.normal(FIRST_BALL_ANGLE_DEG, FIRST_BALL_ANGLE_SD, n), np.full(n, 16.5), spares=usual)

    def game(pick: Sequence[SpareLine]) -> tuple[float, float]:
        best: dict[int, SpareLine] = {}
        for x in pick:
            mask = leave_mask(x.leave)
            if hand == "left":  # first balls are told in the player's boards
                mask = int(mirror_mask(mask))
            if mask not in best or x.chance > best[mask].chance:
                best[mask] = x
        odds = FrameOdds.from_leaves(
            first.masks, first.probabilities,
            lambda m: best[m].chance if m in best else usual.conversion(m), usual.miss_counts)
        # what one SD of the chances moves, leaves apart
        share = dict(zip(first.masks.tolist(), first.probabilities.tolist(), strict=True))
        var = sum((share.get(m, 0.0) * (x.high - x.low) / 3.92 * 10.0 * (
            pins_in(m) + 10.0 * odds.strike)) ** 2 for m, x in best.items())
        return mean_score(odds), var

    (all_, var_all), (rest, var_rest) = game(lines), game(others)
    half = 1.96 * float(np.sqrt(var_all + var_rest))
    value = all_ - rest
    return value, max(value - half, 0.0), value + half

