"""Every file of one hand-in as a staged all-text table, with what its header says it is."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import duckdb

from analytics.catalogue.model import Catalogue
from analytics.errors import InputError
from analytics.intake.cells import read_cells
from analytics.intake.combined import PARTS, Part, remarks_not_kept, split
from analytics.intake.example import leave_out_examples
from analytics.intake.forms import fit_forms
from analytics.intake.mapping import NO_MAPPING, Mapping, TableMapping, fold
from analytics.intake.readers import (
    IsHeader,
    Sheet,
    check_readable,
    read_file,
    text_literal,
)
from analytics.intake.received import holds_table
from analytics.intake.recognition import recognise_by
from analytics.intake.tables import (
    COMBINED,
    TABLES,
    Recognised,
    Table,
    describe_not_read,
    written_as,
)


@dataclass(frozen=True, slots=True)
class StagedFile:
    """One staged file; `number`: place in the batch; `known`: the same bytes came before.

    `parts` say what it holds for each table; `mapping`: the text of the mapping it is read by;
    `made_from`: for a register, the staged file whose vehicles it holds.
    """

    number: int
    sha256: str
    known: bool
    sheet: Sheet
    recognised: Recognised
    parts: tuple[Part, ...]
    mapping: str = ""
    notes: tuple[str, ...] = ()
    made_from: Sheet | None = None

    @property
    def received(self) -> Sheet:
        """The rows as they were handed in, also of a register made from them."""
        return self.made_from or self.sheet

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
        """The table the file is; `combined` for a sheet of several."""
        return self.recognised.table


def stage_files(
    connection: duckdb.DuckDBPyConnection,
    paths: Sequence[Path],
    catalogue: Catalogue,
    *,
    mapping: Mapping = NO_MAPPING,
    progress: Callable[[str], None] | None = None,
) -> list[StagedFile]:
    """Stage the files of one call, each as one temporary table.

    The register that a mapping makes from a file is staged as a file of its own.

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
        stage, is_header = f"in_stage_{len(staged) + 1}", _header_test(mapping, catalogue)
        sheets = read_file(connection, path, stage, is_header=is_header)
        for sheet in leave_out_examples(connection, sheets, catalogue):
            recognised, mapped = recognise_by(
                mapping, sheet.headings, file=sheet.name, parameters=catalogue.parameters
            )
            recognised = _also_read(recognised, mapping)
            order, decimal = written_as(sheet.headings)
            fitted = fit_forms(
                connection,
                sheet,
                recognised,
                date_format=mapped.date_format or order,
                decimal=mapped.decimal or decimal,
            )
            text = mapping.text if mapped in mapping.tables else ""
            if mapping.tables and not text:
                words = f"read by its own headings: no section of {mapping.name} is for it"
                fitted = replace(fitted, notes=(*fitted.notes, words))
            file = StagedFile(
                len(staged) + 1,
                sha256,
                _is_known(connection, sha256, text),
                fitted,
                recognised,
                parts=(),
                mapping=text,
            )
            staged.append(_take_apart(connection, file, mapped))
            staged += _registers(connection, staged[-1], mapping, len(staged) + 1)
    return staged


def _also_read(recognised: Recognised, mapping: Mapping) -> Recognised:
    """Leave out of what is not read the columns that only the register made of a file reads."""
    registers = [s for s in mapping.tables if s.made_from == recognised.table.name]
    read = {fold(theirs) for section in registers for theirs in section.columns.values()}
    left = tuple(heading for heading in recognised.not_read if fold(heading) not in read)
    return replace(recognised, not_read=left)


def _header_test(mapping: Mapping, catalogue: Catalogue) -> IsHeader:
    def fits(row: Sequence[str]) -> bool:
        if holds_table(row):
            return True
        with suppress(InputError):
            recognise_by(mapping, row, file="", parameters=catalogue.parameters)
            return True
        return False

    return fits if mapping.tables else holds_table


def _take_apart(
    connection: duckdb.DuckDBPyConnection, file: StagedFile, mapped: TableMapping
) -> StagedFile:
    """Say what a file holds for each table, in our terms."""
    cells = read_cells(connection, file.sheet, file.recognised, mapped)
    number = file.number * PARTS
    whole = Part(number, file.name, file.known, file.table, cells.filled, cells.source)
    parts: tuple[Part, ...] = (whole,)
    notes = file.sheet.notes
    if file.recognised.not_read:
        notes += (describe_not_read(file.recognised),)
    if file.table is COMBINED:
        parts = split(whole, cells.written, cells.readings)
        if lost := remarks_not_kept(connection, parts):
            notes += (f"note and team of {lost} rows without a finding are not kept",)
    return replace(file, parts=parts, notes=notes)


