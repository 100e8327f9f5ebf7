"""How the deck's functions are compiled, and kept on disk beside the motion core's.

A kept function's file carries a digest of every source of this package in its name, so that an
edit of any of them is noticed (see `motion.kernels.compiling`).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numba
from numba.core import config

from ...motion.kernels.compiling import KeptCode
from ...motion.kernels.store import digest_of

# No fast mathematics but contraction: NaN checks and the order of sums stay as written.
jit = numba.njit(fastmath={"contract"}, error_model="numpy")


@cache
def sources() -> str:
    """Digest of every source of this package."""
    return digest_of(*(part for path in sorted(Path(__file__).parent.glob("*.py"))
                       for part in (path.name.encode(), path.read_bytes())))[:12]


class DeckCode(KeptCode):
    """Compiled code of one function of this package, in the motion core's store."""

    def _file(self, signature: Any) -> str:
        return f"{super()._file(signature)}.{sources()}"


def kept(function: Callable) -> Callable:
    """Decorator of a function that Python calls: compiled, its code kept on disk."""
    kernel = jit(function)
    if not config.DISABLE_JIT:
        kernel._cache = DeckCode(f"deck_{function.__name__}")
    return kernel
