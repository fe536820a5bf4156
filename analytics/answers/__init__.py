"""Answers to the questions of a depot: one module per question, joined from history and estimate.

`QUESTIONS` names the function of each command word; `ask_reader` imports and calls it, so that
nothing heavy is loaded before it is needed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib import import_module
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from analytics.errors import ScopeError, unknown_name
from analytics.scope import Scope

if TYPE_CHECKING:
    from analytics.answer import Answer
    from analytics.store import Reader

OPTIONS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "mtbf": (),
        "trend": (),
        "survival": (
            "method",
            "fit",
            "first_life",
            "intensity",
            "kinds",
            "differ",
            "hazard",
            "reached",
            "plot",
        ),  # fmt: skip
        "mcf": ("unit", "differ"),
        "recurrence": ("window", "same_defect", "differ"),
        "repeats": ("window", "same_defect", "at_least", "steps"),
        "standouts": ("rank", "window", "funnel"),
        "warnings": ("false_alarms", "all_charts", "weekly"),
        "compare": ("at", "span", "between", "modification"),
        "availability": ("as_list",),
        "next-weeks": ("horizon", "positions"),
        "look-closer": (),
        "backtest": ("horizon", "cuts", "calibration"),
        "replace-age": ("failure_cost", "planned_cost", "day_cost", "curve"),
        "spares": ("lead_time", "service"),
        "plan": ("part", "version", "other"),
        "readings": ("parameter", "points"),
        "quality": ("inspections",),
        "findings": ("open",),
        "ages": (),
        "counters": (),
        "batches": (),
        "set_aside": ("batch",),
    }
)
"""Each question's command word and its options beside Scope and groups.

`set_aside` has no word of its own: it is `rejects --list`.
"""

QUESTIONS: Mapping[str, str] = MappingProxyType(
    {name: "analytics.answers.{0}:{0}".format(name.replace("-", "_")) for name in OPTIONS}
    | {"plan": "analytics.planning.saved:plan"}
)
"""Each command word's function, as `module:function`, called with a Reader and a Scope.

A plan that was kept is asked for like anything else; what makes it lies above the answers.
"""

UNGROUPED = (
    "repeats", "warnings", "readings", "next-weeks", "look-closer", "backtest", "replace-age",
    "spares", "plan", "quality", "findings", "ages", "counters", "batches", "set_aside",
)  # fmt: skip
"""Questions that are lists: they take no group words."""


def ask_reader(
    reader: Reader, question: str, scope: Scope, *, by: Sequence[str] = (), **options: Any
) -> Answer:
    """Answer one question; where no class in scope has what was named, its reading says so.

    Parameters
    ----------
    reader
        A cursor on a snapshot, from `with store.read() as reader`.
    question
        A command word, one of `QUESTIONS`.
    scope
        What is asked.
    by
        Group words; the lists, `UNGROUPED`, take none.
    **options
        The question's own options, as `OPTIONS` lists them.

    Raises
    ------
    ScopeError
        For an unknown question, option, name or group.
    """
    if question not in QUESTIONS:
        raise ScopeError(unknown_name("question", question, QUESTIONS))
    for name in options:
        if name not in OPTIONS[question]:
            raise ScopeError(unknown_name(f"option of {question}", name, OPTIONS[question]))
    if by and question in UNGROUPED:
        raise ScopeError(f"{question} is a list and cannot be split by {', '.join(by)}.")
    grouped = {} if question in UNGROUPED else {"by": tuple(by)}
    module, function = QUESTIONS[question].split(":")
    answer: Answer = getattr(import_module(module), function)(reader, scope, **grouped, **options)
    if scope.components:
        from analytics.answers.places import NOT_BY_PLACE, no_place

        said = None if question in NOT_BY_PLACE else no_place(reader, scope)
        if said is not None:
            return replace(answer, reading=said)
    return answer
