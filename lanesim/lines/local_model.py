"""Local models: how the arrival answers to the six release numbers near a line.

Near a line, where a shot arrives is a smooth function of how it was sent. A linear model of a
few shots gives the law of arrival (`laws`); one of the second order, of shots at several angles,
tells what any shot near the line would do (`Surface`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..motion.pocket import BEST_BOARD
from ..motion.trajectory import ShotTable
from ..player import Spread
from .throwing import entries

# Columns of a table of laws (k, 8): entry board, its SD under the spread, entry angle at that
# board, its slope in the board, entry speed, its slope, share of shots that meet a pin, and the SD
# of the board from everything but laydown and angle.
BOARD, SD, ANGLE, ANGLE_SLOPE, SPEED, SPEED_SLOPE, SHARE, OTHER_SD = range(8)
_LEAST_VARIANCE = 0.04  # boards squared: a law is never sharper than a fifth of a board
_FEWEST = 10  # shots that met a pin; from fewer nothing is said
TERMS = 12
# One deviation stands for at least this much in the terms (boards, deg, mph, rpm, deg, deg): a
# player with no spread in one of them still needs a model that is smooth in it.
_LEAST_UNITS = np.array([0.2, 0.05, 0.1, 2.0, 0.5, 0.5])
_RIDGE = 1e-3


def laws(table: ShotTable, deviates: np.ndarray, count: int) -> np.ndarray:
    """Laws (count, 8) of lines that were all thrown with the same deviates (n, 6), line by line.

    Least squares in the deviates, with a little ridge: a number without spread leaves no trace.
    """
    n = len(deviates)
    entry = entries(table).reshape(count, n, 3)
    met = np.isfinite(entry[:, :, 0])
    terms = np.column_stack([np.ones(n), deviates])
    weight = met.astype(float)
    normal = np.einsum("kn,ni,nj->kij", weight, terms, terms) + _RIDGE * np.eye(7)
    right = np.einsum("kn,ni,knc->kic", weight, terms, np.nan_to_num(entry))
    solved = np.linalg.solve(normal, right)  # (k, 7, 3)
    rest = np.where(met, entry[:, :, 0] - np.einsum("ni,ki->kn", terms, solved[:, :, 0]), 0.0)
    left = (rest**2).sum(axis=1) / np.maximum(met.sum(axis=1) - 7.0, 2.0)
    answer = solved[:, 1:, 0]
    variance = np.maximum((answer**2).sum(axis=1) + left, _LEAST_VARIANCE)
    along = [(answer * solved[:, 1:, c]).sum(axis=1) / variance for c in (1, 2)]
    few = met.sum(axis=1) < _FEWEST  # too few to say anything: rated as worth nothing
    return np.column_stack([
        np.where(few, BEST_BOARD, solved[:, 0, 0]), np.sqrt(variance),
        np.where(few, 4.0, solved[:, 0, 1]), np.where(few, 0.0, along[0]),
        np.where(few, 16.0, solved[:, 0, 2]), np.where(few, 0.0, along[1]),
        np.where(few, 0.0, met.mean(axis=1)),
        np.sqrt((answer[:, 2:] ** 2).sum(axis=1) + left),
    ])


@dataclass(frozen=True)
class Surface:
    """Arrival near each of k lines as a quadratic of the release's deviations.

    solved : (k, TERMS, 3) of entry board, angle and speed. met : (k, n) whether each shot met a
    pin. units : (6,) what a deviation of 1 stands for.
    """

    solved: np.ndarray
    met: np.ndarray
    units: np.ndarray

    @classmethod
    def fitted(
        cls, table: ShotTable, off: np.ndarray, count: int, spread: Spread
    ) -> Surface:
        """From shots that were all thrown with the same deviations off (n, 6), line by line."""
        units = np.maximum(spread.array(), _LEAST_UNITS)
        entry = entries(table).reshape(count, len(off), 3)
        met = np.isfinite(entry[:, :, 0])
        terms = quadratic_terms(off / units)
        weighted = met[:, None, :] * terms.T
        normal = weighted @ terms + _RIDGE * np.eye(TERMS)
        return cls(np.linalg.solve(normal, weighted @ np.nan_to_num(entry)), met, units)

    def arrivals(self, off: np.ndarray) -> np.ndarray:
        """(k, n, 3) entry board, angle and speed of shots with deviations off (n, 6)."""
        return quadratic_terms(off / self.units) @ self.solved


def quadratic_terms(off: np.ndarray) -> np.ndarray:
    """Terms (n, 12): 1, the six deviations, squares and product of laydown and angle, squares of
    speed and rev rate."""
    laydown, angle, speed, revs = (off[:, n : n + 1] for n in range(4))
    return np.concatenate([
        np.ones_like(laydown), off, laydown**2, angle**2, laydown * angle, speed**2, revs**2,
    ], axis=1)
