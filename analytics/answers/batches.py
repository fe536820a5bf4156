"""What was handed in, when and by whom: the files of every batch and where their rows went."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Answer, Message
from analytics.answers.basis import make_basis
from analytics.answers.ground import lay_ground
from analytics.scope import NAME_FILTERS, Scope
from analytics.store import Reader

COLUMNS = (
    "batch", "received", "who", "file", "table", "rows", "accepted", "updated", "duplicate",
    "set_aside", "withdrawn", "withdrawn_by",
)  # fmt: skip
_FILES = """
SELECT b.batch, b.received_at AS received, b.who, f.name AS file, f.table_name AS "table", f.rows,
    f.accepted, f.updated, f.duplicate, f.set_aside, b.withdrawn_at AS withdrawn, b.withdrawn_by
FROM batch AS b JOIN batch_file AS f USING (batch) ORDER BY b.batch DESC, f.file
"""


def batches(reader: Reader, scope: Scope) -> Answer:
    """List the files of every batch, newest first.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        Not used: a file holds rows of any locomotive and date, so all are listed. A note says so
        where something was asked.

    Returns
    -------
    Answer
        A row per file (or sheet) of one batch: when and by whom it was handed in, into which table
        it went, its rows and where they went, when and by whom it was withdrawn (empty: not).
    """
    table: pd.DataFrame = reader.cursor.execute(_FILES).df()
    basis = make_basis(lay_ground(reader, Scope()), "every batch", events=len(table))
    notes = (Message("batches.all_listed"),) if is_narrowed(scope) else ()
    return Answer("batches", table[list(COLUMNS)], basis, _reading(table), notes)


def is_narrowed(scope: Scope) -> bool:
    """Whether a Scope keeps only some locomotives, kinds or dates."""
    return any(getattr(scope, field) for field in ("since", "until", *NAME_FILTERS))


def _reading(table: pd.DataFrame) -> Message:
    if table.empty:
        return Message("batches.none")
    last = table[table["batch"] == table["batch"].iloc[0]]
    who = last["who"].iloc[0]
    said = {
        "files": len(table),
        "batches": int(table["batch"].nunique()),
        "withdrawn": int(table.loc[table["withdrawn"].notna(), "batch"].nunique()),
        "at": last["received"].iloc[0].to_pydatetime().replace(second=0, microsecond=0),
        "rows": int(last["rows"].sum()),
        "aside": int(last["set_aside"].sum()),
    }
    kept = not said["withdrawn"]
    if pd.isna(who) or not who:
        return Message("batches.last_kept" if kept else "batches.last", **said)
    key = "batches.last_kept_by" if kept else "batches.last_by"
    return Message(key, **said, who=str(who))
