"""How much of the time locomotives were fit for traffic, and how long it took to make them so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from analytics.answer import Answer, Basis, Message, say
from analytics.answers.basis import NOT_IN_USE, make_basis
from analytics.answers.clocks import whole
from analytics.answers.down import lay_down, unmeasured
from analytics.answers.ground import Ground, lay_ground
from analytics.answers.groups import Key, check_groups, each_group, finished, label, ranked
from analytics.errors import ScopeError
from analytics.estimate.restoration import (
    FEWEST_FOR_BOUNDS,
    RestorationTime,
    estimate_restoration,
)
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "locomotives", "days_in_use", "down_days", "unknown_share", "availability",
    "availability_inherent", "down_intervals", "still_down", "restoration_mean_hours",
    "restoration_mean_lower", "restoration_mean_upper", "restoration_median_hours", "level", "note",
)  # fmt: skip
LISTED = (
    "locomotive", "class", "depot", "from", "to", "opened_by", "component", "defect", "planned",
    "hours", "open",
)  # fmt: skip
BY = ("class", "depot", "locomotive", "month")
METHOD = "down intervals; lognormal restoration, Cox bounds with Student's t"
MANY_BLANK = 0.05
"""From this share of inspections without an outcome on, it is said."""


def availability(
    reader: Reader, scope: Scope, *, by: Sequence[str] = (), as_list: bool = False
) -> Answer:
    """Show availability and time to restoration of each group, or list the down intervals.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Clock and counting rule are not used. Filters on
        components and defects keep the down time that they opened.
    by
        Group words: class, depot, locomotive, month.
    as_list
        One row for each down interval, still down first, newest first.

    Returns
    -------
    Answer
        A row per group. `days_in_use`: days in use of which it is known whether the locomotive was
        up or down; `unknown_share`: the days without an inspection near enough, among all in use.
        availability = 1 - down / known; `availability_inherent` leaves planned down time out of
        both. `down_intervals` began in the group within the period; restoration is of those
        unplanned, `analytics.estimate.restoration.estimate_restoration`.

    Conventions
    -----------
    METHODS section 10, and DEVELOPERS.md for what it leaves open: an interval runs from a withheld
    inspection or a withhold or in-service finding to its closing or the next released inspection,
    whichever comes first.

    Raises
    ------
    ScopeError
        For an unknown name, or a group that availability cannot be split by.
    """
    check_groups(by, "availability", allowed=BY)
    if as_list and by:
        raise ScopeError(f"a list of down intervals cannot be split by {', '.join(by)}.")
    ground = lay_ground(reader, scope)
    lay_down(ground)
    if as_list:
        return _listed(ground)
    found = [_estimate(*parts, ground) for parts in _parts(ground, by)]
    table = finished([_row(group, by) for group in found], (*by, *COLUMNS))
    for column in ("locomotives", "down_intervals", "still_down"):
        table[column] = table[column].astype("int64")
    table = ranked(table, by, "availability", ascending=True)
    return Answer(
        "availability",
        table,
        _basis(ground, int(table["down_intervals"].sum())),
        _reading(found, ground, by),
        tuple(_notes(found, ground)),
    )


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    locomotives: int
    known: float  # days
    unknown: float
    unplanned: float
    planned: float
    intervals: int
    still: int
    restoration: RestorationTime

    @property
    def down(self) -> float:
        """Days down for whatever reason."""
        return self.unplanned + self.planned

    @property
    def availability(self) -> float:
        """Operational: both kinds of down time count."""
        return _share(self.known - self.down, self.known)

    @property
    def inherent(self) -> float:
        """As if nothing were done by plan."""
        return _share(self.known - self.down, self.known - self.planned)


def _share(part: float, whole_of: float) -> float:
    return part / whole_of if whole_of > 0 else float("nan")


def _parts(ground: Ground, by: Sequence[str]) -> list[tuple[Key, pd.DataFrame, pd.DataFrame]]:
    """Return each group's days by locomotive and its down intervals."""
    words = "".join(f"{word}, " for word in by if word != "locomotive")
    kept = ground.kept(depot="depot")
    days = ground.rows(
        f"SELECT {words} locomotive,"
        " sum(us) FILTER (known)::DOUBLE / 86400e6 AS known,"
        " sum(us) FILTER (NOT known)::DOUBLE / 86400e6 AS unknown,"
        " sum(us) FILTER (known AND down = 'unplanned')::DOUBLE / 86400e6 AS unplanned,"
        " sum(us) FILTER (known AND down = 'planned')::DOUBLE / 86400e6 AS planned"
        " FROM (SELECT *, inspected AND (seen OR down <> '') AS known FROM asked_state)"
        f" WHERE asked AND NOT idle AND {kept} GROUP BY ALL ORDER BY ALL"
    ).fillna(0.0)
    # What began before the period counts only while it is still down.
    intervals = ground.rows(
        f"SELECT {words} locomotive, hours, planned, open, cut_off, from_at >= $since AS began"
        f" FROM asked_down WHERE {kept} AND (from_at >= $since OR open) ORDER BY ALL",
        since=ground.since,
    )
    return [(key, part, rest[0]) for key, part, rest in each_group(days, by, intervals)]


