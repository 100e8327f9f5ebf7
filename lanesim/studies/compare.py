"""Several balls, layouts, finishes or patterns under one release, each against the first.

The usual shot is followed by the reference integrator. With a player's spread the same release is
also thrown many times with every variant, on common random numbers: pocket and strike rates, leaves
and pins per game, and paired differences from the first. Nobody moves: a variant that misses from
this line may be the best from its own (`lanesim.odds`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace
from typing import Any, ClassVar

import numpy as np

from ..defaults import SEED, SHOTS
from ..equipment.ball import Ball
from ..equipment.layout import Layout, layout_text, read_layout
from ..errors import InputError
from ..files import csv_text
from ..lane.friction import DEFAULT_FRICTION, FrictionModel
from ..lane.pattern import OilPattern
from ..lines.judge import judge_line
from ..lines.throwing import check_nouns
from ..motion.trajectory import Trajectory, throw
from ..player import Release, Spread
from ..progress import Progress, silent
from ..results import Result, Story
from ..stats import Difference
from .odds import BallOdds, difference, has_carry_table, with_pins
from .settings import Axis, changed_ball, changed_pattern

MAX_VARIANTS = 200
DEFAULT_SHOTS = SHOTS["compare"][0]
LATE_FT = 59.0  # the last whole foot before any pin can be touched

# What is compared: (attribute of Trajectory or computed here, unit).
MEASURES: tuple[tuple[str, str], ...] = (
    ("hook_ft", "ft"),
    ("roll_ft", "ft"),
    ("breakpoint_board", "board"),
    ("breakpoint_ft", "ft"),
    ("late_board", "board"),
    ("late_angle_deg", "deg"),
    ("entry_board", "board"),
    ("entry_angle_deg", "deg"),
    ("entry_speed_mph", "mph"),
    ("total_revolutions", "turns"),
    ("total_flare_in", "in"),
    ("time_s", "s"),
)


@dataclass(frozen=True)
class Compared:
    """One ball on one pattern, and what to call it."""

    label: str
    ball: Ball
    pattern: OilPattern


@dataclass(frozen=True, repr=False)
class Comparison(Result):
    """What `compare` found, in the order of the variants; the first is the reference.

    Attributes
    ----------
    variants, trajectories : one each; release : the one release.
    values : measure name -> (n,) array in the unit of MEASURES. `late_board`, `late_angle_deg`:
        where the ball is and heads at 59 ft; NaN if it never came so far. entry_*: NaN without a
        pin touched.
    spread, shots, seed : of the shots thrown with every variant; spread None: none were.
    judged : those shots' outcomes, and pins if the carry table is there; empty without them.
    """

    release: Release
    variants: tuple[Compared, ...]
    trajectories: tuple[Trajectory, ...]
    values: dict[str, np.ndarray]
    spread: Spread | None = None
    shots: int = 0
    seed: int = 0
    judged: tuple[BallOdds, ...] = ()

    _figure: ClassVar[str] = "lanesim.figures.compare:draw_comparison"

    def story(self) -> Story:
        """Where each ends, and what a player's spread makes of it."""
        header = ["", "breakpoint [board]", "at [ft]", "entry [board]", "angle [deg]", "outcome"]
        if self.judged:
            header.append("pocket [%]")
        if self.with_pins:
            header += ["strikes [%]", "pins a game"]
        rows = []
        for n, (label, shot) in enumerate(zip(self.labels, self.trajectories, strict=True)):
            row = [label, f"{shot.breakpoint_board:.1f}", f"{shot.breakpoint_ft:.1f}",
                   f"{shot.entry_board:.1f}", f"{shot.entry_angle_deg:.1f}", shot.outcome]
            if self.judged:
                row.append(f"{100 * self.judged[n].line.pocket.rate:.0f}")
            pins = self.judged[n].pins if self.judged else None
            if pins is not None:
                row += [f"{100 * pins.strike_rate:.0f}", f"{pins.pins_per_game:.0f}"]
            rows.append(row)
        return Story(f"{len(rows)} compared: {', '.join(self.labels)}", (), header, rows)

    @property
    def labels(self) -> tuple[str, ...]:
        """What each is called."""
        return tuple(v.label for v in self.variants)

    @property
    def outcomes(self) -> tuple[str, ...]:
        """How each ended (pocket.OUTCOMES)."""
        return tuple(t.outcome for t in self.trajectories)

    def differences(self) -> dict[str, np.ndarray]:
        """Each value less the first variant's, (n,) per measure; the first entry is 0."""
        return {name: column - column[0] for name, column in self.values.items()}

    @property
    def with_pins(self) -> bool:
        """Whether strikes, leaves and pins per game are known."""
        return bool(self.judged) and all(j.pins is not None for j in self.judged)

    def gain(self, n: int, measure: str) -> Difference | None:
        """Rate of variant n less that of the first (odds.difference); None after a single shot.

        measure : "pocket" or "strike".
        """
        if self.shots < 2:
            return None
        return difference(self.judged[0], self.judged[n], measure)

    def _rates(self, n: int) -> dict[str, Any]:
        """What the spread makes of variant n, for JSON."""
        judged = self.judged[n]
        measures = ("pocket", "strike") if self.with_pins else ("pocket",)
        return {
            "outcomes": judged.line.outcome_rates,
            "pins": judged.pins.to_dict() if judged.pins else None,
            "differences": {m: self.gain(n, m) for m in measures},
        }

    def to_dict(self) -> dict[str, Any]:
        """Release, values and differences per variant, ready for JSON; no curves."""
        differences = self.differences()
        return {
            "release": self.release,
            "spread": asdict(self.spread) if self.spread else None,
            "shots": self.shots,
            "seed": self.seed,
            "reference": self.labels[0],
            "units": dict(MEASURES),
            "variants": [
                {
                    "label": variant.label,
                    "ball": variant.ball.name,
                    "finish": variant.ball.cover.finish,
                    "layout": variant.ball.layout,
                    "pattern": variant.pattern.name,
                    "outcome": self.outcomes[n],
                    "values": {name: float(column[n]) for name, column in self.values.items()},
                    "differences": {name: float(column[n])
                                    for name, column in differences.items()},
                    "under_spread": self._rates(n) if self.judged else None,
                }
                for n, variant in enumerate(self.variants)
            ],
        }

    def to_csv(self) -> str:
        """One row per variant: values, then differences from the first."""
        differences = self.differences()
        names = list(self.values)
        header = ["label", "ball", "finish", "layout", "pattern", "outcome", *names,
                  *(f"difference_{name}" for name in names)]
        if self.judged:
            header += ["pocket_rate", "pocket_low", "pocket_high"]
        if self.with_pins:
            header += ["strike_rate", "strike_low", "strike_high", "pins_per_game",
                       "pins_per_game_low", "pins_per_game_high", "likeliest_leaves"]
        rows = []
        for n, variant in enumerate(self.variants):
            rows.append([
                variant.label, variant.ball.name, variant.ball.cover.finish,
                layout_text(variant.ball.layout),
                variant.pattern.name, self.outcomes[n],
                *(float(self.values[name][n]) for name in names),
                *(float(differences[name][n]) for name in names),
                *(self._csv_rates(n) if self.judged else ()),
            ])
        return csv_text(header, rows)

    def _csv_rates(self, n: int) -> list[Any]:
        pocket, pins = self.judged[n].line.pocket, self.judged[n].pins
        out: list[Any] = [pocket.rate, pocket.low, pocket.high]
        if self.with_pins and pins is not None:
            out += [pins.strike_rate, pins.strike_low, pins.strike_high, pins.pins_per_game,
                    pins.game_low, pins.game_high,
                    "; ".join(f"{leave} {100 * share:.1f} %" for leave, share in pins.leaves(3))]
        return out


