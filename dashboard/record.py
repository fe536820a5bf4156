"""What the record holds: names, counts and how far it is known, for headings and choices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from analytics.answers.clocks import tick
from analytics.answers.ground import COUNTED, is_one_of
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
class Entry:
    """One locomotive of the register; None where not stated."""

    class_name: str
    depot: str | None
    in_service_from: datetime | None
    known_to: datetime | None


@dataclass(frozen=True, slots=True)
class Record:
    """The names that occur in the record and up to when it is known.

    Attributes
    ----------
    entries
        The register by locomotive, in the order of names.
    """

    entries: Mapping[str, Entry] = field(default_factory=dict)

    @property
    def locomotives(self) -> tuple[str, ...]:
        """Names of the locomotives, sorted."""
        return tuple(self.entries)

    @property
    def depots(self) -> tuple[str, ...]:
        """Names of the depots on the register, sorted."""
        return tuple(sorted({one.depot for one in self.entries.values() if one.depot}))

    @property
    def classes(self) -> tuple[str, ...]:
        """Names of the classes on the register, sorted."""
        return tuple(sorted({one.class_name for one in self.entries.values()}))

    @property
    def known_to(self) -> datetime | None:
        """Latest instant up to which findings of any locomotive are known."""
        return max((one.known_to for one in self.entries.values() if one.known_to), default=None)

    @property
    def depot_known_to(self) -> dict[str, datetime]:
        """The same for each depot of the register that has handed something in."""
        ends: dict[str, datetime] = {}
        for one in self.entries.values():
            if one.depot and one.known_to:
                ends[one.depot] = max(one.known_to, ends.get(one.depot, one.known_to))
        return ends

    def of_class(self, name: str) -> tuple[str, ...]:
        """Return the locomotives of a class, sorted."""
        return tuple(loco for loco, one in self.entries.items() if one.class_name == name)

    def lagging_depots(self) -> dict[str, datetime]:
        """Return the depots whose record ends more than a week before the latest one."""
        known_to = self.known_to
        ends = self.depot_known_to.items()
        return {depot: at for depot, at in ends if known_to and known_to - at > LAG}


def read_record(reader: Reader) -> Record:
    """Read the names and the end of the record; an empty store gives an empty Record."""
    if not _has_history(reader):
        return Record()
    rows = reader.cursor.execute(
        "SELECT locomotive, class, depot, in_service_from, ends_at FROM history.record"
        " ORDER BY locomotive"
    ).fetchall()
    return Record({name: Entry(*rest) for name, *rest in rows})


@dataclass(frozen=True, slots=True)
class Share:
    """How much of the record is in scope: locomotives and findings, of all there are."""

    locomotives: int
    all_locomotives: int
    findings: int
    all_findings: int


def share_in_scope(reader: Reader, scope: Scope) -> Share:
    """Count what a Scope's filters and period keep, whatever the counting rule."""
    since, until = scope.since or datetime.min, scope.until or datetime.max
    mine = f"{is_one_of('class', scope.classes)} AND {is_one_of('locomotive', scope.locomotives)}"
    theirs = (
        f"{mine} AND {is_one_of('depot', scope.depots)}"
        f" AND {is_one_of('component', scope.components)} AND {is_one_of('defect', scope.defects)}"
    )
    row = reader.cursor.execute(
        f"SELECT count(*) FILTER ({mine}), count(*),"
        f" (SELECT sum(findings) FILTER ({theirs} AND found_at >= $since AND found_at < $until)"
        " FROM history.episode), (SELECT sum(findings) FROM history.episode) FROM history.record",
        {"since": since, "until": until},
    ).fetchall()[0]
    return Share(*(int(count or 0) for count in row))


def live_batches(reader: Reader) -> dict[int, tuple[datetime, int, str]]:
    """Return the batches that count, newest first: when, how many files, the name of the first."""
    rows = reader.cursor.execute(
        "SELECT batch, received_at, count(*), arg_min(name, file) FROM batch JOIN batch_file"
        " USING (batch) WHERE withdrawn_at IS NULL GROUP BY ALL ORDER BY batch DESC"
    ).fetchall()
    return {int(batch): (at, int(files), first) for batch, at, files, first in rows}


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
