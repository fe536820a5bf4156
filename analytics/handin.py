"""The one way in: stage, check, publish facts, rebuild the touched histories, all or nothing.

Everything happens inside one publish of the store, so that what is compared with is what is
published on; a call that brings nothing new leaves no snapshot behind. The way back is here too:
a batch withdrawn, rows set aside written out to be mended, facts written out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TypedDict, Unpack

import duckdb
import pandas as pd

from analytics.catalogue.model import Catalogue
from analytics.errors import InputError
from analytics.history import rebuild
from analytics.intake.aside import GivenBack, facts_as_received, write_aside
from analytics.intake.mapping import NO_MAPPING, load_mapping
from analytics.intake.publish import Delivery, FileReport, convert_readings, publish_facts
from analytics.intake.readers import check_readable, expand_paths
from analytics.intake.tables import TABLES
from analytics.store import Reader, Store
from analytics.store.aside import choose_aside
from analytics.store.current import IDS, KEYS, current_sql
from analytics.store.desk import Desk
from analytics.store.migrations import read_meta

__all__ = [
    "FileReport",
    "GivenBack",
    "IngestReport",
    "Withdrawal",
    "export_facts",
    "ingest",
    "rejects",
    "withdraw",
]
NOBODY = "command line"  # who acts where no name was given
WAIT_SECONDS = 600.0


class Circumstances(TypedDict, total=False):
    """Of a call that writes; each may be left out.

    Attributes
    ----------
    now
        The moment of the call, local time; default the clock. Nothing can have been seen later.
    wait_seconds
        How long to wait for another writer to finish; default ten minutes.
    who
        The name of who does it, kept with the batch and in the audit trail.
    """

    now: datetime
    wait_seconds: float
    who: str


@dataclass(frozen=True, slots=True)
class IngestReport:
    """Where every row of one call went.

    Attributes
    ----------
    files
        One report per file, in the order given.
    batch
        The number of the batch, None where nothing was new.
    set_aside
        One row per row newly set aside: file, table, row_number, column, rule, reason, received
        (the row as received, a JSON object of heading to cell).
    """

    files: tuple[FileReport, ...]
    batch: int | None
    set_aside: pd.DataFrame


@dataclass(frozen=True, slots=True)
class Withdrawal:
    """What the withdrawal of one batch changed.

    Attributes
    ----------
    batch
        Its number.
    files
        The names of its files.
    rows
        Rows of it that counted and count no longer.
    restored
        Earlier versions that count again in their place.
    set_aside
        Rows of it that had been set aside.
    locomotives
        How many histories were rebuilt.
    off_register
        Locomotives without a row on the register now, in order: none of their rows counts until it
        is handed in again.
    """

    batch: int
    files: tuple[str, ...]
    rows: int
    restored: int
    set_aside: int
    locomotives: int
    off_register: tuple[str, ...]


class _NothingNew(Exception):
    """Not an error: the way out of a publish without a new snapshot."""

    def __init__(self, delivery: Delivery) -> None:
        super().__init__()
        self.delivery = delivery


def ingest(
    store: Store,
    paths: Sequence[Path | str] | Path | str,
    *,
    mapping: Path | str | None = None,
    covered_until: datetime | None = None,
    progress: Callable[[str], None] | None = None,
    **circumstances: Unpack[Circumstances],
) -> IngestReport:
    """Hand files in.

    Each file is one of the eight tables or a combined sheet, recognised by its header, or by a
    mapping. Every row ends as accepted, updated, duplicate or set aside with a reason; rows set
    aside do not stop the others. The same files again change nothing. A crash leaves the store as
    it was.

    Parameters
    ----------
    store
        The store to hand in to.
    paths
        Files, folders or patterns (`*.csv`), in any order: a hand-in of several files is one batch.
    mapping
        A mapping file (TOML) that says how the files' headings and codes turn into ours.
    covered_until
        Declares that the files are complete up to this instant (local time, not after `now`) for
        every locomotive they name: no finding means none was made. Goes before the mapping's own.
    progress
        Told what is being done, one line at a time.
    circumstances
        `now`, `wait_seconds` and `who`, see `Circumstances`.

    Raises
    ------
    InputError
        If a file or the mapping cannot be used as a whole; nothing was written.
    StoreBusy
        If another hand-in did not finish in time.
    """
    moment = circumstances.get("now") or datetime.now()
    who = circumstances.get("who") or NOBODY
    files = expand_paths([paths] if isinstance(paths, (str, Path)) else paths)
    mapped = load_mapping(mapping) if mapping else NO_MAPPING
    mapped = mapped.covering(covered_until)
    _refuse_bad_call(files, mapped.covered_until, moment)
    try:
        with store.publish(wait_seconds=circumstances.get("wait_seconds", WAIT_SECONDS)) as facts:
            catalogue = store.working_catalogue()
            delivery = publish_facts(
                facts,
                files,
                catalogue,
                current=current_sql,
                now=moment,
                mapping=mapped,
                progress=progress,
            )
            if progress and delivery.is_new:
                progress(f"making histories anew: {len(delivery.touched)} locomotives")
            _bring_history_along(store, facts, delivery, catalogue)
            facts.execute("UPDATE batch SET who = ? WHERE batch = ?", [who, delivery.batch])
    except _NothingNew as nothing:
        delivery = nothing.delivery
    report = _report(delivery)
    Desk(store.root).record("ingest", _in_one_line(report), who=who)
    return report


def withdraw(store: Store, batch: int, **circumstances: Unpack[Circumstances]) -> Withdrawal:
    """Withdraw a batch: its rows stay in the facts but count no longer.

    What it had corrected counts again as it was before; its rows set aside are no longer listed;
    the same files may be handed in again. The histories of the locomotives it touches are rebuilt
    in the same publish.

    Parameters
    ----------
    store
        The store.
    batch
        The number of the batch.
    circumstances
        `now`, `wait_seconds` and `who`, see `Circumstances`.

    Raises
    ------
    InputError
        If there is no such batch or it was withdrawn before; nothing was changed.
    StoreBusy
        If a hand-in did not finish in time.
    """
    who = circumstances.get("who") or NOBODY
    moment = circumstances.get("now") or datetime.now()
    wait = circumstances.get("wait_seconds", WAIT_SECONDS)
    with store.publish(wait_seconds=wait) as connection:
        _refuse_withdrawn(connection, batch)
        touched = _touched_by(connection, batch)
        before = _standing(connection, touched, batch)
        connection.execute(
            "UPDATE batch SET withdrawn_at = ?, withdrawn_by = ? WHERE batch = ?",
            [moment, who, batch],
        )
        after = _standing(connection, touched, batch)
        _rebuild(store, connection, store.working_catalogue(), touched)
        done = Withdrawal(
            batch,
            _names(connection, batch),
            before[1],
            after[0] - before[0] + before[1],
            _counted(connection, f"FROM set_aside WHERE batch = {batch}"),
            len(touched),
            _off_register(connection, touched),
        )
    Desk(store.root).record("withdraw", f"batch {batch}: {', '.join(done.files)}", who=who)
    return done


def rejects(store: Store, folder: Path | str, *, batch: int | None = None) -> list[GivenBack]:
    """Write the rows set aside into a folder, to be mended and handed in again.

    See `analytics.intake.aside.write_aside`, which tells in which form, and
    `analytics.store.aside.choose_aside`, which tells which rows.
    """
    with store.read() as reader:
        return write_aside(reader.cursor, Path(folder), choose_aside, batch=batch)


def export_facts(reader: Reader, folder: Path | str) -> list[Path]:
    """Write the current facts as CSV, one file for each table that has any, as it was handed in.

    The columns are those that intake reads, so the files handed in again are all duplicates.

    Raises
    ------
    InputError
        If a file is there already; nothing was written.
    """
    wanted = [
        (Path(folder) / f"{table}.csv", facts_as_received(table, current_sql))
        for table in TABLES
        if _counted(reader.cursor, f"FROM ({current_sql(table)})")
    ]
    for path, _ in wanted:
        if path.exists():
            raise InputError(f"{str(path)!r} is there already; name another folder.")
    Path(folder).mkdir(parents=True, exist_ok=True)
    for path, query in wanted:
        name = str(path).replace("'", "''")
        reader.cursor.execute(f"COPY ({query}) TO '{name}' (FORMAT csv, HEADER)")
    return [path for path, _ in wanted]


def _refuse_bad_call(
    files: Sequence[Path], covered_until: datetime | None, moment: datetime
) -> None:
    if not files:
        raise InputError("no file was named: name at least one file to hand in.")
    for file in files:
        check_readable(file)
    if covered_until is not None and covered_until > moment:
        raise InputError(
            f"covered until {covered_until.isoformat(' ', 'minutes')!r} lies in the future: a file "
            "can be complete up to the moment of the hand-in at most."
        )


def _bring_history_along(
    store: Store,
    connection: duckdb.DuckDBPyConnection,
    delivery: Delivery,
    catalogue: Catalogue,
) -> None:
    """Rebuild what the hand-in touched, everything where the depot edited its catalogue.

    Raises
    ------
    _NothingNew
        If neither facts nor catalogue changed.
    """
    if not delivery.is_new:
        if not _catalogue_changed(store, catalogue):
            raise _NothingNew(delivery)
        for table in ("batch", "batch_file"):
            connection.execute(f"DELETE FROM {table} WHERE batch = {delivery.batch}")
    _rebuild(store, connection, catalogue, delivery.touched)


def _rebuild(
    store: Store,
    connection: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    touched: frozenset[str],
) -> None:
    changed = _catalogue_changed(store, catalogue)
    if changed:
        convert_readings(connection, catalogue)
    rebuild(connection, catalogue, locomotives=None if changed else touched)


def _catalogue_changed(store: Store, catalogue: Catalogue) -> bool:
    with store.read() as reader:
        return read_meta(reader.cursor, "catalogue") != catalogue.fingerprint


def _refuse_withdrawn(connection: duckdb.DuckDBPyConnection, batch: int) -> None:
    found = connection.execute(
        "SELECT strftime(withdrawn_at, '%Y-%m-%d %H:%M') FROM batch WHERE batch = ?", [batch]
    ).fetchall()
    if not found:
        last = connection.execute("SELECT max(batch) FROM batch").fetchall()[0][0]
        known = f"batches go from 1 to {last}" if last else "nothing has been handed in yet"
        raise InputError(f"there is no batch {batch}: {known}.")
    if found[0][0]:
        raise InputError(f"batch {batch} was withdrawn before, on {found[0][0]}.")


def _touched_by(connection: duckdb.DuckDBPyConnection, batch: int) -> frozenset[str]:
    """Name the locomotives of a batch, with those to which its corrections had moved a row."""
    parts = [f"SELECT locomotive FROM coverage WHERE batch = {batch}"]
    parts += [f"SELECT locomotive FROM facts.{table} WHERE batch = {batch}" for table in KEYS]
    parts += [
        f"SELECT locomotive FROM facts.{table} WHERE {column} IN "
        f"(SELECT {column} FROM facts.{table} WHERE batch = {batch} AND {column} IS NOT NULL)"
        for table, column in IDS.items()
    ]
    found = connection.execute(" UNION ".join(parts)).fetchall()
    return frozenset(str(name) for (name,) in found)


def _standing(
    connection: duckdb.DuckDBPyConnection, touched: frozenset[str], batch: int
) -> tuple[int, int]:
    """Count the current rows of some locomotives: all, and those of one batch."""
    connection.register("in_touched", pd.DataFrame({"locomotive": sorted(touched)}, dtype="str"))
    mine = "locomotive IN (SELECT locomotive FROM in_touched)"
    rows = " UNION ALL ".join(f"SELECT batch FROM ({current_sql(table, mine)})" for table in KEYS)
    found = connection.execute(
        f"SELECT count(*), count(*) FILTER (batch = {batch}) FROM ({rows})"
    ).fetchall()[0]
    connection.unregister("in_touched")
    return int(found[0]), int(found[1])


def _off_register(
    connection: duckdb.DuckDBPyConnection, touched: frozenset[str]
) -> tuple[str, ...]:
    found = connection.execute(f"SELECT locomotive FROM ({current_sql('locomotives')})").fetchall()
    return tuple(sorted(touched - {str(name) for (name,) in found}))


def _names(connection: duckdb.DuckDBPyConnection, batch: int) -> tuple[str, ...]:
    found = connection.execute(
        f"SELECT name FROM batch_file WHERE batch = {batch} ORDER BY file"
    ).fetchall()
    return tuple(dict.fromkeys(str(name) for (name,) in found))


def _counted(connection: duckdb.DuckDBPyConnection, rows: str) -> int:
    return int(connection.execute(f"SELECT count(*) {rows}").fetchall()[0][0])


def _report(delivery: Delivery) -> IngestReport:
    batch = delivery.batch if delivery.is_new else None
    files = tuple(replace(file, batch=batch) for file in delivery.files)
    return IngestReport(files, batch, delivery.set_aside)


def _in_one_line(report: IngestReport) -> str:
    counts = ", ".join(
        f"{sum(getattr(file, name) for file in report.files)} {name.replace('_', ' ')}"
        for name in ("accepted", "updated", "duplicate", "set_aside")
    )
    names = ", ".join(file.file for file in report.files)
    return f"{f'batch {report.batch}' if report.batch else 'nothing new'}: {names}: {counts}"