def make_variants(
    balls: Sequence[Ball],
    patterns: Sequence[OilPattern],
    layouts: Sequence[Layout | str] = (),
    finishes: Sequence[tuple[float, bool]] = (),
    over: Sequence[Axis] = (),
) -> list[Compared]:
    """Every ball with every layout and finish (none given: its own) on every pattern.

    A label names only what differs. layouts : also as words ("pin 4 1/2"), whose left-out parts
    stay the ball's own. finishes : (grit, polished) pairs. over : further settings of ball or
    oil (settings.SETTINGS), every combination of their values.

    Raises
    ------
    InputError
        for two variants that are the same, fewer than two, or more than MAX_VARIANTS.
    """
    for axis in over:
        if axis.setting.of == "release":
            raise InputError(f"{axis.setting.name} is of the release, and one release is thrown; "
                             "'lanesim sweep' varies it")
    count = len(balls) * len(patterns) * max(1, len(layouts)) * max(1, len(finishes))
    count *= math.prod(len(axis.values) for axis in over)
    if count > MAX_VARIANTS:
        raise InputError(f"{count} combinations to compare; accepted: 2 to {MAX_VARIANTS}")
    out: list[Compared] = []
    for ball in balls:
        drilled = [read_layout(one, ball.layout) if isinstance(one, str) else one
                   for one in layouts]
        differ = tuple(f.name for f in fields(Layout)
                       if len({getattr(one, f.name) for one in drilled}) > 1)
        for layout in drilled or (None,):
            for finish in finishes or (None,):
                for pattern, combined in itertools.product(
                    patterns, itertools.product(*(axis.values for axis in over))
                ):
                    words = [ball.name] if len(balls) > 1 else []
                    made = ball
                    if layout is not None:
                        made = replace(made, layout=layout)
                        words += [layout_text(layout, differ)] if differ else []
                    if finish is not None:
                        made = made.with_finish(*finish)
                        words += [made.cover.finish] if len(finishes) > 1 else []
                    words += [pattern.name] if len(patterns) > 1 else []
                    changes = list(zip((axis.setting for axis in over), combined, strict=True))
                    for axis, (setting, value) in zip(over, changes, strict=True):
                        made = changed_ball(made, setting, value)
                        words += [_said(axis, value)] if len(axis.values) > 1 else []
                    out.append(Compared(", ".join(words) or ball.name, made,
                                        changed_pattern(pattern, changes)))
    if len(out) < 2:
        raise InputError("nothing to compare: give at least two balls, layouts, finishes, "
                         "patterns or values of a setting")
    labels = [v.label for v in out]
    for label in labels:
        if labels.count(label) > 1:
            raise InputError(f"'{label}' is given twice; each must differ from the others")
    return out


