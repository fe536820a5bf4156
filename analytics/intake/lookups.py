"""What cells are compared with: the catalogue and the register as temporary tables.

Names, positions and units are looked at once per distinct spelling, never once per row; SQL joins
the outcome back to the rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import duckdb
import pyarrow as pa

from analytics.catalogue.model import Catalogue
from analytics.errors import nearest, unknown_name
from analytics.intake.positions import read_position
from analytics.intake.tables import Column, Table
from analytics.intake.units import conversion

# Beyond this many unknown spellings of one column, a suggestion for each helps nobody and is slow.
SUGGESTED_FOR = 50

_SCHEMAS: dict[str, dict[str, pa.DataType]] = {
    "class_limit": {
        "class": pa.string(),
        "max_hours_per_day": pa.float64(),
        "max_km_per_day": pa.float64(),
    },
    "component": {"component": pa.string()},
    "component_defect": {"component": pa.string(), "defect": pa.string()},
    "class_component": {
        "class": pa.string(),
        "component": pa.string(),
        "positions": pa.int32(),
    },
    "action": {"action": pa.string()},
    "parameter": {
        "parameter": pa.string(),
        "unit": pa.string(),
        "physical_min": pa.float64(),
        "physical_max": pa.float64(),
    },
}
_KNOWN = {
    "locomotive": "SELECT locomotive AS name FROM in_register",
    "class": "SELECT class AS name FROM in_class_limit",
    "component": "SELECT component AS name FROM in_component",
    "action": "SELECT action AS name FROM in_action",
    "parameter": "SELECT parameter AS name FROM in_parameter",
}


def bring_catalogue(connection: duckdb.DuckDBPyConnection, catalogue: Catalogue) -> None:
    """Make the temporary tables `in_class_limit`, `in_component`, ... from the catalogue."""
    tables = catalogue.tables()
    for name, columns in _SCHEMAS.items():
        rows = [[row[column] for column in columns] for row in tables[name]]
        make_table(connection, f"in_{name}", columns, rows)


def bring_register(connection: duckdb.DuckDBPyConnection, register_sql: str) -> None:
    """Make `in_register`: one row = one locomotive, its class, and the ends of its record."""
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE in_register AS SELECT locomotive, class AS of_class, bucket, "
        "in_service_from AS entered, greatest(in_service_from, records_from) AS begins, "
        f"in_service_to AS ends FROM ({register_sql})"
    )


def look_up(connection: duckdb.DuckDBPyConnection, table: Table) -> None:
    """Look up every distinct name, position and unit of `in_cells_TABLE`."""
    for column in table.columns:
        if column.known_as == "defect":
            _look_up_defects(connection, table)
        elif column.known_as:
            _look_up_names(connection, table, column)
        if column.kind == "position":
            _look_up_positions(connection, table)
        if column.name == "unit":
            _look_up_units(connection, table)


def make_table(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    columns: dict[str, pa.DataType],
    rows: Sequence[Sequence[object]],
) -> None:
    """Make a temporary table from rows."""
    by_column = list(zip(*rows, strict=True)) or [()] * len(columns)
    arrays = [pa.array(v, t) for v, t in zip(by_column, columns.values(), strict=True)]
    connection.register("in_frame", pa.table(arrays, names=list(columns)))
    connection.execute(f"CREATE OR REPLACE TEMP TABLE {name} AS FROM in_frame")
    connection.unregister("in_frame")


def _look_up_names(connection: duckdb.DuckDBPyConnection, table: Table, column: Column) -> None:
    kind = column.known_as
    missing = connection.execute(
        f"SELECT DISTINCT x_{column.name} FROM in_cells_{table.name} ANTI JOIN ({_KNOWN[kind]}) "
        f"ON x_{column.name} = name WHERE x_{column.name} IS NOT NULL ORDER BY 1"
    ).fetchall()
    known = [str(name) for (name,) in connection.execute(_KNOWN[kind]).fetchall()]
    rows = [(name, _name_words(kind, name, known)) for (name,) in missing[:SUGGESTED_FOR]]
    rows += [(name, f"{kind} {name[:60]!r} is not known.") for (name,) in missing[SUGGESTED_FOR:]]
    _keep_words(connection, table, column.name, rows)


def _name_words(kind: str, name: str, known: Iterable[str]) -> str:
    words = unknown_name(kind, name[:60], known)
    if kind == "locomotive":
        return f"{words} Hand in its row of the locomotives table, in this call or before."
    return words


def _look_up_defects(connection: duckdb.DuckDBPyConnection, table: Table) -> None:
    """Find defects that the row's component cannot have; the key is component and defect."""
    missing = connection.execute(
        f"SELECT DISTINCT x_component, x_defect FROM in_cells_{table.name} "
        "ANTI JOIN in_component_defect ON x_component = component AND x_defect = defect "
        "SEMI JOIN in_component ON x_component = in_component.component "
        "WHERE x_defect IS NOT NULL ORDER BY ALL"
    ).fetchall()
    known: dict[str, list[str]] = {}
    for component, defect in connection.execute("FROM in_component_defect").fetchall():
        known.setdefault(component, []).append(defect)
    rows = [
        (component, defect, _defect_words(component, defect, known[component], place))
        for place, (component, defect) in enumerate(missing)
    ]
    columns = {"component": pa.string(), "value": pa.string(), "words": pa.string()}
    make_table(connection, f"in_unknown_{table.name}_defect", columns, rows)


