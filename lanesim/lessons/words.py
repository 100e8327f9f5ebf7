"""Numbers and comparing words for lessons: a sign is told, not shown."""

from __future__ import annotations

import math


def amount(value: float, unit: str = "", digits: int = 1) -> str:
    """A number with its unit; the unit's plural 's' is dropped for exactly one."""
    shown = f"{value:.{digits}f}"
    if unit in {"boards", "turns", "games", "points", "pins"} and float(shown) == 1.0:
        unit = unit[:-1]
    return f"{shown} {unit}".rstrip()


def than(difference: float, more: str, less: str, unit: str = "", digits: int = 1) -> str:
    """'4.9 ft later', '0.3 ft earlier', or 'just as ... ' where the shown number is nought."""
    shown = f"{abs(difference):.{digits}f}"
    if float(shown) == 0.0:
        return f"no {more}"
    return f"{amount(abs(difference), unit, digits)} {more if difference > 0 else less}"


def which(values: dict[str, float]) -> str:
    """Name of the largest value."""
    return max(values, key=lambda name: values[name] if math.isfinite(values[name]) else -math.inf)


def outcome_words(outcome: str) -> str:
    """How a shot ended, within a sentence."""
    return {
        "pocket": "in the pocket", "high": "high on the head pin", "light": "light on the head pin",
        "opposite": "on the far side of the head pin", "missed": "past the head pin",
        "gutter": "in the gutter",
    }[outcome]
