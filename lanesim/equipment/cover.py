"""A ball's cover: what it is made of, how it was finished, and what games did to it since.

Three clocks run, each an exponential, so that the state follows from three counts of games:

- n, games since the finish was refreshed:  dRa/dn = -(Ra - Ra_worn)/tau(Ra_0), from the prepared
  finish Ra_0 toward the cover's lane-worn one. tau falls with Ra_0: dull finishes change faster
  than polished ones. A polished cover, smoother than the lane leaves it, gets ROUGHER.
- g, games since the ball was new, and e, games since oil was last drawn out of it:  the oil that
  went in fills two stores with e-fold tau_s. One is out of reach of an extraction and follows g,
  the other is emptied by it and follows e:
  soaked = (1 - r)(1 - exp(-g/tau_s)) + r (1 - exp(-e/tau_s)),  r = extraction_recovery < 1.
  Dry friction and uptake fall in proportion to `soaked`; only a new ball is back at 0.

A refreshed surface changes the finish alone. All laws are ASSUMED; published are the directions,
that loss of reaction begins within 7 to 14 games, that balls are refreshed at 30 to 60, that a
1000 grit finish plays to about 4000 to 5000, and that refinishing gave 4 to 5 boards back
(tests/test_cover.py and tests/test_wear.py hold them).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

from ..errors import InputError, check_range, nearest_name
from ..lane.geometry import FRICTION_CAP

RQ_PER_RA = math.sqrt(math.pi / 2.0)  # a Gaussian surface: Rq = 1.2533 Ra (textbook statistics)

# Grit of the last sanding step -> Ra on resin [um] as a machine leaves it. From memory, low
# confidence. A hand-held pad on a spinner leaves a finer finish than its name: a carded 500 grit
# pad took a ball from 3,000 to about 1,650 grit as read by a scanner (read). So finishes differ
# less than their names: Ra = Ra_2000 (Ra_table / Ra_2000)^`finish_contrast`, calibrated.
GRIT_RA_UM: tuple[tuple[float, float], ...] = (
    (360.0, 1.4),
    (500.0, 1.1),
    (1000.0, 0.7),
    (2000.0, 0.4),
    (4000.0, 0.25),
    (5000.0, 0.21),
)
POLISH_TABLE_RA_UM = 0.1
MIDDLE_RA_UM = 0.4  # 2000 grit: the finish that the contrast leaves alone
DULL_GRIT = 1000.0  # the finish that `dull_efold_games` belongs to
DEFAULT_CONTRAST = 0.73

# How a weak and a strong cover of one kind differ from the usual one, in steps of
# `CoverKind.strength_step`.
STRENGTHS = {"weak": -1.0, "usual": 0.0, "strong": 1.0}


@dataclass(frozen=True)
class CoverKind:
    """What a kind of cover does when new, and how it ages. Every number is an ASSUMPTION.

    `WEAR_DOUBT` says how far each ageing parameter may be off and what it rests on.

    Attributes
    ----------
    dry_friction : friction on dry lane when new [-]; about 0.2 for reactive covers (the published
        dry-zone value), below the standard's cap of 0.32.
    uptake : share of the track's film that the cover absorbs per turn when new [-].
    worn_ra_um : Ra toward which play on the lane drives the surface [um].
    dull_efold_games, polish_efold_games : e-fold of that drift [games] from a 1000 grit finish and
        from a polish; in between and beyond by a power of the prepared Ra. Dull changes faster.
    friction_loss : share of the dry friction lost in the end to absorbed oil [-].
    uptake_loss : share of the uptake lost in the end [-].
    soak_efold_games : e-fold of both losses [games].
    extraction_recovery : share of the soaked-in oil that an extraction can reach [-], below 1.
    strength_step : by what share a strong cover of the kind has more dry friction and uptake than
        the usual one, and a weak one less.
    finish_contrast : power of the table of grits, see GRIT_RA_UM.
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
    strength_step: float = 0.08
    finish_contrast: float = DEFAULT_CONTRAST

    def __post_init__(self) -> None:
        check_range("strength step", self.strength_step, 0, 0.4)
        check_range("finish contrast", self.finish_contrast, 0.2, 1.5)
        check_range("dry friction", self.dry_friction, 0.01,
                    FRICTION_CAP / (1.0 + self.strength_step))
        check_range("uptake", self.uptake, 0, 1)
        check_range("worn Ra", self.worn_ra_um, 0.02, 3, "um")
        check_range("polish e-fold", self.polish_efold_games, 0.1, 1e5, "games")
        check_range("dull e-fold", self.dull_efold_games, 0.1, self.polish_efold_games, "games")
        check_range("friction loss", self.friction_loss, 0, 0.99)
        check_range("uptake loss", self.uptake_loss, 0, 0.99)
        check_range("soak e-fold", self.soak_efold_games, 0.1, 1e5, "games")
        check_range("extraction recovery", self.extraction_recovery, 0, 0.99)


