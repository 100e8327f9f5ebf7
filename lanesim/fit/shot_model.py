"""What a measured shot should read under given parameters: the forward model of a fit.

The parameters with their priors (PARAMETERS), predictions of every measured column by the batch
engine (ShotModel), and the whitened residuals that `lanesim.fit` minimises; the statistics are
explained there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Any

import numpy as np

from ..equipment.ball import Ball
from ..errors import check_range, nearest_name
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import BOARD_M, FRICTION_CAP, arrow_distance_ft
from ..lane.pattern import OilPattern
from ..motion import kernels as k
from ..motion import setup
from ..motion.pocket import GUTTER, HEAD_ON_BOARD, HIGH_FROM_BOARD, LIGHT_TO_BOARD, OUTCOMES
from ..motion.trajectory import throw_parameters
from ..player import LEVELS, RELEASE_COLUMNS, Release, Spread, normal_deviates
from ..streams import Stage, stream
from ..units import FOOT_M
from .fitted import BallFactors, LaneFactors, fitted_ball, fitted_friction
from .shots_file import OUTCOME_SD_BOARDS, ShotLog, column_of

RELEASES = RELEASE_COLUMNS[:6]
STEP_Z = 0.2  # finite-difference step in prior SDs; the engine is smooth to below 1e-3 board
POINTS = 64  # releases of each shot over which the answer's slopes are averaged
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
# What is known of a shot's end; UNKNOWN: nothing was written down, so anything may have happened
UNKNOWN, TOUCHED, IN_GUTTER, STAYED = range(4)
_FATES = {"gutter": IN_GUTTER, "missed": STAYED, **dict.fromkeys(_OUTCOME_WINDOWS, TOUCHED)}
# measured at the first pin: column -> field of ShotTable
AT_THE_PINS = {"entry_board": "entry_board", "entry_angle_deg": "entry_angle_deg",
               "speed_pins_mph": "entry_speed_mph"}
FEWEST = 0.25  # share of the releases that must end as the shot did for an average over them alone
# Spread of a launch angle of which only the arrow board is known, before that board is looked at
_FREE_ANGLE_SD_DEG = 1.0
_OFFSET_KINDS = tuple(next(n for n, p in PARAMETERS.items() if p.column == c) for c in RELEASES)
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
    `x_measured` (n, 6) the releases (RELEASE_COLUMNS less the phase) as they most likely were (see
    `_calm`), offsets apart, `x_cov` (n, 6, 6) what is left open.
    """

    def __init__(
        self, log: ShotLog, balls: Mapping[str, Ball], patterns: Mapping[str, OilPattern],
        terms: Sequence[Term], *, hand: str = "right", usual: Release | None = None,
        friction: FrictionModel = DEFAULT_FRICTION,
        measurement_sd: Mapping[str, float] | None = None,
        films: Mapping[tuple[str, int], np.ndarray] | None = None,
    ) -> None:
        self.log, self.balls, self.patterns = log, dict(balls), dict(patterns)
        self.friction, self.hand = friction, hand
        sd = measuring_sds(measurement_sd)
        usual = usual or Release(hand=hand)
        self._release_side(sd, usual)
        self._result_side(sd)
        # z holds the terms asked for and, after them, the errors of the six release means
        self.asked = len(terms)
        self.terms = (*terms, *(Term(kind, "mean of the file", float(error)) for kind, error in
                                zip(_OFFSET_KINDS, self.mean_error, strict=True)))
        # (term, release column, prior SD) of the release offsets; the other terms enter the core
        self.offset_terms = [(j, RELEASES.index(t.parameter.column), t.prior_sd)
                             for j, t in enumerate(self.terms) if t.parameter.column]
        self.core_terms = [j for j, t in enumerate(self.terms) if not t.parameter.column]
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
        self.mean_error = np.full(6, 1e-6)
        for c, name in enumerate(RELEASES):
            given = log.column(name)
            known = np.isfinite(given)
            fallback = float(np.mean(given[known])) if known.any() else getattr(usual, name)
            likely, left, common = _calm(given, sd[name], _UNMEASURED[name])
            if known.any():
                self.mean_error[c] = common
            x[:, c] = np.where(known, likely, fallback)
            variance[:, c] = np.where(known, left, _UNMEASURED[name] ** 2)
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
        # how the ball is known to have ended: what was measured at the pins was there
        at_pins = np.any([np.isfinite(log.column(n)) for n in AT_THE_PINS], axis=0)
        self.fate = np.where(at_pins, TOUCHED, [_FATES.get(w, UNKNOWN) for w in log.outcome])

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

    def predict(self, zs: np.ndarray, xs: np.ndarray) -> Predicted:
        """Predicted columns for several parameter sets and releases at once.

        Parameters
        ----------
        zs : (s, P); xs : (s, n, 6).
        """
        sets, shots, width = len(zs), len(self.log), len(self.columns)
        told = np.empty((sets, shots, width + 1))
        filled = np.empty((sets, shots, width + 1))
        alike = np.empty((sets, shots), dtype=bool)
        # many sets differ in the releases alone: every vector is made once
        once, back = np.unique(zs, axis=0, return_inverse=True)
        back = back.ravel()
        for pattern, index, film in self.groups:
            names = sorted({self.log.ball[i] for i in index})
            pars = np.array([self.parameter_vector(z, b, pattern) for z in once for b in names])
            paps = np.array([self.balls[b].inertia.pap_body for _ in once for b in names])
            number = np.array([names.index(self.log.ball[i]) for i in index])
            which = (back[:, None] * len(names) + number).ravel()
            releases = np.zeros((sets * len(index), 7))
            releases[:, :6] = xs[:, index].reshape(-1, 6)
            table = throw_parameters(paps, pars, releases, film, which=which, keep_paths=True)
            path = table.path_board
            assert path is not None
            end, slope = _last(path)
            # where a ball never got to: the end of its path (no speed stands in for another)
            stand_in = {"speed_pins_mph": np.full(len(end), np.nan),
                        "entry_angle_deg": np.degrees(np.arctan(slope * BOARD_M / FOOT_M))}
            for c, name in enumerate((*self.columns, "entry_board")):
                if name.startswith("board_at_"):
                    value = _board_at(path, np.full(len(which), float(name[9:-2])))
                elif name == "arrow_board":
                    value = _board_at(path, np.tile(self.arrow_ft[index], sets))
                else:
                    value = getattr(table, AT_THE_PINS.get(name, name))
                instead = stand_in.get(name, end)
                told[:, index, c] = value.reshape(sets, -1)
                filled[:, index, c] = np.where(np.isfinite(value), value,
                                               instead).reshape(sets, -1)
            code = table.outcome.reshape(sets, -1)
            touched = np.isfinite(table.entry_board).reshape(sets, -1)
            fate = self.fate[index]
            alike[:, index] = np.where(
                fate == TOUCHED, touched, np.where(fate == IN_GUTTER, code == GUTTER, np.where(
                    fate == STAYED, code != GUTTER, True)))
        # a board measured at some distance says that the ball was still on the lane there
        needed = np.isfinite(self.y) & ~np.isin(self.columns, list(AT_THE_PINS))
        alike &= np.all(np.isfinite(told[:, :, :width]) | ~needed, axis=2)
        return Predicted(told, filled, alike)

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

    def spread_out(self, z: np.ndarray, x: np.ndarray, root: np.ndarray) -> Spreading:
        """Mean, slopes and covariance of the prediction when x ~ N(x, root root^T).

        Second-order divided differences at h = sqrt(3) (Norgaard, Poulsen & Ravn, Automatica 36,
        1627 (2000), equations from memory): exact for a quadratic f but for cross terms. One
        engine call of 13 points a shot.

        root : (n, 6, 6) square roots of the covariance of each shot's release.
        """
        h2 = 3.0
        h = math.sqrt(h2)
        xs = np.repeat(x[None], 13, axis=0)
        for c in range(6):
            xs[2 * c + 1] += h * root[:, :, c]
            xs[2 * c + 2] -= h * root[:, :, c]
        told = self.predict(np.repeat(z[None], 13, axis=0), xs)
        both = told.filled
        middle, up, down = both[0], both[1::2], both[2::2]
        # a point that ends otherwise than the shot did is replaced by its mirror image
        good, up_good, down_good = (part[..., None] for part in (
            told.alike[0], told.alike[1::2], told.alike[2::2]))
        up, down = (np.where(good & ~up_good & down_good, 2 * middle - down, up),
                    np.where(good & up_good & ~down_good, 2 * middle - up, down))
        first = (up - down) / (2 * h)
        second = (up + down - 2 * middle) / h2
        mean = middle + 0.5 * second.sum(axis=0)
        weight = 0.25 * (h2 - 1.0)
        covariance = np.einsum("cni,cnj->nij", first, first)
        covariance += weight * np.einsum("cni,cnj->nij", second, second)
        return Spreading(middle, mean, np.moveaxis(first, 0, -1), covariance)

    def sampled(
        self, z: np.ndarray, x: np.ndarray, root: np.ndarray, *, slopes: bool = True,
        points: int = POINTS,
    ) -> Spreading:
        """`spread_out` and `parameter_slopes` by many releases (`points`) of each shot.

        The path is bent and bumpy in the release (the oil comes in boards), so slopes at a few
        releases scatter, and J^T J of scattered slopes is too large: their variance passes for
        information, most of all along combinations that the shots hardly fix. Here the mean, its
        slopes in z (the same releases at both ends of a step) and the covariance are averages over
        even normal deviates (`even_deviates`); slopes in x are those of the regression on u, of
        which the linear part of the covariance is made.

        All of them are CONDITIONAL on how the shot is known to have ended: a release that would
        have gone into the gutter is no explanation of a ball that was seen at the pins, and its
        stand-in entry would drag the mean boards away. Where less than FEWEST of them end as the
        shot did, all count, with the end of the path for what they never reached, so that the
        residual still points back.

        The mean of x shifts the conditional mean by cov(f, u | kept) (Stein's identity), not by
        the regression's slope: the releases kept move less than their mean.

        slopes : False leaves the slopes in z at 0, for a fraction of the throws.
        """
        u = even_deviates(points, 6, Stage.FIT_POINTS)
        count, shots = len(u), len(x)
        xs = x + np.einsum("nck,rk->rnc", root, u)
        # one step for all balls (patterns) at once: a shot knows only its own
        core = self.core_terms if slopes else []
        kinds = list(dict.fromkeys(self.terms[j].kind for j in core))
        zs = np.repeat(z[None], 1 + 2 * len(kinds), axis=0)
        for n, kind in enumerate(kinds):
            for j in core:
                if self.terms[j].kind == kind:
                    zs[2 * n + 1, j] += STEP_Z
                    zs[2 * n + 2, j] -= STEP_Z
        told = self.predict(np.repeat(zs, count, axis=0), np.tile(xs, (len(zs), 1, 1)))
        values = told.filled.reshape(len(zs), count, shots, -1)
        alike = told.alike.reshape(len(zs), count, shots)
        weight = _weights(alike[0])
        without = np.einsum("rn,rni->ni", weight, np.isnan(values[0])) > 0.0
        values = np.nan_to_num(values)
        mean = np.einsum("rn,rni->ni", weight, values[0])
        off = values[0] - mean
        turn = u[:, None, :] - np.einsum("rn,rj->nj", weight, u)
        inner = np.einsum("rn,rnj,rnk->njk", weight, turn, turn)
        slope = np.einsum("rn,rni,rnj->nij", weight, off, turn)
        first = slope @ np.linalg.inv(inner)
        rest = off - np.einsum("rnk,nik->rni", turn, first)
        kept = 1.0 / np.einsum("rn,rn->n", weight, weight)
        covariance = first @ inner @ first.transpose(0, 2, 1)
        covariance += np.einsum("rn,rni,rnj->nij", weight, rest, rest) * (
            kept / np.maximum(kept - 7, 1))[:, None, None]
        by_z = np.zeros((*mean.shape, len(self.terms)))
        step = np.empty((len(kinds), *mean.shape))
        for n in range(len(kinds)):
            pair = alike[2 * n + 1:2 * n + 3]
            few = (pair.mean(axis=1) < FEWEST).any(axis=0)
            ends = [np.einsum("rn,rni->ni", _weights(side | few), value)
                    for side, value in zip(pair, values[2 * n + 1:2 * n + 3], strict=True)]
            step[n] = (ends[0] - ends[1]) / (2 * STEP_Z)
        for j in core:
            term = self.terms[j]
            target = {"ball": self.log.ball, "pattern": self.log.pattern}.get(
                term.parameter.scope, ("",) * shots)
            own = np.array([name == term.target for name in target])
            by_z[own, :, j] = step[kinds.index(term.kind)][own]
        middle = self.predict(z[None], x[None]).filled[0]
        return Spreading(middle, np.where(without, np.nan, mean), slope, covariance, by_z)

    def parameter_slopes(
        self, z: np.ndarray, points: np.ndarray, weights: np.ndarray
    ) -> np.ndarray:
        """d/dz (n, m + 1, P) of the columns and the entry board, 0 for the release offsets.

        Averaged over several releases of each shot, points (r, n, 6) with weights (r,): the slope
        at one release alone is as bumpy as the oil, and its scatter would pass for information.
        """
        slope = np.zeros((len(self.log), len(self.columns) + 1, len(self.terms)))
        core = self.core_terms
        if not core:
            return slope
        zs = np.repeat(z[None], 2 * len(core), axis=0)
        for n, j in enumerate(core):
            zs[2 * n, j] += STEP_Z
            zs[2 * n + 1, j] -= STEP_Z
        count = len(points)
        told = self.predict(np.repeat(zs, count, axis=0), np.tile(points, (len(zs), 1, 1)))
        values = np.nan_to_num(told.filled).reshape(len(core), 2, count, *told.filled.shape[1:])
        alike = told.alike.reshape(len(core), 2, count, -1).all(axis=1)
        alike |= ~alike.any(axis=1, keepdims=True)
        share = alike * weights[:, None]
        share /= share.sum(axis=1, keepdims=True)
        step = np.einsum("zrnm,zrn->znm", values[:, 0] - values[:, 1], share) / (2 * STEP_Z)
        slope[:, :, core] = np.moveaxis(step, 0, -1)
        return slope

    def aimed_releases(self, z: np.ndarray, rounds: int = 3) -> Aimed:
        """Releases as known BEFORE looking at what the ball did: measured, offset, and aim.

        A measured arrow board is part of the release: x ~ N(x_c, R_x) is conditioned on it by
        Gauss-Newton, x = x_c + K (y - f(x) - g (x_c - x)), K = R_x g^T/(g R_x g^T + sd^2) with
        the slope g of the board at the arrows in x, by central differences.
        """
        centre = self.centre(z)
        count = len(centre)
        covariance = self.x_cov.copy()
        keep = np.repeat(np.eye(6)[None], count, axis=0)
        pull = np.zeros((count, 6))
        if not self.is_aim.any():
            return Aimed(centre, covariance, keep, pull)
        aim = int(np.flatnonzero(self.is_aim)[0])
        seen = np.isfinite(self.y[:, aim])
        x = centre.copy()
        for _ in range(rounds):
            xs = np.repeat(x[None], 13, axis=0)
            for c in range(6):
                xs[2 * c + 1, :, c] += STEP_X[c]
                xs[2 * c + 2, :, c] -= STEP_X[c]
            out = self.predict(np.repeat(z[None], 13, axis=0), xs).filled
            f = out[0, :, aim]
            g = ((out[1::2, :, aim] - out[2::2, :, aim]) / (2 * STEP_X[:, None])).T
            spread = np.einsum("nc,ncd,nd->n", g, self.x_cov, g) + self.y_sd[aim] ** 2
            pull = np.einsum("ncd,nd->nc", self.x_cov, g) / spread[:, None] * seen[:, None]
            gap = np.where(seen, self.y[:, aim] - f - np.einsum("nc,nc->n", g, centre - x), 0.0)
            x = centre + pull * gap[:, None]
        keep -= pull[:, :, None] * g[:, None, :]
        covariance = np.einsum("ncd,nde->nce", keep, self.x_cov)
        return Aimed(x, 0.5 * (covariance + covariance.transpose(0, 2, 1)), keep, pull)


