"""An event with a fit: the fitted values replace the assumed ones, and the answer says so."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from bag_events import TEXT, small_event
from click.testing import CliRunner

from lanesim.bag.event import parse_event
from lanesim.cli import cli
from lanesim.errors import InputError
from lanesim.fit.fitted import Basis, load_fitted
from lanesim.lines.lineup import board_at_arrows

FIT = """
format = "lanesim-fitted-1"
shots = 40
source = "mine.csv"
seed = 1
[balls.strong-solid]
friction_factor = 0.9
roughness_factor = 1.0
[patterns.medium-39]
oil_factor = 1.2
[lane]
roughness_factor = 1.3
[release_offsets]
rotation_deg = 5.0
"""


def test_a_fit_replaces_the_assumed_values_everywhere(tmp_path):
    """Ball, pattern, lane and release, and the answer says so; the rest stays as it was."""
    (tmp_path / "fit.toml").write_text(FIT)
    plain = small_event(tmp_path)
    event = parse_event('fitted = "fit.toml"\n' + TEXT, "evening.toml", tmp_path)
    basis = Basis(load_fitted(tmp_path / "fit.toml"))
    before, after = plain.candidates[0].ball, event.candidates[0].ball
    assert after.cover.dry_friction == pytest.approx(0.9 * before.cover.dry_friction)
    assert event.candidates[1].ball == plain.candidates[1].ball
    np.testing.assert_array_equal(event.rounds[0].pattern.volume_ul,
                                  basis.pattern(plain.rounds[0].pattern).volume_ul)
    assert event.rounds[1].pattern == plain.rounds[1].pattern
    assert event.player.release.rotation_deg == plain.player.release.rotation_deg + 5
    assert event.friction == basis.friction != plain.friction
    assert event.lanes.their_ball == basis.ball(plain.lanes.their_ball)
    assert event.provenance.startswith("fitted to 40 shots")
    assert plain.provenance.startswith("assumed")


def test_a_missing_fit_is_refused_in_one_line(tmp_path):
    with pytest.raises(InputError, match=r"no\.toml"):
        small_event(tmp_path)
        parse_event('fitted = "no.toml"\n' + TEXT, "evening.toml", tmp_path)


def test_lines_are_given_as_the_player_reads_them(tmp_path):
    """Report, CSV, JSON and screen: the true line less the fit's offsets, derived by hand."""
    (tmp_path / "fit.toml").write_text(FIT + "laydown_board = 1.5\nlaunch_angle_deg = -0.25\n")
    small_event(tmp_path)
    (tmp_path / "event.toml").write_text('fitted = "fit.toml"\n' + TEXT)
    words = ["bag", str(tmp_path / "event.toml"), "--out", str(tmp_path / "out"), "--shots", "64",
             "--resamples", "10"]
    done = CliRunner().invoke(cli, words, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    with (tmp_path / "out" / "bag.csv").open() as stream:
        rows = list(csv.DictReader(stream))
    assert rows
    for row in rows:
        read, true = (float(row[k]) for k in ("laydown_board", "true_laydown_board"))
        assert read == pytest.approx(true - 1.5, abs=1e-6)
        turned, straight = (float(row[k]) for k in ("launch_angle_deg", "true_launch_angle_deg"))
        assert turned == pytest.approx(straight + 0.25, abs=1e-6)
        assert float(row["arrow_board"]) == pytest.approx(board_at_arrows(read, turned), abs=1e-4)
    answer = json.loads((tmp_path / "out" / "bag.json").read_text())
    said = "laydown +1.50 boards, launch angle -0.25 deg"
    report = (tmp_path / "out" / "report.html").read_text()
    assert said in report and said in done.stdout
    for one in answer["conditions"]:
        assert one["laydown_board"] == pytest.approx(one["true_laydown_board"] - 1.5)
        for text in (f"{one['laydown_board']:.1f}", f"{one['launch_angle_deg']:+.1f}"):
            assert f">{text}<" in report and text in done.stdout
