"""Tables in words: one page of rows, sorted as asked, with names that lead to their own pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from analytics.scope import GROUPS
from dashboard.asked import View
from dashboard.sections.common import cell, named, rows_of
from dashboard.sections.model import Table
from dashboard.urls import SUBJECTS
from dashboard.wording import Wording

_LONG = ("actions", "reason", "note", "locomotives", "jobs")


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell in words; `name` where it leads to the page of what its column names."""

    text: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Worded:
    """One page of a table.

    `columns`, `heads` and `kinds` (number, date, text, long) have one for each column; `view` is
    what is shown (which may be less than was asked), `count` the rows on all of `pages`.
    """

    columns: tuple[str, ...]
    heads: tuple[str, ...]
    kinds: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    view: View
    count: int
    pages: int


def put_into_words(
    table: Table, wording: Wording, view: View | None = None, *, subject: str = ""
) -> Worded:
    """Turn one page of a table into words.

    Columns that are empty throughout are left out, and that of `subject`, the kind of thing that
    the whole page is about.
    """
    frame = table.frame
    columns = tuple(c for c in frame.columns if c != subject and _says_something(frame[c]))
    asked = view or View()
    sort = asked.column if asked.column in columns else ""
    pages = max(1, -(-len(frame) // table.rows))
    shown = View(sort, asked.descending and bool(sort), min(asked.page, pages))
    page = _sorted(table, shown, wording).iloc[
        (shown.page - 1) * table.rows : shown.page * table.rows
    ]
    unit, per = wording.phrase(f"unit.{table.clock}"), wording.phrase(f"per.{table.clock}")
    return Worded(
        columns=columns,
        heads=tuple(wording.phrase(f"column.{c}", unit=unit, per=per) for c in columns),
        kinds=tuple(_kind(frame[c]) for c in columns),
        rows=tuple(
            tuple(_cell(column, row[column], table, wording) for column in columns)
            for row in rows_of(page[list(columns)])
        ),
        view=shown,
        count=len(frame),
        pages=pages,
    )


def _says_something(values: pd.Series) -> bool:
    if values.dtype == bool:
        return bool(values.any())
    told = values.notna()
    return bool((told & (values != "")).any() if values.dtype == object else told.any())


def _sorted(table: Table, view: View, wording: Wording) -> pd.DataFrame:
    if not view.column:
        return table.frame
    # Stable, so that rows alike stay in the order of the answer.
    return table.frame.sort_values(
        view.column,
        ascending=not view.descending,
        kind="stable",
        na_position="last",
        key=lambda values: _as_shown(values, table, wording),
    )


def _as_shown(values: pd.Series, table: Table, wording: Wording) -> pd.Series:
    """Return what rows are sorted by: numbers and dates themselves, of all else the words."""
    if _kind(values) in ("number", "date"):
        return values
    column = str(values.name)
    told = {
        value: _cell(column, value, table, wording).text.casefold()
        for value in {value for value in values if isinstance(value, str)}
    }
    return values.map(
        lambda value: told.get(value, value) if isinstance(value, str) else str(value),
        na_action="ignore",
    )


def _cell(column: str, value: Any, table: Table, wording: Wording) -> Cell:
    if column in SUBJECTS and isinstance(value, str) and value:
        return Cell(wording.label(column, value), value)
    if column in GROUPS:
        return Cell(named(column, value, wording))
    return Cell(cell(column, value, wording, share=column in table.shares))


def _kind(values: pd.Series) -> str:
    """Tell numbers and dates, which do not break over lines, from text."""
    types = pd.api.types
    if types.is_numeric_dtype(values.dtype) and not types.is_bool_dtype(values.dtype):
        return "number"
    if types.is_datetime64_any_dtype(values.dtype):
        return "date"
    return "long" if values.name in _LONG else "text"
