"""Lives looked at closely: kinds of ending, hazard, probability paper, groups held side by side."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.curves import Curve, CurveAxes, draw_curves
from dashboard.figures.look import MOST_SERIES, Figure
from dashboard.figures.paper import Plotted, draw_paper
from dashboard.sections.common import RATE_PER, grounds, group_columns, group_label, rows_of, twin
from dashboard.sections.curves_by_group import curves_of, more_than_drawn
from dashboard.sections.model import Section
from dashboard.wording import Wording


def draw_kinds(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `survival --kinds`: the share that ended by each defect."""
    curves = curves_of(answer.table, "incidence", wording)
    axes = CurveAxes(
        age=_age(answer, wording, "survival.age_axis"),
        value=wording.phrase("kinds.axis"),
        at_risk=wording.phrase("survival.at_risk"),
        share=True,
    )
    figure = draw_curves(curves, axes=axes) if len(answer.table) else None
    shares = ("incidence", "lower", "upper")
    return _section(
        "kinds", answer, wording, figure, shares=shares, notes=more_than_drawn(curves, wording)
    )


def draw_hazard(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `survival --hazard`, per 1,000 h, 100,000 km or 30 days."""
    frame, clock = answer.table, answer.basis.clock
    scaled = frame.assign(
        hazard=frame["hazard"] * RATE_PER[clock],
        lower=frame["hazard_lower"] * RATE_PER[clock],
        upper=frame["hazard_upper"] * RATE_PER[clock],
        at_risk=float("nan"),
    )
    curves = curves_of(scaled, "hazard", wording)
    axes = CurveAxes(
        age=_age(answer, wording, "survival.age_axis"),
        value=wording.phrase("month.axis", per=wording.phrase(f"per.{clock}")),
        at_risk="",
    )
    figure = draw_curves(curves, axes=axes) if len(frame) else None
    shares = ("reliability", "reliability_lower", "reliability_upper")
    return _section(
        "hazard", answer, wording, figure, shares=shares, notes=more_than_drawn(curves, wording)
    )


def draw_plot(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `survival --plot`: the groups that follow the first one's law."""
    frame = answer.table[answer.table["model"].notna() & (answer.table["model"] != "")]
    figure: Figure | None = None
    notes: tuple[str, ...] = ()
    if len(frame):
        law = str(frame["model"].iloc[0])
        figure = _paper(frame[frame["model"] == law], answer, wording, law=law)
        others = frame.loc[frame["model"] != law]
        notes = (wording.phrase("plot.others", law=law),) if len(others) else ()
    return _section("plot", answer, wording, figure, shares=("survival", "fitted"), notes=notes)


def draw_mcf_differ(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `mcf --differ`: how many failures more or less, by age."""
    pairs = list(answer.table.groupby(["group", "against"], sort=False))
    curves = [_difference(names, part, wording) for names, part in pairs]
    axes = CurveAxes(
        age=_age(answer, wording, "mcf.age_axis"),
        value=wording.phrase("mcf_differ.axis"),
        at_risk=wording.phrase("mcf.at_risk"),
    )
    figure = draw_curves(curves, axes=axes) if curves else None
    return _section("mcf_differ", answer, wording, figure, notes=more_than_drawn(curves, wording))


def _difference(names: object, part: pd.DataFrame, wording: Wording) -> Curve:
    group, against = names if isinstance(names, tuple) else (names, "")
    columns = ("age", "difference", "lower", "upper", "at_risk")
    label = wording.phrase("mcf_differ.pair", group=str(group), against=str(against))
    age, value, lower, upper, at_risk = (part[name].to_numpy(dtype=float) for name in columns)
    return Curve(label, age, value, lower, upper, at_risk)


def _paper(frame: pd.DataFrame, answer: Answer, wording: Wording, *, law: str) -> Figure:
    groups = group_columns(frame)
    parts = [part for _, part in frame.groupby(groups, sort=False)] if groups else [frame]
    return draw_paper(
        [
            Plotted(
                group_label(rows_of(part.head(1))[0], groups, wording),
                part["age"].tolist(),
                part["survival"].tolist(),
                part["fitted"].tolist(),
            )
            for part in parts[:MOST_SERIES]
        ],
        normal=law == "lognormal",
        age=_age(answer, wording, "survival.age_axis"),
        share=wording.phrase("plot.axis", law=law),
    )


def _age(answer: Answer, wording: Wording, key: str) -> str:
    return wording.phrase(key, clock=wording.phrase(f"clock.{answer.basis.clock}"))


def _section(
    name: str,
    answer: Answer,
    wording: Wording,
    figure: Figure | None,
    *,
    shares: tuple[str, ...] = (),
    notes: tuple[str, ...] = (),
) -> Section:
    table = answer.table
    return Section(
        title=wording.phrase(f"{name}.title"),
        reading=wording.say(answer.reading),
        figure=figure,
        table=twin(table, list(table.columns), clock=answer.basis.clock, shares=shares),
        notes=(*notes, *(wording.say(note) for note in answer.notes)),
        basis=grounds(answer.basis, wording),
    )
