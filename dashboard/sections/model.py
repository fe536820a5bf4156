"""One section of a page before it is drawn: words, a figure, its table twin, what it rests on.

Pages, print and reports are lists of these; nothing here knows how a page is built.
"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.figures.look import Figure


@dataclass(frozen=True, slots=True)
class Table:
    """A table in words: headings, which columns hold numbers, rows, and what was left out."""

    heads: tuple[str, ...]
    numeric: tuple[bool, ...]
    rows: tuple[tuple[str, ...], ...]
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Grounds:
    """What a figure rests on, in words: the two numbers that matter most, then all of it."""

    summary: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """The answer to one question, ready to be shown.

    Attributes
    ----------
    title
        The question in the reader's words.
    reading
        One sentence computed from the data.
    figure
        Plotly figure as a dict; None where there is nothing to draw, the reading says why.
    table
        The same as the figure, as a table.
    notes
        Caveats, most important first.
    basis
        What the figures rest on.
    command
        The command that prints the same figures.
    """

    title: str
    reading: str
    figure: Figure | None
    table: Table | None
    notes: tuple[str, ...] = ()
    basis: Grounds | None = None
    command: str = ""
