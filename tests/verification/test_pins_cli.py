"""`lanesim carry` and `lanesim score` from end to end."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from lanesim.catalog import DATA
from lanesim.cli.carry import command as carry
from lanesim.cli.odds import command as odds
from lanesim.cli.score import command as score
from lanesim.errors import InputError


def run(command, *args: str):
    return CliRunner().invoke(command, list(args), catch_exceptions=False)


def test_carry_prints_and_draws(tmp_path):
    picture = tmp_path / "map.png"
    result = run(carry, "--board", "17.4", "--angle", "5", "--out", str(picture))
    assert result.exit_code == 0
    assert "strikes" in result.output
    assert picture.stat().st_size > 10_000


def test_carry_json_adds_up():
    out = json.loads(run(carry, "--json", "--leaves", "100").stdout)
    assert out["low"] <= out["strike_rate"] <= out["high"]
    assert sum(row["share"] for row in out["leaves"]) + out["strike_rate"] == pytest.approx(
        1.0, abs=0.02)
    assert out["provenance"]["runs"] > 1000
    assert not out["outside_table"]


def test_carry_on_the_far_side_is_the_mirror_image():
    one = json.loads(run(carry, "--json", "--board", "17", "--angle", "4").stdout)
    two = json.loads(run(carry, "--json", "--board", "23", "--angle", "-4").stdout)
    assert one["strike_rate"] == pytest.approx(two["strike_rate"])


def test_rack_picture_of_one_simulated_ball(tmp_path):
    picture = tmp_path / "rack.svg"
    assert run(carry, "--rack", str(picture)).exit_code == 0
    assert "<svg" in picture.read_text(encoding="utf-8")


def test_shots_of_two_balls_on_the_map(tmp_path):
    picture = tmp_path / "map.svg"
    result = run(odds, "--ball", "strong-solid", "--ball", "weak-pearl", "--line", "given",
                 "--shots", "256", "--carry-map", str(picture))
    assert result.exit_code == 0
    assert picture.stat().st_size > 10_000


def test_shots_drawn_are_those_given():
    from lanesim.figures.pins import SHOTS_DRAWN, draw_carry_map
    from lanesim.pins.table import default_table

    boards, angles = np.linspace(15, 19, 1001), np.linspace(3, 6, 1001)
    boards[5] = np.nan
    figure = draw_carry_map(default_table(), 16.0, shots=[("a", boards, angles), ("b", [17], [5])])
    many, one = figure.axes[0].collections[-2:]
    drawn = np.asarray(many.get_offsets())
    assert len(drawn) == SHOTS_DRAWN
    # on the line that the shots lie on, from its first to its last
    assert np.allclose(drawn[:, 1], 3 + (drawn[:, 0] - 15) * 0.75)
    assert drawn[0, 0] == 15
    assert drawn[-1, 0] == 19
    assert np.asarray(one.get_offsets()).tolist() == [[17, 5]]


def test_a_remark_on_a_ball_of_another_weight(tmp_path):
    light = tmp_path / "light.toml"
    text = (DATA / "balls.toml").read_text(encoding="utf-8")
    light.write_text(text.replace("weight_lb = 15", "weight_lb = 12"), encoding="utf-8")
    shots = ("--line", "given", "--shots", "64")
    told = run(odds, "--ball", f"{light}:strong-solid", *shots)
    assert "those of a 15 lb ball, not of 12 lb" in told.stderr
    assert "15 lb" not in run(odds, "--ball", "strong-solid", *shots).stderr


def test_score_table_and_json(tmp_path):
    picture = tmp_path / "scores.png"
    plain = run(score, "--strikes", "40", "--strikes", "60", "--nines", "100", "--cut", "200",
                "--out", str(picture))
    assert plain.exit_code == 0
    assert "208.2" in plain.output  # .40 -> 208 (facts.md, D)
    assert picture.stat().st_size > 10_000
    (out,) = json.loads(run(score, "--strikes", "60", "--nines", "100", "--json").stdout)
    assert out["mean"] == pytest.approx(231, abs=0.5)  # .60 -> 231 (facts.md, D)
    assert sum(out["pmf"]) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("command", "args"),
    [
        (carry, ("--board", "60")),
        (carry, ("--speed", "nan")),
        (carry, ("--angle", "-3", "--out", "map.png")),
        (score, ("--strikes", "140")),
        (score, ("--cut", "400")),
        (score, ("--strikes", "nan")),
    ],
)
def test_bad_input_is_refused(command, args):
    with pytest.raises(InputError):
        run(command, *args)
