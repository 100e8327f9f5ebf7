"""What machines do to a command: closed streams, full disks, signals, little memory, odd names.

Every command here is a process of its own, as a user starts it; the machine is made to fail.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

import lanesim
from lanesim.cli import guard

pytestmark = pytest.mark.skipif(os.name != "posix", reason="faults of a Unix are made here")

ROOT = str(Path(lanesim.__file__).parents[1])
COMMAND = f'"{sys.executable}" -m lanesim.cli'
BALL = """["b\u00e4ll"]
title = "\u65e5 $x_1$ a$"
weight_lb = 15
rg_in = 2.5
diff_in = 0.048
cover = "reactive-solid"
drilling_deg = 50
pin_to_pap_in = 4.5
val_deg = 30
"""


def shell(text: str, **env: str) -> subprocess.CompletedProcess[bytes]:
    """Run a line of shell in the working folder; LANESIM stands for the command."""
    return subprocess.run(["bash", "-c", text.replace("LANESIM", COMMAND)], capture_output=True,
                          timeout=120, env=os.environ | {"PYTHONPATH": ROOT} | env)


def only_line(done: subprocess.CompletedProcess[bytes], code: int = 2) -> str:
    """The one line of a command that failed."""
    assert done.returncode == code, done
    (line,) = done.stderr.decode().strip().splitlines()
    assert line.startswith("lanesim: ") and len(line) <= len("lanesim: ") + guard.LONGEST
    return line


# --- streams -------------------------------------------------------------------------------


def test_closed_streams(empty_folder):
    assert "standard output is closed" in only_line(shell("LANESIM score >&-"))
    assert "standard output is closed" in only_line(shell("LANESIM score <&- >&-"))
    silent = shell("LANESIM score --games 0 2>&-")
    assert (silent.returncode, silent.stdout, silent.stderr) == (2, b"", b"")
    whole = shell("LANESIM score --json --strikes 50 2>&- <&-")
    assert whole.returncode == 0 and json.loads(whole.stdout)


def test_a_file_never_gets_the_place_of_a_closed_stream(empty_folder):
    """With stream 2 closed the next file opened would be number 2, and errors would go into it."""
    done = shell("LANESIM patterns medium-42 --expand grid.oil 2>&-")
    assert done.returncode == 0
    assert (empty_folder / "grid.oil").read_text().startswith("format: ")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
def test_a_full_disk_behind_standard_output_or_error(empty_folder):
    for words in ("score", "patterns medium-42 --json", "--help"):
        line = only_line(shell(f"LANESIM {words} > /dev/full"))
        assert "cannot write standard output: No space left on device" in line
    assert shell("LANESIM score --games 0 2> /dev/full").returncode == 2


@pytest.mark.parametrize("encoding", ["latin-1", "ascii", "utf-16"])
def test_terminals_of_any_encoding(empty_folder, encoding):
    (empty_folder / "b.toml").write_text(BALL, encoding="utf-8")
    done = shell("LANESIM balls --check b.toml", PYTHONIOENCODING=encoding)
    assert done.returncode == 0 and done.stdout and not done.stderr
    done = shell("LANESIM balls b.toml --json", PYTHONIOENCODING=encoding)
    assert json.loads(done.stdout.decode("utf-8"))["title"] == "\u65e5 $x_1$ a$"


# --- files ---------------------------------------------------------------------------------


def test_names_that_are_no_text_are_shown_as_escapes(empty_folder):
    odd = os.fsencode(empty_folder) + b"/a\xff\x1b[31m.oil"
    with open(odd, "wb") as stream:
        stream.write(b"format: lanesim-oil-1\ntitle: t\nlength_ft: 40\n"
                     b"band boards 1 to 39 feet 0 to 40 oil 5\n")
    made = shell("LANESIM patterns $'a\\xff\\x1b[31m.oil' --expand $'o\\xff\\x1b.oil'")
    assert made.returncode == 0
    assert made.stdout.startswith(b"a\\xff\\x1b[31m\n") and b"wrote o\\xff\\x1b.oil" in made.stderr
    assert os.path.exists(os.fsencode(empty_folder) + b"/o\xff\x1b.oil")
    for words in ("balls $'x\\xff\\x1b[2J'", "patterns $'n\\xff\\x1b.oil'", "$'c\\xff\\x1b'"):
        line = only_line(shell(f"LANESIM {words}"))
        assert "\\xff\\x1b" in line and "\x1b" not in line


def test_a_file_that_outgrows_the_disk_is_named_and_leaves_nothing(empty_folder):
    """A limit of 1 KiB on every file stands for the disk."""
    (empty_folder / "grid.oil").write_text("mine")
    line = only_line(shell("ulimit -f 1; LANESIM patterns medium-42 --expand grid.oil"))
    assert "cannot write grid.oil: File too large" in line
    assert [p.name for p in empty_folder.iterdir()] == ["grid.oil"]
    assert (empty_folder / "grid.oil").read_text() == "mine"


def test_a_fifo_as_input_is_refused_and_not_waited_for(empty_folder):
    os.mkfifo(empty_folder / "p.csv")
    assert "a device or a pipe" in only_line(shell("LANESIM fit p.csv"))
    assert "a device or a pipe" in only_line(shell("LANESIM patterns /dev/zero"))


# --- memory, our own faults ----------------------------------------------------------------


def test_too_little_memory_is_one_line(empty_folder):
    line = only_line(shell("ulimit -v 3000000; LANESIM odds --line given --shots 10000000"))
    assert "not enough memory" in line


BOOM = """
import sys
from lanesim import catalog
def boom(*_): raise TypeError("boom \\x1b[31m" + "x" * 999)
catalog.load_ball = boom
from lanesim.cli import main
sys.argv = ["lanesim", "balls", "x"]
main()
"""


def test_a_fault_of_ours_is_one_line_and_says_how_to_see_more(empty_folder):
    (empty_folder / "boom.py").write_text(BOOM)
    line = only_line(shell(f'"{sys.executable}" boom.py', LANESIM_TRACE=""), guard.OUR_FAULT)
    assert "TypeError: boom \\x1b[31m" in line and "LANESIM_TRACE=1" in line
    traced = shell(f'"{sys.executable}" boom.py', LANESIM_TRACE="1")
    assert b"Traceback" in traced.stderr and traced.returncode != 0


# --- signals -------------------------------------------------------------------------------

# Two ways in which an interrupt does not arrive by itself: it is caught on the way, or C code runs
# on and Python never gets to raise it (blocked in its thread, the signal does not even wake that).
SWALLOW = """
import ctypes, signal, sys, time
from lanesim.cli import guard
guard.prepare_process()
def swallow():
    while True:
        try:
            print("ready", flush=True)
            time.sleep(60)
        except KeyboardInterrupt: pass
