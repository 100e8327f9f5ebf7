"""`lanesim drill`: the sheet, its JSON and picture, and what it refuses."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from lanesim.catalog import load_ball
from lanesim.cli import cli
from lanesim.equipment.drilling import drill
from lanesim.equipment.grip import Grip
from lanesim.equipment.layout import Layout

BALL = "strong-asym"


def run(*words: str):
    return CliRunner().invoke(cli, ["drill", "--ball", BALL, *words], prog_name="lanesim")


def test_sheet_has_every_part():
    result = run("--drilling", "50", "--pin", "4 1/2", "--val", "30")
    assert result.exit_code == 0, result.output
    text = result.output
    for words in (
        "Marking order", "counter-clockwise", "PAP: from the pin", "grip centre", "centre line",
        "VAL angle", "thumb hole", "Before and after", "intermediate diff.",
        "-3.00 to 3.00", "2.46 to 2.80", "0.00 to 0.06",
        "August 2020", "check the current rules", "eye and ear protection", "clamp", "dust",
        "certified pro-shop fitter", "local workshop codes", "Assumed:", "2.5 oz",
    ):
        assert words in text, words
    # 4.5 in is 114.3 mm by definition of the inch.
    assert any("4 1/2" in line and "114.3" in line for line in text.splitlines())


def test_json_carries_the_drilled_ball():
    result = run("--drilling", "45", "--pin", "4", "--val", "35", "--no-thumb", "--pap-over",
                 "4 1/2", "--json")
    assert result.exit_code == 0, result.output
    data = json.loads(result.stdout)
    ball = load_ball(BALL)
    expected = drill(
        weight_lb=ball.weight_lb, rg_in=ball.rg_in, diff_in=ball.diff_in,
        int_diff_in=ball.int_diff_in, layout=Layout(45, 4, 35),
        grip=Grip(thumb=False, pap_over_in=4.5),
    )
    assert data["drilled"]["mass_kg"] == pytest.approx(expected.mass_kg, rel=1e-12)
    assert data["drilled"]["int_diff_in"] == pytest.approx(expected.int_diff_in, rel=1e-9)
    assert set(data["drilled"]["hole_oz"]) == {"middle", "ring"}
    assert data["static_after"]["side_oz"] == pytest.approx(expected.after.side_oz, abs=1e-12)
    laid = [m for m in data["marking"] if m["text"].startswith("PAP")]
    assert laid[0]["arc_mm"] == pytest.approx(4 * 25.4, rel=1e-12)


def test_left_hand_turns_the_other_way_and_keeps_the_numbers():
    right, left = (json.loads(run("--hand", hand, "--json").stdout) for hand in ("right", "left"))
    assert right["drilled"] == left["drilled"]
    turned = {"counter-clockwise": "clockwise", "clockwise": "counter-clockwise"}
    for one, other in zip(right["marking"], left["marking"], strict=True):
        word = next((w for w in ("counter-clockwise", "clockwise") if w in one["text"]), None)
        if word:
            assert other["text"] == one["text"].replace(word, turned[word])
        if one["text"].startswith("ring hole: then"):
            assert one["text"].endswith("right") and other["text"].endswith("left")


def test_arcs_instead_of_angles():
    layout = Layout(50, 4.5, 30)
    arcs = ("--pin", "4.5", "--mass-bias-to-pap", repr(layout.mass_bias_to_pap_in()),
            "--pin-to-val", repr(layout.pin_to_val_in()), "--json")
    fingers, thumb = (
        json.loads(run(*arcs, "--pin-side", side).stdout)["layout"] for side in ("fingers", "thumb")
    )
    assert fingers["drilling_deg"] == pytest.approx(50.0, abs=1e-6)
    assert fingers["val_deg"] == pytest.approx(30.0, abs=1e-6)
    assert thumb["val_deg"] == pytest.approx(150.0, abs=1e-6)


def test_measured_arcs_print_whole_numbers():
    """Arcs taken with a tape give angles that are told to a tenth of a degree, no finer."""
    result = run("--pin", "4 1/2", "--mass-bias-to-pap", "5 5/8", "--pin-to-val", "1 7/8")
    assert result.exit_code == 0, result.output
    (line,) = [row for row in result.output.splitlines() if row.strip().startswith("layout")]
    assert re.fullmatch(r"\s*layout\s+drill \d+(\.\d)? deg, pin 4\.5 in, VAL \d+(\.\d)? deg", line)


def test_grip_file_and_override(tmp_path):
    path = tmp_path / "grip.toml"
    path.write_text("span_in = 4\nthumb_diameter_in = 1.05\nfingers = 1\nthumb = true\n")
    data = json.loads(run("--grip", str(path), "--span", "3.75", "--json").stdout)
    assert data["grip"]["span_in"] == 3.75
    assert data["grip"]["thumb_diameter_in"] == 1.05
    assert set(data["drilled"]["hole_oz"]) == {"middle", "thumb"}
    assert not any(word.startswith("grip") for word in data["assumed"])


@pytest.mark.parametrize("ending", ["png", "pdf"])
def test_picture(tmp_path, ending):
    path = tmp_path / f"face.{ending}"
    result = run("--out", str(path), "--hand", "left")
    assert result.exit_code == 0, result.output
    assert path.read_bytes()[:4] == (b"\x89PNG" if ending == "png" else b"%PDF")
    assert path.stat().st_size > 5000


def test_symmetric_core_is_said_to_have_no_mass_bias():
    result = CliRunner().invoke(cli, ["drill", "--ball", "strong-solid"])
    assert "no mass bias of its own" in result.output
    assert "marked centre of gravity" in result.output


def test_holes_that_meet_are_said_to(tmp_path):
    path = tmp_path / "grip.toml"
    path.write_text("bridge_in = 0.2\nfinger_depth_in = 2.0\n")
    assert "holes run into each other" in run("--grip", str(path)).output
    assert "holes run into each other" not in run().output


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--pin", "9"), "pin_to_pap_in is 9 in; accepted: 0 to 6.75 in"),
        (("--span", "12"), "span_in is 12 in; accepted: 2 to 6 in"),
        (("--drilling", "50", "--mass-bias-to-pap", "5"), "--drilling or --mass-bias-to-pap, not"),
        (("--val", "30", "--pin-to-val", "1"), "--val or --pin-to-val, not both"),
        (("--span", "4 1/0"), "--span '4 1/0' is not understood"),
        (("--pin", "2", "--mass-bias-to-pap", "1", "--pin-to-val", "1"),
         "cannot go together"),
        (("--grip", "no-such-file.toml"), "grip file not found"),
        (("--density", "99"), "accepted: 0.2 to 5 g/cm3"),
        (("--top-weight", "nan"), "top_weight_oz"),
        (("--out", "face.gif"), ".png"),
    ],
)
def test_refusals_are_one_line(words, message):
    result = run(*words)
    assert result.exit_code == 2
    assert message in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_unknown_key_in_a_grip_file(tmp_path):
    path = tmp_path / "grip.toml"
    path.write_text("spam_in = 4\n")
    result = run("--grip", str(path))
    assert result.exit_code == 2
    assert "spam_in" in result.stderr and str(path) in result.stderr
