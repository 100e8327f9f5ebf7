"""The ball's face: where pin, mass bias, PAP, grip centre, lines and holes lie on the surface.

The pin, the PAP and the mass bias are placed by the layout, the grip by the player's PAP
coordinates and the VAL angle. Left-handers: a left-hander's ball is the mirror image of the
right-hander's with the same numbers; only what lies right of the grip, seen from outside with the
fingers up, lies left of it. "Toward the ball arm" means right for a right-hander and left for a
left-hander.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..lane.geometry import BALL_RADIUS_M
from ..units import INCH_M
from . import layout as _layout
from .grip import DEFAULT_GRIP, Grip
from .holes import Hole
from .layout import Layout
from .vectors import angle_between, unit


@dataclass(frozen=True, eq=False)
class Face:
    """Where everything lies on the ball: unit vectors (3,) in the core's principal axes.

    `right` and `up` are the tangents at the grip centre toward the ball arm (along the midline)
    and toward the fingers (along the centre line). `val_foot` is where the vertical axis line
    meets the midline, `val_up` its tangent there.
    """

    pin: np.ndarray
    mass_bias: np.ndarray
    pap: np.ndarray
    grip_centre: np.ndarray
    right: np.ndarray
    up: np.ndarray
    val_foot: np.ndarray
    val_up: np.ndarray
    holes: tuple[Hole, ...]

    def point(self, over_in: float, up_in: float, radius_m: float = BALL_RADIUS_M) -> np.ndarray:
        """The point `over_in` along the midline toward the ball arm, then `up_in` toward the
        fingers [in], as a unit vector (3,)."""
        x, y = over_in * INCH_M / radius_m, up_in * INCH_M / radius_m
        on_midline = math.cos(x) * self.grip_centre + math.sin(x) * self.right
        return math.cos(y) * on_midline + math.sin(y) * self.up

    def coordinates_in(
        self, point: np.ndarray, radius_m: float = BALL_RADIUS_M
    ) -> tuple[float, float]:
        """The (over, up) arcs [in] of a point (3,): the inverse of `point`."""
        g, r, u = (float(np.dot(point, v)) for v in (self.grip_centre, self.right, self.up))
        return (
            math.atan2(r, g) * radius_m / INCH_M,
            math.atan2(u, math.hypot(g, r)) * radius_m / INCH_M,
        )

    def beside_centre_line(
        self, along_in: float, off_in: float, radius_m: float = BALL_RADIUS_M
    ) -> np.ndarray:
        """The point `along_in` along the centre line toward the fingers, then `off_in` square off
        it toward the ball arm [in], as a unit vector (3,): how holes are marked."""
        y, x = along_in * INCH_M / radius_m, off_in * INCH_M / radius_m
        on_line = math.cos(y) * self.grip_centre + math.sin(y) * self.up
        return math.cos(x) * on_line + math.sin(x) * self.right

    def centre_line_coordinates_in(
        self, point: np.ndarray, radius_m: float = BALL_RADIUS_M
    ) -> tuple[float, float]:
        """The (along, off) arcs [in] of a point (3,): the inverse of `beside_centre_line`."""
        g, r, u = (float(np.dot(point, v)) for v in (self.grip_centre, self.right, self.up))
        return (
            math.atan2(u, g) * radius_m / INCH_M,
            math.atan2(r, math.hypot(g, u)) * radius_m / INCH_M,
        )

    def tangents(self, point: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Unit tangents (3,), (3,) at a point: toward the ball arm, and toward the fingers along
        the great circle that runs through the point and crosses the midline at right angles."""
        along = unit(self.up - np.dot(self.up, point) * point)
        across = np.cross(along, point)
        handed = np.dot(np.cross(self.up, self.grip_centre), self.right)
        return (across if handed > 0.0 else -across), along

    def view(self, points: np.ndarray, middle: np.ndarray | None = None) -> np.ndarray:
        """Orthographic view from outside: columns (toward the ball arm, toward the fingers, toward
        the eye) of unit vectors (..., 3).

        Parameters
        ----------
        points : (..., 3)
        middle : (3,) or None
            The point in the middle of the picture; None = the grip centre.
        """
        eye = self.grip_centre if middle is None else middle
        right, up = self.tangents(eye)
        return points @ np.stack([right, up, eye], axis=1)

    def nearest_on_val(self, point: np.ndarray) -> np.ndarray:
        """The point (3,) of the vertical axis line (a great circle) nearest to a point."""
        pole = np.cross(self.val_foot, self.val_up)
        flat = point - np.dot(point, pole) * pole
        return self.val_foot if np.linalg.norm(flat) < 1e-9 else unit(flat)

    def arc_in(self, a: np.ndarray, b: np.ndarray, radius_m: float = BALL_RADIUS_M) -> float:
        """Shortest arc between two points of the surface [in]."""
        return angle_between(a, b) * radius_m / INCH_M


