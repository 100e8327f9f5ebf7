"""The pattern files that ship, and the bad ones that must be refused with one clear line."""

from __future__ import annotations

from pathlib import Path

import pytest

from lanesim.errors import InputError
from lanesim.lane.pattern import (
    load_pattern,
    parse_pattern,
    pattern_directory,
    pattern_files,
    pattern_text,
)

BAD = Path(__file__).parent / "data" / "bad_patterns"

# File -> (line it must name, or None for the file as a whole; words the message must hold).
REFUSED = {
    "band-and-grid": (5, ["'foot'", "'band'", "one form or the other"]),
    "band-dash": (4, ["oil reads '10 - 4'", "A to B"]),
    "band-empty": (4, ["feet 30 to 30"]),
    "band-lacks-oil": (4, ["lacks 'oil'", "boards A to B feet C to D oil E to F"]),
    "band-past-length": (4, ["43 ft", "0 to 42 ft"]),
    "band-short-of-length": (None, ["length_ft is 42", "foot 40"]),
    "band-unknown-word": (4, ["'foot'", "did you mean 'feet'?"]),
    "band-word-twice": (4, ["'boards' is given twice"]),
    # By hand: 150 -> 4 over 42 ft is 150 - 146/84 = 148.262 in the first foot, and 120 more.
    "bands-add-up": (5, ["board 10, foot 1", "268.262 uL", "0 to 200 uL"]),
    "board-0": (4, ["board is 0", "1 to 39"]),
    "board-40": (4, ["board is 40", "1 to 39"]),
    "board-half": (4, ["board is '2.5'", "whole numbers, 1 to 39"]),
    "board-one-middle": (4, ["board_one is 'middle'", "right, left"]),
    "boards-backwards": (4, ["boards 38 to 2", "lower board comes first"]),
    "decimal-comma-band": (4, ["'10,5'", "decimal comma", "'10.5'"]),
    "decimal-comma-viscosity": (4, ["viscosity_cp", "'34,7'", "decimal comma", "5 to 200 cP"]),
    "empty": (None, ["'format' is missing"]),
    "format-missing": (1, ["format: lanesim-oil-1"]),
    "format-other": (1, ["lanesim-oil-9", "accepted: lanesim-oil-1"]),
    "grid-38-columns": (5, ["foot 2 has 38 volumes", "accepted: 39"]),
    "grid-40-columns": (5, ["foot 2 has 40 volumes", "accepted: 39"]),
    "grid-and-band": (5, ["'band'", "'foot'", "one form or the other"]),
    "grid-decimal-comma": (5, ["foot 2", "'4,5'", "decimal comma", "'4.5'"]),
    "grid-foot-61": (5, ["foot is 61", "1 to 60"]),
    "grid-foot-missing": (None, ["foot 2 is missing", "1 to 2"]),
    "grid-foot-twice": (5, ["foot 1 is given twice", "line 4"]),
    "grid-nan": (5, ["'NaN'", "not a number", "0 to 200 uL"]),
    "grid-negative": (5, ["-0.1 uL", "0 to 200 uL"]),
    "grid-one-too-many": (None, ["foot 4 is missing", "1 to 2"]),
    "grid-symmetric": (5, ["symmetric", "band lines only"]),
    "grid-too-much": (5, ["200.1 uL", "0 to 200 uL"]),
    "infinite-oil": (4, ["1e999", "0 to 200 uL"]),
    "key-below-oil": (5, ["'invented'", "settings come first"]),
    "key-twice": (4, ["'title' is given twice", "line 2"]),
    "length-61": (3, ["length_ft is 61", "0 to 60 ft"]),
    "length-fraction": (3, ["length_ft is '41.5'", "whole numbers, 0 to 60"]),
    "length-missing": (3, ["'length_ft' is missing"]),
    "nan-oil": (4, ["'nan'", "not a number", "0 to 200 uL"]),
    "negative-oil": (4, ["oil is -10 uL", "0 to 200 uL"]),
    "no-oil": (None, ["no oil", "length_ft is 42"]),
    "not-text": (None, ["not a text file"]),
    "not-yes-or-no": (4, ["invented is 'perhaps'", "yes, no"]),
    "oil-word": (4, ["'ten'"]),
    "stray-line": (4, ["'oil'", "length_ft: 42"]),
    "symmetric-past-middle": (5, ["symmetric", "is 38", "1 to 20"]),
    "title-missing": (None, ["'title' is missing"]),
    "too-much-oil": (4, ["oil is 250 uL", "0 to 200 uL"]),
    "unknown-key": (4, ["'symmetrical'", "did you mean 'symmetric'?"]),
    "viscosity-low": (4, ["viscosity_cp is 2 cP", "5 to 200 cP"]),
}


