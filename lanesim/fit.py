"""Fit ball, lane and measuring to a player's own shots, and say what the shots cannot tell.

Model of one shot. The true release x is the measured one plus a common offset b and a random
measuring error; what the ball did is measured with errors of its own::

    x = x_measured + b + e_x,   e_x ~ N(0, R_x)
    y = f(x, p) + e_y,          e_y ~ N(0, R_y)

with f the batch engine, p the parameters of ball, pattern and lane. Integrating the unknown x out,
linearised about a point x0 (G = df/dx there), leaves for each shot the residual

    r = y - f(x0, p) - G (x_measured + b - x0),     cov r = S = R_y + G R_x G^T

which is whitened by the Cholesky factor of S. x0 is moved to the most likely release of each shot
and everything is repeated until nothing changes (Gauss-Newton on the releases; the errors-in-
variables estimate of Fuller, Measurement Error Models, 1987, status: from memory). Parameters are
counted in standard deviations of their prior, so that the prior is one more row per parameter in
scipy's least_squares (bounds, a robust loss on the data rows only, several starts).

Every prior and every measuring SD is an ASSUMPTION (no published figures found) and an argument.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .ball import Ball
from .errors import InputError, check_range, nearest_name
from .fitted import (
    BallFactors,
    Fitted,
    LaneFactors,
    PatternFactors,
    fitted_ball,
    fitted_friction,
)
from .friction import DEFAULT_FRICTION, FrictionModel
from .lane import BOARD_M, FRICTION_CAP, arrow_distance_ft
from .motion import kernels as k
from .motion import setup
from .pattern import OilPattern
from .pocket import HEAD_ON_BOARD, HIGH_FROM_BOARD, LIGHT_TO_BOARD
from .release import LEVELS, RELEASE_COLUMNS, Release
from .shots_file import OUTCOME_SD_BOARDS, ShotLog, column_of
from .trajectory import throw_parameters
from .units import FOOT_M

STARTS_STAGE, FOLDS_STAGE, SHOTS_STAGE = 61, 62, 63  # seed stages of this study
NORMAL_95 = 1.959963984540054
NORMAL_80_POWER = 0.8416212335729143
_STEP = 0.05  # finite-difference step in prior SDs; the engine is smooth to below 1e-3 board
_RELEASES = RELEASE_COLUMNS[:6]


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
_UNMEASURED = dict(zip(_RELEASES, LEVELS["200"].array().tolist(), strict=True))


@dataclass(frozen=True)
class Term:
    """One estimated number: a parameter kind for one ball or pattern, with its prior SD."""

    kind: str
    target: str
    prior_sd: float

    @property
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
        for c, name in enumerate(_RELEASES):
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
        self.step_x = np.array([0.25, 0.1, 0.1, 8.0, 2.0, 1.5])

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
        for term, zi in zip(self.terms, z, strict=True):
            column = term.parameter.column
            if column:
                out[_RELEASES.index(column)] += term.prior_sd * zi
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
                high[i] = min(high[i], room / term.prior_sd - 2 * _STEP)
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
        # a column that does not exist (no pin touched at all) says nothing rather than something
        return out, entry

    def at(self, z: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """`predict` for one set: (n, m) and (n,)."""
        out, entry = self.predict(z[None], x[None])
        return out[0], entry[0]

    def release_slopes(self, z: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """G = df/dx (n, m, 6) and d entry/dx (n, 6) by central differences, one engine call."""
        xs = np.repeat(x[None], 12, axis=0)
        for c in range(6):
            xs[2 * c, :, c] += self.step_x[c]
            xs[2 * c + 1, :, c] -= self.step_x[c]
        out, entry = self.predict(np.repeat(z[None], 12, axis=0), xs)
        slope = (out[0::2] - out[1::2]) / (2 * self.step_x[:, None, None])
        slope_entry = (entry[0::2] - entry[1::2]) / (2 * self.step_x[:, None])
        return np.moveaxis(slope, 0, -1), slope_entry.T

    def parameter_slopes(
        self, z: np.ndarray, x: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, list[int]]:
        """df/dz (n, m, q) and d entry/dz (n, q) for the q terms that are not release offsets."""
        inner = [i for i, t in enumerate(self.terms) if not t.parameter.column]
        if not inner:
            return np.zeros((*self.y.shape, 0)), np.zeros((len(x), 0)), inner
        zs = np.repeat(z[None], 2 * len(inner), axis=0)
        for n, i in enumerate(inner):
            zs[2 * n, i] += _STEP
            zs[2 * n + 1, i] -= _STEP
        out, entry = self.predict(zs, np.repeat(x[None], len(zs), axis=0))
        slope = (out[0::2] - out[1::2]) / (2 * _STEP)
        return np.moveaxis(slope, 0, -1), ((entry[0::2] - entry[1::2]) / (2 * _STEP)).T, inner

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
    names = [*_RELEASES, "arrow_board", "speed_pins_mph", "breakpoint_board", "breakpoint_ft",
             "entry_board", "entry_angle_deg"]
    out = {n: column_of(n).sd for n in names}
    out |= {"board_at": column_of("board_at_40ft").sd, "outcome": OUTCOME_SD_BOARDS}
    for name, value in (given or {}).items():
        if name not in out:
            raise nearest_name(name, out, "measured column")
        out[name] = check_range(f"measuring SD of {name}", value, 1e-6, 100)
    return out


# ================================ the estimate ===============================================


@dataclass(frozen=True)
class Linear:
    """The whitened problem about one point: everything that `least_squares` needs.

    x0 : (n, 6) releases about which the problem is linear in them; slope (n, m, 6) = G there;
    whiten : per shot (indices of the columns seen, inverse Cholesky factor of S);
    window_scale : (n,) SD of the entry board for shots known by their outcome only, else NaN.
    """

    x0: np.ndarray
    slope: np.ndarray
    slope_entry: np.ndarray
    whiten: tuple[tuple[np.ndarray, np.ndarray], ...]
    window_scale: np.ndarray


def linearise(model: ShotModel, z: np.ndarray, x0: np.ndarray) -> Linear:
    """Slopes and whitening at (z, x0)."""
    slope, slope_entry = model.release_slopes(z, x0)
    whiten = []
    for i in range(len(x0)):
        seen = np.flatnonzero(np.isfinite(model.y[i]) & np.all(np.isfinite(slope[i]), axis=1))
        g = slope[i][seen]
        spread = np.diag(model.y_sd[seen] ** 2) + g @ model.x_cov[i] @ g.T
        whiten.append((seen, np.linalg.inv(np.linalg.cholesky(spread))))
    variance = np.einsum("nc,ncd,nd->n", slope_entry, model.x_cov, slope_entry)
    scale = np.where(np.isfinite(model.window[:, 0]) | np.isfinite(model.window[:, 1]),
                     np.sqrt(model.window_sd**2 + variance), np.nan)
    return Linear(x0, slope, slope_entry, tuple(whiten), scale)


def residuals(model: ShotModel, line: Linear, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whitened residuals of all shots, and the shot that each row belongs to."""
    f, entry = model.at(z, line.x0)
    shift = model.centre(z) - line.x0
    rows: list[np.ndarray] = []
    owner: list[int] = []
    for i, (seen, inverse) in enumerate(line.whiten):
        if len(seen):
            gap = model.y[i][seen] - f[i][seen] - line.slope[i][seen] @ shift[i]
            # a prediction without an end (no pin touched) gives no row of its own a value
            rows.append(inverse @ np.where(np.isfinite(gap), gap, 0.0))
            owner += [i] * len(seen)
        if math.isfinite(line.window_scale[i]):
            at = entry[i] + line.slope_entry[i] @ shift[i]
            inside = min(max(at, model.window[i, 0]), model.window[i, 1])
            rows.append(np.array([(inside - at) / line.window_scale[i]]))
            owner.append(i)
    return (np.concatenate(rows) if rows else np.empty(0)), np.array(owner, dtype=int)


