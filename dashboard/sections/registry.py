"""Every section by name: which question it asks, with which options, and how it is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from types import MappingProxyType

from dashboard.sections import (
    back,
    berths,
    chain_steps,
    changes,
    cumulative,
    engineer,
    intensity,
    narrow,
    out_of_use,
    outstanding,
    over_time,
    rate_by_group,
    rate_by_month,
    recurrence,
    replacement,
    shape,
    standing,
    survival,
    timeline,
    watch,
)
from dashboard.sections.listing import brief, listing
from dashboard.sections.model import Choice, SectionKind

_LOOK_BACK = MappingProxyType(
    {
        "window": Choice(("30d", "7d", "14d", "60d", "90d"), narrow.read_window),
        "same_defect": Choice(("no", "yes"), narrow.read_yes),
    }
)
_DIFFERENCES = ("rate", "rate_against", "difference", "lower", "upper")
_RANKS = {"rank": Choice(("ratio", "hours", "cost"), narrow.read_rank)}
_FALSE_ALARMS = {"false_alarms": Choice(("1", "0.25", "4"), narrow.read_positive)}
_AGAINST = {"against": Choice(("depot", "class"), narrow.read_against)}
_STANDOUTS = {
    "standouts": ("locomotive",),
    "standouts_depot": ("depot", "component"),
    "standouts_position": ("position",),
    "standouts_series": ("series",),
}
_OF_READINGS = ("class", "slope_lower", "slope_upper", "mk_p", "since", "readings")
_OF_WEEKS = ("class", "depot", "start_known", "cost")
_OF_ALARMS = ("state", "weeks", "s", "h", "false_alarm_weeks")
_RATES = ("rate", "rate_lower", "rate_upper")
_OF_OPEN = ("class", "closed", "action", "open", "down_hours", "cost")
_CHAINS = {**_LOOK_BACK, "at_least": Choice(("2", "3", "5", "10"), int)}
_COSTS = {"day_cost": Choice(("0", "500", "1000", "2000", "5000"), narrow.read_amount)}
_STOCK = {
    "lead_time": Choice(("60d", "30d", "90d", "180d"), narrow.read_window),
    "service": Choice(("0.95", "0.9", "0.99"), narrow.read_positive),
}
_PLAN = {
    "plan_left_out": "left-out",
    "plan_jobs": "jobs",
    "plan_limits": "limits",
    "plan_worth": "worth",
    "plan_versions": "versions",
    "plan_compare": "compare",
    "plan_here": "visits",
}
"""Sections that list a part of the plan."""
_OTHER_PLAN = {"other": Choice(("before",), narrow.read_other, more=narrow.plan_versions)}

SECTIONS: Mapping[str, SectionKind] = {
    "mtbf": SectionKind("mtbf", {"by": ("class",)}, rate_by_group.draw),
    "mtbf_depot": SectionKind(
        "mtbf", {"by": ("depot",)}, partial(rate_by_group.draw, name="mtbf_depot")
    ),
    "mtbf_position": SectionKind(
        "mtbf", {"by": ("position",)}, partial(rate_by_group.draw, name="mtbf_position")
    ),
    "month": SectionKind("mtbf", {"by": ("month",)}, rate_by_month.draw, wide=True),
    "survival": SectionKind("survival", {"by": ("class",)}, survival.draw),
    "mcf": SectionKind("mcf", {"by": ("class",)}, cumulative.draw),
    "recurrence": SectionKind(
        "recurrence", {"by": ("action",)}, recurrence.draw, choices=_LOOK_BACK
    ),
    "chains": SectionKind("repeats", {}, listing("chains"), choices=_CHAINS, wide=True),
    "steps": SectionKind("repeats", {"steps": True}, chain_steps.draw, choices=_CHAINS, wide=True),
    "trouble": SectionKind("standouts", {}, brief("trouble")),
    "new_alarms": SectionKind("warnings", {}, brief("new_alarms")),
    "back": SectionKind("repeats", {}, back.draw, narrow.to_last_week, wide=True),
    "open": SectionKind(
        "findings", {"open": True}, listing("open", without=_OF_OPEN, of="defects"), wide=True
    ),
    "withheld": SectionKind(
        "availability",
        {"as_list": True},
        listing("withheld", of="down", rows=6),
        narrow.to_last_week,
        wide=True,
    ),
    "down": SectionKind("availability", {"by": ("month",)}, out_of_use.draw),
    "changed": SectionKind(
        "compare",
        {"span": "28d", "by": ("component",)},
        changes.draw,
        narrow.to_any_start,
        wide=True,
    ),
    "compared": SectionKind(
        "compare", {}, partial(changes.draw, name="compared"), choices=_AGAINST, wide=True
    ),
    "backtest": SectionKind(
        "backtest", {}, listing("backtest", of="defects"), long=True, wide=True
    ),
    "timeline": SectionKind("findings", {}, timeline.draw, wide=True),
    "fleet": SectionKind("mtbf", {"by": ("class", "locomotive")}, standing.draw, wide=True),
    "standing": SectionKind(
        "mtbf",
        {"by": ("class", "locomotive")},
        partial(standing.draw, name="standing"),
        narrow.to_class,
    ),
    "trend": SectionKind("trend", {"by": ("class",)}, shape.draw),
    "fit": SectionKind("survival", {"fit": True, "by": ("class",)}, listing("fit"), wide=True),
    "intensity": SectionKind("survival", {"intensity": True, "by": ("class",)}, intensity.draw),
    "kinds": SectionKind("survival", {"kinds": True}, engineer.draw_kinds),
    "hazard": SectionKind("survival", {"hazard": True, "by": ("class",)}, engineer.draw_hazard),
    "plot": SectionKind("survival", {"plot": True, "by": ("class",)}, engineer.draw_plot),
    "differ": SectionKind("survival", {"differ": "class"}, listing("differ"), wide=True),
    "mcf_differ": SectionKind(
        "mcf", {"differ": "class", "unit": "position"}, engineer.draw_mcf_differ
    ),
    "recurrence_differ": SectionKind(
        "recurrence",
        {"differ": "action"},
        listing("recurrence_differ", shares=_DIFFERENCES),
        choices=_LOOK_BACK,
        wide=True,
    ),
    "weeks": SectionKind(
        "next-weeks", {}, listing("weeks", without=("class",), labelled=("reason",)), wide=True
    ),
    "weeks_positions": SectionKind(
        "next-weeks",
        {"positions": True},
        listing("weeks_positions", without=_OF_WEEKS, shares=("chance",)),
        wide=True,
    ),
    "replace_age": SectionKind(
        "replace-age",
        {},
        listing(
            "replace_age",
            without=("shape_lower", "rate", "rate_failure"),
            shares=("saving", "saving_lower", "saving_upper"),
        ),
        choices=_COSTS,
        wide=True,
    ),
    "replacement_curve": SectionKind(
        "replace-age", {"curve": True}, replacement.draw, choices=_COSTS, wide=True
    ),
    "spares": SectionKind(
        "spares", {}, listing("spares", without=("service",)), choices=_STOCK, wide=True
    ),
    "berth_plan": SectionKind(
        "plan",
        {"part": "visits"},
        berths.draw_plan,
        wide=True,
        planned=True,
        beside={"part": "days"},
    ),
    **{
        name: SectionKind(
            "plan",
            {"part": part},
            berths.plan_list(name, part),
            choices=_OTHER_PLAN if part == "compare" else {},
            wide=True,
            planned=True,
        )
        for name, part in _PLAN.items()
    },
    "closer": SectionKind(
        "look-closer",
        {},
        listing("closer", shares=("chance",), of="lines", labelled=("reason",)),
        wide=True,
        of_one=True,
    ),
    "reliability": SectionKind(
        "mtbf", {"by": ("component",)}, listing("reliability", without=_RATES), wide=True
    ),
    "trends": SectionKind(
        "trend", {"by": ("component",)}, listing("trends", without=("cvm", "cvm_p")), wide=True
    ),
    "readings": SectionKind(
        "readings", {}, listing("readings", without=_OF_READINGS, of="readings"), wide=True
    ),
    **{
        name: SectionKind(
            "standouts",
            {"by": by},
            partial(outstanding.draw, name=name),
            choices=_RANKS,
            wide=True,
        )
        for name, by in _STANDOUTS.items()
    },
    "funnel": SectionKind(
        "standouts", {"by": ("locomotive",), "funnel": True}, outstanding.draw_narrowing
    ),
    "alarms": SectionKind(
        "warnings",
        {},
        listing("alarms", without=_OF_ALARMS, of="findings"),
        choices=_FALSE_ALARMS,
        wide=True,
    ),
    "watch": SectionKind("warnings", {"weekly": True}, watch.draw, choices=_FALSE_ALARMS),
    "ages": SectionKind("ages", {}, listing("ages", shares=("left_share",)), wide=True),
    "counters": SectionKind("counters", {}, over_time.draw_counters),
    "measured": SectionKind("readings", {"points": True}, over_time.draw_measured),
    "inspected": SectionKind(
        "quality",
        {"inspections": True},
        listing("inspected", shares=("missed_share",), of="findings"),
        wide=True,
    ),
    "batches": SectionKind("batches", {}, listing("batches", of="files"), wide=True),
    "aside": SectionKind(
        "set_aside", {}, listing("aside", without=("received",), of="rows"), wide=True
    ),
    "quality": SectionKind(
        "quality", {}, listing("quality", shares=("filled_share",), of="findings"), wide=True
    ),
}
