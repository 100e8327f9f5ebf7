"""Drilled mass properties against closed forms and independent volume integrals."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from lanesim.equipment import layout as layout_module
from lanesim.equipment.drilling import drill, drilled_inertia
from lanesim.equipment.face import face_of
from lanesim.equipment.grip import Grip
from lanesim.equipment.holes import Hole, Material, hole_moments
from lanesim.equipment.layout import Layout
from lanesim.errors import InputError
from lanesim.lane.geometry import BALL_RADIUS_M as R
from lanesim.units import INCH_M, LB_KG, OZ_KG, rg_inertia

LAYOUT = Layout(50.0, 4.5, 30.0)
BALL = {"weight_lb": 15.0, "rg_in": 2.50, "diff_in": 0.050, "int_diff_in": 0.015}
SYMMETRIC = {**BALL, "int_diff_in": 0.0}
# Everything at once: pitched holes that run into each other, unequal spans, layers.
CROWDED = Grip(
    pap_over_in=4.6, pap_up_in=-0.4, span_in=4.0, ring_span_in=4.3, bridge_in=0.2,
    finger_diameter_in=1.0, finger_depth_in=2.2, thumb_diameter_in=1.1, thumb_depth_in=3.2,
    middle_forward_in=0.4, middle_lateral_in=0.3, ring_forward_in=0.2, ring_lateral_in=-0.3,
    thumb_forward_in=-0.5, thumb_lateral_in=0.25,
)
LAYERED = Material(((0.0, 1.2), (0.8, 0.95), (2.0, 1.9)))
NO_HOLES = Grip(finger_depth_in=0.0, thumb_depth_in=0.0)
UNIFORM_RG_IN = math.sqrt(2.0 / 5.0) * R / INCH_M  # a uniform sphere, textbook


# --- closed forms ----------------------------------------------------------------------------


def _radial_hole(a: float, depth: float) -> tuple[float, float, np.ndarray]:
    """Volume, axial first moment and second moments of a flat-bottomed hole on a radius (D).

    In cylinder coordinates about the radius, z from b = R_e - depth to sqrt(R^2 - rho^2), with
    the entry point at R_e = R:
      V   = 2 pi / 3 (R^3 - c^3) - pi a^2 b,                          c^2 = R^2 - a^2
      Mz  = pi / 4 (R^4 - c^4) - pi a^2 b^2 / 2
      Mzz = 2 pi / 15 (R^5 - c^5) - pi a^2 b^3 / 3
      Mxx = Myy = pi (2/15 R^5 - R^2 c^3 / 3 + c^5 / 5) - pi a^4 b / 4
    """
    c, b = math.sqrt(R * R - a * a), R - depth
    volume = 2 * math.pi / 3 * (R**3 - c**3) - math.pi * a * a * b
    mz = math.pi / 4 * (R**4 - c**4) - math.pi * a * a * b * b / 2
    mzz = 2 * math.pi / 15 * (R**5 - c**5) - math.pi * a * a * b**3 / 3
    mxx = math.pi * (2 / 15 * R**5 - R * R * c**3 / 3 + c**5 / 5) - math.pi * a**4 * b / 4
    return volume, mz, np.array([mxx, mxx, mzz])


@pytest.mark.parametrize(("a_in", "depth_in"), [(0.45, 1.25), (0.5, 2.75), (0.8, 4.0)])
def test_radial_hole_has_its_closed_form(a_in, depth_in):
    turn = Rotation.from_rotvec([0.3, -0.8, 0.5])
    out = turn.apply([0.0, 0.0, 1.0])
    hole = Hole("hole", out, -out, a_in * INCH_M, depth_in * INCH_M)
    [(mass, first, second)], shared = hole_moments((hole,), radius_m=R, steps=[(0.0, 1000.0)])
    volume, mz, squares = _radial_hole(a_in * INCH_M, depth_in * INCH_M)
    turned = turn.as_matrix()
    assert mass == pytest.approx(1000.0 * volume, rel=1e-12)
    np.testing.assert_allclose(first, 1000.0 * mz * out, atol=1e-12 * 1000 * mz)
    np.testing.assert_allclose(
        second, 1000.0 * turned @ np.diag(squares) @ turned.T, atol=1e-11 * 1000 * squares[2]
    )
    assert shared == 0.0


def test_hole_through_the_whole_ball():
    """Napkin ring: what stays has the volume of a sphere as wide as the ring is high (textbook)."""
    a = 0.6 * INCH_M
    hole = Hole("through", np.array([0, 0, 1.0]), np.array([0, 0, -1.0]), a, 2.0 * R)
    [(mass, _, _)], _ = hole_moments((hole,), radius_m=R, steps=[(0.0, 1.0)])
    left = 4 / 3 * math.pi * R**3 - mass
    assert left == pytest.approx(4 / 3 * math.pi * (R * R - a * a) ** 1.5, rel=1e-12)


def test_layers_add_up():
    """A cylinder from depth 0 to 3 in of one density, named as two layers, weighs the same; and
    a dense layer below the bottom of the hole weighs nothing."""
    same = drill(**BALL, layout=LAYOUT, material=Material(((0.0, 1.2), (0.9, 1.2))))
    one = drill(**BALL, layout=LAYOUT, material=Material(((0.0, 1.2),)))
    deep = drill(**BALL, layout=LAYOUT, material=Material(((0.0, 1.2), (3.5, 4.0))))
    for other in (same, deep):
        assert other.mass_kg == pytest.approx(one.mass_kg, rel=1e-12)
        np.testing.assert_allclose(other.moments_kg_m2, one.moments_kg_m2, rtol=1e-12)


# --- independent volume integrals ------------------------------------------------------------


def _inside(points: np.ndarray, hole: Hole) -> np.ndarray:
    from_entry = points - hole.centre * R
    along = from_entry @ hole.axis
    off = np.linalg.norm(np.cross(from_entry, hole.axis), axis=1)
    return (off <= hole.radius_m) & (along <= hole.depth_m)


def _check_against_points(holes, material: Material, batches: int) -> float:
    """All ten moments of the union of the holes from seeded points in the ball, within 5 standard
    errors (two-sided chance of a false alarm 6e-7 each). Returns the shared volume [m^3]."""
    parts, shared = hole_moments(holes, radius_m=R, steps=material.steps(1.0))
    mass, first, second = (sum(p[k] for p in parts) for k in range(3))
    ours = np.concatenate([[mass], first, second[np.triu_indices(3)]])

    rng = np.random.default_rng(np.random.SeedSequence([4, 11]))
    ball = 4 / 3 * math.pi * R**3
    total, squares, count, overlap = np.zeros(10), np.zeros(10), 0, 0
    for _ in range(batches):
        n = 250_000
        x = rng.standard_normal((n, 3))
        x *= (R * rng.random(n) ** (1 / 3) / np.linalg.norm(x, axis=1))[:, None]
        count += n
        hits = np.sum([_inside(x, hole) for hole in holes], axis=0)
        overlap += int(np.sum(np.maximum(hits - 1, 0)))
        x = x[hits > 0]
        depth_in = (R - np.linalg.norm(x, axis=1)) / INCH_M
        density = np.zeros(len(x))
        for start, g_cc in material.layers:
            density[depth_in >= start] = 1000.0 * g_cc
        outer = np.einsum("ni,nj->nij", x, x)[:, *np.triu_indices(3)]
        values = ball * density[:, None] * np.column_stack([np.ones(len(x)), x, outer])
        total += values.sum(axis=0)
        squares += (values**2).sum(axis=0)
    mean = total / count
    error = np.sqrt((squares / count - mean**2) / count)
    assert error[0] / mean[0] < 0.006  # sharp enough to see a twentieth of a finger hole
    assert np.all(np.abs(ours - mean) < 5.0 * error)
    share = overlap / count
    assert abs(shared / ball - share) <= 5.0 * math.sqrt(max(share, 1 / count) / count)
    return shared


@pytest.mark.parametrize(
    ("grip", "material"),
    [(Grip(), Material(((0.0, 1.3),))), (CROWDED, Material(((0.0, 1.3),))), (CROWDED, LAYERED)],
    ids=["plain", "crowded", "layered"],
)
def test_holes_against_monte_carlo(grip, material):
    shared = _check_against_points(face_of(LAYOUT, grip).holes, material, batches=16)
    assert (shared > 0.0) == (grip is CROWDED)


def test_three_deep_holes_that_all_meet_against_monte_carlo():
    """Axes 75 to 150 deg apart, passing each other near the centre: every kind of cut."""
    ways = [np.array([math.cos(t), math.sin(t), 0.0]) for t in np.radians([0.0, 75.0, 150.0])]
    lean = np.array([[0.0, 0.05, 0.1], [0.05, 0.0, -0.1], [-0.05, 0.05, 0.05]])
    axes = [-(w + tilt) / np.linalg.norm(w + tilt) for w, tilt in zip(ways, lean, strict=True)]
    holes = tuple(
        Hole(str(i), w, a, 0.6 * INCH_M, 1.15 * R)
        for i, (w, a) in enumerate(zip(ways, axes, strict=True))
    )
    assert _check_against_points(holes, LAYERED, batches=12) > 0.0


def test_two_holes_from_opposite_sides():
    """One axis, each 1.2 R deep: they share a cylinder 0.4 R long, and together are the hole
    through the ball (napkin ring, above)."""
    a = 0.5 * INCH_M
    north = np.array([0.0, 0.0, 1.0])
    holes = (Hole("n", north, -north, a, 1.2 * R), Hole("s", -north, north, a, 1.2 * R))
    parts, shared = hole_moments(holes, radius_m=R, steps=[(0.0, 1.0)])
    assert shared == pytest.approx(math.pi * a * a * 0.4 * R, rel=1e-9)
    through = 4 / 3 * math.pi * (R**3 - (R * R - a * a) ** 1.5)
    assert sum(p[0] for p in parts) == pytest.approx(through, rel=1e-9)


def test_a_core_off_centre_with_one_hole_against_point_masses():
    """The whole ball as six masses with its mass, centre of mass and principal moments, one
    radial hole as a negative body with its closed-form moments; inertia about the common centre
    of mass. Top weight 6 oz, so that moving the axes counts."""
    grip = Grip(finger_depth_in=0.0)
    ball = drill(**BALL, layout=LAYOUT, grip=grip, top_weight_oz=6.0, pin_to_cg_in=2.0)
    kg = 15.0 * LB_KG
    moments = np.array([rg_inertia(kg, k) for k in (2.50, 2.535, 2.55)])
    lean = 2.0 * INCH_M / R
    centre = 6.0 * OZ_KG * R / kg * np.array([math.cos(lean), 0.0, math.sin(lean)])
    spread = np.sqrt(3.0 / kg * (moments.sum() / 2.0 - moments))  # sum of m x_i^2 = tr I / 2 - I_i
    places = np.array([centre + s * spread[i] * np.eye(3)[i] for i in range(3) for s in (-1, 1)])

    thumb = ball.face.holes[-1]
    volume, mz, squares = _radial_hole(thumb.radius_m, thumb.depth_m)
    density = kg / (4 / 3 * math.pi * R**3)
    out = thumb.centre
    second = density * (squares[0] * (np.eye(3) - np.outer(out, out))
                        + squares[2] * np.outer(out, out))
    left = kg - density * volume
    first = kg / 6.0 * places.sum(axis=0) - density * mz * out
    second = kg / 6.0 * places.T @ places - second
    middle = first / left
    second = second - left * np.outer(middle, middle)
    expected = np.trace(second) * np.eye(3) - second
    np.testing.assert_allclose(ball.cg_m, middle, atol=1e-12)
    np.testing.assert_allclose(
        ball.axes @ np.diag(ball.moments_kg_m2) @ ball.axes.T, expected, atol=1e-11 * moments[2]
    )


def test_whole_uniform_ball_against_voxels():
    """A uniform ball (RG sqrt(2/5) R, no top weight) is all one material, so mass, centre of mass
    and inertia of what is left can be summed over voxels without any subtraction.

    A voxel of side h counts if its centre is inside, so each cell that a boundary cuts is wrong by
    up to one cell, at random. Two boundaries: the sphere's error is measured, because the
    undrilled ball's inertia is known (2/5 m R^2); that of the holes' walls (n cut cells) has a
    standard deviation of at most sqrt(n) cells, at most R from the centre; five of them are
    allowed.
    """
    ball = {"weight_lb": 15.0, "rg_in": UNIFORM_RG_IN, "diff_in": 0.0, "int_diff_in": 0.0}
    drilled = drill(**ball, layout=LAYOUT, grip=CROWDED, top_weight_oz=0.0)
    half = 128
    axis = (np.arange(-half, half) + 0.5) * (R / half)
    mass0 = 15.0 * LB_KG
    density = mass0 / (4 / 3 * math.pi * R**3)
    cell = density * (R / half) ** 3
    sums = {name: [0.0, np.zeros(3), np.zeros((3, 3))] for name in ("whole", "left")}
    for z in axis:
        x, y = np.meshgrid(axis, axis, indexing="ij")
        points = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, z)])
        points = points[np.sum(points**2, axis=1) <= R * R]
        gone = np.zeros(len(points), dtype=bool)
        for hole in drilled.face.holes:
            gone |= _inside(points, hole)
        for name, kept in (("whole", points), ("left", points[~gone])):
            sums[name][0] += cell * len(kept)
            sums[name][1] += cell * kept.sum(axis=0)
            sums[name][2] += cell * kept.T @ kept

    def inertia(mass, first, second):
        centre = first / mass
        about = np.trace(second) * np.eye(3) - second
        return about - mass * (centre @ centre * np.eye(3) - np.outer(centre, centre))

    exact = 0.4 * mass0 * R * R
    whole_error = np.max(np.abs(inertia(*sums["whole"]) - exact * np.eye(3))) / exact
    boundary = sum(math.pi * h.radius_m * (2 * h.depth_m + h.radius_m) for h in drilled.face.holes)
    cells = boundary / (R / half) ** 2
    tolerance = exact * whole_error + 5.0 * math.sqrt(cells) * cell * R * R
    ours = drilled.axes @ np.diag(drilled.moments_kg_m2) @ drilled.axes.T
    np.testing.assert_allclose(ours, inertia(*sums["left"]), atol=tolerance)
    assert tolerance < 0.02 * np.max(np.abs(ours - exact * np.eye(3)))  # the holes are well seen
    centre = sums["left"][1] / sums["left"][0]
    np.testing.assert_allclose(drilled.cg_m, centre, atol=5.0 * math.sqrt(cells) * cell * R / mass0)


# --- properties ------------------------------------------------------------------------------


@pytest.mark.parametrize("ball", [BALL, SYMMETRIC, {**BALL, "int_diff_in": 0.05}])
def test_holes_of_no_depth_change_nothing(ball):
    mass, moments, axes, pap = drilled_inertia(**ball, layout=LAYOUT, grip=NO_HOLES)
    kg = ball["weight_lb"] * LB_KG
    high = ball["rg_in"] + ball["diff_in"]
    assert mass == kg
    expected = [rg_inertia(kg, k) for k in (ball["rg_in"], high - ball["int_diff_in"], high)]
    np.testing.assert_allclose(moments, expected, rtol=1e-14)
    np.testing.assert_array_equal(axes, np.eye(3))
    np.testing.assert_array_equal(pap, LAYOUT.pap_in_body())


@settings(max_examples=40, deadline=None)
@given(
    st.floats(10, 90), st.floats(0.5, 6.5), st.floats(0, 90), st.floats(0.0, 0.05),
    st.floats(0.2, 3.5), st.booleans(),
)
def test_any_drilled_ball_is_a_rigid_body(d, p, v, int_diff, depth, thumb):
    grip = Grip(thumb_depth_in=depth, finger_depth_in=min(depth, 1.2), thumb=thumb)
    ball = drill(
        weight_lb=15.0, rg_in=2.5, diff_in=0.05, int_diff_in=int_diff,
        layout=Layout(d, p, v), grip=grip,
    )
    i1, i2, i3 = ball.moments_kg_m2
    assert 0 < i1 <= i2 <= i3 < i1 + i2
    np.testing.assert_allclose(ball.axes @ ball.axes.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(ball.axes) == pytest.approx(1.0, abs=1e-12)
    assert np.linalg.norm(ball.pap) == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(ball.axes @ ball.pap, ball.face.pap, atol=1e-12)
    assert ball.mass_kg + ball.removed_oz * OZ_KG == pytest.approx(15.0 * LB_KG, rel=1e-12)
    assert sum(ball.hole_oz.values()) == pytest.approx(ball.removed_oz, rel=1e-12)
    # Taking material away lowers the inertia about the old centre of mass, and moving to the new
    # one lowers it again.
    whole = 15.0 * LB_KG * INCH_M**2 * (2.5**2 + 2.55**2 + (2.55 - int_diff) ** 2)
    assert float(np.sum(ball.moments_kg_m2)) < whole


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 180), st.floats(0.0, 6.7), st.floats(0, 180), st.sampled_from([0.0, 0.02]))
def test_mirror_image(d, p, v, int_diff):
    """The left-hander's ball: same mass, moments, statics; one component changes sign."""
    # Pitched and uneven, but no holes that meet: those take a fine grid, seconds in all.
    grip = replace(CROWDED, bridge_in=0.6, finger_depth_in=1.0, ring_lateral_in=0.2)
    kwargs = {**BALL, "int_diff_in": int_diff, "layout": Layout(d, p, v), "grip": grip}
    one = drill(**kwargs)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(layout_module, "PAP_SIDE", -layout_module.PAP_SIDE)
        other = drill(**kwargs)
    assert one.shared_cm3 == other.shared_cm3 == 0.0
    np.testing.assert_allclose(other.moments_kg_m2, one.moments_kg_m2, rtol=1e-9)
    np.testing.assert_allclose(other.pap, one.pap * [1, -1, 1], atol=1e-6)
    flip = np.diag([1.0, -1.0, 1.0])
    np.testing.assert_allclose(other.axes, flip @ one.axes @ flip, atol=1e-6)
    for name in ("top_oz", "side_oz", "finger_oz"):
        assert getattr(other.after, name) == pytest.approx(getattr(one.after, name), abs=1e-6)
    assert other.drilling_deg == pytest.approx(one.drilling_deg, abs=1e-4)


