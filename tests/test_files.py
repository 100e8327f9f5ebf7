"""Files are written whole or not at all, and read with one clear line when something is wrong."""

from __future__ import annotations

import errno
import json
import math
import os
import stat
import subprocess
import sys

import msgspec
import numpy as np
import pytest

from lanesim import files
from lanesim.errors import InputError


class Small(msgspec.Struct, forbid_unknown_fields=True):
    """A tiny file's contents."""

    board: float
    name: str = "none"


def test_text_comes_back_and_missing_folders_are_made(tmp_path):
    path = files.write_text(tmp_path / "new" / "deep" / "a.txt", "ä µm\n")
    assert path.read_text(encoding="utf-8") == "ä µm\n"
    assert [p.name for p in path.parent.iterdir()] == ["a.txt"]


@pytest.mark.parametrize("step", ["open", "replace", "write"])
def test_a_full_disk_is_told_with_the_file_and_leaves_the_old_one(tmp_path, monkeypatch, step):
    path = files.write_text(tmp_path / "a.txt", "old")

    def full_disk(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    if step == "write":
        monkeypatch.setattr(os, "fdopen", lambda *_: FullStream(*_))
    else:
        monkeypatch.setattr(os, step, full_disk)
    with pytest.raises(InputError, match=r"cannot write .*a\.txt: No space left"):
        files.write_text(path, "new")
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


class FullStream:
    """A file on a full disk: opens, takes nothing, closes."""

    def __init__(self, handle, *_):
        self.handle = handle

    def __enter__(self):
        return self

    def __exit__(self, *_):
        os.close(self.handle)

    def write(self, _data):
        raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs the file kinds of a Unix")
def test_what_is_no_ordinary_file_is_neither_written_nor_read(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path in ("/dev/null", tmp_path / "pipe"):
        with pytest.raises(InputError, match="device or a pipe"):
            files.write_text(path, "x")
    for path in ("/dev/zero", tmp_path / "pipe"):
        with pytest.raises(InputError, match="device or a pipe"):
            files.read_text(path, "test")
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


def test_a_place_that_cannot_be_written_gets_one_line(tmp_path):
    (tmp_path / "taken").write_text("")
    for name in ("a.txt", "new/a.txt"):
        with pytest.raises(InputError, match=r"cannot write .*taken is not a folder"):
            files.write_text(tmp_path / "taken" / name, "x")
    for name in ("x" * 300, "nul\0byte"):
        with pytest.raises(InputError, match="cannot write"):
            files.write_text(tmp_path / name, "x")
        with pytest.raises(InputError, match="cannot read"):
            files.read_text(tmp_path / name, "test")


def test_a_folder_that_takes_nothing_gets_one_line(tmp_path, monkeypatch):
    """Faked: the superuser may write anywhere."""
    def refused(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refused)
    with pytest.raises(InputError, match=r"cannot write .*a\.txt: Permission denied"):
        files.write_text(tmp_path / "a.txt", "x")
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(InputError, match=r"cannot write to .*: permission denied"):
        files.check_target(tmp_path / "new" / "a.txt")


def test_modes_are_kept_and_read_only_files_are_left_alone(tmp_path):
    before = os.umask(0o027)
    try:
        path = files.write_text(tmp_path / "a.txt", "new")
        assert stat.S_IMODE(path.stat().st_mode) == 0o640  # 0o666 without the umask's bits
        path.chmod(0o600)
        files.write_text(path, "newer")
        assert (path.read_text(), stat.S_IMODE(path.stat().st_mode)) == ("newer", 0o600)
    finally:
        os.umask(before)
    path.chmod(0o444)
    with pytest.raises(InputError, match=r"a\.txt: the file is read-only"):
        files.write_text(path, "newest")
    assert path.read_text() == "newer"


def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "real.txt").write_text("old")
    (tmp_path / "link.txt").symlink_to("real.txt")
    files.write_text(tmp_path / "link.txt", "new")
    assert (tmp_path / "link.txt").is_symlink() and (tmp_path / "real.txt").read_text() == "new"


def test_what_a_killed_run_left_unfinished_is_removed_by_the_next(tmp_path):
    done = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"],
                          capture_output=True, text=True, check=True)
    host, ended = files._HOST, int(done.stdout)
    left = tmp_path / f".lanesim-{host}-{ended}-0.part"
    busy = tmp_path / f".lanesim-{host}-{os.getppid()}-0.part"
    other = tmp_path / f".lanesim-elsewhere-{ended}-0.part"
    for path in (left, busy, other):
        path.write_text("half")
    files.write_text(tmp_path / "a.txt", "x")
    assert {p.name for p in tmp_path.iterdir()} == {"a.txt", busy.name, other.name}


