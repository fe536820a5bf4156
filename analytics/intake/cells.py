"""What the columns of a staged file say in our own terms: headings, values, units, constants."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb
import pyarrow as pa

from analytics.intake.lookups import make_table
from analytics.intake.mapping import KEPT_IN, TableMapping
from analytics.intake.readers import Sheet, text_literal
from analytics.intake.tables import COMBINED, Column, ReadingColumn, Recognised
from analytics.intake.units import conversion

_FOLDED = "regexp_replace(lower(strip_accents({})), '\\s+', '', 'g')"


@dataclass(frozen=True, slots=True)
class Cells:
    """SQL for the cells of one staged file.

    Attributes
    ----------
    source
        What follows FROM: the staged rows, with the values of the mapping beside them.
    written
        Our heading to SQL for the cell, values and units as ours; only headings in the file.
    filled
        The same with the constants of the mapping where a cell is empty or its column absent.
    readings
        Per column of a parameter: what it is, SQL for its cell, its heading as written.
    """

    source: str
    written: dict[str, str]
    filled: dict[str, str]
    readings: tuple[tuple[ReadingColumn, str, str], ...]


def read_cells(
    connection: duckdb.DuckDBPyConnection,
    sheet: Sheet,
    recognised: Recognised,
    mapped: TableMapping,
) -> Cells:
    """Bring the cells of a staged file into our terms; makes `in_values_STAGE_HEADING`.

    `mapped` is an empty section where the file has none.
    """
    source, written = sheet.stage, {}
    for column in recognised.table.columns:
        place = recognised.places.get(column.name)
        if place is None:
            continue
        cell = sheet.cells[place]
        if column.name in mapped.values:
            name = _bring_values(connection, sheet, cell, column, mapped)
            source += f" LEFT JOIN {name} ON {name}.written = {cell}"
            cell = f"CASE WHEN {name}.written IS NULL THEN {cell} ELSE {name}.ours END"
        written[column.name] = _in_our_unit(cell, column.name, mapped)
    readings = tuple(
        (column, sheet.cells[column.place], sheet.headings[column.place])
        for column in recognised.readings
    )
    return Cells(source, written, _filled(written, recognised, mapped), readings)


def _bring_values(
    connection: duckdb.DuckDBPyConnection,
    sheet: Sheet,
    cell: str,
    column: Column,
    mapped: TableMapping,
) -> str:
    """Make the table of a column's distinct values that the mapping knows, with ours; name it.

    Spelling is compared once per distinct value, without case, accents and blanks.
    """
    name = f"in_values_{sheet.stage}_{column.name}"
    columns = {"theirs": pa.string(), "ours": pa.string()}
    pairs = [(theirs, ours or None) for theirs, ours in mapped.values[column.name].items()]
    make_table(connection, "in_theirs", columns, pairs)
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE {name} AS SELECT written, any_value(ours) AS ours "
        f"FROM (SELECT DISTINCT {cell} AS written FROM {sheet.stage}) JOIN in_theirs "
        f"ON {_FOLDED.format('written')} = {_FOLDED.format('theirs')} GROUP BY written"
    )
    return name


def _in_our_unit(cell: str, heading: str, mapped: TableMapping) -> str:
    unit, ours = mapped.units.get(heading), KEPT_IN.get(heading)
    found = conversion(unit, ours) if unit and ours else (1.0, 0.0)
    if isinstance(found, str) or found == (1.0, 0.0):  # a text was complained of when it was read
        return cell
    number = f"TRY_CAST({cell} AS DOUBLE)"
    return (
        f"CASE WHEN {number} IS NULL THEN {cell} "
        f"ELSE round({number} * {found[0]!r} + {found[1]!r}, 9)::VARCHAR END"
    )


def _filled(
    written: dict[str, str], recognised: Recognised, mapped: TableMapping
) -> dict[str, str]:
    filled = dict(written)
    if recognised.table is COMBINED:  # one date of the row is the date of everything in it
        own = written.get("found_at")
        at = filled["inspected_at"]
        filled["found_at"] = f"coalesce({own}, {at})" if own else at
    headings = recognised.table.headings
    given = dict(filled)
    for heading, value in mapped.defaults.items():
        otherwise = given.get(value, "NULL::VARCHAR") if value in headings else text_literal(value)
        cell = given.get(heading)
        filled[heading] = f"coalesce({cell}, {otherwise})" if cell else otherwise
    return filled
