"""Lining up: pieces against closed forms, the search against brute force, errors, the command."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.cli import cli
from lanesim.errors import InputError
from lanesim.lane.geometry import BOARD_M, arrow_distance_ft
from lanesim.lines import lineup
from lanesim.lines.lineup import (
    CHANCE_RATE,
    Thrower,
    board_at_arrows,
    find_line,
    judge_line,
    miss_report,
)
from lanesim.motion.pocket import OUTCOMES, POCKET
from lanesim.motion.trajectory import throw_many
from lanesim.player import LEVELS, Release, Spread, normal_deviates, sample_releases
from lanesim.units import FOOT_M

PLAYER = Release(speed_mph=18.6, rev_rpm=436.0, laydown_board=24.0, launch_angle_deg=-2.8)
FAST = {"shots": 128, "search_shots": 1000, "seed": 3}


@pytest.fixture(scope="module")
def solid():
    return load_ball("strong-solid")


@pytest.fixture(scope="module")
def medium():
    return load_pattern_named("medium-42")


@pytest.fixture(scope="module")
def quick(solid, medium):
    return find_line(solid, medium, PLAYER, LEVELS["200"], judge_others=2, **FAST)


# --- pieces --------------------------------------------------------------------------------


def test_chance_is_three_boards_of_39():
    assert pytest.approx(3 / 39) == CHANCE_RATE


def test_crossings_of_joined_points():
    x = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    # rises through 5 at 0.5, falls through it at 1.5, touches it at a node, NaN hides the rest
    y = np.array([4.0, 6.0, 4.0, 5.0, math.nan])
    assert lineup._crossings(x, y, 5.0) == pytest.approx([0.5, 1.5, 3.0])
    assert lineup._crossings(x, y, 9.0) == []


def test_bilinear_is_exact_on_a_plane_and_spreads_nan():
    x, y = np.linspace(0, 4, 5), np.linspace(-1, 1, 3)
    z = 2 * x[:, None] - 3 * y[None, :] + x[:, None] * y[None, :]
    new_x, new_y = np.array([0.0, 1.3, 4.0]), np.array([-1.0, 0.25, 1.0])
    want = 2 * new_x[:, None] - 3 * new_y + new_x[:, None] * new_y
    assert lineup._bilinear(x, y, z, new_x, new_y) == pytest.approx(want)
    z[0, 0] = math.nan
    got = lineup._bilinear(x, y, z, np.array([0.5, 1.5]), np.array([-0.5]))
    assert math.isnan(got[0, 0]) and math.isfinite(got[1, 0])


def test_board_at_arrows_is_a_straight_line():
    # the board found, at its own arrow's distance, lies on the straight line
    for laydown, angle in ((24.0, -2.8), (15.0, 0.0), (30.0, -4.5), (8.0, 1.0)):
        board = board_at_arrows(laydown, angle)
        at = arrow_distance_ft(board) * FOOT_M
        line = laydown + at * math.tan(math.radians(angle)) / BOARD_M
        assert board == pytest.approx(line, abs=1e-9)
    assert Release.angle_toward(24.0, board_at_arrows(24.0, -2.8)) == pytest.approx(-2.8)


class _FakeThrower:
    """Arrival is an exact quadratic of the release, so a local model must reproduce it."""

    thrown = 0

    def throw(self, rows):
        self.thrown += len(rows)
        lay, ang, speed, rev, rot, tilt = rows[:, :6].T
        board = (17.5 + 0.4 * (lay - 20) + 5 * (ang + 2.8) + 1.5 * (ang + 2.8) ** 2
                 - 2.0 * (speed - 18.6) + 0.05 * (rev - 436) + 0.02 * (rot - 45)
                 + 0.01 * (tilt - 15))
        count = len(rows)
        flat = np.zeros(count)
        head = (board > 13) & (board < 27)
        code = np.where((board > 16) & (board < 19), POCKET, 2)
        return lineup.ShotTable(
            outcome=np.where(head, code, 4), entry_board=board, entry_angle_deg=flat + 4.0,
            entry_speed_mph=flat + 16.0, entry_rev_rpm=flat, entry_slip_ms=flat, time_s=flat,
            breakpoint_board=flat + 5, breakpoint_ft=flat, hook_ft=flat, roll_ft=flat,
            revolutions=flat, flare_in=flat, track_film_end_um=flat,
        )


def test_local_model_is_exact_where_the_arrival_is_quadratic():
    """Fit and rate against the normal distribution of a quadratic arrival, by its own sampling."""
    spread = LEVELS["elite"]
    search = lineup._Search(_FakeThrower(), PLAYER, spread, None, (6, 35), (-8, 4), False, 0)
    line = np.array([20.0, -2.8, 18.6])
    search.throw_round(line[None, :], 200)
    model = search.models[0]
    assert model.scatter < 1e-6 and model.share_met == 1.0
    rng = np.random.default_rng(0)
    many = np.tile(PLAYER.row(), (400_000, 1))
    for shift in ((0.0, 0.0, 0.0), (1.0, 0.1, 0.0), (-0.5, -0.2, 0.0)):
        many[:, :3] = line + shift
        many[:, 3:6] = PLAYER.row()[3:6]
        many[:, :6] += rng.standard_normal((len(many), 6)) * spread.array()
        want = np.mean(_FakeThrower().throw(many).outcome == POCKET)
        got = search.modelled(0, np.array([shift]))[0]
        # 256 Sobol deviates stand for the spread: plain sampling would err by 1/(2 sqrt 256) = 3 %
        assert got == pytest.approx(want, abs=0.02)


@pytest.mark.parametrize("count", [2, 6, 8, 40])
def test_every_line_is_thrown_with_the_whole_spread(count):
    """Held because every 2nd or 6th Sobol point would have come from one half of a coordinate.

    64 shots a line: the mean deviation of each of six numbers is within 5 standard errors (5/8) of
    none and both halves are hit; a one-sided half would have mean sqrt(2/pi) = 0.8.
    """
    search = lineup._Search(_FakeThrower(), PLAYER, LEVELS["200"], None, (6, 35), (-8, 4), False, 0)
    lines = np.column_stack([np.linspace(10, 30, count), np.full(count, -2.8),
                             np.full(count, 18.6)])
    search.throw_round(lines, 64)
    for i, line in enumerate(lines):
        off = search.releases[search.line_of == i] - np.append(line, PLAYER.row()[3:6])
        assert off.shape == (64, 6)
        assert np.all(np.abs(off.mean(axis=0)) < 0.625 * LEVELS["200"].array())
        assert np.all(((off > 0).mean(axis=0) > 0.2) & ((off > 0).mean(axis=0) < 0.8))


def test_search_finds_the_optimum_of_a_known_arrival(solid, medium, monkeypatch):
    """Of an exactly known arrival with one best laydown: scatter grows away from board 20."""

    class Known(_FakeThrower):
        film = medium.film_m("right")

        def __init__(self, *_):
            pass

        def throw(self, rows):
            table = super().throw(rows)
            # a line off board 20 turns speed into more and more boards
            board = table.entry_board - (0.5 * np.abs(rows[:, 0] - 20)) * (rows[:, 2] - 18.6)
            head = (board > 13) & (board < 27)
            code = np.where((board > 16) & (board < 19), POCKET, 2)
            return replace(table, entry_board=board, outcome=np.where(head, code, 4))

    monkeypatch.setattr(lineup, "Thrower", Known)
    found = find_line(solid, medium, PLAYER, LEVELS["elite"], shots=512, seed=1)
    best = judge_line(solid, medium, replace(PLAYER, laydown_board=20.0, launch_angle_deg=-2.8),
                      LEVELS["elite"], shots=512, seed=1)
    assert abs(found.release.laydown_board - 20.0) < 1.5
    assert found.rate.rate > best.rate.rate - 0.02


# --- the search ----------------------------------------------------------------------------


def test_result_is_what_throwing_the_line_gives(quick, solid, medium):
    rows = sample_releases(quick.release, LEVELS["200"], 128, 3)
    table = throw_many(solid, rows, medium)
    assert np.array_equal(table.outcome, quick.table.outcome)
    assert quick.counts.tolist() == [int(np.sum(table.outcome == c)) for c in range(6)]
    assert quick.counts.sum() == quick.shots == 128
    assert quick.rate.rate == np.mean(table.outcome == POCKET)
    assert quick.rate.low < quick.rate.rate < quick.rate.high
    assert quick.found and "in the pocket" in quick.message
    assert set(quick.outcome_rates) == set(OUTCOMES)


def test_pocket_by_entry_board_is_pocket_by_outcome(quick):
    """The models judge by entry board alone; that must be the outcome's own rule."""
    by_board = lineup.entry_values(quick.table.entry_board, quick.table.entry_angle_deg,
                                   quick.table.entry_speed_mph, None)
    assert np.array_equal(by_board, lineup.shot_values(quick.table, None))


