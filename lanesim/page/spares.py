"""Spares for the page: the chance of a leave under a player's spread, and where to send the ball.

The numbers are `pins.spares`'s: published rates where they exist, else simulated with a straight
ball. A leave is answered at once, from the shipped table.
"""

from __future__ import annotations

from typing import Annotated, Any

import msgspec

from ..errors import InputError
from . import told
from .nouns import Nouns
from .told import Table
from .wire import Spreading

# the lengths of a straight line to the pins: where the ball meets the first row
PINS_FT = 59.0
_USUAL = ("10", "7", "9", "6", "4", "3", "2", "8", "5", "3-10", "6-10", "2-7", "4-7", "1-2-4",
          "3-6-10", "2-8", "3-9", "5-7", "7-10")


class SparesAsked(Spreading, frozen=True, kw_only=True):
    """The pins that stand."""

    pins: Annotated[tuple[int, ...], msgspec.Meta(min_length=1, max_length=10)]


def spare(asked: SparesAsked, nouns: Nouns) -> dict[str, Any]:
    """Chance of the leave, its source, where to aim, and the usual leaves beside it.

    Boards are the player's. `line` is the straight line from the shot's laydown board.
    """
    from ..lines.plane import board_at_arrows
    from ..pins.score import leave_mask, leave_name
    from ..pins.spares import player_spares, spread_at_pins
    from ..player import Release

    if not all(1 <= pin <= 10 for pin in asked.pins):
        raise InputError("pins are numbered 1 to 10")
    player = nouns.player(asked)
    table = player_spares(player.spread)
    mask = 0
    for pin in asked.pins:
        mask |= 1 << (pin - 1)
    aim = _aim(table, mask, asked.hand)
    angle = Release.angle_toward(asked.laydown_board, aim, PINS_FT)
    found = table.detail(mask)
    return {
        "leave": leave_name(mask), **found, "source_words": _source(found, table, mask),
        "aim_board": aim, "launch_angle_deg": angle,
        "target_board": round(board_at_arrows(asked.laydown_board, angle), 2),
        "spread_at_pins": spread_at_pins(player.spread), "spread_source": player.spread_source,
        "usual": Table(
            "The usual leaves", ["leave", ("made", "%"), ("aim at the pins", "board"), "from"],
            [[name, told.between(d["rate"], d["low"], d["high"], 0),
              told.number(_aim(table, leave_mask(name), asked.hand), 0), d["source"]]
             for name in _USUAL for d in [table.detail(leave_mask(name))]],
            "In brackets: 95 % intervals. Published rates are those of professionals and stand for "
            "everybody; simulated ones are for your own spread and a straight ball.",
            left=(0, 3)),
    }


def _aim(table: Any, mask: int, hand: str) -> float:
    """The player's board at the pins where a straight ball of his spread makes it most often."""
    found = table.simulated(mask) or table.simulated(table.nearest(mask))
    return 40.0 - found["aim"] if hand == "left" else found["aim"]


def _source(found: dict[str, Any], table: Any, mask: int) -> str:
    from ..pins.score import leave_name

    if found["source"] == "published":
        return f"published: professionals, of {found['tried']:,} tries"
    if found["source"] == "simulated":
        return "simulated, with a straight ball and your spread"
    return f"not simulated itself: the rate of {leave_name(table.nearest(mask))} stands in for it"
