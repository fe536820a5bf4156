"""Write the tables as a depot would hand them in: CSV by depot and table, readings as Parquet.

Blocks of locomotives are written one after the other into the same files, so that a fleet of any
size takes the memory of one block. The files are clean; `messy` writes the same rows with the
habits of real depots.
"""

from __future__ import annotations

import codecs
import io
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import ExitStack
from datetime import datetime, time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv
import pyarrow.parquet as pq
import xlsxwriter

from data_demo.scenario import AFTER_LAST_DAY, DEPOTS, OPERATOR, Depot
from data_demo.simulate import TABLES, Block

ONE_FILE = "locomotives"  # the register is kept for the whole railway, not by depot
AS_PARQUET = "readings"
_DATE_ONLY = {
    "locomotives": ("in_service_from", "in_service_to", "records_from"),
    "usage": ("read_at",),
    "out_of_use": ("from", "to"),
    "modifications": ("done_at",),
}
MOST_ROWS = 1_000_000  # of one text or Parquet file
_HEADER = 3  # rows of a sheet above its header
_TOTALLED = ("down_hours", "labour_hours", "cost")
# Notes at the depot that writes in its own language (letters beyond ASCII, no commas).
_LOCAL_NOTES = {
    "found on the evening round": "esti körön találtuk",
    "part from the store of another depot": "másik fűtőház raktárából",
    "same place as before": "ugyanott mint előzőleg",
    "to be watched": "figyelni kell: újra előjöhet",
    "driver reported it": "a mozdonyvezető jelentette",
}


