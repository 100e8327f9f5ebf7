"""Lessons on the oil: how long it is, and how it goes."""

from __future__ import annotations

import numpy as np

from ...face import as_pattern, throw, transition
from .. import Scene
from ..words import amount, outcome_words, than

SHORT, LONG = "medium-39", "long-45"


def lengths() -> Scene:
    """One release on a shorter and a longer pattern."""
    from ...figures.lane_view import draw_side_by_side

    short, long = as_pattern(SHORT), as_pattern(LONG)
    first, second = throw(pattern=short), throw(pattern=long)
    boards = float(second.y_board[-1] - first.y_board[-1])
    later = second.breakpoint_ft - first.breakpoint_ft
    names = (f"{short.length_ft:g} ft", f"{long.length_ft:g} ft")
    return Scene(
        values={
            "right": "b" if boards < 0 else "a",
            "short": names[0], "long": names[1],
            "later": than(later, "later", "earlier", "ft"),
            "boards": amount(abs(boards), "boards"),
            "side": "lower" if boards < 0 else "higher",
            "end_short": outcome_words(first.outcome), "end_long": outcome_words(second.outcome),
            "left_dry": amount(60 - long.length_ft, "ft", 0),
            "short_dry": amount(60 - short.length_ft, "ft", 0),
        },
        pictures=(
            ("side-by-side", lambda: draw_side_by_side(
                [(first, short), (second, long)], names,
                title=f"{names[1]}: {than(later, 'later', 'earlier', 'ft')}, "
                      f"{abs(boards):.0f} boards {'short' if boards < 0 else 'beyond'}")),
        ),
        shots=((names[0], first, short), (names[1], second, long)),
    )


def drying_lane() -> Scene:
    """Three games of one player on a pair of lanes."""
    from ...figures.transition import draw_transition

    games = 3
    result = transition(pattern="medium-42", games=games, shots=96)
    start, end = result.reactions[0], result.reactions[games]
    left = float(result.line_left[0, games])
    moved = end.move
    return Scene(
        values={
            "right": "b" if end.entry_board > start.entry_board else "a",
            "games": f"{games} games",
            "gone": amount(100 * (1 - left), "%", 0),
            "boards": than(end.entry_board - start.entry_board, "higher", "lower", "boards"),
            "first": amount(100 * start.pocket.rate, "%", 0),
            "last": amount(100 * end.pocket.rate, "%", 0),
            "moved": amount(100 * end.pocket_moved.rate, "%", 0),
            "feet": amount(abs(moved.feet), "boards", 0),
            "feet_side": _side(moved.feet), "target": amount(abs(moved.target), "boards", 0),
            "target_side": _side(moved.target),
            "shots": str(int(np.mean(result.shots_per_lane[games]))),
        },
        pictures=(("lane", lambda: draw_transition(result)),),
    )


def _side(boards: float) -> str:
    return "away from your ball arm" if boards > 0 else "toward your ball arm"
