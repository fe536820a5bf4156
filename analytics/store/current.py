"""Which row of the facts counts now: the one definition that intake, history and answers share.

Facts are append-only; a correction is a new row of a later batch with the same key. The current
version of a fact is the row of the latest batch that was not withdrawn. Where rows carry an id
(`finding_id`, `work_id`) the id alone is the key and everything else, the locomotive included, may
be corrected; else the key columns with the ordinal among equal keys of one batch.
"""

from __future__ import annotations

KEYS: dict[str, tuple[str, ...]] = {
    "locomotives": ("locomotive",),
    "usage": ("locomotive", "read_at"),
    "inspections": ("locomotive", "inspected_at", "kind"),
    "findings": ("locomotive", "component", "position", "found_at", "defect", "ordinal"),
    "work": ("locomotive", "component", "position", "done_at", "action", "ordinal"),
    "out_of_use": ("locomotive", "from_at"),
    "modifications": ("locomotive", "done_at", "name"),
    "readings": ("locomotive", "parameter", "running_state", "read_at"),
}
IDS = {"findings": "finding_id", "work": "work_id"}
_LIVE = "(SELECT batch FROM batch WHERE withdrawn_at IS NULL)"


def current_sql(table: str, where: str = "true") -> str:
    """Return a SELECT of the current rows of one facts table, every facts column.

    `where` is a predicate on locomotive or bucket; it is applied before versions are compared, so
    that only the named locomotives are read (ids are compared over the whole table).
    """
    # The newest of one key; rows with an id are told apart by it inside one locomotive ...
    partition = ", ".join(KEYS[table])
    if table in IDS:
        id_column = IDS[table]
        partition = ", ".join(
            name if name == "locomotive" else f"CASE WHEN {id_column} IS NULL THEN {name} END"
            for name in KEYS[table]
        )
        partition += f", {id_column}"
    newest = (
        f"SELECT * FROM facts.{table} WHERE batch IN {_LIVE} AND ({where}) "
        f"QUALIFY row_number() OVER (PARTITION BY {partition} ORDER BY batch DESC, file DESC, "
        "row_number DESC) = 1"
    )
    if table not in IDS:
        return newest
    # ... and a later version under another locomotive replaces them too.
    return (
        f"SELECT mine.* FROM ({newest}) AS mine ANTI JOIN "
        f"(SELECT {id_column}, batch FROM facts.{table} WHERE batch IN {_LIVE}) AS later "
        f"ON later.{id_column} = mine.{id_column} AND later.batch > mine.batch"
    )


def versions_sql(table: str, where: str = "true") -> str:
    """Return a SELECT of every version of the facts of one table, oldest first.

    One row is one version: every facts column, `version` (1, 2, ... among the live versions of one
    key; empty where its batch was withdrawn), received_at and who of its batch, withdrawn_at and
    withdrawn_by, and of the batch that replaced it replaced_by, replaced_at and replaced_who (empty
    for the version in force). `where` is a predicate on the facts columns that keeps whole keys,
    such as `locomotive = '5A'` or `finding_id = 'F12'`.
    """
    key = ", ".join(KEYS[table])
    if table in IDS:
        # With an id everything else, the locomotive too, may differ between versions.
        id_column = IDS[table]
        parts = [f"CASE WHEN {id_column} IS NULL THEN {name} END" for name in KEYS[table]]
        key = ", ".join([id_column, *parts])
    order = "ORDER BY f.batch, f.file, f.row_number"
    return (
        "SELECT v.*, b.received_at AS replaced_at, b.who AS replaced_who FROM ("
        "SELECT f.*, b.received_at, b.who, b.withdrawn_at, b.withdrawn_by, "
        f"CASE WHEN b.withdrawn_at IS NULL THEN row_number() OVER w END AS version, "
        f"CASE WHEN b.withdrawn_at IS NULL THEN lead(f.batch) OVER w END AS replaced_by "
        f"FROM (FROM facts.{table} WHERE {where}) AS f JOIN batch AS b USING (batch) "
        f"WINDOW w AS (PARTITION BY {key}, b.withdrawn_at IS NULL {order})) AS v "
        f"LEFT JOIN batch AS b ON b.batch = v.replaced_by ORDER BY {key}, v.batch, v.row_number"
    )
