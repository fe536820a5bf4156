"""The one way in: stage, check, publish facts, rebuild the touched histories, all or nothing.

Everything happens inside one publish of the store, so that what is compared with is what is
published on; a call that brings nothing new leaves no snapshot behind.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import duckdb
import pandas as pd

from analytics.catalogue.model import Catalogue
from analytics.errors import InputError
from analytics.history import rebuild
from analytics.intake.publish import Delivery, FileReport, convert_readings, publish_facts
from analytics.intake.readers import check_readable
from analytics.store import Store
from analytics.store.current import current_sql
from analytics.store.desk import Desk
from analytics.store.migrations import read_meta

__all__ = ["FileReport", "IngestReport", "ingest"]


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


class _NothingNew(Exception):
    """Not an error: the way out of a publish without a new snapshot."""

    def __init__(self, delivery: Delivery) -> None:
        super().__init__()
        self.delivery = delivery


def ingest(
    store: Store,
    paths: Sequence[Path | str] | Path | str,
    *,
    covered_until: datetime | None = None,
    now: datetime | None = None,
    wait_seconds: float = 600,
    progress: Callable[[str], None] | None = None,
) -> IngestReport:
    """Hand files in.

    Each file is one of the eight tables, recognised by its header. Every row ends as accepted,
    updated, duplicate or set aside with a reason; rows set aside do not stop the others. The same
    files again change nothing. A crash leaves the store as it was.

    Parameters
    ----------
    store
        The store to hand in to.
    paths
        One file or several, in any order: a hand-in of several files is one batch.
    covered_until
        Declares that the files are complete up to this instant (local time, not after `now`) for
        every locomotive they name: no finding means none was made.
    now
        The moment of the hand-in, local time; default the clock.
    wait_seconds
        How long to wait for another hand-in to finish.
    progress
        Told what is being done, one line at a time.

    Raises
    ------
    InputError
        If a file cannot be used as a whole; nothing was written.
    StoreBusy
        If another hand-in did not finish in time.
    """
    files = [Path(path) for path in ([paths] if isinstance(paths, (str, Path)) else paths)]
    moment = now or datetime.now()
    _refuse_bad_call(files, covered_until, moment)
    tell = progress or _say_nothing
    try:
        with store.publish(wait_seconds=wait_seconds) as connection:
            catalogue = store.working_catalogue()
            delivery = publish_facts(
                connection,
                files,
                catalogue,
                current=current_sql,
                now=moment,
                covered_until=covered_until,
                progress=tell,
            )
            _bring_history_along(store, connection, delivery, catalogue)
    except _NothingNew as nothing:
        delivery = nothing.delivery
    report = _report(delivery)
    Desk(store.root).record("ingest", _in_one_line(report))
    return report


def _say_nothing(_line: str) -> None:
    pass


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
    with store.read() as reader:
        changed = read_meta(reader.cursor, "catalogue") != catalogue.fingerprint
    if not delivery.is_new:
        if not changed:
            raise _NothingNew(delivery)
        for table in ("batch", "batch_file"):
            connection.execute(f"DELETE FROM {table} WHERE batch = {delivery.batch}")
    if changed:
        convert_readings(connection, catalogue)
    rebuild(connection, catalogue, locomotives=None if changed else delivery.touched)


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
