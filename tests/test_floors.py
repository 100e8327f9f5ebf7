"""The house keeps its floors: who imports whom, and what a bare `--help` costs.

What the compiled core may import: tests/test_kernels.py.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import lanesim
from lanesim.cli import COMMANDS, cli

PACKAGE = Path(lanesim.__file__).parent
PROJECT = Path(__file__).parents[1] / "pyproject.toml"
HEAVY = ("numba", "scipy", "matplotlib", "numpy", "rich", "msgspec")


def test_the_floors_import_only_downward():
    """import-linter's contracts of pyproject.toml, which also list every module."""
    from importlinter.cli import lint_imports

    assert lint_imports(config_filename=str(PROJECT), no_cache=True) == 0


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
    files -= {"__init__", "__main__", "common", "options", "printing", "run", "guard"}
    assert files <= set(COMMANDS), "a command module is missing from COMMANDS"
    for name, (module, text) in COMMANDS.items():
        assert module == f"lanesim.cli.{name}"
        assert text.endswith(".") and len(text) < 70
