"""What a reader asks with an address: a Scope of names that exist, and how tables are turned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import parse_qsl, urlencode

from analytics.catalogue.model import Catalogue
from analytics.errors import ShedbookError, unknown_name
from analytics.scope import NAME_FILTERS, OPTION_OF, Scope
from dashboard.record import Record
from dashboard.sections.model import Choice
from dashboard.urls import SUBJECTS, Place
from dashboard.wording import Wording


@dataclass(frozen=True, slots=True)
class View:
    """How one table is shown: by which column, which way, and which page of it from 1."""

    column: str = ""
    descending: bool = False
    page: int = 1


def read_scope(
    query: str, *, place: Place, record: Record, wording: Wording
) -> tuple[Scope, tuple[str, ...]]:
    """Read the Scope of a page; what does not exist falls back, with a sentence.

    Parameters
    ----------
    query
        The URL's query, with or without `?`.
    place
        The page; what its path names is the Scope's only name of its kind.
    record
        The names that occur.
    wording
        Gives the words of the sentences and the catalogue.

    Returns
    -------
    scope, sentences
        The Scope as asked, and one sentence for each thing that fell back.
    """
    scope, messages = Scope.from_query(query)
    sentences = [wording.say(message) for message in messages]
    subject = SUBJECTS.get(place.page)
    for field, known in _known(wording.catalogue, record, place).items():
        asked = () if field == subject else getattr(scope, field)
        missing = [name for name in asked if name not in known]
        if missing:
            said = unknown_name(OPTION_OF[field], missing[0], known)
            sentences.append(wording.phrase("scope.left_out", said=said))
            scope = _keep_only(scope, field, known)
    if subject:
        named: dict[str, Any] = {subject: (place.name,)}
        scope = replace(scope, **named)
    return scope, tuple(sentences)


def read_view(query: str, section: str) -> View:
    """Read how the table of a section is shown; what cannot be read is the first page, unsorted."""
    words = dict(parse_qsl(query.lstrip("?")))
    column = words.get(f"sort.{section}", "")
    page = words.get(f"page.{section}", "1")
    number = int(page) if page.isdecimal() and len(page) < 7 else 1
    return View(column.removeprefix("-"), column.startswith("-"), max(number, 1))


def read_choices(
    query: str, choices: Mapping[str, Choice]
) -> tuple[dict[str, Any], dict[str, str]]:
    """Read a question's options from an address; also return the values that cannot be read."""
    words = dict(parse_qsl(query.lstrip("?")))
    read: dict[str, Any] = {}
    bad: dict[str, str] = {}
    for word, choice in choices.items():
        value = words.get(word, choice.offered[0])
        try:
            option = choice.read(value)
        except (ShedbookError, ValueError):
            bad[word] = value
            option = choice.read(choice.offered[0])
        # One word of the address may stand for one of several options.
        read |= option if isinstance(option, Mapping) else {word: option}
    return read, bad


def turned(query: str, section: str, view: View) -> str:
    """Return the query, with `?`, that shows the table of a section another way."""
    sign = "-" if view.descending else ""
    own = {
        f"sort.{section}": f"{sign}{view.column}" if view.column else "",
        f"page.{section}": str(view.page) if view.page > 1 else "",
    }
    return without(query, own, **own)


def without(query: str, words: Sequence[str] | Mapping[str, str], **put: str) -> str:
    """Return a query, with `?`, that lacks some words and has others put in where not empty."""
    kept = [(word, value) for word, value in parse_qsl(query.lstrip("?")) if word not in words]
    return "?" + urlencode([*kept, *((word, value) for word, value in put.items() if value)])


def _known(catalogue: Catalogue, record: Record, place: Place) -> dict[str, tuple[str, ...]]:
    components = catalogue.components
    if place.page == "component":
        defects = components[place.name].defects
    else:
        defects = tuple({d: None for entry in components.values() for d in entry.defects})
    known = {
        "classes": tuple(catalogue.classes),
        "depots": record.depots,
        "locomotives": record.locomotives,
        "components": tuple(components),
        "defects": defects,
    }
    return {field: known[field] for field in NAME_FILTERS}


def _keep_only(scope: Scope, field: str, known: Sequence[str]) -> Scope:
    kept: dict[str, Any] = {field: tuple(n for n in getattr(scope, field) if n in known)}
    return replace(scope, **kept)
