"""Odds in a picture: each ball's outcomes with intervals, and every pair's difference."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..motion.pocket import OUTCOMES
from ..studies.findings import of_odds
from .looks import looks
from .style import (
    FAINT,
    INK,
    PAPER,
    house_style,
    legend_name,
    new_figure,
)

if TYPE_CHECKING:
    from ..studies.odds import BallPair, OddsResult

_OUTCOME_LABELS = {
    "pocket": "pocket", "high": "high", "light": "light", "opposite": "far side",
    "missed": "past the\nhead pin", "gutter": "gutter",
}


@house_style
def draw_odds(result: OddsResult, *, title: str = "") -> Figure:
    """Outcome rates of every ball and, with two balls or more, the paired differences."""
    pairs = [c for c in result.comparisons if c.measure == "pocket"]
    strikes = [c for c in result.comparisons if c.measure == "strike"]
    rows = 1 + bool(pairs)
    tall = 3.6 + (0.9 + 0.36 * (len(pairs) + len(strikes)) if pairs else 0)
    how = {"own": "each ball on its own best line", "first": "all on the first ball's best line",
           "given": "all on the given line"}[result.lines]
    figure = new_figure(
        8.6, tall + 1.0, title or of_odds(result),
        subtitle=how if len(result.balls) > 1 else
        ("the given line" if result.lines == "given" else "its best line"),
        note=f"{result.shots:,} shots a ball, the same deviations for every ball; bars: 95 % "
             "intervals of the simulation, not of the model.",
    )
    grid = figure.add_gridspec(rows, 1, height_ratios=[3.6, tall - 3.6][:rows])
    _outcomes(figure.add_subplot(grid[0]), result)
    if pairs:
        _differences(figure.add_subplot(grid[1]), [*pairs, *strikes])
    return figure


def _outcomes(axes: Axes, result: OddsResult) -> None:
    """Dots with intervals, one group per outcome and, if known, one for strikes."""
    names = [_OUTCOME_LABELS[name] for name in OUTCOMES]
    pins = [ball.pins for ball in result.balls]
    with_strikes = all(p is not None for p in pins)
    if with_strikes:
        names.append("strike")
    count = len(result.balls)
    seen = looks([ball.line.ball for ball in result.balls])
    for i, ball in enumerate(result.balls):
        at = np.arange(len(names)) + (i - (count - 1) / 2) * min(0.16, 0.7 / count)
        spans = [(r.rate, r.low, r.high) for r in ball.line.outcome_rates.values()]
        if with_strikes:
            p = pins[i]
            assert p is not None
            spans.append((p.strike_rate, p.strike_low, p.strike_high))
        rate, low, high = 100 * np.array(spans).T
        axes.errorbar(at, rate, yerr=[rate - low, high - rate], fmt=seen[i].marker,
                      color=seen[i].color, markeredgecolor=PAPER, markersize=8,
                      elinewidth=1.6, capsize=3,
                      label=f"{legend_name(ball.line.ball)}: board "
                            f"{ball.line.release.laydown_board:.1f}, "
                            f"{ball.line.release.launch_angle_deg:+.2f} deg")
    axes.set_xticks(range(len(names)), names)
    axes.set_xlim(-0.5, len(names) - 0.5)
    axes.set_ylim(bottom=-1.5)
    axes.grid(axis="x", visible=False)
    for edge in np.arange(0.5, len(names) - 1):
        axes.axvline(edge, color=FAINT, linewidth=0.4)
    axes.set_ylabel("share of shots [%]")
    axes.legend(loc="upper right")


def _differences(axes: Axes, pairs: list[BallPair]) -> None:
    for row, pair in enumerate(pairs):
        d = pair.difference
        axes.errorbar(
            100 * d.value, row, xerr=[[100 * (d.value - d.low)], [100 * (d.high - d.value)]],
            fmt="o" if pair.measure == "pocket" else "s", color=INK, markersize=6,
            markerfacecolor=INK if d.clear else PAPER, elinewidth=1.6, capsize=3,
        )
    axes.axvline(0, color=INK, linewidth=0.9)
    what = {"pocket": "pocket", "strike": "strikes"}
    axes.set_yticks(range(len(pairs)),
                    [f"{p.second} less {p.first}, {what[p.measure]}" for p in pairs])
    axes.set_ylim(len(pairs) - 0.5, -0.5)
    axes.set_xlabel("difference [percentage points]; hollow: not clear")
