"""Results of long questions, kept by what was asked: the same question finds its answer again.

A result's name is the SHA-256 of the question, of the files behind it and of lanesim's own code
(`wire.key_of`). It lies in the folder's hidden part as KEY.json, with pictures KEY-N.svg and, for
the bag, a report KEY.html.
"""

from __future__ import annotations

import functools
import hashlib
import re
from pathlib import Path
from typing import Any

import msgspec

from ..files import write_bytes
from .folder import Folder
from .wire import encode, key_of

MOST_BYTES = 200_000_000  # the oldest results go beyond that
_KEY = re.compile(r"[0-9a-f]{32}")
# fields of a question that name a file; the last ones may lead to any other file of the folder
_FILES = ("ball", "pattern", "fitted", "player", "file", "balls_file")
_LEADING = ("file", "balls_file")


@functools.cache
def code() -> bytes:
    """SHA-256 of the package's own code and tables: other code, other results."""
    root = Path(__file__).parents[1]
    digest = hashlib.sha256()
    for path in sorted([*root.rglob("*.py"), *root.glob("data/*.npz")]):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.digest()


class Results:
    """The kept results of one folder."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.place = folder.hidden / "results"

    def key(self, study: str, asked: Any) -> str:
        """Name of the result of a question, by the content of all that it names."""
        parts = [code()]
        values = msgspec.to_builtins(asked)
        named = {str(values.get(name, "")).partition(":")[0] for name in _FILES}
        for many in ("shots_thrown", "others"):
            for each in values.get(many, []):
                found = each if isinstance(each, dict) else {"ball": each}
                named |= {str(v).partition(":")[0] for v in found.values() if isinstance(v, str)}
        if any(values.get(name) for name in _LEADING):
            named |= {e.name for e in self.folder.files() if not e.name.endswith(".csv")}
        for name in sorted(n for n in named if n.endswith((".toml", ".oil", ".csv"))):
            parts.append(name.encode() + b"\0" + self.folder.text(name).encode())
        return key_of(study, asked, *parts)

    def path(self, key: str, ending: str) -> Path | None:
        """A kept file, or None."""
        if not _KEY.fullmatch(key):
            return None
        path = self.place / f"{key}{ending}"
        return path if path.is_file() else None

    def keep(self, key: str, answer: dict[str, Any], pictures: list[bytes],
             report: str = "") -> None:
        """Keep a result; the answer itself comes last, so that it is whole once it is there."""
        self.prune()
        for n, picture in enumerate(pictures):
            write_bytes(self.place / f"{key}-{n}.svg", picture)
        if report:
            write_bytes(self.place / f"{key}.html", report.encode())
        write_bytes(self.place / f"{key}.json", encode(answer))

    def prune(self) -> None:
        """Let the oldest go while there is too much."""
        files = sorted(((p.stat().st_mtime, p.stat().st_size, p) for p in self.place.glob("*.*")),
                       reverse=True) if self.place.is_dir() else []
        total = 0
        for _, size, path in files:
            total += size
            if total > MOST_BYTES:
                path.unlink(missing_ok=True)