def test_budget_map_and_alternatives(solid, medium, quick):
    without = find_line(solid, medium, PLAYER, LEVELS["200"], decide_shots=0, **FAST)
    assert 900 <= without.search_shots <= 1200
    lines, rest = divmod(quick.search_shots - without.search_shots, lineup.DECIDE_SHOTS)
    assert rest == 0 and 5 <= lines <= 4 + 2 * 4 * 4
    assert quick.map_rate.shape == (len(quick.map_laydown), len(quick.map_angle))
    assert np.all((quick.map_rate >= 0) & (quick.map_rate <= 1))
    top = np.unravel_index(quick.map_rate.argmax(), quick.map_rate.shape)
    # the map's own top lies on the ridge near the best line
    assert abs(quick.map_laydown[top[0]] - quick.release.laydown_board) < 6
    assert abs(quick.map_angle[top[1]] - quick.release.launch_angle_deg) < 1
    for other in quick.alternatives[:2]:
        assert other.judged and other.behind is not None
        assert abs(other.laydown_board - quick.release.laydown_board) >= 3
        assert other.rate - quick.rate.rate == pytest.approx(other.behind.value)


def test_same_seed_same_answer(solid, medium, quick):
    again = find_line(solid, medium, PLAYER, LEVELS["200"], judge_others=2, **FAST)
    assert again.release == quick.release and np.array_equal(again.values, quick.values)
    other = find_line(solid, medium, PLAYER, LEVELS["200"], **(FAST | {"seed": 4}))
    assert not np.array_equal(other.values, quick.values)


