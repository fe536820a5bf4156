"""Every address of the dashboard, made and read in this one place; reading never fails.

The path says which page, the query is a Scope and how tables are sorted and turned. Names from the
record may hold blanks, slashes and accents, so they are percent-encoded here and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote, unquote, urlencode

from analytics.scope import Scope

HOME = "/"
LISTS = {
    "today": HOME,
    "repeats": "/repeats",
    "locomotives": "/locomotives",
    "components": "/components",
    "standouts": "/standouts",
    "warnings": "/warnings",
    "next-weeks": "/next-weeks",
    "berths": "/berths",
    "replacement": "/replacement",
    "look-closer": "/look-closer",
    "reliability": "/reliability",
    "readings": "/readings",
    "records": "/records",
}
"""Pages that are about everything in scope, by name."""
SUBJECTS = {"locomotive": "locomotives", "component": "components"}
"""Pages that are about one thing: the kind of thing to the field of a Scope that holds it."""
DATA = "/data/"


@dataclass(frozen=True, slots=True)
class Place:
    """Which page an address names: of `LISTS`, of `SUBJECTS` with its name, or `nowhere`."""

    page: str
    name: str = ""

    @property
    def path(self) -> str:
        """The path that leads here."""
        return page_url(self.page, self.name) if self.page != "nowhere" else self.name


def page_url(page: str, name: str = "", scope: Scope | None = None) -> str:
    """Return the address of a page, with a Scope as its query."""
    path = LISTS[page] if page in LISTS else f"/{page}/{quote(name, safe='')}"
    if scope and page in SUBJECTS:  # the path names it, so the query need not
        told: dict[str, Any] = {SUBJECTS[page]: ()}
        scope = replace(scope, **told)
    query = scope.to_query() if scope else ""
    return f"{path}?{query}" if query else path


def data_url(section: str, form: str, *, place: Place, query: str) -> str:
    """Return the address of a section's data as a file; `query` is that of its page."""
    at = urlencode({"at": place.path})
    rest = query.lstrip("?")
    return f"{DATA}{section}.{form}?{at}{'&' if rest else ''}{rest}"


def parse_path(path: str | None) -> Place:
    """Tell which page a path names (percent-encoded, as a browser gives it, without the query)."""
    given = path or HOME
    for page, its_path in LISTS.items():
        if given == its_path:
            return Place(page)
    subject, _, name = given[1:].partition("/")
    if given.startswith("/") and subject in SUBJECTS and unquote(name):
        return Place(subject, unquote(name))
    return Place("nowhere", unquote(given))
