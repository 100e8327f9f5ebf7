"""A player's own repeatability from a shots file, and the player file that carries it.

Shots of one game with one ball on one pattern are compared with their own mean, so that moves
between games, balls and patterns do not count as spread. A drift WITHIN a game does (a player who
follows the oil board by board looks less steady than he is).
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..catalog import named_spread
from ..errors import InputError
from ..lane.geometry import BOARD_M, arrow_distance_ft
from ..player import Release, Spread, check_hand
from ..units import FOOT_M
from .shot_model import measuring_sds
from .shots_file import ShotLog

# release column -> key of release.Spread
SPREAD_KEYS = {
    "laydown_board": "sd_laydown_board", "launch_angle_deg": "sd_angle_deg",
    "speed_mph": "sd_speed_mph", "rev_rpm": "sd_rev_rpm", "rotation_deg": "sd_rotation_deg",
    "tilt_deg": "sd_tilt_deg",
}
_LEAST_FREEDOM = 4


@dataclass(frozen=True)
class ColumnSpread:
    """Spread of one release column.

    Attributes
    ----------
    mean : over all shots. seen : standard deviation within games. measuring : stated SD of the
    measuring. sd : sqrt(seen^2 - measuring^2), 0 if the measuring explains all of it; low, high :
    its 95 % interval (chi-square interval of `seen`, less the measuring). freedom : degrees of
    freedom. estimated : False where too little was measured and `sd` is the assumed level's.
    """

    mean: float
    seen: float
    measuring: float
    sd: float
    low: float
    high: float
    freedom: int
    estimated: bool


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
    level: str
    columns: Mapping[str, ColumnSpread]
    laydown_angle_correlation: float

    @property
    def spread(self) -> Spread:
        """For sample_releases; columns that were not measured have the assumed level's SD."""
        return Spread(**{SPREAD_KEYS[n]: round(c.sd, 4) for n, c in self.columns.items()})

    @property
    def release(self) -> Release:
        """The mean release."""
        return Release(**{n: round(c.mean, 4) for n, c in self.columns.items()}, hand=self.hand)

    def player_text(self, name: str = "player") -> str:
        """A player file (TOML) for catalog.load_player."""
        release, spread = self.release, self.spread
        known = [n for n, c in self.columns.items() if c.estimated]
        lines = ["# Written by `lanesim fit`: means and spread of the player's own shots.",
                 f"name = {json.dumps(name, ensure_ascii=False)}", f'hand = "{self.hand}"']
        lines += [f"{n} = {float(getattr(release, n))!r}" for n in self.columns]
        lines += [f'level = "{self.level}"',
                  "spread_source = " + json.dumps(
                      f"{self.shots} shots ({self.source}); assumed level {self.level} for "
                      + (", ".join(n for n in self.columns if n not in known) or "nothing"),
                      ensure_ascii=False),
                  "", "[spread]"]
        lines += [f"{SPREAD_KEYS[n]} = {float(getattr(spread, SPREAD_KEYS[n]))!r}" for n in known]
        return "\n".join(lines) + "\n"

    def to_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return {
            "source": self.source, "shots": self.shots, "groups": self.groups, "hand": self.hand,
            "assumed_level": self.level,
            "laydown_angle_correlation": self.laydown_angle_correlation,
            "columns": {n: vars(c) for n, c in self.columns.items()},
        }


def estimate_spread(
    log: ShotLog, *, hand: str = "right", level: str = "200", usual: Release | None = None,
    measurement_sd: Mapping[str, float] | None = None,
) -> OwnSpread:
    """Means and standard deviations of the release columns, drift between games removed.

    Parameters
    ----------
    level : stands in (assumed) for columns with fewer than 4 degrees of freedom.
    usual : release that stands in (assumed) for columns that were never measured.
    measurement_sd : stated measuring SDs (shot_model.measuring_sds).

    Where only the arrow board was measured the launch angle is that of the straight line from
    laydown to arrow: its mean is a little off (the ball bends before the arrows), its spread not.

    Raises
    ------
    InputError
        if no column at all has enough shots.
    """
    from scipy.stats import chi2

    check_hand(hand)
    assumed = named_spread(level)
    usual = usual or Release(hand=hand)
    sd = measuring_sds(measurement_sd)
    keys = list(zip(log.game, log.ball, log.pattern, strict=True))
    names = sorted(set(keys))
    group = np.array([names.index(key) for key in keys])
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
        if freedom < _LEAST_FREEDOM:
            level_sd = float(getattr(assumed, key))
            columns[name] = ColumnSpread(mean, math.nan, noise, level_sd, math.nan, math.nan,
                                         max(freedom, 0), False)
            continue
        total = float(np.nansum(off**2))
        edges = total / chi2.ppf([0.5, 0.975, 0.025], freedom)
        true = [math.sqrt(max(v - noise**2, 0.0)) for v in (total / freedom, *edges[1:])]
        columns[name] = ColumnSpread(mean, math.sqrt(total / freedom), noise, *true, freedom, True)
    if not any(c.estimated and c.sd > 0 for c in columns.values()):
        raise InputError(f"{log.source}: the shots show no spread beyond the stated measuring SDs "
                         f"(or fewer than {_LEAST_FREEDOM + 1} shots of a game); no player file")
    both = np.isfinite(within["laydown_board"]) & np.isfinite(within["launch_angle_deg"])
    correlation = math.nan
    if both.sum() > 3:
        pair = np.array([within["laydown_board"][both], within["launch_angle_deg"][both]])
        if np.all(pair.std(axis=1) > 0):
            correlation = float(np.corrcoef(pair)[0, 1])
    return OwnSpread(log.source, len(log), len(names), hand, level, columns, correlation)


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
