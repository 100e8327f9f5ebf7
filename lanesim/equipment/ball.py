"""A ball as drilled: weight, mass distribution, cover and layout."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ..errors import InputError, InputWarning, check_range
from ..lane.geometry import BALL_MAX_LB, DIFFERENTIAL_MAX_IN, RG_RANGE_IN
from ..units import LB_KG, rg_inertia
from .cover import Cover
from .drilling import drilled_inertia
from .grip import Grip
from .layout import Layout

# Beyond these no ball of any age is believable; between them and the standard only a warning.
_BELIEVABLE_RG_IN = (2.30, 2.95)
_BELIEVABLE_DIFFERENTIAL_IN = 0.090


@dataclass(frozen=True)
class Ball:
    """A ball, its cover and its layout, in the trade's units.

    Attributes
    ----------
    name, title, note : what to call it.
    weight_lb : 6 to 16 lb.
    rg_in : low radius of gyration [in]; 2.46 to 2.80 by the standard, a warning outside.
    diff_in : total differential, high minus low RG [in]; at most 0.060, a warning above.
    int_diff_in : intermediate differential, high minus intermediate RG [in]; 0 when symmetric.
    cover, layout : see there.
    grip : the gripping holes; the path then uses the mass properties as drilled
        (`drilling.drilled_inertia`). None: as cast.
    invented : made up, no real ball; answers about it say so.
    """

    name: str
    weight_lb: float
    rg_in: float
    diff_in: float
    int_diff_in: float
    cover: Cover
    layout: Layout
    title: str = ""
    note: str = ""
    grip: Grip | None = None
    invented: bool = False

    def __post_init__(self) -> None:
        where = f"ball '{self.name}'"
        check_range("weight", self.weight_lb, 6, BALL_MAX_LB, "lb", where)
        check_range("RG", self.rg_in, *_BELIEVABLE_RG_IN, "in", where)
        check_range("differential", self.diff_in, 0, _BELIEVABLE_DIFFERENTIAL_IN, "in", where)
        check_range("intermediate differential", self.int_diff_in, 0, _BELIEVABLE_DIFFERENTIAL_IN,
                    "in", where)
        if self.int_diff_in > self.diff_in:
            raise InputError(f"{where}: intermediate differential {self.int_diff_in:g} in is above "
                             f"the differential {self.diff_in:g} in; accepted: 0 to it")
        if not RG_RANGE_IN[0] <= self.rg_in <= RG_RANGE_IN[1]:
            warnings.warn(f"{where}: RG {self.rg_in:g} in is outside the standard's "
                          f"{RG_RANGE_IN[0]:g} to {RG_RANGE_IN[1]:g} in (a house or old ball "
                          "may be)", InputWarning, stacklevel=3)
        if self.diff_in > DIFFERENTIAL_MAX_IN:
            warnings.warn(f"{where}: differential {self.diff_in:g} in is above the standard's "
                          f"{DIFFERENTIAL_MAX_IN:g} in (an old ball may be)", InputWarning,
                          stacklevel=3)

    @property
    def inertia(self) -> BodyInertia:
        """Mass, principal moments and PAP for the path: as drilled with a grip, else as cast.

        I1 = m k_low^2, I3 = m (k_low + diff)^2, I2 = m (k_low + diff - intermediate_diff)^2.
        """
        return _inertia(
            self.weight_lb, self.rg_in, self.diff_in, self.int_diff_in, self.layout, self.grip
        )

    def with_finish(self, grit: float, polished: bool = False) -> Ball:
        """The same ball freshly resurfaced: same games in all, none since the surface."""
        cover = replace(self.cover, grit=grit, polished=polished, games_since_surface=0.0)
        return replace(self, cover=cover)


@dataclass(frozen=True)
class BodyInertia:
    """A rigid ball: mass [kg], principal moments [kg m^2] ascending, PAP (unit) in those axes."""

    mass_kg: float
    moments_kgm2: tuple[float, float, float]
    pap_body: tuple[float, float, float]

    def __post_init__(self) -> None:
        check_range("mass", self.mass_kg, 0.5, 10, "kg")
        i1, i2, i3 = self.moments_kgm2
        if not (0 < i1 <= i2 <= i3 < i1 + i2):
            raise InputError(f"principal moments {self.moments_kgm2} must ascend and obey "
                             "I3 < I1 + I2, as any body's do")
        length = math.sqrt(sum(c * c for c in self.pap_body))
        if not abs(length - 1.0) < 1e-9:
            raise InputError(f"the PAP must be a unit vector, its length is {length:g}")

    @property
    def pap_array(self) -> np.ndarray:
        """The PAP as an array of 3."""
        return np.array(self.pap_body)


@lru_cache(maxsize=4096)
def _inertia(
    weight_lb: float,
    rg_in: float,
    diff_in: float,
    int_diff_in: float,
    layout: Layout,
    grip: Grip | None,
) -> BodyInertia:
    """`Ball.inertia`; remembered, since studies ask for it again and again and holes take time."""
    if grip is not None:
        mass, moments, _axes, pap = drilled_inertia(
            weight_lb=weight_lb, rg_in=rg_in, diff_in=diff_in, int_diff_in=int_diff_in,
            layout=layout, grip=grip,
        )
        return BodyInertia(mass, _triple(moments), _triple(pap))
    mass = weight_lb * LB_KG
    high = rg_in + diff_in
    return BodyInertia(
        mass_kg=mass,
        moments_kgm2=(
            rg_inertia(mass, rg_in),
            rg_inertia(mass, high - int_diff_in),
            rg_inertia(mass, high),
        ),
        pap_body=_triple(layout.pap_in_body()),
    )


def _triple(values: Iterable[float]) -> tuple[float, float, float]:
    one, two, three = values
    return float(one), float(two), float(three)
