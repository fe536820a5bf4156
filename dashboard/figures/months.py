"""A rate month by month: one bar a month, with its bounds as a line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from dashboard.figures.look import INK, PALETTE, Figure, axis, faded, layout, plain

STRENGTH = 0.7  # of the bars, so that the line of the bounds stands out from them too
MOST_TICKS = 6
_STEPS = (1, 2, 3, 6, 12, 24, 60, 120)  # months from tick to tick
_EDGE = timedelta(days=20)  # room for the first bar and the last
_BAR_MS = 21 * 86_400_000  # three quarters of a short month


@dataclass(frozen=True, slots=True)
class Month:
    """One calendar month: its rate with bounds, NaN where nothing was in use."""

    first_day: date
    rate: float
    lower: float
    upper: float
    said: str


def draw_months(months: Sequence[Month], *, title: str, percent: bool = False) -> Figure:
    """Draw one bar a month from 0 to the rate, with its bounds as a line; ticks at months.

    Parameters
    ----------
    months
        Ascending; a month without use shows as a gap.
    title
        Title of the value axis, with its unit.
    percent
        Whether values are shares to be shown in per cent.
    """
    known = [month for month in months if not math.isnan(month.rate)]
    return {
        "data": [_bars(known)] if known else [],
        "layout": layout(
            height=300,
            margin={"l": 8, "r": 20, "t": 16, "b": 44},
            xaxis=axis(
                type="date",
                showgrid=False,
                tickformat="%b<br>%Y",
                tickangle=0,
                range=_range(months),
                tickvals=_ticks(months),
            ),
            yaxis=axis(
                title, rangemode="tozero", tickformat=".1~%" if percent else ",~r", nticks=6
            ),
        ),
    }


def _range(months: Sequence[Month]) -> list[str]:
    ends = (months[0].first_day - _EDGE, months[-1].first_day + _EDGE) if months else ()
    return [day.isoformat() for day in ends]


def _ticks(months: Sequence[Month]) -> list[str]:
    """Return the first days of the months to name: all of a few, round ones of many."""
    step = next((by for by in _STEPS if len(months) <= by * MOST_TICKS), _STEPS[-1])
    days = [month.first_day for month in months]
    return [day.isoformat() for day in days if (12 * day.year + day.month - 1) % step == 0]


def _bars(months: Sequence[Month]) -> Figure:
    return {
        "type": "bar",
        "x": [month.first_day.isoformat() for month in months],
        "y": [month.rate for month in months],
        "width": _BAR_MS,
        "marker": {"color": faded(PALETTE[0], STRENGTH), "line": {"width": 0}},
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": [_or_zero(month.upper - month.rate) for month in months],
            "arrayminus": [_or_zero(month.rate - month.lower) for month in months],
            "thickness": 1.5,
            "width": 0,
            "color": INK,
        },
        "hovertemplate": [f"{plain(month.said)}<extra></extra>" for month in months],
    }


def _or_zero(value: float) -> float:
    return value if value == value else 0.0
