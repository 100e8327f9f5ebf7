"""The pin: published profile, mass, centre of gravity, inertia, and the shape that collides.

The shape is a body of revolution swept by spheres on the axis. A sphere centred at height s is
as large as fits into the published profile,

    rho(s) = min over z of hypot(z - s, r(z)),  and not below the base: rho(s) <= s,

so the body they fill is the profile itself wherever the profile's meridian bends less sharply
than those spheres: everywhere but for the lowest inch (test). The base's own disc touches only
the deck and the walls. rho is kept as a cubic spline on even steps.
"""

from __future__ import annotations

import functools
import math

import numpy as np

from ...lane import geometry as lane
from ...units import INCH_M, LB_KG

PIN_MASS_LB = 3.5  # middle of 3 lb 6 oz .. 3 lb 10 oz (read)
BASE_RADIUS_M = lane.PIN_PROFILE_IN[0][1] / 2.0 * INCH_M
HEIGHT_M = lane.PIN_HEIGHT_IN * INCH_M
CROWN_M = (lane.PIN_HEIGHT_IN - lane.PIN_CROWN_RADIUS_IN) * INCH_M  # centre of the top sphere
PIECES = 40  # of the spline


@functools.cache
def profile(points: int = 6001) -> tuple[np.ndarray, np.ndarray]:
    """(heights, radii) [m] of the published pin, crown and all."""
    from scipy.interpolate import CubicSpline

    heights, diameters = zip(*lane.PIN_PROFILE_IN, strict=True)
    z = np.linspace(0.0, lane.PIN_HEIGHT_IN, points)
    r = CubicSpline(heights, diameters)(z) / 2.0
    top = z > heights[-1]
    centre = lane.PIN_HEIGHT_IN - lane.PIN_CROWN_RADIUS_IN
    r[top] = np.sqrt(np.maximum(lane.PIN_CROWN_RADIUS_IN**2 - (z[top] - centre) ** 2, 0.0))
    return z * INCH_M, r * INCH_M


@functools.cache
def pin_mass_properties(mass_lb: float = PIN_MASS_LB) -> tuple[float, float, float, float]:
    """(mass [kg], centre of gravity [m above the base], I transverse, I axial [kg m^2]).

    Integrals over the published profile at uniform density:
    I_axial = int rho pi r^4/2 dz,  I_trans = int rho (pi r^4/4 + pi r^2 (z - cg)^2) dz.
    The centre of gravity comes out at 5.80 in, inside the published 5.625-5.9375 in, so no void
    or insert need be assumed.
    """
    z, r = profile()
    area = math.pi * r**2
    mass = mass_lb * LB_KG
    rho = mass / np.trapezoid(area, z)
    cg = np.trapezoid(area * z, z) / np.trapezoid(area, z)
    axial = rho * np.trapezoid(math.pi * r**4 / 2.0, z)
    trans = rho * np.trapezoid(math.pi * r**4 / 4.0 + area * (z - cg) ** 2, z)
    return mass, float(cg), float(trans), float(axial)


def inscribed_radius(s: np.ndarray) -> np.ndarray:
    """Radius [m] of the largest sphere centred on the axis at heights s [m] inside the pin."""
    z, r = profile()
    s = np.atleast_1d(s)
    side = np.sqrt(np.min((z[None, :] - s[:, None]) ** 2 + r[None, :] ** 2, axis=1))
    return np.minimum(side, s)


def _lowest_sphere() -> float:
    """Height [m] of the sphere that touches the base and the side at once."""
    low, high = 0.2 * INCH_M, 2.0 * INCH_M
    for _ in range(50):
        middle = 0.5 * (low + high)
        if inscribed_radius(np.array([middle]))[0] >= middle - 1e-12:
            low = middle
        else:
            high = middle
    return low


LOW_M = float(_lowest_sphere())  # spheres from here ..
HIGH_M = float(CROWN_M)  # .. to here
STEP_M = (HIGH_M - LOW_M) / PIECES


@functools.cache
def _spline() -> np.ndarray:
    from scipy.interpolate import CubicSpline

    s = np.linspace(LOW_M, HIGH_M, PIECES + 1)
    law = CubicSpline(s, inscribed_radius(s), bc_type="natural")
    return np.ascontiguousarray(law.c[::-1].T)  # (pieces, 4), constant term first


RHO = _spline()
WIDEST_M = float(max(r for r in inscribed_radius(np.linspace(LOW_M, HIGH_M, 2001))))
MIDDLE_M = 0.5 * HEIGHT_M  # centre of a sphere that holds the whole pin
REACH_M = math.hypot(MIDDLE_M, BASE_RADIUS_M) + 1e-4


def swept_radius(height_m: np.ndarray) -> np.ndarray:
    """Radius [m] of the colliding body at heights [m]: what the spheres of `RHO` reach."""
    s = np.linspace(LOW_M, HIGH_M, 4001)
    rho = np.interp(s, s, _rho(s))
    inside = rho[None, :] ** 2 - (np.atleast_1d(height_m)[:, None] - s[None, :]) ** 2
    return np.sqrt(np.maximum(inside.max(axis=1), 0.0))


def _rho(s: np.ndarray) -> np.ndarray:
    k = np.clip(((s - LOW_M) / STEP_M).astype(int), 0, PIECES - 1)
    t = s - LOW_M - k * STEP_M
    c = RHO[k].T
    return c[0] + t * (c[1] + t * (c[2] + t * c[3]))
