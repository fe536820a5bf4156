"""Answers to the questions of a depot: one module per question, joined from history and estimate.

`QUESTIONS` names the function of each command word; `ask` imports and calls it, so that nothing
heavy is loaded before it is needed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib import import_module
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from analytics.errors import ScopeError, unknown_name
from analytics.scope import Scope

if TYPE_CHECKING:
    from analytics.answer import Answer
    from analytics.store import Reader

QUESTIONS: Mapping[str, str] = MappingProxyType(
    {
        name: f"analytics.answers.{name}:{name}"
        for name in ("mtbf", "trend", "survival", "mcf", "recurrence", "repeats", "quality")
    }
)


def ask(
    reader: Reader, question: str, scope: Scope, *, by: Sequence[str] = (), **options: Any
) -> Answer:
    """Answer one question.

    Parameters
    ----------
    reader
        A cursor on a snapshot, from `with store.read() as reader`.
    question
        A command word, one of `QUESTIONS`.
    scope
        What is asked.
    by
        Group words; questions without groups take none.
    **options
        The question's own options, as on the command line (`method`, `fit`, `unit`, `window`).

    Raises
    ------
    ScopeError
        For an unknown question, name or group.
    """
    if question not in QUESTIONS:
        raise ScopeError(unknown_name("question", question, QUESTIONS))
    module, function = QUESTIONS[question].split(":")
    if by:
        options["by"] = tuple(by)
    answer: Answer = getattr(import_module(module), function)(reader, scope, **options)
    return answer
