"""The choice of a bag as a problem in numbers: what may be chosen, what it is worth, what it costs.

No physics and no solver here: the nouns, and the worth of a given bag by plain evaluation.

Sets: balls b, drillings d (a ball with one layout), variants v (a drilling with one finish),
conditions c with weights w_c, each in a phase p(c) between which finishes may change. `rows.py`
states the constraints, `choice.py` the three aims.

What a bag asks for is told apart from what it scores:

    actions   balls carried that need not come, drillings to be made, finishes to be made; each
              has to bring `least_gain` of the aim or it is left undone
    burden    a few thousandths of a pin for every ball, drilling, finish and pound, so that of
              equally good bags the one that is cheapest in drilling, sanding and weight is taken

Bags are compared by their net value: the aim less least_gain x actions less the burden.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from statistics import NormalDist

import numpy as np

from ..errors import InputError, check_range

OBJECTIVES = ("mean", "worst", "cut")
TIE = 0.02  # objective values closer than this may be taken as equal: the burden of a whole bag
# The burden of one of each, in pins per game.
BALL, DRILLING, FINISH, POUND = 1e-3, 5e-4, 2e-4, 1e-5
NOT_NEEDED, LATER_IN_THE_LIST = 1e-4, 1e-6
BURDEN_OF_A_CHANCE = 1e-3  # a chance is worth so much less per unit than a pin per game


@dataclass(frozen=True)
class Variant:
    """A ball as it could be used: which ball, drilled how, with which finish.

    weight_lb : what it adds to the bag; 0 for a ball that does not travel.
    carried : whether it travels; new_drilling : whether the layout has yet to be drilled;
    new_finish : whether the finish has yet to be made.
    """

    ball: str
    layout: str
    finish: str
    weight_lb: float = 0.0
    carried: bool = True
    new_drilling: bool = False
    new_finish: bool = False

    @property
    def drilling(self) -> tuple[str, str]:
        """Ball and layout."""
        return self.ball, self.layout


@dataclass(frozen=True)
class Case:
    """A case that travels: how many balls it holds, and what they may weigh together [lb]."""

    balls: int
    weight_lb: float | None = None

    def __post_init__(self) -> None:
        check_range("balls in a case", self.balls, 0, 99, "balls")
        if int(self.balls) != self.balls:
            raise InputError(f"balls in a case is {self.balls:g}; accepted: a whole number")
        if self.weight_lb is not None:
            check_range("weight in a case", self.weight_lb, 0, 1000, "lb")


@dataclass(frozen=True)
class Limits:
    """What the event and the airline allow; None: no limit.

    registered : balls in all, those at the venue counted; carried : balls that travel;
    bag_weight_lb : their weight together; drilled : balls drilled new or anew; cases : every ball
    that travels must find a place in one of them; none: no such limit.
    """

    registered: int | None = None
    carried: int | None = None
    bag_weight_lb: float | None = None
    drilled: int | None = None
    cases: tuple[Case, ...] = ()

    def __post_init__(self) -> None:
        for name, high, unit in (("registered", 99, "balls"), ("carried", 99, "balls"),
                                 ("drilled", 99, "balls"), ("bag_weight_lb", 1000, "lb")):
            value = getattr(self, name)
            if value is None:
                continue
            check_range(f"limit {name}", value, 0, high, unit)
            if unit == "balls" and int(value) != value:
                raise InputError(f"limit {name} is {value:g}; accepted: a whole number of balls")


@dataclass(frozen=True)
class Program:
    """A bag problem in numbers.

    Attributes
    ----------
    variants : (v,) see `Variant`.
    values : (v, c) pins per game of each variant in each condition.
    weights : (c,) how much each condition counts, >= 0; only their ratios matter.
    phase : (c,) whole numbers; conditions of one phase share the finishes.
    required : names of balls that must be in the bag.
    change_finish : whether finishes may change between phases.
    objective : "mean", "worst" or "cut".
    sd : (v, c) standard deviation of one game; games : (c,) games played there; cut : total over
        all games that is to be reached. For "cut" only.
    least_gain : what each action must bring, in units of the aim; see the module.
    spare_worth : ball -> pins per game that it is worth for spares. The values are those with the
        best of them; a bag without loses the difference. For "mean" only.
    """

    variants: tuple[Variant, ...]
    values: np.ndarray
    weights: np.ndarray
    phase: np.ndarray
    limits: Limits = field(default_factory=Limits)
    required: frozenset[str] = frozenset()
    change_finish: bool = False
    objective: str = "mean"
    sd: np.ndarray | None = None
    games: np.ndarray | None = None
    cut: float | None = None
    least_gain: float = 0.0
    spare_worth: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        values = np.asarray(self.values, dtype=float)
        weights = np.asarray(self.weights, dtype=float)
        if not self.variants or values.ndim != 2 or values.shape[0] != len(self.variants):
            raise InputError("a bag needs at least one ball, and a row of values for each")
        if values.shape[1] != len(weights) or len(self.phase) != len(weights) or not len(weights):
            raise InputError("a bag needs at least one condition, and a weight and phase for each")
        if not (np.all(np.isfinite(values)) and np.all(np.isfinite(weights))):
            raise InputError("values and weights of a bag must be finite numbers")
        if np.any(weights < 0) or weights.sum() <= 0:
            raise InputError("weights of conditions must be >= 0 and not all 0")
        if self.objective not in OBJECTIVES:
            raise InputError(f"objective is '{self.objective}'; accepted: {', '.join(OBJECTIVES)}")
        check_range("least_gain", self.least_gain, 0, 300)
        names = {v.ball for v in self.variants}
        if not self.required <= names:
            missing = ", ".join(sorted(self.required - names))
            raise InputError(f"required balls without any variant: {missing}")
        if len({(v.ball, v.layout, v.finish) for v in self.variants}) != len(self.variants):
            raise InputError("two variants of a bag have the same ball, layout and finish")
        if self.objective == "cut" and (self.sd is None or self.games is None or self.cut is None):
            raise InputError("the chance of a cut needs the games, their spread and the cut")
        object.__setattr__(self, "values", values)
        object.__setattr__(self, "weights", weights / weights.sum())
        object.__setattr__(self, "phase", np.asarray(self.phase, dtype=np.int64))

    @property
    def balls(self) -> list[str]:
        """Names of the balls, in order of first mention."""
        return list(dict.fromkeys(v.ball for v in self.variants))

    @property
    def drillings(self) -> list[tuple[str, str]]:
        """(ball, layout) in order of first mention."""
        return list(dict.fromkeys(v.drilling for v in self.variants))

    @property
    def phases(self) -> list[int]:
        """The phases that have conditions."""
        return sorted({int(p) for p in self.phase})

    def first_of(self, drilling: tuple[str, str]) -> Variant:
        """Any variant of a drilling: weight and what has to be done are the same for all."""
        return next(v for v in self.variants if v.drilling == drilling)


@dataclass(frozen=True)
class Solution:
    """A bag.

    Attributes
    ----------
    drilled : ball -> layout, of every ball in the bag.
    finish : (ball, phase) -> finish.
    use : (c,) index of the variant used in each condition.
    value : aim (pins per game, or the chance); mean : weighted mean pins per game;
    per_condition : (c,) pins per game.
    actions : see the module; net : value less what the actions must bring less the burden.
    bound : best net value that any bag could have, proven; gap = bound - net >= 0.
    """

    drilled: dict[str, str]
    finish: dict[tuple[str, int], str]
    use: np.ndarray
    value: float
    mean: float
    per_condition: np.ndarray
    actions: float
    net: float
    bound: float

    @property
    def gap(self) -> float:
        """How much better any other bag could be at most."""
        return max(self.bound - self.net, 0.0)

    @property
    def key(self) -> frozenset[tuple[str, str]]:
        """The bag as a set of (ball, layout)."""
        return frozenset(self.drilled.items())


# --- what a given bag is worth ----------------------------------------------------------------


def bag_value(program: Program, use: np.ndarray) -> tuple[float, float]:
    """(aim, weighted mean) if variant use[c] is thrown in condition c."""
    at = np.arange(len(program.weights))
    got = program.values[use, at]
    mean = float(program.weights @ got)
    if program.objective == "mean":
        return mean, mean
    if program.objective == "worst":
        return float(got.min()), mean
    total, variance = moments(program, use)
    return chance(total - float(program.cut or 0.0), variance), mean


def spare_loss(program: Program, drilled: Mapping[str, str]) -> float:
    """Pins per game that a bag loses for want of the best ball for spares."""
    if program.objective != "mean":
        return 0.0
    worth = {ball: max(pins, 0.0) for ball, pins in program.spare_worth.items()}
    return max(worth.values(), default=0.0) - max(
        (pins for ball, pins in worth.items() if ball in drilled), default=0.0)


def moments(program: Program, use: np.ndarray) -> tuple[float, float]:
    """Mean and variance of the total over all games."""
    assert program.games is not None and program.sd is not None
    at = np.arange(len(program.weights))
    return (float(program.games @ program.values[use, at]),
            float(program.games @ program.sd[use, at] ** 2))


def chance(lead: float, variance: float) -> float:
    """Chance that a normal total with this lead on average and variance is at least 0."""
    if variance <= 0.0:
        return 1.0 if lead >= 0.0 else 0.0
    return NormalDist().cdf(lead / math.sqrt(variance))


def best_use(program: Program, in_bag: np.ndarray) -> np.ndarray:
    """Index (c,) of the variant with the highest value among those there (v, c) boolean."""
    return np.where(in_bag, program.values, -np.inf).argmax(axis=0)


def available(program: Program, drilled: dict[str, str], finish: dict[tuple[str, int], str]
              ) -> np.ndarray:
    """(v, c) whether each variant is in the bag in each condition."""
    there = np.zeros(program.values.shape, dtype=bool)
    for i, v in enumerate(program.variants):
        if drilled.get(v.ball) == v.layout:
            there[i] = [finish.get((v.ball, int(p))) == v.finish for p in program.phase]
    return there


def drilling_actions(program: Program, drilling: tuple[str, str]) -> float:
    """Actions that a drilling of the bag asks for: carrying the ball, drilling it."""
    first = program.first_of(drilling)
    need_not = first.carried and first.ball not in program.required
    return float(need_not) + float(first.new_drilling)


def drilling_burden(program: Program, drilling: tuple[str, str]) -> float:
    """Pins per game that a drilling weighs among equals."""
    first = program.first_of(drilling)
    return (BALL + DRILLING * first.new_drilling + POUND * first.weight_lb
            + LATER_IN_THE_LIST * program.balls.index(drilling[0]))


def finish_burden(program: Program) -> np.ndarray:
    """(v,) the same of a variant, over all phases together: its finish, and, so that of two equal
    balls the one that is nowhere better stays at home, how far it is behind where not used."""
    behind = (program.values.max(axis=0) - program.values) @ program.weights
    made = np.array([v.new_finish for v in program.variants])
    return FINISH * made + NOT_NEEDED * behind / (1.0 + behind)


def burden_unit(program: Program) -> float:
    """The burden is given in pins per game; a chance counts so much of it."""
    return BURDEN_OF_A_CHANCE if program.objective == "cut" else 1.0


def asked_of(program: Program, drilled: dict[str, str], finish: dict[tuple[str, int], str]
             ) -> tuple[float, float]:
    """(actions, burden in units of the aim) of a bag; a finish counts by its share of phases."""
    actions = sum(drilling_actions(program, d) for d in drilled.items())
    burden = sum(drilling_burden(program, d) for d in drilled.items())
    place = {(v.ball, v.layout, v.finish): i for i, v in enumerate(program.variants)}
    weighs = finish_burden(program)
    phases = program.phases
    for (ball, phase), made in finish.items():
        if phase in phases and ball in drilled:
            i = place[ball, drilled[ball], made]
            actions += program.variants[i].new_finish / len(phases)
            burden += float(weighs[i]) / len(phases)
    return actions, burden * burden_unit(program)


def evaluated(program: Program, drilled: dict[str, str], finish: dict[tuple[str, int], str],
              bound: float | None = None) -> Solution:
    """A bag with its worth by plain evaluation; bound : of net values, where one is proven."""
    use = best_use(program, available(program, drilled, finish))
    lost = spare_loss(program, drilled)
    value, mean = (each - lost for each in bag_value(program, use))
    got = program.values[use, np.arange(len(use))]
    actions, burden = asked_of(program, drilled, finish)
    net = value - program.least_gain * actions - burden
    return Solution(drilled, finish, use, value, mean, got, actions, net,
                    net if bound is None else max(bound, net))


# --- parts of a program -------------------------------------------------------------------------


def without_ball(program: Program, ball: str) -> Program:
    """The program with a ball struck off the candidates."""
    keep = [i for i, v in enumerate(program.variants) if v.ball != ball]
    return only_rows(program, keep, program.required - {ball})


def only_drillings(program: Program, drilled: dict[str, str]) -> Program:
    """The program with the given balls and layouts alone (finishes stay free)."""
    keep = [i for i, v in enumerate(program.variants) if drilled.get(v.ball) == v.layout]
    return only_rows(program, keep, program.required & set(drilled))


def only_rows(program: Program, keep: list[int], required: frozenset[str]) -> Program:
    """The program with some of its variants."""
    if not keep:
        raise InputError("no ball is left to choose from")
    return replace(
        program, variants=tuple(program.variants[i] for i in keep), values=program.values[keep],
        sd=None if program.sd is None else program.sd[keep], required=required,
    )
