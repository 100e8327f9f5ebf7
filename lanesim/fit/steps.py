"""From the local problem to the answer: several starts, rounds of search, and the settling.

S, the residuals' covariance, is held while the posterior is solved on the tangent, and all is
repeated until nothing changes: a search on cheap slopes (`spreading.spread_out`), then rounds on
mean, slopes and covariance averaged over many releases of each shot (`spreading.sampled`). The
second part is needed: the path is bumpy in the release, slopes at a few releases scatter, and the
variance of their scatter passes for information.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from ..streams import Stage, stream
from .local import Local, exact, jacobian, look, tangent, whitened
from .posterior import Posterior, robust_loss, solve_posterior
from .shot_model import ShotModel

PROFILE_POINTS = 32  # releases of each shot over which a profile's predictions are averaged
SETTLED = 0.03  # prior SDs: rounds end when no parameter moves by more
_STEPS = np.array([1.0, 0.5, 0.25, 0.1])


def best_of_starts(
    model: ShotModel, loss_scale: float, starts: int, seed: int, rounds: int = 10
) -> tuple[Posterior, Local, np.ndarray, np.ndarray, int]:
    """The best of several starts: posterior, local problem, costs and ends of all, rounds."""
    low, high = model.limits()
    count = len(model.terms)
    hidden = np.arange(count) >= model.asked
    generator = stream(Stage.FIT_STARTS, seed)
    found = []
    for number in range(starts):
        start = np.zeros(count) if number == 0 else np.clip(
            np.where(hidden, 0.0, generator.standard_normal(count)), low, high)
        found.append(descend(model, start, loss_scale, rounds))
    costs = np.array([cost for _, _, cost, _ in found])
    best, local, _, used = found[int(np.argmin(costs))]
    best, local, more = settle(model, best.z, loss_scale)
    ends = np.array([end.z for end, _, _, _ in found])
    return best, local, costs, ends, used + more


def settle(
    model: ShotModel, z: np.ndarray, loss_scale: float, rounds: int = 6
) -> tuple[Posterior, Local, int]:
    """The answer near the end of a search: tangent steps on well averaged slopes.

    Where a step is no shorter than the one before it, half of it is taken.
    """
    before = math.inf
    for number in range(1, rounds + 1):
        local = look(model, z, fine=True)
        best = solve_tangent(model, local, z, loss_scale)
        change = float(np.max(np.abs(best.z - z)))
        if change < SETTLED:
            break
        if number < rounds:
            z = z + (1.0 if change < before else 0.5) * (best.z - z)
            before = change
    return replace(best, z=z), local, number


def descend(
    model: ShotModel, z: np.ndarray, loss_scale: float, rounds: int
) -> tuple[Posterior, Local, float, int]:
    """Rounds of: look at z, solve on the tangent, shorten the step if the engine says so.

    Stops when a round moves no parameter by more than SETTLED.
    """
    for number in range(1, rounds + 1):
        local = look(model, z)
        best = solve_tangent(model, local, z, loss_scale)
        zs = z + _STEPS[:, None] * (best.z - z)
        costs = [cost_of(model, local, told, at, loss_scale)
                 for told, at in zip(exact(model, local, zs), zs, strict=True)]
        moved = zs[int(np.argmin(costs))]
        change = float(np.max(np.abs(moved - z)))
        z, used = moved, number
        if change < SETTLED:
            break
    # the answer, its width and its residuals rest on the slopes at the end point itself
    local = look(model, z)
    best = replace(solve_tangent(model, local, z, loss_scale), z=z)
    # starts are compared with each one's own S, so its determinant counts
    cost = cost_of(model, local, local.mean, z, loss_scale) - local.volume()
    return best, local, cost, used


def cost_of(model: ShotModel, local: Local, expected: np.ndarray, z: np.ndarray,
          loss_scale: float) -> float:
    rows = whitened(model, local, expected)
    return 0.5 * float(robust_loss(len(rows), loss_scale)(rows**2)[0].sum() + z @ z)


def bent(model: ShotModel, local: Local) -> Callable[[np.ndarray], np.ndarray]:
    """z -> expected columns (n, m + 1), averaged by the engine anew; NaN where there are none."""
    def told(z: np.ndarray) -> np.ndarray:
        return look(model, z, fine=True, slopes=False, near=local, points=PROFILE_POINTS).mean

    correction = local.mean - told(local.z0)  # of few releases against many
    return lambda z: told(z) + correction


def solve_tangent(model: ShotModel, local: Local, start: np.ndarray, loss_scale: float,
           **options: Any) -> Posterior:
    """The posterior on the tangent."""
    return solve_posterior(
        lambda z: whitened(model, local, tangent(local, z)),
        lambda z: jacobian(model, local, tangent(local, z), local.slope), start,
        *model.limits(), loss_scale=loss_scale, **options)
