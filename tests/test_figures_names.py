"""Names and titles from files in pictures: drawn as written, whatever letters they have."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.figures import style
from lanesim.figures.curves import draw_curves
from lanesim.figures.lane_view import draw_paths
from lanesim.figures.style import new_figure, stamp
from lanesim.files import drawn
from lanesim.motion.trajectory import throw
from lanesim.player import Release

# A '$' would begin a formula, '_' hide a label; the third pair would be an error in a formula.
NAMES = ("_mine", "$x_1$", "$\\frac$ and $", "a & <b>")


@pytest.fixture(scope="module")
def shots():
    ball = replace(load_ball("plastic-spare"), name=NAMES[0])
    return [throw(ball, Release(), load_pattern_named("short-33"))] * len(NAMES)


def test_legends_hold_every_name_as_written(shots):
    figure = draw_curves(shots, NAMES, title="$a$ and $b$")
    legends = figure.legends + [axes.get_legend() for axes in figure.axes if axes.get_legend()]
    texts = [text for legend in legends for text in legend.get_texts()]
    assert set(NAMES) <= {text.get_text().strip() for text in texts}
    assert not any(text.get_parse_math() for text in texts)
    drawn(figure)


def test_titles_and_labels_are_no_formulas(shots):
    pattern = load_pattern_named("short-33")
    figure = draw_paths(shots, pattern, NAMES, title="$\\frac$ of $x_1$")
    texts = [t for t in figure.findobj(lambda a: hasattr(a, "get_parse_math")) if t.get_text()]
    assert any("$\\frac$" in t.get_text() for t in texts)
    assert not any(t.get_parse_math() for t in texts if "$" in t.get_text())
    assert drawn(figure, "svg").lstrip().startswith(b"<?xml")


def test_a_letter_that_the_font_lacks_is_one_note(lanesim, empty_folder):
    (empty_folder / "b.toml").write_text(
        '["\u65e5\u672c"]\nweight_lb = 15\nrg_in = 2.5\ndiff_in = 0.04\ncover = "plastic"\n'
        "drilling_deg = 50\npin_to_pap_in = 4.5\nval_deg = 30\n", encoding="utf-8")
    result = lanesim("throw", "--ball", "b.toml", "--out", "p.png", "--curves", "c.png")
    assert result.exit_code == 0
    notes = [line for line in result.stderr.splitlines() if not line.startswith(("wrote", "comp"))]
    assert notes == ["note: the font of the pictures lacks a sign of a name or title; a box stands "
                     "for it"]


@pytest.mark.parametrize("title", ["short", "a heading that runs over all of the picture's width, "
                                           "and so leaves no room beside itself for anything"])
def test_what_is_invented_stands_in_the_picture_and_on_no_other_text(title):
    figure = stamp(new_figure(7, 4, title, note="a note"), "invented ball and oil pattern")
    (told,) = (t for t in figure.texts if t.get_text().startswith("invented"))
    box = told.get_window_extent()
    assert figure.bbox.contains(box.x0, box.y0) and figure.bbox.contains(box.x1, box.y1)
    assert not any(box.overlaps(t.get_window_extent()) for t in figure.texts if t is not told)


def test_every_answer_and_picture_of_an_invented_ball_says_so(lanesim, empty_folder, monkeypatch):
    seen = []
    monkeypatch.setattr(style, "stamp", lambda figure, words: seen.append(words) or figure)
    told = lanesim("throw", "--ball", "plastic-spare", "--out", "p.png")
    assert "model    assumed; invented ball and oil pattern\n" in told.stdout
    assert seen == ["invented ball and oil pattern"]
    assert lanesim("balls").stdout.endswith("Invented balls: nobody's products.\n")
    assert "invented      yes" in lanesim("balls", "plastic-spare").stdout
