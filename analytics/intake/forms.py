r"""How dates and numbers of one file are written, found out column by column and brought to ours.

Dates: ISO and year.month.day are never ambiguous, and with dots the day always comes before the
month (common practice where dots are written). With strokes or hyphens (3/4/2024) either may come
first: one value that reads only one way settles its column, and where none does the file is refused
with a question. Plain numbers are days since 30 December 1899 in a workbook, or where a column of
dates has nothing but numbers from 20000 to 80000.

Numbers: a mark that stands twice, or with more or fewer than three digits behind it, or before the
other mark, says what it is. `12,345` alone says nothing: its column decides, else the file, else
the row is set aside. `12.345` is twelve and a bit unless the column or the text file has decimal
commas. Blanks between groups of three digits, and a unit that fits the column, are taken off.

A cell that does not fit stays as written, for the rules to name.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import duckdb
import pyarrow as pa

from analytics.errors import InputError
from analytics.intake.lookups import make_table
from analytics.intake.received import Sheet, text_literal
from analytics.intake.tables import Column, Recognised
from analytics.intake.totals import mark_totals_row

_BLANK = "[ \u00a0\u2007\u2009\u202f]"
_TIME = r"(?:[ T,]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?"
_DOTTED = rf"(\d{{1,2}})\.{_BLANK}?(\d{{1,2}})\.{_BLANK}?(\d{{4}}|\d{{2}})\.?{_TIME}"
_STROKES = rf"(\d{{1,2}})[/-](\d{{1,2}})[/-](\d{{4}}|\d{{2}}){_TIME}"
_YEAR_FIRST = rf"(\d{{4}})[./]{_BLANK}?(\d{{1,2}})[./]{_BLANK}?(\d{{1,2}})\.?{_TIME}"
_SERIAL = r"[2-7]\d{4}(\.\d+)?|80000"
_GROUP = r"[+-]?[1-9]\d{0,2}"
_COMMAS = rf"{_GROUP}(,\d{{3}}){{2,}}|{_GROUP}(,\d{{3}})+\.\d*"  # commas between thousands
_DOTS = rf"{_GROUP}(\.\d{{3}}){{2,}}|{_GROUP}(\.\d{{3}})+,\d*"
_ONE_COMMA = rf"{_GROUP},\d{{3}}"  # a decimal comma, or one between thousands
_ONE_DOT = rf"{_GROUP}\.\d{{3}}"
_HOURS = "h|hr|hrs|hour|hours|std|stunden|\u00f3|\u00f3ra|\u00fczem\u00f3ra|uzemora"
_UNITS = {
    "engine_hours": _HOURS,
    "engine_hours_at_start": _HOURS,
    "down_hours": _HOURS,
    "labour_hours": _HOURS,
    "km": "km",
    "km_at_start": "km",
}


@dataclass(frozen=True, slots=True)
class _Column:
    """A column to look at: its place, our heading, SQL for its cell."""

    place: int
    heading: str
    cell: str
    is_date: bool


def fit_forms(
    connection: duckdb.DuckDBPyConnection,
    sheet: Sheet,
    recognised: Recognised,
    *,
    date_format: str = "",
    decimal: str = "",
) -> Sheet:
    """Bring dates and numbers of a staged sheet into the form that the rules read.

    A totals row is marked, cells merged downwards are filled. Where a date or number is not plain,
    its column gets a twin in the staged table (`f3` beside `c3`, which stays as received), and the
    sheet returned reads that.

    Parameters
    ----------
    connection, sheet, recognised
        The staged sheet and what its header says.
    date_format
        day-first, month-first, iso, or as it is written (`DD/MM/YYYY`); empty: found out.
    decimal
        The decimal mark, a point or a comma; empty: found out.

    Raises
    ------
    InputError
        If the dates of a column read both ways, and nothing says which.
    """
    _fill_merged(connection, sheet, recognised)
    if sheet.form.get("kind") != "parquet":
        mark_totals_row(connection, sheet, recognised)
    columns = list(_columns(sheet, recognised))
    strange = _not_plain(connection, sheet, columns)
    if not strange and not decimal:
        return sheet
    dates: dict[str, str] = {}
    cells: dict[int, str] = {}
    for column in strange:
        if column.is_date:
            order, cells[column.place] = _date_cell(connection, sheet, column, date_format)
            if order:
                dates[column.heading] = order
    numbers = [column for column in columns if not column.is_date]
    mark, made = _number_cells(connection, sheet, numbers, strange, decimal)
    cells |= made
    form = sheet.form | ({"dates": dates} if dates else {}) | ({"decimal": mark} if mark else {})
    return replace(sheet, cells=_twins(connection, sheet, cells), form=form)


def _columns(sheet: Sheet, recognised: Recognised) -> Iterator[_Column]:
    for column in recognised.table.columns:
        place = recognised.places.get(column.name)
        if place is not None and column.kind in {"instant", "number"}:
            yield _Column(place, column.name, sheet.cells[place], column.kind == "instant")
    for reading in recognised.readings:
        yield _Column(reading.place, reading.parameter, sheet.cells[reading.place], is_date=False)


def _not_plain(
    connection: duckdb.DuckDBPyConnection, sheet: Sheet, columns: list[_Column]
) -> list[_Column]:
    """Return the columns with a cell that is neither an ISO date nor a plain number.

    The tests are cheap and may name a column too many; that costs time only.
    """
    if not columns:
        return []
    tests = ", ".join(
        f"bool_or({c.cell}[5] <> '-' OR {c.cell}[8] <> '-')"
        if c.is_date
        else f"bool_or(TRY_CAST({c.cell} AS DOUBLE) IS NULL AND {c.cell} IS NOT NULL)"
        for c in columns
    )
    found = connection.execute(f"SELECT {tests} FROM {sheet.stage}").fetchall()[0]
    return [column for column, strange in zip(columns, found, strict=True) if strange]


def _twins(
    connection: duckdb.DuckDBPyConnection, sheet: Sheet, cells: dict[int, str]
) -> tuple[str, ...]:
    """Keep rewritten cells beside those received; return SQL for all cells."""
    if not cells:
        return sheet.cells
    for place in cells:
        connection.execute(f"ALTER TABLE {sheet.stage} ADD COLUMN f{place} VARCHAR")
    made = ", ".join(f"f{place} = {cell}" for place, cell in cells.items())
    connection.execute(f"UPDATE {sheet.stage} SET {made}")
    return tuple(f"f{place}" if place in cells else cell for place, cell in enumerate(sheet.cells))


def _date_cell(
    connection: duckdb.DuckDBPyConnection, sheet: Sheet, column: _Column, date_format: str
) -> tuple[str, str]:
    """Return the order that a column's dates show, and SQL for its cells as ISO."""
    cell = column.cell
    if date_format == "iso":
        return "iso", cell
    first, second = (
        f"TRY_CAST(regexp_extract(x, {text_literal(f'^{_STROKES}$')}, {n}) AS INTEGER)"
        for n in (1, 2)
    )
    readable = " OR ".join(_matches("x", p) for p in (r"\d{4}-.*", _DOTTED, _YEAR_FIRST))
    only_day, only_month, both, others, serials, rest, example = connection.execute(
        f"SELECT count(*) FILTER (a > 12 AND b <= 12), count(*) FILTER (a <= 12 AND b > 12), "
        f"count(*) FILTER (a <= 12 AND b <= 12 AND a <> b), count(*) FILTER ({readable}), "
        f"count(*) FILTER ({_matches('x', _SERIAL)}), count(*) FILTER (NOT "
        f"({_matches('x', _SERIAL)})), min(x) FILTER (a <= 12 AND b <= 12 AND a <> b) "
        f"FROM (SELECT x, {first} AS a, {second} AS b FROM "
        f"(SELECT DISTINCT {cell} AS x FROM {sheet.stage} WHERE {cell} IS NOT NULL))"
    ).fetchall()[0]
    order = _order(date_format)
    if not order and only_day != only_month:
        order = "day-first" if only_day > only_month else "month-first"
    if not order and not only_day and both > others:
        raise InputError(
            f"{sheet.name}: every date in {sheet.headings[column.place]!r} reads both as day-first "
            f"and as month-first, such as {example[:40]!r}: say which with date_format = "
            '"day-first" or "month-first" in a mapping file.'
        )
    shown = order or ("mixed" if both or only_day else "")
    if not shown:
        order = "day-first"  # none with strokes, or day and month are the same number in each
    is_serial = bool(serials) and (sheet.form.get("kind") == "workbook" or not rest)
    return shown, _as_iso(cell, order, date_format, is_serial=is_serial)


