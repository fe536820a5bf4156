"""Which rows are set aside and still to be mended, each with its reason and as it was received."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Answer, Message
from analytics.answers.basis import make_basis
from analytics.answers.batches import is_narrowed
from analytics.answers.ground import lay_ground
from analytics.errors import ScopeError
from analytics.scope import Scope
from analytics.store import Reader
from analytics.store.aside import choose_aside

COLUMNS = ("batch", "file", "row", "column", "rule", "reason", "received")
_ROWS = """
SELECT batch, CASE WHEN sheet = '' THEN name ELSE concat(name, ' [', sheet, ']') END AS file,
    row_number AS "row", column_name AS "column", rule, reason, received
FROM aside_chosen ORDER BY batch, file, row_number, rule, column_name, reason
"""


def set_aside(reader: Reader, scope: Scope, *, batch: int | None = None) -> Answer:
    """List the rows that were set aside, as `shedbook rejects` writes them out.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        Not used: what was not understood belongs to no locomotive. A note says so where something
        was asked.
    batch
        The rows of this batch, mended or not; by default those still to be mended, see
        `analytics.store.aside.choose_aside`.

    Returns
    -------
    Answer
        A row per row set aside: its batch, file and row there, the column and rule it failed, the
        reason in words, and the row as received (JSON, heading to cell).

    Raises
    ------
    ScopeError
        If there is no such batch.
    """
    _refuse_unknown(reader, batch)
    choose_aside(reader.cursor, batch)
    table: pd.DataFrame = reader.cursor.execute(_ROWS).df()
    method = "still to be mended" if batch is None else f"all of batch {batch}"
    basis = make_basis(lay_ground(reader, Scope()), method, events=len(table))
    notes = (Message("aside.all_listed"),) if is_narrowed(scope) else ()
    return Answer("set_aside", table[list(COLUMNS)], basis, _reading(table), notes)


def _refuse_unknown(reader: Reader, batch: int | None) -> None:
    if batch is None:
        return
    known = reader.cursor.execute("SELECT 1 FROM batch WHERE batch = ?", [int(batch)]).fetchall()
    if not known:
        raise ScopeError(f"there is no batch {batch}.")


def _reading(table: pd.DataFrame) -> Message:
    if table.empty:
        return Message("aside.none")
    by_column = table["column"].fillna("").value_counts()
    said = {
        "rows": len(table[["batch", "file", "row"]].drop_duplicates()),
        "files": int(table["file"].nunique()),
    }
    columns = [str(name) for name in by_column.index if name][:3]
    if not columns:
        return Message("aside.rows", **said)
    return Message("aside.rows_by_column", **said, columns=columns)
