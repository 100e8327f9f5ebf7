"""Results kept on disk by what they depend on: what went in, and the code that made them.

A record's name is the SHA-256 of everything it depends on: the inputs as given, written as text
with nine digits (the last bits of a computed number may differ between processors and must not
decide what is found), and the files behind it (`closure.fingerprint`). A changed ball, seed or line
of code has another name; nothing is ever looked up by date or title. A record starts with the
SHA-256 of its own body: one that does not match (cut short, flipped bits, another file under its
name) is counted, removed and made anew. Records are written whole or not at all, so an interrupted
run goes on where it stopped.
"""

from __future__ import annotations

import dataclasses
import hashlib
import io
from pathlib import Path
from typing import Any

import numpy as np

from ..files import write_bytes
from .closure import fingerprint

HEADER = b"lanesim record 2\n"
NAMES = frozenset({"name", "title", "note"})  # of a noun: they decide nothing


def canonical(value: Any) -> str:
    """Text of a value: the same for numbers that differ in their last bits only.

    Numbers, texts, None, arrays, lists, dicts and dataclasses of them, without their names.
    """
    if value is None or isinstance(value, bool | str):
        return repr(value)
    if isinstance(value, int | np.integer):
        return str(int(value))
    if isinstance(value, float | np.floating):
        return _number(float(value))
    if isinstance(value, np.ndarray):
        if value.dtype.kind in "fc":
            return f"{value.shape}" + ",".join(map(_number, value.ravel().tolist()))
        return f"{value.shape}{value.ravel().tolist()}"
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return type(value).__name__ + canonical({
            f.name: getattr(value, f.name) for f in dataclasses.fields(value)
            if f.name not in NAMES})
    if isinstance(value, dict):
        return "{" + ";".join(f"{k!r}:{canonical(v)}" for k, v in value.items()) + "}"
    if isinstance(value, tuple | list):
        return "(" + ";".join(canonical(v) for v in value) + ")"
    raise TypeError(f"no text for a {type(value).__name__} in the name of a record")


def _number(value: float) -> str:
    """Nine digits; nothing below a million millionth, nor a sign of zero."""
    return f"{round(float(value), 12) + 0.0:.9g}"


def key_of(roots: tuple[str, ...], *parts: Any) -> str:
    """Name of the record that depends on those modules (with all they import) and parts."""
    digest = hashlib.sha256(fingerprint(roots))
    for part in parts:
        digest.update(canonical(part).encode() + b"\0")
    return digest.hexdigest()


class Cache:
    """Records in a folder; with folder None nothing is kept.

    Attributes
    ----------
    hits, misses : records found and not found; damaged : records found that did not match their
    checksum.
    """

    def __init__(self, folder: str | Path | None = None) -> None:
        self.folder = None if folder is None else Path(folder)
        self.hits = self.misses = self.damaged = 0

    def path(self, key: str) -> Path:
        """Where a record lies."""
        assert self.folder is not None
        return self.folder / key[:2] / f"{key}.rec"

    def get(self, key: str) -> dict[str, np.ndarray] | None:
        """A record's arrays; None if it is not there or not whole."""
        if self.folder is None:
            self.misses += 1
            return None
        path = self.path(key)
        try:
            data = path.read_bytes()
        except OSError:
            self.misses += 1
            return None
        arrays = _unpack(data, key)
        if arrays is None:
            self.damaged += 1
            self.misses += 1
            path.unlink(missing_ok=True)
            return None
        self.hits += 1
        return arrays

    def put(self, key: str, arrays: dict[str, np.ndarray]) -> None:
        """Keep a record."""
        if self.folder is not None:
            write_bytes(self.path(key), _pack(arrays, key))


def _pack(arrays: dict[str, np.ndarray], key: str) -> bytes:
    buffer = io.BytesIO()
    named: dict[str, Any] = dict(arrays)
    np.savez(buffer, **named)
    body = key.encode() + b"\n" + buffer.getvalue()
    return HEADER + hashlib.sha256(body).hexdigest().encode() + b"\n" + body


def _unpack(data: bytes, key: str) -> dict[str, np.ndarray] | None:
    start = len(HEADER) + 65
    body = data[start:]
    if (not data.startswith(HEADER)
            or data[len(HEADER) : start] != hashlib.sha256(body).hexdigest().encode() + b"\n"
            or not body.startswith(key.encode() + b"\n")):
        return None
    with np.load(io.BytesIO(body[len(key) + 1 :]), allow_pickle=False) as found:
        return {name: found[name] for name in found.files}
