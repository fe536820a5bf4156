"""A point with its bounds on each line: one line a group."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.figures.look import (
    INK,
    MARKERS,
    MOST_SERIES,
    PALETTE,
    Figure,
    axis,
    layout,
    plain,
    share_ticks,
)


@dataclass(frozen=True, slots=True)
class Interval:
    """One line of the figure; NaN where undefined.

    `remark` stands small under the label, `value_text` above the point, `said` is what the
    pointer shows. With a lower bound alone, the line opens to the right.
    """

    label: str
    remark: str
    value: float
    lower: float
    upper: float
    value_text: str
    said: str


def draw_intervals(
    rows: Sequence[Interval],
    *,
    title: str,
    percent: bool = False,
    alike: bool = False,
    beside: float | None = None,
) -> Figure:
    """Draw points with bounds, one row each, first row on top.

    Parameters
    ----------
    rows
        The groups; one that has neither point nor bound keeps its empty line.
    title
        Title of the value axis, with its unit.
    percent
        Whether values are shares to be shown in per cent.
    alike
        Whether all rows look the same; else each has the look of its curve in other figures.
    beside
        A value that all rows are held against, drawn as a line across them.
    """
    most = max((x for row in rows for x in (row.value, row.upper, row.lower) if x == x), default=1)
    reach = min(1.0, most * 1.1) if percent else most * 1.1
    ticks = share_ticks(reach) if percent else {"tickformat": ",~r", "nticks": 5}
    return {
        "data": [
            _trace(row, series=0 if alike else n % MOST_SERIES, reach=reach)
            for n, row in enumerate(rows)
        ],
        "layout": layout(
            height=96 + 52 * max(len(rows), 1),
            shapes=[] if beside is None else [_across(beside)],
            xaxis=axis(title, range=[0, reach or 1], **ticks),
            yaxis=axis(
                type="category",
                categoryorder="array",
                categoryarray=[_name(row) for row in reversed(rows)],
                range=[-0.6, len(rows) - 0.4],
                showgrid=False,
                ticklabelstandoff=14,
                showline=False,
            ),
        ),
    }


def _across(value: float) -> Figure:
    line = {"color": INK, "width": 1, "dash": "dot"}
    return {
        "type": "line",
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "x0": value,
        "x1": value,
        "line": line,
    }


def _name(row: Interval) -> str:
    return f"{plain(row.label)}<br>{plain(row.remark)}"


def _trace(row: Interval, *, series: int, reach: float) -> Figure:
    """Draw the point with its bounds, or the open line of a group without a point."""
    colour = PALETTE[series]
    open_ended = math.isnan(row.value)
    at = row.lower if open_ended else row.value
    upper = reach if math.isnan(row.upper) else row.upper
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": row.label,
        "x": [None if math.isnan(at) else at],
        "y": [_name(row)],
        "text": [row.value_text],
        "textposition": "top right" if at < 0.15 * reach else "top center",
        "textfont": {"size": 13, "color": colour},
        "cliponaxis": False,
        "marker": {
            "symbol": "line-ns-open" if open_ended else MARKERS[series],
            "size": 12,
            "color": colour,
            "line": {"width": 2, "color": colour},
        },
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [_or_zero(upper - at)],
            "arrayminus": [0 if open_ended else _or_zero(row.value - row.lower)],
            "thickness": 2.5,
            "width": 0 if open_ended else 7,
            "color": colour,
        },
        "hovertemplate": f"{plain(row.said)}<extra></extra>",
    }


def _or_zero(value: float) -> float:
    return value if value == value else 0.0
