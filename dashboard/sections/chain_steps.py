"""The chains of repeats in time: every failure of the longest ones, and the gaps between them."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.events import Event, draw_events
from dashboard.figures.look import Figure
from dashboard.sections.common import grounds, rows_of, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

MOST_CHAINS = 12


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `repeats --steps`: a line for each chain, a marker for each failure."""
    frame = answer.table
    chain = (frame["step"] == 1).cumsum()
    chains = int(chain.max()) if len(frame) else 0
    drawn = frame[chain <= MOST_CHAINS]
    fewer = wording.phrase("steps.fewer", shown=MOST_CHAINS, all=chains)
    return Section(
        title=wording.phrase("steps.title"),
        reading=_reading(frame, wording),
        figure=_figure(drawn, wording) if len(drawn) else None,
        table=twin(frame, list(frame.columns), clock=answer.basis.clock),
        notes=(fewer,) if chains > MOST_CHAINS else (),
        basis=grounds(answer.basis, wording),
    )


def _reading(frame: pd.DataFrame, wording: Wording) -> str:
    gaps = frame["gap_days"].dropna()
    if gaps.empty:
        return wording.phrase("steps.none")
    same_day = int((gaps < 1).sum())
    return wording.phrase(
        "steps.reading", median=float(gaps.median()), repeats=len(gaps), same_day=same_day
    )


def _figure(frame: pd.DataFrame, wording: Wording) -> Figure:
    rows = rows_of(frame)
    lines = {_line(row, number, wording): None for number, row in _numbered(rows)}
    events = [_event(row, number, wording) for number, row in _numbered(rows)]
    kinds = [wording.phrase("steps.closed"), wording.phrase("steps.open")]
    return draw_events(events, lines=list(lines), kinds=kinds)


def _numbered(rows: list[dict[str, Any]]) -> list[tuple[int, dict[str, Any]]]:
    number, numbered = 0, []
    for row in rows:
        number += row["step"] == 1
        numbered.append((number, row))
    return numbered


def _line(row: dict[str, Any], number: int, wording: Wording) -> str:
    place = "" if pd.isna(row["position"]) else f" {row['position']}"
    component = wording.label("component", str(row["component"]))
    # The number tells two chains of one position apart.
    return f"{number}. {row['locomotive']}, {component}{place}"


def _event(row: dict[str, Any], number: int, wording: Wording) -> Event:
    action = row["action"]
    done = wording.label("action", str(action)) if isinstance(action, str) and action else "\u2013"
    said = wording.phrase(
        "steps.pointed",
        defect=wording.label("defect", str(row["defect"])),
        action=done,
    )
    is_open = pd.isna(row["closed"])
    return Event(_line(row, number, wording), row["found"].to_pydatetime(), int(is_open), said)
