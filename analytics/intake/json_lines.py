"""JSON lines to a staged table: one object a line, its keys the headings."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb

from analytics.errors import InputError
from analytics.intake.encodings import find_encoding
from analytics.intake.received import make_stage, refuse_many_headings, stage_rows, text_literal

_MOST_IN_LINE = 1_000_000  # characters; a longer line is kept as broken


def read_json_lines(
    connection: duckdb.DuckDBPyConnection, path: Path, stage: str
) -> tuple[tuple[str, ...], dict[str, object]]:
    """Stage a file of JSON objects, one a line; return its headings and how it was written.

    The headings are the keys of all lines, in the order in which they first appear. True and false
    become yes and no; a list or an object within is kept as its JSON text. A line that is no
    object is kept whole and marked.

    Raises
    ------
    InputError
        If the file is no text, or no line of it is an object.
    """
    encoding = find_encoding(path)
    lines = f"{stage}_lines"
    make_stage(connection, lines, 1)
    stage_rows(connection, lines, _lines(path, encoding))
    connection.execute(
        f"UPDATE {lines} SET broken = 'the line is not a JSON object', surplus = c0 WHERE "
        f"length(c0) > {_MOST_IN_LINE} OR NOT json_valid(c0) OR json_type(c0) <> 'OBJECT'"
    )
    keys = connection.execute(
        "SELECT key FROM (SELECT row_number, unnest(json_keys(c0)) AS key, "
        f"generate_subscripts(json_keys(c0), 1) AS place FROM {lines} WHERE broken IS NULL) "
        "GROUP BY key ORDER BY min((row_number, place))"
    ).fetchall()
    headings = tuple(str(key) for (key,) in keys)
    if not headings:
        raise InputError(f"{path.name}: no line of it is a JSON object.")
    refuse_many_headings(path.name, headings)
    cells = ", ".join(
        f"CASE WHEN broken IS NULL THEN {_value(key)} END AS c{place}"
        for place, key in enumerate(headings)
    )
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE {stage} AS "
        f"SELECT row_number, broken, surplus, {cells} FROM {lines}"
    )
    connection.execute(f"DROP TABLE {lines}")
    return headings, {"kind": "json-lines", "encoding": encoding}


def _value(key: str) -> str:
    quoted = key.replace("\\", "\\\\").replace('"', '\\"')
    at = text_literal(f'$."{quoted}"')
    return (
        f"CASE json_type(c0, {at}) WHEN 'BOOLEAN' THEN CASE json_extract_string(c0, {at}) "
        f"WHEN 'true' THEN 'yes' ELSE 'no' END ELSE json_extract_string(c0, {at}) END"
    )


def _lines(path: Path, encoding: str) -> Iterator[tuple[int, list[str | None]]]:
    with path.open(encoding="utf-8-sig" if encoding == "utf-8" else encoding) as file:
        for number, line in enumerate(file, start=1):
            if text := line.strip():
                yield number, [None, None, text]
