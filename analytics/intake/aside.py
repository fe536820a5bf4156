"""Rows given back as files, to be mended or kept: rows set aside, and the facts held.

A set-aside row comes back in the columns it came in, every cell as received, with one column more
that says why. Rows are chosen and cut into cells in SQL; only those given back are in memory.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import duckdb

from analytics.errors import InputError
from analytics.intake.aside_files import OF_PART, SURPLUS, Part, harmless, write_parts
from analytics.intake.tables import TABLES

Chooser = Callable[[duckdb.DuckDBPyConnection, int | None], None]


@dataclass(frozen=True, slots=True)
class GivenBack:
    """One file of set-aside rows: where it came from, where it was written, how many rows.

    `mapped`: it came in by a mapping file and needs it again; `left`: rows of earlier hand-ins
    under the same name that are not in it.
    """

    file: str
    path: Path
    batch: int
    rows: int
    mapped: bool
    left: int


def write_aside(
    cursor: duckdb.DuckDBPyConnection, folder: Path, choose: Chooser, *, batch: int | None = None
) -> list[GivenBack]:
    """Write the rows set aside, one file for each input file, into a folder.

    Parameters
    ----------
    cursor
        On a snapshot.
    folder
        Where to; made if it is not there. A file that is there already is never overwritten.
    choose
        What makes `aside_chosen`, the rows to give back (`store.aside.choose_aside`).
    batch
        The rows of this batch. By default those still to be mended.

    Returns
    -------
    list of GivenBack
        One per file written, in the order of the batches.

    Conventions
    -----------
    A file has the name of its input, so that handing it in again settles its rows. Delimited text
    keeps its delimiter, XLSX its sheets, JSON lines their keys; Parquet becomes CSV. Text is UTF-8
    with a byte order mark, or UTF-16 where the input was. Text that a spreadsheet would run gets
    an apostrophe. A row that could not be cut into cells stands whole in the first one. Where only
    the whole file showed how dates and decimals are written, the reason's heading says it, and
    intake goes by it.

    Raises
    ------
    InputError
        If the batch does not exist, or a file is there already: nothing was written; or if the
        folder cannot be written to.
    """
    if batch is not None:
        _refuse_unknown(cursor, batch)
    choose(cursor, batch)
    files = _grouped(_parts(cursor))
    paths = _paths(folder, files)
    for path in paths:
        if path.exists():
            raise InputError(
                f"{str(path)!r} is there already and may hold mended rows; name another folder "
                "with --out."
            )
    left = {} if batch is not None else _left(cursor)
    try:
        return [
            _write(cursor, path, parts, left.get(_stem(parts[0].name), 0))
            for path, parts in zip(paths, files, strict=True)
        ]
    except OSError as error:
        raise InputError(f"{str(folder)!r} cannot be written to: {error.strerror}.") from error


def facts_as_received(table: str, current: Callable[[str, str], str]) -> str:
    """Return SQL for the current facts of one table under its headings, every cell a text.

    Handed in again it is all duplicates.

    Parameters
    ----------
    table
        One of the eight tables.
    current
        SQL for the current rows of one facts table under a predicate (`store.current_sql`).
    """
    cells = []
    for column in TABLES[table].columns:
        value = column.stored_as
        text = f"{value}::VARCHAR"
        if column.kind == "instant":
            day = f"NOT {column.timed}" if column.timed else f"{value} = date_trunc('day', {value})"
            text = f"CASE WHEN {day} THEN {value}::DATE::VARCHAR ELSE {value}::VARCHAR END"
        elif column.kind == "yes-no":
            text = f"CASE WHEN {value} THEN 'yes' WHEN NOT {value} THEN 'no' END"
        elif column.kind == "text":
            text = harmless(value)
        cells.append(f'{text} AS "{column.name}"')
    held = current(table, "true")
    return f"SELECT {', '.join(cells)} FROM ({held}) ORDER BY batch, file, row_number"


def _refuse_unknown(cursor: duckdb.DuckDBPyConnection, batch: int) -> None:
    if not cursor.execute("SELECT 1 FROM batch WHERE batch = ?", [batch]).fetchall():
        raise InputError(f"there is no batch {batch}.")


def _left(cursor: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """Count, by file name, the rows of other bytes that came before under the same name."""
    found = cursor.execute(
        "SELECT stem, count(*) FROM aside_row ANTI JOIN aside_chosen "
        "USING (stem, sha256, mapping) GROUP BY stem"
    ).fetchall()
    return {str(stem): int(rows) for stem, rows in found}


def _parts(cursor: duckdb.DuckDBPyConnection) -> Iterator[Part]:
    found = cursor.execute(
        "SELECT name, sha256, mapping, sheet, max(batch), arg_max(form, batch), "
        "arg_max(headings, batch), count(DISTINCT row_number) FROM aside_chosen GROUP BY ALL "
        "ORDER BY min((batch, file))"
    ).fetchall()
    for name, sha256, mapping, sheet, batch, form, headings, rows in found:
        names = tuple(json.loads(headings)) or _keys(cursor, (name, sha256, mapping, sheet))
        yield Part(name, sha256, mapping, sheet, batch, json.loads(form), names, rows)


def _keys(cursor: duckdb.DuckDBPyConnection, of: Sequence[str]) -> tuple[str, ...]:
    """Return the headings of a file of which nothing but the rows was kept."""
    found = cursor.execute(
        f"SELECT json_keys(received) AS keys FROM aside_chosen WHERE {OF_PART} "
        "ORDER BY len(keys) - list_contains(keys, ?)::INTEGER DESC LIMIT 1",
        [*of, SURPLUS],
    ).fetchall()
    return tuple(str(key) for key in found[0][0] if key != SURPLUS)


def _grouped(parts: Iterator[Part]) -> list[list[Part]]:
    """Put the sheets of one file together."""
    files: dict[tuple[str, str, str], list[Part]] = {}
    for part in parts:
        files.setdefault((part.name, part.sha256, part.mapping), []).append(part)
    return list(files.values())


def _stem(name: str) -> str:
    """Return the name by which a mended file is known again: no ending, lower case."""
    return Path(name).stem.lower()


def _paths(folder: Path, files: Sequence[Sequence[Part]]) -> list[Path]:
    """Name each file like its input; a second one of a name gets a folder of its own."""
    paths: list[Path] = []
    for first, *_ in files:
        name = Path(first.name)
        if first.form.get("kind") == "parquet" or name.suffix.lower() == ".parquet":
            name = name.with_suffix(".csv")
        path = folder / name.name
        place = 2
        while path in paths:
            path = folder / str(place) / name.name
            place += 1
        paths.append(path)
    return paths


def _write(
    cursor: duckdb.DuckDBPyConnection, path: Path, parts: Sequence[Part], left: int
) -> GivenBack:
    write_parts(cursor, path, parts)
    first = parts[0]
    rows = sum(part.rows for part in parts)
    return GivenBack(first.name, path, first.batch, rows, bool(first.mapping), left)
