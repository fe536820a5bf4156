"""The sheet that has the inspection, a finding and readings in one row, taken apart and counted.

A staged file says something about one table or, as a combined sheet, about several: one `Part`
each. In temporary tables `file` is the number of a part; `file_of` gives the file's own. Whatever
becomes of the parts, an input row is accounted for once, by its file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import duckdb

from analytics.intake.readers import text_literal
from analytics.intake.tables import TABLES, ReadingColumn, Table

PARTS = 10_000  # numbers set apart for the parts of one file
WITHHELD_RULE = 998  # in the place of a rule's number: another part of the row is at fault
# What may stand in a row without making it a finding: who looked, and what they remarked.
_NO_FINDING = frozenset({"locomotive", "found_at", "team", "note"})
# A fault of these is the inspection's, and said once.
_SHARED = ("locomotive", "found_at", "read_at")


@dataclass(frozen=True, slots=True)
class Part:
    """What one staged file says about one table.

    Attributes
    ----------
    number
        The number of the file, times `PARTS`, plus the place of the part.
    name, known
        Of the file.
    table
        The table.
    cells
        Our heading to SQL for the cell, for the headings that the file has.
    source, where
        What the cells are read from, and which rows of it.
    heading
        The file's heading of a reading's value.
    """

    number: int
    name: str
    known: bool
    table: Table
    cells: dict[str, str]
    source: str
    where: str = "true"
    heading: str = ""


def file_of(part: str = "file") -> str:
    """Return SQL for the number of the file that a part belongs to."""
    return f"({part} // {PARTS})"


def split(
    whole: Part, written: dict[str, str], readings: Sequence[tuple[ReadingColumn, str, str]]
) -> tuple[Part, ...]:
    """Return the parts of a combined sheet: its inspections, its findings, each parameter.

    Parameters
    ----------
    whole
        The sheet as one part, its cells filled with constants.
    written
        The cells before constants were filled in: they tell whether a row has a finding.
    readings
        Per column of a parameter: what it is, SQL for its cell, its heading as written.
    """
    cells = whole.cells
    parts = [replace(whole, table=TABLES["inspections"], cells=_own(cells, "inspections"))]
    marks = [cell for name, cell in _own(written, "findings").items() if name not in _NO_FINDING]
    if marks:
        parts.append(
            replace(
                whole,
                table=TABLES["findings"],
                cells=_own(cells, "findings"),
                where=f"broken IS NULL AND coalesce({', '.join(marks)}) IS NOT NULL",
            )
        )
    parts += [_reading(whole, column, cell, heading) for column, cell, heading in readings]
    return tuple(replace(part, number=whole.number + n) for n, part in enumerate(parts))


def _reading(whole: Part, column: ReadingColumn, cell: str, heading: str) -> Part:
    cells = {
        "locomotive": whole.cells["locomotive"],
        "read_at": whole.cells["inspected_at"],
        "parameter": text_literal(column.parameter),
        "value": cell,
        "unit": text_literal(column.unit) if column.unit else "NULL::VARCHAR",
    }
    if "running_state" in whole.cells:
        cells["running_state"] = whole.cells["running_state"]
    return replace(
        whole,
        table=TABLES["readings"],
        cells=cells,
        where=f"broken IS NULL AND {cell} IS NOT NULL",
        heading=heading,
    )


def _own(cells: dict[str, str], table: str) -> dict[str, str]:
    return {name: cell for name, cell in cells.items() if name in TABLES[table].headings}


def withhold_rows(
    connection: duckdb.DuckDBPyConnection, tables: Sequence[str], parts: Sequence[Part], fate: str
) -> None:
    """Keep every part of a combined row out where one part of it has a fate.

    Parameters
    ----------
    tables
        The checked tables that combined sheets have parts in; `in_fate_TABLE` is made.
    parts
        All parts of combined sheets.
    fate
        `set_aside` or `disagree`.
    """
    numbers = ", ".join(str(part.number) for part in parts)
    met = " UNION ".join(
        f"SELECT {file_of()} AS whole, row_number FROM in_fate_{table} "
        f"WHERE fate = '{fate}' AND file IN ({numbers})"
        for table in tables
    )
    connection.execute(f"CREATE OR REPLACE TEMP TABLE in_withheld AS {met}")
    for table in tables:
        own = f"SELECT file, row_number FROM in_fate_{table} WHERE fate = '{fate}'"
        connection.execute(
            f"UPDATE in_checked_{table} SET rule = {WITHHELD_RULE} WHERE rule IS NULL "
            f"AND file IN ({numbers}) "
            f"AND ({file_of()}, row_number) IN (SELECT (whole, row_number) FROM in_withheld) "
            f"AND (file, row_number) NOT IN (SELECT (file, row_number) FROM ({own}))"
        )


def count_rows(
    connection: duckdb.DuckDBPyConnection, tables: Sequence[str], parts: Sequence[Part]
) -> None:
    """Count each row of the combined sheets once in `in_count`, by the gravest of its fates."""
    numbers = ", ".join(str(part.number) for part in parts)
    fates = " UNION ALL ".join(
        f"SELECT file, row_number, fate FROM in_fate_{table} WHERE file IN ({numbers})"
        for table in tables
    )
    connection.execute(
        "INSERT INTO in_count SELECT whole, fate, count(*) FROM ("
        f"SELECT {file_of()} AS whole, row_number, "
        "CASE WHEN bool_or(fate IN ('set_aside', 'disagree')) THEN 'set_aside' "
        "WHEN bool_or(fate = 'updated') THEN 'updated' "
        "WHEN bool_or(fate = 'accepted') THEN 'accepted' ELSE 'duplicate' END AS fate "
        f"FROM ({fates}) GROUP BY ALL) GROUP BY ALL"
    )


def gather_reasons(connection: duckdb.DuckDBPyConnection, parts: Sequence[Part]) -> None:
    """Bring the reasons of all parts of a row in `in_aside` together, by file instead of part.

    The first part at fault gives column and rule; what is the inspection's fault is said once.
    """
    if parts:
        headings = " ".join(
            f"WHEN {part.number} THEN {text_literal(part.heading)}"
            for part in parts
            if part.heading
        )
        if headings:
            connection.execute(
                f"UPDATE in_aside SET column_name = CASE file {headings} ELSE column_name END "
                "WHERE column_name = 'value'"
            )
        shared = ", ".join(f"'{name}'" for name in _SHARED)
        numbers = ", ".join(str(part.number) for part in parts)
        connection.execute(
            f"DELETE FROM in_aside WHERE file IN ({numbers}) AND column_name IN ({shared}) "
            f"AND file % {PARTS} > 0 AND ({file_of()}, row_number) IN ("
            f"SELECT ({file_of()}, row_number) FROM in_aside WHERE file % {PARTS} = 0)"
        )
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE in_aside AS WITH said AS ("
        f"SELECT {file_of()} AS file, row_number, reason, min(file) AS part, "
        "arg_min_null(column_name, file) AS column_name, arg_min(rule, file) AS rule "
        f"FROM in_aside GROUP BY {file_of()}, row_number, reason) "
        "SELECT file, row_number, arg_min_null(column_name, part) AS column_name, "
        "arg_min(rule, part) AS rule, string_agg(reason, ' ' ORDER BY part, reason) AS reason, "
        "NULL::VARCHAR AS received FROM said GROUP BY file, row_number"
    )


def remarks_not_kept(connection: duckdb.DuckDBPyConnection, parts: Sequence[Part]) -> int:
    """Count rows of one combined sheet whose note or team stands beside no finding."""
    findings = [part for part in parts if part.table.name == "findings"]
    cells = [c for part in findings for n, c in part.cells.items() if n in {"team", "note"}]
    if not cells:
        return 0
    return int(
        connection.execute(
            f"SELECT count(*) FROM {findings[0].source} WHERE broken IS NULL "
            f"AND NOT ({findings[0].where}) AND coalesce({', '.join(cells)}) IS NOT NULL"
        ).fetchall()[0][0]
    )
