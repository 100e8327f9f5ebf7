"""Two balls thrown side by side, new against old: what differs, how surely, what would settle it.

Both balls are fitted together on the same shots file (`fit.fit_shots`), each with its own cover
parameters, the lane and the measuring in common. A difference is a function g of all parameters;
its variance is grad g^T C grad g with the fit's covariance C.

Boards are compared over the releases actually thrown, each ball on all of them, and so is the
gradient: at one release alone it is as bumpy as the oil, and the difference itself changes from
line to line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError, check_range, nearest_name
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..motion import kernels as k
from ..motion.trajectory import throw_parameters
from ..player import Release, Spread
from ..units import MICRON_M
from .posterior import NORMAL_95, loss_weight, robust_constants
from .result import FitResult
from .shot_model import STEP_Z, ShotModel
from .shots_file import ShotLog
from .spreading import aimed_releases

NORMAL_80 = 0.8416212335729143  # one-sided normal point of a power of 80 %
MOST_RELEASES = 256  # thrown with both balls, for the mean boards
MOST_MORE = 5000  # beyond this many more shots the answer is "not by more of the same shots"


@dataclass(frozen=True)
class BallDifference:
    """One difference, second ball minus first.

    Attributes
    ----------
    first, second, difference, low, high : values and 95 % interval of the difference, in `unit`.
    settled : whether the interval leaves out zero.
    more_shots : how many more shots (both balls together, same mix, same measuring) would leave
        out zero with a chance of 80 %, if the difference is as estimated; 0 if settled, None if
        no number up to 5000 would.
    """

    name: str
    unit: str
    first: float
    second: float
    difference: float
    low: float
    high: float
    settled: bool
    more_shots: int | None


@dataclass(frozen=True)
class SideBySide:
    """Two balls on the releases thrown, on one pattern.

    differences : dry friction, roughness, mean board at 59 ft. releases : how many releases the
    boards are averaged over. more_shots_for_boards : more shots until the 95 % interval of the
    boards' difference is within +-`within_boards`, or None.
    """

    first: str
    second: str
    pattern: str
    shots: tuple[int, int]
    releases: int
    differences: tuple[BallDifference, ...]
    within_boards: float
    more_shots_for_boards: int | None

    def to_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return {"first": self.first, "second": self.second, "pattern": self.pattern,
                "shots": list(self.shots), "releases": self.releases,
                "within_boards": self.within_boards,
                "more_shots_for_boards": self.more_shots_for_boards,
                "differences": [vars(d) for d in self.differences]}


def compare_balls(
    result: FitResult, log: ShotLog, balls: Mapping[str, Ball],
    patterns: Mapping[str, OilPattern], first: str, second: str, *,
    usual: Release | None = None, spread: Spread | None = None, pattern: str | None = None,
    friction: FrictionModel = DEFAULT_FRICTION,
    within_boards: float = 1.0,
) -> SideBySide:
    """Differences between two fitted balls.

    Parameters
    ----------
    result : of fit_shots on `log` with the same balls, patterns, usual release, spread and friction
        model.
    pattern : on which, as laid; default the one most shots were thrown on. The boards are those of
        the releases thrown with either ball on it (fitted offsets added), MOST_RELEASES of them at
        the most; releases that either ball takes into the gutter are left out for both.

    Raises
    ------
    InputError
        for a ball without shots or without parameters of its own in the fit; if no release brings
        both balls to the pins.
    """
    check_range("boards", within_boards, 0.05, 20)
    thrown = [result.shot_ball.count(name) for name in (first, second)]
    for name, count in zip((first, second), thrown, strict=True):
        if name not in balls:
            raise nearest_name(name, set(log.ball), "ball")
        if count == 0:
            raise InputError(f"no shot of ball '{name}' in {log.source}; thrown were: "
                             f"{', '.join(sorted(set(log.ball)))}")
    if first == second:
        raise InputError(f"both balls are '{first}'; a comparison needs two")
    if not any(t.kind.startswith("ball_") for t in result.terms):
        raise InputError("the fit has no ball parameter; add ball_friction to --params")
    pattern = pattern or max(sorted(set(log.pattern)), key=log.pattern.count)
    if pattern not in set(log.pattern):
        raise nearest_name(pattern, set(log.pattern), "pattern in the shots")
    pair = (first, second)
    mine = np.array([b in pair and p == pattern
                     for b, p in zip(log.ball, log.pattern, strict=True)])
    if not mine.any():
        raise InputError(f"neither '{first}' nor '{second}' was thrown on '{pattern}'")
    model = ShotModel(log, balls, patterns, result.terms, hand=result.hand, usual=usual,
                      friction=friction, measurement_sd=result.measurement_sd, spread=spread)
    film = patterns[pattern].film_m(result.hand)
    which_shots = np.flatnonzero(mine)
    if len(which_shots) > MOST_RELEASES:
        few = np.linspace(0, len(which_shots) - 1, MOST_RELEASES).round().astype(int)
        which_shots = which_shots[few]
    thrown_x = (aimed_releases(model, result.z).x - model.offsets(result.z))[which_shots]
    paps = np.array([balls[n].inertia.pap_body for n in pair])

    def cover(z: np.ndarray) -> np.ndarray:
        """(2, 2): dry friction and roughness [um] of both balls at z."""
        pars = np.array([model.parameter_vector(z, n, pattern) for n in pair])
        lane = friction.lane_roughness_um * model.values(z).get(("lane_roughness", ""), 1.0)
        rough = np.sqrt(np.maximum((pars[:, k.P_SIGMA] / MICRON_M) ** 2 - lane**2, 0.0))
        return np.array([pars[:, k.P_MU_DRY], rough])

    def boards(z: np.ndarray) -> np.ndarray:
        """(releases, 2): board at 59 ft at z, NaN where the ball does not get there."""
        pars = np.array([model.parameter_vector(z, n, pattern) for n in pair])
        rows = np.zeros((2 * len(thrown_x), 7))
        rows[:, :6] = np.repeat(thrown_x + model.offsets(z)[which_shots], 2, axis=0)
        which = np.tile(np.arange(2), len(thrown_x))
        table = throw_parameters(paps, pars, rows, film, which=which, keep_paths=True)
        assert table.path_board is not None
        return table.path_board[:, 59].reshape(-1, 2)

    count = len(model.terms)
    steps = np.concatenate([np.zeros((1, count)), STEP_Z * np.eye(count), -STEP_Z * np.eye(count)])
    covers = np.array([cover(result.z + s) for s in steps])
    paths = np.array([boards(result.z + s) for s in steps])
    # the same releases at both ends of every step: those that bring both balls down each time
    whole = np.isfinite(paths).all(axis=(0, 2))
    if not whole.any():
        raise InputError(f"no release in {log.source} brings both '{first}' and '{second}' to the "
                         f"pins on '{pattern}'; their boards cannot be compared")
    means = paths[:, whole].mean(axis=1)
    each = np.concatenate([covers, means[:, None, :]], axis=1)
    here = each[0]
    gaps = each[:, :, 1] - each[:, :, 0]
    slope = (gaps[1:count + 1] - gaps[count + 1:]).T / (2 * STEP_Z)
    width = _Width(result, np.array([b in pair for b in result.shot_ball]))
    out = []
    for row, (name, unit) in enumerate((("dry friction", ""), ("roughness", "um"),
                                        ("mean board at 59 ft", "boards"))):
        gap = float(here[row, 1] - here[row, 0])
        sd = math.sqrt(max(float(slope[row] @ result.covariance @ slope[row]), 0.0))
        settled = abs(gap) > NORMAL_95 * sd
        more = 0 if settled else width.shots_until(slope[row],
                                                   abs(gap) / (NORMAL_95 + NORMAL_80))
        out.append(BallDifference(name, unit, float(here[row, 0]), float(here[row, 1]), gap,
                                  gap - NORMAL_95 * sd, gap + NORMAL_95 * sd, settled, more))
    return SideBySide(first, second, pattern, (thrown[0], thrown[1]), int(whole.sum()), tuple(out),
                      within_boards, width.shots_until(slope[2], within_boards / NORMAL_95))


class _Width:
    """How the SD of a difference shrinks as more shots of the two balls come in.

    Shots are taken to carry as much information, on average, as those already thrown.
    """

    def __init__(self, result: FitResult, mine: np.ndarray) -> None:
        bend, _ = robust_constants(result.loss_scale)
        noise = result.noise if result.inflated else 1.0
        # the posterior's own precision, and what the tangent says one more shot adds to it
        self.here = np.linalg.inv(result.covariance)
        self.per_shot = (loss_weight(result.loss_scale) * bend / noise**2
                         * result.shot_information[mine].mean(axis=0))

    def sd(self, slope: np.ndarray, more: int) -> float:
        return math.sqrt(float(slope @ np.linalg.solve(self.here + more * self.per_shot, slope)))

    def shots_until(self, slope: np.ndarray, target: float) -> int | None:
        """Fewest more shots for an SD of at most `target`, or None beyond MOST_MORE."""
        if self.sd(slope, 0) <= target:
            return 0
        if self.sd(slope, MOST_MORE) > target:
            return None
        low, high = 0, MOST_MORE
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self.sd(slope, middle) <= target else (middle, high)
        return high
