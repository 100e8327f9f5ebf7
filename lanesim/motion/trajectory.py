"""One throw followed in full, or thousands summed up: the results that everything else is built on.

`throw` integrates with the reference (scipy) and keeps the whole path; `throw_many` uses the batch
engine and keeps what a study needs. Both speak trade units and the PLAYER's boards: a left-hander
counts from the left, and his pattern is mirrored once, here, before the core sees it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, ClassVar

import numpy as np

from ..equipment.ball import Ball
from ..errors import InputError, check_kind
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import BALL_RADIUS_M, BOARD_M
from ..lane.pattern import OilPattern
from ..lane.surface import Lane
from ..player import Release, check_hand
from ..results import Result, Story
from ..units import FOOT_M, INCH_M, MICRON_M, MPH_MS, RPM_RADS
from . import batch, reference, setup
from . import kernels as k
from .pocket import OUTCOME_WORDS, OUTCOMES, STOPPED, classify

_SAMPLE_S = 0.01
HOOK_FROM_DEG = 1.0  # a path that turns by less goes straight: no hook and no roll is claimed
_GAUSS_NODES, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(6)

CURVES = (
    "t_s", "x_ft", "y_board", "speed_mph", "heading_deg", "slip_ms", "friction", "rev_rpm",
    "rotation_deg", "tilt_deg", "film_um", "track_film_um", "flare_in", "revolutions", "work_j",
    "regime",
)


def whole(value: float) -> str:
    """A number without decimals and without a minus before a nought."""
    return f"{round(float(value)) + 0:d}"


@dataclass(frozen=True, repr=False)
class Trajectory(Result):
    """A whole path. Arrays share their first axis (n samples in time).

    Attributes
    ----------
    t_s, x_ft, y_board, speed_mph, heading_deg : where and how the ball moves; board of its centre,
        heading positive away from the ball-arm side.
    slip_ms, friction : slip of the contact point [m/s] and friction coefficient [-] (while rolling
        the one that would be available).
    rev_rpm, rotation_deg, tilt_deg : rev rate, axis rotation against the heading, axis tilt.
    film_um, track_film_um : oil film on the lane under the ball and on the ball's track [um].
    flare_in, revolutions, work_j : arc of the axis over the ball [in], turns, friction work [J],
        all counted from the release.
    regime : 0 sliding, 1 rolling.
    axis_body : (n, 3) rotation axis in the body frame (pin axis, intermediate, mass bias).
    contact_body : (n, 3) unit vector from the ball's centre to the lane contact, body frame.
    hook_ft, roll_ft : where hook and roll start [ft]; roll_ft NaN if slip never ended, both NaN
        for a path that turns by less than 1 degree in all.
    breakpoint_board, breakpoint_ft : outermost point.
    entry_board, entry_speed_mph, entry_slip_ms, entry_rev_rpm : state at first contact with a pin;
        NaN without one.
    entry_angle_deg, entry_swing_deg : the heading's mean over the ball's last whole turn before a
        pin, and how far it swings to either side within that turn: half its range. A rolling
        ball that is not the same all round swings once or twice a turn. NaN without a pin.
    oil_rings, oil_flare_in : rings of oil that can be seen on the ball, that is turns up to the
        end of the oil (the last foot with any), and the arc that they spread over [in].
    time_s, outcome, friction_work_j, first_pin (number of the pin touched first, 0 if none).
    oil : the pattern, to draw the path on; None if it is not known.
    """

    ball: str
    pattern: str
    hand: str
    release: dict[str, float]
    t_s: np.ndarray
    x_ft: np.ndarray
    y_board: np.ndarray
    speed_mph: np.ndarray
    heading_deg: np.ndarray
    slip_ms: np.ndarray
    friction: np.ndarray
    rev_rpm: np.ndarray
    rotation_deg: np.ndarray
    tilt_deg: np.ndarray
    film_um: np.ndarray
    track_film_um: np.ndarray
    flare_in: np.ndarray
    revolutions: np.ndarray
    work_j: np.ndarray
    regime: np.ndarray
    axis_body: np.ndarray
    contact_body: np.ndarray
    hook_ft: float
    roll_ft: float
    breakpoint_board: float
    breakpoint_ft: float
    entry_board: float
    entry_angle_deg: float
    entry_swing_deg: float
    entry_speed_mph: float
    entry_slip_ms: float
    entry_rev_rpm: float
    oil_rings: float
    oil_flare_in: float
    time_s: float
    outcome: str
    first_pin: int
    friction_work_j: float
    oil: OilPattern | None = field(default=None, repr=False, compare=False)

    _figure: ClassVar[str] = "lanesim.figures.lane_view:draw_paths"

    def story(self) -> Story:
        """The shot in a few lines."""
        return Story(f"{self.ball} on {self.pattern}: {OUTCOME_WORDS[self.outcome]}", self.facts())

    def facts(self) -> list[tuple[str, str]]:
        """The story of the shot as (what, value with its unit)."""
        rolls = f"{self.roll_ft:.1f} ft" if math.isfinite(self.roll_ft) else (
            "never: it still slips at the end")
        facts = [("hook", "none: the path turns by less than a degree")]
        if math.isfinite(self.hook_ft):
            facts = [("hook begins", f"{self.hook_ft:.1f} ft (a tenth of the whole turn done)"),
                     ("roll begins", rolls)]
        facts.append(
            ("breakpoint", f"board {self.breakpoint_board:.1f} at {self.breakpoint_ft:.1f} ft"))
        if self.first_pin:
            facts += [
                ("entry", f"board {self.entry_board:.1f} at {self.entry_angle_deg:.1f} deg, "
                          f"{self.entry_speed_mph:.1f} mph, {self.entry_rev_rpm:.0f} rpm, "
                          f"slip {self.entry_slip_ms:.1f} m/s"),
                ("entry angle", "mean over the ball's last turn; it swings by "
                                f"{self.entry_swing_deg:.1f} deg either way within it"),
                ("first pin", str(self.first_pin)),
            ]
        return [
            *facts,
            ("outcome", OUTCOME_WORDS[self.outcome]),
            ("time", f"{self.time_s:.2f} s"),
            ("speed lost", f"{self.speed_mph[0] - self.speed_mph[-1]:.1f} mph"),
            ("rotation", f"{whole(self.rotation_deg[0])} to {whole(self.rotation_deg[-1])} deg"),
            ("tilt", f"{whole(self.tilt_deg[0])} to {whole(self.tilt_deg[-1])} deg"),
            ("revolutions", f"{self.revolutions[-1]:.1f}"),
            ("track flare", f"{self.flare_in[-1]:.2f} in in all; {self.oil_rings:.0f} rings of oil "
                            f"over {self.oil_flare_in:.2f} in, up to the end of the oil"),
            ("friction work", f"{self.friction_work_j:.0f} J"),
        ]

    def as_table(self) -> tuple[Sequence[str], list[Sequence[Any]]]:
        """The curves, a row a sample."""
        return CURVES, list(zip(*(getattr(self, n).tolist() for n in CURVES), strict=True))

    def _drawn(self) -> tuple[Any, ...]:
        if self.oil is None:
            raise InputError("this path has no pattern to be drawn on")
        return [self], self.oil, [self.ball]

    def summary(self) -> dict[str, Any]:
        """The numbers without the curves."""
        skip = {*CURVES, "axis_body", "contact_body", "oil"}
        out = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in skip}
        return out | {
            "total_revolutions": float(self.revolutions[-1]),
            "total_flare_in": float(self.flare_in[-1]),
            "speed_lost_mph": float(self.speed_mph[0] - self.speed_mph[-1]),
        }

    def to_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return self.summary() | {name: getattr(self, name).tolist() for name in CURVES}


def throw(
    ball: Ball,
    release: Release,
    pattern: OilPattern,
    *,
    friction: FrictionModel = DEFAULT_FRICTION,
    lane: Lane | None = None,
    rtol: float = 1e-8,
) -> Trajectory:
    """Follow one ball with the reference integrator.

    Parameters
    ----------
    ball, release, pattern : what is thrown, how, and on what.
    friction : lane and lubrication parameters (assumed defaults).
    lane : how the lane lies and how warm it is, seen from the foul line; None: as `friction` says.
    rtol : relative tolerance of solve_ivp.
    """
    for name, given, kind in (("ball", ball, Ball), ("release", release, Release),
                              ("pattern", pattern, OilPattern)):
        check_kind(name, given, kind)
    friction = _on_lane(friction, lane, release.hand)
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp, friction=friction)
    film = pattern.film_m(release.hand)
    shot = setup.shot_matrix(release.lofted_row())[0]
    par[k.P_LOFT] = shot[7]
    state = setup.release_vector(shot, ball.inertia.pap_array, par)
    path = reference.integrate(state, film, par, setup.pin_array(), rtol=rtol)
    shot_ = trajectory_from_path(
        path, film, par, ball=ball.name, pattern=pattern.name, release=release
    )
    return replace(shot_, oil=pattern)


def _on_lane(friction: FrictionModel, lane: Lane | None, hand: str) -> FrictionModel:
    """The model on a lane that is given as it lies, seen from a player's ball-arm side."""
    return friction if lane is None else replace(friction, lane=lane.seen_from(hand))


