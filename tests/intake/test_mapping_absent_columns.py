"""A later export with fewer columns leaves what is held in the others. Hand-written outcomes."""

from __future__ import annotations

from tests.intake.depot import Depot, counts

USAGE = "locomotive,read_at,engine_hours,km\nA1,2024-05-01,100,1000\n"
ONLY_HOURS = "locomotive,read_at,engine_hours\nA1,2024-05-01,{}\n"
FINDING = "A1,2024-05-01,fuel-injector,leaking"
FINDINGS = "locomotive,found_at,component,defect"


def test_column_that_is_not_in_the_file_keeps_what_is_held(depot: Depot) -> None:
    depot.hand_in({"u.csv": USAGE})
    assert counts(depot.hand_in({"h.csv": ONLY_HOURS.format(100)})) == [(0, 0, 1, 0)]
    assert counts(depot.hand_in({"h.csv": ONLY_HOURS.format(101)})) == [(0, 1, 0, 0)]
    assert depot.current("usage", "engine_hours, km") == [(101.0, 1000.0)]


def test_empty_cell_of_a_column_in_the_file_empties_it(depot: Depot) -> None:
    depot.hand_in({"u.csv": USAGE})
    assert counts(depot.hand_in({"h.csv": USAGE.replace("1000", "")})) == [(0, 1, 0, 0)]
    assert depot.current("usage", "engine_hours, km") == [(100.0, None)]


def test_old_file_with_fewer_columns_does_not_undo_a_correction(depot: Depot) -> None:
    old = {"old.csv": ONLY_HOURS.format(99)}
    depot.hand_in(old)
    depot.hand_in({"u.csv": USAGE})
    again = depot.hand_in(old)
    assert (counts(again), again.batch) == ([(0, 0, 1, 0)], None)
    # nor does one that was merged with what was held when it came
    merged = {"merged.csv": ONLY_HOURS.format(98)}
    assert counts(depot.hand_in(merged)) == [(0, 1, 0, 0)]
    depot.hand_in({"u2.csv": USAGE.replace("1000", "1001")})
    assert counts(depot.hand_in(merged)) == [(0, 0, 1, 0)]
    assert depot.current("usage", "engine_hours, km") == [(100.0, 1001.0)]


def test_rows_of_one_key_are_matched_by_the_columns_present(depot: Depot) -> None:
    full = f"{FINDINGS},severity,note\n{FINDING},remark,red\n{FINDING},rectify,blue\n"
    depot.hand_in({"f.csv": full})
    fewer = f"{FINDINGS},severity\n{FINDING},rectify\n{FINDING},withhold\n{FINDING},rectify\n"
    assert counts(depot.hand_in({"g.csv": fewer})) == [(1, 1, 1, 0)]
    assert depot.current("findings", "severity, note") == [
        ("rectify", "blue"),
        ("rectify", "red"),
        ("withhold", None),
    ] or depot.current("findings", "severity, note") == [
        ("rectify", "blue"),
        ("rectify", None),
        ("withhold", "red"),
    ]


def test_closing_keeps_its_time_of_day(depot: Depot) -> None:
    ids = "finding_id," + FINDINGS
    depot.hand_in({"f.csv": f"{ids},closed_at\n7,{FINDING},2024-05-02 10:00\n"})
    assert counts(depot.hand_in({"g.csv": f"{ids},cost\n7,{FINDING},5\n"})) == [(0, 1, 0, 0)]
    assert depot.current("findings", "closed_at::VARCHAR, closed_timed, cost") == [
        ("2024-05-02 10:00:00", True, 5.0)
    ]


def test_shorter_register_keeps_when_a_locomotive_entered_service(depot: Depot) -> None:
    depot.hand_in({"r.csv": "locomotive,class,depot\nA1,Alder,South\n"})
    assert depot.current("locomotives", "locomotive, depot, in_service_from::DATE::VARCHAR")[0] == (
        "A1",
        "South",
        "2020-01-01",
    )


def test_reading_without_a_unit_column_is_in_the_catalogues_unit(depot: Depot) -> None:
    header = "locomotive,read_at,parameter,value"
    row = "A1,2024-05-01,feed-pressure"
    depot.hand_in({"r.csv": f"{header},unit\n{row},550,kPa\n"})
    depot.hand_in({"s.csv": f"{header}\n{row},6\n"})
    assert depot.current("readings", "value, unit, value_in_unit") == [(6.0, None, 6.0)]
