"""From files to facts: stage, check, compare with what is held, append, and account for every row.

Works on the connection of a snapshot under construction; whoever calls decides whether the snapshot
is published (`Delivery.is_new`). All temporary tables are called `in_...`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import duckdb
import pandas as pd

from analytics.catalogue.model import Catalogue
from analytics.intake.absent import CurrentSql
from analytics.intake.check import Checked, check_table, collect_reasons, keep_received
from analytics.intake.combined import (
    WITHHELD_RULE,
    Part,
    count_rows,
    file_of,
    gather_reasons,
    withhold_rows,
)
from analytics.intake.counters import JUMP_RULE, find_jumps
from analytics.intake.lookups import bring_catalogue, bring_register, keep_conversions
from analytics.intake.mapping import NO_MAPPING, Mapping, refuse_unknown
from analytics.intake.merge import (
    describe_disagreement,
    insert_settled,
    settle,
)
from analytics.intake.staging import StagedFile, stage_files
from analytics.intake.tables import COMBINED, TABLES

DEFAULT_BUCKETS = 1


@dataclass(frozen=True, slots=True)
class FileReport:
    """Where the rows of one file went: accepted + updated + duplicate + set_aside = rows.

    `batch` is None where nothing of the call was new; `notes` names columns that are not read.
    """

    file: str
    table: str
    rows: int
    accepted: int
    updated: int
    duplicate: int
    set_aside: int
    batch: int | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Delivery:
    """What one call brought: the batch, its files, the locomotives to rebuild, rows set aside."""

    batch: int
    files: tuple[FileReport, ...]
    touched: frozenset[str]
    set_aside: pd.DataFrame
    is_new: bool


def publish_facts(
    connection: duckdb.DuckDBPyConnection,
    paths: Sequence[Path],
    catalogue: Catalogue,
    *,
    current: CurrentSql,
    now: datetime,
    mapping: Mapping = NO_MAPPING,
    progress: Callable[[str], None] | None = None,
) -> Delivery:
    """Append what is new in the files of one call to the facts.

    Parameters
    ----------
    connection
        On the snapshot under construction.
    paths
        The files, in any order, of any of the eight tables or combined sheets.
    catalogue
        What names, positions, units and ranges are checked by.
    current
        SQL for the current rows of one facts table under a predicate (`store.current_sql`).
    now
        The moment of the hand-in, local time; nothing can have been seen later.
    mapping
        How the files' headings and codes turn into ours, and up to when the files are complete for
        every locomotive they name (`Mapping.covering`).
    progress
        Told what is being done, one line at a time.

    Raises
    ------
    InputError
        If a file cannot be used as a whole; nothing must be published then.
    """
    tell = progress or _say_nothing
    refuse_unknown(mapping, catalogue)
    files = stage_files(connection, paths, catalogue, mapping=mapping, progress=progress)
    batch = _open_batch(connection, now)
    bring_catalogue(connection, catalogue)
    _Intake(connection, batch, files, current, now, tell).run()
    if mapping.covered_until is not None:
        _cover(connection, batch, files, mapping.covered_until)
    gather_reasons(connection, _of_combined(files))
    _forget_known_reasons(connection, files)
    keep_received(connection, files)
    delivery = _account(connection, batch, files)
    _drop_temporary(connection)
    return delivery


@dataclass(frozen=True, slots=True)
class _Intake:
    """The tables of one call, in the order in which they depend on each other."""

    connection: duckdb.DuckDBPyConnection
    batch: int
    files: Sequence[StagedFile]
    current: CurrentSql
    now: datetime
    tell: Callable[[str], None]

    def run(self) -> None:
        """Check and settle every table; the register first, since the others ask it."""
        bring_register(self.connection, self.current("locomotives", "true"))
        for checked in self._check(["locomotives"]):
            self._settle(checked)
            bring_register(self.connection, self.current("locomotives", "true"))
        others = self._check([name for name in TABLES if name != "locomotives"])
        find_jumps(self.connection, [c.table.name for c in others], self.current)
        self._withhold(others)
        for checked in others:
            self._settle(checked)
        if combined := _of_combined(self.files):
            names = sorted({part.table.name for part in combined})
            count_rows(self.connection, names, combined)

    def _withhold(self, others: Sequence[Checked]) -> None:
        """Keep out whole the rows of combined sheets of which one part is at fault."""
        parts = _of_combined(self.files)
        names = {part.table.name for part in parts}
        taken_apart = [checked for checked in others if checked.table.name in names]
        for fate in ("set_aside", "disagree") if parts else ():
            for checked in taken_apart:
                settle(self.connection, checked, self.current)
            withhold_rows(self.connection, sorted(names), parts, fate)

    def _check(self, names: Sequence[str]) -> list[Checked]:
        found = []
        for name in names:
            parts = [p for file in self.files for p in file.parts if p.table.name == name]
            if parts:
                self.tell(f"checking {name}")
                found.append(check_table(self.connection, TABLES[name], parts, now=self.now))
        return found

    def _settle(self, checked: Checked) -> None:
        connection, name = self.connection, checked.table.name
        self.tell(f"comparing {name} with what is held")
        settle(connection, checked, self.current)
        buckets = connection.execute("SELECT value FROM meta WHERE name = 'buckets'").fetchall()
        insert_settled(
            connection,
            checked.table,
            batch=self.batch,
            buckets=int(buckets[0][0]) if buckets else DEFAULT_BUCKETS,
        )
        connection.execute(
            "CREATE OR REPLACE TEMP TABLE in_broken AS SELECT file, row_number, rule FROM "
            f"in_fate_{name} JOIN in_checked_{name} USING (file, row_number) "
            f"WHERE fate = 'set_aside' AND rule <> {WITHHELD_RULE}"
        )
        if checked.table.name in {"usage", "inspections"}:
            _collect_jumps(connection, name)
        collect_reasons(connection, checked)
        describe_disagreement(connection, checked)
        plain = ", ".join(
            str(part.number)
            for file in self.files
            for part in file.parts
            if file.table is not COMBINED
        )
        connection.execute(
            f"INSERT INTO in_count SELECT {file_of()}, CASE fate WHEN 'disagree' THEN 'set_aside' "
            f"ELSE fate END, count(*) FROM in_fate_{name} WHERE file IN ({plain or 'NULL'}) "
            "GROUP BY ALL"
        )


def convert_readings(connection: duckdb.DuckDBPyConnection, catalogue: Catalogue) -> None:
    """Convert every held reading into the unit that the catalogue gives its parameter now.

    Value and unit stay as entered. A reading without a unit was taken to be in the catalogue's, and
    is left alone.
    """
    held = connection.execute(
        "SELECT DISTINCT parameter, unit FROM facts.readings WHERE unit IS NOT NULL ORDER BY ALL"
    ).fetchall()
    known = catalogue.parameters
    wanted = [(name, unit, known[name].unit) for name, unit in held if name in known]
    keep_conversions(connection, "in_unit_held", wanted)
    connection.execute(
        "UPDATE facts.readings SET value_in_unit = value * factor + shift FROM in_unit_held AS n "
        "WHERE readings.parameter = n.parameter AND unit = written "
        "AND value_in_unit <> value * factor + shift"
    )
    _drop_temporary(connection)


def _of_combined(files: Sequence[StagedFile]) -> list[Part]:
    return [part for file in files for part in file.parts if file.table is COMBINED]


def _say_nothing(_line: str) -> None:
    pass


def _open_batch(connection: duckdb.DuckDBPyConnection, now: datetime) -> int:
    batch = int(
        connection.execute("SELECT coalesce(max(batch), 0) + 1 FROM batch").fetchall()[0][0]
    )
    connection.execute("INSERT INTO batch (batch, received_at) VALUES (?, ?)", [batch, now])
    for table, columns in {
        "in_touched": "locomotive VARCHAR",
        "in_count": "file INTEGER, fate VARCHAR, rows BIGINT",
        "in_aside": "file INTEGER, row_number BIGINT, column_name VARCHAR, rule VARCHAR, "
        "reason VARCHAR, received VARCHAR",
    }.items():
        connection.execute(f"CREATE OR REPLACE TEMP TABLE {table} ({columns})")
    return batch


def _collect_jumps(connection: duckdb.DuckDBPyConnection, table: str) -> None:
    connection.execute(
        "INSERT INTO in_aside SELECT file, row_number, min(column_name), 'counter', "
        "string_agg(reason, ' ' ORDER BY column_name), NULL FROM in_jump "
        f"SEMI JOIN (SELECT file, row_number FROM in_broken WHERE rule = {JUMP_RULE}) "
        f"USING (file, row_number) WHERE table_name = '{table}' GROUP BY file, row_number"
    )
    connection.execute(f"DELETE FROM in_broken WHERE rule = {JUMP_RULE}")


def _cover(
    connection: duckdb.DuckDBPyConnection,
    batch: int,
    files: Sequence[StagedFile],
    covered_until: datetime,
) -> None:
    """Note up to when the files are complete, for every locomotive on the register they name."""
    named = " UNION ".join(
        f"SELECT DISTINCT locomotive FROM in_checked_{name}"
        for name in sorted({part.table.name for file in files for part in file.parts})
    )
    held = (
        "SELECT locomotive, arg_max(covered_until, batch) AS until FROM coverage WHERE batch IN "
        "(SELECT batch FROM batch WHERE withdrawn_at IS NULL) GROUP BY locomotive"
    )
    connection.execute(
        f"INSERT INTO coverage SELECT {batch}, bucket, locomotive, $until FROM ({named}) "
        f"JOIN in_register USING (locomotive) LEFT JOIN ({held}) USING (locomotive) "
        "WHERE until IS DISTINCT FROM $until",
        {"until": covered_until},
    )
    connection.execute(
        f"INSERT INTO in_touched SELECT locomotive FROM coverage WHERE batch = {batch}"
    )


def _forget_known_reasons(
    connection: duckdb.DuckDBPyConnection, files: Sequence[StagedFile]
) -> None:
    """Count rows set aside again, from the same bytes by the same rule, as duplicates."""
    for file in files:
        if not file.known:
            continue
        again = connection.execute(
            "DELETE FROM in_aside WHERE file = $file AND (row_number, rule) IN ("
            "SELECT (a.row_number, a.rule) FROM set_aside AS a JOIN batch_file AS f "
            "ON f.batch = a.batch AND f.file = a.file JOIN batch AS b ON b.batch = a.batch "
            "WHERE b.withdrawn_at IS NULL AND f.sha256 = $sha256 AND f.table_name = $table "
            "AND f.mapping = $mapping AND f.form::JSON->>'sheet' IS NOT DISTINCT FROM $sheet) "
            "RETURNING row_number",
            {
                "file": file.number,
                "sha256": file.sha256,
                "table": file.table.name,
                "mapping": file.mapping,
                "sheet": file.sheet.form.get("sheet"),
            },
        ).fetchall()
        connection.execute(
            "INSERT INTO in_count VALUES ($file, 'set_aside', -$rows), ($file, 'duplicate', $rows)",
            {"file": file.number, "rows": len(again)},
        )


def _account(
    connection: duckdb.DuckDBPyConnection, batch: int, files: Sequence[StagedFile]
) -> Delivery:
    """Write where every row went and return it."""
    counted = {
        (int(file), str(fate)): int(rows)
        for file, fate, rows in connection.execute(
            "SELECT file, fate, sum(rows) FROM in_count GROUP BY ALL"
        ).fetchall()
    }
    touched = connection.execute("SELECT DISTINCT locomotive FROM in_touched").fetchall()
    reports = [_report(connection, file, counted, batch) for file in files]
    is_new = bool(touched) or any(r.accepted or r.updated or r.set_aside for r in reports)
    for file, report in zip(files, reports, strict=True):
        _write_file(connection, file, report)
    connection.execute(
        f"INSERT INTO set_aside SELECT {batch}, file, row_number, column_name, rule, reason, "
        "received FROM in_aside ORDER BY file, row_number"
    )
    return Delivery(
        batch,
        tuple(reports),
        frozenset(str(name) for (name,) in touched),
        _set_aside_frame(connection, batch),
        is_new,
    )


def _write_file(
    connection: duckdb.DuckDBPyConnection, file: StagedFile, report: FileReport
) -> None:
    columns: dict[str, object] = {
        "batch": report.batch,
        "file": file.number,
        "name": file.name,
        "table_name": report.table,
        "sha256": file.sha256,
        "rows": report.rows,
        "accepted": report.accepted,
        "updated": report.updated,
        "duplicate": report.duplicate,
        "set_aside": report.set_aside,
        "form": json.dumps(file.sheet.form, ensure_ascii=False),
        "headings": json.dumps(file.received.headings, ensure_ascii=False),
        "mapping": file.mapping,
    }
    places = ", ".join("?" for _ in columns)
    connection.execute(
        f"INSERT INTO batch_file ({', '.join(columns)}) VALUES ({places})", [*columns.values()]
    )


def _report(
    connection: duckdb.DuckDBPyConnection,
    file: StagedFile,
    counted: dict[tuple[int, str], int],
    batch: int,
) -> FileReport:
    # Counted in the file itself; that the fates add up to it is checked before publishing.
    rows = connection.execute(f"SELECT count(*) FROM {file.stage}").fetchall()[0][0]
    fates = {
        fate: counted.get((file.number, fate), 0)
        for fate in ("accepted", "updated", "duplicate", "set_aside")
    }
    return FileReport(file.name, file.table.name, int(rows), **fates, batch=batch, notes=file.notes)


def _set_aside_frame(connection: duckdb.DuckDBPyConnection, batch: int) -> pd.DataFrame:
    return connection.execute(
        'SELECT f.name AS file, table_name AS "table", row_number, column_name AS "column", rule, '
        "reason, received FROM set_aside AS s JOIN batch_file AS f USING (batch, file) "
        f"WHERE batch = {batch} ORDER BY s.file, row_number"
    ).df()


def _drop_temporary(connection: duckdb.DuckDBPyConnection) -> None:
    """Free the staged rows: what follows may need the memory."""
    for kind, source in (
        ("VIEW", "duckdb_views() WHERE view_name"),
        ("TABLE", "duckdb_tables() WHERE table_name"),
    ):
        column = f"{kind.lower()}_name"
        made = connection.execute(
            f"SELECT {column} FROM {source} LIKE 'in\\_%' ESCAPE '\\' AND temporary"
        )
        for (name,) in made.fetchall():
            connection.execute(f"DROP {kind} temp.{name}")
