"""Drilled balls: gripping holes taken out of a ball, and what is left of its mass properties.

The pin, the PAP and the mass bias are placed by the layout (`lanesim.layout`), the grip by the
player's PAP coordinates and the VAL angle. Each hole is a circular cylinder with a flat bottom,
cut by the ball's sphere and, where the material is layered, by the spheres between the layers.
What holes share is taken out once. Masses, first and second moments of the holes are subtracted
from the whole ball's, the result is moved to the new centre of mass (parallel axes) and
diagonalised: textbook rigid-body mechanics, nothing fitted.

Along a line parallel to a hole's axis all the cuts (spheres, flat bottoms, other cylinders) are
closed-form intervals, so the integral along the axis is exact; across the hole it is a
Gauss-Legendre rule in the radius and an equally spaced rule in the angle.

Assumptions, all of them parameters:

- the drilled-out material has the ball's mean density unless layers are given;
- the undrilled top weight is 2.5 oz and sits along the pin's direction;
- a static weight of W oz is the moment that a mass of W oz on the surface would make, so the
  centre of mass is W R / m off the centre (the arm is a parameter);
- inserts, slugs, tape and the rounding of edges weigh nothing.

Not in the model of motion: the offset of the centre of mass. Drilled radii of gyration,
differentials and axes change the path; static weights are reported only (the governing body's
study of 2006-08 ranks them near the last of 18 variables; read / second-hand).

Left-handers: a left-hander's ball is the mirror image of the right-hander's with the same
numbers. Mass, radii of gyration, differentials and static weights are the same; only what lies
right of the grip, seen from outside with the fingers up, lies left of it. "Toward the ball arm"
below means right for a right-hander and left for a left-hander.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import get_type_hints

import numpy as np

from ..errors import InputError, check_range
from ..files import read_toml
from ..lane.geometry import BALL_MAX_LB, BALL_RADIUS_M, DIFFERENTIAL_MAX_IN, RG_RANGE_IN
from ..units import INCH_M, LB_KG, OZ_KG, rg_inertia
from . import layout as _layout
from .layout import Layout

STATIC_LIMIT_OZ = 3.0  # side, finger/thumb and top; governing-body specification, second-hand
RULE_NOTE = (
    "static weights at most 3 oz (side, finger/thumb, top); balance holes are not allowed since "
    "August 2020; check the current rules of your governing body"
)
DEFAULT_TOP_WEIGHT_OZ = 2.5  # assumed; printed on the box of a real ball
_GRID = (32, 64)  # radii x angles: the integrand is smooth, errors near rounding
_GRID_CUT = (300, 600)  # where holes meet or end in the rim the integrand has kinks


@dataclass(frozen=True)
class Grip:
    """A player's grip: where the holes go, how wide, deep and tilted, and where the PAP is.

    Every default is an assumed mid-size hand (common practice, no source): measure the player.

    Parameters
    ----------
    pap_over_in, pap_up_in : float
        PAP from the grip centre [in]: along the midline toward the ball arm (0 to 7), then up
        the vertical axis line toward the fingers (-3 to 3; negative = toward the thumb).
    span_in : float
        Thumb hole to finger hole, edge to edge along the surface and parallel to the centre line
        [in], 2 to 6. The grip centre is half a span from either. Without a thumb hole it is where
        that centre would be.
    ring_span_in : float or None
        The ring finger's span where it differs; the grip centre then halves the mean span.
    bridge_in : float
        Between the finger holes, edge to edge along the surface [in], 0.1 to 2.
    finger_diameter_in, thumb_diameter_in : float
        Diameters as drilled [in], 0.3 to 1.75.
    finger_depth_in, thumb_depth_in : float
        Depth along the axis from the surface to the flat bottom [in], 0 (no hole) to 4.
    middle_forward_in, ring_forward_in, thumb_forward_in : float
        Pitch along the centre line [in], -1.5 to 1.5: how far from the ball's centre the hole's
        axis crosses the plane through the centre that is square to the radius at the hole;
        positive where the bottom leans toward the grip centre (forward), negative for reverse.
    middle_lateral_in, ring_lateral_in, thumb_lateral_in : float
        Pitch along the midline [in], -1.5 to 1.5, positive where the bottom leans toward the ball
        arm.
    fingers : int
        Finger holes: 2, or 1 (on the centre line).
    thumb : bool
        False for a ball without a thumb hole.
    """

    pap_over_in: float = 5.0
    pap_up_in: float = 0.5
    span_in: float = 4.25
    ring_span_in: float | None = None
    bridge_in: float = 0.375
    finger_diameter_in: float = 0.875
    finger_depth_in: float = 1.25
    thumb_diameter_in: float = 1.0
    thumb_depth_in: float = 2.75
    middle_forward_in: float = 0.0
    middle_lateral_in: float = 0.0
    ring_forward_in: float = 0.0
    ring_lateral_in: float = 0.0
    thumb_forward_in: float = 0.0
    thumb_lateral_in: float = 0.0
    fingers: int = 2
    thumb: bool = True

    def __post_init__(self) -> None:
        ranges = {
            "pap_over_in": (0.0, 7.0),
            "pap_up_in": (-3.0, 3.0),
            "span_in": (2.0, 6.0),
            "bridge_in": (0.1, 2.0),
            "finger_diameter_in": (0.3, 1.75),
            "finger_depth_in": (0.0, 4.0),
            "thumb_diameter_in": (0.3, 1.75),
            "thumb_depth_in": (0.0, 4.0),
        }
        for hole in ("middle", "ring", "thumb"):
            ranges[f"{hole}_forward_in"] = ranges[f"{hole}_lateral_in"] = (-1.5, 1.5)
        if self.ring_span_in is not None:
            ranges["ring_span_in"] = (2.0, 6.0)
        for name, (low, high) in ranges.items():
            value = check_range(name, getattr(self, name), low, high, "in", where="grip")
            object.__setattr__(self, name, value)
        if isinstance(self.fingers, bool) or self.fingers not in (1, 2):
            raise InputError(f"grip: fingers must be 1 or 2, not {self.fingers!r}")
        if not isinstance(self.thumb, bool):
            raise InputError(f"grip: thumb must be true or false, not {self.thumb!r}")


DEFAULT_GRIP = Grip()


@dataclass(frozen=True)
class Material:
    """Density of what the drill takes out, in layers counted from the surface.

    Parameters
    ----------
    layers : tuple of (from_depth_in, density_g_cc)
        First layer from depth 0, depths rising [in], densities 0.2 to 5 [g/cm^3]; a two-part ball
        has a cover and a core or filler, a three-part ball a cover, a filler and a core where
        holes reach it. Empty (the default) = the ball's mean density throughout, an assumption.
    """

    layers: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        checked = []
        for i, layer in enumerate(self.layers):
            if len(layer) != 2:
                raise InputError("material: a layer is a pair: from depth [in], density [g/cm3]")
            low = 0.0 if i == 0 else checked[-1][0]
            depth = check_range(f"depth of layer {i + 1}", layer[0], low, 4.0, "in", "material")
            if i == 0 and depth != 0.0:
                raise InputError("material: the first layer starts at depth 0 in")
            rho = check_range(f"density of layer {i + 1}", layer[1], 0.2, 5.0, "g/cm3", "material")
            checked.append((depth, rho))
        object.__setattr__(self, "layers", tuple(checked))

    def steps(self, mean_density: float) -> list[tuple[float, float]]:
        """(depth [m], step of density [kg/m^3] going inward past it) of each layer."""
        if not self.layers:
            return [(0.0, mean_density)]
        out, above = [], 0.0
        for depth_in, g_cc in self.layers:
            out.append((depth_in * INCH_M, g_cc * 1000.0 - above))
            above = g_cc * 1000.0
        return out


UNIFORM = Material()


@dataclass(frozen=True, eq=False)
class Hole:
    """One cylinder: entry point on the surface and inward axis as unit vectors, SI sizes."""

    name: str
    centre: np.ndarray  # (3,) unit vector, body frame
    axis: np.ndarray  # (3,) unit vector pointing into the ball
    radius_m: float
    depth_m: float


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
        along = _unit(self.up - np.dot(self.up, point) * point)
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
        return self.val_foot if np.linalg.norm(flat) < 1e-9 else _unit(flat)

    def arc_in(self, a: np.ndarray, b: np.ndarray, radius_m: float = BALL_RADIUS_M) -> float:
        """Shortest arc between two points of the surface [in]."""
        return _angle(a, b) * radius_m / INCH_M


@dataclass(frozen=True)
class StaticWeights:
    """Static imbalance [oz]: positive = grip half (top), ball-arm half (side), finger half."""

    top_oz: float
    side_oz: float
    finger_oz: float


@dataclass(frozen=True)
class Limit:
    """One number against the standard: `inside` says whether it keeps to low..high."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    inside: bool


