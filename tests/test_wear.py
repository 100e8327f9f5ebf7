"""The wear study and both commands: anchors, bands, advice, and output."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from lanesim.catalog import load_ball, load_pattern_named, named_spread, shipped_balls
from lanesim.equipment.ball_log import parse_log
from lanesim.equipment.cover import Cover
from lanesim.errors import InputError
from lanesim.lines.lineup import find_line
from lanesim.motion.trajectory import throw_many
from lanesim.player import Player, Release
from lanesim.studies import wear

RELEASE = Release(speed_mph=18.6, rev_rpm=436.0, rotation_deg=45.0, tilt_deg=15.0,
                  laydown_board=24.0, launch_angle_deg=-2.2)
PLAYER = Player("one", RELEASE, named_spread("200"), "assumed level 200")
LOG = """date,ball,games,refreshed,extracted
2026-01-01,strong-solid,20,,
2026-01-15,strong-solid,20,,
2026-01-31,strong-solid,20,,
2026-01-31,plastic-spare,5,,
2026-02-10,strong-solid,,1000,
2026-02-12,strong-solid,8,,
"""


def boards_at_59_ft(covers: list[Cover], pattern: str) -> np.ndarray:
    """Where the usual shot of the strong ball arrives with each cover, along the first's line."""
    lane = load_pattern_named(pattern)
    balls = [replace(load_ball("strong-solid"), cover=c) for c in covers]
    line = find_line(balls[0], RELEASE, lane, PLAYER.spread, shots=64, seed=1, with_map=False)
    rows = np.tile(line.release.row(), (len(balls), 1))
    table = throw_many(balls, rows, lane, which=np.arange(len(balls)), keep_paths=True)
    return table.path_board[:, 59]


# --- anchors ----------------------------------------------------------------------------------


@pytest.mark.xfail(strict=True, reason="3.9 boards on the shipped patterns with the assumed "
                   "frictions, whose calibration is not finished (benchmarks/BELIEVE.md)")
def test_refinishing_gives_four_to_five_boards_back():
    """Facts (R): refinishing gave 4-5 boards back; of a 1000 grit finish after 60 games.

    Neither pattern nor player of that finding is known: the mean of a sport-like and an easy
    pattern must lie in it, each alone within a board and a half of it.
    """
    back = []
    for pattern in ("medium-42", "house-easy-41"):
        new = Cover("reactive-solid", 1000.0)
        old = new.played(60.0)
        boards = boards_at_59_ft([new, old, old.refreshed(1000.0)], pattern)
        back.append(boards[2] - boards[1])
    assert 4.0 <= np.mean(back) <= 5.0
    assert min(back) > 2.5
    assert max(back) < 6.5


def test_loss_of_reaction_shows_within_seven_to_fourteen_games():
    """Facts (S): loss begins within 7-14 games, dull faster than polished.

    Noticeable: one board (assumed). The duller, the sooner; a polish changes by less.
    """
    changed = {}
    for name, cover in (("1000", Cover("reactive-solid", 1000.0)),
                        ("2000", Cover("reactive-solid", 2000.0)),
                        ("polish", Cover("reactive-solid", 2000.0, True))):
        boards = boards_at_59_ft([cover, cover.played(7.0), cover.played(14.0)], "medium-42")
        changed[name] = boards[0] - boards[1:]
    assert changed["1000"][1] > changed["2000"][1] > 1.0
    assert np.all(changed["1000"] > changed["2000"])
    assert np.all(np.abs(changed["polish"]) < changed["2000"])


# --- the study --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def result():
    log = parse_log(LOG, "log.csv", shipped_balls())
    return wear.wear(log, shipped_balls(), PLAYER, load_pattern_named("medium-42"),
                      today=date(2026, 2, 12), event=date(2026, 4, 1), shots=64, sets=6, seed=3)


def test_states_are_those_of_the_log(result):
    """68 games in 43 days: pace 1.58 a day over 48 days to the event (D)."""
    ball = result.balls[0]
    assert ball.pace_per_week == pytest.approx(68 / 43 * 7)
    assert ball.games_to_event == pytest.approx(68 / 43 * 48)
    assert not ball.planned
    covers = {s.state: s.cover for s in ball.standings}
    assert covers["today"].games_since_surface == 8
    assert covers["today"].games_total == 68
    assert covers["event"].games_total == pytest.approx(68 + 68 / 43 * 48)
    assert covers["new"].games_total == 0
    assert covers["refreshed"].games_since_surface == 0
    assert covers["refreshed"].games_total == covers["event"].games_total
    assert covers["refreshed, oil out"].oil_extractions == 1


