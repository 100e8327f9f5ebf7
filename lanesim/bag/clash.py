"""Limits that cannot be met together: which ones, and what each would have to be."""

from __future__ import annotations

import numpy as np

from .program import Program
from .rows import Rows

LIMIT_NAMES = ("registered", "carried", "bag_weight_lb", "drilled", "cases", "required balls")


def conflicting_limits(program: Program) -> list[str]:
    """Limits that cannot be met together, none of which is to blame without the others.

    A deletion filter (Chinneck & Dravnieks, ORSA J. Comput. 3, 157 (1991); from memory): each
    limit is dropped in turn and stays dropped if the rest is still infeasible. What is left is an
    irreducible set. Empty if a bag exists.
    """
    def feasible(without: frozenset[str]) -> bool:
        rows = Rows(program, without)
        return rows.maximise(np.zeros(rows.size)) is not None

    if feasible(frozenset()):
        return []
    dropped: frozenset[str] = frozenset()
    for name in LIMIT_NAMES:
        if not feasible(dropped | {name}):
            dropped |= {name}
    return [name for name in LIMIT_NAMES if name not in dropped]


def explain_infeasible(program: Program) -> str:
    """One line: which limits clash, and what each would have to be for a bag to exist."""
    names = conflicting_limits(program)
    if not names:
        return "a bag exists"
    parts = []
    for name in names:
        if name == "required balls":
            parts.append("the balls that must come (" + ", ".join(sorted(program.required)) + ")")
            continue
        if name == "cases":
            room = ", ".join(f"{c.balls} balls" + (f" and {c.weight_lb:g} lb" if c.weight_lb
                                                   is not None else "")
                             for c in program.limits.cases)
            parts.append(f"cases for {room}")
            continue
        limit = getattr(program.limits, name)
        needed = _needed(program, name)
        word = name.replace("bag_weight_lb", "bag weight")
        unit = " lb" if name == "bag_weight_lb" else ""
        text = f"{word} {limit:g}{unit}"
        parts.append(text if needed is None else f"{text} (at least {needed:g}{unit} needed)")
    return "no bag keeps these limits together: " + "; ".join(parts)


def _needed(program: Program, name: str) -> float | None:
    """Smallest value of one limit, the others kept, for which a bag exists; None if there is none.

    The elastic form: the limit's left side is minimised over the bags that keep the others.
    """
    rows = Rows(program, frozenset({name}))
    gain = np.zeros(rows.size)
    for known, _, columns, numbers in rows.limit_rows():
        if known == name:
            gain[columns] = -np.asarray(numbers)
    found = rows.maximise(gain)
    return None if found is None else round(-found.gain, 6)
