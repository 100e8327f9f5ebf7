"""The look of every picture: fonts, lines, colours, and how to start a figure.

Colours are our own. The series colours differ in lightness as well as in hue, and each goes with
its own dash and marker, so a picture still reads in black and white or by a colour-blind eye
(`tests/test_figures_lane.py` measures both). Colour scales are straight lines in CIELAB between
their anchors, so equal steps of value are about equal steps to the eye.

Use::

    @house_style
    def draw_something(...) -> Figure:
        figure = new_figure(9, 5, "What it shows", note="What is assumed")
        axes = figure.add_subplot()
        axes.plot(x, y, **series_style(0), label="...")

Nothing here touches pyplot: a figure is an object, safe to make in any thread of a server.
"""

from __future__ import annotations

import functools
import textwrap
from collections.abc import Callable, Sequence
from contextvars import ContextVar
from typing import Any, ParamSpec, TypeVar

import matplotlib as mpl
import numpy as np
from cycler import cycler
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap, to_rgb
from matplotlib.figure import Figure
from matplotlib.patheffects import Stroke, withStroke
from numpy.typing import NDArray

from .wanted import wanted

P = ParamSpec("P")
R = TypeVar("R")

PAPER = "#fbfaf7"
INK = "#1c2230"
FAINT = "#5b6070"  # secondary text
HAIR = "#d5d3cc"  # grid lines
WOOD = "#f1e9da"  # dry lane
PIN_WHITE = "#ffffff"

# Each series: colour, dash, marker. CIELAB lightness 4, 50, 34, 21, 45, 40, 55, 28; chosen so that
# any two are far apart for every eye and each has a contrast of 3 to 1 on paper and on wood.
SERIES: tuple[tuple[str, Any, str], ...] = (
    ("#0e023b", "-", "o"),  # night
    ("#9d6f12", (0, (6, 2)), "s"),  # bronze
    ("#703980", (0, (1.2, 1.4)), "^"),  # plum
    ("#0a3a05", (0, (7, 2, 1.2, 2)), "D"),  # forest
    ("#b34649", (0, (3, 1.6)), "v"),  # brick
    ("#1e58be", (0, (7, 1.6, 1.2, 1.6, 1.2, 1.6)), "P"),  # royal
    ("#04958b", (0, (9, 1.6)), "X"),  # sea
    ("#782246", (0, (2.6, 1.4, 1.2, 1.4)), "*"),  # wine
)

RC: dict[str, Any] = {
    "font.family": "DejaVu Sans",  # travels with matplotlib: the same on every machine
    "font.size": 9.5,
    "axes.titlesize": 10.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 6.0,
    "axes.labelsize": 9.5,
    "axes.labelcolor": INK,
    "axes.edgecolor": FAINT,
    "axes.facecolor": PAPER,
    "axes.linewidth": 0.8,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.prop_cycle": cycler(color=[c for c, _, _ in SERIES]),
    "grid.color": HAIR,
    "grid.linewidth": 0.6,
    "text.color": INK,
    "xtick.color": FAINT,
    "ytick.color": FAINT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "xtick.direction": "out",
    "ytick.direction": "out",
    "lines.linewidth": 1.8,
    "lines.markersize": 5.0,
    "legend.frameon": True,
    "legend.framealpha": 0.92,
    "legend.facecolor": PAPER,
    "legend.edgecolor": HAIR,
    "legend.fontsize": 8.5,
    "legend.handlelength": 3.4,  # long enough to show a dash pattern
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "text.parse_math": False,  # a '$' in a ball's title is a '$', not the start of a formula
    "svg.fonttype": "path",
    "svg.hashsalt": "lanesim",  # the same picture gives the same file
}


_DEPTH: ContextVar[int] = ContextVar("depth", default=0)


