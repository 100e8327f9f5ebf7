"""lanesim: how a bowling ball moves on an oil pattern, and what follows for strikes.

>>> import lanesim
>>> lanesim.throw("strong-solid", speed=17, pattern="long-45")          # doctest: +SKIP
<Trajectory: strong-solid on long-45: ...>

The names below are loaded when they are first used, so that `import lanesim` is quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from .equipment.ball import Ball as Ball
    from .errors import InputError as InputError
    from .face import compare as compare
    from .face import fit_shots as fit_shots
    from .face import lineup as lineup
    from .face import odds as odds
    from .face import plan_bag as plan_bag
    from .face import score as score
    from .face import sweep as sweep
    from .face import throw as throw
    from .face import transition as transition
    from .face import wear as wear
    from .lane.pattern import OilPattern
    from .player import Player as Player
    from .player import Release as Release
    from .player import Spread as Spread

    Pattern = OilPattern

# name -> module, or (module, its name there)
_HOMES: dict[str, str | tuple[str, str]] = {
    **dict.fromkeys(("throw", "compare", "sweep", "lineup", "odds", "wear", "transition",
                     "fit_shots", "plan_bag", "score"), "face"),
    "Ball": "equipment.ball",
    "InputError": "errors",
    "Pattern": ("lane.pattern", "OilPattern"),
    "Player": "player",
    "Release": "player",
    "Spread": "player",
}
__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'lanesim' has no attribute '{name}'; "
                             f"it offers {', '.join(sorted(_HOMES))}")
    module, there = home if isinstance(home, tuple) else (home, name)
    return getattr(importlib.import_module(f"lanesim.{module}"), there)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
