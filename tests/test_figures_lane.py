"""The house's style and the lane figures: legible, honest about scale, true to what they show."""

from __future__ import annotations

import itertools
import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import matplotlib as mpl
import numpy as np
import pytest
from click.testing import CliRunner
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse
from matplotlib.text import Text

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.cli import cli
from lanesim.figures import style
from lanesim.figures.curves import draw_curves
from lanesim.figures.flare import (
    draw_flare,
    draw_flare_rings,
    ring_points,
    rings,
    spread_direction,
    view_frame,
)
from lanesim.figures.lane_view import (
    BOARD_FT,
    STRETCH,
    draw_lane,
    draw_oil_map,
    draw_paths,
    draw_side_by_side,
    phase_pieces,
)
from lanesim.files import save_figure
from lanesim.lane.geometry import PIN_SPOTS_IN
from lanesim.lane.pattern import OilPattern
from lanesim.motion.trajectory import Trajectory, throw
from lanesim.player import Release

REFERENCE = Release(speed_mph=18.6, rev_rpm=436, rotation_deg=45, tilt_deg=15, laydown_board=28,
                    launch_angle_deg=-2.9)


@pytest.fixture(scope="module")
def shots() -> dict[str, Trajectory]:
    medium = load_pattern_named("medium-42")
    found = {name: throw(load_ball(name), REFERENCE, medium)
             for name in ("strong-solid", "polished-pearl", "plastic-spare")}
    ball = load_ball("strong-solid")
    found["on 39"] = throw(ball, REFERENCE, load_pattern_named("medium-39"))
    found["on 45"] = throw(ball, REFERENCE, load_pattern_named("long-45"))
    found["left"] = throw(load_ball("strong-asym"), replace(REFERENCE, hand="left"),
                          load_pattern_named("lopsided-40"))
    return found


@pytest.fixture(scope="module")
def pictures(shots: dict[str, Trajectory]) -> dict[str, Figure]:
    """One of each kind, with real throws."""
    medium = load_pattern_named("medium-42")
    three = [shots[n] for n in ("strong-solid", "polished-pearl", "plastic-spare")]
    names = ["strong, solid", "strong, polished pearl", "plastic"]
    lopsided = load_pattern_named("lopsided-40")
    return {
        "map": draw_oil_map(medium),
        "map left": draw_oil_map(lopsided, hand="left"),
        "map short": draw_oil_map(load_pattern_named("short-33")),
        "map dry": draw_oil_map(OilPattern("dry", "A dry lane", np.zeros((60, 39)))),
        "path": draw_paths([shots["strong-solid"]], medium, ["strong, solid"], title="One shot"),
        "paths": draw_paths(three, medium, names),
        "five paths": draw_paths([*three, *three[:2]], medium),
        "path left": draw_paths([shots["left"]], lopsided),
        "side by side": draw_side_by_side([
            (shots["on 39"], load_pattern_named("medium-39")),
            (shots["on 45"], load_pattern_named("long-45")),
        ]),
        "curves": draw_curves(three, names, note="A further line of small print."),
        "curves of one": draw_curves(three[:1], names[:1]),
        "flare": draw_flare(shots["strong-solid"], mass_bias=False),
        "flare left": draw_flare(shots["left"]),
        "flare, hardly any": draw_flare(shots["plastic-spare"]),
    }


PICTURES = ("map", "map left", "map short", "map dry", "path", "paths", "five paths", "path left",
            "side by side", "curves", "curves of one", "flare", "flare left", "flare, hardly any")


# --- style -------------------------------------------------------------------------------------


def test_lab_conversion_against_textbook_values() -> None:
    # CIELAB (D65) of the sRGB primaries, as printed in colour-science tables (from memory).
    for rgb, lab in (((1, 0, 0), (53.24, 80.09, 67.20)), ((0, 1, 0), (87.73, -86.18, 83.18)),
                     ((0, 0, 1), (32.30, 79.19, -107.86)), ((1, 1, 1), (100, 0, 0))):
        np.testing.assert_allclose(style.srgb_to_lab(np.array(rgb, float)), lab, atol=0.05)
    colors = np.random.default_rng(1).uniform(0, 1, (50, 3))
    np.testing.assert_allclose(style.lab_to_srgb(style.srgb_to_lab(colors)), colors, atol=1e-9)


