"""A planner's file as rows: tables of TOML or sheets of XLSX, each cell still as it was written."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import python_calamine as calamine

from analytics.catalogue.load import syntax_problem
from analytics.errors import PlanError, nearest
from analytics.planning.forms import FORMS

EXPLAINED = "explanation"
"""The template's own sheet."""
NO_HEADING = "no heading"
"""Begins the name of a column without one."""
_ENDINGS = (".toml", ".xlsx")
_FAULTS = (calamine.CalamineError, calamine.ZipError, calamine.XmlError, OSError, ValueError)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its table, where it stands in the file, its filled cells by column."""

    table: str
    place: str
    cells: Mapping[str, Any]


def read_rows(path: Path) -> list[Row]:
    """Read a `.toml` or `.xlsx` file.

    Raises
    ------
    PlanError
        If it cannot be read as what its name says, or holds nothing.
    """
    if path.suffix.lower() not in _ENDINGS:
        raise PlanError(f"{path.name}: inputs of a plan are read from .toml or .xlsx; save as one.")
    if path.suffix.lower() == ".xlsx":
        rows = _read_workbook(path)
    else:
        try:
            rows = rows_of_text(path.read_text(encoding="utf-8-sig"), path.name)
        except OSError as error:
            raise PlanError(f"{path} cannot be read: {error.strerror}.") from error
        except UnicodeDecodeError as error:
            raise PlanError(f"{path.name} is neither UTF-8 text nor an .xlsx workbook.") from error
    if not rows:
        raise PlanError(f"{path.name} holds no row: fill in at least costs and berths.")
    return rows


def rows_of_text(text: str, name: str) -> list[Row]:
    """Read the text of a TOML file; `name` is that of the file, for the sentences.

    Raises
    ------
    PlanError
        If it is no TOML, or has a table that no plan knows.
    """
    try:
        tables = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise PlanError(syntax_problem(f"{name} is not TOML", text, str(error))) from error
    except ValueError as error:  # Python reads no whole number of thousands of digits
        raise PlanError(f"{name}: a number in it is too long to be read; shorten it.") from error
    rows, faults = [], []
    for table, content in tables.items():
        each = [content] if isinstance(content, dict) else content
        if table not in FORMS:
            faults.append(_unknown(table, f"{name}: table"))
        elif not isinstance(each, list) or not all(isinstance(one, dict) for one in each):
            faults.append(f"{name}: write {table} as [[{table}]] with a line for each column.")
        else:
            for number, cells in enumerate(each, 1):
                rows.append(Row(table, f"{name}, [[{table}]] {number}", dict(cells)))
    if faults:
        raise PlanError("\n".join(faults))
    return rows


def _read_workbook(path: Path) -> list[Row]:
    try:
        with calamine.CalamineWorkbook.from_path(str(path)) as book:
            sheets = {
                about.name: book.get_sheet_by_name(about.name).to_python(skip_empty_area=False)
                for about in book.sheets_metadata
                if _may_be_table(about)
            }
    except calamine.PasswordError as error:
        raise PlanError(f"{path.name} is encrypted: save it without a password.") from error
    except _FAULTS as error:
        raise PlanError(
            f"{path.name} is not there, or not an XLSX workbook that can be read."
        ) from error
    found, faults = [], []
    for name, lines in sheets.items():
        table = name.strip().lower()
        first = next((n for n, line in enumerate(lines) if any(map(_is_filled, line))), None)
        if first is None:
            continue  # an empty sheet says nothing
        if table not in FORMS:
            faults.append(_unknown(name, f"{path.name}: sheet"))
            continue
        heads = [str(cell).strip().lower() for cell in lines[first]]
        twice = sorted({head for head in heads if head and heads.count(head) > 1})
        faults += [
            f"{path.name}, sheet {table}: the heading {head!r} stands twice; keep one of the two."
            for head in twice
        ]
        found += _rows_of_sheet(f"{path.name}, sheet {table}", table, heads, lines, first + 1)
    if faults:
        raise PlanError("\n".join(faults))
    return found


def _may_be_table(about: calamine.SheetMetadata) -> bool:
    """Leave out the explanation, charts, and hidden sheets that are none of the plan's."""
    table = about.name.strip().lower()
    is_sheet = about.typ == calamine.SheetTypeEnum.WorkSheet
    is_shown = about.visible == calamine.SheetVisibleEnum.Visible
    return is_sheet and table != EXPLAINED and (is_shown or table in FORMS)


def _is_filled(cell: object) -> bool:
    return bool(str(cell).strip())


def _rows_of_sheet(
    where: str, table: str, heads: list[str], lines: list[list[Any]], begin: int
) -> list[Row]:
    rows = []
    for number, line in enumerate(lines[begin:], begin + 1):
        cells = {
            head or f"{NO_HEADING} {place}": cell
            for place, (head, cell) in enumerate(zip(heads, line, strict=True), 1)
            if _is_filled(cell)
        }
        if cells:
            rows.append(Row(table, f"{where}, row {number}", cells))
    return rows


def _unknown(table: str, what: str) -> str:
    near = nearest(table, FORMS)
    known = f"nearest: {', '.join(near)}" if near else f"known: {', '.join(FORMS)}"
    return f"{what} {table!r} is not one of a plan's; {known}; rename it or take it out."