def face_of(layout: Layout, grip: Grip = DEFAULT_GRIP, radius_m: float = BALL_RADIUS_M) -> Face:
    """Place pin, mass bias, PAP, grip centre and holes on the ball.

    From the PAP the vertical axis line leaves at the VAL angle from the arc to the pin, with the
    pin on the grip's side of it; the midline crosses it at right angles `pap_up_in` below the
    PAP; the grip centre lies `pap_over_in` along the midline.
    """
    side = _layout.PAP_SIDE
    pap = layout.pap_in_body(radius_m)
    e1, _, e3 = np.eye(3)
    p = layout.pin_to_pap_in * INCH_M / radius_m
    # The tangent at the PAP toward the pin, -d(pap)/dp: defined even where pin and PAP coincide.
    to_pin = math.sin(p) * e1 - math.cos(p) * _meridian(layout)
    # Seen from outside on the right-hander's ball (PAP_SIDE -1 in a right-handed frame) "up" is
    # clockwise of the pin, so that the pin is on the grip's side of the line.
    val = math.radians(layout.val_deg)
    up_at_pap = math.cos(val) * to_pin + side * math.sin(val) * np.cross(pap, to_pin)
    rise = grip.pap_up_in * INCH_M / radius_m
    foot = math.cos(rise) * pap - math.sin(rise) * up_at_pap
    up = math.sin(rise) * pap + math.cos(rise) * up_at_pap
    to_grip = side * np.cross(up, foot)
    over = grip.pap_over_in * INCH_M / radius_m
    centre = math.cos(over) * foot + math.sin(over) * to_grip
    right = math.sin(over) * foot - math.cos(over) * to_grip
    bare = Face(e1, e3, pap, centre, right, up, foot, up, ())
    return Face(e1, e3, pap, centre, right, up, foot, up, _holes(bare, grip, radius_m))


def _meridian(layout: Layout) -> np.ndarray:
    """Unit tangent at the pin along the arc to the PAP."""
    d = math.radians(layout.drilling_deg)
    return np.array([0.0, _layout.PAP_SIDE * math.sin(d), math.cos(d)])


def _holes(face: Face, grip: Grip, radius_m: float) -> tuple[Hole, ...]:
    def half_width_in(diameter_in: float) -> float:
        return math.asin(diameter_in * INCH_M / 2.0 / radius_m) * radius_m / INCH_M

    finger, thumb = half_width_in(grip.finger_diameter_in), half_width_in(grip.thumb_diameter_in)
    ring_span = grip.span_in if grip.ring_span_in is None else grip.ring_span_in
    mean_span = (grip.span_in + ring_span) / 2.0 if grip.fingers == 2 else grip.span_in
    thumb_edge = -mean_span / 2.0
    off = grip.bridge_in / 2.0 + finger
    places = []  # name, along the centre line [in], square off it [in]
    if grip.fingers == 2:
        places += [
            ("middle", thumb_edge + grip.span_in + finger, -off),
            ("ring", thumb_edge + ring_span + finger, off),
        ]
    else:
        places += [("middle", thumb_edge + grip.span_in + finger, 0.0)]
    if grip.thumb:
        places += [("thumb", thumb_edge - thumb, 0.0)]
    holes = []
    for name, along_in, off_in in places:
        kind = "thumb" if name == "thumb" else "finger"
        depth_in = getattr(grip, f"{kind}_depth_in")
        centre = face.beside_centre_line(along_in, off_in, radius_m)
        across, along = face.tangents(centre)
        inward = along if name == "thumb" else -along
        aim = INCH_M * (
            getattr(grip, f"{name}_forward_in") * inward
            + getattr(grip, f"{name}_lateral_in") * across
        )
        axis = unit(aim - radius_m * centre)
        radius = getattr(grip, f"{kind}_diameter_in") * INCH_M / 2.0
        holes.append(Hole(name, centre, axis, radius, depth_in * INCH_M))
    return tuple(holes)
