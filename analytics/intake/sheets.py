"""Workbooks to staged tables: every sheet that holds a table, its cells as text.

Cells are read as a spreadsheet keeps them, not as it shows them: numbers as the shortest text that
means the same to 15 digits, dates and instants as ISO, lengths of time as hours, yes and no. A cell
merged downwards stands for all its rows (see `forms`: not for numbers, which would be
counted again in every row); of a cell merged to the right only the first column has the value.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from itertools import islice
from pathlib import Path

import duckdb
import python_calamine as calamine

from analytics.errors import InputError
from analytics.intake.limits import check_workbook
from analytics.intake.received import (
    LOOKED_THROUGH,
    IsHeader,
    Sheet,
    drop_empty_rows,
    make_stage,
    plain_cells,
    refuse_many_headings,
    stage_rows,
)

Cell = int | float | str | bool | time | date | datetime | timedelta
_FAULTS = (calamine.CalamineError, calamine.ZipError, calamine.XmlError, OSError, ValueError)
OWN_SHEETS = "the template's own sheets skipped"
_EXPLANATIONS = {"explanation", "magyar\u00e1zat"}  # of the template, in each language
_LISTS = "lists"
_BEYOND = "a cell stands beyond the last heading: give its column a heading, or delete the cell"


def read_workbook(
    connection: duckdb.DuckDBPyConnection, path: Path, stage: str, is_header: IsHeader
) -> list[Sheet]:
    """Stage every visible sheet that holds a table; the others are named in the notes of the first.

    Raises
    ------
    InputError
        If the workbook is encrypted, damaged or too large, or no sheet of it holds anything.
    """
    check_workbook(path)
    try:
        with calamine.CalamineWorkbook.from_path(str(path)) as book:
            return _read_sheets(connection, path, book, stage, is_header)
    except calamine.PasswordError as error:
        raise InputError(f"{path.name} is encrypted: save it without a password.") from error
    except _FAULTS as error:
        raise InputError(
            f"{path.name} is not an XLSX workbook that can be read, or it is cut short."
        ) from error


def _read_sheets(
    connection: duckdb.DuckDBPyConnection,
    path: Path,
    book: calamine.CalamineWorkbook,
    stage: str,
    is_header: IsHeader,
) -> list[Sheet]:
    notes: list[str] = []
    tables: list[tuple[calamine.CalamineSheet, int]] = []
    others: list[tuple[calamine.CalamineSheet, int]] = []
    for about in book.sheets_metadata:
        if about.visible != calamine.SheetVisibleEnum.Visible:
            notes.append(f"hidden sheet {about.name!r} skipped")
        elif about.typ == calamine.SheetTypeEnum.WorkSheet:
            sheet = book.get_sheet_by_name(about.name)
            header = _find_header(sheet, is_header)
            (tables if header else others).append((sheet, header))
    if not tables:
        tables, others = _only_sheet(path, others), []
    notes += [f"sheet {sheet.name!r} skipped: no row of it is a header" for sheet, _ in others]
    notes = _without_own(notes, [sheet.name for sheet, _ in others])
    alone = len(tables) == 1
    found = []
    for place, (sheet, header) in enumerate(tables):
        name = path.name if alone else f"{path.name} [{sheet.name}]"
        mine = stage if place == 0 else f"{stage}_{place + 1}"
        found.append(
            _stage_sheet(
                connection, sheet, name, mine, header=header, notes=() if place else tuple(notes)
            )
        )
    return found


def _without_own(notes: Sequence[str], others: Sequence[str]) -> list[str]:
    """Put what is said of the template's own sheets into one line, where both are there."""
    hidden = f"hidden sheet {_LISTS!r} skipped"
    explained = [name for name in others if name in _EXPLANATIONS]
    if hidden not in notes or not explained:
        return list(notes)
    own = {hidden, *(f"sheet {name!r} skipped: no row of it is a header" for name in explained)}
    return [OWN_SHEETS, *(note for note in notes if note not in own)]


