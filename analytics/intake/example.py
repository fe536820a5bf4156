"""What the template brings itself: its example rows and its own sheets, passed over in one line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import duckdb

from analytics.catalogue.model import Catalogue
from analytics.intake.received import Sheet, text_literal
from analytics.intake.sheets import OWN_SHEETS, Cell, text_of_cell
from analytics.intake.tables import plain_heading
from analytics.intake.template import example_row

_ALL_OWN = "the template's example rows, explanation and lists skipped"
_EXAMPLES = "the template's example rows skipped"


def leave_out_examples(
    connection: duckdb.DuckDBPyConnection, sheets: Sequence[Sheet], catalogue: Catalogue
) -> list[Sheet]:
    """Take the example row out of every sheet of a workbook; the first sheet's notes say so.

    Only the row right below the header, and only where every cell is as the template wrote it with
    this catalogue: a row that differs in one cell is data, and is checked as such.
    """
    example = {n: _as_read(v) for n, v in example_row(catalogue).items() if v is not None}
    taken = [_take_out(connection, sheet, example) for sheet in sheets if _is_workbook(sheet)]
    if not any(taken):
        return list(sheets)
    first, *others = sheets
    notes = tuple(note for note in first.notes if note != OWN_SHEETS)
    said = _EXAMPLES if notes == first.notes else _ALL_OWN
    return [replace(first, notes=(said, *notes)), *others]


def _as_read(value: Cell) -> str | None:
    """Return a value as it is read back: a midnight as a date alone."""
    text = text_of_cell(value)
    return text.removesuffix(" 00:00:00") if text and isinstance(value, datetime) else text


def _is_workbook(sheet: Sheet) -> bool:
    return sheet.form.get("kind") == "workbook"


def _take_out(
    connection: duckdb.DuckDBPyConnection, sheet: Sheet, example: dict[str, str | None]
) -> bool:
    """Delete the example row of one staged sheet; say whether there was one."""
    headings = [plain_heading(heading) for heading in sheet.headings]
    if "locomotive" not in headings:
        return False
    wanted = [example.get(heading) for heading in headings]
    same = " AND ".join(
        f"{cell} IS NOT DISTINCT FROM {'NULL' if text is None else text_literal(text)}"
        for cell, text in zip(sheet.cells, wanted, strict=True)
    )
    below = int(str(sheet.form["header_row"])) + 1
    gone = connection.execute(
        f"DELETE FROM {sheet.stage} WHERE row_number = {below} AND broken IS NULL "
        f"AND surplus IS NULL AND {same} RETURNING row_number"
    ).fetchall()
    return bool(gone)
