"""Every section by name: which question it asks, with which options, and how it is drawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from analytics.answer import Answer
from dashboard.sections import cumulative, rate_by_class, rate_by_month, recurrence, survival
from dashboard.sections.model import Section
from dashboard.wording import Wording


@dataclass(frozen=True, slots=True)
class SectionKind:
    """One section: the question as the command line words it, its options, its drawing."""

    question: str
    options: Mapping[str, Any]
    draw: Callable[[Answer, Wording], Section]


SECTIONS: Mapping[str, SectionKind] = {
    "mtbf": SectionKind("mtbf", {"by": ("class",)}, rate_by_class.draw),
    "month": SectionKind("mtbf", {"by": ("month",)}, rate_by_month.draw),
    "survival": SectionKind("survival", {"by": ("class",)}, survival.draw),
    "mcf": SectionKind("mcf", {"by": ("class",)}, cumulative.draw),
    "recurrence": SectionKind("recurrence", {"by": ("action",), "window": "30d"}, recurrence.draw),
}