def trajectory_from_path(
    path: reference.ReferencePath,
    film: np.ndarray,
    par: np.ndarray,
    *,
    ball: str,
    pattern: str,
    release: Release,
) -> Trajectory:
    """Sample a reference path and take its marks (phases, breakpoint, entry) from it."""
    rows: list[tuple[float, ...]] = []
    work_so_far = 0.0
    for segment in path.segments:
        cumulative = _work_at_steps(segment, film, par)
        start, stop = segment.t[0], segment.t[-1]
        count = max(2, math.ceil((stop - start) / _SAMPLE_S) + 1)
        for t in np.linspace(start, stop, count):
            work = work_so_far + float(np.interp(t, segment.t, cumulative))
            rows.append((t, work, segment.regime, *_describe(segment, t, film, par)))
        work_so_far += cumulative[-1]
    table = np.array(rows)
    (t, work, regime, x, y, vx, vy, wx, wy, wz, h_track, axis_speed, mu, slip, film_here,
     *vectors) = table.T
    speed = np.hypot(vx, vy)
    heading = np.arctan2(vy, vx)
    spin = np.sqrt(wx**2 + wy**2 + wz**2)
    forward = wx * np.cos(heading) + wy * np.sin(heading)
    across = -wx * np.sin(heading) + wy * np.cos(heading)
    nan = float("nan")
    entry, swing = _last_turn(path, float(speed[-1] / max(spin[-1], 1e-9)))
    hooks = abs(entry - math.degrees(heading[0])) >= HOOK_FROM_DEG
    hook_ft = nan
    if hooks:
        whole = heading[-1] - heading[0]
        hook_ft = _first_crossing(heading - heading[0], 0.1 * whole, x) / FOOT_M
    rolled = np.flatnonzero(regime == reference.ROLL) if hooks else np.zeros(0, dtype=np.int64)
    flare_in = _running(axis_speed * BALL_RADIUS_M / INCH_M, t)
    revolutions = _running(spin / (2 * math.pi), t)
    oil_end = setup.end_of_oil_m(film)
    low = int(np.argmin(y))
    low_x, low_y = _outermost(path, t, low)
    touched = path.end == k.END_PIN
    board = y[-1] / BOARD_M + 0.5
    code = int(classify(np.array([path.end]), np.array([path.pin]), np.array([board]))[0])
    return Trajectory(
        ball=ball,
        pattern=pattern,
        hand=release.hand,
        release={name: getattr(release, name) for name in _RELEASE_SHOWN},
        t_s=t,
        x_ft=x / FOOT_M,
        y_board=y / BOARD_M + 0.5,
        speed_mph=speed / MPH_MS,
        heading_deg=np.degrees(heading),
        slip_ms=slip,
        friction=mu,
        rev_rpm=spin / RPM_RADS,
        rotation_deg=np.degrees(np.arctan2(-forward, across)),
        tilt_deg=np.degrees(np.arcsin(np.clip(wz / np.maximum(spin, 1e-9), -1, 1))),
        film_um=film_here / MICRON_M,
        track_film_um=h_track / MICRON_M,
        flare_in=flare_in,
        revolutions=revolutions,
        work_j=work,
        regime=regime.astype(int),
        axis_body=np.array(vectors[:3]).T,
        contact_body=np.array(vectors[3:6]).T,
        hook_ft=hook_ft,
        roll_ft=x[rolled[0]] / FOOT_M if len(rolled) else nan,
        breakpoint_board=low_y / BOARD_M + 0.5,
        breakpoint_ft=low_x / FOOT_M,
        entry_board=float(board) if touched else nan,
        entry_angle_deg=entry if touched else nan,
        entry_swing_deg=swing if touched else nan,
        entry_speed_mph=float(speed[-1] / MPH_MS) if touched else nan,
        entry_slip_ms=float(slip[-1]) if touched else nan,
        entry_rev_rpm=float(spin[-1] / RPM_RADS) if touched else nan,
        time_s=float(t[-1]),
        oil_rings=float(np.interp(oil_end, x, revolutions)),
        oil_flare_in=float(np.interp(oil_end, x, flare_in)),
        outcome=STOPPED if path.end == k.END_FAILED else OUTCOMES[code],
        first_pin=path.pin + 1,
        friction_work_j=float(work[-1]),
    )