def _order(date_format: str) -> str:
    if date_format in {"", "day-first", "month-first"}:
        return date_format
    return "day-first" if date_format.find("D") < date_format.find("M") else "month-first"


def _as_iso(cell: str, order: str, date_format: str, *, is_serial: bool) -> str:
    dotted = "month-first" if date_format and order == "month-first" else "day-first"
    year_first = (1, 3, 2) if date_format.startswith("YYYY") and order == "day-first" else (1, 2, 3)
    ways = [(_DOTTED, _PLACES[dotted]), (_YEAR_FIRST, year_first)]
    if order:
        ways.append((_STROKES, _PLACES[order]))
    allows_short = "YY" in date_format and "YYYY" not in date_format
    cases = [_dated(cell, pattern, p, allows_short=allows_short) for pattern, p in ways]
    if is_serial:
        cases.append(f"WHEN {_matches(cell, _SERIAL)} THEN {_of_serial(cell)}")
    iso = f"CASE {' '.join(cases)} END"
    return f"CASE WHEN TRY_CAST({iso} AS TIMESTAMP) IS NULL THEN {cell} ELSE {iso} END"


_PLACES = {"day-first": (3, 2, 1), "month-first": (3, 1, 2)}  # of year, month, day


def _dated(cell: str, pattern: str, places: tuple[int, int, int], *, allows_short: bool) -> str:
    year, month, day, hour, minute, second = (
        f"regexp_extract({cell}, {text_literal(pattern)}, {place})" for place in (*places, 4, 5, 6)
    )
    if allows_short:
        year = f"CASE WHEN length({year}) = 2 THEN '20' || {year} ELSE {year} END"
    else:
        pattern = pattern.replace(r"|\d{2})", ")")
    return (
        f"WHEN {_matches(cell, pattern)} THEN ({year}) || '-' || lpad({month}, 2, '0') || '-' || "
        f"lpad({day}, 2, '0') || CASE WHEN {hour} = '' THEN '' ELSE ' ' || lpad({hour}, 2, '0') || "
        f"':' || {minute} || CASE WHEN {second} = '' THEN '' ELSE ':' || {second} END END"
    )