def test_every_bad_file_has_its_expectation() -> None:
    assert {path.stem for path in BAD.iterdir()} == set(REFUSED)


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_bad_files_are_refused_in_one_line(name: str) -> None:
    line, words = REFUSED[name]
    path = BAD / f"{name}.oil"
    with pytest.raises(InputError) as caught:
        load_pattern(path)
    message = str(caught.value)
    assert message.startswith(f"{path}, line {line}: " if line else f"{path}: ")
    assert "\n" not in message
    for word in words:
        assert word in message


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"oil pattern file not found: .*nothing\.oil"):
        load_pattern(tmp_path / "nothing.oil")


@pytest.mark.parametrize("cut", range(0, 3001, 150))
def test_a_file_cut_short_is_refused_or_whole(cut: int) -> None:
    # Nothing half-loaded: a grid cut anywhere before its last number is an error.
    text = pattern_text(load_pattern(pattern_files()["medium-42"]))
    assert len(text) > 3001
    with pytest.raises(InputError):
        parse_pattern(text[:cut], "cut")


def test_at_least_seven_patterns_ship_and_load_as_their_file_says() -> None:
    files = pattern_files()
    assert len(files) >= 7
    assert "medium-42" in files
    for name, path in files.items():
        pattern = load_pattern(path)
        assert pattern.name == name
        assert path.parent == pattern_directory()
        # A name that speaks of a length must tell the truth.
        assert int(name.rsplit("-", 1)[1]) == pattern.length_ft
        assert pattern.invented and pattern.title and pattern.note


@pytest.mark.parametrize("name", sorted(pattern_files()))
def test_shipped_patterns_are_of_real_size(name: str) -> None:
    pattern = load_pattern(pattern_files()[name])
    # Volumes 18-30 mL (facts.md, read).
    assert 18.0 <= pattern.total_ml <= 30.0
    # Sport patterns have a ratio <= 3:1 (read); the issue asks the house one for >= 6:1.
    for ratio in (pattern.ratio_left, pattern.ratio_right):
        assert ratio >= 6.0 if name.startswith("house") else 1.0 <= ratio <= 3.0
    # 27 mL over 42 ft is 2.0 um (derived); 18-30 mL over 33-45 ft stay within a factor 1.3.
    assert 1.5 <= pattern.mean_film_um <= 2.6
    # More oil early than late, every third of the pattern against the next.
    by_foot = pattern.volume_ul.sum(axis=1)[: int(pattern.length_ft)]
    third = len(by_foot) // 3
    thirds = [by_foot[i * third:(i + 1) * third].sum() for i in range(3)]
    assert thirds[0] > thirds[1] > thirds[2] > 0
    # And from the middle board to either edge the oil never grows, side by side.
    boards = pattern.volume_ul.sum(axis=0)
    peak = int(boards.argmax())
    assert (boards[peak:][1:] <= boards[peak:][:-1] + 1e-9).all()
    assert (boards[: peak + 1][1:] >= boards[: peak + 1][:-1] - 1e-9).all()


def test_the_reference_and_the_heavy_pattern_differ_in_oil_only() -> None:
    medium = load_pattern(pattern_files()["medium-42"])
    heavy = load_pattern(pattern_files()["heavy-42"])
    assert medium.length_ft == heavy.length_ft == 42
    assert medium.total_ml == pytest.approx(25.0, abs=1.0)  # the reference, as the design asks
    assert heavy.total_ml > 1.1 * medium.total_ml
