"""A berth plan day by day: a line for each berth, a bar for each visit, closed days shaded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from dashboard.figures.look import INK, PALETTE, Figure, axis, faded, layout, plain

LINE_HEIGHT = 46
_DAY_MS = 86_400_000
_PATTERNS = ("", "/", "x", ".")
_STRENGTH = 0.28  # of the bars, so that the names on them can be read in both looks
_CLOSED = 0.16


@dataclass(frozen=True, slots=True)
class Stay:
    """One visit: its berth, first and last day, kind (a place in `kinds`), name and what it is."""

    berth: str
    first: date
    last: date
    kind: int
    name: str
    said: str


def draw_berths(
    stays: Sequence[Stay],
    *,
    berths: Sequence[str],
    kinds: Sequence[str],
    closed: Sequence[tuple[str, date, date]],
    days: tuple[date, date],
    closed_name: str,
) -> Figure:
    """Draw a plan.

    Parameters
    ----------
    stays
        The visits; kinds differ by colour and pattern.
    berths
        Names of all berths, the first on top.
    kinds
        What visits are for, in words.
    closed
        Berth, first and last day of each stretch on which it is closed.
    days
        First and last day of the plan.
    closed_name
        What a shaded stretch is called.
    """
    names = [plain(name) for name in berths]
    begin, end = days
    return {
        "data": [_shade(closed, closed_name), *(_bars(stays, n, k) for n, k in enumerate(kinds))],
        "layout": layout(
            height=110 + LINE_HEIGHT * max(len(names), 1),
            margin={"l": 8, "r": 16, "t": 48, "b": 44},
            showlegend=True,
            barmode="overlay",
            xaxis=axis(
                type="date",
                range=[begin.isoformat(), (end + timedelta(days=1)).isoformat()],
                tickformat="%d %b",
                tickangle=0,
                dtick=7 * _DAY_MS,
                tick0=(begin - timedelta(days=begin.weekday())).isoformat(),
                showgrid=True,
            ),
            yaxis=axis(
                type="category",
                categoryorder="array",
                categoryarray=list(reversed(names)),
                range=[-0.6, len(names) - 0.4],
                ticklabelstandoff=10,
            ),
        ),
    }


def _bars(stays: Sequence[Stay], number: int, kind: str) -> Figure:
    mine = [stay for stay in stays if stay.kind == number]
    colour = PALETTE[number % len(PALETTE)]
    return {
        "type": "bar",
        "orientation": "h",
        "name": plain(kind),
        "showlegend": bool(mine),
        "base": [stay.first.isoformat() for stay in mine],
        "x": [_length(stay.first, stay.last) for stay in mine],
        "y": [plain(stay.berth) for stay in mine],
        "width": 0.62,
        "marker": {
            "color": faded(colour, _STRENGTH),
            "line": {"color": colour, "width": 1.5},
            "pattern": {
                "shape": _PATTERNS[number % len(_PATTERNS)],
                "fgcolor": colour,
                "fgopacity": 0.5,
                "size": 7,
                "solidity": 0.2,
            },
        },
        "text": [plain(stay.name) for stay in mine],
        "textposition": "inside",
        "insidetextanchor": "middle",
        "textangle": -90,
        "textfont": {"color": INK, "size": 12},
        "constraintext": "none",
        "customdata": [plain(stay.said) for stay in mine],
        "hovertemplate": "%{customdata}<extra></extra>",
    }


def _shade(closed: Sequence[tuple[str, date, date]], name: str) -> Figure:
    return {
        "type": "bar",
        "orientation": "h",
        "name": plain(name),
        "base": [first.isoformat() for _, first, _ in closed],
        "x": [_length(first, last) for _, first, last in closed],
        "y": [plain(berth) for berth, _, _ in closed],
        "width": 0.9,
        "marker": {"color": faded(PALETTE[7], _CLOSED), "line": {"width": 0}},
        "hoverinfo": "skip",
    }


def _length(first: date, last: date) -> int:
    return ((last - first).days + 1) * _DAY_MS
