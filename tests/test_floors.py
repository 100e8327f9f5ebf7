"""The house keeps its floors: who imports whom, and what a bare `--help` costs."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import lanesim
from lanesim.cli import COMMANDS, cli

PACKAGE = Path(lanesim.__file__).parent
PROJECT = Path(__file__).parents[1] / "pyproject.toml"
HEAVY = ("numba", "scipy", "matplotlib", "numpy", "rich", "msgspec")


def imports_of(path: Path) -> list[tuple[int, str]]:
    """(level, module) of every import in a file, wherever it stands."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(0, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            found.append((node.level, node.module or ""))
    return found


def test_the_floors_import_only_downward():
    """import-linter's contracts of pyproject.toml, which also list every module."""
    from importlinter.cli import lint_imports

    assert lint_imports(config_filename=str(PROJECT), no_cache=True) == 0


def test_the_kernels_file_imports_nothing_of_ours():
    """numba's cache does not notice a change in another file (DEVELOPERS.md, traps)."""
    kernels = imports_of(PACKAGE / "motion" / "kernels.py")
    assert kernels, "the file was not read"
    ours = [entry for entry in kernels if entry[0] > 0 or entry[1].split(".")[0] == "lanesim"]
    assert ours == []


def test_numba_is_used_in_the_kernels_file_only():
    users = {path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py")
             if any(name.split(".")[0] == "numba" for _, name in imports_of(path))}
    assert users == {"motion/kernels.py"}


def loaded_by(code: str) -> set[str]:
    """Top-level modules in a new interpreter after `code`."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint('\\nLOADED', *sys.modules)"],
        capture_output=True, text=True, timeout=60, check=True,
    )
    return {name.split(".")[0] for name in done.stdout.rsplit("LOADED", 1)[1].split()}


HELP = """
from lanesim.cli import cli
try:
    cli.main({words!r}, prog_name="lanesim")
except SystemExit as stop:
    assert stop.code == 0, stop.code
"""


@pytest.mark.parametrize("words", [["--help"], ["--version"], []], ids=["help", "version", "bare"])
def test_help_imports_nothing_heavy(words):
    assert loaded_by(HELP.format(words=words)).isdisjoint(HEAVY)


@pytest.mark.parametrize("name", cli.list_commands(None))
def test_help_of_a_command_imports_neither_numba_nor_scipy_nor_matplotlib(name):
    loaded = loaded_by(HELP.format(words=[name, "--help"]))
    assert loaded.isdisjoint(("numba", "scipy", "matplotlib"))


def test_every_command_module_is_listed_and_named_after_its_command():
    files = {path.stem for path in (PACKAGE / "cli").glob("*.py")}
    files -= {"__init__", "__main__", "common"}
    assert files <= set(COMMANDS), "a command module is missing from COMMANDS"
    for name, (module, text) in COMMANDS.items():
        assert module == f"lanesim.cli.{name}"
        assert text.endswith(".") and len(text) < 70
