"""The fitted file: what a player's own shots said about balls, lane and measuring.

`lanesim fit` writes it; every other command takes it by `--fitted FILE`, replaces the assumed
values and marks its answers 'fitted to N shots'. All factors multiply the defaults, all offsets are
ADDED to what the player measures. The file is TOML; keys that are absent stay at their defaults::

    format = "lanesim-fitted-1"
    shots = 40
    source = "my-shots.csv"
    [balls.strong-solid]
    friction_factor = 1.08
    [patterns.medium-42]
    oil_factor = 0.93
    [lane]
    lambda_ref_factor = 1.0
    [release_offsets]
    launch_angle_deg = 0.05
    [intervals]
    "ball_friction strong-solid" = [1.02, 1.14]
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path

import msgspec

from ..catalog import invented_words
from ..equipment.ball import Ball
from ..equipment.cover import Cover
from ..errors import InputError, check_range
from ..files import read_toml, write_text
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import FRICTION_CAP
from ..lane.pattern import OilPattern
from ..lane.surface import LEVEL_LANE, Lane
from ..player import Release

FORMAT = "lanesim-fitted-1"
ASSUMED = "assumed"  # provenance of an answer without a fit
_FACTOR_RANGE = (0.1, 10.0)
OFFSET_COLUMNS = ("laydown_board", "launch_angle_deg", "speed_mph", "rev_rpm", "rotation_deg",
                  "tilt_deg")


@dataclass(frozen=True)
class FittedCover(Cover):
    """A cover whose friction, roughness and uptake are multiplied by factors from a fit.

    Attributes
    ----------
    friction_factor, roughness_factor, uptake_factor : multiply dry friction, Ra (hence Rq) and
        uptake of the same cover by default [-]. They stay with the cover when games are added or
        the surface is refreshed: a fit says how this cover differs from its kind.
    """

    friction_factor: float = 1.0
    roughness_factor: float = 1.0
    uptake_factor: float = 1.0

    def __post_init__(self) -> None:
        super().__post_init__()
        for name in ("friction_factor", "roughness_factor", "uptake_factor"):
            check_range(name, getattr(self, name), *_FACTOR_RANGE, where=f"cover '{self.kind}'")

    @property
    def ra_um(self) -> float:
        """Ra [um] now, times the fitted factor."""
        return self.roughness_factor * super().ra_um

    @property
    def dry_friction(self) -> float:
        """Friction on dry lane now [-], times the fitted factor."""
        value = self.friction_factor * super().dry_friction
        if value > FRICTION_CAP:
            raise InputError(f"fitted dry friction {value:.3f} of cover '{self.kind}' is above the "
                             f"standard's {FRICTION_CAP:g}")
        return value

    @property
    def uptake(self) -> float:
        """Share of the track's film absorbed per turn now [-], times the fitted factor."""
        return min(1.0, self.uptake_factor * super().uptake)

    def as_new(self) -> FittedCover:
        """The cover of a new ball, as in Cover, with the same factors."""
        plain = super().as_new()
        return FittedCover(**{f.name: getattr(plain, f.name) for f in fields(Cover)},
                           friction_factor=self.friction_factor,
                           roughness_factor=self.roughness_factor,
                           uptake_factor=self.uptake_factor)


