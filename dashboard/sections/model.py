"""One section of a page before it is drawn: words, a figure, its table twin, what it rests on.

Pages, print and reports are lists of these; nothing here knows how a page is built.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.figures.look import Figure

if TYPE_CHECKING:
    import pandas as pd

    from analytics.scope import Scope
    from dashboard.record import Record


ROWS = 15
"""Rows of a table shown at once."""


@dataclass(frozen=True, slots=True)
class Table:
    """The rows of an answer that a section shows, before they have words.

    Attributes
    ----------
    frame
        The columns shown, in order, all rows.
    clock
        The clock whose unit the headings name.
    shares
        Columns shown in per cent.
    opened
        Whether the table is the section itself, with no figure above it.
    rows
        How many rows are shown at once.
    """

    frame: pd.DataFrame
    clock: str
    shares: frozenset[str] = frozenset()
    opened: bool = False
    rows: int = ROWS


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


@dataclass(frozen=True, slots=True)
class Choice:
    """An option of a question that the address may set.

    `offered` are the values that the page's control lists, the first of them the default, and
    after them those that `more` finds in a store's folder; `read` turns a value of the address into
    the option (a mapping: into options by name), with a ShedbookError or ValueError for a bad one.
    """

    offered: tuple[str, ...]
    read: Callable[[str], Any] = str
    more: Callable[[Path], tuple[str, ...]] = lambda _folder: ()


@dataclass(frozen=True, slots=True)
class SectionKind:
    """One section: the question as the command line words it, its options, its drawing.

    Attributes
    ----------
    question, options
        What is asked beside the Scope.
    draw
        Turns the answer into a Section; its third argument is what the page is about, or empty.
    narrow
        Cuts the page's Scope to what the section is about: the last week, one class.
    choices
        Options that the address may set, by word.
    wide
        Whether it takes the whole width of a desk's screen.
    of_one
        Whether it needs one locomotive to be chosen; else it says `name.of_one`.
    long
        Whether it takes minutes: then it is worked out in the background, and only when asked for.
    planned
        Whether it is about the berth plan: the version shown is then an option of its question, so
        that no kept answer is of another.
    beside
        Options that differ in a second answer to the question, which `draw` takes as `beside`.
    """

    question: str
    options: Mapping[str, Any]
    draw: Callable[..., Section]
    narrow: Callable[[Scope, Record], Scope] | None = None
    choices: Mapping[str, Choice] = field(default_factory=dict)
    wide: bool = False
    of_one: bool = False
    long: bool = False
    planned: bool = False
    beside: Mapping[str, Any] = field(default_factory=dict)
