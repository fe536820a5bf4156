"""How long a large hand-in takes, beside the engine's own typed load of the same file.

The file holds invented findings: 500 locomotives of one class, every component, action and defect
of the catalogue that ships, 19 columns of which 12 are filled. `facts` is everything a hand-in does
to the rows (read, check by every rule, compare with what is held, append, account for); `history`
the rebuild of all lives, closings and exposure after it.
"""

from __future__ import annotations

import time
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import duckdb

from analytics.catalogue.load import shipped_catalogue
from analytics.catalogue.model import Catalogue
from analytics.history import rebuild
from analytics.intake.lookups import bring_catalogue
from analytics.intake.publish import publish_facts
from analytics.intake.tables import TABLES
from analytics.store.current import current_sql
from analytics.store.migrations import bring_up_to_date, write_meta

LOCOMOTIVES = 500
BUCKETS = 16
_NOW = datetime(2026, 6, 1)
_TYPES = {"instant": "TIMESTAMP", "number": "DOUBLE", "yes-no": "BOOLEAN"}


def run(rows: int = 1_000_000, *, history: bool = True, threads: int = 2) -> dict[str, float]:
    """Hand in one file of findings and load it by the engine alone; print and return both times.

    Parameters
    ----------
    rows
        Findings in the file.
    history
        Whether the rebuild is timed too.
    threads
        Of the engine, for both.

    Returns
    -------
    dict
        `rows`, `megabytes`; in seconds `load`, `facts` and, where asked for, `history`; `ratio` is
        facts / load.
    """
    with TemporaryDirectory(prefix="shedbook-bench-") as folder:
        found = _measure(Path(folder), rows, history=history, threads=threads)
    print(
        f"{rows:,} findings as CSV, {found['megabytes']:.0f} MB, {threads} threads: typed load "
        f"{found['load']:.2f} s; hand-in with all checks {found['facts']:.2f} s, "
        f"{found['ratio']:.1f} times as long"
        + (f"; history {found['history']:.2f} s more" if history else "")
        + "."
    )
    return found


def _measure(folder: Path, rows: int, *, history: bool, threads: int) -> dict[str, float]:
    catalogue = shipped_catalogue()
    _write_files(folder, catalogue, rows)
    path = folder / "findings.csv"
    found = {"rows": float(rows), "megabytes": path.stat().st_size / 1e6}
    with _connect(folder / "load.duckdb", threads) as connection:
        start = time.perf_counter()
        _load_typed(connection, path)
        connection.execute("CHECKPOINT")
        found["load"] = time.perf_counter() - start
    with _connect(folder / "snapshot.duckdb", threads) as connection:
        _hand_in(connection, [folder / "locomotives.csv"], catalogue)
        start = time.perf_counter()
        accepted = _hand_in(connection, [path], catalogue)
        connection.execute("CHECKPOINT")
        found["facts"] = time.perf_counter() - start
        if accepted != rows:
            raise RuntimeError(f"of {rows} rows only {accepted} were accepted")
        if history:
            start = time.perf_counter()
            rebuild(connection, catalogue, locomotives=None)
            found["history"] = time.perf_counter() - start
    return found | {"ratio": found["facts"] / found["load"]}


def _connect(path: Path, threads: int) -> duckdb.DuckDBPyConnection:
    connection = duckdb.connect(str(path), config={"threads": threads})
    connection.execute("SET enable_progress_bar = false")  # it would print between the lines
    return connection


def _hand_in(connection: duckdb.DuckDBPyConnection, paths: list[Path], catalogue: Catalogue) -> int:
    bring_up_to_date(connection)
    write_meta(connection, "buckets", str(BUCKETS))
    delivery = publish_facts(connection, paths, catalogue, current=current_sql, now=_NOW)
    return sum(file.accepted for file in delivery.files)


def _load_typed(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    columns = ", ".join(
        f"'{column.name}': '{_TYPES.get(column.kind, 'VARCHAR')}'"
        for column in TABLES["findings"].columns
    )
    connection.execute(
        "CREATE TABLE findings AS FROM read_csv($path, auto_detect = false, header = true, "
        f"delim = ',', quote = '\"', escape = '\"', columns = {{{columns}}})",
        {"path": str(path)},
    )


def _write_files(folder: Path, catalogue: Catalogue, rows: int) -> None:
    """Write the register and the findings, the same for every run."""
    class_name = min(catalogue.classes)
    with duckdb.connect(config={"threads": 1}) as connection:
        bring_catalogue(connection, catalogue)
        connection.execute(
            "CREATE TABLE kind AS SELECT row_number() OVER (ORDER BY component, defect) - 1 AS n, "
            "* FROM ("
            "SELECT component, positions, defect FROM in_class_component "
            "JOIN in_component_defect USING (component) WHERE positions > 0 AND class = ?)",
            [class_name],
        )
        connection.execute(
            "CREATE TABLE act AS SELECT row_number() OVER (ORDER BY action) - 1 AS n, action "
            "FROM in_action"
        )
        connection.execute(
            f"COPY (SELECT 'L' || range AS locomotive, '{class_name}' AS class "
            f"FROM range({LOCOMOTIVES})) TO '{folder / 'locomotives.csv'}'"
        )
        connection.execute(f"COPY ({_findings_sql(rows)}) TO '{folder / 'findings.csv'}'")


def _findings_sql(rows: int) -> str:
    """Return SQL for findings whose values follow from their number."""
    minutes = "(i * 7919) % 2500000"
    return (
        f"SELECT 'L' || (i % {LOCOMOTIVES}) AS locomotive, "
        f"strftime(TIMESTAMP '2021-01-01' + to_minutes({minutes}), '%Y-%m-%d %H:%M') AS found_at, "
        "component, 1 + i % positions AS position, defect, "
        "['remark', 'rectify', 'withhold'][1 + i % 3] AS severity, action, "
        f"strftime(TIMESTAMP '2021-01-01' + to_minutes({minutes} + 90), '%Y-%m-%d %H:%M') "
        "AS closed_at, round(i % 97 / 7, 1) AS down_hours, round(i % 31 / 4, 2) AS labour_hours, "
        "i % 1000 AS cost, 'F' || i AS finding_id, NULL AS quantity, NULL AS serial_out, "
        "NULL AS serial_in, NULL AS age_in, NULL AS condition_in, 'team ' || i % 4 AS team, "
        "'seen on the round, ' || i % 50 AS note "
        f"FROM (SELECT range AS i FROM range({rows})) "
        "JOIN kind ON kind.n = (i * 31) % (SELECT count(*) FROM kind) "
        "JOIN act ON act.n = (i * 13) % (SELECT count(*) FROM act)"
    )