def test_a_drawing_that_fails_leaves_no_file(tmp_path):
    class Broken:
        def savefig(self, buffer, **_):
            buffer.write(b"half a picture")
            raise RuntimeError("no ink")

    with pytest.raises(RuntimeError, match="no ink"):
        files.save_figure(Broken(), tmp_path / "a.png")
    assert list(tmp_path.iterdir()) == []


def test_a_picture_needs_a_known_ending(tmp_path):
    with pytest.raises(InputError, match=r"must end in \.png, \.svg or \.pdf"):
        files.save_figure(None, tmp_path / "a.jpg")


def test_json_of_arrays_and_missing_numbers():
    text = files.to_json({"a": np.array([1.5, math.nan]), "b": (math.inf, np.int64(3)), 4: None})
    # RFC 8259 has no NaN or infinity (read): null stands for "no value"
    assert json.loads(text) == {"a": [1.5, None], "b": [None, 3], "4": None}
    assert "NaN" not in text


def test_csv_quotes_and_digits():
    text = files.csv_text(["name", "x"], [["a, b", 1 / 3], ["c", 7]])
    assert text.splitlines() == ["name,x", '"a, b",0.33333333', "c,7"]


def test_toml_comes_into_a_struct_and_refuses_what_it_does_not_know(tmp_path):
    good = files.write_text(tmp_path / "good.toml", "board = 7.5\n")
    assert files.read_toml(good, Small, "test") == Small(7.5)
    for text, words in (
        ("board = 1\nbord = 2\n", ["bord"]),
        ("name = 'x'\n", ["board"]),
        ("board = 'x'\n", ["board must be a number, not the text 'x'"]),
        ("board = \n", ["not valid TOML"]),
    ):
        bad = files.write_text(tmp_path / "bad.toml", text)
        with pytest.raises(InputError) as caught:
            files.read_toml(bad, Small, "test")
        message = str(caught.value)
        assert message.count("\n") == 0 and "bad.toml" in message
        assert all(word in message for word in words), message


def test_reading_what_is_not_there_or_not_text(tmp_path):
    with pytest.raises(InputError, match="test file not found"):
        files.read_text(tmp_path / "none.txt", "test")
    (tmp_path / "bytes").write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(InputError, match="not a text file"):
        files.read_text(tmp_path / "bytes", "test")
    with pytest.raises(InputError, match="cannot read test file"):
        files.read_text(tmp_path, "test")


