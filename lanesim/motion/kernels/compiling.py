"""How the core's functions are compiled, and how compiled code comes back from disk.

numba's own cache looks only at the file of the function that is called: with a helper or a
constant in another file it would go on giving yesterday's answer. It also loads what it finds
without a look, so that a damaged file ends in a traceback or worse. So compiled code is kept by
`store`, in folders named by a stamp of everything that could change it, under a checksum.
"""

from __future__ import annotations

import hashlib
import pickle
import sys
import sysconfig
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import llvmlite
import numba
import numpy as np
from numba import njit
from numba.core import config
from numba.core.caching import _Cache
from numba.core.compiler import CompileResult
from numba.core.registry import cpu_target
from numba.core.serialize import dumps

from .store import Store, digest_of, folders

# How functions are compiled. `kept`: called by Python, kept on disk. PLAIN: by compiled code, and
# by tests alone. INNER: by compiled code alone; without the wrappers that Python would need,
# compiling takes a third less time. Only kept ones are on disk, for they hold all that they call.
PLAIN: dict[str, Any] = {"error_model": "numpy"}
INNER: dict[str, Any] = {**PLAIN, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
CONTRACT: dict[str, Any] = {"fastmath": {"contract"}}  # a product and a sum in one rounding
INLINE: dict[str, Any] = {"forceinline": True}

# Settings of numba that change the code it makes.
_SETTINGS = ("OPT", "LOOP_VECTORIZE", "SLP_VECTORIZE", "ENABLE_AVX", "BOUNDSCHECK",
             "DEBUGINFO_DEFAULT")
SOURCES = Path(__file__).parent


def kept(**options: Any) -> Callable[[Callable], Any]:
    """Decorator of a function that Python calls: compiled with `options`, its code kept on disk."""

    def decorate(function: Callable) -> Any:
        kernel = njit(**PLAIN, **options)(function)
        if not config.DISABLE_JIT:
            kernel._cache = KeptCode(function.__name__)
        return kernel

    return decorate


def sources_digest() -> str:
    """Digest of every source of this package: names and contents, in the order of the names."""
    return digest_of(*(part for path in sorted(SOURCES.glob("*.py"))
                       for part in (path.name.encode(), path.read_bytes())))


@cache
def stamp() -> str:
    """What compiled code depends on, as one name: sources, compiler, interpreter, processor."""
    processor = cpu_target.target_context.codegen().magic_tuple()
    settings = [str(getattr(config, name, None)) for name in _SETTINGS]
    parts = (numba.__version__, llvmlite.__version__, np.__version__.split(".")[0], sys.version,
             sysconfig.get_platform(), *map(str, processor), *settings)
    return digest_of(sources_digest().encode(), *(part.encode() for part in parts))[:20]


@cache
def store() -> Store:
    """Where this process keeps compiled code."""
    return Store(folders(SOURCES / "__pycache__"), stamp())


def is_kept(kernel: Any) -> bool:
    """Whether this kernel's code is on disk, undamaged, or it will not be compiled at all."""
    return bool(config.DISABLE_JIT) or store().holds(kernel.py_func.__name__)


class KeptCode(_Cache):
    """numba's interface to a cache, for one function: its code in the `store`, checked."""

    def __init__(self, name: str) -> None:
        self._name = name

    def _file(self, signature: Any) -> str:
        return f"{self._name}.{hashlib.sha256(str(signature).encode()).hexdigest()[:12]}"

    @property
    def cache_path(self) -> str:
        """The folder that is looked into first."""
        return str(store().places[0])

    def load_overload(self, sig: Any, target_context: Any) -> CompileResult | None:
        """The compiled code for that signature, or None: then numba compiles."""
        target_context.refresh()
        file = self._file(sig)
        payload = store().read(file)
        if payload is None:
            return None
        try:
            return CompileResult._rebuild(target_context, *pickle.loads(payload))
        except Exception:  # the checksum holds and yet it is no code: whatever it is, compile anew
            store().condemn(file)
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep the compiled code of that signature."""
        if not data.lifted and not data.library.has_dynamic_globals:
            store().write(self._file(sig), dumps(data._reduce()))

    def enable(self) -> None:
        """Nothing: always on."""

    def disable(self) -> None:
        """Nothing: always on."""

    def flush(self) -> None:
        """Nothing: a new stamp is a new folder."""
