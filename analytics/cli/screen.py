"""A table on the screen: the columns worth reading, rounded, cut to what fits."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Sequence
from typing import IO

import numpy as np
import pandas as pd
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from analytics.answer import Answer, Message, say
from analytics.cli.columns import WIDE, Shown, chosen_columns, question_of
from analytics.cli.texts import basis_lines, plain_characters

MOST_ROWS_IN_A_FILE = 200
_AROUND_THE_TABLE = 16
_FEWEST_ROWS = 8
_NARROWEST = 14
_CURVES = ("survival", "intensity", "mcf")
# What the first rows of a cut table are chosen by, and how that is said.
_WORST = {
    "mtbf": ("rate_lower", "show.most_often"),
    "trend": ("shape_lower", "show.getting_worse"),
    "recurrence": ("rate_lower", "show.come_back"),
}


def show_table(answer: Answer, stream: IO[str], *, most_rows: int | None = None) -> None:
    """Print reading, table, basis and notes.

    Parameters
    ----------
    answer
        What is shown.
    stream
        Where to; a terminal cuts long tables to its height.
    most_rows
        Rows at most; by default what fits.
    """
    console = make_console(stream)
    _say(console, say(answer.reading))
    _print_rows(console, answer, most_rows or _room(stream))
    for line in basis_lines(answer):
        _say(console, line)
    for note in answer.notes:
        _say(console, f"- {say(note)}", indent="  ")


def show_headline(answer: Answer, stream: IO[str], *, most_rows: int) -> None:
    """Print the reading and the first rows alone."""
    console = make_console(stream)
    _say(console, say(answer.reading))
    _print_rows(console, answer, most_rows, say_what_is_left=False)


def make_console(stream: IO[str]) -> Console:
    """Make a console that writes without colours and takes text as it is."""
    return Console(file=stream, highlight=False, no_color=True, emoji=False, markup=False)


def print_table(console: Console, columns: Sequence[Shown]) -> None:
    """Print columns of text side by side; numbers are never cut, the longest text column wraps."""
    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    for column in columns:
        table.add_column(
            plain_characters(column.heading, console.encoding),
            justify="right" if column.numeric else "left",
            no_wrap=not column.wraps,
            vertical="top",
        )
    for row in zip(*(column.cells for column in columns), strict=True):
        table.add_row(*(Text(plain_characters(text, console.encoding)) for text in row))
    # Better a line that the terminal breaks than a number without its last digit.
    fixed = sum(column.width + 2 for column in columns if not column.wraps)
    needed = fixed + sum(min(column.width, _NARROWEST) for column in columns if column.wraps)
    console.print()
    if needed > console.width:
        table.width = needed
    console.print(table, crop=False)


def _print_rows(
    console: Console, answer: Answer, most: int, *, say_what_is_left: bool = True
) -> None:
    table, left = _cut(answer.table, question_of(answer), most)
    if table.empty:
        return
    columns, legend = chosen_columns(answer, table, wide=console.width >= WIDE)
    print_table(console, columns)
    for line in legend:
        _say(console, line, indent="   ")
    if left and say_what_is_left:
        _say(console, say(left))
    console.print()


def _say(console: Console, line: str, *, indent: str = "") -> None:
    text = plain_characters(line.replace(" %", "\u00a0%"), console.encoding)
    print(
        textwrap.fill(text, console.width, subsequent_indent=indent, break_on_hyphens=False),
        file=console.file,
    )


def _room(stream: IO[str]) -> int:
    if not stream.isatty():
        return MOST_ROWS_IN_A_FILE
    return max(_FEWEST_ROWS, shutil.get_terminal_size().lines - _AROUND_THE_TABLE)


def _cut(frame: pd.DataFrame, question: str, most: int) -> tuple[pd.DataFrame, Message | None]:
    """Keep the rows worth a screen: curves thinned evenly, else the worst."""
    if len(frame) <= most:
        return frame, None
    if question in _CURVES:
        places = np.linspace(0, len(frame) - 1, most).round().astype(int)
        return frame.iloc[places], Message("show.thinned", shown=most, all=len(frame))
    if "month" in frame:
        return frame.tail(most), Message("show.last_rows", shown=most, all=len(frame))
    if question in _WORST:
        column, key = _WORST[question]
        worst = frame.sort_values(column, ascending=False, kind="stable").head(most)
        return worst, Message(key, shown=most, all=len(frame))
    return frame.head(most), Message("show.first_rows", shown=most, all=len(frame))
