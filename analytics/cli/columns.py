"""Which columns of an answer are worth a screen, and how their cells read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from string import ascii_lowercase

import pandas as pd

from analytics.answer import Answer
from analytics.cli.texts import bounds, cell, heading
from analytics.scope import GROUPS

WIDE = 110
"""From this width on, the columns for a second look are shown too."""


@dataclass(frozen=True, slots=True)
class Shown:
    """One column as it is printed; `wraps` where its text may run over several lines."""

    heading: str
    cells: tuple[str, ...]
    numeric: bool
    wraps: bool = False

    @property
    def width(self) -> int:
        """The longest line of the column."""
        return max(
            len(line) for text in (self.heading, *self.cells) for line in (*text.split("\n"), "")
        )


@dataclass(frozen=True, slots=True)
class _Layout:
    """Columns in order, those that need a wide screen, those that are shares of one.

    A pair is one column of bounds.
    """

    columns: tuple[str | tuple[str, str], ...]
    wide: frozenset[str | tuple[str, str]] = frozenset()
    shares: frozenset[str] = frozenset()


_LOWER_UPPER = ("lower", "upper")
_MTBF = ("mtbf_lower", "mtbf_upper")
_SHAPE = ("shape_lower", "shape_upper")
_NOW = ("mtbf_now_lower", "mtbf_now_upper")
_RATE = ("rate_lower", "rate_upper")
_B10 = ("b10_lower", "b10_upper")
_MEDIAN = ("median_lower", "median_upper")
LAYOUTS = {
    "mtbf": _Layout(
        ("failures", "exposure", "mtbf", _MTBF, "dispersion", "constancy_p"),
        wide=frozenset({"dispersion", "constancy_p"}),
    ),
    "trend": _Layout(
        (
            "failures",
            "laplace_u",
            "laplace_p",
            "milhdbk_p",
            "shape",
            _SHAPE,
            "mtbf_now",
            _NOW,
            "cvm",
        ),
        wide=frozenset({"laplace_u", "milhdbk_p", _NOW, "cvm"}),
    ),
    "survival": _Layout(
        ("age", "survival", _LOWER_UPPER, "at_risk", "events"),
        shares=frozenset({"survival", *_LOWER_UPPER}),
    ),
    "fit": _Layout(
        (
            "model",
            "lives",
            "failures",
            "left_out",
            "b10",
            _B10,
            "median",
            _MEDIAN,
            "shape",
            _SHAPE,
            "aicc",
        ),
        wide=frozenset({"lives", "left_out", _SHAPE, "aicc"}),
    ),
    "mcf": _Layout(("age", "mcf", _LOWER_UPPER, "at_risk", "events")),
    "recurrence": _Layout(
        (
            "findings",
            "repeats",
            "repeat_share",
            "same_day",
            "median_gap_days",
            "closings",
            "matured",
            "rate",
            _RATE,
        ),
        wide=frozenset({"repeat_share", "same_day", "median_gap_days", "matured"}),
        shares=frozenset({"repeat_share", "rate", *_RATE}),
    ),  # fmt: skip
    "repeats": _Layout(
        (
            "locomotive",
            "component",
            "length",
            "first",
            "last",
            "open",
            "down_hours",
            "cost",
            "actions",
        ),
        wide=frozenset({"first", "down_hours", "cost"}),
    ),
    "quality": _Layout(
        ("table", "column", "filled_share", "days_without_inspection", "counters_still", "note"),
        shares=frozenset({"filled_share"}),
    ),
}
_WRAPPING = ("note", "actions")
_LAST_ACTIONS = {False: 2, True: 5}


def question_of(answer: Answer) -> str:
    """Name the layout of an answer: fitted laws have their own."""
    return "fit" if "model" in answer.table.columns else answer.question


def chosen_columns(
    answer: Answer, table: pd.DataFrame, *, wide: bool
) -> tuple[list[Shown], list[str]]:
    """Return the columns to print and, below them, what the letters beside the rows mean.

    Columns that are empty throughout are left out.
    """
    question = question_of(answer)
    layout, clock = LAYOUTS[question], answer.basis.clock
    own = question in ("repeats", "quality")
    groups = [name for name in table.columns if name in GROUPS and not own]
    found = [_named(table, name, question, clock) for name in groups]
    for column in layout.columns:
        if column in layout.wide and not wide:
            continue
        if isinstance(column, tuple):
            found.append(_bounds(table, column, answer, share=column[0] in layout.shares))
        elif (question, column) == ("repeats", "component"):
            found.append(_places(table))
        elif column == "actions":
            found.append(_last_actions(table, wide=wide))
        else:
            found.append(_plain(table, column, question, clock, share=column in layout.shares))
    shown = [column for column in found if any(column.cells)]
    if "note" in table and "note" not in layout.columns:
        marks, legend = _marked(table["note"].tolist())
        return shown + ([marks] if any(marks.cells) else []), legend
    return shown, []


def _plain(
    table: pd.DataFrame, name: str, question: str, clock: str, *, share: bool = False
) -> Shown:
    column = table[name]
    number = pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)
    return Shown(
        heading(question, name, clock),
        tuple(cell(name, value, share=share) for value in column.tolist()),
        numeric=number,
        wraps=name in _WRAPPING,
    )


def _named(table: pd.DataFrame, name: str, question: str, clock: str) -> Shown:
    """Show a group's name; what has none gets a dash, so that the row does not look broken."""
    shown = _plain(table, name, question, clock)
    return replace(shown, cells=tuple(text or "\u2013" for text in shown.cells))


def _bounds(table: pd.DataFrame, pair: tuple[str, str], answer: Answer, *, share: bool) -> Shown:
    ends = zip(table[pair[0]].tolist(), table[pair[1]].tolist(), strict=True)
    return Shown(
        f"{100 * answer.basis.level:.4g} %\nbounds",
        tuple(bounds(lower, upper, share=share) for lower, upper in ends),
        numeric=True,
    )


def _places(table: pd.DataFrame) -> Shown:
    """Name component and position in one cell."""
    pairs = zip(table["component"].tolist(), table["position"].tolist(), strict=True)
    cells = tuple(f"{name} {cell('position', place)}".rstrip() for name, place in pairs)
    return Shown(heading("repeats", "component", "days"), cells, numeric=False)


def _last_actions(table: pd.DataFrame, *, wide: bool) -> Shown:
    """Show what was done the last times; the whole chain is in the data."""
    most = _LAST_ACTIONS[wide]
    cells = []
    for actions in table["actions"].tolist():
        parts = actions.split(" > ")
        kept = parts[-most:]
        cells.append(" > ".join([*(["\u2026"] if len(parts) > most else []), *kept]))
    return Shown(heading("repeats", "actions", "days"), tuple(cells), numeric=False, wraps=True)


def _marked(notes: Sequence[str]) -> tuple[Shown, list[str]]:
    """Turn the remarks on the rows into letters with a legend; a remark on all rows needs none."""
    parts = [note.split("; ") if note else [] for note in notes]
    distinct = dict.fromkeys(part for row in parts for part in row)
    shared = [part for part in distinct if all(part in row for row in parts)]
    some = [part for part in distinct if part not in shared]
    letters = dict(zip(some, ascii_lowercase, strict=False))
    cells = tuple("".join(letters[part] for part in row if part in letters) for row in parts)
    legend = [f"{letter}  {part}" for part, letter in letters.items()]
    if shared:
        legend.insert(0, "; ".join(shared))
    return Shown("", cells, numeric=False), legend
