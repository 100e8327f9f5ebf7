"""What a bag plan says, as plain nouns: the bag, what to throw, how sure, and the questions."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..lines.plane import board_at_arrows
from .conditions import Condition, Use
from .event import Event
from .pairs import Judged
from .program import Solution
from .spare_ball import SpareBall


@dataclass(frozen=True)
class BallInBag:
    """A ball of the bag, and what it is there for.

    adds : what the bag loses without it (of the aim), others re-finished; low, high from the
    resamples with the bags kept. None for the only ball. finishes : phase -> finish.
    finish_gain : what its new finish is worth against the finish it has; None without one.
    games : games the plan throws it; before : games that its cover has seen when they begin.
    """

    name: str
    title: str
    number: str
    place: str
    layout: str
    finishes: dict[int, str]
    new_drilling: bool
    new_finish: bool
    required: bool
    strength: float
    games: float
    before: float
    adds: float | None
    adds_low: float | None
    adds_high: float | None
    finish_gain: float | None


@dataclass(frozen=True)
class Choice:
    """A bag among the best: value, how far behind, and in how many of the resamples it won.

    behind : of the aim; net_behind : with what drilling, sanding and carrying must bring taken off.
    """

    solution: Solution
    behind: float
    behind_low: float
    behind_high: float
    net_behind: float
    won: int


@dataclass(frozen=True)
class Advice:
    """Which ball in a condition, and the line to start on.

    laydown_board, arrow_board, launch_angle_deg : as the player reads them (`Event.as_read`);
    true_laydown_board, true_launch_angle_deg : on the lane. missing_pins : how far the best of all
    candidates, `missing_ball`, would be ahead here.
    """

    condition: int
    use: int
    ball: str
    finish: str
    laydown_board: float
    arrow_board: float
    launch_angle_deg: float
    pins: float
    low: float
    high: float
    strike: float
    pocket: float
    change: bool
    thorough: bool
    missing_pins: float
    missing_ball: str
    true_laydown_board: float
    true_launch_angle_deg: float


@dataclass(frozen=True)
class Comparison:
    """A question about the bag answered by another bag: gain with its resampling interval."""

    question: str
    gain: float
    low: float
    high: float
    detail: str

    @property
    def clear(self) -> bool:
        """Whether the gain is more than the noise."""
        return self.low > 0.0


@dataclass(frozen=True)
class Crack:
    """What to do if a ball cannot come: the next best bag within the limits, and what it costs.

    bag : ball -> layout, None if no bag keeps the limits then. new : what is in it that was not.
    """

    ball: str
    bag: dict[str, str] | None
    new: tuple[str, ...]
    costs: float
    low: float
    high: float


@dataclass(frozen=True)
class RoundGain:
    """A gain in one round: strikes in a hundred first balls and pins a game, with intervals."""

    name: str
    strikes: float
    strikes_low: float
    strikes_high: float
    pins: float


@dataclass(frozen=True)
class OldNew:
    """A ball as it is against the same ball bought new, drilled and finished alike.

    games : on the old one before the trip. better_in : in how many of the resamples the new one
    has more pins over the whole event. settled : all lines behind it were searched thoroughly.
    """

    ball: str
    games: float
    rounds: tuple[RoundGain, ...]
    pins: float
    low: float
    high: float
    better_in: int


@dataclass(frozen=True)
class Trial:
    """A shot to throw first in practice on site: of all, what it shows could change most.

    instead : the ball that would be thrown if it showed less than hoped; gap : how far that one
    is behind by the plan [pins per game]; worth : pins over the event that knowing better is
    worth.
    """

    condition: int
    ball: str
    laydown_board: float
    arrow_board: float
    instead: str
    gap: float
    worth: float


@dataclass(frozen=True)
class Wear:
    """How the oil that the plan is judged on was found.

    rounds : times the event was played; agrees : the balls thrown are those that wore the lanes;
    mixed : lanes of several plans that led to one another were averaged.
    """

    rounds: int
    agrees: bool
    mixed: bool


@dataclass(frozen=True)
class BagPlan:
    """The plan: see the module `plan`.

    Attributes
    ----------
    best : the bag; balls : its balls, strongest first; advice : what to throw in each condition.
    choices : the best bags, the best one first; others_won : resamples won by a bag that is not
        among them; near : resamples in which the best bag is at most `margin` behind.
    comparisons : what the next ball and a new drilling would bring. cracks, old_new, trials,
        spares : see those.
    cut_chance : chance of the event's cut with this bag; None without one.
    strength : (v,) boards a usual shot on the player's own line hooks, mean over the rounds.
    paths : (c, 61) board at whole feet of the usual shot in each condition.
    settled : no other bag would be better even if all its quick lines were `hope_pins` too low;
        the lines of the listed bags are thorough ones.
    seconds : what took the time.
    """

    event: Event
    conditions: tuple[Condition, ...]
    uses: tuple[Use, ...]
    judged: Judged
    objective: str
    best: Solution
    balls: tuple[BallInBag, ...]
    advice: tuple[Advice, ...]
    choices: tuple[Choice, ...]
    others_won: int
    near: int
    comparisons: tuple[Comparison, ...]
    cracks: tuple[Crack, ...]
    old_new: tuple[OldNew, ...]
    trials: tuple[Trial, ...]
    cut_chance: float | None
    wear: Wear
    strength: np.ndarray = field(repr=False)
    paths: np.ndarray = field(repr=False)
    spares: tuple[SpareBall, ...] = ()
    shots: int = 0
    seed: int = 0
    resamples: int = 0
    margin: float = 0.0
    least_gain: float = 0.0
    hope_pins: float = 0.0
    damaged_records: int = 0
    settled: bool = True
    seconds: dict[str, float] = field(default_factory=dict)

    @property
    def pairs(self) -> int:
        """Pairs of a way to use a ball and a condition that were judged."""
        return int(np.isfinite(self.judged.pins).sum())

    @property
    def unit(self) -> str:
        """Unit of the aim."""
        return "chance" if self.objective == "cut" else "pins per game"

    @property
    def still_best(self) -> int:
        """Resamples in which the best bag is still the best."""
        return self.choices[0].won

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for files.to_json."""
        return {
            "event": self.event.name, "provenance": self.event.provenance,
            "maximise": self.objective, "unit": self.unit,
            "value": self.best.value, "mean_pins": self.best.mean, "proven_gap": self.best.gap,
            "cut": self.event.cut, "cut_chance": self.cut_chance,
            "least_gain": self.least_gain, "actions": self.best.actions,
            "still_best": self.still_best, "others_best": self.others_won,
            "within_margin": self.near, "margin": self.margin,
            "shots": self.shots, "seed": self.seed, "resamples": self.resamples,
            "balls": list(self.balls), "conditions": [
                {"label": self.conditions[a.condition].label,
                 "weight": self.conditions[a.condition].weight,
                 **{k: getattr(a, k) for k in a.__dataclass_fields__}} for a in self.advice],
            "bags": [{"balls": c.solution.drilled, "value": c.solution.value, "behind": c.behind,
                      "behind_low": c.behind_low, "behind_high": c.behind_high, "won": c.won}
                     for c in self.choices],
            "comparisons": [{"question": q.question, "gain": q.gain, "low": q.low, "high": q.high,
                             "clear": q.clear, "detail": q.detail} for q in self.comparisons],
            "if_it_cracks": list(self.cracks), "old_against_new": list(self.old_new),
            "ball_for_spares": list(self.spares), "throw_first": list(self.trials),
            "oil": self.wear,
            "shots_thrown": self.judged.shots_thrown, "from_cache": self.judged.records_found,
            "damaged_records_rebuilt": self.damaged_records,
            "thorough_lines": int(self.judged.thorough.sum()), "settled": self.settled,
            "hope_pins": self.hope_pins, "seconds": self.seconds,
        }

    def table(self) -> tuple[list[str], list[list[Any]]]:
        """Header and rows: every use in every condition; lines as the player reads them, and as
        they truly are on the lane."""
        head = ["ball", "layout", "finish", "round", "first_game", "games", "weight",
                "pins_per_game", "low", "high", "strike_rate", "pocket_rate", "laydown_board",
                "launch_angle_deg", "arrow_board", "chosen", "thorough_line",
                "true_laydown_board", "true_launch_angle_deg"]
        rows = []
        for v, use in enumerate(self.uses):
            if use.spares_only:
                continue
            for c, condition in enumerate(self.conditions):
                j = self.judged
                true = float(j.laydown[v, c]), float(j.angle_deg[v, c])
                line = self.event.as_read(*true)
                rows.append([
                    use.variant.ball, use.variant.layout, use.variant.finish, condition.name,
                    condition.first_game + 1, condition.games, condition.weight,
                    float(j.pins[v, c]), float(j.low[v, c]), float(j.high[v, c]),
                    float(j.strike[v, c]), float(j.pocket[v, c]), *line, board_at_arrows(*line),
                    int(self.best.use[c] == v), int(j.thorough[v, c]), *true,
                ])
        return head, rows

    def to_csv(self) -> str:
        """The table as CSV."""
        from ..files import csv_text

        return csv_text(*self.table())


def ladder_gaps(plan: BagPlan) -> list[tuple[str, str, float]]:
    """Neighbours on the ladder that are clearly farther apart than the others: (a, b, boards).

    Farther than 1.5 times the mean step, for ladders of three balls or more (our own rule).
    """
    balls = [b for b in plan.balls if np.isfinite(b.strength)]
    if len(balls) < 3:
        return []
    pairs = list(itertools.pairwise(balls))
    mean = float(np.mean([a.strength - b.strength for a, b in pairs]))
    return [(a.name, b.name, a.strength - b.strength) for a, b in pairs
            if a.strength - b.strength > 1.5 * mean]
