"""The totals row below the data: set aside as what it is, not as a finding with holes."""

from __future__ import annotations

import re

import duckdb

from analytics.intake.received import Sheet, text_literal
from analytics.intake.tables import Recognised

TOTALS_ROW = "this looks like a totals row, not a record"
_WORDS = re.compile(
    r"(grand |sub)?totals?|sum|summe|gesamt(summe)?|(mind)?\u00f6sszesen|\u00f6ssz(eg)?"
    r"|total(e|es)?|suma|razem|celkem|spolu|ukupno",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"[-+]?[.,]?\d[\d.,\s\u00a0\u2009\u202f]*([a-z%]{1,3})?", re.IGNORECASE)


def mark_totals_row(
    connection: duckdb.DuckDBPyConnection, sheet: Sheet, recognised: Recognised
) -> None:
    """Mark the last row of a staged sheet as broken where it is a totals row.

    It lacks a cell that its table needs, and its first cell says total, or it has no locomotive and
    nothing but numbers.
    """
    needed = [p for name, p in recognised.places.items() if name in recognised.table.required]
    columns = ", ".join(sheet.cells)
    last = connection.execute(
        f"SELECT row_number, {columns} FROM {sheet.stage} "
        f"WHERE row_number = (SELECT max(row_number) FROM {sheet.stage}) AND broken IS NULL"
    ).fetchall()
    if not last:
        return
    number, *cells = last[0]
    filled = [str(cell) for cell in cells if cell is not None]
    if not filled or all(cells[place] is not None for place in needed):
        return
    says_total = _WORDS.fullmatch(filled[0].strip(" :.="))
    locomotive = recognised.places.get("locomotive")
    unnamed = locomotive is None or cells[locomotive] is None
    if says_total or (unnamed and all(_NUMBER.fullmatch(cell) for cell in filled)):
        connection.execute(
            f"UPDATE {sheet.stage} SET broken = {text_literal(TOTALS_ROW)} "
            f"WHERE row_number = {number}"
        )
