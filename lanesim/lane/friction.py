"""The friction model's parameters: how lane, oil and cover share the load.

The law itself is `lanesim.motion.kernels.friction_coefficient`; the film on the ball's track is
`kernels.track_film_rate`. Here are the numbers that belong to neither a ball nor a pattern.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import check_range
from ..units import GRAVITY_MS2, MICRON_M
from .geometry import BALL_RADIUS_M


@dataclass(frozen=True)
class FrictionModel:
    """Mixed lubrication between ball and lane. Every default is an ASSUMPTION unless it says more.

    Attributes
    ----------
    lane_roughness_um : Rq of the lane surface [um]. Assumed.
    film_share : chi, share of the lane's film that reaches the contact [-]. Near 1: a flooded
        contact of this size, load and speed would carry some 9 um (soft elastohydrodynamic formula
        of Hamrock and Dowson, from memory), most of the lane holds less, and a contact that is
        short of oil lets nearly all of it through.
    lambda_ref, lambda_power : phi = exp(-(lambda/lambda_ref)^power) [-]. Greenwood and Tripp's
        asperity load, F_5/2(lambda)/F_5/2(0), has 0.53 and 1.1 to 1.4 (derived,
        tests/validation/test_friction_band.py); it counts from surfaces at their mean planes, and
        asperities hold them apart before a film does, so up to twice as far. Textbook regimes:
        boundary below lambda = 1/3, full film above 3 (Hamrock, Schmid & Jacobson, Fundamentals of
        Fluid Film Lubrication).
    film_cap : largest friction coefficient of the full film [-]. Assumed.
    effective_modulus_gpa : E* of ball on lane [GPa]; 1.2: a contact radius of 1.65 mm. Assumed.
    pickup : film that the track takes up per turn, as a share of the lane's [-]. Assumed.
    ring_width_mm : width of a track ring w_t [mm]. Assumed ("about 5 mm").

    Chosen together so that a sanded reactive ball averages about 0.04 along a medium 42 ft pattern
    and meets about 0.2 on dry lane (the two zones of Frohlich, Am. J. Phys. 72, 1170 (2004));
    tests/validation/test_friction_band.py holds that.
    """

    lane_roughness_um: float = 0.2
    film_share: float = 0.87
    lambda_ref: float = 0.77
    lambda_power: float = 1.38
    film_cap: float = 0.03
    effective_modulus_gpa: float = 1.2
    pickup: float = 0.14
    ring_width_mm: float = 5.0

    def __post_init__(self) -> None:
        check_range("lane roughness", self.lane_roughness_um, 0.01, 10, "um")
        check_range("film share", self.film_share, 0.01, 1)
        check_range("lambda_ref", self.lambda_ref, 0.05, 20)
        check_range("lambda_power", self.lambda_power, 0.25, 4)
        check_range("film friction cap", self.film_cap, 0, 0.2)
        check_range("effective modulus", self.effective_modulus_gpa, 0.05, 100, "GPa")
        check_range("pickup", self.pickup, 0, 1)
        check_range("ring width", self.ring_width_mm, 0.5, 50, "mm")

    def contact_radius_m(self, mass_kg: float) -> float:
        """Hertz contact radius a = (3 N R / 4 E*)^(1/3) [m] of a ball of that mass on the lane."""
        load = mass_kg * GRAVITY_MS2
        modulus = self.effective_modulus_gpa * 1e9
        return (0.75 * load * BALL_RADIUS_M / modulus) ** (1.0 / 3.0)

    def combined_roughness_m(self, ball_roughness_um: float) -> float:
        """sigma = sqrt(Rq_ball^2 + Rq_lane^2) [m]."""
        return math.hypot(ball_roughness_um, self.lane_roughness_um) * MICRON_M


DEFAULT_FRICTION = FrictionModel()
