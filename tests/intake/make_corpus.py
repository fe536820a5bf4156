"""Small files, one fault or habit of real hand-ins each, with what must become of it.

Run as `python -m tests.intake.make_corpus FOLDER` to look at the files; the test makes them itself.
Expected outcomes are hand-written. The depot they are handed in to is that of `tests.intake.depot`.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.intake.corpus_case import (
    FINDINGS,
    USAGE,
    Case,
    costs,
    dated,
    finding,
    kept_dates,
    lines,
    usage,
)
from tests.intake.make_workbooks import other_cases, workbook_cases


def text_cases() -> list[Case]:
    two = lines(finding(1), finding(2))
    capitals = two.replace(FINDINGS, FINDINGS.upper().replace(",", " , "))
    no_text = two.encode() + b"\xff\x81\x9d\x8f\x90"
    hungarian = lines(
        finding(1, note="t\u00f6r\u00f6tt b\u0151v\u00edt\u0151, \u0171r").replace(
            "\u0151, ", "\u0151 "
        )
    )
    german = lines(finding(1, note="D\u00fcse undicht, \u00d6l").replace("undicht, ", "undicht "))
    french = lines(finding(1, note="pi\u00e8ce us\u00e9e, d\u00e9j\u00e0").replace("e, ", "e "))
    return [
        Case("comma.csv", two.encode(), 2),
        Case("semicolon.csv", two.replace(",", ";").encode(), 2),
        Case("tab.csv", two.replace(",", "\t").encode(), 2),
        Case("tab.tsv", two.replace(",", "\t").encode(), 2),
        Case("semicolon.txt", two.replace(",", ";").encode(), 2),
        Case("comma_in_tsv.tsv", two.encode(), 2),
        Case("crlf.csv", two.replace("\n", "\r\n").encode(), 2),
        Case("cr_alone.csv", two.replace("\n", "\r").encode(), 2),
        Case("no_last_newline.csv", two.rstrip().encode(), 2),
        Case("utf8_mark.csv", b"\xef\xbb\xbf" + two.encode(), 2),
        Case(
            "utf16_le.csv",
            hungarian.encode("utf-16"),
            1,
            kept=("note", ["t\u00f6r\u00f6tt b\u0151v\u00edt\u0151 \u0171r"]),
        ),
        Case("utf16_be.csv", b"\xfe\xff" + two.encode("utf-16-be"), 2),
        Case("utf16_no_mark.csv", two.encode("utf-16-le"), 2),
        Case("utf16_be_no_mark.csv", two.encode("utf-16-be"), 2),
        Case("utf16_tab.txt", two.replace(",", "\t").encode("utf-16"), 2),
        Case(
            "cp1250.csv",
            hungarian.encode("cp1250"),
            1,
            kept=("note", ["t\u00f6r\u00f6tt b\u0151v\u00edt\u0151 \u0171r"]),
        ),
        Case(
            "cp1252_german.csv",
            german.encode("cp1252"),
            1,
            kept=("note", ["D\u00fcse undicht \u00d6l"]),
        ),
        Case(
            "cp1252_french.csv",
            french.encode("cp1252"),
            1,
            kept=("note", ["pi\u00e8ce us\u00e9e d\u00e9j\u00e0"]),
        ),
        Case("no_encoding.csv", no_text, error="is not text in UTF-8"),
        Case("utf16_cut.csv", two.encode("utf-16")[:-1], error="says that it is UTF-16"),
        Case(
            "utf8_mark_wrong.csv",
            b"\xef\xbb\xbf" + two.encode() + b"\xff",
            error="says that it is UTF-8",
        ),
        Case("empty.csv", b"", error="is empty"),
        Case("blank_lines.csv", b"\n\r\n\n", error="is empty"),
        Case("header_alone.csv", lines().encode()),
        Case("no_table.csv", b"a,b\n1,2\n", error="no table has its headings 'a', 'b'"),
        Case("heading_twice.csv", f"{FINDINGS},cost\n".encode(), error="'cost' stands twice"),
        Case("capitals.csv", capitals.encode(), 2),
    ]


def shape_cases() -> list[Case]:
    two = lines(finding(1), finding(2))
    title = "Depot North\nFindings; May 2024\n"
    totals = "this looks like a totals row"
    return [
        Case("title.csv", (title + two).encode(), 2),
        Case("title_and_gap.csv", (title + "\n,,\n" + two).encode(), 2),
        Case("title_quoted.csv", ('"Depot\nNorth"\n' + two).encode(), 2),
        Case("title_semicolon.csv", (title + two.replace(",", ";")).encode(), 2),
        Case("title_cp1250.csv", ("M\u0171hely\n" + two).encode("cp1250"), 2),
        Case("separator_hint.csv", ("sep=;\n" + two.replace(",", ";")).encode(), 2),
        Case("total.csv", (two + "Total,,,,,12,\n").encode(), 2, 1, totals),
        Case("total_hungarian.csv", (two + "\u00d6sszesen:,,,,,12,\n").encode(), 2, 1, totals),
        Case("total_numbers.csv", (two + ",,,,,1234.5,\n").encode(), 2, 1, totals),
        Case("total_then_gap.csv", (two + "Sum,,,,,12,\n,,,,,,\n\n").encode(), 2, 1, totals),
        Case("no_total.csv", (two + ",2024-05-03,,,,,\n").encode(), 2, 1, "locomotive is empty"),
        Case("empty_columns.csv", two.replace("\n", ",,\n").encode(), 2),
        Case("empty_columns_below.csv", (lines(finding(1) + ",,,")).encode(), 1),
        Case("empty_rows.csv", (two + ",,,,,,\n\n\n,,,,,,\n").encode(), 2),
        Case("empty_row_inside.csv", lines(finding(1), "", ",,,,,,", finding(2)).encode(), 2),
        Case(
            "quoted_newline.csv",
            lines(finding(1, note='"one\ntwo"')).encode(),
            1,
            kept=("note", ["one\ntwo"]),
        ),
        Case(
            "quoted_quote.csv",
            lines(finding(1, note='"say ""so"""')).encode(),
            1,
            kept=("note", ['say "so"']),
        ),
        Case(
            "quote_open.csv",
            lines(finding(1, note='"open'), finding(2)).encode(),
            1,
            1,
            "none closes it",
        ),
        Case(
            "cells_too_many.csv",
            lines(finding(1) + ",x,y", finding(2)).encode(),
            1,
            1,
            "the row has 9 cells, but the header has 7 headings",
        ),
        Case("cells_too_few.csv", lines("A1,2024-05-01,battery,,discharged").encode(), 1),
        Case(
            "formula_sign.csv", lines(finding(1, note="'=1+1")).encode(), 1, kept=("note", ["=1+1"])
        ),
        Case(
            "formula_sign_number.csv",
            lines(finding(1, cost="'-5.5")).encode(),
            1,
            kept=("cost", [-5.5]),
        ),
        Case(
            "apostrophe_kept.csv",
            lines(finding(1, note="'s Bolt")).encode(),
            1,
            kept=("note", ["'s Bolt"]),
        ),
        Case(
            "unknown_locomotive.csv",
            lines(finding(1).replace("A1", "Z9")).encode(),
            0,
            1,
            "'Z9' is not known",
        ),
        Case(
            "disagree.csv",
            f"{USAGE}\nA1,2024-05-01,1,\nA1,2024-05-01,2,\n".encode(),
            0,
            2,
            "row 2 and row 3 disagree",
        ),
    ]


