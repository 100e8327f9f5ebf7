"""Wear curves with the bands of the wear parameters, and the strikes, a row a ball."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..studies.findings import lost_today, of_wear
from .style import FAINT, INK, PAPER, halo, house_style, new_figure, series_style

if TYPE_CHECKING:
    from ..studies.wear import BallWear, WearResult


@house_style
def draw_wear(result: WearResult, *, title: str = "") -> Figure:
    """Boards lost since the finish was fresh, and by a refreshed ball against a new one; and, where
    the pins are known, every state's strike rate."""
    rows = len(result.balls)
    with_pins = all(s.pins_own_line for b in result.balls for s in b.standings)
    figure = new_figure(
        15.0 if with_pins else 10.5, 1.0 + 2.75 * rows, title or of_wear(result),
        subtitle=f"judged {result.today}"
        + (f", event {result.event}" if result.event else "")
        + f"; boards less hook at 59 ft on {result.pattern}, on the new ball's best line",
        note="Laws and parameters of wear are assumed; bands: middle 90 % over "
             f"{result.sets} sampled sets of them. Dotted: {result.allowed_boards:g} boards, the "
             "allowed loss.\nNegative: the ball hooks sooner than when fresh (a polished ball gets "
             "rougher)."
             + (f" Strikes: {result.shots} shots, {result.player}'s spread; bars: 95 % intervals."
                if with_pins else ""),
    )
    grid = figure.add_gridspec(rows, 2 + with_pins, width_ratios=[1.0, 1.0, 0.75][:2 + with_pins])
    for n, ball in enumerate(result.balls):
        left = figure.add_subplot(grid[n, 0])
        right = figure.add_subplot(grid[n, 1], sharey=left)
        if with_pins:
            highest = max(p.strike_high for b in result.balls for s in b.standings
                          for p in (s.pins_own_line, s.pins_new_line) if p is not None)
            axes = figure.add_subplot(grid[n, 2])
            _strikes(axes, ball, n == 0, n == rows - 1)
            axes.set_xlim(0, 105 * highest)
        _surface(left, ball, result.allowed_boards, n == rows - 1)
        _total(right, ball, result.allowed_boards, n == rows - 1)
        _frame(left, ball, result.allowed_boards)
    return figure


def _surface(axes: Axes, ball: BallWear, allowed: float, last: bool) -> None:
    _curve(axes, ball.surface_games, ball.lost_by_surface, 0, None)
    today = ball.standing("today").cover.games_since_surface
    _mark(axes, today, "today")
    _limits(axes, allowed)
    finish = ball.standing("new").cover.finish
    axes.set(title=f"{ball.ball.name}: the finish ({finish})", xlim=(0, ball.surface_games[-1]),
             ylabel="boards lost")
    if last:
        axes.set_xlabel("games since the surface was refreshed")


def _total(axes: Axes, ball: BallWear, allowed: float, last: bool) -> None:
    value, low, high = lost_today(ball)
    axes.errorbar(ball.total_games[0], value, [[value - low], [high - value]], fmt="D", color=INK,
                  markersize=6, capsize=3, elinewidth=1.4, zorder=5, clip_on=False,
                  label=f"today, as it is: {value:.1f}")
    _curve(axes, ball.total_games, ball.lost_refreshed, 1, "just refreshed")
    _curve(axes, ball.total_games, ball.lost_extracted, 2, "oil drawn out and refreshed")
    _limits(axes, allowed)
    axes.set(title=f"{ball.ball.name}: against a new one, from today on",
             xlim=(ball.total_games[0], ball.total_games[-1]))
    axes.tick_params(labelleft=True)
    axes.legend(loc="upper left")
    if last:
        axes.set_xlabel("games in all")


def _strikes(axes: Axes, ball: BallWear, first: bool, last: bool) -> None:
    """Strike rate of every state, on its own line and on the new ball's; pins per game beside."""
    for row, s in enumerate(ball.standings):
        for pins, up, marker, fill in ((s.pins_own_line, -0.13, "o", INK),
                                       (s.pins_new_line, 0.13, "s", PAPER)):
            assert pins is not None  # the panel is drawn only with pins
            rate = 100 * pins.strike_rate
            axes.errorbar(
                rate, row + up, xerr=[[rate - 100 * pins.strike_low],
                                      [100 * pins.strike_high - rate]],
                fmt=marker, color=INK, markerfacecolor=fill, markersize=5.5, elinewidth=1.2,
                capsize=2.5, label=("own line" if fill == INK else "new ball's line")
                if row == 0 else None)
        assert s.pins_own_line is not None
        axes.annotate(f"{s.pins_own_line.pins_per_game:.0f}", (1.0, row),
                      xycoords=("axes fraction", "data"), xytext=(4, 0),
                      textcoords="offset points", va="center", fontsize=8.5, annotation_clip=False)
    axes.set_yticks(range(len(ball.standings)), [s.state.replace(", ", ",\n")
                                                 for s in ball.standings])
    axes.set_ylim(len(ball.standings) - 0.5, -0.5 - 1.2 * first)
    axes.set_title("strikes; right: pins a game on its own line")
    if first:
        axes.legend(ncols=2, loc="upper left", fontsize=8)
    if last:
        axes.set_xlabel("strikes [%]")


def _curve(
    axes: Axes, games: np.ndarray, bands: np.ndarray, index: int, label: str | None
) -> None:
    style = series_style(index)
    axes.fill_between(games, bands[:, 1], bands[:, 2], color=style["color"], alpha=0.18, lw=0)
    for edge in (1, 2):
        axes.plot(games, bands[:, edge], color=style["color"], lw=0.6)
    axes.plot(games, bands[:, 0], label=label, **style)


def _mark(axes: Axes, games: float, word: str) -> None:
    axes.axvline(games, color=INK, lw=1.0)
    axes.annotate(f"{word}: {games:.0f}", (games, 0.03), xycoords=("data", "axes fraction"),
                  xytext=(4, 0), textcoords="offset points", fontsize=8, path_effects=halo())


def _limits(axes: Axes, allowed: float) -> None:
    for level in (allowed, -allowed):
        axes.axhline(level, color=FAINT, lw=1.1, ls=(0, (1, 2)))
    axes.axhline(0.0, color=FAINT, lw=0.8)


def _frame(axes: Axes, ball: BallWear, allowed: float) -> None:
    """Room for every band of both panels, and for the key above them."""
    every = np.concatenate([ball.lost_by_surface, ball.lost_refreshed, ball.lost_extracted,
                            [lost_today(ball)]])
    low = min(float(np.nanmin(every)), -1.2 * allowed)
    high = max(float(np.nanmax(every)), 1.2 * allowed)
    axes.set_ylim(low - 0.1 * (high - low), high + 0.35 * (high - low))
