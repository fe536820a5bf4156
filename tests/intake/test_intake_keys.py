"""Keys, corrections, duplicates, ordinals. Expected outcomes are hand-written tables."""

from __future__ import annotations

import hashlib

import pytest

from tests.intake.depot import BUCKETS, NOW, REGISTER, Depot, counts

USAGE = "locomotive,read_at,engine_hours,km\n"
FINDINGS = "locomotive,found_at,component,position,defect,note\n"
LEAK = "A1,2024-05-01,fuel-injector,{},leaking,{}\n"
IDS = "finding_id,locomotive,found_at,component,defect,note\n"


def test_identical_row_is_duplicate_and_changed_row_is_updated(depot: Depot) -> None:
    first = "A1,2024-05-01,100,1000\nA1,2024-05-02,110,1100\n"
    assert counts(depot.hand_in({"u.csv": USAGE + first})) == [(2, 0, 0, 0)]
    again = "A1,2024-05-01,100.0,1000\nA1,2024-05-02,111,1100\nA1,2024-05-03,120,1200\n"
    report = depot.hand_in({"u.csv": USAGE + again})
    assert counts(report) == [(1, 1, 1, 0)]
    assert depot.current("usage", "read_at::DATE::VARCHAR, engine_hours, batch") == [
        ("2024-05-01", 100.0, 2),
        ("2024-05-02", 111.0, 3),
        ("2024-05-03", 120.0, 3),
    ]
    # the earlier version is kept
    assert depot.rows("SELECT engine_hours FROM facts.usage WHERE read_at = '2024-05-02'") == [
        (110.0,),
        (111.0,),
    ]


def test_old_file_handed_in_again_does_not_undo_a_correction(depot: Depot) -> None:
    old = {"old.csv": USAGE + "A1,2024-05-01,100,\n"}
    depot.hand_in(old)
    depot.hand_in({"new.csv": USAGE + "A1,2024-05-01,101,\n"})
    report = depot.hand_in(old)
    assert (counts(report), report.batch) == ([(0, 0, 1, 0)], None)
    both = depot.hand_in(old | {"more.csv": USAGE + "A1,2024-05-01,102,\n"})
    assert counts(both) == [(0, 0, 1, 0), (0, 1, 0, 0)]
    assert depot.current("usage", "engine_hours") == [(102.0,)]


def test_rows_of_one_key_that_disagree_are_both_set_aside(depot: Depot) -> None:
    report = depot.hand_in({"u.csv": USAGE + "A1,2024-05-01,100,\nA1,2024-05-01,101,\n"})
    assert counts(report) == [(0, 0, 0, 2)]
    words = "row 2 and row 3 disagree: the same locomotive, read_at, but other values. Keep the "
    assert report.set_aside["reason"].tolist() == [words + "right one."] * 2


def test_rows_that_disagree_name_their_files_where_they_are_in_two(depot: Depot) -> None:
    row = USAGE + "A1,2024-05-01,{},\n"
    report = depot.hand_in({"a.csv": row.format(100), "b's.csv": row.format(101)})
    assert counts(report) == [(0, 0, 0, 1), (0, 0, 0, 1)]
    assert (
        report.set_aside["reason"]
        .iloc[0]
        .startswith("row 2 of a.csv and row 2 of b's.csv disagree: ")
    )
    again = depot.hand_in({"a.csv": row.format(100), "b's.csv": row.format(101)})
    assert (counts(again), again.batch) == ([(0, 0, 1, 0), (0, 0, 1, 0)], None)


def test_identical_rows_of_one_call_count_once(depot: Depot) -> None:
    row = "A1,2024-05-01,100,\n"
    report = depot.hand_in({"a.csv": USAGE + row + row, "b.csv": USAGE + row})
    assert counts(report) == [(1, 0, 1, 0), (0, 0, 1, 0)]


def test_two_findings_without_position_are_two(depot: Depot) -> None:
    text = FINDINGS + LEAK.format("", "") * 2
    assert counts(depot.hand_in({"f.csv": text})) == [(2, 0, 0, 0)]
    assert depot.current("findings", "ordinal, position") == [(1, None), (2, None)]
    # a re-export with one more: the first two are the ones held
    more = depot.hand_in({"f.csv": text + LEAK.format("", "") + LEAK.format("2", "")})
    assert counts(more) == [(2, 0, 2, 0)]
    assert depot.current("findings", "position, ordinal") == [
        ("2", 1),
        (None, 1),
        (None, 2),
        (None, 3),
    ]


def test_re_export_matches_equal_rows_first_and_corrects_the_rest(depot: Depot) -> None:
    depot.hand_in({"f.csv": FINDINGS + LEAK.format("", "red") + LEAK.format("", "blue")})
    report = depot.hand_in({"g.csv": FINDINGS + LEAK.format("", "green") + LEAK.format("", "blue")})
    assert counts(report) == [(0, 1, 1, 0)]
    assert depot.current("findings", "note") == [("blue",), ("green",)]


def test_overlapping_files_of_one_call_count_a_finding_once(depot: Depot) -> None:
    a, b, c = (LEAK.format("", note) for note in ("a", "b", "c"))
    report = depot.hand_in({"may.csv": FINDINGS + a + b, "spring.csv": FINDINGS + b + c})
    assert counts(report) == [(2, 0, 0, 0), (1, 0, 1, 0)]
    assert depot.current("findings", "note") == [("a",), ("b",), ("c",)]


