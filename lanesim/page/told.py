"""Answers in the form that a window shows: facts, sentences, tables, pictures, numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from ..files import drawn


@dataclass
class Table:
    """A table: caption, headings (words, or (words, unit)), rows of texts, a note below."""

    caption: str
    head: Sequence[Any]
    rows: Sequence[Sequence[str]]
    note: str = ""
    left: Sequence[int] = (0,)


@dataclass
class Answer:
    """What a question is answered with.

    numbers : the same as the command's --json. headline, facts, sentences, tables : to be read.
    pictures : what each shows, in words (the pictures themselves are in `svg`). line : a laydown
    board and a board at the arrows to stand on. files : (name, text) offered to be written.
    """

    numbers: dict[str, Any]
    headline: str = ""
    facts: list[tuple[str, str]] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    pictures: list[str] = field(default_factory=list)
    line: dict[str, float] | None = None
    files: list[tuple[str, str]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    small: list[str] = field(default_factory=list)
    svg: list[bytes] = field(default_factory=list)
    report: str = ""

    def draw(self, words: str, figure: Any) -> None:
        """Add a picture; `words` say what it shows to who cannot see it."""
        self.pictures.append(words)
        self.svg.append(drawn(figure, "svg"))

    def to_dict(self) -> dict[str, Any]:
        """All but the pictures and the report, which lie beside it."""
        return {"numbers": self.numbers, "headline": self.headline, "facts": self.facts,
                "sentences": self.sentences, "tables": self.tables, "pictures": self.pictures,
                "line": self.line, "files": self.files, "remarks": self.remarks,
                "small": self.small, "report": bool(self.report)}


def number(value: float | None, decimals: int = 1) -> str:
    """A number for a table; a dash where there is none."""
    if value is None or value != value:
        return "–"
    text = f"{value:.{decimals}f}"
    text = text.removeprefix("-") if float(text) == 0 else text
    return text.replace("-", "−")


def signed(value: float | None, decimals: int = 1) -> str:
    """A difference, with its sign."""
    text = number(value, decimals)
    return text if text == "–" or text.startswith("−") or float(text) == 0 else f"+{text}"


def share(rate: Any, decimals: int = 1) -> str:
    """A Rate in per cent with its interval."""
    return between(rate.rate, rate.low, rate.high, decimals)


def between(rate: float, low: float, high: float, decimals: int = 1) -> str:
    """Shares in per cent, like '31.2 (29.8–32.6)'."""
    return (f"{number(100 * rate, decimals)} ({number(100 * low, decimals)}–"
            f"{number(100 * high, decimals)})")


def gain(difference: Any, decimals: int = 1) -> str:
    """A difference of two rates in points with its interval."""
    if difference is None:
        return "–"
    return (f"{signed(100 * difference.value, decimals)} ({signed(100 * difference.low, decimals)} "
            f"to {signed(100 * difference.high, decimals)})")


def strikes(pins: Any, decimals: int = 1) -> str:
    """Strike rate of a PinResult in per cent with its interval."""
    return between(pins.strike_rate, pins.strike_low, pins.strike_high, decimals)


def per_game(pins: Any) -> str:
    """Pins per game with the ends of the strike interval."""
    return f"{pins.pins_per_game:.0f} ({pins.game_low:.0f}–{pins.game_high:.0f})"


def leaves(pins: Any, count: int = 3) -> str:
    """The likeliest leaves with their share of first balls."""
    return "; ".join(f"{'all ten' if leave.count('-') == 9 else leave} {number(100 * part)} %"
                     for leave, part in pins.leaves(count))


PINS_NOTE = ("Strikes: 95 % intervals of the shots and of the table of simulated hits. Leaves: "
             "share of first balls. Pins per game: from such shots alone, leaves made at published "
             "(professionals') or simulated rates.")
