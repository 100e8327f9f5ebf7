"""What the ball does on its way: slip, friction, film, rotation, tilt, speed against distance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from .looks import looks
from .style import FAINT, house_style, legend_name, new_figure

if TYPE_CHECKING:
    from ..motion.trajectory import Trajectory

# Panel: the trajectory's column, its axis label, its title, whether zero belongs on the axis.
PANELS: tuple[tuple[str, str, str, bool], ...] = (
    ("slip_ms", "slip speed [m/s]", "Slip of the contact point", True),
    ("speed_mph", "ball speed [mph]", "Speed", False),
    ("friction", "friction coefficient [-]", "Friction", True),
    ("rotation_deg", "axis rotation [deg]", "Axis rotation", False),
    ("film_um", "oil film [µm]", "Film: on the lane, and (thin) on the ball's track", True),
    ("tilt_deg", "axis tilt [deg]", "Axis tilt", False),
)


@house_style
def draw_curves(
    trajectories: Sequence[Trajectory],
    labels: Sequence[str] | None = None,
    *,
    title: str = "Along the lane",
    note: str = "",
) -> Figure:
    """Six quantities against distance from the foul line, one line per path.

    Each line carries an open sign where its hook begins and a filled one where its roll begins.
    In the film panel the thin line of the same dash is the film that the ball's track carries.

    Parameters
    ----------
    trajectories : sequence of Trajectory
    labels : sequence of str, optional
        One for each path.
    """
    if not trajectories:
        raise ValueError("no path to draw")
    names = labels if labels is not None else [f"shot {i + 1}" for i in range(len(trajectories))]
    if len(names) != len(trajectories):
        raise ValueError(f"{len(names)} labels for {len(trajectories)} paths")
    seen = looks([t.ball for t in trajectories])
    small_print = ["Open sign: the hook begins. Filled sign: the ball rolls. "
                   "While the ball rolls, friction is what would be available.", note]
    figure = new_figure(10.5, 8.2, title, note="\n".join(filter(None, small_print)))
    grid = figure.subplots(3, 2, sharex=True)
    for axes, (column, label, heading, from_zero) in zip(grid.flat, PANELS, strict=True):
        for index, (trajectory, name) in enumerate(zip(trajectories, names, strict=True)):
            x = np.asarray(trajectory.x_ft)
            value = np.asarray(getattr(trajectory, column))
            style = seen[index].line()
            axes.plot(x, value, **style, label=legend_name(name), zorder=3)
            if column == "film_um":
                axes.plot(x, trajectory.track_film_um, **(style | {"lw": 0.9}), zorder=2.5)
            color, marker = seen[index].color, seen[index].marker
            for at, face in ((trajectory.hook_ft, axes.get_facecolor()),
                             (trajectory.roll_ft, color)):
                if math.isfinite(at) and x[0] <= at <= x[-1]:
                    axes.plot([at], [np.interp(at, x, value)], marker=marker, ms=6,
                              mfc=face, mec=color, mew=1.4, ls="none", zorder=4)
        axes.set(title=heading, ylabel=label, xlim=(0, 60))
        if from_zero:
            axes.set_ylim(bottom=0)
        _give_height(axes)
        axes.tick_params(axis="x", labelbottom=True)
    for axes in grid[-1]:
        axes.set_xlabel("distance from the foul line [ft]")
    if len(trajectories) > 1:
        # above the panels: it covers no curve, however many there are
        lines = [line for line in grid[0, 0].get_lines()
                 if not str(line.get_label()).startswith("_")]
        figure.legend(handles=lines, loc="outside upper right", ncols=min(4, len(lines)))
    else:
        grid[0, 0].text(0.98, 0.95, names[0], transform=grid[0, 0].transAxes, ha="right", va="top",
                        color=FAINT, fontsize=9)
    return figure


def _give_height(axes) -> None:
    """Keep a nearly constant quantity from filling the panel with rounding noise."""
    low, high = axes.get_ylim()
    middle = max(abs(low), abs(high))
    if high - low < 0.02 * middle:
        axes.set_ylim(low - 0.05 * middle, high + 0.05 * middle)