@dataclass(frozen=True, eq=False)
class DrilledBall:
    """What is left of a ball after drilling.

    Attributes
    ----------
    mass_kg, removed_oz : float
        Mass left [kg] and taken out [oz].
    moments_kg_m2 : (3,)
        Principal moments about the centre of mass, ascending [kg m^2].
    axes : (3, 3)
        Rotation body <- principal: column i is the i-th principal axis in the undrilled core's
        axes (e1 pin, e2, e3 mass bias). Determinant +1; the first column leans toward the pin,
        the third toward the mass bias.
    pap : (3,)
        The PAP as a unit vector in the drilled principal axes.
    cg_m : (3,)
        Centre of mass from the ball's centre, in the undrilled core's axes [m].
    rg_low_in, rg_int_in, rg_high_in, diff_in, int_diff_in : float
        Radii of gyration and differentials [in]; int_diff = high - intermediate.
    before, after : StaticWeights
    pin_to_pap_in, drilling_deg, mass_bias_to_pap_in : float
        The layout as drilled, that is from the drilled low- and high-RG axes. The angle is
        signed: negative where drilling has carried the PAP past the pin - mass bias meridian.
    shared_cm3 : float
        Volume that holes share (0 when no two holes meet) [cm^3].
    hole_oz : dict
        Mass taken out by each hole [oz], in drilling order (a shared part counts once).
    face : Face
    limits : tuple of Limit
    """

    mass_kg: float
    removed_oz: float
    moments_kg_m2: np.ndarray
    axes: np.ndarray
    pap: np.ndarray
    cg_m: np.ndarray
    rg_low_in: float
    rg_int_in: float
    rg_high_in: float
    diff_in: float
    int_diff_in: float
    before: StaticWeights
    after: StaticWeights
    pin_to_pap_in: float
    drilling_deg: float
    mass_bias_to_pap_in: float
    shared_cm3: float
    hole_oz: dict[str, float]
    face: Face
    limits: tuple[Limit, ...] = field(default=())


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
        axis = _unit(aim - radius_m * centre)
        radius = getattr(grip, f"{kind}_diameter_in") * INCH_M / 2.0
        holes.append(Hole(name, centre, axis, radius, depth_in * INCH_M))
    return tuple(holes)


