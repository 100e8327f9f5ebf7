"""The line-up map: rate over laydown board and launch angle, with the best line marked."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from ..studies.findings import of_line
from .style import INK, PAPER, halo, heat_colormap, house_style, new_figure

if TYPE_CHECKING:
    from ..lines.judge import LineResult

_SHOWN_FROM = 0.01  # the axes cover every line with at least this rate


@house_style
def draw_lineup(result: LineResult, *, title: str = "") -> Figure:
    """Map of the rate over laydown board and launch angle.

    Parameters
    ----------
    result : of `lineup.find_line`.
    title : heading; default names ball and pattern.
    """
    what = {"pocket": "pocket hits", "strike": "strikes"}.get(result.aim, result.aim)
    release = result.release
    best = (release.laydown_board, release.launch_angle_deg)
    figure = new_figure(
        8.2, 5.6, title or of_line(result),
        subtitle=_subtitle(result, what),
        note="Map from usual shots, spread as the player's; the marked "
             f"rate from {result.shots:,} fresh shots at {release.speed_mph:.1f} mph. "
             f"{release.hand.capitalize()}-handed:\nboards count from the ball-arm side, a "
             "negative angle goes toward it.",
    )
    axes = figure.add_subplot()
    rate = 100 * result.map_rate.T
    top = max(float(rate.max()), 1.0)
    filled = axes.contourf(
        result.map_laydown, result.map_angle, rate, levels=np.linspace(0, top, 41),
        cmap=heat_colormap(),
    )
    step = 20 if top > 60 else 10 if top > 25 else 5 if top > 12 else 2
    levels = np.arange(step, top, step)
    if len(levels):
        lines = axes.contour(result.map_laydown, result.map_angle, rate, levels=levels,
                             colors=INK, linewidths=0.7)
        for text in axes.clabel(lines, fmt="%d %%", fontsize=7.5):
            text.set_path_effects(halo(1.6))
    for line in result.alternatives:
        axes.plot(line.laydown_board, line.launch_angle_deg, "D", markersize=6,
                  markerfacecolor=PAPER, markeredgecolor=INK, zorder=5)
    if result.alternatives:
        axes.plot([], [], "D", markersize=6, markerfacecolor=PAPER, markeredgecolor=INK,
                  label="best line 3 boards or more away")
    axes.plot(*best, "*", markersize=19, markerfacecolor=PAPER, markeredgecolor=INK,
              markeredgewidth=1.1, linestyle="none", zorder=6,
              label=f"best line: board {best[0]:.1f}, {best[1]:+.2f} deg")
    axes.legend(loc="lower left")
    axes.set_xlabel("laydown board")
    axes.set_ylabel("launch angle [deg]")
    axes.set_xlim(result.map_laydown[0], result.map_laydown[-1])
    axes.set_ylim(*_angles_shown(result, best[1]))
    bar = figure.colorbar(filled, ax=axes, pad=0.015,
                          ticks=np.arange(0, top + 1e-9, 10 if top > 25 else 5))
    bar.set_label(f"{what} [% of shots]")
    bar.outline.set_visible(False)
    return figure


def _subtitle(result: LineResult, what: str) -> str:
    text = f"Best line: {result.rate.text()} {what} (95 % interval)"
    return text if result.found else text + " - NOT clearly better than chance"


def _angles_shown(result: LineResult, best_deg: float) -> tuple[float, float]:
    """Angles with any rate to show, with a margin; at least 1.5 deg either side of the best."""
    used = result.map_angle[np.any(result.map_rate >= _SHOWN_FROM, axis=0)]
    low = min([*used, best_deg - 1.0]) - 0.5
    high = max([*used, best_deg + 1.0]) + 0.5
    return max(low, result.map_angle[0]), min(high, result.map_angle[-1])