def house_style(draw: Callable[P, R]) -> Callable[P, R]:
    """Run a drawing function under the house's settings and leave matplotlib's as they were.

    The picture that the outermost such function gives is then put into the style that is wanted.
    """

    @functools.wraps(draw)
    def styled(*args: P.args, **kwargs: P.kwargs) -> R:
        depth = _DEPTH.get()
        settings: Any = RC
        token = _DEPTH.set(depth + 1)
        try:
            with mpl.rc_context(settings):
                made = draw(*args, **kwargs)
        finally:
            _DEPTH.reset(token)
        style = wanted().style
        if depth == 0 and style != "screen" and isinstance(made, Figure):
            from .restyle import restyle

            restyle(made, style)
        return made

    return styled


@house_style
def new_figure(
    width_in: float = 9.0,
    height_in: float = 5.0,
    title: str = "",
    *,
    subtitle: str = "",
    note: str = "",
    layout: str | None = "constrained",
) -> Figure:
    """A blank figure with a heading at the top left and a small note at the bottom left.

    Parameters
    ----------
    width_in, height_in : float
        Size [in].
    title : str
        Heading, bold; broken over two lines where it is too long for the width. A title of the
        user's own (`wanted`) takes its place.
    subtitle : str
        A second, plain line under it.
    note : str
        Small print at the bottom: assumptions, stretch, source. Lines may be broken with \\n.
    layout : str or None
        "constrained" fits the axes between heading and note; None leaves placing to the caller.
    """
    title = wanted().title or title
    laid: Any = layout
    figure = Figure(figsize=(width_in, height_in), facecolor=PAPER, layout=laid)
    FigureCanvasAgg(figure)
    left = 0.14 / width_in
    top = more = 0.0
    if title:
        # a bold letter of 13 points is about a tenth of an inch wide
        lines = textwrap.wrap(title, max(20, int((width_in - 0.3) / 0.112)))[:3]
        figure.text(left, 1 - 0.12 / height_in, "\n".join(lines), fontsize=13, fontweight="bold",
                    va="top", linespacing=1.15)
        more = 0.21 * (len(lines) - 1)
        top = 0.42 + more
    if subtitle:
        count = subtitle.count("\n") + 1
        figure.text(left, 1 - (0.12 + (0.28 + more if title else 0.0)) / height_in, subtitle,
                    fontsize=9.5, color=FAINT, va="top", linespacing=1.25)
        top += 0.19 * count
    bottom = 0.0
    if note:
        figure.text(left, 0.09 / height_in, note, fontsize=7.5, color=FAINT, va="bottom",
                    linespacing=1.25)
        bottom = 0.12 + 0.15 * (note.count("\n") + 1)
    if layout == "constrained":
        engine: Any = figure.get_layout_engine()
        assert engine is not None
        engine.set(rect=(0.0, bottom / height_in, 1.0, 1 - (top + bottom) / height_in),
                   w_pad=0.08, h_pad=0.06)
    return figure


def stamp(figure: Figure, words: str) -> Figure:
    """Put a few words of small print (that a ball is invented) where no other text stands.

    At the right end of the heading's line, of the note's, or else on a line below the note.
    """
    if not words:
        return figure
    wide, high = figure.get_size_inches()
    text = figure.text(1 - 0.14 / wide, 1 - 0.17 / high, words, fontsize=7.5, color=FAINT,
                       ha="right", va="top")
    others = [t for t in figure.texts if t is not text and t.get_text()]
    if any(text.get_window_extent().overlaps(t.get_window_extent()) for t in others):
        text.set(y=0.09 / high, va="bottom")
    if any(text.get_window_extent().overlaps(t.get_window_extent()) for t in others):
        text.set(y=0.0)
    return figure


