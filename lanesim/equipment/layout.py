"""Where a ball is drilled relative to its core: the three angles, and the arcs that a tape marks.

On the surface of the ball three points matter: the pin (the low-RG axis e1), the mass bias (the
high-RG axis e3, a quarter circle from the pin) and the player's positive axis point, the PAP.

- pin-to-PAP, p: the arc from the pin to the PAP;
- drilling angle, d: at the pin, between the arcs pin -> PAP and pin -> mass bias;
- VAL angle, v: at the PAP, between the arc PAP -> pin and the vertical axis line (VAL), which
  runs through the PAP parallel to the centre line of the grip; 0 puts the pin on the VAL, on the
  side of the fingers.

Spherical trigonometry gives the two other arcs in use (both from the right-angled triangle rule
and its dual; textbook spherical trigonometry):

    mass bias to PAP, m:               cos m = sin p cos d
    pin to the VAL ("pin buffer"), b:  sin b = sin p sin v

Arcs are measured along the surface, so an arc in inches is an angle only with a ball radius. The
default is the model's ball, `lane.BALL_RADIUS_M` (circumference 26.86 in); trade tables round the
circumference to 27 in: `circle_radius_m(27)` gives the radius that reproduces them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import InputError, check_range
from ..lane.geometry import BALL_RADIUS_M
from ..units import INCH_M

PIN_TO_PAP_MAX_IN = 6.75  # a quarter of the trade's 27 in circumference
TRADE_CIRCUMFERENCE_IN = 27.0  # common practice; a ball of 8.550 in diameter has 26.86 in

# The side of the pin's meridian (e1, e3) on which the PAP lies, as the sign of its e2 component:
# pap = cos p e1 + sin p (cos d e3 + PAP_SIDE sin d e2).
# The design page writes +1, but in the right-handed body frame of the equations of motion that
# puts the mass bias counter-clockwise of the PAP, seen from outside at the pin, which is a
# left-hander's ball. On a right-hander's (PAP right of the grip, mass bias on the thumb's side,
# +omega leaving at the PAP) it lies clockwise: -1. A left-hander's shot is the whole mirror image,
# so the core always sees this one. The sign turns the way in which the axis of an ASYMMETRIC ball
# migrates and changes nothing else; with +1 asymmetric balls would flare less than symmetric ones
# of the same differential (tests/verification/test_layout.py), against all experience.
# `drilling` builds the whole ball (grip, holes) on this side.
PAP_SIDE = -1.0


def circle_radius_m(circumference_in: float) -> float:
    """Radius [m] of a ball whose great circle is `circumference_in` [in] long."""
    return circumference_in * INCH_M / (2.0 * math.pi)


def arc_deg(arc_in: float, radius_m: float = BALL_RADIUS_M) -> float:
    """Angle [deg] at the ball's centre of a surface arc [in] on a ball of `radius_m`."""
    return math.degrees(arc_in * INCH_M / radius_m)


def arc_in(angle_deg: float, radius_m: float = BALL_RADIUS_M) -> float:
    """Length [in] along the surface of an angle [deg] at the centre of a ball of `radius_m`."""
    return math.radians(angle_deg) * radius_m / INCH_M


