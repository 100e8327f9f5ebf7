"""The map of rates over the plane of lines, for the eye."""

from __future__ import annotations

import numpy as np

from ..player import Spread
from .local_model import OTHER_SD, SHARE
from .plane import Plane, even_points, nodes
from .rate import FirstLook
from .throwing import Thrower
from .worth import Worth

_THROWN_BOARDS, _THROWN_DEG = 1.0, 0.1  # between the usual shots that the map is made of
_FINE_BOARDS, _FINE_DEG = 0.25, 0.05
_MAP_BOARDS, _MAP_DEG = 0.5, 0.1
_REACH_BOARDS, _REACH_DEG = 1.0, 0.2  # how far a line's scatter stands for its neighbours'


def rate_map(
    thrower: Thrower, which: int, plane: Plane, worth: Worth, look: FirstLook
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Axes (l,), (a,) and rate (l, a) over the whole plane for one ball of a thrower.

    One usual shot on every board and tenth of a degree, joined linearly; their arrival spread by
    what speed, revs, rotation and tilt do (as at the nearest candidate), and blurred by the
    player's laydown and angle.
    """
    from scipy.ndimage import convolve

    laydowns = even_points(*plane.laydown, _THROWN_BOARDS)
    angles = even_points(*plane.angle_deg, _THROWN_DEG)
    places = nodes(laydowns, angles)
    table = thrower.usual(np.full(len(places), which), places)
    fine_l = even_points(*plane.laydown, _FINE_BOARDS)
    fine_a = even_points(*plane.angle_deg, _FINE_DEG)
    board, angle, speed = (
        bilinear(laydowns, angles, column.reshape(len(laydowns), len(angles)), fine_l, fine_a)
        for column in (table.entry_board, table.entry_angle_deg, table.entry_speed_mph))
    scatter = _scatter(nodes(fine_l, fine_a), look, which).reshape(board.shape)
    values = np.zeros(board.shape)
    met = np.isfinite(board)
    points, weights = np.polynomial.hermite_e.hermegauss(7)
    for z, w in zip(points, weights / weights.sum(), strict=True):
        values[met] += w * worth.at((board + scatter * z)[met], angle[met], speed[met])
    values[~met] = worth.nothing
    kernel = _kernel(thrower.spread, fine_l[1] - fine_l[0], fine_a[1] - fine_a[0])
    # beyond the plane nothing was thrown: its edge stands for what lies there
    blurred = convolve(values, kernel, mode="nearest")
    shown_l = even_points(*plane.laydown, _MAP_BOARDS)
    shown_a = even_points(*plane.angle_deg, _MAP_DEG)
    return shown_l, shown_a, bilinear(fine_l, fine_a, blurred, shown_l, shown_a)


def _scatter(places: np.ndarray, look: FirstLook, which: int) -> np.ndarray:
    """SD (n,) of the entry board from all but laydown and angle, as at the nearest candidate."""
    mine = np.flatnonzero((look.candidates.which == which) & (look.laws[:, SHARE] > 0))
    if not len(mine):
        return np.ones(len(places))
    gaps = (places[:, None, :] - look.candidates.lines[mine][None]) / (_REACH_BOARDS, _REACH_DEG)
    return look.laws[mine[np.argmin((gaps**2).sum(axis=2), axis=1)], OTHER_SD]


def _kernel(spread: Spread, step_boards: float, step_deg: float) -> np.ndarray:
    """Weights of the player's laydown and angle about a line, on a grid with these steps."""
    # a share of the step stands for what falls between two nodes
    rows = spread.deviations(np.eye(6))[:, :2]
    cov = rows.T @ rows + np.diag([step_boards, step_deg]) ** 2 / 12.0
    reach = [int(np.ceil(3.5 * np.sqrt(cov[n, n]) / step))
             for n, step in enumerate((step_boards, step_deg))]
    at = nodes(np.arange(-reach[0], reach[0] + 1) * step_boards,
               np.arange(-reach[1], reach[1] + 1) * step_deg)
    weight = np.exp(-0.5 * np.einsum("ni,ij,nj->n", at, np.linalg.inv(cov), at))
    return (weight / weight.sum()).reshape(2 * reach[0] + 1, 2 * reach[1] + 1)


def bilinear(
    x: np.ndarray, y: np.ndarray, z: np.ndarray, new_x: np.ndarray, new_y: np.ndarray
) -> np.ndarray:
    """z (len(x), len(y)) joined linearly on new axes; NaN spreads to the cells it touches."""
    def weights(old: np.ndarray, new: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        i = np.clip(np.searchsorted(old, new, side="right") - 1, 0, len(old) - 2)
        return i, (new - old[i]) / (old[i + 1] - old[i])

    i, u = weights(x, new_x)
    j, v = weights(y, new_y)
    u, v = u[:, None], v[None, :]
    a, b = z[np.ix_(i, j)], z[np.ix_(i, j + 1)]
    c, d = z[np.ix_(i + 1, j)], z[np.ix_(i + 1, j + 1)]
    return (1 - u) * ((1 - v) * a + v * b) + u * ((1 - v) * c + v * d)
