"""Trade units to SI and back; every factor has one home here.

Exact by definition (international yard and pound agreement, 1959): inch = 25.4 mm,
foot = 12 in, mile = 5280 ft, pound = 0.45359237 kg.
"""

from __future__ import annotations

import math

INCH_M = 0.0254
FOOT_M = 12 * INCH_M
MPH_MS = 5280 * FOOT_M / 3600.0
LB_KG = 0.45359237
OZ_KG = LB_KG / 16.0
RPM_RADS = 2.0 * math.pi / 60.0
DEG_RAD = math.pi / 180.0
UL_M3 = 1e-9
CP_PAS = 1e-3
MICRON_M = 1e-6
GRAVITY_MS2 = 9.80665  # standard gravity, CGPM 1901

# One "unit" of oil in the trade: 0.0167 mL per square foot, 0.180 um of film
# (status: from memory / derived; the film is the volume over one square foot).
OIL_UNIT_ML_PER_FT2 = 0.0167
OIL_UNIT_M = OIL_UNIT_ML_PER_FT2 * 1e-6 / FOOT_M**2


def rg_inertia(mass_kg: float, rg_in: float) -> float:
    """Moment of inertia [kg m^2] of a mass [kg] with a radius of gyration [in]: I = m k^2."""
    return mass_kg * (rg_in * INCH_M) ** 2
