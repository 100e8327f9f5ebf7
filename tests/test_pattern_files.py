"""The pattern files that ship, and the bad ones that must be refused with one clear line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lanesim.errors import InputError
from lanesim.lane.oil_file import (
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
    "band-oil-count": (5, ["3 distances but 2 amounts of oil"]),
    "band-pieces-backwards": (4, ["feet 30 to 12", "down the lane"]),
    "band-taper-word": (4, ["taper is 'curved'", "straight, exponential"]),
    "band-taper-zero": (4, ["exponential", "above 0"]),
    "band-three-boards": (4, ["boards reads '2 to 5 to 8'", "two as 'A to B'"]),
    "oil-in-litres": (4, ["oil_in is 'litres'", "uL, units"]),
    "units-too-much": (5, ["oil is 140 units", "0 to 135 units"]),
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


def test_ten_patterns_or_more_ship_and_load_as_their_file_says() -> None:
    files = pattern_files()
    assert len(files) >= 10
    lengths = [load_pattern(path).length_ft for path in files.values()]
    assert min(lengths) == 33 and max(lengths) == 47
    assert sum(name.startswith("house") for name in files) >= 2
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
    # Volumes 18-30 mL (read) for ordinary patterns; the lightest and heaviest ones 17 and 32.
    assert 16.5 <= pattern.total_ml <= 32.5
    ratios = pattern.ratio_left, pattern.ratio_right
    if name.startswith("house"):
        assert min(ratios) >= 6.0  # easy: twice the sport limit or more (common practice)
    else:
        # Sport: a ratio of at most 3:1 (read) and 3 units edge to edge (read, 2015).
        assert min(ratios) >= 1.0 and max(ratios) <= 3.0
        assert pattern.least_units >= 3.0
    # Front-loaded: 45 to 120 units where the heads begin (read: 70 to 120 on competitive ones)
    # and 3 to 7 on the middle boards where the oil ends (common practice).
    middle = pattern.units_by_foot(18, 22)
    assert 40.0 <= middle[0] <= 120.0
    assert 3.0 <= middle[int(pattern.length_ft) - 1] <= 7.0
    oiled = middle[: int(pattern.length_ft)]
    assert (np.diff(oiled) < 0.0).all()
    # And from the middle board to either edge the oil never grows, side by side.
    boards = pattern.volume_ul.sum(axis=0)
    peak = int(boards.argmax())
    assert (boards[peak:][1:] <= boards[peak:][:-1] + 1e-9).all()
    assert (boards[: peak + 1][1:] >= boards[: peak + 1][:-1] - 1e-9).all()


def test_several_patterns_are_two_or_three_to_one() -> None:
    ratios = [load_pattern(path).ratio_right for path in pattern_files().values()]
    assert sum(2.0 <= r <= 3.0 for r in ratios) >= 5


def test_the_reference_and_the_heavy_pattern_differ_in_oil_only() -> None:
    medium = load_pattern(pattern_files()["medium-42"])
    heavy = load_pattern(pattern_files()["heavy-42"])
    assert medium.length_ft == heavy.length_ft == 42
    assert medium.total_ml == pytest.approx(25.0, abs=1.0)  # the reference, as the design asks
    assert heavy.total_ml > 1.1 * medium.total_ml
