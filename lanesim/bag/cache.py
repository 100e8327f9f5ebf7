"""Results kept on disk by their content: what went in, and the code that made them.

A record's name is the SHA-256 of everything it depends on: the inputs as bytes and the text of
the source files (and data tables) behind it. A changed ball, seed or line of code has another
name; nothing is ever looked up by date or title. A record starts with the SHA-256 of its own
body: one that does not match (cut short, flipped bits, another file under its name) is counted,
removed and made anew. Records are written whole or not at all, so an interrupted run goes on
where it stopped.
"""

from __future__ import annotations

import functools
import hashlib
import io
from pathlib import Path
from typing import Any

import numpy as np

from ..files import write_bytes

HEADER = b"lanesim record 1\n"
PACKAGE = Path(__file__).parents[1]
# whose text decides what a shot, a line, its worth or a lane's change is
SHOT_SOURCES = (*(f"{folder}/{path.name}" for folder in ("motion/kernels", "lines")
                  for path in sorted((PACKAGE / folder).glob("*.py"))),
                "motion/setup.py", "motion/batch.py", "motion/trajectory.py", "motion/pocket.py",
                "lane/geometry.py", "units.py", "player.py", "streams.py", "bag/search.py",
                "bag/judging.py", "pins/spares.py", "pins/table.py", "data/carry.npz",
                "data/spares.npz")
LANE_SOURCES = (*SHOT_SOURCES, "studies/play.py", "studies/moves.py", "studies/transition.py",
                "bag/plan.py")


@functools.cache
def fingerprint(sources: tuple[str, ...]) -> bytes:
    """SHA-256 of source files of the package, and the versions of numpy and scipy."""
    import scipy

    digest = hashlib.sha256(f"{np.__version__} {scipy.__version__}".encode())
    for name in sources:
        path = PACKAGE / name
        digest.update(name.encode() + b"\0" + (path.read_bytes() if path.exists() else b"missing"))
    return digest.digest()


def key_of(sources: tuple[str, ...], *parts: Any) -> str:
    """Name of the record that depends on those sources and parts (arrays, numbers, texts)."""
    digest = hashlib.sha256(fingerprint(sources))
    for part in parts:
        if isinstance(part, np.ndarray):
            data = np.ascontiguousarray(part)
            digest.update(f"{data.dtype.str}{data.shape}".encode() + data.tobytes())
        else:
            digest.update(repr(part).encode())
        digest.update(b"\0")
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
    np.savez(buffer, allow_pickle=False, **arrays)
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