def _defect_words(component: str, defect: str, known: Iterable[str], place: int) -> str:
    words = f"defect {defect[:60]!r} is not one that {component} can have"
    if place >= SUGGESTED_FOR:
        return f"{words}."
    names = sorted(known)
    close = nearest(defect[:60], names)
    return f"{words}; {'nearest' if close else 'known'}: {', '.join(close or names)}."


def _keep_words(
    connection: duckdb.DuckDBPyConnection, table: Table, column: str, rows: list[tuple[str, str]]
) -> None:
    columns = {"value": pa.string(), "words": pa.string()}
    make_table(connection, f"in_unknown_{table.name}_{column}", columns, rows)


def _look_up_positions(connection: duckdb.DuckDBPyConnection, table: Table) -> None:
    written = connection.execute(
        "SELECT DISTINCT positions, x_position "
        f"FROM in_cells_{table.name} JOIN in_register ON locomotive = x_locomotive "
        "JOIN in_class_component AS c ON c.class = of_class AND c.component = x_component "
        "WHERE x_position IS NOT NULL AND positions > 0 ORDER BY ALL"
    ).fetchall()
    rows = [(places, text, *read_position(text, places)) for places, text in written]
    columns = {
        "places": pa.int32(),
        "written": pa.string(),
        "place": pa.string(),
        "fault": pa.string(),
    }
    make_table(connection, f"in_position_{table.name}", columns, rows)


def _look_up_units(connection: duckdb.DuckDBPyConnection, table: Table) -> None:
    written = connection.execute(
        f"SELECT DISTINCT parameter, x_unit, unit FROM in_cells_{table.name} "
        "JOIN in_parameter ON parameter = x_parameter WHERE x_unit IS NOT NULL ORDER BY ALL"
    ).fetchall()
    keep_conversions(connection, f"in_unit_{table.name}", written)


def keep_conversions(
    connection: duckdb.DuckDBPyConnection, name: str, wanted: Sequence[tuple[str, str, str]]
) -> None:
    """Make a table of how units turn into others, from (parameter, unit as written, unit wanted).

    Its rows: parameter, written, factor, shift (value x factor + shift), or else `fault` in words.
    """
    rows = [(parameter, given, *_factor(given, unit)) for parameter, given, unit in wanted]
    columns = {
        "parameter": pa.string(),
        "written": pa.string(),
        "factor": pa.float64(),
        "shift": pa.float64(),
        "fault": pa.string(),
    }
    make_table(connection, name, columns, rows)


def _factor(given: str, wanted: str) -> tuple[float | None, float | None, str | None]:
    found = conversion(given, wanted)
    return (None, None, found) if isinstance(found, str) else (*found, None)
