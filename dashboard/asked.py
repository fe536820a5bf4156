"""What a reader asks with an address: a page and a Scope that holds only names that exist."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from analytics.catalogue.model import Catalogue
from analytics.errors import unknown_name
from analytics.scope import NAME_FILTERS, OPTION_OF, Scope
from dashboard.record import Record
from dashboard.wording import Wording


def read_scope(
    query: str | None, *, component: str, record: Record, wording: Wording
) -> tuple[Scope, tuple[str, ...]]:
    """Read the Scope of a component's page; what does not exist falls back, with a sentence.

    Parameters
    ----------
    query
        The URL's query, with or without `?`.
    component
        The component that the path names; a component in the query is not read.
    record
        The names that occur.
    wording
        Gives the words of the sentences and the catalogue.

    Returns
    -------
    scope, sentences
        The Scope with its clock filled in, and one sentence for each thing that fell back.
    """
    scope, messages = Scope.from_query(query or "")
    sentences = [wording.say(message) for message in messages]
    scope = replace(scope, components=())
    for field, known in _known(wording.catalogue, record, component).items():
        asked = getattr(scope, field)
        missing = [name for name in asked if name not in known]
        if missing:
            said = unknown_name(OPTION_OF[field], missing[0], known)
            sentences.append(wording.phrase("scope.left_out", said=said))
            scope = _keep_only(scope, field, known)
    scope = replace(scope, components=(component,))
    return scope.resolve_clock(wording.catalogue), tuple(sentences)


def _known(catalogue: Catalogue, record: Record, component: str) -> dict[str, tuple[str, ...]]:
    known = {
        "classes": tuple(catalogue.classes),
        "depots": record.depots,
        "locomotives": record.locomotives,
        "defects": catalogue.components[component].defects,
    }
    return {field: known[field] for field in NAME_FILTERS if field in known}


def _keep_only(scope: Scope, field: str, known: Sequence[str]) -> Scope:
    kept: dict[str, Any] = {field: tuple(n for n in getattr(scope, field) if n in known)}
    return replace(scope, **kept)
