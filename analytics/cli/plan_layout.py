"""The columns of a plan's parts that are worth a screen."""

from __future__ import annotations

from analytics.cli.layout import Layout

PLAN = {
    "plan": Layout(
        ("first", "last", "berth", "locomotive", "class", "jobs", "labour", "value", "reason"),
        wide=frozenset({"class", "jobs", "labour"}),
    ),
    "plan_jobs": Layout(
        (
            "first", "locomotive", "berth", "job", "position", "days", "labour", "parts", "value",
            "failures", "failures_if_done",
        ),
        wide=frozenset({"berth", "days", "parts", "position"}),
    ),
    "plan_left": Layout(("locomotive", "class", "expected", "worth", "reason")),
    "plan_in_days": Layout(("berth", "day", "is_open", "locomotive", "kind")),
    "plan_limits": Layout(
        ("limit", "name", "week", "used", "available", "fullest"), shares=frozenset({"fullest"})
    ),
    "plan_worth": Layout(("more", "name", "day", "gain", "gain_of_bound")),
    "plan_versions": Layout(
        (
            "version", "made_at", "who", "parent", "again", "first", "days", "visits", "value",
            "bound", "gap", "pinned", "kept_free",
        ),
        wide=frozenset({"days", "again", "bound", "first"}),
        shares=frozenset({"gap"}),
    ),
    "plan_compare": Layout(
        (
            "change", "locomotive", "first_before", "berth_before", "jobs_before", "first", "berth",
            "jobs",
        ),
        wide=frozenset({"jobs_before", "jobs"}),
    ),
}  # fmt: skip
OTHER_ROWS = {
    "failures_if_done": "plan_jobs",
    "worth": "plan_left",
    "is_open": "plan_in_days",
    "fullest": "plan_limits",
    "gain_of_bound": "plan_worth",
    "kept_free": "plan_versions",
    "first_before": "plan_compare",
}
"""A column that one part alone has, to its layout."""