def _registers(
    connection: duckdb.DuckDBPyConnection, file: StagedFile, mapping: Mapping, number: int
) -> list[StagedFile]:
    """Stage the register that the mapping makes from the vehicles a file names."""
    return [
        _register(connection, file, section, number)
        for section in mapping.tables
        if section.made_from == file.table.name and file.mapping
    ]


def _register(
    connection: duckdb.DuckDBPyConnection, file: StagedFile, section: TableMapping, number: int
) -> StagedFile:
    folded = [fold(heading) for heading in file.sheet.headings]
    lacking = [theirs for theirs in section.columns.values() if fold(theirs) not in folded]
    if lacking:
        raise InputError(
            f"{file.name}: [locomotives.columns] of the mapping names {lacking[0]!r}, but the file "
            "has no such heading."
        )
    source = file.parts[0]
    cells = {"locomotive": source.cells["locomotive"]}
    cells |= {o: file.sheet.cells[folded.index(fold(t))] for o, t in section.columns.items()}
    stage, table = f"in_stage_{number}", TABLES["locomotives"]
    if table.required - {*cells, *section.defaults}:
        raise InputError(
            f"{file.name}: [locomotives] of the mapping says no class: add it under "
            '[locomotives.default], such as class = "Alder".'
        )
    columns = ", ".join(f"{cell} AS c{place}" for place, cell in enumerate(cells.values()))
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE {stage} AS SELECT min(row_number) AS row_number, "
        "NULL::VARCHAR AS broken, NULL::VARCHAR AS surplus, * EXCLUDE (row_number) "
        f"FROM (SELECT row_number, {columns} FROM {source.source} WHERE broken IS NULL) "
        "WHERE c0 IS NOT NULL GROUP BY ALL"
    )
    plain = tuple(f"c{place}" for place in range(len(cells)))
    places = {name: place for place, name in enumerate(cells)}
    recognised = Recognised(table, places, ())
    sheet = replace(file.sheet, headings=tuple(cells), stage=stage, cells=plain, notes=())
    made = replace(file, number=number, sheet=sheet, recognised=recognised, made_from=file.sheet)
    return _take_apart(connection, made, section)


def make_cells(connection: duckdb.DuckDBPyConnection, table: Table, parts: Sequence[Part]) -> None:
    """Bring the parts about one table together in the view `in_cells_TABLE`.

    One row = one row of a part: `file` (its number), `known`, `row_number`, `broken`, and one text
    column `x_HEADING` per column of the table, outer blanks cut, NULL where empty or not in the
    file.
    """
    selects = []
    for part in parts:
        cells = ", ".join(
            f"{part.cells.get(column.name, 'NULL::VARCHAR')} AS x_{column.name}"
            for column in table.columns
        )
        selects.append(
            f"SELECT {part.number} AS file, {str(part.known).lower()} AS known, row_number, "
            f"broken, {cells} FROM {part.source} WHERE {part.where}"
        )
    text = " UNION ALL ".join(selects)
    connection.execute(f"CREATE OR REPLACE TEMP VIEW in_cells_{table.name} AS {text}")


def received_sql(file: StagedFile) -> str:
    """Return SQL over the table `file.received.stage`: the row as received, JSON."""
    keys = distinct_headings(file.received.headings)
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


def distinct_headings(headings: Sequence[str]) -> list[str]:
    """Return a name for every heading, no two alike."""
    keys: list[str] = []
    for place, heading in enumerate(headings, start=1):
        plain = heading.strip() or f"column {place}"
        keys.append(plain if plain not in keys else f"{plain} (column {place})")
    return keys


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _is_known(connection: duckdb.DuckDBPyConnection, sha256: str, mapping: str) -> bool:
    """Tell whether the same bytes came before, read the same way."""
    found = connection.execute(
        "SELECT count(*) FROM batch_file JOIN batch USING (batch) "
        "WHERE sha256 = ? AND mapping = ? AND withdrawn_at IS NULL",
        [sha256, mapping],
    ).fetchall()
    return bool(found[0][0])