def test_series_differ_in_a_grey_print() -> None:
    values = [style.lightness(color) for color, _, _ in style.SERIES]
    first_four = [abs(a - b) for a, b in itertools.combinations(values[:4], 2)]
    assert min(first_four) > 12  # 2 is about the least step an eye sees; house rule: far more
    assert min(abs(a - b) for a, b in itertools.combinations(values, 2)) > 5
    assert max(values) < style.lightness(style.PAPER) - 20
    assert len({str(dash) for _, dash, _ in style.SERIES}) == len(style.SERIES)
    assert len({marker for _, _, marker in style.SERIES}) == len(style.SERIES)


# Machado, Oliveira & Fernandes, IEEE TVCG 15 (2009) 1291: full colour deficiency, linear RGB
# (matrices from memory; each row sums to 1, which the test checks).
DEFICIENCY = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
               [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
               [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
               [0.004733, 0.691367, 0.303900]],
}


@pytest.mark.parametrize("kind", sorted(DEFICIENCY))
def test_series_differ_for_colour_blind_eyes(kind: str) -> None:
    matrix = np.array(DEFICIENCY[kind])
    np.testing.assert_allclose(matrix.sum(axis=1), 1.0, atol=2e-6)
    rgb = np.array([to_rgb(color) for color, _, _ in style.SERIES])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ matrix.T, 0, 1)
    coded = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    lab = style.srgb_to_lab(coded)
    apart = min(float(np.linalg.norm(a - b)) for a, b in itertools.combinations(lab, 2))
    assert apart > 10  # CIE76; about five times a just visible difference


def test_colour_scales_darken_steadily() -> None:
    for scale in (style.oil_colormap(), style.heat_colormap()):
        levels = style.srgb_to_lab(scale(np.linspace(0, 1, 64))[:, :3])[:, 0]
        assert (np.diff(levels) < 0).all()
    levels = style.srgb_to_lab(style.difference_colormap()(np.linspace(0, 1, 65))[:, :3])[:, 0]
    assert (np.diff(levels[:33]) > 0).all() and (np.diff(levels[32:]) < 0).all()
    # Dark paths read on the thickest oil: midnight on it keeps a contrast of 2.5:1 or more
    # (luminance ratio as in the web accessibility guidelines; 3:1 is asked of large text, and a
    # pale rim round each path adds the rest).
    dark, oil = (np.array(style.SERIES[0][0:1]), style.oil_colormap()(1.0)[:3])
    high, low = (_luminance(oil), _luminance(to_rgb(str(dark[0]))))
    assert (high + 0.05) / (low + 0.05) > 2.5


def _luminance(rgb) -> float:
    rgb = np.array(rgb)
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_drawing_leaves_matplotlib_as_it_was() -> None:
    before = dict(mpl.rcParams)
    draw_oil_map(load_pattern_named("medium-42"))
    assert dict(mpl.rcParams) == before


def test_no_pyplot() -> None:
    code = ("import sys, lanesim.figures.lane_view, lanesim.figures.curves, lanesim.figures.flare;"
            "sys.exit('matplotlib.pyplot' in sys.modules)")
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# --- every picture -----------------------------------------------------------------------------


@pytest.mark.parametrize("name", PICTURES)
def test_words_neither_overlap_nor_leave_the_picture(name: str, pictures) -> None:
    assert misplaced_words(pictures[name]) == []


def test_misplaced_words_are_found() -> None:
    figure = style.new_figure(4, 3, "A heading", layout=None)
    axes = figure.add_axes((0.2, 0.2, 0.7, 0.6))
    axes.text(0.5, 0.5, "first words")
    assert misplaced_words(figure) == []
    axes.text(0.55, 0.52, "second words")
    axes.text(0.95, 0.2, "words that leave the picture")
    assert misplaced_words(figure) == ["words that leave the picture leaves the picture",
                                       "first words runs into second words"]


