"""Pictures of a sweep: a heat map over two settings, or a curve over one."""

from __future__ import annotations

import numpy as np
from matplotlib.artist import Artist
from matplotlib.collections import LineCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from ..motion.pocket import EDGES, POCKET
from ..studies.findings import of_sweep
from ..studies.sweep import MEASURES, Axis, Sweep
from .style import FAINT, HAIR, INK, PAPER, heat_colormap, house_style, lightness, new_figure

_MOST_TICKS = 12
_MOST_NUMBERS = 150  # cells with their value written in them


@house_style
def draw_sweep(sweep: Sweep, measure: str = "entry_board", *, note: str = "") -> Figure:
    """One measure over the grid; pocket hits are framed, points without a value hatched.

    Parameters
    ----------
    sweep : over one setting (a curve) or two (a map, the first one upward).
    measure : name from sweep.MEASURES.

    Raises
    ------
    ValueError
        for a sweep over three settings or more.
    """
    if len(sweep.axes) == 1:
        return _curve(sweep, measure, note)
    if len(sweep.axes) == 2:
        return _map(sweep, measure, note)
    raise ValueError("a picture shows one or two settings")


def _heading(measure: str) -> str:
    title, unit = MEASURES[measure]
    return title if unit in title.split() else f"{title} [{unit}]"


def _axis_label(axis: Axis) -> str:
    return f"{axis.setting.title} [{axis.setting.unit}]"


def _map(sweep: Sweep, measure: str, note: str) -> Figure:
    up, across = sweep.axes
    values = sweep.values[measure]
    rows, columns = values.shape
    known = np.isfinite(values)
    small_print = "Framed: a pocket hit. Hatched: no value (no pin touched, or it never rolls)."
    figure = new_figure(
        9.0, 6.2, of_sweep(sweep, measure), subtitle=f"{sweep.ball} on {sweep.pattern}",
        note="\n".join(filter(None, [small_print, note])),
    )
    axes = figure.add_subplot()
    axes.grid(False)
    axes.set_facecolor(PAPER)
    low, high = (np.nanmin(values), np.nanmax(values)) if known.any() else (0.0, 1.0)
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    scale = Normalize(low, high)
    image = axes.imshow(np.ma.masked_invalid(values), origin="lower", aspect="auto",
                        cmap=heat_colormap(), norm=scale, interpolation="nearest")
    for row, column in np.argwhere(~known):
        axes.add_patch(Rectangle((column - 0.5, row - 0.5), 1, 1, hatch="////", facecolor="none",
                                 edgecolor=HAIR, linewidth=0.0))
    _frame(axes, sweep.outcome == POCKET)
    if rows * columns <= _MOST_NUMBERS:
        places = 1 if high - low < 50 else 0
        for row, column in np.argwhere(known):
            ground = heat_colormap()(scale(values[row, column]))
            axes.text(column, row, f"{values[row, column]:.{places}f}", ha="center", va="center",
                      fontsize=8, color=INK if lightness(ground[:3]) > 55 else PAPER)
    _ticks(axes.xaxis, across)
    _ticks(axes.yaxis, up)
    axes.set(xlabel=_axis_label(across), ylabel=_axis_label(up))
    figure.colorbar(image, ax=axes, pad=0.02).set_label(_heading(measure))
    return figure


def _frame(axes, inside: np.ndarray) -> None:
    """A line round the cells that are `inside`, along their edges with cells that are not."""
    padded = np.pad(inside, 1)
    lines = []
    for row, column in np.argwhere(inside):
        left, bottom = column - 0.5, row - 0.5
        r, c = row + 1, column + 1
        if not padded[r - 1, c]:
            lines.append([(left, bottom), (left + 1, bottom)])
        if not padded[r + 1, c]:
            lines.append([(left, bottom + 1), (left + 1, bottom + 1)])
        if not padded[r, c - 1]:
            lines.append([(left, bottom), (left, bottom + 1)])
        if not padded[r, c + 1]:
            lines.append([(left + 1, bottom), (left + 1, bottom + 1)])
    axes.add_collection(LineCollection(lines, colors=PAPER, linewidths=4.2, capstyle="projecting"))
    axes.add_collection(LineCollection(lines, colors=INK, linewidths=2.0, capstyle="projecting"))


def _ticks(which, axis: Axis) -> None:
    count = len(axis.values)
    step = -(-count // _MOST_TICKS)
    places = list(range(0, count, step))
    which.set_ticks(places, [axis.labels[n] for n in places])


def _curve(sweep: Sweep, measure: str, note: str) -> Figure:
    (axis,) = sweep.axes
    values = sweep.values[measure]
    by_name = axis.by_name
    x = np.arange(len(axis.values)) if by_name else np.array(axis.values, dtype=float)
    figure = new_figure(8.0, 4.8, of_sweep(sweep, measure),
                        subtitle=f"{sweep.ball} on {sweep.pattern}", note=note)
    axes = figure.add_subplot()
    axes.plot(x, values, color=INK, zorder=3)
    hit = sweep.outcome == POCKET
    axes.plot(x[hit], values[hit], ls="none", marker="o", mfc=INK, mec=INK, zorder=4)
    axes.plot(x[~hit], values[~hit], ls="none", marker="o", mfc=PAPER, mec=INK, zorder=4)
    keys: list[Artist] = [Line2D([], [], color=INK, marker="o", mfc=INK, label="pocket"),
                          Line2D([], [], color=INK, marker="o", mfc=PAPER,
                                 label="not the pocket")]
    if measure == "entry_board":
        axes.axhspan(EDGES[0], EDGES[1], color=FAINT, alpha=0.18, lw=0, zorder=1)
        keys.append(Patch(facecolor=FAINT, alpha=0.18, label="pocket window"))
    axes.legend(handles=keys, loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=3)
    if by_name:
        _ticks(axes.xaxis, axis)
    axes.set(xlabel=_axis_label(axis), ylabel=_heading(measure))
    return figure
