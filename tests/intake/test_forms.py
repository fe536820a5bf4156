"""How dates and numbers are written: what a column settles, what a mapping says, what is asked.

Expected values are hand-written. Outside sources: 31 May 2024 is day 45443 of a spreadsheet's 1900
system (from memory, checked below by counting days from 1 January 1900, which is day 1, with the
29 February 1900 that the system has and the calendar has not).
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import duckdb
import pytest

from analytics.errors import InputError
from analytics.intake.forms import fit_forms
from analytics.intake.readers import read_file
from analytics.intake.received import Sheet
from analytics.intake.tables import recognise

HEAD = "locomotive;found_at;component;defect;cost"


def fitted(
    folder: Path, dates: list[str], numbers: list[str], *, date_format: str = "", decimal: str = ""
) -> tuple[Sheet, list[tuple[object, ...]]]:
    """Stage a file with these cells; return the sheet and its dates and numbers as read."""
    rows = [f"A1;{d};battery;worn;{n}" for d, n in zip(dates, numbers, strict=True)]
    path = folder / "f.csv"
    path.write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    connection = duckdb.connect(config={"threads": 1})
    (sheet,) = read_file(connection, path, "stage")
    found = recognise(sheet.headings, file="f.csv")
    sheet = fit_forms(connection, sheet, found, date_format=date_format, decimal=decimal)
    cells = connection.execute(
        f"SELECT {sheet.cells[1]}, {sheet.cells[4]} FROM stage ORDER BY row_number"
    ).fetchall()
    return sheet, cells


def as_dates(folder: Path, *dates: str, date_format: str = "") -> list[object]:
    _, cells = fitted(folder, list(dates), ["1"] * len(dates), date_format=date_format)
    return [cell for cell, _ in cells]


def as_numbers(folder: Path, *numbers: str, decimal: str = "") -> list[object]:
    _, cells = fitted(folder, ["2024-05-01"] * len(numbers), list(numbers), decimal=decimal)
    return [cell for _, cell in cells]


def test_plain_file_is_read_as_it_stands(tmp_path: Path) -> None:
    sheet, _ = fitted(tmp_path, ["2024-05-01", "2024-05-01T06:30"], ["1.5", ""])
    assert all("c" in cell for cell in sheet.cells)
    assert "dates" not in sheet.form
    assert "decimal" not in sheet.form


def test_day_number_of_the_1900_system(tmp_path: Path) -> None:
    counted = (date(2024, 5, 31) - date(1900, 1, 1)).days + 1 + 1  # and the day that never was
    assert counted == 45443
    assert as_dates(tmp_path, str(counted), f"{counted}.75") == [
        "2024-05-31",
        "2024-05-31 18:00:00",
    ]


@pytest.mark.parametrize(
    ("date_format", "wanted"),
    [
        ("day-first", "2024-04-03"),
        ("month-first", "2024-03-04"),
        ("DD/MM/YYYY", "2024-04-03"),
        ("MM/DD/YYYY HH:mm", "2024-03-04"),
    ],
)
def test_mapping_says_which_comes_first(tmp_path: Path, date_format: str, wanted: str) -> None:
    assert as_dates(tmp_path, "03/04/2024", date_format=date_format) == [wanted]


def test_years_of_two_digits_are_read_where_the_mapping_says_so(tmp_path: Path) -> None:
    assert as_dates(tmp_path, "31.05.24", date_format="DD.MM.YY") == ["2024-05-31"]
    assert as_dates(tmp_path, "31.05.24") == ["31.05.24"]


def test_mapping_that_says_iso_leaves_all_else_as_written(tmp_path: Path) -> None:
    assert as_dates(tmp_path, "2024-05-01", "31.05.2024", date_format="iso") == [
        "2024-05-01",
        "31.05.2024",
    ]


def test_column_that_reads_both_ways_is_asked_about(tmp_path: Path) -> None:
    with pytest.raises(InputError) as asked:
        as_dates(tmp_path, "03/04/2024", "05/06/2024", "")
    assert str(asked.value) == (
        "f.csv: every date in 'found_at' reads both as day-first and as month-first, such as "
        '\'03/04/2024\': say which with date_format = "day-first" or "month-first" in a mapping '
        "file."
    )


def test_few_dates_that_read_both_ways_among_plain_ones_stay_as_written(tmp_path: Path) -> None:
    dates = ["2024-05-01", "2024-05-02", "03/04/2024"]
    assert as_dates(tmp_path, *dates) == dates


@pytest.mark.parametrize(
    "written", ["31.02.2024", "2024. 13. 01.", "32/01/2024", "1.1.2024 25:00", "yesterday", "1-1-1"]
)
def test_what_is_no_date_stays_as_written(tmp_path: Path, written: str) -> None:
    assert as_dates(tmp_path, "31.05.2024", written)[1] == written


def test_decimal_mark_of_the_mapping_counts(tmp_path: Path) -> None:
    assert as_numbers(tmp_path, "12,345", "6.789", decimal=",") == ["12.345", "6789"]
    assert as_numbers(tmp_path, "12,345", "6.789", decimal=".") == ["12345", "6.789"]


@pytest.mark.parametrize(
    ("written", "wanted"),
    [
        (["1,5", "12,345"], ["1.5", "12.345"]),
        (["1.5", "12,345"], ["1.5", "12345"]),
        (
            ["1,5", "1.5", "12,345"],
            ["1.5", "1.5", "12,345"],
        ),  # contradiction: the third says nothing
        (["-1.234,5", "+12 345"], ["-1234.5", "+12345"]),
        (["1,5E3"], ["1.5E3"]),
        (["1,2,3", "12,34,567"], ["1,2,3", "12,34,567"]),
        (["12 34", "1  234"], ["12 34", "1  234"]),
    ],
)
def test_numbers(tmp_path: Path, written: list[str], wanted: list[str]) -> None:
    assert as_numbers(tmp_path, *written) == wanted


def test_form_says_how_the_file_was_written(tmp_path: Path) -> None:
    sheet, _ = fitted(tmp_path, ["31/05/2024"], ["1,5"])
    assert sheet.form == {
        "kind": "text",
        "delimiter": ";",
        "encoding": "utf-8",
        "header_row": 1,
        "dates": {"found_at": "day-first"},
        "decimal": ",",
    }
