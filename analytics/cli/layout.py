"""What a layout of columns is; those of groups, kinds, laws of life, the record, what is ahead."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Layout:
    """Columns in order, those that need a wide screen, those that are shares of one.

    A pair is one column of bounds.
    """

    columns: tuple[str | tuple[str, str], ...]
    wide: frozenset[str | tuple[str, str]] = frozenset()
    shares: frozenset[str] = frozenset()


_LOWER_UPPER = ("lower", "upper")
_INNER, _OUTER = ("inner_lower", "inner_upper"), ("outer_lower", "outer_upper")
_RATIO = ("ratio_lower", "ratio_upper")
_HAZARD = ("hazard_lower", "hazard_upper")
_RELIABILITY = ("reliability_lower", "reliability_upper")
GROUPS_AND_LAWS = {
    "kinds": Layout(
        ("age", "incidence", _LOWER_UPPER, "at_risk", "events"),
        shares=frozenset({"incidence", *_LOWER_UPPER}),
    ),
    "differ": Layout(
        ("group", "against", "model", "ratio", _RATIO, "statistic", "df", "p"),
        wide=frozenset({"statistic", "df"}),
    ),
    "mcf_differ": Layout(
        ("group", "against", "age", "difference", _LOWER_UPPER, "at_risk", "at_risk_against")
    ),
    "recurrence_differ": Layout(
        (
            "group",
            "against",
            "rate",
            "rate_against",
            "difference",
            _LOWER_UPPER,
            "statistic",
            "df",
            "p",
        ),
        wide=frozenset({"statistic", "df"}),
        shares=frozenset({"rate", "rate_against", "difference", *_LOWER_UPPER}),
    ),
    "hazard": Layout(
        ("model", "age", "hazard", _HAZARD, "reliability", _RELIABILITY),
        shares=frozenset({"reliability", *_RELIABILITY}),
    ),
    "plot": Layout(
        ("model", "age", "survival", "fitted", "x", "y"),
        shares=frozenset({"survival", "fitted"}),
    ),
}
QUALITY = {
    "quality": Layout(
        ("table", "column", "filled_share", "days_without_inspection", "counters_still", "note"),
        shares=frozenset({"filled_share"}),
    ),
    "inspected": Layout(
        (
            "depot",
            "team",
            "month",
            "inspections",
            "findings",
            "findings_per_inspection",
            _LOWER_UPPER,
            "missed",
            "missed_share",
        ),
        wide=frozenset({"missed_share"}),
        shares=frozenset({"missed_share"}),
    ),
}
AHEAD = {
    "replace-age": Layout(
        (
            "class",
            "component",
            "failures",
            "shape",
            "failure_cost",
            "planned_cost",
            "age",
            ("age_from", "age_to"),
            "clock",
            "weeks",
            "saving",
            ("saving_lower", "saving_upper"),
        ),
        wide=frozenset({"failures", "shape", "failure_cost", "planned_cost"}),
        shares=frozenset({"saving", "saving_lower", "saving_upper"}),
    ),
    "replace_curve": Layout(
        ("class", "component", "age", "clock", "rate", ("rate_lower", "rate_upper"), "is_best")
    ),
    "spares": Layout(
        (
            "component",
            "positions",
            "failures",
            "expected",
            _LOWER_UPPER,
            "seen",
            "spread",
            "stock",
            "stock_upper",
        ),
        wide=frozenset({"positions", "failures", "spread"}),
    ),
    "next-weeks": Layout(
        (
            "locomotive",
            "class",
            "depot",
            "expected",
            _LOWER_UPPER,
            "expected_if_done",
            "lost_days",
            "lost_days_if_done",
            "cost",
            "cost_if_done",
            "reason",
        ),
        wide=frozenset({"class", "depot", "lost_days_if_done", "cost", "cost_if_done"}),
    ),
    "positions": Layout(
        (
            "rank",
            "locomotive",
            "component",
            "age",
            "use",
            "clock",
            "chance",
            "expected",
            "expected_if_done",
            "ratio",
            "lost_days",
            "lost_days_if_done",
            "cost",
            "cost_if_done",
        ),
        wide=frozenset(
            {"rank", "use", "ratio", "lost_days", "lost_days_if_done", "cost", "cost_if_done"}
        ),
        shares=frozenset({"chance"}),
    ),
    "look-closer": Layout(
        ("rank", "component", "kind", "chance", "reason", "last_action", "last_date"),
        wide=frozenset({"last_action", "last_date"}),
        shares=frozenset({"chance"}),
    ),
    "backtest": Layout(
        ("method", "against", "measure", "value", _LOWER_UPPER, "cuts", "positions", "outcomes")
    ),
    "funnel": Layout(
        ("observed", "expected", "ratio", "counts_as", *_INNER, *_OUTER, "outside"),
        wide=frozenset(_INNER),
    ),
    "calibration": Layout(
        ("decile", "n", "predicted", "observed", _LOWER_UPPER),
        shares=frozenset({"predicted", "observed", *_LOWER_UPPER}),
    ),
}
"""Of the commands that look ahead."""
