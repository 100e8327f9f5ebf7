"""One default for everything, and one line for arguments of the wrong kind."""

import inspect

import numpy as np
import pytest

from lanesim import defaults
from lanesim.catalog import ball_names, load_ball, load_pattern_named, load_player, pattern_names
from lanesim.cli.common import build_player
from lanesim.errors import InputError
from lanesim.lines.judge import judge_line
from lanesim.lines.lineup import find_line, find_lines
from lanesim.lines.misses import miss_report
from lanesim.motion.pocket import POCKET
from lanesim.motion.trajectory import throw, throw_many
from lanesim.player import LEVELS, Player, Release
from lanesim.studies.compare import Compared, compare
from lanesim.studies.odds import odds
from lanesim.studies.sweep import Axis, sweep
from lanesim.studies.transition import transition
from lanesim.studies.wear import wear

BALL, PATTERN = load_ball(defaults.BALL), load_pattern_named(defaults.PATTERN)
RELEASE, SPREAD = Release(), LEVELS["200"]


# --- one default ---------------------------------------------------------------------------


def test_python_commands_and_player_files_take_one_release(tmp_path):
    """A file that says its name only is the player that the commands take without one."""
    path = tmp_path / "me.toml"
    path.write_text('name = "me"\n')
    mine, usual = load_player(path), build_player()
    assert mine.release == usual.release == Release() == Release(**defaults.RELEASE)
    assert mine.spread == usual.spread == LEVELS[defaults.LEVEL]


@pytest.mark.parametrize("level", defaults.LEVEL_NAMES)
def test_a_level_means_the_same_in_a_file_and_as_an_option(tmp_path, level):
    path = tmp_path / "me.toml"
    path.write_text(f'level = "{level}"\n')
    assert load_player(path).spread == build_player(level=level).spread == LEVELS[level]
    assert load_player(path).release == build_player(level=level).release


def test_what_the_defaults_name_is_there():
    assert defaults.BALL in ball_names() and defaults.PATTERN in pattern_names()
    assert tuple(LEVELS) == defaults.LEVEL_NAMES


def test_the_default_line_finds_the_pocket():
    table = throw_many(BALL, RELEASE.row()[None], PATTERN)
    assert table.outcome.tolist() == [POCKET]


@pytest.mark.parametrize(("study", "function"), [
    ("lineup", find_line), ("lineup", find_lines), ("lineup", judge_line), ("odds", odds),
    ("compare", compare), ("wear", wear), ("transition", transition),
])
def test_functions_and_commands_throw_as_many_shots_with_one_seed(study, function):
    taken = inspect.signature(function).parameters
    assert taken["shots"].default == defaults.SHOTS[study][0]
    assert taken["seed"].default == defaults.SEED


@pytest.mark.parametrize("study", defaults.SHOTS)
def test_the_range_in_help_is_the_one_accepted(lanesim, study):
    usual, least, most = defaults.SHOTS[study]
    shown = " ".join(lanesim(study, "--help").stdout.split())
    assert f"default: {usual}; {least}<=x<={most}" in shown


@pytest.mark.parametrize("study", ["lineup", "odds", "compare", "transition"])
def test_the_fewest_shots_are_enough(lanesim, study):
    least = defaults.SHOTS[study][1]
    few = {"lineup": ["--effort", "quick"], "odds": ["--line", "given"], "compare": [
        "--ball", "strong-solid", "--ball", "weak-pearl"],
        "transition": ["--games", "1", "--lanes", "1"]}[study]
    done = lanesim(study, *few, "--shots", str(least))
    assert done.exit_code == 0, done.output


# --- arguments of the wrong kind -------------------------------------------------------------


@pytest.mark.parametrize("call", [
    lambda: throw(BALL, PATTERN, RELEASE),
    lambda: find_line(BALL, PATTERN, RELEASE, SPREAD),
    lambda: find_lines([BALL], PATTERN, RELEASE, SPREAD),
    lambda: judge_line(PATTERN, RELEASE, BALL, SPREAD),
    lambda: miss_report(BALL, RELEASE, PATTERN, RELEASE),
    lambda: odds(RELEASE, BALL, PATTERN, SPREAD),
    lambda: odds([BALL], PATTERN, RELEASE, SPREAD),
    lambda: odds([RELEASE], BALL, PATTERN, SPREAD),
    lambda: compare([Compared("a", PATTERN, BALL)], RELEASE),
    lambda: sweep(RELEASE, BALL, PATTERN, [Axis("speed", (16.0, 17.0))]),
    lambda: transition([Player("me", RELEASE, SPREAD)], PATTERN, 1),
    lambda: transition(PATTERN, [], 1),
])
def test_swapped_arguments_are_told_in_one_line(call):
    with pytest.raises(InputError, match=r" is a \w+; accepted: a ") as told:
        call()
    assert "\n" not in str(told.value) and "ball, release, pattern" in str(told.value)


def test_an_axis_takes_its_settings_name():
    axis = Axis("speed", [16.0, 17.0])
    assert axis.setting.field == "speed_mph" and axis.values == (16.0, 17.0)
    assert np.isfinite(sweep(BALL, RELEASE, PATTERN, [axis]).values["time_s"]).all()


@pytest.mark.parametrize(("setting", "values", "words"), [
    ("sped", (1.0,), "unknown setting 'sped'; did you mean 'speed'"),
    (None, (1.0,), "a sweep's setting is a NoneType"),
    ("speed", 16.0, "the values of speed are 16.0"),
    ("speed", "16", "the values of speed are '16'"),
    ("speed", (), "no value of speed"),
])
def test_a_wrong_axis_is_told_in_one_line(setting, values, words):
    with pytest.raises(InputError, match=words):
        Axis(setting, values)
