"""The workbook to fill in: read by intake, its example refused, filled by a program and back again.

Oracle: the tables of intake, the catalogue, and a workbook reader; the file's XML for its lists.
"""

from __future__ import annotations

import re
import tomllib
import zipfile
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook, SheetVisibleEnum

from analytics.catalogue.load import load_text, shipped_catalogue
from analytics.errors import InputError
from analytics.handin import export_facts, ingest
from analytics.intake.tables import TABLES
from analytics.intake.template import LANGUAGES, write_template
from tests.intake.depot import CATALOGUE, NOW, Depot, counts

FILLED: dict[str, list[dict[str, object]]] = {
    "locomotives": [
        {"locomotive": "05", "class": "Alder", "in_service_from": datetime(2020, 1, 1)},
        {"locomotive": "5A", "class": "Birch", "depot": "=North", "km_at_start": 12.5},
    ],
    "usage": [{"locomotive": "05", "read_at": datetime(2024, 5, 1, 6, 30), "engine_hours": 100.25}],
    "inspections": [
        {
            "locomotive": "05",
            "inspected_at": datetime(2024, 5, 1),
            "signed": "yes",
            "outcome": "released",
        }
    ],
    "findings": [
        {
            "locomotive": "05",
            "found_at": datetime(2024, 5, 1, 6, 30),
            "component": "fuel-injector",
            "position": "1-2",
            "defect": "leaking",
            "action": "replaced",
            "closed_at": datetime(2024, 5, 1),
            "note": '-"quoted", and\ntwo lines',
            "cost": -3.5,
        },
        {
            "locomotive": "05",
            "found_at": datetime(2024, 5, 2),
            "component": "fuel-injector",
            "defect": "worn",
        },
        {
            "locomotive": "05",
            "found_at": datetime(2024, 5, 2),
            "component": "fuel-injector",
            "defect": "worn",
        },
    ],
    "work": [
        {
            "locomotive": "5A",
            "done_at": datetime(2024, 4, 1),
            "component": "battery",
            "action": "replaced",
            "work_id": "W1",
        }
    ],
    "out_of_use": [{"locomotive": "5A", "from": datetime(2024, 6, 1), "reason": "stored"}],
    "modifications": [{"locomotive": "5A", "done_at": datetime(2024, 6, 1), "name": "@shield"}],
    "readings": [
        {
            "locomotive": "05",
            "read_at": datetime(2024, 5, 1),
            "parameter": "feed-pressure",
            "value": 150,
            "unit": "kPa",
        }
    ],
}


def template(folder: Path, language: str = "en") -> Path:
    path = folder / f"template-{language}.xlsx"
    write_template(path, load_text({"depot.toml": CATALOGUE}), language=language)
    return path


def headings(path: Path) -> dict[str, list[str]]:
    book = CalamineWorkbook.from_path(str(path))
    return {
        name: [str(cell) for cell in book.get_sheet_by_name(name).to_python()[0]] for name in TABLES
    }


def fill(path: Path, columns: dict[str, list[str]]) -> None:
    """Write the filled workbook as a depot would, with the template's columns."""
    options = {"strings_to_formulas": False, "default_date_format": "yyyy-mm-dd hh:mm"}
    with xlsxwriter.Workbook(str(path), options) as book:
        for name, names in columns.items():
            sheet = book.add_worksheet(name)
            sheet.write_row(0, 0, names)
            for place, row in enumerate(FILLED[name], start=1):
                for heading, value in row.items():
                    sheet.write(place, names.index(heading), value)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_table_has_its_sheet_and_every_column_its_heading(
    tmp_path: Path, language: str
) -> None:
    path = template(tmp_path, language)
    assert headings(path) == {name: list(table.headings) for name, table in TABLES.items()}
    sheets = CalamineWorkbook.from_path(str(path)).sheets_metadata
    assert [s.name for s in sheets if s.visible != SheetVisibleEnum.Visible] == ["lists"]


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_the_template_brings_itself_is_passed_over_in_one_line(
    depot: Depot, language: str
) -> None:
    report = ingest(depot.store, template(depot.folder, language), now=NOW)
    assert [(f.table, f.rows, f.set_aside) for f in report.files] == [
        (name, 0, 0) for name in TABLES
    ]
    assert report.set_aside.empty
    assert [note for f in report.files for note in f.notes] == [
        "the template's example rows, explanation and lists skipped"
    ]


