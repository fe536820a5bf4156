"""Findings of daily inspections turned into figures: the library behind `shedbook`.

In a notebook:

    import analytics
    store = analytics.open_store("shedbook-store")
    answer = analytics.ask(store, "mtbf", component="fuel-injector", by="component")
    answer.table

Nothing heavy is imported until a function is called.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analytics.answer import Answer
    from analytics.store import Store


def open_store(folder: Path | str) -> Store:
    """Open the store in a folder.

    Raises
    ------
    StoreError
        If there is no store, or it was written by a newer program.
    """
    from analytics.store import Store  # DuckDB loads only when a store is opened

    return Store.open(folder)


def ask(store: Store, question: str, *, by: str | tuple[str, ...] = (), **asked: Any) -> Answer:
    """Answer one question on the newest state of a store.

    Parameters
    ----------
    store
        From `open_store`.
    question
        A command word: mtbf, trend, survival, mcf, recurrence, repeats, compare, availability,
        readings, quality, findings, ages, counters, batches; or set_aside.
    by
        Group words, as a tuple or joined by commas.
    **asked
        Scope words (`component="fuel-injector"`, `since="2024-01-01"`, `clock="km"`) and the
        question's own options (`method`, `fit`, `unit`, `window`, `same_defect`, `at_least`,
        `open`, `batch`, `at`, `span`, `between`, `modification`, `as_list`,
        `parameter`, `points`).

    Raises
    ------
    ScopeError
        For a name, a group or a question that does not exist.
    """
    from analytics.answers import OPTIONS, ask_reader
    from analytics.scope import Scope, parse_groups

    options = {word: asked.pop(word) for word in OPTIONS.get(question, ()) if word in asked}
    scope = Scope.of(**asked)
    with store.read() as reader:
        return ask_reader(reader, question, scope, by=parse_groups(by), **options)
