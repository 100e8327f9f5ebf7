"""Files: read only if they are ordinary text of a sane size, written whole or not at all."""

from __future__ import annotations

import contextlib
import csv
import io
import itertools
import os
import platform
import re
import stat
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

from .errors import InputError, control_character, shown

T = TypeVar("T")

MAX_BYTES = 64 * 2**20  # of a file that is read: a season of shots is a few hundred kilobytes

# --- writing -------------------------------------------------------------------------------

# Files half written by this process; a run that is cut off removes them (`drop_unfinished`).
_unfinished: set[Path] = set()
_swept: set[Path] = set()
_count = itertools.count()
_HOST = re.sub(r"[^\w.-]", "_", platform.node())
_PART = re.compile(r"\.lanesim-(?P<host>.*)-(?P<pid>\d+)-\d+\.part")


def check_target(path: str | Path) -> Path:
    """Where a file called `path` would be written (links are followed).

    Raises
    ------
    InputError
        if it could not be: a folder, a device, a file that is read-only, a folder that takes none.
    """
    target = Path(path)
    try:
        target = Path(os.path.realpath(path))
        mode = os.stat(target).st_mode
    except (FileNotFoundError, NotADirectoryError):
        check_folder(target.parent)
        return target
    except (OSError, ValueError) as error:
        raise _refused("cannot write", path, error) from None
    if stat.S_ISDIR(mode):
        raise InputError(f"cannot write {shown(path)}: it is a folder")
    if not stat.S_ISREG(mode):
        raise InputError(f"cannot write {shown(path)}: it is a device or a pipe, not an ordinary "
                         "file")
    if not mode & 0o222 or not os.access(target, os.W_OK):
        raise InputError(f"cannot write {shown(path)}: the file is read-only")
    check_folder(target.parent)
    return target


def check_folder(folder: str | Path) -> None:
    """Raise InputError if `folder` is not there as a folder we can write to and cannot be made."""
    present = Path(folder)
    try:
        while not present.exists() and present != present.parent:
            present = present.parent
        is_folder = present.is_dir()
    except (OSError, ValueError) as error:
        raise _refused("cannot write to", folder, error) from None
    if not is_folder:
        raise InputError(f"cannot write to {shown(folder)}: {shown(present)} is not a folder")
    if not os.access(present, os.W_OK | os.X_OK):
        raise InputError(f"cannot write to {shown(folder)}: permission denied")


def write_bytes(path: str | Path, data: bytes) -> Path:
    """Write `data` to another name in the same folder, then move it: never a half-written file.

    A file that is replaced keeps its mode, a new one gets what the umask leaves. What a run that
    was killed left unfinished in that folder is removed.

    Raises
    ------
    InputError
        naming the file and the reason: a read-only file, a device, a full disk.
    """
    target = check_target(path)
    part = target.parent / f".lanesim-{_HOST}-{os.getpid()}-{next(_count)}.part"
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _sweep(target.parent)
        _unfinished.add(part)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        with os.fdopen(handle, "wb") as stream:
            if target.exists():
                os.chmod(part, stat.S_IMODE(target.stat().st_mode))
            stream.write(data)
        os.replace(part, target)
    except OSError as error:
        raise _refused("cannot write", path, error) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        _unfinished.discard(part)
    return Path(path)


def drop_unfinished() -> None:
    """Remove what this process has begun to write and not finished (before it is cut off)."""
    for part in tuple(_unfinished):
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def _sweep(folder: Path) -> None:
    """Remove unfinished files of processes of this machine that are no more, once a folder."""
    if folder in _swept:
        return
    _swept.add(folder)
    for path in folder.glob(".lanesim-*.part"):
        found = _PART.fullmatch(path.name)
        if found and found["host"] == _HOST and not _alive(int(found["pid"])):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)


def _alive(process: int) -> bool:
    if os.name == "nt":  # there, signal 0 would end it
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:  # there, but not ours
        pass
    return True


def _refused(what: str, path: object, error: Exception) -> InputError:
    reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return InputError(f"{what} {shown(path)}: {reason}")


def write_text(path: str | Path, text: str) -> Path:
    """Write UTF-8 text whole or not at all."""
    return write_bytes(path, text.encode("utf-8"))


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """CSV text with a header row; floats keep 8 significant digits."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([f"{v:.8g}" if isinstance(v, float) else v for v in row])
    return buffer.getvalue()


def to_json(value: Any) -> str:
    """JSON text of plain values, arrays and dataclasses; NaN becomes null (JSON has none)."""
    import msgspec

    return msgspec.json.format(msgspec.json.encode(_plain(value)), indent=2).decode("utf-8")


def _plain(value: Any) -> Any:
    import dataclasses

    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    return value.tolist() if hasattr(value, "tolist") else value


def toml_text(values: dict[str, Any], comment: str = "") -> str:
    """TOML text of nested dicts, under a comment; `parse_toml` reads it back."""
    import tomli_w

    lead = "".join(f"# {line}\n" for line in comment.splitlines())
    return lead + tomli_w.dumps(_plain(values))


def save_figure(figure: Any, path: str | Path, dpi: int = 130) -> Path:
    """Render a matplotlib figure to PNG, SVG or PDF by the path's ending; whole or not at all."""
    kind = Path(path).suffix.lstrip(".").lower()
    if kind not in {"png", "svg", "pdf"}:
        raise InputError(f"cannot draw {shown(path)}: the name must end in .png, .svg or .pdf")
    return write_bytes(path, drawn(figure, kind, dpi))