def misplaced_words(figure: Figure) -> list[str]:
    """Texts that leave the picture, and pairs of texts that overlap."""
    figure.canvas.draw()
    page = figure.bbox
    unseen = set()  # matplotlib makes tick labels beyond an axis' ends and does not draw them
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            slack = 1e-9 * (high - low)
            for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
                if not low - slack <= tick.get_loc() <= high + slack or not axes.axison:
                    unseen |= {id(tick.label1), id(tick.label2)}
    boxes = [(text.get_text(), text.get_window_extent()) for text in figure.findobj(Text)
             if text.get_visible() and text.get_text().strip() and id(text) not in unseen]
    found = [f"{words} leaves the picture" for words, box in boxes
             if box.x0 < page.x0 or box.x1 > page.x1 or box.y0 < page.y0 or box.y1 > page.y1]
    for (a, p), (b, q) in itertools.combinations(boxes, 2):
        across = min(p.x1, q.x1) - max(p.x0, q.x0)
        up = min(p.y1, q.y1) - max(p.y0, q.y0)
        # Boxes include the rim about the letters: a touch of two pixels is none to the eye.
        if across > 2 and up > 2:
            found.append(f"{a} runs into {b}")
    return found


@pytest.mark.parametrize("ending, begins", [("png", b"\x89PNG"), ("svg", b"<?xml"),
                                            ("pdf", b"%PDF")])
def test_pictures_can_be_written(ending: str, begins: bytes, pictures, tmp_path: Path) -> None:
    path = save_figure(pictures["paths"], tmp_path / f"a.{ending}", dpi=50)
    assert path.read_bytes().startswith(begins)


# --- the lane ----------------------------------------------------------------------------------


def lane_axes(pattern: OilPattern, hand: str = "right"):
    figure = style.new_figure(14, 6, layout=None)
    return draw_lane(figure, 1.0, 1.0, pattern, hand=hand)


def test_the_stretch_is_what_the_figure_says(pictures) -> None:
    axes = lane_axes(load_pattern_named("medium-42"))
    origin, along, across = axes.transData.transform([(0, 0), (1, 0), (0, 1 / BOARD_FT)])
    per_foot_along, per_foot_across = along[0] - origin[0], across[1] - origin[1]
    assert per_foot_across / per_foot_along == pytest.approx(STRETCH, rel=1e-9)
    for name in ("map", "path", "side by side"):
        words = " ".join(t.get_text() for t in pictures[name].findobj(Text))
        assert f"{STRETCH} times too wide" in words


def test_pins_stand_on_their_spots() -> None:
    axes = lane_axes(load_pattern_named("medium-42"))
    drawn = sorted(tuple(np.round(p.center, 4)) for p in axes.patches if isinstance(p, Ellipse))
    # facts.md: 60 ft to the head pin, spots 12 in apart (derived offsets), lane 41.5 in, 39 boards.
    want = sorted((round(60 + dx / 12, 4), round(20 + dy / (41.5 / 39), 4))
                  for dx, dy in PIN_SPOTS_IN.values())
    np.testing.assert_allclose(drawn, want, atol=1e-3)


def test_oil_lies_where_the_pattern_has_it() -> None:
    grid = np.zeros((60, 39))
    grid[10:20, 2] = 30.0  # board 3 from the right, 10-20 ft
    axes = lane_axes(OilPattern("streak", "One streak", grid))
    axes.figure.canvas.draw()
    pixels = np.asarray(axes.figure.canvas.buffer_rgba())

    def grey(foot: float, board: float) -> float:
        column, row = axes.transData.transform((foot, board)).astype(int)
        return float(pixels[pixels.shape[0] - 1 - row, column, :3].mean())

    assert grey(15.3, 3.2) < grey(15.3, 37.2) - 60  # dark near the bottom, bare near the top
    assert grey(25.3, 3.2) == pytest.approx(grey(15.3, 37.2), abs=12)


