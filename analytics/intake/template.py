"""The workbook a depot can fill in: a sheet for each table, lists to choose from, an explanation.

Headings are the tables' own (`tables`), lists and examples come from the catalogue, words from
`template_LANGUAGE.toml`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import Any

from analytics.catalogue.model import Catalogue
from analytics.errors import InputError, unknown_name
from analytics.intake.rules import EXAMPLE_LOCOMOTIVE
from analytics.intake.sheets import Cell
from analytics.intake.tables import TABLES, Column, Table

LANGUAGES = ("en", "hu")
LAST_ROW = 9_999  # lists and formats reach down to here, counted from 0
_LISTS = "lists"
_WIDTHS = (15, 22, 60, 10, 40, 22, 20)  # of the columns of the explanation
_DATE_FORMAT = "yyyy-mm-dd hh:mm"
_EXAMPLES: Mapping[str, Cell | None] = {
    "locomotive": EXAMPLE_LOCOMOTIVE,
    "depot": "North shed",
    "in_service_from": datetime(2015, 3, 1),
    "in_service_to": datetime(2024, 8, 1),
    "records_from": datetime(2020, 1, 1),
    "engine_hours_at_start": 0,
    "km_at_start": 0,
    "engine_hours": 12345.5,
    "km": 250310,
    "from": datetime(2024, 2, 1),
    "to": datetime(2024, 3, 15),
    "closed_at": datetime(2024, 5, 31, 14, 0),
    "signed": "yes",
    "looked_closer": "no",
    "down_hours": 3.5,
    "labour_hours": 2,
    "cost": 120,
    "finding_id": "F-0001",
    "work_id": "W-0001",
    "quantity": 1,
    "serial_out": "S-0815",
    "serial_in": "S-1234",
    "age_in": 0,
    "condition_in": "new",
    "position": "1",
    "team": "morning shift",
    "note": "example",
    "name": "heat shield fitted",
}
_OTHER_LISTS = {"signed": "yes-no", "looked_closer": "yes-no", "unit": "unit"}
_EXAMPLE_INSTANT = datetime(2024, 5, 31, 6, 30)


@dataclass(frozen=True, slots=True)
class _Words:
    """The words of one language, as nested tables of its TOML file."""

    sheet: Mapping[str, Any]
    kind: Mapping[str, str]
    unit: Mapping[str, str]
    table: Mapping[str, str]
    column: Mapping[str, Any]

    def meaning(self, table: Table, column: Column) -> str:
        """Say what a column means, in this table where it differs."""
        own = self.column.get(table.name, {})
        return str(own.get(column.name) or self.column[column.name])

    def holds(self, column: Column) -> str:
        """Say what a cell of a column must hold."""
        if column.known_as and column.known_as != "locomotive":
            return self.kind["catalogue"]
        return self.kind[column.kind].format(choices=", ".join(column.choices))


def write_template(path: Path, catalogue: Catalogue, *, language: str = "en") -> None:
    """Write the workbook with one sheet for each of the eight tables.

    Parameters
    ----------
    path
        The XLSX file to make; its folder must be there.
    catalogue
        Whose names the lists offer.
    language
        Of the explanations: `en` or `hu`. Headings and names are the same in every language.

    Conventions
    -----------
    Row 1 of each sheet is the heading row, required columns in bold; row 2 is an example of
    locomotive `EXAMPLE-ROW`, which intake passes over if it is left as it is (`example`).

    Raises
    ------
    InputError
        If the file is there already (it may be filled in) or cannot be written, or the language is
        not known.
    """
    if language not in LANGUAGES:
        raise InputError(unknown_name("language", language, LANGUAGES))
    if path.exists():
        raise InputError(f"{str(path)!r} is there already; name another file with --out.")
    import xlsxwriter

    words = _words(language)
    lists = _lists(catalogue)
    example = example_row(catalogue)
    content = BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True, "strings_to_formulas": False}) as book:
        _explain(book, words, example)
        places = {name: _place(place, len(lists[name])) for place, name in enumerate(lists)}
        for table in TABLES.values():
            _write_sheet(book, table, places, example)
        _write_lists(book, lists)
    try:
        path.write_bytes(content.getvalue())
    except OSError as error:
        raise InputError(f"{str(path)!r} cannot be written: {error.strerror}.") from error


@cache
def _words(language: str) -> _Words:
    text = (files("analytics.intake") / f"template_{language}.toml").read_text(encoding="utf-8")
    return _Words(**tomllib.loads(text))


def list_of(column: Column) -> str:
    """Return the name of the list a column is chosen from, empty where it is written freely."""
    if column.known_as:
        return "" if column.known_as == "locomotive" else column.known_as
    return column.name if column.choices else _OTHER_LISTS.get(column.name, "")


def _lists(catalogue: Catalogue) -> dict[str, tuple[str, ...]]:
    """Return what can be chosen, by the name of the list; a list without entries is left out."""
    units = sorted({parameter.unit for parameter in catalogue.parameters.values()})
    found: dict[str, tuple[str, ...]] = {
        kind: tuple(catalogue.by_kind()[kind])
        for kind in ("class", "component", "action", "parameter")
    }
    defects = {defect for part in catalogue.components.values() for defect in part.defects}
    found |= {"defect": tuple(sorted(defects)), "unit": tuple(units), "yes-no": ("yes", "no")}
    for table in TABLES.values():
        found |= {column.name: column.choices for column in table.columns if column.choices}
    return {name: entries for name, entries in found.items() if entries}


def example_row(catalogue: Catalogue) -> dict[str, Cell | None]:
    """Return an example for every heading, of names that go together."""
    example: dict[str, Cell | None] = dict(_EXAMPLES)
    for table in TABLES.values():
        for column in table.columns:
            if column.kind == "instant":
                example.setdefault(column.name, _EXAMPLE_INSTANT)
            elif column.choices:
                example.setdefault(column.name, column.choices[0])
    example |= {"class": next(iter(catalogue.classes), None)}
    renewing = [name for name, action in catalogue.actions.items() if action.effect == "renew"]
    example["action"] = next(iter([*renewing, *catalogue.actions]), None)
    for part in catalogue.components.values():
        if part.defects:
            example |= {"component": part.name, "defect": part.defects[0]}
            break
    for parameter in catalogue.parameters.values():
        value = parameter.physical_min if parameter.physical_max is None else parameter.physical_max
        example |= {"parameter": parameter.name, "unit": parameter.unit}
        example["value"] = 1 if value is None else value / 2
        break
    return example


def _explain(book: Any, words: _Words, example: Mapping[str, object]) -> None:
    sheet = book.add_worksheet(words.sheet["explanation"])
    bold = book.add_format({"bold": True, "bottom": 1})
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    for place, width in enumerate(_WIDTHS):
        sheet.set_column(place, place, width, wrapped)
    lines: Sequence[str] = words.sheet["lines"]
    plain = book.add_format({"text_wrap": False})
    for row, line in enumerate(lines):
        sheet.write_string(row, 0, line, plain)
    row = len(lines) + 1
    sheet.write_row(row, 0, words.sheet["headings"], bold)
    for table in TABLES.values():
        row += 1
        sheet.write_string(row, 0, table.name, bold)
        sheet.write_string(row, 2, words.table[table.name], bold)
        for column in table.columns:
            row += 1
            cells = _explained(table, column, words, example)
            for place, cell in enumerate(cells):
                sheet.write_string(row, place, cell, wrapped)


def _explained(
    table: Table, column: Column, words: _Words, example: Mapping[str, object]
) -> tuple[str, ...]:
    value = example.get(column.name)
    shown = value.strftime("%Y-%m-%d %H:%M") if isinstance(value, datetime) else str(value or "")
    return (
        table.name,
        column.name,
        words.meaning(table, column),
        str(words.sheet["yes" if column.required else "no"]),
        words.holds(column),
        words.unit.get(column.name, ""),
        shown,
    )


def _write_sheet(
    book: Any, table: Table, places: Mapping[str, str], example: Mapping[str, object]
) -> None:
    sheet = book.add_worksheet(table.name)
    sheet.freeze_panes(1, 1)
    heading = {
        True: book.add_format({"bold": True, "bottom": 1}),
        False: book.add_format({"bottom": 1}),
    }
    # Text cells keep 05 and 1-6 as they are typed; a spreadsheet would make 5 and 1 June of them.
    forms = {
        "instant": book.add_format({"num_format": _DATE_FORMAT}),
        "number": book.add_format({"num_format": "General"}),
    }
    as_text = book.add_format({"num_format": "@"})
    for place, column in enumerate(table.columns):
        form = forms.get(column.kind, as_text)
        sheet.set_column(place, place, max(len(column.name) + 2, 16), form)
        sheet.write_string(0, place, column.name, heading[column.required])
        _write_example(sheet, place, example.get(column.name), form)
        choice = places.get(list_of(column))
        if choice:
            sheet.data_validation(1, place, LAST_ROW, place, {"validate": "list", "source": choice})
        elif column.counted:
            limits = {"validate": "decimal", "criteria": ">=", "value": 0}
            sheet.data_validation(1, place, LAST_ROW, place, limits)


def _write_example(sheet: Any, place: int, value: object, form: Any) -> None:
    if isinstance(value, datetime):
        sheet.write_datetime(1, place, value, form)
    elif isinstance(value, (int, float)):
        sheet.write_number(1, place, value, form)
    elif value is not None:
        sheet.write_string(1, place, str(value), form)


def _write_lists(book: Any, lists: Mapping[str, tuple[str, ...]]) -> None:
    sheet = book.add_worksheet(_LISTS)
    for place, entries in enumerate(lists.values()):
        sheet.write_column(0, place, entries)
    sheet.hide()


def _place(place: int, entries: int) -> str:
    """Return where a list stands, as a spreadsheet writes it: `=lists!$C$1:$C$12`."""
    from xlsxwriter.utility import xl_range_abs

    return f"={_LISTS}!{xl_range_abs(0, place, entries - 1, place)}"