class Pair(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """Two numbers that belong together."""

    deg: float
    inch: float = 0.0


class Nested(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """A file with tables."""

    name: str
    count: int | None = None
    limits: Small | None = None
    pair: Pair | None = None
    pairs: list[Pair] | None = None
    three: tuple[float, float, float] = (0.0, 0.0, 0.0)
    round: list[Small] = []


@pytest.mark.parametrize(("text", "words"), [
    ("nam = 'x'", "unknown key 'nam'; did you mean 'name'? known: name, count, limits, pair"),
    ("", "name is missing"),
    ("name = 1", "name must be text in quotes, not 1"),
    ("name = 'x'\ncount = 1.5", "count must be a whole number, not 1.5"),
    ("name = 'x'\ncount = true", "count must be a whole number, not true"),
    ("name = 'x'\n[limits]\nbord = 1", "[limits] unknown key 'bord'; did you mean 'board'?"),
    ("name = 'x'\npair = [1, 2, 3]", "pair must be a table { deg = ... }, not a list of 3"),
    ("name = 'x'\npair = {inch = 2}", "[pair] deg is missing"),
    ("name = 'x'\npairs = [{deg = 1}, {deg = 'y'}]",
     "pairs number 2: deg must be a number, not the text 'y'"),
    ("name = 'x'\nthree = [1, 2]", "three must be a list of 3 numbers, not a list of 2"),
    ("name = 'x'\nthree = [1, 2, 'z']", "three number 3: must be a number, not the text 'z'"),
    ("name = 'x'\n[[round]]\nboard = 1\n[[round]]\nname = 'Sunday'\nboard = []",
     "round number 2 (Sunday): board must be a number, not a list of 0"),
    ("name = 'x'\ncount = 9223372036854775808", "count: a whole number beyond 64 bits"),
    ("name = 2026-01-01", "name must be text in quotes, not the date 2026-01-01"),
    ("name = 'a\\u0000b'".replace("'", '"'), "name: the control character U+0000 in a text"),
    ("name = 'a\\u001b[31mb'".replace("'", '"'), "name: the control character U+001B"),
    ("name = 'a\\u202eb'".replace("'", '"'), "name: the control character U+202E"),
    ('"na\\u0007me" = 1', "the control character U+0007"),
    ("name = 'x\x1b'", "not valid TOML"),
    ("a = " + "9" * 4301, "not valid TOML: a number or a date out of range"),
    ("name = 'x'\nthree = [1, 2, " + "9" * 310 + "]", "three: a whole number beyond 64 bits"),
    ("a = " + "[" * 3000 + "]" * 3000, "not valid TOML: brackets within brackets, too deep"),
    ("a = " + "[" * 50 + "]" * 50, "within each other, more than 12 deep"),
    ("a" + ".b" * 2000 + " = 1", "within each other, more than 12 deep"),
])
def test_what_a_file_may_not_say_gets_one_line_with_its_place(text, words):
    with pytest.raises(InputError) as caught:
        files.parse_toml(text, Nested, "f.toml")
    message = str(caught.value)
    assert message.startswith("f.toml: ") and words in message and "\n" not in message


def test_a_table_of_tables_names_the_one_that_is_wrong():
    with pytest.raises(InputError, match=r"b\.toml: ball 'x': board is missing"):
        files.parse_toml("[y]\nboard = 1\n[x]\nname = 'z'", dict[str, Small], "b.toml", "ball")
    with pytest.raises(InputError, match=r"b\.toml: ball 'x': must be a table \{ board"):
        files.parse_toml("x = 1", dict[str, Small], "b.toml", "ball")


def test_a_byte_order_mark_and_foreign_line_ends_are_taken(tmp_path):
    (tmp_path / "a.toml").write_bytes(b"\xef\xbb\xbfboard = 1\r\nname = 'x'\r\n")
    assert files.read_toml(tmp_path / "a.toml", Small, "test") == Small(1.0, "x")


def test_long_texts_come_in_one_line():
    found = files.parse_toml('board = 1\nname = """two\n  lines\tand a tab"""', Small, "f")
    assert found.name == "two lines and a tab"


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_tables_are_read_by_whatever_separates_them(mark):
    text = f"\ufeff# head\n\na{mark} b\r\n1{mark}\"x{mark}y\"\n"
    assert list(files.read_rows(text, "t", "empty")) == [(3, ["a", "b"]), (4, ["1", f"x{mark}y"])]


@pytest.mark.parametrize(("text", "words"), [
    ("", "t: empty"), ("# only this\n", "t: empty"),
    ("a,b\n1,\0\n", "t, line 2: the control character U+0000"),
    ("a,b\n\n1,\x1b[2J\n", "t, line 3: the control character U+001B"),
    ("a,b\n1," + "9" * 131_073, "t, line 2: a field of more than 131,072 characters"),
    ('a,b\n1,"x\n', "t, line 2: double quotes in the wrong place"),
    ('a,b\n1,"x"y\n', "t, line 2: double quotes in the wrong place"),
])
def test_tables_that_cannot_be_read_say_where(text, words):
    with pytest.raises(InputError) as caught:
        list(files.read_rows(text, "t", "empty"))
    assert str(caught.value).startswith(words)


def test_a_file_of_no_sane_size_is_refused(tmp_path):
    with open(tmp_path / "huge", "wb") as stream:
        stream.truncate(files.MAX_BYTES + 1)  # sparse: takes no room
    with pytest.raises(InputError, match="larger than 64 MiB"):
        files.read_text(tmp_path / "huge", "test")


def test_a_damaged_archive_says_to_install_anew(tmp_path):
    whole = tmp_path / "a.npz"
    np.savez_compressed(whole, a=np.arange(9999))
    data = whole.read_bytes()
    for damaged in (b"", data[: len(data) // 2], data[:-7], b"\0" * 100,
                    data[:200] + bytes(b ^ 255 for b in data[200:210]) + data[210:]):
        (tmp_path / "b.npz").write_bytes(damaged)
        with pytest.raises(InputError, match=r"b\.npz: the table is damaged; install lanesim anew"):
            files.read_arrays(tmp_path / "b.npz", "table")
    with pytest.raises(InputError, match="table file not found"):
        files.read_arrays(tmp_path / "none.npz", "table")


def test_toml_that_is_written_is_read_back():
    text = files.toml_text({"board": np.float64(1.5), "name": 'a "b" \\ ü'}, "two\nlines")
    assert text.startswith("# two\n# lines\n")
    assert files.parse_toml(text, Small, "f") == Small(1.5, 'a "b" \\ ü')
