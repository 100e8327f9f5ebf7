"""Odds: counts and pairs recomputed from plain throws, sentences, errors, the command."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.cli import cli
from lanesim.errors import InputError
from lanesim.lines.judge import judge_line
from lanesim.motion.pocket import POCKET
from lanesim.motion.trajectory import throw_many
from lanesim.pins.table import DATA_FILE
from lanesim.player import LEVELS, Release, Spread, sample_releases
from lanesim.stats import Difference, paired_difference, shots_to_see
from lanesim.studies.odds import BallPair, difference, odds, with_pins

PLAYER = Release(speed_mph=18.6, rev_rpm=436.0, laydown_board=20.0, launch_angle_deg=-2.2)
GIVEN = {"shots": 256, "seed": 5, "lines": "given", "pins": False}


@pytest.fixture(scope="module")
def medium():
    return load_pattern_named("medium-42")


@pytest.fixture(scope="module")
def trio(medium):
    balls = [load_ball(n) for n in ("strong-solid", "weak-pearl", "strong-solid")]
    return odds(balls, PLAYER, medium, LEVELS["200"], **GIVEN)


def test_numbers_from_plain_throws(trio, medium):
    rows = sample_releases(PLAYER, LEVELS["200"], 256, 5)
    hits = [throw_many(load_ball(n), rows, medium).outcome == POCKET
            for n in ("strong-solid", "weak-pearl")]
    for ball, hit in zip(trio.balls, hits, strict=False):
        assert ball.line.pocket.rate == hit.mean()
        assert ball.line.release == PLAYER
    pair = trio.comparisons[0]
    assert (pair.first, pair.second, pair.measure) == ("strong-solid", "weak-pearl", "pocket")
    assert pair.difference == paired_difference(*hits)
    assert pair.shots_each == shots_to_see(hits[0].mean(), hits[1].mean())


def test_every_pair_once(trio):
    assert [(c.first, c.second) for c in trio.comparisons] == [
        ("strong-solid", "weak-pearl"), ("strong-solid", "strong-solid"),
        ("weak-pearl", "strong-solid")]


def test_a_ball_against_itself_differs_by_nothing(trio):
    same = trio.comparisons[1]
    assert same.difference.value == 0.0 and not same.difference.clear
    assert math.isinf(same.shots_each)
    assert "exactly as often" in same.sentence()


def test_own_lines_are_found_ones(medium):
    from lanesim.lines.lineup import find_line

    ball = load_ball("weak-pearl")
    settings = {"shots": 64, "seed": 2, "effort": "quick"}
    got = odds([ball], PLAYER, medium, LEVELS["200"], pins=False, **settings)
    alone = find_line(ball, PLAYER, medium, LEVELS["200"], **settings)
    assert got.balls[0].line.release == alone.release
    assert got.comparisons == ()
    two = odds([ball, load_ball("strong-solid")], PLAYER, medium, LEVELS["200"], pins=False,
               lines="first", **settings)
    assert two.balls[1].line.release == two.balls[0].line.release == alone.release


def test_left_hander_on_the_mirrored_pattern(medium):
    lopsided = load_pattern_named("lopsided-40")
    right = odds([load_ball("strong-asym")], PLAYER, lopsided, LEVELS["200"], **GIVEN)
    left = odds([load_ball("strong-asym")], replace(PLAYER, hand="left"), lopsided.mirrored(),
                LEVELS["200"], **GIVEN)
    assert np.array_equal(right.balls[0].line.counts, left.balls[0].line.counts)


# --- words ---------------------------------------------------------------------------------


def _pair(value, low, high, shots=1234.0, measure="pocket"):
    return BallPair("A", "B", measure, Difference(value, low, high, 1000, 0.5), shots)


def test_sentence_is_told_from_the_better_ball():
    assert _pair(0.021, 0.014, 0.028).sentence() == (
        "B finds the pocket 2.1 points more often than A, 95 % interval 1.4 to 2.8; to see this "
        "on a real lane you would need about 1,300 shots with each")
    assert _pair(-0.021, -0.028, -0.014).sentence().startswith(
        "A finds the pocket 2.1 points more often than B, 95 % interval 1.4 to 2.8;")
    unclear = _pair(0.004, -0.003, 0.011, 98_765.0, "strike").sentence()
    assert unclear.startswith("B strikes 0.4 points more often than A, 95 % interval -0.3 to 1.1 "
                              "(no clear difference)")
    assert unclear.endswith("about 99,000 shots with each")


# --- strikes -------------------------------------------------------------------------------


@pytest.mark.skipif(not DATA_FILE.exists(), reason="the carry table is not built yet")
def test_strikes_leaves_and_pins(medium):
    got = odds([load_ball("strong-solid"), load_ball("plastic-spare")], PLAYER, medium,
               LEVELS["200"], **(GIVEN | {"pins": True}))
    first = got.balls[0]
    assert first.pins.pocket_rate == first.line.pocket.rate
    assert first.pins.strike_rate == pytest.approx(first.strikes.mean(), abs=1e-9)
    assert 0 < first.pins.strike_rate < 1 and 50 < first.pins.pins_per_game < 300
    assert [c.measure for c in got.comparisons] == ["pocket", "strike"]
    strike = got.comparisons[1].difference
    assert strike.value == pytest.approx(got.balls[1].strikes.mean() - first.strikes.mean())


@pytest.mark.skipif(not DATA_FILE.exists(), reason="the carry table is not built yet")
def test_a_strike_difference_holds_the_tables_uncertainty(medium):
    """Added in squares (D): against gutter balls all of the first ball's, against itself none."""
    ball = load_ball("strong-solid")
    wide = replace(PLAYER, laydown_board=2.0, launch_angle_deg=-4.0)
    first, again, lost = (
        with_pins(judge_line(ball, line, medium, LEVELS["200"], shots=256, seed=5))
        for line in (PLAYER, PLAYER, wide))
    assert lost.pins.strike_rate == 0.0 and lost.pins.sd_table == 0.0
    plain = paired_difference(first.strikes, lost.strikes)
    found = difference(first, lost, "strike")
    assert found.value == plain.value and first.pins.sd_table > 0.0
    extra = 1.959964 * first.pins.sd_table  # the normal quantile of 97.5 % (textbook)
    assert found.value - found.low == pytest.approx(math.hypot(plain.value - plain.low, extra))
    assert found.high - found.value == pytest.approx(math.hypot(plain.high - plain.value, extra))
    same = difference(first, again, "strike")
    assert same.low == same.value == same.high == 0.0
    assert difference(first, lost, "pocket") == paired_difference(
        *((b.line.table.outcome == POCKET).astype(float) for b in (first, lost)))


