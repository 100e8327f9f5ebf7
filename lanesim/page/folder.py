"""The folder that the page works in: its whole memory, plain files that the commands read too.

Only files that lie in the folder itself are read or written, by plain names; what the page keeps
for itself (results, former versions) lies in HIDDEN inside it.
"""

from __future__ import annotations

import os
import re
import threading
from dataclasses import dataclass
from pathlib import Path

from ..errors import InputError
from ..files import write_bytes
from . import readers
from .readers import HIDDEN

ENDINGS = (".toml", ".oil", ".csv")
MAX_FILE = 2_000_000  # bytes
MAX_FILES = 500
KEPT_FORMER = 20  # former versions of one file
_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_ .()+-]{0,79}")


@dataclass(frozen=True)
class Entry:
    """One file: name, what it is (readers.KINDS, or "broken" with the reason), bytes, date [s]."""

    name: str
    kind: str
    problem: str
    size: int
    changed: float
    items: tuple[str, ...] = ()


class Folder:
    """Reads and writes the files of one folder.

    Raises
    ------
    InputError
        for a name that is not a plain file name of a known ending, a file that is too large, or
        content that its reader refuses.
    """

    def __init__(self, path: str | Path) -> None:
        self.root = Path(path).resolve()
        self._known: dict[str, tuple[tuple[int, int], Entry]] = {}
        self._lock = threading.RLock()

    @property
    def hidden(self) -> Path:
        """Where the page keeps what is not a user's file."""
        return self.root / HIDDEN

    def path(self, name: str) -> Path:
        """The path of a file of that name in the folder; it need not exist."""
        if not _NAME.fullmatch(name) or ".." in name or not name.lower().endswith(ENDINGS):
            raise InputError(f"file name '{name[:90]}'; accepted: letters, digits, spaces and "
                             f"_.()+- (80 at most), ending in {', '.join(ENDINGS)}")
        path = self.root / name
        if path.is_symlink() or path.resolve().parent != self.root:
            raise InputError(f"file '{name}' does not lie in the folder itself")
        return path

    def files(self) -> list[Entry]:
        """What lies in the folder, by name; a file that its reader refuses says why."""
        with self._lock:
            found = sorted(e.name for e in os.scandir(self.root)
                           if e.is_file(follow_symlinks=False) and _NAME.fullmatch(e.name)
                           and e.name.lower().endswith(ENDINGS))
            return [self._entry(name) for name in found[:MAX_FILES]]

    def _entry(self, name: str) -> Entry:
        path = self.root / name
        stat = path.stat()
        stamp = (stat.st_mtime_ns, stat.st_size)
        known = self._known.get(name)
        # an event names other files: what they say decides whether it is in order
        if known is not None and known[0] == stamp and known[1].kind not in {"event", "broken"}:
            return known[1]
        kind, problem = "broken", ""
        items: tuple[str, ...] = ()
        if stat.st_size > MAX_FILE:
            problem = f"{name}: {stat.st_size / 1e6:.1f} MB; accepted: up to {MAX_FILE / 1e6:g} MB"
        else:
            try:
                kind, items = readers.inspect(self.text(name), name, self.root)
            except InputError as error:
                problem = self.plain(str(error))
        entry = Entry(name, kind, problem, stat.st_size, stat.st_mtime, items)
        self._known[name] = (stamp, entry)
        return entry

    def stamp(self, name: str) -> tuple[int, int]:
        """What changes when the file does."""
        try:
            stat = self.path(name).stat()
        except FileNotFoundError:
            raise InputError(f"no file '{name}' in the folder") from None
        return stat.st_mtime_ns, stat.st_size

    def text(self, name: str) -> str:
        """A file's text."""
        path = self.path(name)
        if not path.is_file():
            raise InputError(f"no file '{name}' in the folder")
        if path.stat().st_size > MAX_FILE:
            raise InputError(f"{name}: too large; accepted: up to {MAX_FILE / 1e6:g} MB")
        try:
            return path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            raise InputError(f"{name}: not a text file in UTF-8") from None

    def write(self, name: str, text: str, *, over: bool) -> Entry:
        """Write a file whole or not at all, after its reader has accepted it.

        over : whether a file of that name may be replaced; its former version is kept.
        """
        path = self.path(name)
        data = text.encode("utf-8")
        if len(data) > MAX_FILE:
            raise InputError(f"{name}: too large; accepted: up to {MAX_FILE / 1e6:g} MB")
        with self._lock:
            try:
                readers.inspect(text, name, self.root)
            except InputError as error:
                raise InputError(self.plain(str(error))) from None
            if path.exists():
                if not over:
                    raise InputError(f"there is a file '{name}' already; give it another name")
                if path.read_bytes() == data:
                    return self._entry(name)
                self._keep_former(path)
            elif len(self.files()) >= MAX_FILES:
                raise InputError(f"the folder holds {MAX_FILES} files; accepted: up to that many")
            write_bytes(path, data)
            return self._entry(name)

    def _keep_former(self, path: Path) -> None:
        place = self.hidden / "former"
        numbers = sorted(int(p.suffix[1:]) for p in place.glob(f"{path.name}.*")
                         if p.suffix[1:].isdigit())
        write_bytes(place / f"{path.name}.{(numbers[-1] if numbers else 0) + 1}",
                    path.read_bytes())
        for number in numbers[:max(0, len(numbers) + 1 - KEPT_FORMER)]:
            (place / f"{path.name}.{number}").unlink(missing_ok=True)

    def plain(self, message: str) -> str:
        """A message without the folder's path: the reader of the page knows where he is."""
        return message.replace(f"{self.root}{os.sep}", "")