def never_python():
    libc = ctypes.CDLL(None)
    signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
    print("ready", flush=True)
    libc.poll(None, 0, 60_000)
guard.run({which})
"""


@pytest.mark.parametrize("which", ["swallow", "never_python"])
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_signals_end_a_command_that_does_not_listen(empty_folder, which, number):
    running = subprocess.Popen([sys.executable, "-c", SWALLOW.replace("{which}", which)], text=True,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                               env=os.environ | {"PYTHONPATH": ROOT})
    assert running.stdout.readline() == "ready\n"
    running.send_signal(number)
    _, errors = running.communicate(timeout=30)  # the sleeps are a minute long
    assert running.returncode == 128 + number
    assert errors.strip() == guard.STOPPED


def test_an_interrupt_while_compiling_ends_it_and_leaves_nothing(empty_folder, tmp_path):
    running = subprocess.Popen([sys.executable, "-m", "lanesim.cli", "odds", "--out", "o.png"],
                               text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                               env=os.environ | {"PYTHONPATH": ROOT,
                                                 "NUMBA_CACHE_DIR": str(tmp_path / "kept")})
    assert running.stderr.readline().startswith("compiling ")
    running.send_signal(signal.SIGINT)
    told, errors = running.communicate(timeout=15)
    assert running.returncode == 130
    assert (told, errors.strip()) == ("", guard.STOPPED)
    assert list(empty_folder.iterdir()) == []


def test_a_write_that_is_killed_leaves_nothing_after_the_next_run(empty_folder):
    """Killed outright between opening and moving; the next run in that folder clears up."""
    code = ("import os, signal; from lanesim import files; "
            "os.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL); "
            "files.write_text('a.txt', 'x')")
    killed = subprocess.run([sys.executable, "-c", code], env=os.environ | {"PYTHONPATH": ROOT})
    assert killed.returncode == -signal.SIGKILL
    (left,) = empty_folder.iterdir()
    assert left.name.endswith(".part")
    assert shell("LANESIM patterns medium-42 --expand a.oil").returncode == 0
    assert [p.name for p in empty_folder.iterdir()] == ["a.oil"]