# --- places on the ball ----------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    st.floats(1, 179), st.floats(0.2, 6.7), st.floats(1, 179), st.floats(0, 7), st.floats(-3, 3)
)
def test_the_grip_is_where_the_player_was_measured(d, p, v, over, up):
    """PAP coordinates, the pin's arc and VAL angle, and square crossings, all recomputed."""
    layout, grip = Layout(d, p, v), Grip(pap_over_in=over, pap_up_in=up)
    face = face_of(layout, grip)
    np.testing.assert_allclose(face.coordinates_in(face.pap), (over, up), atol=1e-9)
    np.testing.assert_allclose(face.point(over, up), face.pap, atol=1e-12)
    assert face.arc_in(face.pin, face.pap) == pytest.approx(p, abs=1e-9)
    frame = np.stack([face.right, face.up, face.grip_centre])
    np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-12)
    # Walk from the PAP: turn "up" by the VAL angle toward the grip's side, go p, and be at the pin.
    x = over / R * INCH_M
    to_grip = math.sin(x) * face.grip_centre - math.cos(x) * face.right
    rise = up * INCH_M / R
    up_at_pap = math.cos(rise) * face.val_up - math.sin(rise) * face.val_foot
    leave = math.cos(math.radians(v)) * up_at_pap + math.sin(math.radians(v)) * to_grip
    arc = p * INCH_M / R
    reached = math.cos(arc) * face.pap + math.sin(arc) * leave
    np.testing.assert_allclose(reached, face.pin, atol=1e-9)


