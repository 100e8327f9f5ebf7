"""The ball's face, drilled: marks, lines and holes, seen from the grip and from the PAP.

Both views are orthographic (seen from far away), fingers up. Every point comes from
`lanesim.equipment`; nothing is computed here but where the words go.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon
from numpy.typing import NDArray

from ..equipment.drilling import DrilledBall
from ..equipment.grip import Grip
from ..equipment.holes import hole_bottom, hole_rim
from ..equipment.inches import sixteenths
from ..equipment.layout import Layout, layout_text
from ..equipment.vectors import great_arc
from ..lane.geometry import BALL_RADIUS_M
from ..units import INCH_M, LB_KG
from .style import FAINT, INK, PAPER, SERIES, halo, house_style, new_figure

_FACE = "#f3f0e9"
_LINE: dict[str, Any] = {"color": FAINT, "lw": 1.1}
_ARCS = {  # name: (series, line width)
    "pin-pap": (1, 2.0),
    "bias-pap": (4, 1.8),
    "pin-bias": (0, 1.2),
    "buffer": (2, 1.8),
}


@house_style
def draw_drilling(
    ball: DrilledBall,
    layout: Layout,
    grip: Grip,
    *,
    hand: str = "right",
    symmetric: bool = False,
    title: str = "Drilled ball",
    radius_m: float = BALL_RADIUS_M,
) -> Figure:
    """Draw a drilled ball's face with its marks, arcs in inches and millimetres, and holes.

    Parameters
    ----------
    ball : DrilledBall
        From `equipment.drilling.drill`.
    layout, grip : Layout, Grip
        What it was drilled to.
    hand : {"right", "left"}
        A left-hander's ball is drawn as the mirror image.
    symmetric : bool
        True for a symmetric core: its mass bias is a mark of the layout, no property of the core.
    title : str
    radius_m : float
        The ball's radius [m].
    """
    face = ball.face
    radius_in = radius_m / INCH_M
    bias = "layout mark" if symmetric else "mass bias"
    note = (
        "Seen from far away with the fingers up; thin dashes = on the far side of the ball, dots = "
        "bottoms of the holes. Arcs run along the surface.\n"
        "Grip, hole sizes, density and top weight are assumptions unless you gave yours. "
        "Not a drilling order: have a certified fitter measure and mark the ball."
    )
    figure = new_figure(
        12.4, 6.4, title, layout=None, note=note,
        subtitle=f"{hand}-hander; {layout_text(layout)}",
    )
    flip = np.array([-1.0 if hand == "left" else 1.0, 1.0, 1.0])
    spots = [
        (face.pin, "pin", "o", SERIES[0][0]),
        (face.mass_bias, bias, "D", SERIES[4][0]),
        (face.pap, "PAP", "s", SERIES[1][0]),
        (face.grip_centre, "grip centre", "+", INK),
        (ball.axes[:, 0], "", "o", PAPER),
        (_nearer(ball.axes[:, 2], face.mass_bias), "", "D", PAPER),
    ]
    arcs = [
        ("pin-bias", face.pin, face.mass_bias, np.pi / 2 * radius_in),
        ("pin-pap", face.pin, face.pap, layout.pin_to_pap_in),
        ("bias-pap", face.mass_bias, face.pap, layout.mass_bias_to_pap_in(radius_m)),
        ("buffer", face.pin, face.nearest_on_val(face.pin), layout.pin_to_val_in(radius_m)),
    ]
    for column, (heading, middle) in enumerate(
        (("From the grip centre", face.grip_centre), ("From the PAP", face.pap))
    ):
        axes = figure.add_axes((0.005 + 0.36 * column, 0.07, 0.355, 0.80))
        _ball(axes, radius_in, heading)

        def see(points: Any, middle: Any = middle) -> NDArray[np.float64]:
            return radius_in * face.view(np.atleast_2d(points), middle) * flip

        side = flip[0] * (-1.0 if column == 0 else 1.0)
        taken = _lines(axes, face, see, ("centre line", "VAL")[column], side)
        taken += _holes(axes, ball, see, radius_m)
        taken += _marks(axes, see, spots)
        for name, a, b, arc_in in arcs:
            series, width = _ARCS[name]
            color, dash, _ = SERIES[series]
            seen = see(great_arc(a, b))
            _hidden(axes, seen, color=color, lw=width, ls=dash, zorder=4)
            # The arcs to the PAP are straight, hence clearest, in the view from the PAP.
            if (column == 1) == (name != "pin-bias") and arc_in > 0.9:
                taken += _arc_words(axes, seen, arc_in, taken)
        _names(axes, radius_in, see, spots, taken)
    _legend(figure, ball, layout, grip, bias, radius_m)
    return figure


def _ball(axes: Axes, radius_in: float, heading: str) -> None:
    reach = 1.13 * radius_in
    axes.set(xlim=(-reach, reach), ylim=(-reach, reach), aspect="equal")
    axes.axis("off")
    axes.set_title(heading, loc="center")
    axes.add_patch(Circle((0, 0), radius_in, facecolor=_FACE, edgecolor=INK, lw=1.4, zorder=0))


def _lines(
    axes: Axes, face: Any, see: Any, straight: str, far_side: float
) -> list[tuple[float, float]]:
    """Centre line, midline and vertical axis line as great circles, with their names.

    `straight` names the upright one of this view: its name stands above the ball, as both upright
    lines meet at the poles of the midline. `far_side` (-1 or 1) is the side of the picture for the
    midline's name. Returns where names stand on the face.
    """
    turn = np.linspace(-np.pi, np.pi, 361)[:, None]
    circles = (
        ("centre line", face.grip_centre, face.up),
        ("midline", face.grip_centre, -face.right),
        ("VAL", face.val_foot, face.val_up),
    )
    taken = []
    for name, start, toward in circles:
        seen = see(np.cos(turn) * start + np.sin(turn) * toward)
        near = seen[:, 2] >= 0
        axes.plot(*np.where(near[:, None], seen, np.nan)[:, :2].T, zorder=1, **_LINE)
        radius = float(np.linalg.norm(seen[0]))
        style: dict[str, Any] = {"color": FAINT, "fontsize": 8, "path_effects": halo(2.4),
                                 "zorder": 5}
        if name == straight:
            axes.text(0, 1.03 * radius, name, ha="center", va="bottom", **style)
        elif name == "midline":
            shown = seen[near]
            end = shown[np.argmin(np.abs(shown[:, 0] - far_side * 0.55 * radius))]
            axes.text(end[0], end[1], name, ha="center", va="center", **style)
            taken.append((end[0], end[1]))
        else:
            place = see(np.cos(-0.5) * start + np.sin(-0.5) * toward)[0]
            axes.text(place[0], place[1], name, ha="center", va="center", **style)
            taken.append((place[0], place[1]))
    return taken


def _arc_words(
    axes: Axes, seen: NDArray[np.float64], arc_in: float, taken: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Write an arc's length in both units beside its middle, on the emptier side."""
    middle = len(seen) // 2
    along = seen[middle + 1, :2] - seen[middle - 1, :2]
    normal = np.array([-along[1], along[0]]) / np.hypot(*along)
    normal = normal * np.array([0.62, 0.34])  # the words are wider than they are high

    def room(place: NDArray[np.float64]) -> float:
        return min(np.hypot((place[0] - x) / 2, place[1] - y) for x, y in taken)

    x, y = max((seen[middle, :2] + side * normal for side in (-1.0, 1.0)), key=room)
    axes.text(x, y, f"{sixteenths(arc_in)} in\n{25.4 * arc_in:.1f} mm", ha="center", va="center",
              fontsize=8, linespacing=1.1, path_effects=halo(2.4), zorder=6)
    return [(x + dx, y + dy) for dx in (-0.35, 0.35) for dy in (-0.14, 0.14)]


