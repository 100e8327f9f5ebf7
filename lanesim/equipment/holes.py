"""Gripping holes: cylinders in the ball, and what they take out of it.

Each hole is a circular cylinder with a flat bottom, cut by the ball's sphere and, where the
material is layered, by the spheres between the layers. What holes share is taken out once.

Along a line parallel to a hole's axis all the cuts (spheres, flat bottoms, other cylinders) are
closed-form intervals, so the integral along the axis is exact; across the hole it is a
Gauss-Legendre rule in the radius and an equally spaced rule in the angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import InputError, check_range
from ..lane.geometry import BALL_RADIUS_M
from ..units import INCH_M
from .vectors import unit

_GRID = (32, 64)  # radii x angles: the integrand is smooth, errors near rounding
_GRID_CUT = (300, 600)  # where holes meet or end in the rim the integrand has kinks


@dataclass(frozen=True)
class Material:
    """Density of what the drill takes out, in layers counted from the surface.

    Parameters
    ----------
    layers : tuple of (from_depth_in, density_g_cc)
        First layer from depth 0, depths rising [in], densities 0.2 to 5 [g/cm^3]; a two-part ball
        has a cover and a core or filler, a three-part ball a cover, a filler and a core where
        holes reach it. Empty (the default) = the ball's mean density throughout, an assumption.
    """

    layers: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        checked: list[tuple[float, float]] = []
        for i, layer in enumerate(self.layers):
            if len(layer) != 2:
                raise InputError("material: a layer is a pair: from depth [in], density [g/cm3]")
            low = 0.0 if i == 0 else checked[-1][0]
            depth = check_range(f"depth of layer {i + 1}", layer[0], low, 4.0, "in", "material")
            if i == 0 and depth != 0.0:
                raise InputError("material: the first layer starts at depth 0 in")
            rho = check_range(f"density of layer {i + 1}", layer[1], 0.2, 5.0, "g/cm3", "material")
            checked.append((depth, rho))
        object.__setattr__(self, "layers", tuple(checked))

    def steps(self, mean_density: float) -> list[tuple[float, float]]:
        """(depth [m], step of density [kg/m^3] going inward past it) of each layer."""
        if not self.layers:
            return [(0.0, mean_density)]
        out, above = [], 0.0
        for depth_in, g_cc in self.layers:
            out.append((depth_in * INCH_M, g_cc * 1000.0 - above))
            above = g_cc * 1000.0
        return out


UNIFORM = Material()


@dataclass(frozen=True, eq=False)
class Hole:
    """One cylinder: entry point on the surface and inward axis as unit vectors, SI sizes."""

    name: str
    centre: np.ndarray  # (3,) unit vector, body frame
    axis: np.ndarray  # (3,) unit vector pointing into the ball
    radius_m: float
    depth_m: float


def hole_moments(
    holes: tuple[Hole, ...], *, radius_m: float, steps: list[tuple[float, float]]
) -> tuple[list[tuple[float, np.ndarray, np.ndarray]], float]:
    """Mass, first and second moments of what each hole takes out, and the volume holes share.

    Parameters
    ----------
    holes : tuple of Hole
        In drilling order; a later hole takes out only what the earlier have left.
    radius_m : float
        The ball's radius [m].
    steps : list of (depth [m], density step [kg/m^3])
        Layers from the surface inward, see `Material.steps`.

    Returns
    -------
    list of (mass [kg], (3,) integral of x dm [kg m], (3, 3) integral of x x^T dm [kg m^2]),
    shared volume [m^3].
    """
    out, shared = [], 0.0
    for i, hole in enumerate(holes):
        parts = _integrate(hole, holes[:i], radius_m, steps, _GRID)
        if parts[4]:
            parts = _integrate(hole, holes[:i], radius_m, steps, _GRID_CUT)
        out.append(parts[:3])
        shared += parts[3]
    return out, shared


def _integrate(
    hole: Hole,
    earlier: tuple[Hole, ...],
    radius_m: float,
    steps: list[tuple[float, float]],
    grid: tuple[int, int],
) -> tuple[float, np.ndarray, np.ndarray, float, bool]:
    mass, first, second, shared, kinks = 0.0, np.zeros(3), np.zeros((3, 3)), 0.0, False
    if hole.depth_m == 0.0:
        return mass, first, second, shared, kinks
    # Local frame: z out of the ball along the axis, x and y across it, origin at the centre.
    frame, entry = hole_frame(hole, radius_m)
    bottom = entry[2] - hole.depth_m
    nodes, weights = np.polynomial.legendre.leggauss(grid[0])
    rho = hole.radius_m * (nodes + 1.0) / 2.0
    theta = 2.0 * math.pi * np.arange(grid[1]) / grid[1]
    x = entry[0] + rho[:, None] * np.cos(theta)
    y = entry[1] + rho[:, None] * np.sin(theta)
    area = np.broadcast_to(
        (weights * rho * hole.radius_m / 2.0)[:, None] * (2.0 * math.pi / grid[1]), x.shape
    )
    for depth, step in steps:
        inside = (radius_m - depth) ** 2 - x**2 - y**2
        reach = np.sqrt(np.maximum(inside, 0.0))
        low, high = np.maximum(-reach, bottom), np.maximum(reach, bottom)
        kinks |= bool(np.any((inside <= 0.0) | (reach <= bottom)) and np.any(reach > bottom))
        pieces = [(low, high)]
        for other in earlier:
            enter, leave = _line_in_hole(x, y, frame, other, radius_m)
            if depth == 0.0:
                both = sum(
                    np.sum(area * np.maximum(np.minimum(b, leave) - np.maximum(a, enter), 0.0))
                    for a, b in pieces
                )
                shared += float(both)
                kinks |= both > 0.0
            pieces = [
                piece
                for a, b in pieces
                for piece in ((a, np.maximum(a, np.minimum(b, enter))),
                              (np.minimum(b, np.maximum(a, leave)), b))
            ]
        for a, b in pieces:
            w0 = area * (b - a)
            w1 = area * (b**2 - a**2) / 2.0
            w2 = area * (b**3 - a**3) / 3.0
            sx, sy = np.sum(w0 * x), np.sum(w0 * y)
            xy, xz, yz = np.sum(w0 * x * y), np.sum(w1 * x), np.sum(w1 * y)
            mass += step * float(np.sum(w0))
            first += step * np.array([sx, sy, np.sum(w1)])
            second += step * np.array(
                [
                    [np.sum(w0 * x * x), xy, xz],
                    [xy, np.sum(w0 * y * y), yz],
                    [xz, yz, np.sum(w2)],
                ]
            )
    return mass, frame.T @ first, frame.T @ second @ frame, shared, kinks


def _line_in_hole(
    x: np.ndarray, y: np.ndarray, frame: np.ndarray, other: Hole, radius_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Interval of z in which the lines (x, y, z) of a local frame run inside another hole.

    The other hole is the cylinder |r - (r.k) k|^2 <= a^2 about its axis and r.k <= its depth,
    r counted from its entry point: a quadratic and a half-space. No overlap: enter = leave.
    """
    k = frame @ other.axis
    entry = frame @ other.centre * radius_m
    start = np.stack([x - entry[0], y - entry[1], np.full_like(x, -entry[2])])
    along = np.tensordot(k, start, axes=1)
    across = start - k[:, None, None] * along
    slope = np.array([0.0, 0.0, 1.0]) - k * k[2]
    a = float(slope @ slope)
    b = np.tensordot(slope, across, axes=1)
    c = np.sum(across**2, axis=0) - other.radius_m**2
    if a < 1e-14:  # parallel axes: the whole line is in or out
        half = np.where(c <= 0.0, 4.0 * radius_m, 0.0)
        enter, leave = -half, half
    else:
        root = np.sqrt(np.maximum(b * b - a * c, 0.0))
        enter, leave = (-b - root) / a, (-b + root) / a
    if abs(k[2]) > 1e-14:
        floor = (other.depth_m - along) / k[2]
        if k[2] < 0.0:
            enter = np.maximum(enter, floor)
        else:
            leave = np.minimum(leave, floor)
    else:
        leave = np.where(along <= other.depth_m, leave, enter)
    if other.depth_m == 0.0:
        leave = enter
    return enter, np.maximum(enter, leave)


