"""A finished picture for a projector, for paper, or in greys.

- projector: letters and lines larger and heavier on the same picture, no letter under 10 points;
- print: white ground instead of the tinted one, for paper;
- grey: every colour by its lightness, as a black-and-white printer or photocopier keeps it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from matplotlib.cm import ScalarMappable
from matplotlib.collections import Collection
from matplotlib.colors import ListedColormap, to_rgba, to_rgba_array
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.text import Text
from numpy.typing import NDArray

from .style import PAPER, lab_to_srgb, srgb_to_lab

Recolour = Callable[[NDArray[np.float64]], NDArray[np.float64]]
_LARGER, _HEAVIER, _SMALLEST_PT = 1.2, 1.35, 10.0


def restyle(figure: Figure, style: str) -> None:
    """Change a finished picture to a style of `wanted.STYLES`."""
    if style == "projector":
        _enlarge(figure)
    elif style == "print":
        recolour(figure, _white_ground)
    elif style == "grey":
        recolour(figure, _greys)


def _greys(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    lab = srgb_to_lab(rgb)
    lab[..., 1:] = 0.0
    return np.clip(lab_to_srgb(lab), 0.0, 1.0)


def _white_ground(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    paper = np.array(to_rgba(PAPER)[:3])
    return np.where(np.all(np.abs(rgb - paper) < 1e-6, axis=-1, keepdims=True), 1.0, rgb)


def recolour(figure: Figure, change: Recolour) -> None:
    """Put every colour of a figure through `change`, which maps sRGB arrays (..., 3) in 0..1."""
    def one(color: Any) -> Any:
        if isinstance(color, str) and color.lower() in ("none", "auto", "inherit"):
            return color
        rgba = np.array(to_rgba(color))
        rgba[:3] = change(rgba[:3])
        return tuple(rgba)

    def many(colors: Any) -> Any:
        rgba = to_rgba_array(colors)
        rgba[:, :3] = change(rgba[:, :3])
        return rgba

    figure.set_facecolor(one(figure.get_facecolor()))
    for artist in figure.findobj():
        if isinstance(artist, ScalarMappable) and artist.get_array() is not None:
            scale = artist.get_cmap()
            table = scale(np.linspace(0.0, 1.0, 256))
            table[:, :3] = change(table[:, :3])
            artist.set_cmap(ListedColormap(table, name=f"{scale.name}-{change.__name__}"))
            continue
        if isinstance(artist, Line2D):
            for get, put in ((artist.get_color, artist.set_color),
                             (artist.get_markerfacecolor, artist.set_markerfacecolor),
                             (artist.get_markeredgecolor, artist.set_markeredgecolor)):
                put(one(get()))
        elif isinstance(artist, Patch):
            face, edge = artist.get_facecolor(), artist.get_edgecolor()
            artist.set_facecolor(one(face))
            artist.set_edgecolor(one(edge))
        elif isinstance(artist, Collection):
            faces, edges = np.asarray(artist.get_facecolor()), np.asarray(artist.get_edgecolor())
            if len(faces):
                artist.set_facecolor(many(faces))
            if len(edges):
                artist.set_edgecolor(many(edges))
        elif isinstance(artist, Text):
            artist.set_color(one(artist.get_color()))
        for effect in artist.get_path_effects() or ():
            given = getattr(effect, "_gc", None)
            if given and "foreground" in given:
                given["foreground"] = one(given["foreground"])


def _enlarge(figure: Figure) -> None:
    for artist in figure.findobj():
        if isinstance(artist, Text):
            artist.set_fontsize(max(_SMALLEST_PT, _LARGER * float(artist.get_fontsize())))
        elif isinstance(artist, Line2D):
            artist.set_linewidth(_HEAVIER * artist.get_linewidth())
            artist.set_markersize(_HEAVIER * artist.get_markersize())
    # room for the larger letters: places are shares of the figure, letters are not
    wide, high = figure.get_size_inches()
    figure.set_size_inches(wide * 1.08, high * 1.08)