def _holes(axes: Axes, ball: DrilledBall, see: Any, radius_m: float) -> list[Any]:
    taken = []
    for hole in ball.face.holes:
        if hole.depth_m == 0.0:
            continue
        rim, bottom = see(hole_rim(hole, radius_m)), see(hole_bottom(hole, radius_m))
        if rim[:, 2].mean() < 0:
            continue
        axes.add_patch(Polygon(rim[:, :2], facecolor="#d8d2c6", edgecolor=INK, lw=1.4, zorder=2))
        axes.plot(*bottom[:, :2].T, color=FAINT, lw=0.8, ls=":", zorder=3)
        x, y = rim[:, 0].mean(), rim[:, 1].mean()
        taken += [(x - 0.2, y), (x + 0.2, y)]
    return taken


def _hidden(axes: Axes, seen: NDArray[np.float64], *, ls: Any, zorder: float, **style: Any) -> None:
    near = seen[:, 2] >= -1e-9
    axes.plot(*np.where(near[:, None], seen, np.nan)[:, :2].T, ls=ls, zorder=zorder, **style)
    far = {**style, "lw": 0.8, "alpha": 0.55}
    axes.plot(*np.where(near[:, None], np.nan, seen)[:, :2].T, ls=(0, (2, 3)), zorder=1, **far)


def _marks(axes: Axes, see: Any, spots: list[Any]) -> list[tuple[float, float]]:
    """Draw the points; those on the far side are pale. Returns their places."""
    places = []
    for point, _, marker, color in spots:
        x, y, z = see(point)[0]
        _marker(axes, x, y, marker, color, alpha=1.0 if z >= 0 else 0.4)
        places.append((x, y))
    return places


def _marker(axes: Axes, x: float, y: float, marker: str, color: str, alpha: float = 1.0) -> None:
    plus = marker == "+"
    edge = color if plus else INK if color == PAPER else PAPER
    axes.plot(x, y, marker, color=color, mec=edge, ms=12 if plus else 8, mew=2.0 if plus else 1.2,
              alpha=alpha, zorder=6)


