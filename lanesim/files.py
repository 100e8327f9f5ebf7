"""Writing files whole or not at all, and reading TOML into checked structs."""

from __future__ import annotations

import csv
import io
import json
import os
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar

from .errors import InputError

T = TypeVar("T")


def write_bytes(path: str | Path, data: bytes) -> Path:
    """Write `data` to a temporary name beside `path`, then move it: never a half-written file."""
    target = Path(path)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    except OSError as error:
        raise InputError(f"cannot write {target}: {error.strerror}") from error
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        os.chmod(temporary, 0o644)
        os.replace(temporary, target)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return target


def write_text(path: str | Path, text: str) -> Path:
    """Write UTF-8 text whole or not at all."""
    return write_bytes(path, text.encode("utf-8"))


def to_json(value: Any) -> str:
    """JSON text of plain values, arrays and dataclasses; NaN becomes null (JSON has none)."""
    return json.dumps(_plain(value), indent=2, allow_nan=False)


def _plain(value: Any) -> Any:
    import dataclasses
    import math

    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """CSV text with a header row; floats keep 6 significant digits or more."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([f"{v:.8g}" if isinstance(v, float) else v for v in row])
    return buffer.getvalue()


def save_figure(figure: Any, path: str | Path, dpi: int = 130) -> Path:
    """Render a matplotlib figure to PNG, SVG or PDF by the path's ending; whole or not at all."""
    kind = Path(path).suffix.lstrip(".").lower()
    if kind not in {"png", "svg", "pdf"}:
        raise InputError(f"cannot draw {path}: the name must end in .png, .svg or .pdf")
    return write_bytes(path, drawn(figure, kind, dpi))


def drawn(figure: Any, kind: str = "png", dpi: int = 130) -> bytes:
    """A matplotlib figure rendered as a file of that kind."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format=kind, dpi=dpi)
    return buffer.getvalue()


def read_text(path: str | Path, kind: str) -> str:
    """Read a UTF-8 text file; one clear line if it is missing, unreadable or not text."""
    try:
        return Path(path).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(f"{kind} file not found: {path}") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: not a text file in UTF-8") from None
    except OSError as error:
        raise InputError(f"cannot read {kind} file {path}: {error.strerror}") from None


def read_toml(path: str | Path, struct: type[T], kind: str) -> T:
    """Read a TOML file into a msgspec struct that refuses unknown keys.

    Raises
    ------
    InputError
        naming the file and the line (syntax) or the key (meaning).
    """
    return parse_toml(read_text(path, kind), struct, str(path))


def parse_toml(text: str, struct: type[T], where: str) -> T:
    """Decode TOML text into a msgspec struct; see `read_toml`."""
    import msgspec

    try:
        return msgspec.toml.decode(text.encode("utf-8"), type=struct)
    except msgspec.ValidationError as error:
        raise InputError(f"{where}: {error}".replace("\n", " ")) from None
    except msgspec.DecodeError as error:
        raise InputError(f"{where}: not valid TOML: {error}".replace("\n", " ")) from None
