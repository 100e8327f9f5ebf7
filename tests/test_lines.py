"""The search for lines: pieces against closed forms, the whole on a known arrival."""

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from lanesim.bag.judging import default_parts
from lanesim.bag.search import pins_worth
from lanesim.catalog import load_ball, load_pattern_named
from lanesim.errors import InputError
from lanesim.lines.candidates import tangent_lines
from lanesim.lines.decide import walk_lines
from lanesim.lines.effort import QUICK, THOROUGH, Effort, effort_of
from lanesim.lines.lineup import find_line, find_lines
from lanesim.lines.local_model import laws
from lanesim.lines.plane import Plane
from lanesim.lines.rate import law_worth
from lanesim.lines.rate_map import bilinear
from lanesim.lines.search import find
from lanesim.lines.throwing import Thrower
from lanesim.lines.worth import PocketWorth
from lanesim.motion.pocket import POCKET
from lanesim.motion.trajectory import ShotTable
from lanesim.player import LEVELS, Release, normal_deviates

PLAYER = Release(speed_mph=18.6, rev_rpm=436.0, laydown_board=24.0, launch_angle_deg=-2.8)


class KnownArrival(Thrower):
    """Balls whose arrival is a known function of the release: no lane, no engine.

    Board 17.5 on the ridge angle = -2.8 - 0.08 (laydown - 20); a turn moves it by 8 boards per
    degree; off board `best` the speed moves it more and more, so that line is the best one.
    """

    def __init__(self, best, spread=LEVELS["elite"], bend=0.5):
        ball, pattern = load_ball("strong-solid"), load_pattern_named("medium-42")
        made = Thrower.of([ball] * len(best), PLAYER, pattern, spread)
        super().__init__(made.paps, made.pars, made.film, made.releases, spread)
        self.best, self.bend = np.asarray(best, dtype=float), bend

    def throw(self, which, rows):
        self.thrown += len(rows)
        lay, ang, speed, rev = rows[:, :4].T
        board = (17.5 + 8.0 * (ang + 2.8 + 0.08 * (lay - 20.0)) + 0.02 * (rev - PLAYER.rev_rpm)
                 - (1.0 + self.bend * np.abs(lay - self.best[which])) * (speed - PLAYER.speed_mph))
        flat = np.zeros(len(rows))
        head = (board > 13) & (board < 27)
        code = np.where((board > 16) & (board < 19), POCKET, 2)
        return ShotTable(
            outcome=np.where(head, code, 4), entry_board=board, entry_angle_deg=flat + 4.0,
            entry_speed_mph=flat + 16.0, entry_rev_rpm=flat, entry_slip_ms=flat, time_s=flat,
            breakpoint_board=flat + 5, breakpoint_ft=flat, hook_ft=flat, roll_ft=flat,
            revolutions=flat, flare_in=flat, track_film_end_um=flat,
        )


# --- the whole -----------------------------------------------------------------------------


@pytest.mark.parametrize("effort", [QUICK, THOROUGH])
def test_the_best_line_of_a_known_arrival_is_found_for_every_ball(effort):
    """Balls side by side, each with its best board; on its ridge all of the arrival's error is
    speed's and revs', so laydown within 2 boards and the ridge's angle within 0.1 deg are best."""
    best = np.array([12.0, 20.0, 29.0])
    found = find(KnownArrival(best), PocketWorth(), effort=effort, seed=1)
    assert found.which.tolist() == [0, 1, 2]
    assert np.all(np.abs(found.lines[:, 0] - best) < 2.0)
    ridge = -2.8 - 0.08 * (found.lines[:, 0] - 20.0)
    assert found.lines[:, 1] == pytest.approx(ridge, abs=0.1)


def test_a_balls_line_does_not_depend_on_its_neighbours():
    together = find(KnownArrival([12.0, 20.0, 29.0]), PocketWorth(), effort=THOROUGH, seed=2)
    alone = find(KnownArrival([29.0]), PocketWorth(), effort=THOROUGH, seed=2)
    assert np.array_equal(alone.lines[0], together.lines[2])
    assert np.array_equal(alone.starts[0], together.starts[2], equal_nan=True)


