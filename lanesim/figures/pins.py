"""Pictures of the pins: where on the map a ball strikes, and one ball's way through the rack.

Nothing is computed here: `pins` gives the numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from ..lane import geometry as lane
from ..motion.pocket import HEAD_ON_BOARD, HIGH_FROM_BOARD, LIGHT_TO_BOARD
from ..pins.model import GUTTER_DROP_IN, KICKBACK_M, TAIL_M, Hit, PinFall
from ..pins.score import leave_name
from ..pins.table import CarryTable
from ..units import INCH_M
from .looks import looks
from .style import (
    FAINT,
    HAIR,
    INK,
    PIN_WHITE,
    WOOD,
    halo,
    heat_colormap,
    house_style,
    legend_name,
    new_figure,
)

_BELLY_IN = 4.766 / 2.0
_MAP_BOARDS = (13.0, 22.0)
SHOTS_DRAWN = 300  # of each group on the map


@house_style
def draw_carry_map(
    table: CarryTable,
    speed_mph: float = 16.0,
    *,
    shots: Sequence[tuple[str, Any, Any]] = (),
    hand: str = "right",
    title: str = "Chance of a strike by entry board and angle",
    note: str = "",
) -> Figure:
    """Strike chance over entry board and angle at one speed, with shots on it if given.

    Parameters
    ----------
    shots : (name, entry boards, entry angles [deg]) of each group of a player's balls, in the
        player's boards; at most SHOTS_DRAWN of a group are drawn, evenly picked.
    """
    figure = new_figure(
        8.5, 5.6, title,
        subtitle=f"simulated, at {speed_mph:g} mph at the pins, ball rolling",
        note=note or f"Kernel average of {len(table.board)} simulated hits; contact parameters "
        "chosen against published observations (benchmarks/CARRY.md)."
        + (f"\nAt most {SHOTS_DRAWN} shots of a ball are drawn, evenly picked." if shots else ""),
    )
    axes = figure.add_subplot()
    boards = np.linspace(*_MAP_BOARDS, 181)
    angles = np.linspace(0.0, 7.5, 151)
    b, a = np.meshgrid(boards, angles)
    chance = 100.0 * table.strike_probability(b, a, np.full(b.shape, speed_mph))
    image = axes.pcolormesh(boards, angles, chance, cmap=heat_colormap(), vmin=0, vmax=100,
                            shading="gouraud", rasterized=True)
    lines = axes.contour(boards, angles, chance, levels=[20, 40, 60, 80], colors=[INK],
                         linewidths=0.8)
    labels = axes.clabel(lines, fmt="%d %%", fontsize=8)
    for text in labels:
        text.set_path_effects(halo(2.0))
        text.set_zorder(4.5)  # above the shots
        x, y = text.get_position()
        if y > 6.8 or not _MAP_BOARDS[0] + 0.3 < x < _MAP_BOARDS[1] - 0.3:
            text.set_visible(False)  # the zones' names stand there, or the edge cuts it
    edges = ((LIGHT_TO_BOARD, "light"), (HIGH_FROM_BOARD, "high"), (HEAD_ON_BOARD, "far side"))
    for edge, _ in edges:
        axes.axvline(edge, color=PIN_WHITE, lw=2.2, zorder=3)
        axes.axvline(edge, color=INK, lw=1.0, ls=(0, (4, 2)), zorder=3.1)
    for middle, word in ((14.5, "light"), (17.5, "pocket"), (19.5, "high"), (21.0, "far side")):
        axes.text(middle, 7.35, word, ha="center", va="top", fontsize=9, fontweight="bold",
                  path_effects=halo(2.5), zorder=5)
    seen = looks([name for name, _, _ in shots])
    for look, (name, at, steep) in zip(seen, shots, strict=True):
        at, steep = np.atleast_1d(at), np.atleast_1d(steep)
        come = np.flatnonzero(np.isfinite(at) & np.isfinite(steep))
        come = come[np.linspace(0, len(come) - 1, min(SHOTS_DRAWN, len(come))).astype(int)]
        axes.scatter(at[come], steep[come], s=22 if len(come) > 1 else 60,
                     facecolor=look.color, edgecolor=PIN_WHITE, lw=0.9, marker=look.marker,
                     zorder=4, label=legend_name(name))
    if shots:
        axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.01), borderaxespad=0.0, ncols=3,
                    handlelength=1.0)
    axes.set(xlim=_MAP_BOARDS, ylim=(0, 7.5), ylabel="entry angle [deg]",
             xlabel=f"entry board of the ball's centre, counted from the {hand}")
    axes.set_xticks(np.arange(13, 23))
    axes.grid(False)
    if hand == "right":
        axes.invert_xaxis()  # the board counted first stands on the player's own side
    bar = figure.colorbar(image, ax=axes, pad=0.02)
    bar.set_label("strikes [%]")
    return figure


@house_style
def draw_rack(
    fall: PinFall,
    hit: Hit,
    *,
    title: str = "One ball through the pins",
    note: str = "",
) -> Figure:
    """Top view of the rack: the ball's path, the pins' ways until they fall, what stands.

    `fall` must have been recorded (`simulate(..., record=True)`).
    """
    figure = new_figure(
        6.8, 6.4, title,
        subtitle=f"board {hit.board:g}, {hit.angle_deg:g} deg, {hit.speed_mph:g} mph; "
        f"touches {'-'.join(map(str, fall.touched))}; "
        + ("strike" if fall.strike else f"leaves {leave_name(fall.standing)}"),
        note=note or "Simulated. Dashed: the ball's centre. Thin lines: pins until they leave "
        "the deck or stop.\nDark: still standing.",
    )
    axes = figure.add_subplot()
    _deck(axes)
    assert fall.ball_xyz_m is not None and fall.pin_xyz_m is not None and fall.time_s is not None
    for p in range(10):
        way = fall.pin_xyz_m[:, p] / INCH_M
        # out of play: parked far away, or below the deck
        gone = np.flatnonzero((way[:, 0] < -30.0) | (way[:, 2] < -GUTTER_DROP_IN))
        end = gone[0] if gone.size else len(way)
        axes.plot(way[:end, 0], way[:end, 1], color=FAINT, lw=0.8, zorder=2)
        dx, dy = lane.PIN_SPOTS_IN[p + 1]
        stands = bool(fall.standing >> p & 1)
        axes.add_patch(Circle((dx, dy), _BELLY_IN, facecolor=INK if stands else PIN_WHITE,
                              edgecolor=INK, lw=1.0, zorder=4))
        axes.text(dx, dy, str(p + 1), ha="center", va="center", fontsize=9, zorder=5,
                  color=PIN_WHITE if stands else INK, fontweight="bold")
    ball = fall.ball_xyz_m / INCH_M
    on_deck = (ball[:, 0] > -30.0) & (ball[:, 0] < TAIL_M / INCH_M + 5.0)
    last = np.flatnonzero(~on_deck)
    ball = ball[: last[0]] if last.size else ball
    before = ball[0] - 14.0 * np.array([np.cos(np.radians(hit.angle_deg)),
                                        np.sin(np.radians(hit.angle_deg)), 0.0])
    path = np.vstack([before, ball])
    axes.plot(path[:, 0], path[:, 1], color="#b0402c", lw=2.4, ls=(0, (6, 2)), zorder=6,
              path_effects=halo(3.5))
    radius = hit.radius_m / INCH_M
    axes.add_patch(Circle((float(ball[0, 0]), float(ball[0, 1])), radius, fill=False,
                          edgecolor="#b0402c", lw=1.4, zorder=6))
    boards = np.arange(5, 40, 5)
    axes.set_yticks([(lane.board_to_y(b) - lane.HEAD_PIN_Y_M) / INCH_M for b in boards],
                    [str(b) for b in boards])
    axes.set(xlim=(-16, TAIL_M / INCH_M + 9), aspect="equal",
             ylim=(-KICKBACK_M / INCH_M - 1, KICKBACK_M / INCH_M + 1),
             xlabel="inches past the head pin's spot", ylabel="board, from the ball-arm side")
    axes.grid(False)
    return figure


def _deck(axes: Axes) -> None:
    half = lane.LANE_WIDTH_IN / 2.0
    wall, tail = KICKBACK_M / INCH_M, TAIL_M / INCH_M
    axes.add_patch(Rectangle((-40, -half), 40 + tail, 2 * half, facecolor=WOOD, edgecolor=FAINT,
                             lw=0.8, zorder=0.5))
    for sign in (-1, 1):
        axes.add_patch(Rectangle((-40, half if sign > 0 else -wall), 40 + tail, wall - half,
                                 facecolor=HAIR, edgecolor="none", zorder=0.4))
        axes.plot([-40, tail + 20], [sign * wall] * 2, color=INK, lw=2.5, zorder=1)
        axes.text(-15, sign * (half + wall) / 2, "gutter", va="center", fontsize=8, color=FAINT)
    axes.text(tail + 1.0, wall - 2.0, "pit", va="top", fontsize=8, color=FAINT)
