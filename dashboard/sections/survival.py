"""How long one lasts: the share of lives that have not ended in a failure, by age."""

from __future__ import annotations

from dataclasses import replace

from analytics.answer import Answer, Basis
from dashboard.figures.curves import Curve, CurveAxes, draw_curves
from dashboard.sections.common import grounds, group_columns, twin
from dashboard.sections.curves_by_group import curves_of, more_than_drawn
from dashboard.sections.model import Section
from dashboard.wording import Wording

_COLUMNS = ("age", "survival", "lower", "upper", "at_risk", "events")
_SHARES = ("survival", "lower", "upper")


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `survival`: curves with bounds and the number at risk."""
    frame, clock = answer.table, answer.basis.clock
    curves, unfailed = _drawn_on(curves_of(frame, "survival", wording), answer.basis, wording)
    axes = CurveAxes(
        age=wording.phrase("survival.age_axis", clock=wording.phrase(f"clock.{clock}")),
        value=wording.phrase("survival.axis"),
        at_risk=wording.phrase("survival.at_risk"),
        share=True,
    )
    some = any(curve.age.size for curve in curves)
    columns = [*group_columns(frame), *_COLUMNS]
    return Section(
        title=wording.phrase("survival.title"),
        reading=wording.say(answer.reading),
        figure=draw_curves(curves, axes=axes) if some else None,
        table=twin(frame, columns, clock=clock, shares=_SHARES) if some else None,
        notes=(
            *more_than_drawn(curves, wording),
            *unfailed,
            *(wording.say(note) for note in answer.notes),
        ),
        basis=grounds(answer.basis, wording),
    )


def _drawn_on(
    curves: list[Curve], basis: Basis, wording: Wording
) -> tuple[list[Curve], tuple[str, ...]]:
    """Draw a lone curve without a failure flat up to the mean age watched, and say so.

    The table ends with the last failure; at least one life is watched up to the mean.
    """
    if len(curves) != 1 or curves[0].age.size != 1 or basis.events or not basis.censored:
        return curves, ()
    until = basis.exposure / basis.censored
    if not until > curves[0].end:
        return curves, ()
    return [replace(curves[0], until=until)], (wording.phrase("survival.flat"),)
