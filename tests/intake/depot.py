"""A small invented depot for the intake tests: its catalogue, and ways to hand files in."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

import duckdb

from analytics.catalogue.load import load_text
from analytics.handin import IngestReport, ingest
from analytics.intake.publish import Delivery, publish_facts
from analytics.intake.tables import TABLES
from analytics.store import Store
from analytics.store.current import current_sql
from analytics.store.migrations import bring_up_to_date, write_meta

NOW = datetime(2026, 6, 1, 12, 0)
BUCKETS = 16
CATALOGUE = """
[class.Alder]
positions = { fuel-injector = 4, shutter-linkage = 0 }
max_hours_per_day = 24
max_km_per_day = 1500
[class.Birch]
[component.fuel-injector]
system = "diesel engine"
clock = "hours"
defects = ["leaking", "worn"]
[component.battery]
system = "battery"
clock = "days"
defects = ["discharged"]
[component.shutter-linkage]
system = "cooling"
clock = "days"
defects = ["stiff", "worn"]
[action.replaced]
effect = "renew"
[action.adjusted]
effect = "restore"
[action.looked-at]
effect = "checked"
[action.put-off]
effect = "defer"
[parameter.feed-pressure]
unit = "bar"
component = "fuel-injector"
physical = { min = 0, max = 10 }
[parameter.oil-temperature]
unit = "degC"
physical = { max = 150 }
"""
REGISTER = """locomotive,class,depot,in_service_from,in_service_to,records_from
A1,Alder,North,2020-01-01,,2022-01-01
A2,Alder,North,2020-01-01,2025-01-01,
B1,Birch,South,,,
"""


def as_csv(headings: Sequence[str], rows: Sequence[Mapping[str, object] | Sequence[object]]) -> str:
    """Write rows as a CSV text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(headings)
    for row in rows:
        cells = [row.get(h, "") for h in headings] if isinstance(row, Mapping) else row
        writer.writerow(cells)
    return out.getvalue()


def write_files(folder: Path, files: Mapping[str, str | bytes]) -> list[Path]:
    """Write the files of one call into a folder."""
    paths = []
    for name, content in files.items():
        path = folder / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        paths.append(path)
    return paths


class Depot:
    """A store with the small catalogue, and a folder for files."""

    def __init__(self, folder: Path, store: Store) -> None:
        self.folder = folder
        self.store = store

    @classmethod
    def new(cls, folder: Path, *, register: str | None = REGISTER) -> Depot:
        """Make one, unless told otherwise with three locomotives on the register."""
        store = Store.create(folder / "store", {"depot.toml": CATALOGUE}, buckets=BUCKETS)
        depot = cls(folder, store)
        if register is not None:
            depot.hand_in({"register.csv": register})
        return depot

    def hand_in(
        self,
        files: Mapping[str, str | bytes],
        *,
        covered_until: datetime | None = None,
        now: datetime = NOW,
    ) -> IngestReport:
        """Hand in files given as texts."""
        paths = write_files(self.folder, files)
        return ingest(self.store, paths, covered_until=covered_until, now=now)

    def rows(self, sql: str) -> list[tuple[object, ...]]:
        """Read from the newest snapshot."""
        with self.store.read() as reader:
            return reader.cursor.execute(sql).fetchall()

    def current(self, table: str, columns: str = "*") -> list[tuple[object, ...]]:
        """Read the current rows of a facts table, in a fixed order."""
        return self.rows(f"SELECT {columns} FROM ({current_sql(table)}) ORDER BY ALL")


def counts(report: IngestReport | Delivery) -> list[tuple[int, int, int, int]]:
    """Return accepted, updated, duplicate, set_aside of every file."""
    return [(f.accepted, f.updated, f.duplicate, f.set_aside) for f in report.files]


def open_facts() -> duckdb.DuckDBPyConnection:
    """Open an empty facts database in memory, for tests that need no store."""
    connection = duckdb.connect(config={"threads": 1})
    bring_up_to_date(connection)
    write_meta(connection, "buckets", str(BUCKETS))
    return connection


def publish(
    connection: duckdb.DuckDBPyConnection, folder: Path, files: Mapping[str, str | bytes]
) -> Delivery:
    """Append one call's files to a facts database."""
    return publish_facts(
        connection,
        write_files(folder, files),
        load_text({"depot.toml": CATALOGUE}, check_units=False),
        current=current_sql,
        now=NOW,
    )


def accepted_facts(connection: duckdb.DuckDBPyConnection) -> dict[str, set[tuple[object, ...]]]:
    """Return the current facts without what tells batch, file, row and ordinal."""
    return {
        name: set(
            connection.execute(
                f"SELECT {', '.join(table.stored)} FROM ({current_sql(name)})"
            ).fetchall()
        )
        for name, table in TABLES.items()
    }
