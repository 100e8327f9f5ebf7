"""The errors a user can cause: one clear line each, never a traceback."""

from __future__ import annotations

import difflib
import math
import numbers
import re
from collections.abc import Iterable
from typing import Any

MOST_NAMES = 16  # names listed in an error


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
    bounds = f"{plain(low)} to {plain(high)}{tail}"
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        raise InputError(f"{place}{name} must be a number from {bounds}, not {value!r}")
    try:
        number = float(value)
    except OverflowError:  # a whole number of more than 308 digits
        number = math.inf if value > 0 else -math.inf
    if not math.isfinite(number) or not low <= number <= high:
        raise InputError(f"{place}{name} is {plain(number)}{tail}; accepted: {bounds}")
    return number


def plain(number: float) -> str:
    """A number as people write it: 100,000 and not 1e+05; six digits otherwise."""
    if abs(number) >= 1e5 and abs(number) < 1e15 and float(number).is_integer():
        return f"{number:,.0f}"
    return f"{number:g}"


def check_kind(name: str, value: Any, kind: type) -> None:
    """Refuse a value of another kind, as swapped arguments give it.

    Raises
    ------
    InputError
        naming the argument, what it is and what is accepted.
    """
    if not isinstance(value, kind):
        raise InputError(f"{name} is a {type(value).__name__}; accepted: a {kind.__name__} (the "
                         "order of arguments is ball, release, pattern)")


def nearest_name(given: str, known: Iterable[str], kind: str) -> InputError:
    """Build the error for an unknown name, offering the nearest known one.

    Returns (does not raise) an InputError such as
    "unknown ball 'solid-hi'; did you mean 'solid-high'? known: ...".
    """
    return InputError(f"unknown {kind} '{given}'; {known_names(given, sorted(known))}")


def known_names(given: str, known: Iterable[str]) -> str:
    """'did you mean 'x'? known: x, y, z': the nearest of the known names, and the first of all."""
    names = list(known)
    close = difflib.get_close_matches(given.lower()[:80], names, n=1, cutoff=0.4)
    hint = f"did you mean '{close[0]}'? " if close else ""
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return f"{hint}known: {', '.join(names[:MOST_NAMES])}{more}"


# What a terminal takes as an order, or that turns the direction of writing: C0 and C1 controls,
# line and paragraph separators, overrides of direction (Unicode categories Cc, Zl, Zp and those
# of Cf that embed or isolate; status M), and halves of surrogate pairs, by which Python stands for
# bytes of a file's name that are not UTF-8.
_CONTROLS = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def control_character(text: str) -> str:
    """The first character of `text` that must not reach a terminal or a page, as U+001B; or ''."""
    found = _CONTROLS.search(text)
    return f"U+{ord(found[0]):04X}" if found else ""


def shown(text: object) -> str:
    """Text for people: in one line, with control characters and undecodable bytes as escapes."""
    return _CONTROLS.sub(_escape, str(text))


def _escape(found: re.Match[str]) -> str:
    code = ord(found[0])
    if 0xDC80 <= code <= 0xDCFF:  # an undecodable byte (PEP 383)
        return f"\\x{code - 0xDC00:02x}"
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