def test_balls_of_one_group_compete_for_one_line():
    """One ball at three speeds, say: the group's line is that of one of them."""
    spread = replace(LEVELS["elite"], sd_speed_mph=0.5)
    thrower = KnownArrival([12.0, 20.0, 29.0], spread)
    found = find(thrower, PocketWorth(), effort=THOROUGH, seed=3, group=np.array([0, 0, 1]))
    assert len(found.lines) == 2 and found.which[0] in (0, 1) and found.which[1] == 2


def test_shots_are_counted_and_the_thorough_effort_decides_by_as_many_as_it_says():
    thrower = KnownArrival([20.0])
    quick = find(thrower, PocketWorth(), effort=replace(THOROUGH, decide=0), seed=1)
    assert quick.searched == thrower.thrown
    whole = find(thrower, PocketWorth(), effort=THOROUGH, seed=1)
    lines, rest = divmod(whole.searched - quick.searched, THOROUGH.decide)
    assert rest == 0 and 5 <= lines <= THOROUGH.few + 2 * 4 * THOROUGH.moves


def test_a_known_line_takes_part_and_comes_back_as_it_was():
    known = np.array([[[20.0, -2.8]]])
    low = replace(THOROUGH, moves=0)
    found = find(KnownArrival([20.0]), PocketWorth(), effort=low, seed=1, known=known)
    assert found.lines[0].tolist() == [20.0, -2.8]


def test_several_balls_by_nouns_are_each_as_alone():
    balls = [load_ball(n) for n in ("strong-solid", "weak-pearl")]
    pattern = load_pattern_named("medium-42")
    settings = {"shots": 64, "seed": 2, "effort": "quick"}
    both = find_lines(balls, PLAYER, pattern, LEVELS["200"], **settings)
    for ball, one in zip(balls, both, strict=True):
        alone = find_line(ball, PLAYER, pattern, LEVELS["200"], with_map=False, **settings)
        assert alone.release == one.release and np.array_equal(alone.values, one.values)


def test_efforts_have_names_and_limits():
    assert effort_of("quick") is QUICK and effort_of(THOROUGH) is THOROUGH
    for bad in ({"first": 2}, {"finalists": 0}, {"decide": -1}):
        with pytest.raises(InputError):
            Effort(**({"name": "own", "first": 20, "finalists": 4, "second": 32} | bad))
    with pytest.raises(InputError, match="unknown effort"):
        effort_of("huge")


# --- pieces --------------------------------------------------------------------------------


def test_laws_are_those_of_a_linear_arrival():
    """Mean, SD, share of a linear answer (D): SD^2 = sum of squares of slopes times SDs."""
    thrower = KnownArrival([20.0], bend=0.0)
    deviates = normal_deviates(64, 6, 5)
    line = np.array([[20.0, -2.8]])
    found = laws(thrower.spread_shots(np.zeros(1, dtype=int), line, deviates), deviates, 1)[0]
    s = LEVELS["elite"]
    # slopes: 8 x 0.08 a board of laydown, 8 a degree, -1 a mph, 0.02 a rpm
    sd = np.linalg.norm([0.64 * s.sd_laydown_board, 8 * s.sd_angle_deg, s.sd_speed_mph,
                         0.02 * s.sd_rev_rpm])
    assert found[0] == pytest.approx(17.5, abs=0.001)
    assert found[1] == pytest.approx(sd, rel=0.001)
    assert found[2:7] == pytest.approx([4.0, 0.0, 16.0, 0.0, 1.0], abs=1e-3)
    assert found[7] == pytest.approx(np.hypot(s.sd_speed_mph, 0.02 * s.sd_rev_rpm), rel=0.001)


@pytest.mark.parametrize(("mean", "sd"), [(17.5, 1.0), (16.0, 0.4), (19.5, 2.5), (17.0, 0.2)])
def test_a_laws_worth_in_the_pocket_is_the_normal_distributions(mean, sd):
    """P(16 < board < 19) of a normal (textbook), for the law shifted by -1.5 to 1.5 boards."""
    law = np.array([[mean, sd, 4.0, 0.0, 16.0, 0.0, 0.9, 0.5]])
    got = law_worth(law, PocketWorth())[0]
    for shift, value in zip(np.arange(-1.5, 1.51, 0.25), got, strict=True):
        normal = NormalDist(mean + shift, sd)
        assert value == pytest.approx(0.9 * (normal.cdf(19.0) - normal.cdf(16.0)), abs=1e-9)


