"""Invented shots with known truth: for tests, for planning what to measure, and the demo's file."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..equipment.ball import Ball
from ..errors import nearest_name
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import arrow_distance_ft
from ..lane.pattern import OilPattern
from ..player import LEVELS, Release, Spread
from ..streams import Stage, stream
from .parameters import PARAMETERS, RELEASES, Term, measuring_sds
from .shot_model import ShotModel
from .shots_file import ShotLog


def simulate_shots(
    balls: Mapping[str, Ball], patterns: Mapping[str, OilPattern], thrown: Sequence[str],
    on: Sequence[str], release: Release, spread: Spread, truth: Mapping[tuple[str, str], float],
    columns: Sequence[str], *, seed: int, hand: str = "right",
    measurement_sd: Mapping[str, float] | None = None, friction: FrictionModel = DEFAULT_FRICTION,
    games: Sequence[int] = (),
) -> ShotLog:
    """Invented shots with known truth, for tests and for planning what to measure.

    Parameters
    ----------
    thrown, on : (n,) name of the ball and of the pattern of each shot.
    release, spread : the player's true release and its spread.
    truth : (kind, target) -> true value of PARAMETERS; what is absent stays at its default.
    columns : what is measured, each with a normal error of `measurement_sd` (measuring_sds). That
        a ball went into the gutter is always written down.
    seed : of releases and errors.

    Returns
    -------
    ShotLog; a column of which the ball gave no value (not so far, no pin touched) is NaN there.
    """
    for kind, _ in truth:
        if kind not in PARAMETERS:
            raise nearest_name(kind, PARAMETERS, "parameter")
    count = len(thrown)
    generator = stream(Stage.FIT_INVENTED, seed)
    x = release.row()[:6] + spread.deviations(generator.standard_normal((count, 6)))
    for (kind, _), value in truth.items():
        along = PARAMETERS[kind].along
        if along:
            faster = x[:, RELEASES.index(along)] - getattr(release, along)
            x[:, RELEASES.index(PARAMETERS[kind].column)] += value * faster
    sd = measuring_sds(measurement_sd)
    # a log that names the columns makes ShotModel predict them; its values are then replaced
    blank = np.full(count, 15.0)
    board_at = {float(n[9:-2]): blank for n in columns if n.startswith("board_at_")}
    values = dict(zip(RELEASES, x.T, strict=True)) | {
        n: blank for n in columns if n not in RELEASES and not n.startswith("board_at_")
        and n != "outcome"}
    log = ShotLog("simulated", values, board_at, tuple(thrown), tuple(on), (), tuple(games))
    terms = [Term(kind, target, PARAMETERS[kind].prior_sd) for kind, target in truth
             if not PARAMETERS[kind].column]
    model = ShotModel(log, balls, patterns, terms, hand=hand, friction=friction,
                      measurement_sd=measurement_sd)
    z = np.concatenate([_z_of(terms, truth), np.zeros(6)])
    if "arrow_board" in columns:
        # which arrow is nearest depends on the board crossed: settle the two together
        for _ in range(3):
            aimed = model.predict(z[None], x[None]).filled[0, :, model.columns.index("arrow_board")]
            model.arrow_ft = np.array([arrow_distance_ft(float(np.clip(b, 1, 39)))
                                       for b in aimed])
    told = model.predict(z[None], x[None]).columns[0]
    ends = model.outcomes(z, x)
    measured: dict[str, np.ndarray] = {}
    for c, name in enumerate(RELEASES):
        if name in columns:
            offset = sum(v for (kind, _), v in truth.items()
                         if PARAMETERS[kind].column == name and not PARAMETERS[kind].along)
            measured[name] = x[:, c] - offset + sd[name] * generator.standard_normal(count)
    for c, name in enumerate(model.columns):
        measured[name] = told[:, c] + model.y_sd[c] * generator.standard_normal(count)
    boards = {float(n[9:-2]): measured.pop(n) for n in model.columns if n.startswith("board_at_")}
    return ShotLog("simulated", measured, boards, tuple(thrown), tuple(on),
                   tuple(w if "outcome" in columns or w == "gutter" else "" for w in ends),
                   tuple(games))


def _z_of(terms: Sequence[Term], truth: Mapping[tuple[str, str], float]) -> np.ndarray:
    values = [truth[t.kind, t.target] for t in terms]
    return np.array([(math.log(v) if t.parameter.is_factor else v) / t.prior_sd
                     for t, v in zip(terms, values, strict=True)])


# The demo's truth. Two copies of one shipped ball: the new one as it is, the other 80 games older.
DEMO_BALLS = ("strong-solid", "old-solid")
DEMO_PATTERN = "medium-42"
DEMO_SEED = 7
DEMO_TRUTH: dict[tuple[str, str], float] = {
    ("ball_friction", "strong-solid"): 1.06,
    ("ball_friction", "old-solid"): 0.92,
    ("oil_amount", DEMO_PATTERN): 0.93,
    ("angle_offset", ""): 0.10,
    ("rotation_offset", ""): -4.0,
}

DEMO_COLUMNS = ("laydown_board", "launch_angle_deg", "speed_mph", "rev_rpm", "rotation_deg",
                "tilt_deg", "board_at_30ft", "board_at_45ft", "breakpoint_board",
                "speed_pins_mph", "entry_board", "entry_angle_deg", "outcome")

DEMO_RELEASE = Release(speed_mph=18.0, rev_rpm=380.0, rotation_deg=48.0, tilt_deg=14.0,
                       laydown_board=24.0, launch_angle_deg=-2.15)

DEMO_DECIMALS = {"rev_rpm": 0, "rotation_deg": 0, "tilt_deg": 0, "launch_angle_deg": 2}


def demo_shots() -> ShotLog:
    """The INVENTED shots of lanesim/data/demo_shots.csv: 48 throws, two balls in turn, one game.

    Made by the batch engine from DEMO_TRUTH, a player of level "220" and the assumed measuring
    errors, then rounded as a player would write them down. No measured shots of a real player were
    available to us.
    """
    from ..catalog import load_ball, load_pattern_named

    count = 48
    thrown = [DEMO_BALLS[i % 2] for i in range(count)]
    log = simulate_shots(
        {n: load_ball(n) for n in DEMO_BALLS}, {DEMO_PATTERN: load_pattern_named(DEMO_PATTERN)},
        thrown, [DEMO_PATTERN] * count, DEMO_RELEASE, LEVELS["220"], DEMO_TRUTH, DEMO_COLUMNS,
        seed=DEMO_SEED, games=[1] * count)
    values = {n: np.round(v, DEMO_DECIMALS.get(n, 1)) for n, v in log.values.items()}
    boards = {d: np.round(v, 1) for d, v in log.board_at.items()}
    return replace(log, values=values, board_at=boards)