def changed_example(folder: Path, row: int = 1, **cells: Any) -> Path:
    """Write the findings of the template alone, the example row in a row and with cells changed."""
    names, example = (
        CalamineWorkbook.from_path(str(template(folder))).get_sheet_by_name("findings").to_python()
    )
    path = folder / "changed.xlsx"
    with xlsxwriter.Workbook(str(path), {"default_date_format": "yyyy-mm-dd hh:mm"}) as book:
        sheet = book.add_worksheet("findings")
        sheet.write_row(0, 0, names)
        sheet.write_row(row, 0, [cells.get(n, v) for n, v in zip(names, example, strict=True)])
    return path


def test_example_row_alone_is_passed_over(depot: Depot) -> None:
    (found,) = ingest(depot.store, changed_example(depot.folder), now=NOW).files
    assert (found.rows, found.notes) == (0, ("the template's example rows skipped",))


@pytest.mark.parametrize("changed", [{"note": "our own"}, {"cost": 121}, {"row": 2}])
def test_example_row_with_anything_changed_is_data(depot: Depot, changed: dict[str, Any]) -> None:
    """One cell written over, or the row no longer right below the heading: nothing is lost."""
    report = ingest(depot.store, changed_example(depot.folder, **changed), now=NOW)
    assert [(f.rows, f.set_aside) for f in report.files] == [(1, 1)]
    assert report.set_aside["rule"].tolist() == ["example-row"]
    reason = "this is the example row of the template: delete it."
    assert report.set_aside["reason"].tolist() == [reason]


def test_examples_hold_but_for_the_locomotive(depot: Depot) -> None:
    """Oracle: the same cells under a locomotive of the register are all accepted."""
    book = CalamineWorkbook.from_path(str(template(depot.folder)))
    path = depot.folder / "mine.xlsx"
    options = {"default_date_format": "yyyy-mm-dd hh:mm"}
    with xlsxwriter.Workbook(str(path), options) as mine:
        for name in TABLES:
            names, example = book.get_sheet_by_name(name).to_python()
            sheet = mine.add_worksheet(name)
            sheet.write_row(0, 0, names)
            sheet.write_row(1, 0, ["C1", *example[1:]])
    report = ingest(depot.store, path, now=NOW)
    assert report.set_aside["reason"].to_list() == []
    assert [(f.table, f.accepted) for f in report.files] == [(name, 1) for name in TABLES]


def test_lists_offer_what_the_catalogue_has(tmp_path: Path) -> None:
    catalogue = load_text({"depot.toml": CATALOGUE})
    path = template(tmp_path)
    rows = CalamineWorkbook.from_path(str(path)).get_sheet_by_name("lists").to_python()
    offered = [{cell for cell in column if cell} for column in zip(*rows, strict=True)]
    for known in (catalogue.classes, catalogue.components, catalogue.actions, catalogue.parameters):
        assert set(known) in offered
    assert {"leaking", "worn", "discharged", "stiff"} in offered
    assert {"bar", "degC"} in offered
    assert {"remark", "rectify", "withhold", "in-service"} in offered
    place = {name: number for number, name in enumerate(TABLES, start=2)}
    with zipfile.ZipFile(path) as book:
        sheet = book.read(f"xl/worksheets/sheet{place['findings']}.xml").decode()
    chosen = re.findall(r'type="list"[^>]*sqref="([A-Z]+)2:[A-Z]+10000"', sheet)
    letters = dict(zip("ABCDEFGHIJKLMNOPQRS", TABLES["findings"].headings, strict=True))
    assert [letters[letter] for letter in chosen] == [
        "component", "defect", "severity", "action", "condition_in",
    ]  # fmt: skip


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_column_is_explained(tmp_path: Path, language: str) -> None:
    book = CalamineWorkbook.from_path(str(template(tmp_path, language)))
    rows = book.get_sheet_by_name(book.sheet_names[0]).to_python()
    explained = {(row[0], row[1]): row for row in rows if row[1]}
    for name, table in TABLES.items():
        for column in table.columns:
            _, _, meaning, required, holds, *_ = explained[name, column.name]
            assert meaning
            assert holds
            assert bool(required) == column.required


