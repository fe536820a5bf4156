"""Planners' files as they come: workbooks with their habits, templates half filled in, faults."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import python_calamine
import xlsxwriter

from analytics.errors import PlanError
from analytics.planning.forms import FORMS
from analytics.planning.inputs import PlanInputs
from analytics.planning.read_inputs import EXAMPLE, read_inputs, read_inputs_text
from analytics.planning.template import write_example, write_template
from tests.planning.test_inputs import CATALOGUE, FLEET, GOOD, TODAY, faults, visit

Sheets = Mapping[str, Sequence[Sequence[Any]]]
OK: Sheets = {
    "costs": [["day_out"], [2000]],
    "berths": [["berth", "open"], [1, "Mon-Fri"]],
    "labour": [["skill", "hours"], ["fitter", 16]],
}


def book(path: Path, sheets: Sheets, *, above: int = 0, hidden: str = "") -> Path:
    """Write a workbook by hand, `above` blank rows on top of each sheet."""
    with xlsxwriter.Workbook(str(path)) as made:
        dated = made.add_format({"num_format": "dd/mm/yyyy"})
        for name, rows in sheets.items():
            sheet = made.add_worksheet(name)
            filled = [
                (number, place, cell)
                for number, row in enumerate(rows, above)
                for place, cell in enumerate(row)
                if cell is not None
            ]
            for number, place, cell in filled:
                sheet.write(number, place, cell, dated if isinstance(cell, date) else None)
            if name == hidden:
                sheet.hide()
    return path


def read(path: Path) -> PlanInputs:
    return read_inputs(path, CATALOGUE, FLEET, first_day=TODAY)


def refused(path: Path) -> list[str]:
    with pytest.raises(PlanError) as error:
        read(path)
    return str(error.value).splitlines()


def test_workbook_names_sheet_and_row_as_the_spreadsheet_shows_them(tmp_path: Path) -> None:
    closing = [["berth", "open", "from", "to"], [1], [None],
               [2, "Mon-Fri", date(2026, 6, 8), "2026-06-03"]]  # fmt: skip
    said = refused(book(tmp_path / "planning.xlsx", {**OK, "berths": closing}, above=2))
    assert said == [
        "planning.xlsx, sheet berths, row 6: 2 closes before it opens: from 2026-06-08,"
        " to 2026-06-03; turn them round."
    ]


def test_dates_of_a_spreadsheet_and_dates_as_text_are_the_same(tmp_path: Path) -> None:
    days = [date(2026, 7, 1), date(2026, 7, 5)]
    spans = [
        read(book(tmp_path / f"{name}.xlsx", {**OK, "closed": [["from", "to"], cells]}))
        for name, cells in (("dates", days), ("texts", [day.isoformat() for day in days]))
    ]
    assert spans[0] == spans[1]
    assert spans[0].berths[0].open.without == ((days[0], days[1]),)


@pytest.mark.parametrize(
    ("sheets", "said"),
    [
        ({"labour": [["skill", "hours", "hours"], ["fitter", 16, 2]]},
         "planning.xlsx, sheet labour: the heading 'hours' stands twice; keep one of the two."),
        ({"labour": [["skill", "hours"], ["fitter", 16, 2]]},
         "planning.xlsx, sheet labour, row 2: column 3 has no heading; give it one, or clear the"
         " cell."),
        ({"berhts": [["berth"], [2]]},
         "planning.xlsx: sheet 'berhts' is not one of a plan's; nearest: berths, orders; rename it"
         " or take it out."),
        ({"berths": [["berth", "open"]]},
         "planning.xlsx: table berths is missing or empty; fill it in."),
        ({"labour": [["skill", "hours"], [None, 16]]},
         "planning.xlsx, sheet labour, row 2: skill is empty; fill it in."),
    ],
)  # fmt: skip
def test_workbook_that_is_not_in_order_gets_a_sentence(
    tmp_path: Path, sheets: Sheets, said: str
) -> None:
    assert refused(book(tmp_path / "planning.xlsx", {**OK, **sheets})) == [said]


def test_sheets_that_say_nothing_are_passed_over(tmp_path: Path) -> None:
    plain = read(book(tmp_path / "plain.xlsx", OK))
    more = {**OK, "Sheet1": [], "own notes": [["not for the plan"]]}
    assert read(book(tmp_path / "more.xlsx", more, hidden="own notes")) == plain
    with pytest.raises(PlanError, match="'own notes' is not one of a plan's"):
        read(book(tmp_path / "shown.xlsx", more))


def test_hidden_sheet_of_the_plan_still_counts(tmp_path: Path) -> None:
    hidden = read(book(tmp_path / "hidden.xlsx", OK, hidden="labour"))
    assert [one.hours for one in hidden.labour] == [16.0]


def test_every_bad_row_is_told_at_once_in_the_order_of_the_file() -> None:
    said = faults(
        '[[labour]]\nskill = "fitter"\nhours = -8\n[[berths]]\nberth = "1"\n[[berths]]\n'
        'berth = "1"\n[[jobs]]\njob = "x"\ncomponents = ["steam-dome"]\ndays = 0'
    ).splitlines()
    places = [line.split(":")[0] for line in said]
    assert places == [
        "planning.toml, [[labour]] 1",
        "planning.toml, [[berths]] 2",
        "planning.toml, [[jobs]] 1",
        "planning.toml, [[jobs]] 1",
        "planning.toml",
    ]
    assert said[-1] == "planning.toml: table costs is missing or empty; fill it in."
    assert faults("").splitlines()[1:] == [
        "planning.toml: table berths is missing or empty; fill it in."
    ]


@pytest.mark.parametrize("content", ["a = " + "[" * 3000, "[costs]\nday_out = " + "9" * 5000])
def test_text_too_deep_or_too_long_gets_a_sentence(content: str) -> None:
    assert re.search("nested too deep|too long to be read", faults(content))


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (visit("A-01", "2026-12-10", "2026-12-11") + "\ndays = 3",
         "planning.toml, [[visits]] 1: the visit lasts 3 days, but from 2026-12-10 to 2026-12-11"
         " are only 2; make the window longer."),
        ("[plan]\nfirst_day = 2026-07-01\n" + visit("A-01", "2026-06-10", "2026-06-20"),
         "planning.toml, [[visits]] 1: latest 2026-06-20 lies before the first day of the plan,"
         " 2026-07-01; move the window or take the visit out."),
        ('[[jobs]]\njob = "mend"\ncomponents = ["battery"]',
         "planning.toml, [[jobs]] 1: a job cannot be called mend, which means any mending; rename"
         " it."),
        ('[[berths]]\nberth = "2"\nclasses = ["Aldr"]',
         "planning.toml, [[berths]] 2: class 'Aldr' is not known; nearest: Alder."),
        ('[[berths]]\nberth = "2"\njobs = ["nope"]',
         "planning.toml, [[berths]] 2: job 'nope' is not known; known: mend."),
        ("[plan]\nweeks = 0", "planning.toml, [[plan]] 1: weeks should be 1 or more, but is 0."),
        ('[[spares]]\nspare = "s"\non_hand = -1',
         "planning.toml, [[spares]] 1: on_hand should be 0 or more, but is -1."),
        ('[[failure_costs]]\ncomponent = "turbochargr"\ncost = 1',
         "planning.toml, [[failure_costs]] 1: component 'turbochargr' is not known; nearest:"
         " turbocharger."),
    ],
)  # fmt: skip
def test_sentences_are_these(more: str, said: str) -> None:
    assert faults(f"{GOOD}\n{more}") == said


@pytest.mark.parametrize("name", ["planning.csv", "planning.xls", "planning"])
def test_other_endings_are_refused_as_such(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"\xd0\xcf\x11\xe0")
    assert refused(tmp_path / name) == [
        f"{name}: inputs of a plan are read from .toml or .xlsx; save as one."
    ]


@pytest.mark.parametrize("ending", ["toml", "xlsx"])
def test_no_example_row_of_the_template_is_taken_for_the_depots(
    tmp_path: Path, ending: str
) -> None:
    path = tmp_path / f"planning.{ending}"
    write_template(path)
    said = refused(path)
    assert len(said) == len(FORMS)
    assert all("this is the template's example" in line for line in said)
    assert all(any(f" {table}," in line or f"[{table}]" in line for line in said)
               for table in FORMS)  # fmt: skip


def test_template_holds_good_examples_once_their_mark_is_gone(tmp_path: Path) -> None:
    path = tmp_path / "planning.toml"
    write_template(path)
    text = path.read_text(encoding="utf-8")
    unmarked = re.sub(rf'"{EXAMPLE} (\d+)"(?=  # (a loco|length))', r"\1", text)
    unmarked = unmarked.replace(f"{EXAMPLE} ", "").replace("EXAMPLE", "")
    fleet = {f"A-{number:02}": "Alder" for number in range(1, 25)}
    found = read_inputs_text(unmarked, CATALOGUE, fleet, first_day=TODAY)
    assert (found.weeks, found.costs.day_out, found.berths[0].name) == (8, 2000.0, "1")
    assert found.jobs[0].parts == {"injector set": 1}


def test_template_workbook_explains_itself_and_offers_lists(tmp_path: Path) -> None:
    path = tmp_path / "planning.xlsx"
    write_template(path)
    opened = python_calamine.CalamineWorkbook.from_path(str(path))
    assert opened.sheet_names == ["explanation", *FORMS]
    told = opened.get_sheet_by_name("explanation").to_python()
    assert any(f"a row with {EXAMPLE} in it is refused" in str(row[0]) for row in told)
    for table, form in FORMS.items():
        assert opened.get_sheet_by_name(table).to_python()[0] == list(form.columns)
    lists = _lists(path, "jobs")
    assert any("locomotive,position" in one for one in lists)
    assert any("Mon-Fri" in one for one in _lists(path, "berths"))


def _lists(path: Path, table: str) -> list[str]:
    """Return the drop-down lists of a sheet, from its XML (ECMA-376, dataValidation)."""
    import zipfile

    with zipfile.ZipFile(path) as packed:
        number = 2 + list(FORMS).index(table)
        xml = packed.read(f"xl/worksheets/sheet{number}.xml").decode()
    return re.findall(r'<dataValidation type="list".*?<formula1>(.*?)</formula1>', xml)


@pytest.mark.parametrize("ending", ["toml", "xlsx"])
def test_example_is_the_same_in_both_forms_and_fits_the_shipped_catalogue(
    tmp_path: Path, ending: str
) -> None:
    write_example(tmp_path / f"planning.{ending}")
    write_example(tmp_path / "first.toml")
    found = read(tmp_path / f"planning.{ending}")
    assert found == read(tmp_path / "first.toml")
    assert {one.class_name for one in found.traffic} == set(CATALOGUE.classes)
