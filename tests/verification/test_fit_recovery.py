"""The fit against closed forms and against shots whose truth is known."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from lanesim.catalog import DATA, load_ball, load_pattern_named
from lanesim.fit import fit
from lanesim.fit.films import films_by_game
from lanesim.fit.invented import (
    DEMO_BALLS,
    DEMO_PATTERN,
    DEMO_TRUTH,
    demo_shots,
    simulate_shots,
)
from lanesim.fit.local import look
from lanesim.fit.parameters import PARAMETERS, RELEASES, Term, make_terms
from lanesim.fit.posterior import robust_constants, solve_posterior
from lanesim.fit.shot_model import STEP_Z, Predicted, ShotModel
from lanesim.fit.shots_file import ShotLog, read_shots
from lanesim.lane.geometry import FRICTION_CAP
from lanesim.player import LEVELS, Player, Release
from lanesim.studies.transition import Entrant, pattern_after

BALL, PATTERN = "strong-solid", "medium-42"
KINDS = ("ball_friction", "oil_amount", "angle_offset", "rotation_offset")
COLUMNS = (*RELEASES, "board_at_40ft", "board_at_50ft", "breakpoint_board", "entry_board",
           "entry_angle_deg")
RELEASE = Release(speed_mph=18.6, rev_rpm=436, rotation_deg=45, tilt_deg=15, laydown_board=24,
                  launch_angle_deg=-2.2)


def test_a_linear_model_gives_the_closed_form_gaussian_posterior():
    # derived: y = A z + e, e ~ N(0, I), z ~ N(0, I)
    # -> covariance (A^T A + I)^-1, mean that times A^T y
    rng = np.random.default_rng(2)
    a = rng.standard_normal((12, 4)) * [3.0, 1.0, 0.3, 0.0]
    y = a @ rng.standard_normal(4) + rng.standard_normal(12)
    covariance = np.linalg.inv(a.T @ a + np.eye(4))
    found = solve_posterior(lambda z: y - a @ z, lambda z: -a, np.zeros(4), np.full(4, -9.0),
                                np.full(4, 9.0))
    np.testing.assert_allclose(found.z, covariance @ a.T @ y, atol=1e-5)
    np.testing.assert_allclose(found.covariance, covariance, atol=1e-10)
    # the last column is zero: the data say nothing, and the prior comes back
    assert found.covariance[3, 3] == pytest.approx(1.0)


def test_a_held_parameter_raises_the_cost_by_the_textbook_parabola():
    # derived: profile of a Gaussian posterior, rise of -2 log = (z_j - mean_j)^2/C_jj
    rng = np.random.default_rng(3)
    a = rng.standard_normal((9, 3))
    y = rng.standard_normal(9)
    args = (lambda z: y - a @ z, lambda z: -a, np.zeros(3), np.full(3, -9.0), np.full(3, 9.0))
    best = solve_posterior(*args)
    held = solve_posterior(*args, held={1: best.z[1] + 0.7})
    assert 2 * (held.cost - best.cost) == pytest.approx(0.49 / best.covariance[1, 1], rel=1e-6)


def edge_shots(count: int = 1):
    """Shots that run along the edge, of which about a third of the open releases would leave."""
    balls = {BALL: load_ball(BALL)}
    patterns = {PATTERN: load_pattern_named(PATTERN)}
    values = {"laydown_board": np.full(count, 24.0), "launch_angle_deg": np.full(count, -3.3),
              "speed_mph": np.full(count, 18.6), "rev_rpm": np.full(count, 436.0),
              "rotation_deg": np.full(count, 45.0), "tilt_deg": np.full(count, 15.0),
              "breakpoint_board": np.full(count, 1.0), "entry_board": np.full(count, 11.0)}
    return balls, patterns, ShotLog("edge", values, {}, (BALL,) * count, (PATTERN,) * count)


def test_a_ball_that_reached_the_pins_is_compared_with_balls_that_did():
    """Averages and their slopes are conditional on how the shot ended.

    From the outside: 6,000 random releases of the same normal law, less those that leave the lane;
    the slope in the launch angle by moving the law's mean by +-0.1 deg. A mean over all releases,
    the end of the path standing in for the entry, is boards away.
    """
    balls, patterns, log = edge_shots()
    terms, _ = make_terms(log, ["angle_offset"])
    model = ShotModel(log, balls, patterns, terms)
    z = np.zeros(len(model.terms))
    local = look(model, z, fine=True)
    n = 6000
    noise = np.random.default_rng(3).standard_normal((n, 6)) * np.sqrt(np.diag(model.x_cov[0]))

    def conditional(shift_deg):
        x = model.centre(z)[0] + noise
        x[:, 1] += shift_deg
        told = model.predict(np.repeat(z[None], n, axis=0), x[:, None, :])
        return told.columns[:, 0], told.filled[:, 0], np.isfinite(told.columns[:, 0]).all(axis=1)

    columns, filled, stayed = conditional(0.0)
    assert 0.1 < 1 - stayed.mean() < 0.6  # the case is one
    mean, sd = columns[stayed].mean(axis=0), columns[stayed].std(axis=0)
    # 64 releases, of which half stay at the least: 5 standard errors of as many independent ones
    # would be 5/sqrt(32); they are even, so a fifth of an SD is asked for
    assert np.all(np.abs(local.mean[0] - mean) < 0.2 * sd)
    entry = model.columns.index("entry_board")
    assert abs(filled[:, entry].mean() - mean[entry]) > 2.0 * sd[entry]
    ends = []
    for side in (0.1, -0.1):
        told, _, stayed = conditional(side)
        ends.append(told[stayed].mean(axis=0))
    slope = (ends[0] - ends[1]) / 0.2 * terms[0].prior_sd
    # sampling error of 64 releases' covariance with the deviate: SD/sqrt(32) a unit of it
    error = sd / math.sqrt(32) * terms[0].prior_sd / math.sqrt(model.x_cov[0, 1, 1])
    assert np.all(np.abs(local.slope[0, :, 0] - slope) < 2 * error)


def test_shots_along_the_edge_are_fitted_without_harm():
    """Five times ten invented shots along the edge, most of them inside board 4 at their outermost.

    They are thrown with the assumed values, so a fit has nothing to gain and can only do harm.
    Averages over releases that would have gone into the gutter predict such shots up to 10 boards
    off and more than double the held-out entry error. No shot that came to the pins may be taken
    for an outlier, and the held-out errors, the five fits together, may not grow by more than
    noise: an RMS of n errors has a relative standard error of 1/sqrt(2 n) (textbook).
    """
    balls = {BALL: load_ball(BALL)}
    patterns = {PATTERN: load_pattern_named(PATTERN)}
    columns = ("laydown_board", "arrow_board", "speed_mph", "rev_rpm", "rotation_deg",
               "breakpoint_board", "entry_board", "entry_angle_deg")
    along_the_edge = replace(RELEASE, launch_angle_deg=-3.1)
    outermost, held_out = [], {}
    for seed in range(1, 6):
        log = simulate_shots(balls, patterns, [BALL] * 10, [PATTERN] * 10, along_the_edge,
                             LEVELS["220"], {}, columns, seed=seed)
        outermost.append(log.column("breakpoint_board"))
        result = fit.fit_shots(log, balls, patterns, starts=1, profile="none")
        assert not result.outliers
        entry = result.residual[:, result.columns.index("entry_board")]
        assert np.all(np.abs(entry) < 3.0)
        for name, column in result.cross_validated.items():
            held_out.setdefault(name, []).append(
                [column["shots"], *(column["shots"] * column[f"{of}_rms"] ** 2
                                    for of in ("fitted", "assumed"))])
    assert np.mean(np.concatenate(outermost) < 4.0) > 0.5  # the case is one
    assert set(held_out) == {"breakpoint_board", "entry_board", "entry_angle_deg"}
    for sums in held_out.values():
        shots, fitted, assumed = np.sum(sums, axis=0)
        assert math.sqrt(fitted / assumed) < 1.0 + 1.0 / math.sqrt(2 * shots)


def test_robust_constants_are_those_of_the_normal_law():
    # from the outside: direct integration of psi' and psi^2 against the normal density
    from scipy.integrate import quad

    def density(r):
        return math.exp(-r * r / 2) / math.sqrt(2 * math.pi)

    for c in (1.0, 3.0):
        bend, square = robust_constants(c)
        assert bend == pytest.approx(
            quad(lambda r, c=c: density(r) * (1 + (r / c) ** 2) ** -1.5, -12, 12)[0], rel=1e-4)
        assert square == pytest.approx(
            quad(lambda r, c=c: density(r) * r * r / (1 + (r / c) ** 2), -12, 12)[0], rel=1e-4)
    assert robust_constants(math.inf) == (1.0, 1.0)


@pytest.mark.parametrize("fine", [False, True])
def test_the_averaged_prediction_is_that_of_many_random_releases(fine):
    # from the outside: plain Monte Carlo over the same normal law of releases
    ball, pattern = load_ball(BALL), load_pattern_named(PATTERN)
    balls, patterns = {BALL: ball}, {PATTERN: pattern}
    log = simulate_shots(balls, patterns, [BALL], [PATTERN], RELEASE, LEVELS["220"], {},
                         [*RELEASES, "board_at_50ft", "breakpoint_board"], seed=1)
    terms, _ = make_terms(log, ["ball_friction"])
    model = ShotModel(log, balls, patterns, terms)
    local = look(model, np.zeros(7), fine=fine)
    spread = np.linalg.inv(local.whiten[0]) @ np.linalg.inv(local.whiten[0]).T
    n = 4000
    rng = np.random.default_rng(9)
    x = local.aimed.x[0] + rng.standard_normal((n, 6)) * np.sqrt(
        np.diag(local.aimed.covariance[0]))
    out = model.predict(np.zeros((n, 7)), x[:, None, :]).columns
    sample = out[:, 0, :-1]
    error = sample.std(axis=0) / math.sqrt(n)
    # five standard errors of the Monte Carlo mean, and 0.05 board for the cross terms that
    # second-order differences leave out
    np.testing.assert_allclose(local.mean[0, :-1], sample.mean(axis=0), atol=0.05 + 5 * error.max())
    # standard deviations within 10 %: fourth-order terms of f are not in the differences
    modelled = np.sqrt(np.diag(spread) - model.y_sd**2)
    np.testing.assert_allclose(modelled, sample.std(axis=0), rtol=0.10)


# where the fit cuts the prior of the ball's friction: near the standard's cap (ShotModel.limits)
FRICTION_TO = (math.log(FRICTION_CAP / load_ball(BALL).cover.dry_friction)
               / PARAMETERS["ball_friction"].prior_sd - 2 * STEP_Z)


def invented(seed: int, count: int, kinds=KINDS, columns=COLUMNS):
    """Truth drawn from the prior (as cut by the bounds), shots thrown: balls, patterns, truth, log.
    """
    balls = {BALL: load_ball(BALL)}
    patterns = {PATTERN: load_pattern_named(PATTERN)}
    rng = np.random.default_rng(np.random.SeedSequence([seed, 99]))
    truth = {}
    for kind in kinds:
        parameter = PARAMETERS[kind]
        target = {"ball": BALL, "pattern": PATTERN}.get(parameter.scope, "")
        z = rng.standard_normal()
        while kind == "ball_friction" and z > FRICTION_TO:
            z = rng.standard_normal()
        truth[kind, target] = float(parameter.value(z))
    log = simulate_shots(balls, patterns, [BALL] * count, [PATTERN] * count, RELEASE,
                         LEVELS["200"], truth, columns, seed=seed)
    return balls, patterns, truth, log


def replicate(seed: int, count: int, kinds=KINDS, columns=COLUMNS):
    """Truth drawn from the prior, shots thrown, fitted: hits (P,) of the 95 % intervals."""
    balls, patterns, truth, log = invented(seed, count, kinds, columns)
    result = fit.fit_shots(log, balls, patterns, parameters=kinds, starts=1, folds=0,
                           profile="none", seed=seed)
    true = np.array([truth[t.kind, t.target] for t in result.terms])
    return (result.low <= true) & (true <= result.high), result


def test_the_widths_are_those_of_slopes_averaged_over_many_random_releases():
    """Scattered slopes pass for information: J^T J of averages over few releases is too large.

    From the outside: plain Monte Carlo slopes, 400 random releases a shot, central differences of
    the engine's mean in every parameter, into the same formula. What spurious information is left
    falls as one over the number of releases. Asked for: posterior SDs within 2 % (a 95 % interval
    2 % too narrow still covers 94.5 %: 2 Phi(1.96 * 0.98) - 1). The search's averages over five
    releases miss that (3 to 10 % too narrow where looked), so the test can tell.
    """
    balls, patterns, _, log = invented(7004, 15)
    terms, _ = make_terms(log, KINDS)
    model = ShotModel(log, balls, patterns, terms)
    count, step = len(model.terms), 0.3
    z = np.zeros(count)
    local = look(model, z, fine=True)
    n = 400
    rng = np.random.default_rng(11)
    noise = rng.standard_normal((n, len(log), 6)) * np.sqrt(np.einsum("ncc->nc", model.x_cov))
    slope = np.zeros_like(local.slope)
    for j in range(len(terms)):
        ends = []
        for sign in (1.0, -1.0):
            at = z + sign * step * np.eye(count)[j]
            out = model.predict(np.repeat(at[None], n, axis=0), model.centre(at) + noise).columns
            ends.append(out.mean(axis=0)[:, :-1])
        slope[:, :-1, j] = (ends[0] - ends[1]) / (2 * step)
    # the errors of the release means are offsets of the same columns: laydown, revs, ... keep
    # the model's own slopes here, they hardly matter (SDs of a tenth of the measuring's)
    slope[:, :, len(terms):] = local.slope[:, :, len(terms):]

    def widths(of):
        rows = np.einsum("nij,njp->nip", local.whiten, of[:, :-1])[local.seen]
        inverse = np.linalg.inv(rows.T @ rows + np.eye(count))
        return np.sqrt(np.diag(inverse))[:len(terms)]

    np.testing.assert_allclose(widths(local.slope), widths(slope), rtol=0.02)
    coarse = widths(look(model, z).slope) / widths(slope)
    assert coarse.min() < 0.98


def test_ten_shots_give_one_friction_back():
    # 4 seeded fits of one parameter: fewer than 2 hits of a 95 % interval has probability 0.05 %
    hits = [bool(replicate(seed, 10, ("ball_friction",))[0][0]) for seed in range(4)]
    assert sum(hits) >= 2


@pytest.mark.slow
def test_intervals_hold_the_truth_at_their_nominal_rate(record_property):
    """Truth from the prior, so a calibrated 95 % interval covers in exactly 95 % of replicates.

    Criterion: the four parameters of one fit are correlated, so each is judged alone. With n
    replicates and coverage 0.95 the hits are binomial; each parameter must lie between the 0.1 %
    and the 99.9 % point of that law, 179 and 198 of 200. A correct fit fails with probability 0.05
    % and 0.04 % a side, at most 0.4 % over four parameters; coverage of 90 % is found out with
    probability 35 % for one parameter, 85 % with 96 %.

    In the open: this test was restated. It asked for 51 hits of 60 on the seeds 1000-1059, the same
    law, and the fit of that time FAILED with 55, 55, 52, 50. Today's gives 56, 57, 54, 50 there: it
    would FAIL still, by one hit. A plane in the engine's place, for which the intervals are nominal
    (the test below), gives 56, 57, 55, 51 on those seeds: the draws are unlucky. And sixty fits
    find out a coverage of 90 % with probability 7 % only. The seeds 5000-5199 and these limits were
    written down before any of them had been fitted; the fit was not changed after that. They gave
    189, 192, 190, 194.
    """
    n = 200
    hits = np.array([replicate(5000 + seed, 15)[0] for seed in range(n)]).sum(axis=0)
    record_property("hits", dict(zip(KINDS, hits.tolist(), strict=True)))
    assert np.all(hits >= binom.ppf(0.001, n, 0.95)), hits
    assert np.all(hits <= binom.ppf(0.999, n, 0.95)), hits


def surface_for_engine(monkeypatch, degree: int) -> None:
    """Puts a polynomial of the release and the parameters in the engine's place.

    The least-squares fit of all powers up to `degree` to 1,500 throws over the spread of releases
    and the prior; shots and fits are then made with it alike.
    """
    true_predict = ShotModel.predict
    balls, patterns, truth, log = invented(0, 1)
    terms = [Term(k, t, PARAMETERS[k].prior_sd) for k, t in truth
             if not PARAMETERS[k].column]
    model = ShotModel(log, balls, patterns, terms)
    core, x0, width = len(terms), RELEASE.row()[:6], LEVELS["200"].array()
    powers = [p for d in range(degree + 1)
              for p in itertools.combinations_with_replacement(range(6 + core), d)]

    def features(at):
        out = np.ones((*at.shape[:-1], len(powers)))
        for n, power in enumerate(powers):
            for i in power:
                out[..., n] *= at[..., i]
        return out

    at = 1.3 * np.random.default_rng(4).standard_normal((1500, 6 + core))
    at[:, 6:] = np.clip(at[:, 6:], *(side[:core] for side in model.limits()))
    zs = np.zeros((len(at), len(model.terms)))
    zs[:, :core] = at[:, 6:]
    told = true_predict(model, zs, (x0 + at[:, :6] * width)[:, None, :]).columns[:, 0]
    good = np.isfinite(told).all(axis=1)
    weight = np.linalg.lstsq(features(at[good]), told[good], rcond=None)[0]
    kinds = [t.kind for t in terms]

    def predict(self, zs, xs):
        at = np.zeros((*xs.shape[:2], 6 + core))
        at[..., :6] = (xs - x0) / width
        for j, term in enumerate(self.terms):
            if term.kind in kinds:
                at[..., 6 + kinds.index(term.kind)] = zs[:, None, j]
        columns = [model.columns.index(c) for c in self.columns]
        told = features(at) @ weight[:, [*columns, -1]]
        return Predicted(told, told, np.ones(told.shape[:2], dtype=bool))

    monkeypatch.setattr(ShotModel, "predict", predict)
    monkeypatch.setattr(ShotModel, "outcomes", lambda self, z, x: ["pocket"] * len(self.log))


@pytest.mark.slow
@pytest.mark.parametrize("degree", [1, 2])
def test_intervals_are_nominal_where_a_polynomial_replaces_the_engine(
        monkeypatch, record_property, degree):
    """The whole pipeline with f a plane, or as bent as the engine but smooth.

    Nothing but the statistics is left to be wrong. 200 replicates; for each parameter the hits must
    lie between the 0.1 % and the 99.9 % point of Binomial(200, 0.95).
    """
    surface_for_engine(monkeypatch, degree)
    n = 200
    hits = np.array([replicate(2000 + seed, 15)[0] for seed in range(n)]).sum(axis=0)
    record_property("hits", dict(zip(KINDS, hits.tolist(), strict=True)))
    assert np.all(hits >= binom.ppf(0.001, n, 0.95)), hits
    assert np.all(hits <= binom.ppf(0.999, n, 0.95)), hits


def test_films_by_game_follow_the_oil_and_the_fit_uses_them():
    """Shots of game 5 thrown on the lane as this player leaves it are fitted with its films.

    The lane of game 5 is made here by transition.pattern_after with the player's TRUE release and
    another seed; films_by_game has only the measured shots to go by.
    """
    ball, laid = load_ball(BALL), load_pattern_named(PATTERN)
    balls, patterns = {BALL: ball}, {PATTERN: laid}
    tight = dict.fromkeys(("laydown_board", "launch_angle_deg", "speed_mph", "rev_rpm",
                           "rotation_deg", "tilt_deg", "board_at", "entry_board"), 0.1)
    spread = LEVELS["elite"]
    me = Entrant(ball, Player("me", RELEASE, LEVELS["200"]))
    worn = pattern_after([me], laid, 4, seed=23)[4]
    columns = (*RELEASES, "board_at_40ft", "board_at_50ft", "entry_board")
    parts = [simulate_shots(balls, {PATTERN: on}, [BALL] * 8, [PATTERN] * 8, RELEASE, spread, {},
                            columns, seed=game, measurement_sd=tight, games=[game] * 8)
             for game, on in ((1, laid), (5, worn))]
    log = ShotLog("two games", {k: np.concatenate([p.values[k] for p in parts])
                                for k in parts[0].values},
                  {d: np.concatenate([p.board_at[d] for p in parts]) for d in parts[0].board_at},
                  (BALL,) * 16, (PATTERN,) * 16, (), (1,) * 8 + (5,) * 8)
    films = films_by_game(log, balls, patterns)
    assert sorted(films) == [(PATTERN, 1), (PATTERN, 5)]
    np.testing.assert_array_equal(films[PATTERN, 1], laid.film_m("right"))
    # derived: the ball takes oil where it rolls, so game 5 has less of it where most shots went
    # (rows 10-30 ft, boards from the measured straight line 24 - 15/2.7 ... are within 10 to 24)
    gone = laid.film_m("right") - films[PATTERN, 5]
    true_gone = laid.film_m("right") - worn.film_m("right")
    assert gone[10:30, 9:24].sum() > 0.0
    # the same oil is gone as on the lane made with the true release, up to the sample of shots
    assert np.corrcoef(gone.ravel(), true_gone.ravel())[0, 1] > 0.9
    options = {"parameters": ("ball_friction",), "starts": 1, "folds": 0, "profile": "none",
               "measurement_sd": tight}
    with_films = fit.fit_shots(log, balls, patterns, films=films, **options)
    without = fit.fit_shots(log, balls, patterns, **options)
    assert with_films.shot_chi2[8:].sum() < without.shot_chi2[8:].sum()
    # the oil the player did leave, as films: one seeded draw, the truth is the default (z = 0),
    # inside 99.9 %. (Not asked of films_by_game: they are one draw of what the player may have
    # left, and the interval takes them as known.)
    real = fit.fit_shots(log, balls, patterns, films=films | {(PATTERN, 5): worn.film_m("right")},
                         **options)
    assert abs(real.z[0]) < 3.29 * real.sd_share[0]


def test_the_demo_file_is_what_its_script_makes():
    shipped, made = read_shots(DATA / "demo_shots.csv"), demo_shots()
    assert shipped.ball == made.ball
    for name in RELEASES:  # no engine in these: equal to the printed digit
        np.testing.assert_allclose(shipped.column(name), made.column(name), atol=1e-9)
    # the engine's tolerances may move the last printed digit
    np.testing.assert_allclose(shipped.column("entry_board"), made.column("entry_board"), atol=0.11)


@pytest.mark.slow
def test_the_demo_gives_its_truth_back():
    log = read_shots(DATA / "demo_shots.csv")
    balls = {n: load_ball(n) for n in DEMO_BALLS}
    result = fit.fit_shots(log, balls, {DEMO_PATTERN: load_pattern_named(DEMO_PATTERN)}, starts=1,
                           folds=0, profile="none")
    for (kind, target), true in DEMO_TRUTH.items():
        i = result.index(f"{kind} {target}".strip())
        # one draw: the interval widened to 99.9 % (3.29/1.96 of its half-width, in prior SDs)
        z = (math.log(true) if PARAMETERS[kind].is_factor else true) / result.terms[i].prior_sd
        assert abs(z - result.z[i]) < 3.29 * result.sd_share[i], kind
