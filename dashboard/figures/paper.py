"""Probability paper: on its scales the lives of a law lie on a straight line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from dashboard.figures.look import (
    DASHES,
    MARKERS,
    MOST_SERIES,
    PALETTE,
    Figure,
    axis,
    layout,
    plain,
    round_steps,
)

_SHARES = (0.001, 0.005, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99, 0.999)


@dataclass(frozen=True, slots=True)
class Plotted:
    """One group: ages above 0, shares still running there, and those of the law (all in (0, 1))."""

    label: str
    age: Sequence[float]
    survival: Sequence[float]
    fitted: Sequence[float]


def draw_paper(groups: Sequence[Plotted], *, normal: bool, age: str, share: str) -> Figure:
    """Draw the groups on lognormal (`normal`) or Weibull paper: points, and the law as a line.

    At most `look.MOST_SERIES` groups are drawn, the first ones.
    """
    drawn = groups[:MOST_SERIES]
    ages = [value for group in drawn for value in group.age]
    failed = [1 - s for group in drawn for s in (*group.survival, *group.fitted)]
    ticks = [s for s in _SHARES if min(failed) <= s <= max(failed)]
    return {
        "data": [trace for n, group in enumerate(drawn) for trace in _traces(group, n, normal)],
        "layout": layout(
            height=420,
            margin={"l": 8, "r": 20, "t": 44 if len(drawn) > 1 else 16, "b": 16},
            showlegend=len(drawn) > 1,
            xaxis=axis(
                age, type="log", tickvals=round_steps(min(ages), max(ages)), tickformat=",~r"
            ),
            yaxis=axis(
                share,
                tickvals=[_place(1 - s, normal) for s in ticks],
                ticktext=[f"{100 * s:g}\u00a0%" for s in ticks],
            ),
        ),
    }


def _traces(group: Plotted, number: int, normal: bool) -> list[Figure]:
    colour = PALETTE[number]
    points = {
        "type": "scatter",
        "mode": "markers",
        "name": plain(group.label),
        "x": list(group.age),
        "y": [_place(s, normal) for s in group.survival],
        "marker": {"symbol": MARKERS[number], "size": 6, "color": colour, "opacity": 0.7},
        "hovertemplate": f"{plain(group.label)}: %{{x:,.4~r}}<extra></extra>",
    }
    law = {
        "type": "scatter",
        "mode": "lines",
        "showlegend": False,
        "hoverinfo": "skip",
        "x": list(group.age),
        "y": [_place(s, normal) for s in group.fitted],
        "line": {"color": colour, "width": 2, "dash": DASHES[number]},
    }
    return [points, law]


def _place(survival: float, normal: bool) -> float:
    """Return where a share still running stands on the paper's scale; the failed grow upwards."""
    inside = min(max(survival, 1e-9), 1 - 1e-9)
    return NormalDist().inv_cdf(1 - inside) if normal else math.log(-math.log(inside))