def drawn(figure: Any, kind: str = "png", dpi: int = 130) -> bytes:
    """A matplotlib figure rendered as a file of that kind."""
    buffer = io.BytesIO()
    # the same picture is the same file in every run: no date, and ids from a fixed salt
    import matplotlib as mpl

    dates = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}
    with mpl.rc_context({"svg.hashsalt": "lanesim", "svg.fonttype": "path"}):
        figure.savefig(buffer, format=kind, dpi=dpi, metadata=dates.get(kind))
    return buffer.getvalue()


# --- reading -------------------------------------------------------------------------------


def read_bytes(path: str | Path, kind: str) -> bytes:
    """All of an ordinary file; one clear line if it is missing, unreadable, no file or too large.

    Pipes and devices are refused: one may never end, and to read another may change it.
    """
    try:
        if not stat.S_ISREG(os.stat(path).st_mode):
            raise InputError(f"cannot read {kind} file {shown(path)}: "
                             + ("it is a folder" if os.path.isdir(path)
                                else "it is a device or a pipe, not an ordinary file"))
        with open(path, "rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise InputError(f"{kind} file not found: {shown(path)}") from None
    except InputError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise _refused(f"cannot read {kind} file", path, error) from None
    if len(data) > MAX_BYTES:
        raise InputError(f"{shown(path)}: larger than {MAX_BYTES >> 20} MiB; no {kind} file is")
    return data


def read_text(path: str | Path, kind: str) -> str:
    """Text of a UTF-8 file, with or without a byte-order mark; see `read_bytes`.

    Raises
    ------
    InputError
        also for control characters, naming the line: they would reach terminal, page or picture.
    """
    try:
        text = read_bytes(path, kind).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{shown(path)}: not a text file in UTF-8") from None
    return printable(text, shown(path))


def printable(text: str, where: str) -> str:
    """The text with line ends as \\n; InputError if it holds other control characters than tabs."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    bad = control_character(text.replace("\n", "").replace("\t", ""))
    if bad:
        at = text.index(chr(int(bad[2:], 16)))
        raise InputError(f"{where}, line {text.count(chr(10), 0, at) + 1}: the control character "
                         f"{bad}; accepted: plain text in UTF-8")
    return text


def read_toml(path: str | Path, struct: type[T], kind: str, each: str = "") -> T:
    """Read a TOML file into a msgspec struct that refuses unknown keys.

    Raises
    ------
    InputError
        naming the file and the line (syntax) or the key (meaning).
    """
    return parse_toml(read_text(path, kind), struct, shown(path), each)


def parse_toml(text: str, struct: type[T], where: str, each: str = "") -> T:
    """TOML text as a msgspec struct, or a dict of such whose tables are each called an `each`."""
    import tomllib

    from .checked import checked, tidy

    try:
        values = tomllib.loads(text.removeprefix("\ufeff"))
    except RecursionError:
        raise InputError(f"{where}: not valid TOML: brackets within brackets, too deep") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{where}: not valid TOML: {error}") from None
    except ValueError:  # Python refuses whole numbers of more than 4,300 digits, dates out of range
        raise InputError(f"{where}: not valid TOML: a number or a date out of range") from None
    return checked(tidy(values, where), struct, where, each)


def read_rows(text: str, where: str, empty: str) -> Iterator[tuple[int, list[str]]]:
    """Line number and fields of each line of a table: header first, comments and blanks left out.

    Fields are separated by what the first line has most of: commas, semicolons or tabs; a field in
    double quotes may hold the separator.

    Parameters
    ----------
    empty : what to say if there is no line at all.

    Raises
    ------
    InputError
        for quotes that do not close and fields of more than 131,072 characters, naming the line.
    """
    mark = ""
    for number, line in enumerate(printable(text.removeprefix("\ufeff"), where).split("\n"), 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        mark = mark or max(",;\t", key=line.count)
        try:
            fields = next(csv.reader([line], delimiter=mark, skipinitialspace=True, strict=True))
        except csv.Error as error:
            words = ("a field of more than 131,072 characters" if "limit" in str(error)
                     else 'double quotes in the wrong place; accepted: "a field", in quotes whole')
            raise InputError(f"{where}, line {number}: {words}") from None
        yield number, [field.strip() for field in fields]
    if not mark:
        raise InputError(f"{where}: {empty}")


def read_arrays(path: str | Path, kind: str) -> dict[str, Any]:
    """Arrays of a numpy archive that ships with the package.

    Raises
    ------
    InputError
        if the file is missing or damaged: that the installation is to be renewed.
    """
    import zipfile
    import zlib

    import numpy as np

    try:
        with np.load(io.BytesIO(read_bytes(path, kind)), allow_pickle=False) as found:
            return {name: found[name] for name in found.files}
    except (zipfile.BadZipFile, zlib.error, ValueError, OSError, EOFError, KeyError,
            NotImplementedError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{shown(path)}: the {kind} is damaged; install lanesim anew") from None
