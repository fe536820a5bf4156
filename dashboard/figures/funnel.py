"""A funnel: ratios by how much was expected, between the lines that chance alone keeps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.figures.look import (
    DASHES,
    INK,
    MARKERS,
    PALETTE,
    Figure,
    axis,
    layout,
    plain,
    round_steps,
)

_ROOM = 1.3
MOST_NAMED = 12  # beyond, names beside the points hide each other


@dataclass(frozen=True, slots=True)
class Placed:
    """One unit: its name, what its expected count counts as, its ratio, its words."""

    label: str
    expected: float
    ratio: float
    said: str
    marked: bool = False


@dataclass(frozen=True, slots=True)
class Limit:
    """A pair of lines at ascending expected counts, with the words of its legend."""

    label: str
    expected: Sequence[float]
    lower: Sequence[float]
    upper: Sequence[float]


def draw_funnel(
    points: Sequence[Placed], limits: Sequence[Limit], *, expected: str, ratio: str
) -> Figure:
    """Draw the points between their limits; the last are the titles of the axes.

    What was expected is on a logarithmic scale: limits close in with its root.
    """
    groups = [[point for point in points if point.marked is marked] for marked in (False, True)]
    traces = [line for number, limit in enumerate(limits) for line in _lines(limit, number)]
    traces += [_points(group, number) for number, group in enumerate(groups) if group]
    return {
        "data": traces,
        "layout": layout(
            height=400,
            showlegend=True,
            margin={"l": 8, "r": 20, "t": 40, "b": 56},
            xaxis=_counts(points, expected),
            yaxis=axis(ratio, rangemode="tozero", tickformat=",~r", nticks=6),
        ),
    }


def _counts(points: Sequence[Placed], title: str) -> Figure:
    """Return the axis of what was expected, with room at both ends for names and ticks."""
    counts = [point.expected for point in points] or [1.0]
    least, most = min(counts) / _ROOM, max(counts) * _ROOM
    ticks = round_steps(least, most)
    ends = [math.log10(least), math.log10(most)]
    return axis(title, type="log", range=ends, tickvals=ticks, tickformat=",~r")


def _lines(limit: Limit, number: int) -> list[Figure]:
    shared = {
        "type": "scatter", "mode": "lines", "x": list(limit.expected), "hoverinfo": "skip",
        "name": plain(limit.label), "legendgroup": limit.label,
        "line": {"color": INK, "width": 1.25, "dash": DASHES[1 + number]},
    }  # fmt: skip
    return [
        {**shared, "y": list(limit.upper)},
        {**shared, "y": list(limit.lower), "showlegend": False},
    ]


def _points(group: Sequence[Placed], number: int) -> Figure:
    named = bool(number) and len(group) <= MOST_NAMED
    return {
        "type": "scatter",
        "mode": "markers+text" if named else "markers",
        "x": [point.expected for point in group],
        "y": [point.ratio for point in group],
        "text": [plain(point.label) for point in group],
        "textposition": "middle left",
        "textfont": {"size": 14, "color": PALETTE[number]},
        "showlegend": False,
        "marker": {
            "symbol": MARKERS[number], "size": 8 + 4 * number, "color": PALETTE[number],
        },
        "hovertemplate": [f"{plain(point.said)}<extra></extra>" for point in group],
    }  # fmt: skip
