"""Words of the command line's output: what a figure rests on, headings, single cells."""

from __future__ import annotations

import math
from datetime import date, datetime
from typing import Any

import pandas as pd

from analytics.answer import Answer, Basis, Message, round_for_reading, say, words
from analytics.answers import UNGROUPED
from analytics.scope import OPTION_OF

COUNTING = {
    "any": "show.any",
    "rectified": "show.rectified",
    "withheld": "show.withheld",
    "in-service": "show.in_service",
}
CLOCKS = {"hours": "show.hours", "km": "show.km", "days": "show.days", "own": "show.own_clock"}
LEFT_OUT = {
    "unknown_start": "show.unknown_start",
    "no_clock": "show.no_clock",
    "no_position": "show.no_position",
    "out_of_window": "show.out_of_window",
}
UNITS = {"hours": "h", "km": "km", "days": "days", "own": "h, km, days"}
SMALLEST_P = 0.001
# Lists of what was handed in: nothing is counted as a failure.
_LOOKED_AT = ("quality", "readings", "availability", "counters", "batches", "set_aside")


def basis_lines(answer: Answer) -> list[str]:
    """Put the basis of an answer into two or three lines."""
    basis = answer.basis
    on: dict[str, Any] = {"period": _period(basis), "filters": _filters(basis)}
    on |= {"locomotives": basis.locomotives, "at": basis.data_cut}
    made = {"method": basis.method or "\u2013", "fingerprint": basis.fingerprint}
    counting = say(Message(COUNTING[basis.counting]))
    clock = say(Message(CLOCKS[basis.clock]))
    if answer.question in _LOOKED_AT:
        lines = [say(Message("show.looked_at", **on))]
    else:
        lines = [say(Message("show.basis", counting=counting, clock=clock, **on))]
    if answer.question in UNGROUPED:
        lines.append(say(Message("show.method_alone", **made)))
    else:
        lines.append(say(Message("show.method", level=f"{100 * basis.level:.4g}", **made)))
    left_out = [say(Message(LEFT_OUT[r], count=n)) for r, n in basis.left_out.items() if n]
    if left_out:
        lines.append(say(Message("show.left_out", reasons=left_out)))
    return lines


def heading(question: str, column: str, clock: str) -> str:
    """Return the words above a column, the question's own where it has some."""
    known = words()
    own = f"column.{question}_{column}"
    key = own if own in known else f"column.{column}"
    return known[key].format(unit=UNITS[clock]) if key in known else column


def cell(column: str, value: Any, *, share: bool = False) -> str:
    """Show one value for reading; nothing where it is undefined."""
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, float):
        return _number(column, value, share=share)
    if isinstance(value, int):
        return f"{value:,}".replace(",", "\u202f")
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d}"
    return value.isoformat() if isinstance(value, date) else str(value)


def bounds(lower: float, upper: float, *, share: bool = False) -> str:
    """Show two bounds in one cell: `3 540 - 4 090`, `over 3 540` where there is no upper one."""
    low, high = (_number("", value, share=share) for value in (lower, upper))
    if not low:
        return ""
    if not high:
        return f"> {low}"
    return f"{low.removesuffix(' %') if share else low}\u2013{high}"


def plain_characters(text: str, encoding: str) -> str:
    """Write plain characters where the terminal has no others."""
    if encoding.lower().startswith("utf"):
        return text
    for fine, plain in (("\u202f", " "), ("\u00a0", " "), ("\u2013", "-"), ("\u2026", "...")):
        text = text.replace(fine, plain)
    return text


def _number(column: str, value: float, *, share: bool) -> str:
    if math.isnan(value):
        return ""
    if share and column.startswith("availability"):  # all near 1: a tenth of a percent matters
        return f"{100 * value:.1f} %"
    if share:
        return f"{100 * value:.{1 if 0 < abs(value) < 0.0995 else 0}f} %"
    if column.endswith("_p") or column in ("p", "q"):
        return f"< {SMALLEST_P}" if value < SMALLEST_P else f"{value:.3f}"
    if column in ("aicc", "loglik"):  # only differences mean something
        return f"{value:,.1f}".replace(",", "\u202f")
    if column in ("value", "raw"):  # what a counter or an instrument shows: no whole digit is lost
        return round_for_reading(value, digits=max(3, len(str(int(abs(value))))))
    return round_for_reading(value)


def _period(basis: Basis) -> str:
    if basis.since and basis.until:
        return say(Message("show.between", since=basis.since, until=basis.until))
    if basis.since:
        return say(Message("show.since", since=basis.since))
    if basis.until:
        return say(Message("show.until", until=basis.until))
    return say(Message("show.whole_record"))


def _filters(basis: Basis) -> str:
    named = [f"{OPTION_OF[field]} {', '.join(names)}" for field, names in basis.filters.items()]
    return "".join(f", {name}" for name in named)
