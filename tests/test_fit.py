"""The fit's pieces that need few or no throws: fitted files, notes, warnings, spread, errors."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from lanesim.catalog import load_ball, load_pattern_named, load_player
from lanesim.errors import InputError
from lanesim.files import to_json
from lanesim.fit import fit, fitted
from lanesim.fit.films import films_by_game
from lanesim.fit.invented import simulate_shots
from lanesim.fit.own_spread import estimate_spread, spread_interval
from lanesim.fit.parameters import PARAMETERS, RELEASES, make_terms, measuring_sds
from lanesim.fit.shot_model import ShotModel
from lanesim.fit.shots_file import ShotLog
from lanesim.fit.side_by_side import compare_balls
from lanesim.lane.friction import DEFAULT_FRICTION
from lanesim.motion import kernels as k
from lanesim.motion import setup
from lanesim.motion.trajectory import throw, throw_many
from lanesim.player import LEVELS, Release, Spread

BALL, PATTERN = "strong-solid", "medium-42"
RELEASE = Release(speed_mph=18.6, rev_rpm=436, rotation_deg=45, tilt_deg=15, laydown_board=24,
                  launch_angle_deg=-2.2)


@pytest.fixture(scope="module")
def balls():
    return {BALL: load_ball(BALL), "old-solid": load_ball("old-solid")}


@pytest.fixture(scope="module")
def patterns():
    return {PATTERN: load_pattern_named(PATTERN)}


def shots(balls, patterns, columns, *, count=10, seed=1, truth=None, thrown=None, **kw):
    return simulate_shots(balls, patterns, thrown or [BALL] * count, [PATTERN] * count, RELEASE,
                          LEVELS["220"], truth or {}, columns, seed=seed, **kw)


# ---- the fitted file

FITTED = fitted.Fitted(
    40, "my \"own\" shots.csv", 3, {BALL: fitted.BallFactors(1.1, 0.8, 1.2)},
    {PATTERN: fitted.PatternFactors(0.9)}, fitted.LaneFactors(1.3, 0.9),
    {"speed_mph": 0.25, "launch_angle_deg": -0.1}, {"ball_friction strong-solid": (1.0, 1.2)})


def test_a_fitted_file_comes_back_as_it_was(tmp_path):
    path = fitted.save_fitted(tmp_path / "f.toml", FITTED)
    assert fitted.load_fitted(path) == FITTED


def test_applying_a_fit_multiplies_what_it_says(balls, patterns):
    ball, pattern = balls[BALL], patterns[PATTERN]
    basis = fitted.Basis(FITTED)
    cover = basis.ball(ball).cover
    assert cover.dry_friction == pytest.approx(1.1 * ball.cover.dry_friction, rel=1e-12)
    assert cover.roughness_um == pytest.approx(0.8 * ball.cover.roughness_um, rel=1e-12)
    assert basis.pattern(pattern).total_ml == pytest.approx(0.9 * pattern.total_ml, rel=1e-12)
    assert basis.friction.lambda_ref == pytest.approx(0.9 * DEFAULT_FRICTION.lambda_ref)
    assert basis.provenance([ball], [pattern]) == (
        "fitted to 40 shots; invented ball and oil pattern")
    assert basis.release(RELEASE).speed_mph == pytest.approx(18.85)
    assert basis.measured(basis.release(RELEASE)).row() == pytest.approx(RELEASE.row())
    # the factors stay whatever is done to the ball: they belong to the cover, not to one finish
    for later in (basis.ball(ball).with_finish(1000).cover, cover.played(30.0), cover.extracted(),
                  cover.played(30.0).as_new()):
        assert (later.friction_factor, later.roughness_factor, later.uptake_factor) == (
            1.1, 0.8, 1.2)
    assert cover.played(30.0).as_new() == cover


def test_without_a_fit_all_stays_as_it_was(balls, patterns):
    basis = fitted.Basis()
    assert basis.ball(balls[BALL]) is balls[BALL]
    assert basis.pattern(patterns[PATTERN]) is patterns[PATTERN]
    assert basis.release(RELEASE) == basis.measured(RELEASE) == RELEASE
    assert basis.friction == DEFAULT_FRICTION and not basis.offsets
    assert basis.provenance(balls.values(), patterns.values()) == (
        "assumed; invented balls and oil pattern")
    own = replace(balls[BALL], invented=False)
    assert basis.provenance([own], []) == "assumed"
    assert basis.provenance([own, balls["old-solid"]], [patterns[PATTERN]]) == (
        "assumed; invented ball old-solid and oil pattern")


def test_provenance_says_what_the_fit_does_not_know():
    assert FITTED.provenance([BALL], [PATTERN]) == "fitted to 40 shots"
    assert FITTED.provenance(["other", BALL, "other"], [PATTERN]) == (
        "fitted to 40 shots; ball 'other' assumed")
    assert FITTED.provenance(["other"], ["else"]) == (
        "fitted to 40 shots; ball 'other' and pattern 'else' assumed")
    plain = fitted.Fitted(5, balls={BALL: fitted.BallFactors()})
    assert plain.provenance(["other"], ["else"]).startswith("assumed")


@pytest.mark.parametrize(("text", "words"), [
    ("shots = 3\n", "format"),
    ('format = "x"\nshots = 3\n', "accepted: lanesim-fitted-1"),
    ('format = "lanesim-fitted-1"\nshots = 0\n', "shots is 0"),
    ('format = "lanesim-fitted-1"\nshots = 3\n[balls.a]\nfriction_factor = 50\n', "ball 'a'"),
    ('format = "lanesim-fitted-1"\nshots = 3\n[balls.a]\nfriktion = 1\n', "friktion"),
    ('format = "lanesim-fitted-1"\nshots = 3\n[release_offsets]\nspeed = 1\n', "speed"),
])
def test_a_wrong_fitted_file_is_refused_by_name(tmp_path, text, words):
    path = tmp_path / "f.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=words) as caught:
        fitted.load_fitted(path)
    assert str(path) in str(caught.value) and "\n" not in str(caught.value)


def test_more_oil_is_the_same_as_a_larger_film_share(balls, patterns):
    # derived: the friction law knows oil only through chi (h_lane + h_track), and the equation of
    # h_track is linear in h_lane; so the fit may put the oil factor on chi and use one film
    log = shots(balls, patterns, [*RELEASES, "entry_board"], count=2)
    terms, _ = make_terms(log, ["oil_amount"])
    par = ShotModel(log, balls, patterns, terms).parameter_vector(np.eye(7)[0], BALL, PATTERN)
    plain = setup.parameter_vector(balls[BALL], viscosity_cp=patterns[PATTERN].viscosity_cp)
    factor = math.exp(PARAMETERS["oil_amount"].prior_sd)
    assert par[k.P_CHI] == pytest.approx(factor * plain[k.P_CHI], rel=1e-12)
    oiled = fitted.fitted_pattern(patterns[PATTERN], fitted.PatternFactors(factor))
    row = RELEASE.row()[None]
    from lanesim.motion.trajectory import throw_parameters

    a = throw_parameters(np.array([balls[BALL].inertia.pap_body]), par[None], row,
                         patterns[PATTERN].film_m())
    b = throw_many(balls[BALL], row, oiled)
    # the same equations in other units of film: equal up to the integrator's step choice
    assert a.entry_board[0] == pytest.approx(b.entry_board[0], abs=5e-3)


# ---- what the fit says it does not know


def test_only_the_speed_at_the_pins_says_nothing_about_oil_or_roughness(balls, patterns):
    log = shots(balls, patterns, [*RELEASES, "speed_pins_mph"])
    result = fit.fit_shots(log, balls, patterns, starts=1, folds=0, profile="none", parameters=(
        "ball_friction", "ball_roughness", "oil_amount", "angle_offset"))
    text = " | ".join(result.warnings)
    for label in ("ball_roughness strong-solid", "angle_offset"):
        assert f"your shots say nothing about {label}" in text
    assert result.directions_seen < 4 and "rest rests on the priors" in " ".join(result.warnings)


def test_parameters_that_only_act_together_are_named_as_a_pair(balls, patterns):
    # derived: roughness and lambda_ref enter as chi h/(sigma lambda_ref) only; with hardly any
    # prior to hold them apart they must come out as one combination
    sds = dict.fromkeys(("laydown_board", "launch_angle_deg", "speed_mph", "board_at",
                         "entry_board", "breakpoint_board", "entry_angle_deg"), 0.02)
    columns = [*RELEASES, "board_at_45ft", "entry_board", "breakpoint_board", "entry_angle_deg"]
    log = shots(balls, patterns, columns, measurement_sd=sds)
    result = fit.fit_shots(log, balls, patterns, parameters=("lambda_ref", "lane_roughness"),
                           measurement_sd=sds, starts=1, folds=0, profile="none")
    assert abs(result.correlation[0, 1]) > 0.9
    assert any("cannot be told apart" in w for w in result.warnings)


def test_what_was_not_measured_becomes_a_loose_parameter_and_is_said(balls, patterns):
    columns = ["laydown_board", "arrow_board", "speed_mph", "entry_board"]
    terms, notes = make_terms(shots(balls, patterns, columns, count=3),
                                  ["ball_friction", "angle_offset"])
    labels = [t.label for t in terms]
    assert labels == ["ball_friction strong-solid", "rev_offset", "rotation_offset", "tilt_offset"]
    assert [t.prior_sd for t in terms[1:]] == [60.0, 12.0, 5.0]
    assert any("angle_offset left out" in n for n in notes)
    assert sum("was not measured" in n for n in notes) == 3


def test_one_misread_shot_is_named_and_hardly_counts(balls, patterns):
    columns = [*RELEASES, "board_at_45ft", "entry_board"]
    log = shots(balls, patterns, columns, count=12)
    wrong = log.values["entry_board"].copy()
    wrong[4] += 14.0
    bad = replace(log, values=dict(log.values) | {"entry_board": wrong})
    options = {"parameters": ("ball_friction",), "starts": 1, "folds": 0, "profile": "none"}
    good_fit = fit.fit_shots(log, balls, patterns, **options)
    bad_fit = fit.fit_shots(bad, balls, patterns, **options)
    assert bad_fit.outliers == (4,)
    assert any("do not fit the rest" in w and str(log.line[4]) in w for w in bad_fit.warnings)
    shift = abs(bad_fit.z[0] - good_fit.z[0])
    plain = fit.fit_shots(bad, balls, patterns, loss_scale=math.inf, **options)
    assert shift < abs(plain.z[0] - good_fit.z[0])


def test_result_goes_to_json_and_crossvalidation_is_seeded(balls, patterns):
    log = shots(balls, patterns, [*RELEASES, "entry_board", "outcome"], count=8)
    options = {"parameters": ("ball_friction",), "starts": 1, "folds": 2, "profile": "none",
               "seed": 5}
    one = fit.fit_shots(log, balls, patterns, **options)
    two = fit.fit_shots(log, balls, patterns, **options)
    assert to_json(one.to_dict()) == to_json(two.to_dict())
    assert one.cross_validated["entry_board"]["shots"] == 8
    assert one.fitted.shots == 8


def test_outcomes_alone_can_be_fitted(balls, patterns):
    log = shots(balls, patterns, [*RELEASES, "outcome"], count=12)
    result = fit.fit_shots(log, balls, patterns, parameters=("ball_friction",), starts=1, folds=0,
                           profile="none")
    assert result.columns == () and 0.1 < result.sd_share[0] <= 1.0


@pytest.mark.parametrize(("options", "words"), [
    ({"parameters": ("ball_fricton",)}, "did you mean 'ball_friction'"),
    ({"measurement_sd": {"entry": 1.0}}, "did you mean 'entry_board'"),
    ({"measurement_sd": {"entry_board": 0.0}}, "measuring SD of entry_board"),
    ({"prior_sd": {"ball_friction": -1.0}}, "prior SD of ball_friction"),
    ({"loss_scale": 0.1}, "loss scale"),
    ({"starts": 0}, "starts"),
    ({"profile": "some"}, "flat, all, none"),
])
def test_wrong_options_are_refused(balls, patterns, options, words):
    log = shots(balls, patterns, [*RELEASES, "entry_board"], count=2)
    with pytest.raises(InputError, match=words):
        fit.fit_shots(log, balls, patterns, **options)


def test_unknown_and_missing_names_are_said_with_their_line(balls, patterns):
    log = replace(shots(balls, patterns, [*RELEASES, "entry_board"], count=2),
                  ball=(BALL, "old-sold"))
    with pytest.raises(InputError, match="line 2: unknown ball 'old-sold'; did you mean 'old-"):
        fit.fit_shots(log, balls, patterns)
    with pytest.raises(InputError, match="no ball named"):
        fit.fit_shots(replace(log, ball=(BALL, "")), balls, patterns)


# ---- two balls


def test_two_balls_differ_as_they_were_made_and_more_shots_narrow_it(balls, patterns):
    count = 12
    thrown = [BALL, "old-solid"] * (count // 2)
    columns = [*RELEASES, "board_at_45ft", "entry_board", "entry_angle_deg"]
    log = shots(balls, patterns, columns, count=count, thrown=thrown)
    result = fit.fit_shots(log, balls, patterns, parameters=("ball_friction", "oil_amount"),
                           starts=1, folds=0, profile="none")
    pair = compare_balls(result, log, balls, patterns, BALL, "old-solid", within_boards=0.05)
    friction = pair.differences[0]
    true = balls["old-solid"].cover.dry_friction - balls[BALL].cover.dry_friction
    # one seeded draw: inside the interval widened to 99.9 % (3.29/1.96), not a tuned tolerance
    assert abs(friction.difference - true) < 3.29 / 1.96 * 0.5 * (friction.high - friction.low)
    assert friction.low < friction.difference < friction.high
    assert friction.settled == (friction.low > 0 or friction.high < 0)
    assert pair.more_shots_for_boards is None or pair.more_shots_for_boards > 0
    with pytest.raises(InputError, match="a comparison needs two"):
        compare_balls(result, log, balls, patterns, BALL, BALL)
    # the boards are those of the fitted balls on all releases thrown, by the fitted file's way
    basis = fitted.Basis(result.fitted)
    model = ShotModel(log, balls, patterns, result.terms)
    rows = np.zeros((count, 7))
    rows[:, :6] = model.centre(result.z)
    ends = [throw_many(basis.ball(balls[n]), rows, basis.pattern(patterns[PATTERN]),
                       friction=basis.friction, keep_paths=True).path_board[:, 59]
            for n in (BALL, "old-solid")]
    assert pair.releases == count
    # films in other units, so other steps of the integrator: a hundredth of a board
    assert pair.differences[2].difference == pytest.approx(float(np.mean(ends[1] - ends[0])),
                                                           abs=0.02)


# ---- the player's spread


def test_spread_is_the_textbook_one_with_drift_between_games_removed(tmp_path):
    rng = np.random.default_rng(4)
    game = np.repeat([1, 2, 3], 20)
    laydown = 20 + 3.0 * game + 0.8 * rng.standard_normal(60)  # moves 3 boards a game
    values = {"laydown_board": laydown, "launch_angle_deg": -2 + 0.3 * rng.standard_normal(60),
              "speed_mph": 18 + 0.4 * rng.standard_normal(60), "entry_board": np.full(60, 17.0)}
    log = ShotLog("s", values, game=tuple(game.tolist()), ball=("b",) * 60)
    tiny = dict.fromkeys(("laydown_board", "launch_angle_deg", "speed_mph"), 1e-6)
    found = estimate_spread(log, measurement_sd=tiny)
    column = found.columns["laydown_board"]
    # pooled variance within games, 60 - 3 degrees of freedom
    pooled = sum(np.sum((laydown[game == g] - laydown[game == g].mean()) ** 2) for g in (1, 2, 3))
    assert column.freedom == 57
    assert column.seen == pytest.approx(math.sqrt(pooled / 57), rel=1e-6)
    assert column.low < column.seen < column.high
    assert not found.columns["tilt_deg"].estimated
    path = tmp_path / "me.toml"
    path.write_text(found.player_text("me"))
    player = load_player(path)
    assert player.spread.sd_laydown_board == pytest.approx(column.sd, abs=1e-4)
    # derived: with nothing read, the middle of what is assumed is what is assumed
    assert player.spread.sd_tilt_deg == pytest.approx(LEVELS["200"].sd_tilt_deg, rel=1e-3)
    assert "assumed level 200; that alone for rev_rpm" in player.spread_source


def test_a_spread_without_measuring_error_has_the_textbooks_interval():
    """chi2(57) has 0.025 and 0.975 points 38.03 and 79.75 (tables; textbook).

    With a prior so wide that it says nothing p(ln s) is flat, and the posterior of total/s^2 is
    chi^2 with the degrees of freedom (textbook).
    """
    sd, low, high, told = spread_interval(57 * 0.8**2, 57, measuring=1e-9, assumed=0.9, most=5.0,
                                          log_sd=100.0)
    assert low == pytest.approx(0.8 * math.sqrt(57 / 79.75), rel=1e-3)
    assert high == pytest.approx(0.8 * math.sqrt(57 / 38.03), rel=1e-3)
    assert low < 0.8 < high and sd == pytest.approx(0.8, rel=0.02) and told < 0.1


def test_a_spread_is_never_nothing_and_starts_from_the_players_level():
    # readings that do not vary at all: the measuring explains them, the spread is small, not 0
    sd, low, high, told = spread_interval(0.0, 9, measuring=0.5, assumed=0.3, most=3.0)
    assert 0.0 < low < sd < high < 0.5 and told < 1.0
    # nothing read: the assumed one, within the stated factor either way
    sd, low, high, told = spread_interval(0.0, 0, measuring=0.5, assumed=0.3, most=3.0)
    assert sd == pytest.approx(0.3, rel=1e-3) and told == pytest.approx(1.0)
    assert high / sd == pytest.approx(math.exp(1.959964 * 0.5), rel=1e-2)
    assert sd / low == pytest.approx(math.exp(1.959964 * 0.5), rel=1e-2)


def test_intervals_of_a_spread_hold_the_truth():
    """Truth drawn from the prior: a 95 % interval covers in 95 % of 2,000 draws.

    From the outside: hits are binomial, and 1,862 to 1,935 are its 0.01 % and 99.99 % points
    (SD 9.75; normal approximation +-3.72 SD).
    """
    rng = np.random.default_rng(9)
    hits = 0
    for _ in range(2000):
        true = 0.4 * math.exp(0.5 * rng.standard_normal())
        freedom = int(rng.integers(1, 30))
        total = float((true**2 + 0.3**2) * rng.chisquare(freedom))
        _, low, high, _ = spread_interval(total, freedom, measuring=0.3, assumed=0.4, most=1e9)
        hits += low < true < high
    assert 1862 <= hits <= 1937, hits


def test_measuring_errors_are_taken_out_of_the_spread():
    rng = np.random.default_rng(5)
    n = 4000
    true = Spread(0.8, 0.3, 0.4, 10, 3, 2)
    sd = measuring_sds()
    noisy = {c: 20 + math.hypot(s, sd[c]) * rng.standard_normal(n)
             for c, s in zip(("laydown_board", "speed_mph"), (0.8, 0.4), strict=True)}
    log = ShotLog("s", noisy | {"launch_angle_deg": np.zeros(n), "entry_board": np.ones(n)})
    found = estimate_spread(log)
    for name, key in (("laydown_board", "sd_laydown_board"), ("speed_mph", "sd_speed_mph")):
        assert found.columns[name].low < getattr(true, key) < found.columns[name].high
    still = found.columns["launch_angle_deg"]
    assert 0.0 < still.sd < sd["launch_angle_deg"]


# ---- the command


def test_the_command_writes_files_that_other_commands_read(lanesim, empty_folder, balls, patterns):
    import json

    from lanesim.fit.shots_file import write_shots

    log = shots(balls, patterns, [*RELEASES, "board_at_45ft", "entry_board"], count=8)
    write_shots(empty_folder / "mine.csv", log)
    done = lanesim("fit", "mine.csv", "--params", "ball_friction", "--starts", "1", "--folds", "0",
                   "--profile", "none", "--out", "f.toml", "--player-out", "me.toml", "--figure",
                   "fit.png", "--json")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["provenance"] == "fitted to 8 shots"
    factor = told["parameters"]["ball_friction strong-solid"]["estimate"]
    read = fitted.load_fitted(empty_folder / "f.toml")
    assert read.balls[BALL].friction_factor == pytest.approx(factor, rel=1e-12)
    assert load_player(empty_folder / "me.toml").release.speed_mph == pytest.approx(
        log.column("speed_mph").mean(), abs=1e-3)
    assert (empty_folder / "fit.png").stat().st_size > 10_000


def test_the_command_lets_the_oil_change_from_game_to_game(lanesim, empty_folder, balls, patterns):
    import json

    from lanesim.fit.shots_file import read_shots, write_shots

    log = shots(balls, patterns, [*RELEASES, "board_at_45ft", "entry_board"], count=6,
                games=[1, 1, 1, 4, 4, 4])
    write_shots(empty_folder / "mine.csv", log)
    words = ("fit", "mine.csv", "--params", "ball_friction", "--starts", "1", "--folds", "0",
             "--profile", "none", "--seed", "3", "--json")
    told = [json.loads(lanesim(*words, *more).stdout)["parameters"]["ball_friction strong-solid"]
            for more in ((), ("--transition",))]
    # the same as films_by_game in Python on the file as written, and not the fit on fresh oil
    read = read_shots(empty_folder / "mine.csv")
    films = films_by_game(read, balls, patterns, seed=3)
    again = fit.fit_shots(read, balls, patterns, parameters=("ball_friction",), starts=1, folds=0,
                          profile="none", seed=3, films=films)
    assert told[1]["estimate"] == pytest.approx(float(again.estimate[0]), rel=1e-9)
    assert abs(told[1]["estimate"] - told[0]["estimate"]) > 1e-4


@pytest.mark.parametrize("count", [1, 5])
def test_few_shots_give_wide_intervals_and_a_player_of_the_level_asked_for(
        lanesim, empty_folder, balls, patterns, count):
    """Five shots of two balls, or one shot, which has no spread at all."""
    from lanesim.fit.shots_file import write_shots

    thrown = [BALL, "old-solid", BALL, "old-solid", BALL][:count]
    log = shots(balls, patterns, ["laydown_board", "launch_angle_deg", "speed_mph", "rev_rpm",
                                  "entry_board"], count=count, thrown=thrown)
    write_shots(empty_folder / "few.csv", log)
    for level in ("elite", "160"):
        done = lanesim("fit", "few.csv", "--starts", "1", "--profile", "none", "--level", level,
                       "--player-out", f"{level}.toml")
        assert done.exit_code == 0, done.output
        assert ("your shots say" in done.stdout and "hardly tell" in done.stdout) or count == 1
        assert "say nothing of how much" in done.stdout
    elite, club = (load_player(empty_folder / f"{level}.toml") for level in ("elite", "160"))
    # derived: what nothing was read of is the level's own, and the rest leans to it
    assert elite.spread.sd_tilt_deg == pytest.approx(LEVELS["elite"].sd_tilt_deg, rel=1e-3)
    assert club.spread.sd_tilt_deg == pytest.approx(LEVELS["160"].sd_tilt_deg, rel=1e-3)
    assert np.all(elite.spread.array() > 0) and np.all(elite.spread.array() < club.spread.array())
    assert "elite" in elite.spread_source and "160" in club.spread_source


def test_the_players_own_level_stands_in_for_what_was_not_measured(balls, patterns):
    log = shots(balls, patterns, ["laydown_board", "launch_angle_deg", "speed_mph", "entry_board"],
                count=3)
    terms, _ = make_terms(log, ["ball_friction"])
    for level in ("elite", "160"):
        model = ShotModel(log, balls, patterns, terms, spread=LEVELS[level])
        np.testing.assert_allclose(np.diag(model.x_cov[0])[3:],
                                   LEVELS[level].array()[3:] ** 2, rtol=1e-12)


def test_revs_that_come_with_speed_are_found_with_the_right_sign(balls, patterns):
    """Shots of a player whose revs rise (fall) by 15 rpm with each mph, revs never read.

    Truth by construction: simulate_shots turns the ball so. Without the term the fit must take
    every shot at the same revs.
    """
    tight = dict.fromkeys(("laydown_board", "launch_angle_deg", "speed_mph", "rotation_deg",
                           "tilt_deg", "board_at", "entry_board", "entry_angle_deg"), 0.05)
    columns = ["laydown_board", "launch_angle_deg", "speed_mph", "rotation_deg", "tilt_deg",
               "board_at_45ft", "entry_board", "entry_angle_deg"]
    steady = Spread(0.5, 0.15, 0.8, 2.0, 1.0, 0.5)
    for slope in (15.0, -15.0):
        log = simulate_shots(balls, patterns, [BALL] * 16, [PATTERN] * 16, RELEASE, steady,
                             {("rev_per_mph", ""): slope}, columns, seed=3, measurement_sd=tight)
        result = fit.fit_shots(log, balls, patterns, usual=RELEASE, parameters=("ball_friction",),
                               spread=steady, measurement_sd=tight, starts=1, folds=0,
                               profile="none")
        i = result.index("rev_per_mph")
        assert any("faster shot" in n for n in result.notes)
        # one seeded draw: sign beyond doubt, truth inside the interval widened to 99.9 %
        assert np.sign(result.estimate[i]) == np.sign(slope)
        assert abs(result.estimate[i] - slope) < 3.29 * result.sd_share[i] * 15.0
        assert result.sd_share[i] < 0.5
        assert "rev_rpm" not in result.fitted.release_offsets


def test_starts_that_end_elsewhere_are_explained():
    from lanesim.fit.checks import disagreement
    from lanesim.fit.parameters import Term

    terms = (Term("oil_amount", "medium-42", 0.15), Term("angle_offset", "", 0.15))
    z, sd = np.array([0.0, 1.0]), np.array([0.2, 0.5])
    ends = np.array([[0.0, 1.0], [-2.0, 1.1], [0.0, 1.0]])
    (text,) = disagreement(terms, z, sd, np.array([5.0, 7.0, 5.0]), ends)
    assert "2 of 3 starts" in text and "oil_amount medium-42 0.74 for 1.00" in text
    assert "7.4 times less likely" in text and "angle" not in text
    assert disagreement(terms, z, sd, np.array([5.0, 5.2, 5.0]), ends) == []


@pytest.mark.parametrize(("options", "words"), [
    (("--params", "ball_fricton"), "did you mean 'ball_friction'"),
    (("--measuring", "entry_board"), "accepted: NAME=SD"),
    (("--compare-balls", "strong-solid", "nothing"), "nothing"),
    (("--transition",), "more than one game"),
])
def test_the_command_says_what_is_wrong_in_one_line(lanesim, empty_folder, balls, patterns,
                                                    options, words):
    from lanesim.fit.shots_file import write_shots

    write_shots(empty_folder / "mine.csv", shots(balls, patterns, [*RELEASES, "entry_board"],
                                                 count=3))
    done = lanesim("fit", "mine.csv", "--starts", "1", "--folds", "0", "--profile", "none",
                   *options)
    assert done.exit_code == 2
    assert words in done.stderr
    assert not done.stdout


def test_names_that_are_files_come_back_as_the_names_that_other_commands_ask_for(
        lanesim, empty_folder, balls, patterns):
    from lanesim.fit.shots_file import write_shots
    from lanesim.lane.oil_file import pattern_text

    # a pattern of one's own: what is made up would be named after the shots
    (empty_folder / "mine.oil").write_text(
        pattern_text(replace(patterns[PATTERN], name="our-house", invented=False)))
    (empty_folder / "bag.toml").write_text(
        '[gym-bag]\ntitle = "mine"\nweight_lb = 15\nrg_in = 2.5\ndiff_in = 0.048\n'
        'cover = "reactive-hybrid"\nfinish = "1500"\ndrilling_deg = 45\n'
        'pin_to_pap_in = 4.25\nval_deg = 35\n')
    log = shots(balls, patterns, [*RELEASES, "entry_board"], count=6)
    log = replace(log, ball=("gym-bag",) * 6, pattern=("mine.oil",) * 6)
    write_shots(empty_folder / "s.csv", log)
    done = lanesim("fit", "s.csv", "--ball", "bag.toml:gym-bag", "--params",
                   "ball_friction,oil_amount", "--starts", "1", "--folds", "0", "--profile", "none",
                   "--out", "f.toml")
    assert done.exit_code == 0, done.output
    told = lanesim("throw", "--ball", "bag.toml", "--pattern", "mine.oil", "--fitted", "f.toml")
    assert "fitted to 6 shots\n" in told.stdout
    # an unknown one is named with its line, and how a file of one's own is given
    done = lanesim("fit", "s.csv")
    assert done.exit_code == 2 and not done.stdout
    assert "s.csv line 2: unknown ball 'gym-bag'" in done.stderr and "FILE.toml:NAME" in done.stderr


# ---- the fitted file in the other commands

FEW = {
    "throw": (),
    "compare": ("--finish", "1000", "--finish", "2000", "--shots", "64"),
    "sweep": ("--over", "speed=17:19:2"),
    "lineup": ("--shots", "64", "--effort", "quick"),
    "odds": ("--line", "given", "--shots", "64"),
    "wear": ("--ball", "strong-solid", "--shots", "32", "--sets", "4"),
    "transition": ("--games", "1", "--lanes", "1", "--shots", "16"),
}


@pytest.fixture(scope="module")
def demo_fit(tmp_path_factory):
    """The fitted file of the invented demo shots, by the command."""
    from click.testing import CliRunner

    from lanesim.catalog import DATA
    from lanesim.cli import cli

    path = tmp_path_factory.mktemp("fit") / "f.toml"
    done = CliRunner().invoke(cli, ["fit", str(DATA / "demo_shots.csv"), "--starts", "1", "--folds",
                                    "0", "--profile", "none", "--out", str(path)])
    assert done.exit_code == 0, done.output
    return path


@pytest.mark.parametrize("command", FEW)
def test_every_command_takes_the_file_and_says_so(lanesim, demo_fit, command):
    import json

    assumed = json.loads(lanesim(command, *FEW[command], "--json").stdout)
    told = json.loads(lanesim(command, *FEW[command], "--fitted", str(demo_fit), "--json").stdout)
    assert assumed.pop("provenance") == "assumed; invented ball and oil pattern"
    assert told.pop("provenance").startswith("fitted to 48 shots; invented ")
    assert told != assumed


@pytest.mark.parametrize("command", FEW)
def test_a_wrong_fitted_file_is_one_line_and_code_two(lanesim, empty_folder, command):
    (empty_folder / "shots.toml").write_text('format = "lanesim-fitted-1"\nshots = 3\nbals = 1\n')
    for name, words in (("none.toml", "not found"), ("shots.toml", "bals")):
        done = lanesim(command, *FEW[command], "--fitted", name)
        assert done.exit_code == 2
        assert not done.stdout
        (line,) = done.stderr.splitlines()
        assert line.startswith("lanesim: ") and name in line and words in line


def test_fitted_answers_are_those_of_the_fit_and_nearer_to_the_truth(lanesim, demo_fit):
    """The demo's truth is known (DEMO_TRUTH): the fitted path must lie nearer to the path that
    the true values give than the assumed one does."""
    import json

    from lanesim.fit.invented import DEMO_PATTERN, DEMO_RELEASE, DEMO_TRUTH

    options = [f"--{name}={getattr(DEMO_RELEASE, field)}" for name, field in (
        ("speed", "speed_mph"), ("revs", "rev_rpm"), ("rotation", "rotation_deg"),
        ("tilt", "tilt_deg"), ("laydown", "laydown_board"), ("angle", "launch_angle_deg"))]
    assumed = json.loads(lanesim("throw", *options, "--json").stdout)
    told = json.loads(lanesim("throw", *options, "--fitted", str(demo_fit), "--json").stdout)
    truth = fitted.Basis(fitted.Fitted(
        1, balls={BALL: fitted.BallFactors(DEMO_TRUTH["ball_friction", BALL])},
        patterns={PATTERN: fitted.PatternFactors(DEMO_TRUTH["oil_amount", DEMO_PATTERN])},
        release_offsets={"launch_angle_deg": DEMO_TRUTH["angle_offset", ""],
                         "rotation_deg": DEMO_TRUTH["rotation_offset", ""]}))
    found = fitted.Basis(fitted.load_fitted(demo_fit))
    ball, pattern = load_ball(BALL), load_pattern_named(PATTERN)

    def entry(basis):
        return throw(basis.ball(ball), basis.release(DEMO_RELEASE), basis.pattern(pattern),
                     friction=basis.friction).entry_board

    assert told["entry_board"] == pytest.approx(entry(found), abs=1e-6)
    assert assumed["entry_board"] == pytest.approx(entry(fitted.Basis()), abs=1e-6)
    assert abs(entry(found) - entry(truth)) < 0.5 * abs(entry(fitted.Basis()) - entry(truth))


def test_provenance_and_own_measure_are_in_the_text(lanesim, demo_fit):
    fit_options = ("--fitted", str(demo_fit))
    assert "model    fitted to 48 shots" in lanesim("throw", *fit_options).stdout
    assert "model    assumed" in lanesim("throw").stdout
    shown = lanesim("odds", *FEW["odds"], *fit_options, "--ball", "weak-pearl").stdout
    assert "model: fitted to 48 shots; ball 'weak-pearl' assumed" in shown
    # the line is given as the player measures it, -2.2 deg; the offset makes the true one
    assert "24.0, -2.20 deg" in shown
    for command in ("compare", "sweep", "wear", "transition"):
        assert "model: fitted to 48 shots" in lanesim(
            command, *FEW[command], *fit_options).stdout
    found = lanesim("lineup", *FEW["lineup"], *fit_options).stdout
    assert "fitted to 48 shots" in found and "as you measure" in found