def test_spans_bridge_and_pitches_as_ordered():
    face = face_of(LAYOUT, CROWDED)
    middle, ring, thumb = face.holes
    edge = {h.name: math.asin(h.radius_m / R) * R / INCH_M for h in face.holes}
    up = {h.name: face.centre_line_coordinates_in(h.centre)[0] for h in face.holes}
    assert up["middle"] - edge["middle"] - up["thumb"] - edge["thumb"] == pytest.approx(4.0)
    assert up["ring"] - edge["ring"] - up["thumb"] - edge["thumb"] == pytest.approx(4.3)
    off = math.asin(float(ring.centre @ face.right)) * R / INCH_M
    assert off == pytest.approx(0.1 + edge["ring"], abs=1e-12)
    assert float(middle.centre @ face.right) == pytest.approx(-float(ring.centre @ face.right))
    # Pitch: where the axis crosses the plane through the centre square to the radius.
    for hole, forward, lateral in ((middle, 0.4, 0.3), (ring, 0.2, -0.3), (thumb, -0.5, 0.25)):
        run = R / -float(hole.axis @ hole.centre)
        crossing = (R * hole.centre + run * hole.axis) / INCH_M
        assert np.linalg.norm(crossing) == pytest.approx(math.hypot(forward, lateral), abs=1e-12)
        toward_grip = 1.0 if hole is thumb else -1.0
        assert float(crossing @ face.up) * toward_grip * forward > 0
        assert float(crossing @ face.right) * lateral > 0


