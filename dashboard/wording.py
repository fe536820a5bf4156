"""Words at the edge: phrases of the pages, sentences of the answers, labels of the catalogue."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from analytics.answer import Counted, Message, round_for_reading, say
from analytics.catalogue.model import Catalogue

_HYPHENATED = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)+")
_NAMED = (
    "component",
    "class",
    "defect",
    "action",
    "parameter",
)  # kinds whose names occur in sentences


@cache
def phrases(language: str) -> Mapping[str, str]:
    """Load the phrases of the pages in one language, by dotted key; English where it has none."""
    folder = files("dashboard") / "locales"
    tables = [folder / "en.toml"]
    if language.isalpha() and language != "en" and (folder / f"{language}.toml").is_file():
        tables.append(folder / f"{language}.toml")
    merged: dict[str, str] = {}
    for table in tables:
        for group, words in tomllib.loads(table.read_text(encoding="utf-8")).items():
            merged |= {f"{group}.{name}": text for name, text in words.items()}
    return MappingProxyType(merged)


@dataclass(frozen=True, slots=True)
class Wording:
    """One reader's words: a language and the catalogue that labels the names."""

    catalogue: Catalogue
    language: str = "en"

    def phrase(self, key: str, **values: Any) -> str:
        """Return a phrase of the pages with its values put in, as `shown` shows them.

        A phrase writes `{count:failure|failures}` for a count with its noun in the right number.
        """
        texts = {name: Counted.of(shown(value), value) for name, value in values.items()}
        return phrases(self.language)[key].format_map(texts)

    def phrase_or(self, key: str, otherwise: str) -> str:
        """Return a phrase without values; where there is none, the text given."""
        return phrases(self.language).get(key, otherwise)

    def say(self, message: Message) -> str:
        """Put a message of an answer into words, with labels in place of the catalogue's names.

        A sentence that names a command has other words on a page: `said.` and its key.
        """
        values = {name: self._labelled(value) for name, value in message.values.items()}
        on_page = f"said.{message.key.replace('.', '_')}"
        if on_page in phrases(self.language):
            return self.phrase(on_page, **values)
        text = say(Message(message.key, **values), self.language)
        subject = values.get("subject")
        begins = isinstance(subject, str) and text.startswith(subject)
        return text[:1].upper() + text[1:] if begins else text

    def _labelled(self, value: Any) -> Any:
        """Return a value of a message with the names in it, one or several, as their labels."""
        if isinstance(value, (list, tuple)):
            return tuple(self._labelled(part) for part in value)
        if not isinstance(value, str):
            return value
        by_kind = self.catalogue.by_kind()
        for kind in _NAMED:
            if value in by_kind[kind]:
                return self.label(kind, value)
        parts = value.split(", ")
        labelled = [self._labelled(part) for part in parts] if len(parts) > 1 else parts
        return self.relabel(", ".join(labelled))

    def relabel(self, text: str) -> str:
        """Return a text with the labels of the catalogue's hyphenated names in it."""

        def label(found: re.Match[str]) -> str:
            kinds = self.catalogue.by_kind()
            kind = next((kind for kind in _NAMED if found[0] in kinds[kind]), None)
            return self.label(kind, found[0]) if kind else found[0]

        return _HYPHENATED.sub(label, text)

    def label(self, kind: str, name: str) -> str:
        """Return the catalogue's label of a name; names without a kind there stay as they are."""
        if kind in self.catalogue.by_kind():
            return self.catalogue.label(kind, name, self.language)
        return name

    def heading(self, kind: str, name: str) -> str:
        """Return the label with its first letter large, as a heading wants it."""
        label = self.label(kind, name)
        return label[:1].upper() + label[1:]


def shown(value: Any) -> str:
    """Show one value as a reader wants it: counts whole, numbers rounded, dates as ISO.

    >>> shown(1234), shown(0.01234), shown(None), shown("Alder")
    ('1\u202f234', '0.0123', '\u2013', 'Alder')
    """
    if value is None:
        return "\u2013"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return f"{value:,}".replace(",", "\u202f")
    if isinstance(value, float):
        return round_for_reading(value)
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="minutes").removesuffix(" 00:00")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return ", ".join(shown(part) for part in value)
    return str(value)
