"""Columns that a file does not have: they leave what is held as it is, and do not empty it.

A later export with fewer columns is compared by the columns it has; the row that enters the facts
is the held one with these columns replaced. Columns of the key and ids are never filled in.
"""

from __future__ import annotations

from collections.abc import Callable

import duckdb

from analytics.intake.check import Checked, key_number, row_number_of_values, text_number
from analytics.intake.combined import Part
from analytics.intake.tables import Table

CurrentSql = Callable[[str, str], str]
LIVE = "batch IN (SELECT batch FROM batch WHERE withdrawn_at IS NULL)"


def keep_absent(
    connection: duckdb.DuckDBPyConnection, checked: Checked, current: CurrentSql, near: str
) -> None:
    """Fill in the absent columns of `in_checked_TABLE` from the rows held (`near`: which)."""
    table = checked.table
    if table.name == "readings":  # its unit belongs to the value, and all else is the key
        return
    by_columns: dict[tuple[str, ...], list[Part]] = {}
    for part in checked.files:
        by_columns.setdefault(_absent(table, part), []).append(part)
    for absent, parts in by_columns.items():
        filled = " OR ".join(f"{name} IS NOT NULL" for name in absent)
        held = f"SELECT 1 FROM facts.{table.name} WHERE {LIVE} AND ({near}) AND ({filled}) LIMIT 1"
        if absent and connection.execute(held).fetchall():
            _pair(connection, checked, parts, absent, (near, current(table.name, near)))
            _fill(connection, table, absent)


def _absent(table: Table, part: Part) -> tuple[str, ...]:
    kept = {*part.cells, *table.key, table.id_column}
    lacking = [column for column in table.columns if column.name not in kept]
    timed = [column.timed for column in lacking if column.timed]
    return (*(column.stored_as for column in lacking), *timed)


def _pair(
    connection: duckdb.DuckDBPyConnection,
    checked: Checked,
    parts: list[Part],
    absent: tuple[str, ...],
    held: tuple[str, str],
) -> None:
    """Make `in_pair`: for each row that lacks columns, what the row it is compared with has there.

    Bytes that came before are compared with the version they made then. Of several rows of one
    key, those equal to a held one in the columns present go with it, the rest in order.
    """
    table = checked.table
    near, current = held
    present = tuple(n for n in table.stored if n not in absent and n not in table.derived)
    numbers = f"{key_number(table)} AS k, {text_number(present)} AS p"
    files = ", ".join(str(part.number) for part in parts)
    many = f"{table.id_column} IS NULL" if table.numbered else "false"
    columns = ", ".join(absent)
    came_before = near if any(part.known for part in parts) else "false"
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE in_pair AS WITH "
        f"mine AS (SELECT file, row_number, known, {numbers}, {many} AS many, "
        "row_number() OVER (PARTITION BY k, p, file ORDER BY row_number) AS copy "
        f"FROM in_checked_{table.name} WHERE file IN ({files}) "
        f"AND (rule IS NULL OR rule > {checked.shape})), "
        f"once AS (SELECT {numbers}, {columns} FROM facts.{table.name} "
        f"WHERE {LIVE} AND ({came_before}) "
        "QUALIFY row_number() OVER (PARTITION BY k, p ORDER BY batch DESC, ordinal) = 1), "
        f"held AS (SELECT {numbers}, ordinal, {columns}, "
        f"row_number() OVER (PARTITION BY k, p ORDER BY ordinal) AS copy FROM ({current})), "
        f"old AS (SELECT file, row_number, k, {columns} FROM mine JOIN once USING (k, p) "
        "WHERE known), "
        "new AS (FROM mine ANTI JOIN old USING (file, row_number)), "
        f"same AS (SELECT file, row_number, copy, k, p, {columns} FROM new JOIN held "
        "USING (k, p, copy) WHERE many), "
        "left_over AS (SELECT *, row_number() OVER (PARTITION BY k, file ORDER BY p, copy) AS turn "
        "FROM new ANTI JOIN same USING (file, row_number) WHERE many), "
        "unmatched AS (SELECT *, row_number() OVER (PARTITION BY k ORDER BY ordinal) AS turn "
        "FROM held ANTI JOIN same USING (k, p, copy)) "
        "FROM ("
        f"SELECT file, row_number, {columns} FROM old UNION ALL "
        f"SELECT file, row_number, {columns} FROM same UNION ALL "
        f"SELECT file, row_number, {columns} FROM left_over JOIN unmatched USING (k, turn) "
        f"UNION ALL SELECT file, row_number, {columns} FROM new JOIN held USING (k) "
        f"WHERE NOT many) WHERE {' OR '.join(f'{name} IS NOT NULL' for name in absent)}"
    )


def _fill(connection: duckdb.DuckDBPyConnection, table: Table, absent: tuple[str, ...]) -> None:
    values = ", ".join(f"{name} = p.{name}" for name in absent)
    rows = f"in_checked_{table.name}"
    connection.execute(
        f"UPDATE {rows} SET {values} FROM in_pair AS p "
        f"WHERE {rows}.file = p.file AND {rows}.row_number = p.row_number"
    )
    connection.execute(
        f"UPDATE {rows} SET c = {row_number_of_values(table)} "
        "WHERE (file, row_number) IN (SELECT (file, row_number) FROM in_pair)"
    )
