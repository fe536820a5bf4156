"""One cell of a planner's file as a number, a date, names, amounts or weekdays."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Any

from analytics.planning import forms
from analytics.planning.inputs import EVERY_DAY, PER_LOCOMOTIVE, PER_POSITION

_AMOUNT = re.compile(r"(.*\S)[\s:=]+(-?\d+(?:[.,]\d+)?)\s*h?")


def read_cell(cell: Any, holds: str) -> Any:
    """Read one cell.

    Raises
    ------
    ValueError
        With what was expected, as the end of a sentence.
    """
    return _READERS[holds](cell)


def _number(cell: Any) -> float:
    if isinstance(cell, bool):
        raise ValueError("a number")
    try:
        found = float(str(cell).strip().replace("\u00a0", "").replace(" ", "").replace(",", "."))
    except ValueError:
        raise ValueError("a number") from None
    if found != found or found in (float("inf"), float("-inf")):
        raise ValueError("a number")
    return found


def _whole(cell: Any) -> int:
    try:
        found = _number(cell)
    except ValueError:
        raise ValueError("a whole number") from None
    if found != int(found):
        raise ValueError("a whole number")
    return int(found)


def _day(cell: Any) -> date:
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    try:
        return date.fromisoformat(str(cell).strip()[:10])
    except ValueError:
        raise ValueError("a date such as 2026-07-01") from None


def _name(cell: Any) -> str:
    if isinstance(cell, float) and cell == int(cell):
        cell = int(cell)  # a spreadsheet's 1 is 1.0
    found = str(cell).strip()
    if not found or isinstance(cell, (dict, list)):
        raise ValueError("a name")
    return found


def _names(cell: Any) -> tuple[str, ...]:
    parts = cell if isinstance(cell, list) else re.split(r"[;,\n]", _name(cell))
    found = tuple(dict.fromkeys(_name(part) for part in parts if str(part).strip()))
    if not found:
        raise ValueError("names with ; between them")
    return found


def _amounts(cell: Any) -> dict[str, float]:
    """Read `fitter 8; electrician 4`, or an inline table."""
    wanted = "names with an amount each, such as fitter 8; electrician 4"
    if isinstance(cell, Mapping):
        pairs = [(str(name), amount) for name, amount in cell.items()]
    else:
        found = [_AMOUNT.fullmatch(part.strip()) for part in str(cell).split(";") if part.strip()]
        if not found or not all(found):
            raise ValueError(wanted)
        pairs = [(one[1], one[2]) for one in found if one]
    try:
        read = {name: _number(amount) for name, amount in pairs}
    except ValueError:
        raise ValueError(wanted) from None
    if len(read) < len(pairs) or any(amount < 0 for amount in read.values()):
        raise ValueError(f"{wanted}, none below 0 and none twice")
    return read


def _counts(cell: Any) -> dict[str, int]:
    found = _amounts(cell)
    if any(amount != int(amount) for amount in found.values()):
        raise ValueError("whole numbers of pieces, such as injector set 1")
    return {name: int(amount) for name, amount in found.items()}


def _weekdays(cell: Any) -> tuple[int, ...]:
    parts = cell if isinstance(cell, list) else re.split(r"[;,\s]+", str(cell).strip())
    found: set[int] = set()
    for part in (str(one).strip().lower() for one in parts):
        if part in ("all", "daily", "every"):
            found.update(EVERY_DAY)
            continue
        first, _, last = part.partition("-")
        begin, end = _weekday(first), _weekday(last or first)
        found.update(range(begin, end + 1) if begin <= end else {*range(begin, 7), *range(end + 1)})
    return tuple(sorted(found))


def _weekday(word: str) -> int:
    known = [day.lower() for day in forms.WEEKDAYS]
    if word[:3] not in known or len(word) < 3:
        raise ValueError("weekdays such as Mon-Fri or Mon, Wed")
    return known.index(word[:3])


def _per(cell: Any) -> str:
    found = str(cell).strip().lower()
    if found not in (PER_LOCOMOTIVE, PER_POSITION):
        raise ValueError(f"{PER_LOCOMOTIVE} or {PER_POSITION}")
    return found


_READERS: Mapping[str, Callable[[Any], Any]] = {
    forms.NUMBER: _number,
    forms.WHOLE: _whole,
    forms.DAY: _day,
    forms.NAME: _name,
    forms.NAMES: _names,
    forms.AMOUNTS: _amounts,
    forms.COUNTS: _counts,
    forms.DAYS_OF_WEEK: _weekdays,
    forms.PER: _per,
}
