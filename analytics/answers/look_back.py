"""The window within which a failure counts as come back, and the SQL that looks back over it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from analytics.answers.clocks import TICKS, tick
from analytics.errors import ScopeError

_UNITS = {"d": "days", "h": "hours", "km": "km"}
_WRITTEN = re.compile(r"(\d+(?:\.\d+)?)\s*(d|h|km)")


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
        """Read `30d`, `500h` or `2000km`.

        Raises
        ------
        ScopeError
            For anything else, or a window of nothing.
        """
        found = _WRITTEN.fullmatch(written.strip())
        if not found or float(found[1]) <= 0:
            raise ScopeError(
                f"a window must read like 30d, 500h or 2000km, and be above 0, but is {written!r}."
            )
        return cls(float(found[1]), _UNITS[found[2]])

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