def write_files(blocks: Iterable[Block], folder: Path) -> list[Path]:
    """Write all blocks into a folder; return the files, in order of name.

    The folder is made if need be; files of the same names are replaced.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with ExitStack() as stack:
        files = Files(folder, stack)
        for block in blocks:
            for name in TABLES:
                for depot, table in tables_of(block, name):
                    stem = f"{name}-{depot.name.lower()}" if name != ONE_FILE else name
                    as_parquet = name == AS_PARQUET
                    text = table if as_parquet else as_text(name, table, depot)
                    files.write(stem, text, as_parquet=as_parquet)
    return sorted(files.paths)


def tables_of(block: Block, name: str) -> Iterator[tuple[Depot, pa.Table]]:
    """Return one table of a block by depot, with instants and numbers as such.

    Depots without a row are left out; the register is whole, under the first depot.
    """
    table, of_row = block.tables[name], block.depots[name]
    if name == ONE_FILE:
        yield DEPOTS[0], _plain(table)
        return
    for place, depot in enumerate(DEPOTS):
        mine = table.iloc[np.nonzero(of_row == place)[0]]
        if len(mine):
            arrow = _plain(mine)
            yield depot, _in_own_words(arrow) if place == 0 and name == "findings" else arrow


def as_text(name: str, table: pa.Table, depot: Depot, *, date_format: str = "%Y-%m-%d") -> pa.Table:
    """Write instants as the depot does: to the minute, or the date alone."""
    for place, column in enumerate(table.column_names):
        if pa.types.is_timestamp(table[column].type):
            bare = is_bare_date(name, column, depot)
            instants = table[column].cast(pa.timestamp("s"), safe=False)
            form = date_format if bare else f"{date_format} %H:%M"
            table = table.set_column(place, column, pc.strftime(instants, format=form))
    return table


def is_bare_date(name: str, column: str, depot: Depot) -> bool:
    """Tell whether a depot writes the dates of a column without the time of day."""
    bare = column in _DATE_ONLY.get(name, ())
    return bare or (column == "closed_at" and not depot.closes_with_time)


class Files:
    """Text and Parquet files being written, opened at their first row and closed together.

    A file that has `MOST_ROWS` rows is followed by another one, `-2`, `-3` and so on.
    """

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self._folder = folder
        self._stack = stack
        self._writers: dict[Path, pacsv.CSVWriter | pq.ParquetWriter] = {}
        self._rows: dict[str, int] = {}

    @property
    def paths(self) -> list[Path]:
        """The files begun so far."""
        return list(self._writers)

    def write(
        self,
        stem: str,
        table: pa.Table,
        *,
        as_parquet: bool = False,
        delimiter: str = ",",
        encoding: str = "utf-8",
    ) -> Path:
        """Append rows to the file of that name, without its ending; return the file."""
        part = self._rows.get(stem, 0) // MOST_ROWS + 1
        self._rows[stem] = self._rows.get(stem, 0) + len(table)
        name = f"{stem}-{part}" if part > 1 else stem
        path = self._folder / f"{name}.{'parquet' if as_parquet else 'csv'}"
        if path not in self._writers:
            opened = _open(self._stack, path, table.schema, delimiter, encoding)
            self._writers[path] = self._stack.enter_context(opened)
        self._writers[path].write_table(table)
        return path


class Workbooks:
    """Workbooks being written: a title block above each table, a totals row below, a hidden sheet.

    Rows go to disk as they come; a sheet takes no more than 1,048,576 of them.
    """

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self._folder = folder
        self._stack = stack
        self._books: dict[Path, _Workbook] = {}

    @property
    def sheets(self) -> int:
        """How many sheets with a totals row have been begun."""
        return sum(book.sheets for book in self._books.values())

    def write(self, stem: str, sheet: str, table: pa.Table, bare: Collection[str]) -> Path:
        """Append rows to a sheet; dates of the columns in `bare` have no time of day."""
        path = self._folder / f"{stem}.xlsx"
        if path not in self._books:
            self._books[path] = _Workbook(path)
            self._stack.callback(self._books[path].close)
        self._books[path].write(sheet, table, bare)
        return path


class _Workbook:
    def __init__(self, path: Path) -> None:
        self._book = xlsxwriter.Workbook(str(path), {"constant_memory": True})
        self._book.set_properties({"created": datetime.combine(AFTER_LAST_DAY, time())})
        self._formats = {
            bare: self._book.add_format({"num_format": "dd.mm.yyyy" + ("" if bare else " hh:mm")})
            for bare in (True, False)
        }
        self._next_row: dict[str, int] = {}
        self._totals: dict[str, dict[int, float]] = {}

    @property
    def sheets(self) -> int:
        return len(self._next_row)

    def write(self, sheet: str, table: pa.Table, bare: Collection[str]) -> None:
        if sheet not in self._next_row:
            self._begin(sheet, table)
        page, first = self._book.get_worksheet_by_name(sheet), self._next_row[sheet]
        write = [self._cell_writer(page, table[name], name in bare) for name in table.column_names]
        columns = [_for_cells(column) for column in table.columns]
        for number, row in enumerate(zip(*columns, strict=True), start=first):
            for place, cell in enumerate(row):
                if cell is not None:
                    write[place](number, place, cell)
        self._next_row[sheet] = first + len(table)
        for place, name in enumerate(table.column_names):
            if name in _TOTALLED:
                so_far = self._totals[sheet].get(place, 0.0)
                self._totals[sheet][place] = so_far + (pc.sum(table[name]).as_py() or 0.0)

    def close(self) -> None:
        for sheet, row in self._next_row.items():
            page = self._book.get_worksheet_by_name(sheet)
            page.write_string(row, 0, "Total")
            for place, total in self._totals[sheet].items():
                page.write_number(row, place, round(total, 2))
        hidden = self._book.add_worksheet("lists")
        hidden.write_string(0, 0, "severity")
        for row, word in enumerate(("remark", "rectify", "withhold", "in-service"), start=1):
            hidden.write_string(row, 0, word)
        hidden.hide()
        self._book.close()

    def _begin(self, sheet: str, table: pa.Table) -> None:
        page = self._book.add_worksheet(sheet)
        page.write_string(0, 0, f"{OPERATOR}: {sheet}")
        page.write_string(1, 0, "For the depot's own use; dates as day.month.year")
        page.write_row(_HEADER, 0, table.column_names)
        self._next_row[sheet], self._totals[sheet] = _HEADER + 1, {}

    def _cell_writer(
        self, page: Any, column: pa.ChunkedArray, bare: bool
    ) -> Callable[[int, int, Any], object]:
        if pa.types.is_timestamp(column.type):
            return _date_writer(page, self._formats[bare], bare=bare)
        is_text = pa.types.is_string(column.type)
        write: Callable[[int, int, Any], object] = (
            page.write_string if is_text else page.write_number
        )
        return write


def _date_writer(page: Any, form: Any, *, bare: bool) -> Callable[[int, int, Any], object]:
    def write(row: int, place: int, cell: datetime) -> None:
        if bare:
            page.write_datetime(row, place, cell.date(), form)
        elif cell.time() == time():  # a date cell at midnight would have no time of day
            page.write_string(row, place, cell.isoformat(" ", "minutes"))
        else:
            page.write_datetime(row, place, cell, form)

    return write


def _for_cells(column: pa.ChunkedArray) -> list[Any]:
    if pa.types.is_timestamp(column.type):
        column = pc.floor_temporal(column.cast(pa.timestamp("s"), safe=False), unit="minute")
    cells: list[Any] = column.to_pylist()
    return cells


class _Recoded(io.RawIOBase):
    """A file that takes UTF-8 and keeps another encoding."""

    def __init__(self, path: Path, encoding: str) -> None:
        self._file = path.open("wb")
        self._encoding = encoding
        self._decoder = codecs.getincrementaldecoder("utf-8")()

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        text = self._decoder.decode(bytes(data))
        self._file.write(text.encode(self._encoding))
        return len(data)

    def close(self) -> None:
        self._file.close()
        super().close()


def _open(
    stack: ExitStack, path: Path, schema: pa.Schema, delimiter: str, encoding: str
) -> pacsv.CSVWriter | pq.ParquetWriter:
    if path.suffix == ".parquet":
        return pq.ParquetWriter(path, schema, compression="zstd")
    # no cell of the demo holds a delimiter, a quote or a line break: nothing needs quoting
    options = pacsv.WriteOptions(quoting_style="none", quoting_header="none", delimiter=delimiter)
    if encoding == "utf-8":
        return pacsv.CSVWriter(path, schema, write_options=options)
    sink = stack.enter_context(_Recoded(path, encoding))
    return pacsv.CSVWriter(sink, schema, write_options=options)


def _plain(table: pd.DataFrame) -> pa.Table:
    """Turn a table to Arrow, categories to text, without notes on how pandas held it."""
    arrow = pa.Table.from_pandas(table, preserve_index=False)
    columns = {
        name: arrow[name].cast(pa.string())
        if pa.types.is_dictionary(arrow[name].type) or pa.types.is_null(arrow[name].type)
        else arrow[name]
        for name in arrow.column_names
    }
    return pa.table(columns)


def _in_own_words(table: pa.Table) -> pa.Table:
    place = table.column_names.index("note")
    english = pa.array(list(_LOCAL_NOTES))
    local = pa.array(list(_LOCAL_NOTES.values())).take(pc.index_in(table["note"], english))
    return table.set_column(place, "note", pc.coalesce(local, table["note"]))