def number_cases() -> list[Case]:
    return [
        Case(
            "decimal_comma.csv", costs("1234,5", "7,25").encode(), 2, kept=("cost", [1234.5, 7.25])
        ),
        Case(
            "decimal_comma_quoted.csv",
            lines(finding(1, cost='"12,5"')).encode(),
            1,
            kept=("cost", [12.5]),
        ),
        Case(
            "thousands_blank.csv",
            costs("12 345", "1 234 567,5").encode(),
            2,
            kept=("cost", [12345.0, 1234567.5]),
        ),
        Case(
            "thousands_no_break.csv",
            costs("12\u00a0345", "1").encode(),
            2,
            kept=("cost", [12345.0, 1.0]),
        ),
        Case(
            "thousands_no_break_cp1250.csv",
            costs("12\u00a0345", "1").encode("cp1250"),
            2,
            kept=("cost", [12345.0, 1.0]),
        ),
        Case("thousands_thin.csv", costs("12\u2009345").encode(), 1, kept=("cost", [12345.0])),
        Case(
            "thousands_narrow.csv", costs("12\u202f345,75").encode(), 1, kept=("cost", [12345.75])
        ),
        Case(
            "thousands_dot.csv",
            costs("12.345,5", "6.789").encode(),
            2,
            kept=("cost", [12345.5, 6789.0]),
        ),
        Case(
            "thousands_comma.csv",
            costs("12,345.5", "6,789").encode(),
            2,
            kept=("cost", [12345.5, 6789.0]),
        ),
        Case(
            "thousands_many_dots.csv",
            costs("1.234.567", "6.789").encode(),
            2,
            kept=("cost", [1234567.0, 6789.0]),
        ),
        Case(
            "comma_says_nothing.csv",
            costs("12,345", "6,789").encode(),
            0,
            2,
            "is not a number",
        ),
        Case(
            "point_alone.csv", costs("12.345", "6.789").encode(), 2, kept=("cost", [12.345, 6.789])
        ),
        Case(
            "comma_settled_by_zero.csv",
            costs("12,345", "0,125").encode(),
            2,
            kept=("cost", [12.345, 0.125]),
        ),
        Case(
            "comma_settled_by_other_column.csv",
            usage(("1.234,5", "12.345")).encode(),
            1,
            kept=("km", [12345.0]),
        ),
        Case("blank_not_between_thousands.csv", costs("12 34").encode(), 0, 1, "is not a number"),
        Case(
            "unit_text.csv",
            usage(("12 345 h", "678 km"), ("12346,5h", "679km")).encode(),
            2,
            kept=("engine_hours", [12345.0, 12346.5]),
        ),
        Case(
            "unit_text_hungarian.csv",
            usage(("12 345 \u00fczem\u00f3ra", "")).encode(),
            1,
            kept=("engine_hours", [12345.0]),
        ),
        Case(
            "unit_of_another_column.csv",
            usage(("678 km", "")).encode(),
            0,
            1,
            "engine_hours '678 km' is not a number",
        ),
        Case("no_number.csv", costs("n/a", "1").encode(), 1, 1, "cost 'n/a' is not a number"),
    ]


