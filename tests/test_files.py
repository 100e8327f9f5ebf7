"""Files are written whole or not at all, and read with one clear line when something is wrong."""

from __future__ import annotations

import json
import math
import os

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


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = files.write_text(tmp_path / "a.txt", "old")

    def full_disk(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full_disk)
    with pytest.raises(OSError, match="No space"):
        files.write_text(path, "new")
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


@pytest.mark.parametrize("name", ["a.txt", "new/a.txt"])
def test_a_place_that_cannot_be_written_gets_one_line(tmp_path, name, monkeypatch):
    """A file where a folder should be; and a folder that may not be written (faked: root may)."""
    (tmp_path / "taken").write_text("")
    with pytest.raises(InputError, match=r"cannot write .*taken"):
        files.write_text(tmp_path / "taken" / name, "x")

    def refused(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "mkdir", refused)
    monkeypatch.setattr("tempfile.mkstemp", refused)
    with pytest.raises(InputError, match=r"cannot write .*Permission denied"):
        files.write_text(tmp_path / name, "x")


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
        ("board = 'x'\n", ["float", "board"]),
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
