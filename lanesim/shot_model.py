"""What a measured shot should read under given parameters: the forward model of a fit.

The parameters with their priors (PARAMETERS), predictions of every measured column by the batch
engine (ShotModel), and the whitened residuals that `lanesim.fit` minimises; the statistics are
explained there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from .ball import Ball
from .errors import check_range, nearest_name
from .fitted import BallFactors, LaneFactors, fitted_ball, fitted_friction
from .friction import DEFAULT_FRICTION, FrictionModel
from .lane import BOARD_M, FRICTION_CAP, arrow_distance_ft
from .motion import kernels as k
from .motion import setup
from .pattern import OilPattern
from .pocket import HEAD_ON_BOARD, HIGH_FROM_BOARD, LIGHT_TO_BOARD, OUTCOMES
from .release import LEVELS, RELEASE_COLUMNS, Release, Spread
from .shots_file import OUTCOME_SD_BOARDS, ShotLog, column_of
from .trajectory import throw_parameters
from .units import FOOT_M

RELEASES = RELEASE_COLUMNS[:6]
STEP_Z = 0.05  # finite-difference step in prior SDs; the engine is smooth to below 1e-3 board
# finite-difference steps of the release (RELEASES): wide against the engine's noise
STEP_X = np.array([0.25, 0.1, 0.1, 8.0, 2.0, 1.5])


@dataclass(frozen=True)
class Parameter:
    """One kind of parameter: prior and meaning. Every prior is an ASSUMPTION.

    Attributes
    ----------
    scope : 'ball', 'pattern' (one value for each), 'lane' or 'release' (one value).
    prior_sd : of ln(factor) for factors, in `unit` for offsets.
    unit : '' for factors (multiply the default), else the unit of an offset (prior mean 0).
    column : the release column that an offset shifts.
    loose_sd : prior SD of an offset whose column was not measured at all: how far one player's
        usual value may lie from the assumed usual release.
    why : where the prior SD comes from.
    """

    scope: str
    prior_sd: float
    words: str
    why: str
    unit: str = ""
    column: str = ""
    loose_sd: float = 0.0

    @property
    def is_factor(self) -> bool:
        """True for a factor (log-normal prior round 1), False for an offset (normal round 0)."""
        return not self.unit

    def value(self, z: float | np.ndarray) -> Any:
        """Value at `z` prior SDs from the default."""
        return np.exp(self.prior_sd * z) if self.is_factor else self.prior_sd * z


PARAMETERS: dict[str, Parameter] = {
    "ball_friction": Parameter(
        "ball", 0.15, "dry friction of the ball, times the cover kind's",
        "assumed: cover kinds differ by as much"),
    "ball_roughness": Parameter(
        "ball", 0.35, "roughness of the ball, times that of its finish",
        "assumed: roughness of a grit is from memory, low confidence"),
    "ball_uptake": Parameter(
        "ball", 0.5, "oil uptake of the cover, times the kind's", "assumed, hardly known"),
    "oil_amount": Parameter(
        "pattern", 0.15, "oil on the lane, times the pattern's", "assumed: machine, age, traffic"),
    "lambda_ref": Parameter(
        "lane", 0.4, "film at which the load passes to the oil, times the default",
        "assumed: free within the textbook's regimes"),
    "lane_roughness": Parameter(
        "lane", 0.35, "roughness of the lane, times the default", "assumed, hardly known"),
    "laydown_offset": Parameter(
        "release", 0.5, "true minus measured laydown board", "assumed", "boards", "laydown_board"),
    "angle_offset": Parameter(
        "release", 0.15, "true minus measured launch angle", "assumed", "deg",
        "launch_angle_deg"),
    "speed_offset": Parameter(
        "release", 0.3, "true minus measured speed", "assumed: radars disagree by that", "mph",
        "speed_mph"),
    "rev_offset": Parameter(
        "release", 20.0, "true minus measured rev rate", "assumed", "rpm", "rev_rpm", 60.0),
    "rotation_offset": Parameter(
        "release", 5.0, "true minus measured axis rotation", "assumed", "deg", "rotation_deg",
        12.0),
    "tilt_offset": Parameter(
        "release", 3.0, "true minus measured axis tilt", "assumed", "deg", "tilt_deg", 5.0),
}
DEFAULT_PARAMETERS = ("ball_friction", "ball_roughness", "oil_amount", "angle_offset",
                      "rotation_offset")
_OUTCOME_WINDOWS = {
    "light": (-math.inf, LIGHT_TO_BOARD), "pocket": (LIGHT_TO_BOARD, HIGH_FROM_BOARD),
    "high": (HIGH_FROM_BOARD, HEAD_ON_BOARD), "opposite": (HEAD_ON_BOARD, math.inf),
}
# Spread of a launch angle of which only the arrow board is known, before that board is looked at
_FREE_ANGLE_SD_DEG = 1.0
# Shot-to-shot SD of a column that was not measured: the assumed level "200"
_UNMEASURED = dict(zip(RELEASES, LEVELS["200"].array().tolist(), strict=True))


@dataclass(frozen=True)
class Term:
    """One estimated number: a parameter kind for one ball or pattern, with its prior SD."""

    kind: str
    target: str
    prior_sd: float

    @cached_property
    def parameter(self) -> Parameter:
        """The kind, with this term's prior SD."""
        return replace(PARAMETERS[self.kind], prior_sd=self.prior_sd)

    @property
    def label(self) -> str:
        """'ball_friction strong-solid' or 'speed_offset'."""
        return f"{self.kind} {self.target}".strip()


