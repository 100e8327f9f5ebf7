"""A ball log: the games each ball has played and what was done to it, and its cover on any date.

The file is our own: text (UTF-8), a line per date and ball, fields separated by commas, semicolons
or tabs. Lines that start with `#` are comments. The first other line names the columns; `date` and
`ball` must be among them::

    # what my balls have done
    date,ball,games,refreshed,extracted,note
    2026-01-10,strong-solid,6,,,league
    2026-02-01,strong-solid,,2000,,sanded
    2026-02-01,strong-solid,3,,,
    2026-03-15,strong-solid,,,yes,oil drawn out

- date: YYYY-MM-DD. Lines may stand in any order; those of one date keep the file's.
- ball: a name, the same as in the ball file.
- games: games played that day, a number from 0; empty: 0.
- refreshed: a new finish, `2000` or `polish`; empty: none.
- extracted: `yes` if oil was drawn out; empty or `no`: not.
- note: any text.

On a line with games AND work on the ball, the work comes first: oil out, then the finish, then the
games. Write two lines for another order. Lines after the date asked for are plans.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from ..errors import InputError, nearest_name, shown
from ..files import csv_text, read_rows, read_text
from .ball import Ball
from .cover import Cover, parse_finish

COLUMNS = ("date", "ball", "games", "refreshed", "extracted", "note")
NEEDED = ("date", "ball")
MAX_GAMES_A_LINE = 200.0
PACE_DAYS = 60  # the pace of play is taken over so many days before the date asked for


@dataclass(frozen=True)
class LogEntry:
    """One line: what a ball did on a day.

    Attributes
    ----------
    day, ball, games : when, which, how many games.
    refreshed : (grit, polished) of a new finish, or None.
    extracted : whether oil was drawn out.
    line : line number in the file, 0 if it came from elsewhere.
    """

    day: date
    ball: str
    games: float = 0.0
    refreshed: tuple[float, bool] | None = None
    extracted: bool = False
    note: str = ""
    line: int = 0


@dataclass(frozen=True)
class BallLog:
    """All entries, by date; those of one date in the file's order."""

    entries: tuple[LogEntry, ...]
    where: str = "ball log"

    @property
    def balls(self) -> tuple[str, ...]:
        """Names of the balls, in order of appearance."""
        return tuple(dict.fromkeys(e.ball for e in self.entries))

    @property
    def first_day(self) -> date:
        """Date of the earliest entry."""
        return self.entries[0].day

    @property
    def last_day(self) -> date:
        """Date of the latest entry."""
        return self.entries[-1].day

    def of(self, ball: str, until: date | None = None) -> list[LogEntry]:
        """A ball's entries up to and with a date."""
        return [e for e in self.entries if e.ball == ball and (until is None or e.day <= until)]

    def games(self, ball: str, after: date, until: date) -> float:
        """Games a ball plays after one date up to and with another."""
        return sum(e.games for e in self.of(ball, until) if e.day > after)

    def pace(self, ball: str, on: date, days: int = PACE_DAYS) -> float:
        """Games a day over the `days` days up to `on`, or since the ball's first entry if fewer."""
        mine = self.of(ball, on)
        if not mine:
            return 0.0
        start = max(on - timedelta(days=days), mine[0].day - timedelta(days=1))
        span = max((on - start).days, 1)
        return self.games(ball, start, on) / span


def state_on(log: BallLog, ball: Ball, day: date) -> Cover:
    """The ball's cover at the end of a date, stepped through the log's entries one by one.

    The ball's own cover is its state before the first entry.
    """
    return stepped(ball.cover, log.of(ball.name, day))


def stepped(cover: Cover, entries: Iterable[LogEntry]) -> Cover:
    """A cover after the entries, each at its true place: oil out, then the finish, then games."""
    for entry in entries:
        if entry.extracted:
            cover = cover.extracted()
        if entry.refreshed is not None:
            cover = cover.refreshed(*entry.refreshed)
        if entry.games:
            cover = cover.played(entry.games)
    return cover


