"""A ball's cover: what it is made of, how it was finished, and what games did to it since.

Roughness relaxes from the prepared finish toward the cover's lane-worn finish; dry friction and
oil uptake fall with all the games thrown, and an oil extraction gives part of it back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .errors import InputError, check_range, nearest_name
from .lane import FRICTION_CAP

RQ_PER_RA = math.sqrt(math.pi / 2.0)  # a Gaussian surface: Rq = 1.2533 Ra (textbook statistics)

# Grit of the last sanding step -> Ra on resin [um]. From memory, low confidence.
GRIT_RA_UM: tuple[tuple[float, float], ...] = (
    (360.0, 1.4),
    (500.0, 1.1),
    (1000.0, 0.7),
    (2000.0, 0.4),
    (4000.0, 0.25),
    (5000.0, 0.21),
)
POLISH_RA_UM = 0.1


@dataclass(frozen=True)
class CoverKind:
    """What a kind of cover does when new, and how it ages. Every number is an ASSUMPTION.

    Attributes
    ----------
    dry_friction : friction on dry lane when new [-]; about 0.2 for reactive covers (the published
        dry-zone value), below the standard's cap of 0.32.
    uptake : share of the track's film that the cover absorbs per turn when new [-].
    worn_ra_um : Ra toward which play on the lane drives the surface [um].
    dull_efold_games, polish_efold_games : e-fold of that drift [games]; dull covers change faster.
    friction_loss : share of the dry friction lost in the end to absorbed oil [-].
    uptake_loss : share of the uptake lost in the end [-].
    soak_efold_games : e-fold of both losses [games].
    extraction_recovery : share of the soaked-in games that one oil extraction takes back [-].
    """

    dry_friction: float
    uptake: float
    worn_ra_um: float
    dull_efold_games: float
    polish_efold_games: float
    friction_loss: float
    uptake_loss: float
    soak_efold_games: float
    extraction_recovery: float


COVER_KINDS: dict[str, CoverKind] = {
    "plastic": CoverKind(0.11, 0.02, 0.20, 60, 120, 0.03, 0.10, 400, 0.2),
    "urethane": CoverKind(0.17, 0.10, 0.30, 20, 50, 0.08, 0.30, 250, 0.5),
    "reactive-solid": CoverKind(0.215, 0.30, 0.25, 12, 30, 0.18, 0.60, 120, 0.6),
    "reactive-hybrid": CoverKind(0.21, 0.25, 0.24, 14, 32, 0.16, 0.55, 130, 0.6),
    "reactive-pearl": CoverKind(0.205, 0.20, 0.22, 16, 35, 0.15, 0.50, 140, 0.6),
}


def grit_roughness_ra_um(grit: float) -> float:
    """Ra [um] of a finish sanded last with `grit`, log-log interpolated (360 to 5000)."""
    check_range("grit", grit, GRIT_RA_UM[0][0], GRIT_RA_UM[-1][0])
    for (g0, r0), (g1, r1) in zip(GRIT_RA_UM, GRIT_RA_UM[1:], strict=False):
        if grit <= g1:
            share = math.log(grit / g0) / math.log(g1 / g0)
            return r0 * (r1 / r0) ** share
    return GRIT_RA_UM[-1][1]


@dataclass(frozen=True)
class Cover:
    """A cover in its present state.

    Attributes
    ----------
    kind : one of COVER_KINDS.
    grit : last sanding step, 360 to 5000; still the base when polished.
    polished : whether a polish was put on top.
    games_since_surface : games since the finish was refreshed.
    games_total : games since the ball was new (at least games_since_surface).
    oil_extractions : how often oil was drawn out of it, assumed spread evenly over its games.
    """

    kind: str
    grit: float = 2000.0
    polished: bool = False
    games_since_surface: float = 0.0
    games_total: float = 0.0
    oil_extractions: int = 0

    def __post_init__(self) -> None:
        if self.kind not in COVER_KINDS:
            raise nearest_name(self.kind, COVER_KINDS, "cover kind")
        check_range("grit", self.grit, GRIT_RA_UM[0][0], GRIT_RA_UM[-1][0])
        check_range("games since the surface was refreshed", self.games_since_surface, 0, 5000)
        check_range("games in all", self.games_total, 0, 20000)
        check_range("oil extractions", self.oil_extractions, 0, 1000)
        if self.games_total < self.games_since_surface:
            object.__setattr__(self, "games_total", float(self.games_since_surface))

    @property
    def parameters(self) -> CoverKind:
        """The kind's parameters."""
        return COVER_KINDS[self.kind]

    @property
    def finish(self) -> str:
        """The finish in words: '2000 grit' or 'polished'."""
        return "polished" if self.polished else f"{self.grit:g} grit"

    @property
    def prepared_ra_um(self) -> float:
        """Ra [um] just after the surface was prepared."""
        return POLISH_RA_UM if self.polished else grit_roughness_ra_um(self.grit)

    @property
    def ra_um(self) -> float:
        """Ra [um] now: Ra(n) = Ra_worn + (Ra_0 - Ra_worn) exp(-n/tau)."""
        kind = self.parameters
        efold = kind.polish_efold_games if self.polished else kind.dull_efold_games
        fade = math.exp(-self.games_since_surface / efold)
        return kind.worn_ra_um + (self.prepared_ra_um - kind.worn_ra_um) * fade

    @property
    def roughness_um(self) -> float:
        """Rq [um] now."""
        return RQ_PER_RA * self.ra_um

    @property
    def soaked_share(self) -> float:
        """How far the cover is filled with oil, 0 (new) to 1: 1 - exp(-g/tau).

        Extractions at even spacing each take back `extraction_recovery` of the share reached.
        """
        kind = self.parameters
        spell = self.games_total / (self.oil_extractions + 1)
        share = 0.0
        for spell_number in range(self.oil_extractions + 1):
            if spell_number:
                share *= 1.0 - kind.extraction_recovery
            share = 1.0 - (1.0 - share) * math.exp(-spell / kind.soak_efold_games)
        return share

    @property
    def dry_friction(self) -> float:
        """Friction on dry lane now [-]; never above the standard's cap."""
        kind = self.parameters
        value = kind.dry_friction * (1.0 - kind.friction_loss * self.soaked_share)
        if value > FRICTION_CAP:
            raise InputError(f"dry friction {value:g} of cover '{self.kind}' is above the "
                             f"standard's {FRICTION_CAP:g}")
        return value

    @property
    def uptake(self) -> float:
        """Share of the track's film absorbed per turn now [-]; rough covers take more."""
        kind = self.parameters
        rough = self.ra_um / kind.worn_ra_um
        return min(1.0, kind.uptake * rough**0.25 * (1.0 - kind.uptake_loss * self.soaked_share))


def parse_finish(text: str) -> tuple[float, bool]:
    """Read a finish as written in files and options: '2000', '2000 grit' or 'polish'.

    Returns (grit, polished); a polish is taken over a 2000 base.
    """
    words = text.strip().lower()
    if words in {"polish", "polished"}:
        return 2000.0, True
    number = words.removesuffix("grit").strip()
    try:
        return check_range("finish", float(number), GRIT_RA_UM[0][0], GRIT_RA_UM[-1][0], "grit"), False
    except InputError:
        raise
    except ValueError:
        raise InputError(f"finish '{text}' is not understood; accepted: 'polish' or a grit from "
                         f"{GRIT_RA_UM[0][0]:g} to {GRIT_RA_UM[-1][0]:g}") from None
