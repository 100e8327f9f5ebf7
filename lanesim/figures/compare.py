"""A comparison in a picture: the paths on the lane, and what the player's spread makes of each.

Nothing is computed here: `compare` gives the numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.transforms import blended_transform_factory

from ..studies.findings import of_compare
from .lane_view import LANE_WIDE_IN, draw_paths, draw_side_by_side
from .looks import Look, looks_by_lane
from .style import FAINT, INK, PAPER, house_style

if TYPE_CHECKING:
    from ..studies.compare import Comparison

_ROW_IN = 0.34  # a variant's row in the panel of rates
_HEAD_IN = 0.55  # its heading, axis and air
_LABELS_IN, _GAME_IN = 2.6, 2.3  # to its left and right


@house_style
def draw_comparison(found: Comparison, *, title: str = "", note: str = "") -> Figure:
    """The usual shot of every variant and, if shots were thrown, strikes and pocket hits.

    All on one lane if they share the pattern, else a lane for each. Under it a row for each
    variant: rates on this line with their 95 % intervals; strikes if the carry table is there.
    """
    rows = len(found.judged)
    balls = [v.ball.name for v in found.variants]
    # the panel stands between the small print and the rest
    panel = rows * _ROW_IN + _HEAD_IN
    room = panel + 0.55 if rows else 0.0
    if len({v.pattern.name for v in found.variants}) == 1:
        pattern = found.variants[0].pattern
        figure = draw_paths(found.trajectories, pattern, found.labels, note=note, room_in=room,
                            title=title or of_compare(found))
    else:
        shots = [(t, v.pattern) for t, v in zip(found.trajectories, found.variants, strict=True)]
        figure = draw_side_by_side(shots, found.labels, note=note, room_in=room,
                                   title=title or of_compare(found))
    if rows:
        wide, high = figure.get_size_inches()
        width = min(LANE_WIDE_IN + 0.75, wide) - _LABELS_IN - _GAME_IN
        axes = figure.add_axes((_LABELS_IN / wide, 0.95 / high, width / wide,
                                rows * _ROW_IN / high))
        _rates(axes, found, looks_by_lane(balls, [v.pattern.name for v in found.variants]))
    return figure


def _rates(axes: Axes, found: Comparison, seen: Sequence[Look]) -> None:
    """Rows of dots with intervals: strikes filled, pocket hits hollow; pins per game beside."""
    beside = blended_transform_factory(axes.transAxes, axes.transData)
    apart = 0.17 if found.with_pins else 0.0
    for row, judged in enumerate(found.judged):
        color, marker = seen[row].color, seen[row].marker
        pocket = judged.line.pocket
        _span(axes, row + apart, pocket.rate, pocket.low, pocket.high, color, marker, PAPER)
        if judged.pins is not None and found.with_pins:
            p = judged.pins
            _span(axes, row - apart, p.strike_rate, p.strike_low, p.strike_high, color, marker,
                  color)
            axes.text(1.02, row, f"{100 * p.strike_rate:.0f} % strikes, {p.pins_per_game:.0f} "
                      "pins a game", transform=beside, va="center", fontsize=8.5)
        else:
            axes.text(1.02, row, f"{100 * pocket.rate:.0f} % pocket", transform=beside,
                      va="center", fontsize=8.5)
    axes.set_yticks(range(len(found.labels)), found.labels)
    axes.tick_params(axis="y", length=0)
    axes.set(xlim=(-2, 100), ylim=(len(found.labels) - 0.5, -0.5),
             xlabel="share of shots [%]; bars: 95 % intervals of the simulation, not of the model")
    for edge in np.arange(0.5, len(found.labels) - 1):
        axes.axhline(edge, color=FAINT, linewidth=0.4)
    axes.grid(axis="y", visible=False)
    axes.set_title(f"{found.shots:,} shots each with the player's spread on this line; nobody "
                   "moves", fontsize=9.5)
    sign: dict[str, Any] = {"ls": "none", "color": INK, "marker": "o", "ms": 7}
    keys = [Line2D([], [], mfc=PAPER, mew=1.6, label="pocket hits", **sign)]
    if found.with_pins:
        keys.insert(0, Line2D([], [], label="strikes", **sign))
    axes.legend(handles=keys, loc="lower left", bbox_to_anchor=(1.02, 1.0), ncols=2,
                frameon=False, borderaxespad=0.15, borderpad=0.1, handlelength=1.0)


def _span(axes: Axes, row: float, rate: float, low: float, high: float, color: str, marker: str,
          face: str) -> None:
    axes.errorbar(100 * rate, row, xerr=[[100 * (rate - low)], [100 * (high - rate)]], fmt=marker,
                  color=color, markerfacecolor=face, markeredgewidth=1.5, markersize=7,
                  elinewidth=1.6, capsize=3)
