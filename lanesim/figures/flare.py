"""Track flare: the rings that the oil leaves on the ball, one for each turn.

The ball turns about an axis that wanders through it. While the axis stands at a (a unit vector in
the ball) with tilt t, the lane touches the ball along the circle 90 deg + t away from a, and the
oil marks that circle: a ring. Each turn draws the next. The ball is drawn as seen from far away
(orthographic), in the body axes of the core: e1 low RG (the pin), e2, e3 high RG (the mass bias).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from numpy.typing import ArrayLike, NDArray

from ..lane.geometry import BALL_RADIUS_M
from ..units import INCH_M
from .style import (
    FAINT,
    INK,
    PAPER,
    SERIES,
    halo,
    heat_colormap,
    house_style,
    line_halo,
    new_figure,
)

if TYPE_CHECKING:
    from ..motion.trajectory import Trajectory

FloatArray = NDArray[np.float64]

_BALL_FACE = "#efece6"


def view_frame(toward: FloatArray, up: FloatArray) -> FloatArray:
    """Rows: right, up and toward the viewer, for a ball seen from the direction `toward`."""
    toward = toward / np.linalg.norm(toward)
    lift = up - (up @ toward) * toward
    if np.linalg.norm(lift) < 1e-6:  # `up` points at the viewer: any other direction will do
        other = np.eye(3)[int(np.argmin(np.abs(toward)))]
        lift = other - (other @ toward) * toward
    lift = lift / np.linalg.norm(lift)
    return np.array([np.cross(lift, toward), lift, toward])


def ring_points(axis: FloatArray, angle_rad: float, count: int = 361) -> FloatArray:
    """Points (count, 3) of the circle on the unit sphere at `angle_rad` from the unit `axis`."""
    frame = view_frame(axis, np.array([0.0, 0.0, 1.0]))
    turn = np.linspace(0.0, 2.0 * np.pi, count)
    around = np.outer(np.cos(turn), frame[0]) + np.outer(np.sin(turn), frame[1])
    return np.cos(angle_rad) * frame[2] + np.sin(angle_rad) * around


def rings(
    axis_path: FloatArray, revolutions: FloatArray, tilt_deg: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The axis (k, 3) and the ring's angle from it (k,) [rad] at each whole turn 0, 1, 2, ..

    Straight interpolation between the samples, then back onto the sphere.
    """
    whole = np.arange(np.floor(revolutions[-1] + 1e-9) + 1.0)
    axes = np.column_stack([np.interp(whole, revolutions, axis_path[:, k]) for k in range(3)])
    angle = np.pi / 2 + np.radians(np.interp(whole, revolutions, tilt_deg))
    return axes / np.linalg.norm(axes, axis=1, keepdims=True), angle


def spread_direction(axis_path: FloatArray) -> FloatArray:
    """The unit direction in the ball where the rings lie farthest apart.

    When the axis moves by d, the ring's point p moves by p . d along the axis: most at p = +-d.
    Of the two, the one on the pin's side. A path that stands still has no such direction; any one
    square to the axis will do.
    """
    chord = axis_path[-1] - axis_path[0]
    mean = axis_path.mean(axis=0)
    mean = mean / np.linalg.norm(mean)
    chord = chord - (chord @ mean) * mean
    if np.linalg.norm(chord) < 1e-4:
        chord = np.cross(mean, np.eye(3)[int(np.argmin(np.abs(mean)))])
    return chord / np.linalg.norm(chord) * (1.0 if chord[0] >= 0.0 else -1.0)


