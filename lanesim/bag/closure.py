"""Which files an answer depends on: the computed closure of a module's imports, and data files.

From a module its imports are followed, those inside functions too, to every module of the package
that it can reach. Left out are folders that compute nothing (`SHOWS`) and names that are for type
checkers only. A package's `__init__` counts with what it imports when it is itself imported. A
file under `data/` counts where one of those modules names it in a string.
"""

from __future__ import annotations

import ast
import functools
import hashlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np

PACKAGE = Path(__file__).parents[1]
SHOWS = ("cli", "page", "figures", "guide", "lessons")  # print, draw and explain, no more


def closure(roots: tuple[str, ...], package: Path = PACKAGE) -> tuple[str, ...]:
    """Files (relative to the package, sorted) that the modules `roots` ('bag.pairs') rest on."""
    waiting = [(root, True) for root in roots]
    seen: dict[str, Path] = {}
    texts: list[str] = []
    while waiting:
        name, whole = waiting.pop()
        path = _file_of(name, package)
        if path is None or name in seen or name.split(".")[0] in SHOWS:
            continue
        seen[name] = path
        tree = ast.parse(path.read_bytes())
        texts += [n.value for n in ast.walk(tree)
                  if isinstance(n, ast.Constant) and isinstance(n.value, str)]
        is_package = path.name == "__init__.py"
        here = name.split(".") if name else []
        folder = here if is_package else here[:-1]
        waiting += [(found, True) for found in _imports(tree, folder, package.name, whole)]
        waiting += [(".".join(here[:n]), False) for n in range(len(here))]
    files = {str(path.relative_to(package)) for path in seen.values()}
    return tuple(sorted(files | _data_files(texts, package)))


def _file_of(name: str, package: Path) -> Path | None:
    base = package.joinpath(*name.split(".")) if name else package
    for path in (base / "__init__.py", base.with_suffix(".py")):
        if path.is_file():
            return path
    return None


def _imports(tree: ast.AST, folder: list[str], package: str, whole: bool) -> Iterator[str]:
    """Modules of the package (dotted, without its name) that a module imports, and names that may
    be modules. whole : those inside functions too."""
    for node in _statements(tree, whole):
        if isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.split(".")[0] == package:
                    yield ".".join(alias.name.split(".")[1:])
        elif isinstance(node, ast.ImportFrom):
            module = node.module.split(".") if node.module else []
            if node.level:
                base = folder[: len(folder) - (node.level - 1)] + module
            elif module[:1] == [package]:
                base = module[1:]
            else:
                continue
            yield ".".join(base)
            for alias in node.names:
                yield ".".join([*base, alias.name])


def _statements(node: ast.AST, whole: bool) -> Iterator[ast.AST]:
    """All nodes but those for type checkers; whole False: but those inside functions."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
            for other in child.orelse:
                yield other
                yield from _statements(other, whole)
            continue
        if not whole and isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        yield child
        yield from _statements(child, whole)


def _data_files(texts: list[str], package: Path) -> set[str]:
    """Files under data/ whose name one of the texts holds."""
    data = package / "data"
    named = {str(path.relative_to(package)): path.name for path in data.rglob("*")
             if path.is_file()}
    said = "\n".join(texts)
    return {place for place, name in named.items() if name in said}


@functools.cache
def fingerprint(roots: tuple[str, ...], package: Path = PACKAGE) -> bytes:
    """SHA-256 over the closure's files and the versions of the libraries that compute."""
    import numba
    import scipy

    digest = hashlib.sha256(
        f"{np.__version__} {scipy.__version__} {numba.__version__}".encode())
    for name in closure(roots, package):
        digest.update(name.encode() + b"\0")
        digest.update(hashlib.sha256((package / name).read_bytes()).digest())
    return digest.digest()
