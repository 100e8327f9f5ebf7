"""One plan in the making: what is asked, what is shared by its steps, and the choice in numbers."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..progress import Progress
from . import program as model
from .cache import Cache
from .conditions import Condition, Use
from .event import Event
from .pairs import Judged, Judging
from .spare_ball import SpareBall
from .wear import balls_worn


@dataclass
class Work:
    """One plan in the making."""

    event: Event
    uses: tuple[Use, ...]
    limits: model.Limits
    shots: int
    seed: int
    resamples: int
    margin: float
    most: int
    cache: Cache
    progress: Progress | None
    seconds: dict[str, float]

    spares: tuple[SpareBall, ...] = ()

    def __post_init__(self) -> None:
        self.required = frozenset(c.name for c in self.event.candidates if c.required)

    def took(self, what: str, start: float) -> None:
        """Add the time since `start` to what took it."""
        self.seconds[what] = self.seconds.get(what, 0.0) + time.perf_counter() - start

    def judging(self, conditions: tuple[Condition, ...], planned: Sequence[int] | None, *,
                shots: int, before: Judging | None, only: set[int] | None = None) -> Judging:
        """All pairs on quick lines; only : of these uses."""
        balls = [[b if only is None or v in only else None for v, b in enumerate(row)]
                 for row in balls_worn(self.event, self.uses, conditions, planned)]
        found = Judging(
            self.event, conditions, balls, shots=shots, seed=self.seed,
            resamples=self.resamples, cache=self.cache, seconds=self.seconds, before=before)
        found.quick(self.progress)
        return found

    def judged(self, judging: Judging) -> Judged:
        """What is known now, with what the aim needs."""
        return judging.result(with_sd=self.event.maximise == "cut")

    def program(self, judged: Judged, conditions: tuple[Condition, ...]) -> model.Program:
        """The choice in numbers."""
        event = self.event
        games = np.array([float(c.games) for c in conditions])
        program = model.Program(
            tuple(u.variant for u in self.uses), unusable(judged.pins),
            np.array([c.weight for c in conditions]), np.array([c.round for c in conditions]),
            self.limits, self.required, change_finish=event.finish_changes == "between",
            objective=event.maximise, sd=np.nan_to_num(judged.sd), games=games, cut=event.cut,
            least_gain=event.least_gain, spare_worth={s.ball: s.worth for s in self.spares},
        )
        if event.maximise != "cut":
            return program
        # so many pins per game are worth at most this much of a chance (a normal total)
        spread = float(np.sqrt((games * np.nanmean(judged.sd, axis=0) ** 2).sum()))
        per_pin = games.sum() / max(spread, 1e-9) / np.sqrt(2.0 * np.pi)
        return replace(program, least_gain=float(min(event.least_gain * per_pin, 1.0)))


def unusable(values: np.ndarray) -> np.ndarray:
    """Values with NaN rows (balls for spares only) far below every other ball's."""
    low = np.nanmin(values) - 100.0
    return np.where(np.isnan(values), low, values)
