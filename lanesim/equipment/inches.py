"""Inches as a tape shows them: read as 5 1/4, printed to the nearest sixteenth.

`drill` marks a ball with a tape, and a tape has sixteenths. A sixteenth is 1.6 mm, so rounding
moves a mark by at most 0.8 mm; where that is too much, use the millimetres.
"""

from __future__ import annotations

import math
import re

from ..errors import InputError

_FRACTION = re.compile(
    r"(?P<sign>[+-]?)(?:(?P<whole>\d{1,4})[ -]+)?(?P<top>\d{1,4})/(?P<bottom>\d{1,4})"
)
_DECIMAL = re.compile(r"[+-]?(?:\d{1,9}(?:\.\d{0,30})?|\.\d{1,30})")
_UNIT = re.compile(r"\s*(?:in|inch|inches|\")\Z")


def read_inches(text: str, name: str = "length") -> float:
    """Inches [in] written as 5.25, 5 1/4, 5-1/4 or 1/4, with or without a unit behind.

    Raises
    ------
    InputError
        naming what was read and how it may be written.
    """
    plain = _UNIT.sub("", text.strip().lower())
    if _DECIMAL.fullmatch(plain):
        return float(plain)
    found = _FRACTION.fullmatch(plain)
    if found and int(found["bottom"]) > 0:
        size = int(found["whole"] or 0) + int(found["top"]) / int(found["bottom"])
        return -size if found["sign"] == "-" else size
    raise InputError(f"{name} '{text}' is not understood; accepted: inches, as in 5.25 or 5 1/4")


def sixteenths(value_in: float) -> str:
    """Inches to the nearest sixteenth, as a tape says it: 5.26 gives '5 1/4'.

    >>> sixteenths(4.5), sixteenths(-0.0625), sixteenths(3.0), sixteenths(0.01)
    ('4 1/2', '-1/16', '3', '0')
    """
    count = math.floor(abs(value_in) * 16.0 + 0.5)
    whole, part = divmod(count, 16)
    words = [str(whole)] if whole or not part else []
    if part:
        shared = math.gcd(part, 16)
        words.append(f"{part // shared}/{16 // shared}")
    return ("-" if value_in < 0 and count else "") + " ".join(words)
