"""One look a ball, and colours that stand out from the grounds they are drawn on.

Contrast is the ratio of relative luminances of the web accessibility guidelines (WCAG 2.1, success
criteria 1.4.3 and 1.4.11; numbers from memory): 4.5 for text, 3 for marks.
"""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from lanesim.catalog import ball_names
from lanesim.figures import looks, style, wanted
from lanesim.files import drawn

TEXT, MARK = 4.5, 3.0


def luminance(color: str) -> float:
    rgb = np.array(to_rgb(color))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(a: str, b: str) -> float:
    """Ratio of two colours, 1 to 21."""
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_against_known_values() -> None:
    # by definition: black on white 21; grey #767676 on white 4.54, the guidelines' own example
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("ground", [style.PAPER, style.WOOD, "#ffffff"])
def test_colours_stand_out_on_paper_and_wood(ground: str) -> None:
    assert min(contrast(color, ground) for color, _, _ in style.SERIES) >= MARK
    assert min(contrast(color, ground) for color in (style.INK, style.FAINT)) >= TEXT


def test_one_look_a_ball_everywhere() -> None:
    names = ball_names()
    every = looks.looks(names)
    assert len({(one.color, one.dash) for one in every[:8]}) == min(8, len(names))
    for name, look in zip(names[:8], every[:8], strict=True):
        assert looks.look_of(name) == look  # alone or in company
    mine = looks.looks(["my-ball", "another", "third", "strong-solid"])
    assert len({one.color for one in mine}) == 4
    # the same ball twice is told apart; more balls than colours differ in colour or dash
    assert len({one.color for one in looks.looks(["strong-solid"] * 3)}) == 3
    many = looks.looks([f"ball-{n}" for n in range(16)])
    assert len({(one.color, str(one.dash)) for one in many}) == 16
    # on lanes drawn apart a ball keeps its look
    apart = looks.looks_by_lane(["strong-solid", "strong-solid"], ["medium-39", "long-45"])
    assert apart[0] == apart[1] == looks.look_of("strong-solid")


def picture():
    figure = style.new_figure(7, 5, "Heading", note="Small print")
    axes = figure.add_subplot()
    for n in range(8):
        axes.plot([0, 1], [n, n + 1], **style.series_style(n, markers=True), label=f"{n}")
    axes.text(0.5, 4, "a word", color=style.SERIES[4][0], path_effects=style.halo())
    axes.imshow(np.arange(4).reshape(2, 2), cmap=style.heat_colormap(), extent=(0, 1, 0, 9),
                aspect="auto")
    axes.legend(ncols=4)
    return figure


@pytest.mark.parametrize("kind", ["svg", "pdf", "png"])
def test_the_same_picture_is_the_same_file(kind: str) -> None:
    one, two = (drawn(style.house_style(picture)(), kind) for _ in range(2))
    assert one == two
    if kind == "svg":
        assert b"<dc:date>" not in one


def test_styles_and_a_title_of_ones_own() -> None:
    with wanted.pictures("grey", "Mine $1 & <b>"):
        figure = style.house_style(picture)()
    assert figure.texts[0].get_text() == "Mine $1 & <b>"
    figure.canvas.draw()
    pixels = np.asarray(figure.canvas.buffer_rgba())[:, :, :3].astype(int)
    assert (pixels.max(axis=2) - pixels.min(axis=2)).max() <= 2
    with wanted.pictures("print"):
        assert style.house_style(picture)().get_facecolor()[:3] == (1.0, 1.0, 1.0)
    plain = style.house_style(picture)()
    with wanted.pictures("projector"):
        large = style.house_style(picture)()
    assert min(t.get_fontsize() for t in large.texts) >= 10.0 > plain.texts[-1].get_fontsize()
