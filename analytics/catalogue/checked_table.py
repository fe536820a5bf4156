"""One TOML table while it is read: hands out checked values and writes down what is wrong."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TypeGuard, TypeVar

from analytics.errors import unknown_name

MOST_POSITIONS = 9999
_Value = TypeVar("_Value")


@dataclass(slots=True)
class CheckedTable:
    """A table as parsed, with its name as written, its file, and the shared list of problems.

    Every reading method returns a usable value even after a complaint, so that one pass over a
    catalogue finds everything that is wrong. `finish` complains of keys nobody asked for.
    """

    where: str
    file: str
    values: dict[str, object]
    problems: list[str]
    asked: list[str] = field(default_factory=list)

    def complain(self, words: str) -> None:
        """Write down one problem of this table."""
        self.problems.append(f"{self.where}: {words} ({self.file})")

    def text(self, key: str, default: str | None = None) -> str:
        """Return a text; required where there is no default."""
        wanted = "a text that is not empty and has no blanks at its ends"
        return self._take(key, wanted, is_name, "" if default is None else default, default is None)

    def choice(self, key: str, allowed: tuple[str, ...]) -> str:
        """Return one of the allowed words; required."""

        def is_allowed(value: object) -> TypeGuard[str]:
            return isinstance(value, str) and value in allowed

        return self._take(key, f"one of {', '.join(allowed)}", is_allowed, allowed[0], True)

    def flag(self, key: str) -> bool:
        """Return true or false; false where absent."""
        return self._take(key, "true or false", _is_flag, False)

    def count(self, key: str, default: int) -> int:
        """Return a whole number from 0 to MOST_POSITIONS."""
        return self._take(key, f"a whole number from 0 to {MOST_POSITIONS}", _is_count, default)

    def number(self, key: str, *, positive: bool = False) -> float | None:
        """Return a finite number, or None where absent."""
        wanted, fits = ("a number above 0", _is_positive) if positive else ("a number", _is_number)
        value = self._take(key, wanted, fits, math.nan)
        return None if math.isnan(value) else float(value)

    def names(
        self, key: str, default: tuple[str, ...] | None = None, allowed: Iterable[str] = ()
    ) -> tuple[str, ...]:
        """Return a list of different texts; required where there is no default.

        An empty list is accepted only where the default is empty too.
        """
        allowed, least = tuple(allowed), 0 if default == () else 1
        wanted = f"a list of {', '.join(allowed) or 'texts'}, each once"

        def is_list(value: object) -> TypeGuard[list[str]]:
            return (
                isinstance(value, list)
                and len(value) >= least
                and all(is_name(name) and (not allowed or name in allowed) for name in value)
                and len(set(value)) == len(value)
            )

        wanted += ", at least one" if least else ""
        return tuple(self._take(key, wanted, is_list, list(default or ()), default is None))

    def table(self, key: str, wanted: str, *, whole_name: str | None = None) -> CheckedTable:
        """Return the table inside this one, empty where absent.

        `wanted` is shown in a complaint; `whole_name` replaces the dotted name, for tables at the
        top of a file.
        """
        inner = self._take(key, f"a table such as {wanted}", is_table, {})
        where = whole_name or f"{self.where}.{as_key(key)}"
        return CheckedTable(where, self.file, inner, self.problems)

    def labels(self) -> dict[str, str]:
        """Return the label by language; a plain text is the label for every language."""
        if is_name(self.values.get("label")):
            return {"en": self.text("label")}
        table = self.table("label", '{ en = "...", hu = "..." } or a text')
        for language in table.values:
            if not re.fullmatch(r"[a-z]{2,3}(-[A-Za-z0-9]+)*", language):
                table.complain(f"{language!r} must be a language code such as en or hu")
        return {language: table.text(language) for language in table.values}

    def expect_less(self, lower: str, upper: str) -> None:
        """Complain where both numbers are given and `lower` is not less than `upper`."""
        low, high = self.values.get(lower), self.values.get(upper)
        if _is_number(low) and _is_number(high) and low >= high:
            self.complain(
                f"{lower} must be less than {upper}, but {low!r} is not less than {high!r}"
            )

    def finish(self) -> None:
        """Complain of every key that no reading method asked for."""
        for key in [key for key in self.values if key not in self.asked]:
            words = unknown_name("key", key, self.asked).removesuffix(".")
            value = self.values[key]
            if is_table(value) and value.keys() & set(self.asked):  # [component.door.left]
                words += "; a name with a dot in it needs quotes"
            self.complain(words)

    def _take(
        self,
        key: str,
        wanted: str,
        fits: Callable[[object], TypeGuard[_Value]],
        otherwise: _Value,
        required: bool = False,
    ) -> _Value:
        self.asked.append(key)
        if key not in self.values:
            if required:
                self.complain(f"{key} is missing; it must be {wanted}")
            return otherwise
        value = self.values[key]
        if fits(value):
            return value
        self.complain(f"{as_key(key)} must be {wanted}, but is {as_written(value)}")
        return otherwise


def is_name(value: object) -> TypeGuard[str]:
    """Tell whether a value can be a name: one line of text without blanks at its ends."""
    return isinstance(value, str) and value.strip() == value and len(value.splitlines()) == 1


def is_table(value: object) -> TypeGuard[dict[str, object]]:
    """Tell whether a value is a TOML table."""
    return isinstance(value, dict)


def _is_flag(value: object) -> TypeGuard[bool]:
    return isinstance(value, bool)


def _is_count(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= MOST_POSITIONS


def _is_number(value: object) -> TypeGuard[float]:
    # A TOML whole number may be too long for a float; no limit is anywhere near 1e15.
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and math.isfinite(value)
        and abs(value) < 1e15
    )


def _is_positive(value: object) -> TypeGuard[float]:
    return _is_number(value) and value > 0


def as_key(name: str) -> str:
    """Write a name as a TOML key: bare where TOML allows it, else in quotes."""
    bare = re.fullmatch(r"[A-Za-z0-9_-]+", name)
    return name if bare else json.dumps(name, ensure_ascii=False)


def as_written(value: object) -> str:
    """Show a value the way the file has it."""
    if isinstance(value, bool):
        return str(value).lower()
    return "a table" if isinstance(value, dict) else repr(value)
