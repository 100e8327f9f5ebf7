"""`lanesim carry` and `lanesim score` from end to end."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from lanesim.cli.carry import command as carry
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
    pytest.importorskip("mujoco")
    picture = tmp_path / "rack.svg"
    assert run(carry, "--rack", str(picture)).exit_code == 0
    assert "<svg" in picture.read_text(encoding="utf-8")


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