def test_seen_from_outside():
    """With PAP_SIDE -1 in a right-handed frame the face reads as a right-hander's: right x up
    points at the viewer, and with this usual layout the pin is above the midline on the grip's
    side of the VAL and the mass bias on the thumb's side (common practice, no source)."""
    with pytest.MonkeyPatch.context() as patch:
        for side in (-1.0, 1.0):
            patch.setattr(layout_module, "PAP_SIDE", side)
            face = face_of(LAYOUT)
            out = np.cross(face.right, face.up)
            np.testing.assert_allclose(out, -side * face.grip_centre, atol=1e-12)
            over, up = face.coordinates_in(face.pin)
            assert 0 < over < 5.0 and up > 0
            assert face.coordinates_in(face.mass_bias)[1] < 0


# --- static weights and the standard -----------------------------------------------------------


def test_static_weights_of_one_radial_hole():
    """Top, side and finger weights lost to an unpitched thumb hole = its moment about the centre
    over the arm (D, closed form above)."""
    grip = Grip(finger_depth_in=0.0)
    ball = drill(**BALL, layout=LAYOUT, grip=grip)
    thumb = ball.face.holes[-1]
    density = 15.0 * LB_KG / (4 / 3 * math.pi * R**3)
    _, mz, _ = _radial_hole(thumb.radius_m, thumb.depth_m)
    lost = density * mz / R / OZ_KG * thumb.centre
    for name, way in (("top_oz", ball.face.grip_centre), ("side_oz", ball.face.right),
                      ("finger_oz", ball.face.up)):
        change = getattr(ball.after, name) - getattr(ball.before, name)
        assert change == pytest.approx(-float(lost @ way), abs=1e-10)
    assert ball.after.finger_oz > ball.before.finger_oz  # weight gone from the thumb's half


