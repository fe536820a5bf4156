"""Which limits clash, in a planner's words."""

from __future__ import annotations

from analytics.answer import Message, say
from analytics.planning.build import Built
from analytics.planning.clash import Limit, clashing
from analytics.planning.inputs import PlanInputs
from analytics.planning.work_list import DUE


def clash_in_words(built: Built, inputs: PlanInputs) -> str:
    """Name a smallest set of limits that no plan can keep together, and what to do."""
    limits = clashing(built.problem)
    named = [say(_in_words(limit, built, inputs)) for limit in limits]
    return say(Message("clash.clash", limits="; ".join(dict.fromkeys(named))))


def _in_words(limit: Limit, built: Built, inputs: PlanInputs) -> Message:
    at = limit.index
    if limit.kind == "berths":
        names = [berth.name for berth in built.groups[at]]
        return Message("clash.berths", names=names)
    if limit.kind == "labour":
        return Message("clash.labour", skill=built.skills[at])
    if limit.kind == "supply":
        return Message("clash.supply", spare=built.spares[at])
    if limit.kind == "traffic":
        return _traffic(built, inputs, at)
    if limit.kind == "pin":
        problem = built.problem
        name = built.locomotives[problem.pin_locomotive[at]]
        return Message("clash.pin", locomotive=name, day=built.day(problem.pin_day[at]))
    work = built.work[at]
    if work.kind != DUE:
        return Message("clash.mend", locomotive=work.locomotive)
    asked = next(v for v in inputs.visits if (v.locomotive, v.name) == (work.locomotive, work.name))
    return Message(
        "clash.due", name=work.name, locomotive=work.locomotive, days=work.days,
        earliest=asked.earliest, latest=asked.latest,
    )  # fmt: skip


def _traffic(built: Built, inputs: PlanInputs, at: int) -> Message:
    name = built.classes[at]
    least = max(rule.least for rule in inputs.traffic if rule.class_name == name)
    return Message("clash.traffic", class_name=name, least=least)