def _names(
    axes: Axes, radius_in: float, see: Any, spots: list[Any], taken: list[tuple[float, float]]
) -> None:
    """Names of the points; each takes the least crowded of some places around its point, and
    stays nearer to it than to any other."""
    marks = [see(point)[0][:2] for point, *_ in spots]
    for point, name, _, _ in spots:
        if not name:
            continue
        x, y, z = see(point)[0]
        text = name if z >= 0 else f"{name} (far side)"
        half = 0.047 * radius_in * len(text) / 2 + 0.05
        places = [(x + dx * (half + 0.28), y + dy) for dx, dy in
                  ((1, 0), (-1, 0), (1, 0.34), (-1, 0.34), (1, -0.34), (-1, -0.34))]
        places += [(x, y + 0.42), (x, y - 0.42)]

        def cost(
            place: tuple[float, float], half: float = half, at: Any = (x, y), taken: Any = taken
        ) -> float:
            px, py = place
            crowd = sum(
                max(0.0, half + 0.3 - abs(px - tx)) * max(0.0, 0.3 - abs(py - ty)) * 40
                for tx, ty in taken if (tx, ty) != at
            )
            outside = max(0.0, abs(px) + half - 1.12 * radius_in)
            own = np.hypot(px - at[0], py - at[1])
            stray = sum(np.hypot(px - mx, py - my) < 0.98 * own for mx, my in marks)
            return crowd + 50 * outside + 4 * stray + 0.1 * abs(py - at[1])

        px, py = min(places, key=cost)
        axes.text(px, py, text, ha="center", va="center", fontsize=8.5, zorder=7,
                  path_effects=halo(2.4), color=INK if z >= 0 else FAINT)
        taken += [(px - half / 2, py), (px + half / 2, py), (px, py)]


def _legend(
    figure: Figure, ball: DrilledBall, layout: Layout, grip: Grip, bias: str, radius_m: float
) -> None:
    """The arcs with their line styles, then the numbers before and after."""
    axes = figure.add_axes((0.735, 0.09, 0.255, 0.76))
    axes.set(xlim=(0, 1), ylim=(0, 1))
    axes.axis("off")
    quarter = np.pi / 2 * radius_m / INCH_M
    y = 0.99
    axes.text(0, y, "Arcs", fontweight="bold", va="center")
    rows = [
        ("pin-pap", "pin to PAP", layout.pin_to_pap_in),
        ("bias-pap", f"{bias} to PAP", layout.mass_bias_to_pap_in(radius_m)),
        ("buffer", "pin to VAL", layout.pin_to_val_in(radius_m)),
        ("pin-bias", f"pin to {bias}", quarter),
        (None, "PAP over (midline)", grip.pap_over_in),
        (None, "PAP up (VAL)", grip.pap_up_in),
    ]
    for name, text, value in rows:
        y -= 0.047
        if name is None:
            axes.plot([0, 0.12], [y, y], **_LINE)
        else:
            series, width = _ARCS[name]
            axes.plot([0, 0.12], [y, y], color=SERIES[series][0], ls=SERIES[series][1], lw=width)
        axes.text(0.15, y, text, va="center", fontsize=8.5)
        axes.text(1.0, y, _both(value), va="center", ha="right", fontsize=8.5)
    y -= 0.047
    _marker(axes, 0.03, y, "o", PAPER)
    axes.text(0.07, y, "low-RG", va="center", fontsize=8.5)
    _marker(axes, 0.27, y, "D", PAPER)
    axes.text(0.31, y, "and high-RG axis of the drilled ball", va="center", fontsize=8.5)
    y -= 0.07
    axes.text(0, y, "Drilled", fontweight="bold", va="center")
    numbers = [
        ("weight", f"{ball.mass_kg / LB_KG:.2f} lb"),
        ("low / int. / high RG",
         f"{ball.rg_low_in:.3f} / {ball.rg_int_in:.3f} / {ball.rg_high_in:.3f} in"),
        ("differential", f"{ball.diff_in:.4f} in"),
        ("int. differential", f"{ball.int_diff_in:.4f} in"),
        ("low-RG axis to PAP", _both(ball.pin_to_pap_in)),
        ("top / side / finger",
         f"{ball.after.top_oz:+.2f} / {ball.after.side_oz:+.2f} / {ball.after.finger_oz:+.2f} oz"),
    ]
    for text, number in numbers:
        y -= 0.047
        axes.text(0, y, text, va="center", fontsize=8.5)
        axes.text(1.0, y, number, va="center", ha="right", fontsize=8.5)
    y -= 0.075
    axes.text(0, y, "Holes (diameter x depth)", fontweight="bold", va="center")
    for hole in ball.face.holes:
        y -= 0.047
        size = f"{2 * hole.radius_m / INCH_M:.3f} x {hole.depth_m / INCH_M:.2f} in"
        metric = f"{2e3 * hole.radius_m:.1f} x {1e3 * hole.depth_m:.1f} mm"
        axes.text(0, y, hole.name, va="center", fontsize=8.5)
        axes.text(1.0, y, f"{size} = {metric}", va="center", ha="right", fontsize=8.5)


def _both(arc_in: float) -> str:
    return f"{sixteenths(arc_in)} in, {25.4 * arc_in:.1f} mm"


def _nearer(axis: NDArray[np.float64], point: NDArray[np.float64]) -> NDArray[np.float64]:
    return axis if axis @ point >= 0 else -axis
