"""A player's own repeatability from a shots file, and the player file that carries it.

Shots of one game with one ball on one pattern are compared with their own mean, so that moves
between games, balls and patterns do not count as spread. A drift WITHIN a game does (a player who
follows the oil board by board looks less steady than he is).

The readings vary by the player's own spread s and by the measuring error R, which is stated:
sum of squares ~ (s^2 + R) chi^2 with the degrees of freedom. s cannot be told from a measuring that
is as coarse, and hardly from a few shots; so it starts from the assumed spread (a level's), known
within a factor e^0.5 either way (one SD; ASSUMED: levels differ by as much), and the shots narrow
that down. With many shots and no measuring error this is the textbook's interval.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..lane.geometry import BOARD_M, arrow_distance_ft
from ..player import LEVELS, SPREAD_LIMITS, Release, Spread, check_hand
from ..units import FOOT_M
from .parameters import measuring_sds
from .shots_file import ShotLog

# release column -> key of release.Spread
SPREAD_KEYS = {
    "laydown_board": "sd_laydown_board", "launch_angle_deg": "sd_angle_deg",
    "speed_mph": "sd_speed_mph", "rev_rpm": "sd_rev_rpm", "rotation_deg": "sd_rotation_deg",
    "tilt_deg": "sd_tilt_deg",
}
PRIOR_LOG_SD = 0.5  # of the logarithm of a spread about the assumed one; assumed
_FACTOR = 20.0  # spreads looked at: from a twentieth of the assumed one to twenty times it
_GRID = 4001
_SMALLEST = 0.01  # of the largest accepted spread, where the assumed one is 0
HARDLY = 0.8  # width against the assumed one's, above which the shots hardly tell a spread


@dataclass(frozen=True)
class ColumnSpread:
    """Spread of one release column.

    Attributes
    ----------
    mean : over all shots. seen : standard deviation within games, NaN if there is none. measuring :
    stated SD of the measuring. sd, low, high : the player's own spread, middle and 95 % interval.
    freedom : degrees of freedom. estimated : False where nothing was measured and all three are the
    assumed ones. told : width of the interval against the assumed one's, 1 where the shots say
    nothing.
    """

    mean: float
    seen: float
    measuring: float
    sd: float
    low: float
    high: float
    freedom: int
    estimated: bool
    told: float


@dataclass(frozen=True)
class OwnSpread:
    """A player's usual release and spread.

    columns : release column -> ColumnSpread. laydown_angle_correlation : within games, NaN if not
    measured; `Spread` has no place for it: strongly positive or negative means that the player
    aims at a target, and the true spread down the lane is smaller than the two SDs suggest.
    """

    source: str
    shots: int
    groups: int
    hand: str
    assumed: str
    columns: Mapping[str, ColumnSpread]
    laydown_angle_correlation: float

    @property
    def spread(self) -> Spread:
        """For sample_releases; columns that were not measured have the assumed spread."""
        return Spread(**{SPREAD_KEYS[n]: round(c.sd, 4) for n, c in self.columns.items()})

    @property
    def release(self) -> Release:
        """The mean release."""
        return Release(**{n: round(c.mean, 4) for n, c in self.columns.items()}, hand=self.hand)

    def player_text(self, name: str = "player") -> str:
        """A player file (TOML) for catalog.load_player."""
        release, spread = self.release, self.spread
        guessed = [n for n, c in self.columns.items() if not c.estimated]
        source = (f"{self.shots} shot{'' if self.shots == 1 else 's'} ({self.source}), starting "
                  f"from {self.assumed}"
                  + (f"; that alone for {', '.join(guessed)}" if guessed else ""))
        lines = ["# Written by `lanesim fit`: means and spread of the player's own shots.",
                 f"name = {json.dumps(name, ensure_ascii=False)}", f'hand = "{self.hand}"']
        lines += [f"{n} = {float(getattr(release, n))!r}" for n in self.columns]
        lines += ["spread_source = " + json.dumps(source, ensure_ascii=False), "", "[spread]"]
        lines += [f"{key} = {float(getattr(spread, key))!r}" for key in SPREAD_KEYS.values()]
        return "\n".join(lines) + "\n"

    def cannot_tell(self) -> list[str]:
        """What the shots do not tell, a sentence each."""
        nothing = [n for n, c in self.columns.items() if not c.estimated]
        hardly = [n for n, c in self.columns.items() if c.estimated and c.told > HARDLY]
        out = []
        if nothing:
            out.append(f"the shots say nothing of how much {', '.join(nothing)} varies: taken from "
                       f"{self.assumed}")
        if hardly:
            out.append(f"the shots hardly tell how much {', '.join(hardly)} varies (too few shots "
                       f"of a game, or the measuring is as coarse): mostly taken from "
                       f"{self.assumed}")
        return out

    def to_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return {
            "source": self.source, "shots": self.shots, "groups": self.groups, "hand": self.hand,
            "assumed": self.assumed, "cannot_tell": self.cannot_tell(),
            "laydown_angle_correlation": self.laydown_angle_correlation,
            "columns": {n: vars(c) for n, c in self.columns.items()},
        }


def spread_interval(
    total: float, freedom: int, *, measuring: float, assumed: float, most: float,
    log_sd: float = PRIOR_LOG_SD,
) -> tuple[float, float, float, float]:
    """Middle and 95 % interval of a spread, and its width against the assumed one's.

    Parameters
    ----------
    total : sum of squares about the means of the games; freedom : its degrees of freedom.
    measuring : SD of the measuring; assumed : the spread to start from, with `log_sd` about its
        logarithm; most : the largest spread that is accepted.

    Returns
    -------
    sd, low, high : the 50, 2.5 and 97.5 % points of the posterior over s,
        p(s) ~ N(ln s; ln assumed, log_sd^2) (s^2 + R)^(-freedom/2) exp(-total/(2 (s^2 + R))).
    told : SD of ln s over that of the prior.
    """
    x = np.linspace(math.log(assumed / _FACTOR), math.log(min(assumed * _FACTOR, most)), _GRID)
    prior = -0.5 * ((x - math.log(assumed)) / log_sd) ** 2
    variance = np.exp(2.0 * x) + measuring**2
    found = []
    for score in (prior, prior - 0.5 * freedom * np.log(variance) - 0.5 * total / variance):
        weight = np.exp(score - score.max())
        weight /= weight.sum()
        mean = float(weight @ x)
        found.append((weight, math.sqrt(float(weight @ (x - mean) ** 2))))
    (_, before), (weight, after) = found
    passed = np.cumsum(weight) - 0.5 * weight
    middle, low, high = np.exp(np.interp([0.5, 0.025, 0.975], passed, x)).tolist()
    return middle, low, high, after / before


def estimate_spread(
    log: ShotLog, *, hand: str = "right", spread: Spread | None = None,
    assumed: str = "assumed level 200", usual: Release | None = None,
    measurement_sd: Mapping[str, float] | None = None,
) -> OwnSpread:
    """Means and standard deviations of the release columns, drift between games removed.

    Parameters
    ----------
    spread : what a player of whom nothing is known has (assumed; default: level "200"); `assumed`
        says so in words.
    usual : release that stands in (assumed) for columns that were never measured.
    measurement_sd : stated measuring SDs (parameters.measuring_sds).

    Where only the arrow board was measured the launch angle is that of the straight line from
    laydown to arrow: its mean is a little off (the ball bends before the arrows), its spread not.
    """
    check_hand(hand)
    spread = spread or LEVELS["200"]
    usual = usual or Release(hand=hand)
    sd = measuring_sds(measurement_sd)
    keys = list(zip(log.game, log.ball, log.pattern, strict=True))
    names = sorted(set(keys))
    group = np.array([names.index(key) for key in keys])
    most = dict(zip(SPREAD_KEYS.values(), SPREAD_LIMITS, strict=True))
    columns: dict[str, ColumnSpread] = {}
    within: dict[str, np.ndarray] = {}
    for name, key in SPREAD_KEYS.items():
        values, noise = log.column(name), sd[name]
        if name == "launch_angle_deg" and not np.isfinite(values).any():
            values, noise = _straight_angle(log, sd)
        known = np.isfinite(values)
        off = np.full(len(log), np.nan)
        for g in range(len(names)):
            mine = known & (group == g)
            if mine.any():
                off[mine] = values[mine] - values[mine].mean()
        within[name] = off
        freedom = int(known.sum()) - len(set(group[known].tolist()))
        mean = float(values[known].mean()) if known.any() else float(getattr(usual, name))
        total = float(np.nansum(off**2))
        seen = math.sqrt(total / freedom) if freedom > 0 else math.nan
        found = spread_interval(total, max(freedom, 0), measuring=noise,
                                assumed=float(getattr(spread, key)) or _SMALLEST * most[key],
                                most=most[key])
        columns[name] = ColumnSpread(mean, seen, noise, *found[:3], max(freedom, 0), freedom > 0,
                                     found[3])
    both = np.isfinite(within["laydown_board"]) & np.isfinite(within["launch_angle_deg"])
    correlation = math.nan
    if both.sum() > 3:
        pair = np.array([within["laydown_board"][both], within["launch_angle_deg"][both]])
        if np.all(pair.std(axis=1) > 0):
            correlation = float(np.corrcoef(pair)[0, 1])
    return OwnSpread(log.source, len(log), len(names), hand, assumed, columns, correlation)


def _straight_angle(log: ShotLog, sd: Mapping[str, float]) -> tuple[np.ndarray, float]:
    """Angle [deg] of the line from laydown to arrow, and the measuring SD that it inherits."""
    arrow, laydown = log.column("arrow_board"), log.column("laydown_board")
    feet = np.array([arrow_distance_ft(min(max(b, 1.0), 39.0)) if math.isfinite(b) else math.nan
                     for b in arrow])
    angle = np.degrees(np.arctan2((arrow - laydown) * BOARD_M, feet * FOOT_M))
    known = feet[np.isfinite(feet)]
    reach = float(known.mean()) if len(known) else 15.0
    noise = math.degrees(math.hypot(sd["arrow_board"], sd["laydown_board"]) * BOARD_M
                         / (reach * FOOT_M))
    return angle, noise
