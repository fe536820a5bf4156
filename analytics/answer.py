"""What every figure carries: a table, the basis it rests on, one reading sentence and its caveats.

Sentences are kept as keys with values (`Message`) and become words only at the edge, by `say`, in
the reader's language; the words live in `analytics/words/LANGUAGE.toml`.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, init=False)
class Message:
    """One sentence before it has words: `Message("rate.not_constant", p=0.003)`."""

    key: str
    values: Mapping[str, Any] = field(hash=False)

    def __init__(self, key: str, **values: Any) -> None:
        """Keep the key and its values."""
        object.__setattr__(self, "key", key)
        object.__setattr__(self, "values", MappingProxyType(values))


@dataclass(frozen=True, slots=True)
class Basis:
    """What a figure rests on; a figure without it is a defect (METHODS section 0).

    `exposure` is in the unit of `clock` (h, km, days); `left_out` counts rows by reason
    (unknown_start, no_clock, no_position, out_of_window); `data_cut` is the latest instant known
    of any locomotive in scope; `fingerprint` names snapshot and catalogue.
    """

    counting: str
    clock: str
    level: float
    method: str
    since: datetime | None = None
    until: datetime | None = None
    filters: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    locomotives: int = 0
    exposure: float = math.nan
    events: int = 0
    censored: int = 0
    left_out: Mapping[str, int] = field(default_factory=dict)
    data_cut: datetime | None = None
    fingerprint: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to one question.

    Attributes
    ----------
    question
        The command word, such as `mtbf`.
    table
        The fixed columns of that command, full precision, NaN where undefined.
    basis
        What the figures rest on.
    reading
        One sentence computed from the table.
    notes
        Caveats, most important first.
    """

    question: str
    table: pd.DataFrame
    basis: Basis
    reading: Message
    notes: tuple[Message, ...] = ()


@cache
def words(language: str = "en") -> Mapping[str, str]:
    """Load the sentences of one language, key by dotted key; English where it has none."""
    folder = files("analytics") / "words"
    tables = [folder / "en.toml"]
    if language != "en" and (folder / f"{language}.toml").is_file():
        tables.append(folder / f"{language}.toml")
    merged: dict[str, str] = {}
    for table in tables:
        for group, sentences in tomllib.loads(table.read_text(encoding="utf-8")).items():
            merged |= {f"{group}.{name}": text for name, text in sentences.items()}
    return MappingProxyType(merged)


def say(message: Message, language: str = "en") -> str:
    """Put a message into words.

    Numbers are rounded for reading (three significant digits, thousands apart), dates are ISO. A
    sentence writes `{failures:failure|failures}` for a count with its noun in the right number.

    Raises
    ------
    KeyError
        If the key has no sentence: a test makes sure that every key used has one.
    """
    template = words(language)[message.key]
    return template.format_map(
        {name: Counted.of(_plain(v), v) for name, v in message.values.items()}
    )


class Counted(str):
    """A value in words; a format of two nouns, `one|many`, adds the one that fits its count."""

    __slots__ = ("single",)
    single: bool

    @classmethod
    def of(cls, text: str, value: Any) -> Counted:
        """Return the text of a value, with what its count asks of a noun."""
        shown = cls(text)
        shown.single = value == 1 and not isinstance(value, bool)
        return shown

    def __format__(self, nouns: str) -> str:
        one, _, many = nouns.partition("|")
        return f"{str(self)} {one if self.single else many}" if nouns else str(self)


def _plain(value: Any) -> str:
    if isinstance(value, bool) or value is None:
        return {True: "yes", False: "no", None: "not known"}[value]
    if isinstance(value, int):
        return f"{value:,}".replace(",", "\u202f")
    if isinstance(value, float):
        return round_for_reading(value)
    if isinstance(value, datetime):
        shown = value.isoformat(sep=" ", timespec="minutes")
        return shown.removesuffix(" 00:00")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return ", ".join(_plain(part) for part in value)
    return str(value)


def round_for_reading(value: float, digits: int = 3) -> str:
    """Round to significant digits, thousands set apart, no exponent; an empty figure is a dash.

    >>> round_for_reading(12345.6), round_for_reading(0.01234), round_for_reading(float("nan"))
    ('12\u202f300', '0.0123', '\u2013')
    """
    if not math.isfinite(value):
        return "\u2013"
    if value == 0:
        return "0"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    if value == round(value):
        decimals = min(decimals, 0)  # a whole number claims no decimals
    rounded = round(value, decimals)
    return f"{rounded:,.{max(decimals, 0)}f}".replace(",", "\u202f")
