"""What a fit may estimate: kinds of parameters with their priors, and the terms of one fit.

Every prior and every measuring SD is an ASSUMPTION (no published figures found) and an argument.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from ..errors import InputError, check_range, nearest_name
from ..player import RELEASE_COLUMNS
from .shots_file import OUTCOME_SD_BOARDS, ShotLog, column_of

RELEASES = RELEASE_COLUMNS[:6]


@dataclass(frozen=True)
class Parameter:
    """One kind of parameter: prior and meaning. Every prior is an ASSUMPTION.

    Attributes
    ----------
    scope : 'ball', 'pattern' (one value for each), 'lane' or 'release' (one value).
    prior_sd : of ln(factor) for factors, in `unit` for offsets.
    unit : '' for factors (multiply the default), else the unit of an offset (prior mean 0).
    column : the release column that an offset shifts.
    along : the column with which the offset grows, from its mean in the file; '': it is the same
        for all shots.
    loose_sd : prior SD of an offset whose column was not measured at all: how far one player's
        usual value may lie from the assumed usual release.
    why : where the prior SD comes from.
    """

    scope: str
    prior_sd: float
    words: str
    why: str
    unit: str = ""
    column: str = ""
    loose_sd: float = 0.0
    along: str = ""

    @property
    def is_factor(self) -> bool:
        """True for a factor (log-normal prior round 1), False for an offset (normal round 0)."""
        return not self.unit

    def value(self, z: float | np.ndarray) -> Any:
        """Value at `z` prior SDs from the default."""
        return np.exp(self.prior_sd * z) if self.is_factor else self.prior_sd * z


PARAMETERS: dict[str, Parameter] = {
    "ball_friction": Parameter(
        "ball", 0.15, "dry friction of the ball, times the cover kind's",
        "assumed: cover kinds differ by as much"),
    "ball_roughness": Parameter(
        "ball", 0.35, "roughness of the ball, times that of its finish",
        "assumed: roughness of a grit is from memory, low confidence"),
    "ball_uptake": Parameter(
        "ball", 0.5, "oil uptake of the cover, times the kind's", "assumed, hardly known"),
    "oil_amount": Parameter(
        "pattern", 0.15, "oil on the lane, times the pattern's", "assumed: machine, age, traffic"),
    "lambda_ref": Parameter(
        "lane", 0.4, "film at which the load passes to the oil, times the default",
        "assumed: free within the textbook's regimes"),
    "lane_roughness": Parameter(
        "lane", 0.35, "roughness of the lane, times the default", "assumed, hardly known"),
    "laydown_offset": Parameter(
        "release", 0.5, "true minus measured laydown board", "assumed", "boards", "laydown_board"),
    "angle_offset": Parameter(
        "release", 0.15, "true minus measured launch angle", "assumed", "deg",
        "launch_angle_deg"),
    "speed_offset": Parameter(
        "release", 0.3, "true minus measured speed", "assumed: radars disagree by that", "mph",
        "speed_mph"),
    "rev_offset": Parameter(
        "release", 20.0, "true minus measured rev rate", "assumed", "rpm", "rev_rpm", 60.0),
    "rotation_offset": Parameter(
        "release", 5.0, "true minus measured axis rotation", "assumed", "deg", "rotation_deg",
        12.0),
    "tilt_offset": Parameter(
        "release", 3.0, "true minus measured axis tilt", "assumed", "deg", "tilt_deg", 5.0),
    "rev_per_mph": Parameter(
        "release", 15.0, "revs that come with a faster shot", "assumed: a player's own habit",
        "rpm/mph", "rev_rpm", along="speed_mph"),
    "rotation_per_mph": Parameter(
        "release", 2.0, "rotation that comes with a faster shot", "assumed: a player's own habit",
        "deg/mph", "rotation_deg", along="speed_mph"),
    "tilt_per_mph": Parameter(
        "release", 1.0, "tilt that comes with a faster shot", "assumed: a player's own habit",
        "deg/mph", "tilt_deg", along="speed_mph"),
}

DEFAULT_PARAMETERS = ("ball_friction", "ball_roughness", "oil_amount", "angle_offset",
                      "rotation_offset")


@dataclass(frozen=True)
class Term:
    """One estimated number: a parameter kind for one ball or pattern, with its prior SD."""

    kind: str
    target: str
    prior_sd: float

    @cached_property
    def parameter(self) -> Parameter:
        """The kind, with this term's prior SD."""
        return replace(PARAMETERS[self.kind], prior_sd=self.prior_sd)

    @property
    def label(self) -> str:
        """'ball_friction strong-solid' or 'speed_offset'."""
        return f"{self.kind} {self.target}".strip()