COVER_KINDS: dict[str, CoverKind] = {
    "plastic": CoverKind(0.11, 0.016, 0.20, 60, 120, 0.03, 0.10, 400, 0.2),
    "urethane": CoverKind(0.17, 0.08, 0.30, 20, 50, 0.08, 0.30, 250, 0.5),
    "reactive-solid": CoverKind(0.226, 0.24, 0.2724, 12, 30, 0.18, 0.60, 120, 0.6),
    "reactive-hybrid": CoverKind(0.20792, 0.2, 0.2654, 14, 32, 0.16, 0.55, 130, 0.6),
    "reactive-pearl": CoverKind(0.18984, 0.16, 0.2558, 16, 35, 0.15, 0.50, 140, 0.6),
}


@dataclass(frozen=True)
class Doubt:
    """How far off a parameter may be, and what it rests on.

    Attributes
    ----------
    scale : one standard deviation, of the parameter's logarithm (is_share False: 0.3 means within
        a factor 1.35 either way two times in three) or of its logit (is_share True).
    is_share : whether the parameter is a share between 0 and 1.
    status : what the default rests on.
    """

    scale: float
    is_share: bool
    status: str


_PLAUSIBLE = "assumed; only the direction is known"
WEAR_DOUBT: dict[str, Doubt] = {
    "worn_ra_um": Doubt(0.15, False, "second-hand: a 1000 grit finish plays to 4000-5000 "
                                     "(Ra 0.25-0.21 um); other kinds assumed near it"),
    "dull_efold_games": Doubt(0.35, False, "assumed so that loss of reaction shows within 7-14 "
                                           "games (second-hand)"),
    "polish_efold_games": Doubt(0.35, False, "assumed: slower than dull (second-hand)"),
    "friction_loss": Doubt(0.45, True, _PLAUSIBLE),
    "uptake_loss": Doubt(0.60, True, _PLAUSIBLE),
    "soak_efold_games": Doubt(0.50, False, _PLAUSIBLE + "; covers are said to last some hundreds "
                                           "of games"),
    "extraction_recovery": Doubt(0.60, True, "assumed: partly, never fully"),
}


def shifted_kind(kind: CoverKind, deviates: dict[str, float]) -> CoverKind:
    """The kind with its ageing parameters moved by `deviates` standard deviations of WEAR_DOUBT.

    Logarithms move for amounts and logits for shares, so every sampled set is a possible one. The
    two e-folds are kept in order: polished is never faster than dull.
    """
    moved = {}
    for name, z in deviates.items():
        if name not in WEAR_DOUBT:
            raise nearest_name(name, WEAR_DOUBT, "wear parameter")
        doubt = WEAR_DOUBT[name]
        value = getattr(kind, name)
        if doubt.is_share:
            odds = value / (1.0 - value) * math.exp(doubt.scale * z)
            moved[name] = odds / (1.0 + odds)
        else:
            moved[name] = value * math.exp(doubt.scale * z)
    slow = moved.get("polish_efold_games", kind.polish_efold_games)
    moved["dull_efold_games"] = min(moved.get("dull_efold_games", kind.dull_efold_games), slow)
    return replace(kind, **moved)


