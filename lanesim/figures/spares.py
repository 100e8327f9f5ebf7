"""Spares in a picture: how often each ball makes each leave on its best line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from .looks import looks
from .style import PAPER, house_style, legend_name, new_figure

if TYPE_CHECKING:
    from ..studies.spares import SparesResult


@house_style
def draw_spares(result: SparesResult, *, title: str = "") -> Figure:
    """One row a leave, one dot a ball with its 95 % interval."""
    leaves = list(dict.fromkeys(x.leave for x in result.lines))
    balls = list(dict.fromkeys(x.ball for x in result.lines))
    figure = new_figure(
        8.6, 1.9 + 0.34 * len(leaves), title or f"Spares on {result.pattern}",
        subtitle=f"{result.hand}-handed; each ball on its best line for each leave",
        note="Filled: straight, the wrist behind the ball; hollow: thrown the usual way. Bars: "
             "95 % intervals of the simulation, not of the models.",
    )
    axes = figure.add_subplot()
    rows = np.arange(len(leaves))
    step = 0.5 / max(len(balls), 1)
    for index, (ball, look) in enumerate(zip(balls, looks(balls), strict=True)):
        color = look.color
        mine = {x.leave: x for x in result.lines if x.ball == ball}
        at = rows + (index - (len(balls) - 1) / 2.0) * step
        for y, leave in zip(at, leaves, strict=True):
            x = mine[leave]
            axes.plot([100 * x.low, 100 * x.high], [y, y], color=color, lw=1.6, zorder=2)
            axes.plot(100 * x.chance, y, marker=look.marker, ms=6.5, color=color,
                      mfc=color if x.way == "straight" else PAPER, mew=1.4, zorder=3)
        axes.plot([], [], marker=look.marker, ms=6.5, color=color, lw=1.6,
                  label=legend_name(ball))
    axes.set_yticks(rows, leaves)
    axes.set(xlim=(-2, 102), ylim=(len(leaves) - 0.4, -0.6), xlabel="made [%]",
             ylabel="pins standing")
    axes.grid(axis="y", visible=False)
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.01), borderaxespad=0.0,
                ncols=len(balls), handlelength=1.4)
    return figure
