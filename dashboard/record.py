"""What the record holds: names, counts and how far it is known, for headings and choices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from analytics.answers.clocks import tick
from analytics.answers.ground import COUNTED
from analytics.scope import CLOCKS, Scope
from analytics.store import Reader

LAG = timedelta(days=7)
_FAILURES = ", ".join(
    f"count(*) FILTER ({COUNTED[Scope().counting]} AND observed"
    f" AND {tick(clock, 'found')} IS NOT NULL)"
    for clock in CLOCKS
)
_COUNTS = (
    f"SELECT component, class, sum(findings), {_FAILURES} FROM history.episode"
    " GROUP BY component, class ORDER BY ALL"
)


@dataclass(frozen=True, slots=True)
class Record:
    """The names that occur in the record and up to when it is known.

    Attributes
    ----------
    locomotives, depots, classes
        Names on the register, sorted.
    known_to
        Latest instant up to which findings of any locomotive are known; None for an empty record.
    depot_known_to
        The same for each depot of the register that has handed something in.
    """

    locomotives: tuple[str, ...] = ()
    depots: tuple[str, ...] = ()
    classes: tuple[str, ...] = ()
    known_to: datetime | None = None
    depot_known_to: Mapping[str, datetime] = field(default_factory=dict)

    def lagging_depots(self) -> dict[str, datetime]:
        """Return the depots whose record ends more than a week before the latest one."""
        return {
            depot: at
            for depot, at in self.depot_known_to.items()
            if self.known_to and self.known_to - at > LAG
        }


def read_record(reader: Reader) -> Record:
    """Read the names and the end of the record; an empty store gives an empty Record."""
    if not _has_history(reader):
        return Record()
    rows = reader.cursor.execute(
        "SELECT locomotive, depot, class, ends_at FROM history.record ORDER BY locomotive"
    ).fetchall()
    depot_known_to: dict[str, datetime] = {}
    for _, depot, _, ends_at in rows:
        if depot is not None and ends_at is not None:
            depot_known_to[depot] = max(ends_at, depot_known_to.get(depot, ends_at))
    return Record(
        locomotives=tuple(row[0] for row in rows),
        depots=tuple(sorted({row[1] for row in rows if row[1] is not None})),
        classes=tuple(sorted({row[2] for row in rows})),
        known_to=max((row[3] for row in rows if row[3] is not None), default=None),
        depot_known_to=depot_known_to,
    )


def count_findings(reader: Reader) -> dict[str, tuple[int, int]]:
    """Return findings and failures of each component that has findings.

    Findings are all that were written down; failures are those that the component's own page rests
    on when its address asks for nothing: rectified and above, found while the locomotive was
    observed, and with a reading of the component's clock.
    """
    if not _has_history(reader):
        return {}
    components = reader.catalogue.components
    counts: dict[str, tuple[int, int]] = {}
    for name, class_name, findings, *failures in reader.cursor.execute(_COUNTS).fetchall():
        has_it = name in components and reader.catalogue.positions(class_name, name)
        counted = failures[CLOCKS.index(components[name].clock)] if has_it else 0
        before = counts.get(name, (0, 0))
        counts[name] = (before[0] + int(findings), before[1] + counted)
    return counts


def _has_history(reader: Reader) -> bool:
    tables = reader.cursor.execute(
        "SELECT count(*) FROM duckdb_tables() WHERE schema_name = 'history'"
        " AND table_name IN ('record', 'episode')"
    ).fetchall()
    return int(tables[0][0]) == 2
