"""Workbooks, JSON lines and Parquet files of the corpus; see `make_corpus`."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

import duckdb
import xlsxwriter

from tests.intake.corpus_case import FINDINGS, USAGE, Case, kept_dates

Fill = Callable[[xlsxwriter.Workbook], None]
ROW = ["A1", "2024-05-01", "fuel-injector", 1, "leaking", 10, ""]


def workbook(fill: Fill) -> bytes:
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    fill(book)
    book.close()
    return out.getvalue()


def put(book: xlsxwriter.Workbook, name: str, rows: Sequence[Sequence[object]]) -> object:
    sheet = book.add_worksheet(name)
    for place, row in enumerate(rows):
        sheet.write_row(place, 0, row)
    return sheet


def of_rows(*rows: Sequence[object], above: Sequence[Sequence[object]] = ()) -> bytes:
    return workbook(lambda book: put(book, "Findings", [*above, FINDINGS.split(","), *rows]))


def _with_dates(book: xlsxwriter.Workbook) -> None:
    sheet = put(book, "Findings", [FINDINGS.split(","), ROW, ROW])
    form = book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
    for row, moment in enumerate([datetime(2024, 4, 3, 6, 30), datetime(2024, 5, 31)], start=1):
        sheet.write_datetime(row, 1, moment, form)


def _with_merges(book: xlsxwriter.Workbook) -> None:
    rows = [["", "", "fuel-injector", n, "leaking", "", ""] for n in (1, 2, 3)]
    sheet = put(book, "Findings", [FINDINGS.split(","), *rows])
    sheet.merge_range(1, 0, 3, 0, "A1")
    sheet.merge_range(1, 1, 3, 1, "2024-05-01")
    sheet.merge_range(1, 5, 3, 5, 30)


def _with_sheets(book: xlsxwriter.Workbook) -> None:
    put(book, "Findings", [FINDINGS.split(","), ROW])
    put(book, "Usage", [USAGE.split(","), ["A1", "2024-05-01", 100.5, 2000]])
    put(book, "Read me", [["How to fill this in"]])
    put(book, "Lists", [FINDINGS.split(","), ROW]).hide()


def _with_inspections(book: xlsxwriter.Workbook) -> None:
    put(book, "I", [["locomotive", "inspected_at", "signed"], ["A1", "2024-05-01", True]])


def _with_two_strange(book: xlsxwriter.Workbook) -> None:
    put(book, "One", [["a"]])
    put(book, "Two", [["b"]])


def far_cell() -> bytes:
    def fill(book: xlsxwriter.Workbook) -> None:
        put(book, "Findings", [FINDINGS.split(","), ROW]).write(1048575, 16383, "x")

    return workbook(fill)


def bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b" " * 50_000_000)
    return out.getvalue()


def workbook_cases() -> list[Case]:
    one = of_rows(ROW)
    return [
        Case("plain.xlsx", one, 1, kept=("cost", [10.0])),
        Case("several_sheets.xlsx", workbook(_with_sheets), 2),
        Case("title.xlsx", of_rows(ROW, above=[["Depot North"], [], ["May", 2024]]), 1),
        Case("merged.xlsx", workbook(_with_merges), 3, kept=("cost", [30.0, None, None])),
        Case(
            "real_dates.xlsx",
            workbook(_with_dates),
            2,
            kept=kept_dates("2024-04-03 06:30", "2024-05-31 00:00"),
        ),
        Case(
            "serials.xlsx",
            of_rows([*ROW[:1], 45443, *ROW[2:]], ROW),
            2,
            kept=kept_dates("2024-05-31 00:00", "2024-05-01 00:00"),
        ),
        Case(
            "dates_as_text.xlsx",
            of_rows([*ROW[:1], "31.05.2024", *ROW[2:]]),
            1,
            kept=kept_dates("2024-05-31 00:00"),
        ),
        Case("both_ways.xlsx", of_rows([*ROW[:1], "03/04/2024", *ROW[2:]]), error="say which"),
        Case("yes_and_no.xlsx", workbook(_with_inspections), 1, kept=("signed", [True])),
        Case(
            "numbers.xlsx",
            of_rows([*ROW[:5], 0.1, ""], [*ROW[:1], "2024-05-02", *ROW[2:5], 12.345, ""]),
            2,
            kept=("cost", [0.1, 12.345]),
        ),
        Case("number_as_text.xlsx", of_rows([*ROW[:5], "1 234,5", ""]), 1, kept=("cost", [1234.5])),
        Case("total.xlsx", of_rows(ROW, ["Total", "", "", "", "", 10]), 1, 1, "totals row"),
        Case("beyond.xlsx", of_rows(ROW, [*ROW, "x"]), 1, 1, "beyond the last heading"),
        Case("empty_rows.xlsx", of_rows([], ROW, [], ["", " "]), 1),
        Case("no_table.xlsx", workbook(_with_two_strange), error="none of its sheets"),
        Case(
            "one_strange_sheet.xlsx",
            workbook(lambda b: put(b, "One", [["a"]]) and None),
            error="no table has its headings 'a'",
        ),
        Case("nothing.xlsx", workbook(lambda b: put(b, "One", []) and None), error="is empty"),
        Case(
            "encrypted.xlsx",
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(2000),
            error="is encrypted",
        ),
        Case("cut.xlsx", one[:-30], error="cut short"),
        Case("half.xlsx", one[: len(one) // 2], error="cut short"),
        Case("no_zip.xlsx", b"locomotive,class\n", error="not an XLSX workbook"),
        Case("other_zip.xlsx", _other_zip(), error="not an XLSX workbook"),
        Case("bomb.xlsx", bomb(), error="would unpack"),
        Case("far_cell.xlsx", far_cell(), error="too far for a table"),
        Case("old.xls", one, error="old .xls workbook"),
    ]


def _other_zip() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("a.txt", "a")
    return out.getvalue()


def _parquet(folder: Path) -> bytes:
    path = folder / "made.parquet"
    duckdb.sql(
        "SELECT 'A1' AS locomotive, DATE '2024-05-01' AS found_at, 'battery' AS component, "
        "'discharged' AS defect, 12.5 AS cost"
    ).write_parquet(str(path))
    return path.read_bytes()


def other_cases(folder: Path) -> list[Case]:
    good = '{"locomotive": "A1", "found_at": "2024-05-01", "component": "battery", '
    good += '"defect": "discharged", "cost": 12.5}\n'
    other = '{"note": "x", ' + good[1:].replace("05-01", "05-02")
    return [
        Case("objects.jsonl", good.encode(), 1, kept=("cost", [12.5])),
        Case("keys_differ.ndjson", (good + other).encode(), 2, kept=("note", [None, "x"])),
        Case(
            "broken_line.jsonl",
            (good + '{"locomotive": \n' + "\n[1]\n").encode(),
            1,
            2,
            "the line is not a JSON object",
        ),
        Case(
            "dates.jsonl",
            good.replace("2024-05-01", "31.05.2024").encode("utf-16"),
            1,
            kept=kept_dates("2024-05-31 00:00"),
        ),
        Case("no_object.jsonl", b"1\n2\n", error="no line of it is a JSON object"),
        Case("plain.parquet", _parquet(folder), 1, kept=("cost", [12.5])),
        Case("no_parquet.parquet", b"PAR1", error="not a Parquet file"),
        Case("picture.png", b"\x89PNG", error="cannot be read; known endings"),
    ]
