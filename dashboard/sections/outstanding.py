"""What stands out from its like: likely ratios of observed to expected, with their bounds."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.funnel import Limit, Placed, draw_funnel
from dashboard.figures.look import Figure
from dashboard.figures.ranked import Ranked, draw_ranked
from dashboard.sections.common import grounds, named, rows_of, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

MOST_DRAWN = 60
_NAMES = ("locomotive", "depot", "component", "position", "serial", "series")
_WITHOUT = ("method", "p")


def draw(answer: Answer, wording: Wording, _subject: str = "", *, name: str) -> Section:
    """Draw the answer of `standouts`, what stands out marked; the title is `name.title`."""
    frame = answer.table
    columns = [column for column in frame.columns if column not in _WITHOUT]
    drawn = frame.nlargest(MOST_DRAWN, "shrunk_lower", keep="all").head(MOST_DRAWN)
    drawn = drawn[drawn["shrunk"].notna()].sort_values("shrunk", kind="stable")
    fewer = wording.phrase("standouts.drawn", shown=len(drawn), all=len(frame))
    return Section(
        title=wording.phrase(f"{name}.title"),
        reading=wording.say(answer.reading),
        figure=_figure(drawn, wording) if len(drawn) else None,
        table=twin(frame, columns, clock=answer.basis.clock, shares=("chance_above",)),
        notes=(
            *((fewer,) if len(drawn) < len(frame) else ()),
            *(wording.say(note) for note in answer.notes),
        ),
        basis=grounds(answer.basis, wording, of="findings"),
    )


def _figure(frame: pd.DataFrame, wording: Wording) -> Figure:
    names = [column for column in _NAMES if column in frame]
    rows = [_ranked(row, names, wording) for row in rows_of(frame)]
    return draw_ranked(
        rows,
        title=wording.phrase("standouts.axis"),
        all_of_them=1.0,
        said=wording.phrase("standouts.alike"),
    )


def _ranked(row: dict[str, Any], names: list[str], wording: Wording) -> Ranked:
    label = ", ".join(named(column, row[column], wording) for column in names)
    value, lower, upper = (float(row[x]) for x in ("shrunk", "shrunk_lower", "shrunk_upper"))
    said = wording.phrase(
        "standouts.pointed",
        name=label,
        ratio=value,
        lower=lower,
        upper=upper,
        observed=int(row["observed"]),
        expected=float(row["expected"]),
    )
    return Ranked(label, value, lower, upper, said, marked=bool(row["stands_out"]))


def draw_narrowing(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `standouts --funnel`: what lies beyond the outer lines is marked."""
    frame = answer.table
    return Section(
        title=wording.phrase("funnel.title"),
        reading=wording.say(answer.reading),
        figure=_funnel(frame, wording) if len(frame) else None,
        table=twin(frame, list(frame.columns), clock=answer.basis.clock),
        notes=tuple(wording.say(note) for note in answer.notes),
        basis=grounds(answer.basis, wording, of="findings"),
    )


def _funnel(frame: pd.DataFrame, wording: Wording) -> Figure:
    names = [column for column in _NAMES if column in frame]
    limits = [
        Limit(
            wording.phrase(f"funnel.{name}"),
            *(frame[column].tolist() for column in ("counts_as", f"{name}_lower", f"{name}_upper")),
        )
        for name in ("inner", "outer")
    ]
    return draw_funnel(
        [_placed(row, names, wording) for row in rows_of(frame)],
        limits,
        expected=wording.phrase("funnel.expected_axis"),
        ratio=wording.phrase("funnel.axis"),
    )


def _placed(row: dict[str, Any], names: list[str], wording: Wording) -> Placed:
    label = ", ".join(named(column, row[column], wording) for column in names)
    ratio, expected, effective = (float(row[x]) for x in ("ratio", "expected", "counts_as"))
    said = wording.phrase(
        "funnel.pointed",
        name=label,
        ratio=ratio,
        observed=int(row["observed"]),
        expected=expected,
        counts_as=effective,
    )
    return Placed(label, effective, ratio, said, marked=bool(row["outside"]))
