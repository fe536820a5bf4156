"""Write an Answer as CSV, JSON, Parquet or XLSX: full precision, empty for undefined, no totals.

CSV, JSON and Parquet hold the table alone (JSON can carry its basis when asked); XLSX has the basis
and the notes on a second sheet. The same in every language.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Any, BinaryIO

import pandas as pd

from analytics.answer import Answer, say
from analytics.errors import ScopeError, unknown_name

FORMATS = ("csv", "json", "xlsx", "parquet")
# A spreadsheet runs a cell that begins so as a formula; the sign put before it is taken off again
# at intake.
_FORMULA_STARTS = ("=", "+", "-", "@")
NEUTRAL = "'"


def write_answer(
    answer: Answer, stream: BinaryIO, file_format: str, *, with_basis: bool = False
) -> None:
    """Write an answer's table to a binary stream.

    Parameters
    ----------
    answer
        What to write.
    stream
        Where to; it is not closed.
    file_format
        One of `FORMATS`.
    with_basis
        JSON only: an object with `rows`, `basis`, `reading` and `notes` in place of the bare rows.

    Raises
    ------
    ScopeError
        For an unknown format.
    """
    if file_format == "json":
        stream.write(_as_json(answer, with_basis=with_basis))
    elif file_format in _WRITERS:
        _WRITERS[file_format](answer, stream)
    else:
        raise ScopeError(unknown_name("format", file_format, FORMATS))


def basis_rows(answer: Answer) -> list[tuple[str, Any]]:
    """Return the basis as (word, value) pairs in reading order, times as ISO text."""
    basis = answer.basis
    asked = ("counting", "clock", "level", "method", "since", "until")
    pairs: list[tuple[str, Any]] = [("question", answer.question)]
    pairs += [(name, _iso(getattr(basis, name))) for name in asked]
    pairs += [(f"filter {word}", ", ".join(names)) for word, names in basis.filters.items()]
    counts = ("locomotives", "exposure", "events", "censored")
    pairs += [(name, getattr(basis, name)) for name in counts]
    pairs += [(f"left out: {reason}", count) for reason, count in basis.left_out.items()]
    pairs += [("data cut", _iso(basis.data_cut)), ("data fingerprint", basis.fingerprint)]
    return pairs


def neutralised(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table with text cells that a spreadsheet would run as a formula made harmless."""
    safe = table.copy()
    for place, dtype in enumerate(table.dtypes):
        if pd.api.types.is_string_dtype(dtype) or pd.api.types.is_object_dtype(dtype):
            safe.isetitem(place, safe.iloc[:, place].map(_neutral).to_numpy())
    return safe


def _neutral(cell: Any) -> Any:
    risky = isinstance(cell, str) and cell.startswith(_FORMULA_STARTS)
    return f"{NEUTRAL}{cell}" if risky else cell


def _as_csv(answer: Answer, stream: BinaryIO) -> None:
    text = io.TextIOWrapper(stream, encoding="utf-8", newline="")
    neutralised(answer.table).to_csv(text, index=False, lineterminator="\n")
    text.flush()
    text.detach()


def _as_json(answer: Answer, *, with_basis: bool) -> bytes:
    records = answer.table.to_dict("records")
    rows = [{str(name): _json_cell(cell) for name, cell in row.items()} for row in records]
    content: Any = rows
    if with_basis:
        content = {
            "rows": rows,
            "basis": {word: _json_cell(value) for word, value in basis_rows(answer)},
            "reading": say(answer.reading),
            "notes": [say(note) for note in answer.notes],
        }
    return (json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()


def _as_parquet(answer: Answer, stream: BinaryIO) -> None:
    buffer = io.BytesIO()
    answer.table.to_parquet(buffer, index=False)
    stream.write(buffer.getvalue())


def _as_xlsx(answer: Answer, stream: BinaryIO) -> None:
    import xlsxwriter

    options = {"in_memory": True, "nan_inf_to_errors": False, "strings_to_formulas": False}
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, options) as book:
        table = neutralised(answer.table)
        head = book.add_format({"bold": True, "bottom": 1})
        day = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet = book.add_worksheet(answer.question)
        sheet.freeze_panes(1, 0)
        sheet.write_row(0, 0, [str(name) for name in table.columns], head)
        for place, name in enumerate(table.columns):
            sheet.set_column(place, place, max(10, min(40, len(str(name)) + 2)))
            for line, cell in enumerate(table[name], start=1):
                _xlsx_cell(sheet, line, place, cell, day)
        basis = book.add_worksheet("basis")
        basis.set_column(0, 0, 24)
        basis.set_column(1, 1, 80)
        pairs = [*basis_rows(answer), ("reading", say(answer.reading))]
        pairs += [("note", say(note)) for note in answer.notes]
        for line, (word, value) in enumerate(pairs):
            basis.write_string(line, 0, word)
            _xlsx_cell(basis, line, 1, value, day)
    stream.write(buffer.getvalue())


def _xlsx_cell(sheet: Any, line: int, place: int, cell: Any, day: Any) -> None:
    cell = _plain(cell)
    if cell is None:
        return
    if isinstance(cell, (datetime, date)):
        sheet.write_datetime(line, place, cell, day)
    elif isinstance(cell, bool):
        sheet.write_boolean(line, place, cell)
    elif isinstance(cell, (int, float)):
        sheet.write_number(line, place, cell)
    else:
        sheet.write_string(line, place, str(cell))


def _plain(cell: Any) -> Any:
    """Return a cell as a plain Python value, None where it is empty or not a number."""
    if isinstance(cell, pd.Timestamp):
        return cell.to_pydatetime()
    if hasattr(cell, "item"):
        cell = cell.item()
    if cell is None or cell is pd.NaT or cell is pd.NA:
        return None
    if isinstance(cell, float) and not math.isfinite(cell):
        return None
    return cell


def _json_cell(cell: Any) -> Any:
    plain = _plain(cell)
    return _iso(plain) if isinstance(plain, (datetime, date)) else plain


def _iso(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat().removesuffix("T00:00:00")
    return value.isoformat() if isinstance(value, date) else value


_WRITERS: Mapping[str, Callable[[Answer, BinaryIO], None]] = {
    "csv": _as_csv,
    "parquet": _as_parquet,
    "xlsx": _as_xlsx,
}
