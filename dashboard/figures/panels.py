"""Values over time, one panel below the other with a common time axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from dashboard.figures.look import DASHES, INK, PALETTE, Figure, axis, layout, plain

HEIGHT = 150
_GAP_PIXELS = 46
MOST_POINTS = 400  # a panel has no more pixels to show


@dataclass(frozen=True, slots=True)
class Limit:
    """A line across a panel, with its words."""

    value: float
    said: str


@dataclass(frozen=True, slots=True)
class Panel:
    """One panel: its heading with the unit, values in time, the limits they are held against.

    Values of several `series` (running states, say) differ by colour and dash; `joined` draws them
    as a line, else as points.
    """

    heading: str
    at: Sequence[datetime]
    values: Sequence[float]
    series: Sequence[str]
    limits: Sequence[Limit] = ()
    joined: bool = True


def draw_panels(panels: Sequence[Panel]) -> Figure:
    """Draw the panels, the first on top."""
    height = 40 + len(panels) * (HEIGHT + _GAP_PIXELS)
    inside = height - 40
    figure: Figure = {"data": [], "layout": layout(height=height, annotations=[], shapes=[])}
    drawn = figure["layout"]
    drawn["margin"] = {"l": 8, "r": 20, "t": 0, "b": 40}
    for number, panel in enumerate(panels):
        top = 1 - (number * (HEIGHT + _GAP_PIXELS) + _GAP_PIXELS * 0.7) / inside
        domain = [max(top - HEIGHT / inside, 0), top]
        name = "" if number == 0 else str(number + 1)
        drawn[f"yaxis{name}"] = axis(domain=domain, nticks=4, tickformat=",~r")
        figure["data"] += _traces(panel, f"y{name}")
        drawn["shapes"] += [_limit(limit, f"y{name}") for limit in panel.limits]
        drawn["annotations"] += [
            _heading(panel, top),
            *(_limit_words(limit, f"y{name}") for limit in panel.limits),
        ]
    last = "y" if len(panels) < 2 else f"y{len(panels)}"
    drawn["xaxis"] = axis(type="date", tickangle=0, nticks=6, anchor=last)
    return figure


def _traces(panel: Panel, y_axis: str) -> list[Figure]:
    kinds = list(dict.fromkeys(panel.series))
    traces = []
    for number, kind in enumerate(kinds):
        points = [
            (at, value)
            for at, value, of in zip(panel.at, panel.values, panel.series, strict=True)
            if of == kind
        ]
        points = points[:: max(1, -(-len(points) // MOST_POINTS))]
        words = f"{plain(kind)}: " if len(kinds) > 1 or kind else ""
        traces.append(
            {
                "type": "scatter",
                "mode": "lines" if panel.joined else "markers",
                "yaxis": y_axis,
                "x": [at.isoformat() for at, _ in points],
                "y": [float(f"{value:.6g}") for _, value in points],
                "line": {"color": PALETTE[number], "width": 2, "dash": DASHES[number]},
                "marker": {"color": PALETTE[number], "size": 5},
                "hovertemplate": f"{words}%{{y:,.4~r}}<br>%{{x|%Y-%m-%d}}<extra></extra>",
            }
        )
    return traces


def _heading(panel: Panel, top: float) -> Figure:
    return {
        "text": plain(panel.heading),
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "y": top,
        "xanchor": "left",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 14},
    }


def _limit(limit: Limit, y_axis: str) -> Figure:
    line = {"color": INK, "width": 1, "dash": "dot"}
    span = {"xref": "paper", "x0": 0, "x1": 1}
    return {
        "type": "line",
        **span,
        "yref": y_axis,
        "y0": limit.value,
        "y1": limit.value,
        "line": line,
    }


def _limit_words(limit: Limit, y_axis: str) -> Figure:
    return {
        "text": plain(limit.said),
        "xref": "paper",
        "yref": y_axis,
        "x": 1,
        "y": limit.value,
        "xanchor": "right",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 12},
    }
