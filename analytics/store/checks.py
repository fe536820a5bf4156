"""What a snapshot must satisfy before it may become the current one."""

from __future__ import annotations

import duckdb

from analytics.errors import StoreError

# Each query counts what must not exist; the words say what it would mean.
_NEVER = {
    "rows whose counts do not add up": (
        "SELECT count(*) FROM batch_file WHERE rows <> accepted + updated + duplicate + set_aside"
    ),
    "facts of an unknown batch": (
        "SELECT count(*) FROM facts.findings ANTI JOIN batch USING (batch)"
    ),
    # A row of a combined sheet may be there for its inspection alone.
    "accepted rows missing from the facts": (
        "SELECT count(*) FROM (SELECT batch, file, table_name, accepted + updated AS promised"
        " FROM batch_file WHERE table_name IN ('findings', 'combined'))"
        " FULL JOIN (SELECT batch, file, count(*) AS held FROM facts.findings GROUP BY ALL)"
        " USING (batch, file) WHERE promised IS NULL OR coalesce(held, 0) > promised"
        " OR table_name = 'findings' AND coalesce(held, 0) < promised"
    ),
}
_NEVER_IN_HISTORY = {
    "lives that end before they begin": (
        "SELECT count(*) FROM history.life WHERE exit_at <= start_at"
    ),
    "lives of a locomotive without a record": (
        "SELECT count(*) FROM history.life ANTI JOIN history.record USING (locomotive)"
    ),
    "exposure outside what was observed": (
        "SELECT count(*) FROM history.exposure JOIN history.record USING (locomotive)"
        " WHERE from_at < begins_at OR to_at > ends_at"
    ),
}


def refuse_broken(connection: duckdb.DuckDBPyConnection) -> None:
    """Check counts, orphans and bounds of the snapshot under construction.

    Raises
    ------
    StoreError
        Naming the first thing that is wrong; the snapshot is not published then.
    """
    wanted = dict(_NEVER)
    has_history = connection.execute(
        "SELECT count(*) FROM duckdb_tables() WHERE schema_name = 'history'"
    ).fetchall()[0][0]
    if has_history:
        wanted |= _NEVER_IN_HISTORY
    for words, query in wanted.items():
        count = int(connection.execute(query).fetchall()[0][0])
        if count:
            raise StoreError(f"nothing was published: the new snapshot would hold {count} {words}.")
