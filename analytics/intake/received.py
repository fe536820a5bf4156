"""What every reader makes: a staged table of cells as received, and where it came from."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import islice

import duckdb
import pyarrow as pa

from analytics.errors import InputError
from analytics.intake.tables import TABLES, plain_heading

NO_BLANK_ENDS = "no blank ends"  # a reader says it in the form; it is not kept
BLANKS = " \t\r\n\u00a0\u2007\u2009\u200a\u202f\ufeff"
ROWS_AT_ONCE = 50_000  # rows held in memory before they are staged
MOST_HEADINGS = 2_000
LOOKED_THROUGH = 20  # rows from the top among which the header must be
_SIGNS = "=+-@\t\r"  # before these, exports write an apostrophe so that no spreadsheet computes

IsHeader = Callable[[Sequence[str]], bool]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One staged table of one file.

    Attributes
    ----------
    name
        The file's name; of a workbook with several tables, with the sheet's in brackets.
    headings
        As received.
    stage
        The temporary table that holds the cells.
    cells
        For each heading, SQL over `stage` for the cell without outer blanks, NULL where empty.
    form
        How it was written, so that rows can be given back alike: kind (text, parquet, workbook,
        json-lines) and, as they apply, delimiter, encoding, sheet, header_row, decimal, dates
        (heading to the order of its dates).
    notes
        What the reader of the report should know.
    merged
        Cells merged downwards: (place of the column, first row, last row).
    """

    name: str
    headings: tuple[str, ...]
    stage: str
    cells: tuple[str, ...]
    form: dict[str, object] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    merged: tuple[tuple[int, int, int], ...] = ()


def text_literal(text: str) -> str:
    """Return a text as an SQL literal."""
    return "'" + text.replace("'", "''") + "'"


def holds_table(row: Sequence[str]) -> bool:
    """Say whether a row is a header: it holds every column that one of the tables needs."""
    held = {plain_heading(cell) for cell in row}
    return any(table.required <= held for table in TABLES.values())


def refuse_many_headings(name: str, headings: Sequence[str]) -> None:
    """Refuse a header no table could have.

    Raises
    ------
    InputError
        If it has more than 2,000 columns.
    """
    if len(headings) > MOST_HEADINGS:
        raise InputError(
            f"{name}: the header has {len(headings)} columns, more than {MOST_HEADINGS}."
        )


def make_stage(connection: duckdb.DuckDBPyConnection, stage: str, width: int) -> None:
    """Make an empty staged table for so many headings."""
    columns = ", ".join(f"c{place} VARCHAR" for place in range(width))
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE {stage} "
        f"(row_number BIGINT, broken VARCHAR, surplus VARCHAR, {columns})"
    )


def stage_rows(
    connection: duckdb.DuckDBPyConnection,
    stage: str,
    rows: Iterable[tuple[int, Sequence[str | None]]],
) -> None:
    """Append rows, each a row number with broken, surplus and the cells, a chunk at a time."""
    source = iter(rows)
    while chunk := list(islice(source, ROWS_AT_ONCE)):
        texts = [pa.array(c, pa.string()) for c in zip(*(cells for _, cells in chunk), strict=True)]
        numbers = pa.array([number for number, _ in chunk], pa.int64())
        names = [str(place) for place in range(len(texts) + 1)]
        connection.register("in_chunk", pa.table([numbers, *texts], names=names))
        connection.execute(f"INSERT INTO {stage} FROM in_chunk")
        connection.unregister("in_chunk")


def drop_empty_rows(
    connection: duckdb.DuckDBPyConnection, stage: str, cells: Sequence[str]
) -> None:
    """Leave out the rows without any cell."""
    connection.execute(
        f"DELETE FROM {stage} WHERE broken IS NULL AND coalesce(surplus, {', '.join(cells)}) "
        "IS NULL"
    )


def plain_cells(
    connection: duckdb.DuckDBPyConnection, stage: str, width: int, *, no_blank_ends: bool = False
) -> tuple[str, ...]:
    """Return SQL for each cell without outer blanks and without an apostrophe of our exports.

    Cutting is by far the dearest step of a check, so only columns are cut in which a cell begins or
    ends with a blank or an apostrophe; and these are looked for only where a cheap comparison finds
    a first or last character outside the usual ones. `no_blank_ends`: the reader has seen that no
    cell ends with a blank.
    """
    last = "" if no_blank_ends else " OR c{place}[-1] < '!' OR c{place}[-1] > '~'"
    first = "c{place} < '(' OR c{place} >= chr(127)"
    unusual = {place: (first + last).format(place=place) for place in range(width)}
    ends = ", ".join(text_literal(blank) for blank in BLANKS)
    outer = {
        place: f"c{place}[1] IN ('''', {ends}) OR c{place}[-1] IN ({ends})"
        for place in _where_any(connection, stage, unusual)
    }
    cut = _where_any(connection, stage, outer)
    return tuple(
        _cut(f"c{place}") if place in cut else f"nullif(c{place}, '')" for place in range(width)
    )


def _where_any(
    connection: duckdb.DuckDBPyConnection, stage: str, tests: dict[int, str]
) -> list[int]:
    """Return the places whose test is true in some row."""
    if not tests:
        return []
    wanted = ", ".join(f"bool_or({test})" for test in tests.values())
    found = connection.execute(f"SELECT {wanted} FROM {stage}").fetchall()[0]
    return [place for place, any_row in zip(tests, found, strict=True) if any_row]


def _cut(cell: str) -> str:
    trimmed = f"trim({cell}, {text_literal(BLANKS)})"
    signs = ", ".join(text_literal(sign) for sign in _SIGNS)
    marked = f"{trimmed}[1] = '''' AND {trimmed}[2] IN ({signs})"
    return f"nullif(CASE WHEN {marked} THEN substr({trimmed}, 2) ELSE {trimmed} END, '')"
