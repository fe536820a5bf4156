"""Rows of one table to typed rows, each with the first rule it breaks: one pass of SQL, no loop.

`in_checked_TABLE`: one row = one input row: file, known, row_number, `rule` (place of the first
rule broken in `Checked.rules`, from 1; NULL where none), the columns of the facts, and two numbers
for comparing: `k` the key's text, `c` all values' text.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import duckdb

from analytics.intake.combined import Part
from analytics.intake.lookups import look_up
from analytics.intake.readers import text_literal
from analytics.intake.rules import Rule, meaning, rules_of_context, rules_of_shape
from analytics.intake.staging import StagedFile, make_cells, received_sql
from analytics.intake.tables import Table


@dataclass(frozen=True, slots=True)
class Checked:
    """A checked table: its files, its rules, and how many of the first are rules of shape."""

    table: Table
    files: tuple[Part, ...]
    rules: tuple[Rule, ...]
    shape: int


def check_table(
    connection: duckdb.DuckDBPyConnection,
    table: Table,
    files: Sequence[Part],
    *,
    now: datetime,
) -> Checked:
    """Check every row of the files of one table; make `in_checked_TABLE`.

    `in_register` and the catalogue's tables must be there (see `lookups`).
    """
    make_cells(connection, table, files)
    look_up(connection, table)
    _make_judged(connection, table)
    shape = rules_of_shape(table)
    rules = [*shape, *rules_of_context(table, now)]
    cases = " ".join(f"WHEN {rule.broken} THEN {n}" for n, rule in enumerate(rules, start=1))
    stored = ", ".join(f"{sql} AS {name}" for name, sql in _stored(table).items())
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE in_checked_{table.name} AS "
        f"SELECT *, {key_number(table)} AS k, {row_number_of_values(table)} AS c FROM ("
        f"SELECT file, known, row_number, (CASE {cases} END)::SMALLINT AS rule, {stored} "
        f"FROM in_judged_{table.name})"
    )
    return Checked(table, tuple(files), tuple(rules), len(shape))


def key_number(table: Table) -> str:
    """Return SQL over the columns of the facts: a number for the key (its text's md5)."""
    columns = text_number(table.stored_key)
    if not table.id_column:
        return columns
    return (
        f"CASE WHEN {table.id_column} IS NULL THEN {columns} "
        f"ELSE md5_number('id ' || {table.id_column}) END"
    )


def row_number_of_values(table: Table) -> str:
    """Return SQL over the columns of the facts: a number for all values.

    For comparing rows of one key within one run only: what the engine makes of the same values may
    differ between its versions.
    """
    # What is made from other values, by today's catalogue, does not make a row a different one.
    return f"hash({', '.join(name for name in table.stored if name not in table.derived)})"


def collect_reasons(connection: duckdb.DuckDBPyConnection, checked: Checked) -> None:
    """Write the rows with fate `set_aside` of one table to `in_aside`, as received, with reasons.

    A row that breaks several rules carries all the reasons, and the name and column of the first;
    a row that is wrong as a whole only that reason.
    """
    name = checked.table.name
    if not connection.execute("SELECT 1 FROM in_broken LIMIT 1").fetchall():
        return
    rules = list(enumerate(checked.rules, start=1))
    rule = " ".join(f"WHEN {n} THEN {text_literal(r.name)}" for n, r in rules)
    column = " ".join(f"WHEN {n} THEN {text_literal(r.column)}" for n, r in rules if r.column)
    said = ", ".join(f"CASE WHEN {r.broken} THEN {r.reason} END" for _, r in rules if r.column)
    whole = " ".join(f"WHEN {n} THEN {r.reason}" for n, r in rules if not r.column)
    connection.execute(
        "INSERT INTO in_aside "
        f"SELECT j.file, j.row_number, CASE f.rule {column} END, CASE f.rule {rule} END, "
        f"CASE f.rule {whole} ELSE concat_ws(' ', {said}) END, NULL "
        f"FROM in_judged_{name} AS j JOIN in_broken AS f USING (file, row_number)"
    )


def keep_received(connection: duckdb.DuckDBPyConnection, files: Sequence[StagedFile]) -> None:
    """Fill in, for every row of `in_aside`, the row as received."""
    for file in files:
        connection.execute(
            "UPDATE in_aside SET received = s.received FROM (SELECT row_number, "
            f"{received_sql(file)} AS received FROM {file.received.stage} "
            f"SEMI JOIN (SELECT row_number FROM in_aside WHERE file = {file.number}) "
            "USING (row_number)) AS s "
            f"WHERE in_aside.file = {file.number} AND in_aside.row_number = s.row_number"
        )


def text_number(names: Sequence[str]) -> str:
    """Return SQL for a number that stands for the values of some columns (their text's md5)."""
    cells = ", ".join(f"coalesce({name}::VARCHAR, chr(30))" for name in names)
    return f"md5_number(concat_ws(chr(31), {cells}))"


def _make_judged(connection: duckdb.DuckDBPyConnection, table: Table) -> None:
    """Make the view that the rules read: cells, what they mean, and what was looked up."""
    columns = {column.name: column for column in table.columns}
    meant = ", ".join(f"{meaning(column)} AS v_{name}" for name, column in columns.items())
    fields, joins = ["t.*"], [f"FROM in_typed_{table.name} AS t"]
    if "closed_at" in columns:
        # A closing date without a time on the day of the finding means the finding's own instant.
        same_day = "length(t.x_closed_at) = 10 AND t.v_closed_at::DATE = t.v_found_at::DATE"
        fields[0] = (
            f"t.* REPLACE (CASE WHEN {same_day} THEN t.v_found_at ELSE t.v_closed_at END "
            "AS v_closed_at)"
        )
    for name, column in columns.items():
        if column.known_as:
            pair = " AND n_defect.component = t.x_component" if name == "defect" else ""
            joins.append(
                f"LEFT JOIN in_unknown_{table.name}_{name} AS n_{name} "
                f"ON n_{name}.value = t.x_{name}{pair}"
            )
            fields.append(f"n_{name}.words AS u_{name}")
    for wanted, extra_fields, join in _joined(table):
        if wanted in columns and columns["locomotive"].known_as:
            fields.append(extra_fields)
            joins.append(join)
    connection.execute(
        f"CREATE OR REPLACE TEMP VIEW in_typed_{table.name} AS "
        f"SELECT *, {meant} FROM in_cells_{table.name}"
    )
    connection.execute(
        f"CREATE OR REPLACE TEMP VIEW in_judged_{table.name} AS "
        f"SELECT {', '.join(fields)} {' '.join(joins)}"
    )


def _joined(table: Table) -> list[tuple[str, str, str]]:
    """Return what a heading brings along: (heading, fields, join)."""
    return [
        (
            "locomotive",
            "r.of_class, r.entered, r.begins, r.ends",
            "LEFT JOIN in_register AS r ON r.locomotive = t.x_locomotive",
        ),
        (
            "component",
            "s.positions AS places",
            "LEFT JOIN in_class_component AS s ON s.class = r.of_class "
            "AND s.component = t.x_component",
        ),
        (
            "position",
            "p.place, p.fault AS place_fault",
            f"LEFT JOIN in_position_{table.name} AS p ON p.places = s.positions "
            "AND p.written = t.x_position",
        ),
        (
            "unit",
            "m.unit, m.physical_min, m.physical_max, n.fault AS unit_fault, "
            "v_value * coalesce(n.factor, 1) + coalesce(n.shift, 0) AS v_value_in_unit",
            "LEFT JOIN in_parameter AS m ON m.parameter = t.x_parameter "
            f"LEFT JOIN in_unit_{table.name} AS n ON n.parameter = t.x_parameter "
            "AND n.written = t.x_unit",
        ),
    ]


def _stored(table: Table) -> dict[str, str]:
    """Return the columns of the facts with their SQL over the judged view, in the facts' order."""
    stored: dict[str, str] = {}
    for column in table.columns:
        value = f"v_{column.name}"
        if column.kind == "position":
            value = "CASE WHEN x_position IS NULL AND places = 1 THEN '1' ELSE place END"
        elif column.default:
            value = f"coalesce({value}, {text_literal(column.default)})"
        stored[column.stored_as] = value
    for column in table.columns:
        if column.timed:
            stored[column.timed] = f"length(x_{column.name}) > 10"
    for name in table.derived:
        stored[name] = f"v_{name}"
    return stored
