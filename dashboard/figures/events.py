"""Events in time, one line for each kind of thing: what was found on one locomotive, and when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from dashboard.figures.look import MARKERS, PALETTE, Figure, axis, layout, plain

LINE_HEIGHT = 34


@dataclass(frozen=True, slots=True)
class Event:
    """One event: on which line, when, of which kind (a place in `kinds`), and what it was."""

    line: str
    at: datetime
    kind: int
    said: str


def draw_events(events: Sequence[Event], *, lines: Sequence[str], kinds: Sequence[str]) -> Figure:
    """Draw events as markers, a line for each of `lines`, a look for each of `kinds`.

    The first line is on top. Kinds differ by shape, size and colour; later ones are larger and
    drawn over the others, so the gravest should be last.
    """
    names = [plain(line) for line in lines]
    many = len(kinds) > 1
    return {
        "data": [_markers(events, number, kind) for number, kind in enumerate(kinds)],
        "layout": layout(
            height=(96 if many else 64) + LINE_HEIGHT * max(len(lines), 1),
            margin={"l": 8, "r": 20, "t": 44 if many else 12, "b": 40},
            showlegend=many,
            xaxis=axis(type="date", tickangle=0, nticks=6, showgrid=True),
            yaxis=axis(
                type="category",
                categoryorder="array",
                categoryarray=list(reversed(names)),
                range=[-0.7, len(names) - 0.3],
                showline=False,
                ticklabelstandoff=10,
            ),
        ),
    }


def _markers(events: Sequence[Event], number: int, kind: str) -> Figure:
    mine = [event for event in events if event.kind == number]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": plain(kind),
        "showlegend": bool(mine),
        "x": [event.at.isoformat() for event in mine],
        "y": [plain(event.line) for event in mine],
        "marker": {
            "symbol": MARKERS[number % len(MARKERS)],
            "size": 5 + 2 * number,
            "color": PALETTE[number % len(PALETTE)],
            "opacity": 0.75,
        },
        "cliponaxis": False,
        "text": [plain(event.said) for event in mine],
        "hovertemplate": "%{x|%Y-%m-%d}: %{text}<extra></extra>",
    }
