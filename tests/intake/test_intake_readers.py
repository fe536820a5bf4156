"""Files to rows: quoting, broken lines, blank lines, encodings, Parquet.

Oracles: RFC 4180 for quoting (section 2); Python's csv module as a second reader of the same text;
otherwise hand-written expectations.
"""

from __future__ import annotations

import csv
import io
import json
from datetime import datetime
from pathlib import Path

import duckdb
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.errors import InputError
from analytics.intake.delimited import _read_carefully, _read_fast
from analytics.intake.readers import read_file
from tests.intake.depot import Depot, counts

HEAD = "locomotive,found_at,component,defect,note\n"


def staged(path: Path) -> list[tuple[object, ...]]:
    connection = duckdb.connect()
    (sheet,) = read_file(connection, path, "stage")
    return connection.execute(f"FROM {sheet.stage} ORDER BY row_number").fetchall()


def write(folder: Path, text: str | bytes, name: str = "f.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_quoted_newlines_stay_in_their_cell(tmp_path: Path, newline: str) -> None:
    # RFC 4180, section 2, rules 5 to 7: quoted cells may hold line breaks, commas, doubled quotes
    lines = ["a,b", '1,"first', 'second"', '2,"x, ""y"""', "3,z"]
    rows = staged(write(tmp_path, newline.join(lines) + newline))
    assert rows == [
        (2, None, None, "1", f"first{newline}second"),
        (3, None, None, "2", 'x, "y"'),
        (4, None, None, "3", "z"),
    ]


def test_row_numbers_are_those_a_spreadsheet_shows(tmp_path: Path) -> None:
    rows = staged(write(tmp_path, "a,b\n1,x\n\n , \n,,\n2,y\n\n\n"))
    assert [(row[0], row[3]) for row in rows] == [(2, "1"), (6, "2")]


def test_short_rows_are_padded_and_empty_cells_beyond_the_header_ignored(tmp_path: Path) -> None:
    rows = staged(write(tmp_path, "a,b,c\n1,2\n4,5,6,,\n7,8,9\n"))
    assert rows == [
        (2, None, None, "1", "2", None),
        (3, None, None, "4", "5", "6"),
        (4, None, None, "7", "8", "9"),
    ]


@pytest.mark.parametrize(
    ("broken", "reason"),
    [
        ('A1,"2024', "a quotation mark opens a cell and none closes it."),
        ('A1,"2024"x,battery', "a quotation mark stands inside a quoted cell: write it twice."),
        (
            "A1,2024-05-01,battery,discharged,dead, cold",
            "the row has 6 cells, but the header has 5 headings: put quotation marks around a cell "
            "that holds the delimiter.",
        ),
    ],
)
def test_broken_line_is_set_aside_and_the_others_are_read(
    depot: Depot, broken: str, reason: str
) -> None:
    good = "A1,2024-05-0{},battery,discharged,\n"
    text = HEAD + good.format(1) + broken + "\n" + good.format(2) + good.format(3)
    report = depot.hand_in({"f.csv": text})
    assert counts(report) == [(3, 0, 0, 1)]
    row = report.set_aside.iloc[0]
    assert (row["row_number"], row["rule"], row["reason"]) == (3, "broken-line", reason)
    received = json.loads(row["received"])
    assert received.get("line", broken) == broken
    if "line" not in received:
        assert (received["note"], received["beyond the last heading"]) == ("dead", "cold")


def test_quote_that_would_swallow_rows_costs_its_own_row_only(depot: Depot) -> None:
    good = 'A1,2024-05-0{},battery,discharged,"a, b"\n'
    text = HEAD + good.format(1) + 'A1,2024-05-02,battery,discharged,"open\n' + good.format(3)
    report = depot.hand_in({"f.csv": text})
    assert counts(report) == [(2, 0, 0, 1)]
    assert report.set_aside["row_number"].tolist() == [3]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "f.csv is empty."),
        (b"\n\n", "f.csv is empty."),
        (
            HEAD.encode() + b"A1,2024-05-01,battery,discharged,\xe1\xff\n",
            "about line 2: this is not",
        ),
        ("a\u00e1,b\n".encode("utf-16")[:-1], "says that it is UTF-16 text, but holds bytes"),
        (b'"a,b\n', "the header cannot be read: a quotation mark opens a cell"),
    ],
)
def test_file_that_cannot_be_read_is_refused(depot: Depot, content: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        depot.hand_in({"f.csv": content})


def test_unknown_ending_and_missing_file_are_refused(depot: Depot) -> None:
    with pytest.raises(InputError, match=r"ending '.doc' cannot be read; known endings: .csv"):
        depot.hand_in({"f.doc": "x"})
    from analytics.handin import ingest

    with pytest.raises(InputError, match=r"there is no file '.*gone.csv'"):
        ingest(depot.store, depot.folder / "gone.csv")


def test_byte_order_mark_is_no_part_of_the_heading(depot: Depot) -> None:
    text = HEAD + "A1,2024-05-01,battery,discharged,\n"
    assert counts(depot.hand_in({"f.csv": b"\xef\xbb\xbf" + text.encode()})) == [(1, 0, 0, 0)]


CELL = st.text(st.sampled_from('ab,"\n\r \t1\u00e1'), max_size=4)


@settings(max_examples=150, deadline=None)
@given(rows=st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=6))
def test_both_ways_of_reading_agree(
    rows: list[tuple[str, str, str]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Cross-check: what the fast way accepts, the careful way reads alike (blanks aside)."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n", quoting=csv.QUOTE_ALL).writerows([("a", "b", "c"), *rows])
    path = write(tmp_path_factory.mktemp("both"), text.getvalue())
    connection = duckdb.connect(config={"threads": 1})
    _read_carefully(connection, path, "careful", ",", 3)
    careful = connection.execute("SELECT c0, c1, c2 FROM careful").fetchall()
    wanted = [tuple(cell or None for cell in row) for row in rows if any(row)]
    assert careful == wanted
    if _read_fast(connection, path, "fast", ",", 3):
        fast = connection.execute("SELECT c0, c1, c2 FROM fast").fetchall()
        assert [tuple(c or None for c in row) for row in fast if any(row)] == wanted


def test_parquet_gives_what_csv_gives(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {
            "locomotive": ["A1", "A1", "A1"],
            "inspected_at": [
                datetime(2024, 5, 1, 6, 30),
                datetime(2024, 5, 2, 6, 30, 15, 250),
                datetime(2024, 5, 3),
            ],
            "engine_hours": [1000.0, 1010.5, None],
            "km": pd.array([10, None, 30], dtype="Int64"),
            "signed": pd.array([True, False, None], dtype="boolean"),
            "outcome": pd.Categorical(["released", "withheld", None]),
        }
    )
    text = (
        "locomotive,inspected_at,engine_hours,km,signed,outcome\n"
        "A1,2024-05-01 06:30,1000,10,yes,released\n"
        "A1,2024-05-02 06:30:15.00025,1010.5,,no,withheld\n"
        "A1,2024-05-03 00:00,,30,,\n"
    )
    frame.to_parquet(tmp_path / "frame.parquet")
    kept = []
    for name, content in {
        "i.csv": text.encode(),
        "i.parquet": (tmp_path / "frame.parquet").read_bytes(),
    }.items():
        folder = tmp_path / name
        folder.mkdir()
        depot = Depot.new(folder)
        assert counts(depot.hand_in({name: content})) == [(3, 0, 0, 0)]
        kept.append(depot.current("inspections"))
    columns = slice(3, None)  # without batch, file, row_number
    assert [row[columns] for row in kept[0]] == [row[columns] for row in kept[1]]


def test_parquet_column_of_midnights_is_a_column_of_dates(depot: Depot, tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {
            "locomotive": ["A1", "A1"],
            "found_at": pd.to_datetime(["2024-05-01 10:00", "2024-05-02 11:00"]),
            "component": "fuel-injector",
            "position": [1.0, None],  # a number with gaps arrives as floating point
            "defect": "leaking",
            "closed_at": pd.to_datetime(["2024-05-01", "2024-05-03"]),
        }
    )
    frame.to_parquet(tmp_path / "frame.parquet")
    depot.hand_in({"f.parquet": (tmp_path / "frame.parquet").read_bytes()})
    assert depot.current("findings", "position, closed_at::VARCHAR, closed_timed") == [
        ("1", "2024-05-01 10:00:00", False),
        (None, "2024-05-03 00:00:00", False),
    ]


def test_parquet_that_is_cut_short_is_refused(depot: Depot, tmp_path: Path) -> None:
    pd.DataFrame({"locomotive": ["A1"], "class": ["Alder"]}).to_parquet(tmp_path / "x.parquet")
    cut = (tmp_path / "x.parquet").read_bytes()[:-7]
    with pytest.raises(InputError, match="not a Parquet file that can be read, or it is cut short"):
        depot.hand_in({"f.parquet": cut})
