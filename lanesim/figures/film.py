"""Motion pictures: balls that roll over a drawn lane, or pictures one after the other.

A `Film` is data: a drawn background with tracks in its pixels, or a row of frames. `gif_bytes` and
`html_text` turn it into a GIF that plays anywhere, and into one self-contained page with a play
button, slow motion and a slider. Nothing is computed here: paths come from `motion`, oil from
`studies`.
"""

from __future__ import annotations

import base64
import html
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from ..files import drawn
from .lane_view import (
    LANE_HIGH_IN,
    LANE_WIDE_IN,
    draw_lane,
    film_ceiling_um,
    player_board_to_drawn,
)
from .looks import looks_by_lane
from .style import INK, PAPER, house_style, new_figure

if TYPE_CHECKING:
    from ..lane.pattern import OilPattern
    from ..motion.trajectory import Trajectory

DPI = 88  # a lane is then about a thousand pixels long: readable on a projector, small as a file
FRAME_S = 0.05  # a GIF's clock knows hundredths; viewers slow down what is quicker than 0.02
HOLD_S = 1.5  # the last picture stays
_BALL_PX = 7


@dataclass(frozen=True)
class Track:
    """One ball: pixels (n,) at the film's times, colour, marker, and what it is called."""

    label: str
    color: str
    marker: str
    x: np.ndarray
    y: np.ndarray


@dataclass(frozen=True)
class Film:
    """A motion picture.

    Attributes
    ----------
    title : said above the picture of a page.
    background : PNG on which the balls move; empty if there are frames.
    size : its width and height in pixels.
    time_s : (n,) seconds from the release, evenly spaced; tracks : the balls at those times.
    frames : (caption, PNG) instead of moving balls; frame_s : how long each stays.
    """

    title: str
    size: tuple[int, int]
    background: bytes = field(default=b"", repr=False)
    time_s: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False)
    tracks: tuple[Track, ...] = ()
    frames: tuple[tuple[str, bytes], ...] = field(default=(), repr=False)
    frame_s: float = 0.5


@house_style
def film_shots(
    shots: Sequence[tuple[str, Trajectory, OilPattern]], *, title: str = "", note: str = "",
) -> Film:
    """Balls in step: on one lane if they share the pattern, else one lane under the other.

    shots : (label, path, pattern); title : default: the labels.
    """
    if not shots:
        raise ValueError("no path to show")
    seen = looks_by_lane([path.ball for _, path, _ in shots], [p.name for _, _, p in shots])
    patterns: dict[str, OilPattern] = {p.name: p for _, _, p in shots}
    left, bottom, gap = 0.75, 0.75, 0.85
    high = bottom + len(patterns) * LANE_HIGH_IN + (len(patterns) - 1) * gap + 0.95
    wide = left + LANE_WIDE_IN + 0.3
    heading = title or " and ".join(label for label, _, _ in shots)
    figure = new_figure(wide, high, heading, note=note, layout=None)
    ceiling = film_ceiling_um(list(patterns.values()))
    lanes = {}
    for row, (name, pattern) in enumerate(patterns.items()):
        y_in = bottom + (len(patterns) - 1 - row) * (LANE_HIGH_IN + gap)
        lanes[name] = draw_lane(figure, left, y_in, pattern, hand=shots[0][1].hand,
                                ceiling_um=ceiling, distance_label=row == len(patterns) - 1)
        here = [(n, label) for n, (label, _, p) in enumerate(shots) if p.name == name]
        for place, (n, label) in enumerate(here):
            lanes[name].plot([2 + 14 * place], [43.2], color=seen[n].color,
                             marker=seen[n].marker, ms=7, ls="none", clip_on=False)
            lanes[name].text(2.7 + 14 * place, 43.2, label, va="center", fontsize=9)
    figure.set_dpi(DPI)
    background = drawn(figure, "png", DPI)
    end = max(float(path.t_s[-1]) for _, path, _ in shots)
    times = np.arange(0.0, end + FRAME_S, FRAME_S)
    pixels_high = round(high * DPI)
    tracks = []
    for n, (label, path, pattern) in enumerate(shots):
        at = np.clip(times, path.t_s[0], path.t_s[-1])
        board = player_board_to_drawn(np.interp(at, path.t_s, path.y_board), path.hand)
        xy = lanes[pattern.name].transData.transform(
            np.column_stack([np.interp(at, path.t_s, path.x_ft), board]))
        tracks.append(Track(label, seen[n].color, seen[n].marker, xy[:, 0],
                            pixels_high - xy[:, 1]))
    return Film(heading, (round(wide * DPI), pixels_high), background, times, tuple(tracks))


