"""The errors a user can cause: one clear line each, never a traceback."""

from __future__ import annotations

import difflib
import math
import numbers
from collections.abc import Iterable


class InputError(ValueError):
    """Something the user gave is wrong; the message says what, where and what is accepted.

    Commands print the message on one line of stderr and leave with exit code 2.
    """


class InputWarning(UserWarning):
    """A value is outside a limit that an old or house ball may break; the work goes on."""


def check_range(
    name: str, value: float, low: float, high: float, unit: str = "", where: str = ""
) -> float:
    """Return `value` as a float if it is a finite number within [low, high].

    Raises
    ------
    InputError
        naming the quantity, where it stood, the value and the accepted range.
    """
    place = f"{where}: " if where else ""
    tail = f" {unit}" if unit else ""
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        raise InputError(f"{place}{name} must be a number from {low:g} to {high:g}{tail}, "
                         f"not {value!r}")
    number = float(value)
    if not math.isfinite(number) or not low <= number <= high:
        raise InputError(f"{place}{name} is {number:g}{tail}; accepted: {low:g} to {high:g}{tail}")
    return number


def nearest_name(given: str, known: Iterable[str], kind: str) -> InputError:
    """Build the error for an unknown name, offering the nearest known one.

    Returns (does not raise) an InputError such as
    "unknown ball 'solid-hi'; did you mean 'solid-high'? known: ...".
    """
    names = sorted(known)
    close = difflib.get_close_matches(given.lower(), names, n=1, cutoff=0.4)
    hint = f"did you mean '{close[0]}'? " if close else ""
    return InputError(f"unknown {kind} '{given}'; {hint}known: {', '.join(names)}")
