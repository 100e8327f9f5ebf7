"""What a fit found: the result, ready for tables, figures and JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from ..errors import nearest_name
from ..results import Result, Story
from .fitted import Fitted, fitted_to
from .parameters import Term


@dataclass(frozen=True, repr=False)
class FitResult(Result):
    """What the shots say, and what they do not.

    Arrays of length P follow `terms`; estimates of factors are factors, of offsets in their unit.

    Attributes
    ----------
    terms : what was estimated. estimate, low, high : value and 95 % interval (P,).
    sd_share : posterior SD over prior SD (P,): near 1 means the shots say nothing about it.
    correlation : (P, P). condition : of the posterior precision, parameters in prior SDs.
    directions_seen : how many of the P independent combinations the shots know better than the
        prior does (eigenvalues of the data's information above 1).
    z, covariance : (P + 6,), (P + 6, P + 6) in prior SDs: the terms and, after them, the errors of
        the six release means (nuisances); shot_information : (n, P + 6, P + 6) of each shot.
    profiles : label -> {value, rise (of -2 log posterior), low, high}.
    columns, measured, predicted, residual : result columns and (n, m) values in trade units;
        predicted from the measured release (and arrow board) with the fitted parameters.
    lines, shot_ball : (n,) line in the file and ball of each shot used.
    shot_chi2, shot_rows : (n,) squared whitened residuals and their number; outliers : indices.
    noise : SD of the whitened residuals (1: the stated measuring SDs fit), inflated: whether the
        intervals were widened by it.
    cross_validated : column -> {assumed_rms, fitted_rms, shots} on held-out shots.
    starts : -log posterior (but for a constant) at the end of each start; agreement : how many of
        them ended at the best one.
    warnings, notes : sentences for the reader.
    fitted : ready for fitted.save_fitted.
    """

    source: str
    shots: int
    hand: str
    seed: int
    terms: tuple[Term, ...]
    estimate: np.ndarray
    low: np.ndarray
    high: np.ndarray
    sd_share: np.ndarray
    correlation: np.ndarray
    condition: float
    directions_seen: int
    z: np.ndarray
    covariance: np.ndarray
    shot_information: np.ndarray
    profiles: Mapping[str, Mapping[str, Any]]
    columns: tuple[str, ...]
    lines: tuple[int, ...]
    shot_ball: tuple[str, ...]
    measured: np.ndarray
    predicted: np.ndarray
    residual: np.ndarray
    shot_chi2: np.ndarray
    shot_rows: np.ndarray
    outliers: tuple[int, ...]
    noise: float
    inflated: bool
    loss_scale: float
    cross_validated: Mapping[str, Mapping[str, float]]
    starts: np.ndarray
    agreement: int
    rounds: int
    measurement_sd: Mapping[str, float]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    fitted: Fitted

    _figure: ClassVar[str] = "lanesim.figures.fit:draw_fit"

    def story(self) -> Story:
        """Estimates with their intervals, and what the reader should know."""
        rows = [[t.label, f"{self.estimate[i]:.3f}", f"{self.low[i]:.3f} to {self.high[i]:.3f}",
                 t.parameter.unit or "x default"] for i, t in enumerate(self.terms)]
        return Story(f"{self.fitted_to} ({self.source})", (),
                     ["parameter", "estimate", "95 % interval", "unit"], rows,
                     [*self.notes, *self.warnings])

    @property
    def fitted_to(self) -> str:
        """'fitted to 12 shots'."""
        return fitted_to(self.shots)

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of the terms."""
        return tuple(t.label for t in self.terms)

    def index(self, label: str) -> int:
        """Position of a term."""
        if label not in self.labels:
            raise nearest_name(label, self.labels, "fitted parameter")
        return self.labels.index(label)

    def summary(self) -> dict[str, Any]:
        """Estimates, warnings and errors without the per-shot arrays."""
        return {
            "source": self.source, "shots": self.shots, "hand": self.hand, "seed": self.seed,
            "provenance": self.fitted_to,
            "parameters": {
                t.label: {
                    "estimate": float(self.estimate[i]), "low_95": float(self.low[i]),
                    "high_95": float(self.high[i]), "unit": t.parameter.unit or "factor",
                    "prior_sd": t.prior_sd, "sd_over_prior_sd": float(self.sd_share[i]),
                    "words": t.parameter.words, "prior": t.parameter.why,
                } for i, t in enumerate(self.terms)
            },
            "condition_number": self.condition, "directions_seen": self.directions_seen,
            "noise": self.noise, "intervals_widened": self.inflated,
            "loss": "linear" if math.isinf(self.loss_scale) else
                    f"soft_l1 at {self.loss_scale:g} SD",
            "cross_validated": {n: dict(v) for n, v in self.cross_validated.items()},
            "starts": self.starts.tolist(), "starts_agreeing": self.agreement,
            "outlier_lines": [self.lines[i] for i in self.outliers],
            "measurement_sd": dict(self.measurement_sd),
            "warnings": list(self.warnings), "notes": list(self.notes),
        }

    def to_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return self.summary() | {
            "correlation": self.correlation.tolist(),
            "profiles": {n: dict(v) for n, v in self.profiles.items()},
            "columns": list(self.columns), "lines": list(self.lines),
            "measured": self.measured.tolist(), "predicted": self.predicted.tolist(),
            "residual": self.residual.tolist(), "shot_chi2": self.shot_chi2.tolist(),
        }
