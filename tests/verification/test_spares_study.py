"""`lanesim spares`: lines for leaves, against geometry and symmetry."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.cli.spares import command
from lanesim.errors import InputError
from lanesim.lane import geometry as lane
from lanesim.player import LEVELS, Release
from lanesim.studies import spares as study

RELEASE = Release(17.4, 345.0, 50.0, 14.0)


@pytest.fixture(scope="module")
def balls():
    return [load_ball("strong-solid"), load_ball("plastic-spare")]


@pytest.fixture(scope="module")
def pattern():
    return load_pattern_named("long-45")


@pytest.fixture(scope="module")
def result(balls, pattern):
    return study.spares(balls, RELEASE, pattern, LEVELS["200"], leaves=("10", "7", "3-10", "7-10"),
                        shots=64)


def test_a_straight_ball_arrives_where_it_is_sent(balls, pattern):
    # a plastic ball without side turn keeps its line: 60 ft times the tangent (geometry)
    base = study.straight_release(RELEASE)
    rows = np.tile(base.row(), (3, 1))
    rows[:, 0], rows[:, 1], rows[:, 4] = (20.0, 30.0, 12.0), (0.0, -1.5, 1.0), 0.0
    board, heading = study.at_head_pin(balls[1], rows, pattern, "right", study.DEFAULT_FRICTION,
                                       pattern.film_m("right"))
    straight = rows[:, 0] + lane.HEAD_PIN_M * np.tan(np.radians(rows[:, 1])) / lane.BOARD_M
    assert board == pytest.approx(straight, abs=2.5)  # its tilted axis bends it a little
    assert heading == pytest.approx(rows[:, 1], abs=1.0)


def test_lines_and_chances_are_those_of_the_lane(result):
    assert len(result.lines) == 8
    for x in result.lines:
        assert 0.0 <= x.low <= x.chance <= x.high <= 1.0
    # geometry: a ball takes the 10 pin from boards 1 to about 9, the 7 pin from the other side
    assert 1.0 < result.best("10").arrives_board < 10.0
    assert 30.0 < result.best("7").arrives_board < 39.0
    assert result.best("7-10").chance < 0.1 < result.best("3-10").chance < result.best("10").chance
    assert result.plastic_worth[1] <= result.plastic_worth[0] <= result.plastic_worth[2]


def test_a_left_handers_seven_is_a_right_handers_ten(balls, pattern, result):
    # the oil is the same from either side (2.7 and 2.7): own boards, own side
    from dataclasses import replace

    left = study.spares(balls[1:], replace(RELEASE, hand="left"), pattern, LEVELS["200"],
                        leaves=("7",), shots=64)
    right = [x for x in result.lines if x.leave == "10" and x.plastic]
    assert left.lines[0].chance == pytest.approx(right[0].chance, abs=0.03)
    assert left.plastic_worth is None  # no other ball to compare with


def test_bad_leaves_are_refused(balls, pattern):
    for leaves in ((), ("1-2-3-4-5-6-7-8-9-10",), ("11",)):
        with pytest.raises(InputError):
            study.spares(balls, RELEASE, pattern, LEVELS["200"], leaves=leaves)


def test_command_prints_draws_and_gives_json(tmp_path):
    run = CliRunner()
    args = ["--ball", "plastic-spare", "--leave", "10", "--shots", "32"]
    plain = run.invoke(command, args, catch_exceptions=False)
    assert plain.exit_code == 0
    assert "plastic-spare" in plain.stdout
    picture = tmp_path / "spares.png"
    assert run.invoke(command, [*args, "--out", str(picture)],
                      catch_exceptions=False).exit_code == 0
    assert picture.stat().st_size > 10_000
    out = json.loads(run.invoke(command, [*args, "--json"], catch_exceptions=False).stdout)
    assert out["lines"][0]["leave"] == "10"
