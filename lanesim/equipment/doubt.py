"""How far the assumptions themselves leave an answer open: sets of parameters not ruled out.

No parameter of friction, covers and players is measured; they were calibrated against what is
published and what the trade takes for granted (benchmarks/BELIEVE.md). Many sets pass as well as
the one that ships as default. A few dozen of these stand in `data/ensemble.toml`; an answer that
holds in nearly all of them does not hang on the choice.

A set is used by `ParameterSet.ball`, `.friction` and `.player`::

    for one in parameter_sets():
        throw(one.ball(ball), release, pattern, friction=one.friction)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cache, cached_property
from pathlib import Path

import msgspec

from ..errors import InputError, check_range
from ..files import read_toml
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..player import LEVELS, Player, Spread, level_spread
from .ball import Ball
from .cover import COVER_KINDS, CoverKind, grit_roughness_ra_um

DATA_FILE = Path(__file__).parents[1] / "data" / "ensemble.toml"

# What sets a kind apart from a reactive solid cover: share of the gap in dry friction between solid
# and pearl covers; uptake at scale 1; grit whose roughness play wears it to (published for a 1000
# grit finish: 4000 to 5000).
_GAP = {"reactive-solid": 0.0, "reactive-hybrid": 0.5, "reactive-pearl": 1.0}
_UPTAKE = {"plastic": 0.02, "urethane": 0.10, "reactive-solid": 0.30, "reactive-hybrid": 0.25,
           "reactive-pearl": 0.20}
_WORN_GRIT = {"reactive-solid": 4300.0, "reactive-hybrid": 4500.0, "reactive-pearl": 4800.0}


@dataclass(frozen=True)
class ParameterSet:
    """One set of the assumed parameters.

    Attributes
    ----------
    film_share, lambda_ref, lambda_power, lane_roughness_um, film_cap, pickup : see FrictionModel.
    dry_solid : friction of a reactive solid cover on dry lane when new [-].
    pearl_gap : by what share a pearl cover has less; a hybrid half of it [-].
    strength_step : share between weak, usual and strong covers of a kind [-].
    uptake_scale : factor on the oil that covers absorb per turn [-].
    finish_contrast : power of the table of grits, see cover.GRIT_RA_UM.
    sd_rotation_deg, sd_rev_rpm, sd_speed_mph : an elite player's spread.
    growth, laydown_share : see player.level_spread.
    """

    film_share: float
    lambda_ref: float
    lambda_power: float
    lane_roughness_um: float
    film_cap: float
    pickup: float
    dry_solid: float
    pearl_gap: float
    strength_step: float
    uptake_scale: float
    finish_contrast: float
    sd_rotation_deg: float
    sd_rev_rpm: float
    sd_speed_mph: float
    growth: float
    laydown_share: float

    def __post_init__(self) -> None:
        check_range("dry friction of a solid cover", self.dry_solid, 0.05, 0.32)
        check_range("pearl gap", self.pearl_gap, 0, 0.6)
        check_range("uptake scale", self.uptake_scale, 0.05, 3)

    @cached_property
    def friction(self) -> FrictionModel:
        """Lane and oil."""
        names = {f.name for f in fields(FrictionModel)} & {f.name for f in fields(self)}
        return replace(DEFAULT_FRICTION, **{n: getattr(self, n) for n in names})

    @cached_property
    def kinds(self) -> Mapping[str, CoverKind]:
        """Kinds of cover, by name; ageing as by default."""
        out = {}
        for name, kind in COVER_KINDS.items():
            changes = {"uptake": min(1.0, _UPTAKE[name] * self.uptake_scale),
                       "strength_step": self.strength_step,
                       "finish_contrast": self.finish_contrast}
            if name in _GAP:
                changes["dry_friction"] = self.dry_solid * (1.0 - _GAP[name] * self.pearl_gap)
                changes["worn_ra_um"] = grit_roughness_ra_um(_WORN_GRIT[name],
                                                             self.finish_contrast)
            out[name] = replace(kind, **changes)
        return out

    def ball(self, ball: Ball) -> Ball:
        """The ball with a cover of this set; its finish, games and fitted factors stay."""
        return replace(ball, cover=replace(ball.cover, law=self.kinds[ball.cover.kind]))

    def spread(self, level: str) -> Spread:
        """Spread of a named level."""
        return level_spread(level, sd_speed_mph=self.sd_speed_mph, sd_rev_rpm=self.sd_rev_rpm,
                            sd_rotation_deg=self.sd_rotation_deg, growth=self.growth,
                            laydown_share=self.laydown_share)

    def player(self, player: Player) -> Player:
        """The player; a spread that is a level's by default becomes that level's of this set."""
        for level, spread in LEVELS.items():
            if player.spread == spread:
                return replace(player, spread=self.spread(level))
        return player


class _Entry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    source: str
    sets: list[dict[str, float]]


def read_sets(path: str | Path) -> tuple[ParameterSet, ...]:
    """Sets of a file with one table [[sets]] each.

    Raises
    ------
    InputError
        naming the file, the set and the key.
    """
    entry = read_toml(path, _Entry, "parameter set")
    names = [f.name for f in fields(ParameterSet)]
    out = []
    for number, values in enumerate(entry.sets, start=1):
        wrong = sorted(set(values) ^ set(names))
        if wrong:
            raise InputError(f"{path}: set {number}: '{wrong[0]}' is missing or unknown; accepted: "
                             + ", ".join(names))
        out.append(ParameterSet(**values))
    if not out:
        raise InputError(f"{path}: no set in it; each is a table [[sets]]")
    return tuple(out)


@cache
def parameter_sets() -> tuple[ParameterSet, ...]:
    """The shipped sets that are not ruled out; the defaults are the first."""
    return read_sets(DATA_FILE)
