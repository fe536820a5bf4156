"""What the terminal shows: tables, an answer in words, one line of progress."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from analytics.answer import Answer

WIDTH_WITHOUT_TERMINAL = 120
EMPTY = "\u2013"


def console() -> Console:
    """Return the console on standard output; 120 columns wide where that is no terminal."""
    from rich.console import Console

    width = None if sys.stdout.isatty() else int(os.environ.get("COLUMNS", WIDTH_WITHOUT_TERMINAL))
    return Console(file=sys.stdout, width=width, highlight=False, soft_wrap=False)


def plain_table(headings: Sequence[str], rows: Sequence[Sequence[Any]]) -> Table:
    """Return a table with one rule under its headings; numbers stand to the right."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for place, heading in enumerate(headings):
        numeric = all(_is_number(row[place]) for row in rows) and len(rows) > 0
        words = heading.replace("_", " ")
        table.add_column(words, justify="right" if numeric else "left", overflow="fold")
    for row in rows:
        table.add_row(*(_cell(value) for value in row))
    return table


def show_answer(answer: Answer, *, most_rows: int = 40) -> None:
    """Print an answer: its reading, the table rounded for reading, basis and notes."""
    from rich.markup import escape

    from analytics.answer import say

    screen = console()
    screen.print(escape(say(answer.reading)))
    screen.print()
    shown = answer.table.head(most_rows)
    if len(shown):
        rows = [list(row) for row in shown.itertuples(index=False, name=None)]
        screen.print(plain_table([str(name) for name in shown.columns], rows))
    if len(answer.table) > most_rows:
        more = len(answer.table) - most_rows
        screen.print(f"{more} more rows: use --format csv to see all.")
    screen.print()
    for line in basis_lines(answer):
        screen.print(escape(line), style="dim")
    for note in answer.notes:
        screen.print(escape(f"Note: {say(note)}"))


def basis_lines(answer: Answer) -> list[str]:
    """Return what the figures rest on, in two or three short lines."""
    from analytics.answer import round_for_reading

    basis = answer.basis
    unit = {"hours": "h", "km": "km", "days": "days"}[basis.clock]
    period = f"{_day(basis.since) or 'begin of records'} to {_day(basis.until) or 'data cut'}"
    first = (
        f"Basis: {basis.locomotives} locomotives, {round_for_reading(basis.exposure)} {unit}, "
        f"{basis.events} events, {basis.censored} censored; counting {basis.counting}; {period}."
    )
    filters = "; ".join(f"{word} {', '.join(names)}" for word, names in basis.filters.items())
    left_out = ", ".join(f"{n} {reason}" for reason, n in basis.left_out.items() if n)
    second = (
        f"{basis.method}, {basis.level:.0%} bounds; known to {_day(basis.data_cut) or 'nothing'}; "
        f"data {basis.fingerprint}."
    )
    lines = [first, second]
    if filters:
        lines.append(f"Only: {filters}.")
    if left_out:
        lines.append(f"Left out: {left_out.replace('_', ' ')}.")
    return lines


@contextmanager
def progress_line() -> Iterator[Callable[[str], None]]:
    """Yield a function that shows what is being done; silent where stderr is no terminal."""
    if not sys.stderr.isatty():
        yield lambda _line: None
        return
    from rich.console import Console
    from rich.markup import escape

    with Console(file=sys.stderr).status("") as status:
        yield lambda line: status.update(escape(line))


def _is_number(value: Any) -> bool:
    return value is None or (isinstance(value, (int, float)) or hasattr(value, "dtype"))


def _cell(value: Any) -> str:
    import pandas as pd
    from rich.markup import escape

    from analytics.answer import round_for_reading

    if value is None or value is pd.NaT or value is pd.NA:
        return EMPTY
    if isinstance(value, bool) or type(value).__name__ == "bool_":
        return "yes" if value else "no"
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, int):
        return f"{value:,}".replace(",", "\u202f")
    if isinstance(value, float):
        return round_for_reading(value)
    if isinstance(value, pd.Timestamp):
        return _day(value) or EMPTY
    return escape(str(value))


def _day(instant: Any) -> str:
    return instant.isoformat(sep=" ", timespec="minutes").removesuffix(" 00:00") if instant else ""
