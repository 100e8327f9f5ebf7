"""What every result can do for its reader: tell itself in a few lines, draw itself, go to a table.

A study's result derives from `Result` and gives a `Story`; printing, notebook tables, CSV and data
frames follow from that in one place. A result is a frozen dataclass with `repr=False`, since its
arrays would fill the screen.
"""

from __future__ import annotations

import html
import importlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from .errors import InputError
from .files import csv_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Story:
    """A result told in words and numbers.

    Attributes
    ----------
    title : one line, what was found on what.
    facts : (what, value with its unit), in the order to be read.
    header, rows : a small table, units in the header; empty where facts say it all.
    notes : sentences below.
    """

    title: str
    facts: Sequence[tuple[str, str]] = ()
    header: Sequence[str] = ()
    rows: Sequence[Sequence[Any]] = ()
    notes: Sequence[str] = ()

    def text(self) -> str:
        """Plain text, columns aligned."""
        lines = [self.title]
        wide = max((len(name) for name, _ in self.facts), default=0)
        lines += [f"  {name:<{wide}}  {value}" for name, value in self.facts]
        if self.rows:
            table = [[str(cell) for cell in row] for row in (self.header, *self.rows)]
            widths = [max(len(row[n]) for row in table) for n in range(len(self.header))]
            lines += ["  " + "  ".join(cell.rjust(w) if n else cell.ljust(w)
                                       for n, (cell, w) in enumerate(zip(row, widths, strict=True)))
                      for row in table]
        return "\n".join([*lines, *self.notes])

    def html(self) -> str:
        """A table for a notebook; every text is escaped."""
        def cells(row: Sequence[Any], tag: str) -> str:
            return "".join(f"<{tag}>{html.escape(str(cell))}</{tag}>" for cell in row)

        out = [f"<p><strong>{html.escape(self.title)}</strong></p>"]
        if self.facts:
            out.append("<table>" + "".join(
                f'<tr><th scope="row" style="text-align:left">{html.escape(name)}</th>'
                f'<td style="text-align:left">{html.escape(value)}</td></tr>'
                for name, value in self.facts) + "</table>")
        if self.rows:
            rows = "".join(f"<tr>{cells(row, 'td')}</tr>" for row in self.rows)
            out.append(f"<table><thead><tr>{cells(self.header, 'th')}</tr></thead>"
                       f"<tbody>{rows}</tbody></table>")
        out += [f"<p>{html.escape(note)}</p>" for note in self.notes]
        return "\n".join(out)


class Result:
    """Base of every study's result.

    A subclass gives `story()` and `to_dict()`, names the function that draws it in `_figure`
    ("module:function", imported only when it is asked for: results know no figures otherwise), and
    gives `as_table()` if a CSV of it makes sense.
    """

    _figure: ClassVar[str] = ""

    def story(self) -> Story:
        """The result in a few lines."""
        raise NotImplementedError

    def to_dict(self) -> dict[str, Any]:
        """Everything as plain values, the same as a command's --json."""
        raise NotImplementedError

    def as_table(self) -> tuple[Sequence[str], Sequence[Sequence[Any]]]:
        """Header (units in the names) and rows of plain values."""
        story = self.story()
        if not story.rows:
            return ("what", "value"), story.facts
        return story.header, story.rows

    def to_csv(self) -> str:
        """The table as CSV text."""
        return csv_text(*self.as_table())

    def to_dataframe(self) -> Any:
        """The table as a data frame of pandas or, where that is missing, of polars.

        Raises
        ------
        InputError
            if neither is installed.
        """
        header, rows = self.as_table()
        columns = {str(name): [row[n] for row in rows] for n, name in enumerate(header)}
        for library in ("pandas", "polars"):
            try:
                module = importlib.import_module(library)
            except ImportError:
                continue
            return module.DataFrame(columns)
        raise InputError("a data frame needs pandas or polars, and neither is installed; "
                         "to_csv() and to_dict() work without")

    def plot(self, **options: Any) -> Figure:
        """A matplotlib figure; `options` go to the function that draws it (title, note, ...)."""
        if not self._figure:
            raise InputError(f"there is no picture of a {type(self).__name__}")
        module, _, name = self._figure.partition(":")
        return getattr(importlib.import_module(module), name)(*self._drawn(), **options)

    def _drawn(self) -> tuple[Any, ...]:
        """What the drawing function takes."""
        return (self,)

    def __str__(self) -> str:
        return self.story().text()

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.story().title}>"

    def _repr_html_(self) -> str:
        return self.story().html()


