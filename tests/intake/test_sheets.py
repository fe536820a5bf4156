"""Files before they are opened, folders and patterns, and what a workbook's cells turn into."""

from __future__ import annotations

import zipfile
from datetime import datetime, time
from pathlib import Path

import duckdb
import pytest
import xlsxwriter

from analytics.errors import InputError
from analytics.intake.limits import check_workbook
from analytics.intake.readers import check_readable, expand_paths, read_file


def touch(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("x", encoding="utf-8")


def test_folder_stands_for_the_files_that_can_be_read(tmp_path: Path) -> None:
    touch(tmp_path, "b.csv", "a.XLSX", ".hidden.csv", "~$a.xlsx", "notes.docx", "deeper/c.csv")
    assert [path.name for path in expand_paths([tmp_path])] == ["a.XLSX", "b.csv"]


def test_patterns_are_spread_out_and_a_file_is_taken_once(tmp_path: Path) -> None:
    touch(tmp_path, "b.csv", "a.csv", "deeper/c.csv", "d.docx", "[1].csv")
    found = expand_paths([tmp_path / "b.csv", str(tmp_path / "**" / "*.csv")])
    assert [path.name for path in found] == ["b.csv", "[1].csv", "a.csv", "c.csv"]
    assert expand_paths([tmp_path / "[1].csv"]) == [tmp_path / "[1].csv"]
    assert expand_paths([tmp_path / "gone.csv"]) == [tmp_path / "gone.csv"]


def test_folder_or_pattern_without_files_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no file that can be read fits the pattern"):
        expand_paths([tmp_path / "*.csv"])
    with pytest.raises(InputError, match="holds no file that can be read"):
        expand_paths([tmp_path])


def test_size_limit_is_that_of_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "f.csv"
    path.write_bytes(b"x" * 3_000)
    assert check_readable(path) == ".csv"
    monkeypatch.setenv("SHEDBOOK_MAX_FILE_MB", "0.002")
    with pytest.raises(InputError, match=r"more than the limit of 0.002 MB: split it"):
        check_readable(path)
    monkeypatch.setenv("SHEDBOOK_MAX_FILE_MB", "lots")
    with pytest.raises(InputError, match="a number of megabytes above zero, not 'lots'"):
        check_readable(path)


def test_workbook_that_lies_about_its_size_is_damaged(tmp_path: Path) -> None:
    path = tmp_path / "b.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b" " * 5_000_000)
    said = (5_000_000).to_bytes(4, "little")
    path.write_bytes(path.read_bytes().replace(said, (50).to_bytes(4, "little")))
    with pytest.raises(InputError, match="not an XLSX workbook that can be read"):
        check_workbook(path)


def test_cells_become_the_text_that_a_csv_file_would_have(tmp_path: Path) -> None:
    path = tmp_path / "b.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet()
        sheet.write_row(1, 2, ["locomotive", "class", "n"])  # neither first row nor first column
        forms = {
            "moment": book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"}),
            "length": book.add_format({"num_format": "[h]:mm"}),
        }
        sheet.write_row(2, 2, [4021, "a", 0.1 + 0.2])
        sheet.write_row(3, 2, [1e6, " b ", True])
        sheet.write_datetime(4, 2, datetime(2024, 5, 31, 6, 30), forms["moment"])
        sheet.write_datetime(4, 3, time(6, 30), book.add_format({"num_format": "hh:mm"}))
        sheet.write_number(4, 4, 1.5, forms["length"])  # 36 hours
        sheet.write_formula(5, 2, "=1+1", None, 2)
    connection = duckdb.connect()
    (found,) = read_file(connection, path, "stage")
    assert found.headings == ("locomotive", "class", "n")
    assert connection.execute("SELECT row_number, c0, c1, c2 FROM stage").fetchall() == [
        (3, "4021", "a", "0.3"),
        (4, "1000000", " b ", "yes"),
        (5, "2024-05-31 06:30:00", "06:30:00", "36"),
        (6, "2", None, None),
    ]
    assert found.form == {"kind": "workbook", "sheet": "Sheet1", "header_row": 2}
