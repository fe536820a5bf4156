"""Which rows are new, corrected, already held, or at odds with each other.

The outcome of one table is `in_fate_TABLE`: one row = one input row, with its `fate` (accepted,
updated, duplicate, set_aside, disagree) and the `ordinal` under which it enters the facts. It
depends on what the rows say, never on their order or on the file they stand in.
"""

from __future__ import annotations

import duckdb

from analytics.intake.absent import LIVE, CurrentSql, keep_absent
from analytics.intake.check import Checked, key_number, row_number_of_values
from analytics.intake.combined import file_of
from analytics.intake.tables import Table


def settle(connection: duckdb.DuckDBPyConnection, checked: Checked, current: CurrentSql) -> None:
    """Settle where every row of one checked table goes; make `in_fate_TABLE`.

    Parameters
    ----------
    connection
        On the snapshot under construction, `in_checked_TABLE` made.
    checked
        The checked table.
    current
        SQL for the current rows of one facts table under a predicate (`store.current_sql`).
    """
    table = checked.table
    near = _near(connection, table)
    keep_absent(connection, checked, current, near)
    _make_held(connection, checked, current, near)
    _make_rows(connection, checked)
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE in_fate_{table.name} AS "
        f"SELECT file, row_number, 'set_aside' AS fate, NULL::INTEGER AS ordinal "
        f"FROM in_checked_{table.name} WHERE rule <= {checked.shape}"
    )
    _make_busy(connection)
    for query in (_ruled_out(), _free(), _keyed(), _numbered()):
        connection.execute(f"INSERT INTO in_fate_{table.name} {query}")


def insert_settled(
    connection: duckdb.DuckDBPyConnection, table: Table, *, batch: int, buckets: int
) -> None:
    """Append the accepted and updated rows of one table; their locomotives go to `in_touched`."""
    columns = ", ".join(table.stored)
    chosen = (
        f"FROM in_checked_{table.name} JOIN in_fate_{table.name} USING (file, row_number) "
        "WHERE fate IN ('accepted', 'updated')"
    )
    connection.execute(  # once a locomotive, not once a row
        f"CREATE OR REPLACE TEMP TABLE in_bucket AS SELECT locomotive, {bucket_sql(buckets)} AS "
        f"bucket FROM (SELECT DISTINCT locomotive FROM in_checked_{table.name})"
    )
    connection.execute(
        f"INSERT INTO facts.{table.name} (batch, file, row_number, ordinal, bucket, {columns}) "
        f"SELECT {batch}, {file_of()}, row_number, ordinal, in_bucket.bucket, {columns} FROM "
        f"in_checked_{table.name} JOIN in_fate_{table.name} USING (file, row_number) "
        "JOIN in_bucket USING (locomotive) WHERE fate IN ('accepted', 'updated')"
    )
    # A correction under an id may move a row to another locomotive: both change.
    connection.execute(
        f"INSERT INTO in_touched SELECT DISTINCT locomotive {chosen} UNION "
        f"SELECT locomotive FROM in_held SEMI JOIN (SELECT k {chosen} AND fate = 'updated') "
        "USING (k)"
    )


def bucket_sql(buckets: int) -> str:
    """Return SQL for the bucket of a locomotive: its text's md5 modulo the store's number."""
    return f"(('0x' || left(md5(locomotive), 8))::BIGINT % {buckets})::INTEGER"


