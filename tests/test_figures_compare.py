"""The picture of a comparison shows what was found: one row a variant, rates where they belong."""

from __future__ import annotations

import numpy as np
import pytest

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.figures.compare import draw_comparison
from lanesim.player import LEVELS, Release
from lanesim.studies.compare import Compared, compare

RELEASE = Release(speed_mph=18.6, rev_rpm=436, rotation_deg=45, tilt_deg=15, laydown_board=24,
                  launch_angle_deg=-2.2)


@pytest.fixture(scope="module")
def found():
    pattern = load_pattern_named("medium-42")
    variants = [Compared(name, load_ball(name), pattern) for name in ("strong-solid", "weak-pearl")]
    return compare(variants, RELEASE, spread=LEVELS["200"], shots=256, seed=1, pins=True)


def panel(figure):
    """The axes that show rates; None if there is none."""
    return next((a for a in figure.axes if a.get_xlabel().startswith("share of shots")), None)


def test_strikes_and_pocket_hits_with_their_intervals(found):
    axes = panel(draw_comparison(found))
    assert [t.get_text() for t in axes.get_yticklabels()] == ["strong-solid", "weak-pearl"]
    drawn = sorted(
        (float(bars.lines[0].get_xdata()[0]), *bars.lines[2][0].get_segments()[0][:, 0])
        for bars in axes.containers
    )
    expected = sorted(
        (100 * rate, 100 * low, 100 * high)
        for j in found.judged
        for rate, low, high in (
            (j.line.pocket.rate, j.line.pocket.low, j.line.pocket.high),
            (j.pins.strike_rate, j.pins.strike_low, j.pins.strike_high),
        )
    )
    assert np.allclose(drawn, expected)


def test_no_two_texts_of_the_panel_overlap(found):
    figure = draw_comparison(found)
    axes = panel(figure)
    figure.draw_without_rendering()
    texts = [axes.title, axes._left_title, axes.xaxis.label, *axes.texts,
             *axes.get_yticklabels(), *axes.get_legend().get_texts()]
    boxes = [t.get_window_extent() for t in texts if t.get_text()]
    for i, one in enumerate(boxes):
        assert not any(one.overlaps(other) for other in boxes[i + 1:])
        assert figure.bbox.contains(one.x0, one.y0)
        assert figure.bbox.contains(one.x1, one.y1)


def test_without_a_carry_table_pocket_hits_alone(found):
    pattern = found.variants[0].pattern
    bare = compare(found.variants, RELEASE, spread=LEVELS["200"], shots=64, seed=1, pins=False)
    axes = panel(draw_comparison(bare))
    assert len(axes.containers) == 2
    assert [t.get_text() for t in axes.get_legend().get_texts()] == ["pocket hits"]
    usual = compare([Compared("one", found.variants[0].ball, pattern)], RELEASE)
    assert panel(draw_comparison(usual)) is None