def test_worn_balls_lose_boards_and_work_on_them_gives_back(result):
    lost = {s.state: s.boards_lost for s in result.balls[0].standings}
    assert lost["new"].value == lost["new"].low == lost["new"].high == 0.0
    assert lost["event"].value > lost["today"].value > 0.0
    assert lost["event"].value > lost["refreshed"].value > lost["refreshed, oil out"].value > 0.0
    for s in result.balls[0].standings:
        assert s.boards_lost.low <= s.boards_lost.high
        assert s.angle_lost_deg.low <= s.angle_lost_deg.high
        assert 0.0 <= s.pocket_new_line_band.low <= s.pocket_new_line_band.high <= 1.0
        assert s.pocket_own_line.low <= s.pocket_own_line.rate <= s.pocket_own_line.high
    # on the new ball's line the worn ball comes light
    new, event = (result.balls[0].standing(s) for s in ("new", "event"))
    assert event.pocket_new_line.rate < new.pocket_new_line.rate


def test_strikes_are_those_of_the_shots_behind_the_pocket_rates(result):
    """On the own line the shots are those of a plain line search: pins from them again (D)."""
    from lanesim.studies.odds import with_pins

    for s in (s for ball in result.balls for s in ball.standings):
        assert s.pins_own_line.pocket_rate == s.pocket_own_line.rate
        assert s.pins_new_line.pocket_rate == s.pocket_new_line.rate
        for pins, band in ((s.pins_own_line, s.strike_own_line_band),
                           (s.pins_new_line, s.strike_new_line_band)):
            assert pins.strike_low <= pins.strike_rate <= pins.strike_high
            assert 0.0 <= band.low <= band.high <= 1.0
            assert pins.game_low <= pins.pins_per_game <= pins.game_high
    today = result.balls[0].standing("today")
    ball = replace(load_ball("strong-solid"), cover=today.cover)
    line = find_line(ball, RELEASE, load_pattern_named("medium-42"), PLAYER.spread, shots=64,
                     seed=3, with_map=False)
    again, known = with_pins(line).pins, today.pins_own_line
    assert again.leaves(100) == known.leaves(100)
    assert (again.strike_rate, again.pins_per_game) == (known.strike_rate, known.pins_per_game)
    # on the new ball's line the worn ball comes light and strikes less
    event = result.balls[0].standing("event")
    assert event.pins_new_line.strike_rate < event.pins_own_line.strike_rate


def test_a_band_is_of_the_shots_beside_it(result):
    """The stated parameters' own value under the band's shots is the rate that is printed (D)."""
    for s in (s for ball in result.balls for s in ball.standings):
        assert s.pocket_own_line_band.value == s.pocket_own_line.rate
        assert s.pocket_new_line_band.value == s.pocket_new_line.rate
        assert s.strike_own_line_band.value == pytest.approx(s.pins_own_line.strike_rate)
        assert s.strike_new_line_band.value == pytest.approx(s.pins_new_line.strike_rate)


def test_pins_can_be_left_out():
    log = parse_log(LOG, "log.csv", shipped_balls())
    plain = wear.wear(log, shipped_balls(), PLAYER, load_pattern_named("medium-42"),
                       today=date(2026, 2, 12), only=["plastic-spare"], shots=16, sets=4,
                       pins=False)
    assert all(s.pins_own_line is None and s.strike_own_line_band is None
               for s in plain.balls[0].standings)


def test_curves_rise_and_hold_their_bands(result):
    ball = result.balls[0]
    for curve in (ball.lost_by_surface, ball.lost_refreshed, ball.lost_extracted):
        assert np.all(curve[:, 1] <= curve[:, 2])
    assert ball.lost_by_surface[0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)
    assert np.all(np.diff(ball.lost_refreshed[:, 0]) > 0.0)
    assert np.all(ball.lost_extracted[:, 0] < ball.lost_refreshed[:, 0])
    assert ball.total_games[0] == ball.standing("today").cover.games_total


def test_when_to_refresh_follows_from_the_curve(result):
    ball = result.balls[0]
    at = np.interp(ball.refresh_after.value, ball.surface_games, np.abs(ball.lost_by_surface[:, 0]))
    assert at == pytest.approx(result.allowed_boards, abs=1e-9)
    assert ball.advice
    spare = result.balls[1]
    assert np.isnan(spare.refresh_after.value)
    assert spare.refresh_on is None
    assert "No refresh is due" in spare.advice[0]


def test_same_seed_same_answer(result):
    log = parse_log(LOG, "log.csv", shipped_balls())
    again = wear.wear(log, shipped_balls(), PLAYER, load_pattern_named("medium-42"),
                       today=date(2026, 2, 12), event=date(2026, 4, 1), shots=64, sets=6, seed=3,
                       only=["strong-solid"])
    first = json.dumps(json.loads(_json(result))["balls"][0])
    assert first == json.dumps(json.loads(_json(again))["balls"][0])


