"""How often it comes back after it was closed, by what was done."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.intervals import Interval, draw_intervals
from dashboard.figures.look import Figure
from dashboard.sections.common import grounds, group_columns, group_label, percent, rows_of, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

MOST_LINES = 8
_SHARES = ("repeat_share", "rate", "rate_lower", "rate_upper")
_COLUMNS = (
    "findings", "closings", "repeats", "repeat_share", "matured", "same_day", "rate", "rate_lower",
    "rate_upper", "at_risk_at_window", "median_gap_days", "note",
)  # fmt: skip


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `recurrence --by action`: the share that came back within the window."""
    frame = answer.table
    frame = frame.sort_values("closings", ascending=False, kind="stable")
    columns = [*group_columns(frame), *_COLUMNS]
    return Section(
        title=wording.phrase("recurrence.title"),
        reading=wording.say(answer.reading),
        figure=_figure(frame, wording),
        table=twin(frame, columns, clock=answer.basis.clock, shares=_SHARES),
        notes=(
            *_fewer_drawn(frame, wording),
            *(wording.say(note) for note in answer.notes),
        ),
        basis=grounds(answer.basis, wording),
    )


def _drawn(frame: pd.DataFrame) -> pd.DataFrame:
    return frame[frame["rate"].notna() & (frame["closings"] > 0)]


def _fewer_drawn(frame: pd.DataFrame, wording: Wording) -> tuple[str, ...]:
    count = len(_drawn(frame))
    if count <= MOST_LINES:
        return ()
    return (wording.phrase("recurrence.more", shown=MOST_LINES, all=count),)


def _figure(frame: pd.DataFrame, wording: Wording) -> Figure | None:
    drawn = _drawn(frame).head(MOST_LINES)
    if drawn.empty:
        return None
    groups = group_columns(drawn)
    rows = [
        Interval(
            label=group_label(row, groups, wording),
            remark=wording.phrase("recurrence.closings", count=int(row["closings"])),
            value=float(row["rate"]),
            lower=float(row["rate_lower"]),
            upper=float(row["rate_upper"]),
            value_text=percent(row["rate"]),
            said=wording.phrase(
                "recurrence.pointed",
                rate=percent(row["rate"]),
                lower=percent(row["rate_lower"]),
                upper=percent(row["rate_upper"]),
            ),
        )
        for row in rows_of(drawn)
    ]
    return draw_intervals(rows, title=wording.phrase("recurrence.axis"), percent=True, alike=True)
