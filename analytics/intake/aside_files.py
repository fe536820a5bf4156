"""One file of set-aside rows, in the columns and the format of its input.

`aside_chosen` holds the rows, as `aside` chose them; they are cut into cells in SQL.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from analytics.intake.received import text_literal
from analytics.intake.staging import distinct_headings
from analytics.intake.tables import is_reason, reason_heading

OF_PART = "name = ? AND sha256 = ? AND mapping = ? AND sheet = ?"
BROKEN, SURPLUS = "line", "beyond the last heading"  # keys of `staging.received_sql`
# What a spreadsheet runs when a text begins with it; the sign before it is taken off at intake.
_RUNS = r"[=+\-@\t\r].*"
_NUMBER = "[+-]?[\\d.,\\s\u00a0\u2009\u202f]+([eE][+-]?\\d+)?"


@dataclass(frozen=True, slots=True)
class Part:
    """The set-aside rows of one file, or of one sheet of it, as it came last."""

    name: str
    sha256: str
    mapping: str
    sheet: str
    batch: int
    form: dict[str, Any]
    headings: tuple[str, ...]
    rows: int

    @property
    def kind(self) -> str:
        """How it is written back: delimited, json or xlsx."""
        known = {"workbook": "xlsx", "json-lines": "json"}
        return known.get(str(self.form.get("kind")), "delimited")

    @property
    def delimiter(self) -> str:
        """Between the cells of a line."""
        by_ending = "\t" if Path(self.name).suffix.lower() == ".tsv" else ","
        return str(self.form.get("delimiter") or by_ending)

    @property
    def own_headings(self) -> list[str]:
        """The headings as received, without that of an earlier reason."""
        return [name for name in self.headings if not is_reason(name)]

    @property
    def reason_heading(self) -> str:
        """The heading of the reason, with how the whole file wrote its dates and numbers."""
        orders = {str(order) for order in self.form.get("dates", {}).values()}
        mark = "." if self.form.get("kind") == "parquet" else str(self.form.get("decimal", ""))
        return reason_heading(orders.pop() if len(orders) == 1 else "", mark)


def write_parts(cursor: duckdb.DuckDBPyConnection, path: Path, parts: Sequence[Part]) -> None:
    """Write the parts of one file, several for a workbook, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f"{path.name}.part")
    try:
        _WRITERS[parts[0].kind](cursor, beside, parts)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _write_delimited(cursor: duckdb.DuckDBPyConnection, path: Path, parts: Sequence[Part]) -> None:
    part = parts[0]
    # An 8-bit text does not say which alphabet it is in, and a few rows are too few to tell.
    encoding = "utf-16" if "16" in str(part.form.get("encoding", "")) else "utf-8-sig"
    _rows(cursor, part).to_csv(
        path,
        index=False,
        sep=part.delimiter,
        header=[*part.own_headings, part.reason_heading],
        encoding=encoding,
        lineterminator="\n",
    )


def _write_json(cursor: duckdb.DuckDBPyConnection, path: Path, parts: Sequence[Part]) -> None:
    part = parts[0]
    table = _rows(cursor, part)
    table.columns = [*distinct_headings(part.own_headings), part.reason_heading]
    table.to_json(path, orient="records", lines=True, force_ascii=False)


def _write_xlsx(cursor: duckdb.DuckDBPyConnection, path: Path, parts: Sequence[Part]) -> None:
    import xlsxwriter

    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(str(path), options) as book:
        bold = book.add_format({"bold": True, "bottom": 1})
        for part in parts:
            sheet = book.add_worksheet(part.sheet or None)
            sheet.freeze_panes(1, 0)
            headings = [*part.own_headings, part.reason_heading]
            sheet.set_column(0, len(headings) - 2, 16)
            sheet.set_column(len(headings) - 1, len(headings) - 1, 80)
            _write_texts(sheet, 0, headings, bold)
            for row, cells in enumerate(_rows(cursor, part).itertuples(index=False), start=1):
                _write_texts(sheet, row, cells)


def _write_texts(sheet: Any, row: int, cells: Sequence[object], form: Any = None) -> None:
    for place, cell in enumerate(cells):
        if isinstance(cell, str):
            sheet.write_string(row, place, cell, form)


_WRITERS: dict[str, Callable[[duckdb.DuckDBPyConnection, Path, Sequence[Part]], None]] = {
    "delimited": _write_delimited,
    "json": _write_json,
    "xlsx": _write_xlsx,
}


def _rows(cursor: duckdb.DuckDBPyConnection, part: Part) -> pd.DataFrame:
    """Return the rows of one part: the cells c0, c1, ... as received, then the reason."""
    keys = [
        key
        for key, heading in zip(distinct_headings(part.headings), part.headings, strict=True)
        if not is_reason(heading)
    ]
    cells = [f"received->>{_pointer(key)}" for key in keys]
    taken = [f"CASE WHEN whole IS NULL THEN {cell} END" for cell in cells]
    taken[0] = f"coalesce(whole, {cells[0]})"
    shown = taken if part.kind == "json" else [harmless(cell) for cell in taken]
    listed = ", ".join(f"{cell} AS c{place}" for place, cell in enumerate(shown))
    return cursor.execute(
        f"SELECT {listed}, {harmless('reason')} AS reason FROM ("
        f"SELECT *, {_whole_line(cells, part)} AS whole FROM ("
        "SELECT row_number, min(received) AS received, "
        "string_agg(DISTINCT reason, ' ' ORDER BY reason) AS reason "
        f"FROM aside_chosen WHERE {OF_PART} GROUP BY row_number)) ORDER BY row_number",
        [part.name, part.sha256, part.mapping, part.sheet],
    ).df()


def _whole_line(cells: Sequence[str], part: Part) -> str:
    """Return SQL for a row that could not be cut into cells, as one text; NULL for any other."""
    broken = "NULL"
    if len(cells) > 1:  # a table of one column may be called `line`
        only = "json_array_length(json_keys(received)::JSON) = 1"
        broken = f"CASE WHEN {only} THEN received->>'/{BROKEN}' END"
    delimiter = text_literal(part.delimiter)
    joined = ", ".join(f"coalesce({cell}, '')" for cell in cells)
    surplus = f"received->>'/{SURPLUS}'"
    return f"coalesce({broken}, concat_ws({delimiter}, {joined}, {surplus}) || " + (
        f"CASE WHEN {surplus} IS NOT NULL THEN '' END)"
    )


def _pointer(key: str) -> str:
    """Return a JSON pointer (RFC 6901) to one key, as an SQL literal."""
    return text_literal("/" + key.replace("~", "~0").replace("/", "~1"))


def harmless(text: str) -> str:
    """Return SQL for a text that no spreadsheet runs; numbers stay numbers."""
    runs = f"regexp_full_match({text}, {text_literal(_RUNS)}, 's')"
    number = f"regexp_full_match({text}, {text_literal(_NUMBER)})"
    return f"CASE WHEN {runs} AND NOT {number} THEN '''' || {text} ELSE {text} END"
