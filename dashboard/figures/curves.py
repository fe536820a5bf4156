"""Step curves with bands, and the number at risk under them, lined up with the ticks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dashboard.figures.look import (
    DASHES,
    MARKERS,
    MOST_SERIES,
    PALETTE,
    Figure,
    axis,
    faded,
    layout,
    nice_ticks,
    plain,
    share_ticks,
)

FloatArray = NDArray[np.float64]
MOST_POINTS = 400  # more steps than pixels carry nothing to the eye


@dataclass(frozen=True, slots=True)
class Curve:
    """One right-continuous step curve: `value[i]` holds from `age[i]` up to `age[i + 1]`.

    `lower` and `upper` are its pointwise bounds (NaN where undefined); `at_risk[i]` is the number
    at risk just before `age[i]`. All arrays have one length, ages ascending. Beyond its last age
    the line is drawn flat up to `until`, where that is given; one of a single age without it is
    drawn as a point.
    """

    label: str
    age: FloatArray
    value: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: FloatArray
    until: float = 0.0

    @property
    def end(self) -> float:
        """The age up to which it is drawn."""
        return max(float(self.age[-1]), self.until)


@dataclass(frozen=True, slots=True)
class CurveAxes:
    """Titles of the axes and of the strip below; `share` for values that are shares of one."""

    age: str
    value: str
    at_risk: str
    share: bool = False


def draw_curves(curves: Sequence[Curve], *, axes: CurveAxes) -> Figure:
    """Draw step curves with bands, with a strip of numbers at risk below.

    At most `look.MOST_SERIES` curves are drawn, the first ones; the caller says when it has more.
    """
    drawn = [curve for curve in curves if curve.age.size][:MOST_SERIES]
    most = max((curve.end for curve in drawn), default=0.0) or 1.0
    ticks = nice_ticks(most, about=5)
    traces = []
    for number, curve in enumerate(drawn):
        thin = _thinned(curve)
        traces += [*_band(thin, number), _line(thin, number, share=axes.share)]
    counted = [curve for curve in drawn if np.isfinite(curve.at_risk).any()]
    if counted:
        traces += [_at_risk(curve, number, ticks) for number, curve in enumerate(drawn)]
    figure = {"data": traces, "layout": _layout(drawn, axes, ticks=ticks, most=most)}
    return figure if counted else _without_strip(figure)


def _without_strip(figure: Figure) -> Figure:
    """Take the strip of numbers at risk away, where nobody counts them."""
    kept = {k: v for k, v in figure["layout"].items() if k not in ("yaxis2", "annotations")}
    kept["yaxis"] = {**kept["yaxis"], "domain": [0, 1]}
    return {"data": figure["data"], "layout": {**kept, "height": 380}}


def number_at_risk(curve: Curve, age: float) -> int | None:
    """Return how many are at risk at the first step from an age on; None beyond the last."""
    place = int(np.searchsorted(curve.age, age, side="left"))
    if place >= curve.age.size or not np.isfinite(curve.at_risk[place]):
        return None
    return int(curve.at_risk[place])


def _thinned(curve: Curve) -> Curve:
    if curve.age.size <= MOST_POINTS:
        return curve
    keep = np.unique(np.linspace(0, curve.age.size - 1, MOST_POINTS).astype(int))
    return Curve(
        curve.label,
        curve.age[keep],
        curve.value[keep],
        curve.lower[keep],
        curve.upper[keep],
        curve.at_risk[keep],
        curve.until,
    )


def _line(curve: Curve, number: int, *, share: bool) -> Figure:
    value = "%{y:.0%}" if share else "%{y:.3~g}"
    ages, values = curve.age, curve.value
    if curve.end > ages[-1]:
        ages, values = np.r_[ages, curve.end], np.r_[values, values[-1]]
    return {
        "type": "scatter",
        "mode": "lines" if ages.size > 1 else "markers",
        "name": plain(curve.label),
        "legendgroup": curve.label,
        "x": _short(ages),
        "y": _short(values),
        "marker": {"size": 9, "color": PALETTE[number], "symbol": MARKERS[number]},
        "cliponaxis": ages.size > 1,
        "line": {"shape": "hv", "width": 2.5, "color": PALETTE[number], "dash": DASHES[number]},
        "hovertemplate": f"{plain(curve.label)}: {value}<br>%{{x:,.4~r}}<extra></extra>",
    }


def _band(curve: Curve, number: int) -> list[Figure]:
    """Return the band as a lower edge and an upper edge filled down to it."""
    known = np.isfinite(curve.lower) & np.isfinite(curve.upper)
    if not known.any():
        return []
    edge = {
        "type": "scatter",
        "mode": "lines",
        "legendgroup": curve.label,
        "showlegend": False,
        "hoverinfo": "skip",
        "x": _short(curve.age[known]),
        "line": {"shape": "hv", "width": 0},
    }
    return [
        {**edge, "y": _short(curve.lower[known])},
        {
            **edge,
            "y": _short(curve.upper[known]),
            "fill": "tonexty",
            "fillcolor": faded(PALETTE[number]),
        },
    ]


def _at_risk(curve: Curve, number: int, ticks: Sequence[float]) -> Figure:
    counts = [number_at_risk(curve, tick) for tick in ticks]
    return {
        "type": "scatter",
        "mode": "text",
        "showlegend": False,
        "hoverinfo": "skip",
        "x": list(ticks),
        "y": [plain(curve.label)] * len(ticks),
        "yaxis": "y2",
        "text": ["" if count is None else f"{count:,}".replace(",", "\u202f") for count in counts],
        "textfont": {"size": 13, "color": PALETTE[number]},
        "cliponaxis": False,
    }


def _layout(
    drawn: Sequence[Curve], axes: CurveAxes, *, ticks: Sequence[float], most: float
) -> Figure:
    strip = 26 * max(len(drawn), 1)
    height = 380 + strip + 40
    inside = height - 16 - 56
    top_of_strip = strip / inside
    foot = (strip + 86) / inside  # room for tick labels, axis title and the strip's heading
    share = {"range": [0, 1.02], **share_ticks(1.0)} if axes.share else {"rangemode": "tozero"}
    return layout(
        height=height,
        margin={"l": 8, "r": 24, "t": 16 if len(drawn) < 2 else 44, "b": 16},
        showlegend=len(drawn) > 1,
        xaxis=axis(
            axes.age,
            range=[0, most * 1.02],
            tickvals=list(ticks),
            tickformat=",~r",
            anchor="y",
            showgrid=False,
        ),
        yaxis=axis(axes.value, domain=[min(foot, 0.6), 1], **share),
        yaxis2=axis(
            domain=[0, min(top_of_strip, 0.4)],
            anchor="x",
            type="category",
            categoryorder="array",
            categoryarray=[plain(curve.label) for curve in reversed(drawn)],
            range=[-0.5, max(len(drawn), 1) - 0.5],
            showgrid=False,
            showline=False,
            ticklabelstandoff=26,
        ),
        annotations=[
            {
                "text": axes.at_risk,
                "xref": "paper",
                "yref": "paper",
                "x": 0,
                "y": min(top_of_strip, 0.4),
                "xanchor": "left",
                "yanchor": "bottom",
                "showarrow": False,
                "font": {"size": 13},
            }
        ],
    )


def _short(values: FloatArray) -> list[float | None]:
    """Return values with the digits that a screen can show: the table has the rest."""
    return [float(f"{value:.6g}") if np.isfinite(value) else None for value in values]