def load_log(path: str | Path, balls: Mapping[str, Ball] | None = None) -> BallLog:
    """Read a ball log; with `balls`, every name in it must be one of theirs.

    Raises
    ------
    InputError
        naming the file, the line, the column and what is accepted.
    """
    return parse_log(read_text(path, "ball log"), shown(path), balls)


def parse_log(
    text: str, where: str = "ball log", balls: Mapping[str, Ball] | None = None
) -> BallLog:
    """Read a ball log from text; see `load_log`."""
    empty = "nothing in it; the first line names the columns: " + ",".join(COLUMNS)
    rows = read_rows(text, where, empty)
    number, names = next(rows)
    header = _header(names, f"{where}, line {number}")
    entries: list[LogEntry] = []
    for number, cells in rows:
        place = f"{where}, line {number}"
        if len(cells) > len(header):
            raise InputError(f"{place}: {len(cells)} values for {len(header)} columns; a separator "
                             'in a note needs quotes around it ("...")')
        values = dict(zip(header, cells + [""] * (len(header) - len(cells)), strict=True))
        entries.append(_entry(values, place, number, balls))
    if not entries:
        raise InputError(f"{where}: no entry below the line that names the columns")
    return BallLog(tuple(sorted(entries, key=lambda e: e.day)), where)


def log_text(log: BallLog) -> str:
    """The log as file text; `parse_log` gives the same entries back."""
    rows = []
    for e in log.entries:
        finish = ""
        if e.refreshed is not None:
            finish = "polish" if e.refreshed[1] else f"{e.refreshed[0]:g}"
        rows.append((e.day.isoformat(), e.ball, f"{e.games:g}" if e.games else "", finish,
                     "yes" if e.extracted else "", e.note))
    return csv_text(COLUMNS, rows)


def _header(cells: list[str], place: str) -> list[str]:
    names = [cell.lower() for cell in cells]
    for name in names:
        if name not in COLUMNS:
            raise InputError(f"{place}: {nearest_name(name, COLUMNS, 'column')}")
        if names.count(name) > 1:
            raise InputError(f"{place}: column '{name}' is there twice")
    for name in NEEDED:
        if name not in names:
            raise InputError(f"{place}: column '{name}' is missing; the columns are "
                             + ",".join(COLUMNS))
    return names


def _entry(
    values: dict[str, str], place: str, number: int, balls: Mapping[str, Ball] | None
) -> LogEntry:
    name = values["ball"]
    if not name:
        raise InputError(f"{place}: no ball named")
    if balls is not None and name not in balls:
        raise InputError(f"{place}: {nearest_name(name, balls, 'ball')}")
    try:
        finish = parse_finish(values["refreshed"]) if values.get("refreshed") else None
    except InputError as error:
        raise InputError(f"{place}: refreshed: {error}") from None
    return LogEntry(
        day=_day(values["date"], place), ball=name, games=_games(values.get("games", ""), place),
        refreshed=finish, extracted=_yes(values.get("extracted", ""), place),
        note=values.get("note", ""), line=number,
    )


def _day(text: str, place: str) -> date:
    parts = text.split("-")
    if [len(p) for p in parts] != [4, 2, 2] or not all(p.isdecimal() for p in parts):
        raise InputError(f"{place}: date '{text}' is not understood; accepted: YYYY-MM-DD, as in "
                         "2026-03-15")
    try:
        return date(*map(int, parts))
    except ValueError:
        raise InputError(f"{place}: date '{text}' is not in the calendar") from None


def _games(text: str, place: str) -> float:
    if not text:
        return 0.0
    try:
        games = float(text)
    except ValueError:
        games = float("nan")
    if not 0.0 <= games <= MAX_GAMES_A_LINE:
        raise InputError(f"{place}: games '{text}'; accepted: a number from 0 to "
                         f"{MAX_GAMES_A_LINE:g}, or nothing")
    return games


def _yes(text: str, place: str) -> bool:
    word = text.lower()
    if word not in {"", "yes", "no"}:
        raise InputError(f"{place}: extracted '{text}'; accepted: yes, no or nothing")
    return word == "yes"


def parse_day(text: str, what: str) -> date:
    """A date given as an option."""
    return _day(text.strip(), what)
