"""The berth plan, day by day, from its answer by berth and day."""

from __future__ import annotations

from datetime import date

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.berths import Stay, draw_berths
from dashboard.figures.look import Figure
from dashboard.sections.common import grounds, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

KINDS = ("job", "due", "mend")


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `plan --part days`: a bar for each visit."""
    frame = answer.table
    figure = _figure(frame, wording) if len(frame) else None
    return Section(
        title=wording.phrase("berth_plan.title"),
        reading=wording.say(answer.reading),
        figure=figure,
        table=twin(frame, list(frame.columns), clock=answer.basis.clock),
        notes=tuple(wording.say(note) for note in answer.notes),
        basis=grounds(answer.basis, wording, of="visits"),
    )


def _figure(frame: pd.DataFrame, wording: Wording) -> Figure:
    held = frame[frame["locomotive"] != ""].drop_duplicates(["berth", "locomotive", "first"])
    stays = [
        Stay(
            berth, first.date(), last.date(), KINDS.index(kind), locomotive,
            wording.phrase("berth_plan.pointed", locomotive=locomotive, berth=berth,
                           first=first.date(), last=last.date()),
        )
        for berth, first, last, kind, locomotive in held[
            ["berth", "first", "last", "kind", "locomotive"]
        ].itertuples(index=False)
    ]  # fmt: skip
    return draw_berths(
        stays,
        berths=list(dict.fromkeys(frame["berth"])),
        kinds=[wording.phrase(f"visit_kind.{kind}") for kind in KINDS],
        closed=_closed(frame),
        days=(frame["day"].min().date(), frame["day"].max().date()),
        closed_name=wording.phrase("berth_plan.closed"),
    )


def _closed(frame: pd.DataFrame) -> list[tuple[str, date, date]]:
    """Return the stretches on which a berth is closed and empty."""
    shut = frame[~frame["is_open"].astype(bool) & (frame["locomotive"] == "")]
    ordered = shut.sort_values(["berth", "day"])
    new = (ordered["berth"] != ordered["berth"].shift()) | (
        ordered["day"].diff() != pd.Timedelta(days=1)
    )
    spans = ordered.groupby(new.cumsum()).agg({"berth": "first", "day": ["min", "max"]})
    return [(str(b), first.date(), last.date()) for b, first, last in spans.itertuples(index=False)]
