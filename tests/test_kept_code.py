"""Compiled code on disk: never stale, never trusted when damaged, kept where it can be.

The numbers expected are mechanics written out here: the contact point of a ball with velocity v and
spin w moves at (vx - R wy, vy + R wx).
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

import lanesim
from lanesim.motion.kernels import store as store_module
from lanesim.motion.kernels.store import KEEP_STAMPS, Store, digest_of, folders, temporary_folder

PACKAGE = Path(lanesim.__file__).parent

# Slip of a uniform ball (I = 0.04, R = 0.1) at vx = 5 with Ly = 0.4: wy = 10, so 5 - 0.1 * 10 = 4.
SLIP = """
import numpy as np
from lanesim.motion import kernels as k
par = np.zeros(k.P_COUNT)
par[k.P_RADIUS], par[k.P_I1], par[k.P_I2], par[k.P_I3] = 0.1, 0.04, 0.04, 0.04
state = np.array([0, 0, 5.0, 0, 0, 0.4, 0, 1, 0, 0, 0, 0])
ux, uy = k.slip_velocity(state, par)
stats = k.slip_velocity.stats
print(round(ux, 9), round(uy, 9), sum(stats.cache_hits.values()))
"""


def start(code: str, root: Path, kept: Path | None, **environment: str) -> subprocess.Popen:
    given = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    if kept is not None:
        given["NUMBA_CACHE_DIR"] = str(kept)
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code)], stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, cwd=root,
        env={**given, "PYTHONPATH": str(root), **environment})


def run(code: str, root: Path, kept: Path | None, **environment: str) -> tuple[list[str], str]:
    """Words on standard output, and all of standard error."""
    process = start(code, root, kept, **environment)
    out, err = process.communicate(timeout=300)
    assert process.returncode == 0, err
    return out.split(), err


@pytest.fixture(scope="module")
def compiled_once(tmp_path_factory) -> Path:
    """A folder of compiled code of `slip_velocity`; tests copy it before they do harm."""
    folder = tmp_path_factory.mktemp("kept")
    words, err = run(SLIP, PACKAGE.parent, folder)
    assert (words, err) == (["4.0", "0.0", "0"], "")
    return folder


@pytest.fixture
def kept(compiled_once, tmp_path) -> Path:
    return Path(shutil.copytree(compiled_once, tmp_path / "kept"))


def code_of(folder: Path, name: str = "slip_velocity") -> Path:
    (path,) = folder.glob(f"compiled-*/{name}.*.code")
    return path


def copy_of_the_package(to: Path) -> Path:
    shutil.copytree(PACKAGE, to / "lanesim", ignore=shutil.ignore_patterns("__pycache__"))
    return to


def test_code_that_was_kept_is_loaded(kept):
    assert run(SLIP, PACKAGE.parent, kept) == (["4.0", "0.0", "1"], "")


def test_an_edited_inner_function_gives_the_new_answer(tmp_path):
    """In another file than the one that is called: `to_lane`, with the spin across doubled."""
    root = copy_of_the_package(tmp_path / "copy")
    kept = tmp_path / "kept"
    assert run(SLIP, root, kept)[0] == ["4.0", "0.0", "0"]
    maths = root / "lanesim" / "motion" / "kernels" / "maths.py"
    text = maths.read_text(encoding="utf-8")
    line = "m[3] * b1 + m[4] * b2 + m[5] * b3,"
    assert text.count(line) == 1
    maths.write_text(text.replace(line, f"2.0 * ({line[:-1]}),"), encoding="utf-8")
    assert run(SLIP, root, kept)[0] == ["3.0", "0.0", "0"]
    maths.write_text(text, encoding="utf-8")
    assert run(SLIP, root, kept)[0] == ["4.0", "0.0", "1"]


def test_an_edited_column_gives_the_new_answer(tmp_path, kept):
    """A number without numba, in columns.py: old code would read the radius where the mass is."""
    root = copy_of_the_package(tmp_path / "copy")
    columns = root / "lanesim" / "motion" / "kernels" / "columns.py"
    text = columns.read_text(encoding="utf-8")
    text = text.replace("P_RADIUS = 0 ", "P_RADIUS = 1 ").replace("P_MASS = 1 ", "P_MASS = 0 ")
    columns.write_text(text, encoding="utf-8")
    assert run(SLIP, root, kept)[0] == ["4.0", "0.0", "0"]


def test_two_processes_may_compile_at_once(tmp_path):
    both = [start(SLIP, PACKAGE.parent, tmp_path) for _ in range(2)]
    for process in both:
        out, err = process.communicate(timeout=300)
        assert (process.returncode, out.split()[:2], err) == (0, ["4.0", "0.0"], "")
    assert run(SLIP, PACKAGE.parent, tmp_path) == (["4.0", "0.0", "1"], "")
    assert not list(tmp_path.glob("compiled-*/*.tmp"))


def damage(path: Path, kind: str) -> None:
    whole = path.read_bytes()
    if kind == "empty":
        path.write_bytes(b"")
    elif kind == "garbage":
        path.write_bytes(os.urandom(len(whole)))
    elif kind == "cut short":
        path.write_bytes(whole[: len(whole) // 2])
    elif kind == "a flipped bit":
        middle = len(whole) // 2
        path.write_bytes(whole[:middle] + bytes([whole[middle] ^ 8]) + whole[middle + 1 :])
    elif kind == "another function's":
        path.write_bytes(code_of(path.parents[1], "rotation_matrix").read_bytes())
    elif kind == "a folder":
        path.unlink()
        path.mkdir()


@pytest.mark.parametrize(
    "kind",
    ["empty", "garbage", "cut short", "a flipped bit", "another function's", "a folder"],
)
def test_damaged_code_is_compiled_anew_and_that_is_said_once(kind, kept):
    path = code_of(kept)
    damage(path, kind)
    words, err = run(SLIP, PACKAGE.parent, kept)
    assert words == ["4.0", "0.0", "0"]
    (line,) = err.splitlines()
    assert line.startswith("note: compiled code in ") and line.endswith("is compiled anew")
    assert run(SLIP, PACKAGE.parent, kept) == (["4.0", "0.0", "1"], "")


def test_code_that_passes_and_yet_is_none_is_compiled_anew(kept):
    """The checksum is right, the contents are not what numba makes of them."""
    path = code_of(kept)
    stamp = path.parent.name.removeprefix("compiled-")
    Store([kept], stamp).write(path.name.removesuffix(".code"), b"no code at all")
    words, err = run(SLIP, PACKAGE.parent, kept)
    assert words == ["4.0", "0.0", "0"] and len(err.splitlines()) == 1
    assert run(SLIP, PACKAGE.parent, kept) == (["4.0", "0.0", "1"], "")


def test_a_read_only_installation_without_a_home_uses_a_temporary_folder(tmp_path):
    """A file where the folder should be: nobody, root neither, can write beside the package."""
    root = copy_of_the_package(tmp_path / "copy")
    (root / "lanesim" / "motion" / "kernels" / "__pycache__").write_text("in the way")
    spare = tmp_path / "spare"
    spare.mkdir()
    places = {"HOME": os.devnull, "XDG_CACHE_HOME": "", "TMPDIR": str(spare),
              "PYTHONDONTWRITEBYTECODE": "1"}
    words, err = run(SLIP, root, None, **places)
    assert words == ["4.0", "0.0", "0"]
    (line,) = err.splitlines()
    assert line.startswith(f"note: compiled code is kept in {spare}")
    assert run(SLIP, root, None, **places) == (["4.0", "0.0", "1"], "")
    (folder,) = spare.iterdir()
    if hasattr(os, "getuid"):
        assert folder.stat().st_mode & 0o077 == 0
        folder.chmod(0o777)  # now others could put code there: not loaded from, not written to
        words, err = run(SLIP, root, None, **places)
        assert words == ["4.0", "0.0", "0"]
        assert err.startswith("note: compiled code cannot be kept") and err.count("\n") == 1


def test_a_home_that_can_be_written_comes_before_the_temporary_folder(tmp_path):
    root = copy_of_the_package(tmp_path / "copy")
    (root / "lanesim" / "motion" / "kernels" / "__pycache__").write_text("in the way")
    home = tmp_path / "home"
    words, err = run(SLIP, root, None, HOME=str(home), XDG_CACHE_HOME=str(home / "caches"))
    assert words == ["4.0", "0.0", "0"]
    assert err.startswith(f"note: compiled code is kept in {home}") and err.count("\n") == 1
    assert run(SLIP, root, None, HOME=str(home), XDG_CACHE_HOME=str(home / "caches"))[1] == ""


# --- the store by itself ------------------------------------------------------------------------


def test_nothing_can_be_written(tmp_path, capsys, monkeypatch):
    (tmp_path / "file").write_text("")
    nowhere = Store([tmp_path / "file" / "a", tmp_path / "file" / "b"], "s")
    assert not nowhere.writable()
    nowhere.write("name.1", b"code")
    assert nowhere.read("name.1") is None
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("note: compiled code cannot be kept")
    monkeypatch.setattr(sys, "stderr", None)  # as under pythonw: no place to say anything
    Store([tmp_path / "file" / "a"], "s").write("name.1", b"code")


def test_another_stamp_or_name_is_another_file(tmp_path):
    one, two = Store([tmp_path], "one"), Store([tmp_path], "two")
    one.write("name.1", b"code")
    assert one.read("name.1") == b"code" and one.holds("name")
    assert two.read("name.1") is None and one.read("name.2") is None
    assert not one.holds("nam") and not two.holds("name")
    assert digest_of(b"ab", b"c") != digest_of(b"a", b"bc")


def test_old_stamps_and_leftovers_are_pruned(tmp_path):
    now = time.time()
    for n in range(8):
        Store([tmp_path], f"s{n}").write("name.1", b"code")
        os.utime(tmp_path / f"compiled-s{n}", (now - 1000 + n, now - 1000 + n))
    leftover = tmp_path / "compiled-new" / "name.1.code.x.tmp"
    new = Store([tmp_path], "new")
    new.write("name.1", b"code")
    leftover.write_bytes(b"half")
    os.utime(leftover, (now - 7200, now - 7200))
    new.write("name.1", b"code")
    left = {p.name for p in tmp_path.iterdir()}
    assert left == {"compiled-new", "compiled-s7", "compiled-s6", "compiled-s5"}
    assert len(left) == KEEP_STAMPS
    assert not leftover.exists() and new.read("name.1") == b"code"


def test_folders_in_order(tmp_path, monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr(store_module, "user_cache_folder", lambda: tmp_path / "user")
    assert folders(tmp_path / "p") == [tmp_path / "p", tmp_path / "user", temporary_folder()]
    monkeypatch.setattr(store_module, "user_cache_folder", lambda: None)
    assert folders(tmp_path / "p") == [tmp_path / "p", temporary_folder()]
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "own"))
    assert folders(tmp_path / "p") == [tmp_path / "own", temporary_folder()]
