"""How alike headings are, and whether values read as dates or numbers: for proposing a mapping."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher, get_close_matches
from functools import cache
from importlib.resources import files as package_files

from analytics.intake.mapping import fold
from analytics.intake.tables import TABLES, Column

_A_DATE = re.compile(
    r"(\d{4}[-./] ?\d{1,2}[-./] ?\d{1,2}\.?|\d{1,2}[-./] ?\d{1,2}[-./] ?\d{2,4}\.?)"
    r"([ T,]+\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?)?"
)
_A_NUMBER = re.compile(r"[+-]?[\d.,\s]*\d[\d.,]*([eE][+-]?\d+)?(\s*[^\W\d]{1,3})?")
_ANY_DATE_WORTH = 0.9  # a heading that only says "date"
_CONTAINED_WORTH = 0.75  # "Hours (engine)" holds "hours" and something else


@dataclass(frozen=True, slots=True)
class Words:
    """What depots call our columns (`headings`) and choices (`values`, heading to name)."""

    headings: dict[str, list[str]]
    values: dict[str, dict[str, list[str]]]
    any_date: list[str]
    all_names: frozenset[str]

    def names_a_column(self, text: str) -> bool:
        """Tell whether a cell is what depots call some column of ours."""
        return bool(get_close_matches(_plain(text), self.all_names, n=1, cutoff=0.85))

    def heading(self, column: Column, text: str) -> tuple[float, str]:
        """Return how much a heading is like a column of ours (0 to 1), and like which word."""
        folded = _plain(text)
        own = column.name.replace("_", " ")
        if folded == _plain(own):
            return 1.0, own
        words = (own, *self.headings.get(column.name, ()))
        found = [(_heading_likeness(_plain(word), folded), word) for word in words]
        if column.kind == "instant" and column.observed:
            dated = [word for word in self.any_date if _plain(word) == folded]
            found += [(_ANY_DATE_WORTH, word) for word in dated]
        return max(found, key=lambda pair: pair[0])


@cache
def load_words() -> Words:
    """Read the table of words."""
    text = package_files("analytics.intake").joinpath("synonyms.toml").read_text(encoding="utf-8")
    read = tomllib.loads(text)
    own = [name for table in TABLES.values() for name in table.headings]
    names = [
        *own,
        *read["any_date"],
        *(word for words in read["headings"].values() for word in words),
    ]
    plain = frozenset(_plain(name) for name in names)
    return Words(read["headings"], read["values"], read["any_date"], plain)


def likeness(one: str, other: str) -> float:
    """Return how alike two folded words are, 0 to 1."""
    return SequenceMatcher(a=one, b=other, autojunk=False).ratio()


def readable_share(kind: str, values: Sequence[str]) -> float:
    """Return the share of values that read as dates (`instant`) or as numbers."""
    pattern = _A_DATE if kind == "instant" else _A_NUMBER
    return _share(pattern.fullmatch(value) is not None for value in values)


def _share(tests: Iterable[bool]) -> float:
    found = list(tests)
    return sum(found) / len(found) if found else 0.0


def _plain(heading: str) -> str:
    return re.sub(r"[\W_]+", "", fold(heading))


def _heading_likeness(word: str, heading: str) -> float:
    if word == heading:
        return 0.97
    if min(len(word), len(heading)) < 4:  # so short, one letter makes another word
        return 0.0
    if word in heading:
        return max(_CONTAINED_WORTH, likeness(word, heading))
    return likeness(word, heading) if likeness(word, heading) >= 0.6 else 0.0