def test_undrilled_top_weight_is_what_was_given():
    """All of it on the pin's direction: the three statics are 2.5 oz times direction cosines."""
    before = drill(**BALL, layout=LAYOUT, top_weight_oz=2.5).before
    length = math.sqrt(before.top_oz**2 + before.side_oz**2 + before.finger_oz**2)
    assert length == pytest.approx(2.5, rel=1e-12)


def test_limits_of_the_standard():
    """Static 3 oz; RG 2.46-2.80, differential 0.060 in: facts (S)."""
    good = drill(**BALL, layout=LAYOUT)
    assert {x.name: (x.low, x.high) for x in good.limits} == {
        "top weight": (-3.0, 3.0), "side weight": (-3.0, 3.0),
        "finger/thumb weight": (-3.0, 3.0), "low RG": (2.46, 2.80), "differential": (0.0, 0.060),
    }
    assert all(x.inside for x in good.limits)
    heavy = drill(**{**BALL, "diff_in": 0.07}, layout=LAYOUT, top_weight_oz=6.0)
    outside = {x.name for x in heavy.limits if not x.inside}
    assert outside == {"finger/thumb weight", "differential"}


@pytest.mark.parametrize("d", [15, 45, 75])
@pytest.mark.parametrize("p", [1.0, 3.375, 4.5, 6.0])
def test_drilling_moves_rg_by_at_most_five_per_cent(d, p):
    """facts: drilling moves RG up to 5 % (R: Ridenour)."""
    ball = drill(**BALL, layout=Layout(d, p, 35.0))
    for now, then in ((ball.rg_low_in, 2.5), (ball.rg_int_in, 2.535), (ball.rg_high_in, 2.55)):
        assert now == pytest.approx(then, rel=0.05)
        assert now != then


