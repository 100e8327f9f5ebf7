"""Pictures of scores; `score` gives the numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from ..pins.score import GameScores
from .style import FAINT, INK, house_style, new_figure, series_style


@house_style
def draw_scores(
    results: Sequence[GameScores],
    names: Sequence[str],
    *,
    cut: float | None = None,
    games: int = 1,
    title: str = "Scores of one game",
    note: str = "",
) -> Figure:
    """Chance of each score of one game, or of the total of a series, one line a bowler.

    Parameters
    ----------
    cut : a total to reach; drawn with each bowler's chance in the legend.
    games : games added up.
    """
    if len(results) != len(names):
        raise ValueError("one name for each result")
    figure = new_figure(
        8.5, 4.8, title,
        note=note or "Independent frames of equal odds: real games spread more, means are "
        "unaffected.",
    )
    axes = figure.add_subplot()
    low, high = np.inf, 0.0
    width = 10  # single scores come in tens (spares and strikes): classes of ten show the shape
    for index, (result, name) in enumerate(zip(results, names, strict=True)):
        pmf = result.series_pmf(games)
        mean, sd = result.mean * games, result.sd * np.sqrt(games)
        label = f"{name}: mean {mean:.1f}, SD {sd:.1f}"
        if cut is not None:
            label += f", {100 * result.chance(cut, games):.1f} % make {cut:g}"
        classes = np.pad(pmf, (0, -len(pmf) % width)).reshape(-1, width).sum(axis=1)
        starts = np.arange(len(classes)) * width + (width - 1) / 2.0  # 200 to 209 is one class
        axes.plot(starts, 100.0 * classes, label=label, drawstyle="steps-mid",
                  **series_style(index))
        low = min(low, mean - 4 * sd)
        high = max(high, mean + 4 * sd)
    if cut is not None:
        axes.axvline(cut, color=INK, lw=1.2, ls=(0, (4, 2)))
        axes.annotate(f"cut {cut:g}", (cut, 1.0), xycoords=("data", "axes fraction"),
                      xytext=(4, -4), textcoords="offset points", va="top", fontsize=8.5,
                      color=FAINT)
    axes.set(xlim=(max(low, 0), min(high, 300 * games)), ylim=(0, None),
             xlabel="score" if games == 1 else f"total of {games} games",
             ylabel=f"games [% in a class of {width} pins]" if games == 1
             else f"series [% in a class of {width} pins]")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.01), borderaxespad=0.0)
    return figure
