"""The lane before and after, what changed, oil along the line of play, and the balls' reaction."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Normalize, TwoSlopeNorm
from matplotlib.figure import Figure

from ..lane.geometry import BOARDS, CELL_AREA_M2, GRID_ROWS
from ..stats import Rate
from ..studies.findings import of_transition
from ..units import MICRON_M, UL_M3
from .looks import looks
from .style import (
    INK,
    difference_colormap,
    halo,
    house_style,
    legend_name,
    line_halo,
    new_figure,
    oil_colormap,
    series_style,
)

if TYPE_CHECKING:
    from ..pins.outcomes import PinResult
    from ..studies.transition import Reaction, TransitionResult

_ADDED = 0.02  # share of the largest change from which a cell counts as oiled afresh
_FILM_UM = UL_M3 / CELL_AREA_M2 / MICRON_M  # film [um] of 1 uL in a cell


@house_style
def draw_transition(result: TransitionResult, entrant: int = 0) -> Figure:
    """Maps of the oil (mean of the lanes) and curves for one entrant.

    Parameters
    ----------
    result : a play.
    entrant : index of the entrant whose line and balls are drawn.
    """
    who = result.entrants[entrant]
    shots = result.shots_per_lane[-1].mean()
    lanes = result.shots_per_lane.shape[1]
    with_pins = all(r.pins_moved is not None for r in result.reactions)
    figure = new_figure(
        13.0, 10.6 if with_pins else 8.6,
        of_transition(result, entrant),
        subtitle=f"{result.pattern.name}, {_count(result.games, 'game')} of "
        f"{_count(len(result.entrants), 'player')}; {shots:.0f} first balls on "
        + ("each of 2 lanes; " if lanes > 1 else "the lane; ")
        + ("all move with the oil" if result.follow else "nobody moves")
        + f"; line and balls of {who.name} ({who.ball.name}), {who.player.spread_source}",
        note="How much a shot takes is calibrated to one published figure; swath and share laid "
             "down again are assumed. Balls wiped dry, spare balls left out.\n"
             "Bars: 95 % intervals of the shots. Board 1 at the right edge of the lane.",
    )
    halves = figure.add_gridspec(1, 2, width_ratios=(1.15, 1.0))
    grid = halves[0].subgridspec(3, 1)
    right = halves[1].subgridspec(3 + with_pins, 1,
                                  height_ratios=[1.0, 1.0, 1.2, 1.1][:3 + with_pins])
    before = result.lane_volume_ul(0) * _FILM_UM
    after = result.lane_volume_ul(result.games) * _FILM_UM
    top = max(float(before.max()), float(after.max()), 1e-6)
    change = after - before
    reach = max(float(np.abs(change).max()), 1e-6)
    panels: tuple[tuple[str, np.ndarray, Any, Any], ...] = (
        ("Before", before, oil_colormap(), Normalize(0.0, top)),
        (f"After {_count(result.games, 'game')}", after, oil_colormap(), Normalize(0.0, top)),
        ("What changed" + ("; dashed: oil added" if (change > _ADDED * reach).any() else ""),
         change, difference_colormap(), TwoSlopeNorm(0.0, -reach, reach)),
    )
    hand = who.player.release.hand
    path = result.path_board[entrant]
    drawn = (path if hand == "right" else BOARDS + 1 - path)[:GRID_ROWS]  # to the pins
    for row, (title, values, colors, norm) in enumerate(panels):
        axes = figure.add_subplot(grid[row])
        mesh = axes.pcolormesh(np.arange(GRID_ROWS + 1), np.arange(BOARDS + 1) + 0.5, values.T,
                               cmap=colors, norm=norm, rasterized=True)
        axes.plot(np.arange(len(drawn)), drawn, color=INK, lw=1.4, path_effects=line_halo(1.4))
        axes.axvline(result.pattern.length_ft, color=INK, lw=0.8, ls=(0, (4, 2)))
        if row == 2:
            _outline_added(axes, values, reach)
            axes.set_xlabel("distance from the foul line [ft]")
        else:
            axes.tick_params(labelbottom=False)
        axes.set(title=title, xlim=(0, GRID_ROWS), ylim=(0.5, BOARDS + 0.5))
        axes.set_yticks((1, 5, 10, 15, 20, 25, 30, 35, 39))
        axes.set_ylabel("board")
        axes.grid(False)
        figure.colorbar(mesh, ax=axes, label="change of film [um]" if row == 2 else "film [um]",
                        pad=0.01)
    axes.annotate("first line", (2, drawn[2]), textcoords="offset points", xytext=(0, -12),
                  fontsize=8, path_effects=halo())
    _line(figure.add_subplot(right[0]), result, entrant)
    _shares(figure.add_subplot(right[1]), result, entrant)
    _pockets(figure.add_subplot(right[2]), result, entrant)
    if with_pins:
        _strikes(figure.add_subplot(right[3]), result, entrant)
    return figure


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'s' * (number != 1)}"


def _outline_added(axes: Axes, values: np.ndarray, reach: float) -> None:
    """Outline where oil was added: a grey print cannot tell the two signs apart."""
    added = values > _ADDED * reach
    if added.any():
        axes.contour(np.arange(GRID_ROWS) + 0.5, np.arange(BOARDS) + 1.0, added.T.astype(float),
                     levels=[0.5], colors=INK, linewidths=0.7, linestyles="dashed")


def _line(axes: Axes, result: TransitionResult, entrant: int) -> None:
    feet = np.arange(GRID_ROWS) + 0.5
    shown = sorted({round(g) for g in np.linspace(0, result.games, min(result.games + 1, 6))})
    for n, game in enumerate(shown):
        axes.plot(feet, result.line_film_um(entrant, game), label="fresh" if game == 0
                  else f"after {game}", **series_style(n))
    axes.set(title="Oil along the first line, five boards wide", xlim=(0, GRID_ROWS),
             xlabel="distance from the foul line [ft]", ylabel="mean film [um]")
    axes.set_ylim(bottom=0)
    axes.legend(ncols=2)


def _shares(axes: Axes, result: TransitionResult, entrant: int) -> None:
    games = np.arange(result.games + 1)
    axes.plot(games, 100 * result.line_left[entrant], label="left on the first line",
              **series_style(0, markers=True))
    lane = result.lane_ml.mean(axis=1)
    axes.plot(games, 100 * lane / lane[0], label="left on the lane",
              **series_style(1, markers=True))
    axes.set(title="Oil left, and oil carried beyond the pattern", xlabel="games played",
             ylabel="left [%]", ylim=(0, 105))
    axes.set_xticks(games)
    beyond = axes.twinx()
    beyond.plot(games, 1000 * result.beyond_ml.mean(axis=1),
                label=f"beyond {result.pattern.length_ft:g} ft (right scale)",
                **series_style(2, markers=True))
    beyond.set_ylabel("beyond the pattern [uL a lane]")
    beyond.set_ylim(bottom=0)
    beyond.grid(False)
    beyond.spines["right"].set_visible(True)
    lines = [*axes.get_lines(), *beyond.get_lines()]
    axes.legend(lines, [str(line.get_label()) for line in lines], loc="lower right")


def _pockets(axes: Axes, result: TransitionResult, entrant: int) -> None:
    own = _reactions(
        axes, result, entrant, [lambda r: r.pocket_moved, lambda r: r.pocket],
        lambda r: f"{r.move.feet:+g}/{r.move.target:+g}" if r.move.feet or r.move.target else "")
    axes.set(title=f"Pocket rate (numbers: {own}'s move, feet/target)", ylabel="pocket [%]")
    axes.legend(ncols=2, loc="upper left", fontsize=7.5)


def _strikes(axes: Axes, result: TransitionResult, entrant: int) -> None:
    def rate(pins: PinResult | None) -> Rate:
        assert pins is not None  # the panel is drawn only with pins
        return Rate(pins.strike_rate * pins.shots, pins.shots, pins.strike_rate, pins.strike_low,
                    pins.strike_high)

    own = _reactions(
        axes, result, entrant, [lambda r: rate(r.pins_moved), lambda r: rate(r.pins)],
        lambda r: f"{r.pins_moved.pins_per_game:.0f}" if r.pins_moved else "")
    axes.set(title=f"Strike rate (numbers: pins a game, {own} moved)", ylabel="strikes [%]")


def _reactions(
    axes: Axes, result: TransitionResult, entrant: int,
    rates: Sequence[Callable[[Reaction], Rate]], words: Callable[[Reaction], str],
) -> str:
    """Two rates, moved and on the first line (own ball only), with words above; the own ball."""
    name = result.entrants[entrant].name
    mine = [r for r in result.reactions if r.entrant == name]
    balls = list(dict.fromkeys(r.ball for r in mine))
    seen = looks(balls)
    for n, ball in enumerate(balls):
        rows = [r for r in mine if r.ball == ball]
        games = np.array([r.games for r in rows]) + 0.08 * (n - (len(balls) - 1) / 2)
        moved, stayed = ([of(r) for r in rows] for of in rates)
        rate = np.array([100 * r.rate for r in moved])
        low = rate - [100 * r.low for r in moved]
        high = np.array([100 * r.high for r in moved]) - rate
        style = seen[n].line(markers=True)
        axes.errorbar(games, rate, (low, high), label=f"{legend_name(ball)}, moved", capsize=2,
                      lw=1.6, elinewidth=0.8, **style)
        if n == 0:
            axes.plot(games, [100 * r.rate for r in stayed], color=style["color"], lw=1.0,
                      ls=(0, (1, 1.5)), marker=style["marker"], markerfacecolor="none",
                      markeredgecolor=style["color"], label=f"{legend_name(ball)}, first line")
            for r in rows:
                axes.annotate(words(r), (r.games, 0.63), xycoords=("data", "axes fraction"),
                              ha="center", fontsize=8)
    axes.set_xlabel("games played")
    top = axes.get_ylim()[1] * 1.75  # room for the words, and the key above them
    axes.set_ylim(0, top)
    axes.set_yticks([t for t in axes.get_yticks() if 0.0 <= t <= min(top, 100.0)])
    axes.set_xticks(np.arange(result.games + 1))
    return balls[0]
