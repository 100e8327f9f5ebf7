"""Plain values into a struct, or one line that says which key is wrong and what is accepted.

msgspec does the converting; where it refuses, its words name types and leave table names out, so
the place is looked for again here, from the outside in, and told in the file's own words.
"""

from __future__ import annotations

import types
import typing
from typing import Any, TypeVar

import msgspec

from .errors import InputError, control_character, known_names

T = TypeVar("T")

MAX_DEPTH = 12  # tables and lists within each other; our files need four
# whole numbers that TOML 1.0 asks every reader to take (64 bits, signed; status R)
WHOLE_RANGE = (-(2**63), 2**63 - 1)


def checked(value: Any, kind: type[T], where: str, each: str = "") -> T:
    """`value` (dicts, lists, numbers, text) as a `kind`.

    Parameters
    ----------
    kind : a msgspec struct, or a dict or list of such.
    where : what to call the source in errors, usually a file's path.
    each : what the tables of a dict are, as in "ball"; errors then say "ball 'name'".

    Raises
    ------
    InputError
        one line: source, table, key, what it must be.
    """
    try:
        return convert(value, kind)
    except (msgspec.ValidationError, OverflowError, RecursionError) as error:
        found = fault(value, kind, each)
        if found is None:  # msgspec and we disagree: its words are better than none
            raise InputError(f"{where}: {error}") from None
        raise InputError(f"{where}: {found}") from None


def convert(value: Any, kind: Any) -> Any:
    """msgspec's conversion, with keys as text and numbers as numbers."""
    return msgspec.convert(value, kind, str_keys=True)


def fault(value: Any, kind: Any, each: str = "") -> str | None:
    """The first thing that keeps `value` from being a `kind`, in words; None if nothing does."""
    try:
        convert(value, kind)
        return None
    except (msgspec.ValidationError, OverflowError, RecursionError):
        pass
    kind = _plain_kind(value, kind)
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if _is_struct(kind) and isinstance(value, dict):
        return _struct_fault(value, kind)
    if origin is dict and isinstance(value, dict):
        for key, one in value.items():
            found = fault(one, args[1])
            if found is not None:
                return f"{each} '{key}': {found}" if each else f"{key}: {found}"
    if origin is list and isinstance(value, list):
        for n, one in enumerate(value, start=1):
            found = fault(one, args[0])
            if found is not None:
                return f"number {n}: {found}"
    if origin is tuple and isinstance(value, list) and len(value) == len(args):
        for n, (one, what) in enumerate(zip(value, args, strict=True), start=1):
            found = fault(one, what)
            if found is not None:
                return f"number {n}: {found}"
    return f"must be {_wanted(kind)}, not {_given(value)}"


def _struct_fault(value: dict[str, Any], kind: Any) -> str | None:
    fields = {field.encode_name: field for field in msgspec.structs.fields(kind)}
    for key in value:
        if key not in fields:
            return f"unknown key '{key}'; {known_names(key, fields)}"
    for name, field in fields.items():
        if field.required and name not in value:
            return f"{name} is missing"
    for name, one in value.items():
        what = fields[name].type
        found = fault(one, what)
        if found is None:
            continue
        if isinstance(one, list) and found.startswith("number "):
            return _entry(name, one, found)
        if isinstance(one, dict):
            return f"[{name}] {found}"
        return f"{name} {found}"
    return None


def _entry(name: str, entries: list[Any], found: str) -> str:
    """'[[ball]] number 2 (anchor): place must be ...' for tables, 'layouts number 2: ...' else."""
    place, _, rest = found.partition(": ")
    entry = entries[int(place.removeprefix("number ")) - 1]
    if not isinstance(entry, dict):
        return f"{name} {found}"
    own = entry.get("name", entry.get(name))
    called = f" ({own})" if isinstance(own, str) else ""
    return f"{name} {place}{called}: {rest}"


def _is_struct(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, msgspec.Struct)


def _plain_kind(value: Any, kind: Any) -> Any:
    """Of 'this or that' the part that `value` was meant for."""
    if typing.get_origin(kind) not in (typing.Union, types.UnionType):
        return kind
    parts = [part for part in typing.get_args(kind) if part is not type(None)]
    for part in parts:
        base = typing.get_origin(part) or part
        if ((isinstance(value, dict) and (base is dict or _is_struct(part)))
                or (isinstance(value, list) and base in (list, tuple))):
            return part
    return parts[0]


def _wanted(kind: Any) -> str:
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    simple = {float: "a number", int: "a whole number", str: "text in quotes",
              bool: "true or false"}
    if kind in simple:
        return simple[kind]
    if _is_struct(kind):
        return "a table { " + ", ".join(
            f"{f.encode_name} = ..." for f in msgspec.structs.fields(kind) if f.required) + " }"
    if origin is list:
        return f"a list of {_many(args[0])}"
    if origin is tuple:
        return f"a list of {len(args)} {_many(args[0])}"
    return "a table" if origin is dict else str(kind)


def _many(kind: Any) -> str:
    return {float: "numbers", int: "whole numbers", str: "texts"}.get(
        kind, "tables" if _is_struct(kind) else "lists")


def _given(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text '{value}'"
    if isinstance(value, int | float):
        return f"{value!r}" if abs(value) < 1e15 else "a number of that size"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return "a table" if isinstance(value, dict) else f"the {type(value).__name__} {value}"


def tidy(value: Any, where: str, depth: int = 0) -> Any:
    """Decoded values as our files take them: text in one line and printable, sizes in bounds.

    Line breaks and tabs in a text become one space.

    Raises
    ------
    InputError
        for control characters, whole numbers beyond 64 bits, and tables nested too deep.
    """
    if depth > MAX_DEPTH:
        raise InputError(f"{where}: tables or lists within each other, more than {MAX_DEPTH} deep")
    if isinstance(value, dict):
        return {_text(key, where): tidy(one, f"{where}: {key}" if depth < 3 else where, depth + 1)
                for key, one in value.items()}
    if isinstance(value, list):
        return [tidy(one, where, depth + 1) for one in value]
    if isinstance(value, str):
        return _text(value, where)
    if isinstance(value, int) and not WHOLE_RANGE[0] <= value <= WHOLE_RANGE[1]:
        raise InputError(f"{where}: a whole number beyond 64 bits")
    return value


def _text(text: str, where: str) -> str:
    text = " ".join(text.split()) if any(c in text for c in "\n\r\t") else text
    bad = control_character(text)
    if bad:
        raise InputError(f"{where}: the control character {bad} in a text; accepted: letters, "
                         "signs and spaces")
    return text
