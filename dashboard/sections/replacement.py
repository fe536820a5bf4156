"""What renewal by plan costs at each age, for the kinds that it pays for."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.costs import CostLine, draw_costs
from dashboard.figures.look import MOST_SERIES, Figure
from dashboard.sections.common import RATE_PER, grounds, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `replace-age --curve`, cost per 1,000 h, 100,000 km or 30 days.

    Kinds on one clock are drawn, that of the first row.
    """
    frame = answer.table
    figure, notes = None, tuple(wording.say(note) for note in answer.notes)
    if len(frame):
        clock = str(frame["clock"].iloc[0])
        shown = frame[frame["clock"] == clock]
        kinds = shown.groupby(["class", "component"], sort=False).ngroup()
        figure = _figure(shown[kinds < MOST_SERIES], clock, wording)
        if len(shown) < len(frame) or kinds.max() >= MOST_SERIES:
            notes = (wording.phrase("replacement_curve.some"), *notes)
    return Section(
        title=wording.phrase("replacement_curve.title"),
        reading=wording.say(answer.reading),
        figure=figure,
        table=twin(frame, list(frame.columns), clock=answer.basis.clock),
        notes=notes,
        basis=grounds(answer.basis, wording),
    )


def _figure(frame: pd.DataFrame, clock: str, wording: Wording) -> Figure:
    per = RATE_PER[clock]
    lines = []
    for (name, component), rows in frame.groupby(["class", "component"], sort=False):
        label = f"{wording.label('component', str(component))}, {wording.label('class', str(name))}"
        lines.append(
            CostLine(
                label,
                rows["age"].tolist(),
                rate=(rows["rate"] * per).tolist(),
                lower=(rows["rate_lower"] * per).tolist(),
                upper=(rows["rate_upper"] * per).tolist(),
                best=int(rows["is_best"].to_numpy().argmax()),
            )
        )
    return draw_costs(
        lines,
        age=wording.phrase("replacement_curve.age", unit=wording.phrase(f"unit.{clock}")),
        rate=wording.phrase("replacement_curve.rate", per=wording.phrase(f"per.{clock}")),
    )