def _only_sheet(
    path: Path, others: Sequence[tuple[calamine.CalamineSheet, int]]
) -> list[tuple[calamine.CalamineSheet, int]]:
    """Return the one sheet that holds anything, with its first row as the header."""
    filled = [
        (sheet, number)
        for sheet, _ in others
        for number in [_first_filled(sheet)]
        if number is not None
    ]
    if not filled:
        raise InputError(f"{path.name} is empty: no visible sheet of it holds a cell.")
    if len(filled) > 1:
        names = ", ".join(repr(sheet.name) for sheet, _ in filled[:20])
        raise InputError(f"{path.name}: none of its sheets has a table's header: {names}.")
    return filled


def _first_filled(sheet: calamine.CalamineSheet) -> int | None:
    for number, row in enumerate(sheet.iter_rows(), start=1):
        if any(text_of_cell(cell) for cell in row):
            return number
    return None


def _find_header(sheet: calamine.CalamineSheet, is_header: IsHeader) -> int:
    """Return the row number of the header among the first 20 filled rows, 0 where none is."""
    filled = (
        (number, texts)
        for number, row in enumerate(sheet.iter_rows(), start=1)
        if any(texts := [text_of_cell(cell) or "" for cell in row])
    )
    for number, texts in islice(filled, LOOKED_THROUGH):
        if is_header(texts):
            return number
    return 0


def _stage_sheet(
    connection: duckdb.DuckDBPyConnection,
    sheet: calamine.CalamineSheet,
    name: str,
    stage: str,
    *,
    header: int,
    notes: tuple[str, ...],
) -> Sheet:
    rows = sheet.iter_rows()
    headings = [text_of_cell(cell) or "" for cell in next(islice(rows, header - 1, None))]
    while headings and not headings[-1].strip():
        headings.pop()
    refuse_many_headings(name, headings)
    width = len(headings)
    make_stage(connection, stage, width)
    stage_rows(connection, stage, _fitted(rows, header + 1, width))
    cells = plain_cells(connection, stage, width)
    drop_empty_rows(connection, stage, cells)
    form: dict[str, object] = {"kind": "workbook", "sheet": sheet.name, "header_row": header}
    merged = _merged(sheet, width, header)
    return Sheet(name, tuple(headings), stage, cells, form, notes, merged)


def _fitted(
    rows: Iterable[Sequence[Cell]], first: int, width: int
) -> Iterator[tuple[int, list[str | None]]]:
    """Return each row that holds anything: its number, then broken, surplus and the cells."""
    for number, row in enumerate(rows, start=first):
        texts = [text_of_cell(cell) for cell in row]
        beyond = [text for text in texts[width:] if text and text.strip()]
        if beyond:
            yield number, [_BEYOND, " | ".join(beyond), *texts[:width]]
        elif any(texts):
            missing = [None] * (width - len(texts))
            yield number, [None, None, *texts[:width], *missing]


def _merged(
    sheet: calamine.CalamineSheet, width: int, header: int
) -> tuple[tuple[int, int, int], ...]:
    """Return cells merged downwards below the header: column, first row, last row."""
    start = sheet.start
    if start is None:
        return ()
    return tuple(
        (left - start[1], top + 1, bottom + 1)
        for (top, left), (bottom, _right) in sheet.merged_cell_ranges or ()
        if bottom > top >= header and 0 <= left - start[1] < width
    )


def text_of_cell(cell: Cell) -> str | None:
    """Return a cell as text, None where empty."""
    if isinstance(cell, str):
        return cell or None
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, (int, float)):
        return _shortest(float(cell))
    if isinstance(cell, timedelta):
        return _shortest(cell / timedelta(hours=1))
    return cell.isoformat(" ") if isinstance(cell, datetime) else cell.isoformat()


def _shortest(value: float) -> str:
    whole = value.is_integer() and abs(value) < 1e15
    return str(int(value)) if whole else f"{value:.15g}"