def test_where_the_player_stood_plays_no_part(solid, medium, quick):
    moved = replace(PLAYER, laydown_board=10.0, launch_angle_deg=1.0)
    again = find_line(solid, medium, moved, LEVELS["200"], with_map=False, **FAST)
    assert again.release == quick.release and again.map_rate.size == 0


def test_film_stands_in_for_the_pattern(solid, medium, quick):
    other = medium.with_volume(medium.volume_ul[::-1])  # the same oil otherwise, viscosity too
    film = find_line(solid, other, PLAYER, LEVELS["200"], film=medium.film_m("right"), **FAST)
    assert film.release == quick.release


def test_aim_is_a_callable_of_the_entry(solid, medium):
    """An aim that pays for boards 12 to 15 moves the line there; one that pays nothing earns 0."""
    def light(board, angle_deg, speed_mph):
        return ((board > 12) & (board < 15)).astype(float)

    found = find_line(solid, medium, PLAYER, LEVELS["elite"], aim=light, **FAST)
    assert found.aim == "light"
    assert found.rate.rate > found.pocket.rate
    assert found.rate.rate == pytest.approx(found.values.mean())
    none = judge_line(solid, medium, PLAYER, LEVELS["elite"], shots=16,
                      aim=lambda board, angle_deg, speed_mph: 0.0 * board)
    assert none.rate.rate == 0.0
    with pytest.raises(InputError, match=r"0\.\.1"):
        judge_line(solid, medium, PLAYER, LEVELS["elite"], shots=16,
                   aim=lambda board, angle_deg, speed_mph: 2.0 + 0.0 * board)


def test_aiming_at_strikes_of_a_carry_table(solid, medium):
    """A made-up table that strikes on board 14 only: the line for strikes moves there."""
    from lanesim.pins.table import CarryTable

    rng = np.random.default_rng(0)
    board, angle, speed = rng.uniform((1, 0, 13), (39, 7, 19), (6000, 3)).T
    strikes = rng.random(6000) < 0.9 * np.exp(-0.5 * ((board - 14.0) / 1.5) ** 2)
    table = CarryTable(board, angle, speed, np.where(strikes, 0, 1 << 9), (0.5, 1.0, 1.5))
    found = find_line(solid, medium, PLAYER, LEVELS["elite"], aim="strike",
                      strike_probability=table.strike_probability, **FAST)
    assert found.aim == "strike"
    assert abs(found.entry_board_mean - 14.0) < 1.0
    assert found.rate.rate == pytest.approx(found.values.mean())


