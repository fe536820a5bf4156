"""What a page is drawn from: a reader on the store, the words, the address, the answers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from urllib.parse import parse_qsl

from analytics.answer import Answer
from analytics.answers import ask_reader
from analytics.planning.versions import Versions
from analytics.scope import Scope
from analytics.store import Reader, Store
from dashboard.asked import View, read_scope, read_view
from dashboard.cache import AnswerCache
from dashboard.record import Record, read_record
from dashboard.settings import Settings
from dashboard.urls import Place, parse_path
from dashboard.wording import Wording


@dataclass(frozen=True)
class Visit:
    """One request: who asks what of which snapshot.

    Attributes
    ----------
    reader
        A cursor on the newest snapshot, for this request alone.
    wording
        The reader's language and the catalogue's labels.
    place
        The page that the path names.
    query
        The address's query, unread.
    cache
        Where answers are kept.
    store
        The store, for work that outlasts the request.
    """

    reader: Reader
    wording: Wording
    place: Place
    query: str
    cache: AnswerCache
    store: Store

    @property
    def chosen(self) -> Scope:
        """The Scope as the address asks for it, of names that exist; links carry it on."""
        return self._asked[0]

    @cached_property
    def scope(self) -> Scope:
        """The same with its clock filled in, as most questions do."""
        return self.chosen.resolve_clock(self.wording.catalogue)

    @property
    def fell_back(self) -> tuple[str, ...]:
        """A sentence for each thing in the address that fell back."""
        return self._asked[1]

    @cached_property
    def _asked(self) -> tuple[Scope, tuple[str, ...]]:
        return read_scope(self.query, place=self.place, record=self.record, wording=self.wording)

    def view(self, section: str) -> View:
        """Tell how the address wants the table of a section shown."""
        return read_view(self.query, section)

    @cached_property
    def plan_in_force(self) -> int | None:
        """The version of the berth plan in force; None before the first."""
        return Versions(self.store.root).latest()

    @property
    def plan_version(self) -> int | None:
        """The version that the address names, where there is such a one, else the one in force."""
        asked = dict(parse_qsl(self.query.lstrip("?"))).get("version", "")
        number = int(asked) if asked.isdecimal() and len(asked) < 9 else 0
        return number if 1 <= number <= (self.plan_in_force or 0) else self.plan_in_force

    @cached_property
    def is_somewhere(self) -> bool:
        """Whether what the path names exists."""
        if self.place.page == "component":
            return self.place.name in self.wording.catalogue.components
        if self.place.page == "locomotive":
            return self.place.name in self.record.locomotives
        return self.place.page != "nowhere"

    @cached_property
    def record(self) -> Record:
        """The names that occur in the record."""
        return read_record(self.reader)

    def answer(self, question: str, scope: Scope, options: Mapping[str, Any]) -> Answer:
        """Ask one question, or take the answer that was kept."""
        return self.cache.get(
            self.reader,
            question,
            scope=scope,
            options=options,
            make=lambda: ask_reader(self.reader, question, scope, **options),
        )

    def kept(self, question: str, scope: Scope, options: Mapping[str, Any]) -> Answer | None:
        """Return an answer that was kept, or None."""
        return self.cache.kept(self.reader, question, scope=scope, options=options)


@contextmanager
def visiting(
    store: Store, settings: Settings, *, path: str | None, query: str | None
) -> Iterator[Visit]:
    """Open a visit on the newest snapshot."""
    cache = AnswerCache(store.root if settings.cache else None)
    with store.read() as reader:
        wording = Wording(reader.catalogue, settings.language)
        yield Visit(reader, wording, parse_path(path), query or "", cache, store)
