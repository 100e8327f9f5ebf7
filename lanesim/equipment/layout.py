"""Where a ball is drilled relative to its core: the layout, its text, and the arcs of a tape.

A layout is written `drill 50 deg, pin 4.5 in, VAL 30 deg` wherever people read or write one
(`layout_text`, `read_layout`).

On the surface of the ball three points matter: the pin (the low-RG axis e1), the mass bias (the
high-RG axis e3, a quarter circle from the pin) and the player's positive axis point, the PAP.

- pin-to-PAP, p: the arc from the pin to the PAP;
- drilling angle, d: at the pin, between the arcs pin -> PAP and pin -> mass bias;
- VAL angle, v: at the PAP, between the arc PAP -> pin and the vertical axis line (VAL), which
  runs through the PAP parallel to the centre line of the grip; 0 puts the pin on the VAL, on the
  side of the fingers.

Spherical trigonometry gives the two other arcs in use (both from the right-angled triangle rule
and its dual; textbook spherical trigonometry):

    mass bias to PAP, m:  cos m = sin p cos d
    pin to the VAL, b:    sin b = sin p sin v

Arcs are measured along the surface, so an arc in inches is an angle only with a ball radius. The
default is the model's ball, `lane.BALL_RADIUS_M` (circumference 26.86 in); trade tables round the
circumference to 27 in: `circle_radius_m(27)` gives the radius that reproduces them.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError, check_range
from ..lane.geometry import BALL_RADIUS_M
from ..units import INCH_M
from .inches import read_inches

PIN_TO_PAP_MAX_IN = 6.75  # a quarter of the trade's 27 in circumference
TRADE_CIRCUMFERENCE_IN = 27.0  # common practice; a ball of 8.550 in diameter has 26.86 in

# The side of the pin's meridian (e1, e3) on which the PAP lies, as the sign of its e2 component:
# pap = cos p e1 + sin p (cos d e3 + PAP_SIDE sin d e2).
# In the right-handed body frame of the equations of motion +1 puts the mass bias counter-clockwise
# of the PAP, seen from outside at the pin: a left-hander's ball. On a right-hander's (PAP right of
# the grip, mass bias on the thumb's side, +omega leaving at the PAP) it lies clockwise: -1. A
# left-hander's shot is the whole mirror image, so the core always sees this one. The sign turns the
# way in which the axis of an ASYMMETRIC ball migrates and changes nothing else; with +1 asymmetric
# balls would flare less than symmetric ones of the same differential
# (tests/verification/test_layout.py), against all experience.
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
    drilling_deg : float
        Angle at the pin between pin -> PAP and pin -> mass bias, 0 to 180 [deg];
        10 to 90 is usual (common practice, no source).
    pin_to_pap_in : float
        Arc from the pin to the PAP, 0 to 6.75 [in].
    val_deg : float
        Angle at the PAP between PAP -> pin and the vertical axis line toward the fingers,
        0 to 180 [deg]; 20 to 70 is usual (common practice, no source). Above 90 the pin lies
        nearer the thumb than the PAP's own horizontal.

    Raises
    ------
    InputError
        If a number is not finite or outside its range.
    """

    drilling_deg: float
    pin_to_pap_in: float
    val_deg: float

    def __post_init__(self) -> None:
        checks = (
            ("drilling_deg", 180.0, "deg"),
            ("pin_to_pap_in", PIN_TO_PAP_MAX_IN, "in"),
            ("val_deg", 180.0, "deg"),
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
        d = math.radians(self.drilling_deg)
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

        >>> example = Layout(drilling_deg=50, pin_to_pap_in=4.5, val_deg=30)
        >>> round(example.mass_bias_to_pap_deg(circle_radius_m(27)), 1)
        56.2
        """
        p = math.radians(self.pin_to_pap_deg(radius_m))
        return _acos_deg(math.sin(p) * math.cos(math.radians(self.drilling_deg)))

    def mass_bias_to_pap_in(self, radius_m: float = BALL_RADIUS_M) -> float:
        """Arc from the mass bias to the PAP along the surface [in]."""
        return arc_in(self.mass_bias_to_pap_deg(radius_m), radius_m)

    def pin_to_val_deg(self, radius_m: float = BALL_RADIUS_M) -> float:
        """Shortest arc from the pin to the vertical axis line [deg]: sin b = sin p sin v.

        >>> example = Layout(drilling_deg=50, pin_to_pap_in=4.5, val_deg=30)
        >>> round(example.pin_to_val_deg(circle_radius_m(27)), 1)
        25.7
        """
        p = math.radians(self.pin_to_pap_deg(radius_m))
        return _asin_deg(math.sin(p) * math.sin(math.radians(self.val_deg)))

    def pin_to_val_in(self, radius_m: float = BALL_RADIUS_M) -> float:
        """Shortest arc from the pin to the vertical axis line along the surface [in]."""
        return arc_in(self.pin_to_val_deg(radius_m), radius_m)


_PARTS = {"drill": "drilling_deg", "pin": "pin_to_pap_in", "val": "val_deg"}
_PART = re.compile(r"(drill|pin|val)\s+(.+)")
_DEGREES = re.compile(r"([+-]?(?:\d{1,9}(?:\.\d{0,30})?|\.\d{1,30}))\s*(?:deg|degrees)?")
LAYOUT_EXAMPLE = "drill 50 deg, pin 4.5 in, VAL 30 deg"


def layout_text(layout: Layout, parts: tuple[str, ...] = ()) -> str:
    """A layout in words; angles to a tenth of a degree, finer than anybody drills.

    parts : the fields to tell; none: all three.

    >>> layout_text(Layout(49.9605, 4.5, 30))
    'drill 50 deg, pin 4.5 in, VAL 30 deg'
    """
    words = {
        "drilling_deg": f"drill {_plain(layout.drilling_deg, 1)} deg",
        "pin_to_pap_in": f"pin {_plain(layout.pin_to_pap_in, 4)} in",
        "val_deg": f"VAL {_plain(layout.val_deg, 1)} deg",
    }
    return ", ".join(words[name] for name in parts or words)


def read_layout(text: str, own: Layout | None = None) -> Layout:
    """A layout from its words, in any order, units at will: "drill 50, pin 4 1/2, VAL 30".

    own : where given, parts that are left out are taken from it; without it all three must stand.

    Raises
    ------
    InputError
        One line with the words that are understood, the part that is missing or twice there, or
        the number out of range.
    """
    given: dict[str, float] = {}
    for piece in text.lower().split(","):
        found = _PART.fullmatch(piece.strip())
        name = _PARTS[found[1]] if found else ""
        if found and name == "pin_to_pap_in":
            value = read_inches(found[2], "layout: pin")
        elif found and (angle := _DEGREES.fullmatch(found[2])):
            value = float(angle[1])
        else:
            raise InputError(f"layout '{text}' is not understood; accepted: {LAYOUT_EXAMPLE}")
        if name in given:
            raise InputError(f"layout '{text}' names {found[1]} twice; accepted: {LAYOUT_EXAMPLE}")
        given[name] = value
    missing = [word for word, name in _PARTS.items() if name not in given]
    if own is None and missing:
        raise InputError(f"layout '{text}' lacks {' and '.join(missing)}; accepted: "
                         f"{LAYOUT_EXAMPLE}")
    return Layout(**given) if own is None else replace(own, **given)


def _plain(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def drilling_from_arcs(
    *, pin_to_pap_in: float, mass_bias_to_pap_in: float, radius_m: float = BALL_RADIUS_M
) -> float:
    """The drilling angle [deg] of two measured arcs [in]: cos d = cos m / sin p.

    Which of the two points at distance m from the mass bias is meant is fixed by the convention
    that the PAP lies on the ball-arm side (d between 0 and 180 deg).

    Raises
    ------
    InputError
        Naming the arcs that cannot go together and the range that can: the mass bias is a quarter
        circle from the pin, so |90 - m| <= p. With the pin on the PAP no angle is defined.
    """
    p_in, sin_p = _pin_arc(pin_to_pap_in, radius_m)
    half_circle = arc_in(180.0, radius_m)
    m_in = check_range("mass_bias_to_pap_in", mass_bias_to_pap_in, 0.0, half_circle, "in")
    cos_d = math.cos(math.radians(arc_deg(m_in, radius_m))) / sin_p
    if abs(cos_d) > 1.0 + 1e-9:
        quarter, reach = arc_in(90.0, radius_m), _reach_in(sin_p, radius_m)
        raise InputError(
            f"pin_to_pap_in {p_in:g} and mass_bias_to_pap_in {m_in:g} cannot go together: with "
            f"this pin-to-PAP arc the mass bias lies {quarter - reach:.2f} to "
            f"{quarter + reach:.2f} in from the PAP"
        )
    return _acos_deg(cos_d)


def val_from_arcs(
    *,
    pin_to_pap_in: float,
    pin_to_val_in: float,
    pin_toward_fingers: bool = True,
    radius_m: float = BALL_RADIUS_M,
) -> float:
    """The VAL angle [deg] of two measured arcs [in]: sin v = sin b / sin p.

    It holds for v and for 180 - v, the pin on the finger side or on the thumb side of the PAP,
    and no arc tells them apart: `pin_toward_fingers` does (by far the more usual).

    Raises
    ------
    InputError
        The pin is no farther from the VAL than from the PAP, which lies on it: b <= p. With the
        pin on the PAP no angle is defined.
    """
    p_in, sin_p = _pin_arc(pin_to_pap_in, radius_m)
    b_in = check_range("pin_to_val_in", pin_to_val_in, 0.0, PIN_TO_PAP_MAX_IN, "in")
    sin_v = math.sin(math.radians(arc_deg(b_in, radius_m))) / sin_p
    if sin_v > 1.0 + 1e-9 or b_in > arc_in(90.0, radius_m) * (1.0 + 1e-9):
        raise InputError(
            f"pin_to_pap_in {p_in:g} and pin_to_val_in {b_in:g} cannot go together: the pin is at "
            f"most {_reach_in(sin_p, radius_m):.2f} in from the vertical axis line"
        )
    v_deg = _asin_deg(sin_v)
    return v_deg if pin_toward_fingers else 180.0 - v_deg


def layouts_from_arcs(
    *,
    pin_to_pap_in: float,
    mass_bias_to_pap_in: float,
    pin_to_val_in: float,
    radius_m: float = BALL_RADIUS_M,
) -> tuple[Layout, ...]:
    """The layouts that three measured arcs [in] allow: one, or two, pin toward the fingers first.

    The two VAL angles v and 180 - v (`val_from_arcs`) coincide at 90 deg. `radius_m` is the radius
    of the ball that was measured [m]. Errors as in `drilling_from_arcs` and `val_from_arcs`.
    """
    d_deg = drilling_from_arcs(pin_to_pap_in=pin_to_pap_in,
                               mass_bias_to_pap_in=mass_bias_to_pap_in, radius_m=radius_m)
    v_deg = val_from_arcs(pin_to_pap_in=pin_to_pap_in, pin_to_val_in=pin_to_val_in,
                          radius_m=radius_m)
    both = (v_deg,) if 180.0 - 2.0 * v_deg < 1e-6 else (v_deg, 180.0 - v_deg)
    return tuple(Layout(d_deg, pin_to_pap_in, v) for v in both)


def _pin_arc(pin_to_pap_in: float, radius_m: float) -> tuple[float, float]:
    """The pin-to-PAP arc, checked [in], and its sine."""
    p_in = check_range("pin_to_pap_in", pin_to_pap_in, 0.0, PIN_TO_PAP_MAX_IN, "in")
    sin_p = math.sin(math.radians(arc_deg(p_in, radius_m)))
    if sin_p < 1e-9:
        raise InputError(
            "pin_to_pap_in is 0: with the pin on the PAP neither angle is defined; "
            "give a pin-to-PAP arc above 0 in"
        )
    return p_in, sin_p


def _reach_in(sin_p: float, radius_m: float) -> float:
    """The pin-to-PAP arc [in], or its supplement just past the quarter circle."""
    return arc_in(_asin_deg(sin_p), radius_m)


def layout_of_pap(pap: np.ndarray, val_deg: float, radius_m: float = BALL_RADIUS_M) -> Layout:
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
    return Layout(math.degrees(math.atan2(max(side, 0.0), e3)), p_in, val_deg)


def _acos_deg(cosine: float) -> float:
    # Rounding may leave the interval by an ulp; anything more has been refused before.
    return math.degrees(math.acos(min(1.0, max(-1.0, cosine))))


def _asin_deg(sine: float) -> float:
    return math.degrees(math.asin(min(1.0, max(-1.0, sine))))