def sampled_kinds(kind: CoverKind, count: int, seed: int) -> list[CoverKind]:
    """`count` possible kinds, drawn by WEAR_DOUBT; equal seeds give equal draws for every kind."""
    from ..streams import Stage, normal_deviates

    names = list(WEAR_DOUBT)
    points = normal_deviates(count, len(names), seed, stage=Stage.WEAR_LAWS)
    return [shifted_kind(kind, dict(zip(names, map(float, row), strict=True))) for row in points]


def table_ra_um(grit: float) -> float:
    """Ra [um] of GRIT_RA_UM for a grit from 360 to 5000, log-log interpolated."""
    check_range("grit", grit, GRIT_RA_UM[0][0], GRIT_RA_UM[-1][0])
    for (g0, r0), (g1, r1) in itertools.pairwise(GRIT_RA_UM):
        if grit <= g1:
            share = math.log(grit / g0) / math.log(g1 / g0)
            return r0 * (r1 / r0) ** share
    return GRIT_RA_UM[-1][1]


def _contrasted(ra_um: float, contrast: float) -> float:
    return MIDDLE_RA_UM * (ra_um / MIDDLE_RA_UM) ** contrast


def grit_roughness_ra_um(grit: float, contrast: float = DEFAULT_CONTRAST) -> float:
    """Ra [um] of a finish sanded last with `grit` (360 to 5000) by hand; see GRIT_RA_UM."""
    return _contrasted(table_ra_um(grit), contrast)


