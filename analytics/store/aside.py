"""Which set-aside rows are still to be mended: the one definition that intake and answers share."""

from __future__ import annotations

import duckdb

from analytics.store.current import KEYS

_LIVE = "batch IN (SELECT batch FROM batch WHERE withdrawn_at IS NULL)"


def choose_aside(cursor: duckdb.DuckDBPyConnection, batch: int | None = None) -> None:
    """Make the temporary table `aside_chosen`, the rows of one batch or those still to be mended.

    Still to be mended: of every file name (ending and case apart) the rows of the bytes that came
    last under it, unless they were accepted since; of a row set aside twice the later reason.
    Withdrawn batches do not count. `aside_row` holds all rows of the files looked at. Both have the
    columns of batch_file (name without its sheet), row_number, column_name, rule, reason, received.
    """
    wanted = f"batch = {int(batch)}" if batch is not None else _LIVE
    cursor.execute(
        "CREATE OR REPLACE TEMP TABLE aside_file AS WITH named AS (SELECT * EXCLUDE (name, rows), "
        "coalesce(form->>'sheet', '') AS sheet, CASE WHEN ends_with(name, ' [' || sheet || ']') "
        f"THEN left(name, len(name) - len(sheet) - 3) ELSE name END AS name FROM batch_file "
        f"WHERE {wanted}) SELECT *, lower(regexp_replace(name, '\\.[^.]*$', '')) AS stem FROM named"
    )
    cursor.execute(
        "CREATE OR REPLACE TEMP TABLE aside_row AS SELECT f.*, a.row_number, a.column_name, "
        "a.rule, a.reason, a.received FROM set_aside AS a JOIN aside_file AS f USING (batch, file)"
    )
    query = "FROM aside_row" if batch is not None else _still_open()
    cursor.execute(f"CREATE OR REPLACE TEMP TABLE aside_chosen AS {query}")


def _still_open() -> str:
    """Return SQL for the rows of the bytes that came last under their name, not taken in since."""
    facts = " UNION ALL ".join(f"SELECT batch, file, row_number FROM facts.{t}" for t in KEYS)
    same_bytes = "(stem, sha256, mapping)"
    same_row = "(sha256, mapping, sheet, table_name, row_number)"
    return (
        "WITH last AS (SELECT stem, max(batch) AS batch FROM aside_file GROUP BY stem), "
        "bytes AS (SELECT DISTINCT stem, sha256, mapping FROM aside_file JOIN last "
        "USING (stem, batch)), "
        f"open AS (SELECT * FROM aside_row SEMI JOIN bytes USING {same_bytes}), "
        f"here AS (SELECT * FROM aside_file SEMI JOIN open USING {same_bytes}), "
        "taken AS (SELECT sha256, mapping, sheet, table_name, row_number, max(batch) AS taken_in "
        f"FROM ({facts}) SEMI JOIN open USING (row_number) JOIN here USING (batch, file) "
        f"SEMI JOIN open USING {same_row} GROUP BY ALL) "
        f"SELECT o.* FROM open AS o LEFT JOIN taken USING {same_row} "
        "WHERE coalesce(taken_in <= batch, true) QUALIFY rank() OVER "
        "(PARTITION BY sha256, mapping, sheet, table_name, row_number ORDER BY batch DESC) = 1"
    )
