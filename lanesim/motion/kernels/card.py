"""The core's functions compiled for a graphics card, and the kernel: one thread a shot.

Nothing of the physics, the method or the events is written twice: the pack's functions are given to
the card's compiler with the rows of the pack's arrays for one lane. Only exponential and logarithm
are the card's library's. Imported only where a card is asked for.
"""

from __future__ import annotations

import math
import types
from collections.abc import Callable
from typing import Any

from numba import cuda, float64, int64

from . import rows as pack_rows
from .pack import Pack
from .single import follow_shot

_OURS = __package__


class Translated:
    """Functions of `lanesim.motion.kernels` for the card, each with all that it calls.

    A function is made anew from its code with other globals: the pack's rows for one lane, and the
    card's versions of the functions that it calls.
    """

    def __init__(self, decorate: Callable[[Callable], Any]) -> None:
        self._decorate = decorate
        self._rows = pack_rows.for_one_lane()
        self._done: dict[str, Any] = {
            "exponential": decorate(_exponential), "logarithm": decorate(_logarithm)}

    def __call__(self, function: Any) -> Any:
        """The card's version of a compiled function, or of its plain one."""
        plain = getattr(function, "py_func", function)
        name = plain.__name__
        if name not in self._done:
            names = {"__builtins__": plain.__globals__["__builtins__"], "__name__": __name__}
            for used in plain.__code__.co_names:
                if used in self._rows:
                    names[used] = self._rows[used]
                elif used in plain.__globals__:
                    value = plain.__globals__[used]
                    names[used] = self(value) if _is_ours(value) else value
            made = types.FunctionType(plain.__code__, names, name, plain.__defaults__)
            self._done[name] = self._decorate(made)
        return self._done[name]


def _is_ours(value: Any) -> bool:
    """Whether a global is a function of the core, compiled or, without a compiler, plain."""
    plain = getattr(value, "py_func", value)
    return isinstance(plain, types.FunctionType) and plain.__module__.startswith(_OURS)


def _exponential(x):
    return math.exp(min(max(x, -700.0), 700.0))


def _logarithm(x):
    return math.log(x)


_follow = Translated(cuda.jit(device=True))(follow_shot)
_one = pack_rows.for_one_lane()
_OWN, _KNOWN, _AT = _one["OWN_SIZE"], _one["KNOWN_SIZE"], _one["AT_SIZE"]
_STEP, _CROSS, _OWN_ROWS = _one["STEP_SIZE"], _one["CROSS_SIZE"], _one["OWN_ROWS"]
_RATES = _one["RK_STAGES"] * _STEP


@cuda.jit
def follow_all(order, shots, which, paps, pars, film, pins, rows, traces, keep, powered, oil_end):
    """Thread i follows shot order[i]; arguments as `chunk.throw_chunk`, traces for every shot."""
    i = cuda.grid(1)
    if i < order.shape[0]:
        n = order[i]
        pack = Pack(
            cuda.local.array(_OWN, float64),
            cuda.local.array(_KNOWN, float64),
            cuda.local.array(_AT, float64),
            cuda.local.array(_AT, float64),
            cuda.local.array(_STEP, float64),
            cuda.local.array(_STEP, float64),
            cuda.local.array(_RATES, float64),
            cuda.local.array(_STEP, float64),
            cuda.local.array(1, float64),
            cuda.local.array(1, float64),
            cuda.local.array(1, float64),
            cuda.local.array(1, float64),
            cuda.local.array(_CROSS, float64),
            cuda.local.array(1, int64),
            cuda.local.array((1, _OWN_ROWS), float64),
            cuda.local.array(12, float64),
        )
        b = which[n]
        _follow(n, shots[n], paps[b], pars[b], pack, film, pins, rows[n], traces, keep,
                powered, oil_end)
