"""Lessons on the pins: the angle of entry, and what room for error is worth."""

from __future__ import annotations

import numpy as np

from ...face import odds
from ...player import LEVELS
from .. import Scene
from ..words import amount

SPEED_MPH = 16.5


def entry_angle() -> Scene:
    """Strike chance over the boards, at a flat and at a steep angle."""
    from ...figures.pins import draw_carry_map
    from ...pins.table import default_table

    table = default_table()
    boards = np.arange(15.0, 20.01, 0.1)
    flat, steep = 3.0, 6.0
    chance = {a: np.asarray(table.strike_probability(boards, np.full_like(boards, a),
                                                     np.full_like(boards, SPEED_MPH)))
              for a in (flat, steep)}
    wide = {a: 0.1 * float(np.sum(c > 0.5)) for a, c in chance.items()}
    best = {a: float(boards[int(np.argmax(c))]) for a, c in chance.items()}
    return Scene(
        values={
            "right": "a" if wide[steep] > wide[flat] else "b",
            "flat": amount(flat, "deg", 0), "steep": amount(steep, "deg", 0),
            "best_flat": amount(best[flat], "", 1), "best_steep": amount(best[steep], "", 1),
            "top_flat": amount(100 * chance[flat].max(), "%", 0),
            "top_steep": amount(100 * chance[steep].max(), "%", 0),
            "wide_flat": amount(wide[flat], "boards"), "wide_steep": amount(wide[steep], "boards"),
        },
        pictures=(("map", lambda: draw_carry_map(
            table, SPEED_MPH, title=f"{steep:g}° strikes on {wide[steep]:.1f} boards, {flat:g}° on "
                                    f"{wide[flat]:.1f}")),),
    )


def room() -> Scene:
    """One ball on one pattern for a steady and for a less steady player."""
    from ...figures.lineup import draw_lineup

    found = {level: odds("weak-pearl", level, "house-easy-41", shots=4096).balls[0]
             for level in ("220", "180")}
    steady, other = found["220"], found["180"]
    assert steady.pins is not None and other.pins is not None
    sd = {level: LEVELS[level].sd_laydown_board * np.sqrt(2.0) for level in found}
    per_board = ((steady.pins.strike_rate - other.pins.strike_rate)
                 / max(sd["180"] - sd["220"], 1e-9))
    return Scene(
        values={
            "right": "c" if steady.pins.strike_rate > other.pins.strike_rate else "a",
            "pocket_steady": amount(100 * steady.line.pocket.rate, "%", 0),
            "pocket_other": amount(100 * other.line.pocket.rate, "%", 0),
            "strikes_steady": amount(100 * steady.pins.strike_rate, "%", 0),
            "strikes_other": amount(100 * other.pins.strike_rate, "%", 0),
            "pins_steady": amount(steady.pins.pins_per_game, "pins", 0),
            "pins_other": amount(other.pins.pins_per_game, "pins", 0),
            "sd_steady": amount(sd["220"], "boards"), "sd_other": amount(sd["180"], "boards"),
            "per_board": amount(100 * per_board, "strikes in a hundred", 0),
            "scatter_steady": amount(steady.line.entry_board_sd, "boards"),
            "scatter_other": amount(other.line.entry_board_sd, "boards"),
        },
        pictures=(
            ("steady", lambda: draw_lineup(steady.line, title="Level 220: pocket "
                                           f"{100 * steady.line.pocket.rate:.0f} %")),
            ("less-steady", lambda: draw_lineup(other.line, title="Level 180: pocket "
                                                f"{100 * other.line.pocket.rate:.0f} %")),
        ),
    )
