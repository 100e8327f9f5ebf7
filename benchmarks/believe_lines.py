"""A lean search for lines that strike, for many balls at once: what the calibration can afford.

The package's own search throws some ten thousand shots a ball; a calibration asks for thousands of
lines. This one throws about two thousand a ball on shared random numbers and judges the line that
it found on fresh shots, so that its rate carries no winner's luck.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from lanesim.equipment.ball import Ball
from lanesim.lane.friction import FrictionModel
from lanesim.lane.pattern import OilPattern
from lanesim.motion import setup
from lanesim.motion.kernels.columns import P_CHI
from lanesim.motion.trajectory import ShotTable, throw_parameters
from lanesim.player import Release, Spread, spread_releases

# Chance of a strike from entry board, angle [deg] and speed [mph].
Carry = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]
AIM_BOARD = 17.5
LAYDOWNS = np.arange(8.0, 35.0, 2.5)
ANGLES = np.arange(-7.0, 2.01, 0.5)


@dataclass(frozen=True)
class Lane:
    """What balls are thrown on: a pattern, the friction model, and how far films differ.

    film_sd : SD of the logarithm of the film from shot to shot.
    """

    pattern: OilPattern
    friction: FrictionModel
    film_sd: float = 0.0


@dataclass(frozen=True)
class Found:
    """A ball's line and what fresh shots of the player's spread made of it."""

    release: Release
    strikes: float
    table: ShotTable


class Bench:
    """Balls on one lane, thrown together."""

    def __init__(self, balls: Sequence[Ball], lane: Lane) -> None:
        self.lane = lane
        self.film = lane.pattern.film_m("right")
        self.paps = np.array([b.inertia.pap_body for b in balls])
        self.pars = np.array([
            setup.parameter_vector(b, viscosity_cp=lane.pattern.viscosity_cp,
                                   friction=lane.friction) for b in balls])
        self.thrown = 0

    def throw(self, rows: np.ndarray, which: np.ndarray, film_z: np.ndarray | None = None,
              keep_paths: bool = False) -> ShotTable:
        """Releases (n, 7) with balls `which` (n,); film_z (n,): deviates of the film."""

        self.thrown += len(rows)
        if film_z is None or self.lane.film_sd == 0.0:
            return throw_parameters(self.paps, self.pars, rows, self.film, which=which,
                                    keep_paths=keep_paths)
        pars = self.pars[which]
        # the law sees the film times its share only: a factor on the share is one on the film
        pars[:, P_CHI] *= np.exp(self.lane.film_sd * film_z)
        return throw_parameters(self.paps[which], pars, rows, self.film,
                                which=np.arange(len(rows)), keep_paths=keep_paths)


def deviates_of(n: int, seed: int, use: int) -> np.ndarray:
    """Normal points (n, 7) from scrambled Sobol points, apart for each use."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    rng = np.random.default_rng(np.random.SeedSequence([seed, use]))
    whole = 1 << max(0, int(n - 1).bit_length())
    return ndtri(np.clip(qmc.Sobol(7, seed=rng).random(whole)[:n], 1e-12, 1 - 1e-12))


def strike_values(table: ShotTable, carry: Carry) -> np.ndarray:
    """Chance of a strike of each shot; 0 where no pin was met."""
    met = np.isfinite(table.entry_board)
    out = np.zeros(len(met))
    out[met] = carry(table.entry_board[met], table.entry_angle_deg[met],
                     table.entry_speed_mph[met])
    return out