@pytest.mark.skipif(not DATA_FILE.exists(), reason="the carry table is not built yet")
def test_aiming_at_strikes(medium):
    from lanesim.lines.lineup import find_line

    found = find_line(load_ball("strong-solid"), PLAYER, medium, LEVELS["200"], aim="strike",
                      shots=128, effort="quick")
    assert found.aim == "strike" and 0 < found.rate.rate < 1


# --- bad input -----------------------------------------------------------------------------


@pytest.mark.parametrize(("balls", "settings", "says"), [
    ([], {}, "no ball"),
    (["strong-solid"], {"shots": 0}, "number of shots"),
    (["strong-solid"], {"lines": "best"}, "own, first, given"),
    (["strong-solid"], {"lines": "own", "effort": "some"}, "unknown effort"),
])
def test_bad_settings(medium, balls, settings, says):
    with pytest.raises(InputError, match=says):
        odds([load_ball(b) for b in balls], PLAYER, medium, LEVELS["200"], **(GIVEN | settings))


def test_dry_pattern_and_bad_spread(medium):
    dry = medium.with_volume(np.zeros((60, 39)))
    with pytest.raises(InputError, match="all dry"):
        odds([load_ball("strong-solid")], PLAYER, dry, LEVELS["200"],
             **(GIVEN | {"lines": "own", "effort": "quick"}))
    # a given line needs no search: what becomes of it on a dry lane is a fair question
    judged = odds([load_ball("strong-solid")], PLAYER, dry, LEVELS["200"], **GIVEN).balls[0].line
    assert judged.counts.sum() == GIVEN["shots"] and judged.pocket.rate < 0.05
    with pytest.raises(InputError, match="empty"):
        Spread(0, 0, 0, 0, 0, 0)


# --- the command ---------------------------------------------------------------------------

OPTIONS = ["odds", "--ball", "strong-solid", "--ball", "weak-pearl", "--line", "given",
           "--laydown", "20", "--shots", "64"]


def test_command_text():
    run = CliRunner().invoke(cli, OPTIONS, standalone_mode=False)
    assert run.exception is None, run.output
    for words in ("pocket [%]", "gutter [%]", "more often", "shots with each", "assumed level 200"):
        assert words in run.output


def test_command_json_and_picture(tmp_path):
    picture = tmp_path / "odds.svg"
    run = CliRunner().invoke(cli, [*OPTIONS, "--json", "--out", str(picture)],
                             standalone_mode=False)
    assert run.exception is None, run.output
    answer = json.loads(run.stdout)
    assert [b["ball"] for b in answer["balls"]] == ["strong-solid", "weak-pearl"]
    first = answer["comparisons"][0]
    assert first["difference"]["low"] <= first["difference"]["value"] <= first["difference"]["high"]
    assert "<svg" in picture.read_text()


@pytest.mark.parametrize("options", [["--shots", "0"], ["--line", "best"], ["--ball", "no-such"],
                                     ["--out", "odds.xlsx"], ["--level", "0"]])
def test_command_refuses_in_one_line(options):
    run = CliRunner().invoke(cli, ["odds", *options])
    assert run.exit_code == 2
    assert len(run.stderr.strip().splitlines()) == 1


def test_interrupting_leaves_no_file(tmp_path, monkeypatch):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("lanesim.lines.throwing.Thrower.throw", interrupted)
    run = CliRunner().invoke(cli, [*OPTIONS, "--out", str(tmp_path / "odds.png")])
    assert run.exit_code == 130 and list(tmp_path.iterdir()) == []
