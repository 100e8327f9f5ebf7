"""The oil film as a surface: volume kept, smooth, never negative, uniform where the grid is.

Physics page, section 6: cell volume / cell area is the mean film; interpolation zero beyond the
pattern, total volume kept to rounding. Checked by quadrature that is exact for the surface:
quadratic splines are polynomials of degree two in each cell, three Gauss points each way exact
to degree five (textbook). The numbers are all derived here, none comes from the code.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial.legendre import leggauss

from lanesim.catalog import load_pattern_named, pattern_names
from lanesim.lane.geometry import BOARD_M, CELL_AREA_M2, LANE_WIDTH_M
from lanesim.motion import kernels as k
from lanesim.units import FOOT_M, MICRON_M, UL_M3

NODES, WEIGHTS = leggauss(3)


def surface_volume_m3(film: np.ndarray) -> float:
    """Volume [m3] of the core's film on the lane, foul line to one foot past the grid."""
    total = 0.0
    for row in range(film.shape[0] + 1):
        for node, weight in zip(NODES, WEIGHTS, strict=True):
            x = (row + 0.5 + 0.5 * node) * FOOT_M
            for column in range(film.shape[1]):
                for n, w in zip(NODES, WEIGHTS, strict=True):
                    y = (column + 0.5 + 0.5 * n) * BOARD_M
                    total += weight * w * k.film_at(x, y, film, BOARD_M, FOOT_M)
    return 0.25 * FOOT_M * BOARD_M * total


@pytest.mark.parametrize("name", pattern_names())
def test_volume_of_the_surface_is_that_of_the_grid(name):
    """To rounding (1e-12), each shipped pattern: mL of the file against the surface's."""
    pattern = load_pattern_named(name)
    millilitres = surface_volume_m3(pattern.film_m("right")) * 1e6
    assert millilitres == pytest.approx(pattern.total_ml, rel=1e-12)


@pytest.mark.parametrize("where", [(0, 0), (0, 38), (59, 0), (59, 38), (0, 17), (30, 0), (31, 21)])
def test_volume_of_a_single_cell(where):
    """One cell of 10 uL at corners, edges and inside: 10 uL on the lane, wherever it lies."""
    film = np.zeros((60, 39))
    film[where] = 10 * UL_M3 / CELL_AREA_M2
    assert surface_volume_m3(film) / UL_M3 == pytest.approx(10.0, rel=1e-12)


def test_ten_microlitres_are_1_21_um():
    """10 uL per cell = 1.21 um (physics page, section 6, D): away from edges the film is that."""
    film = np.full((60, 39), 10 * UL_M3 / CELL_AREA_M2)
    assert k.film_at(9.3, 0.4, film, BOARD_M, FOOT_M) / MICRON_M == pytest.approx(1.21, abs=0.005)


def test_uniform_grid_gives_a_uniform_film():
    """Also at the lane's edges and the foul line; only the last row falls off to nothing."""
    film = np.full((60, 39), 2e-6)
    for x in np.linspace(0, 59.0 * FOOT_M, 37):
        for y in np.linspace(0, LANE_WIDTH_M, 23):
            assert k.film_at(x, y, film, BOARD_M, FOOT_M) == pytest.approx(2e-6, rel=1e-12)
    assert k.film_at(61.001 * FOOT_M, 0.5, film, BOARD_M, FOOT_M) == 0.0
    assert k.film_at(30.0, 0.5, film, BOARD_M, FOOT_M) == 0.0


films = st.integers(0, 2**32 - 1).map(
    lambda seed: np.random.default_rng(seed).uniform(0, 8e-6, (60, 39))
    * (np.random.default_rng(seed + 1).random((60, 39)) < 0.6)
)


@settings(max_examples=30, deadline=None)
@given(films, st.floats(0, 19.0), st.floats(0, LANE_WIDTH_M))
def test_never_negative_nor_above_its_neighbours(film, x, y):
    """A B-spline surface lies between the smallest and largest of its nine cells (convex hull)."""
    value = k.film_at(x, y, film, BOARD_M, FOOT_M)
    i, j = int(x / FOOT_M), min(int(y / BOARD_M), 38)
    near = film[max(i - 1, 0) : i + 2, max(j - 1, 0) : j + 2]
    low = float(near.min()) if i + 1 < 60 else 0.0
    high = float(near.max()) if near.size else 0.0
    assert low - 1e-18 <= value <= high + 1e-18


@settings(max_examples=30, deadline=None)
@given(films, st.integers(0, 60), st.integers(1, 38), st.floats(0.01, 0.99))
def test_value_and_slope_are_continuous_across_cell_edges(film, row, column, along):
    """C1: one-sided slopes, exact for parabolas, agree at every cell edge, both ways.

    For f of degree two f'(0+) = (-3 f(0) + 4 f(h) - f(2h))/2h exactly.
    """
    def one_sided(f, h):
        return (-3 * f(0.0) + 4 * f(h) - f(2 * h)) / (2 * h)

    h = 0.2
    edge_y, inside_y = column, column + along
    across = {
        "down the lane": lambda s: k.film_at(
            (row + s) * FOOT_M, inside_y * BOARD_M, film, BOARD_M, FOOT_M
        ),
        "across the lane": lambda s: k.film_at(
            (row + along) * FOOT_M, (edge_y + s) * BOARD_M, film, BOARD_M, FOOT_M
        ),
    }
    for name, f in across.items():
        if name == "down the lane" and row == 0:
            continue  # the foul line is the end of the lane
        assert f(1e-9) == pytest.approx(f(-1e-9), abs=1e-13), name
        after = one_sided(lambda s, f=f: f(1e-9 + s), h)
        before = -one_sided(lambda s, f=f: f(-1e-9 - s), h)
        assert after == pytest.approx(before, abs=1e-12), name