def film_figures(
    pictures: Sequence[tuple[str, Figure]], *, title: str, frame_s: float = 0.5,
) -> Film:
    """Whole figures one after the other; (caption, figure), all of one size."""
    if not pictures:
        raise ValueError("no picture to show")
    wide, high = pictures[0][1].get_size_inches()
    return Film(title, (round(wide * DPI), round(high * DPI)),
                frames=tuple((caption, drawn(figure, "png", DPI)) for caption, figure in pictures),
                frame_s=frame_s)


def gif_bytes(film: Film, *, slower: float = 1.0) -> bytes:
    """The film as a GIF that repeats; `slower` 2 shows it at half its speed."""
    images, durations = [], []
    for image, seconds in _images(film):
        images.append(image)
        durations.append(round(1000 * seconds * slower))
    durations[-1] += round(1000 * HOLD_S)
    palette = _palette(images[-1], [track.color for track in film.tracks])
    frames = [image.quantize(palette=palette, dither=0) for image in images]
    out = io.BytesIO()
    frames[0].save(out, "GIF", save_all=True, append_images=frames[1:], duration=durations, loop=0,
                   optimize=False)
    return out.getvalue()


def _palette(image: Any, colors: Sequence[str]) -> Any:
    """One palette for all frames: the picture's own colours, and each ball's exactly."""
    from PIL import Image

    kept = image.quantize(96, dither=0).getpalette()[: 3 * 96]
    exact = [round(255 * part) for color in colors for part in to_rgb(color)]
    palette = Image.new("P", (1, 1))
    palette.putpalette(kept + exact)
    return palette


def _images(film: Film) -> list[tuple[Any, float]]:
    from PIL import Image, ImageDraw

    if film.frames:
        return [(Image.open(io.BytesIO(png)).convert("RGB"), film.frame_s)
                for _, png in film.frames]
    ground = Image.open(io.BytesIO(film.background)).convert("RGB")
    out = []
    for n, time in enumerate(film.time_s):
        image = ground.copy()
        pen = ImageDraw.Draw(image)
        for track in film.tracks:
            path = list(zip(track.x[: n + 1], track.y[: n + 1], strict=True))
            if n:
                pen.line(path, fill=PAPER, width=6, joint="curve")
                pen.line(path, fill=track.color, width=3, joint="curve")
        for track in film.tracks:
            corners = _corners(track.marker) * _BALL_PX + (track.x[n], track.y[n])
            pen.polygon([tuple(xy) for xy in corners], fill=track.color, outline=PAPER, width=2)
        pen.text((film.size[0] - 12, film.size[1] - 24), f"{time:.2f} s", fill=INK, anchor="rs",
                 font_size=16)
        out.append((image, FRAME_S))
    return out


def _corners(marker: str) -> np.ndarray:
    """A marker as a polygon about (0, 0), y downward, so that balls differ without colour too."""
    turn = {"s": (4, 0.125), "^": (3, 0.75), "D": (4, 0.0), "v": (3, 0.25), "P": (6, 0.0)}
    count, start = turn.get(marker, (24, 0.0))
    angle = 2 * np.pi * (start + np.arange(count) / count)
    return (1.0 if count > 6 else 1.3) * np.column_stack([np.cos(angle), np.sin(angle)])


