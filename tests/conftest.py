"""Shared by all tests: settings of hypothesis, and the command line run in an empty folder."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import HealthCheck, settings

# The same examples on every run, and no deadline: the first call of a kernel compiles it.
settings.register_profile("lanesim", derandomize=True, deadline=None,
                          suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("lanesim")


@pytest.fixture
def empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A new folder, and the working directory for the time of a test: as a new user would begin."""
    folder = tmp_path / "new-user"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def lanesim(empty_folder: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """`lanesim("throw", "--json")` runs the command line in this process, in an empty folder.

    A fault of ours comes out as the exception that it is.
    """
    from lanesim.cli import cli, guard

    monkeypatch.setenv(guard.TRACE, "1")

    def run(*words: str) -> Result:
        result = CliRunner().invoke(cli, list(words), prog_name="lanesim")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return run
