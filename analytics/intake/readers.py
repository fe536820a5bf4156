"""Files to all-text staged tables, one small function per kind of file.

A reader makes a temporary table with the cells as received, all text:
`row_number` (the line as a spreadsheet shows it: the first is 1), `broken` (why the line could not
be cut into cells, else NULL), `surplus` (what stood beyond the last heading, or the whole broken
line), and `c0`, `c1`, ... in the order of the headings. Rows without any cell are left out.
"""

from __future__ import annotations

import glob
from collections.abc import Callable, Iterable
from pathlib import Path

import duckdb

from analytics.errors import InputError
from analytics.intake.delimited import read_delimited
from analytics.intake.json_lines import read_json_lines
from analytics.intake.limits import refuse_large
from analytics.intake.received import (
    BLANKS,
    NO_BLANK_ENDS,
    IsHeader,
    Sheet,
    drop_empty_rows,
    holds_table,
    plain_cells,
    refuse_many_headings,
    text_literal,
)
from analytics.intake.sheets import read_workbook

__all__ = [
    "BLANKS",
    "READERS",
    "IsHeader",
    "Sheet",
    "check_readable",
    "expand_paths",
    "read_file",
    "text_literal",
]

Reader = Callable[[duckdb.DuckDBPyConnection, Path, str, IsHeader], list[Sheet]]
_Headings = tuple[tuple[str, ...], dict[str, object]]


def read_file(
    connection: duckdb.DuckDBPyConnection,
    path: Path,
    stage: str,
    *,
    is_header: IsHeader = holds_table,
) -> list[Sheet]:
    """Stage one file by the reader of its suffix: one sheet, or several of a workbook.

    Parameters
    ----------
    connection
        Where the staged tables are made.
    path
        The file.
    stage
        The name of the first staged table; further ones get `_2`, `_3`, ... behind it.
    is_header
        Whether a row is the header: by default, whether it holds what one of the tables needs.

    Raises
    ------
    InputError
        If no reader knows the suffix, or the file is missing, empty, or cannot be read at all.
    """
    return READERS[check_readable(path)](connection, path, stage, is_header)


def expand_paths(paths: Iterable[Path | str]) -> list[Path]:
    """Return the files meant by paths, folders and patterns (`*`, `?`, `[...]`, `**`).

    A folder stands for the files directly in it whose ending a reader knows, by name. Hidden files
    and the lock files of open spreadsheets are left out of folders and patterns. A file named twice
    is taken once; a path that is neither folder nor pattern is returned whether it exists or not.

    Raises
    ------
    InputError
        If a folder or a pattern gives no file.
    """
    found: dict[Path, None] = {}
    for path in map(Path, paths):
        if path.is_dir():
            files = [file for file in sorted(path.iterdir()) if _is_meant(file)]
            if not files:
                known = ", ".join(READERS)
                raise InputError(f"folder {str(path)!r} holds no file that can be read ({known}).")
        elif not path.exists() and glob.has_magic(str(path)):
            files = [
                f for f in map(Path, sorted(glob.glob(str(path), recursive=True))) if _is_meant(f)
            ]
            if not files:
                raise InputError(f"no file that can be read fits the pattern {str(path)!r}.")
        else:
            files = [path]
        found |= dict.fromkeys(files)
    return list(found)


def _is_meant(file: Path) -> bool:
    hidden = file.name.startswith((".", "~$"))
    return not hidden and file.suffix.lower() in READERS and file.is_file()


def check_readable(path: Path) -> str:
    """Return the suffix of a file that a reader knows, that holds something and is not too large.

    Raises
    ------
    InputError
        Saying what is wrong with the file.
    """
    suffix = path.suffix.lower()
    if not path.is_file():
        raise InputError(f"there is no file {str(path)!r}.")
    if suffix == ".xls":
        raise InputError(f"{path.name} is an old .xls workbook: save it as .xlsx or CSV UTF-8.")
    if suffix not in READERS:
        raise InputError(
            f"{path.name}: files with the ending {suffix!r} cannot be read; "
            f"known endings: {', '.join(READERS)}."
        )
    if path.stat().st_size == 0:
        raise InputError(f"{path.name} is empty.")
    refuse_large(path)
    return suffix


def _of_one_table(
    read: Callable[[duckdb.DuckDBPyConnection, Path, str, IsHeader], _Headings],
) -> Reader:
    """Return the reader of files that hold one table."""

    def reader(
        connection: duckdb.DuckDBPyConnection, path: Path, stage: str, is_header: IsHeader
    ) -> list[Sheet]:
        headings, form = read(connection, path, stage, is_header)
        sure = bool(form.pop(NO_BLANK_ENDS, False))
        cells = plain_cells(connection, stage, len(headings), no_blank_ends=sure)
        drop_empty_rows(connection, stage, cells)
        return [Sheet(path.name, headings, stage, cells, form)]

    return reader


def _read_json(
    connection: duckdb.DuckDBPyConnection, path: Path, stage: str, _is_header: IsHeader
) -> _Headings:
    return read_json_lines(connection, path, stage)


def _read_parquet(
    connection: duckdb.DuckDBPyConnection, path: Path, stage: str, _is_header: IsHeader
) -> _Headings:
    source = f"read_parquet({text_literal(str(path))}, file_row_number = true)"
    try:
        described = connection.execute(f"DESCRIBE FROM {source}").fetchall()
        columns = [(str(n), str(t)) for n, t, *_ in described if n != "file_row_number"]
        if not columns:
            raise InputError(f"{path.name}: the file has no columns.")
        refuse_many_headings(path.name, [name for name, _ in columns])
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
    return tuple(name for name, _ in columns), {"kind": "parquet"}


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


_TEXT = _of_one_table(read_delimited)
READERS: dict[str, Reader] = {
    ".csv": _TEXT,
    ".tsv": _TEXT,
    ".txt": _TEXT,
    ".xlsx": read_workbook,
    ".xlsm": read_workbook,
    ".parquet": _of_one_table(_read_parquet),
    ".jsonl": _of_one_table(_read_json),
    ".ndjson": _of_one_table(_read_json),
}