def _json(result) -> str:
    from lanesim.files import to_json

    return to_json(result.to_dict())


def test_plans_in_the_log_are_followed():
    """Lines after today: 30 games, then oil out and sanded, then 4 games (D)."""
    log = parse_log(LOG + "2026-03-01,strong-solid,30,,\n2026-03-20,strong-solid,,2000,yes\n"
                    "2026-03-25,strong-solid,4,,\n2026-05-01,strong-solid,9,,\n", "log.csv")
    cover, games, planned = wear.cover_at(log, load_ball("strong-solid"), date(2026, 2, 12),
                                          date(2026, 4, 1))
    assert planned
    assert games == 34
    assert (cover.games_since_surface, cover.games_total) == (4, 102)
    assert cover.finish == "2000 grit"
    cover, games, planned = wear.cover_at(log, load_ball("strong-solid"), date(2026, 2, 12),
                                          date(2026, 2, 26), games_per_week=7.0)
    assert (games, planned) == (14, False)
    assert cover.games_since_surface == 22


@pytest.mark.parametrize(("change", "words"), [
    ({"event": date(2026, 1, 1)}, "before today"),
    ({"only": ["strong-sold"]}, "did you mean 'strong-solid'"),
    ({"allowed_boards": 0.0}, "allowed loss"),
    ({"sets": 2}, "parameter sets"),
    ({"games_per_week": -1.0}, "games a week"),
])
def test_what_is_refused(change, words):
    log = parse_log(LOG, "log.csv")
    with pytest.raises(InputError, match=words):
        wear.wear(log, shipped_balls(), PLAYER, load_pattern_named("medium-42"),
                   **({"today": date(2026, 2, 12)} | change))


# --- the commands -----------------------------------------------------------------------------


def test_wear_command(lanesim, empty_folder):
    (empty_folder / "season.csv").write_text(LOG)
    common = ["wear", "season.csv", "--ball", "strong-solid", "--today", "2026-02-12", "--shots",
              "32", "--sets", "4"]
    shown = lanesim(*common, "--event", "2026-03-01", "--out", "wear.png")
    assert shown.exit_code == 0
    for word in ("today", "event", "refreshed, oil out", "Assumed:", "boards", "strikes [%]",
                 "likeliest leaves", "model: assumed"):
        assert word in shown.stdout
    assert (empty_folder / "wear.png").stat().st_size > 10_000
    found = json.loads(lanesim(*common, "--json").stdout)
    assert [s["state"] for s in found["balls"][0]["standings"]] == [
        "new", "today", "refreshed", "refreshed, oil out"]
    assert found["assumptions"]


def test_transition_command(lanesim, empty_folder):
    words = ["transition", "--games", "1", "--lanes", "1", "--shots", "16", "--players", "2",
             "--their-ball", "plastic-spare"]
    shown = lanesim(*words, "--out", "lane.png", "--after", "after.oil")
    assert shown.exit_code == 0
    for word in ("Oil, mean of the lanes", "laid", "Assumed:", "entry", "strikes [%]",
                 "likeliest leaves", "model: assumed"):
        assert word in shown.stdout
    assert (empty_folder / "lane.png").stat().st_size > 10_000
    after = load_pattern_named(str(empty_folder / "after.oil"))
    found = json.loads(lanesim(*words, "--json").stdout)
    assert found["lane_ml"][1][0] == pytest.approx(after.total_ml, rel=1e-3)
    assert found["shots_per_lane"] == [[0], [22]]
    for r in found["reactions"]:
        for pins, rate in (("pins", "pocket"), ("pins_moved", "pocket_moved"),
                           ("pins_speed", "pocket_speed")):
            assert r[pins]["shots"] == 16
            assert r[pins]["pocket_rate"] == pytest.approx(r[rate]["rate"])
            assert r[pins]["strike_low"] <= r[pins]["strike_rate"] <= r[pins]["strike_high"]
            assert r[pins]["leaves"] and 30 < r[pins]["pins_per_game"] < 300


@pytest.mark.parametrize("words", [
    ["wear", "none.csv"],
    ["wear", "--today", "1.2.2026"],
    ["transition", "--apart", "9"],
    ["transition", "--players", "12", "--apart", "5"],
    ["transition", "--other", "strong-sold"],
    ["transition", "--wipe", "-1"],
])
def test_bad_words_leave_with_2_and_one_line(empty_folder, words):
    import subprocess
    import sys

    done = subprocess.run([sys.executable, "-m", "lanesim.cli", *words], capture_output=True,
                          text=True, timeout=120)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert done.stderr.startswith("lanesim: ")
