"""Write the tables as a depot would hand them in: CSV by depot and table, readings as Parquet.

Blocks of locomotives are written one after the other into the same files, so that a fleet of any
size takes the memory of one block. The files are clean; spreadsheets with real habits are to be
made from the same blocks beside this.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from data_demo.scenario import DEPOTS, Depot
from data_demo.simulate import TABLES, Block

ONE_FILE = "locomotives"  # the register is kept for the whole railway, not by depot
AS_PARQUET = "readings"
_DATE_ONLY = {
    "locomotives": ("in_service_from", "in_service_to", "records_from"),
    "usage": ("read_at",),
    "out_of_use": ("from", "to"),
    "modifications": ("done_at",),
}
_DATE, _MINUTE = 10, 16  # characters of 2021-01-31 and of 2021-01-31 06:12


def write_files(blocks: Iterable[Block], folder: Path) -> list[Path]:
    """Write all blocks into a folder; return the files, in order of name.

    The folder is made if need be; files of the same names are replaced.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with ExitStack() as stack:
        files = _Files(folder, stack)
        for block in blocks:
            for name in TABLES:
                _write_table(files, name, block)
    return sorted(files.paths)


class _Files:
    """The files being written, opened at their first row and closed together."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self._folder = folder
        self._stack = stack
        self._writers: dict[Path, pacsv.CSVWriter | pq.ParquetWriter] = {}

    @property
    def paths(self) -> list[Path]:
        return list(self._writers)

    def write(self, stem: str, table: pa.Table, *, as_parquet: bool) -> None:
        path = self._folder / f"{stem}.{'parquet' if as_parquet else 'csv'}"
        if path not in self._writers:
            self._writers[path] = self._stack.enter_context(_open(path, table.schema))
        self._writers[path].write_table(table)


def _open(path: Path, schema: pa.Schema) -> pacsv.CSVWriter | pq.ParquetWriter:
    if path.suffix == ".parquet":
        return pq.ParquetWriter(path, schema, compression="zstd")
    # no cell of the demo holds a comma, a quote or a line break: nothing needs quoting
    options = pacsv.WriteOptions(quoting_style="none", quoting_header="none")
    return pacsv.CSVWriter(path, schema, write_options=options)


def _write_table(files: _Files, name: str, block: Block) -> None:
    table, of_row = block.tables[name], block.depots[name]
    as_parquet = name == AS_PARQUET
    if name == ONE_FILE:
        files.write(name, _as_text(name, table, DEPOTS[0]), as_parquet=False)
        return
    for place, depot in enumerate(DEPOTS):
        mine = table.iloc[np.nonzero(of_row == place)[0]]
        if len(mine):
            arrow = _plain(mine) if as_parquet else _as_text(name, mine, depot)
            files.write(f"{name}-{depot.name.lower()}", arrow, as_parquet=as_parquet)


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


def _as_text(name: str, table: pd.DataFrame, depot: Depot) -> pa.Table:
    """Write instants as the depot does: to the minute, or the date alone."""
    arrow = _plain(table)
    for place, column in enumerate(arrow.column_names):
        if pa.types.is_timestamp(arrow[column].type):
            bare = column in _DATE_ONLY.get(name, ())
            bare |= column == "closed_at" and not depot.closes_with_time
            text = arrow[column].cast(pa.timestamp("s")).cast(pa.string())
            text = pc.utf8_slice_codeunits(text, 0, _DATE if bare else _MINUTE)
            arrow = arrow.set_column(place, column, text)
    return arrow
