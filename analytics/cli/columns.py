"""Which columns of an answer are worth a screen, and how their cells read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from string import ascii_lowercase

import pandas as pd

from analytics.answer import Answer
from analytics.answers import UNGROUPED
from analytics.cli.layout import AHEAD, GROUPS_AND_LAWS, QUALITY
from analytics.cli.layout import Layout as _Layout
from analytics.cli.plan_layout import OTHER_ROWS, PLAN
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


_LOWER_UPPER = ("lower", "upper")
_MTBF = ("mtbf_lower", "mtbf_upper")
_SHAPE = ("shape_lower", "shape_upper")
_NOW = ("mtbf_now_lower", "mtbf_now_upper")
_RATE = ("rate_lower", "rate_upper")
_B10 = ("b10_lower", "b10_upper")
_MEDIAN = ("median_lower", "median_upper")
_CUMULATIVE = ("cumulative_lower", "cumulative_upper")
_SHRUNK = ("shrunk_lower", "shrunk_upper")
_RATIO = ("ratio_lower", "ratio_upper")
_RESTORED = ("restoration_mean_lower", "restoration_mean_upper")
LAYOUTS = {
    **GROUPS_AND_LAWS,
    **QUALITY,
    **AHEAD,
    **PLAN,
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
            "cvm_p",
        ),
        wide=frozenset({"laplace_u", "milhdbk_p", _NOW, "cvm", "cvm_p"}),
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
    "steps": _Layout(
        (
            "locomotive",
            "component",
            "step",
            "found",
            "gap_days",
            "defect",
            "action",
            "closed",
            "down_hours",
            "cost",
        ),
        wide=frozenset({"closed", "down_hours", "cost"}),
    ),
    "compare": _Layout(
        (
            "first",
            "second",
            "failures_first",
            "exposure_first",
            "failures_second",
            "exposure_second",
            "ratio",
            _RATIO,
            "p",
            "q",
        ),
        wide=frozenset({"exposure_first", "exposure_second", "p"}),
    ),
    "availability": _Layout(
        (
            "locomotives",
            "days_in_use",
            "down_days",
            "unknown_share",
            "availability",
            "availability_inherent",
            "down_intervals",
            "still_down",
            "restoration_mean_hours",
            _RESTORED,
            "restoration_median_hours",
        ),
        wide=frozenset({"locomotives", "down_days", "availability_inherent", "still_down"}),
        shares=frozenset({"unknown_share", "availability", "availability_inherent"}),
    ),
    "down": _Layout(
        (
            "locomotive",
            "depot",
            "from",
            "to",
            "opened_by",
            "component",
            "defect",
            "planned",
            "hours",
            "open",
        ),
        wide=frozenset({"depot", "defect"}),
    ),
    "readings": _Layout(
        (
            "locomotive",
            "parameter",
            "running_state",
            "last",
            "unit",
            "beyond",
            "crossing_earliest",
            "crossing",
        ),
        wide=frozenset({"unit", "crossing"}),
    ),
    "points": _Layout(
        (
            "locomotive",
            "parameter",
            "running_state",
            "read_at",
            "value",
            "unit",
            "as_entered",
            "unit_as_entered",
            "segment",
        ),
        wide=frozenset({"as_entered", "unit_as_entered"}),
    ),
    "intensity": _Layout(
        (
            "age",
            "intensity",
            _LOWER_UPPER,
            "cumulative",
            _CUMULATIVE,
            "at_risk",
            "events",
            "model",
            "shape",
        ),
        wide=frozenset({"model", "shape"}),
    ),
    "standouts": _Layout(
        (
            "serial",
            "series",
            "observed",
            "expected",
            "ratio",
            "shrunk",
            _SHRUNK,
            "chance_above",
            "q",
            "stands_out",
            "lost_hours",
            "cost",
        ),
        wide=frozenset({"ratio", "chance_above", "lost_hours", "cost"}),
        shares=frozenset({"chance_above"}),
    ),
    "warnings": _Layout(
        (
            "component",
            "class",
            "state",
            "since",
            "alarmed",
            "observed",
            "expected",
            "locomotives",
        ),
        wide=frozenset({"alarmed", "locomotives"}),
    ),
    "weekly": _Layout(("component", "class", "week", "count", "expected", "s", "h", "alarm")),
    "findings": _Layout(
        (
            "locomotive",
            "component",
            "defect",
            "severity",
            "found",
            "closed",
            "action",
            "open",
            "age_days",
            "repeat",
            "down_hours",
            "cost",
        ),
        wide=frozenset({"closed", "repeat", "down_hours", "cost"}),
    ),
    "ages": _Layout(
        (
            "locomotive",
            "component",
            "since",
            "start_known",
            "age",
            "left_share",
            "median",
            "last_action",
        ),
        wide=frozenset({"median", "last_action"}),
        shares=frozenset({"left_share"}),
    ),
    "counters": _Layout(("locomotive", "clock", "read_at", "value", "raw", "reset")),
    "batches": _Layout(
        (
            "batch",
            "received",
            "file",
            "rows",
            "accepted",
            "updated",
            "duplicate",
            "set_aside",
            "withdrawn",
        ),
        wide=frozenset({"updated", "duplicate"}),
    ),
    "set_aside": _Layout(("batch", "file", "row", "column", "reason")),
}
_WRAPPING = ("note", "actions", "parameter", "reason", "file")
_PLACED = (
    "repeats",
    "steps",
    "findings",
    "ages",
    "positions",
    "look-closer",
)  # component and position share a cell
# A column that only these have.
_OTHER_ROWS = {
    "is_best": "replace_curve",
    **OTHER_ROWS,
    "incidence": "kinds",
    "at_risk_against": "mcf_differ",
    "rate_against": "recurrence_differ",
    "statistic": "differ",
    "hazard": "hazard",
    "fitted": "plot",
    "cumulative": "intensity",
    "model": "fit",
    "step": "steps",
    "as_entered": "points",
    "opened_by": "down",
    "week": "weekly",
    "use": "positions",
    "decile": "calibration",
    "outside": "funnel",
    "missed": "inspected",
}
_FIRST_NAMES = 2
_LAST_ACTIONS = {False: 2, True: 5}


def question_of(answer: Answer) -> str:
    """Name the layout of an answer: some options of a question give rows of another kind."""
    for column, layout in _OTHER_ROWS.items():
        if column in answer.table.columns:
            return layout
    return answer.question


def chosen_columns(
    answer: Answer, table: pd.DataFrame, *, wide: bool
) -> tuple[list[Shown], list[str]]:
    """Return the columns to print and, below them, what the letters beside the rows mean.

    Columns that are empty throughout are left out.
    """
    question = question_of(answer)
    layout, clock = LAYOUTS[question], answer.basis.clock
    own = answer.question in UNGROUPED or question == "down"
    groups = [name for name in table.columns if name in GROUPS and not own]
    found = [_named(table, name, question, clock) for name in groups]
    for column in layout.columns:
        if (column in layout.wide and not wide) or column in _absent(table, layout):
            continue
        if isinstance(column, tuple):
            found.append(_bounds(table, column, answer, share=column[0] in layout.shares))
        elif column == "component" and question in _PLACED:
            found.append(_places(table))
        elif (question, column) == ("warnings", "locomotives"):
            found.append(_first_names(table))
        elif column == "actions":
            found.append(_last_actions(table, wide=wide))
        else:
            found.append(_plain(table, column, question, clock, share=column in layout.shares))
    shown = [column for column in found if any(column.cells)]
    if "note" in table and "note" not in layout.columns:
        marks, legend = _marked(table["note"].tolist())
        return shown + ([marks] if any(marks.cells) else []), legend
    return shown, []


def _absent(table: pd.DataFrame, layout: _Layout) -> set[str | tuple[str, str]]:
    """Return the columns that only some groupings of a question have."""
    return {c for c in layout.columns if isinstance(c, str) and c not in table}


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


def _first_names(table: pd.DataFrame) -> Shown:
    """Show the locomotives that contributed most; the others are in the data."""
    parts = [names.split(", ") for names in table["locomotives"].tolist()]
    cells = (
        ", ".join([*names[:_FIRST_NAMES], *(["\u2026"] if len(names) > _FIRST_NAMES else [])])
        for names in parts
    )
    return Shown(
        heading("warnings", "locomotives", "days"), tuple(cells), numeric=False, wraps=True
    )


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