def jacobian(model: ShotModel, line: Linear, z: np.ndarray) -> np.ndarray:
    """d residuals / dz (rows, P)."""
    slope, slope_entry, inner = model.parameter_slopes(z, line.x0)
    _, entry = model.at(z, line.x0)
    shift = model.centre(z) - line.x0
    count = len(model.terms)
    rows: list[np.ndarray] = []
    for i, (seen, inverse) in enumerate(line.whiten):
        whole = np.zeros((len(seen), count))
        edge = np.zeros(count)
        whole[:, inner] = slope[i][seen]
        edge[inner] = slope_entry[i]
        for j, term in enumerate(model.terms):
            column = term.parameter.column
            if column:
                c = _RELEASES.index(column)
                whole[:, j] = line.slope[i][seen, c] * term.prior_sd
                edge[j] = line.slope_entry[i, c] * term.prior_sd
        if len(seen):
            rows.append(-inverse @ np.where(np.isfinite(whole), whole, 0.0))
        if math.isfinite(line.window_scale[i]):
            at = entry[i] + line.slope_entry[i] @ shift[i]
            outside = not model.window[i, 0] <= at <= model.window[i, 1]
            rows.append((-edge / line.window_scale[i] * outside)[None])
    return np.concatenate(rows) if rows else np.empty((0, count))


