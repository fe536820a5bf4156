"""What renewal by plan costs at each age: a line for each kind, its bounds, the cheapest age."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.figures.look import DASHES, MARKERS, PALETTE, Figure, axis, faded, layout, plain

_HEADROOM = 3.0  # costs of very early renewal run off the top


@dataclass(frozen=True, slots=True)
class CostLine:
    """Cost rate of one kind at ascending ages, with bounds; `best` is a place among them.

    Ages whose cost is within `flat` of the least are drawn broad: any of them will do.
    """

    label: str
    age: Sequence[float]
    rate: Sequence[float]
    lower: Sequence[float]
    upper: Sequence[float]
    best: int
    flat: float = 0.05


def draw_costs(lines: Sequence[CostLine], *, age: str, rate: str) -> Figure:
    """Draw the lines; `age` and `rate` are the titles of the axes with their units."""
    least = max((line.rate[line.best] for line in lines), default=1.0)
    traces = [part for number, line in enumerate(lines) for part in _line(line, number)]
    return {
        "data": traces,
        "layout": layout(
            height=380,
            showlegend=len(lines) > 1,
            margin={"l": 8, "r": 20, "t": 40, "b": 56},
            xaxis=axis(age, rangemode="tozero", tickformat=",~r", nticks=7),
            yaxis=axis(rate, range=[0, _HEADROOM * least], tickformat=",~r", nticks=6),
        ),
    }


def _line(line: CostLine, number: int) -> list[Figure]:
    colour, name = PALETTE[number % len(PALETTE)], plain(line.label)
    group = {"legendgroup": name, "cliponaxis": True}
    return [
        {
            "type": "scatter", "mode": "lines", "x": [*line.age, *reversed(line.age)],
            "y": [*line.upper, *reversed(line.lower)], "fill": "toself",
            "fillcolor": faded(colour), "line": {"width": 0}, "hoverinfo": "skip",
            "showlegend": False, **group,
        },
        {
            "type": "scatter", "mode": "lines", "name": name, "x": list(line.age),
            "y": list(line.rate), "hoverinfo": "skip",
            "line": {"color": colour, "width": 2.5, "dash": DASHES[number % len(DASHES)]}, **group,
        },
        {
            "type": "scatter", "mode": "lines", "x": list(line.age), "y": _broad(line),
            "hoverinfo": "skip", "showlegend": False, "line": {"color": colour, "width": 8},
            "opacity": 0.45, **group,
        },
        {
            "type": "scatter", "mode": "markers", "x": [line.age[line.best]],
            "y": [line.rate[line.best]], "showlegend": False,
            "marker": {"color": colour, "size": 11, "symbol": MARKERS[number % len(MARKERS)]},
            "hovertemplate": f"{name}: %{{x:,.0f}}<extra></extra>", **group,
        },
    ]  # fmt: skip


def _broad(line: CostLine) -> list[float | None]:
    most = (1 + line.flat) * line.rate[line.best]
    return [rate if rate <= most else None for rate in line.rate]