def html_text(film: Film) -> str:
    """The film as one page without any other file: play, slow motion, and a slider."""
    data: dict[str, Any] = {"width": film.size[0], "height": film.size[1]}
    if film.frames:
        data |= {"frames": [{"caption": c, "png": _uri(png)} for c, png in film.frames],
                 "step": film.frame_s}
    else:
        data |= {"ground": _uri(film.background), "step": FRAME_S, "ball": _BALL_PX,
                 "paper": PAPER, "ink": INK,
                 "tracks": [{"label": t.label, "color": t.color, "x": np.round(t.x, 1).tolist(),
                             "y": np.round(t.y, 1).tolist(),
                             "shape": np.round(_corners(t.marker), 3).tolist()}
                            for t in film.tracks]}
    # "</" would end the script from within a text
    packed = json.dumps(data, separators=(",", ":")).replace("</", "<\\/")
    return _PAGE.replace("TITLE", html.escape(film.title)).replace("DATA", packed)


def _uri(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>TITLE</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
body { margin: 1rem auto; max-width: 1100px; padding: 0 1rem; background: #fbfaf7; color: #1c2230;
       font: 1.1rem/1.4 system-ui, sans-serif; }
canvas { width: 100%; height: auto; border: 1px solid #6b7080; }
.row { display: flex; flex-wrap: wrap; gap: .8rem; align-items: center; }
button, select { font: inherit; padding: .3rem .9rem; min-height: 2.4rem; }
input[type=range] { flex: 1 1 12rem; min-height: 2rem; }
</style></head><body>
<h1 style="font-size:1.3rem">TITLE</h1>
<canvas id="screen" role="img" aria-label="TITLE"></canvas>
<div class="row">
<button id="play" type="button">Play</button>
<label>Speed <select id="speed"><option value="1">as it is</option><option value="0.5">half</option>
<option value="0.25">a quarter</option></select></label>
<label style="display:contents">Place
<input id="place" type="range" min="0" step="1" value="0"></label>
<output id="said"></output>
</div>
<script>
"use strict";
const film = DATA;
const canvas = document.getElementById("screen"), pen = canvas.getContext("2d");
canvas.width = film.width; canvas.height = film.height;
const last = (film.frames ? film.frames.length : film.tracks[0].x.length) - 1;
const place = document.getElementById("place"), said = document.getElementById("said");
place.max = last;
function picture(uri) {
  const made = new Image();
  made.onload = () => show(+place.value); made.src = uri;
  return made;
}
const pictures = film.frames ? film.frames.map(f => picture(f.png)) : [picture(film.ground)];
function show(n) {
  pen.drawImage(pictures[film.frames ? n : 0], 0, 0, film.width, film.height);
  if (film.frames) { said.value = film.frames[n].caption; return; }
  for (const t of film.tracks) for (const [w, c] of [[6, film.paper], [3, t.color]]) {
    pen.beginPath(); pen.lineWidth = w; pen.strokeStyle = c; pen.lineJoin = "round";
    for (let i = 0; i <= n; i++) pen.lineTo(t.x[i], t.y[i]);
    pen.stroke();
  }
  for (const t of film.tracks) {
    pen.beginPath();
    for (const [x, y] of t.shape) pen.lineTo(t.x[n] + film.ball * x, t.y[n] + film.ball * y);
    pen.closePath(); pen.fillStyle = t.color; pen.fill();
    pen.lineWidth = 2; pen.strokeStyle = film.paper; pen.stroke();
  }
  said.value = (n * film.step).toFixed(2) + " s";
}
let running = null, from = 0, since = 0;
function stop() { cancelAnimationFrame(running); running = null; button.textContent = "Play"; }
const button = document.getElementById("play");
function tick(now) {
  const n = Math.min(last, from + Math.floor((now - since) / 1000 / film.step
    * +document.getElementById("speed").value));
  place.value = n; show(n);
  if (n >= last) stop(); else running = requestAnimationFrame(tick);
}
button.onclick = () => {
  if (running) { stop(); return; }
  from = +place.value >= last ? 0 : +place.value; since = performance.now();
  button.textContent = "Stop"; running = requestAnimationFrame(tick);
};
document.getElementById("speed").onchange = () => {
  from = +place.value; since = performance.now();
};
place.oninput = () => { stop(); show(+place.value); };
</script></body></html>
"""
