"""Mixed lubrication between ball and lane, and the oil that the ball's track carries.

- friction         mu = phi mu_dry + (1 - phi) min(eta |u| pi a^2/(h N), cap)
- oil on the track dh/dt = n [pickup h_lane - h (1 - o + uptake)]
"""

from __future__ import annotations

import math

from numba import njit

from .columns import (
    P_CHI,
    P_CONTACT_A,
    P_FILM_CAP,
    P_GRAVITY,
    P_LAMBDA_POWER,
    P_LAMBDA_REF,
    P_LOFT,
    P_MASS,
    P_MU_DRY,
    P_PICKUP,
    P_RADIUS,
    P_RING_WIDTH,
    P_SIGMA,
    P_TWO_ZONE_MU,
    P_TWO_ZONE_X,
    P_UPTAKE,
    P_VISCOSITY,
)
from .compiling import CONTRACT, INLINE, INNER, PLAIN
from .maths import exponential, logarithm


@njit(**INNER, **CONTRACT, **INLINE)
def asperity_share(h_lane, h_track, powered, par):
    """Share phi of the load carried by asperities: exp(-(lambda/lambda_ref)^q), lambda = h/sigma.

    h = chi (h_lane + h_track).  Near 1 for lambda < 1/3 (boundary), small for lambda > 3 (full
    film): the regimes of Hamrock, Schmid & Jacobson, Fundamentals of Fluid Film Lubrication.
    powered = False leaves out the power, for callers that know q to be 1.
    """
    h_eff = par[P_CHI] * (h_lane + h_track)
    ratio = h_eff / (par[P_SIGMA] * par[P_LAMBDA_REF])
    if powered:
        raised = exponential(par[P_LAMBDA_POWER] * logarithm(ratio))
        ratio = raised if par[P_LAMBDA_POWER] != 1.0 else ratio
    phi = exponential(-ratio)
    return phi if h_eff > 0.0 else 1.0


@njit(**INNER, **CONTRACT, **INLINE)
def mixed_friction(x, h_lane, h_track, phi, slip, par):
    """`friction_coefficient` for a known share phi of the asperities; none while in the air."""
    area = math.pi * par[P_CONTACT_A] ** 2
    load = par[P_MASS] * par[P_GRAVITY]
    shear = par[P_VISCOSITY] * slip * area / (par[P_CHI] * (h_lane + h_track) * load)
    shear = shear if shear < par[P_FILM_CAP] else par[P_FILM_CAP]
    mu = phi * par[P_MU_DRY] + (1.0 - phi) * shear
    mu = mu if phi < 1.0 else par[P_MU_DRY]
    zone = par[P_TWO_ZONE_MU] if x < par[P_TWO_ZONE_X] else par[P_MU_DRY]
    mu = zone if par[P_TWO_ZONE_X] > 0.0 else mu
    return mu if x >= par[P_LOFT] else 0.0


@njit(**PLAIN, **INLINE)
def friction_coefficient(x, h_lane, h_track, slip, par):
    """Friction coefficient [-] of mixed lubrication at a slip speed [m/s].

    mu = phi mu_dry + (1 - phi) min(eta |u| pi a^2 / (h N), cap).  With P_TWO_ZONE_X > 0 the two
    constant zones of Frohlich, Am. J. Phys. 72, 1170 (2004), instead: for teaching and tests.
    """
    return mixed_friction(x, h_lane, h_track, asperity_share(h_lane, h_track, True, par), slip, par)


@njit(**INNER, **CONTRACT, **INLINE)
def track_film_rate(h_lane, h_track, spin2, axis2, par):
    """Rate [m/s] of the film on the track: n [pickup h_lane - h (1 - o + uptake)].

    n = spin/2 pi turns per second; the flare per turn s = R axis_speed 2 pi/spin; a ring covers
    the share o = exp(-(s/w_t)^2) of the one before it.  spin2 and axis2 are the squares
    [rad^2/s^2] of the spin and of the speed of the axis on the ball (`axis_rate_squared`).
    """
    turns = math.sqrt(spin2) * (1.0 / (2.0 * math.pi))
    gap = par[P_RADIUS] * 2.0 * math.pi / par[P_RING_WIDTH]
    overlap = exponential(-gap * gap * axis2 * (1.0 / spin2))
    rate = turns * (par[P_PICKUP] * h_lane - h_track * (1.0 - overlap + par[P_UPTAKE]))
    return rate if spin2 > 1e-12 else 0.0
