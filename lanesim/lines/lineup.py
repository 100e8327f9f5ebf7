"""Lining up: where to stand and which way to send the ball, given how well a player repeats.

`find_line` and `find_lines` are the search of `search.find` on nouns, the line found then judged on
fresh shots, which the search has not seen: the rate carries no winner's luck. Equal seeds give the
same deviates to every ball (common random numbers).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..defaults import SEED
from ..equipment.ball import Ball
from ..errors import InputError
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..player import Release, Spread
from ..progress import Progress, silent
from ..stats import wilson
from .effort import Effort, effort_of
from .judge import DEFAULT_SHOTS, Line, LineResult, check_shots, judged, judged_line
from .plane import ANGLE_RANGE, LAYDOWN_RANGE, Plane, board_at_arrows
from .rate_map import rate_map
from .search import Found, find
from .throwing import Thrower, check_nouns
from .worth import Objective, Worth, worth_of

__all__ = ["ANGLE_RANGE", "LAYDOWN_RANGE", "board_at_arrows", "find_line", "find_lines"]

_SPEED_OFFSETS_MPH = (-2.0, -1.0, 0.0, 1.0, 2.0)
_SPEEDS_MPH = (8.0, 32.0)
_OTHERS_BOARDS = 3.0  # between two lines that are told apart
_OTHERS_SHARE = 0.5  # of the best rating: what is rated lower is not told


def find_line(
    ball: Ball,
    release: Release,
    pattern: OilPattern,
    spread: Spread,
    *,
    shots: int = DEFAULT_SHOTS,
    seed: int = SEED,
    friction: FrictionModel = DEFAULT_FRICTION,
    aim: str | Worth | Objective = "pocket",
    effort: str | Effort = "thorough",
    search_speed: bool = False,
    laydown_range: tuple[float, float] = LAYDOWN_RANGE,
    angle_range: tuple[float, float] = ANGLE_RANGE,
    with_map: bool = True,
    judge_others: int = 0,
    progress: Progress = silent,
    film: np.ndarray | None = None,
) -> LineResult:
    """The laydown board and launch angle (and speed) with the highest rate under a spread.

    Parameters
    ----------
    release : the player's speed, rev rate, rotation, tilt and hand; its laydown and angle play no
        part.
    shots : shots of the final judgement, which alone gives the reported rate.
    aim : what to make as large as possible, see `worth.worth_of`. effort : see `effort.EFFORTS`.
    search_speed : also vary the speed, 2 mph either way.
    laydown_range : boards, within 1..39 (default 6..35, assumed); angle_range : degrees.
    with_map : also the map of rates over the plane (some 4,000 more shots).
    judge_others : how many of the other lines are judged on `shots` shots each, too.
    film : (60, 39) [m] in the player's board order, instead of the pattern's fresh oil.
    progress : called with (steps done, steps).
    """
    check_nouns([ball], release, pattern, spread)
    shots, effort = check_shots(shots), effort_of(effort)
    worth, plane = worth_of(aim), Plane(laydown_range, angle_range)
    speeds = np.array([release.speed_mph])
    if search_speed:
        tried = release.speed_mph + np.array(_SPEED_OFFSETS_MPH)
        speeds = tried[(tried >= _SPEEDS_MPH[0]) & (tried <= _SPEEDS_MPH[1])]
    thrower = _thrower([ball] * len(speeds), release, pattern, spread, friction, film)
    thrower.releases = thrower.releases.copy()
    thrower.releases[:, 2] = speeds
    found = find(thrower, worth, effort=effort, seed=seed, plane=plane,
                 group=np.zeros(len(speeds), dtype=int), progress=progress)
    which = int(found.which[0])
    line = replace(_along(release, found.lines[0]), speed_mph=float(speeds[which]))
    result = judged(thrower, [ball], [line], pattern, worth, shots, seed, which=[which],
                    searched=found.searched)[0]
    others = _others(found, speeds, effort.first)
    if judge_others:
        again = [judged_line(thrower, int(np.argmin(np.abs(speeds - other.speed_mph))), other,
                             result, worth) for other in others[:judge_others]]
        others = tuple(sorted(again, key=lambda a: -a.rate))
    result = replace(result, alternatives=others)
    if with_map:
        axes = rate_map(thrower, which, plane, worth, found.first)
        result = replace(result, map_laydown=axes[0], map_angle=axes[1], map_rate=axes[2])
    return result


def find_lines(
    balls: Sequence[Ball],
    release: Release,
    pattern: OilPattern,
    spread: Spread,
    *,
    shots: int = DEFAULT_SHOTS,
    seed: int = SEED,
    friction: FrictionModel = DEFAULT_FRICTION,
    aim: str | Worth | Objective = "pocket",
    effort: str | Effort = "thorough",
    progress: Progress = silent,
    film: np.ndarray | None = None,
) -> list[LineResult]:
    """The best line of each of several balls, as `find_line` finds it (no map, no other lines)."""
    shots = check_shots(shots)
    worth = worth_of(aim)
    thrower = _thrower(balls, release, pattern, spread, friction, film)
    found = find(thrower, worth, effort=effort_of(effort), seed=seed, progress=progress)
    releases = [_along(release, line) for line in found.lines]
    return judged(thrower, balls, releases, pattern, worth, shots, seed,
                  searched=found.searched // len(balls))


def _thrower(
    balls: Sequence[Ball], release: Release, pattern: OilPattern, spread: Spread,
    friction: FrictionModel, film: np.ndarray | None,
) -> Thrower:
    thrower = Thrower.of(balls, release, pattern, spread, friction=friction, film=film)
    if not thrower.film.any():
        raise InputError(
            f"oil pattern '{pattern.name}' is all dry: there is no line to find on a lane "
            "without oil; accepted: a pattern with oil on at least one board"
        )
    return thrower


def _along(release: Release, line: np.ndarray) -> Release:
    return replace(release, laydown_board=float(line[0]), launch_angle_deg=float(line[1]))


def _others(found: Found, speeds: np.ndarray, shots: int) -> tuple[Line, ...]:
    """Other lines, each so many boards or more from the best and every better one, best first.

    shots : behind each rating.
    """
    rated = found.rated
    taken = [found.lines[0, 0]]
    out = []
    for i in np.argsort(-rated.worth, kind="stable"):
        if rated.worth[i] < _OTHERS_SHARE * rated.worth.max():
            break
        if np.all(np.abs(np.array(taken) - rated.lines[i, 0]) >= _OTHERS_BOARDS):
            taken.append(rated.lines[i, 0])
            span = wilson(min(1.0, max(0.0, rated.worth[i])) * shots, shots)
            laydown, angle = map(float, rated.lines[i])
            out.append(Line(laydown, angle, float(speeds[rated.which[i]]),
                            span.rate, span.low, span.high))
    return tuple(out)