def hole_rim(hole: Hole, radius_m: float = BALL_RADIUS_M, count: int = 91) -> np.ndarray:
    """The closed curve (count, 3) in which a hole cuts the surface, in units of the radius."""
    frame, entry = hole_frame(hole, radius_m)
    turn = np.linspace(0.0, 2.0 * math.pi, count)
    x = entry[0] + hole.radius_m * np.cos(turn)
    y = entry[1] + hole.radius_m * np.sin(turn)
    z = np.sqrt(np.maximum(radius_m**2 - x * x - y * y, 0.0))
    return np.column_stack([x, y, z]) @ frame / radius_m


def hole_bottom(hole: Hole, radius_m: float = BALL_RADIUS_M, count: int = 91) -> np.ndarray:
    """The circle (count, 3) round the flat bottom of a hole, in units of the radius."""
    frame, entry = hole_frame(hole, radius_m)
    turn = np.linspace(0.0, 2.0 * math.pi, count)
    x = entry[0] + hole.radius_m * np.cos(turn)
    y = entry[1] + hole.radius_m * np.sin(turn)
    z = np.full(count, entry[2] - hole.depth_m)
    return np.column_stack([x, y, z]) @ frame / radius_m


def hole_frame(hole: Hole, radius_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Rows: axes across, across and out along the hole; and the entry point in them [m]."""
    z_axis = -hole.axis
    x_axis = unit(np.cross(z_axis, np.eye(3)[int(np.argmin(np.abs(z_axis)))]))
    frame = np.stack([x_axis, np.cross(z_axis, x_axis), z_axis])
    return frame, frame @ hole.centre * radius_m
