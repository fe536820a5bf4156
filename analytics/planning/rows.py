"""A planner's file as rows: tables of TOML or sheets of XLSX, each cell still as it was written."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import python_calamine as calamine

from analytics.errors import PlanError, nearest
from analytics.planning.forms import FORMS

EXPLAINED = "explanation"
"""The template's own sheet."""
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
    except tomllib.TOMLDecodeError as error:
        raise PlanError(f"{name} is not TOML: {error}.") from error
    rows = []
    for table, content in tables.items():
        _check_table(table, f"{name}: table")
        each = [content] if isinstance(content, dict) else content
        if not isinstance(each, list) or not all(isinstance(one, dict) for one in each):
            raise PlanError(f"{name}: write {table} as [[{table}]] with a line for each column.")
        for number, cells in enumerate(each, 1):
            place = f"{name}, [[{table}]] {number}"
            rows.append(Row(table, place, {key: cells[key] for key in cells}))
    return rows


def _read_workbook(path: Path) -> list[Row]:
    try:
        with calamine.CalamineWorkbook.from_path(str(path)) as book:
            names = [name for name in book.sheet_names if name.lower() != EXPLAINED]
            sheets = {name: book.get_sheet_by_name(name).to_python() for name in names}
    except calamine.PasswordError as error:
        raise PlanError(f"{path.name} is encrypted: save it without a password.") from error
    except _FAULTS as error:
        raise PlanError(
            f"{path.name} is not there, or not an XLSX workbook that can be read."
        ) from error
    found = []
    for name, lines in sheets.items():
        table = name.strip().lower()
        _check_table(table, f"{path.name}: sheet")
        found += _rows_of_sheet(path.name, table, lines)
    return found


def _rows_of_sheet(file: str, table: str, lines: list[list[Any]]) -> list[Row]:
    heads = [str(cell).strip().lower() for cell in lines[0]] if lines else []
    rows = []
    for number, line in enumerate(lines[1:], 2):
        cells = {
            head or f"column {place}": cell
            for place, (head, cell) in enumerate(zip(heads, line, strict=False), 1)
            if str(cell).strip()
        }
        if cells:
            rows.append(Row(table, f"{file}, sheet {table}, row {number}", cells))
    return rows


def _check_table(table: str, what: str) -> None:
    if table not in FORMS:
        near = ", ".join(nearest(table, FORMS)) or ", ".join(FORMS)
        raise PlanError(f"{what} {table!r} is not one of a plan's; nearest: {near}.")
