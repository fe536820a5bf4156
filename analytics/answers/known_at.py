"""The record as it was known at a moment in the past: the ground of a back-test.

A second, empty database in memory is given the facts with a time up to the moment, with whatever
was only known later blanked, and its history is made anew. What comes after the moment cannot reach
a figure, because it is not there.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

import duckdb

from analytics.history import rebuild
from analytics.store import Reader, migrations
from analytics.store.current import KEYS, current_sql

# When each row of a table became known.
_MOMENTS = {
    "usage": "read_at",
    "inspections": "inspected_at",
    "findings": "found_at",
    "work": "done_at",
    "out_of_use": "from_at",
    "modifications": "done_at",
    "readings": "read_at",
}
_OF_A_CLOSING = (
    "closed_at", "closed_timed", "action", "down_hours", "labour_hours", "cost", "serial_out",
    "serial_in", "age_in", "condition_in",
)  # fmt: skip


@contextmanager
def known_at(reader: Reader, moment: datetime) -> Iterator[Reader]:
    """Yield a Reader on what was known at a moment.

    Parameters
    ----------
    reader
        A cursor on the whole record.
    moment
        Local time; what happened at it was known.

    Conventions
    -----------
    METHODS section 9. Facts as they stand now (a correction counts from the first on), those with a
    time up to the moment. A finding closed later is open and has no action, cost or effect. A
    locomotive that entered service later is not there; one that left later had not left; being out
    of use had no end. A locomotive without any inspection whose record was declared to reach beyond
    the moment was known up to the moment.
    """
    connection = duckdb.connect(config={"threads": "2"})
    try:
        connection.execute("SET enable_progress_bar = false")
        migrations.bring_up_to_date(connection)
        connection.execute("INSERT INTO batch (batch, received_at) VALUES (1, ?)", [moment])
        for table in KEYS:
            _bring(connection, reader, table, moment)
        _bring_coverage(connection, reader, moment)
        rebuild(connection, reader.catalogue, locomotives=None)
        known = Reader(connection, f"{reader.name}@{moment:%Y-%m-%d}", reader.catalogue_files)
        known.__dict__["catalogue"] = reader.catalogue
        yield known
    finally:
        connection.close()


def _bring(
    connection: duckdb.DuckDBPyConnection, reader: Reader, table: str, moment: datetime
) -> None:
    query = _known_rows(table).format(current=current_sql(table))
    rows = reader.cursor.sql(query, params={"moment": moment}).to_arrow_table()
    connection.register("known_rows", rows)
    connection.execute(f"INSERT INTO facts.{table} BY NAME FROM known_rows")
    connection.unregister("known_rows")


def _known_rows(table: str) -> str:
    if table == "locomotives":
        changed = "CASE WHEN in_service_to <= $moment THEN in_service_to END AS in_service_to"
        kept = "coalesce(in_service_from <= $moment, true)"
    else:
        kept = f"{_MOMENTS[table]} <= $moment"
        changed = {
            "findings": ", ".join(
                f"CASE WHEN coalesce(closed_at <= $moment, true) THEN {name} END AS {name}"
                for name in _OF_A_CLOSING
            ),
            "out_of_use": "CASE WHEN to_at <= $moment THEN to_at END AS to_at",
        }.get(table, "")
    changed = ", ".join(["1 AS batch", *([changed] if changed else [])])
    return f"SELECT * REPLACE ({changed}) FROM ({{current}}) WHERE {kept}"


def _bring_coverage(
    connection: duckdb.DuckDBPyConnection, reader: Reader, moment: datetime
) -> None:
    """Keep up to where records were declared complete, no further than the moment."""
    query = (
        "WITH declared AS (SELECT locomotive, bucket, in_service_to AS until"
        f" FROM ({current_sql('locomotives')})"
        " WHERE coalesce(in_service_from <= $moment, true) AND locomotive NOT IN"
        f" (SELECT locomotive FROM ({current_sql('inspections')}))"
        " UNION ALL SELECT locomotive, bucket, covered_until FROM coverage"
        " WHERE batch IN (SELECT batch FROM batch WHERE withdrawn_at IS NULL))"
        " SELECT 1 AS batch, bucket, locomotive, least(max(until), $moment) AS covered_until"
        " FROM declared WHERE until IS NOT NULL GROUP BY locomotive, bucket"
    )
    rows = reader.cursor.sql(query, params={"moment": moment}).to_arrow_table()
    connection.register("known_rows", rows)
    connection.execute("INSERT INTO coverage BY NAME FROM known_rows")
    connection.unregister("known_rows")
