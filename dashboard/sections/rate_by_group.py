"""How long it runs between failures, group by group, with bounds."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from analytics.answer import Answer
from dashboard.figures.intervals import Interval, draw_intervals
from dashboard.figures.look import MOST_SERIES, Figure
from dashboard.sections.common import grounds, group_columns, group_label, rows_of, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

_COLUMNS = (
    "exposure", "failures", "mtbf", "mtbf_lower", "mtbf_upper", "method", "dispersion",
    "constancy_p", "note",
)  # fmt: skip


def draw(answer: Answer, wording: Wording, _subject: str = "", *, name: str = "mtbf") -> Section:
    """Draw the answer of `mtbf --by class`, or by another word; the title is `name.title`."""
    frame, clock = answer.table, answer.basis.clock
    alone = name != "mtbf" and len(frame) < 2  # one group is what stands above already
    return Section(
        title=wording.phrase(f"{name}.title"),
        reading=wording.phrase("group.only_one") if alone else wording.say(answer.reading),
        figure=None if alone else _figure(answer, wording),
        table=twin(frame, [*group_columns(frame), *_COLUMNS], clock=clock),
        notes=tuple(wording.say(note) for note in answer.notes),
        basis=grounds(answer.basis, wording),
    )


def _figure(answer: Answer, wording: Wording) -> Figure | None:
    frame = answer.table[answer.table["mtbf_lower"].notna()]
    if frame.empty:
        return None
    clock, groups = answer.basis.clock, group_columns(frame)
    rows = [_interval(row, groups, wording, clock=clock) for row in rows_of(frame)]
    many = len(rows) > MOST_SERIES
    return draw_intervals(rows, title=wording.phrase(f"mtbf.axis_{clock}"), alike=many)


def _interval(
    row: Mapping[str, Any], groups: Sequence[str], wording: Wording, *, clock: str
) -> Interval:
    value, lower, upper = (float(row[name]) for name in ("mtbf", "mtbf_lower", "mtbf_upper"))
    pointed = "mtbf.pointed_none" if math.isnan(value) else "mtbf.pointed"
    said = {"value": value, "lower": lower, "upper": upper, "unit": wording.phrase(f"unit.{clock}")}
    return Interval(
        label=group_label(row, groups, wording),
        remark=wording.phrase("mtbf.failures", count=int(row["failures"])),
        value=value,
        lower=lower,
        upper=upper,
        value_text=wording.phrase(f"{pointed}_short", **said),
        said=wording.phrase(pointed, **said),
    )