@dataclass(frozen=True)
class Posterior:
    """Minimum of half the robust sum plus half the prior's squares, and the width round it.

    z : (P,); cost : at z; covariance : (P, P) of z; information : (P, P) J^T J of the data rows.
    """

    z: np.ndarray
    cost: float
    covariance: np.ndarray
    information: np.ndarray
    evaluations: int


def robust_constants(scale: float) -> tuple[float, float]:
    """E psi' and E psi^2 for standard normal residuals and the loss of that scale; inf: (1, 1).

    psi(r) = r/sqrt(1 + (r/c)^2), the derivative of c^2 (sqrt(1 + (r/c)^2) - 1). Huber, Robust
    Statistics: the estimator's covariance is E psi^2/(E psi')^2 times the least-squares one.
    """
    if math.isinf(scale):
        return 1.0, 1.0
    nodes, weights = np.polynomial.hermite_e.hermegauss(101)
    weights = weights / weights.sum()
    bend = 1.0 + (nodes / scale) ** 2
    return float(weights @ bend**-1.5), float(weights @ (nodes**2 / bend))


def robust_loss(rows: int, scale: float) -> Callable[[np.ndarray], np.ndarray]:
    """soft_l1 with a stated scale on the first `rows` residuals, plain squares on the rest.

    For scipy's least_squares: rho, rho', rho'' as functions of the squared residual.
    """
    def loss(squared: np.ndarray) -> np.ndarray:
        out = np.zeros((3, len(squared)))
        out[0], out[1] = squared, 1.0
        if math.isfinite(scale):
            bend = 1.0 + squared[:rows] / scale**2
            out[0, :rows] = 2 * scale**2 * (np.sqrt(bend) - 1.0)
            out[1, :rows] = bend**-0.5
            out[2, :rows] = -0.5 / scale**2 * bend**-1.5
        return out

    return loss


def solve_posterior(
    residual: Callable[[np.ndarray], np.ndarray], slopes: Callable[[np.ndarray], np.ndarray],
    start: np.ndarray, low: np.ndarray, high: np.ndarray, *, loss_scale: float = math.inf,
    noise: float = 1.0, held: Mapping[int, float] | None = None, max_evaluations: int = 30,
) -> Posterior:
    """Maximum of the posterior of z with a standard normal prior on each, by least_squares.

    Parameters
    ----------
    residual, slopes : z -> whitened data residuals (rows,), their Jacobian (rows, P).
    loss_scale : of the soft_l1 loss, in SDs; inf is plain least squares (then, for a linear model,
        the result is the closed-form Gaussian posterior: tests/verification/test_fit_recovery.py).
    noise : SD of the whitened residuals if not 1; widens the covariance's data part.
    held : index -> value of parameters that are kept fixed (profiles).
    """
    from scipy.optimize import least_squares

    free = np.array([i for i in range(len(start)) if i not in (held or {})], dtype=int)
    whole = start.copy()
    for i, value in (held or {}).items():
        whole[i] = value

    def fill(part: np.ndarray) -> np.ndarray:
        z = whole.copy()
        z[free] = part
        return z

    first = np.clip(whole[free], low[free] + 1e-9, high[free] - 1e-9)
    rows = len(residual(fill(first)))
    loss = robust_loss(rows, loss_scale)
    held_prior = 0.5 * float(sum(v * v for v in (held or {}).values()))
    if len(free) == 0:
        squares = residual(whole) ** 2
        cost = 0.5 * float(loss(squares)[0].sum())
        nothing = np.zeros((0, 0))
        return Posterior(whole, cost + held_prior, nothing, nothing, 1)
    found = least_squares(
        lambda part: np.concatenate([residual(fill(part)), part]), first,
        jac=lambda part: np.vstack([slopes(fill(part))[:, free], np.eye(len(free))]),
        bounds=(low[free], high[free]), loss=loss, xtol=1e-5, ftol=1e-7, gtol=1e-7,
        max_nfev=max_evaluations,
    )
    z = fill(found.x)
    data = slopes(z)
    information = data.T @ data
    part = information[np.ix_(free, free)]
    bend, square = robust_constants(loss_scale)
    inverse = np.linalg.inv(bend * part + np.eye(len(free)))
    covariance = inverse @ (noise**2 * square * part + np.eye(len(free))) @ inverse
    return Posterior(z, float(found.cost) + held_prior, covariance, information, int(found.nfev))


