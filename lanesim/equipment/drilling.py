"""Drilled balls: gripping holes taken out of a ball, and what is left of its mass properties.

Masses, first and second moments of the holes (`holes`) are subtracted from the whole ball's, the
result is moved to the new centre of mass (parallel axes) and diagonalised: textbook rigid-body
mechanics, nothing fitted.

Assumptions, all of them parameters:

- the drilled-out material has the ball's mean density unless layers are given;
- the undrilled top weight is 2.5 oz and sits along the pin's direction;
- a static weight of W oz is the moment that a mass of W oz on the surface would make, so the
  centre of mass is W R / m off the centre (the arm is a parameter);
- inserts, slugs, tape and the rounding of edges weigh nothing.

Not in the model of motion: the offset of the centre of mass. Drilled radii of gyration,
differentials and axes change the path; static weights are reported only (the governing body's
study of 2006-08 ranks them near the last of 18 variables; read / second-hand).

A left-hander's ball is the mirror image with the same mass, radii of gyration, differentials and
static weights (`face`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from ..errors import check_range
from ..lane.geometry import BALL_MAX_LB, BALL_RADIUS_M, DIFFERENTIAL_MAX_IN, RG_RANGE_IN
from ..units import INCH_M, LB_KG, OZ_KG, rg_inertia
from . import layout as _layout
from .face import Face, face_of
from .grip import DEFAULT_GRIP, Grip
from .holes import UNIFORM, Material, hole_moments
from .layout import Layout
from .vectors import unit

STATIC_LIMIT_OZ = 3.0  # side, finger/thumb and top; governing-body specification, second-hand
RULE_NOTE = (
    "static weights at most 3 oz (side, finger/thumb, top); balance holes are not allowed since "
    "August 2020; check the current rules of your governing body"
)
DEFAULT_TOP_WEIGHT_OZ = 2.5  # assumed; printed on the box of a real ball


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
        high = unit(high)
    elif moments[1] - moments[0] <= same:
        high = axes[:, 2] * _sign(axes[2, 2])
        low = e1 - np.dot(e1, high) * high
        if np.linalg.norm(low) < 1e-6:
            low = axes[:, 0]
        low = unit(low)
    else:
        low = axes[:, 0] * _sign(axes[0, 0])
        high = axes[:, 2] * _sign(axes[2, 2])
    return moments, np.column_stack([low, np.cross(high, low), high])


def _square(r: np.ndarray) -> np.ndarray:
    """Inertia of a unit mass at r about the origin: r.r 1 - r r^T."""
    return float(r @ r) * np.eye(3) - np.outer(r, r)


def _sign(x: float) -> float:
    return -1.0 if x < 0.0 else 1.0