def test_languages_say_the_same_things() -> None:
    words = [
        tomllib.loads((files("analytics.intake") / f"template_{name}.toml").read_text("utf-8"))
        for name in LANGUAGES
    ]
    keys = [{part: list(entries) for part, entries in each.items()} for each in words]
    assert keys[0] == keys[1]


def test_last_day_in_service_is_explained() -> None:
    for name, day in zip(LANGUAGES, ("1 August", "augusztus 1"), strict=True):
        text = (files("analytics.intake") / f"template_{name}.toml").read_text("utf-8")
        meant = tomllib.loads(text)["column"]["in_service_to"]
        assert day in meant


def test_shipped_catalogue_and_the_smallest_one_make_a_template(tmp_path: Path) -> None:
    smallest = '[class.A]\n[component.b]\nsystem = "s"\nclock = "days"\ndefects = ["worn"]\n'
    smallest += '[action.c]\neffect = "renew"\n'  # no parameter at all
    write_template(tmp_path / "shipped.xlsx", shipped_catalogue())
    write_template(tmp_path / "small.xlsx", load_text({"small.toml": smallest}))
    assert headings(tmp_path / "shipped.xlsx") == headings(tmp_path / "small.xlsx")


def test_filled_template_is_never_overwritten(tmp_path: Path) -> None:
    path = template(tmp_path)
    with pytest.raises(InputError, match="is there already"):
        write_template(path, shipped_catalogue())


def test_unknown_language_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="language 'de' is not known"):
        write_template(tmp_path / "t.xlsx", shipped_catalogue(), language="de")


def test_filled_ingested_exported_and_ingested_again_is_all_duplicates(tmp_path: Path) -> None:
    depot = Depot.new(tmp_path, register=None)
    fill(tmp_path / "filled.xlsx", headings(template(tmp_path)))
    first = ingest(depot.store, tmp_path / "filled.xlsx", now=NOW)
    assert first.set_aside["reason"].to_list() == []
    assert [(f.table, f.accepted) for f in first.files] == [(n, len(r)) for n, r in FILLED.items()]
    with depot.store.read() as reader:
        written = export_facts(reader, tmp_path / "export")
    assert [path.stem for path in written] == list(TABLES)
    again = ingest(depot.store, written, now=NOW)
    assert (again.batch, again.set_aside.empty) == (None, True)
    assert counts(again) == [(0, 0, len(rows), 0) for rows in FILLED.values()]


def test_exported_facts_make_the_same_store(tmp_path: Path) -> None:
    depot = Depot.new(tmp_path, register=None)
    fill(tmp_path / "filled.xlsx", headings(template(tmp_path)))
    ingest(depot.store, tmp_path / "filled.xlsx", now=NOW)
    with depot.store.read() as reader:
        written = export_facts(reader, tmp_path / "export")
    (tmp_path / "other").mkdir()
    other = Depot.new(tmp_path / "other", register=None)
    ingest(other.store, written, now=NOW)
    for name, table in TABLES.items():
        columns = ", ".join(table.stored)
        assert other.current(name, columns) == depot.current(name, columns)


def test_export_overwrites_nothing(depot: Depot) -> None:
    with depot.store.read() as reader:
        export_facts(reader, depot.folder / "export")
        with pytest.raises(InputError, match="is there already"):
            export_facts(reader, depot.folder / "export")