def great_arc(a: np.ndarray, b: np.ndarray, count: int = 60) -> np.ndarray:
    """Points (count, 3) along the shorter great-circle arc between two unit vectors."""
    angle = _angle(a, b)
    if angle < 1e-9:
        return np.repeat(a[None, :], count, axis=0)
    share = np.linspace(0.0, 1.0, count)[:, None]
    return (np.sin((1.0 - share) * angle) * a + np.sin(share * angle) * b) / math.sin(angle)


def hole_rim(hole: Hole, radius_m: float = BALL_RADIUS_M, count: int = 91) -> np.ndarray:
    """The closed curve (count, 3) in which a hole cuts the surface, in units of the radius."""
    frame, entry = _hole_frame(hole, radius_m)
    turn = np.linspace(0.0, 2.0 * math.pi, count)
    x = entry[0] + hole.radius_m * np.cos(turn)
    y = entry[1] + hole.radius_m * np.sin(turn)
    z = np.sqrt(np.maximum(radius_m**2 - x * x - y * y, 0.0))
    return np.column_stack([x, y, z]) @ frame / radius_m


def hole_bottom(hole: Hole, radius_m: float = BALL_RADIUS_M, count: int = 91) -> np.ndarray:
    """The circle (count, 3) round the flat bottom of a hole, in units of the radius."""
    frame, entry = _hole_frame(hole, radius_m)
    turn = np.linspace(0.0, 2.0 * math.pi, count)
    x = entry[0] + hole.radius_m * np.cos(turn)
    y = entry[1] + hole.radius_m * np.sin(turn)
    z = np.full(count, entry[2] - hole.depth_m)
    return np.column_stack([x, y, z]) @ frame / radius_m


