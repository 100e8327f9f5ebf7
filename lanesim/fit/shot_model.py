"""What a measured shot should read under given parameters: the forward model of a fit.

Predictions of every measured column by the batch engine. How they are averaged over the releases
that a measurement leaves open stands in `spreading`, the whitened residuals in `local`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..equipment.ball import Ball
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.geometry import BOARD_M, FRICTION_CAP, arrow_distance_ft
from ..lane.pattern import OilPattern
from ..motion import kernels as k
from ..motion import setup
from ..motion.pocket import GUTTER, HEAD_ON_BOARD, HIGH_FROM_BOARD, LIGHT_TO_BOARD, OUTCOMES
from ..motion.trajectory import throw_parameters
from ..player import LEVELS, Release, Spread
from ..units import FOOT_M
from .fitted import BallFactors, LaneFactors, fitted_ball, fitted_friction
from .parameters import PARAMETERS, RELEASES, Term, measuring_sds
from .shots_file import ShotLog

STEP_Z = 0.2  # finite-difference step in prior SDs; the engine is smooth to below 1e-3 board
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

# Spread of a launch angle of which only the arrow board is known, before that board is looked at
_FREE_ANGLE_SD_DEG = 1.0
_OFFSET_KINDS = tuple(next(n for n, p in PARAMETERS.items() if p.column == c and not p.along)
                      for c in RELEASES)


class ShotModel:
    """Predictions for the shots of a log: what each measured column should read.

    Built once per fit; holds no state that changes. `columns` are the measured result columns, with
    `y` (n, m) their values (NaN where not measured) and `y_sd` (m,) the stated measuring SDs;
    `x_measured` (n, 6) the releases (RELEASE_COLUMNS less the phase) as they most likely were (see
    `calm`), offsets apart, `x_cov` (n, 6, 6) what is left open.

    usual, spread : stand in for release columns that were not measured: the usual value, and by how
    much a shot differs from it (ASSUMED; default: level "200").
    """

    def __init__(
        self, log: ShotLog, balls: Mapping[str, Ball], patterns: Mapping[str, OilPattern],
        terms: Sequence[Term], *, hand: str = "right", usual: Release | None = None,
        friction: FrictionModel = DEFAULT_FRICTION,
        measurement_sd: Mapping[str, float] | None = None, spread: Spread | None = None,
        films: Mapping[tuple[str, int], np.ndarray] | None = None,
    ) -> None:
        self.log, self.balls, self.patterns = log, dict(balls), dict(patterns)
        self.friction, self.hand = friction, hand
        sd = measuring_sds(measurement_sd)
        usual = usual or Release(hand=hand)
        self._release_side(sd, usual, spread or LEVELS["200"])
        self._result_side(sd)
        # z holds the terms asked for and, after them, the errors of the six release means
        self.asked = len(terms)
        self.terms = (*terms, *(Term(kind, "mean of the file", float(error)) for kind, error in
                                zip(_OFFSET_KINDS, self.mean_error, strict=True)))
        # (term, release column, shift (n,) per prior SD) of the release offsets; the other terms
        # enter the core
        self.offset_terms = [(j, RELEASES.index(t.parameter.column), t.prior_sd * self._grows(t))
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

    def _grows(self, term: Term) -> np.ndarray:
        """By how much each shot (n,) has of an offset: one, or the column it goes along with."""
        along = term.parameter.along
        if not along:
            return np.ones(len(self.log))
        column = self.x_measured[:, RELEASES.index(along)]
        return column - column.mean()

    def _release_side(self, sd: Mapping[str, float], usual: Release, spread: Spread) -> None:
        unmeasured = dict(zip(RELEASES, spread.array().tolist(), strict=True))
        log, count = self.log, len(self.log)
        x = np.empty((count, 6))
        variance = np.empty((count, 6))
        self.mean_error = np.full(6, 1e-6)
        for c, name in enumerate(RELEASES):
            given = log.column(name)
            known = np.isfinite(given)
            fallback = float(np.mean(given[known])) if known.any() else getattr(usual, name)
            likely, left, common = calm(given, sd[name], unmeasured[name])
            if known.any():
                self.mean_error[c] = common
            x[:, c] = np.where(known, likely, fallback)
            variance[:, c] = np.where(known, left, unmeasured[name] ** 2)
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
        """Release offsets (n, 6) of the shots at z."""
        out = np.zeros((len(self.log), 6))
        for j, c, shift in self.offset_terms:
            out[:, c] += shift * z[j]
        return out

    def release_covariance(self, z: np.ndarray) -> np.ndarray:
        """What is left open of the releases (n, 6, 6) at z.

        An error in a shot's speed is one in what comes with the speed too.
        """
        turn = np.eye(6)
        for j, c, _ in self.offset_terms:
            parameter = self.terms[j].parameter
            if parameter.along:
                turn[c, RELEASES.index(parameter.along)] += parameter.value(z[j])
        return turn @ self.x_cov @ turn.T

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


def calm(
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
