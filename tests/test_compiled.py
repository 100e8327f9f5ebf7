"""Compiling in a second process: its work is used, its failure does no harm, it ends in time."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

import lanesim
from lanesim.motion import compiled, kernels

ROOT = str(Path(lanesim.__file__).parents[1])


def test_the_second_process_compiles_what_the_batch_then_loads(tmp_path):
    """In an empty cache: the batch's kernel is loaded, not compiled, and the numbers are there.

    In a folder that holds another package of our name, as a checkout does for an installed copy,
    and files named like modules of the standard library: nothing there is run.
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
    for name in ("signal", "numba", "threading"):
        (work / f"{name}.py").write_text(f"open('{name}-was-run', 'w')")
    (other / "script.py").write_text(code)
    done = subprocess.run(
        [sys.executable, str(other / "script.py")], capture_output=True, text=True, timeout=400,
        cwd=work, check=False,
        env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "kept"), "PYTHONPATH": ROOT})
    assert done.returncode == 0, done.stderr
    assert not list(work.glob("*-was-run"))
    hits, misses, signatures, apart = done.stdout.split()
    assert (hits, misses) == ("1", "0")
    assert signatures == "1"
    assert float(apart) < 0.02


def is_running(process: int) -> bool:
    """Whether a process still runs; one that has ended and waits to be collected does not."""
    try:
        line = Path(f"/proc/{process}/stat").read_text(encoding="utf-8")
    except OSError:
        return False
    return line.rsplit(")", 1)[1].split()[0] not in {"Z", "X"}


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks into /proc")
@pytest.mark.parametrize("how", ["SIGINT", "SIGTERM", "SIGKILL"])
def test_a_stopped_command_leaves_no_compiler_behind(how, tmp_path):
    """Stopped while it compiles: both processes are gone long before compiling would have ended,
    and nothing half-made is kept.
    """
    code = textwrap.dedent("""
        from lanesim.motion import compiled
        started = compiled._start
        def start():
            process = started()
            print(process.pid, flush=True)
            return process
        compiled._start = start
        compiled.batch_kernel()
    """)
    first = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        cwd=ROOT, env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path), "PYTHONPATH": ROOT})
    second = int(first.stdout.readline())
    time.sleep(3)  # well into compiling, or still importing on a slow machine: both must do
    assert first.poll() is None
    first.send_signal(getattr(signal, how))
    assert first.wait(timeout=60) != 0
    for _ in range(600):
        if not is_running(second):
            break
        time.sleep(0.1)
    assert not is_running(second)
    assert not list(tmp_path.rglob("throw_chunk*"))


@pytest.fixture
def nothing_kept(monkeypatch):
    monkeypatch.setattr(compiled, "is_kept", lambda kernel: False)
    monkeypatch.setattr(compiled, "_loaded", lambda: False)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)


def test_a_second_process_that_fails_does_no_harm(nothing_kept, monkeypatch):
    monkeypatch.setattr(compiled, "_CODE", "raise SystemExit(1)")
    with compiled.compiling_ahead():
        second = compiled._ahead
        assert compiled.batch_kernel() is kernels.throw_chunk
        assert second.returncode != 0
    assert compiled._ahead is None
    assert compiled.batch_kernel() is kernels.throw_chunk


def test_the_second_process_ends_with_the_first_ones_work(nothing_kept, monkeypatch):
    """Also when that stops early: no process is left compiling for nobody."""
    with pytest.raises(KeyboardInterrupt), compiled.compiling_ahead():
        second = compiled._ahead
        assert second.poll() is None
        raise KeyboardInterrupt
    assert second.returncode is not None
    assert compiled._ahead is None


@pytest.mark.parametrize("reason", ["kept", "one processor", "no interpreter", "no folder"])
def test_no_second_process_without_need(reason, nothing_kept, monkeypatch):
    if reason == "kept":
        monkeypatch.setattr(compiled, "is_kept", lambda kernel: True)
    elif reason == "one processor":
        monkeypatch.setattr(os, "cpu_count", lambda: 1)
    elif reason == "no interpreter":
        monkeypatch.setattr(sys, "executable", "")
    else:
        monkeypatch.setattr(compiled.store(), "writable", lambda: False)
    started: list[object] = []
    start = compiled._start
    monkeypatch.setattr(compiled, "_start", lambda: started.append(1) or start())
    with compiled.compiling_ahead():
        assert compiled._ahead is None and not started
