"""Fit ball, lane and measuring to a player's own shots, and say what the shots cannot tell.

Model of one shot. The true release x is the measured one plus a common offset b and a random
measuring error; what the ball did is measured with errors of its own::

    x = x_measured + b + e_x,   e_x ~ N(0, R_x)
    y = f(x, p) + e_y,          e_y ~ N(0, R_y)

with f the batch engine, p the parameters of ball, pattern and lane. What is compared with y is the
MEAN of f over the releases that the measurement leaves open, and the residual's covariance is S =
R_y + cov f: a quasi-likelihood, whose estimating equation stays unbiased however bent f is
(Wedderburn 1974; from memory). S is held while scipy's least_squares solves on the tangent, and all
is repeated until nothing changes: a search on cheap second-order divided differences
(ShotModel.spread_out), then rounds on mean, slopes and covariance averaged over 64 releases of each
shot (ShotModel.sampled). The second part is needed: the path is bumpy in the release, slopes at a
few releases scatter, and the variance of their scatter passes for information; it made SDs 3 to
10 % too small along the combination of friction, oil and angle that the shots hardly fix.

The average is over those releases alone that end as the shot did: a ball seen at the pins is not
explained by releases that would have gone into the gutter.

Do the 95 % intervals hold 95 %? Measured with 15 shots, 4 parameters (friction, oil, angle,
rotation), truths drawn from the prior, 200 seeds named beforehand: 189, 192, 190, 194 hits (94.5,
96.0, 95.0, 97.0 %). On the same draws a plane in the engine's place gives 190, 194, 192, 196, a
quadratic surface 187, 192, 191, 195. With the plane, taken for nominal, as control variate the mean
square of error/SD is 1.06 +- 0.05, 1.02 +- 0.05, 1.01 +- 0.05, 1.02 +- 0.04: the SDs are right
within a few per cent. On the seeds 1000-1059, where an earlier form had 55, 55, 52, 50 of 60, it is
56, 57, 54, 50, and 56, 57, 55, 51 with the plane: unlucky draws. Tried and dropped, no better:
importance sampling of the posterior, SDs taken at the interval's own end (as Wilson's interval
does), secant slopes. With `films`, the films' own uncertainty is left out.

Parameters are counted in standard deviations of their prior, so that the prior is one more row per
parameter, beside bounds, a robust loss on the data rows only, and several starts.

Every prior and every measuring SD is an ASSUMPTION (no published figures found) and an argument.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError, check_range, nearest_name
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..player import Release
from ..streams import Stage, stream
from .fitted import BallFactors, Fitted, LaneFactors, PatternFactors, fitted_to
from .shot_model import (
    DEFAULT_PARAMETERS,
    PARAMETERS,
    RELEASES,
    Local,
    ShotModel,
    Term,
    exact,
    jacobian,
    look,
    measuring_sds,
    tangent,
    whitened,
)
from .shots_file import ShotLog

PROFILE_POINTS = 32  # releases of each shot over which a profile's predictions are averaged
NORMAL_95 = 1.959963984540054
SETTLED = 0.03  # prior SDs: rounds end when no parameter moves by more


@dataclass(frozen=True)
class Posterior:
    """Minimum of half the robust sum plus half the prior's squares, and the width round it.

    z : (P,); cost : at z; covariance : (P, P) of z; information : (P, P) J^T J of the data rows.
    """

    z: np.ndarray
    cost: float
    covariance: np.ndarray
    information: np.ndarray
    evaluations: int


@cache
def robust_constants(scale: float) -> tuple[float, float]:
    """E psi' and E psi^2 for standard normal residuals and the loss of that scale; inf: (1, 1).

    psi(r) = r/sqrt(1 + (r/c)^2), the derivative of c^2 (sqrt(1 + (r/c)^2) - 1). Huber, Robust
    Statistics: the estimator's covariance is E psi^2/(E psi')^2 times the least-squares one.
    """
    if math.isinf(scale):
        return 1.0, 1.0
    nodes, weights = np.polynomial.hermite_e.hermegauss(101)
    weights = weights / weights.sum()
    bend = 1.0 + (nodes / scale) ** 2
    return float(weights @ bend**-1.5), float(weights @ (nodes**2 / bend))


def loss_weight(scale: float) -> float:
    """E psi'/E psi^2, by which the robust loss is multiplied.

    Then the curvature of the posterior is that of the information in the shots: with information I
    of plain least squares, the loss has curvature E psi' I and its score variance E psi^2 I, so the
    estimator knows (E psi')^2/E psi^2 I, which is this weight times E psi' I. Without it the data
    would count too little against the prior (a calibrated general posterior: Lyddon, Holmes &
    Walker, Biometrika 106, 465 (2019); from memory).
    """
    bend, square = robust_constants(scale)
    return bend / square


def robust_loss(rows: int, scale: float) -> Callable[[np.ndarray], np.ndarray]:
    """soft_l1 with a stated scale on the first `rows` residuals, plain squares on the rest.

    For scipy's least_squares: rho, rho', rho'' as functions of the squared residual. Weighted by
    `loss_weight`.
    """
    weight = loss_weight(scale)

    def loss(squared: np.ndarray) -> np.ndarray:
        out = np.zeros((3, len(squared)))
        out[0], out[1] = squared, 1.0
        if math.isfinite(scale):
            bend = 1.0 + squared[:rows] / scale**2
            out[0, :rows] = weight * 2 * scale**2 * (np.sqrt(bend) - 1.0)
            out[1, :rows] = weight * bend**-0.5
            out[2, :rows] = -weight * 0.5 / scale**2 * bend**-1.5
        return out

    return loss


def solve_posterior(
    residual: Callable[[np.ndarray], np.ndarray], slopes: Callable[[np.ndarray], np.ndarray],
    start: np.ndarray, low: np.ndarray, high: np.ndarray, *, loss_scale: float = math.inf,
    held: Mapping[int, float] | None = None, max_evaluations: int = 30,
) -> Posterior:
    """Maximum of the posterior of z with a standard normal prior on each, by least_squares.

    Parameters
    ----------
    residual, slopes : z -> whitened data residuals (rows,), their Jacobian (rows, P).
    loss_scale : of the soft_l1 loss, in SDs; inf is plain least squares (then, for a linear model,
        the result is the closed-form Gaussian posterior: tests/verification/test_fit_recovery.py).
    held : index -> value of parameters that are kept fixed (profiles).
    """
    from scipy.optimize import least_squares

    free = np.array([i for i in range(len(start)) if i not in (held or {})], dtype=int)
    whole = start.copy()
    for i, value in (held or {}).items():
        whole[i] = value

    def fill(part: np.ndarray) -> np.ndarray:
        z = whole.copy()
        z[free] = part
        return z

    first = np.clip(whole[free], low[free] + 1e-9, high[free] - 1e-9)
    rows = len(residual(fill(first)))
    loss = robust_loss(rows, loss_scale)
    held_prior = 0.5 * float(sum(v * v for v in (held or {}).values()))
    if len(free) == 0:
        squares = residual(whole) ** 2
        cost = 0.5 * float(loss(squares)[0].sum())
        nothing = np.zeros((0, 0))
        return Posterior(whole, cost + held_prior, nothing, nothing, 1)
    found = least_squares(
        lambda part: np.concatenate([residual(fill(part)), part]), first,
        jac=lambda part: np.vstack([slopes(fill(part))[:, free], np.eye(len(free))]),
        bounds=(low[free], high[free]), loss=loss, xtol=1e-5, ftol=1e-7, gtol=1e-7,
        max_nfev=max_evaluations,
    )
    z = fill(found.x)
    data = slopes(z)
    information = data.T @ data
    part = information[np.ix_(free, free)]
    bend, _ = robust_constants(loss_scale)
    covariance = np.linalg.inv(loss_weight(loss_scale) * bend * part + np.eye(len(free)))
    return Posterior(z, float(found.cost) + held_prior, covariance, information, int(found.nfev))


@dataclass(frozen=True)
class FitResult:
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


def make_terms(
    log: ShotLog, parameters: Sequence[str], prior_sd: Mapping[str, float] | None = None
) -> tuple[tuple[Term, ...], list[str]]:
    """The terms for those parameter kinds, and notes on what was added or left out.

    Offsets of columns that were never measured are added with a loose prior: the player's usual
    value is not known, and leaving that out would make every interval too narrow.
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


def fit_shots(
    log: ShotLog, balls: Mapping[str, Ball], patterns: Mapping[str, OilPattern], *,
    hand: str = "right", usual: Release | None = None,
    parameters: Sequence[str] = DEFAULT_PARAMETERS,
    measurement_sd: Mapping[str, float] | None = None,
    prior_sd: Mapping[str, float] | None = None, friction: FrictionModel = DEFAULT_FRICTION,
    loss_scale: float = 3.0, starts: int = 3, seed: int = 0, folds: int = 5,
    profile: str = "flat", films: Mapping[tuple[str, int], np.ndarray] | None = None,
    progress: Callable[[str], None] | None = None,
) -> FitResult:
    """Estimate parameters from measured shots.

    Parameters
    ----------
    log : the shots; every shot names its ball and pattern (ShotLog.with_names fills gaps).
    balls, patterns : by the names used in the log.
    usual : stands in for release columns that were never measured (assumed).
    parameters : kinds, see PARAMETERS. prior_sd, measurement_sd : replace assumed SDs.
    loss_scale : of the soft_l1 loss in SDs; inf for plain least squares.
    starts : number of starts (the first at the defaults, the others drawn from the prior).
    folds : of the cross-validation, 0 for none. profile : 'flat' (where the shots say little),
        'all' or 'none'.
    films : (pattern, game) -> film (60, 39) [m] in the player's boards, when the lane changed
        between games; default: the pattern as laid in every game.

    Raises
    ------
    InputError
        for unknown names, no usable measurement, or options out of range.
    """
    say = progress or (lambda _: None)
    _check_names(log, balls, patterns)
    check_range("starts", starts, 1, 50)
    check_range("folds", folds, 0, 50)
    if not (math.isinf(loss_scale) and loss_scale > 0):
        check_range("loss scale", loss_scale, 0.5, 1000)
    if profile not in {"flat", "all", "none"}:
        raise InputError(f"profile is '{profile}'; accepted: flat, all, none")
    terms, notes = make_terms(log, parameters, prior_sd)

    def build(part: ShotLog) -> ShotModel:
        return ShotModel(part, balls, patterns, terms, hand=hand, usual=usual, friction=friction,
                         measurement_sd=measurement_sd, films=films)

    model = build(log)
    useful = np.isfinite(model.y[:, ~model.is_aim]).any(axis=1) | ~np.isnan(model.window[:, 1])
    if not useful.any():
        raise InputError(f"{log.source}: no shot has a measured result that a fit can use "
                         "(boards, breakpoint, entry, speed at the pins, or an outcome at the head "
                         "pin: a gutter ball alone tells nothing of where it went)")
    if not useful.all():
        notes.append(f"{int((~useful).sum())} of {len(log)} shots have no result that a fit can "
                     "use and were left out (lines "
                     + ", ".join(str(log.line[i]) for i in np.flatnonzero(~useful)[:10]) + ")")
        log = log.take(np.flatnonzero(useful))
        model = build(log)
    say("estimating")
    best, local, costs, rounds = _estimate(model, loss_scale, starts, seed)
    white = whitened(model, local, local.mean)
    noise, inflated = _noise(white, len(terms))
    if inflated:
        best = _solve(model, local.scaled(noise), best.z, loss_scale)
        local = look(model, best.z, fine=True)
        white = whitened(model, local, local.mean)
    owner = local.owner
    sd = np.sqrt(np.diag(best.covariance))[:len(terms)]
    chosen = [i for i in range(len(terms))
              if profile == "all" or (profile == "flat" and sd[i] > 0.6)]
    profiles = {}
    for i in chosen:
        say(f"profile of {terms[i].label}")
        profiles[terms[i].label] = _profile(model, local.scaled(noise if inflated else 1.0), best,
                                            i, loss_scale)
    say("cross-validating")
    checked = _cross_validate(model, local, best.z, folds, seed, loss_scale)
    slopes = jacobian(model, local, local.mean, local.slope)
    each = np.zeros((len(log), len(best.z), len(best.z)))
    np.add.at(each, owner, slopes[:, :, None] * slopes[:, None, :])
    chi2 = np.zeros(len(log))
    np.add.at(chi2, owner, white**2)
    rows = np.bincount(owner, minlength=len(log))
    outliers = _outliers(chi2, rows, noise)
    expected = local.mean[:, :-1]
    # of the parameters asked for, with the errors of the release means integrated out
    asked = best.covariance[:len(terms), :len(terms)]
    eigen = np.linalg.eigvalsh(np.linalg.inv(asked) - np.eye(len(terms)))
    correlation = asked / np.outer(sd, sd)
    condition = float((eigen[-1] + 1.0) / (max(eigen[0], 0.0) + 1.0))
    values = [t.parameter.value for t in terms]
    estimate = np.array([v(z) for v, z in zip(values, best.z, strict=False)])
    low = np.array([v(z - NORMAL_95 * s) for v, z, s in zip(values, best.z, sd, strict=False)])
    high = np.array([v(z + NORMAL_95 * s) for v, z, s in zip(values, best.z, sd, strict=False)])
    agreement = int(np.sum(costs < costs.min() + 0.5))
    warnings = _warnings(model, terms, best.z, sd, correlation, eigen, agreement, len(costs),
                         noise, inflated, [log.line[i] for i in outliers])
    return FitResult(
        source=log.source, shots=len(log), hand=hand, seed=seed, terms=terms, estimate=estimate,
        low=low, high=high, sd_share=sd, correlation=correlation, condition=condition,
        directions_seen=int(np.sum(eigen > 1.0)), z=best.z, covariance=best.covariance,
        shot_information=each, profiles=profiles, columns=model.columns, lines=log.line,
        shot_ball=log.ball,
        measured=model.y, predicted=expected, residual=model.y - expected, shot_chi2=chi2,
        shot_rows=rows, outliers=tuple(outliers), noise=noise, inflated=inflated,
        loss_scale=loss_scale, cross_validated=checked, starts=costs, agreement=agreement,
        rounds=rounds, measurement_sd=measuring_sds(measurement_sd), warnings=tuple(warnings),
        notes=tuple(notes), fitted=_as_fitted(log, terms, estimate, low, high, seed),
    )


def _check_names(log: ShotLog, balls: Mapping[str, Ball],
                 patterns: Mapping[str, OilPattern]) -> None:
    for kind, names, known in (("ball", log.ball, balls), ("pattern", log.pattern, patterns)):
        for line, name in zip(log.line, names, strict=True):
            if not name:
                raise InputError(f"{log.source} line {line}: no {kind} named; add a column "
                                 f"'{kind}' or name one for all shots")
            if name not in known:
                raise InputError(f"{log.source} line {line}: "
                                 + str(nearest_name(name, known, kind)))


def _estimate(
    model: ShotModel, loss_scale: float, starts: int, seed: int, rounds: int = 10
) -> tuple[Posterior, Local, np.ndarray, int]:
    """The best of several starts: its posterior, the local problem it rests on, costs, rounds."""
    low, high = model.limits()
    count = len(model.terms)
    hidden = np.arange(count) >= model.asked
    generator = stream(Stage.FIT_STARTS, seed)
    found = []
    for number in range(starts):
        start = np.zeros(count) if number == 0 else np.clip(
            np.where(hidden, 0.0, generator.standard_normal(count)), low, high)
        found.append(_descend(model, start, loss_scale, rounds))
    costs = np.array([cost for _, _, cost, _ in found])
    best, local, _, used = found[int(np.argmin(costs))]
    best, local, more = _settle(model, best.z, loss_scale)
    return best, local, costs, used + more


def _settle(
    model: ShotModel, z: np.ndarray, loss_scale: float, rounds: int = 6
) -> tuple[Posterior, Local, int]:
    """The answer near the end of a search: tangent steps on well averaged slopes.

    Where a step is no shorter than the one before it, half of it is taken.
    """
    before = math.inf
    for number in range(1, rounds + 1):
        local = look(model, z, fine=True)
        best = _solve(model, local, z, loss_scale)
        change = float(np.max(np.abs(best.z - z)))
        if change < SETTLED:
            break
        if number < rounds:
            z = z + (1.0 if change < before else 0.5) * (best.z - z)
            before = change
    return replace(best, z=z), local, number


_STEPS = np.array([1.0, 0.5, 0.25, 0.1])


def _descend(
    model: ShotModel, z: np.ndarray, loss_scale: float, rounds: int
) -> tuple[Posterior, Local, float, int]:
    """Rounds of: look at z, solve on the tangent, shorten the step if the engine says so.

    Stops when a round moves no parameter by more than SETTLED.
    """
    for number in range(1, rounds + 1):
        local = look(model, z)
        best = _solve(model, local, z, loss_scale)
        zs = z + _STEPS[:, None] * (best.z - z)
        cost = [_cost(model, local, told, at, loss_scale)
                for told, at in zip(exact(model, local, zs), zs, strict=True)]
        moved = zs[int(np.argmin(cost))]
        change = float(np.max(np.abs(moved - z)))
        z, used = moved, number
        if change < SETTLED:
            break
    # the answer, its width and its residuals rest on the slopes at the end point itself
    local = look(model, z)
    best = replace(_solve(model, local, z, loss_scale), z=z)
    # starts are compared with each one's own S, so its determinant counts
    cost = _cost(model, local, local.mean, z, loss_scale) - local.volume()
    return best, local, cost, used


def _cost(model: ShotModel, local: Local, expected: np.ndarray, z: np.ndarray,
          loss_scale: float) -> float:
    rows = whitened(model, local, expected)
    return 0.5 * float(robust_loss(len(rows), loss_scale)(rows**2)[0].sum() + z @ z)


def _bent(model: ShotModel, local: Local) -> Callable[[np.ndarray], np.ndarray]:
    """z -> expected columns (n, m + 1), averaged by the engine anew; NaN where there are none."""
    def told(z: np.ndarray) -> np.ndarray:
        return look(model, z, fine=True, slopes=False, near=local, points=PROFILE_POINTS).mean

    correction = local.mean - told(local.z0)  # of few releases against many
    return lambda z: told(z) + correction


def _solve(model: ShotModel, local: Local, start: np.ndarray, loss_scale: float,
           **options: Any) -> Posterior:
    """The posterior on the tangent."""
    return solve_posterior(
        lambda z: whitened(model, local, tangent(local, z)),
        lambda z: jacobian(model, local, tangent(local, z), local.slope), start,
        *model.limits(), loss_scale=loss_scale, **options)


def _noise(white: np.ndarray, parameters: int) -> tuple[float, bool]:
    """Robust SD of the whitened residuals, and whether it is significantly above 1.

    1.4826 times the median absolute residual; its relative standard error for normal residuals is
    1.167/sqrt(n) (efficiency 37 %, textbook), so 2.33 of those mark the one-sided 1 % point.
    """
    count = len(white)
    if count < 2 * parameters or count < 8:
        return 1.0, False
    spread = 1.4826 * float(np.median(np.abs(white))) * math.sqrt(count / (count - parameters))
    return spread, spread > 1.0 + 2.33 * 1.167 / math.sqrt(count)


def _outliers(chi2: np.ndarray, rows: np.ndarray, noise: float) -> list[int]:
    """Shots whose squared residuals would come up once in 20 files by chance (Bonferroni)."""
    from scipy.stats import chi2 as chi2_law

    chance = chi2_law.sf(chi2 / max(noise, 1.0) ** 2, np.maximum(rows, 1))
    return [int(i) for i in np.flatnonzero(chance < 0.05 / len(chi2))]


def _profile(model: ShotModel, local: Local, best: Posterior, index: int,
             loss_scale: float) -> dict[str, Any]:
    """Rise of -2 log posterior along one parameter, the others refitted; 95 % where it is 3.84.

    Predictions are averages of the engine (the tangent alone would give the parabola that we want
    to check), slopes the tangent's.
    """
    low, high = model.limits()
    expect = _bent(model, local)
    sd = math.sqrt(best.covariance[index, index])
    along = best.covariance[:, index] / sd**2  # how the others follow, to start near their best

    def refitted(start: np.ndarray, held: Mapping[int, float]) -> float:
        at = replace(local, z0=start, mean=expect(start))
        found = _solve(model, at, start, loss_scale, held=held)
        return _cost(model, local, expect(found.z), found.z, loss_scale)

    grid = np.unique(np.clip(best.z[index] + sd * np.array([-2.8, -1.9, -1, 0, 1, 1.9, 2.8]),
                             low[index], high[index]))
    cost = np.array([
        refitted(np.clip(best.z + along * (value - best.z[index]), low, high),
                 {index: float(value)}) for value in grid])
    rise_array = 2.0 * (cost - min(cost.min(), refitted(best.z, {})))
    parameter = model.terms[index].parameter

    def crossing(side: int) -> float:
        lowest = grid[int(np.argmin(rise_array))]
        inside = grid <= lowest if side < 0 else grid >= lowest
        z, r = grid[inside], np.sqrt(rise_array[inside])
        if side < 0:
            z, r = z[::-1], r[::-1]
        if r[-1] < NORMAL_95:
            return float(parameter.value(z[-1]))  # not reached inside the bounds
        return float(parameter.value(np.interp(NORMAL_95, np.maximum.accumulate(r), z)))

    return {"value": parameter.value(grid).tolist(), "rise": rise_array.tolist(),
            "low": crossing(-1), "high": crossing(+1)}


def _cross_validate(
    model: ShotModel, local: Local, z: np.ndarray, folds: int, seed: int, loss_scale: float
) -> dict[str, dict[str, float]]:
    """RMS error of each column on shots that the fit had not seen, against the assumed defaults.

    The fit without a fold is solved on the tangent at the whole fit, whose averages over the open
    releases it shares; the held-out shots are then looked at anew, with averages as fine as the
    fit's. They are predicted from their measured release (with the arrow board, which is an aim)
    and how they ended. A ball or pattern that only the held-out fold has keeps its prior.
    """
    shots = len(model.log)
    folds = min(folds, shots)
    if folds < 2:
        return {}
    generator = stream(Stage.FIT_FOLDS, seed)
    order = generator.permutation(shots)
    fitted = np.empty_like(local.mean)
    for fold in range(folds):
        held = np.isin(np.arange(shots), order[fold::folds])
        found = _solve(model, local.only(~held), z, loss_scale)
        fitted[held] = look(model, found.z, fine=True, slopes=False).mean[held]
    assumed = look(model, np.zeros_like(z), fine=True, slopes=False).mean
    out = {}
    for c, name in enumerate(model.columns):
        pair = np.array([model.y[:, c] - assumed[:, c], model.y[:, c] - fitted[:, c]])
        pair = pair[:, np.isfinite(pair).all(axis=0)]
        if not model.is_aim[c] and pair.size:
            rms = np.sqrt(np.mean(pair**2, axis=1))
            out[name] = {"assumed_rms": float(rms[0]), "fitted_rms": float(rms[1]),
                         "shots": pair.shape[1]}
    return out


def _warnings(
    model: ShotModel, terms: Sequence[Term], z: np.ndarray, sd: np.ndarray,
    correlation: np.ndarray, eigen: np.ndarray, agreement: int, starts: int, noise: float,
    inflated: bool, outlier_lines: Sequence[int],
) -> list[str]:
    out = []
    for i, term in enumerate(terms):
        if sd[i] > 0.9:
            out.append(f"your shots say nothing about {term.label}: its interval is the assumed "
                       f"one (SD {sd[i]:.0%} of the prior's)")
        elif sd[i] > 0.6:
            out.append(f"your shots say little about {term.label} (SD {sd[i]:.0%} of the prior's)")
    for i in range(len(terms)):
        for j in range(i):
            if abs(correlation[i, j]) > 0.9:
                out.append(f"{terms[j].label} and {terms[i].label} cannot be told apart "
                           f"(correlation {correlation[i, j]:+.2f}): only their combination is "
                           "known")
    seen = int(np.sum(eigen > 1.0))
    if seen < len(terms):
        out.append(f"the shots fix {seen} of {len(terms)} independent combinations; the rest "
                   "rests on the priors")
    low, high = model.limits()
    for i, term in enumerate(terms):
        if z[i] < low[i] + 0.02 or z[i] > high[i] - 0.02:
            out.append(f"{term.label} ran into its bound: check units, ball and pattern")
        elif abs(z[i]) > 3.0:
            out.append(f"{term.label} is {abs(z[i]):.1f} prior SDs from its default: check units, "
                       "ball and pattern")
    if agreement < starts:
        out.append(f"only {agreement} of {starts} starts ended at the best fit; the others got "
                   "stuck elsewhere")
    if inflated:
        out.append(f"residuals are {noise:.1f} times as large as the stated measuring SDs; the "
                   "intervals were widened by that")
    if outlier_lines:
        out.append("these lines do not fit the rest and hardly counted: "
                   + ", ".join(str(n) for n in outlier_lines))
    return out


def _as_fitted(log: ShotLog, terms: Sequence[Term], estimate: np.ndarray, low: np.ndarray,
               high: np.ndarray, seed: int) -> Fitted:
    value = {(t.kind, t.target): float(e) for t, e in zip(terms, estimate, strict=True)}
    offsets = {t.parameter.column: float(e) for t, e in zip(terms, estimate, strict=True)
               if t.parameter.column and np.isfinite(log.column(t.parameter.column)).any()}
    kinds = {t.kind for t in terms}
    by_ball = kinds & {"ball_friction", "ball_roughness", "ball_uptake"}
    return Fitted(
        shots=len(log), source=log.source, seed=seed,
        balls={b: BallFactors(value.get(("ball_friction", b), 1.0),
                              value.get(("ball_roughness", b), 1.0),
                              value.get(("ball_uptake", b), 1.0))
               for b in sorted(set(log.ball))} if by_ball else {},
        patterns={p: PatternFactors(value[("oil_amount", p)])
                  for p in sorted(set(log.pattern))} if "oil_amount" in kinds else {},
        lane=LaneFactors(value.get(("lane_roughness", ""), 1.0),
                         value.get(("lambda_ref", ""), 1.0)),
        release_offsets=offsets,
        intervals={t.label: (float(a), float(b))
                   for t, a, b in zip(terms, low, high, strict=True)},
    )


def films_by_game(
    log: ShotLog, balls: Mapping[str, Ball], patterns: Mapping[str, OilPattern], *,
    hand: str = "right", usual: Release | None = None, lanes: int = 2, seed: int = 1,
    friction: FrictionModel = DEFAULT_FRICTION,
) -> dict[tuple[str, int], np.ndarray]:
    """Film of each (pattern, game) of the log when this player alone plays on, for `fit_shots`.

    Game 1 is on the pattern as laid; before game g the player has thrown g - 1 games with the ball
    and the mean release of the shots on that pattern (`transition.pattern_after`; nobody moves,
    spread of level "200": assumed).

    The films are one draw of what such a player leaves, and the fit takes them as known. Where
    shots are measured to 0.1 board that shows: on invented shots of game 5 they took away 4/5 of
    the excess residuals of a fit on fresh oil, yet ball friction came out 0.5 prior SDs (8 %) off,
    far outside its interval (with the true film: inside). The fit then warns of large residuals.
    """
    from ..player import LEVELS, Player
    from ..studies.transition import Entrant, pattern_after

    usual = usual or Release(hand=hand)
    out: dict[tuple[str, int], np.ndarray] = {}
    for name in sorted(set(log.pattern)):
        mine = log.take([i for i, p in enumerate(log.pattern) if p == name])
        ball = balls[max(sorted(set(mine.ball)), key=mine.ball.count)]
        # the model's own reading of the releases, straight lines where only an arrow was seen
        model = ShotModel(mine, balls, patterns, (), hand=hand, usual=usual, friction=friction)
        middle = dict(zip(RELEASES, model.x_measured.mean(axis=0).tolist(), strict=True))
        player = Player("player", Release(**middle, hand=hand), LEVELS["200"])
        states = pattern_after(patterns[name], max(mine.game) - 1, [Entrant(player, ball)],
                               seed=seed, lanes=lanes, friction=friction)
        for game in sorted(set(mine.game)):
            out[name, game] = states[game - 1].film_m(hand)
    return out