def describe_disagreement(connection: duckdb.DuckDBPyConnection, checked: Checked) -> None:
    """Write the rows that disagree about one key to `in_aside`, naming each other."""
    table = checked.table
    many = "count(DISTINCT file) OVER (PARTITION BY k) > 1" if len(checked.files) > 1 else "false"
    names = " ".join(f"WHEN {f.number} THEN ' of ' || $name_{f.number}" for f in checked.files)
    same = "the same " + ", ".join(table.key)
    if table.id_column:
        same = f"the same {table.id_column}"
    words = {f"name_{file.number}": file.name for file in checked.files}
    connection.execute(
        "INSERT INTO in_aside WITH at_odds AS ("
        f"SELECT file, row_number, k, 'row ' || row_number || CASE WHEN {many} THEN "
        f"CASE file {names} END ELSE '' END AS label, "
        "row_number() OVER (PARTITION BY k ORDER BY file, row_number) AS place, "
        f"count(*) OVER (PARTITION BY k) AS rows FROM in_checked_{table.name} "
        f"SEMI JOIN (SELECT file, row_number FROM in_fate_{table.name} WHERE fate = 'disagree') "
        "USING (file, row_number)), "
        "said AS (SELECT k, string_agg(label, ' and ' ORDER BY place) FILTER (place <= 5) || "
        "CASE WHEN max(rows) > 5 THEN ' and ' || (max(rows) - 5) || ' more' ELSE '' END AS labels "
        "FROM at_odds GROUP BY k) "
        "SELECT file, row_number, NULL, 'disagree', labels || ' disagree: "
        f"{same}, but other values. Keep the right one.', NULL FROM at_odds JOIN said USING (k)",
        words,
    )


def _make_held(
    connection: duckdb.DuckDBPyConnection, checked: Checked, current: CurrentSql, near: str
) -> None:
    """Make `in_held` (the current rows) and `in_once` (any version) near the rows handed in."""
    table = checked.table
    numbers = f"{key_number(table)} AS k, {row_number_of_values(table)} AS c"
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE in_held AS SELECT {numbers}, ordinal, locomotive "
        f"FROM ({current(table.name, near)})"
    )
    came_before = near if any(file.known for file in checked.files) else "false"
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE in_once AS SELECT DISTINCT {numbers} "
        f"FROM facts.{table.name} WHERE {LIVE} AND ({came_before})"
    )


def _near(connection: duckdb.DuckDBPyConnection, table: Table) -> str:
    """Return a predicate on the facts that keeps every row that could have a key handed in."""
    near = f"locomotive IN (SELECT DISTINCT locomotive FROM in_checked_{table.name})"
    instants = [c.stored_as for c in table.columns if c.kind == "instant" and c.name in table.key]
    for instant in instants:
        first, last = connection.execute(
            f"SELECT min({instant})::VARCHAR, max({instant})::VARCHAR FROM in_checked_{table.name}"
        ).fetchall()[0]
        if first is None:
            return "false"
        near += f" AND {instant} BETWEEN TIMESTAMP '{first}' AND TIMESTAMP '{last}'"
    if not table.id_column:
        return near
    identified = (
        f"{table.id_column} IN (SELECT DISTINCT {table.id_column} FROM in_checked_{table.name} "
        f"WHERE {table.id_column} IS NOT NULL)"
    )
    return f"({table.id_column} IS NULL AND {near}) OR {identified}"


def _make_rows(connection: duckdb.DuckDBPyConnection, checked: Checked) -> None:
    """Make `in_row`: the rows of good shape, each compared with what is held.

    `old`: these very bytes came before and this row of them is in the facts, maybe corrected since.
    `same`: the current row of its key is identical.
    """
    table = checked.table
    numbered = "false"
    if table.numbered:
        numbered = f"r.{table.id_column} IS NULL"
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE in_row AS SELECT r.file, r.row_number, r.rule, r.known, r.k, "
        f"r.c, {numbered} AS numbered, r.known AND o.k IS NOT NULL AS old, h.k IS NOT NULL AS same "
        f"FROM in_checked_{table.name} AS r "
        "LEFT JOIN in_once AS o ON o.k = r.k AND o.c = r.c "
        "LEFT JOIN (SELECT DISTINCT k, c FROM in_held) AS h ON h.k = r.k AND h.c = r.c "
        f"WHERE r.rule IS NULL OR r.rule > {checked.shape}"
    )


def _ruled_out() -> str:
    """Return SQL for rows that break a rule, unless held as they are, and for rows held before."""
    return (
        "SELECT file, row_number, CASE WHEN old OR same THEN 'duplicate' ELSE 'set_aside' END, "
        "NULL FROM in_row WHERE rule IS NOT NULL UNION ALL "
        "SELECT file, row_number, 'duplicate', NULL FROM in_row WHERE rule IS NULL AND old"
    )


