"""Every address of the dashboard, made and read in this one place; reading never fails.

The path says which page, the query is a Scope. Names from the record may hold blanks, slashes and
accents, so they are percent-encoded here and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from urllib.parse import quote, unquote

from analytics.scope import Scope

HOME = "/"
_COMPONENT = "/component/"


@dataclass(frozen=True, slots=True)
class Place:
    """Which page an address names: `home`, `component` (with the name), or `nowhere`."""

    page: str
    name: str = ""


def component_url(name: str, scope: Scope | None = None) -> str:
    """Return the address of one component's page, with the Scope as its query."""
    # The path names the component, so the query need not.
    query = replace(scope, components=()).to_query() if scope else ""
    return _COMPONENT + quote(name, safe="") + (f"?{query}" if query else "")


def parse_path(path: str | None) -> Place:
    """Tell which page a path names (percent-encoded, as a browser gives it, without the query)."""
    given = path or HOME
    if given == HOME:
        return Place("home")
    name = unquote(given.removeprefix(_COMPONENT))
    if given.startswith(_COMPONENT) and name:
        return Place("component", name)
    return Place("nowhere", unquote(given))
