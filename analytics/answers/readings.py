"""Which measured values are beyond a limit, and which are heading for one."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.clocks import whole
from analytics.answers.ground import Ground, text_of
from analytics.answers.measured import LIMITS, lay_readings
from analytics.estimate.crossing import Crossing, project_crossing, scatter_about
from analytics.estimate.drift import drift
from analytics.estimate.multiple import benjamini_hochberg
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "locomotive", "class", "parameter", "running_state", "unit", "last", "last_at", *LIMITS,
    "beyond", "since", "readings", "slope_per_day", "slope_lower", "slope_upper", "mk_p", "q",
    "crossing", "crossing_earliest", "crossing_latest", "note",
)  # fmt: skip
POINT_COLUMNS = (
    "locomotive", "parameter", "running_state", "read_at", "value", "unit", "as_entered",
    "unit_as_entered", "segment", *LIMITS,
)  # fmt: skip
FEWEST_READINGS, FEWEST_DAYS = 8, 5
"""A segment is judged for a drift from so many readings over so many days on."""
FALSE_SHARE = 0.10
"""Most of the rows told to drift that may be chance."""
FRESH_DAYS = 31
"""A value not read for longer than this before the data cut has a note."""
_DAY = pd.Timedelta(days=1)
_ROUNDING = 1e-6  # days: a line that meets its limit at midnight does so on the new day


def readings(
    reader: Reader, scope: Scope, *, parameter: Sequence[str] = (), points: bool = False
) -> Answer:
    """Hold the measured values against their limits, and tell which of them drift towards one.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. A locomotive belongs to the depot where it was last, and
        components keep the parameters that tell of them. Clock, counting rule and defects are not
        used.
    parameter
        Names of parameters to keep; none keeps all.
    points
        A row per reading, for drawing, in place of a row per segment.

    Returns
    -------
    Answer
        A row per locomotive in service, parameter and running state, of the segment that runs now:
        the last value, limits and value in the catalogue's unit, `beyond` ("", `attend` or
        `withhold`), since when, number of readings, slope a day with bounds at the scope's level
        (`analytics.estimate.theil_sen`), p of the trend test (`analytics.estimate.monotone_trend`),
        q over the rows tested, and when the limit is reached (`analytics.estimate.crossing`).
        Beyond `withhold` first, then beyond `attend`, then by the earliest crossing.

    Conventions
    -----------
    METHODS section 8. A segment runs from one reset (an action of the parameter's `reset_by` on its
    component, at any position) to the next; without a reset from the first reading. Slope and test
    need 8 readings over 5 days, and take one value a day, the median. A crossing is told where q is
    at most 0.10 and the bounds of the slope leave out 0 towards a limit: to `attend`, or, where
    that is passed or not set, to `withhold`. `crossing` is when the line reaches it; the bounds
    allow for how readings scatter about the line: before `crossing_earliest` no reading is to be
    expected beyond the limit. With that alone it is "not before". A value equal to a limit is not
    beyond it.
    """
    names = (parameter,) if isinstance(parameter, str) else tuple(parameter)
    ground = lay_readings(reader, scope, names)
    counted = ground.rows(
        "SELECT count(*) FILTER (inside) AS inside, count(*) AS every FROM asked_entered"
    ).iloc[0]
    outside = int(counted["every"] - counted["inside"])
    table = _points(ground) if points else _segments(ground)
    tested = 0 if points else int(table["mk_p"].notna().sum())
    basis = make_basis(
        ground,
        "as read" if points else _method(scope, tested),
        events=int(counted["inside"]),
        left_out={"out_of_window": outside} if outside else {},
    )
    if points:
        return Answer("readings", table, basis, _reading_of_points(table))
    notes = tuple(_notes(table, ground, tested))
    shown = table[list(COLUMNS)]
    return Answer("readings", shown, basis, _reading(shown, scope), notes)


def _method(scope: Scope, tested: int) -> str:
    return (
        f"Theil-Sen slope, bounds by ranks at {100 * scope.level:.4g} %; Mann-Kendall (Hamed-Rao);"
        f" Benjamini-Hochberg over {tested}"
    )


def _points(ground: Ground) -> pd.DataFrame:
    return ground.rows(
        f"SELECT {', '.join(POINT_COLUMNS)} FROM asked_reading"
        " LEFT JOIN asked_limit USING (parameter, running_state)"
        " ORDER BY locomotive, parameter, running_state, read_at"
    )


def _segments(ground: Ground) -> pd.DataFrame:
    """Return the segments that run now, in the order of the answer, with all its columns."""
    cut = ground.data_cut or datetime.max
    table = ground.rows(text_of("measured_segment.sql"), cut=cut)
    table["beyond"] = _beyond(table)
    table = _with_drift(table, ground)
    table["note"] = [_note(row, cut) for row in table.to_dict("records")]
    rank = np.select(
        [table["beyond"] == "withhold", table["beyond"] == "attend"], [0, 1], default=2
    )
    order = ["rank", "crossing_earliest", "locomotive", "parameter", "running_state"]
    return table.assign(rank=rank).sort_values(order, kind="stable").reset_index(drop=True)


def _beyond(table: pd.DataFrame) -> pd.Series[str]:
    last = table["last"]
    attend = (last > table["attend_above"]) | (last < table["attend_below"])
    withhold = (last > table["withhold_above"]) | (last < table["withhold_below"])
    found = np.select([withhold, attend], ["withhold", "attend"], default="")
    return pd.Series(found, table.index, dtype=object)


def _with_drift(table: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    ground.keep("measured_place", table.assign(place=range(len(table))))
    daily = ground.rows(text_of("measured_day.sql"))
    days = daily.groupby("place").size().reindex(range(len(table)), fill_value=0).to_numpy()
    enough = (table["readings"].to_numpy() >= FEWEST_READINGS) & (days >= FEWEST_DAYS)
    place = np.cumsum(enough) - 1
    used = daily[enough[daily["place"].to_numpy(dtype=np.int64)]]
    number = place[used["place"].to_numpy(dtype=np.int64)]
    size = int(enough.sum())
    at = used["moment"].to_numpy(dtype=np.float64)
    test, fit = drift(at, used["value"], number, size=size, level=ground.scope.level)
    first = pd.Series(at).groupby(number).min().to_numpy(dtype=np.float64)
    last = table["last_at"][enough].to_numpy().astype("datetime64[us]").astype(np.int64) / 86400e6
    above, below = _next_limit(table[enough])
    scatter = scatter_about(fit, at, used["value"], number)
    crossing = project_crossing(
        fit, first=first, last=last, above=above, below=below, scatter=scatter
    )
    figures = {"slope_per_day": fit.slope, "slope_lower": fit.lower, "slope_upper": fit.upper}
    for name, values in (figures | {"mk_p": test.p}).items():
        table[name] = np.nan
        table.loc[enough, name] = values
    table["q"] = benjamini_hochberg(table["mk_p"].to_numpy(dtype=np.float64))
    return _with_crossing(table, enough, crossing)


def _with_crossing(
    table: pd.DataFrame, enough: np.ndarray[tuple[int], np.dtype[np.bool_]], crossing: Crossing
) -> pd.DataFrame:
    told = table["q"] <= FALSE_SHARE
    for name, days in (
        ("crossing", crossing.at),
        ("crossing_earliest", crossing.earliest),
        ("crossing_latest", crossing.latest),
    ):
        known = pd.Series(np.nan, table.index)
        known[enough] = days
        table[name] = _dates(known.where(told))
    return table


def _dates(days: pd.Series[float]) -> pd.Series[pd.Timestamp]:
    """Return the dates of whole days since 1970.

    Not by `to_datetime`: pandas 2.3 rounds what lies in memory where a value is missing, and fails
    now and then on it.
    """
    whole = np.floor(days.to_numpy(dtype=np.float64) + _ROUNDING)
    some = np.isfinite(whole)
    dates = np.full(len(whole), np.datetime64("NaT", "us"))
    dates[some] = whole[some].astype(np.int64).astype("datetime64[D]")
    return pd.Series(dates, index=days.index)


def _next_limit(table: pd.DataFrame) -> tuple[pd.Series[float], pd.Series[float]]:
    """Return the limits that each value can still run into, NaN where none."""
    ends = []
    for side in ("above", "below"):
        attend, withhold = table[f"attend_{side}"], table[f"withhold_{side}"]
        nearest = attend.where(attend.notna(), withhold)
        passed = table["beyond"].map({"": 0, "attend": 1, "withhold": 2})
        ends.append(nearest.where(passed == 0, withhold.where(passed == 1)))
    return ends[0], ends[1]


def _note(row: Mapping[Hashable, Any], cut: datetime) -> str:
    limits = any(not pd.isna(row[name]) for name in LIMITS)
    last_at = row["last_at"]
    idle = (cut - last_at) / _DAY if isinstance(last_at, pd.Timestamp) and cut < datetime.max else 0
    untested = np.isnan(row["mk_p"])
    said = [
        (bool(row["reset_since"]), Message("readings.reset_since")),
        (not row["reset_since"] and untested, Message("readings.few")),
        (not limits, Message("readings.no_limit")),
        (idle > FRESH_DAYS, Message("readings.idle", days=int(idle))),
    ]
    return "; ".join(say(message) for applies, message in said if applies)


def _reading(table: pd.DataFrame, scope: Scope) -> Message:
    read = table[table["last"].notna()]
    limited = read[read[list(LIMITS)].notna().any(axis=1)]
    if read.empty:
        return Message("readings.not_read" if len(table) else "readings.nothing")
    if limited.empty:
        return Message("readings.no_limits", rows=len(read))
    beyond = int((limited["beyond"] != "").sum())
    counts = {
        "rows": len(limited),
        "beyond": beyond,
        "withhold": int((limited["beyond"] == "withhold").sum()),
    }
    heading = limited[(limited["beyond"] == "") & limited["crossing_earliest"].notna()]
    if heading.empty:
        return Message("readings.beyond_calm" if beyond else "readings.calm", **counts)
    first = heading.iloc[0]
    dates = {
        word: first[column].date()
        for word, column in (
            ("at", "crossing"),
            ("earliest", "crossing_earliest"),
            ("latest", "crossing_latest"),
        )
        if not pd.isna(first[column])
    }
    keys = _HEADING[bool(beyond)]
    return Message(
        keys[len(dates)],
        **counts,
        **dates,
        parameter=str(first["parameter"]),
        locomotive=str(first["locomotive"]),
        percent=whole(100 * scope.level),
    )


# By whether any is beyond, then by how many of the three dates are known.
_HEADING = {
    False: {1: "readings.not_before", 2: "readings.about", 3: "readings.between"},
    True: {
        1: "readings.beyond_not_before",
        2: "readings.beyond_about",
        3: "readings.beyond_between",
    },
}


def _reading_of_points(table: pd.DataFrame) -> Message:
    if table.empty:
        return Message("readings.nothing")
    names = table[["locomotive", "parameter", "running_state"]]
    return Message(
        "readings.points",
        readings=len(table),
        rows=len(names.drop_duplicates()),
        first=table["read_at"].min().date(),
        last=table["read_at"].max().date(),
    )


def _notes(table: pd.DataFrame, ground: Ground, tested: int) -> list[Message]:
    notes = []
    if table["crossing_earliest"].notna().any():
        notes += [Message("readings.pace"), Message("readings.first_reading")]
        notes.append(Message("readings.take_after"))
        notes.append(Message("readings.by_chance"))
    if tested < len(table):
        notes.append(Message("readings.tested", tested=tested, rows=len(table)))
    later = table["last_at"].dt.normalize() > table["known_to"].dt.normalize()
    if later.any():
        notes.append(Message("readings.after_record", rows=int(later.sum())))
    gone = int(
        ground.rows(
            "SELECT count(DISTINCT locomotive) AS gone FROM asked_reading JOIN read_record"
            " USING (locomotive) WHERE in_service_to <= $cut",
            cut=ground.data_cut or datetime.max,
        )["gone"].iloc[0]
    )
    if gone:
        notes.append(Message("readings.out_of_service", locomotives=gone))
    return notes