def _of_serial(cell: str) -> str:
    days = f"TRY_CAST({cell} AS DOUBLE)"
    moment = (
        "TIMESTAMP '1899-12-30' + to_seconds(round("
        f"coalesce({days}, 0) * 86400)::BIGINT)"  # a spreadsheet keeps no better than a second
    )
    return (
        f"CASE WHEN {days} = trunc({days}) THEN strftime({moment}, '%Y-%m-%d') "
        f"ELSE strftime({moment}, '%Y-%m-%d %H:%M:%S') END"
    )


def _number_cells(
    connection: duckdb.DuckDBPyConnection,
    sheet: Sheet,
    columns: list[_Column],
    strange: list[_Column],
    decimal: str,
) -> tuple[str, dict[int, str]]:
    """Return the decimal mark of the file ("" where nothing shows it) and cells made plain."""
    if not decimal and not any(column in strange for column in columns):
        return "", {}
    shown = {c.place: decimal or _mark(connection, sheet, c) for c in columns}
    marks = {mark for mark in shown.values() if mark}
    whole = marks.pop() if len(marks) == 1 else ""
    typed = sheet.form.get("kind") != "text"  # where numbers are numbers, a point is a point
    cells = {}
    for column in columns:
        mark = shown[column.place] or whole
        if column in strange or (mark == "," and not typed):
            cells[column.place] = _as_plain_number(column, mark, typed=typed)
    return whole, cells


