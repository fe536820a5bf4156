"""Counter readings that only their neighbours give away: a digit too many, a digit missing.

A reading too high for the days gone by, after which the next one is lower again, and a reading that
falls back while the next one is where it should be, are set aside. A counter that falls back and
stays low is a new counter: history recognises it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import duckdb

from analytics.intake.rules import plain_instant, plain_number

JUMP_RULE = 999  # in the place of a rule's number, behind all others
NEIGHBOURHOOD_DAYS = 62  # farther readings say nothing about a single one (METHODS, section 0)
ROUNDING = 1  # readings of one counter, rounded by one hand and not by another

# Table, the instant of its readings; at one instant usage comes before an inspection.
_SOURCES = {"usage": "read_at", "inspections": "inspected_at"}
_COUNTERS = {"engine_hours": "max_hours_per_day", "km": "max_km_per_day"}


def find_jumps(
    connection: duckdb.DuckDBPyConnection,
    tables: Sequence[str],
    current: Callable[[str, str], str],
) -> None:
    """Mark the readings of `in_checked_usage` and `in_checked_inspections` that jump.

    Their rule becomes `JUMP_RULE`; `in_jump` holds table_name, file, row_number, column and reason.
    """
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE in_jump (table_name VARCHAR, file INTEGER, "
        "row_number BIGINT, column_name VARCHAR, reason VARCHAR)"
    )
    handed_in = [table for table in _SOURCES if table in tables]
    if not handed_in:
        return
    held = _held(connection, handed_in, current)
    for counter, limit in _COUNTERS.items():
        _make_series(connection, handed_in, held, counter, limit)
        connection.execute(f"INSERT INTO in_jump {_jumps_sql(handed_in, counter)}")
    for table in handed_in:
        connection.execute(
            f"UPDATE in_checked_{table} SET rule = {JUMP_RULE} WHERE rule IS NULL AND (file, "
            f"row_number) IN (SELECT (file, row_number) FROM in_jump WHERE table_name = '{table}')"
        )


def _held(
    connection: duckdb.DuckDBPyConnection,
    handed_in: Sequence[str],
    current: Callable[[str, str], str],
) -> dict[str, str]:
    """Return SQL for the readings held near those handed in, by table."""
    rows = " UNION ALL ".join(
        f"SELECT locomotive, {_SOURCES[table]} AS seen_at FROM in_checked_{table} "
        "WHERE rule IS NULL"
        for table in handed_in
    )
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE in_near AS SELECT locomotive, "
        f"min(seen_at) - to_days({NEIGHBOURHOOD_DAYS}) AS first_at, "
        f"max(seen_at) + to_days({NEIGHBOURHOOD_DAYS}) AS last_at FROM ({rows}) GROUP BY locomotive"
    )
    near = "locomotive IN (SELECT locomotive FROM in_near)"
    return {
        table: f"SELECT h.* FROM ({current(table, near)}) AS h JOIN in_near AS n "
        f"ON n.locomotive = h.locomotive AND {instant} BETWEEN first_at AND last_at"
        for table, instant in _SOURCES.items()
    }


def _make_series(
    connection: duckdb.DuckDBPyConnection,
    handed_in: Sequence[str],
    held: dict[str, str],
    counter: str,
    limit: str,
) -> None:
    """Make `in_series`: one row = one distinct reading of one counter, with the limit per day."""
    parts = []
    for place, (table, instant) in enumerate(_SOURCES.items()):
        sources = [f"({held[table]})"]
        if table in handed_in:
            sources.append(f"(FROM in_checked_{table} WHERE rule IS NULL)")
        parts += [
            f"SELECT locomotive, {instant} AS seen_at, {place} AS source, {counter} AS value "
            f"FROM {source} WHERE {counter} IS NOT NULL"
            for source in sources
        ]
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE in_series AS "
        f"SELECT DISTINCT s.*, {limit} AS most FROM ({' UNION ALL '.join(parts)}) AS s "
        "JOIN in_register USING (locomotive) LEFT JOIN in_class_limit ON class = of_class"
    )


def _jumps_sql(handed_in: Sequence[str], counter: str) -> str:
    """Return SQL for the rows of the files whose reading jumps, with the reason."""
    window = "WINDOW w AS (PARTITION BY locomotive ORDER BY seen_at, source, value)"
    beside = (
        "lag(value) OVER w AS before, lag(seen_at) OVER w AS before_at, "
        "lead(value) OVER w AS after, lead(seen_at) OVER w AS after_at"
    )
    # A bare date may stand for any hour of its day, so one day more is allowed for.
    days = "(epoch_us(seen_at) - epoch_us(before_at)) / 86400e6"
    too_high = f"value - before > most * ({days} + 1) AND after < value"
    falls_back = (
        f"value < before - {ROUNDING} AND after >= before "
        "AND before_at::DATE < seen_at::DATE AND seen_at::DATE < after_at::DATE"
    )
    start = f"'{counter} ' || {plain_number('value')}"
    last = f"{plain_number('before')} || ' read on ' || {plain_instant('before_at')}"
    high_words = (
        f"{start} || ' is too high: ' || {last} || ', ' || {plain_number('after')} || ' on ' || "
        f"{plain_instant('after_at')} || ', and the catalogue allows ' || {plain_number('most')} "
        "|| ' a day: check the digits.'"
    )
    low_words = (
        f"{start} || ' falls back behind ' || {last} || ', and the next reading is ' || "
        f"{plain_number('after')} || ' again: check the digits.'"
    )
    rows = " UNION ALL ".join(
        f"SELECT '{table}' AS table_name, file, row_number, locomotive, "
        f"{_SOURCES[table]} AS seen_at, {place} AS source, {counter} AS value "
        f"FROM in_checked_{table} WHERE rule IS NULL"
        for place, table in enumerate(_SOURCES)
        if table in handed_in
    )
    return (
        f"WITH first_look AS (SELECT *, {beside} FROM in_series {window}), "
        f"high AS (SELECT *, {high_words} AS reason FROM first_look WHERE {too_high}), "
        "rest AS (SELECT locomotive, seen_at, source, value FROM in_series "
        "ANTI JOIN high USING (locomotive, seen_at, source, value)), "
        f"second_look AS (SELECT *, {beside} FROM rest {window}), "
        f"low AS (SELECT *, {low_words} AS reason FROM second_look WHERE {falls_back}), "
        "jumps AS (SELECT locomotive, seen_at, source, value, reason FROM high UNION ALL "
        "SELECT locomotive, seen_at, source, value, reason FROM low) "
        f"SELECT table_name, file, row_number, '{counter}', reason FROM ({rows}) "
        "JOIN jumps USING (locomotive, seen_at, source, value)"
    )