def test_speed_search_stays_in_its_window(solid, medium):
    found = find_line(solid, medium, PLAYER, LEVELS["200"], search_speed=True, with_map=False,
                      shots=64, search_shots=2500, seed=1)
    assert 16.6 <= found.release.speed_mph <= 20.6


def test_honest_when_no_line_finds_the_pocket(solid, medium):
    """Held to boards and angles that miss, the search says so instead of naming a line."""
    lost = find_line(solid, medium, PLAYER, LEVELS["elite"], laydown_range=(6, 8),
                     angle_range=(2.0, 4.0), **FAST)
    assert not lost.found
    assert "no line tried finds the pocket clearly more often than chance" in lost.message
    assert 6 <= lost.release.laydown_board <= 8 and 2 <= lost.release.launch_angle_deg <= 4


@pytest.mark.slow
def test_map_against_direct_shots(solid):
    """The map is for the eye: within 10 points of 1,024 shots thrown at each of these lines.

    Three standard errors of the direct rates are 4.7 points; the rest is the models' own error
    (largest at the edge of the lane, where many shots are lost).
    """
    pattern = load_pattern_named("house-easy-41")
    found = find_line(solid, pattern, PLAYER, LEVELS["200"], shots=64, search_shots=6000)
    for laydown, angle in ((10, -4.2), (15, -4.4), (18, -4.3), (22, -3.8), (25, -3.0), (28, -3.1),
                           (28, -4.2), (32, -4.2), (20, 1.0)):
        line = replace(PLAYER, laydown_board=float(laydown), launch_angle_deg=angle)
        direct = judge_line(solid, pattern, line, LEVELS["200"], shots=1024, seed=8).rate.rate
        i = np.argmin(np.abs(found.map_laydown - laydown))
        j = np.argmin(np.abs(found.map_angle - angle))
        assert found.map_rate[i, j] == pytest.approx(direct, abs=0.10), (laydown, angle)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_tangent_lines_are_those_of_a_parabola(sign):
    """off = sign (8 (a - a0)^2 + 0.6 (l - 11)), a0 = -2 - 0.05 (l - 11) (D): the turning point is
    `beyond` past the best board at l = 11 - beyond/0.6, at a0 there; exact, as it is a parabola.
    """
    laydowns, angles = np.arange(6.0, 19.0, 2.0), np.linspace(-7.5, 1.5, 19)
    board, a = np.meshgrid(laydowns, angles, indexing="ij")
    off = sign * (8.0 * (a + 2.0 + 0.05 * (board - 11.0)) ** 2 + 0.6 * (board - 11.0))
    off[:, 0] = np.nan  # no pin met
    lines = lineup.tangent_lines(laydowns, angles, off)
    lines = lines[np.argsort(-lines[:, 0])]
    expected = 11.0 - np.array([0.0, 0.5, 1.0]) / 0.6
    assert lines[:, 0] == pytest.approx(expected)
    assert lines[:, 1] == pytest.approx(-2.0 - 0.05 * (expected - 11.0))


def test_tangent_lines_where_there_are_none():
    laydowns, angles = np.arange(6.0, 19.0, 2.0), np.linspace(-7.5, 1.5, 19)
    board, a = np.meshgrid(laydowns, angles, indexing="ij")
    for off in (10.0 * (a + 2.0), 8.0 * (a + 2.0) ** 2 + 4.0, np.full(board.shape, np.nan)):
        assert lineup.tangent_lines(laydowns, angles, off).shape == (0, 2)


def hill(which, lines):
    """Worth of lines on a long ridge, one for each of three balls."""
    along = np.array([20.0, 12.0, 34.0])[which]
    across = lines[:, 1] + 2.0 + 0.08 * (lines[:, 0] - 20.0)
    return 1.0 - 0.02 * (lines[:, 0] - along) ** 2 - 20.0 * across**2