@dataclass(frozen=True)
class Predicted:
    """What thrown balls did, (s, n, ...) for s parameter sets and n shots.

    columns : (s, n, m + 1) the measured columns and, last, the entry board; NaN where the ball
    never got there. filled : the same with the end of its path instead. alike : (s, n) whether the
    ball ended as the measured one is known to have done, and got as far as that was measured.
    """

    columns: np.ndarray
    filled: np.ndarray
    alike: np.ndarray


@cache
def even_deviates(count: int, dims: int, stage: Stage) -> np.ndarray:
    """Standard normal deviates (count, dims) whose mean and covariance are exactly 0 and 1.

    Scrambled Sobol normals in pairs +-u, turned: averages of any quadratic over them are exact.
    """
    half = normal_deviates(count // 2, dims, 0, stage)
    u = np.concatenate([half, -half])
    out = u @ np.linalg.inv(np.linalg.cholesky(u.T @ u / len(u))).T
    out.flags.writeable = False
    return out


def _weights(alike: np.ndarray) -> np.ndarray:
    """Weights (r, n), adding to 1, of the releases that ended alike; of all where they are few."""
    kept = alike | (alike.mean(axis=0) < FEWEST)
    return kept / kept.sum(axis=0)


@dataclass(frozen=True)
class Aimed:
    """Releases x (n, 6) with covariance (n, 6, 6); `keep` (n, 6, 6) = dx/d(offset) and
    `pull` (n, 6) = -dx/d(board predicted at the arrows)."""

    x: np.ndarray
    covariance: np.ndarray
    keep: np.ndarray
    pull: np.ndarray


@dataclass(frozen=True)
class Spreading:
    """Predictions of a spread-out release; the last of the m + 1 columns is the entry board.

    middle, mean : (n, m + 1) at the centre and averaged; slope : (n, m + 1, 6) in SDs of the
    root's columns; covariance : (n, m + 1, m + 1); by_z : (n, m + 1, P) slopes in z where they come
    from the same releases (0 for the release offsets), else None.
    """

    middle: np.ndarray
    mean: np.ndarray
    slope: np.ndarray
    covariance: np.ndarray
    by_z: np.ndarray | None = None


def _calm(
    given: np.ndarray, measuring: float, level: float
) -> tuple[np.ndarray, float, float]:
    """Most likely true values behind measured ones, the variance left, and a common SD.

    x_true ~ N(mean, s^2) and x_measured = x_true + e give E x_true = mean + w (x_measured - mean)
    and variance w R with w = s^2/(s^2 + R): a far reading is partly a misreading. Without this
    regression calibration (Carroll et al., Measurement Error in Nonlinear Models; from memory)
    the measuring error of the release biases everything that bends with the release.
    s^2 is what the readings vary by, less R, with the assumed level's variance counting as four
    shots more and a quarter of it as the least. The mean of the file is itself uncertain by
    (s^2 + R)/n, of which every shot shares the part (1 - w)^2: the third value is that SD.
    """
    known = np.isfinite(given)
    count = int(known.sum())
    if count == 0:
        return given, measuring**2, 1e-6
    mean = float(given[known].mean())
    excess = float(np.sum((given[known] - mean) ** 2)) - (count - 1) * measuring**2
    own = max((excess + 4.0 * level**2) / (count + 3.0), 0.25 * level**2)
    weight = own / (own + measuring**2)
    common = (1.0 - weight) * math.sqrt((own + measuring**2) / count)
    return mean + weight * (given - mean), weight * measuring**2, max(common, 1e-6)


def _board_at(path: np.ndarray, feet: np.ndarray) -> np.ndarray:
    """Board (n,) at a distance [ft] of the path (n, 61), linear between whole feet; NaN beyond."""
    low = np.clip(np.floor(feet).astype(int), 0, path.shape[1] - 2)
    share = feet - low
    rows = np.arange(len(path))
    return (1 - share) * path[rows, low] + share * path[rows, low + 1]


def _last(path: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Last board known on each path and the slope there [boards/ft]."""
    known = np.isfinite(path)
    last = known.shape[1] - 1 - np.argmax(known[:, ::-1], axis=1)
    rows = np.arange(len(path))
    return path[rows, last], path[rows, last] - path[rows, np.maximum(last - 1, 0)]


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
class Local:
    """The whitened problem about one parameter point z0.

    Attributes
    ----------
    z0 : (P,). aimed : releases there; shift (n, 6, P) = how they follow z.
    mean : (n, m + 1) expected columns (the last: entry board) at z0, averaged over the releases;
    middle : (n, m + 1) at the central releases; slope : (n, m + 1, P) d mean/dz.
    whiten : (n, m, m) inverse Cholesky factors of S, zero where not seen; seen : (n, m).
    window_sd : (n,) SD of the entry board of shots known by their outcome only, else NaN.
    """

    z0: np.ndarray
    aimed: Aimed
    shift: np.ndarray
    mean: np.ndarray
    middle: np.ndarray
    slope: np.ndarray
    whiten: np.ndarray
    seen: np.ndarray
    window_sd: np.ndarray

    def scaled(self, noise: float) -> Local:
        """The same with every covariance S times noise^2."""
        return replace(self, whiten=self.whiten / noise, window_sd=self.window_sd * noise)

    def only(self, shots: np.ndarray) -> Local:
        """The same with the rows of those shots (n,) bool alone."""
        return replace(self, seen=self.seen & shots[:, None],
                       window_sd=np.where(shots, self.window_sd, np.nan))

    def volume(self) -> float:
        """Sum of log det S^(-1/2) over the shots' measured columns."""
        return float(np.sum(np.log(np.diagonal(self.whiten, axis1=1, axis2=2)[self.seen])))

    @property
    def owner(self) -> np.ndarray:
        """The shot that each residual row belongs to."""
        return np.concatenate([np.nonzero(self.seen)[0],
                               np.flatnonzero(np.isfinite(self.window_sd))])


def look(
    model: ShotModel, z: np.ndarray, *, fine: bool = False, slopes: bool = True,
    near: Local | None = None, points: int = POINTS,
) -> Local:
    """Expected columns, their covariance and their slopes at z.

    fine : averages over many releases (ShotModel.sampled), for the answer and its width; else the
        cheap ones of a search, whose slopes scatter and whose widths are too small.
    slopes : False leaves out the slopes in z; points : releases of each shot (both with `fine`).
    near : the releases follow z linearly from there, instead of being aimed anew.
    """
    aimed = model.aimed_releases(z) if near is None else replace(
        near.aimed, x=near.aimed.x + near.shift @ (z - near.z0))
    values, vectors = np.linalg.eigh(aimed.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    if fine:
        out = model.sampled(z, aimed.x, root, slopes=slopes, points=points)
        assert out.by_z is not None
        slope = out.by_z
    else:
        out = model.spread_out(z, aimed.x, root)
        # averaged along the two directions of the release that matter most to each shot
        effect = np.nansum((out.slope[:, :-1] / model.y_sd[:, None]) ** 2, axis=1)
        best = np.argsort(effect, axis=1)[:, -2:]
        far = math.sqrt(3.0) * np.take_along_axis(root, best[:, None, :], axis=2)
        points = aimed.x + np.array([far[:, :, 0], -far[:, :, 0], far[:, :, 1], -far[:, :, 1],
                                     0.0 * aimed.x])
        slope = model.parameter_slopes(z, points, np.array([1, 1, 1, 1, 2]) / 6.0)
    # slope in x itself: the root is orthogonal columns times SDs, so its inverse is known
    inverse = np.where(values > 1e-12, 1.0 / np.sqrt(np.maximum(values, 1e-12)), 0.0)
    in_x = np.einsum("nik,nk,nck->nic", out.slope, inverse, vectors)
    shift = np.zeros((len(aimed.x), 6, len(model.terms)))
    for j, c, sd in model.offset_terms:
        shift[:, :, j] = aimed.keep[:, :, c] * sd
    if model.is_aim.any():
        aim = int(np.flatnonzero(model.is_aim)[0])
        shift -= np.einsum("nc,np->ncp", aimed.pull, slope[:, aim, :])
    slope = slope + np.einsum("nic,ncp->nip", in_x, shift)
    seen = np.isfinite(model.y) & ~model.is_aim & np.isfinite(out.mean[:, :-1])
    count, width = seen.shape
    whiten = np.zeros((count, width, width))
    for i in range(count):
        mask = seen[i]
        spread = np.diag(model.y_sd[mask] ** 2) + out.covariance[i, :-1, :-1][np.ix_(mask, mask)]
        whiten[i][np.ix_(mask, mask)] = np.linalg.inv(np.linalg.cholesky(spread))
    known = ~np.isnan(model.window[:, 0])
    window_sd = np.where(known, np.sqrt(model.window_sd**2 + out.covariance[:, -1, -1]), np.nan)
    return Local(z, aimed, shift, out.mean, out.middle, np.where(np.isfinite(slope), slope, 0.0),
                 whiten, seen, window_sd)


def exact(model: ShotModel, local: Local, zs: np.ndarray) -> np.ndarray:
    """Expected columns (s, n, m + 1) at other z by the engine.

    The releases follow z linearly and the averaging's correction is kept as it was at z0.
    """
    xs = local.aimed.x + np.einsum("ncp,sp->snc", local.shift, zs - local.z0)
    return model.predict(zs, xs).filled + (local.mean - local.middle)


def tangent(local: Local, z: np.ndarray) -> np.ndarray:
    """Expected columns (n, m + 1) at z by the slopes."""
    return local.mean + local.slope @ (z - local.z0)


def whitened(model: ShotModel, local: Local, expected: np.ndarray) -> np.ndarray:
    """Residual rows: every measured column, then the shots known by their outcome."""
    gap = np.where(local.seen, model.y - expected[:, :-1], 0.0)
    gap = np.where(np.isfinite(gap), gap, 0.0)
    rows = np.einsum("nij,nj->ni", local.whiten, gap)[local.seen]
    known = np.isfinite(local.window_sd)
    at = expected[known, -1]
    inside = np.clip(at, model.window[known, 0], model.window[known, 1])
    return np.concatenate([rows, (inside - at) / local.window_sd[known]])


def jacobian(model: ShotModel, local: Local, expected: np.ndarray, slope: np.ndarray) -> np.ndarray:
    """d rows / dz (rows, P) for slopes (n, m + 1, P) of the expected columns."""
    part = np.where(local.seen[:, :, None], slope[:, :-1], 0.0)
    rows = -np.einsum("nij,njp->nip", local.whiten, part)[local.seen]
    known = np.isfinite(local.window_sd)
    at = expected[known, -1]
    outside = (at < model.window[known, 0]) | (at > model.window[known, 1])
    edge = -slope[known, -1] / local.window_sd[known, None] * outside[:, None]
    return np.concatenate([rows, edge])


# ================================ invented shots =============================================

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
            offset = sum(v for (kind, _), v in truth.items() if PARAMETERS[kind].column == name)
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
                       laydown_board=24.0, launch_angle_deg=-2.7)
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
