"""The whitened problem about one parameter point: residuals, slopes, covariances."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .shot_model import ShotModel
from .spreading import POINTS, Aimed, aimed_releases, parameter_slopes, sampled, spread_out


@dataclass(frozen=True)
class Local:
    """The whitened problem about one parameter point z0.

    Attributes
    ----------
    z0 : (P,). aimed : releases there; shift (n, 6, P) = how they follow z.
    mean : (n, m + 1) expected columns (the last: entry board) at z0, averaged over the releases;
    middle : (n, m + 1) at the central releases; slope : (n, m + 1, P) d mean/dz.
    whiten : (n, m, m) inverse Cholesky factors of S, zero where not seen; seen : (n, m).
    window_sd : (n,) SD of the entry board of shots known by their outcome only, else NaN.
    """

    z0: np.ndarray
    aimed: Aimed
    shift: np.ndarray
    mean: np.ndarray
    middle: np.ndarray
    slope: np.ndarray
    whiten: np.ndarray
    seen: np.ndarray
    window_sd: np.ndarray

    def scaled(self, noise: float) -> Local:
        """The same with every covariance S times noise^2."""
        return replace(self, whiten=self.whiten / noise, window_sd=self.window_sd * noise)

    def only(self, shots: np.ndarray) -> Local:
        """The same with the rows of those shots (n,) bool alone."""
        return replace(self, seen=self.seen & shots[:, None],
                       window_sd=np.where(shots, self.window_sd, np.nan))

    def volume(self) -> float:
        """Sum of log det S^(-1/2) over the shots' measured columns."""
        return float(np.sum(np.log(np.diagonal(self.whiten, axis1=1, axis2=2)[self.seen])))

    @property
    def owner(self) -> np.ndarray:
        """The shot that each residual row belongs to."""
        return np.concatenate([np.nonzero(self.seen)[0],
                               np.flatnonzero(np.isfinite(self.window_sd))])


def look(
    model: ShotModel, z: np.ndarray, *, fine: bool = False, slopes: bool = True,
    near: Local | None = None, points: int = POINTS,
) -> Local:
    """Expected columns, their covariance and their slopes at z.

    fine : averages over many releases (ShotModel.sampled), for the answer and its width; else the
        cheap ones of a search, whose slopes scatter and whose widths are too small.
    slopes : False leaves out the slopes in z; points : releases of each shot (both with `fine`).
    near : the releases follow z linearly from there, instead of being aimed anew.
    """
    aimed = aimed_releases(model, z) if near is None else replace(
        near.aimed, x=near.aimed.x + near.shift @ (z - near.z0))
    values, vectors = np.linalg.eigh(aimed.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    if fine:
        out = sampled(model, z, aimed.x, root, slopes=slopes, points=points)
        assert out.by_z is not None
        slope = out.by_z
    else:
        out = spread_out(model, z, aimed.x, root)
        # averaged along the two directions of the release that matter most to each shot
        effect = np.nansum((out.slope[:, :-1] / model.y_sd[:, None]) ** 2, axis=1)
        best = np.argsort(effect, axis=1)[:, -2:]
        far = math.sqrt(3.0) * np.take_along_axis(root, best[:, None, :], axis=2)
        around = aimed.x + np.array([far[:, :, 0], -far[:, :, 0], far[:, :, 1], -far[:, :, 1],
                                     0.0 * aimed.x])
        slope = parameter_slopes(model, z, around, np.array([1, 1, 1, 1, 2]) / 6.0)
    # slope in x itself: the root is orthogonal columns times SDs, so its inverse is known
    inverse = np.where(values > 1e-12, 1.0 / np.sqrt(np.maximum(values, 1e-12)), 0.0)
    in_x = np.einsum("nik,nk,nck->nic", out.slope, inverse, vectors)
    shift = np.zeros((len(aimed.x), 6, len(model.terms)))
    for j, c, grows in model.offset_terms:
        shift[:, :, j] = aimed.keep[:, :, c] * grows[:, None]
    if model.is_aim.any():
        aim = int(np.flatnonzero(model.is_aim)[0])
        shift -= np.einsum("nc,np->ncp", aimed.pull, slope[:, aim, :])
    slope = slope + np.einsum("nic,ncp->nip", in_x, shift)
    seen = np.isfinite(model.y) & ~model.is_aim & np.isfinite(out.mean[:, :-1])
    count, width = seen.shape
    whiten = np.zeros((count, width, width))
    for i in range(count):
        mask = seen[i]
        spread = np.diag(model.y_sd[mask] ** 2) + out.covariance[i, :-1, :-1][np.ix_(mask, mask)]
        whiten[i][np.ix_(mask, mask)] = np.linalg.inv(np.linalg.cholesky(spread))
    known = ~np.isnan(model.window[:, 0])
    window_sd = np.where(known, np.sqrt(model.window_sd**2 + out.covariance[:, -1, -1]), np.nan)
    return Local(z, aimed, shift, out.mean, out.middle, np.where(np.isfinite(slope), slope, 0.0),
                 whiten, seen, window_sd)


def exact(model: ShotModel, local: Local, zs: np.ndarray) -> np.ndarray:
    """Expected columns (s, n, m + 1) at other z by the engine.

    The releases follow z linearly and the averaging's correction is kept as it was at z0.
    """
    xs = local.aimed.x + np.einsum("ncp,sp->snc", local.shift, zs - local.z0)
    return model.predict(zs, xs).filled + (local.mean - local.middle)


def tangent(local: Local, z: np.ndarray) -> np.ndarray:
    """Expected columns (n, m + 1) at z by the slopes."""
    return local.mean + local.slope @ (z - local.z0)


def whitened(model: ShotModel, local: Local, expected: np.ndarray) -> np.ndarray:
    """Residual rows: every measured column, then the shots known by their outcome."""
    gap = np.where(local.seen, model.y - expected[:, :-1], 0.0)
    gap = np.where(np.isfinite(gap), gap, 0.0)
    rows = np.einsum("nij,nj->ni", local.whiten, gap)[local.seen]
    known = np.isfinite(local.window_sd)
    at = expected[known, -1]
    inside = np.clip(at, model.window[known, 0], model.window[known, 1])
    return np.concatenate([rows, (inside - at) / local.window_sd[known]])


def jacobian(model: ShotModel, local: Local, expected: np.ndarray, slope: np.ndarray) -> np.ndarray:
    """d rows / dz (rows, P) for slopes (n, m + 1, P) of the expected columns."""
    part = np.where(local.seen[:, :, None], slope[:, :-1], 0.0)
    rows = -np.einsum("nij,njp->nip", local.whiten, part)[local.seen]
    known = np.isfinite(local.window_sd)
    at = expected[known, -1]
    outside = (at < model.window[known, 0]) | (at > model.window[known, 1])
    edge = -slope[known, -1] / local.window_sd[known, None] * outside[:, None]
    return np.concatenate([rows, edge])
