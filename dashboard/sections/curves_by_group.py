"""Tables of step curves, group below group, turned into curves; shared by two sections."""

from __future__ import annotations

import pandas as pd

from dashboard.figures.curves import Curve
from dashboard.figures.look import MOST_SERIES
from dashboard.sections.common import group_columns, group_label, rows_of
from dashboard.wording import Wording


def curves_of(frame: pd.DataFrame, value: str, wording: Wording) -> list[Curve]:
    """Return one curve for each group of an answer's table, in its order.

    Columns used: the groups, `age`, the named value, `lower`, `upper`, `at_risk`.
    """
    groups = group_columns(frame)
    if not groups:
        return [_curve(frame, value, wording.phrase("group.all"))] if len(frame) else []
    return [
        _curve(part, value, group_label(rows_of(part.head(1))[0], groups, wording))
        for _, part in frame.groupby(groups, sort=False, dropna=False)
    ]


def more_than_drawn(curves: list[Curve], wording: Wording) -> tuple[str, ...]:
    """Say that some curves are not drawn, when there are more than can be told apart."""
    drawn = [curve for curve in curves if curve.age.size]
    if len(drawn) <= MOST_SERIES:
        return ()
    return (wording.phrase("curves.more", shown=MOST_SERIES, all=len(drawn)),)


def _curve(part: pd.DataFrame, value: str, label: str) -> Curve:
    known = part[part["age"].notna() & part[value].notna()].sort_values("age")
    columns = ("age", value, "lower", "upper", "at_risk")
    age, height, lower, upper, at_risk = (known[name].to_numpy(dtype=float) for name in columns)
    return Curve(label, age, height, lower, upper, at_risk)
