"""Patterns from tape readings: what the readings draw, and bad tables refused in one line."""

from __future__ import annotations

import math

import numpy as np
import pytest
from click.testing import CliRunner

from lanesim.cli import cli
from lanesim.errors import InputError
from lanesim.lane.oil_file import load_pattern
from lanesim.lane.pattern import UNIT_CELL_UL
from lanesim.lane.tape import parse_tape, pattern_from_tape

GOOD = """# read on lane 12
feet, 2, 8, 20
4, 10, 20, 60
24, 5, 5, 12
40, 3, 3, 0
"""


def units(text: str, **more: object) -> np.ndarray:
    return pattern_from_tape(parse_tape(text), name="t", **more).volume_ul / UNIT_CELL_UL


def test_readings_are_met_where_they_were_taken() -> None:
    # By hand. A foot just before a reading holds, on an exponential from s at a to e at b, the
    # exact mean of the last foot: e (r - 1)/ln r with r = (s/e)^(1/(b - a)).
    cells = units(GOOD)
    for board, s, e in ((2, 10, 5), (8, 20, 5), (20, 60, 12)):
        r = (s / e) ** (1 / 20)
        assert cells[23, board - 1] == pytest.approx(e * (r - 1) / math.log(r))
        assert cells[0, board - 1] == pytest.approx(s)  # before the first reading: as there
    # Board 5 lies half-way between 2 and 8: 15 units at 4 ft; board 1 is as board 2.
    assert cells[2, 4] == pytest.approx(15.0)
    assert cells[2, 0] == pytest.approx(10.0)
    # A reading of 0 is met in a straight line: 12 to 0 over 16 ft, its last foot holds 0.375.
    assert cells[39, 19] == pytest.approx(0.375)
    np.testing.assert_allclose(cells, cells[:, ::-1])  # boards to 20: symmetric
    assert not cells[40:].any()


def test_length_and_volume() -> None:
    longer = units(GOOD, length_ft=42)
    assert longer[41, 1] == pytest.approx(3.0) and longer[42:].sum() == 0.0
    shorter = units(GOOD, length_ft=38)
    np.testing.assert_allclose(shorter[:38], units(GOOD)[:38])
    assert shorter[38:].sum() == 0.0
    pattern = pattern_from_tape(parse_tape(GOOD), name="t", volume_ml=25.0)
    assert pattern.total_ml == pytest.approx(25.0, rel=1e-12)


def test_all_boards_make_a_lopsided_pattern() -> None:
    cells = units("ft;1;20;39\n0;5;50;10\n40;3;5;4\n")
    assert cells[0, 38] > cells[0, 0] > 0


@pytest.mark.parametrize(("text", "said"), [
    ("", "empty; the first line names the boards"),
    ("distance, 2, 8\n1, 2, 3\n", "line 1: the first line begins with 'distance'"),
    ("feet, 2\n1, 2\n", "line 1: 1 boards; accepted: 2 or more"),
    ("feet, 8, 2\n1, 2, 3\n", "line 1: board 2 does not lie beyond 8"),
    ("feet, 2, 2.5\n1, 2, 3\n", "line 1: board 2.5; accepted: whole boards"),
    ("feet, 2, 40\n1, 2, 3\n", "line 1: board is 40; accepted: 1 to 39"),
    ("feet, 2, 8\n1, 2\n", "line 2: 2 fields; accepted: 3"),
    ("feet, 2, 8\n1, 2, x\n", "line 2: reading on board 8 is 'x', not a number"),
    ("feet, 2, 8\n1, 2, -3\n", "line 2: reading on board 8 is -3 units; accepted: 0 to"),
    ("feet, 2, 8\n1, 2, nan\n", "line 2: reading on board 8 is 'nan', not a number"),
    ("feet, 2, 8\n9, 2, 3\n9, 2, 3\n", "line 3: distance 9 ft does not lie beyond 9 ft"),
    ("feet, 2, 8\n9, 2, 3\n61, 2, 3\n", "line 3: distance is 61 ft; accepted: 0 to 60 ft"),
    ("feet, 2, 8\n9, 2, 3\n", "1 distance; accepted: 2 or more"),
])
def test_bad_tables_are_refused_in_one_line(text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_tape(text, "tape.csv")
    message = str(caught.value)
    assert message.startswith("tape.csv") and said in message and "\n" not in message


@pytest.mark.parametrize(("more", "said"), [
    ({"length_ft": 24}, "accepted: whole feet beyond 24 ft"),
    ({"length_ft": 61}, "accepted: 1 to 60 ft"),
    ({"volume_ml": 0.0}, "volume is 0 mL"),
])
def test_bad_lengths_and_volumes(more: dict, said: str) -> None:
    with pytest.raises(InputError, match=said):
        pattern_from_tape(parse_tape(GOOD), name="t", **more)


def test_the_command_makes_a_pattern_file(tmp_path) -> None:
    table, out = tmp_path / "lane12.csv", tmp_path / "lane12.oil"
    table.write_text(GOOD)
    done = CliRunner().invoke(cli, ["patterns", "--from-tape", str(table), "--scale-length", "41",
                                     "--scale-volume", "24", "--expand", str(out)])
    assert done.exit_code == 0, done.output
    pattern = load_pattern(out)
    assert pattern.name == "lane12" and pattern.length_ft == 41
    assert pattern.total_ml == pytest.approx(24.0, abs=1e-3)
    assert not pattern.invented


def test_the_command_scales_a_shipped_pattern(tmp_path) -> None:
    out = tmp_path / "event.oil"
    done = CliRunner().invoke(cli, ["patterns", "medium-42", "--scale-length", "44",
                                     "--scale-volume", "27", "--expand", str(out)])
    assert done.exit_code == 0, done.output
    pattern = load_pattern(out)
    assert (pattern.name, pattern.length_ft) == ("medium-42-scaled", 44)
    assert pattern.total_ml == pytest.approx(27.0, abs=1e-3)


@pytest.mark.parametrize("words", [
    ["--scale-length", "44"], ["--from-tape", "x.csv", "medium-42"],
    ["--from-tape", "x.csv", "--check", "y.oil"], ["--from-tape", "no-such.csv"],
])
def test_what_does_not_go_together_is_said(words) -> None:
    done = CliRunner().invoke(cli, ["patterns", *words])
    assert done.exit_code != 0
