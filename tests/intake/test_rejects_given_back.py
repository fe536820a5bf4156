"""Set-aside rows written out, mended, handed in again.

Oracle: the rows handed in, read back with Python's own csv and json modules,
and a workbook reader.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook

from analytics.errors import InputError
from analytics.handin import ingest, rejects, withdraw
from analytics.intake.tables import REASON_HEADING
from tests.intake.depot import NOW, Depot, counts

USAGE = "locomotive,read_at,engine_hours,Remark\n"
BAD = USAGE + (
    "A1,2024-05-01,100,fine\n"
    "A1,2024-05-02,1x0,\n"
    'A9,2024-05-03,300,"=HYPERLINK(""x"")"\n'
    " A1 ,yesterday,-4,-12.5\n"
)


def written(path: Path, delimiter: str = ",") -> list[list[str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.reader(file, delimiter=delimiter))


def give_back(depot: Depot, *, batch: int | None = None, folder: str = "out") -> dict[str, Path]:
    return {f.file: f.path for f in rejects(depot.store, depot.folder / folder, batch=batch)}


def test_rows_come_back_as_received_with_their_reasons(depot: Depot) -> None:
    depot.hand_in({"u.csv": BAD})
    headings, *rows = written(give_back(depot)["u.csv"])
    assert headings == ["locomotive", "read_at", "engine_hours", "Remark", REASON_HEADING]
    assert [row[:-1] for row in rows] == [
        ["A1", "2024-05-02", "1x0", ""],
        ["A9", "2024-05-03", "300", '\'=HYPERLINK("x")'],
        [" A1 ", "yesterday", "-4", "-12.5"],
    ]
    assert rows[0][-1].startswith("engine_hours '1x0' is not a number")
    assert rows[1][-1].startswith("locomotive 'A9' is not known")
    assert "read_at 'yesterday' is not a date" in rows[2][-1]
    assert "engine_hours '-4' is below zero" in rows[2][-1]


def test_mended_rows_are_taken_in_and_listed_no_more(depot: Depot) -> None:
    depot.hand_in({"u.csv": BAD})
    path = give_back(depot)["u.csv"]
    mended = path.read_text(encoding="utf-8-sig").replace("1x0", "110")
    mended = mended.replace("yesterday,-4", "2024-05-04,400")
    report = depot.hand_in({"u.csv": mended})
    assert counts(report) == [(2, 0, 0, 1)]
    assert report.files[0].notes == ("columns not read: 'Remark'",)
    hours = depot.current("usage", "engine_hours")
    assert hours == [(100.0,), (110.0,), (400.0,)]
    [again] = rejects(depot.store, depot.folder / "second")
    assert (again.rows, again.left, again.batch) == (1, 3, 3)
    headings, row = written(again.path)
    assert headings.count(REASON_HEADING) == 1
    assert row[0] == "A9"
    assert depot.hand_in({"r.csv": "locomotive,class\nA9,Birch\n", "u.csv": mended}).files
    assert give_back(depot, folder="third") == {}


def test_untouched_rows_are_set_aside_again(depot: Depot) -> None:
    depot.hand_in({"u.csv": BAD})
    again = give_back(depot)["u.csv"].read_bytes()
    assert counts(depot.hand_in({"u.csv": again})) == [(0, 0, 0, 3)]


def test_ending_of_the_mended_file_does_not_matter(depot: Depot) -> None:
    depot.hand_in({"Usage May.csv": BAD})
    depot.hand_in({"usage may.csv": USAGE + "A1,2024-05-02,110,\n"})
    assert give_back(depot) == {}


def test_rows_that_pass_in_the_same_bytes_later_are_listed_no_more(depot: Depot) -> None:
    depot.hand_in({"u.csv": BAD})
    depot.hand_in({"r.csv": "locomotive,class\nA9,Birch\n"})
    assert counts(depot.hand_in({"u.csv": BAD})) == [(1, 0, 3, 0)]
    _, *rows = written(give_back(depot)["u.csv"])
    assert [row[0] for row in rows] == ["A1", " A1 "]


def test_batch_is_given_back_whole_when_named(depot: Depot) -> None:
    depot.hand_in({"u.csv": BAD})
    depot.hand_in({"u.csv": USAGE + "A1,2024-05-02,1y0,\n"})
    [later] = rejects(depot.store, depot.folder / "later")
    assert (later.rows, later.left) == (1, 3)
    assert len(written(give_back(depot, batch=2)["u.csv"])) == 4


def test_withdrawn_batches_are_not_listed(depot: Depot) -> None:
    depot.hand_in({"u.csv": BAD})
    withdraw(depot.store, 2)
    assert give_back(depot) == {}
    assert len(written(give_back(depot, batch=2)["u.csv"])) == 4


def test_one_file_for_each_input_file(depot: Depot) -> None:
    depot.hand_in({"u.csv": BAD, "v.csv": "locomotive,class\nC1,Oak\n", "w.csv": USAGE})
    assert sorted(give_back(depot)) == ["u.csv", "v.csv"]


def test_files_of_one_name_in_one_call_are_kept_apart(depot: Depot) -> None:
    for folder in ("north", "south"):
        (depot.folder / folder).mkdir()
    rows = {"north/u.csv": BAD, "south/u.csv": USAGE + "B1,2024-05-02,?,\n"}
    depot.hand_in(rows)
    files = rejects(depot.store, depot.folder / "out")
    assert [file.rows for file in files] == [3, 1]
    assert len({file.path for file in files}) == 2
    assert all(file.path.name == "u.csv" for file in files)


def test_row_that_could_not_be_cut_into_cells_stands_whole_in_the_first(depot: Depot) -> None:
    text = USAGE + 'A1,2024-05-01,100,,much,more\nA1,2024-05-02,"1 said "so,\nA1,2024-05-03,1,\n'
    assert counts(depot.hand_in({"u.csv": text})) == [(1, 0, 0, 2)]
    path = give_back(depot)["u.csv"]
    _, *rows = written(path)
    assert [row[1:4] for row in rows] == [["", "", ""]] * 2
    assert rows[0][0].startswith("A1,2024-05-01,100,,much")
    assert rows[1][0] == 'A1,2024-05-02,"1 said "so,'
    again = depot.hand_in({"u.csv": path.read_bytes()})
    assert counts(again) == [(0, 0, 0, 2)]


def test_headings_of_any_kind_come_back(depot: Depot) -> None:
    headings = ["locomotive", "read_at", "a/b", "a~b", 'say "x"', "", "km", "dot.ted", "line"]
    text = ",".join('"' + h.replace('"', '""') + '"' for h in headings) + "\n"
    depot.hand_in({"u.csv": text + "A1,nodate,1,2,3,4,5,6,7\n"})
    found, row = written(give_back(depot)["u.csv"])
    assert [name or "" for name in found[:5]] == headings[:5]
    assert row[:-1] == ["A1", "nodate", "1", "2", "3", "4", "5", "6", "7"]


def test_nothing_is_overwritten(depot: Depot) -> None:
    depot.hand_in({"u.csv": BAD, "v.csv": "locomotive,class\nC1,Oak\n"})
    (depot.folder / "out").mkdir()
    mine = depot.folder / "out" / "v.csv"
    mine.write_text("half mended", encoding="utf-8")
    with pytest.raises(InputError, match="is there already and may hold mended rows"):
        give_back(depot)
    assert [path.name for path in (depot.folder / "out").iterdir()] == ["v.csv"]
    assert mine.read_text(encoding="utf-8") == "half mended"


def test_unknown_batch_is_refused(depot: Depot) -> None:
    with pytest.raises(InputError, match="there is no batch 9"):
        give_back(depot, batch=9)


def test_nothing_set_aside_writes_nothing(depot: Depot) -> None:
    assert rejects(depot.store, depot.folder / "out") == []
    assert not (depot.folder / "out").exists()


def test_parquet_comes_back_as_csv(depot: Depot) -> None:
    import pandas as pd

    frame = pd.DataFrame({"locomotive": ["A1", "A9"], "read_at": ["2024-05-01"] * 2, "km": [1, 2]})
    frame.to_parquet(depot.folder / "u.parquet")
    depot.hand_in({"u.parquet": (depot.folder / "u.parquet").read_bytes()})
    path = give_back(depot)["u.parquet"]
    assert path.name == "u.csv"
    assert written(path)[1][:-1] == ["A9", "2024-05-01", "2"]


def test_way_of_writing_that_only_the_whole_file_showed_is_kept(depot: Depot) -> None:
    # 12.345 is 12345 in a file with decimal commas, and 03/04 the third of April beside 25/04.
    text = "locomotive;read_at;engine_hours;km\n" + (
        "A1;25/04/2024;100,5;12.345\nA1;03/04/2024;90,5;-\nA9;05/04/2024;;12.346\n"
    )
    assert counts(depot.hand_in({"u.csv": text})) == [(1, 0, 0, 2)]
    path = give_back(depot)["u.csv"]
    headings, *_ = written(path, ";")
    assert headings[-1] == f"{REASON_HEADING} (day-first, decimal comma)"
    mended = path.read_text(encoding="utf-8-sig").replace(";'-;", ";12.100;").replace("A9", "A2")
    report = depot.hand_in({"u.csv": mended})
    assert (counts(report), report.files[0].notes) == ([(2, 0, 0, 0)], ())
    assert depot.current("usage", "locomotive, read_at::DATE::VARCHAR, km") == [
        ("A1", "2024-04-03", 12100.0),
        ("A1", "2024-04-25", 12345.0),
        ("A2", "2024-04-05", 12346.0),
    ]


@pytest.mark.parametrize(
    ("encoding", "back"),
    [("utf-8-sig", "utf-8-sig"), ("utf-16", "utf-16"), ("cp1250", "utf-8-sig")],
)
def test_text_comes_back_in_an_encoding_that_says_what_it_is(
    depot: Depot, encoding: str, back: str
) -> None:
    text = "locomotive\tread_at\tkm\tMegjegyz\u00e9s\nA1\tx\t1\t\u0151rizend\u0151 \u0171r\n"
    depot.hand_in({"u.tsv": text.encode(encoding)})
    received = give_back(depot)["u.tsv"].read_bytes()
    rows = [line.split("\t") for line in received.decode(back).splitlines()]
    assert rows[0][:4] == ["locomotive", "read_at", "km", "Megjegyz\u00e9s"]
    assert rows[1][:4] == ["A1", "x", "1", "\u0151rizend\u0151 \u0171r"]


def test_json_lines_keep_their_keys(depot: Depot) -> None:
    lines = '{"locomotive": "A1", "read_at": "x", "km": 12.5}\n{"locomotive": "A1", "read_at": 3'
    depot.hand_in({"u.jsonl": lines})
    found = give_back(depot)["u.jsonl"].read_text(encoding="utf-8").splitlines()
    rows = [json.loads(line) for line in found]
    assert [rows[0][key] for key in ("locomotive", "read_at", "km")] == ["A1", "x", "12.5"]
    assert rows[1]["locomotive"] == '{"locomotive": "A1", "read_at": 3'
    assert counts(depot.hand_in({"u.jsonl": "\n".join(found)})) == [(0, 0, 0, 2)]


def test_workbook_comes_back_as_one_with_its_sheets(depot: Depot) -> None:
    path = depot.folder / "book.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        for name, rows in {
            "Counters": [["title"], [], ["locomotive", "read_at", "km"], ["A1", "x", 12.5]],
            "Register": [["locomotive", "class"], ["C1", "Oak"], ["C2", "Alder"]],
            "Fine": [["locomotive", "read_at", "km"], ["A1", "2024-05-01", 12]],
        }.items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                sheet.write_row(number, 0, row)
    depot.hand_in({"book.xlsx": path.read_bytes()})
    [back] = rejects(depot.store, depot.folder / "out")
    assert (back.file, back.rows, back.path.name) == ("book.xlsx", 2, "book.xlsx")
    read = CalamineWorkbook.from_path(str(back.path))
    assert read.sheet_names == ["Counters", "Register"]
    counters = read.get_sheet_by_name("Counters").to_python()
    assert counters[0] == ["locomotive", "read_at", "km", REASON_HEADING]
    assert counters[1][:3] == ["A1", "x", "12.5"]
    again = depot.hand_in({"book.xlsx": back.path.read_bytes()})
    assert counts(again) == [(0, 0, 0, 1), (0, 0, 0, 1)]
    assert rejects(depot.store, depot.folder / "again")[0].rows == 2


def test_file_with_a_mapping_comes_back_in_its_own_columns(depot: Depot) -> None:
    mapping = depot.folder / "meter.toml"
    mapping.write_text(
        '[usage.columns]\nlocomotive = "Loco"\nread_at = "Datum"\nkm = "Km"\n', encoding="utf-8"
    )
    path = depot.folder / "meter.csv"
    path.write_text("Loco;Datum;Km\nA1;01.02.2024;10\nA1;morgen;20\n", encoding="utf-8")
    ingest(depot.store, path, mapping=mapping, now=NOW)
    [back] = rejects(depot.store, depot.folder / "out")
    assert back.mapped
    headings, row = written(back.path, ";")
    assert (headings, row[:-1]) == (["Loco", "Datum", "Km", REASON_HEADING], ["A1", "morgen", "20"])
    mended = back.path.read_text(encoding="utf-8-sig").replace("morgen", "02.02.2024")
    back.path.write_text(mended, encoding="utf-8")
    assert counts(ingest(depot.store, back.path, mapping=mapping, now=NOW)) == [(1, 0, 0, 0)]
    assert give_back(depot) == {}


def test_row_of_a_combined_sheet_comes_back_whole_and_once(depot: Depot) -> None:
    text = "locomotive,inspected_at,engine_hours,component,defect,oil-temperature\n" + (
        "A1,2024-05-01 06:00,100,,,80\n"
        "A1,2024-05-02 06:00,1x0,fuel-injector,leek,9000\n"
        "A1,2024-05-03 06:00,120,fuel-injector,worn,81\n"
    )
    assert counts(depot.hand_in({"sheet.csv": text})) == [(2, 0, 0, 1)]
    _, row = written(give_back(depot)["sheet.csv"])
    assert row[:-1] == ["A1", "2024-05-02 06:00", "1x0", "fuel-injector", "leek", "9000"]
    for reason in ("engine_hours '1x0'", "defect 'leek'", "'9000'"):
        assert row[-1].count(reason) == 1
    path = depot.folder / "out" / "sheet.csv"
    mended = path.read_text(encoding="utf-8-sig")
    for wrong, right in (("1x0,", "110,"), ("leek,", "leaking,"), ("9000,", "90,")):
        mended = mended.replace(wrong, right, 1)
    assert counts(depot.hand_in({"sheet.csv": mended})) == [(1, 0, 0, 0)]
    assert give_back(depot, folder="again") == {}


def test_rows_of_batches_from_before_headings_were_kept_come_back(depot: Depot) -> None:
    depot.hand_in({"u.csv": BAD})
    with depot.store.publish() as connection:
        connection.execute("UPDATE batch_file SET headings = '[]', form = '{}'")
    headings, *rows = written(give_back(depot)["u.csv"])
    assert headings == ["locomotive", "read_at", "engine_hours", "Remark", REASON_HEADING]
    assert [row[0] for row in rows] == ["A1", "A9", " A1 "]
