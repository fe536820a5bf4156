"""Spans as they are written, and the window within which a failure counts as come back."""

from __future__ import annotations

import re
from dataclasses import dataclass

from analytics.answers.clocks import TICKS, tick
from analytics.errors import ScopeError

_UNITS = {"h": "hours", "km": "km"}
_RUN = re.compile(r"(\d+(?:\.\d+)?)\s*(h|km)")
_SPAN = re.compile(r"(\d+(?:\.\d+)?)\s*([dw])")
_DAYS = {"d": 1.0, "w": 7.0}


def read_days(written: str, what: str, *, most: float, whole: bool = False) -> float:
    """Read `28d` or `4w` into days.

    Parameters
    ----------
    written
        As asked; `what` names it in a sentence.
    most
        The most days there may be.
    whole
        Whether parts of a day are refused.

    Raises
    ------
    ScopeError
        For anything else, nothing, or too many days.
    """
    days = _in_days(written)
    if not 0 < days <= most or (whole and days % 1):
        parts = "in whole days, " if whole else ""
        raise ScopeError(
            f"{what} must read like 28d or 4w, {parts}above 0 and up to {most:.0f}d,"
            f" but is {written!r}."
        )
    return days


def _in_days(written: str) -> float:
    """Return the days of a span, NaN for what is none."""
    found = _SPAN.fullmatch(written.strip())
    return float(found[1]) * _DAYS[found[2]] if found else float("nan")


@dataclass(frozen=True, slots=True)
class LookBack:
    """A window of `amount` days, engine hours or kilometres after a closing.

    On days, a gap is elapsed time where both instants carry a time of day, else the difference of
    the calendar days (METHODS section 5).
    """

    amount: float
    clock: str

    @classmethod
    def read(cls, written: str) -> LookBack:
        """Read `30d`, `4w`, `500h` or `2000km`.

        Raises
        ------
        ScopeError
            For anything else, or a window of nothing.
        """
        found = _RUN.fullmatch(written.strip())
        amount = float(found[1]) if found else _in_days(written)
        if not amount > 0:
            raise ScopeError(
                "a window must read like 30d, 4w, 500h or 2000km, and be above 0,"
                f" but is {written!r}."
            )
        return cls(amount, _UNITS[found[2]] if found else "days")

    def gap(self, earlier: str, later: str) -> str:
        """Return the SQL of the gap between two instants, in the window's unit, NULL if not known.

        Both are named as for `clocks.tick`; `EARLIER_timed` and `LATER_timed` tell whether a time
        of day was written.
        """
        ticks = f"({tick(self.clock, later)} - {tick(self.clock, earlier)}) / {TICKS[self.clock]}"
        if self.clock != "days":
            return ticks
        calendar = f"date_diff('day', {earlier}_at::DATE, {later}_at::DATE)::DOUBLE"
        return f"CASE WHEN {earlier}_timed AND {later}_timed THEN {ticks} ELSE {calendar} END"
