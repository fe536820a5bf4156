"""One cell of a planner's file as a number, a date, names, amounts or weekdays."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Any

from analytics.planning import forms
from analytics.planning.inputs import EVERY_DAY, PER_LOCOMOTIVE, PER_POSITION

_AMOUNT = re.compile(r"(.*[^\s:=])[\s:=]+(-?\d+(?:[.,]\d+)?)\s*h?")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_ONE_COMMA = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")  # 1,200: a thousand, or one and a bit
_DASHES = re.compile(r"\s*[-\u2013\u2014]\s*")  # as a spreadsheet makes of Mon - Fri
_LARGEST = 1e12  # beyond it no cost, hour or piece; the solver keeps its digits
_YEARS = range(1990, 2200)
_WANTED_DAYS = "weekdays such as Mon-Fri or Mon, Wed"
_FULL_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


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
    text = str(cell).strip().replace("\u00a0", "").replace(" ", "")
    if _ONE_COMMA.fullmatch(text):
        raise ValueError("a number without a comma, such as 1200 or 1.2")
    if not _NUMBER.fullmatch(text):
        raise ValueError("a number")
    found = float(text.replace(",", "."))
    if not abs(found) < _LARGEST:
        raise ValueError("a number below a million millions")
    return found


def _whole(cell: Any) -> int:
    try:
        found = _number(cell)
    except ValueError as wanted:
        raise ValueError(str(wanted).replace("a number", "a whole number", 1)) from None
    if found != int(found):
        raise ValueError("a whole number")
    return int(found)


def _day(cell: Any) -> date:
    wanted = "a date such as 2026-07-01"
    try:
        found = cell if isinstance(cell, date) else datetime.fromisoformat(str(cell).strip())
    except ValueError:
        raise ValueError(wanted) from None
    if found.year not in _YEARS:
        raise ValueError(f"{wanted}, of the years {_YEARS[0]} to {_YEARS[-1]}")
    return found.date() if isinstance(found, datetime) else found


def _name(cell: Any) -> str:
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)  # a spreadsheet's 1 is 1.0
    if isinstance(cell, date):  # spreadsheets make a date of 1-2
        raise ValueError("a name, in a cell formatted as text")
    found = str(cell).strip()
    is_plain = isinstance(cell, (str, int, float)) and not isinstance(cell, bool)
    if not found or not is_plain or (isinstance(cell, float) and not math.isfinite(cell)):
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
        parts = re.split(r"[;\n]|,(?!\d)", str(cell))  # a comma before a digit is a decimal one
        found = [_AMOUNT.fullmatch(part.strip()) for part in parts if part.strip()]
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
    texts = [
        _DASHES.sub("-", str(one).strip()) for one in (cell if isinstance(cell, list) else [cell])
    ]
    parts = [part for text in texts for part in re.split(r"[;,\s]+", text) if part]
    if not parts:
        raise ValueError(_WANTED_DAYS)
    found: set[int] = set()
    for part in (one.lower() for one in parts):
        if part in ("all", "daily", "every"):
            found.update(EVERY_DAY)
            continue
        first, _, last = part.partition("-")
        begin, end = _weekday(first), _weekday(last or first)
        found.update(range(begin, end + 1) if begin <= end else {*range(begin, 7), *range(end + 1)})
    return tuple(sorted(found))


def _weekday(word: str) -> int:
    fits = [number for number, day in enumerate(_FULL_DAYS) if day.startswith(word)]
    if len(word) < 3 or not fits:
        raise ValueError(_WANTED_DAYS)
    return fits[0]


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
