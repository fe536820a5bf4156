"""What the counters of engine hours and kilometres showed, cleaned, one reading a day."""

from __future__ import annotations

import math

import pandas as pd

from analytics.answer import Answer, Message, round_for_reading
from analytics.answers.basis import make_basis
from analytics.answers.ground import Ground, is_one_of, lay_ground, text_of
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = ("locomotive", "clock", "read_at", "value", "raw", "reset")
LAST_DAYS = 90
"""The use a day is read over so many days before the last reading."""

_UNITS = {"hours": "h", "km": "km"}
_A_DAY = pd.Timedelta(days=1)


def counters(reader: Reader, scope: Scope) -> Answer:
    """List the cleaned counter readings, the last of each day.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. The period is that of the readings, depots are those of
        the register, a clock of hours or km keeps this counter alone. Components, defects, the
        counting rule and the level are not used.

    Returns
    -------
    Answer
        A row per locomotive, counter (`hours` or `km`) and day: the value in h or km, running on
        over replaced counters, what the counter itself showed, and whether a new one began that
        day.
    """
    ground = lay_ground(reader, scope)
    table = _readings(ground, scope.clock)
    basis = make_basis(ground, "last reading of each day", events=len(table))
    resets = int(table["reset"].sum())
    notes = (Message("counters.resets", counters=resets),) if resets else ()
    return Answer("counters", table[list(COLUMNS)], basis, _reading(table), notes)


def _readings(ground: Ground, clock: str | None) -> pd.DataFrame:
    query = text_of("reading.sql").format(
        counter=ground.sources["counter"],
        kept=is_one_of("depot", ground.scope.depots),
        clock_kept=is_one_of("clock", (clock,) if clock in _UNITS else ()),
    )
    found = ground.rows(query, since=ground.since, until=ground.until)
    return found.assign(reset=found["reset"].astype(bool))


def _reading(table: pd.DataFrame) -> Message:
    if table.empty:
        return Message("counters.none")
    latest = table["read_at"].max().to_pydatetime()
    names = table["locomotive"].unique()
    if len(names) > 1:
        return Message(
            "counters.many", readings=len(table), locomotives=len(names), at=latest.date()
        )
    by_clock = {clock: part for clock, part in table.groupby("clock") if clock in _UNITS}
    shown = [
        f"{round_for_reading(round(part['value'].iloc[-1]), digits=9)} {_UNITS[str(clock)]}"
        for clock, part in by_clock.items()
    ]
    use = {str(clock): use_a_day(part) for clock, part in by_clock.items()}
    known = [f"{round_for_reading(v)} {_UNITS[c]}" for c, v in use.items() if not pd.isna(v)]
    said = {"locomotive": str(names[0]), "at": latest.date(), "latest": shown}
    if not known:
        return Message("counters.one", **said)
    return Message("counters.one_use", **said, use=known, days=LAST_DAYS)


def use_a_day(readings: pd.DataFrame) -> float:
    """Return the median use a day between readings over the last 90 days of one counter.

    `read_at` in order and `value`; NaN with fewer than two readings there. A pair counts as often
    as any other, however far apart, as where a clock is carried beyond its last reading.
    """
    days = readings["read_at"].diff().dt.total_seconds() / 86_400
    step = readings["value"].diff() / days
    recent = readings["read_at"] > readings["read_at"].iloc[-1] - LAST_DAYS * _A_DAY
    steps = step[recent].dropna()
    return float(steps.median()) if len(steps) else math.nan
