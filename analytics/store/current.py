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
