"""How often a position fails at each age since it was renewed, repairs kept."""

from __future__ import annotations

from analytics.answer import Answer
from dashboard.figures.curves import CurveAxes, draw_curves
from dashboard.sections.common import RATE_PER, grounds, group_columns, twin
from dashboard.sections.curves_by_group import curves_of, more_than_drawn
from dashboard.sections.model import Section
from dashboard.wording import Wording

_COLUMNS = (
    "model", "shape", "shape_lower", "shape_upper", "age", "intensity", "lower", "upper",
    "cumulative", "cumulative_lower", "cumulative_upper", "at_risk", "events", "note",
)  # fmt: skip


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `survival --intensity`, failures per 1,000 h, 100,000 km or 30 days."""
    clock = answer.basis.clock
    scale = {name: answer.table[name] * RATE_PER[clock] for name in ("intensity", "lower", "upper")}
    frame = answer.table.assign(**scale)
    curves = curves_of(frame, "intensity", wording)
    axes = CurveAxes(
        age=wording.phrase("survival.age_axis", clock=wording.phrase(f"clock.{clock}")),
        value=wording.phrase("month.axis", per=wording.phrase(f"per.{clock}")),
        at_risk=wording.phrase("intensity.at_risk"),
    )
    some = any(curve.age.size for curve in curves)
    return Section(
        title=wording.phrase("intensity.title"),
        reading=wording.say(answer.reading),
        figure=draw_curves(curves, axes=axes) if some else None,
        table=twin(frame, [*group_columns(frame), *_COLUMNS], clock=clock) if some else None,
        notes=(
            *more_than_drawn(curves, wording),
            *(wording.say(note) for note in answer.notes),
        ),
        basis=grounds(answer.basis, wording),
    )