class BallFactors(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """Factors of one ball's cover."""

    friction_factor: float = 1.0
    roughness_factor: float = 1.0
    uptake_factor: float = 1.0


class PatternFactors(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """Factors of one pattern as it lay on the lane."""

    oil_factor: float = 1.0


class LaneFactors(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """Factors of the friction model."""

    roughness_factor: float = 1.0
    lambda_ref_factor: float = 1.0


class FittedEntry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The file."""

    format: str
    shots: int
    source: str = ""
    seed: int = 0
    balls: dict[str, BallFactors] = {}
    patterns: dict[str, PatternFactors] = {}
    lane: LaneFactors = LaneFactors()
    release_offsets: dict[str, float] = {}
    intervals: dict[str, tuple[float, float]] = {}


@dataclass(frozen=True)
class Fitted:
    """What a fit found, ready to be used.

    Attributes
    ----------
    shots : number of shots behind it; source : their file; seed : of the fit.
    balls, patterns : name -> factors; lane : factors of the friction model.
    release_offsets : column -> what to add to the player's measured value.
    intervals : parameter label -> 95 % interval, for display.
    """

    shots: int
    source: str = ""
    seed: int = 0
    balls: Mapping[str, BallFactors] = field(default_factory=dict)
    patterns: Mapping[str, PatternFactors] = field(default_factory=dict)
    lane: LaneFactors = field(default_factory=LaneFactors)
    release_offsets: Mapping[str, float] = field(default_factory=dict)
    intervals: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        where = "fitted file"
        check_range("shots", self.shots, 1, 10_000_000, where=where)
        for kind, table in (("ball", self.balls), ("pattern", self.patterns)):
            for name, factors in table.items():
                _check_factors(factors, f"{where}, {kind} '{name}'")
        _check_factors(self.lane, f"{where}, lane")
        for name, value in self.release_offsets.items():
            if name not in OFFSET_COLUMNS:
                raise InputError(f"{where}: unknown release offset '{name}'; known: "
                                 f"{', '.join(OFFSET_COLUMNS)}")
            check_range(f"release offset {name}", value, -200, 200, where=where)

    def provenance(self, balls: Sequence[str], patterns: Sequence[str]) -> str:
        """Words for an answer about these balls on these patterns: what is fitted, what assumed."""
        count = fitted_to(self.shots)
        asked = [(kind, name, name in table) for kind, names, table in
                 (("ball", balls, self.balls), ("pattern", patterns, self.patterns))
                 for name in dict.fromkeys(names)]
        assumed = [f"{kind} '{name}'" for kind, name, known in asked if not known]
        if not assumed:
            return count
        if (len(assumed) == len(asked) and self.lane == LaneFactors()
                and not self.release_offsets):
            return f"{ASSUMED} (the fitted file knows none of these balls and patterns)"
        return f"{count}; {' and '.join(assumed)} {ASSUMED}"


def _check_factors(factors: msgspec.Struct, where: str) -> None:
    for name in factors.__struct_fields__:
        check_range(name, getattr(factors, name), *_FACTOR_RANGE, where=where)


def fitted_ball(ball: Ball, factors: BallFactors) -> Ball:
    """The ball with those factors on its cover (a cover already fitted gets the new ones)."""
    plain = {f.name: getattr(ball.cover, f.name) for f in fields(Cover)}
    cover = FittedCover(**plain, friction_factor=factors.friction_factor,
                        roughness_factor=factors.roughness_factor,
                        uptake_factor=factors.uptake_factor)
    return replace(ball, cover=cover)


def fitted_friction(friction: FrictionModel, factors: LaneFactors) -> FrictionModel:
    """The friction model with those factors."""
    return replace(
        friction, lane_roughness_um=friction.lane_roughness_um * factors.roughness_factor,
        lambda_ref=friction.lambda_ref * factors.lambda_ref_factor,
    )


def fitted_pattern(pattern: OilPattern, factors: PatternFactors) -> OilPattern:
    """The pattern with every cell's oil times the factor.

    In this model that equals the same factor on the film share chi: the friction law knows oil only
    through chi (h_lane + h_track), and the track's film is linear in the lane's.
    """
    if factors.oil_factor == 1.0:
        return pattern
    return pattern.with_volume(pattern.volume_ul * factors.oil_factor)


@dataclass(frozen=True)
class Basis:
    """What an answer stands on: the assumed values, or a fit's in their place where it knows any.

    Attributes
    ----------
    fitted : the fit; None: everything is assumed.
    lane : how the lane lies and how warm it is, seen from the player's side.
    """

    fitted: Fitted | None = None
    lane: Lane = LEVEL_LANE

    @property
    def friction(self) -> FrictionModel:
        """The friction model to use."""
        friction = replace(DEFAULT_FRICTION, lane=self.lane)
        return friction if self.fitted is None else fitted_friction(friction, self.fitted.lane)

    @property
    def offsets(self) -> Mapping[str, float]:
        """Release column -> true less measured, where the fit found one."""
        return {} if self.fitted is None else self.fitted.release_offsets

    def ball(self, ball: Ball) -> Ball:
        """The ball with its fitted factors, if the fit knows its name."""
        factors = None if self.fitted is None else self.fitted.balls.get(ball.name)
        return ball if factors is None else fitted_ball(ball, factors)

    def pattern(self, pattern: OilPattern) -> OilPattern:
        """The pattern with its fitted oil, if the fit knows its name."""
        factors = None if self.fitted is None else self.fitted.patterns.get(pattern.name)
        return pattern if factors is None else fitted_pattern(pattern, factors)

    def release(self, measured: Release) -> Release:
        """The release that the player's own measuring calls `measured`: offsets added."""
        return replace(measured, **{n: getattr(measured, n) + v for n, v in self.offsets.items()})

    def measured(self, release: Release) -> Release:
        """What the player's own measuring calls that release: offsets taken away."""
        return replace(release, **{n: getattr(release, n) - v for n, v in self.offsets.items()})

    def provenance(self, balls: Sequence[Ball], patterns: Sequence[OilPattern]) -> str:
        """'assumed', or 'fitted to N shots' and what is not known to the fit; what is invented."""
        words = ASSUMED if self.fitted is None else self.fitted.provenance(
            [b.name for b in balls], [p.name for p in patterns])
        return "; ".join(filter(None, [words, invented_words(balls, patterns)]))


def fitted_to(shots: int) -> str:
    """'fitted to 12 shots', the words by which every answer tells that it is not assumed."""
    return f"fitted to {shots} shot" + ("" if shots == 1 else "s")


def load_fitted(path: str | Path) -> Fitted:
    """Read a fitted file.

    Raises
    ------
    InputError
        naming the file and the key.
    """
    entry = read_toml(path, FittedEntry, "fitted")
    if entry.format != FORMAT:
        raise InputError(f"{path}: format is '{entry.format}'; accepted: {FORMAT}")
    try:
        return Fitted(entry.shots, entry.source, entry.seed, entry.balls, entry.patterns,
                      entry.lane, entry.release_offsets, entry.intervals)
    except InputError as error:
        raise InputError(f"{path}: {error}") from None


def fitted_text(fitted: Fitted) -> str:
    """The fitted file's text; `load_fitted` gives the same values back."""
    lines = [
        "# Written by `lanesim fit`. Factors multiply the defaults, offsets are added to the",
        "# player's measured values; intervals are 95 % intervals, for reading only.",
        f"format = {_quoted(FORMAT)}",
        f"shots = {fitted.shots}",
        f"source = {_quoted(fitted.source)}",
        f"seed = {fitted.seed}",
    ]
    tables: list[tuple[str, Mapping[str, float]]] = [
        *((f"balls.{_quoted(n)}", _changed(f)) for n, f in fitted.balls.items()),
        *((f"patterns.{_quoted(n)}", _changed(f)) for n, f in fitted.patterns.items()),
        ("lane", _changed(fitted.lane)),
        ("release_offsets", fitted.release_offsets),
    ]
    for title, values in tables:
        if values or "." in title:
            lines += ["", f"[{title}]", *(f"{k} = {_real(v)}" for k, v in values.items())]
    if fitted.intervals:
        lines += ["", "[intervals]"]
        lines += [f"{_quoted(k)} = [{_real(a)}, {_real(b)}]"
                  for k, (a, b) in fitted.intervals.items()]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    # a TOML basic string takes every escape that JSON writes
    return json.dumps(text, ensure_ascii=False)


def _real(value: float) -> str:
    if not math.isfinite(value):
        raise InputError("a value of the fit is not finite and cannot be written")
    return repr(float(value))


def _changed(factors: msgspec.Struct) -> dict[str, float]:
    return {n: getattr(factors, n) for n in factors.__struct_fields__ if getattr(factors, n) != 1.0}


def save_fitted(path: str | Path, fitted: Fitted) -> Path:
    """Write a fitted file, whole or not at all."""
    return write_text(path, fitted_text(fitted))
