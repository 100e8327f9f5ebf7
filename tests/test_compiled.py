"""Compiling in a second process: its work is used, its failure does no harm, it ends in time."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

import lanesim
from lanesim.motion import compiled, kernels


def test_the_second_process_compiles_what_the_batch_then_loads(tmp_path):
    """In an empty cache: the batch's kernel is loaded, not compiled, and the numbers are there.

    In a folder that holds another package of our name, as a checkout does for an installed copy.
    """
    code = textwrap.dedent("""
        from lanesim.catalog import load_ball, load_pattern_named
        from lanesim.motion import compiled, kernels
        from lanesim.player import Release
        from lanesim.motion.trajectory import throw, throw_many
        release, ball = Release(18, 400, 45, 15, 24, -2.5), load_ball("strong-solid")
        pattern = load_pattern_named("medium-42")
        assert not compiled.is_kept(kernels.throw_chunk)
        with compiled.compiling_ahead():
            one = throw(ball, release, pattern)  # compiles its own kernels meanwhile
            many = throw_many(ball, release.row(), pattern)
        assert compiled.is_kept(kernels.throw_chunk)
        stats = kernels.throw_chunk.stats
        print(sum(stats.cache_hits.values()), sum(stats.cache_misses.values()),
              len(kernels.throw_chunk.signatures), abs(one.entry_board - many.entry_board[0]))
    """)
    work, other = tmp_path / "work", tmp_path / "other"
    for folder in (work / "lanesim", other):
        folder.mkdir(parents=True)
    (work / "lanesim" / "__init__.py").write_text("raise ImportError('not this one')")
    (other / "script.py").write_text(code)
    root = str(Path(lanesim.__file__).parents[1])
    done = subprocess.run(
        [sys.executable, str(other / "script.py")], capture_output=True, text=True, timeout=400,
        cwd=work, check=False,
        env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "kept"), "PYTHONPATH": root})
    assert done.returncode == 0, done.stderr
    hits, misses, signatures, apart = done.stdout.split()
    if (os.cpu_count() or 1) > 1:
        assert (hits, misses) == ("1", "0")
    assert signatures == "1"
    assert float(apart) < 0.02


@pytest.fixture
def nothing_kept(monkeypatch):
    monkeypatch.setattr(compiled, "is_kept", lambda kernel: False)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)


def test_a_second_process_that_fails_does_no_harm(nothing_kept, monkeypatch):
    monkeypatch.setattr(compiled, "__name__", "no.such.module")
    with compiled.compiling_ahead():
        second = compiled._ahead
        assert compiled.batch_kernel() is kernels.throw_chunk
        assert second.returncode != 0
    assert compiled._ahead is None


def test_the_second_process_ends_with_the_first_ones_work(nothing_kept, monkeypatch):
    """Also when that stops early: no process is left compiling for nobody."""
    with pytest.raises(KeyboardInterrupt), compiled.compiling_ahead():
        second = compiled._ahead
        assert second.poll() is None
        raise KeyboardInterrupt
    assert second.returncode is not None
    assert compiled._ahead is None


@pytest.mark.parametrize("reason", ["kept", "one processor", "no interpreter"])
def test_no_second_process_without_need(reason, nothing_kept, monkeypatch):
    if reason == "kept":
        monkeypatch.setattr(compiled, "is_kept", lambda kernel: True)
    elif reason == "one processor":
        monkeypatch.setattr(os, "cpu_count", lambda: 1)
    else:
        monkeypatch.setattr(sys, "executable", "")
    with compiled.compiling_ahead():
        assert compiled._ahead is None
        assert compiled.batch_kernel() is kernels.throw_chunk
