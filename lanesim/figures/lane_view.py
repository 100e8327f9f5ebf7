"""The lane from above: the oil on it, and paths over the oil with skid, hook and roll marked.

The foul line is at the left, the pins at the right, and the right edge of the lane at the bottom,
as if the reader walked to the right: a right-hander's board 1 is the lowest, a left-hander's the
highest. A lane is 17 times longer than wide, so its width is drawn STRETCH times too wide, pins
and ball included; the figure says so.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse, Polygon, Rectangle
from numpy.typing import NDArray

from ..lane.geometry import (
    ARROW_BOARDS,
    BALL_RADIUS_M,
    BOARD_M,
    BOARDS,
    GRID_ROWS,
    PIN_PROFILE_IN,
    arrow_distance_ft,
    pin_positions_m,
    y_to_board,
)
from ..lane.pattern import OilPattern
from ..units import FOOT_M, INCH_M
from .looks import Look, look_of, looks, looks_by_lane
from .style import (
    FAINT,
    HAIR,
    INK,
    PAPER,
    PIN_WHITE,
    WOOD,
    halo,
    house_style,
    line_halo,
    new_figure,
    oil_colormap,
    series_style,
)

if TYPE_CHECKING:
    from ..motion.trajectory import Trajectory

STRETCH = 5  # the lane's width is drawn so many times too wide
NEAR_FT, FAR_FT = -1.0, 63.6  # what is shown along the lane: foul line to behind the last pins
GUTTER_SHOWN = 3.0  # boards' widths of each gutter that are drawn
BOARD_FT = BOARD_M / FOOT_M
_IN_PER_FT = 0.165  # inches of paper per foot of lane
LANE_WIDE_IN = (FAR_FT - NEAR_FT) * _IN_PER_FT
LANE_HIGH_IN = (BOARDS + 2 * GUTTER_SHOWN) * BOARD_FT * STRETCH * _IN_PER_FT
_PIN_FT = max(d for _, d in PIN_PROFILE_IN) * INCH_M / FOOT_M
_BALL_FT = 2 * BALL_RADIUS_M / FOOT_M

# How the three phases of the path are drawn: dash and width, readable without colour.
PHASES: tuple[tuple[str, Any, float], ...] = (
    ("skid", (0, (1.1, 1.1)), 2.2),
    ("hook", (0, (5.0, 1.6)), 2.3),
    ("roll", "-", 2.6),
)


def player_board_to_drawn(board: Any, hand: str) -> Any:
    """Height in the drawing, in boards from the RIGHT edge, of a board the player counts."""
    return board if hand == "right" else BOARDS + 1 - board


def film_ceiling_um(patterns: Sequence[OilPattern]) -> float:
    """Top of the colour scale [um]: the thickest film of all, rounded up to a half."""
    thickest = max(float(p.film_m().max()) for p in patterns) * 1e6
    return max(0.5, math.ceil(thickest * 2.0) / 2.0)


def draw_lane(
    figure: Figure,
    left_in: float,
    bottom_in: float,
    pattern: OilPattern,
    *,
    hand: str = "right",
    ceiling_um: float | None = None,
    distance_label: bool = True,
) -> Axes:
    """Put a lane with its oil on `figure`, lower left corner at (left_in, bottom_in) inches.

    The size is fixed (LANE_WIDE_IN by LANE_HIGH_IN), so that the stretch is exact.

    Returns
    -------
    Axes
        x in feet from the foul line, y in boards from the RIGHT edge (board b at y = b).
    """
    wide, high = figure.get_size_inches()
    axes = figure.add_axes((left_in / wide, bottom_in / high, LANE_WIDE_IN / wide,
                            LANE_HIGH_IN / high))
    bottom, top = 0.5 - GUTTER_SHOWN, BOARDS + 0.5 + GUTTER_SHOWN
    axes.set(xlim=(NEAR_FT, FAR_FT), ylim=(bottom, top))
    axes.grid(False)
    axes.set_facecolor(PAPER)
    for spine in axes.spines.values():
        spine.set_visible(False)
    for edge in (bottom, BOARDS + 0.5):
        axes.add_patch(Rectangle((0, edge), FAR_FT, GUTTER_SHOWN, facecolor="#d9d6cf", lw=0))
    axes.add_patch(Rectangle((0, 0.5), FAR_FT, BOARDS, facecolor=WOOD, lw=0))

    film_um = pattern.film_m("right") * 1e6
    ceiling = ceiling_um or film_ceiling_um([pattern])
    axes.imshow(film_um.T, origin="lower", extent=(0, GRID_ROWS, 0.5, BOARDS + 0.5),
                cmap=oil_colormap(), vmin=0.0, vmax=ceiling, interpolation="nearest",
                aspect="auto", zorder=1)
    for board in range(1, BOARDS):
        major = board % 5 == 0
        axes.plot([0, FAR_FT], [board + 0.5] * 2, color=INK, lw=0.4,
                  alpha=0.10 if not major else 0.0, zorder=1.5)
    for board in ARROW_BOARDS:
        axes.plot([0, FAR_FT], [board] * 2, color=INK, lw=0.5, alpha=0.30, zorder=1.5)
        _arrow(axes, board)
    for edge in (0.5, BOARDS + 0.5):
        axes.plot([0, FAR_FT], [edge] * 2, color=FAINT, lw=0.9, zorder=2)
    axes.plot([0, 0], [0.5, BOARDS + 0.5], color=INK, lw=2.2, solid_capstyle="butt", zorder=2)
    if pattern.length_ft:
        axes.plot([pattern.length_ft] * 2, [0.5, BOARDS + 0.5], color=INK, lw=1.0,
                  ls=(0, (2, 2)), zorder=2)
        axes.text(pattern.length_ft, BOARDS + 0.9, f"oil ends, {pattern.length_ft:g} ft",
                  ha="center", va="bottom", fontsize=7.5, color=INK)
    for _, x_m, y_m in pin_positions_m():
        axes.add_patch(Ellipse((x_m / FOOT_M, y_to_board(y_m)), _PIN_FT, _PIN_FT / BOARD_FT,
                               facecolor=PIN_WHITE, edgecolor=INK, lw=0.9, zorder=4))

    ticks = [1, *ARROW_BOARDS, BOARDS]
    axes.set_yticks([player_board_to_drawn(b, hand) for b in ticks], [str(b) for b in ticks])
    axes.tick_params(axis="y", length=0, pad=1)
    axes.set_ylabel(f"board, counted from the {hand}")
    axes.set_xticks(range(0, 61, 5))
    axes.tick_params(axis="x", length=3, pad=2)
    if distance_label:
        axes.set_xlabel("distance from the foul line [ft]", labelpad=2)
    return axes


def _arrow(axes: Axes, board: int) -> None:
    """A dart on the lane, pointing at the pins; about 6 in long and 1 1/4 in wide."""
    tip = arrow_distance_ft(board)
    half_boards = 0.6
    axes.add_patch(Polygon([(tip, board), (tip - 0.55, board + half_boards),
                            (tip - 0.4, board), (tip - 0.55, board - half_boards)],
                           facecolor=INK, edgecolor=PAPER, lw=0.4, zorder=3))


def _film_scale(figure: Figure, left_in: float, bottom_in: float, tall_in: float,
                ceiling_um: float) -> None:
    wide, high = figure.get_size_inches()
    axes = figure.add_axes((left_in / wide, bottom_in / high, 0.13 / wide, tall_in / high))
    bar = figure.colorbar(ScalarMappable(Normalize(0, ceiling_um), oil_colormap()), cax=axes)
    bar.set_label("oil film [µm]")
    bar.outline.set_edgecolor(FAINT)
    bar.outline.set_linewidth(0.6)


def _stretch_note(more: str = "") -> str:
    text = (f"Lane width, pins and ball drawn {STRETCH} times too wide for their length; "
            "angles look steeper than they are.")
    return f"{text} {more}".strip()


def _pattern_line(pattern: OilPattern) -> str:
    if not pattern.length_ft:
        return "no oil"
    return (f"{pattern.length_ft:g} ft, {pattern.total_ml:.1f} mL, mean film "
            f"{pattern.mean_film_um:.2f} µm ({pattern.mean_units:.1f} units), centre to outside "
            f"{pattern.ratio_left:.1f}:1 left, {pattern.ratio_right:.1f}:1 right")


def _invented_note(pattern: OilPattern) -> str:
    return "Invented pattern, never measured on a lane." if pattern.invented else ""


@house_style
def draw_oil_map(pattern: OilPattern, *, hand: str = "right") -> Figure:
    """The oil of a pattern: from above, foot by foot down the lane, and across it.

    Parameters
    ----------
    pattern : OilPattern
    hand : {"right", "left"}
        From which edge the boards are numbered.
    """
    left, bottom, panel_high = 0.75, 0.75, 1.65
    lane_bottom = bottom + panel_high + 0.95
    wide, high = left + LANE_WIDE_IN + 1.05, lane_bottom + LANE_HIGH_IN + 0.85
    figure = new_figure(wide, high, pattern.title, subtitle=_pattern_line(pattern),
                        note=_stretch_note(_invented_note(pattern)), layout=None)
    ceiling = film_ceiling_um([pattern])
    draw_lane(figure, left, lane_bottom, pattern, hand=hand)
    _film_scale(figure, left + LANE_WIDE_IN + 0.2, lane_bottom, LANE_HIGH_IN, ceiling)

    split = 0.56 * LANE_WIDE_IN
    foul_in = left - NEAR_FT * _IN_PER_FT
    down = figure.add_axes((foul_in / wide, bottom / high, split / wide, panel_high / high))
    outside = (3, 7) if hand == "right" else (33, 37)
    for index, (words, boards) in enumerate((("the five middle boards", (18, 22)),
                                             ("boards 3 to 7", outside))):
        down.stairs(pattern.units_by_foot(*boards), np.arange(GRID_ROWS + 1.0), fill=False,
                    label=words, **series_style(index))
    down.legend(loc="upper right", fontsize=7.5, borderpad=0.3, labelspacing=0.25)
    down.set(xlim=(0, 60), ylim=(0, None), xlabel="distance from the foul line [ft]",
             ylabel="oil [units]", title="Down the lane, front to back")
    across_left = foul_in + split + 0.8
    across = figure.add_axes((across_left / wide, bottom / high,
                              (left + LANE_WIDE_IN - across_left + 0.75) / wide,
                              panel_high / high))
    length = int(pattern.length_ft)
    cuts = [round(length * k / 3) for k in range(4)]
    numbers = np.arange(1, BOARDS + 1)
    for index, (start, end) in enumerate(itertools.pairwise(cuts)):
        if end > start:
            across.plot(numbers, player_order(pattern.film_by_board_um(start, end), hand),
                        **series_style(index), label=f"{start}-{end} ft")
    if length:
        across.legend(loc="upper right", fontsize=7.5, borderpad=0.3, labelspacing=0.25)
    across.set(xlim=(1, BOARDS), ylim=(0, ceiling), ylabel="mean film [µm]",
               xlabel=f"board, counted from the {hand}", title="Across the lane, by thirds")
    # The board that the player counts first stands on the player's own side.
    across.set_xticks([1, *ARROW_BOARDS, BOARDS])
    if hand == "right":
        across.invert_xaxis()
    return figure


def player_order(by_board: NDArray[np.float64], hand: str) -> NDArray[np.float64]:
    """Values by board from the right, put in the order in which the player counts."""
    return by_board if hand == "right" else by_board[::-1]


# --- paths ---------------------------------------------------------------------------------


def phase_pieces(trajectory: Trajectory) -> list[tuple[str, NDArray[Any], NDArray[Any]]]:
    """The path cut at the start of the hook and of the roll: (phase, x [ft], board) each.

    A phase that never came is left out; neighbouring pieces share their end point.
    """
    x, board = np.asarray(trajectory.x_ft), np.asarray(trajectory.y_board)
    end = float(x[-1])
    hook, roll = (min(v, end) if math.isfinite(v) else end
                  for v in (float(trajectory.hook_ft), float(trajectory.roll_ft)))
    cuts = [float(x[0]), min(hook, roll), roll, end]
    pieces = []
    for (phase, _, _), a, b in zip(PHASES, cuts[:-1], cuts[1:], strict=True):
        if b > a:
            inside = x[(x > a) & (x < b)]
            along = np.concatenate([[a], inside, [b]])
            pieces.append((phase, along, np.interp(along, x, board)))
    return pieces


def draw_path(
    axes: Axes, trajectory: Trajectory, *, look: Look | None = None, markers: bool = True,
) -> None:
    """Draw one path on a lane from `draw_lane`: dash by phase, signs where phases begin."""
    look = look or look_of("")
    color, marker = look.color, look.marker
    hand = trajectory.hand
    looks = {phase: (dash, width) for phase, dash, width in PHASES}
    pieces = phase_pieces(trajectory)
    # One rim under the whole path, so that the gaps of a dash do not lose it.
    x = np.concatenate([p[1] for p in pieces])
    y = player_board_to_drawn(np.concatenate([p[2] for p in pieces]), hand)
    axes.plot(x, y, color=PAPER, lw=4.4, alpha=0.85, solid_capstyle="round", zorder=5)
    for phase, along, board in pieces:
        dash, width = looks[phase]
        axes.plot(along, player_board_to_drawn(board, hand), color=color, ls=dash, lw=width,
                  solid_capstyle="round", dash_capstyle="butt", zorder=6)
    if not markers:
        return
    end = float(np.asarray(trajectory.x_ft)[-1])
    for at, face in ((trajectory.hook_ft, PAPER), (trajectory.roll_ft, color)):
        if math.isfinite(at) and at <= end:
            board = np.interp(at, trajectory.x_ft, trajectory.y_board)
            axes.plot([at], [player_board_to_drawn(board, hand)], marker=marker, ms=7,
                      mfc=face, mec=color, mew=1.6, ls="none", zorder=7,
                      path_effects=line_halo(1.6, 0.8))
    out = player_board_to_drawn(trajectory.breakpoint_board, hand)
    axes.plot([trajectory.breakpoint_ft], [out], marker="x", ms=6.5, mew=3.8, color=PAPER,
              zorder=7, ls="none")
    axes.plot([trajectory.breakpoint_ft], [out], marker="x", ms=6, mew=1.9, color=color,
              zorder=7.1, ls="none")
    last = player_board_to_drawn(float(np.asarray(trajectory.y_board)[-1]), hand)
    axes.add_patch(Ellipse((end, last), _BALL_FT, _BALL_FT / BOARD_FT, facecolor="none",
                           edgecolor=color, lw=1.6, zorder=6, path_effects=line_halo(1.6, 0.8)))


def _phase_key() -> list[Line2D]:
    """Legend entries that explain dashes and signs, in ink."""
    keys = [Line2D([], [], color=INK, ls=dash, lw=width, label=phase)
            for phase, dash, width in PHASES]
    sign: dict[str, Any] = {"ls": "none", "color": INK, "ms": 7}
    keys.append(Line2D([], [], marker="o", mfc=PAPER, mew=1.6, label="hook begins", **sign))
    keys.append(Line2D([], [], marker="o", label="roll begins", **sign))
    keys.append(Line2D([], [], marker="x", mew=1.9, label="breakpoint", **sign))
    return keys


def path_words(trajectory: Trajectory) -> list[str]:
    """What happened, in short lines for the margin of a figure."""

    def feet(value: float, never: str) -> str:
        return f"{value:.1f} ft" if math.isfinite(value) else never

    lines = [
        f"hook begins {feet(trajectory.hook_ft, 'never')}",
        f"roll begins {feet(trajectory.roll_ft, 'never')}",
        f"breakpoint board {trajectory.breakpoint_board:.1f} at {trajectory.breakpoint_ft:.1f} ft",
    ]
    if math.isfinite(trajectory.entry_board):
        lines.append(f"entry board {trajectory.entry_board:.1f}, "
                     f"{trajectory.entry_angle_deg:.1f}°, {trajectory.entry_speed_mph:.1f} mph")
    lines.append(f"outcome: {trajectory.outcome}")
    return lines


@house_style
def draw_paths(
    trajectories: Sequence[Trajectory],
    pattern: OilPattern,
    labels: Sequence[str] | None = None,
    *,
    title: str = "",
    note: str = "",
    room_in: float = 0.0,
) -> Figure:
    """One or more paths over the oil of one pattern.

    Parameters
    ----------
    trajectories : sequence of Trajectory
        Thrown by players of the same hand (boards are numbered for the first).
    pattern : OilPattern
    labels : sequence of str, optional
        One for each path.
    title, note : str
        Heading (default: the pattern's title) and small print.
    room_in : float
        Left free above the small print, for the caller [in].
    """
    if not trajectories:
        raise ValueError("no path to draw")
    names = _labels(trajectories, labels)
    seen = looks([t.ball for t in trajectories])
    left, bottom = 0.75, 0.75 + room_in
    blocks = math.ceil(len(trajectories) / 4)
    foot_in = 1.05 * blocks  # the words under the lane
    lane_bottom = bottom + foot_in + 0.25
    wide, high = left + LANE_WIDE_IN + 1.05, lane_bottom + LANE_HIGH_IN + 1.2
    oil = _pattern_line(pattern)
    small_print = [_stretch_note(_invented_note(pattern)), note]
    figure = new_figure(wide, high, title or pattern.title,
                        subtitle=f"{pattern.title}: {oil}" if title else oil,
                        note="\n".join(filter(None, small_print)), layout=None)
    hand = trajectories[0].hand
    axes = draw_lane(figure, left, lane_bottom, pattern, hand=hand)
    _film_scale(figure, left + LANE_WIDE_IN + 0.2, lane_bottom, LANE_HIGH_IN,
                film_ceiling_um([pattern]))
    for index, trajectory in enumerate(trajectories):
        draw_path(axes, trajectory, look=seen[index])
    _key(figure, wide, high, left, lane_bottom + LANE_HIGH_IN + 0.2)
    column = (wide - left - 0.2) / min(4, len(trajectories)) if len(trajectories) > 1 else wide
    for index, (trajectory, name) in enumerate(zip(trajectories, names, strict=True)):
        x_in = left + (index % 4) * column
        y_in = bottom + foot_in - 0.35 - 1.05 * (index // 4)
        _words(figure, x_in, y_in, name, trajectory, seen[index])
    return figure


@house_style
def draw_side_by_side(
    shots: Sequence[tuple[Trajectory, OilPattern]],
    labels: Sequence[str] | None = None,
    *,
    title: str = "",
    note: str = "",
    room_in: float = 0.0,
) -> Figure:
    """One lane a pattern, one under the other, to the same scale of feet and of colour.

    Every lane has the paths thrown on it. Where that is one each, the first is repeated, thin, on
    the other lanes to compare with.

    Parameters
    ----------
    shots : sequence of (Trajectory, OilPattern)
    labels : sequence of str, optional
        One for each lane; default: the patterns' titles.
    room_in : float
        Left free above the small print, for the caller [in].
    """
    if not shots:
        raise ValueError("no path to draw")
    names = list(labels) if labels else [pattern.title for _, pattern in shots]
    seen = looks_by_lane([t.ball for t, _ in shots], [p.name for _, p in shots])
    lanes: dict[str, list[int]] = {}
    for index, (_, pattern) in enumerate(shots):
        lanes.setdefault(pattern.name, []).append(index)
    columns = math.ceil(max(len(mine) for mine in lanes.values()) / 3)
    alone = all(len(mine) == 1 for mine in lanes.values())
    left, bottom, gap, words_wide = 0.75, 0.85 + room_in, 0.62, 2.55
    count = len(lanes)
    wide = left + LANE_WIDE_IN + 0.2 + words_wide * columns
    high = bottom + count * LANE_HIGH_IN + (count - 1) * gap + 0.95
    figure = new_figure(wide, high, title or " and ".join(names),
                        note="\n".join(filter(None, [_stretch_note(), note])), layout=None)
    ceiling = film_ceiling_um([pattern for _, pattern in shots])
    words_left = left + LANE_WIDE_IN + 0.2
    for row, mine in enumerate(lanes.values()):
        y_in = bottom + (count - 1 - row) * (LANE_HIGH_IN + gap)
        first, pattern = shots[mine[0]]
        axes = draw_lane(figure, left, y_in, pattern, hand=first.hand,
                         ceiling_um=ceiling, distance_label=row == count - 1)
        if row and alone:
            first = shots[0][0]
            axes.plot(first.x_ft, player_board_to_drawn(np.asarray(first.y_board),
                                                        first.hand),
                      color=INK, lw=1.0, zorder=4.5, path_effects=halo(2.0))
        below = f"{pattern.length_ft:g} ft, {pattern.total_ml:.1f} mL"
        if row and alone:
            below += f"\nthin line: {names[0]}"
        figure.text(words_left / wide, (y_in + 0.42 * (alone and row > 0) + 0.12) / high,
                    below if alone else f"{pattern.title}: {below}", fontsize=8.5, color=FAINT,
                    va="top" if alone and row else "bottom")
        for n, index in enumerate(mine):
            trajectory = shots[index][0]
            draw_path(axes, trajectory, look=seen[index])
            _words(figure, words_left + words_wide * (n // 3),
                   y_in + LANE_HIGH_IN - 0.05 - 1.02 * (n % 3), names[index], trajectory,
                   seen[index])
    _key(figure, wide, high, left, bottom + count * LANE_HIGH_IN + (count - 1) * gap + 0.2)
    scale = figure.add_axes(((left + LANE_WIDE_IN + 0.25) / wide, (bottom - 0.28) / high,
                             1.9 / wide, 0.12 / high))
    bar = figure.colorbar(ScalarMappable(Normalize(0, ceiling), oil_colormap()), cax=scale,
                          orientation="horizontal")
    bar.set_label("oil film [µm]", labelpad=1)
    bar.outline.set_edgecolor(HAIR)
    return figure


def _labels(trajectories: Sequence[Trajectory], labels: Sequence[str] | None) -> list[str]:
    if labels is None:
        return [f"shot {i + 1}" for i in range(len(trajectories))]
    if len(labels) != len(trajectories):
        raise ValueError(f"{len(labels)} labels for {len(trajectories)} paths")
    return list(labels)


def _key(figure: Figure, wide: float, high: float, left_in: float, bottom_in: float) -> None:
    figure.legend(handles=_phase_key(), loc="lower left", ncols=6, frameon=False, fontsize=8.5,
                  bbox_to_anchor=(left_in / wide, bottom_in / high), borderaxespad=0.0,
                  borderpad=0.0, columnspacing=1.6, handlelength=2.6)


def _words(figure: Figure, x_in: float, y_in: float, name: str, trajectory: Trajectory,
           look: Look) -> None:
    """A path's name with its sign, and what happened, as text; top left at (x_in, y_in) inches."""
    wide, high = figure.get_size_inches()
    figure.add_artist(Line2D([(x_in + 0.07) / wide], [(y_in - 0.07) / high], color=look.color,
                             marker=look.marker, ms=7, ls="none"))
    figure.text((x_in + 0.2) / wide, y_in / high, name, fontsize=9.5, fontweight="bold", va="top")
    figure.text((x_in + 0.2) / wide, (y_in - 0.2) / high, "\n".join(path_words(trajectory)),
                fontsize=8.5, va="top", linespacing=1.3)
