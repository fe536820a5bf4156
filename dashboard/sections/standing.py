"""How locomotives stand among each other: their rates with bounds, lowest first."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.look import Figure
from dashboard.figures.ranked import Ranked, draw_ranked
from dashboard.sections.common import RATE_PER, grounds, rows_of, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

_COLUMNS = (
    "locomotive", "exposure", "failures", "mtbf", "mtbf_lower", "mtbf_upper", "constancy_p", "note",
)  # fmt: skip


def draw(answer: Answer, wording: Wording, subject: str = "", *, name: str = "fleet") -> Section:
    """Draw the answer of `mtbf --by class,locomotive`: failures of a locomotive per so many hours.

    `subject` is the locomotive that is marked among the others; the title is `name.title`.
    """
    frame, clock = answer.table, answer.basis.clock
    used = _per_locomotive(answer, wording).sort_values("rate", kind="stable")
    per = wording.phrase(f"per.{clock}")
    return Section(
        title=wording.phrase(f"{name}.title"),
        reading=_reading(used, wording, subject, per=per, clock=clock),
        figure=_figure(used, wording, subject, per=per, clock=clock) if len(used) else None,
        table=twin(frame, _COLUMNS, clock=clock),
        notes=(
            wording.phrase("fleet.by_chance"),
            *(wording.say(note) for note in answer.notes),
        ),
        basis=grounds(answer.basis, wording),
    )


def _per_locomotive(answer: Answer, wording: Wording) -> pd.DataFrame:
    """Turn rates per position into rates per locomotive: exposure is added over its positions."""
    catalogue = wording.catalogue
    components = answer.basis.filters.get("components") or tuple(catalogue.components)
    positions = {
        name: sum(catalogue.positions(name, component) for component in components)
        for name in catalogue.classes
    }
    used = answer.table[answer.table["exposure"] > 0]
    places = used["class"].map(positions).astype(float)
    rates = {name: used[name] * places for name in ("rate", "rate_lower", "rate_upper")}
    return used.assign(exposure=used["exposure"] / places, **rates)


def _reading(used: pd.DataFrame, wording: Wording, subject: str, *, per: str, clock: str) -> str:
    if used.empty:
        return wording.phrase("month.none")
    mean = _together(used)
    values: dict[str, Any] = {"mean": mean * RATE_PER[clock], "per": per, "count": len(used)}
    if subject:
        one = used[used["locomotive"] == subject]
        if one.empty:
            return wording.phrase("month.none")
        row = one.iloc[0]
        values |= {"rate": float(row["rate"]) * RATE_PER[clock], "name": subject}
        values["lower"], values["upper"] = (
            float(row[end]) * RATE_PER[clock] for end in ("rate_lower", "rate_upper")
        )
        side = (
            "above" if row["rate_lower"] > mean else "below" if row["rate_upper"] < mean else "in"
        )
        return wording.phrase(f"standing.reading_{side}", **values)
    above = int((used["rate_lower"] > mean).sum())
    return wording.phrase("fleet.reading", above=above, **values)


def _together(used: pd.DataFrame) -> float:
    return float(used["failures"].sum() / used["exposure"].sum())


def _figure(used: pd.DataFrame, wording: Wording, subject: str, *, per: str, clock: str) -> Figure:
    scale = RATE_PER[clock]
    rows = [_ranked(row, wording, subject, per=per, scale=scale) for row in rows_of(used)]
    mean = _together(used) * scale
    said = wording.phrase("fleet.mean", mean=mean)
    return draw_ranked(
        rows, title=wording.phrase("month.axis", per=per), all_of_them=mean, said=said
    )


def _ranked(
    row: dict[str, Any], wording: Wording, subject: str, *, per: str, scale: float
) -> Ranked:
    value, lower, upper = (
        float(row[name]) * scale for name in ("rate", "rate_lower", "rate_upper")
    )
    name = str(row["locomotive"])
    said = wording.phrase(
        "fleet.pointed",
        name=name,
        rate=value,
        lower=lower,
        upper=upper,
        failures=int(row["failures"]),
        per=per,
    )
    return Ranked(name, value, lower, upper, said, marked=name == subject)
