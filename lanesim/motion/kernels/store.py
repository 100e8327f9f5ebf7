"""Where compiled code is kept: the first folder that can be written, under a stamp, checked.

A file is a line that names the format, the digest of what follows together with the stamp and the
file's own name, and the code. What does not pass is never handed to the compiler: it is built anew,
and that is said once in one line. Files are written whole under another name and then moved, so
that two processes may compile at once.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import stat
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

_FORMAT = b"lanesim compiled code 1\n"
_DIGEST_BYTES = 32
_SUFFIX = ".code"
_PREFIX = "compiled-"
KEEP_STAMPS = 4  # the newest; an older one is an old version's or another machine's
_LEFTOVER_S = 3600.0  # a half-written file of this age has nobody writing it


def digest_of(*parts: bytes) -> str:
    """SHA-256 of the parts, each with its length before it, so that no two lists look alike."""
    return _digest(*parts).hex()


def _digest(*parts: bytes) -> bytes:
    whole = hashlib.sha256()
    for part in parts:
        whole.update(len(part).to_bytes(8, "big"))
        whole.update(part)
    return whole.digest()


def user_cache_folder() -> Path | None:
    """The folder for caches of this user by the system's custom, or None if there is none."""
    try:
        home = Path.home()
    except RuntimeError:
        return None
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local") / "lanesim"
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "lanesim"
    return Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache") / "lanesim"


def temporary_folder() -> Path:
    """A folder of this user among the temporary ones: the same for every process."""
    user = os.getuid() if hasattr(os, "getuid") else "user"
    return Path(tempfile.gettempdir()) / f"lanesim-{user}"


def folders(beside: Path) -> list[Path]:
    """Where to look and to write, in this order: beside the package, the user's, a temporary one.

    NUMBA_CACHE_DIR, the setting of numba for this, takes the place of the first two.
    """
    given = os.environ.get("NUMBA_CACHE_DIR")
    first = [Path(given)] if given else [beside, user_cache_folder()]
    return [folder for folder in first if folder is not None] + [temporary_folder()]


class Store:
    """Checked files under one stamp in the first of several folders that works.

    Attributes
    ----------
    places : the folders of this stamp, in the order in which they are looked into.
    """

    def __init__(self, bases: Sequence[Path], stamp: str) -> None:
        self.places = [base / f"{_PREFIX}{stamp}" for base in bases]
        self._stamp = stamp.encode()
        self._said: set[str] = set()
        self._bad: set[Path] = set()

    def read(self, name: str) -> bytes | None:
        """The contents kept under a name, or None if there are none that pass."""
        for place in self.places:
            payload = self._checked(place / f"{name}{_SUFFIX}", name)
            if payload is not None:
                with contextlib.suppress(OSError):
                    if time.time() - place.stat().st_mtime > 86400.0:
                        os.utime(place)  # in use: not to be pruned
                return payload
        return None

    def holds(self, prefix: str) -> bool:
        """Whether a file that passes is kept under a name 'prefix.*'."""
        for place in self.places:
            with contextlib.suppress(OSError):
                for path in place.glob(f"{prefix}.*{_SUFFIX}"):
                    if self._checked(path, path.name.removesuffix(_SUFFIX)) is not None:
                        return True
        return False

    def write(self, name: str, payload: bytes) -> None:
        """Keep contents under a name in the first folder that can be written, whole or not at all.

        Says once, on standard error, if that is not the first folder, or if there is none.
        """
        whole = _FORMAT + _digest(self._stamp, name.encode(), payload) + payload
        for number, place in enumerate(self.places):
            try:
                self._make(place)
                _write_whole(place / f"{name}{_SUFFIX}", whole)
            except OSError:
                continue
            self._bad.discard(place / f"{name}{_SUFFIX}")
            self._say_place(number)
            _prune(place)
            return
        self._say_place(None)

    def writable(self) -> bool:
        """Whether code can be kept at all; says once where, if that is not the first folder."""
        for number, place in enumerate(self.places):
            try:
                self._make(place)
                with tempfile.TemporaryFile(dir=place):
                    pass
            except OSError:
                continue
            self._say_place(number)
            return True
        self._say_place(None)
        return False

    def condemn(self, name: str) -> None:
        """Take the files of a name as damaged from now on."""
        for place in self.places:
            path = place / f"{name}{_SUFFIX}"
            if path.exists():
                self._bad.add(path)
                self._say_damaged(place)

    def _checked(self, path: Path, name: str) -> bytes | None:
        if path in self._bad:
            return None
        try:
            if not _ours(path.parent.parent):
                return None
            whole = path.read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError:
            whole = b""  # there, and cannot be read
        start = len(_FORMAT) + _DIGEST_BYTES
        payload = whole[start:]
        if (whole[:start] == _FORMAT + _digest(self._stamp, name.encode(), payload)
                and len(payload) > 0):
            return payload
        self._bad.add(path)
        self._say_damaged(path.parent)
        return None

    def _make(self, place: Path) -> None:
        base = place.parent
        if base == temporary_folder():
            base.mkdir(mode=0o700, exist_ok=True)
        place.mkdir(parents=True, exist_ok=True)
        if not _ours(base):
            raise PermissionError(f"{base} can be written by others")

    def _say_damaged(self, place: Path) -> None:
        self._say("damaged", f"compiled code in {place} is damaged and is compiled anew")

    def _say_place(self, number: int | None) -> None:
        if number is None:
            self._say("place", "compiled code cannot be kept, for no folder can be written "
                               f"(tried {', '.join(str(p.parent) for p in self.places)}); "
                               "every run compiles anew")
        elif number > 0:
            self._say("place", f"compiled code is kept in {self.places[number].parent}, for "
                               f"{self.places[0].parent} cannot be written")

    def _say(self, what: str, text: str) -> None:
        if what not in self._said:
            self._said.add(what)
            with contextlib.suppress(OSError, ValueError, AttributeError):  # closed or missing
                print(f"note: {text}", file=sys.stderr)


def _ours(base: Path) -> bool:
    """Whether a folder is safe to load code from: the temporary one must be this user's alone."""
    if base != temporary_folder() or not hasattr(os, "getuid"):
        return True
    found = os.lstat(base)
    return (stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid()
            and stat.S_IMODE(found.st_mode) & 0o077 == 0)


def _write_whole(path: Path, contents: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=f"{path.name}.", suffix=".tmp", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(contents)
        if path.is_dir():
            path.rmdir()
        os.replace(name, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise


def _prune(place: Path) -> None:
    """Remove old stamps beside a folder, and what writers that were killed left inside it."""
    with contextlib.suppress(OSError):
        stamps = [p for p in place.parent.glob(f"{_PREFIX}*") if p.is_dir() and p != place]
        stamps.sort(key=lambda p: p.stat().st_mtime, reverse=True)
        for old in stamps[KEEP_STAMPS - 1 :]:
            for path in old.iterdir():
                path.unlink()
            old.rmdir()
        for path in place.glob("*.tmp"):
            if time.time() - path.stat().st_mtime > _LEFTOVER_S:
                path.unlink()
