"""A rate month by month: a step line through the months, with its bounds as a band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from dashboard.figures.look import PALETTE, Figure, axis, faded, layout, plain


@dataclass(frozen=True, slots=True)
class Month:
    """One calendar month: its rate with bounds, NaN where nothing was in use."""

    first_day: date
    rate: float
    lower: float
    upper: float
    said: str


def draw_months(months: Sequence[Month], *, title: str) -> Figure:
    """Draw one bar a month from 0 to the rate, with its bounds as a thin line.

    Parameters
    ----------
    months
        Ascending; a month without use shows as a gap.
    title
        Title of the value axis, with its unit.
    """
    known = [month for month in months if not math.isnan(month.rate)]
    return {
        "data": [_bars(known)] if known else [],
        "layout": layout(
            height=300,
            bargap=0.25,
            margin={"l": 8, "r": 20, "t": 16, "b": 44},
            xaxis=axis(type="date", showgrid=False, nticks=6, tickformat="%b<br>%Y", tickangle=0),
            yaxis=axis(title, rangemode="tozero", tickformat=",~r", nticks=6),
        ),
    }


def _bars(months: Sequence[Month]) -> Figure:
    return {
        "type": "bar",
        "x": [month.first_day.isoformat() for month in months],
        "y": [month.rate for month in months],
        "marker": {"color": faded(PALETTE[0], 0.55), "line": {"width": 0}},
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": [_or_zero(month.upper - month.rate) for month in months],
            "arrayminus": [_or_zero(month.rate - month.lower) for month in months],
            "thickness": 1,
            "width": 0,
            "color": faded(PALETTE[0], 0.7),
        },
        "hovertemplate": [f"{plain(month.said)}<extra></extra>" for month in months],
    }


def _or_zero(value: float) -> float:
    return value if value == value else 0.0