def _estimate(key: Key, days: pd.DataFrame, intervals: pd.DataFrame, ground: Ground) -> _Group:
    began = intervals[intervals["began"].astype(bool)]
    repaired = began[~began["planned"].astype(bool)]
    return _Group(
        key=key,
        locomotives=int(days.loc[days["known"] > 0, "locomotive"].nunique()),
        known=float(days["known"].sum()),
        unknown=float(days["unknown"].sum()),
        unplanned=float(days["unplanned"].sum()),
        planned=float(days["planned"].sum()),
        intervals=len(began),
        still=int(intervals["open"].astype(bool).sum()),
        restoration=estimate_restoration(
            repaired["hours"].to_numpy(float),
            ~repaired["cut_off"].to_numpy(bool),
            level=ground.scope.level,
            cluster=repaired["locomotive"].to_numpy(str),
        ),
    )


def _row(group: _Group, by: Sequence[str]) -> dict[str, object]:
    restoration = group.restoration
    said = [
        (group.known == 0, "availability.not_known"),
        (bool(restoration.note) and group.intervals > 0, restoration.note),
    ]
    return {
        **dict(zip(by, group.key, strict=True)),
        "locomotives": group.locomotives,
        "days_in_use": group.known,
        "down_days": group.down,
        "unknown_share": _share(group.unknown, group.known + group.unknown),
        "availability": group.availability,
        "availability_inherent": group.inherent,
        "down_intervals": group.intervals,
        "still_down": group.still,
        "restoration_mean_hours": restoration.mean,
        "restoration_mean_lower": restoration.mean_lower,
        "restoration_mean_upper": restoration.mean_upper,
        "restoration_median_hours": restoration.median,
        "level": restoration.level,
        "note": "; ".join(say(Message(key)) for applies, key in said if applies),
    }


def _reading(found: list[_Group], ground: Ground, by: Sequence[str]) -> Message:
    """Say the pooled figure, or the group with the least."""
    known = [group for group in found if group.known > 0]
    if not known:
        any_days = any(group.unknown > 0 for group in found)
        return Message("availability.nothing_known" if any_days else NOT_IN_USE)
    least = min(known, key=lambda group: group.availability)
    values = {
        "percent_up": 100 * least.availability,
        "inherent": 100 * least.inherent,
        "intervals": least.intervals,
        "days": least.known,
    }
    if len(known) > 1:
        return Message("availability.least", subject=label(by, least.key, ground), **values)
    restoration = least.restoration
    if restoration.mean > 0 and not restoration.mean_upper > 0:
        return Message(
            "availability.restored_few",
            **values,
            mean=restoration.mean,
            median=restoration.median,
            fewest=FEWEST_FOR_BOUNDS,
        )
    if restoration.mean > 0:
        return Message(
            "availability.restored",
            **values,
            mean=restoration.mean,
            lower=restoration.mean_lower,
            upper=restoration.mean_upper,
            median=restoration.median,
            level=whole(100 * restoration.level),
        )
    return Message("availability.plain", **values)


def _listed(ground: Ground) -> Answer:
    """One row = one down interval."""
    table = ground.rows(
        "SELECT locomotive, class, nullif(depot, '') AS depot, from_at AS \"from\","
        ' CASE WHEN NOT cut_off THEN to_at END AS "to", opened_by, component, defect, planned,'
        f" hours, open FROM asked_down WHERE {ground.kept(depot='depot')}"
        " ORDER BY open DESC, from_at DESC, locomotive"
    )
    table["open"] = table["open"].astype(bool)
    table["planned"] = table["planned"].astype(bool)
    still = table[table["open"]]
    if still.empty:
        reading = Message("availability.none_down" if len(table) else "availability.never_down")
    else:
        longest = still.iloc[-1]
        reading = Message(
            "availability.down_now",
            locomotives=int(still["locomotive"].nunique()),
            longest=longest["locomotive"],
            since=longest["from"].to_pydatetime(),
        )
    notes = tuple(_record_notes(ground))
    return Answer("availability", table[list(LISTED)], _basis(ground, len(table)), reading, notes)


def _basis(ground: Ground, intervals: int) -> Basis:
    return make_basis(ground, METHOD, events=intervals)


def _notes(found: list[_Group], ground: Ground) -> list[Message]:
    notes = []
    known, unknown = sum(g.known for g in found), sum(g.unknown for g in found)
    if unknown > 0:
        share = 100 * unknown / (known + unknown)
        notes.append(Message("availability.unknown", days=round(unknown), percent=share))
    cut = sum(group.restoration.still_down for group in found)
    if cut:
        notes.append(Message("availability.cut_off", intervals=cut))
    if any(group.restoration.note == "restoration.not_lognormal" for group in found):
        notes.append(Message("availability.not_lognormal"))
    planned = sum(group.planned for group in found)
    if planned:
        notes.append(Message("availability.planned", days=planned))
    return notes + _record_notes(ground)


def _record_notes(ground: Ground) -> list[Message]:
    """What the record leaves open about down time."""
    notes = []
    mine = "locomotive IN (SELECT locomotive FROM asked_record)"
    blank = ground.rows(
        "SELECT count(*) AS number, count(*) FILTER (outcome IS NULL) AS blank FROM"
        f" ({ground.in_force('inspections', mine)})"
        " WHERE inspected_at >= $since AND inspected_at < $until",
        since=ground.since,
        until=ground.until,
    ).iloc[0]
    if blank["blank"] > MANY_BLANK * blank["number"]:
        percent = 100 * float(blank["blank"] / blank["number"])
        notes.append(Message("availability.no_outcome", percent=percent))
    without = unmeasured(ground)
    if without:
        notes.append(Message("availability.unmeasured", findings=without))
    if ground.scope.components or ground.scope.defects:
        notes.append(Message("availability.filtered"))
    return notes
