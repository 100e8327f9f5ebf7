"""The order in which a layout and a grip are marked out on a real ball."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import InputError
from ..lane.geometry import BALL_RADIUS_M
from ..units import INCH_M
from .face import face_of
from .grip import DEFAULT_GRIP, Grip
from .layout import Layout


@dataclass(frozen=True)
class Mark:
    """One step of marking out: what to do, and the arc [in] or angle [deg] it takes."""

    text: str
    arc_in: float | None = None
    angle_deg: float | None = None
    check: bool = False  # a distance to verify, not to lay off


def marking_steps(
    layout: Layout,
    grip: Grip = DEFAULT_GRIP,
    *,
    hand: str = "right",
    symmetric: bool = False,
    radius_m: float = BALL_RADIUS_M,
) -> tuple[Mark, ...]:
    """The order in which the points are found on a real ball, starting from its own marks.

    Seen from outside at the pin, a right-hander's PAP lies counter-clockwise of the mass bias,
    and at the PAP "up" lies clockwise of the pin; a left-hander's the other way round.

    Parameters
    ----------
    layout, grip : see `drill`.
    hand : "right" or "left"
    symmetric : bool
        True for a symmetric core, which has no mass bias: the marked centre of gravity gives the
        direction instead (common practice, no source).
    radius_m : float
        The ball's radius [m].
    """
    if hand not in ("right", "left"):
        raise InputError(f"hand must be right or left, not {hand!r}")
    one, other = ("counter-clockwise", "clockwise")
    if hand == "left":
        one, other = other, one
    face = face_of(layout, grip, radius_m)
    quarter = math.pi / 2.0 * radius_m / INCH_M
    to_foot = "thumb" if grip.pap_up_in >= 0 else "finger"
    source = (
        "mass bias direction: a quarter circle from the pin through the marked centre of gravity"
        if symmetric
        else "mass bias mark: a quarter circle from the pin"
    )
    steps = [
        Mark(source, arc_in=quarter, check=not symmetric),
        Mark(f"drilling angle at the pin, {one} from the line to the mass bias",
             angle_deg=layout.drilling_deg),
        Mark("PAP: from the pin along that line", arc_in=layout.pin_to_pap_in),
        Mark("mass bias to PAP", arc_in=layout.mass_bias_to_pap_in(radius_m), check=True),
        Mark(f"VAL angle at the PAP, {other} from the line to the pin: draw the vertical axis line",
             angle_deg=layout.val_deg),
        Mark("pin to the vertical axis line", arc_in=layout.pin_to_val_in(radius_m), check=True),
        Mark(f"midline: from the PAP along the VAL toward the {to_foot} side, then square across",
             arc_in=abs(grip.pap_up_in)),
        Mark("grip centre: along the midline, away from the VAL on the side of the grip",
             arc_in=grip.pap_over_in),
        Mark("grip centre to pin", arc_in=face.arc_in(face.grip_centre, face.pin, radius_m),
             check=True),
        Mark("centre line: through the grip centre, square to the midline"),
    ]
    for hole in face.holes:
        up_in, off_in = face.centre_line_coordinates_in(hole.centre, radius_m)
        toward = "fingers" if up_in >= 0 else "thumb"
        steps.append(Mark(f"{hole.name} hole: along the centre line toward the {toward}",
                          arc_in=abs(up_in)))
        if abs(off_in) > 1e-9:
            way = hand if off_in > 0 else ("left" if hand == "right" else "right")
            steps.append(Mark(f"{hole.name} hole: then square off the centre line to the {way}",
                              arc_in=abs(off_in)))
    return tuple(steps)
