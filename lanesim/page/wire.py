"""What the browser sends and gets: structs that refuse unknown keys, JSON both ways.

One description serves as check, as documentation (`schema`) and as the key under which a result
is kept.
"""

from __future__ import annotations

import dataclasses
import hashlib
from typing import Any, TypeVar

import msgspec

from ..errors import InputError

T = TypeVar("T")


class Asked(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """Base of all requests."""


class Shot(Asked, frozen=True, kw_only=True):
    """One shot. Boards are the player's; the target is a board at the arrows.

    ball, pattern : a shipped name, or FILE.toml:NAME and FILE.oil in the folder. finish, layout:
    empty for the ball's own. fitted : a fitted file in the folder, or empty.
    """

    ball: str
    pattern: str
    speed_mph: float
    rev_rpm: float
    rotation_deg: float
    tilt_deg: float
    laydown_board: float
    target_board: float
    hand: str = "right"
    finish: str = ""
    layout: str = ""
    fitted: str = ""


class Spreading(Shot, frozen=True, kw_only=True):
    """A shot and how the player repeats it: an assumed level, or a player file's own spread."""

    level: str = "200"
    player: str = ""


def decode(body: bytes, kind: type[T]) -> T:
    """A request from its body, or one line that says what is wrong with it."""
    try:
        return msgspec.json.decode(body, type=kind, strict=True)
    except msgspec.ValidationError as error:
        raise InputError(f"not understood: {error}".replace("\n", " ")) from None
    except msgspec.DecodeError as error:
        raise InputError(f"not valid JSON: {error}".replace("\n", " ")) from None


def encode(value: Any) -> bytes:
    """JSON of plain values, arrays, dataclasses and structs; a number that is none becomes null."""
    return msgspec.json.encode(_plain(value))


def _plain(value: Any) -> Any:
    """Everything that JSON knows; numpy's own numbers and arrays become Python's."""
    if isinstance(value, msgspec.Struct):
        return {name: _plain(getattr(value, name)) for name in value.__struct_fields__}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, float):
        return float(value)
    return value


def key_of(study: str, asked: Any, *content: bytes) -> str:
    """Name of a result: the SHA-256 of what was asked, of the files' content and of the code."""
    digest = hashlib.sha256(study.encode() + b"\0" + msgspec.json.encode(asked, order="sorted"))
    for part in content:
        digest.update(b"\0" + hashlib.sha256(part).digest())
    return digest.hexdigest()[:32]
