"""How the deck's functions are compiled."""

from __future__ import annotations

import numba

# No fast mathematics but contraction: NaN checks and the order of sums stay as written.
jit = numba.njit(fastmath={"contract"}, error_model="numpy")