def _crossings(bench: Bench, n_balls: int, release: Release) -> list[np.ndarray]:
    """Lines (k, 2) of each ball whose mean shot arrives at the best board."""
    ball, laydown, angle = (a.ravel() for a in np.meshgrid(
        np.arange(n_balls), LAYDOWNS, ANGLES, indexing="ij"))
    rows = np.tile(release.row(), (ball.size, 1))
    rows[:, 0], rows[:, 1] = laydown, angle
    table = bench.throw(rows, ball)
    board = table.entry_board.reshape(n_balls, len(LAYDOWNS), len(ANGLES)) - AIM_BOARD
    out = []
    for b in range(n_balls):
        lines = []
        for i, at in enumerate(LAYDOWNS):
            y = board[b, i]
            with np.errstate(invalid="ignore"):
                for j in np.flatnonzero(y[:-1] * y[1:] <= 0):
                    share = y[j] / (y[j] - y[j + 1]) if y[j] != y[j + 1] else 0.0
                    lines.append((at, ANGLES[j] + share * 0.5))
        if not lines:
            at = np.unravel_index(np.nanargmin(np.abs(board[b])), board[b].shape) if np.isfinite(
                board[b]).any() else (5, 10)
            lines = [(LAYDOWNS[at[0]], ANGLES[at[1]])]
        out.append(np.array(lines))
    return out


def best_lines(
    balls: Sequence[Ball], lane: Lane, release: Release, spread: Spread, carry: Carry, *,
    seed: int = 0, first: int = 32, second: int = 96, judge: int = 384,
) -> list[Found]:
    """The line of each ball that strikes most, judged on `judge` fresh shots.

    first, second : shots on every candidate and on each refinement of the best four.
    """
    bench = Bench(balls, lane)
    lines = _crossings(bench, len(balls), release)

    def rates(sets: list[np.ndarray], shots: int, stage: int) -> list[np.ndarray]:
        z = deviates_of(shots, seed, stage)
        rows, which, films = [], [], []
        for b, some in enumerate(sets):
            base = spread_releases(release, spread, z[:, :6])
            for line in some:
                moved = base.copy()
                moved[:, :2] += line - np.array([release.laydown_board, release.launch_angle_deg])
                rows.append(moved)
                which.append(np.full(shots, b))
                films.append(z[:, 6])
        table = bench.throw(np.concatenate(rows), np.concatenate(which), np.concatenate(films))
        values = strike_values(table, carry).reshape(-1, shots).mean(axis=1)
        cuts = np.cumsum([len(s) for s in sets])[:-1]
        return np.split(values, cuts)

    rough = rates(lines, first, 901)
    finer = []
    for some, rate in zip(lines, rough, strict=True):
        near = np.abs(some[:, None, 0] - some[None, :, 0]) / 3.0 + np.abs(
            some[:, None, 1] - some[None, :, 1]) / 1.0
        weight = np.exp(-near**2)
        smooth = weight @ rate / weight.sum(axis=1)
        top = some[np.argsort(-smooth, kind="stable")[:2]]
        steps = np.array([(0.0, 0.0), (0.0, -0.08), (0.0, 0.08), (1.0, -0.08)])
        finer.append((top[:, None, :] + steps).reshape(-1, 2))
    fine = rates(finer, second, 902)
    z = deviates_of(judge, seed, 903)
    out = []
    rows, which, films, releases = [], [], [], []
    from dataclasses import replace
    for b, (some, rate) in enumerate(zip(finer, fine, strict=True)):
        best = some[int(np.argmax(rate))]
        mine = replace(release, laydown_board=float(best[0]), launch_angle_deg=float(best[1]))
        releases.append(mine)
        rows.append(spread_releases(mine, spread, z[:, :6]))
        which.append(np.full(judge, b))
        films.append(z[:, 6])
    table = bench.throw(np.concatenate(rows), np.concatenate(which), np.concatenate(films))
    values = strike_values(table, carry)
    for b in range(len(balls)):
        mine = slice(b * judge, (b + 1) * judge)
        out.append(Found(releases[b], float(values[mine].mean()), part(table, mine)))
    return out


def part(table: ShotTable, which: slice) -> ShotTable:
    """Some shots of a table."""
    from dataclasses import fields

    return ShotTable(**{f.name: None if getattr(table, f.name) is None
                        else getattr(table, f.name)[which] for f in fields(table)})
