"""What fails more often, or less, than in the four weeks before."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.intervals import Interval, draw_intervals
from dashboard.figures.look import Figure
from dashboard.sections.common import grounds, group_columns, group_label, rows_of, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

MOST_LINES = 8
_SIDES = ("first", "second")
_COLUMNS = (
    "failures_first", "failures_second", "ratio", "ratio_lower", "ratio_upper", "p", "q", "method",
    "note",
)  # fmt: skip


def draw(answer: Answer, wording: Wording, _subject: str = "", *, name: str = "changed") -> Section:
    """Draw the answer of `compare`: ratios of two rates, those least likely by chance first.

    The title is `name.title`.
    """
    frame = answer.table.sort_values("p", kind="stable")
    drawn = frame[frame["ratio"].notna() & frame["ratio_upper"].notna()].head(MOST_LINES)
    return Section(
        title=wording.phrase(f"{name}.title"),
        reading=wording.say(answer.reading),
        figure=_figure(drawn, wording) if len(drawn) else None,
        table=twin(frame, [*group_columns(frame), *_SIDES, *_COLUMNS], clock=answer.basis.clock),
        notes=(
            *((wording.phrase("changed.drawn", shown=len(drawn)),) if len(drawn) else ()),
            *(wording.say(note) for note in answer.notes),
        ),
        basis=grounds(answer.basis, wording),
    )


def _figure(frame: pd.DataFrame, wording: Wording) -> Figure:
    groups = group_columns(frame)
    rows = [_interval(row, groups, wording) for row in rows_of(frame)]
    return draw_intervals(rows, title=wording.phrase("changed.axis"), alike=True, beside=1.0)


def _interval(row: dict[str, Any], groups: list[str], wording: Wording) -> Interval:
    ratio, lower, upper = (float(row[name]) for name in ("ratio", "ratio_lower", "ratio_upper"))
    return Interval(
        label=group_label(row, groups, wording) if groups else str(row["second"]),
        remark=wording.phrase(
            "changed.counts" if groups else "compared.counts",
            before=int(row["failures_first"]),
            now=int(row["failures_second"]),
            first=str(row["first"]),
        ),
        value=ratio,
        lower=lower,
        upper=upper,
        value_text=wording.phrase("changed.times", ratio=ratio),
        said=wording.phrase("changed.pointed", ratio=ratio, lower=lower, upper=upper),
    )
