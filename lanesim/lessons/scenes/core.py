"""Lessons on the core: RG, differential, layout."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...equipment.ball import Ball
from ...face import as_ball, as_pattern, throw
from .. import Scene
from ..words import amount, than

PATTERN = "medium-42"


def low_and_high_rg() -> Scene:
    """One ball with its mass near the centre, and with it near the cover."""
    from ...figures.curves import draw_curves
    from ...figures.lane_view import draw_paths

    pattern, ball = as_pattern(PATTERN), as_ball("strong-solid")
    low, high = (replace(ball, rg_in=rg) for rg in (2.47, 2.62))
    first, second = throw(low, pattern=pattern), throw(high, pattern=pattern)
    names = ("RG 2.47 in", "RG 2.62 in")
    later = second.roll_ft - first.roll_ft
    boards = float(first.y_board[-1] - second.y_board[-1])
    return Scene(
        values={
            "right": "a" if later > 0 else "b",
            "low": "2.47 in", "high": "2.62 in",
            "later": than(later, "later", "earlier", "ft"),
            "rev_low": amount(first.rev_rpm[-1], "turns a minute", 0),
            "rev_high": amount(second.rev_rpm[-1], "turns a minute", 0),
            "boards": amount(abs(boards), "boards"),
            "side": "less" if boards > 0 else "more",
        },
        pictures=(
            ("path", lambda: draw_paths([first, second], pattern, names, title="Higher RG: roll "
                                        f"{than(later, 'later', 'earlier', 'ft')}")),
            ("curves", lambda: draw_curves([first, second], names,
                                           title="Mass near the cover spins up slowly")),
        ),
        shots=((names[0], first, pattern), (names[1], second, pattern)),
    )


def differential() -> Scene:
    """A ball whose track moves a lot, and one whose track hardly moves."""
    from ...figures.flare import draw_flare
    from ...figures.lane_view import draw_paths

    pattern, ball = as_pattern("long-45"), as_ball("strong-solid")
    small, large = (replace(ball, diff_in=d, int_diff_in=0.0) for d in (0.012, 0.052))
    first, second = throw(small, pattern=pattern), throw(large, pattern=pattern)
    names = ("differential 0.012 in", "differential 0.052 in")
    end = pattern.length_ft
    film = [float(np.interp(end + 3, s.x_ft, s.track_film_um)) for s in (first, second)]
    rings = [float(np.interp(end, s.x_ft, s.flare_in)) for s in (first, second)]
    boards = float(second.y_board[-1] - first.y_board[-1])
    return Scene(
        values={
            "right": "a" if film[0] > film[1] else "c",
            "small": "0.012 in", "large": "0.052 in", "length": amount(end, "ft", 0),
            "rings_small": amount(rings[0], "in"), "rings_large": amount(rings[1], "in"),
            "film_small": amount(film[0], "um", 2), "film_large": amount(film[1], "um", 2),
            "boards": than(boards, "more", "less", "boards"),
        },
        pictures=(
            ("path", lambda: draw_paths(
                [first, second], pattern, names, title="The large differential hooks "
                                                       + than(boards, "more", "less", "boards"))),
            ("rings-small", lambda: draw_flare(first, mass_bias=False, title=names[0])),
            ("rings-large", lambda: draw_flare(second, mass_bias=False, title=names[1])),
        ),
        shots=((names[0], first, pattern), (names[1], second, pattern)),
    )


def layouts() -> Scene:
    """One ball, drilled in three ways: how much of the difference is the layout."""
    from ...figures.lane_view import draw_paths

    pattern, ball = as_pattern(PATTERN), as_ball("strong-solid")
    pins = (("pin 1.5 in", 1.5), ("pin 3.375 in", 3.375), ("pin 5.5 in", 5.5))
    shots = [throw(_drilled(ball, pin), pattern=pattern) for _, pin in pins]
    finishes = [throw(ball, pattern=pattern, finish=f) for f in ("1000", "polish")]
    spread = float(np.ptp([s.y_board[-1] for s in shots]))
    cover = float(abs(finishes[0].y_board[-1] - finishes[1].y_board[-1]))
    rings = {name: s.flare_in[-1] for (name, _), s in zip(pins, shots, strict=True)}
    return Scene(
        values={
            "right": "a" if spread < cover else "b",
            "near": pins[0][0], "middle": pins[1][0], "far": pins[2][0],
            "spread": amount(spread, "boards"), "cover": amount(cover, "boards"),
            "times": amount(cover / spread, "times"),
            "most_rings": max(rings, key=lambda name: rings[name]),
            "dull": "1000 grit",
            "ring_range": f"{min(rings.values()):.1f} to {max(rings.values()):.1f} in",
        },
        pictures=(
            ("layouts", lambda: draw_paths(shots, pattern, [n for n, _ in pins], title="Three "
                                           f"layouts: {spread:.1f} boards apart at the pins")),
            ("finishes", lambda: draw_paths(finishes, pattern, ("1000 grit", "polished"),
                                            title=f"Two finishes: {cover:.1f} boards apart")),
        ),
        shots=tuple((n, s, pattern) for (n, _), s in zip(pins, shots, strict=True)),
    )


def _drilled(ball: Ball, pin_in: float) -> Ball:
    return replace(ball, layout=replace(ball.layout, pin_to_pap_in=pin_in))