@dataclass(frozen=True)
class FitResult:
    """What the shots say, and what they do not.

    Arrays of length P follow `terms`; estimates of factors are factors, of offsets in their unit.

    Attributes
    ----------
    terms : what was estimated. estimate, low, high : value and 95 % interval (P,).
    sd_share : posterior SD over prior SD (P,): near 1 means the shots say nothing about it.
    correlation : (P, P). condition : of the posterior precision, parameters in prior SDs.
    directions_seen : how many of the P independent combinations the shots know better than the
        prior does (eigenvalues of the data's information above 1).
    z, covariance : (P,), (P, P) in prior SDs; shot_information : (n, P, P) of each shot.
    profiles : label -> {value, rise (of -2 log posterior), low, high}.
    columns, measured, predicted, residual : result columns and (n, m) values in trade units.
    shot_chi2, shot_rows : (n,) squared whitened residuals and their number; outliers : indices.
    noise : SD of the whitened residuals (1: the stated measuring SDs fit), inflated: whether the
        intervals were widened by it.
    cross_validated : column -> {assumed_rms, fitted_rms, shots} on held-out shots.
    starts : costs at the end of each start; agreement : starts that ended at the best one.
    warnings, notes : sentences for the reader.
    fitted : ready for fitted.save_fitted.
    """

    source: str
    shots: int
    hand: str
    seed: int
    terms: tuple[Term, ...]
    estimate: np.ndarray
    low: np.ndarray
    high: np.ndarray
    sd_share: np.ndarray
    correlation: np.ndarray
    condition: float
    directions_seen: int
    z: np.ndarray
    covariance: np.ndarray
    shot_information: np.ndarray
    profiles: Mapping[str, Mapping[str, Any]]
    columns: tuple[str, ...]
    lines: tuple[int, ...]
    measured: np.ndarray
    predicted: np.ndarray
    residual: np.ndarray
    shot_chi2: np.ndarray
    shot_rows: np.ndarray
    outliers: tuple[int, ...]
    noise: float
    inflated: bool
    loss_scale: float
    cross_validated: Mapping[str, Mapping[str, float]]
    starts: np.ndarray
    agreement: int
    rounds: int
    measurement_sd: Mapping[str, float]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    fitted: Fitted

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of the terms."""
        return tuple(t.label for t in self.terms)

    def index(self, label: str) -> int:
        """Position of a term."""
        if label not in self.labels:
            raise nearest_name(label, self.labels, "fitted parameter")
        return self.labels.index(label)

    def summary(self) -> dict[str, Any]:
        """Estimates, warnings and errors without the per-shot arrays."""
        return {
            "source": self.source, "shots": self.shots, "hand": self.hand, "seed": self.seed,
            "provenance": f"fitted to {self.shots} shots",
            "parameters": {
                t.label: {
                    "estimate": float(self.estimate[i]), "low_95": float(self.low[i]),
                    "high_95": float(self.high[i]), "unit": t.parameter.unit or "factor",
                    "prior_sd": t.prior_sd, "sd_over_prior_sd": float(self.sd_share[i]),
                    "words": t.parameter.words, "prior": t.parameter.why,
                } for i, t in enumerate(self.terms)
            },
            "condition_number": self.condition, "directions_seen": self.directions_seen,
            "noise": self.noise, "intervals_widened": self.inflated,
            "loss": "linear" if math.isinf(self.loss_scale) else
                    f"soft_l1 at {self.loss_scale:g} SD",
            "cross_validated": {n: dict(v) for n, v in self.cross_validated.items()},
            "starts": self.starts.tolist(), "starts_agreeing": self.agreement,
            "outlier_lines": [self.lines[i] for i in self.outliers],
            "measurement_sd": dict(self.measurement_sd),
            "warnings": list(self.warnings), "notes": list(self.notes),
        }

    def to_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        return self.summary() | {
            "correlation": self.correlation.tolist(),
            "profiles": {n: dict(v) for n, v in self.profiles.items()},
            "columns": list(self.columns), "lines": list(self.lines),
            "measured": self.measured.tolist(), "predicted": self.predicted.tolist(),
            "residual": self.residual.tolist(), "shot_chi2": self.shot_chi2.tolist(),
        }


def make_terms(
    log: ShotLog, parameters: Sequence[str], prior_sd: Mapping[str, float] | None = None
) -> tuple[tuple[Term, ...], list[str]]:
    """The terms for those parameter kinds, and notes on what was added or left out.

    Offsets of columns that were never measured are added with a loose prior: the player's usual
    value is not known, and leaving that out would make every interval too narrow.
    """
    kinds = list(dict.fromkeys(parameters))
    for kind in kinds:
        if kind not in PARAMETERS:
            raise nearest_name(kind, PARAMETERS, "parameter")
    for kind, value in (prior_sd or {}).items():
        if kind not in PARAMETERS:
            raise nearest_name(kind, PARAMETERS, "parameter")
        check_range(f"prior SD of {kind}", value, 1e-6, 1000)
    notes = []
    measured = {n: bool(np.isfinite(log.column(n)).any()) for n in _RELEASES}
    if "angle_offset" in kinds and not measured["launch_angle_deg"]:
        kinds.remove("angle_offset")
        notes.append("angle_offset left out: no launch angle was measured, the arrow board "
                     "gives each shot's own")
    for kind, parameter in PARAMETERS.items():
        if parameter.loose_sd and not measured[parameter.column] and kind not in kinds:
            kinds.append(kind)
    terms = []
    for kind in PARAMETERS:
        if kind not in kinds:
            continue
        parameter = PARAMETERS[kind]
        sd = parameter.prior_sd
        if parameter.loose_sd and not measured[parameter.column]:
            sd = parameter.loose_sd
            notes.append(f"{parameter.column} was not measured: the usual value is assumed, with "
                         f"SD {sd:g} {parameter.unit}, and estimated with the rest ({kind})")
        sd = (prior_sd or {}).get(kind, sd)
        targets = {"ball": sorted(set(log.ball)), "pattern": sorted(set(log.pattern))}.get(
            parameter.scope, [""])
        terms += [Term(kind, target, sd) for target in targets]
    if not terms:
        raise InputError("nothing to fit: no parameter is left; known: " + ", ".join(PARAMETERS))
    return tuple(terms), notes


def fit_shots(
    log: ShotLog, balls: Mapping[str, Ball], patterns: Mapping[str, OilPattern], *,
    hand: str = "right", usual: Release | None = None,
    parameters: Sequence[str] = DEFAULT_PARAMETERS,
    measurement_sd: Mapping[str, float] | None = None,
    prior_sd: Mapping[str, float] | None = None, friction: FrictionModel = DEFAULT_FRICTION,
    loss_scale: float = 3.0, starts: int = 3, seed: int = 0, folds: int = 5,
    profile: str = "flat", films: Mapping[tuple[str, int], np.ndarray] | None = None,
    progress: Callable[[str], None] | None = None,
) -> FitResult:
    """Estimate parameters from measured shots.

    Parameters
    ----------
    log : the shots; every shot names its ball and pattern (ShotLog.with_names fills gaps).
    balls, patterns : by the names used in the log.
    usual : stands in for release columns that were never measured (assumed).
    parameters : kinds, see PARAMETERS. prior_sd, measurement_sd : replace assumed SDs.
    loss_scale : of the soft_l1 loss in SDs; inf for plain least squares.
    starts : number of starts (the first at the defaults, the others drawn from the prior).
    folds : of the cross-validation, 0 for none. profile : 'flat' (where the shots say little),
        'all' or 'none'.
    films : (pattern, game) -> film (60, 39) [m] in the player's boards, when the lane changed
        between games; default: the pattern as laid in every game.

    Raises
    ------
    InputError
        for unknown names, no usable measurement, or options out of range.
    """
    say = progress or (lambda _: None)
    _check_names(log, balls, patterns)
    check_range("starts", starts, 1, 50)
    check_range("folds", folds, 0, 50)
    if not (math.isinf(loss_scale) and loss_scale > 0):
        check_range("loss scale", loss_scale, 0.5, 1000)
    if profile not in {"flat", "all", "none"}:
        raise InputError(f"profile is '{profile}'; accepted: flat, all, none")
    terms, notes = make_terms(log, parameters, prior_sd)

    def build(part: ShotLog) -> ShotModel:
        return ShotModel(part, balls, patterns, terms, hand=hand, usual=usual, friction=friction,
                         measurement_sd=measurement_sd, films=films)

    model = build(log)
    useful = np.isfinite(model.y[:, ~model.is_aim]).any(axis=1) | ~np.isnan(model.window[:, 1])
    if not useful.any():
        raise InputError(f"{log.source}: no shot has a measured result that a fit can use "
                         "(boards, breakpoint, entry, speed at the pins or outcome)")
    if not useful.all():
        notes.append(f"{int((~useful).sum())} of {len(log)} shots have no result that a fit can "
                     "use and were left out (lines "
                     + ", ".join(str(log.line[i]) for i in np.flatnonzero(~useful)[:10]) + ")")
        log = log.take(np.flatnonzero(useful))
        model = build(log)
    say("estimating")
    best, line, costs, rounds = _estimate(model, loss_scale, starts, seed)
    white, owner = residuals(model, line, best.z)
    noise, inflated = _noise(white, len(terms))
    if inflated:
        best = solve_posterior(
            lambda z: residuals(model, line, z)[0], lambda z: jacobian(model, line, z),
            best.z, *model.limits(), loss_scale=loss_scale, noise=noise)
    sd = np.sqrt(np.diag(best.covariance))
    chosen = [i for i in range(len(terms))
              if profile == "all" or (profile == "flat" and sd[i] > 0.6)]
    profiles = {}
    for i in chosen:
        say(f"profile of {terms[i].label}")
        profiles[terms[i].label] = _profile(model, line, best, i, loss_scale)
    say("cross-validating")
    checked = _cross_validate(build, log, best.z, folds, seed, loss_scale) if folds else {}
    slopes = jacobian(model, line, best.z)
    each = np.zeros((len(log), len(terms), len(terms)))
    np.add.at(each, owner, slopes[:, :, None] * slopes[:, None, :])
    chi2 = np.zeros(len(log))
    np.add.at(chi2, owner, white**2)
    rows = np.bincount(owner, minlength=len(log))
    outliers = _outliers(chi2, rows, noise)
    expected, _ = model.at(best.z, model.likely_releases(best.z, model.is_aim))
    information = best.information
    eigen = np.linalg.eigvalsh(information)
    correlation = best.covariance / np.outer(sd, sd)
    condition = float((eigen[-1] + 1.0) / (max(eigen[0], 0.0) + 1.0))
    values = [t.parameter.value for t in terms]
    estimate = np.array([v(z) for v, z in zip(values, best.z, strict=True)])
    low = np.array([v(z - NORMAL_95 * s) for v, z, s in zip(values, best.z, sd, strict=True)])
    high = np.array([v(z + NORMAL_95 * s) for v, z, s in zip(values, best.z, sd, strict=True)])
    agreement = int(np.sum(costs < costs.min() + 0.05))
    warnings = _warnings(model, terms, best.z, sd, correlation, eigen, agreement, len(costs),
                         noise, inflated, [log.line[i] for i in outliers])
    return FitResult(
        source=log.source, shots=len(log), hand=hand, seed=seed, terms=terms, estimate=estimate,
        low=low, high=high, sd_share=sd, correlation=correlation, condition=condition,
        directions_seen=int(np.sum(eigen > 1.0)), z=best.z, covariance=best.covariance,
        shot_information=each, profiles=profiles, columns=model.columns, lines=log.line,
        measured=model.y, predicted=expected, residual=model.y - expected, shot_chi2=chi2,
        shot_rows=rows, outliers=tuple(outliers), noise=noise, inflated=inflated,
        loss_scale=loss_scale, cross_validated=checked, starts=costs, agreement=agreement,
        rounds=rounds, measurement_sd=measuring_sds(measurement_sd), warnings=tuple(warnings),
        notes=tuple(notes), fitted=_as_fitted(log, terms, estimate, low, high, seed),
    )


def _check_names(log: ShotLog, balls: Mapping[str, Ball],
                 patterns: Mapping[str, OilPattern]) -> None:
    for kind, names, known in (("ball", log.ball, balls), ("pattern", log.pattern, patterns)):
        for line, name in zip(log.line, names, strict=True):
            if not name:
                raise InputError(f"{log.source} line {line}: no {kind} named; add a column "
                                 f"'{kind}' or name one for all shots")
            if name not in known:
                raise InputError(f"{log.source} line {line}: "
                                 + str(nearest_name(name, known, kind)))


def _estimate(
    model: ShotModel, loss_scale: float, starts: int, seed: int, *,
    first: np.ndarray | None = None, rounds: int = 6,
) -> tuple[Posterior, Linear, np.ndarray, int]:
    """Relinearise and solve until nothing moves; the first round from several starts."""
    low, high = model.limits()
    count = len(model.terms)
    generator = np.random.default_rng(np.random.SeedSequence([int(seed), STARTS_STAGE]))
    begin = np.zeros(count) if first is None else first
    draws = [begin] + [np.clip(generator.standard_normal(count), low, high)
                       for _ in range(starts - 1)]
    everything = np.ones(len(model.columns), dtype=bool)
    x0 = model.likely_releases(begin, model.is_aim, rounds=2)
    z = begin
    costs = np.empty(0)
    best = None
    for number in range(1, rounds + 1):
        line = linearise(model, z, x0)
        found = [
            solve_posterior(
                lambda p, line=line: residuals(model, line, p)[0],
                lambda p, line=line: jacobian(model, line, p), start, low, high,
                loss_scale=loss_scale)
            for start in (draws if number == 1 else [z])
        ]
        if number == 1:
            costs = np.array([p.cost for p in found])
        best = min(found, key=lambda p: p.cost)
        f, _ = model.at(best.z, x0)
        moved = model.release_update(best.z, x0, f, line.slope, everything)
        still = (np.max(np.abs(best.z - z)) < 5e-3
                 and np.max(np.abs(moved - x0) / model.step_x) < 0.2)
        z, x0 = best.z, moved
        if still and number > 1:
            break
    assert best is not None
    return best, line, costs, number


def _noise(white: np.ndarray, parameters: int) -> tuple[float, bool]:
    """Robust SD of the whitened residuals, and whether it is significantly above 1.

    1.4826 times the median absolute residual; its relative standard error for normal residuals is
    1.167/sqrt(n) (efficiency 37 %, textbook), so 2.33 of those mark the one-sided 1 % point.
    """
    count = len(white)
    if count < 2 * parameters or count < 8:
        return 1.0, False
    spread = 1.4826 * float(np.median(np.abs(white))) * math.sqrt(count / (count - parameters))
    return spread, spread > 1.0 + 2.33 * 1.167 / math.sqrt(count)


def _outliers(chi2: np.ndarray, rows: np.ndarray, noise: float) -> list[int]:
    """Shots whose squared residuals would come up once in 20 files by chance (Bonferroni)."""
    from scipy.stats import chi2 as chi2_law

    chance = chi2_law.sf(chi2 / max(noise, 1.0) ** 2, np.maximum(rows, 1))
    return [int(i) for i in np.flatnonzero(chance < 0.05 / len(chi2))]


def _profile(model: ShotModel, line: Linear, best: Posterior, index: int,
             loss_scale: float) -> dict[str, Any]:
    """Rise of -2 log posterior along one parameter, the others refitted; 95 % where it is 3.84."""
    low, high = model.limits()
    sd = math.sqrt(best.covariance[index, index])
    along = best.covariance[:, index] / sd**2  # how the others follow, to start near their best
    grid = np.unique(np.clip(best.z[index] + sd * np.array([-2.8, -1.9, -1, 0, 1, 1.9, 2.8]),
                             low[index], high[index]))
    rise = []
    for value in grid:
        start = np.clip(best.z + along * (value - best.z[index]), low, high)
        found = solve_posterior(
            lambda p: residuals(model, line, p)[0], lambda p: jacobian(model, line, p),
            start, low, high, loss_scale=loss_scale, held={index: float(value)}, max_evaluations=8)
        rise.append(2.0 * (found.cost - best.cost))
    rise_array = np.maximum(np.array(rise), 0.0)
    parameter = model.terms[index].parameter

    def crossing(side: int) -> float:
        inside = grid <= best.z[index] if side < 0 else grid >= best.z[index]
        z, r = grid[inside], np.sqrt(rise_array[inside])
        if side < 0:
            z, r = z[::-1], r[::-1]
        if r[-1] < NORMAL_95:
            return float(parameter.value(z[-1]))  # not reached inside the bounds
        return float(parameter.value(np.interp(NORMAL_95, np.maximum.accumulate(r), z)))

    return {"value": parameter.value(grid).tolist(), "rise": rise_array.tolist(),
            "low": crossing(-1), "high": crossing(+1)}


def _cross_validate(
    build: Callable[[ShotLog], ShotModel], log: ShotLog, z: np.ndarray, folds: int, seed: int,
    loss_scale: float,
) -> dict[str, dict[str, float]]:
    """RMS error of each column on shots that the fit had not seen, against the assumed defaults.

    Held-out shots are predicted from their measured release alone (and the arrow board, which is
    an aim). A ball or pattern that only the held-out fold has keeps its prior.
    """
    folds = min(folds, len(log))
    if folds < 2:
        return {}
    generator = np.random.default_rng(np.random.SeedSequence([int(seed), FOLDS_STAGE]))
    order = generator.permutation(len(log))
    errors: dict[str, list[tuple[float, float]]] = {}
    for fold in range(folds):
        held = np.sort(order[fold::folds])
        kept = np.sort(np.setdiff1d(order, held))
        found, _, _, _ = _estimate(build(log.take(kept)), loss_scale, 1, seed, first=z, rounds=2)
        model = build(log.take(held))
        nothing = np.zeros_like(z)
        told = [model.at(p, model.likely_releases(p, model.is_aim, rounds=2))[0]
                for p in (nothing, found.z)]
        for c, name in enumerate(model.columns):
            if model.is_aim[c]:
                continue
            pairs = zip(model.y[:, c] - told[0][:, c], model.y[:, c] - told[1][:, c], strict=True)
            errors.setdefault(name, []).extend(
                (float(a), float(b)) for a, b in pairs if math.isfinite(a) and math.isfinite(b))
    out = {}
    for name, pairs in errors.items():
        if pairs:
            table = np.array(pairs)
            rms = np.sqrt(np.mean(table**2, axis=0))
            out[name] = {"assumed_rms": float(rms[0]), "fitted_rms": float(rms[1]),
                         "shots": len(table)}
    return out


def _warnings(
    model: ShotModel, terms: Sequence[Term], z: np.ndarray, sd: np.ndarray,
    correlation: np.ndarray, eigen: np.ndarray, agreement: int, starts: int, noise: float,
    inflated: bool, outlier_lines: Sequence[int],
) -> list[str]:
    out = []
    for i, term in enumerate(terms):
        if sd[i] > 0.9:
            out.append(f"your shots say nothing about {term.label}: its interval is the assumed "
                       f"one (SD {sd[i]:.0%} of the prior's)")
        elif sd[i] > 0.6:
            out.append(f"your shots say little about {term.label} (SD {sd[i]:.0%} of the prior's)")
    for i in range(len(terms)):
        for j in range(i):
            if abs(correlation[i, j]) > 0.9:
                out.append(f"{terms[j].label} and {terms[i].label} cannot be told apart "
                           f"(correlation {correlation[i, j]:+.2f}): only their combination is "
                           "known")
    seen = int(np.sum(eigen > 1.0))
    if seen < len(terms):
        out.append(f"the shots fix {seen} of {len(terms)} independent combinations; the rest "
                   "rests on the priors")
    low, high = model.limits()
    for i, term in enumerate(terms):
        if z[i] < low[i] + 0.02 or z[i] > high[i] - 0.02:
            out.append(f"{term.label} ran into its bound: check units, ball and pattern")
        elif abs(z[i]) > 3.0:
            out.append(f"{term.label} is {abs(z[i]):.1f} prior SDs from its default: check units, "
                       "ball and pattern")
    if agreement < starts:
        out.append(f"only {agreement} of {starts} starts ended at the best fit; the others got "
                   "stuck elsewhere")
    if inflated:
        out.append(f"residuals are {noise:.1f} times as large as the stated measuring SDs; the "
                   "intervals were widened by that")
    if outlier_lines:
        out.append("these lines do not fit the rest and hardly counted: "
                   + ", ".join(str(n) for n in outlier_lines))
    return out


def _as_fitted(log: ShotLog, terms: Sequence[Term], estimate: np.ndarray, low: np.ndarray,
               high: np.ndarray, seed: int) -> Fitted:
    value = {(t.kind, t.target): float(e) for t, e in zip(terms, estimate, strict=True)}
    offsets = {t.parameter.column: float(e) for t, e in zip(terms, estimate, strict=True)
               if t.parameter.column and np.isfinite(log.column(t.parameter.column)).any()}
    kinds = {t.kind for t in terms}
    by_ball = kinds & {"ball_friction", "ball_roughness", "ball_uptake"}
    return Fitted(
        shots=len(log), source=log.source, seed=seed,
        balls={b: BallFactors(value.get(("ball_friction", b), 1.0),
                              value.get(("ball_roughness", b), 1.0),
                              value.get(("ball_uptake", b), 1.0))
               for b in sorted(set(log.ball))} if by_ball else {},
        patterns={p: PatternFactors(value[("oil_amount", p)])
                  for p in sorted(set(log.pattern))} if "oil_amount" in kinds else {},
        lane=LaneFactors(value.get(("lane_roughness", ""), 1.0), value.get(("lambda_ref", ""), 1.0)),
        release_offsets=offsets,
        intervals={t.label: (float(a), float(b))
                   for t, a, b in zip(terms, low, high, strict=True)},
    )
