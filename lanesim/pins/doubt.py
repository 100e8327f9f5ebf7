"""How far the pin deck's own calibration leaves an answer open.

Published observations do not single out one parameter set. The carry table carries the same hits
for an ensemble of sets that they do not rule out; every answer can be had once for each. Between
two balls the difference is taken set by set: what moves both alike cancels.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..errors import InputError
from .outcomes import pins_from_shots
from .spares import SpareTable
from .table import REFERENCE_LB, CarryTable, default_table


@dataclass(frozen=True)
class DeckDoubt:
    """One set of shots on every deck of the ensemble.

    strike_rate, pins_per_game : of the shipped deck; strike_rates, games : (K,) of the others.
    """

    strike_rate: float
    pins_per_game: float
    strike_rates: np.ndarray = field(repr=False)
    games: np.ndarray = field(repr=False)

    @property
    def strike_sd(self) -> float:
        """SD of the strike rate over the decks."""
        return float(self.strike_rates.std(ddof=1))

    @property
    def game_sd(self) -> float:
        """SD of the pins per game over the decks."""
        return float(self.games.std(ddof=1))

    def minus(self, other: DeckDoubt) -> DeckDoubt:
        """The difference, deck by deck (games and rates of the result are differences)."""
        return DeckDoubt(self.strike_rate - other.strike_rate,
                         self.pins_per_game - other.pins_per_game,
                         self.strike_rates - other.strike_rates, self.games - other.games)

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers for JSON."""
        return {"strike_rate": self.strike_rate, "pins_per_game": self.pins_per_game,
                "strike_sd": self.strike_sd, "game_sd": self.game_sd,
                "strike_rates": self.strike_rates, "games": self.games}


def over_decks(
    entry_board: ArrayLike,
    entry_angle_deg: ArrayLike,
    entry_speed_mph: ArrayLike,
    outcome_codes: ArrayLike | None = None,
    *,
    table: CarryTable | None = None,
    spares: SpareTable | None = None,
    ball_lb: float = REFERENCE_LB,
) -> DeckDoubt:
    """The shots' strikes and pins per game on the shipped deck and on every other of the ensemble.

    Arguments as of `outcomes.pins_from_shots`. The first call in a process takes some seconds.
    Spares stay those of the shipped deck.
    """
    table = (table or default_table()).for_ball(ball_lb)
    if table.members < 2:
        raise InputError("this carry table has no ensemble of decks")
    shots = (entry_board, entry_angle_deg, entry_speed_mph, outcome_codes)
    first = pins_from_shots(*shots, table=table, spares=spares, ball_lb=table.ball_lb)
    rest = [pins_from_shots(*shots, table=table.member(k), spares=spares, ball_lb=table.ball_lb)
            for k in range(table.members)]
    return DeckDoubt(first.strike_rate, first.pins_per_game,
                     np.array([r.strike_rate for r in rest]),
                     np.array([r.pins_per_game for r in rest]))
