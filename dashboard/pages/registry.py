"""Every page by the name that its address carries."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.pages import (
    berths,
    component,
    components,
    locomotive,
    locomotives,
    look_closer,
    records,
    repeats,
    today,
)
from dashboard.pages.heads import lead
from dashboard.pages.kind import PageKind

PAGES: Mapping[str, PageKind] = {
    "today": today.PAGE,
    "repeats": repeats.PAGE,
    "locomotives": locomotives.PAGE,
    "locomotive": locomotive.PAGE,
    "components": components.PAGE,
    "component": component.PAGE,
    "reliability": PageKind(lead("reliability"), ("reliability", "trends")),
    "standouts": PageKind(
        lead("standouts"),
        (
            "standouts",
            "funnel",
            "standouts_depot",
            "standouts_position",
            "standouts_series",
        ),
    ),
    "warnings": PageKind(lead("warnings"), ("alarms", "watch")),
    "next-weeks": PageKind(
        lead("next-weeks", onward="berths"), ("weeks", "weeks_positions", "backtest")
    ),
    "berths": berths.PAGE,
    "replacement": PageKind(lead("replacement"), ("replace_age", "replacement_curve", "spares")),
    "look-closer": look_closer.PAGE,
    "readings": PageKind(lead("readings"), ("readings",)),
    "records": records.PAGE,
}
