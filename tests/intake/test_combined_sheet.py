"""The sheet with the inspection, a finding and readings in one row.

Expected outcomes are hand-written; the property's oracle is the same rows as three tables.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.errors import InputError, StoreError
from analytics.intake.publish import Delivery
from analytics.intake.tables import recognise
from analytics.store.checks import refuse_broken
from tests.intake.depot import (
    REGISTER,
    Depot,
    accepted_facts,
    as_csv,
    counts,
    open_facts,
    publish,
)
from tests.intake.test_mapping_files import deliver, rows

HEADER = (
    "locomotive,inspected_at,kind,engine_hours,outcome,component,position,defect,action,team,"
    "Feed pressure (bar),oil-temperature\n"
)
DAY = "A1,2024-05-01 06:00,daily,100,released-with-remark,"
SHEET = (
    HEADER
    + DAY
    + "fuel-injector,1,leaking,adjusted,N,5.5,\n"
    + DAY
    + "fuel-injector,2,worn,replaced,N,,80\n"
    + "B1,2024-05-01,,,released,,,,,N,,\n"
)


def test_sheet_is_taken_apart_and_each_row_counted_once(depot: Depot) -> None:
    report = depot.hand_in({"day.csv": SHEET})
    assert [(f.table, f.rows) for f in report.files] == [("combined", 3)]
    assert counts(report) == [(3, 0, 0, 0)]
    assert report.files[0].notes == ("note and team of 1 rows without a finding are not kept",)
    assert depot.current("inspections", "locomotive, kind, engine_hours, outcome") == [
        ("A1", "daily", 100.0, "released-with-remark"),
        ("B1", "daily", None, "released"),
    ]
    found = "position, defect, found_at::VARCHAR, found_timed, file, row_number"
    assert depot.current("findings", found) == [
        ("1", "leaking", "2024-05-01 06:00:00", True, 1, 2),
        ("2", "worn", "2024-05-01 06:00:00", True, 1, 3),
    ]
    assert depot.current("readings", "parameter, value, unit, value_in_unit") == [
        ("feed-pressure", 5.5, "bar", 5.5),
        ("oil-temperature", 80.0, None, 80.0),
    ]


def test_the_same_sheet_again_is_all_duplicates(depot: Depot) -> None:
    depot.hand_in({"day.csv": SHEET})
    again = depot.hand_in({"day.csv": SHEET})
    assert (counts(again), again.batch) == ([(0, 0, 3, 0)], None)


def test_row_is_updated_if_any_part_of_it_is(depot: Depot) -> None:
    depot.hand_in({"day.csv": SHEET})
    later = depot.hand_in({"day.csv": SHEET.replace("adjusted", "replaced")})
    assert counts(later) == [(0, 1, 2, 0)]
    last = depot.hand_in({"day.csv": SHEET.replace(",80", ",81").replace("adjusted", "replaced")})
    assert counts(last) == [(0, 1, 2, 0)]


def test_a_fault_in_one_part_keeps_the_whole_row_out(depot: Depot) -> None:
    text = SHEET.replace("2,worn,replaced,N,,80", "2,worn,replaced,N,,800")
    report = depot.hand_in({"day.csv": text})
    assert counts(report) == [(2, 0, 0, 1)]
    aside = report.set_aside.iloc[0]
    assert (aside["table"], aside["row_number"], aside["column"], aside["rule"]) == (
        "combined",
        3,
        "oil-temperature",
        "physical-range",
    )
    assert json.loads(aside["received"])["position"] == "2"
    # the finding of the row is not taken; the inspection is, from the other row of it
    assert depot.current("findings", "position") == [("1",)]
    assert len(depot.current("inspections")) == 2
    again = depot.hand_in({"day.csv": text})
    assert (counts(again), again.batch) == ([(0, 0, 3, 0)], None)
    mended = depot.hand_in({"day.csv": SHEET})
    assert counts(mended) == [(1, 0, 2, 0)]


def test_what_the_inspection_lacks_is_said_once(depot: Depot) -> None:
    text = HEADER + "A9,2024-05-01,,,,fuel-injector,1,leaking,,,5,\n,,,,,,,,replaced,,,\n"
    report = depot.hand_in({"day.csv": text})
    assert counts(report) == [(0, 0, 0, 2)]
    first, second = report.set_aside["reason"]
    assert first.count("A9") == 1
    assert second.count("locomotive is empty") == 1
    assert second.count("_at is empty") == 1
    assert depot.current("inspections") == []


def test_rows_whose_inspections_disagree_are_set_aside_with_their_findings(depot: Depot) -> None:
    report = depot.hand_in({"day.csv": SHEET.replace("100", "101", 1)})
    assert counts(report) == [(1, 0, 0, 2)]
    assert report.set_aside["rule"].tolist() == ["disagree", "disagree"]
    assert report.set_aside["reason"][0].startswith("row 2 and row 3 disagree: the same locomotive")
    assert depot.current("findings") == []


def test_fault_of_one_row_does_not_make_the_inspections_of_others_disagree(depot: Depot) -> None:
    text = SHEET.replace("100", "101", 1).replace("1,leaking", "9,leaking")
    report = depot.hand_in({"day.csv": text})
    assert counts(report) == [(2, 0, 0, 1)]
    assert depot.current("inspections", "engine_hours") == [(100.0,), (None,)]


def test_finding_may_have_a_date_of_its_own(depot: Depot) -> None:
    text = (
        "locomotive,inspected_at,found_at,component,defect\n"
        "B1,2024-05-02,2024-05-01,battery,discharged\nB1,2024-05-02,,fuel-injector,worn\n"
    )
    depot.hand_in({"day.csv": text})
    assert depot.current("findings", "component, found_at::DATE::VARCHAR") == [
        ("battery", "2024-05-01"),
        ("fuel-injector", "2024-05-02"),
    ]


def test_inspections_with_readings_are_a_combined_sheet_too(depot: Depot) -> None:
    text = "locomotive,inspected_at,FEED_PRESSURE [kPa]\nA1,2024-05-01,550\n"
    assert depot.hand_in({"day.csv": text}).files[0].table == "combined"
    assert depot.current("readings", "value, value_in_unit") == [(550.0, 5.5)]


def test_heading_that_is_no_parameter_is_not_read() -> None:
    found = recognise(
        ["locomotive", "inspected_at", "component", "defect", "colour (red)"],
        file="x",
        parameters=["feed-pressure"],
    )
    assert (found.table.name, found.not_read) == ("combined", ("colour (red)",))


def test_combined_sheet_comes_in_by_a_mapping(tmp_path: Path) -> None:
    mapping = """