@house_style
def draw_flare_rings(
    axis_path: ArrayLike,
    revolutions: ArrayLike,
    tilt_deg: ArrayLike,
    *,
    flare_in: float,
    hand: str = "right",
    radius_in: float = BALL_RADIUS_M / INCH_M,
    mass_bias: bool = True,
    title: str = "Track flare",
    subtitle: str = "",
    note: str = "",
) -> Figure:
    """Two views of the ball with a ring for each turn.

    Parameters
    ----------
    axis_path : array_like, shape (n, 3)
        Unit vectors of the rotation axis in the ball's body axes (e1 pin, e2, e3 mass bias),
        from release to the pins.
    revolutions : array_like, shape (n,)
        Turns made so far, not decreasing.
    tilt_deg : array_like, shape (n,)
        Axis tilt [deg].
    flare_in : float
        Total flare [in], for the words.
    hand : {"right", "left"}
        The core solves a left-hander's shot as its mirror image; the drawing is turned back.
    radius_in : float
        Ball radius [in].
    mass_bias : bool
        False for a symmetric core, whose mass-bias mark is only a mark of the layout.
    """
    path = np.asarray(axis_path, dtype=float)
    turns = np.asarray(revolutions, dtype=float)
    tilt = np.asarray(tilt_deg, dtype=float)
    axes_at, angles = rings(path, turns, tilt)
    count = len(axes_at)
    words = f"{count} rings over {turns[-1]:.1f} turns; total flare {flare_in:.2f} in"
    small_print = ["Seen from far away; faint parts lie behind. A ring is where the lane touched "
                   "the ball during one turn. Thick line: the way of the axis from the PAP.", note]
    figure = new_figure(10.5, 6.1, title, layout=None,
                        subtitle=f"{subtitle}; {words}" if subtitle else words,
                        note="\n".join(filter(None, small_print)))
    pin, bias = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])
    spread = spread_direction(path)
    views = (
        ("From the axis point (PAP), pin up", path[0], pin),
        ("From the side where the rings spread most", spread, path[0]),
    )
    colors = heat_colormap()(np.linspace(0.30, 1.0, max(count, 2)))
    for column, (heading, toward, up) in enumerate(views):
        axes = figure.add_axes((0.015 + 0.45 * column, 0.085, 0.44, 0.72))
        frame = view_frame(toward, up)
        if hand == "left":
            frame[0] = -frame[0]
        _ball(axes, radius_in, heading)
        for index, (axis, angle) in enumerate(zip(axes_at, angles, strict=True)):
            seen = radius_in * ring_points(axis, angle) @ frame.T
            _plot_hidden(axes, seen, color=colors[index], lw=1.5, zorder=2 + 0.01 * index)
        _plot_hidden(axes, radius_in * path @ frame.T, color=SERIES[2][0], lw=2.4, zorder=4,
                     path_effects=line_halo(2.4, 0.9))
        spots = [
            (pin, "pin", "o", SERIES[0][0]),
            (bias, "mass bias" if mass_bias else "layout mark", "D", SERIES[4][0]),
            (path[0], "PAP", "P", SERIES[2][0]),
        ]
        if np.linalg.norm(path[-1] - path[0]) > 0.02:
            spots.append((path[-1], "last axis", "s", SERIES[2][0]))
        _mark_spots(axes, radius_in, frame, spots)
    bar_axes = figure.add_axes((0.925, 0.16, 0.014, 0.55))
    edges = np.arange(count + 1) - 0.5
    scale = ScalarMappable(BoundaryNorm(edges, count), ListedColormap(colors[:count]))
    step = max(1, -(-count // 8))
    bar = figure.colorbar(scale, cax=bar_axes, ticks=range(0, count, step))
    bar.set_label("turns made when the ring is drawn")
    bar.outline.set_edgecolor(FAINT)
    bar.ax.minorticks_off()
    return figure


def draw_flare(
    trajectory: Trajectory,
    *,
    mass_bias: bool = True,
    title: str = "Track flare",
    subtitle: str = "",
    note: str = "",
) -> Figure:
    """The rings that one thrown ball's track drew; see `draw_flare_rings`.

    Pass `mass_bias=ball.int_diff_in > 0` to name the mark of a symmetric core for what it is.
    """
    return draw_flare_rings(
        trajectory.axis_body,
        trajectory.revolutions,
        trajectory.tilt_deg,
        flare_in=float(trajectory.flare_in[-1]),
        hand=trajectory.hand,
        mass_bias=mass_bias,
        title=title,
        subtitle=subtitle or trajectory.ball,
        note=note,
    )


def _ball(axes: Axes, radius_in: float, heading: str) -> None:
    reach = 1.12 * radius_in
    axes.set(xlim=(-reach, reach), ylim=(-1.16 * reach, 1.02 * reach), aspect="equal")
    axes.set_axis_off()
    axes.text(0, reach, heading, ha="center", va="bottom", fontsize=10.5, fontweight="bold")
    axes.add_patch(Circle((0, 0), radius_in, facecolor=_BALL_FACE, edgecolor=INK, lw=1.2, zorder=1))
    left, low = -radius_in, -1.1 * reach
    axes.plot([left, left + 1.0], [low, low], color=INK, lw=1.6, solid_capstyle="butt")
    axes.text(left + 1.12, low, "1 in at the middle of the ball", va="center", fontsize=8,
              color=FAINT)


def _plot_hidden(axes: Axes, seen: FloatArray, **style: Any) -> None:
    """A curve (n, 3) in view coordinates: its near part plain, its far part faint and thin."""
    near = np.where(seen[:, 2:] >= 0.0, seen[:, :2], np.nan)
    far = np.where(seen[:, 2:] < 0.0, seen[:, :2], np.nan)
    axes.plot(near[:, 0], near[:, 1], **style)
    faint = {"color": style["color"], "alpha": 0.30, "zorder": 1.2, "lw": 0.6}
    axes.plot(far[:, 0], far[:, 1], **faint)


def _mark_spots(axes: Axes, radius_in: float, frame: FloatArray,
                spots: list[tuple[FloatArray, str, str, str]]) -> None:
    """Marks with names; hollow if on the far side. A name goes where no earlier name stands."""
    high, per_letter = 0.44, 0.19  # size of the text on the ball, in inches of the ball
    taken: list[tuple[float, float, float, float]] = []
    for point, name, marker, color in spots:
        x, y, depth = radius_in * frame @ point
        near = depth >= -1e-9
        axes.plot([x], [y], marker=marker, ms=9 if near else 8, mew=1.5,
                  mec=PAPER if near else color, mfc=color if near else "none", ls="none", zorder=6,
                  alpha=1.0 if near else 0.7)
        taken.append((x - 0.2, x + 0.2, y - 0.2, y + 0.2))
        text = name if near else f"{name} (behind)"
        wide = per_letter * len(text)
        inward = 1.0 if x <= 0.0 else -1.0
        places = [(side, lift) for lift in (0.32, -0.32, 0.75, -0.75, 1.2, -1.2)
                  for side in (inward, -inward)]
        for side, lift in places:
            start = x + 0.28 * side
            box = (min(start, start + wide * side), max(start, start + wide * side),
                   y + lift - high / 2, y + lift + high / 2)
            inside = max(abs(box[0]), abs(box[1])) < 1.2 * radius_in
            if inside and not any(_overlap(box, other) for other in taken):
                break
        taken.append(box)
        if abs(lift) > 0.5:  # too far off to be plain: a leader to the mark
            axes.plot([x, start], [y, y + lift], color=FAINT, lw=0.6, zorder=5)
        axes.text(start, y + lift, text, ha="left" if side > 0 else "right", va="center",
                  fontsize=9, zorder=7, path_effects=halo(2.5))


def _overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    """Whether two boxes (left, right, bottom, top) share any area."""
    return a[0] < b[1] and b[0] < a[1] and a[2] < b[3] and b[2] < a[3]