@dataclass(frozen=True)
class Layout:
    """A layout as three numbers; the same numbers serve a right- and a left-handed player.

    A left-hander's ball is the mirror image of the right-hander's: seen from outside with the
    fingers up, everything to the right of the grip lies to its left. The core of a ball has no
    handedness of its own, so the numbers (and every radius of gyration) stay; the mirror is
    applied once, where a shot or a drawing leaves the model.

    Parameters
    ----------
    drilling_angle_deg : float
        Angle at the pin between pin -> PAP and pin -> mass bias, 0 to 180 [deg];
        10 to 90 is usual (common practice, no source).
    pin_to_pap_in : float
        Arc from the pin to the PAP, 0 to 6.75 [in].
    val_angle_deg : float
        Angle at the PAP between PAP -> pin and the vertical axis line toward the fingers,
        0 to 180 [deg]; 20 to 70 is usual (common practice, no source). Above 90 the pin lies
        nearer the thumb than the PAP's own horizontal.

    Raises
    ------
    InputError
        If a number is not finite or outside its range.
    """

    drilling_angle_deg: float
    pin_to_pap_in: float
    val_angle_deg: float

    def __post_init__(self) -> None:
        checks = (
            ("drilling_angle_deg", 180.0, "deg"),
            ("pin_to_pap_in", PIN_TO_PAP_MAX_IN, "in"),
            ("val_angle_deg", 180.0, "deg"),
        )
        for name, high, unit in checks:
            value = check_range(name, getattr(self, name), 0.0, high, unit, where="layout")
            object.__setattr__(self, name, value)

    def pap_in_body(self, radius_m: float = BALL_RADIUS_M) -> np.ndarray:
        """Unit vector (3,) from the ball's centre to the PAP, in the core's principal axes.

        Components along (e1 low RG = pin, e2 intermediate RG, e3 high RG = mass bias):
        cos(p/R) e1 + sin(p/R) (cos d e3 + sin d e2). The sign of the e2 part is `PAP_SIDE`.
        """
        p = self.pin_to_pap_in * INCH_M / radius_m
        d = math.radians(self.drilling_angle_deg)
        return np.array(
            [
                math.cos(p),
                PAP_SIDE * math.sin(p) * math.sin(d),
                math.sin(p) * math.cos(d),
            ]
        )

    def pin_to_pap_deg(self, radius_m: float = BALL_RADIUS_M) -> float:
        """Arc from the pin to the PAP as an angle [deg]."""
        return arc_deg(self.pin_to_pap_in, radius_m)

    def mass_bias_to_pap_deg(self, radius_m: float = BALL_RADIUS_M) -> float:
        """Arc from the mass bias to the PAP [deg]: cos m = sin p cos d.

        >>> example = Layout(drilling_angle_deg=50, pin_to_pap_in=4.5, val_angle_deg=30)
        >>> round(example.mass_bias_to_pap_deg(circle_radius_m(27)), 1)
        56.2
        """
        p = math.radians(self.pin_to_pap_deg(radius_m))
        return _acos_deg(math.sin(p) * math.cos(math.radians(self.drilling_angle_deg)))

    def mass_bias_to_pap_in(self, radius_m: float = BALL_RADIUS_M) -> float:
        """Arc from the mass bias to the PAP along the surface [in]."""
        return arc_in(self.mass_bias_to_pap_deg(radius_m), radius_m)

    def pin_buffer_deg(self, radius_m: float = BALL_RADIUS_M) -> float:
        """Shortest arc from the pin to the vertical axis line [deg]: sin b = sin p sin v.

        >>> example = Layout(drilling_angle_deg=50, pin_to_pap_in=4.5, val_angle_deg=30)
        >>> round(example.pin_buffer_deg(circle_radius_m(27)), 1)
        25.7
        """
        p = math.radians(self.pin_to_pap_deg(radius_m))
        return _asin_deg(math.sin(p) * math.sin(math.radians(self.val_angle_deg)))

    def pin_buffer_in(self, radius_m: float = BALL_RADIUS_M) -> float:
        """Shortest arc from the pin to the vertical axis line along the surface [in]."""
        return arc_in(self.pin_buffer_deg(radius_m), radius_m)