[combined.columns]
locomotive = "Lok"
inspected_at = "Datum"
component = "Bauteil"
defect = "Befund"
feed-pressure = "Druck"
[combined.values.component]
"Düse" = "fuel-injector"
[combined.values.defect]
"i.O." = ""
"undicht" = "leaking"
[combined.default]
action = "adjusted"
[combined.units]
feed-pressure = "kPa"
"""
    text = (
        "Lok;Datum;Bauteil;Befund;Druck\nA1;01.05.2024;Düse;undicht;550,5\nA1;02.05.2024;;i.O.;\n"
    )
    connection, delivery = deliver(tmp_path, {"tag.csv": text}, mapping)
    assert counts(delivery) == [(2, 0, 0, 0)]
    assert rows(connection, "inspections", "inspected_at::DATE::VARCHAR") == [
        ("2024-05-01",),
        ("2024-05-02",),
    ]
    # the constant does not make a finding of the clear inspection
    assert rows(connection, "findings", "defect, action") == [("leaking", "adjusted")]
    assert rows(connection, "readings", "round(value_in_unit, 6)") == [(5.505,)]


def test_one_parameter_in_two_columns_is_refused(depot: Depot) -> None:
    text = "locomotive,inspected_at,feed-pressure,Feed pressure (kPa)\nA1,2024-05-01,5,500\n"
    with pytest.raises(InputError, match="day.csv: two columns hold 'feed-pressure'; keep one"):
        depot.hand_in({"day.csv": text})


@pytest.mark.parametrize(
    ("damage", "is_broken"),
    [
        ("SELECT 1", False),
        ("DELETE FROM facts.findings WHERE file = 2", True),  # accepted rows are missing
        ("UPDATE facts.findings SET file = 2", True),  # more than were accepted
        ("UPDATE facts.findings SET file = 9", True),  # of no file
        ("UPDATE batch_file SET accepted = 1, duplicate = 2 WHERE file = 1", True),
    ],
)
def test_snapshot_whose_findings_are_not_those_accepted_is_refused(
    tmp_path: Path, damage: str, is_broken: bool
) -> None:
    connection = open_facts()
    publish(connection, tmp_path, {"register.csv": REGISTER})
    plain = "locomotive,found_at,component,defect\nB1,2024-05-09,battery,discharged\n"
    publish(connection, tmp_path, {"day.csv": SHEET, "plain.csv": plain})
    connection.execute(damage)
    if is_broken:
        with pytest.raises(StoreError, match="accepted rows missing"):
            refuse_broken(connection)
    else:
        refuse_broken(connection)


INSPECTION = ("locomotive", "inspected_at", "kind", "engine_hours", "signed")
FINDING = ("component", "position", "defect", "severity", "cost", "note")
READING = ("feed-pressure", "oil-temperature")
Cells = dict[str, str]


@st.composite
def days(draw: st.DrawFn) -> list[Cells]:
    """Rows of a combined sheet without faults, some inspections over several rows."""
    found = []
    for day in range(1, draw(st.integers(1, 6)) + 1):
        inspection = {
            "locomotive": draw(st.sampled_from(["A1", "B1"])),
            "inspected_at": f"2024-05-{day:02} 06:00",
            "kind": draw(st.sampled_from(["", "daily", "workshop"])),
            "engine_hours": draw(st.sampled_from(["", str(100 + day)])),
            "signed": draw(st.sampled_from(["", "yes", "no"])),
        }
        readings = {name: draw(st.sampled_from(["", "1.5"])) for name in READING}
        for _ in range(draw(st.integers(1, 3))):
            finding = dict.fromkeys(FINDING, "")
            if draw(st.booleans()):
                finding |= {
                    "component": "fuel-injector",
                    "position": draw(st.sampled_from(["", "1"])),
                    "defect": draw(st.sampled_from(["leaking", "worn"])),
                    "severity": draw(st.sampled_from(["", "rectify"])),
                    "note": draw(st.sampled_from(["", "a"])),
                }
            found.append(inspection | finding | readings)
    return found


def apart(sheet: list[Cells]) -> dict[str, str]:
    """Write the same as three tables, by hand."""
    findings = [{**row, "found_at": row["inspected_at"]} for row in sheet if row["component"] != ""]
    readings = [
        (row["locomotive"], row["inspected_at"], name, row[name])
        for row in sheet
        for name in READING
        if row[name]
    ]
    tables: dict[str, tuple[tuple[str, ...], Iterable[object]]] = {
        "i": (INSPECTION, sheet),
        "f": (("locomotive", "found_at", *FINDING), findings),
        "r": (("locomotive", "read_at", "parameter", "value"), readings),
    }
    return {f"{n}.csv": as_csv(headings, list(rows)) for n, (headings, rows) in tables.items()}


@settings(max_examples=10, deadline=None)
@given(sheet=days())
def test_sheet_handed_in_whole_is_the_same_as_in_three_tables(
    sheet: list[Cells], tmp_path_factory: pytest.TempPathFactory
) -> None:
    headings = (*INSPECTION, *FINDING, *READING)
    outcomes = []
    for files in ({"day.csv": as_csv(headings, sheet)}, apart(sheet)):
        connection = open_facts()
        folder = tmp_path_factory.mktemp("combined")
        publish(connection, folder, {"register.csv": REGISTER})
        delivery: Delivery = publish(connection, folder, files)
        assert all(r.accepted + r.duplicate == r.rows for r in delivery.files)
        outcomes.append(accepted_facts(connection))
    assert outcomes[0] == outcomes[1]


CELLS = {
    "locomotive": ["A1", "A1", "A9", ""],
    "inspected_at": ["2024-05-01", "2024-05-02", "2030-01-01", "x"],
    "engine_hours": ["", "100", "-1"],
    "component": ["", "fuel-injector", "fuel"],
    "defect": ["", "leaking"],
    "finding_id": ["", "", "7"],
    "feed-pressure": ["", "1", "99"],
}


@settings(max_examples=15, deadline=None)
@given(sheet=st.lists(st.tuples(*(st.sampled_from(c) for c in CELLS.values())), max_size=12))
def test_every_row_of_a_faulty_sheet_ends_in_one_place(
    sheet: list[tuple[str, ...]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    connection = open_facts()
    folder = tmp_path_factory.mktemp("faulty")
    publish(connection, folder, {"register.csv": REGISTER})
    delivery = publish(connection, folder, {"day.csv": as_csv(list(CELLS), sheet)})
    report = delivery.files[0]
    assert sum(counts(delivery)[0]) == report.rows == len([row for row in sheet if any(row)])
    assert len(delivery.set_aside) == report.set_aside
    assert (delivery.set_aside["reason"] != "").all()
    aside = set(delivery.set_aside["row_number"])
    for table in ("inspections", "findings", "readings"):
        taken = connection.execute(f"SELECT row_number FROM facts.{table}").fetchall()
        assert not aside & {row for (row,) in taken}
    again = publish(connection, folder, {"day.csv": as_csv(list(CELLS), sheet)})
    assert not again.is_new