def date_cases() -> list[Case]:
    ask = 'say which with date_format = "day-first" or "month-first"'
    return [
        Case(
            "day_month_year.csv",
            dated("31.05.2024", "1.6.2024").encode(),
            2,
            kept=kept_dates("2024-05-31 00:00", "2024-06-01 00:00"),
        ),
        Case(
            "day_month_year_alone.csv",
            dated("03.04.2024").encode(),
            1,
            kept=kept_dates("2024-04-03 00:00"),
        ),
        Case(
            "day_month_year_time.csv",
            dated("31.05.2024 6:30", "01.06.2024 18:05:10").encode(),
            2,
            kept=kept_dates("2024-05-31 06:30", "2024-06-01 18:05"),
        ),
        Case(
            "year_month_day.csv",
            dated("2024.05.31.", "2024.06.01").encode(),
            2,
            kept=kept_dates("2024-05-31 00:00", "2024-06-01 00:00"),
        ),
        Case(
            "year_month_day_blanks.csv",
            dated("2024. 05. 31.", "2024. 6. 1. 6:30").encode(),
            2,
            kept=kept_dates("2024-05-31 00:00", "2024-06-01 06:30"),
        ),
        Case(
            "year_strokes.csv", dated("2024/05/31").encode(), 1, kept=kept_dates("2024-05-31 00:00")
        ),
        Case(
            "day_first_settled.csv",
            dated("03/04/2024", "31/05/2024").encode(),
            2,
            kept=kept_dates("2024-04-03 00:00", "2024-05-31 00:00"),
        ),
        Case(
            "month_first_settled.csv",
            dated("03/04/2024", "05/31/2024").encode(),
            2,
            kept=kept_dates("2024-03-04 00:00", "2024-05-31 00:00"),
        ),
        Case("hyphens.csv", dated("31-05-2024").encode(), 1, kept=kept_dates("2024-05-31 00:00")),
        Case("both_ways.csv", dated("03/04/2024", "05/06/2024").encode(), error=ask),
        Case("both_ways_time.csv", dated("03/04/2024 06:30").encode(), error=ask),
        Case(
            "same_both_ways.csv",
            dated("05/05/2024").encode(),
            1,
            kept=kept_dates("2024-05-05 00:00"),
        ),
        Case(
            "contradiction.csv",
            dated("31/05/2024", "30/05/2024", "05/29/2024").encode(),
            2,
            1,
            "found_at '05/29/2024' is not a date",
        ),
        Case(
            "impossible_day.csv",
            dated("31.04.2024", "30.04.2024").encode(),
            1,
            1,
            "found_at '31.04.2024' is not a date",
        ),
        Case("two_digit_year.csv", dated("31.05.24").encode(), 0, 1, "is not a date"),
        Case(
            "iso_and_dots.csv",
            dated("2024-05-31", "01.06.2024").encode(),
            2,
            kept=kept_dates("2024-05-31 00:00", "2024-06-01 00:00"),
        ),
        # 45443 is 31 May 2024 in the 1900 system: ECMA-376 part 1, 18.17.4.1 (from memory)
        Case(
            "serial_column.csv",
            dated("45443", "45444.25").encode(),
            2,
            kept=kept_dates("2024-05-31 00:00", "2024-06-01 06:00"),
        ),
        Case(
            "serial_among_dates.csv",
            dated("45443", "2024-06-01").encode(),
            1,
            1,
            "found_at '45443' is not a date",
        ),
        Case("future.csv", dated("31.12.2030").encode(), 0, 1, "lies in the future"),
    ]


def all_cases(folder: Path) -> list[Case]:
    """Return all cases; `folder` is for what can only be made through a file."""
    return [
        *text_cases(),
        *shape_cases(),
        *number_cases(),
        *date_cases(),
        *workbook_cases(),
        *other_cases(folder),
    ]


def main(folder: Path) -> None:
    """Write the corpus into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for case in all_cases(folder):
        (folder / case.name).write_bytes(case.content)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