def test_a_symmetric_core_gets_its_mass_bias_from_the_holes():
    """Taking material at the grip lowers the inertia least about the axis through the grip, so
    in the plane square to the low-RG axis the drilled high-RG axis is the one nearer the grip."""
    for p in (2.0, 3.375, 5.0):
        ball = drill(**SYMMETRIC, layout=Layout(50.0, p, 35.0))
        assert ball.int_diff_in > 0.0
        _, mid, high = ball.axes.T
        assert abs(high @ ball.face.grip_centre) > abs(mid @ ball.face.grip_centre)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"span_in": 1.0}, "grip: span_in is 1 in; accepted: 2 to 6 in"),
        ({"thumb_depth_in": -1.0}, "thumb_depth_in"),
        ({"finger_diameter_in": math.nan}, "finger_diameter_in"),
        ({"fingers": 3}, "fingers must be 1 or 2"),
        ({"thumb": "no"}, "thumb must be true or false"),
        ({"ring_span_in": 7.0}, "ring_span_in"),
    ],
)
def test_a_wrong_grip_is_refused(change, words):
    with pytest.raises(InputError, match=words):
        Grip(**change)


@pytest.mark.parametrize(
    "layers", [((0.5, 1.2),), ((0.0, 1.2), (2.0, 9.0)), ((0.0, 1.0), (-1.0, 1.0)), ((0.0,),)]
)
def test_wrong_layers_are_refused(layers):
    with pytest.raises(InputError, match="material"):
        Material(layers)


def test_wrong_ball_numbers_are_refused():
    with pytest.raises(InputError, match="int_diff_in"):
        drill(**{**BALL, "int_diff_in": 0.06}, layout=LAYOUT)
    with pytest.raises(InputError, match="weight_lb"):
        drill(**{**BALL, "weight_lb": 17.0}, layout=LAYOUT)