# ================================ the forward model ==========================================


class ShotModel:
    """Predictions for the shots of a log: what each measured column should read.

    Built once per fit; holds no state that changes. `columns` are the measured result columns, with
    `y` (n, m) their values (NaN where not measured) and `y_sd` (m,) the stated measuring SDs;
    `x_measured` (n, 6) the releases (RELEASE_COLUMNS without the phase), `x_cov` (n, 6, 6) their
    measuring covariance.
    """

    def __init__(
        self, log: ShotLog, balls: Mapping[str, Ball], patterns: Mapping[str, OilPattern],
        terms: Sequence[Term], *, hand: str = "right", usual: Release | None = None,
        friction: FrictionModel = DEFAULT_FRICTION,
        measurement_sd: Mapping[str, float] | None = None,
        films: Mapping[tuple[str, int], np.ndarray] | None = None,
    ) -> None:
        self.log, self.balls, self.patterns = log, dict(balls), dict(patterns)
        self.terms, self.friction, self.hand = tuple(terms), friction, hand
        # (term, release column, prior SD) of the release offsets; the other terms enter the core
        self.offset_terms = [(j, RELEASES.index(t.parameter.column), t.prior_sd)
                             for j, t in enumerate(self.terms) if t.parameter.column]
        self.core_terms = [j for j, t in enumerate(self.terms) if not t.parameter.column]
        sd = measuring_sds(measurement_sd)
        usual = usual or Release(hand=hand)
        self._release_side(sd, usual)
        self._result_side(sd)
        # one engine call per state of the lane: a pattern, or a pattern at a game
        self.groups: list[tuple[str, np.ndarray, np.ndarray]] = []
        keys = [(p, g if films is not None else 0)
                for p, g in zip(log.pattern, log.game, strict=True)]
        for key in sorted(set(keys)):
            film = patterns[key[0]].film_m(hand) if films is None else films[key]
            index = np.array([i for i, other in enumerate(keys) if other == key])
            self.groups.append((key[0], index, np.ascontiguousarray(film)))

    def _release_side(self, sd: Mapping[str, float], usual: Release) -> None:
        log, count = self.log, len(self.log)
        x = np.empty((count, 6))
        variance = np.empty((count, 6))
        self.measured: dict[str, bool] = {}
        for c, name in enumerate(RELEASES):
            given = log.column(name)
            known = np.isfinite(given)
            self.measured[name] = bool(known.any())
            fallback = float(np.mean(given[known])) if known.any() else getattr(usual, name)
            x[:, c] = np.where(known, given, fallback)
            variance[:, c] = np.where(known, sd[name], _UNMEASURED[name]) ** 2
        arrow = log.column("arrow_board")
        straight = ~np.isfinite(log.column("launch_angle_deg"))
        self.arrow_ft = np.array([
            arrow_distance_ft(float(np.clip(b, 1, 39))) if math.isfinite(b) else 15.0 for b in arrow
        ])
        across = (arrow - x[:, 0]) * BOARD_M
        angle = np.degrees(np.arctan2(across, self.arrow_ft * FOOT_M))
        x[straight, 1] = angle[straight]
        variance[straight, 1] = _FREE_ANGLE_SD_DEG**2
        self.x_measured = x
        self.x_cov = np.einsum("nc,cd->ncd", variance, np.eye(6))

    def _result_side(self, sd: Mapping[str, float]) -> None:
        log = self.log
        columns: list[str] = []
        values: list[np.ndarray] = []
        found = {f"board_at_{d:g}ft": v for d, v in sorted(log.board_at.items())}
        found |= {n: log.column(n) for n in ("arrow_board", "breakpoint_board", "breakpoint_ft",
                                             "speed_pins_mph", "entry_board", "entry_angle_deg")}
        for name, value in found.items():
            if np.isfinite(value).any():
                columns.append(name)
                values.append(value)
        self.columns = tuple(columns)
        self.y = np.array(values).T if values else np.empty((len(log), 0))
        self.y_sd = np.array([sd["board_at" if n.startswith("board_at") else n] for n in columns])
        self.is_aim = np.array([n == "arrow_board" for n in columns], dtype=bool)
        entry = log.column("entry_board")
        self.window = np.array([
            _OUTCOME_WINDOWS.get(word if not math.isfinite(e) else "", (math.nan, math.nan))
            for word, e in zip(log.outcome, entry, strict=True)
        ])
        self.window_sd = sd["outcome"]

    # ---- parameters into the core's vectors

    def values(self, z: np.ndarray) -> dict[tuple[str, str], float]:
        """(kind, target) -> value at z."""
        return {(t.kind, t.target): float(t.parameter.value(zi))
                for t, zi in zip(self.terms, z, strict=True)}

    def parameter_vector(self, z: np.ndarray, ball: str, pattern: str) -> np.ndarray:
        """The core's vector of one ball on one pattern at z.

        The factor on the oil goes on the film share chi, which is the same thing (see
        fitted.fitted_pattern), so that one film serves all parameter sets.
        """
        value = self.values(z)
        nominal = self.balls[ball]
        made = fitted_ball(nominal, BallFactors(
            value.get(("ball_friction", ball), 1.0), value.get(("ball_roughness", ball), 1.0),
            value.get(("ball_uptake", ball), 1.0)))
        friction = fitted_friction(self.friction, LaneFactors(
            value.get(("lane_roughness", ""), 1.0), value.get(("lambda_ref", ""), 1.0)))
        par = setup.parameter_vector(
            made, viscosity_cp=self.patterns[pattern].viscosity_cp, friction=friction)
        par[k.P_CHI] *= value.get(("oil_amount", pattern), 1.0)
        return par

    def offsets(self, z: np.ndarray) -> np.ndarray:
        """Release offsets (6,) at z."""
        out = np.zeros(6)
        for j, c, sd in self.offset_terms:
            out[c] += sd * z[j]
        return out

    def centre(self, z: np.ndarray) -> np.ndarray:
        """Most likely releases (n, 6) before looking at what the balls did."""
        return self.x_measured + self.offsets(z)

    def limits(self) -> tuple[np.ndarray, np.ndarray]:
        """Bounds of z: four prior SDs, and the standard's cap on friction."""
        high = np.full(len(self.terms), 4.0)
        for i, term in enumerate(self.terms):
            if term.kind == "ball_friction":
                room = math.log(FRICTION_CAP / self.balls[term.target].cover.dry_friction)
                high[i] = min(high[i], room / term.prior_sd - 2 * STEP_Z)
        return np.full(len(self.terms), -4.0), high

    # ---- predictions

    def predict(self, zs: np.ndarray, xs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Predicted columns for several parameter sets and releases at once.

        Parameters
        ----------
        zs : (s, P); xs : (s, n, 6).

        Returns
        -------
        (s, n, m) in the order of `columns`, and the entry boards (s, n).
        """
        sets = len(zs)
        out = np.empty((sets, len(self.log), len(self.columns)))
        entry = np.empty((sets, len(self.log)))
        for pattern, index, film in self.groups:
            names = sorted({self.log.ball[i] for i in index})
            pars = np.array([self.parameter_vector(z, b, pattern) for z in zs for b in names])
            paps = np.array([self.balls[b].inertia.pap_body for _ in zs for b in names])
            number = np.array([names.index(self.log.ball[i]) for i in index])
            which = (np.arange(sets)[:, None] * len(names) + number).ravel()
            releases = np.zeros((sets * len(index), 7))
            releases[:, :6] = xs[:, index].reshape(-1, 6)
            table = throw_parameters(paps, pars, releases, film, which=which, keep_paths=True)
            path = table.path_board
            assert path is not None
            ends = _entry_or_nearest(table, path)
            for c, name in enumerate(self.columns):
                if name.startswith("board_at_"):
                    feet = np.full(len(which), float(name[9:-2]))
                    value = _board_at(path, feet)
                elif name == "arrow_board":
                    value = _board_at(path, np.tile(self.arrow_ft[index], sets))
                elif name in ends:
                    value = ends[name]
                else:
                    value = getattr(table, name)
                out[:, index, c] = value.reshape(sets, -1)
            entry[:, index] = ends["entry_board"].reshape(sets, -1)
        return out, entry

    def outcomes(self, z: np.ndarray, x: np.ndarray) -> list[str]:
        """Outcome word of every shot at given releases."""
        words = [""] * len(self.log)
        for pattern, index, film in self.groups:
            for i in index:
                par = self.parameter_vector(z, self.log.ball[i], pattern)
                pap = self.balls[self.log.ball[i]].inertia.pap_array
                row = np.append(x[i], 0.0)
                table = throw_parameters(pap[None], par[None], row, film)
                words[i] = OUTCOMES[int(table.outcome[0])]
        return words

    def at(self, z: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """`predict` for one set: (n, m) and (n,)."""
        out, entry = self.predict(z[None], x[None])
        return out[0], entry[0]

    def release_slopes(self, z: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """G = df/dx (n, m, 6) and d entry/dx (n, 6) by central differences, one engine call."""
        xs = np.repeat(x[None], 12, axis=0)
        for c in range(6):
            xs[2 * c, :, c] += STEP_X[c]
            xs[2 * c + 1, :, c] -= STEP_X[c]
        out, entry = self.predict(np.repeat(z[None], 12, axis=0), xs)
        slope = (out[0::2] - out[1::2]) / (2 * STEP_X[:, None, None])
        slope_entry = (entry[0::2] - entry[1::2]) / (2 * STEP_X[:, None])
        return np.moveaxis(slope, 0, -1), slope_entry.T

    def parameter_slopes(self, z: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """df/dz (n, m, P) and d entry/dz (n, P) at given releases; 0 for the release offsets."""
        count, core = len(self.terms), self.core_terms
        slope = np.zeros((*self.y.shape, count))
        slope_entry = np.zeros((len(x), count))
        if core:
            zs = np.repeat(z[None], 2 * len(core), axis=0)
            for n, j in enumerate(core):
                zs[2 * n, j] += STEP_Z
                zs[2 * n + 1, j] -= STEP_Z
            out, entry = self.predict(zs, np.repeat(x[None], len(zs), axis=0))
            slope[:, :, core] = np.moveaxis((out[0::2] - out[1::2]) / (2 * STEP_Z), 0, -1)
            slope_entry[:, core] = ((entry[0::2] - entry[1::2]) / (2 * STEP_Z)).T
        return slope, slope_entry

    def likely_releases(
        self, z: np.ndarray, use: np.ndarray, rounds: int = 3, start: np.ndarray | None = None,
    ) -> np.ndarray:
        """Most likely releases (n, 6) given the measured ones and the result columns in `use` (m,).

        Gauss-Newton: x = x_c + R_x G^T S^-1 (y - f(x) - G (x_c - x)).
        """
        centre = self.centre(z)
        x = centre.copy() if start is None else start.copy()
        if not np.any(use):
            return centre
        for _ in range(rounds):
            f, _ = self.at(z, x)
            slope, _ = self.release_slopes(z, x)
            x = self.release_update(z, x, f, slope, use)
        return x

    def release_update(self, z: np.ndarray, x: np.ndarray, f: np.ndarray, slope: np.ndarray,
                       use: np.ndarray) -> np.ndarray:
        """One Gauss-Newton step of `likely_releases`, kept within 4 SDs of what was measured.

        The bound only keeps a misread shot from dragging its own linearisation point away.
        """
        centre = self.centre(z)
        moved = centre.copy()
        for i in range(len(x)):
            seen = use & np.isfinite(self.y[i]) & np.isfinite(f[i])
            if not seen.any():
                continue
            g = slope[i][seen]
            spread = np.diag(self.y_sd[seen] ** 2) + g @ self.x_cov[i] @ g.T
            gap = self.y[i][seen] - f[i][seen] - g @ (centre[i] - x[i])
            step = self.x_cov[i] @ g.T @ np.linalg.solve(spread, gap)
            reach = 4.0 * np.sqrt(np.diag(self.x_cov[i]))
            moved[i] += np.clip(step, -reach, reach)
        return moved


def _board_at(path: np.ndarray, feet: np.ndarray) -> np.ndarray:
    """Board (n,) at a distance [ft] between the whole feet of the path (n, 61), linear between."""
    low = np.clip(np.floor(feet).astype(int), 0, path.shape[1] - 2)
    share = feet - low
    rows = np.arange(len(path))
    value = (1 - share) * path[rows, low] + share * path[rows, low + 1]
    return np.where(np.isfinite(value), value, _last(path)[0])


def _last(path: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Last board known on each path and the slope there [boards/ft]."""
    known = np.isfinite(path)
    last = known.shape[1] - 1 - np.argmax(known[:, ::-1], axis=1)
    rows = np.arange(len(path))
    return path[rows, last], path[rows, last] - path[rows, np.maximum(last - 1, 0)]


def _entry_or_nearest(table: Any, path: np.ndarray) -> dict[str, np.ndarray]:
    """Entry columns; where a predicted ball touches no pin, its path's end stands in.

    The measured ball did touch one, so the residual must be finite and point back to the pins.
    """
    end, slope = _last(path)
    angle = np.degrees(np.arctan(slope * BOARD_M / FOOT_M))
    touched = np.isfinite(table.entry_board)
    return {
        "entry_board": np.where(touched, table.entry_board, end),
        "entry_angle_deg": np.where(touched, table.entry_angle_deg, angle),
        "speed_pins_mph": table.entry_speed_mph,
    }


def measuring_sds(given: Mapping[str, float] | None = None) -> dict[str, float]:
    """Measuring SDs by column (assumed defaults), with those `given` replaced.

    Keys: the columns of the shots file; 'board_at' for boards at any distance; 'outcome' [boards].
    """
    names = [*RELEASES, "arrow_board", "speed_pins_mph", "breakpoint_board", "breakpoint_ft",
             "entry_board", "entry_angle_deg"]
    out = {n: column_of(n).sd for n in names}
    out |= {"board_at": column_of("board_at_40ft").sd, "outcome": OUTCOME_SD_BOARDS}
    for name, value in (given or {}).items():
        if name not in out:
            raise nearest_name(name, out, "measured column")
        out[name] = check_range(f"measuring SD of {name}", value, 1e-6, 100)
    return out


# ================================ whitened residuals =========================================


@dataclass(frozen=True)
class Linear:
    """The problem about one point (z0, x0), linear in the releases.

    Attributes
    ----------
    z0, x0 : (P,), (n, 6) the point. slope, slope_entry : G = df/dx there (n, m, 6), (n, 6).
    whiten : (n, m, m) inverse Cholesky factors of S = R_y + G R_x G^T, zero where not measured.
    seen : (n, m) measured columns. window_sd : (n,) SD of the entry board of shots known by their
    outcome only, else NaN.
    f, entry, df, dentry : prediction at the point and its slope in z (the last axis), or None.
    """

    z0: np.ndarray
    x0: np.ndarray
    slope: np.ndarray
    slope_entry: np.ndarray
    whiten: np.ndarray
    seen: np.ndarray
    window_sd: np.ndarray
    f: np.ndarray | None = None
    entry: np.ndarray | None = None
    df: np.ndarray | None = None
    dentry: np.ndarray | None = None

    @property
    def owner(self) -> np.ndarray:
        """The shot that each residual row belongs to."""
        return np.concatenate([np.nonzero(self.seen)[0],
                               np.flatnonzero(np.isfinite(self.window_sd))])


def linearise(model: ShotModel, z: np.ndarray, x0: np.ndarray, *, tangent: bool = False) -> Linear:
    """Slopes and whitening at (z, x0); with `tangent` also the slopes in z."""
    slope, slope_entry = model.release_slopes(z, x0)
    seen = np.isfinite(model.y) & np.all(np.isfinite(slope), axis=2)
    count, width = seen.shape
    whiten = np.zeros((count, width, width))
    for i in range(count):
        mask = seen[i]
        g = slope[i][mask]
        spread = np.diag(model.y_sd[mask] ** 2) + g @ model.x_cov[i] @ g.T
        whiten[i][np.ix_(mask, mask)] = np.linalg.inv(np.linalg.cholesky(spread))
    variance = np.einsum("nc,ncd,nd->n", slope_entry, model.x_cov, slope_entry)
    known = ~np.isnan(model.window[:, 0])
    window_sd = np.where(known, np.sqrt(model.window_sd**2 + variance), np.nan)
    line = Linear(z, x0, np.where(seen[:, :, None], slope, 0.0), slope_entry, whiten, seen,
                  window_sd)
    if not tangent:
        return line
    f, entry = model.at(z, x0)
    df, dentry = model.parameter_slopes(z, x0)
    return replace(line, f=f, entry=entry, df=df, dentry=dentry)


def prediction(model: ShotModel, line: Linear, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n, m) columns and (n,) entry boards at (z, x0): by the tangent, if any, else exact."""
    if line.df is None:
        return model.at(z, line.x0)
    step = z - line.z0
    assert line.f is not None and line.entry is not None and line.dentry is not None
    return line.f + line.df @ step, line.entry + line.dentry @ step


def residuals(model: ShotModel, line: Linear, z: np.ndarray) -> np.ndarray:
    """Whitened residuals (rows,): every measured column, then the shots known by outcome."""
    f, entry = prediction(model, line, z)
    shift = model.centre(z) - line.x0
    gap = model.y - f - np.einsum("nmc,nc->nm", line.slope, shift)
    gap = np.where(line.seen & np.isfinite(gap), gap, 0.0)
    rows = np.einsum("nij,nj->ni", line.whiten, gap)[line.seen]
    known = np.isfinite(line.window_sd)
    at = (entry + np.einsum("nc,nc->n", line.slope_entry, shift))[known]
    inside = np.clip(at, model.window[known, 0], model.window[known, 1])
    return np.concatenate([rows, (inside - at) / line.window_sd[known]])


def jacobian(model: ShotModel, line: Linear, z: np.ndarray) -> np.ndarray:
    """d residuals / dz (rows, P)."""
    if line.df is None:
        df, dentry = model.parameter_slopes(z, line.x0)
    else:
        assert line.dentry is not None
        df, dentry = line.df.copy(), line.dentry.copy()
    for j, c, sd in model.offset_terms:
        df[:, :, j] = line.slope[:, :, c] * sd
        dentry[:, j] = line.slope_entry[:, c] * sd
    df = np.where(line.seen[:, :, None] & np.isfinite(df), df, 0.0)
    rows = -np.einsum("nij,njp->nip", line.whiten, df)[line.seen]
    known = np.isfinite(line.window_sd)
    if not known.any():
        return rows
    _, entry = prediction(model, line, z)
    shift = model.centre(z) - line.x0
    at = (entry + np.einsum("nc,nc->n", line.slope_entry, shift))[known]
    outside = (at < model.window[known, 0]) | (at > model.window[known, 1])
    edge = -dentry[known] / line.window_sd[known, None] * outside[:, None]
    return np.concatenate([rows, edge])


# ================================ invented shots =============================================

SHOTS_STAGE = 63  # seed stage of simulated shots


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
    columns : what is measured, each with a normal error of `measurement_sd` (measuring_sds).
    seed : of releases and errors.

    Returns
    -------
    ShotLog; a column of which the ball gave no value (no pin touched) is NaN there.
    """
    for kind, _ in truth:
        if kind not in PARAMETERS:
            raise nearest_name(kind, PARAMETERS, "parameter")
    count = len(thrown)
    generator = np.random.default_rng(np.random.SeedSequence([int(seed), SHOTS_STAGE]))
    x = release.row()[:6] + spread.array() * generator.standard_normal((count, 6))
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
    if "arrow_board" in columns:
        # which arrow is nearest depends on the board crossed: settle the two together
        for _ in range(3):
            aimed = model.at(_z_of(terms, truth), x)[0][:, model.columns.index("arrow_board")]
            model.arrow_ft = np.array([arrow_distance_ft(float(np.clip(b, 1, 39)))
                                       for b in aimed])
    z = _z_of(terms, truth)
    told, _ = model.at(z, x)
    ends = model.outcomes(z, x)
    measured: dict[str, np.ndarray] = {}
    for c, name in enumerate(RELEASES):
        if name in columns:
            offset = sum(v for (kind, _), v in truth.items() if PARAMETERS[kind].column == name)
            measured[name] = x[:, c] - offset + sd[name] * generator.standard_normal(count)
    missed = np.array([word == "gutter" for word in ends])
    for c, name in enumerate(model.columns):
        noisy = told[:, c] + model.y_sd[c] * generator.standard_normal(count)
        lost = missed & (name in {"entry_board", "entry_angle_deg", "speed_pins_mph"})
        measured[name] = np.where(lost, np.nan, noisy)
    boards = {float(n[9:-2]): measured.pop(n) for n in model.columns if n.startswith("board_at_")}
    return ShotLog("simulated", measured, boards, tuple(thrown), tuple(on),
                   tuple(ends) if "outcome" in columns else (), tuple(games))


def _z_of(terms: Sequence[Term], truth: Mapping[tuple[str, str], float]) -> np.ndarray:
    values = [truth[t.kind, t.target] for t in terms]
    return np.array([(math.log(v) if t.parameter.is_factor else v) / t.prior_sd
                     for t, v in zip(terms, values, strict=True)])
