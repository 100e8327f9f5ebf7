"""Unit conversions and lane geometry against their definitions and the published round numbers."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from lanesim import units
from lanesim.lane import geometry as lane


@pytest.mark.parametrize(
    ("ours", "scipys"),
    [
        (units.INCH_M, constants.inch),
        (units.FOOT_M, constants.foot),
        (units.MPH_MS, constants.mph),
        (units.LB_KG, constants.lb),
        (units.OZ_KG, constants.oz),
        (units.DEG_RAD, constants.degree),
        (units.GRAVITY_MS2, constants.g),
        (units.MICRON_M, constants.micron),
        (units.UL_M3, constants.liter * constants.micro),
    ],
)
def test_factors_against_scipy(ours, scipys):
    """scipy.constants: independent table of the 1959 yard and pound agreement and CGPM values."""
    assert ours == pytest.approx(scipys, rel=1e-15)


def test_factors_by_hand():
    """18.6 mph = 8.315 m/s; 436 rpm = 45.66 rad/s; 15 lb = 6.804 kg (arithmetic, D)."""
    assert pytest.approx(8.315, abs=5e-4) == 18.6 * units.MPH_MS
    assert pytest.approx(45.66, abs=5e-3) == 436 * units.RPM_RADS
    assert pytest.approx(6.804, abs=5e-4) == 15 * units.LB_KG
    assert pytest.approx(0.0347) == units.CP_PAS * 34.7


def test_oil_unit():
    """1 unit = 0.0167 mL/ft^2 = 0.180 um; 27 mL on 42 ft = 2.0 um = 11 units (facts page, M/D)."""
    assert pytest.approx(0.180, abs=5e-4) == units.OIL_UNIT_M / units.MICRON_M
    film = 27e-6 / (42 * units.FOOT_M * lane.LANE_WIDTH_M)
    assert film / units.MICRON_M == pytest.approx(2.0, abs=0.05)
    assert film / units.OIL_UNIT_M == pytest.approx(11, abs=0.5)


def test_cell_film():
    """10 uL on one board by one foot = 1.21 um (physics page, D)."""
    film = 10 * units.UL_M3 / lane.CELL_AREA_M2
    assert film / units.MICRON_M == pytest.approx(1.21, abs=5e-3)


def test_lane_and_pins():
    """60 ft to the head pin, 62 ft 10 3/16 in to the pit, boards of 2.73 cm within the width's
    tolerance, pins 12 in apart (facts page: S, the board width R).
    """
    assert pytest.approx(60 * 12 * 0.0254) == lane.HEAD_PIN_M
    assert pytest.approx((62 * 12 + 10.1875) * 0.0254) == lane.PIT_M
    assert abs(lane.BOARD_M - 0.0273) < 0.5 * 0.0254 / 39 + 5e-5
    places = {pin: (x, y) for pin, x, y in lane.pin_positions_m()}
    for a, b in [(1, 2), (1, 3), (2, 3), (2, 4), (2, 5), (3, 5), (3, 6), (4, 7), (5, 8), (5, 9),
                 (6, 10), (7, 8), (8, 9), (9, 10), (5, 6)]:
        assert math.dist(places[a], places[b]) == pytest.approx(12 * 0.0254)
    assert places[1][1] == pytest.approx(lane.LANE_WIDTH_M / 2)
    assert places[7][1] > places[1][1] > places[10][1], "the 7 pin is on a right-hander's left"


def test_moment_of_inertia():
    """I = m k^2: 15 lb at 2.50 in = 0.027435 kg m^2 (arithmetic, D)."""
    assert units.rg_inertia(15 * units.LB_KG, 2.50) == pytest.approx(0.027435, abs=5e-7)


@given(st.floats(-5, 45))
def test_boards_round_trip(board):
    assert lane.y_to_board(lane.board_to_y(board)) == pytest.approx(board, abs=1e-12)


def test_boards_cover_the_lane():
    """Board b covers (b-1) w to b w: the edges of the lane are boards 0.5 and 39.5."""
    assert lane.board_to_y(0.5) == 0.0
    assert lane.board_to_y(39.5) == pytest.approx(lane.LANE_WIDTH_M)
    assert lane.board_to_y(20) == pytest.approx(lane.LANE_WIDTH_M / 2)
