"""The shots file: what it takes, and one clear line for everything it does not."""

from __future__ import annotations

import numpy as np
import pytest

from lanesim.errors import InputError, InputWarning
from lanesim.fit.shots_file import (
    OUTCOME_WORDS,
    RELEASE_COLUMNS,
    RESULT_COLUMNS,
    parse_shots,
    read_shots,
    shots_text,
    write_shots,
)
from lanesim.motion.pocket import OUTCOMES

HEAD = ("game,ball,pattern,laydown_board,arrow_board,speed_mph,rev_rpm,rotation_deg,board_at_40ft,"
        "breakpoint_board,entry_board,outcome\n")
ROW = "1,solid,house,24,14.5,18.5,430,45,7.2,6.9,17.4,pocket\n"


def changed(column: str, value: str) -> str:
    """The good row with one field replaced."""
    fields = ROW.strip().split(",")
    fields[HEAD.strip().split(",").index(column)] = value
    return HEAD + ",".join(fields) + "\n"


def message(text: str) -> str:
    with pytest.raises(InputError) as caught:
        parse_shots(text, "my.csv")
    said = str(caught.value)
    assert "\n" not in said
    assert said.startswith("my.csv")
    return said


def test_a_row_is_read_into_columns_with_nan_for_the_empty():
    log = parse_shots("# mine\n\n" + HEAD + ROW + ROW.replace("430", ""), "my.csv")
    assert len(log) == 2
    assert log.line == (4, 5)
    assert log.ball == ("solid", "solid") and log.game == (1, 1)
    assert log.column("speed_mph").tolist() == [18.5, 18.5]
    assert np.isnan(log.column("rev_rpm")[1]) and np.isnan(log.column("tilt_deg")).all()
    assert log.board_at[40.0].tolist() == [7.2, 7.2]


@pytest.mark.parametrize("mark", [";", "\t"])
def test_semicolons_tabs_and_a_byte_order_mark_are_taken(mark):
    log = parse_shots("\ufeff" + (HEAD + ROW).replace(",", mark))
    assert log.column("entry_board")[0] == 17.4


def test_writing_and_reading_gives_the_same_shots(tmp_path):
    log = parse_shots(HEAD + ROW + ROW.replace("17.4,pocket", ","))
    again = read_shots(write_shots(tmp_path / "s.csv", log, "a\ncomment"))
    assert again.outcome == ("pocket", "") and again.ball == log.ball and again.game == log.game
    for name in log.values:
        np.testing.assert_array_equal(again.column(name), log.column(name))
    np.testing.assert_array_equal(again.board_at[40.0], log.board_at[40.0])
    assert shots_text(again) == shots_text(log)


@pytest.mark.parametrize(("text", "words"), [
    ("", "empty"),
    (HEAD, "no shots"),
    (changed("speed_mph", '"18,5"'), "comma as decimal sign; write 18.5"),
    (HEAD + ROW.replace("18.5", "18,5"), "13 fields for 12 columns; is a comma used as decimal"),
    ((HEAD + ROW).replace(",", ";").replace("18.5", "18,5"), "comma as decimal sign; write 18.5"),
    (changed("speed_mph", "29.5"), "looks like km/h"),
    (changed("speed_mph", "45"), "line 2, speed_mph: 45 is not possible; accepted: 8 to 32 mph"),
    (changed("speed_mph", ""), "speed_mph: empty"),
    (changed("speed_mph", "fast"), "'fast' is not a number"),
    (changed("rev_rpm", "7"), "turns per second"),
    (changed("laydown_board", "63"), "accepted: 0.5 to 39.5 boards"),
    (changed("arrow_board", ""), "neither launch_angle_deg nor arrow_board"),
    (changed("game", "first"), "'first' is not a game number"),
    (changed("outcome", "strike"), "'strike' is not known; accepted: pocket"),
    (changed("outcome", "gutter"), "contradict"),
    (changed("entry_board", "12"), "contradict"),
    (changed("breakpoint_board", "25"), "breakpoint"),
    (HEAD.replace("speed_mph", "speed_kmh") + ROW, "did you mean 'speed_mph'?; this file speaks"),
    (HEAD.replace("entry_board", "entrybord") + ROW, "did you mean 'entry_board'?"),
    (HEAD.replace("board_at_40ft", "board_at_12m") + ROW, "feet along the lane"),
    (HEAD.replace("board_at_40ft", "board_at_75ft") + ROW, "1 to 59 ft"),
    (HEAD.replace("rev_rpm", "speed_mph") + ROW, "twice"),
    (HEAD.replace("laydown_board", "tilt_deg") + ROW, "'laydown_board' is missing"),
    ("laydown_board,arrow_board,speed_mph\n24,14,18\n", "no column says what the ball did"),
    ("laydown_board,speed_mph,entry_board\n24,18,17\n", "neither 'launch_angle_deg' nor"),
])
def test_what_is_wrong_is_said_in_one_line(text, words):
    assert words in message(text)


def test_radians_are_refused_and_a_slow_junior_only_warned_about():
    rows = "".join(ROW.replace(",45,", f",{v},") for v in ("0.8", "0.75", "0.9"))
    assert "radians" in message(HEAD + rows)
    with pytest.warns(InputWarning, match="if that is m/s"):
        parse_shots(changed("speed_mph", "8.3"))


def test_outcome_words_are_those_of_the_pocket_module():
    assert OUTCOME_WORDS == OUTCOMES


def test_every_column_has_a_range_that_holds_typical_values_and_a_positive_sd():
    # typical: the project's facts page (18.6 mph, 436 rpm, rotation 45, tilt 15, breakpoint 42 ft)
    typical = {"laydown_board": 24, "launch_angle_deg": -2.8, "arrow_board": 14, "speed_mph": 18.6,
               "rev_rpm": 436, "rotation_deg": 45, "tilt_deg": 15, "speed_pins_mph": 15.9,
               "breakpoint_board": 7, "breakpoint_ft": 42, "entry_board": 17.5,
               "entry_angle_deg": 4.5}
    columns = RELEASE_COLUMNS | RESULT_COLUMNS
    assert set(typical) == set(columns)
    for name, column in columns.items():
        assert column.low < typical[name] < column.high
        assert column.sd > 0


def test_a_file_needs_neither_ball_pattern_nor_game():
    """All columns are optional but those that make a shot."""
    text = ("laydown_board,arrow_board,speed_mph,entry_board\n"
            "24,14.5,18.4,17.5\n25,15,18.6,18\n")
    log = parse_shots(text, "few.csv")
    assert log.ball == log.pattern == ("", "") and log.game == (1, 1)
    assert list(log.values["entry_board"]) == [17.5, 18.0]