def _said(axis: Axis, value: Any) -> str:
    """A value of a setting in a label, like 'RG 2.5 in'."""
    label = axis.labels[axis.values.index(value)]
    return label if axis.by_name else f"{axis.setting.title} {label} {axis.setting.unit}"


def compare(
    variants: Sequence[Compared],
    release: Release,
    *,
    spread: Spread | None = None,
    shots: int = DEFAULT_SHOTS,
    seed: int = SEED,
    pins: bool | None = None,
    friction: FrictionModel = DEFAULT_FRICTION,
    progress: Progress = silent,
) -> Comparison:
    """Throw one release with each variant, by the reference integrator.

    Parameters
    ----------
    variants : at least one; the first is what the others are compared with.
    spread : also throw `shots` shots of this spread round the release with each, by the batch
        engine; every variant meets the same shots. None: the usual shot alone.
    pins : also strikes, leaves and pins per game from the shipped carry table; None: if it is
        there.
    progress : called with (done, total) after each throw.
    """
    if not variants:
        raise InputError("nothing to compare: no variant given")
    for variant in variants:
        check_nouns([variant.ball], release, variant.pattern, spread)
    paths: list[Trajectory] = []
    judged: list[BallOdds] = []
    if pins is None:
        pins = has_carry_table()
    for n, variant in enumerate(variants):
        paths.append(throw(variant.ball, release, variant.pattern, friction=friction))
        if spread is not None:
            line = judge_line(variant.ball, release, variant.pattern, spread, shots=shots,
                              seed=seed, friction=friction)
            judged.append(with_pins(line) if pins else BallOdds(line, None))
        progress(n + 1, len(variants))
    rows = [_measures(path) for path in paths]
    values = {name: np.array([row[name] for row in rows]) for name, _ in MEASURES}
    return Comparison(release, tuple(variants), tuple(paths), values, spread,
                      shots if judged else 0, seed, tuple(judged))


def _measures(shot: Trajectory) -> dict[str, float]:
    summary = shot.summary()
    nan = float("nan")
    came = shot.x_ft[-1] >= LATE_FT
    late = {
        "late_board": float(np.interp(LATE_FT, shot.x_ft, shot.y_board)) if came else nan,
        "late_angle_deg": float(np.interp(LATE_FT, shot.x_ft, shot.heading_deg)) if came else nan,
    }
    return {name: float(late[name] if name in late else summary[name]) for name, _ in MEASURES}