def _mark(connection: duckdb.DuckDBPyConnection, sheet: Sheet, column: _Column) -> str:
    """Return the decimal mark that the values of a column show, "" where none or both."""
    comma = (_DOTS, r"[+-]?\d*,(\d{1,2}|\d{4,})", r"[+-]?(\d{4,}|0\d*),\d+")
    point = (_COMMAS, r"[+-]?\d*\.(\d{1,2}|\d{4,})", r"[+-]?(\d{4,}|0\d*)\.\d+")
    tests = (" OR ".join(_matches("x", p) for p in patterns) for patterns in (comma, point))
    has_comma, has_point = connection.execute(
        f"SELECT {', '.join(f'coalesce(bool_or({test}), false)' for test in tests)} FROM "
        f"(SELECT DISTINCT {_bare(column)} AS x FROM {sheet.stage})"
    ).fetchall()[0]
    return ("," if has_comma else ".") if has_comma != has_point else ""


def _bare(column: _Column) -> str:
    """Return SQL for a number without its unit and without blanks between thousands."""
    bare = column.cell
    if units := _UNITS.get(column.heading):
        bare = f"regexp_replace({bare}, '(?i){_BLANK}*({units})\\.?$', '')"
    grouped = rf"[+-]?\d{{1,3}}({_BLANK}\d{{3}})+([.,]\d*)?"
    return (
        f"CASE WHEN {_matches(bare, grouped)} THEN regexp_replace({bare}, '{_BLANK}', '', 'g') "
        f"ELSE {bare} END"
    )


def _as_plain_number(column: _Column, mark: str, *, typed: bool) -> str:
    bare = f"({_bare(column)})"
    no_dots = f"replace(replace({bare}, '.', ''), ',', '.')"
    no_commas = f"replace({bare}, ',', '')"
    decimal_comma = f"replace({bare}, ',', '.')"
    one_comma = {",": decimal_comma, ".": no_commas, "": column.cell}[mark]
    cases = [
        (_DOTS, no_dots),
        (_COMMAS, no_commas),
        (_ONE_COMMA, one_comma),
        (r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?", decimal_comma),
    ]
    if mark == "," and not typed:
        cases.append((_ONE_DOT, no_dots))
    whens = " ".join(f"WHEN {_matches(bare, pattern)} THEN {sql}" for pattern, sql in cases)
    plain = f"CASE {whens} ELSE {bare} END"
    return f"CASE WHEN TRY_CAST({plain} AS DOUBLE) IS NULL THEN {column.cell} ELSE {plain} END"


def _fill_merged(
    connection: duckdb.DuckDBPyConnection, sheet: Sheet, recognised: Recognised
) -> None:
    """Give every row of a cell merged downwards its value, except for numbers."""
    kinds = {p: _kind(recognised, name) for name, p in recognised.places.items()}
    merged = [about for about in sheet.merged if kinds.get(about[0], "number") != "number"]
    if not merged:
        return
    columns = {"place": pa.int32(), "first": pa.int64(), "last": pa.int64()}
    make_table(connection, "in_merged", columns, merged)
    stage = sheet.stage
    for place in sorted({place for place, *_ in merged}):
        connection.execute(
            f"UPDATE {stage} SET c{place} = m.said FROM (SELECT first, last, c{place} AS said "
            f"FROM in_merged JOIN {stage} ON row_number = first WHERE place = {place}) AS m "
            f"WHERE {stage}.row_number > m.first AND {stage}.row_number <= m.last "
            f"AND {stage}.c{place} IS NULL"
        )


def _kind(recognised: Recognised, heading: str) -> str:
    columns: dict[str, Column] = {column.name: column for column in recognised.table.columns}
    return columns[heading].kind


def _matches(sql: str, pattern: str) -> str:
    return f"regexp_full_match({sql}, {text_literal(pattern)})"
