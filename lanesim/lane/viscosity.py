"""Viscosity of the oil against its temperature."""

from __future__ import annotations

import math

from ..errors import check_range
from .surface import REFERENCE_F

OIL_DENSITY_GCM3 = 0.86  # light mineral oil at room temperature (from memory); turns cP into cSt
# Walther's slope of a mineral oil of viscosity index about 95: the standard grade of 32 cSt at
# 40 C has 5.4 cSt at 100 C (from memory), hence (log log 32.7 - log log 6.1)/log(373.15/313.15).
WALTHER_SLOPE = 3.75


def fahrenheit_to_kelvin(temperature_f: float) -> float:
    """Kelvin of a temperature in degrees Fahrenheit."""
    return (temperature_f - 32.0) / 1.8 + 273.15


def viscosity_at(
    *,
    viscosity_cp: float,
    temperature_f: float,
    given_at_f: float = REFERENCE_F,
    slope: float = WALTHER_SLOPE,
) -> float:
    """Dynamic viscosity [cP] at a temperature [F], of an oil whose viscosity is known at another.

    Walther's equation, as in the standard chart for petroleum products (ASTM D341):
    log10 log10(nu + 0.7) = A - slope log10(T), nu the kinematic viscosity [cSt], T [K]. Thick oils
    so change faster than thin ones. Lane oils are published with 12 to 81 cP at 70 F; that their
    slope is a mineral oil's is ASSUMED. The density is taken as the same at both temperatures: it
    changes by less than a percent. The slope is nearly the same for all grades of such oils: 4.1
    for that of 10 cSt, 3.6 for that of 68.
    """
    check_range("viscosity", viscosity_cp, 0.5, 2000, "cP")
    check_range("temperature", temperature_f, 32, 250, "F")
    check_range("Walther slope", slope, 0, 10)
    level = math.log10(math.log10(viscosity_cp / OIL_DENSITY_GCM3 + 0.7))
    ratio = fahrenheit_to_kelvin(temperature_f) / fahrenheit_to_kelvin(given_at_f)
    return OIL_DENSITY_GCM3 * (10.0 ** 10.0 ** (level - slope * math.log10(ratio)) - 0.7)
