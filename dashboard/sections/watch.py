"""Findings week by week against what was to be expected: the sum that alarms, and its limit."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.look import Figure
from dashboard.figures.panels import Limit, Panel, draw_panels
from dashboard.sections.common import grounds, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

MOST_PANELS = 6


def draw(answer: Answer, wording: Wording, subject: str = "") -> Section:
    """Draw the answer of `warnings --weeks`: a panel for each class, with the limit of its sum."""
    frame = answer.table
    charts = list(frame.groupby(["component", "class"], sort=False))
    fewer = wording.phrase("watch.fewer", shown=MOST_PANELS, all=len(charts))
    return Section(
        title=wording.phrase("watch.title"),
        reading=wording.say(answer.reading) if subject else wording.phrase("watch.reading"),
        figure=_figure([part for _, part in charts[:MOST_PANELS]], wording) if charts else None,
        table=twin(frame, list(frame.columns), clock="days"),
        notes=(
            *((fewer,) if len(charts) > MOST_PANELS else ()),
            *(wording.say(note) for note in answer.notes),
        ),
        basis=grounds(answer.basis, wording, of="findings"),
    )


def _figure(charts: list[pd.DataFrame], wording: Wording) -> Figure:
    return draw_panels([_panel(part, wording) for part in charts])


def _panel(part: pd.DataFrame, wording: Wording) -> Panel:
    first = part.iloc[0]
    return Panel(
        wording.phrase(
            "watch.panel",
            component=wording.heading("component", str(first["component"])),
            name=wording.label("class", str(first["class"])),
        ),
        part["week"].tolist(),
        part["s"].tolist(),
        [""] * len(part),
        limits=[Limit(float(part["h"].iloc[-1]), wording.phrase("watch.limit"))],
    )
