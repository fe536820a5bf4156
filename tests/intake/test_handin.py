"""One call as a whole: all or nothing, the same again, a second chance, coverage, the catalogue."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from analytics.errors import InputError
from analytics.handin import ingest
from analytics.store.desk import Desk
from tests.intake.depot import NOW, REGISTER, Depot, counts

USAGE = "locomotive,read_at,engine_hours,km\n"
GOOD = USAGE + "A1,2024-05-01,100,\n"


def snapshots(depot: Depot) -> list[str]:
    return sorted(path.name for path in depot.store.root.glob("store-*"))


def test_fault_of_one_file_leaves_nothing_of_the_call(depot: Depot) -> None:
    before = snapshots(depot)
    with pytest.raises(InputError, match="no table has its headings"):
        depot.hand_in({"good.csv": GOOD, "bad.csv": "a,b\n1,2\n"})
    assert snapshots(depot) == before
    assert depot.rows("SELECT max(batch) FROM batch") == [(1,)]
    assert depot.current("usage") == []


def test_same_bytes_again_are_all_duplicates_and_no_new_snapshot(depot: Depot) -> None:
    files = {"u.csv": GOOD + "A1,2024-05-02,x,\nA9,2024-05-02,1,\n"}
    assert counts(depot.hand_in(files)) == [(1, 0, 0, 2)]
    before = snapshots(depot)
    again = depot.hand_in({"renamed.csv": files["u.csv"]})
    assert (counts(again), again.batch) == ([(0, 0, 3, 0)], None)
    assert again.set_aside.empty
    assert snapshots(depot) == before


def test_row_set_aside_gets_another_chance_when_the_register_comes(tmp_path: Path) -> None:
    depot = Depot.new(tmp_path, register=None)
    files = {"u.csv": GOOD + "A1,2024-05-02,x,\n"}
    assert counts(depot.hand_in(files)) == [(0, 0, 0, 2)]
    depot.hand_in({"r.csv": REGISTER})
    again = depot.hand_in(files)
    assert counts(again) == [(1, 0, 1, 0)]  # the cell that is no number is as wrong as before
    assert depot.current("usage", "engine_hours") == [(100.0,)]


def test_row_set_aside_gets_another_chance_when_the_catalogue_grows(depot: Depot) -> None:
    files = {"r.csv": "locomotive,class\nC1,Cedar\n"}
    assert counts(depot.hand_in(files)) == [(0, 0, 0, 1)]
    catalogue = depot.store.root / "catalogue" / "depot.toml"
    text = catalogue.read_text(encoding="utf-8")
    catalogue.write_text(f"[class.Cedar]\n{text}", encoding="utf-8")
    assert counts(depot.hand_in(files)) == [(1, 0, 0, 0)]


def test_edited_catalogue_is_published_even_where_nothing_else_is_new(depot: Depot) -> None:
    depot.hand_in({"u.csv": GOOD})
    catalogue = depot.store.root / "catalogue" / "depot.toml"
    text = catalogue.read_text(encoding="utf-8")
    catalogue.write_text(text.replace("fuel-injector = 4", "fuel-injector = 6"), encoding="utf-8")
    before = depot.store.current()
    report = depot.hand_in({"u.csv": GOOD})
    assert (counts(report), report.batch) == ([(0, 0, 1, 0)], None)
    assert depot.store.current() != before
    with depot.store.read() as reader:
        assert reader.catalogue.positions("Alder", "fuel-injector") == 6
    assert depot.rows("SELECT max(batch) FROM batch") == [(2,)]


def test_rows_set_aside_are_kept_as_received(depot: Depot) -> None:
    depot.hand_in({"u.csv": 'locomotive,read_at,km,Colour\n" A1 ",yesterday,,"dark, red"\n'})
    kept = depot.rows("SELECT row_number, column_name, rule, received FROM set_aside")
    assert kept == [
        (
            2,
            "read_at",
            "date",
            '{"locomotive":" A1 ","read_at":"yesterday","km":null,"Colour":"dark, red"}',
        )
    ]


def test_columns_not_read_are_named_in_the_report(depot: Depot) -> None:
    report = depot.hand_in({"u.csv": "locomotive,read_at,colour\nA1,2024-05-01,red\n"})
    assert report.files[0].notes == ("columns not read: 'colour'",)


def test_coverage_is_kept_for_every_locomotive_named(depot: Depot) -> None:
    until = datetime(2026, 5, 1)
    files = {"u.csv": GOOD + "B1,x,,\nZ9,2024-05-01,1,\n"}
    depot.hand_in(files, covered_until=until)
    assert depot.rows("SELECT locomotive, covered_until FROM coverage ORDER BY ALL") == [
        ("A1", until),
        ("B1", until),
    ]
    before = snapshots(depot)
    assert depot.hand_in(files, covered_until=until).batch is None
    assert snapshots(depot) == before
    later = depot.hand_in(files, covered_until=datetime(2026, 5, 15))
    assert (counts(later), later.batch) == ([(0, 0, 3, 0)], 3)
    assert depot.rows("SELECT ends_at FROM history.record WHERE locomotive = 'A1'") == [
        (datetime(2026, 5, 15),)
    ]


def test_coverage_in_the_future_is_refused(depot: Depot) -> None:
    with pytest.raises(InputError, match="covered until '2026-06-02 00:00' lies in the future"):
        depot.hand_in({"u.csv": GOOD}, covered_until=datetime(2026, 6, 2))


def test_call_without_files_is_refused(depot: Depot) -> None:
    with pytest.raises(InputError, match="no file was named"):
        ingest(depot.store, [])


def test_header_alone_is_a_file_without_rows(depot: Depot) -> None:
    report = depot.hand_in({"u.csv": USAGE})
    assert (counts(report), report.batch) == ([(0, 0, 0, 0)], None)


def test_hand_in_is_told_and_written_down(depot: Depot) -> None:
    told: list[str] = []
    path = depot.folder / "u.csv"
    path.write_text(GOOD, encoding="utf-8")
    ingest(depot.store, path, now=NOW, progress=told.append)
    assert told[0] == "reading u.csv"
    _, who, action, detail = Desk(depot.store.root).audit()[-1]
    assert (who, action, detail) == (
        "command line",
        "ingest",
        "batch 2: u.csv: 1 accepted, 0 updated, 0 duplicate, 0 set aside",
    )


def test_nothing_is_left_behind_by_a_call_that_fails(depot: Depot) -> None:
    with pytest.raises(InputError):
        depot.hand_in({"bad.csv": "a,b\n"})
    assert not list(depot.store.root.glob("*.building*"))


def test_class_that_left_the_catalogue_is_named(depot: Depot) -> None:
    catalogue = depot.store.root / "catalogue" / "depot.toml"
    text = catalogue.read_text(encoding="utf-8")
    catalogue.write_text(text.replace("[class.Birch]", "[class.Beech]"), encoding="utf-8")
    head = "locomotive,found_at,component,position,defect\n"
    report = depot.hand_in({"f.csv": head + "B1,2024-05-01,fuel-injector,1,leaking\n"})
    assert report.set_aside["reason"].tolist() == [
        "locomotive B1 is of class Birch, which the catalogue does not have: add the class or "
        "correct the register."
    ]