def test_id_is_the_key_and_everything_else_may_be_corrected(depot: Depot) -> None:
    depot.hand_in({"f.csv": IDS + "7,A1,2024-05-01,fuel-injector,leaking,\n"})
    report = depot.hand_in({"f.csv": IDS + "7,A2,2024-04-30,battery,discharged,moved\n"})
    assert counts(report) == [(0, 1, 0, 0)]
    columns = "finding_id, locomotive, found_at::DATE::VARCHAR, component, note"
    assert depot.current("findings", columns) == [("7", "A2", "2024-04-30", "battery", "moved")]
    # both locomotives were rebuilt: the episode is the second one's alone
    assert depot.rows("SELECT locomotive FROM history.episode") == [("A2",)]


def test_rows_of_one_id_that_disagree_are_set_aside(depot: Depot) -> None:
    rows = "7,A1,2024-05-01,fuel-injector,leaking,{}\n"
    report = depot.hand_in({"f.csv": IDS + rows.format("x") + rows.format("y")})
    assert report.set_aside["reason"].iloc[0] == (
        "row 2 and row 3 disagree: the same finding_id, but other values. Keep the right one."
    )
    same = depot.hand_in({"g.csv": IDS + rows.format("x") * 2})
    assert counts(same) == [(1, 0, 1, 0)]


def test_kind_of_inspection_and_running_state_are_part_of_the_key(depot: Depot) -> None:
    inspections = "locomotive,inspected_at,kind\nA1,2024-05-01,\nA1,2024-05-01,workshop\n"
    readings = (
        "locomotive,read_at,parameter,value,running_state\n"
        "A1,2024-05-01,feed-pressure,1,\nA1,2024-05-01,feed-pressure,2,idle\n"
    )
    report = depot.hand_in({"i.csv": inspections, "r.csv": readings})
    assert counts(report) == [(2, 0, 0, 0), (2, 0, 0, 0)]
    # an empty kind is a daily inspection
    again = depot.hand_in({"i.csv": "locomotive,inspected_at,kind\nA1,2024-05-01,daily\n"})
    assert counts(again) == [(0, 0, 1, 0)]


@pytest.mark.parametrize(
    ("text", "changed"),
    [
        (
            "locomotive,from,to,reason\nA1,2024-05-01,,stored\n",
            "locomotive,from,to,reason\nA1,2024-05-01,2024-05-20,stored\n",
        ),
        ("locomotive,class,depot\nA1,Alder,East\n", "locomotive,class,depot\nA1,Alder,West\n"),
    ],
)
def test_open_stretch_and_register_are_updated(depot: Depot, text: str, changed: str) -> None:
    depot.hand_in({"x.csv": text})
    assert counts(depot.hand_in({"x.csv": changed})) == [(0, 1, 0, 0)]


def test_modifications_have_no_values_to_change(depot: Depot) -> None:
    text = "locomotive,done_at,name\nA1,2024-05-01,nozzles\nA1,2024-05-01,hoses\n"
    assert counts(depot.hand_in({"m.csv": text})) == [(2, 0, 0, 0)]
    assert counts(depot.hand_in({"m.csv": text + "\n"})) == [(0, 0, 2, 0)]


def test_identifiers_are_text_as_written(depot: Depot) -> None:
    register = "locomotive,class\n05,Alder\n5,Alder\n5A,Alder\n"
    usage = USAGE + "05,2024-05-01,1,\n5,2024-05-01,2,\n 5A ,2024-05-01,3,\n"
    assert counts(depot.hand_in({"r.csv": register, "u.csv": usage})) == [
        (3, 0, 0, 0),
        (3, 0, 0, 0),
    ]
    assert depot.current("usage", "locomotive") == [("05",), ("5",), ("5A",)]


def test_bucket_comes_from_md5(depot: Depot) -> None:
    # RFC 1321, A.5: MD5("abc") = 900150983cd24fb0d6963f7d28e17f72
    assert hashlib.md5(b"abc").hexdigest() == "900150983cd24fb0d6963f7d28e17f72"
    depot.hand_in({"r.csv": "locomotive,class\nabc,Alder\n"})
    assert depot.rows("SELECT bucket FROM facts.locomotives WHERE locomotive = 'abc'") == [
        (0x90015098 % BUCKETS,)
    ]


def test_withdrawn_batch_is_as_if_it_had_not_come(depot: Depot) -> None:
    text = {"u.csv": USAGE + "A1,2024-05-01,100,\n"}
    batch = depot.hand_in(text).batch
    with depot.store.publish() as connection:
        connection.execute("UPDATE batch SET withdrawn_at = ? WHERE batch = ?", [NOW, batch])
    assert counts(depot.hand_in(text)) == [(1, 0, 0, 0)]


def test_register_in_one_call_with_everything_in_any_order(tmp_path_factory) -> None:
    files = {
        "f.csv": FINDINGS + LEAK.format("1", ""),
        "u.csv": USAGE + "A1,2024-05-01,100,\n",
        "r.csv": REGISTER,
    }
    for order in (list(files), list(reversed(files))):
        depot = Depot.new(tmp_path_factory.mktemp("order"), register=None)
        report = depot.hand_in({name: files[name] for name in order})
        assert sorted(f.table for f in report.files) == ["findings", "locomotives", "usage"]
        assert report.set_aside.empty
