"""How often it fails, month by month."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.look import Figure
from dashboard.figures.months import Month, draw_months
from dashboard.sections.common import RATE_PER, cell, grounds, rows_of, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

_RATES = ["rate", "rate_lower", "rate_upper"]


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `mtbf --by month`, rates per 1,000 h, 100,000 km or 30 days."""
    clock = answer.basis.clock
    frame = answer.table.assign(**{name: answer.table[name] * RATE_PER[clock] for name in _RATES})
    frame = frame.sort_values("month")
    per = wording.phrase(f"per.{clock}")
    return Section(
        title=wording.phrase("month.title", per=per),
        reading=_reading(frame, wording, per=per),
        figure=_figure(frame, wording, per=per),
        table=twin(frame, ["month", "exposure", "failures", *_RATES], clock=clock),
        notes=tuple(wording.say(note) for note in answer.notes),
        basis=grounds(answer.basis, wording),
    )


def _reading(frame: pd.DataFrame, wording: Wording, *, per: str) -> str:
    """Compare the last twelve months that were in use with the twelve before."""
    used = frame[frame["exposure"] > 0]
    if used.empty:
        return wording.phrase("month.none")
    last, before = _pooled(used.tail(12)), _pooled(used.iloc[:-12].tail(12))
    if len(used) == 1:
        return wording.phrase("month.reading_one", last=last, per=per)
    if math.isnan(before) or len(used) < 24:
        return wording.phrase("month.reading_short", last=last, per=per, months=len(used.tail(12)))
    return wording.phrase("month.reading", last=last, before=before, per=per)


def _pooled(months: pd.DataFrame) -> float:
    if months.empty:
        return math.nan
    weights = months["exposure"]
    return float((months["rate"] * weights).sum() / weights.sum())


def _figure(frame: pd.DataFrame, wording: Wording, *, per: str) -> Figure | None:
    months = [_month(row, wording, per=per) for row in rows_of(frame)]
    if all(math.isnan(month.rate) for month in months):
        return None
    return draw_months(months, title=wording.phrase("month.axis", per=per))


def _month(row: dict[str, Any], wording: Wording, *, per: str) -> Month:
    said = wording.phrase(
        "month.pointed",
        month=cell("month", row["month"], wording),
        rate=float(row["rate"]),
        lower=float(row["rate_lower"]),
        upper=float(row["rate_upper"]),
        failures=int(row["failures"]),
        per=per,
    )
    first_day = pd.Timestamp(row["month"]).date()
    return Month(first_day, row["rate"], row["rate_lower"], row["rate_upper"], said)
