"""OilPattern: what it computes, and that the two halves of the lane are never confused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lanesim.errors import InputError
from lanesim.lane.geometry import CELL_AREA_M2
from lanesim.lane.oil_file import (
    load_pattern,
    parse_pattern,
    pattern_text,
    save_pattern,
    taper_cells,
)
from lanesim.lane.pattern import UNIT_CELL_UL, OilPattern

SHAPE = (60, 39)
GRIDS = arrays(np.float64, SHAPE, elements=st.floats(0.0, 200.0), fill=st.just(0.0))


def flat(ul: float, feet: int = 42) -> np.ndarray:
    grid = np.zeros(SHAPE)
    grid[:feet] = ul
    return grid


def make(grid: np.ndarray, **more: object) -> OilPattern:
    return OilPattern("test", "A test", grid, **more)


# --- numbers against the outside ---------------------------------------------------------------


def test_ten_microlitres_in_a_cell_make_a_film_of_1_21_um() -> None:
    # facts.md / physics.md section 6 (derived): 10 uL over one board (41.5/39 in) by one foot.
    film_um = make(flat(10.0)).film_m()[0, 0] * 1e6
    assert film_um == pytest.approx(1.21, abs=0.005)
    by_hand = 10.0e-9 / ((41.5 / 39 * 0.0254) * 0.3048) * 1e6
    assert film_um == pytest.approx(by_hand, rel=1e-12)


def test_27_ml_over_42_ft_is_a_mean_film_of_2_um_and_11_units() -> None:
    # facts.md, oil: "27 mL over 42 ft = 2.0 um mean = 11 units" (derived; the example read).
    pattern = make(flat(27_000.0 / (42 * 39)))
    assert pattern.total_ml == pytest.approx(27.0, rel=1e-12)
    assert pattern.length_ft == 42
    assert pattern.mean_film_um == pytest.approx(2.0, abs=0.05)
    assert pattern.mean_units == pytest.approx(11.0, abs=0.5)


def test_ratio_is_boards_18_to_18_over_boards_3_to_7_on_each_side() -> None:
    # facts.md (read): mean of the middle five boards over mean of boards 3 to 7, each side.
    # Each board gets its own volume so that one board too many or too few shows.
    grid = np.zeros(SHAPE)
    grid[:40] = np.arange(1.0, 40.0)  # board b, from the right, holds b uL per foot
    pattern = make(grid)
    middle = (18 + 19 + 20 + 21 + 22) / 5  # board 18 from the left is 22 from the right
    assert pattern.ratio_right == pytest.approx(middle / 5.0)  # boards 3..7: mean 5
    assert pattern.ratio_left == pytest.approx(middle / 35.0)  # boards 33..37: mean 35


def test_ratio_with_dry_edges() -> None:
    grid = np.zeros(SHAPE)
    assert math.isnan(make(grid).ratio_left) and math.isnan(make(grid).ratio_right)
    grid[:40, 19] = 5.0
    assert make(grid).ratio_right == math.inf


# --- left and right ----------------------------------------------------------------------------


def test_board_1_is_at_the_right_and_film_follows_the_player() -> None:
    grid = flat(1.0)
    grid[:42, 0] = 7.0  # board 1 from the right edge
    pattern = make(grid)
    right, left = pattern.film_m("right"), pattern.film_m("left")
    assert right[0, 0] == pytest.approx(7.0e-9 / CELL_AREA_M2)
    assert left[0, 38] == right[0, 0]
    assert left[0, 0] == right[0, 38] == pytest.approx(1.0e-9 / CELL_AREA_M2)
    assert not pattern.is_symmetric and make(flat(3.0)).is_symmetric


@settings(max_examples=25, deadline=None)
@given(GRIDS)
def test_mirror_swaps_the_players(grid: np.ndarray) -> None:
    pattern = make(grid)
    other = pattern.mirrored()
    np.testing.assert_array_equal(pattern.film_m("left"), other.film_m("right"))
    assert other.mirrored() == pattern
    # fsum is exact, so the order of the cells cannot change the total.
    assert other.total_ml == pattern.total_ml
    np.testing.assert_equal(other.ratio_left, pattern.ratio_right)


@settings(max_examples=25, deadline=None)
@given(GRIDS)
def test_film_keeps_the_volume(grid: np.ndarray) -> None:
    pattern = make(grid)
    for hand in ("right", "left"):
        film = pattern.film_m(hand)
        assert film.flags.c_contiguous and film.dtype == np.float64
        assert film.sum() * CELL_AREA_M2 * 1e6 == pytest.approx(pattern.total_ml, rel=1e-12)


def test_mean_films_by_foot_and_by_board() -> None:
    # By hand: board 2 holds 10 uL on the first 4 feet only; a uL per cell is 0.1210 um (10: 1.21).
    grid = np.zeros(SHAPE)
    grid[:4, 1] = 10.0
    pattern = make(grid)
    cell = pattern.film_m()[0, 1] * 1e6
    np.testing.assert_allclose(pattern.film_by_foot_um(), [cell / 39] * 4 + [0.0] * 56)
    want = np.zeros(39)
    want[1] = cell / 2
    np.testing.assert_allclose(pattern.film_by_board_um(2, 6), want)  # 2 oiled feet of 4
    for start, end in ((5, 5), (-1, 4), (0, 61)):
        with pytest.raises(InputError, match="accepted: 0 <= start < end <= 60"):
            pattern.film_by_board_um(start, end)


def test_film_refuses_other_hands() -> None:
    with pytest.raises(InputError, match="hand is 'both'; accepted: right, left"):
        make(flat(1.0)).film_m("both")


# --- the noun ----------------------------------------------------------------------------------


def test_grid_is_copied_and_read_only() -> None:
    grid = np.asfortranarray(flat(5.0))
    pattern = make(grid)
    grid[0, 0] = 99.0
    assert pattern.volume_ul[0, 0] == 5.0
    assert pattern.volume_ul.flags.c_contiguous
    with pytest.raises(ValueError):
        pattern.volume_ul[0, 0] = 1.0


@pytest.mark.parametrize("bad, said", [
    (-0.001, "board 4, foot 3 holds -0.001 uL; accepted: 0 to 200 uL"),
    (200.5, "holds 200.5 uL"),
    (math.nan, "holds nan uL"),
    (math.inf, "holds inf uL"),
])
def test_bad_cells_are_named(bad: float, said: str) -> None:
    grid = flat(5.0)
    grid[2, 3] = bad
    with pytest.raises(InputError) as caught:
        make(grid)
    assert said in str(caught.value)
    with pytest.raises(InputError):
        make(flat(5.0)).with_volume(grid)


def test_other_bad_values() -> None:
    for grid in (np.zeros((39, 60)), np.zeros((42, 39)), [["x"] * 39] * 60, None):
        with pytest.raises(InputError):
            make(grid)
    for more in ({"viscosity_cp": 4.9}, {"viscosity_cp": math.nan}, {"laid_ft": 61},
                 {"laid_ft": 41.5}):
        with pytest.raises(InputError):
            make(flat(5.0), **more)
    for name in ("", "  ", 3):
        with pytest.raises(InputError):
            OilPattern(name, "A test", flat(5.0))


def test_carried_oil_does_not_lengthen_the_pattern() -> None:
    pattern = make(flat(10.0, 42))
    grid = pattern.volume_ul.copy()
    grid[50, 20] = 1.0
    worn = pattern.with_volume(grid)
    assert worn.length_ft == 42
    assert worn.mean_film_um == pytest.approx(pattern.mean_film_um, rel=1e-12)
    assert worn.total_ml == pytest.approx(pattern.total_ml + 0.001)


def test_a_dry_lane_is_a_pattern() -> None:
    dry = make(np.zeros(SHAPE))
    assert (dry.length_ft, dry.total_ml, dry.mean_film_um) == (0, 0, 0)
    assert parse_pattern(pattern_text(dry)) == dry


# --- bands -------------------------------------------------------------------------------------


@settings(max_examples=100, deadline=None)
@given(st.floats(0, 59), st.floats(0.01, 60), st.floats(0, 200), st.floats(0, 200))
def test_a_taper_holds_its_exact_volume(a: float, length: float, s: float, e: float) -> None:
    # Derived: the integral of a straight line from s at a to e at b is (b - a)(s + e)/2.
    b = min(a + length, 60.0)
    cells = taper_cells((a, b), (s, e))
    assert cells.sum() == pytest.approx((b - a) * (s + e) / 2, rel=1e-9, abs=1e-9)
    assert cells.min() >= -1e-9 and cells.max() <= max(s, e) + 1e-9
    outside = np.arange(60)
    assert not cells[(outside + 1 <= a) | (outside >= b)].any()


@settings(max_examples=100, deadline=None)
@given(st.floats(0, 40), st.floats(0.5, 20), st.floats(0.5, 20), st.floats(0.1, 150),
       st.floats(0.1, 150), st.floats(0.1, 150))
def test_an_exponential_taper_in_pieces_holds_its_exact_volume(
    a: float, first: float, second: float, s: float, m: float, e: float
) -> None:
    # Derived: s (e/s)^((x - a)/L) integrates to L (s - e)/ln(s/e), or L s where the two are equal.
    def piece(length: float, u: float, v: float) -> float:
        return length * (u if u == v else (u - v) / math.log(u / v))

    b, c = a + first, min(a + first + second, 60.0)
    if c <= b:
        return
    cells = taper_cells((a, b, c), (s, m, e), exponential=True)
    # 1e-6: for nearly equal ends the formula above loses digits, not the code
    assert cells.sum() == pytest.approx(piece(first, s, m) + piece(c - b, m, e), rel=1e-6)
    assert cells.min() >= 0.0 and cells.max() <= max(s, m, e) * (1 + 1e-12)


def test_one_unit_is_1_48_ul_on_a_board_and_foot() -> None:
    # facts.md: one unit = 0.0167 mL/ft^2 (M/D); a board is 41.5/39 in = 0.08868 ft wide (D).
    assert pytest.approx(16.7 * 41.5 / 39 / 12, rel=1e-9) == UNIT_CELL_UL


# --- scaling -----------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(GRIDS, st.integers(20, 60))
def test_scaling_keeps_the_shape(grid: np.ndarray, length: int) -> None:
    grid = grid.copy()
    grid[30:] = 0.0
    grid[29] = 10.0
    pattern = make(grid / 10.0)
    longer = pattern.scaled(length)
    assert longer.length_ft == length
    # Derived: films as thick as before on length/30 of the length, board by board.
    np.testing.assert_allclose(longer.volume_ul.sum(axis=0),
                               pattern.volume_ul.sum(axis=0) * length / 30, rtol=1e-9)


def test_scaling_of_a_flat_film_is_flat() -> None:
    # Derived by hand: 5 uL everywhere on 40 ft, stretched to 44 ft, is 5 uL on 44 ft.
    longer = make(flat(5.0, 40)).scaled(44)
    np.testing.assert_allclose(longer.volume_ul, flat(5.0, 44), atol=1e-12)
    assert make(flat(5.0, 40)).scaled(volume_ml=30.0).total_ml == pytest.approx(30.0)


@pytest.mark.parametrize("given_, said", [
    ({"length_ft": 61}, "length is 61 ft; accepted: 1 to 60 ft"),
    ({"length_ft": 41.5}, "accepted: whole feet"),
    ({"volume_ml": -1.0}, "volume is -1 mL"),
    ({"volume_ml": math.nan}, "volume is nan mL"),
])
def test_scaling_refuses(given_: dict, said: str) -> None:
    with pytest.raises(InputError, match=said):
        make(flat(5.0)).scaled(**given_)
    with pytest.raises(InputError, match="is dry: there is no oil to scale"):
        make(np.zeros(SHAPE)).scaled(40)


HEAD = "format: lanesim-oil-1\ntitle: A test\nlength_ft: 10\n"


def test_bands_by_hand() -> None:
    # Worked by hand: 10 -> 0 uL over 10 ft is 9.5, 8.5, .. 0.5 in the cells; a second line adds
    # 2 uL over 2.5-4 ft, i.e. half a foot of row 2 and the whole of row 3, on board 5 alone.
    pattern = parse_pattern(HEAD + "band boards 4 to 6 feet 0 to 10 oil 10 to 0\n"
                            "band boards 5 feet 2.5 to 4 oil 2   # a streak\n")
    want = np.zeros(SHAPE)
    want[:10, 3:6] = (9.5 - np.arange(10.0))[:, None]
    want[2, 4] += 1.0
    want[3, 4] += 2.0
    np.testing.assert_allclose(pattern.volume_ul, want, atol=1e-12)


def test_pieces_and_units_by_hand() -> None:
    # 4 units straight down to 2 at 4 ft and on to 0 at 10 ft: the first foot holds 3.75 units, the
    # fifth 2 - 1/6; an exponential from 8 to 2 over 10 ft holds 10 x 6 / ln 4.
    pattern = parse_pattern(HEAD + "oil_in: units\n"
                            "band boards 3 feet 0 to 4 to 10 oil 4 to 2 to 0\n"
                            "band boards 9 feet 0 to 10 oil 8 to 2 taper exponential\n")
    units = pattern.volume_ul / UNIT_CELL_UL
    assert units[0, 2] == pytest.approx(3.75)
    assert units[4, 2] == pytest.approx(2 - 1 / 6)
    assert units[:, 8].sum() == pytest.approx(60 / math.log(4))


def test_symmetric_writes_both_halves_and_board_20_once() -> None:
    half = parse_pattern(HEAD + "symmetric: yes\nband boards 18 to 20 feet 0 to 10 oil 3\n"
                         "band boards 1 to 2 feet 0 to 10 oil 1\n")
    full = parse_pattern(HEAD + "band boards 18 to 22 feet 0 to 10 oil 3\n"
                         "band boards 1 to 2 feet 0 to 10 oil 1\n"
                         "band boards 38 to 39 feet 0 to 10 oil 1\n")
    assert half == full and half.is_symmetric


def test_a_file_may_count_from_the_left() -> None:
    right = parse_pattern(HEAD + "board_one: right\nband boards 3 to 5 feet 0 to 10 oil 4\n")
    left = parse_pattern(HEAD + "board_one: left\nband boards 35 to 37 feet 0 to 10 oil 4\n")
    assert left == right
    assert right.volume_ul[0, 2] == 4.0 and right.volume_ul[0, 36] == 0.0


# --- text and back -----------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(GRIDS, st.text(max_size=300), st.floats(5, 200), st.booleans())
def test_round_trip_to_the_printed_digits(
    grid: np.ndarray, note: str, viscosity: float, invented: bool
) -> None:
    pattern = make(grid.round(3), note=note, viscosity_cp=viscosity, invented=invented, laid_ft=42)
    text = pattern_text(pattern)
    again = parse_pattern(text, "memory")
    assert again == pattern
    assert pattern_text(again) == text


def test_round_trip_rounds_to_a_thousandth_and_no_more(tmp_path) -> None:
    rng = np.random.default_rng(20261125)
    pattern = make(np.vstack([rng.uniform(0, 60, (42, 39)), np.zeros((18, 39))]))
    path = save_pattern(pattern, tmp_path / "a test.oil")
    again = load_pattern(path)
    np.testing.assert_array_equal(again.volume_ul, pattern.volume_ul.round(3))
    rows = [line for line in path.read_text().splitlines() if line.startswith("foot")]
    assert len(rows) == 42  # only as long as the oil


def test_windows_line_ends_and_byte_order_mark() -> None:
    text = HEAD + "band boards 4 to 6 feet 0 to 10 oil 10 to 0\n"
    assert parse_pattern("\ufeff" + text.replace("\n", "\r\n")) == parse_pattern(text)