def series_style(
    index: int, *, markers: bool = False, markevery: int | float | None = None
) -> dict[str, Any]:
    """Keyword arguments for `Axes.plot`: colour, dash and, if asked, marker of series `index`.

    After eight series the colours come round again with the next dash, so pairs stay distinct.
    """
    count = len(SERIES)
    color = SERIES[index % count][0]
    dash = SERIES[(index + index // count) % count][1]
    style: dict[str, Any] = {"color": color, "linestyle": dash}
    if markers:
        style |= {"marker": SERIES[index % count][2], "markeredgecolor": PAPER,
                  "markeredgewidth": 0.7}
        if markevery is not None:
            style["markevery"] = markevery
    return style


def legend_name(name: str) -> str:
    """A ball's or player's name as a label; matplotlib leaves out those that begin with '_'."""
    return f" {name}" if name.startswith("_") else name


def series_marker(index: int) -> str:
    """The marker of series `index`."""
    return SERIES[index % len(SERIES)][2]


def halo(width: float = 2.0, color: str = PAPER) -> list[Any]:
    """Path effects: a pale rim that lifts a line or a text off a dark ground."""
    return [withStroke(linewidth=width, foreground=color)]


def line_halo(line_width: float, rim: float = 1.1, color: str = PAPER) -> list[Any]:
    """As `halo`, for a line of a given width: the rim shows `rim` points on either side."""
    from matplotlib.patheffects import Normal

    return [Stroke(linewidth=line_width + 2 * rim, foreground=color, capstyle="round"), Normal()]


# --- colour scales -------------------------------------------------------------------------

# Oil: bare wood to deep plum. It stops at mid lightness, so that dark paths read on top.
_OIL_ANCHORS = (WOOD, "#e6cbb9", "#c99aa3", "#9d7397", "#74588c")
# Shares and rates: paper to midnight through ochre and brick.
_HEAT_ANCHORS = ("#faf5e6", "#edc766", "#cc7a3d", "#8f3434", "#2e1838")
# Differences about zero: sea - paper - brick; equal lightness on both sides.
_DIFFERENCE_ANCHORS = ("#0f5f63", "#6fb1aa", "#f5f2ea", "#dc9a80", "#8c2f1f")


@functools.cache
def oil_colormap() -> LinearSegmentedColormap:
    """Scale for oil: no oil is bare wood, more oil is darker."""
    return _lab_scale("lanesim-oil", _OIL_ANCHORS)


@functools.cache
def heat_colormap() -> LinearSegmentedColormap:
    """Scale for shares, rates and other amounts from nothing up: more is darker."""
    return _lab_scale("lanesim-heat", _HEAT_ANCHORS)


@functools.cache
def difference_colormap() -> LinearSegmentedColormap:
    """Scale for differences about zero: sea below, paper at zero, brick above.

    In a grey print both sides look alike: write the numbers or a zero contour as well.
    """
    return _lab_scale("lanesim-difference", _DIFFERENCE_ANCHORS)


def _lab_scale(name: str, anchors: Sequence[str]) -> LinearSegmentedColormap:
    lab = np.array([srgb_to_lab(np.array(to_rgb(a))) for a in anchors])
    steps = np.linspace(0.0, 1.0, 256)
    places = np.linspace(0.0, 1.0, len(anchors))
    path = np.column_stack([np.interp(steps, places, lab[:, k]) for k in range(3)])
    return LinearSegmentedColormap.from_list(name, np.clip(lab_to_srgb(path), 0.0, 1.0), N=256)


# CIE 1976 L*a*b* under D65; sRGB matrix and transfer curve of IEC 61966-2-1.
_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
_WHITE = _TO_XYZ.sum(axis=1)


def srgb_to_lab(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIELAB of sRGB colours in 0..1, shape (..., 3)."""
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    t = linear @ _TO_XYZ.T / _WHITE
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]),
                     200 * (f[..., 1] - f[..., 2])], axis=-1)


def lab_to_srgb(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inverse of `srgb_to_lab`; colours outside sRGB leave 0..1."""
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    t = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29))
    linear = (t * _WHITE) @ np.linalg.inv(_TO_XYZ).T
    low = linear <= 0.0031308
    return np.where(low, 12.92 * linear, 1.055 * np.maximum(linear, 0.0) ** (1 / 2.4) - 0.055)


def lightness(color: str) -> float:
    """CIELAB lightness of a colour, 0 (black) to 100 (white): what a grey print keeps."""
    return float(srgb_to_lab(np.array(to_rgb(color)))[0])
