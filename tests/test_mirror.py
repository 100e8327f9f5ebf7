"""A left-hander on a mirrored pattern is exactly a right-hander: to the last bit."""

from dataclasses import fields, replace

import numpy as np
import pytest

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.motion.trajectory import CURVES, throw, throw_many
from lanesim.player import LEVELS, Release, sample_releases

# lopsided-40 is no mirror image of itself, so a forgotten mirror shows
PATTERNS = ("lopsided-40", "medium-42")
BALLS = ("strong-solid", "strong-asym", "urethane-control")


def test_the_lopsided_pattern_is_lopsided():
    pattern = load_pattern_named("lopsided-40")
    assert not pattern.is_symmetric
    assert np.array_equal(pattern.mirrored().mirrored().volume_ul, pattern.volume_ul)


@pytest.mark.parametrize("pattern_name", PATTERNS)
@pytest.mark.parametrize("ball_name", BALLS)
def test_batch_mirror(ball_name, pattern_name):
    ball, pattern = load_ball(ball_name), load_pattern_named(pattern_name)
    rows = sample_releases(Release(laydown_board=22, launch_angle_deg=-2.4), LEVELS["160"], 128, 5)
    right = throw_many(ball, rows, pattern, hand="right", keep_paths=True)
    left = throw_many(ball, rows, pattern.mirrored(), hand="left", keep_paths=True)
    for field in fields(right):
        a, b = getattr(right, field.name), getattr(left, field.name)
        assert np.array_equal(a, b, equal_nan=a.dtype.kind == "f"), field.name


def test_batch_sees_the_other_side():
    """Without the mirrored pattern the lopsided oil gives a left-hander another shot."""
    ball, pattern = load_ball("strong-solid"), load_pattern_named("lopsided-40")
    rows = sample_releases(Release(laydown_board=22, launch_angle_deg=-2.4), LEVELS["160"], 16, 5)
    right = throw_many(ball, rows, pattern, hand="right")
    left = throw_many(ball, rows, pattern, hand="left")
    assert np.nanmax(np.abs(right.time_s - left.time_s)) > 1e-6


@pytest.mark.parametrize("ball_name", ["strong-solid", "strong-asym"])
def test_reference_mirror(ball_name):
    ball, pattern = load_ball(ball_name), load_pattern_named("lopsided-40")
    release = Release(laydown_board=22, launch_angle_deg=-2.4, phase_deg=20)
    right = throw(ball, release, pattern)
    left = throw(ball, replace(release, hand="left"), pattern.mirrored())
    assert (right.hand, left.hand) == ("right", "left")
    for name in (*CURVES, "axis_body", "contact_body"):
        assert np.array_equal(getattr(right, name), getattr(left, name), equal_nan=True), name
    assert right.outcome == left.outcome
    assert right.entry_board == left.entry_board or np.isnan(right.entry_board)


def test_search_mirror():
    """The whole study, too: the same line, the same shots, the same map."""
    from lanesim.lines.lineup import find_line

    ball, pattern = load_ball("strong-asym"), load_pattern_named("lopsided-40")
    player = Release(speed_mph=17.5, rev_rpm=330)
    right = find_line(ball, player, pattern, LEVELS["200"], shots=64, effort="quick", seed=4)
    left = find_line(ball, replace(player, hand="left"), pattern.mirrored(), LEVELS["200"],
                     shots=64, effort="quick", seed=4)
    assert replace(left.release, hand="right") == right.release
    assert np.array_equal(right.values, left.values)
    assert np.array_equal(right.map_rate, left.map_rate)
