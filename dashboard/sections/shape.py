"""Whether failures come faster or slower with age: the shape of the trend, group by group."""

from __future__ import annotations

from typing import Any

from analytics.answer import Answer
from dashboard.figures.intervals import Interval, draw_intervals
from dashboard.figures.look import Figure
from dashboard.sections.common import grounds, group_columns, group_label, rows_of, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

_COLUMNS = (
    "failures", "laplace_u", "laplace_p", "milhdbk_p", "shape", "shape_lower", "shape_upper",
    "mtbf_now", "mtbf_now_lower", "mtbf_now_upper", "cvm", "cvm_p", "note",
)  # fmt: skip


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `trend`: the shape with its bounds, held against 1."""
    frame = answer.table
    return Section(
        title=wording.phrase("trend.title"),
        reading=wording.say(answer.reading),
        figure=_figure(answer, wording),
        table=twin(frame, [*group_columns(frame), *_COLUMNS], clock=answer.basis.clock),
        notes=tuple(wording.say(note) for note in answer.notes),
        basis=grounds(answer.basis, wording),
    )


def _figure(answer: Answer, wording: Wording) -> Figure | None:
    frame = answer.table[answer.table["shape_upper"].notna()]
    if frame.empty:
        return None
    groups = group_columns(frame)
    rows = [_interval(row, groups, wording) for row in rows_of(frame)]
    return draw_intervals(rows, title=wording.phrase("trend.axis"), beside=1.0)


def _interval(row: dict[str, Any], groups: list[str], wording: Wording) -> Interval:
    shape, lower, upper = (float(row[name]) for name in ("shape", "shape_lower", "shape_upper"))
    return Interval(
        label=group_label(row, groups, wording),
        remark=wording.phrase("mtbf.failures", count=int(row["failures"])),
        value=shape,
        lower=lower,
        upper=upper,
        value_text=wording.phrase("trend.shape", shape=shape),
        said=wording.phrase("trend.pointed", shape=shape, lower=lower, upper=upper),
    )
