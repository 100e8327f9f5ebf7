"""The ball log: reading it, the state on any date, and what is refused, with line numbers."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanesim.catalog import DATA, load_ball, shipped_balls
from lanesim.equipment.ball_log import BallLog, LogEntry, load_log, log_text, parse_log, state_on
from lanesim.errors import InputError

HEAD = "date,ball,games,refreshed,extracted,note\n"


def log(text: str) -> BallLog:
    return parse_log(HEAD + text, "season.csv", shipped_balls())


def test_state_is_stepped_through_the_entries():
    """Counted by hand (D): 6 + 3 games, sanded, 4 games, oil out, 5 games."""
    book = log(
        "2026-01-10,strong-solid,6,,,league\n"
        "2026-01-17,strong-solid,3,,,\n"
        "2026-02-01,strong-solid,,1000,,sanded\n"
        "2026-02-02,strong-solid,4,,,\n"
        "2026-02-03,strong-solid,,,yes,\n"
        "2026-02-09,strong-solid,5,,,\n"
        "2026-02-09,weak-pearl,7,,,\n"
    )
    ball = load_ball("strong-solid")
    for day, since, total, extractions, finish in (
        (date(2026, 1, 9), 0, 0, 0, "2000 grit"),
        (date(2026, 1, 10), 6, 6, 0, "2000 grit"),
        (date(2026, 1, 31), 9, 9, 0, "2000 grit"),
        (date(2026, 2, 1), 0, 9, 0, "1000 grit"),
        (date(2026, 2, 3), 4, 13, 1, "1000 grit"),
        (date(2027, 1, 1), 9, 18, 1, "1000 grit"),
    ):
        cover = state_on(book, ball, day)
        assert (cover.games_since_surface, cover.games_total) == (since, total), day
        assert (cover.oil_extractions, cover.finish) == (extractions, finish), day
    assert state_on(book, ball, date(2027, 1, 1)).games_since_extraction == 5
    assert state_on(book, load_ball("weak-pearl"), date(2027, 1, 1)).games_total == 7


def test_true_date_of_an_extraction_matters():
    """Oil drawn out late leaves less in the cover than oil drawn out early."""
    ball = load_ball("strong-solid")
    early = log("2026-01-01,strong-solid,10,,,\n2026-01-02,strong-solid,90,,yes,\n")
    late = log("2026-01-01,strong-solid,90,,,\n2026-01-02,strong-solid,10,,yes,\n")
    day = date(2026, 2, 1)
    a, b = (state_on(book, ball, day) for book in (early, late))
    assert a.games_total == b.games_total == 100
    assert a.soaked_share > b.soaked_share


def test_work_on_a_line_comes_before_its_games():
    book = log("2026-01-01,strong-solid,10,,,\n2026-01-02,strong-solid,3,polish,yes,\n")
    cover = state_on(book, load_ball("strong-solid"), date(2026, 1, 2))
    assert (cover.games_since_surface, cover.games_since_extraction) == (3, 3)
    assert cover.polished


def test_lines_of_other_dates_may_stand_in_any_order():
    book = log("2026-02-02,strong-solid,4,,,\n2026-02-01,strong-solid,,1000,,\n"
               "2026-01-10,strong-solid,6,,,\n")
    cover = state_on(book, load_ball("strong-solid"), date(2026, 3, 1))
    assert (cover.games_since_surface, cover.games_total) == (4, 10)


def test_pace_is_games_a_day_of_the_last_sixty():
    """12 games on the 1st and 18 on the 31st, asked for on the 31st: 30 games in 31 days (D)."""
    book = log("2026-01-01,strong-solid,12,,,\n2026-01-31,strong-solid,18,,,\n")
    assert book.pace("strong-solid", date(2026, 1, 31)) == pytest.approx(30 / 31)
    # sixty days later only what is younger counts
    assert book.pace("strong-solid", date(2026, 3, 15)) == pytest.approx(18 / 60)
    assert book.pace("strong-solid", date(2025, 12, 1)) == 0.0


ENTRIES = st.lists(st.builds(
    LogEntry,
    day=st.dates(date(2020, 1, 1), date(2030, 1, 1)),
    ball=st.sampled_from(["strong-solid", "weak-pearl", "plastic-spare"]),
    games=st.integers(0, 40).map(float),
    refreshed=st.none() | st.sampled_from([(1000.0, False), (2000.0, True), (4000.0, False)]),
    extracted=st.booleans(),
    note=st.text("abc ,\"'x", max_size=12).map(str.strip),
), min_size=1, max_size=12)


@given(ENTRIES)
def test_text_round_trip(entries):
    book = BallLog(tuple(sorted(entries, key=lambda e: e.day)))
    again = parse_log(log_text(book), "again")
    assert [(e.day, e.ball, e.games, e.refreshed, e.extracted, e.note) for e in again.entries] == [
        (e.day, e.ball, e.games, e.refreshed, e.extracted, e.note) for e in book.entries]


@given(ENTRIES, st.integers(0, 4000))
def test_games_only_grow_with_the_date(entries, days):
    book = BallLog(tuple(sorted(entries, key=lambda e: e.day)))
    ball = load_ball("strong-solid")
    day = date(2020, 1, 1) + timedelta(days=days)
    a, b = state_on(book, ball, day), state_on(book, ball, day + timedelta(days=30))
    assert b.games_total >= a.games_total
    assert b.oil_extractions >= a.oil_extractions


@pytest.mark.parametrize(("text", "words"), [
    ("", "nothing in it"),
    ("# only a comment\n", "nothing in it"),
    (HEAD, "no entry below"),
    ("date,games\n", "line 1: column 'ball' is missing"),
    ("date,ball,gams\n", "line 1: unknown column 'gams'; did you mean 'games'"),
    ("date,ball,date\n", "line 1: column 'date' is there twice"),
    (HEAD + "2026-01-01,strong-solid,3,,,,\n", "line 2: 7 values for 6 columns"),
    (HEAD + "\n# x\n1.2.2026,strong-solid,3,,,\n", "line 4: date '1.2.2026' is not understood"),
    (HEAD + "2026-02-30,strong-solid,3,,,\n", "line 2: date '2026-02-30' is not in the calendar"),
    (HEAD + "2026-02-20,,3,,,\n", "line 2: no ball named"),
    (HEAD + "2026-02-20,strong-sold,3,,,\n", "line 2: .*did you mean 'strong-solid'"),
    (HEAD + "2026-02-20,strong-solid,-3,,,\n", "line 2: games '-3'"),
    (HEAD + "2026-02-20,strong-solid,nan,,,\n", "line 2: games 'nan'"),
    (HEAD + "2026-02-20,strong-solid,many,,,\n", "line 2: games 'many'"),
    (HEAD + "2026-02-20,strong-solid,3,shiny,,\n", "line 2: refreshed: .*accepted"),
    (HEAD + "2026-02-20,strong-solid,3,100,,\n", "line 2: refreshed: finish is 100"),
    (HEAD + "2026-02-20,strong-solid,3,,maybe,\n", "line 2: extracted 'maybe'"),
    (HEAD + '2026-02-20,strong-solid,3,,,"open\n', "line 2: double quotes in the wrong place"),
])
def test_what_is_refused_says_where(text, words):
    with pytest.raises(InputError, match="season.csv.*" + words) as caught:
        parse_log(text, "season.csv", shipped_balls())
    assert "\n" not in str(caught.value)


def test_missing_file_and_the_demo_log(tmp_path):
    with pytest.raises(InputError, match="ball log file not found"):
        load_log(tmp_path / "none.csv")
    book = load_log(DATA / "demo_log.csv", shipped_balls())
    assert set(book.balls) <= set(shipped_balls())
    # counted in the file: 6+6+9+6+8+9+9+12+9+6+12+12+12+9+12 games (D)
    cover = state_on(book, load_ball("strong-solid"), book.last_day)
    assert cover.games_total == 137
    assert cover.games_since_surface == 57
