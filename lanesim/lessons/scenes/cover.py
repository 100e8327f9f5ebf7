"""Lessons on the cover: its finish and its age."""

from __future__ import annotations

from dataclasses import replace

from ...face import as_ball, as_pattern, throw
from .. import Scene
from ..words import amount, than

PATTERN = "medium-42"


def finish() -> Scene:
    """One ball sanded rough, fine, and polished."""
    from ...figures.curves import draw_curves
    from ...figures.lane_view import draw_paths

    pattern = as_pattern(PATTERN)
    names = ("500 grit", "2000 grit", "polished")
    shots = [throw(pattern=pattern, finish=f) for f in ("500", "2000", "polish")]
    rough, _, shiny = shots
    boards = float(rough.y_board[-1] - shiny.y_board[-1])
    return Scene(
        values={
            "right": "b" if boards > 0 else "a",
            "rough": names[0], "fine": names[1],
            "hook": than(shiny.hook_ft - rough.hook_ft, "later", "earlier", "ft"),
            "breakpoint": than(shiny.breakpoint_ft - rough.breakpoint_ft, "farther down the lane",
                               "nearer to you", "ft"),
            "boards": amount(abs(boards), "boards"),
            "more": names[0] if boards > 0 else names[2],
        },
        pictures=(
            ("path", lambda: draw_paths(shots, pattern, names, title="Roughest to shiniest: "
                                        f"{abs(boards):.0f} boards at the pins")),
            ("curves", lambda: draw_curves(shots, names, title="A rough cover begins earlier")),
        ),
        shots=tuple((n, s, pattern) for n, s in zip(names, shots, strict=True)),
    )


def old_cover() -> Scene:
    """One ball new, after many games, and freshly sanded after them."""
    from ...figures.lane_view import draw_paths

    pattern, ball = as_pattern(PATTERN), as_ball("strong-solid")
    games = 200
    worn = replace(ball, cover=replace(ball.cover, games_since_surface=60, games_total=games))
    sanded = worn.with_finish(ball.cover.grit, ball.cover.polished)
    names = ("new", f"{games} games", f"{games} games, sanded")
    shots = [throw(b, pattern=pattern) for b in (ball, worn, sanded)]
    new, old, fresh = (float(s.y_board[-1]) for s in shots)
    return Scene(
        values={
            "right": "b" if fresh < new and fresh > old else "a" if fresh >= new else "c",
            "games": f"{games} games",
            "lost": than(old - new, "more", "less", "boards"),
            "back": amount(fresh - old, "boards"), "gone": amount(max(new - fresh, 0.0), "boards"),
            "roll": than(shots[1].roll_ft - shots[0].roll_ft, "later", "earlier", "ft"),
        },
        pictures=(
            ("path", lambda: draw_paths(shots, pattern, names, title=f"{games} games cost "
                                        f"{new - old:.1f} boards; sanding gives {fresh - old:.1f} "
                                        "back")),
        ),
        shots=tuple((n, s, pattern) for n, s in zip(names, shots, strict=True)),
    )