def test_boards_are_numbered_from_the_players_side() -> None:
    pattern = load_pattern_named("medium-42")
    for hand, at_bottom in (("right", "1"), ("left", "39")):
        axes = lane_axes(pattern, hand)
        labels = {t.get_text(): y for t, y in zip(axes.get_yticklabels(), axes.get_yticks(),
                                                  strict=True)}
        assert labels[at_bottom] == 1
        assert hand in axes.get_ylabel()


# --- paths -------------------------------------------------------------------------------------


def test_phases_cover_the_path_end_to_end(shots) -> None:
    for name, want in (("strong-solid", ["skid", "hook", "roll"]),
                       ("plastic-spare", ["skid"])):
        shot = shots[name]
        pieces = phase_pieces(shot)
        assert [p[0] for p in pieces] == want
        assert pieces[0][1][0] == shot.x_ft[0] and pieces[-1][1][-1] == shot.x_ft[-1]
        for (_, x, board), (_, next_x, next_board) in itertools.pairwise(pieces):
            assert (x[-1], board[-1]) == (next_x[0], next_board[0])
        if len(pieces) > 1:
            assert pieces[1][1][0] == shot.hook_ft
        else:  # no hook is claimed of a path that turns less than a degree
            assert np.isnan(shot.hook_ft)
    assert phase_pieces(shots["strong-solid"])[2][1][0] == shots["strong-solid"].roll_ft


def test_a_left_handers_path_is_drawn_on_his_side(shots) -> None:
    shot = shots["left"]
    figure = draw_paths([shot], load_pattern_named("lopsided-40"))
    (axes,) = (a for a in figure.axes if "board" in a.get_ylabel())
    drawn = [line for line in axes.lines if len(line.get_xdata()) > 20]
    start = max(float(line.get_ydata()[0]) for line in drawn if line.get_xdata()[0] == 0.0)
    assert start == pytest.approx(40 - 28)  # laid down on his board 28, i.e. 12 from the right


def test_labels_must_match_the_paths(shots) -> None:
    for draw in (lambda n: draw_paths([shots["left"]], load_pattern_named("medium-42"), n),
                 lambda n: draw_curves([shots["left"]], n)):
        with pytest.raises(ValueError, match="2 labels for 1 paths"):
            draw(["a", "b"])
    for draw in (lambda: draw_paths([], load_pattern_named("medium-42")), lambda: draw_curves([]),
                 lambda: draw_side_by_side([])):
        with pytest.raises(ValueError, match="no path"):
            draw()


# --- flare -------------------------------------------------------------------------------------


def test_rings_pass_through_the_contact_with_the_lane(shots) -> None:
    # The ring drawn for an instant must hold the point where the core says the lane touches the
    # ball: at the angle 90 deg + tilt from the axis (derived; contact = straight down).
    for shot in shots.values():
        cosine = np.sum(shot.axis_body * shot.contact_body, axis=1)
        np.testing.assert_allclose(cosine, np.cos(np.pi / 2 + np.radians(shot.tilt_deg)),
                                   atol=1e-9)
        axes, angles = rings(shot.axis_body, shot.revolutions, shot.tilt_deg)
        assert len(axes) == math.floor(shot.revolutions[-1]) + 1
        circle = ring_points(axes[0], angles[0])
        gap = np.linalg.norm(circle - shot.contact_body[0], axis=1).min()
        assert gap < 2 * np.pi / 360  # the circle is drawn with 360 points


def test_ring_points_lie_on_a_circle_about_the_axis() -> None:
    rng = np.random.default_rng(2)
    for _ in range(20):
        axis = rng.normal(size=3)
        axis /= np.linalg.norm(axis)
        points = ring_points(axis, 1.9)
        np.testing.assert_allclose(np.linalg.norm(points, axis=1), 1.0, atol=1e-12)
        np.testing.assert_allclose(points @ axis, np.cos(1.9), atol=1e-12)
        frame = view_frame(axis, np.array([1.0, 0, 0]))
        np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-12)
        assert np.linalg.det(frame) == pytest.approx(1.0)  # a view, not a mirror image
    straight = view_frame(np.array([0.0, 0, 1]), np.array([0.0, 0, 1]))
    np.testing.assert_allclose(straight @ straight.T, np.eye(3), atol=1e-12)


