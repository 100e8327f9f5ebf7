"""How far an answer may be trusted: noise, misread shots, profiles, held-out shots, warnings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..streams import Stage, stream
from .local import Local, look
from .parameters import Term
from .posterior import NORMAL_95, Posterior
from .shot_model import ShotModel
from .steps import bent, cost_of, solve_tangent


def noise_of(white: np.ndarray, parameters: int) -> tuple[float, bool]:
    """Robust SD of the whitened residuals, and whether it is significantly above 1.

    1.4826 times the median absolute residual; its relative standard error for normal residuals is
    1.167/sqrt(n) (efficiency 37 %, textbook), so 2.33 of those mark the one-sided 1 % point.
    """
    count = len(white)
    if count < 2 * parameters or count < 8:
        return 1.0, False
    spread = 1.4826 * float(np.median(np.abs(white))) * math.sqrt(count / (count - parameters))
    return spread, spread > 1.0 + 2.33 * 1.167 / math.sqrt(count)


def outliers_of(chi2: np.ndarray, rows: np.ndarray, noise: float) -> list[int]:
    """Shots whose squared residuals would come up once in 20 files by chance (Bonferroni)."""
    from scipy.stats import chi2 as chi2_law

    chance = chi2_law.sf(chi2 / max(noise, 1.0) ** 2, np.maximum(rows, 1))
    return [int(i) for i in np.flatnonzero(chance < 0.05 / len(chi2))]


def profile_of(model: ShotModel, local: Local, best: Posterior, index: int,
             loss_scale: float) -> dict[str, Any]:
    """Rise of -2 log posterior along one parameter, the others refitted; 95 % where it is 3.84.

    Predictions are averages of the engine (the tangent alone would give the parabola that we want
    to check), slopes the tangent's.
    """
    low, high = model.limits()
    expect = bent(model, local)
    sd = math.sqrt(best.covariance[index, index])
    along = best.covariance[:, index] / sd**2  # how the others follow, to start near their best

    def refitted(start: np.ndarray, held: Mapping[int, float]) -> float:
        at = replace(local, z0=start, mean=expect(start))
        found = solve_tangent(model, at, start, loss_scale, held=held)
        return cost_of(model, local, expect(found.z), found.z, loss_scale)

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


def cross_validate(
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
        found = solve_tangent(model, local.only(~held), z, loss_scale)
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


def disagreement(
    terms: Sequence[Term], z: np.ndarray, sd: np.ndarray, costs: np.ndarray, ends: np.ndarray
) -> list[str]:
    """What it means that not all starts ended at the best fit: where the next best one differs.

    costs : (starts,) minus log posterior; ends : (starts, P) where they ended.
    """
    worse = costs - costs.min()
    away = np.flatnonzero(worse >= 0.5)
    if not len(away):
        return []
    text = f"only {len(costs) - len(away)} of {len(costs)} starts ended at the best fit"
    other = away[int(np.argmin(worse[away]))]
    apart = [i for i in range(len(terms)) if abs(ends[other, i] - z[i]) > sd[i]]
    times = math.exp(min(worse[other], 20.0))
    chance = f"{times:.2g} times less likely" if worse[other] < 14.0 else "next to impossible"
    if not apart:
        return [f"{text}; the next one differs from it by less than its own interval ({chance})"]
    there = ", ".join(f"{terms[i].label} {terms[i].parameter.value(ends[other, i]):.2f} for "
                      f"{terms[i].parameter.value(z[i]):.2f}" for i in apart)
    return [f"{text}; another answer is {there} ({chance}): more starts, or shots that tell the "
            "two apart, would settle it"]


def warnings_of(
    model: ShotModel, terms: Sequence[Term], z: np.ndarray, sd: np.ndarray,
    correlation: np.ndarray, eigen: np.ndarray, noise: float, inflated: bool,
    outlier_lines: Sequence[int],
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
    if inflated:
        out.append(f"residuals are {noise:.1f} times as large as the stated measuring SDs; the "
                   "intervals were widened by that")
    if outlier_lines:
        out.append("these lines do not fit the rest and hardly counted: "
                   + ", ".join(str(n) for n in outlier_lines))
    return out
