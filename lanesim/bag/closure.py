"""Which files an answer depends on: the computed closure of a module's imports, and data files.

From a module its imports are followed, those inside functions too, to every module of the package
that it can reach. Left out are folders that compute nothing (`SHOWS`) and names that are for type
checkers only, but where a package with a `__getattr__` names so what it loads when first asked. A
package above a module counts with what its `__init__` imports at once. A file under `data/` counts
where one of those modules names it in a string.
"""

from __future__ import annotations

import ast
import functools
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

PACKAGE = Path(__file__).parents[1]
SHOWS = ("cli", "page", "figures", "guide", "lessons")  # print, draw and explain, no more


@dataclass(frozen=True)
class _Facts:
    """Imports of a module as (dots, module, names): at once, inside functions, for type checkers;
    whether it loads names when first asked; and all its texts."""

    at_once: tuple[tuple[int, str, tuple[str, ...]], ...]
    later: tuple[tuple[int, str, tuple[str, ...]], ...]
    for_types: tuple[tuple[int, str, tuple[str, ...]], ...]
    lazy: bool
    texts: str


@functools.lru_cache(maxsize=1024)
def _facts(source: bytes) -> _Facts:
    tree = ast.parse(source)
    found: dict[str, list] = {"once": [], "later": [], "types": []}
    texts: list[str] = []

    def look(node: ast.AST, when: str) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Constant) and isinstance(child.value, str):
                texts.append(child.value)
            elif isinstance(child, ast.Import):
                found[when] += [(0, alias.name, ()) for alias in child.names]
            elif isinstance(child, ast.ImportFrom):
                found[when].append((child.level, child.module or "",
                                    tuple(alias.name for alias in child.names)))
            elif isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
                for one in child.body:
                    look(ast.Module([one], []), "types")
                for one in child.orelse:
                    look(ast.Module([one], []), when)
            elif isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
                look(child, "later" if when == "once" else when)
            else:
                look(child, when)

    look(tree, "once")
    lazy = any(isinstance(n, ast.FunctionDef) and n.name == "__getattr__" for n in tree.body)
    return _Facts(tuple(found["once"]), tuple(found["later"]), tuple(found["types"]), lazy,
                  "\n".join(texts))


def closure(roots: tuple[str, ...], package: Path = PACKAGE) -> tuple[str, ...]:
    """Files (relative to the package, sorted) that the modules `roots` ('bag.pairs') rest on."""
    waiting = [(root, True) for root in roots]
    seen: dict[str, bool] = {}
    files: set[str] = set()
    texts: list[str] = []
    while waiting:
        name, whole = waiting.pop()
        path = _file_of(name, package)
        if path is None or seen.get(name, False) or (name in seen and not whole) or (
                name.split(".")[0] in SHOWS):
            continue
        seen[name] = whole
        files.add(str(path.relative_to(package)))
        facts = _facts(path.read_bytes())
        texts.append(facts.texts)
        here = name.split(".") if name else []
        folder = here if path.name == "__init__.py" else here[:-1]
        imports = facts.at_once
        if whole:
            imports += facts.later + (facts.for_types if facts.lazy else ())
        for one in imports:
            waiting += _modules(one, folder, package)
        waiting += [(".".join(here[:n]), False) for n in range(len(here))]
    return tuple(sorted(files | _data_files(texts, package)))


def _file_of(name: str, package: Path) -> Path | None:
    base = package.joinpath(*name.split(".")) if name else package
    for path in (base / "__init__.py", base.with_suffix(".py")):
        if path.is_file():
            return path
    return None


def _modules(one: tuple[int, str, tuple[str, ...]], folder: list[str], package: Path
             ) -> Iterator[tuple[str, bool]]:
    """(module, whether with all it can reach) of an import: dotted, without the package's name."""
    dots, module, names = one
    parts = module.split(".") if module else []
    if dots:
        base = folder[: len(folder) - (dots - 1)] + parts
    elif parts[:1] == [package.name]:
        base = parts[1:]
    else:
        return
    if not names:
        yield ".".join(base), True
    for name in names:
        inner = ".".join([*base, name])
        if _file_of(inner, package) is not None:
            yield inner, True
            yield ".".join(base), False
        else:
            yield ".".join(base), True


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