def _last_turn(path: reference.ReferencePath, way_per_radian: float) -> tuple[float, float]:
    """Mean heading over the last turn and half of its range within it [deg].

    The mean is the direction from where the ball was one turn's way before the end to the end.
    """
    end = path.final_state
    length = min(2.0 * math.pi * way_per_radian, end[0])
    start = path.time_at(end[0] - length)
    before = path.state_at(start)
    mean = math.degrees(math.atan2(end[1] - before[1], end[0] - before[0]))
    states = [path.state_at(t) for t in np.linspace(start, path.final_time, 61)]
    headings = np.degrees([math.atan2(s[3], s[2]) for s in states])
    return mean, 0.5 * float(np.ptp(headings))


_RELEASE_SHOWN = (
    "speed_mph", "rev_rpm", "rotation_deg", "tilt_deg", "laydown_board", "launch_angle_deg",
    "phase_deg", "loft_ft",
)


def _rates(segment: reference.Segment, state: np.ndarray, film, par):
    if segment.regime == reference.SLIDE:
        return k.slide_rates(*state, film, par)
    return k.roll_rates(*state, segment.pivot_sign, film, par)


def _describe(segment: reference.Segment, t: float, film, par) -> tuple[float, ...]:
    state = segment.dense(t)
    r = _rates(segment, state, film, par)
    matrix = np.array(k.rotation_matrix(*state[7:11])).reshape(3, 3)
    omega = np.array(r[7:10])
    axis = matrix.T @ omega / max(float(np.linalg.norm(omega)), 1e-12)
    contact = -matrix[2]
    h_lane = k.film_at(state[0], state[1], film, par[k.P_BOARD], par[k.P_CELL_X])
    # r[0:2] is the velocity in force: while rolling that of the constraint
    return (state[0], state[1], r[0], r[1], *omega, state[11], r[11], r[12], r[13], h_lane,
            *axis, *contact)


