"""A berth plan as a calendar: a band a fortnight, a line a berth, a bar a visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from dashboard.figures.look import INK, PALETTE, Figure, axis, faded, layout, plain

LINE_HEIGHT = 32
LEAST_WIDTH = 760
"""Pixels below which names no longer fit into a day; a narrower screen scrolls."""
_BAND = 14  # days side by side
_LEGEND, _HEADS, _GAP = 44, 46, 14  # pixels above all bands, above each, below each
_DAY_MS = 86_400_000
_STRENGTH = 0.22  # of the bars, so that the names on them can be read in both looks
_CLOSED = 0.2


@dataclass(frozen=True, slots=True)
class Stay:
    """One visit: its berth, first and last day, kind (a place in `kinds`), name and what it is."""

    berth: str
    first: date
    last: date
    kind: int
    name: str
    said: str


@dataclass(frozen=True, slots=True)
class Kind:
    """What visits are for, and the mark that says so beside the name: colour never speaks alone."""

    said: str
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Calendar:
    """What a plan is drawn on.

    Attributes
    ----------
    berths
        Names of all berths, the first on top.
    first, last
        First and last day of the plan.
    closed
        Berth, first and last day of each stretch on which it is closed.
    closed_said
        What a shaded stretch is called.
    weekdays, months
        Short names, Monday and January first.
    """

    berths: Sequence[str]
    first: date
    last: date
    closed: Sequence[tuple[str, date, date]]
    closed_said: str
    weekdays: Sequence[str]
    months: Sequence[str]

    @property
    def bands(self) -> list[date]:
        """The first day of each band."""
        days = (self.last - self.first).days + 1
        return [self.first + timedelta(days=begin) for begin in range(0, days, _BAND)]


def draw_berths(stays: Sequence[Stay], kinds: Sequence[Kind], calendar: Calendar) -> Figure:
    """Draw a plan; the first day stands at the left of the first band."""
    band = _HEADS + LINE_HEIGHT * len(calendar.berths) + _GAP
    inside = band * len(calendar.bands)
    drawn = layout(
        height=_LEGEND + inside,
        margin={"l": 8, "r": 4, "t": _LEGEND, "b": 0},
        showlegend=True,
        barmode="overlay",
        meta={"least_width": LEAST_WIDTH},
    )
    drawn["legend"] = {**drawn["legend"], "y": 1 + 8 / inside}
    figure: Figure = {"data": [], "layout": drawn}
    for number, begin in enumerate(calendar.bands):
        name = "" if number == 0 else str(number + 1)
        top = 1 - (number * band + _HEADS) / inside
        domain = [top - LINE_HEIGHT * len(calendar.berths) / inside, top]
        drawn[f"xaxis{name}"] = _days(begin, calendar, anchor=f"y{name}")
        drawn[f"yaxis{name}"] = _lines(calendar, domain=domain, anchor=f"x{name}")
        axes = {"xaxis": f"x{name}", "yaxis": f"y{name}"}
        figure["data"] += [_shade(begin, calendar, axes)]
        figure["data"] += [
            _bars(_within(stays, begin, of), of, kind, axes) for of, kind in enumerate(kinds)
        ]
    return _named_once(figure)


def _days(begin: date, calendar: Calendar, *, anchor: str) -> Figure:
    """Return the axis of one band: every day named at its middle, with a rule between two."""
    days = [begin + timedelta(days=number) for number in range(_BAND)]
    there = [day for day in days if day <= calendar.last]
    return axis(
        type="date",
        anchor=anchor,
        side="top",
        range=[begin.isoformat(), (begin + timedelta(days=_BAND)).isoformat()],
        tickvals=[f"{day}T12:00" for day in there],
        ticktext=[
            f"{calendar.weekdays[day.weekday()]}<br>{day.day} {calendar.months[day.month - 1]}"
            for day in there
        ],
        tickangle=0,
        showgrid=False,
        minor={"dtick": _DAY_MS, "tick0": begin.isoformat(), "showgrid": True, "ticklen": 0},
    )


def _lines(calendar: Calendar, *, domain: list[float], anchor: str) -> Figure:
    names = [plain(name) for name in calendar.berths]
    return axis(
        type="category",
        anchor=anchor,
        domain=domain,
        categoryorder="array",
        categoryarray=list(reversed(names)),
        range=[-0.5, len(names) - 0.5],
        showgrid=False,
        ticklabelstandoff=8,
    )


def _within(stays: Sequence[Stay], begin: date, of: int) -> list[Stay]:
    """Return the part of each visit of a kind that falls into a band."""
    cut = [(stay, _cut(stay.first, stay.last, begin)) for stay in stays if stay.kind == of]
    return [replace(stay, first=span[0], last=span[1]) for stay, span in cut if span]


def _cut(first: date, last: date, begin: date) -> tuple[date, date] | None:
    """Return what of a stretch of days falls into the band that begins on a day."""
    first, last = max(first, begin), min(last, begin + timedelta(days=_BAND - 1))
    return (first, last) if first <= last else None


def _bars(stays: Sequence[Stay], number: int, kind: Kind, axes: Figure) -> Figure:
    colour = PALETTE[number % len(PALETTE)]
    return {
        **_bar([(stay.berth, stay.first, stay.last) for stay in stays], axes),
        "name": plain(f"{kind.mark} {kind.said}".strip()),
        "width": 0.8,
        "marker": {
            "color": faded(colour, _STRENGTH),
            "line": {"color": colour, "width": 1.5},
        },
        "text": [plain(f"{stay.name}{kind.mark}") for stay in stays],
        "textposition": "inside",
        "insidetextanchor": "middle",
        "textangle": 0,
        "textfont": {"color": INK, "size": 13},
        "customdata": [plain(stay.said) for stay in stays],
        "hovertemplate": "%{customdata}<extra></extra>",
    }


def _shade(begin: date, calendar: Calendar, axes: Figure) -> Figure:
    shut = [(berth, _cut(first, last, begin)) for berth, first, last in calendar.closed]
    return {
        **_bar([(berth, *span) for berth, span in shut if span], axes),
        "name": plain(calendar.closed_said),
        "width": 1,
        "marker": {"color": faded(PALETTE[7], _CLOSED), "line": {"width": 0}},
        "hoverinfo": "skip",
    }


def _bar(spans: Sequence[tuple[str, date, date]], axes: Figure) -> Figure:
    return {
        "type": "bar",
        "orientation": "h",
        **axes,
        "base": [first.isoformat() for _, first, _ in spans],
        "x": [((last - first).days + 1) * _DAY_MS for _, first, last in spans],
        "y": [plain(berth) for berth, _, _ in spans],
    }


def _named_once(figure: Figure) -> Figure:
    """Leave out what draws nothing, and name each look once, by one click for all its bands."""
    told: set[str] = set()
    kept = [trace for number, trace in enumerate(figure["data"]) if trace["y"] or number == 0]
    for trace in kept:
        trace |= {"showlegend": bool(trace["y"]) and trace["name"] not in told}
        trace |= {"legendgroup": trace["name"]}
        told |= {trace["name"]} if trace["y"] else set()
    return {**figure, "data": kept}
