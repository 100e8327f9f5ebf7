"""Fit ball, lane and measuring to a player's own shots, and say what the shots cannot tell.

Model of one shot. The true release x is the measured one plus a common offset b and a random
measuring error; what the ball did is measured with errors of its own::

    x = x_measured + b + e_x,   e_x ~ N(0, R_x)
    y = f(x, p) + e_y,          e_y ~ N(0, R_y)

with f the batch engine, p the parameters of ball, pattern and lane. What is compared with y is the
MEAN of f over the releases that the measurement leaves open, and the residual's covariance is S =
R_y + cov f: a quasi-likelihood, whose estimating equation stays unbiased however bent f is
(Wedderburn 1974; from memory). S is held while scipy's least_squares solves on the tangent, and all
is repeated until nothing changes (`steps`).

The average is over those releases alone that end as the shot did: a ball seen at the pins is not
explained by releases that would have gone into the gutter.

With `films`, the films' own uncertainty is left out. How well the intervals hold stands in
benchmarks/FIT.md.

Every prior and every measuring SD is an ASSUMPTION (no published figures found) and an argument.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError, check_range, nearest_name
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..player import Release, Spread
from .checks import cross_validate, disagreement, noise_of, outliers_of, profile_of, warnings_of
from .fitted import BallFactors, Fitted, LaneFactors, PatternFactors
from .local import jacobian, look, whitened
from .parameters import DEFAULT_PARAMETERS, Term, make_terms, measuring_sds
from .posterior import NORMAL_95
from .result import FitResult
from .shot_model import ShotModel
from .shots_file import ShotLog
from .steps import best_of_starts, solve_tangent


def fit_shots(
    log: ShotLog, balls: Mapping[str, Ball], patterns: Mapping[str, OilPattern], *,
    hand: str = "right", usual: Release | None = None,
    parameters: Sequence[str] = DEFAULT_PARAMETERS,
    spread: Spread | None = None, measurement_sd: Mapping[str, float] | None = None,
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
    usual, spread : stand in for release columns that were never measured: the usual value, and by
        how much a shot differs from it (assumed; default: level "200").
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
                         measurement_sd=measurement_sd, spread=spread, films=films)

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
    best, local, costs, ends, rounds = best_of_starts(model, loss_scale, starts, seed)
    white = whitened(model, local, local.mean)
    noise, inflated = noise_of(white, len(terms))
    if inflated:
        best = solve_tangent(model, local.scaled(noise), best.z, loss_scale)
        local = look(model, best.z, fine=True)
        white = whitened(model, local, local.mean)
    owner = local.owner
    sd = np.sqrt(np.diag(best.covariance))[:len(terms)]
    chosen = [i for i in range(len(terms))
              if profile == "all" or (profile == "flat" and sd[i] > 0.6)]
    profiles = {}
    for i in chosen:
        say(f"profile of {terms[i].label}")
        profiles[terms[i].label] = profile_of(model, local.scaled(noise if inflated else 1.0), best,
                                            i, loss_scale)
    say("cross-validating")
    checked = cross_validate(model, local, best.z, folds, seed, loss_scale)
    slopes = jacobian(model, local, local.mean, local.slope)
    each = np.zeros((len(log), len(best.z), len(best.z)))
    np.add.at(each, owner, slopes[:, :, None] * slopes[:, None, :])
    chi2 = np.zeros(len(log))
    np.add.at(chi2, owner, white**2)
    rows = np.bincount(owner, minlength=len(log))
    outliers = outliers_of(chi2, rows, noise)
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
    warnings = warnings_of(model, terms, best.z, sd, correlation, eigen, noise, inflated,
                           [log.line[i] for i in outliers])
    warnings += disagreement(terms, best.z, sd, costs, ends)
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


def _as_fitted(log: ShotLog, terms: Sequence[Term], estimate: np.ndarray, low: np.ndarray,
               high: np.ndarray, seed: int) -> Fitted:
    value = {(t.kind, t.target): float(e) for t, e in zip(terms, estimate, strict=True)}
    offsets = {t.parameter.column: float(e) for t, e in zip(terms, estimate, strict=True)
               if t.parameter.column and not t.parameter.along
               and np.isfinite(log.column(t.parameter.column)).any()}
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
