"""What a page is: a head and a list of sections; the frame around them is the same for all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from dash.development.base_component import Component

from dashboard.visit import Visit


@dataclass(frozen=True, slots=True)
class PageKind:
    """One page.

    Attributes
    ----------
    head
        Draws what stands above the sections: where the reader is, the heading, what is known.
    sections
        Names in `SECTIONS`, in the order of reading.
    foot
        Draws what stands below them.
    facts
        Draws what stands after the facts of all pages, anew whenever the address changes.
    """

    head: Callable[[Visit], list[Component]]
    sections: tuple[str, ...]
    foot: Callable[[Visit], list[Component]] = lambda _visit: []
    facts: Callable[[Visit], list[Component]] = lambda _visit: []
