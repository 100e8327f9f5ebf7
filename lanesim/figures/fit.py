"""Pictures of a fit: what the shots say of each parameter, how they go together, how it fits."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..fit.posterior import NORMAL_95
from ..fit.result import FitResult
from .looks import looks
from .style import FAINT, INK, SERIES, difference_colormap, house_style, legend_name, new_figure

_SAYS_NOTHING = 0.9


@house_style
def draw_fit(result: FitResult, *, title: str = "", note: str = "") -> Figure:
    """Four panels: parameters and priors, correlations, measured against predicted, errors.

    Parameters
    ----------
    result : from fit.fit_shots.
    title, note : heading and small print; sensible ones if empty.
    """
    count = len(result.terms)
    figure = new_figure(
        11.5, 6.4 + 0.28 * max(count - 5, 0), title or result.fitted_to.capitalize(),
        subtitle=result.source,
        note=note or "Grey bar: 95 % of the assumed prior. Black: estimate and 95 % interval. "
        "Measuring errors and priors are assumptions; see --json for all of them.")
    grid = figure.add_gridspec(2, 2, width_ratios=(1.35, 1.0), height_ratios=(1.0, 0.95))
    _parameters(figure.add_subplot(grid[0, 0]), result)
    _correlations(figure.add_subplot(grid[0, 1]), result)
    _measured(figure.add_subplot(grid[1, 0]), result)
    _errors(figure.add_subplot(grid[1, 1]), result)
    return figure


def _words(label: str) -> str:
    return label.replace("_", " ")


def _parameters(axes: Axes, result: FitResult) -> None:
    count = len(result.terms)
    places = np.arange(count)[::-1]
    sd, z = result.sd_share, result.z[:count]
    axes.barh(places, np.full(count, 2 * NORMAL_95), left=-NORMAL_95, height=0.56, color="#dcd9d1",
              edgecolor=FAINT, linewidth=0.6, zorder=1)
    axes.axvline(0.0, color=FAINT, lw=0.8, zorder=1.5)
    axes.errorbar(z, places, xerr=NORMAL_95 * sd, fmt="o", color=INK, ms=5, capsize=3,
                  lw=1.6, zorder=3)
    edge = max(3.1, float(np.max(np.abs(z) + NORMAL_95 * sd)) + 0.3)
    axes.set_xlim(-edge, edge + 3.6)
    for i, term in enumerate(result.terms):
        unit = term.parameter.unit
        lead = "" if term.parameter.is_factor else "+" if result.estimate[i] >= 0 else ""
        text = (f"×{result.estimate[i]:.2f}  ({result.low[i]:.2f} to {result.high[i]:.2f})"
                if term.parameter.is_factor else
                f"{lead}{result.estimate[i]:.2f} {unit}  ({result.low[i]:.2f} to "
                f"{result.high[i]:.2f})")
        if sd[i] > _SAYS_NOTHING:
            text += "  not seen"
        axes.text(edge + 0.1, places[i], text, va="center", fontsize=8)
    axes.set_yticks(places, [_words(n) for n in result.labels])
    axes.set_ylim(-0.6, count - 0.4)
    axes.set_xticks([t for t in range(-6, 7) if abs(t) <= edge])
    axes.set_xlabel("prior SDs from the assumed default")
    axes.grid(axis="y", visible=False)
    axes.set_title("What the shots say")


def _correlations(axes: Axes, result: FitResult) -> None:
    count = len(result.terms)
    axes.imshow(result.correlation, cmap=difference_colormap(), vmin=-1, vmax=1, aspect="auto")
    for i in range(count):
        for j in range(count):
            value = round(float(result.correlation[i, j]), 2) + 0.0  # no "-0.00"
            axes.text(j, i, f"{value:+.2f}" if i != j else "1", ha="center", va="center",
                      fontsize=7.5 if count < 9 else 6,
                      color="white" if abs(value) > 0.75 else INK)
    numbers = [str(i + 1) for i in range(count)]
    axes.set_xticks(range(count), numbers)
    axes.set_yticks(range(count), [f"{n} {_words(result.labels[i])}"
                                   for i, n in enumerate(numbers)])
    axes.grid(visible=False)
    axes.tick_params(length=0)
    axes.set_title("Correlation of the estimates")


def _main_column(result: FitResult) -> int:
    """The column nearest the pins with most values: the one that strikes depend on."""
    seen = np.sum(np.isfinite(result.residual), axis=0)
    order = [n for n in ("entry_board", "breakpoint_board", "entry_angle_deg", "speed_pins_mph")
             if n in result.columns]
    boards = [n for n in result.columns if n.startswith("board_at_")]
    for name in [*order[:1], *reversed(boards), *order[1:], *result.columns]:
        if seen[result.columns.index(name)] > 0:
            return result.columns.index(name)
    return 0


def _measured(axes: Axes, result: FitResult) -> None:
    if not result.columns:
        axes.text(0.5, 0.5, "only outcomes were recorded", ha="center", transform=axes.transAxes)
        axes.set_axis_off()
        return
    c = _main_column(result)
    balls = sorted(set(result.shot_ball))
    seen = looks(balls)
    for n, ball in enumerate(balls):
        mine = np.array([b == ball for b in result.shot_ball])
        color, marker = seen[n].color, seen[n].marker
        axes.plot(result.predicted[mine, c], result.measured[mine, c], ls="none", marker=marker,
                  color=color, ms=5, label=legend_name(ball), markeredgecolor="white",
                  markeredgewidth=0.4)
    far = list(result.outliers)
    if far:
        axes.plot(result.predicted[far, c], result.measured[far, c], ls="none", marker="o", ms=12,
                  mfc="none", mec=INK, label="does not fit the rest")
    both = np.concatenate([result.predicted[:, c], result.measured[:, c]])
    low, high = np.nanmin(both) - 0.5, np.nanmax(both) + 0.5
    axes.plot([low, high], [low, high], color=FAINT, lw=1, zorder=1)
    name = result.columns[c]
    unit = "deg" if name.endswith("_deg") else "mph" if name.endswith("_mph") else "board"
    words = _words(name.removesuffix("_deg").removesuffix("_mph"))
    axes.set_xlabel(f"predicted {words} [{unit}]")
    axes.set_ylabel(f"measured [{unit}]")
    axes.set_title(f"Shot by shot: {words}")
    axes.legend(loc="upper left")


def _errors(axes: Axes, result: FitResult) -> None:
    names = list(result.cross_validated)
    axes.set_title("Error on shots not used in the fit")
    if not names:
        axes.text(0.5, 0.5, "no cross-validation was asked for", ha="center",
                  transform=axes.transAxes)
        axes.set_axis_off()
        return
    places = np.arange(len(names))[::-1]
    before = np.array([result.cross_validated[n]["assumed_rms"] for n in names])
    after = np.array([result.cross_validated[n]["fitted_rms"] for n in names])
    axes.barh(places + 0.19, before, height=0.36, color="#cfc9bb", edgecolor=INK, lw=0.6,
              label="assumed defaults")
    axes.barh(places - 0.19, after, height=0.36, color=SERIES[0][0], edgecolor=INK, lw=0.6,
              label="fitted")
    axes.set_yticks(places, [_words(n) for n in names])
    axes.set_xlabel("RMS error [boards, deg, ft or mph, by the name]")
    axes.set_xlim(0, 1.75 * float(max(before.max(), after.max())))
    axes.grid(axis="y", visible=False)
    axes.legend(loc="upper right")
