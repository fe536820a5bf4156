"""How much of the time locomotives are down, month by month."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.look import Figure
from dashboard.figures.months import Month, draw_months
from dashboard.sections.common import cell, grounds, percent, rows_of, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

_SHARES = ("availability", "availability_inherent", "unknown_share")


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `availability --by month`: the share of each month spent down."""
    frame = answer.table.sort_values("month", kind="stable")
    columns = [name for name in frame.columns if name != "level"]
    return Section(
        title=wording.phrase("down.title"),
        reading=_reading(frame, wording),
        figure=_figure(frame, wording),
        table=twin(frame, columns, clock="days", shares=_SHARES),
        notes=tuple(wording.say(note) for note in answer.notes),
        basis=grounds(answer.basis, wording, of="down"),
    )


def _reading(frame: pd.DataFrame, wording: Wording) -> str:
    used = frame[frame["days_in_use"] > 0]
    if used.empty:
        return wording.phrase("month.none")
    last = used.tail(12)
    share = float(last["down_days"].sum() / last["days_in_use"].sum())
    return wording.phrase(
        "down.reading",
        months=len(last),
        share=percent(share),
        times=int(last["down_intervals"].sum()),
        still=int(last["still_down"].iloc[-1]),
    )


def _figure(frame: pd.DataFrame, wording: Wording) -> Figure | None:
    months = [_month(row, wording) for row in rows_of(frame)]
    if all(math.isnan(month.rate) for month in months):
        return None
    return draw_months(months, title=wording.phrase("down.axis"), percent=True)


def _month(row: dict[str, Any], wording: Wording) -> Month:
    down = 1 - float(row["availability"])
    said = wording.phrase(
        "down.pointed", month=cell("month", row["month"], wording), share=percent(down)
    )
    return Month(pd.Timestamp(row["month"]).date(), down, math.nan, math.nan, said)
