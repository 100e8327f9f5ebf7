"""The model's parameters: how lane, oil, air and cover act on a ball.

The laws themselves are in `lanesim.motion.kernels`: `friction.friction_coefficient`, the film on
the ball's track `friction.track_film_rate`, air and slope `body.outer_pull`. Here are the numbers
that belong to neither a ball nor a pattern. One frozen object holds them all and goes through
`throw`, `throw_many` and every study, so that a calibration can vary any of them by name.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

from ..errors import check_range, nearest_name
from ..units import GRAVITY_MS2, MICRON_M
from .geometry import BALL_RADIUS_M, FRICTION_CAP
from .surface import LEVEL_LANE, Lane
from .viscosity import WALTHER_SLOPE, viscosity_at

CoverValues = tuple[tuple[str, float], ...]


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
    effective_modulus_gpa : E* of ball on lane [GPa]; 1.2: a contact radius of 1.65 mm, an area of
        8.6 mm^2. Argued: two like resins of E = 2.1 GPa and Poisson's ratio 0.35, in the middle
        of what filled polyesters, urethanes and laminates have (1 to 4 GPa, from memory). The area
        goes with E*^(-2/3): a factor 2 in E* is one of 1.6 in the film's drag and 1.3 in the
        pivot torque.
    pickup : film that the track takes up per turn, as a share of the lane's [-]. Assumed.
    ring_width_mm : width of a track ring w_t [mm]. Assumed ("about 5 mm").
    drag_coefficient : of the ball in air [-]; 0.5: a smooth sphere below the drag crisis, at a
        Reynolds number of 1.2e5 (textbook value 0.47 to 0.5, e.g. White, Fluid Mechanics; from
        memory). The floor beside the ball and its spin are left out.
    air_density_kgm3 : 1.20 at 20 C and sea level (standard atmosphere).
    viscosity_slope : Walther's slope of the oil's viscosity against temperature
        (`viscosity.viscosity_at`).
    dry_friction, uptake : ((cover kind, value), ..): values of a NEW cover of that kind in the
        place of `equipment.cover.COVER_KINDS`' own; ageing goes on from there as ever.
    lane : how the lane lies and how warm it is, seen from the player's side (`Lane.seen_from`).

    Friction and film were chosen together so that a sanded reactive ball averages about 0.04 along
    a medium 42 ft pattern and meets about 0.2 on dry lane (the two zones of Frohlich, Am. J. Phys.
    72, 1170 (2004)); tests/validation/test_friction_band.py holds that.
    """

    lane_roughness_um: float = 0.2
    film_share: float = 0.87
    lambda_ref: float = 0.77
    lambda_power: float = 1.38
    film_cap: float = 0.03
    effective_modulus_gpa: float = 1.2
    pickup: float = 0.14
    ring_width_mm: float = 5.0
    drag_coefficient: float = 0.5
    air_density_kgm3: float = 1.20
    viscosity_slope: float = WALTHER_SLOPE
    dry_friction: CoverValues = ()
    uptake: CoverValues = ()
    lane: Lane = LEVEL_LANE

    def __post_init__(self) -> None:
        check_range("lane roughness", self.lane_roughness_um, 0.01, 10, "um")
        check_range("film share", self.film_share, 0.01, 1)
        check_range("lambda_ref", self.lambda_ref, 0.05, 20)
        check_range("lambda_power", self.lambda_power, 0.25, 4)
        check_range("film friction cap", self.film_cap, 0, 0.2)
        check_range("effective modulus", self.effective_modulus_gpa, 0.05, 100, "GPa")
        check_range("pickup", self.pickup, 0, 1)
        check_range("ring width", self.ring_width_mm, 0.5, 50, "mm")
        check_range("drag coefficient", self.drag_coefficient, 0, 2)
        check_range("air density", self.air_density_kgm3, 0, 2, "kg/m^3")
        check_range("Walther slope", self.viscosity_slope, 0, 10)
        for kind, value in self.dry_friction:
            check_range(f"dry friction of {kind}", value, 0.01, FRICTION_CAP)
        for kind, value in self.uptake:
            check_range(f"uptake of {kind}", value, 0, 1)

    def varied(self, values: Mapping[str, float]) -> FrictionModel:
        """The same model with some parameters changed, by name.

        values : a field's name, 'dry_friction:KIND' or 'uptake:KIND' of a cover kind, or 'tilt_in',
        'crown_in', 'temperature_f' of the lane, and the new value.

        Raises
        ------
        InputError
            for a name that is none of these, offering the nearest, or a value out of range.
        """
        plain = {f.name for f in fields(self)} - {"dry_friction", "uptake", "lane"}
        lane = {f.name for f in fields(Lane)}
        changed: dict[str, float] = {}
        lying: dict[str, float] = {}
        covers = {"dry_friction": dict(self.dry_friction), "uptake": dict(self.uptake)}
        for name, value in values.items():
            what, _, kind = name.partition(":")
            if name in plain:
                changed[name] = value
            elif name in lane:
                lying[name] = value
            elif what in covers and kind:
                covers[what][kind] = value
            else:
                known = [*plain, *lane, "dry_friction:KIND", "uptake:KIND"]
                raise nearest_name(name, known, "model parameter")
        return replace(
            self, **changed, lane=replace(self.lane, **lying),
            dry_friction=tuple(sorted(covers["dry_friction"].items())),
            uptake=tuple(sorted(covers["uptake"].items())),
        )

    def contact_radius_m(self, mass_kg: float) -> float:
        """Hertz contact radius a = (3 N R / 4 E*)^(1/3) [m] of a ball of that mass on the lane."""
        load = mass_kg * GRAVITY_MS2
        modulus = self.effective_modulus_gpa * 1e9
        return (0.75 * load * BALL_RADIUS_M / modulus) ** (1.0 / 3.0)

    def combined_roughness_m(self, ball_roughness_um: float) -> float:
        """sigma = sqrt(Rq_ball^2 + Rq_lane^2) [m]."""
        return math.hypot(ball_roughness_um, self.lane_roughness_um) * MICRON_M

    def drag_kgm(self) -> float:
        """rho Cd pi R^2/2 [kg/m]: the air's force is this times |v| v."""
        area = math.pi * BALL_RADIUS_M**2
        return 0.5 * self.air_density_kgm3 * self.drag_coefficient * area

    def viscosity_cp(self, given_cp: float) -> float:
        """Viscosity [cP] at the lane's temperature, of an oil given at 70 F."""
        return viscosity_at(viscosity_cp=given_cp, temperature_f=self.lane.temperature_f,
                            slope=self.viscosity_slope)


DEFAULT_FRICTION = FrictionModel()
