"""Every file of one hand-in as a staged all-text table, with what its header says it is."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import duckdb

from analytics.intake.readers import (
    Sheet,
    check_readable,
    read_file,
    text_literal,
)
from analytics.intake.tables import (
    Recognised,
    Table,
    describe_not_read,
    recognise,
)


@dataclass(frozen=True, slots=True)
class StagedFile:
    """One staged file; `number`: place in the batch; `known`: the same bytes came before."""

    number: int
    sha256: str
    known: bool
    sheet: Sheet
    recognised: Recognised

    @property
    def name(self) -> str:
        """The file's name."""
        return self.sheet.name

    @property
    def stage(self) -> str:
        """The temporary table with its cells."""
        return self.sheet.stage

    @property
    def table(self) -> Table:
        """The table the file is."""
        return self.recognised.table

    @property
    def notes(self) -> tuple[str, ...]:
        """What the reader of the report should know about the file."""
        return (describe_not_read(self.recognised),) if self.recognised.not_read else ()


def stage_files(
    connection: duckdb.DuckDBPyConnection,
    paths: Sequence[Path],
    *,
    progress: Callable[[str], None] | None = None,
) -> list[StagedFile]:
    """Stage the files of one call, each as one temporary table.

    Raises
    ------
    InputError
        For the first file that cannot be used as a whole.
    """
    staged: list[StagedFile] = []
    for path in paths:
        check_readable(path)
        if progress:
            progress(f"reading {path.name}")
        sha256 = _sha256(path)
        known = _is_known(connection, sha256)
        for sheet in read_file(connection, path, f"in_stage_{len(staged) + 1}"):
            recognised = recognise(sheet.headings, file=sheet.name)
            staged.append(StagedFile(len(staged) + 1, sha256, known, sheet, recognised))
    return staged


def make_cells(
    connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[StagedFile]
) -> None:
    """Bring the files of one table together in the view `in_cells_TABLE`.

    One row = one input row: `file`, `known`, `row_number`, `broken`, and one text column
    `x_HEADING` per column of the table, outer blanks cut, NULL where empty or not in the file.
    """
    parts = []
    for file in files:
        cells = []
        for column in table.columns:
            place = file.recognised.places.get(column.name)
            cell = "NULL::VARCHAR" if place is None else file.sheet.cells[place]
            cells.append(f"{cell} AS x_{column.name}")
        parts.append(
            f"SELECT {file.number} AS file, {str(file.known).lower()} AS known, row_number, "
            f"broken, {', '.join(cells)} FROM {file.stage}"
        )
    text = " UNION ALL ".join(parts)
    connection.execute(f"CREATE OR REPLACE TEMP VIEW in_cells_{table.name} AS {text}")


def received_sql(file: StagedFile) -> str:
    """Return an SQL expression over a staged table: the row as received, heading to cell, JSON."""
    keys = _distinct_headings(file.sheet.headings)
    pairs = [f"{text_literal(key)}, c{place}" for place, key in enumerate(keys)]
    whole = f"json_object({', '.join(pairs)})"
    with_rest = (
        f"json_object({', '.join([*pairs, text_literal('beyond the last heading')])}, surplus)"
    )
    nothing = f"coalesce({', '.join(f'c{place}' for place in range(len(keys)))}) IS NULL"
    return (
        f"CASE WHEN surplus IS NULL THEN {whole} WHEN {nothing} "
        f"THEN json_object('line', surplus) ELSE {with_rest} END"
    )


def _distinct_headings(headings: Sequence[str]) -> list[str]:
    keys: list[str] = []
    for place, heading in enumerate(headings, start=1):
        plain = heading.strip() or f"column {place}"
        keys.append(plain if plain not in keys else f"{plain} (column {place})")
    return keys


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _is_known(connection: duckdb.DuckDBPyConnection, sha256: str) -> bool:
    found = connection.execute(
        "SELECT count(*) FROM batch_file JOIN batch USING (batch) "
        "WHERE sha256 = ? AND withdrawn_at IS NULL",
        [sha256],
    ).fetchall()
    return bool(found[0][0])
