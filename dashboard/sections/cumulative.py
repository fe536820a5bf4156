"""How failures add up over a locomotive's time in service: the mean cumulative function."""

from __future__ import annotations

import numpy as np

from analytics.answer import Answer
from dashboard.figures.curves import Curve, CurveAxes, draw_curves
from dashboard.sections.common import grounds, group_columns, twin
from dashboard.sections.curves_by_group import curves_of, more_than_drawn
from dashboard.sections.model import Section
from dashboard.wording import Wording

_COLUMNS = ("age", "mcf", "lower", "upper", "at_risk", "events")


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `mcf`: mean number of failures per locomotive by age, with bounds."""
    frame, clock = answer.table, answer.basis.clock
    curves = [_watched(curve) for curve in curves_of(frame, "mcf", wording)]
    axes = CurveAxes(
        age=wording.phrase("mcf.age_axis", clock=wording.phrase(f"clock.{clock}")),
        value=wording.phrase("mcf.axis"),
        at_risk=wording.phrase("mcf.at_risk"),
    )
    some = any(curve.age.size for curve in curves)
    columns = [*group_columns(frame), *_COLUMNS]
    return Section(
        title=wording.phrase("mcf.title"),
        reading=wording.say(answer.reading),
        figure=draw_curves(curves, axes=axes) if some else None,
        table=twin(frame, columns, clock=clock) if some else None,
        notes=(
            *more_than_drawn(curves, wording),
            *(wording.say(note) for note in answer.notes),
        ),
        basis=grounds(answer.basis, wording),
    )


def _watched(curve: Curve) -> Curve:
    """Return a curve from the first of its ages on at which a locomotive is watched.

    Where records begin later than service, nothing is known before: a flat line would say that
    nothing failed.
    """
    watched = np.flatnonzero(curve.at_risk > 0)
    first = int(watched[0]) if watched.size else 0
    return Curve(
        curve.label,
        curve.age[first:],
        curve.value[first:],
        curve.lower[first:],
        curve.upper[first:],
        curve.at_risk[first:],
    )