def make_terms(
    log: ShotLog, parameters: Sequence[str], prior_sd: Mapping[str, float] | None = None
) -> tuple[tuple[Term, ...], list[str]]:
    """The terms for those parameter kinds, and notes on what was added or left out.

    Offsets of columns that were never measured are added with a loose prior: the player's usual
    value is not known, and leaving that out would make every interval too narrow. Where such a
    column, or one with a single reading for all shots, may go with the speed, and the speed varies,
    that is added too.
    """
    kinds = list(dict.fromkeys(parameters))
    for kind in kinds:
        if kind not in PARAMETERS:
            raise nearest_name(kind, PARAMETERS, "parameter")
    for kind, value in (prior_sd or {}).items():
        if kind not in PARAMETERS:
            raise nearest_name(kind, PARAMETERS, "parameter")
        check_range(f"prior SD of {kind}", value, 1e-6, 1000)
    notes = []
    measured = {n: bool(np.isfinite(log.column(n)).any()) for n in RELEASES}
    if "angle_offset" in kinds and not measured["launch_angle_deg"]:
        kinds.remove("angle_offset")
        notes.append("angle_offset left out: no launch angle was measured, the arrow board "
                     "gives each shot's own")
    for kind, parameter in PARAMETERS.items():
        if parameter.loose_sd and not measured[parameter.column] and kind not in kinds:
            kinds.append(kind)
        if parameter.along and kind not in kinds and _one_for_all(
                log.column(parameter.column)) and _varies(log, parameter.along):
            kinds.append(kind)
            notes.append(f"{parameter.column} was not read shot by shot: whether it comes with a "
                         f"faster shot is estimated with the rest ({kind})")
    terms = []
    for kind in PARAMETERS:
        if kind not in kinds:
            continue
        parameter = PARAMETERS[kind]
        sd = parameter.prior_sd
        if parameter.loose_sd and not measured[parameter.column]:
            sd = parameter.loose_sd
            notes.append(f"{parameter.column} was not measured: the usual value is assumed, with "
                         f"SD {sd:g} {parameter.unit}, and estimated with the rest ({kind})")
        sd = (prior_sd or {}).get(kind, sd)
        targets = {"ball": sorted(set(log.ball)), "pattern": sorted(set(log.pattern))}.get(
            parameter.scope, [""])
        terms += [Term(kind, target, sd) for target in targets]
    if not terms:
        raise InputError("nothing to fit: no parameter is left; known: " + ", ".join(PARAMETERS))
    return tuple(terms), notes


def _one_for_all(given: np.ndarray) -> bool:
    """Whether a column was never read, or all its readings are one and the same number."""
    known = given[np.isfinite(given)]
    return len(known) == 0 or (len(known) > 1 and bool(np.all(known == known[0])))


def _varies(log: ShotLog, column: str) -> bool:
    """Whether readings of a column, four at the least, vary by more than their measuring error."""
    given = log.column(column)
    known = given[np.isfinite(given)]
    return len(known) >= 4 and float(known.std(ddof=1)) > column_of(column).sd


def measuring_sds(given: Mapping[str, float] | None = None) -> dict[str, float]:
    """Measuring SDs by column (assumed defaults), with those `given` replaced.

    Keys: the columns of the shots file; 'board_at' for boards at any distance; 'outcome' [boards].
    """
    names = [*RELEASES, "arrow_board", "speed_pins_mph", "breakpoint_board", "breakpoint_ft",
             "entry_board", "entry_angle_deg"]
    out = {n: column_of(n).sd for n in names}
    out |= {"board_at": column_of("board_at_40ft").sd, "outcome": OUTCOME_SD_BOARDS}
    for name, value in (given or {}).items():
        if name not in out:
            raise nearest_name(name, out, "measured column")
        out[name] = check_range(f"measuring SD of {name}", value, 1e-6, 100)
    return out