def test_rings_spread_most_along_the_axis_motion() -> None:
    # Derived: an axis that swings in the plane e3-e1 about e2 spreads its rings along e1 (the pin).
    turn = np.linspace(-0.3, 0.3, 50)
    path = np.column_stack([np.sin(turn), np.zeros(50), np.cos(turn)])
    np.testing.assert_allclose(spread_direction(path), [1, 0, 0], atol=1e-12)
    still = np.tile([0.0, 0.0, 1.0], (50, 1))
    assert spread_direction(still) @ still[0] == pytest.approx(0.0)


def test_a_left_handers_ball_is_the_mirror_image() -> None:
    turn = np.linspace(0, 0.4, 50)
    path = np.column_stack([0.5 * np.cos(turn), 0.8 * np.sin(turn), np.ones(50)])
    path /= np.linalg.norm(path, axis=1, keepdims=True)
    common = {"revolutions": np.linspace(0, 9, 50), "tilt_deg": np.full(50, 12.0), "flare_in": 1.7}
    right, left = (draw_flare_rings(path, hand=hand, **common) for hand in ("right", "left"))
    for a, b in zip(right.axes[0].lines, left.axes[0].lines, strict=True):
        if len(a.get_xdata()) > 10:
            np.testing.assert_allclose(a.get_xdata(), -np.asarray(b.get_xdata()), atol=1e-12)
            np.testing.assert_allclose(a.get_ydata(), b.get_ydata(), atol=1e-12)


# --- the command -------------------------------------------------------------------------------


def run(*arguments: object) -> SimpleNamespace:
    result = CliRunner().invoke(cli, ["patterns", *map(str, arguments)])
    return SimpleNamespace(text=result.stdout, error=result.stderr, code=result.exit_code)


def test_command_lists_every_pattern() -> None:
    text = run().text
    rows = json.loads(run("--json").text)
    assert len(rows) >= 7
    for row in rows:
        pattern = load_pattern_named(row["name"])
        assert row["total_ml"] == pattern.total_ml
        line = next(x for x in text.splitlines() if x.startswith(row["name"] + " "))
        assert f"{pattern.total_ml:.1f}" in line and f"{pattern.head_units:.0f}" in line


def test_command_shows_draws_and_expands_one(tmp_path: Path) -> None:
    picture, grid = tmp_path / "map.png", tmp_path / "grid.oil"
    done = run("lopsided-40", "--json", "--out", picture, "--expand", grid)
    assert done.code == 0, done.error
    assert json.loads(done.text)["name"] == "lopsided-40"
    assert done.error.splitlines() == [f"wrote {picture}", f"wrote {grid}"]
    assert picture.read_bytes().startswith(b"\x89PNG")
    again = load_pattern_named(str(grid))
    short = load_pattern_named("lopsided-40")
    np.testing.assert_array_equal(again.volume_ul, short.volume_ul.round(3))
    checked = run("--check", grid)
    assert checked.code == 0 and "in order" in checked.text and "40 ft" in checked.text
    assert f"{short.ratio_left:.2f}:1 left" in checked.text


def test_command_refuses_what_it_cannot_do(tmp_path: Path) -> None:
    bad = Path(__file__).parent / "data" / "bad_patterns" / "board-40.oil"
    for arguments, said in (
        (["medum-42"], "did you mean 'medium-42'"),
        (["--check", bad], "line 4: board is 40; accepted: 1 to 39"),
        (["medium-42", "--out", tmp_path / "map.txt", "--expand", tmp_path / "g.oil"],
         "must end in .png"),
        (["medium-42", "--out", tmp_path / "map.png", "--expand", tmp_path / "g.toml"],
         "must end in .oil"),
        (["--out", tmp_path / "map.png"], "need a PATTERN"),
        (["medium-42", "--check", bad], "stands alone"),
    ):
        done = run(*arguments)
        assert done.code == 2, arguments
        assert said in done.error and done.error.count("\n") == 1
        assert done.text == ""
    assert list(tmp_path.iterdir()) == []  # nothing half-done
