"""Layout geometry against scipy's rotations, the worked example, and its own inverses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from lanesim.equipment import layout as layout_module
from lanesim.equipment.inches import read_inches, sixteenths
from lanesim.equipment.layout import (
    TRADE_CIRCUMFERENCE_IN,
    Layout,
    arc_deg,
    arc_in,
    circle_radius_m,
    layout_of_pap,
    layout_text,
    layouts_from_arcs,
    read_layout,
    val_from_arcs,
)
from lanesim.errors import InputError
from lanesim.lane.geometry import BALL_RADIUS_M

TRADE_RADIUS_M = circle_radius_m(TRADE_CIRCUMFERENCE_IN)
EXAMPLE = Layout(drilling_deg=50.0, pin_to_pap_in=4.5, val_deg=30.0)

layouts = st.builds(
    Layout,
    st.floats(0.0, 180.0),
    st.floats(0.0, 6.7),
    st.floats(0.0, 180.0),
)


def test_worked_example():
    """p 4.5 in, d 50, v 30 deg on a 27 in circle: m 56.2 deg = 4.21 in, b 25.7 deg = 1.92 in.

    Source: the project's physics page, section 11 (D); by hand, cos m = sin 60 cos 50 = 0.55667,
    sin b = sin 60 sin 30 = 0.43301. Tolerances are half a digit of the printed values.
    """
    assert EXAMPLE.pin_to_pap_deg(TRADE_RADIUS_M) == pytest.approx(60.0, abs=1e-12)
    assert EXAMPLE.mass_bias_to_pap_deg(TRADE_RADIUS_M) == pytest.approx(56.2, abs=0.05)
    assert EXAMPLE.mass_bias_to_pap_in(TRADE_RADIUS_M) == pytest.approx(4.21, abs=0.005)
    assert EXAMPLE.pin_to_val_deg(TRADE_RADIUS_M) == pytest.approx(25.7, abs=0.05)
    assert EXAMPLE.pin_to_val_in(TRADE_RADIUS_M) == pytest.approx(1.92, abs=0.005)


def test_the_pap_of_the_example():
    """pap = cos p e1 + sin p (sin d e2 + cos d e3), physics page section 2, with p 60, d 50."""
    sin_60, cos_60 = math.sqrt(3.0) / 2.0, 0.5
    expected = [
        cos_60,
        layout_module.PAP_SIDE * sin_60 * math.sin(math.radians(50)),
        sin_60 * math.cos(math.radians(50)),
    ]
    np.testing.assert_allclose(EXAMPLE.pap_in_body(TRADE_RADIUS_M), expected, atol=1e-15)


def test_arcs_on_the_model_ball_differ_from_the_trade_circle():
    """4.5 in is 60 deg on a 27 in circle, 4.5 / 4.275 rad = 60.31 deg on the 8.550 in ball (D)."""
    assert EXAMPLE.pin_to_pap_deg() == pytest.approx(math.degrees(4.5 / 4.275), rel=1e-12)
    assert arc_in(arc_deg(3.3)) == pytest.approx(3.3, rel=1e-14)


def _by_rotations(layout: Layout, radius_m: float = BALL_RADIUS_M):
    """PAP, pin to the VAL and mass-bias arc from two rotations, without spherical trigonometry."""
    p, d, v = (
        math.radians(layout.pin_to_pap_deg(radius_m)),
        math.radians(layout.drilling_deg),
        math.radians(layout.val_deg),
    )
    pin, mass_bias = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])
    # Tilt the pin toward the mass bias by p (about -e2), then swing about the pin by d,
    # away from e3 toward +e2 (a turn about -e1) on the side PAP_SIDE.
    tilt = Rotation.from_rotvec([0.0, -p, 0.0])
    swing = Rotation.from_rotvec([-layout_module.PAP_SIDE * d, 0.0, 0.0])
    pap = (swing * tilt).apply(pin)
    # The tangent at the PAP back toward the pin is carried along by the same rotations.
    to_pin = (swing * tilt).apply([0.0, 0.0, -1.0])
    up = Rotation.from_rotvec(v * pap).apply(to_pin)
    pole = np.cross(pap, up)  # of the vertical axis line
    buffer = math.asin(min(1.0, abs(float(pin @ pole))))
    bias = math.atan2(np.linalg.norm(np.cross(mass_bias, pap)), float(mass_bias @ pap))
    return pap, math.degrees(buffer), math.degrees(bias)


@given(layouts)
def test_spherical_triangles_against_rotations(layout):
    pap, buffer, bias = _by_rotations(layout)
    np.testing.assert_allclose(layout.pap_in_body(), pap, atol=1e-14)
    # asin and acos lose half the digits near their ends: 1e-6 deg is 1e-8 of 90 deg.
    assert layout.pin_to_val_deg() == pytest.approx(buffer, abs=2e-6)
    assert layout.mass_bias_to_pap_deg() == pytest.approx(bias, abs=2e-6)


@given(layouts, st.sampled_from([BALL_RADIUS_M, TRADE_RADIUS_M]))
def test_arcs_and_angles_round_trip(layout, radius_m):
    """From angles to arcs and back: the layout is among the (one or two) solutions."""
    p = math.radians(layout.pin_to_pap_deg(radius_m))
    # Near p = 0 the angles fade out, and near d, v = 0, 90 or 180 the inverse sine or cosine is
    # flat, so rounding of the arcs (1e-15) is stretched up to 1e-15 / sin p / slope.
    assume(math.sin(p) > 0.05)
    found = layouts_from_arcs(
        pin_to_pap_in=layout.pin_to_pap_in,
        mass_bias_to_pap_in=layout.mass_bias_to_pap_in(radius_m),
        pin_to_val_in=layout.pin_to_val_in(radius_m),
        radius_m=radius_m,
    )
    gaps = [
        max(
            abs(one.drilling_deg - layout.drilling_deg),
            abs(one.val_deg - layout.val_deg),
        )
        for one in found
    ]
    assert min(gaps) < 1e-5
    for one in found:  # and every solution has the arcs it was made from
        assert one.mass_bias_to_pap_in(radius_m) == pytest.approx(
            layout.mass_bias_to_pap_in(radius_m), abs=1e-6
        )
        assert one.pin_to_val_in(radius_m) == pytest.approx(
            layout.pin_to_val_in(radius_m), abs=1e-6
        )


def test_the_ambiguous_val_angle_gives_both_sides():
    arcs = {
        "pin_to_pap_in": 4.5,
        "mass_bias_to_pap_in": EXAMPLE.mass_bias_to_pap_in(),
        "pin_to_val_in": EXAMPLE.pin_to_val_in(),
    }
    fingers, thumb = layouts_from_arcs(**arcs)
    assert fingers.val_deg == pytest.approx(30.0, abs=1e-9)
    assert thumb.val_deg == pytest.approx(150.0, abs=1e-9)
    del arcs["mass_bias_to_pap_in"]
    assert val_from_arcs(**arcs) == fingers.val_deg
    assert val_from_arcs(**arcs, pin_toward_fingers=False) == thumb.val_deg


def test_one_solution_where_the_two_meet():
    """b = p: the pin is abreast of the PAP, v = 90 deg from either side."""
    found = layouts_from_arcs(pin_to_pap_in=3.0, mass_bias_to_pap_in=6.0, pin_to_val_in=3.0)
    assert [one.val_deg for one in found] == [pytest.approx(90.0, abs=1e-5)]


@given(layouts)
def test_layout_of_its_own_pap(layout):
    assume(layout.pin_to_pap_in > 0.1)
    back = layout_of_pap(layout.pap_in_body(), layout.val_deg)
    assert back.pin_to_pap_in == pytest.approx(layout.pin_to_pap_in, abs=1e-10)
    assert back.drilling_deg == pytest.approx(layout.drilling_deg, abs=1e-9)


@given(layouts)
def test_mirrored_side_changes_only_the_intermediate_component(layout):
    with pytest.MonkeyPatch.context() as patch:
        one = layout.pap_in_body()
        patch.setattr(layout_module, "PAP_SIDE", -layout_module.PAP_SIDE)
        other = layout.pap_in_body()
    np.testing.assert_array_equal(one * [1, -1, 1], other)


@pytest.mark.parametrize(
    ("arcs", "words"),
    [
        ((2.0, 1.0, 1.0), ["pin_to_pap_in 2", "mass_bias_to_pap_in 1", "4.72 to 8.72"]),
        ((2.0, 6.0, 3.0), ["pin_to_pap_in 2", "pin_to_val_in 3", "at most 2.00"]),
        ((0.0, 6.7, 0.0), ["pin_to_pap_in is 0"]),
        ((7.0, 6.7, 0.0), ["pin_to_pap_in", "0 to 6.75"]),
    ],
)
def test_impossible_arcs_are_named(arcs, words):
    """A quarter circle is pi/2 * 4.275 = 6.715 in, so p = 2 in allows m from 4.72 to 8.72 in."""
    with pytest.raises(InputError) as error:
        layouts_from_arcs(pin_to_pap_in=arcs[0], mass_bias_to_pap_in=arcs[1], pin_to_val_in=arcs[2])
    for word in words:
        assert word in str(error.value)


@pytest.mark.parametrize(
    "numbers",
    [(-1, 4, 30), (181, 4, 30), (50, -0.1, 30), (50, 6.8, 30), (50, 4, -1), (50, 4, 181),
     (math.nan, 4, 30), (50, math.inf, 30), (50, 4, "30")],
)
def test_numbers_out_of_range_are_refused(numbers):
    with pytest.raises(InputError, match=r"layout: .*0 to"):
        Layout(*numbers)


def test_a_pap_on_the_far_side_is_refused():
    pap = EXAMPLE.pap_in_body() * [1, -1, 1]
    with pytest.raises(InputError, match="far side"):
        layout_of_pap(pap, 30.0)


@pytest.mark.parametrize(("text", "layout"), [
    ("drill 50 deg, pin 4.5 in, VAL 30 deg", Layout(50, 4.5, 30)),
    ("drill 50, pin 4 1/2, val 30", Layout(50, 4.5, 30)),
    (" VAL 45deg ,Drill 90,  pin 3-3/8 in", Layout(90, 3.375, 45)),
    ("drill 0, pin 0, val 0", Layout(0, 0, 0)),
])
def test_layouts_are_read(text, layout):
    assert read_layout(text) == layout


@given(layouts)
def test_a_layout_comes_back_from_its_words(layout):
    """To what the words tell: a tenth of a degree, a ten-thousandth of an inch, no more lost."""
    text = layout_text(layout)
    again = read_layout(text)
    assert again.drilling_deg == pytest.approx(layout.drilling_deg, abs=0.05 + 1e-9)
    assert again.val_deg == pytest.approx(layout.val_deg, abs=0.05 + 1e-9)
    assert again.pin_to_pap_in == pytest.approx(layout.pin_to_pap_in, abs=5.1e-5)
    assert layout_text(again) == text


def test_parts_that_are_left_out_are_the_balls_own():
    assert read_layout("pin 2", EXAMPLE) == Layout(50, 2, 30)
    assert layout_text(EXAMPLE, ("pin_to_pap_in",)) == "pin 4.5 in"


@pytest.mark.parametrize(("text", "words"), [
    ("50x4.5x30", "not understood"), ("", "not understood"), ("drill x, pin 4, val 3", "not under"),
    ("drill 50, pin 4", "lacks val"), ("pin 4, pin 5, drill 3, val 2", "names pin twice"),
    ("drill nan, pin 4, val 30", "not understood"), ("drill 50, pin 9, val 30", "9 in; accep"),
    ("drill 50, pin 4 1/0, val 30", "layout: pin '4 1/0' is not understood"),
])
def test_layouts_that_are_not_understood(text, words):
    with pytest.raises(InputError) as caught:
        read_layout(text)
    assert words in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize(("text", "value"), [
    ("5.25", 5.25), ("5 1/4", 5.25), ("5-1/4 in", 5.25), ('1/4"', 0.25), ("-1/2", -0.5),
    ("-2 3/16", -2.1875), (".5", 0.5), ("4.", 4.0),
])
def test_inches_are_read(text, value):
    assert read_inches(text) == value


@pytest.mark.parametrize("text", ["", "1/0", "5 1/4 1/4", "5/", "in", "1e3", "inf", "5 1/4 ft"])
def test_inches_that_are_not_understood(text):
    with pytest.raises(InputError, match=r"accepted: inches, as in 5.25 or 5 1/4"):
        read_inches(text)


@given(st.integers(-108, 108))
def test_sixteenths_come_back(count):
    assert read_inches(sixteenths(count / 16)) == count / 16


@given(st.floats(0, 7))
def test_sixteenths_are_the_nearest(value):
    assert abs(read_inches(sixteenths(value)) - value) <= 1 / 32
