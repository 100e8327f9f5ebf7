"""Predictions averaged over the releases that a measurement leaves open."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from ..player import normal_deviates
from ..streams import Stage
from .shot_model import STEP_Z

if TYPE_CHECKING:
    from .shot_model import ShotModel

POINTS = 64  # releases of each shot over which the answer's slopes are averaged
# finite-difference steps of the release (RELEASES): wide against the engine's noise
STEP_X = np.array([0.25, 0.1, 0.1, 8.0, 2.0, 1.5])
# releases that must end as the shot did for an average over them alone: a mean and slopes in six
# columns of the release are seven unknowns, and one more tells how far off they are
FEWEST = 8


@dataclass(frozen=True)
class Aimed:
    """Releases x (n, 6) with covariance (n, 6, 6); `keep` (n, 6, 6) = dx/d(offset) and
    `pull` (n, 6) = -dx/d(board predicted at the arrows)."""

    x: np.ndarray
    covariance: np.ndarray
    keep: np.ndarray
    pull: np.ndarray


@dataclass(frozen=True)
class Spreading:
    """Predictions of a spread-out release; the last of the m + 1 columns is the entry board.

    middle, mean : (n, m + 1) at the centre and averaged; slope : (n, m + 1, 6) in SDs of the
    root's columns; covariance : (n, m + 1, m + 1); by_z : (n, m + 1, P) slopes in z where they come
    from the same releases (0 for the release offsets), else None.
    """

    middle: np.ndarray
    mean: np.ndarray
    slope: np.ndarray
    covariance: np.ndarray
    by_z: np.ndarray | None = None


def aimed_releases(model: ShotModel, z: np.ndarray, rounds: int = 3) -> Aimed:
    """Releases as known BEFORE looking at what the ball did: measured, offset, and aim.

    A measured arrow board is part of the release: x ~ N(x_c, R_x) is conditioned on it by
    Gauss-Newton, x = x_c + K (y - f(x) - g (x_c - x)), K = R_x g^T/(g R_x g^T + sd^2) with
    the slope g of the board at the arrows in x, by central differences.
    """
    centre = model.centre(z)
    count = len(centre)
    before = covariance = model.release_covariance(z)
    keep = np.repeat(np.eye(6)[None], count, axis=0)
    pull = np.zeros((count, 6))
    if not model.is_aim.any():
        return Aimed(centre, covariance, keep, pull)
    aim = int(np.flatnonzero(model.is_aim)[0])
    seen = np.isfinite(model.y[:, aim])
    x = centre.copy()
    for _ in range(rounds):
        xs = np.repeat(x[None], 13, axis=0)
        for c in range(6):
            xs[2 * c + 1, :, c] += STEP_X[c]
            xs[2 * c + 2, :, c] -= STEP_X[c]
        out = model.predict(np.repeat(z[None], 13, axis=0), xs).filled
        f = out[0, :, aim]
        g = ((out[1::2, :, aim] - out[2::2, :, aim]) / (2 * STEP_X[:, None])).T
        spread = np.einsum("nc,ncd,nd->n", g, before, g) + model.y_sd[aim] ** 2
        pull = np.einsum("ncd,nd->nc", before, g) / spread[:, None] * seen[:, None]
        gap = np.where(seen, model.y[:, aim] - f - np.einsum("nc,nc->n", g, centre - x), 0.0)
        x = centre + pull * gap[:, None]
    keep -= pull[:, :, None] * g[:, None, :]
    covariance = np.einsum("ncd,nde->nce", keep, before)
    return Aimed(x, 0.5 * (covariance + covariance.transpose(0, 2, 1)), keep, pull)


def spread_out(model: ShotModel, z: np.ndarray, x: np.ndarray, root: np.ndarray) -> Spreading:
    """Mean, slopes and covariance of the prediction when x ~ N(x, root root^T).

    Second-order divided differences at h = sqrt(3) (Norgaard, Poulsen & Ravn, Automatica 36,
    1627 (2000), equations from memory): exact for a quadratic f but for cross terms. One
    engine call of 13 points a shot.

    root : (n, 6, 6) square roots of the covariance of each shot's release.
    """
    h2 = 3.0
    h = math.sqrt(h2)
    xs = np.repeat(x[None], 13, axis=0)
    for c in range(6):
        xs[2 * c + 1] += h * root[:, :, c]
        xs[2 * c + 2] -= h * root[:, :, c]
    told = model.predict(np.repeat(z[None], 13, axis=0), xs)
    both = told.filled
    middle, up, down = both[0], both[1::2], both[2::2]
    # a point that ends otherwise than the shot did is replaced by its mirror image
    good, up_good, down_good = (part[..., None] for part in (
        told.alike[0], told.alike[1::2], told.alike[2::2]))
    up, down = (np.where(good & ~up_good & down_good, 2 * middle - down, up),
                np.where(good & up_good & ~down_good, 2 * middle - up, down))
    first = (up - down) / (2 * h)
    second = (up + down - 2 * middle) / h2
    mean = middle + 0.5 * second.sum(axis=0)
    weight = 0.25 * (h2 - 1.0)
    covariance = np.einsum("cni,cnj->nij", first, first)
    covariance += weight * np.einsum("cni,cnj->nij", second, second)
    return Spreading(middle, mean, np.moveaxis(first, 0, -1), covariance)


def sampled(
    model: ShotModel, z: np.ndarray, x: np.ndarray, root: np.ndarray, *, slopes: bool = True,
    points: int = POINTS,
) -> Spreading:
    """`spread_out` and `parameter_slopes` by many releases (`points`) of each shot.

    The path is bent and bumpy in the release (the oil comes in boards), so slopes at a few
    releases scatter, and J^T J of scattered slopes is too large: their variance passes for
    information, most of all along combinations that the shots hardly fix. Here the mean, its
    slopes in z (the same releases at both ends of a step) and the covariance are averages over
    even normal deviates (`even_deviates`); slopes in x are those of the regression on u, of
    which the linear part of the covariance is made.

    All of them are CONDITIONAL on how the shot is known to have ended: a release that would
    have gone into the gutter is no explanation of a ball that was seen at the pins, and its
    stand-in entry would drag the mean boards away. Where fewer than FEWEST of them end as the
    shot did, all count, with the end of the path for what they never reached, so that the
    residual still points back.

    The mean of x shifts the conditional mean by cov(f, u | kept) (Stein's identity), not by
    the regression's slope: the releases kept move less than their mean.

    slopes : False leaves the slopes in z at 0, for a fraction of the throws.
    """
    u = even_deviates(points, 6, Stage.FIT_POINTS)
    count, shots = len(u), len(x)
    xs = x + np.einsum("nck,rk->rnc", root, u)
    # one step for all balls (patterns) at once: a shot knows only its own
    core = model.core_terms if slopes else []
    kinds = list(dict.fromkeys(model.terms[j].kind for j in core))
    zs = np.repeat(z[None], 1 + 2 * len(kinds), axis=0)
    for n, kind in enumerate(kinds):
        for j in core:
            if model.terms[j].kind == kind:
                zs[2 * n + 1, j] += STEP_Z
                zs[2 * n + 2, j] -= STEP_Z
    told = model.predict(np.repeat(zs, count, axis=0), np.tile(xs, (len(zs), 1, 1)))
    values = told.filled.reshape(len(zs), count, shots, -1)
    alike = told.alike.reshape(len(zs), count, shots)
    weight = _weights(alike[0])
    without = np.einsum("rn,rni->ni", weight, np.isnan(values[0])) > 0.0
    values = np.nan_to_num(values)
    mean = np.einsum("rn,rni->ni", weight, values[0])
    off = values[0] - mean
    turn = u[:, None, :] - np.einsum("rn,rj->nj", weight, u)
    inner = np.einsum("rn,rnj,rnk->njk", weight, turn, turn)
    slope = np.einsum("rn,rni,rnj->nij", weight, off, turn)
    first = slope @ np.linalg.inv(inner)
    rest = off - np.einsum("rnk,nik->rni", turn, first)
    kept = 1.0 / np.einsum("rn,rn->n", weight, weight)
    covariance = first @ inner @ first.transpose(0, 2, 1)
    covariance += np.einsum("rn,rni,rnj->nij", weight, rest, rest) * (
        kept / np.maximum(kept - 7, 1))[:, None, None]
    by_z = np.zeros((*mean.shape, len(model.terms)))
    step = np.empty((len(kinds), *mean.shape))
    for n in range(len(kinds)):
        pair = alike[2 * n + 1:2 * n + 3]
        few = (pair.sum(axis=1) < FEWEST).any(axis=0)
        ends = [np.einsum("rn,rni->ni", _weights(side | few), value)
                for side, value in zip(pair, values[2 * n + 1:2 * n + 3], strict=True)]
        step[n] = (ends[0] - ends[1]) / (2 * STEP_Z)
    for j in core:
        term = model.terms[j]
        target = {"ball": model.log.ball, "pattern": model.log.pattern}.get(
            term.parameter.scope, ("",) * shots)
        own = np.array([name == term.target for name in target])
        by_z[own, :, j] = step[kinds.index(term.kind)][own]
    middle = model.predict(z[None], x[None]).filled[0]
    return Spreading(middle, np.where(without, np.nan, mean), slope, covariance, by_z)


def parameter_slopes(
    model: ShotModel, z: np.ndarray, points: np.ndarray, weights: np.ndarray
) -> np.ndarray:
    """d/dz (n, m + 1, P) of the columns and the entry board, 0 for the release offsets.

    Averaged over several releases of each shot, points (r, n, 6) with weights (r,): the slope
    at one release alone is as bumpy as the oil, and its scatter would pass for information.
    """
    slope = np.zeros((len(model.log), len(model.columns) + 1, len(model.terms)))
    core = model.core_terms
    if not core:
        return slope
    zs = np.repeat(z[None], 2 * len(core), axis=0)
    for n, j in enumerate(core):
        zs[2 * n, j] += STEP_Z
        zs[2 * n + 1, j] -= STEP_Z
    count = len(points)
    told = model.predict(np.repeat(zs, count, axis=0), np.tile(points, (len(zs), 1, 1)))
    values = np.nan_to_num(told.filled).reshape(len(core), 2, count, *told.filled.shape[1:])
    alike = told.alike.reshape(len(core), 2, count, -1).all(axis=1)
    alike |= ~np.any(alike, axis=1, keepdims=True)
    share = alike * weights[:, None]
    share /= share.sum(axis=1, keepdims=True)
    step = np.einsum("zrnm,zrn->znm", values[:, 0] - values[:, 1], share) / (2 * STEP_Z)
    slope[:, :, core] = np.moveaxis(step, 0, -1)
    return slope


@cache
def even_deviates(count: int, dims: int, stage: Stage) -> np.ndarray:
    """Standard normal deviates (count, dims) whose mean and covariance are exactly 0 and 1.

    Scrambled Sobol normals in pairs +-u, turned: averages of any quadratic over them are exact.
    """
    half = normal_deviates(count // 2, dims, 0, stage)
    u = np.concatenate([half, -half])
    out = u @ np.linalg.inv(np.linalg.cholesky(u.T @ u / len(u))).T
    out.flags.writeable = False
    return out


def _weights(alike: np.ndarray) -> np.ndarray:
    """Weights (r, n), adding to 1, of the releases that ended alike; of all where they are few."""
    kept = alike | (alike.sum(axis=0) < FEWEST)
    return kept / kept.sum(axis=0)