def polish_ra_um(contrast: float = DEFAULT_CONTRAST) -> float:
    """Ra [um] of a polish."""
    return _contrasted(POLISH_TABLE_RA_UM, contrast)


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
    oil_extractions : how often oil was drawn out of it.
    games_since_extraction : games since the last time; None: unknown, then taken as
        games_total / (oil_extractions + 1), extractions evenly spread (ASSUMED); without any
        extraction games_total.
    law : parameters to use instead of COVER_KINDS[kind], for sampled or fitted ones.
    strength : one of STRENGTHS: a weak, usual or strong cover of its kind.
    """

    kind: str
    grit: float = 2000.0
    polished: bool = False
    games_since_surface: float = 0.0
    games_total: float = 0.0
    oil_extractions: int = 0
    games_since_extraction: float | None = None
    law: CoverKind | None = None
    strength: str = "usual"

    def __post_init__(self) -> None:
        if self.kind not in COVER_KINDS:
            raise nearest_name(self.kind, COVER_KINDS, "cover kind")
        if self.strength not in STRENGTHS:
            raise nearest_name(self.strength, STRENGTHS, "cover strength")
        check_range("grit", self.grit, GRIT_RA_UM[0][0], GRIT_RA_UM[-1][0])
        check_range("games since the surface was refreshed", self.games_since_surface, 0, 5000)
        check_range("games in all", self.games_total, 0, 20000)
        check_range("oil extractions", self.oil_extractions, 0, 1000)
        if self.games_total < self.games_since_surface:
            object.__setattr__(self, "games_total", float(self.games_since_surface))
        if self.games_since_extraction is not None:
            check_range("games since oil was drawn out", self.games_since_extraction, 0,
                        self.games_total)
            if self.oil_extractions == 0:
                raise InputError("games since oil was drawn out are given, but 0 extractions; "
                                 "accepted: at least 1 extraction with them")

    @property
    def parameters(self) -> CoverKind:
        """The parameters in force."""
        return COVER_KINDS[self.kind] if self.law is None else self.law

    @property
    def finish(self) -> str:
        """The finish in words: '2000 grit' or 'polished'."""
        return "polished" if self.polished else f"{self.grit:g} grit"

    @property
    def prepared_ra_um(self) -> float:
        """Ra [um] just after the surface was prepared."""
        contrast = self.parameters.finish_contrast
        return polish_ra_um(contrast) if self.polished else grit_roughness_ra_um(
            self.grit, contrast)

    @property
    def strength_factor(self) -> float:
        """Dry friction and uptake over those of the usual cover of the kind [-]."""
        return 1.0 + self.parameters.strength_step * STRENGTHS[self.strength]

    @property
    def surface_efold_games(self) -> float:
        """e-fold [games] of the drift of the finish, by a power of the prepared Ra.

        tau = tau_polish (tau_dull/tau_polish)^(ln(Ra_0/Ra_polish)/ln(Ra_1000/Ra_polish)).
        """
        kind = self.parameters
        polish = polish_ra_um(kind.finish_contrast)
        dull = grit_roughness_ra_um(DULL_GRIT, kind.finish_contrast)
        power = math.log(self.prepared_ra_um / polish) / math.log(dull / polish)
        return kind.polish_efold_games * (kind.dull_efold_games / kind.polish_efold_games) ** power

    @property
    def ra_um(self) -> float:
        """Ra [um] now: Ra(n) = Ra_worn + (Ra_0 - Ra_worn) exp(-n/tau)."""
        worn = self.parameters.worn_ra_um
        fade = math.exp(-self.games_since_surface / self.surface_efold_games)
        return worn + (self.prepared_ra_um - worn) * fade

    @property
    def roughness_um(self) -> float:
        """Rq [um] now."""
        return RQ_PER_RA * self.ra_um

    @property
    def soaked_share(self) -> float:
        """How far the cover is filled with oil, 0 (new) to 1; see the module's docstring."""
        kind = self.parameters
        since = self.games_since_extraction
        if since is None:
            since = self.games_total / (self.oil_extractions + 1)
        out_of_reach = -math.expm1(-self.games_total / kind.soak_efold_games)
        in_reach = -math.expm1(-since / kind.soak_efold_games)
        r = kind.extraction_recovery
        return (1.0 - r) * out_of_reach + r * in_reach

    @property
    def dry_friction(self) -> float:
        """Friction on dry lane now [-]."""
        kind = self.parameters
        new = kind.dry_friction * self.strength_factor
        return new * (1.0 - kind.friction_loss * self.soaked_share)

    @property
    def uptake(self) -> float:
        """Share of the track's film absorbed per turn now [-]; rough covers take more.

        The quarter power of the roughness is an ASSUMPTION (rough or porous covers more).
        """
        kind = self.parameters
        rough = (self.ra_um / kind.worn_ra_um) ** 0.25
        new = kind.uptake * self.strength_factor * rough
        return min(1.0, new * (1.0 - kind.uptake_loss * self.soaked_share))

    # -- what happens to a cover

    def played(self, games: float) -> Cover:
        """The cover after so many more games; exact: two spells give the same as one."""
        check_range("games", games, 0, 20000)
        since = self.games_since_extraction
        if since is None and self.oil_extractions:
            since = self.games_total / (self.oil_extractions + 1)
        return replace(
            self,
            games_since_surface=self.games_since_surface + games,
            games_total=self.games_total + games,
            games_since_extraction=None if since is None else since + games,
        )

    def refreshed(self, grit: float, polished: bool = False) -> Cover:
        """The cover with a fresh finish; what oil it holds stays in it."""
        return replace(self, grit=grit, polished=polished, games_since_surface=0.0)

    def extracted(self) -> Cover:
        """The cover after an oil extraction; its finish is not touched."""
        return replace(self, oil_extractions=self.oil_extractions + 1, games_since_extraction=0.0)

    def as_new(self) -> Cover:
        """The cover of a new ball of the kind, with this one's finish as prepared."""
        return Cover(self.kind, self.grit, self.polished, law=self.law, strength=self.strength)


def parse_finish(text: str) -> tuple[float, bool]:
    """Read a finish as written in files and options: '2000', '2000 grit' or 'polish'.

    Returns (grit, polished); a polish is taken over a 2000 base.
    """
    words = text.strip().lower()
    if words in {"polish", "polished"}:
        return 2000.0, True
    number = words.removesuffix("grit").strip()
    try:
        grit = float(number)
    except ValueError:
        raise InputError(f"finish '{text}' is not understood; accepted: 'polish' or a grit from "
                         f"{GRIT_RA_UM[0][0]:g} to {GRIT_RA_UM[-1][0]:g}") from None
    return check_range("finish", grit, GRIT_RA_UM[0][0], GRIT_RA_UM[-1][0], "grit"), False
