"""Sweeps and comparisons over the core, the cover and the oil: each point by hand."""

from dataclasses import replace

import numpy as np
import pytest

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.errors import InputError
from lanesim.motion.trajectory import throw_many
from lanesim.player import Release
from lanesim.studies.compare import make_variants
from lanesim.studies.settings import parse_axis
from lanesim.studies.sweep import MEASURES, sweep

BALL, PATTERN, RELEASE = load_ball("strong-asym"), load_pattern_named("medium-42"), Release()


def alone(ball, pattern):
    return throw_many(ball, RELEASE.row()[None], pattern)


def test_core_and_oil_of_each_point_are_what_the_axes_say():
    """Every point against the same shot thrown alone with a ball and a pattern made by hand."""
    axes = [parse_axis(t) for t in ("length=39,45", "rg=2.48,2.6", "volume=20,26")]
    found = sweep(BALL, RELEASE, PATTERN, axes)
    assert found.shape == (2, 2, 2)
    for i, length in enumerate((39, 45)):
        for j, rg in enumerate((2.48, 2.6)):
            for k, volume in enumerate((20.0, 26.0)):
                shot = alone(replace(BALL, rg_in=rg), PATTERN.scaled(length, volume))
                for name in MEASURES:
                    np.testing.assert_array_equal(found.values[name][i, j, k],
                                                  getattr(shot, name)[0])
    assert len(np.unique(found.values["time_s"])) == 8


def test_differentials_and_covers_too():
    axes = [parse_axis(t) for t in ("differential=0.03,0.05", "intermediate=0,0.02",
                                    "cover=reactive-pearl,urethane")]
    found = sweep(BALL, RELEASE, PATTERN, axes)
    for i, total in enumerate((0.03, 0.05)):
        for j, middle in enumerate((0.0, 0.02)):
            for k, kind in enumerate(("reactive-pearl", "urethane")):
                made = replace(BALL, diff_in=total, int_diff_in=middle,
                               cover=replace(BALL.cover, kind=kind))
                assert found.values["time_s"][i, j, k] == alone(made, PATTERN).time_s[0]
    assert found.to_dict()["axes"][2]["values"] == ["reactive-pearl", "urethane"]
    # a core that wants to turn more leaves its rings farther apart (mechanics)
    flare = found.values["flare_in"]
    assert np.all(flare[1] > flare[0])


def test_more_and_longer_oil_make_the_ball_later():
    """Common practice, no source: on longer or more oil the hook begins farther down the lane."""
    found = sweep(BALL, RELEASE, PATTERN, [parse_axis("length=36,40,44")])
    assert np.all(np.diff(found.values["roll_ft"]) > 0)
    found = sweep(BALL, RELEASE, PATTERN, [parse_axis("volume=16,22,28")])
    assert np.all(np.diff(found.values["roll_ft"]) > 0)


def test_a_comparison_over_settings_is_labelled_by_what_differs():
    made = make_variants([BALL], [PATTERN], over=[parse_axis("rg=2.5,2.55"),
                                                  parse_axis("length=39,45")])
    assert [v.label for v in made] == [
        "RG 2.5 in, oil length 39 ft", "RG 2.5 in, oil length 45 ft",
        "RG 2.55 in, oil length 39 ft", "RG 2.55 in, oil length 45 ft"]
    assert [v.ball.rg_in for v in made] == [2.5, 2.5, 2.55, 2.55]
    assert [v.pattern.length_ft for v in made] == [39, 45, 39, 45]
    assert made[1].pattern.name == "medium-42 at 45 ft"
    covers = make_variants([BALL], [PATTERN], over=[parse_axis("cover=urethane,plastic")])
    assert [v.label for v in covers] == ["urethane", "plastic"]


@pytest.mark.parametrize(("text", "words"), [
    ("cover=solid", "cover kind"), ("cover=1:2:3", "cover takes a list"), ("rg=1,2", "RG is 1 in"),
    ("length=40.5", "whole feet"), ("length=0", "length is 0 ft"), ("volume=-1", "volume is -1 mL"),
    ("intermediate=0.05,0.055", "above the differential"),
])
def test_what_is_refused_before_anything_is_thrown(text, words):
    ball = replace(BALL, diff_in=0.045)
    with pytest.raises(InputError, match=words):
        sweep(ball, RELEASE, PATTERN, [parse_axis(text)])


def test_a_comparison_throws_one_release():
    with pytest.raises(InputError, match="speed is of the release"):
        make_variants([BALL], [PATTERN], over=[parse_axis("speed=16,17")])


@pytest.mark.parametrize("words", [
    ["sweep", "--over", "length=39,45", "--over", "cover=urethane,plastic", "--out", "map.png"],
    ["sweep", "--over", "rg=2.48:2.6:4", "--show", "flare_in", "--out", "map.png"],
    ["compare", "--over", "volume=20,26", "--shots", "8", "--out", "map.png"],
])
def test_the_commands_take_them(lanesim, empty_folder, words):
    done = lanesim(*words)
    assert done.exit_code == 0, done.output
    assert (empty_folder / "map.png").stat().st_size > 10_000