def _hole_frame(hole: Hole, radius_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Rows: axes across, across and out along the hole; and the entry point in them [m]."""
    z_axis = -hole.axis
    x_axis = _unit(np.cross(z_axis, np.eye(3)[int(np.argmin(np.abs(z_axis)))]))
    frame = np.stack([x_axis, np.cross(z_axis, x_axis), z_axis])
    return frame, frame @ hole.centre * radius_m


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


def load_grip(path: str | Path) -> Grip:
    """A grip from a TOML file whose keys are the fields of `Grip`; unknown keys are refused."""
    import msgspec

    hints = get_type_hints(Grip)
    struct = msgspec.defstruct(
        "GripFile",
        [(f.name, hints[f.name], f.default) for f in fields(Grip)],
        forbid_unknown_fields=True,
        kw_only=True,
    )
    entry = read_toml(path, struct, "grip")
    try:
        return Grip(**msgspec.structs.asdict(entry))
    except InputError as error:
        raise InputError(f"{path}: {error}") from None


def hole_moments(
    holes: tuple[Hole, ...], *, radius_m: float, steps: list[tuple[float, float]]
) -> tuple[list[tuple[float, np.ndarray, np.ndarray]], float]:
    """Mass, first and second moments of what each hole takes out, and the volume holes share.

    Parameters
    ----------
    holes : tuple of Hole
        In drilling order; a later hole takes out only what the earlier have left.
    radius_m : float
        The ball's radius [m].
    steps : list of (depth [m], density step [kg/m^3])
        Layers from the surface inward, see `Material.steps`.

    Returns
    -------
    list of (mass [kg], (3,) integral of x dm [kg m], (3, 3) integral of x x^T dm [kg m^2]),
    shared volume [m^3].
    """
    out, shared = [], 0.0
    for i, hole in enumerate(holes):
        parts = _integrate(hole, holes[:i], radius_m, steps, _GRID)
        if parts[4]:
            parts = _integrate(hole, holes[:i], radius_m, steps, _GRID_CUT)
        out.append(parts[:3])
        shared += parts[3]
    return out, shared


def _integrate(
    hole: Hole,
    earlier: tuple[Hole, ...],
    radius_m: float,
    steps: list[tuple[float, float]],
    grid: tuple[int, int],
) -> tuple[float, np.ndarray, np.ndarray, float, bool]:
    mass, first, second, shared, kinks = 0.0, np.zeros(3), np.zeros((3, 3)), 0.0, False
    if hole.depth_m == 0.0:
        return mass, first, second, shared, kinks
    # Local frame: z out of the ball along the axis, x and y across it, origin at the centre.
    frame, entry = _hole_frame(hole, radius_m)
    bottom = entry[2] - hole.depth_m
    nodes, weights = np.polynomial.legendre.leggauss(grid[0])
    rho = hole.radius_m * (nodes + 1.0) / 2.0
    theta = 2.0 * math.pi * np.arange(grid[1]) / grid[1]
    x = entry[0] + rho[:, None] * np.cos(theta)
    y = entry[1] + rho[:, None] * np.sin(theta)
    area = np.broadcast_to(
        (weights * rho * hole.radius_m / 2.0)[:, None] * (2.0 * math.pi / grid[1]), x.shape
    )
    for depth, step in steps:
        inside = (radius_m - depth) ** 2 - x**2 - y**2
        reach = np.sqrt(np.maximum(inside, 0.0))
        low, high = np.maximum(-reach, bottom), np.maximum(reach, bottom)
        kinks |= bool(np.any((inside <= 0.0) | (reach <= bottom)) and np.any(reach > bottom))
        pieces = [(low, high)]
        for other in earlier:
            enter, leave = _line_in_hole(x, y, frame, other, radius_m)
            if depth == 0.0:
                both = sum(
                    np.sum(area * np.maximum(np.minimum(b, leave) - np.maximum(a, enter), 0.0))
                    for a, b in pieces
                )
                shared += float(both)
                kinks |= both > 0.0
            pieces = [
                piece
                for a, b in pieces
                for piece in ((a, np.maximum(a, np.minimum(b, enter))),
                              (np.minimum(b, np.maximum(a, leave)), b))
            ]
        for a, b in pieces:
            w0 = area * (b - a)
            w1 = area * (b**2 - a**2) / 2.0
            w2 = area * (b**3 - a**3) / 3.0
            sx, sy = np.sum(w0 * x), np.sum(w0 * y)
            xy, xz, yz = np.sum(w0 * x * y), np.sum(w1 * x), np.sum(w1 * y)
            mass += step * float(np.sum(w0))
            first += step * np.array([sx, sy, np.sum(w1)])
            second += step * np.array(
                [
                    [np.sum(w0 * x * x), xy, xz],
                    [xy, np.sum(w0 * y * y), yz],
                    [xz, yz, np.sum(w2)],
                ]
            )
    return mass, frame.T @ first, frame.T @ second @ frame, shared, kinks


def _line_in_hole(
    x: np.ndarray, y: np.ndarray, frame: np.ndarray, other: Hole, radius_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Interval of z in which the lines (x, y, z) of a local frame run inside another hole.

    The other hole is the cylinder |r - (r.k) k|^2 <= a^2 about its axis and r.k <= its depth,
    r counted from its entry point: a quadratic and a half-space. No overlap: enter = leave.
    """
    k = frame @ other.axis
    entry = frame @ other.centre * radius_m
    start = np.stack([x - entry[0], y - entry[1], np.full_like(x, -entry[2])])
    along = np.tensordot(k, start, axes=1)
    across = start - k[:, None, None] * along
    slope = np.array([0.0, 0.0, 1.0]) - k * k[2]
    a = float(slope @ slope)
    b = np.tensordot(slope, across, axes=1)
    c = np.sum(across**2, axis=0) - other.radius_m**2
    if a < 1e-14:  # parallel axes: the whole line is in or out
        half = np.where(c <= 0.0, 4.0 * radius_m, 0.0)
        enter, leave = -half, half
    else:
        root = np.sqrt(np.maximum(b * b - a * c, 0.0))
        enter, leave = (-b - root) / a, (-b + root) / a
    if abs(k[2]) > 1e-14:
        floor = (other.depth_m - along) / k[2]
        if k[2] < 0.0:
            enter = np.maximum(enter, floor)
        else:
            leave = np.minimum(leave, floor)
    else:
        leave = np.where(along <= other.depth_m, leave, enter)
    if other.depth_m == 0.0:
        leave = enter
    return enter, np.maximum(enter, leave)


def drill(
    *,
    weight_lb: float,
    rg_in: float,
    diff_in: float,
    int_diff_in: float,
    layout: Layout,
    grip: Grip = DEFAULT_GRIP,
    material: Material = UNIFORM,
    top_weight_oz: float = DEFAULT_TOP_WEIGHT_OZ,
    pin_to_cg_in: float = 0.0,
    static_arm_in: float | None = None,
    radius_m: float = BALL_RADIUS_M,
) -> DrilledBall:
    """Drill a ball and report what is left.

    Parameters
    ----------
    weight_lb, rg_in, diff_in, int_diff_in : float
        The undrilled ball: weight 6 to 16 [lb], low RG [in], total differential and intermediate
        differential (high minus intermediate RG) [in].
    layout : Layout
    grip : Grip
        Default: an assumed mid-size hand.
    material : Material
        Density of what is taken out; default the ball's mean density (assumed).
    top_weight_oz : float
        Undrilled top weight, 0 to 6 [oz]; default 2.5, assumed.
    pin_to_cg_in : float
        Arc from the pin to the marked centre of gravity, toward the mass bias, 0 to 6 [in];
        default 0 = along the pin's direction, assumed.
    static_arm_in : float or None
        Arm that turns a static weight into a moment [in]; default the ball's radius, assumed.
    radius_m : float
        The ball's radius [m].

    Returns
    -------
    DrilledBall

    Notes
    -----
    With a symmetric core (int_diff_in 0) the direction called mass bias is a mark only. The holes
    then decide which of the axes near it carries the high RG, and `int_diff_in` of the result is
    theirs alone.
    """
    where = "ball"
    weight_lb = check_range("weight_lb", weight_lb, 6.0, BALL_MAX_LB, "lb", where)
    rg_in = check_range("rg_in", rg_in, 2.2, 3.0, "in", where)
    diff_in = check_range("diff_in", diff_in, 0.0, 0.1, "in", where)
    int_diff_in = check_range("int_diff_in", int_diff_in, 0.0, diff_in, "in", where)
    top_weight_oz = check_range("top_weight_oz", top_weight_oz, 0.0, 6.0, "oz", where)
    pin_to_cg_in = check_range("pin_to_cg_in", pin_to_cg_in, 0.0, 6.0, "in", where)
    arm_m = radius_m if static_arm_in is None else INCH_M * check_range(
        "static_arm_in", static_arm_in, 1.0, 12.0, "in", where
    )
    face = face_of(layout, grip, radius_m)

    mass = weight_lb * LB_KG
    core = np.diag(
        [
            rg_inertia(mass, rg_in),
            rg_inertia(mass, rg_in + diff_in - int_diff_in),
            rg_inertia(mass, rg_in + diff_in),
        ]
    )
    lean = pin_to_cg_in * INCH_M / radius_m
    cg_0 = top_weight_oz * OZ_KG * arm_m / mass * np.array([math.cos(lean), 0.0, math.sin(lean)])

    mean_density = mass / (4.0 / 3.0 * math.pi * radius_m**3)
    parts, shared = hole_moments(
        face.holes, radius_m=radius_m, steps=material.steps(mean_density)
    )
    removed = sum(part[0] for part in parts)
    first = sum((part[1] for part in parts), np.zeros(3))
    second = sum((part[2] for part in parts), np.zeros((3, 3)))

    left = mass - removed
    cg = (mass * cg_0 - first) / left
    if removed > 0.0:
        about_centre = core + mass * _square(cg_0)
        about_centre -= np.trace(second) * np.eye(3) - second
        inertia = about_centre - left * _square(cg)
    else:
        inertia = core
    moments, axes = _principal(inertia)
    pap = axes.T @ face.pap

    low, mid, high = (math.sqrt(moment / left) / INCH_M for moment in moments)
    statics = [
        StaticWeights(*(float(m * np.dot(c, v) / arm_m / OZ_KG)
                        for v in (face.grip_centre, face.right, face.up)))
        for m, c in ((mass, cg_0), (left, cg))
    ]
    after = statics[1]
    static_range = (-STATIC_LIMIT_OZ, STATIC_LIMIT_OZ, "oz")
    limits = tuple(
        Limit(name, value, lo, hi, unit, bool(lo <= value <= hi))
        for name, value, (lo, hi, unit) in (
            ("top weight", after.top_oz, static_range),
            ("side weight", after.side_oz, static_range),
            ("finger/thumb weight", after.finger_oz, static_range),
            ("low RG", low, (*RG_RANGE_IN, "in")),
            ("differential", high - low, (0.0, DIFFERENTIAL_MAX_IN, "in")),
        )
    )
    to_in = radius_m / INCH_M
    return DrilledBall(
        mass_kg=left,
        removed_oz=removed / OZ_KG,
        moments_kg_m2=moments,
        axes=axes,
        pap=pap,
        cg_m=cg,
        rg_low_in=low,
        rg_int_in=mid,
        rg_high_in=high,
        diff_in=high - low,
        int_diff_in=high - mid,
        before=statics[0],
        after=after,
        pin_to_pap_in=math.atan2(math.hypot(pap[1], pap[2]), pap[0]) * to_in,
        drilling_deg=math.degrees(math.atan2(_layout.PAP_SIDE * pap[1], pap[2])),
        mass_bias_to_pap_in=math.atan2(math.hypot(pap[0], pap[1]), pap[2]) * to_in,
        shared_cm3=shared * 1e6,
        hole_oz={h.name: p[0] / OZ_KG for h, p in zip(face.holes, parts, strict=True)},
        face=face,
        limits=limits,
    )


def drilled_inertia(
    *,
    weight_lb: float,
    rg_in: float,
    diff_in: float,
    int_diff_in: float,
    layout: Layout,
    grip: Grip = DEFAULT_GRIP,
    material: Material = UNIFORM,
    top_weight_oz: float = DEFAULT_TOP_WEIGHT_OZ,
    pin_to_cg_in: float = 0.0,
    radius_m: float = BALL_RADIUS_M,
) -> tuple[float, np.ndarray, np.ndarray, np.ndarray]:
    """What the equations of motion need of a drilled ball; parameters as in `drill`.

    Returns
    -------
    mass_kg : float
    moments : (3,)
        Principal moments about the centre of mass, ascending [kg m^2].
    axes : (3, 3)
        Rotation body <- principal, columns the drilled axes in the undrilled core's axes.
    pap : (3,)
        PAP unit vector in the drilled principal axes.
    """
    ball = drill(
        weight_lb=weight_lb,
        rg_in=rg_in,
        diff_in=diff_in,
        int_diff_in=int_diff_in,
        layout=layout,
        grip=grip,
        material=material,
        top_weight_oz=top_weight_oz,
        pin_to_cg_in=pin_to_cg_in,
        radius_m=radius_m,
    )
    return ball.mass_kg, ball.moments_kg_m2, ball.axes, ball.pap


def _principal(inertia: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ascending moments and a right-handed set of axes, as near the old axes as they allow.

    Where moments coincide (to 1e-12 of the largest) any axes in their plane will do; those nearest
    the old ones are taken, so that holes of no depth change nothing.
    """
    moments, axes = np.linalg.eigh((inertia + inertia.T) / 2.0)
    e1, _, e3 = np.eye(3)
    same = 1e-12 * moments[2]
    if moments[2] - moments[0] <= same:
        return moments, np.eye(3)
    if moments[2] - moments[1] <= same:
        low = axes[:, 0] * _sign(axes[0, 0])
        high = e3 - np.dot(e3, low) * low
        if np.linalg.norm(high) < 1e-6:  # the old mass bias has become the low axis
            high = axes[:, 2]
        high = _unit(high)
    elif moments[1] - moments[0] <= same:
        high = axes[:, 2] * _sign(axes[2, 2])
        low = e1 - np.dot(e1, high) * high
        if np.linalg.norm(low) < 1e-6:
            low = axes[:, 0]
        low = _unit(low)
    else:
        low = axes[:, 0] * _sign(axes[0, 0])
        high = axes[:, 2] * _sign(axes[2, 2])
    return moments, np.column_stack([low, np.cross(high, low), high])


def _square(r: np.ndarray) -> np.ndarray:
    """Inertia of a unit mass at r about the origin: r.r 1 - r r^T."""
    return float(r @ r) * np.eye(3) - np.outer(r, r)


def _sign(x: float) -> float:
    return -1.0 if x < 0.0 else 1.0


def _unit(v: np.ndarray) -> np.ndarray:
    return v / np.linalg.norm(v)


def _angle(a: np.ndarray, b: np.ndarray) -> float:
    return math.atan2(float(np.linalg.norm(np.cross(a, b))), float(np.dot(a, b)))