def layouts_from_arcs(
    *,
    pin_to_pap_in: float,
    mass_bias_to_pap_in: float,
    pin_buffer_in: float,
    radius_m: float = BALL_RADIUS_M,
) -> tuple[Layout, ...]:
    """The layouts that three measured arcs allow: none, one or two.

    The drilling angle follows uniquely, cos d = cos m / sin p with d between 0 and 180 deg: which
    of the two points at distance m from the mass bias is meant is fixed by the convention that
    the PAP lies on the ball-arm side.
    The VAL angle does not: sin v = sin b / sin p holds for v and for 180 - v, the pin on the
    finger side or on the thumb side of the PAP. No arc among the three tells them apart, so both
    come back, the finger side (v <= 90, by far the more usual) first; they coincide at v = 90.

    Parameters
    ----------
    pin_to_pap_in, mass_bias_to_pap_in, pin_buffer_in : float
        Arcs along the surface [in].
    radius_m : float
        Radius of the ball that was measured [m].

    Returns
    -------
    tuple of Layout, of length 1 or 2.

    Raises
    ------
    InputError
        Naming the two arcs that cannot go together and the range that can: the mass bias is a
        quarter circle from the pin, so |90 - m| <= p; the pin is no farther from the VAL than
        from the PAP, which lies on it, so b <= p. With the pin on the PAP no angle is defined.
    """
    p_in = check_range("pin_to_pap_in", pin_to_pap_in, 0.0, PIN_TO_PAP_MAX_IN, "in")
    half_circle = arc_in(180.0, radius_m)
    m_in = check_range("mass_bias_to_pap_in", mass_bias_to_pap_in, 0.0, half_circle, "in")
    b_in = check_range("pin_buffer_in", pin_buffer_in, 0.0, PIN_TO_PAP_MAX_IN, "in")
    p, m, b = (math.radians(arc_deg(arc, radius_m)) for arc in (p_in, m_in, b_in))
    sin_p = math.sin(p)
    if sin_p < 1e-9:
        raise InputError(
            "pin_to_pap_in is 0: with the pin on the PAP neither angle is defined; "
            "give a pin-to-PAP arc above 0 in"
        )
    quarter = arc_in(90.0, radius_m)
    reach = arc_in(_asin_deg(sin_p), radius_m)  # p, or its supplement just past the quarter circle
    cos_d = math.cos(m) / sin_p
    if abs(cos_d) > 1.0 + 1e-9:
        raise InputError(
            f"pin_to_pap_in {p_in:g} and mass_bias_to_pap_in {m_in:g} cannot go together: with "
            f"this pin-to-PAP arc the mass bias lies {quarter - reach:.2f} to "
            f"{quarter + reach:.2f} in from the PAP"
        )
    sin_v = math.sin(b) / sin_p
    if sin_v > 1.0 + 1e-9 or b_in > quarter * (1.0 + 1e-9):
        raise InputError(
            f"pin_to_pap_in {p_in:g} and pin_buffer_in {b_in:g} cannot go together: the pin is at "
            f"most {reach:.2f} in from the vertical axis line"
        )
    d_deg = _acos_deg(cos_d)
    v_deg = _asin_deg(sin_v)
    both = (v_deg,) if 180.0 - 2.0 * v_deg < 1e-6 else (v_deg, 180.0 - v_deg)
    return tuple(Layout(d_deg, p_in, v) for v in both)


def layout_from_arcs(
    *,
    pin_to_pap_in: float,
    mass_bias_to_pap_in: float,
    pin_buffer_in: float,
    pin_toward_fingers: bool = True,
    radius_m: float = BALL_RADIUS_M,
) -> Layout:
    """The one layout of three arcs, once it is said on which side of the PAP the pin lies.

    See `layouts_from_arcs` for the equations, the ambiguity and the errors.
    """
    found = layouts_from_arcs(
        pin_to_pap_in=pin_to_pap_in,
        mass_bias_to_pap_in=mass_bias_to_pap_in,
        pin_buffer_in=pin_buffer_in,
        radius_m=radius_m,
    )
    return found[0] if pin_toward_fingers else found[-1]


def layout_of_pap(pap: np.ndarray, val_angle_deg: float, radius_m: float = BALL_RADIUS_M) -> Layout:
    """The layout whose `pap_in_body` is the unit vector `pap` (3,): the inverse of that method.

    Raises
    ------
    InputError
        If the PAP is more than a quarter circle from the pin, or on the side of the pin's
        meridian opposite `PAP_SIDE`; no layout in this convention describes such a ball.
    """
    e1, e2, e3 = (float(x) for x in pap)
    side = PAP_SIDE * e2
    if side < -1e-12:
        raise InputError(
            f"the PAP ({e1:.3f}, {e2:.3f}, {e3:.3f}) lies on the far side of the pin's meridian; "
            "a layout's drilling angle is 0 to 180 deg"
        )
    p_in = arc_in(math.degrees(math.atan2(math.hypot(e2, e3), e1)), radius_m)
    return Layout(math.degrees(math.atan2(max(side, 0.0), e3)), p_in, val_angle_deg)


def _acos_deg(cosine: float) -> float:
    # Rounding may leave the interval by an ulp; anything more has been refused before.
    return math.degrees(math.acos(min(1.0, max(-1.0, cosine))))


def _asin_deg(sine: float) -> float:
    return math.degrees(math.asin(min(1.0, max(-1.0, sine))))
