"""Files to all-text staged tables, one small function per kind of file.

A reader makes a temporary table with the cells as received, all text:
`row_number` (the line as a spreadsheet shows it: the header is 1), `broken` (why the line could not
be cut into cells, else NULL), `surplus` (what stood beyond the last heading, or the whole broken
line), and `c0`, `c1`, ... in the order of the headings. Rows without any cell are left out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import duckdb

from analytics.errors import InputError
from analytics.intake.delimited import read_delimited

BLANKS = " \t\r\n\u00a0\u2007\u2009\u200a\u202f\ufeff"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One staged table of one file.

    Attributes
    ----------
    name
        The file's name.
    headings
        As received.
    stage
        The temporary table that holds the cells.
    cells
        For each heading, SQL over `stage` for the cell without outer blanks, NULL where empty.
    """

    name: str
    headings: tuple[str, ...]
    stage: str
    cells: tuple[str, ...]


Reader = Callable[[duckdb.DuckDBPyConnection, Path, str], tuple[str, ...]]


def text_literal(text: str) -> str:
    """Return a text as an SQL literal."""
    return "'" + text.replace("'", "''") + "'"


def read_file(connection: duckdb.DuckDBPyConnection, path: Path, stage: str) -> list[Sheet]:
    """Stage one file by the reader of its suffix.

    Raises
    ------
    InputError
        If no reader knows the suffix, or the file is missing, empty, or cannot be read at all.
    """
    reader = READERS[check_readable(path)]
    headings = reader(connection, path, stage)
    cells = _plain_cells(connection, stage, len(headings))
    connection.execute(
        f"DELETE FROM {stage} WHERE broken IS NULL AND coalesce(surplus, {', '.join(cells)}) "
        "IS NULL"
    )
    return [Sheet(path.name, headings, stage, cells)]


def _plain_cells(connection: duckdb.DuckDBPyConnection, stage: str, width: int) -> tuple[str, ...]:
    """Return SQL for each cell without outer blanks.

    Cutting is by far the dearest step of a check, so only columns are cut in which a cell begins or
    ends with a blank.
    """
    blanks = ", ".join(text_literal(blank) for blank in BLANKS)
    tests = ", ".join(
        f"bool_or(c{place}[1] IN ({blanks}) OR c{place}[-1] IN ({blanks}))"
        for place in range(width)
    )
    found = connection.execute(f"SELECT {tests} FROM {stage}").fetchall()[0]
    return tuple(
        f"nullif(trim(c{place}, {text_literal(BLANKS)}), '')" if cut else f"nullif(c{place}, '')"
        for place, cut in enumerate(found)
    )


def check_readable(path: Path) -> str:
    """Return the suffix of a file that a reader knows and that holds something.

    Raises
    ------
    InputError
        Saying what is wrong with the file.
    """
    suffix = path.suffix.lower()
    if not path.is_file():
        raise InputError(f"there is no file {str(path)!r}.")
    if suffix not in READERS:
        raise InputError(
            f"{path.name}: files with the ending {suffix!r} cannot be read; "
            f"known endings: {', '.join(READERS)}."
        )
    if path.stat().st_size == 0:
        raise InputError(f"{path.name} is empty.")
    return suffix


def _read_parquet(connection: duckdb.DuckDBPyConnection, path: Path, stage: str) -> tuple[str, ...]:
    source = f"read_parquet({text_literal(str(path))}, file_row_number = true)"
    try:
        described = connection.execute(f"DESCRIBE FROM {source}").fetchall()
        columns = [(str(n), str(t)) for n, t, *_ in described if n != "file_row_number"]
        if not columns:
            raise InputError(f"{path.name}: the file has no columns.")
        dates = _whole_days(connection, source, columns)
        cells = ", ".join(
            f"{_cell_as_text(name, kind, whole_days=name in dates)} AS c{place}"
            for place, (name, kind) in enumerate(columns)
        )
        connection.execute(
            f"CREATE OR REPLACE TEMP TABLE {stage} AS SELECT file_row_number + 2 AS row_number, "
            f"NULL::VARCHAR AS broken, NULL::VARCHAR AS surplus, {cells} FROM {source}"
        )
    except duckdb.Error as error:
        raise InputError(
            f"{path.name} is not a Parquet file that can be read, or it is cut short."
        ) from error
    return tuple(name for name, _ in columns)


def _whole_days(
    connection: duckdb.DuckDBPyConnection, source: str, columns: list[tuple[str, str]]
) -> set[str]:
    """Name the timestamp columns without a single time of day: what was written is dates.

    Data frames have no type for a date, so a column of dates arrives as midnights.
    """
    instants = [name for name, kind in columns if _is_instant(kind)]
    if not instants:
        return set()
    tests = ", ".join(
        f"coalesce(bool_and({_quoted(n)} = date_trunc('day', {_quoted(n)})), false)"
        for n in instants
    )
    found = connection.execute(f"SELECT {tests} FROM {source}").fetchall()[0]
    return {name for name, whole in zip(instants, found, strict=True) if whole}


def _is_instant(kind: str) -> bool:
    return kind.startswith("TIMESTAMP") and "ZONE" not in kind


def _cell_as_text(name: str, kind: str, *, whole_days: bool) -> str:
    """Return SQL that writes a typed cell as it would stand in a CSV file."""
    cell = _quoted(name)
    if kind == "BOOLEAN":
        return f"CASE WHEN {cell} THEN 'yes' WHEN NOT {cell} THEN 'no' END"
    if whole_days:
        return f"{cell}::DATE::VARCHAR"
    if _is_instant(kind):
        return f"{cell}::TIMESTAMP::VARCHAR"
    if kind in {"DOUBLE", "FLOAT"}:
        whole = f"isfinite({cell}) AND {cell} = trunc({cell}) AND abs({cell}) < 1e15"
        return f"CASE WHEN {whole} THEN {cell}::BIGINT::VARCHAR ELSE {cell}::VARCHAR END"
    return f"{cell}::VARCHAR"


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


READERS: dict[str, Reader] = {
    ".csv": partial(read_delimited, delimiter=","),
    ".parquet": _read_parquet,
}