def _make_busy(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `in_busy`: the keys that several rows name or that are held; all others are new."""
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE in_busy AS SELECT k FROM in_row WHERE rule IS NULL "
        "GROUP BY k HAVING count(*) > 1 UNION SELECT k FROM in_held"
    )


def _free() -> str:
    """Return SQL for rows that are alone with their key."""
    return (
        "SELECT file, row_number, 'accepted', 1 FROM in_row ANTI JOIN in_busy USING (k) "
        "WHERE rule IS NULL AND NOT old"
    )


def _keyed() -> str:
    """Return SQL for rows whose key names one fact.

    Two different rows of one key contradict each other. Rows of bytes that came before are compared
    with all rows (their contradiction was found then and stands), others not with rows long held.
    """
    return (
        "WITH compared AS (SELECT *, "
        "min(c) OVER w AS least_of_all, max(c) OVER w AS most_of_all, "
        "min(c) FILTER (NOT old) OVER w AS least, max(c) FILTER (NOT old) OVER w AS most, "
        "row_number() OVER (PARTITION BY k ORDER BY old, file, row_number) AS copy "
        "FROM in_row SEMI JOIN in_busy USING (k) WHERE rule IS NULL AND NOT numbered "
        "WINDOW w AS (PARTITION BY k)) "
        "SELECT r.file, r.row_number, CASE "
        "WHEN r.least <> r.most OR (r.known AND r.least_of_all <> r.most_of_all) THEN 'disagree' "
        "WHEN r.same OR r.copy > 1 THEN 'duplicate' "
        "WHEN h.k IS NOT NULL THEN 'updated' ELSE 'accepted' END, 1 "
        "FROM compared AS r LEFT JOIN in_held AS h ON h.k = r.k WHERE NOT r.old"
    )


def _numbered() -> str:
    """Return SQL for rows of which several may have one key: the n-th matches the n-th held.

    Identical rows of several files of one call count once (as often as the file that has most of
    them). Rows identical to a held one are that one; the rest correct the rest of those held, in a
    fixed order, and what is left over is new.
    """
    return (
        "WITH copies AS (SELECT *, "
        "row_number() OVER (PARTITION BY k, c, file ORDER BY row_number) AS copy "
        "FROM in_row SEMI JOIN in_busy USING (k) WHERE rule IS NULL AND NOT old AND numbered), "
        "firsts AS (SELECT *, row_number() OVER (PARTITION BY k, c, copy ORDER BY file) AS place "
        "FROM copies), "
        "held AS (SELECT *, row_number() OVER (PARTITION BY k, c ORDER BY ordinal) AS copy "
        "FROM in_held SEMI JOIN firsts USING (k)), "
        "fresh AS (SELECT *, row_number() OVER (PARTITION BY k ORDER BY c, copy) AS turn "
        "FROM firsts ANTI JOIN held USING (k, c, copy) WHERE place = 1), "
        "replaced AS (SELECT *, row_number() OVER (PARTITION BY k ORDER BY ordinal) AS turn "
        "FROM held ANTI JOIN firsts USING (k, c, copy)), "
        "ends AS (SELECT k, max(ordinal) AS last_ordinal FROM held GROUP BY k), "
        "open AS (SELECT k, count(*) AS places FROM replaced GROUP BY k) "
        "SELECT f.file, f.row_number, CASE WHEN n.turn IS NULL THEN 'duplicate' "
        "WHEN p.ordinal IS NOT NULL THEN 'updated' ELSE 'accepted' END, "
        "coalesce(p.ordinal, coalesce(last_ordinal, 0) + n.turn - coalesce(places, 0))::INTEGER "
        "FROM firsts AS f LEFT JOIN fresh AS n USING (file, row_number) "
        "LEFT JOIN replaced AS p ON p.k = f.k AND p.turn = n.turn "
        "LEFT JOIN ends ON ends.k = f.k LEFT JOIN open ON open.k = f.k"
    )