def test_a_walk_climbs_and_stops():
    """On a ridge of slope 0.08 deg a board (D): as far as its moves and the window allow."""
    start = np.array([[18.0, -1.9], [20.0, -2.0], [29.0, -2.72]])
    low, high = np.array([6.0, -8.0]), np.array([30.2, 4.0])
    top = hill(np.arange(3), start)
    seen = []

    def worth(which, lines):
        seen.append(len(lines))
        return hill(which, lines)

    lines, value = lineup.walk_lines(start, top, worth, low, high, most=4)
    assert np.array_equal(start[0], [18.0, -1.9])  # handed over, not changed
    assert value == pytest.approx(hill(np.arange(3), lines))
    assert np.all(value > top)
    assert lines[0] == pytest.approx([20.0, -2.0], abs=0.021)  # to half the least turn
    # four whole boards and four halves toward 12, no more
    assert lines[1] == pytest.approx([14.0, -1.52])
    assert lines[2] == pytest.approx([30.2, -2.816], abs=0.021)  # up to the window
    assert sum(seen) <= 3 * 2 * 4 * 4


@pytest.mark.slow
def test_search_against_brute_force(solid, medium):
    """The line found is no more than 3 points behind the best of a fine grid (150,000 shots).

    3 points: the search decides by 1,024 shots, the same on every line. Where they do not agree
    about a fifth of them, the difference is known to sqrt(0.2/1024) = 1.4 points, and it is looked
    at on 8,192 shots that know it to 0.5.
    """
    spread = LEVELS["200"]
    thrower = Thrower(solid, medium, "right")
    deviates = normal_deviates(512, 6, 99) * spread.array()
    laydowns, angles = np.arange(6.0, 35.1, 1.0), np.arange(-4.0, -1.99, 0.1)
    rate = np.zeros((len(laydowns), len(angles)))
    for i, laydown in enumerate(laydowns):
        rows = np.tile(PLAYER.row(), (len(angles) * 512, 1))
        rows[:, 0], rows[:, 1] = laydown, np.repeat(angles, 512)
        rows[:, :6] += np.tile(deviates, (len(angles), 1))
        hit = thrower.throw(rows).outcome == POCKET
        rate[i] = hit.reshape(len(angles), 512).mean(axis=1)
    i, j = np.unravel_index(rate.argmax(), rate.shape)
    best = replace(PLAYER, laydown_board=laydowns[i], launch_angle_deg=angles[j])
    brute = judge_line(solid, medium, best, spread, shots=8192, seed=50)
    for seed in (1, 2, 3):
        found = find_line(solid, medium, PLAYER, spread, shots=64, seed=seed, with_map=False)
        again = judge_line(solid, medium, found.release, spread, shots=8192, seed=50)
        assert brute.rate.rate - again.rate.rate < 0.03


# --- what errors cost ----------------------------------------------------------------------


def test_miss_report(solid, medium):
    report = miss_report(solid, medium, PLAYER, LEVELS["200"], shots=128, seed=2)
    # each effect again, by hand, from plain throws
    rows = sample_releases(PLAYER, LEVELS["200"], 128, 2)
    base = throw_many(solid, rows, medium).outcome == POCKET
    for effect, column in zip(report.effects, (0, 1, 2, 3), strict=True):
        more = rows.copy()
        more[:, column] += effect.amount
        hits = throw_many(solid, more, medium).outcome == POCKET
        assert effect.rate_more.value == pytest.approx(hits.mean() - base.mean())
        assert effect.rate_more.low <= effect.rate_more.value <= effect.rate_more.high
    assert [e.amount for e in report.effects] == [1.0, 0.5, 1.0, 30.0]
    half = report.effects[1]
    assert half.entry_board_less < 0 < half.entry_board_more  # more to the pins, higher boards
    room = report.room_angle
    for side, far in ((-1, room.rate_lower), (1, room.rate_higher)):
        # at the end of the room the rate is half; a step of 0.2 deg joined linearly, 128 shots
        moved = rows.copy()
        moved[:, 1] += side * far
        rate = (throw_many(solid, moved, medium).outcome == POCKET).mean()
        assert rate == pytest.approx(0.5 * base.mean(), abs=0.08)
    for side, far in ((-1, room.mean_lower), (1, room.mean_higher)):
        mean = np.tile(PLAYER.row(), (2, 1))
        mean[:, 1] += side * np.array([far - 0.025, far + 0.025])
        inside, outside = throw_many(solid, mean, medium).outcome
        assert inside == POCKET and outside != POCKET


# --- bad input -----------------------------------------------------------------------------


