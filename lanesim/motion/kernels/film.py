"""The oil film on the lane at a point: quadratic splines on the cells' means."""

from __future__ import annotations

from numba import njit

from .compiling import CONTRACT, INLINE, INNER, kept


@njit(**INNER, **INLINE)
def film_patch(fx, fy, film):
    """The 3 x 3 spline coefficients around a point and its place (tx, ty) in the middle cell.

    fx, fy : the point in cells.  Coefficients are the cell means, mirrored at the lane's edges and
    at the foul line and zero beyond the last row; tx and ty run from -0.5 to 0.5.  Any fx and fy
    are allowed, NaN too.
    """
    rows, cols = film.shape
    # comparisons written so that a NaN becomes the far end: it must not become an index
    cx = fx if fx < rows + 1.5 else rows + 1.5
    cx = cx if cx > 0.0 else 0.0
    cy = fy if fy < cols - 0.5 else cols - 0.5
    cy = cy if cy > 0.0 else 0.0
    i = int(cx)
    j = int(cy)
    i0 = min(max(i - 1, 0), rows - 1)
    i1 = min(i, rows - 1)
    i2 = min(i + 1, rows - 1)
    z0 = 1.0 if i <= rows else 0.0
    z1 = 1.0 if i < rows else 0.0
    z2 = 1.0 if i + 1 < rows else 0.0
    j0 = max(j - 1, 0)
    j2 = min(j + 1, cols - 1)
    return fx - i - 0.5, fy - j - 0.5, (
        z0 * film[i0, j0], z0 * film[i0, j], z0 * film[i0, j2],
        z1 * film[i1, j0], z1 * film[i1, j], z1 * film[i1, j2],
        z2 * film[i2, j0], z2 * film[i2, j], z2 * film[i2, j2],
    )


@njit(**INNER, **CONTRACT, **INLINE)
def film_value(tx, ty, f):
    """Lane film [m] from the coefficients and the place of `film_patch`: quadratic B-splines."""
    ty = ty if ty < 0.5 else 0.5  # beside the lane: as at its edge
    ty = ty if ty > -0.5 else -0.5
    wx0 = 0.5 * (0.5 - tx) ** 2
    wx1 = 0.75 - tx * tx
    wx2 = 0.5 * (0.5 + tx) ** 2
    wy0 = 0.5 * (0.5 - ty) ** 2
    wy1 = 0.75 - ty * ty
    wy2 = 0.5 * (0.5 + ty) ** 2
    return (
        wx0 * (wy0 * f[0] + wy1 * f[1] + wy2 * f[2])
        + wx1 * (wy0 * f[3] + wy1 * f[4] + wy2 * f[5])
        + wx2 * (wy0 * f[6] + wy1 * f[7] + wy2 * f[8])
    )


@kept(**INLINE)
def film_at(x, y, film, board, cell_x):
    """Lane film [m] at a point by tensor quadratic B-splines on the cell means.

    Each basis function integrates to one cell area, and the coefficients are mirrored at the
    lane's edges and at the foul line, so the volume is that of the grid exactly; the surface is
    C1, never negative, and zero from one cell beyond the last oiled one.

    Parameters
    ----------
    x, y : position [m];  film : (rows, boards) cell film [m];  board, cell_x : cell size [m].
    """
    tx, ty, f = film_patch(x / cell_x, y / board, film)
    return film_value(tx, ty, f)
