"""Many groups side by side, lowest first, each with its bounds; one of them may be marked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.figures.look import INK, MARKERS, PALETTE, Figure, axis, faded, layout, plain

MOST_NAMED = 24  # beyond, names under the points could not be read


@dataclass(frozen=True, slots=True)
class Ranked:
    """One group: its name, its value with bounds (NaN where undefined), its words."""

    label: str
    value: float
    lower: float
    upper: float
    said: str
    marked: bool = False


def draw_ranked(rows: Sequence[Ranked], *, title: str, all_of_them: float, said: str) -> Figure:
    """Draw groups from the lowest value to the highest, with a line for all of them together.

    Parameters
    ----------
    rows
        The groups in the order drawn.
    title
        Title of the value axis, with its unit.
    all_of_them, said
        The value of all groups together, and the words beside its line.
    """
    return {
        "data": [
            _points([(n, row) for n, row in enumerate(rows) if row.marked is marked], number)
            for number, marked in enumerate((False, True))
            if any(row.marked is marked for row in rows)
        ],
        "layout": layout(
            height=360,
            margin={"l": 8, "r": 20, "t": 32, "b": 16},
            xaxis=axis(range=[-0.8, max(len(rows), 1) - 0.2], showgrid=False, **_names(rows)),
            yaxis=axis(title, rangemode="tozero", tickformat=",~r", nticks=6),
            shapes=[_line(all_of_them)],
            annotations=[_words(all_of_them, said)],
        ),
    }


def _points(rows: Sequence[tuple[int, Ranked]], number: int) -> Figure:
    colour = PALETTE[number]
    return {
        "type": "scatter",
        "mode": "markers+text" if number else "markers",
        "x": [place for place, _ in rows],
        "y": [row.value for _, row in rows],
        "text": [plain(row.label) for _, row in rows],
        "textposition": [_beside(n, place) for n, (place, _) in enumerate(rows)],
        "textfont": {"size": 14, "color": colour},
        "marker": {"symbol": MARKERS[number], "size": 8 + 4 * number, "color": colour},
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": [_or_zero(row.upper - row.value) for _, row in rows],
            "arrayminus": [_or_zero(row.value - row.lower) for _, row in rows],
            "thickness": 1.5 + number,
            "width": 0,
            "color": colour if number else faded(colour, 0.45),
        },
        "hovertemplate": [f"{plain(row.said)}<extra></extra>" for _, row in rows],
    }


def _beside(number: int, place: int) -> str:
    """Return where a name stands: neighbours above and below in turn, away from the axis."""
    return f"{'bottom' if number % 2 else 'top'} {'right' if place < 2 else 'left'}"


def _names(rows: Sequence[Ranked]) -> Figure:
    if len(rows) > MOST_NAMED:
        return {"showticklabels": False}
    return {
        "tickvals": list(range(len(rows))),
        "ticktext": [plain(row.label) for row in rows],
        "tickangle": -60 if len(rows) > 8 else 0,
    }


def _line(value: float) -> Figure:
    line = {"color": INK, "width": 1, "dash": "dot"}
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": value,
        "y1": value,
        "line": line,
    }


def _words(value: float, said: str) -> Figure:
    return {
        "text": plain(said),
        "xref": "paper",
        "x": 0,
        "y": value,
        "xanchor": "left",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 13},
    }


def _or_zero(value: float) -> float:
    return 0.0 if math.isnan(value) else max(value, 0.0)
