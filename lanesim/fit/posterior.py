"""Maximum of a posterior and its width: least squares, a standard normal prior, a robust loss.

Parameters are counted in standard deviations of their prior, so that the prior is one more row per
parameter, beside bounds and a robust loss on the data rows only.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

NORMAL_95 = 1.959963984540054


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