def test_bilinear_is_exact_on_a_plane_and_spreads_nan():
    x, y = np.linspace(0, 4, 5), np.linspace(-1, 1, 3)
    z = 2 * x[:, None] - 3 * y[None, :] + x[:, None] * y[None, :]
    new_x, new_y = np.array([0.0, 1.3, 4.0]), np.array([-1.0, 0.25, 1.0])
    want = 2 * new_x[:, None] - 3 * new_y + new_x[:, None] * new_y
    assert bilinear(x, y, z, new_x, new_y) == pytest.approx(want)
    z[0, 0] = np.nan
    got = bilinear(x, y, z, np.array([0.5, 1.5]), np.array([-0.5]))
    assert np.isnan(got[0, 0]) and np.isfinite(got[1, 0])


@pytest.mark.parametrize(("laydown", "angle", "says"), [
    ((20, 10), (-8, 4), "laydown range"), ((0, 30), (-8, 4), "laydown range"),
    ((6, 35), (-40, 4), "angle range"), ((6, np.nan), (-8, 4), "laydown range"),
])
def test_a_window_is_on_the_lane(laydown, angle, says):
    with pytest.raises(InputError, match=says):
        Plane(laydown, angle)


def test_pins_worth_is_that_of_the_four_averages():
    """Against judging's own joining of the four averages, for angles to both sides."""
    rng = np.random.default_rng(5)
    entry = rng.uniform((0, -7, 12), (40, 8, 20), (500, 3)).T
    parts = default_parts()
    assert pins_worth(parts).at(*entry) == pytest.approx(parts.shot_worth(parts.of_shots(*entry)))


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_tangent_lines_are_those_of_a_parabola(sign):
    """off = sign (8 (a - a0)^2 + 0.6 (l - 11)), a0 = -2 - 0.05 (l - 11) (D): the turning point is
    `beyond` past the best board at l = 11 - beyond/0.6, at a0 there; exact, as it is a parabola.
    """
    laydowns, angles = np.arange(6.0, 19.0, 2.0), np.linspace(-7.5, 1.5, 19)
    board, a = np.meshgrid(laydowns, angles, indexing="ij")
    off = sign * (8.0 * (a + 2.0 + 0.05 * (board - 11.0)) ** 2 + 0.6 * (board - 11.0))
    off[:, 0] = np.nan  # no pin met
    lines = tangent_lines(laydowns, angles, off)
    lines = lines[np.argsort(-lines[:, 0])]
    expected = 11.0 - np.array([0.0, 0.5, 1.0]) / 0.6
    assert lines[:, 0] == pytest.approx(expected)
    assert lines[:, 1] == pytest.approx(-2.0 - 0.05 * (expected - 11.0))


def test_tangent_lines_where_there_are_none():
    laydowns, angles = np.arange(6.0, 19.0, 2.0), np.linspace(-7.5, 1.5, 19)
    board, a = np.meshgrid(laydowns, angles, indexing="ij")
    for off in (10.0 * (a + 2.0), 8.0 * (a + 2.0) ** 2 + 4.0, np.full(board.shape, np.nan)):
        assert tangent_lines(laydowns, angles, off).shape == (0, 2)


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

    lines, value = walk_lines(start, top, worth, low, high, most=4)
    assert np.array_equal(start[0], [18.0, -1.9])  # handed over, not changed
    assert value == pytest.approx(hill(np.arange(3), lines))
    assert np.all(value > top)
    assert lines[0] == pytest.approx([20.0, -2.0], abs=0.021)  # to half the least turn
    # four whole boards and four halves toward 12, no more
    assert lines[1] == pytest.approx([14.0, -1.52])
    assert lines[2] == pytest.approx([30.2, -2.816], abs=0.021)  # up to the window
    assert sum(seen) <= 3 * 2 * 4 * 4