def test_empty_or_negative_spread():
    with pytest.raises(InputError, match="empty"):
        Spread(0, 0, 0, 0, 0, 0)
    with pytest.raises(InputError, match="sd_angle_deg"):
        Spread(1, -0.1, 0, 0, 0, 0)
    with pytest.raises(InputError, match="sd_speed_mph"):
        Spread(1, 0.1, math.nan, 0, 0, 0)


@pytest.mark.parametrize(("settings", "says"), [
    ({"shots": 0}, "number of shots"),
    ({"shots": -5}, "number of shots"),
    ({"shots": 10.5}, "whole number"),
    ({"shots": math.nan}, "number of shots"),
    ({"search_shots": 10}, "search shots"),
    ({"laydown_range": (20, 10)}, "laydown range"),
    ({"laydown_range": (math.nan, 10)}, "laydown range"),
    ({"laydown_range": (0, 45)}, "laydown range"),
    ({"angle_range": (-40, 4)}, "angle range"),
    ({"aim": "spare"}, "pocket, strike"),
    ({"film": np.zeros((39, 60))}, "shape"),
    ({"film": np.full((60, 39), np.nan)}, "finite"),
    ({"film": np.full((60, 39), -1e-6)}, "negative"),
    ({"film": np.zeros((60, 39))}, "all dry"),
])
def test_bad_settings(solid, medium, settings, says):
    with pytest.raises(InputError, match=says) as caught:
        find_line(solid, medium, PLAYER, LEVELS["200"], **settings)
    assert "\n" not in str(caught.value)


def test_dry_pattern_is_an_error(solid, medium):
    dry = medium.with_volume(np.zeros((60, 39)))
    with pytest.raises(InputError, match="all dry"):
        find_line(solid, dry, PLAYER, LEVELS["200"])


def test_spread_in_one_number_only(solid, medium):
    """Nothing varies but the angle: columns without spread must not upset the models."""
    found = find_line(solid, medium, PLAYER, Spread(0, 0.2, 0, 0, 0, 0), **FAST)
    assert found.found and 0 < found.rate.rate <= 1


# --- the command ---------------------------------------------------------------------------

QUICK_OPTIONS = ["--shots", "64", "--search-shots", "1000"]


def test_command_text():
    run = CliRunner().invoke(cli, ["lineup", *QUICK_OPTIONS], standalone_mode=False)
    assert run.exception is None, run.output
    for words in ("lay down on", "launch angle", "room, laydown", "one board of laydown",
                  "30 rpm of rev rate", "in the gutter"):
        assert words in run.output


def test_command_json_and_picture(tmp_path):
    picture = tmp_path / "map.png"
    run = CliRunner().invoke(cli, ["lineup", *QUICK_OPTIONS, "--json", "--out", str(picture)],
                             standalone_mode=False)
    assert run.exception is None, run.output
    answer = json.loads(run.stdout)
    assert 6 <= answer["release"]["laydown_board"] <= 35
    assert len(answer["map_rate"]) == len(answer["map_laydown"])
    assert {e["change"] for e in answer["misses"]["effects"]} == {
        "laydown_board", "launch_angle_deg", "speed_mph", "rev_rpm"}
    assert picture.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("options", [
    ["--shots", "0"], ["--boards", "30", "10"], ["--ball", "no-such"], ["--level", "999"],
    ["--out", "map.doc"], ["--aim", "spare"], ["--search-shots", "5"],
])
def test_command_refuses_in_one_line(options):
    run = CliRunner().invoke(cli, ["lineup", *options])
    assert run.exit_code == 2
    assert len(run.stderr.strip().splitlines()) == 1


def test_interrupting_leaves_no_file(tmp_path, monkeypatch):
    """Ctrl-C in the search, and in the middle of writing: no file, no temporary one."""
    picture = tmp_path / "map.png"

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(lineup._Search, "throw_round", interrupted)
    run = CliRunner().invoke(cli, ["lineup", *QUICK_OPTIONS, "--out", str(picture)])
    assert run.exit_code == 130 and list(tmp_path.iterdir()) == []
    monkeypatch.undo()
    monkeypatch.setattr("os.replace", interrupted)
    run = CliRunner().invoke(cli, ["lineup", *QUICK_OPTIONS, "--out", str(picture)])
    assert run.exit_code == 130 and list(tmp_path.iterdir()) == []