def _power(segment: reference.Segment, t: float, film, par) -> float:
    """Power [W] lost to friction: mu N |u| by slip and -Mz wz by pivoting."""
    r = _rates(segment, segment.dense(t), film, par)
    load = par[k.P_MASS] * par[k.P_GRAVITY]
    return r[12] * load * r[13] - r[6] * r[9]


def _work_at_steps(segment: reference.Segment, film, par) -> np.ndarray:
    """Friction work [J] from the segment's start to each solver step, by Gauss quadrature."""
    total = [0.0]
    for a, b in zip(segment.t[:-1], segment.t[1:], strict=True):
        half = 0.5 * (b - a)
        inside = sum(
            w * _power(segment, a + half * (1 + node), film, par)
            for node, w in zip(_GAUSS_NODES, _GAUSS_WEIGHTS, strict=True)
        )
        total.append(total[-1] + half * inside)
    return np.array(total)


def _running(rate: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Integral of a sampled rate from the start to each sample (trapezoids)."""
    return np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(t))])


def _first_crossing(values: np.ndarray, level: float, at: np.ndarray) -> float:
    """Where `values`, seen in the direction of `level`, first reach it (linear between samples)."""
    if level == 0.0:
        return float(at[-1])
    share = values / level
    n = int(np.argmax(share >= 1.0))
    if n == 0:
        return float(at[-1])
    return float(np.interp(1.0, share[n - 1 : n + 1], at[n - 1 : n + 1]))


def _outermost(path: reference.ReferencePath, t: np.ndarray, low: int) -> tuple[float, float]:
    """The outermost point (x, y) [m]: the sampled lowest y, refined on the dense solution."""
    from scipy.optimize import minimize_scalar

    a = t[max(low - 1, 0)]
    b = t[min(low + 1, len(t) - 1)]
    best = path.state_at(t[low])
    if b > a:
        found = minimize_scalar(lambda s: path.state_at(s)[1], bounds=(a, b), method="bounded",
                                options={"xatol": 1e-7})
        refined = path.state_at(found.x)
        if refined[1] < best[1]:
            best = refined
    return float(best[0]), float(best[1])


@dataclass(frozen=True)
class ShotTable:
    """Many shots of one or more balls on one pattern: arrays of length n in trade units.

    outcome : (n,) codes, indices into pocket.OUTCOMES. entry_* : at first contact with a pin, NaN
    without one; entry_angle_deg is the mean over the ball's last turn, as in `Trajectory` (its
    swing within the turn is not resolved here). hook_ft, roll_ft, oil_* : as there.
    path_board, track_film_um : (n, 61) at whole feet, NaN beyond the end, or None.
    end_ft, end_board : (n,) where each shot ended (pin, gutter, pit). The player's boards.
    """

    outcome: np.ndarray
    entry_board: np.ndarray
    entry_angle_deg: np.ndarray
    entry_speed_mph: np.ndarray
    entry_rev_rpm: np.ndarray
    entry_slip_ms: np.ndarray
    time_s: np.ndarray
    breakpoint_board: np.ndarray
    breakpoint_ft: np.ndarray
    hook_ft: np.ndarray
    roll_ft: np.ndarray
    revolutions: np.ndarray
    flare_in: np.ndarray
    track_film_end_um: np.ndarray
    path_board: np.ndarray | None = None
    track_film_um: np.ndarray | None = None
    end_ft: np.ndarray | None = None
    end_board: np.ndarray | None = None
    oil_rings: np.ndarray | None = None
    oil_flare_in: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.outcome)

    def rate(self, outcome: str = "pocket") -> float:
        """Share of shots with that outcome."""
        return float(np.mean(self.outcome == OUTCOMES.index(outcome)))


def throw_many(
    ball: Ball | Sequence[Ball],
    releases: np.ndarray,
    pattern: OilPattern,
    *,
    hand: str = "right",
    which: np.ndarray | None = None,
    friction: FrictionModel = DEFAULT_FRICTION,
    lane: Lane | None = None,
    keep_paths: bool = False,
) -> ShotTable:
    """Follow many releases with the batch engine.

    Parameters
    ----------
    ball : one ball, or several with `which` naming each shot's.
    releases : (n, 7) in player.RELEASE_COLUMNS, the player's boards, or (n, 8) with the loft [ft].
    which : (n,) indices into the balls; default all 0.
    lane : as in `throw`.
    keep_paths : also return board and track film at each whole foot.
    """
    friction = _on_lane(friction, lane, check_hand(hand))
    balls = [ball] if isinstance(ball, Ball) else list(ball)
    pars = np.array([
        setup.parameter_vector(b, viscosity_cp=pattern.viscosity_cp, friction=friction)
        for b in balls
    ])
    return throw_parameters(
        np.array([b.inertia.pap_body for b in balls]), pars, releases,
        pattern.film_m(hand), which=which, keep_paths=keep_paths,
    )


def throw_parameters(
    paps: np.ndarray,
    pars: np.ndarray,
    releases: np.ndarray,
    film: np.ndarray,
    *,
    which: np.ndarray | None = None,
    keep_paths: bool = False,
) -> ShotTable:
    """As `throw_many`, for parameter vectors (b, P_COUNT) and PAPs (b, 3) made by the caller.

    `film` (60, 39) [m] is in the player's board order. For studies that vary parameters directly.
    """
    releases = np.atleast_2d(np.asarray(releases, dtype=float))
    if releases.shape[1] not in {7, 8}:
        raise InputError(f"releases have {releases.shape[1]} columns; accepted: 7, or 8 with loft")
    index = np.zeros(len(releases), dtype=np.int64) if which is None else np.asarray(which)
    result = batch.run(
        setup.shot_matrix(releases), index, paps, pars, film, setup.pin_array(),
        keep_traces=keep_paths,
    )
    return shot_table(result, pars, index)


def shot_table(result: batch.BatchRows, pars: np.ndarray, which: np.ndarray) -> ShotTable:
    """Rows of the core in trade units."""
    rows = result.rows
    end = rows[:, k.R_END].astype(int)
    touched = end == k.END_PIN
    board = rows[:, k.R_Y] / BOARD_M + 0.5
    radius = pars[which, k.P_RADIUS]
    vx, vy = rows[:, k.R_VX], rows[:, k.R_VY]
    slip = np.hypot(vx - radius * rows[:, k.R_WY], vy + radius * rows[:, k.R_WX])
    spin = np.sqrt(np.sum(rows[:, k.R_WX : k.R_WZ + 1] ** 2, axis=1))

    def at_pin(values: np.ndarray) -> np.ndarray:
        return np.where(touched, values, np.nan)

    traces = result.traces
    hooks = np.abs(np.degrees(rows[:, k.R_TURNED])) >= HOOK_FROM_DEG
    return ShotTable(
        outcome=classify(end, rows[:, k.R_PIN].astype(int), board),
        entry_board=at_pin(board),
        entry_angle_deg=at_pin(np.degrees(rows[:, k.R_HEADING])),
        entry_speed_mph=at_pin(np.hypot(vx, vy) / MPH_MS),
        entry_rev_rpm=at_pin(spin / RPM_RADS),
        entry_slip_ms=at_pin(slip),
        time_s=rows[:, k.R_TIME],
        breakpoint_board=rows[:, k.R_BREAK_Y] / BOARD_M + 0.5,
        breakpoint_ft=rows[:, k.R_BREAK_X] / FOOT_M,
        hook_ft=np.where(hooks, rows[:, k.R_HOOK_X] / FOOT_M, np.nan),
        roll_ft=np.where(hooks, rows[:, k.R_ROLL_X] / FOOT_M, np.nan),
        revolutions=rows[:, k.R_TURNS],
        flare_in=rows[:, k.R_FLARE] / INCH_M,
        oil_rings=rows[:, k.R_OIL_TURNS],
        oil_flare_in=rows[:, k.R_OIL_FLARE] / INCH_M,
        track_film_end_um=rows[:, k.R_TRACK_FILM] / MICRON_M,
        path_board=traces[:, :, k.T_Y] / BOARD_M + 0.5 if len(traces) else None,
        track_film_um=traces[:, :, k.T_FILM] / MICRON_M if len(traces) else None,
        end_ft=rows[:, k.R_X] / FOOT_M,
        end_board=board,
    )
