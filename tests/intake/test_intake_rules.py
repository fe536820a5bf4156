"""Every rule once: the row that breaks it, the column named, and the words the depot reads.

Expected outcomes are hand-written. Outside sources: ISO 8601-1:2019 for dates and times (24:00 was
taken out, 30 February never was a day); 1 psi = 6.894757 kPa (NIST SP 811, appendix B.8).
"""

from __future__ import annotations

import pytest

from analytics.intake.tables import TABLES
from tests.intake.depot import Depot, as_csv

FINDING = {
    "locomotive": "A1",
    "found_at": "2024-05-01",
    "component": "fuel-injector",
    "position": "1",
    "defect": "leaking",
}
WORK = {
    "locomotive": "A1",
    "done_at": "2024-05-01",
    "component": "fuel-injector",
    "position": "1",
    "action": "replaced",
}
INSPECTION = {"locomotive": "A1", "inspected_at": "2024-05-01 06:00"}
READING = {
    "locomotive": "A1",
    "read_at": "2024-05-01",
    "parameter": "feed-pressure",
    "value": "2.5",
}
GOOD = {
    "locomotives": {"locomotive": "C1", "class": "Alder"},
    "usage": {"locomotive": "A1", "read_at": "2024-05-01", "engine_hours": "100"},
    "inspections": INSPECTION,
    "findings": FINDING,
    "work": WORK,
    "out_of_use": {"locomotive": "A1", "from": "2024-05-01", "to": "2024-05-09"},
    "modifications": {"locomotive": "A1", "done_at": "2024-05-01", "name": "new nozzles"},
    "readings": READING,
}
ISO = "is not a date: write it like 2026-05-31 or 2026-05-31 06:30."
FUTURE = "lies in the future: what was seen cannot be later than the hand-in."
NUMBER = "is not a number: write digits with a decimal point, like 1234.5."
ALLOWED = "the catalogue gives this class positions 1 to 4."

# table, what is changed in the good row, column named, rule, reason (whole)
CASES: list[tuple[str, dict[str, str], str, str, str]] = [
    (
        "findings",
        {"defect": ""},
        "defect",
        "missing",
        "defect is empty, but findings needs it in every row: fill it in.",
    ),
    (
        "locomotives",
        {"class": "  "},
        "class",
        "missing",
        "class is empty, but locomotives needs it in every row: fill it in.",
    ),
    ("findings", {"found_at": "2024-02-30"}, "found_at", "date", f"found_at '2024-02-30' {ISO}"),
    ("findings", {"found_at": "31.04.2024"}, "found_at", "date", f"found_at '31.04.2024' {ISO}"),
    ("findings", {"found_at": "2024-5-1"}, "found_at", "date", f"found_at '2024-5-1' {ISO}"),
    (
        "findings",
        {"found_at": "2024-05-01T06:30Z"},
        "found_at",
        "date",
        f"found_at '2024-05-01T06:30Z' {ISO}",
    ),
    (
        "findings",
        {"found_at": "2024-05-01 24:00"},
        "found_at",
        "date",
        f"found_at '2024-05-01 24:00' {ISO}",
    ),
    (
        "findings",
        {"found_at": "2024-05-01 06:30:00.1234567"},
        "found_at",
        "date",
        f"found_at '2024-05-01 06:30:00.1234567' {ISO}",
    ),
    ("usage", {"km": "1,2,5"}, "km", "number", f"km '1,2,5' {NUMBER}"),
    ("usage", {"km": "nan"}, "km", "number", f"km 'nan' {NUMBER}"),
    ("usage", {"km": "1e999"}, "km", "number", f"km '1e999' {NUMBER}"),
    ("usage", {"km": "inf"}, "km", "number", f"km 'inf' {NUMBER}"),
    ("usage", {"km": "-5"}, "km", "negative", "km '-5' is below zero."),
    (
        "locomotives",
        {"engine_hours_at_start": "-1"},
        "engine_hours_at_start",
        "negative",
        "engine_hours_at_start '-1' is below zero.",
    ),
    (
        "findings",
        {"severity": "urgent"},
        "severity",
        "choice",
        "severity 'urgent' is not one of remark, rectify, withhold, in-service.",
    ),
    (
        "inspections",
        {"kind": "weekly"},
        "kind",
        "choice",
        "kind 'weekly' is not one of daily, workshop, en-route.",
    ),
    (
        "inspections",
        {"outcome": "ok"},
        "outcome",
        "choice",
        "outcome 'ok' is not one of released, released-with-remark, withheld.",
    ),
    ("inspections", {"signed": "1"}, "signed", "choice", "signed '1' is neither yes nor no."),
    (
        "readings",
        {"running_state": "full"},
        "running_state",
        "choice",
        "running_state 'full' is not one of stopped, idle, rated.",
    ),
    (
        "work",
        {"condition_in": "good"},
        "condition_in",
        "choice",
        "condition_in 'good' is not one of new, overhauled, used, unknown.",
    ),
    (
        "out_of_use",
        {"reason": "rest"},
        "reason",
        "choice",
        "reason 'rest' is not one of stored, on-loan, heavy-repair, collision.",
    ),
    (
        "findings",
        {"locomotive": "A9"},
        "locomotive",
        "unknown-name",
        "locomotive 'A9' is not known; nearest: A2, A1. Hand in its row of the locomotives table, "
        "in this call or before.",
    ),
    (
        "locomotives",
        {"class": "Aldr"},
        "class",
        "unknown-name",
        "class 'Aldr' is not known; nearest: Alder.",
    ),
    (
        "findings",
        {"component": "fuel-injecter"},
        "component",
        "unknown-name",
        "component 'fuel-injecter' is not known; nearest: fuel-injector.",
    ),
    (
        "findings",
        {"defect": "leakin"},
        "defect",
        "unknown-name",
        "defect 'leakin' is not one that fuel-injector can have; nearest: leaking.",
    ),
    (
        "findings",  # a defect of another component
        {"defect": "discharged"},
        "defect",
        "unknown-name",
        "defect 'discharged' is not one that fuel-injector can have; known: leaking, worn.",
    ),
    (
        "work",
        {"action": "replacd"},
        "action",
        "unknown-name",
        "action 'replacd' is not known; nearest: replaced.",
    ),
    (
        "readings",
        {"parameter": "feed-presure"},
        "parameter",
        "unknown-name",
        "parameter 'feed-presure' is not known; nearest: feed-pressure.",
    ),
    (
        "findings",
        {"position": "5"},
        "position",
        "position",
        f"position '5' does not exist: {ALLOWED}",
    ),
    (
        "findings",
        {"position": "1-3; 9"},
        "position",
        "position",
        f"position '1-3; 9' does not exist: {ALLOWED}",
    ),
    (
        "findings",
        {"position": "0"},
        "position",
        "position",
        f"position '0' does not exist: {ALLOWED}",
    ),
    (
        "findings",
        {"component": "battery", "position": "2", "defect": "discharged"},
        "position",
        "position",
        "position '2' does not exist: the catalogue gives this class only position 1.",
    ),
    (
        "work",
        {"position": "left"},
        "position",
        "position",
        "position 'left' cannot be read: write a number, a list or ranges such as 1-6; 8, or all.",
    ),
    (
        "work",
        {"position": "3-1"},
        "position",
        "position",
        "position '3-1' runs backwards: write 1-3.",
    ),
    (
        "findings",
        {"component": "shutter-linkage", "defect": "stiff"},
        "component",
        "no-such-part",
        "a locomotive of class Alder has no shutter-linkage: the catalogue allows 0 of it.",
    ),
    (
        "readings",
        {"unit": "barr"},
        "unit",
        "unit",
        "unit 'barr' is not known: write bar or a unit that turns into it.",
    ),
    (
        "readings",
        {"unit": "degC"},
        "unit",
        "unit",
        "unit 'degC' cannot be turned into bar, the unit in the catalogue.",
    ),
    (
        "readings",
        {"value": "12"},
        "value",
        "physical-range",
        "value '12' lies outside what the catalogue says is possible for feed-pressure (0 to 10 "
        "bar): check the value and its unit.",
    ),
    (
        "readings",
        {"value": "200", "unit": "psi"},
        "value",
        "physical-range",
        "value '200' psi is 13.789515 bar and lies outside what the catalogue says is possible for "
        "feed-pressure (0 to 10 bar): check the value and its unit.",
    ),
    (
        "readings",
        {"parameter": "oil-temperature", "value": "500"},
        "value",
        "physical-range",
        "value '500' lies outside what the catalogue says is possible for oil-temperature (at most "
        "150 degC): check the value and its unit.",
    ),
    (
        "findings",
        {"closed_at": "2024-04-30"},
        "closed_at",
        "order",
        "closed_at '2024-04-30' lies before found_at '2024-05-01'.",
    ),
    (
        "findings",
        {"found_at": "2024-05-01 10:00", "closed_at": "2024-05-01 09:59"},
        "closed_at",
        "order",
        "closed_at '2024-05-01 09:59' lies before found_at '2024-05-01 10:00'.",
    ),
    (
        "out_of_use",
        {"to": "2024-04-30"},
        "to",
        "order",
        "to '2024-04-30' lies before from '2024-05-01'.",
    ),
    (
        "locomotives",
        {"in_service_from": "2024-01-02", "in_service_to": "2024-01-01"},
        "in_service_to",
        "order",
        "in_service_to '2024-01-01' lies before in_service_from '2024-01-02'.",
    ),
    (
        "findings",
        {"found_at": "2026-06-02"},
        "found_at",
        "future",
        f"found_at '2026-06-02' {FUTURE}",
    ),
    (
        "inspections",
        {"inspected_at": "2026-06-01 12:01"},
        "inspected_at",
        "future",
        f"inspected_at '2026-06-01 12:01' {FUTURE}",
    ),
    (
        "findings",
        {"closed_at": "2026-06-02"},
        "closed_at",
        "future",
        f"closed_at '2026-06-02' {FUTURE}",
    ),
    (
        "findings",
        {"found_at": "2021-12-31"},
        "found_at",
        "outside-record",
        "found_at '2021-12-31' lies before the record of locomotive A1 begins, 2022-01-01 on the "
        "register: correct the date, or the register.",
    ),
    (
        "usage",
        {"locomotive": "A2", "read_at": "2025-01-01 00:01"},
        "read_at",
        "outside-record",
        "read_at '2025-01-01 00:01' lies after locomotive A2 left the record, 2025-01-01 on the "
        "register: correct the date, or the register.",
    ),
    (
        "out_of_use",
        {"from": "2021-01-01", "to": "2021-12-31"},
        "to",
        "outside-record",
        "to '2021-12-31' lies before the record of locomotive A1 begins, 2022-01-01 on the "
        "register: correct the date, or the register.",
    ),
    (
        "modifications",
        {"done_at": "2019-12-31"},
        "done_at",
        "outside-record",
        "done_at '2019-12-31' lies before the record of locomotive A1 begins, 2020-01-01 on the "
        "register: correct the date, or the register.",
    ),
]


@pytest.fixture(scope="module")
def reasons(tmp_path_factory: pytest.TempPathFactory) -> dict[int, tuple[str, str, str, str]]:
    """All cases handed in at once: place of the case to (table, column, rule, reason)."""
    depot = Depot.new(tmp_path_factory.mktemp("rules"))
    files, places = {}, {}
    for table in TABLES:
        mine = [(n, GOOD[table] | case[1]) for n, case in enumerate(CASES) if case[0] == table]
        files[f"{table}.csv"] = as_csv(TABLES[table].headings, [row for _, row in mine])
        places |= {(table, row): n for row, (n, _) in enumerate(mine, start=2)}
    report = depot.hand_in(files)
    assert all(f.set_aside == f.rows for f in report.files)
    return {
        places[row.table, row.row_number]: (row.table, row.column, row.rule, row.reason)
        for row in report.set_aside.itertuples()
    }


@pytest.mark.parametrize("place", range(len(CASES)))
def test_broken_row_is_set_aside_with_reason(
    place: int, reasons: dict[int, tuple[str, str, str, str]]
) -> None:
    table, _, column, rule, reason = CASES[place]
    assert reasons[place] == (table, column, rule, reason)


def test_good_rows_are_accepted(depot: Depot) -> None:
    files = {f"{t}.csv": as_csv(TABLES[t].headings, [row]) for t, row in GOOD.items()}
    report = depot.hand_in(files)
    assert report.set_aside.empty
    assert [(f.table, f.accepted) for f in report.files] == [(table, 1) for table in TABLES]


def test_rows_at_both_ends_of_the_record_are_accepted(depot: Depot) -> None:
    rows = [
        FINDING | {"found_at": "2022-01-01"},  # records_from of A1
        FINDING | {"locomotive": "A2", "found_at": "2025-01-01"},  # in_service_to of A2
        FINDING | {"locomotive": "B1", "found_at": "1999-01-01"},  # the register gives no end
        FINDING | {"found_at": "2026-06-01 12:00"},  # the very moment of the hand-in
    ]
    report = depot.hand_in({"f.csv": as_csv(TABLES["findings"].headings, rows)})
    assert report.files[0].accepted == 4


def test_every_reason_of_a_row_is_given_and_the_first_column_named(depot: Depot) -> None:
    row = FINDING | {"severity": "urgent", "action": "swappd", "cost": "x"}
    report = depot.hand_in({"f.csv": as_csv(TABLES["findings"].headings, [row])})
    kept = report.set_aside.iloc[0]
    assert (kept["column"], kept["rule"]) == ("severity", "choice")
    assert [word in kept["reason"] for word in ("urgent", "swappd", "cost 'x'")] == [True] * 3


def test_cells_mean_what_they_say(depot: Depot) -> None:
    headings = ["Locomotive ", "FOUND_AT", "component", "position", "defect", "severity", "cost"]
    rows = [
        (
            " A1 ",
            "2024-05-01T06:30:15.250000",
            "fuel-injector",
            " 4; 1-2 ",
            "leaking",
            "Rectify",
            "-3.",
        ),
        ("A1", "2024-05-01", "fuel-injector", "ALL", "worn", "\u00a0", "+1.5e2"),
        ("A1", "2024-05-02", "battery", "", "discharged", "", ".5"),  # one place: position 1
        ("A1", "2024-05-03", "fuel-injector", "", "worn", "", ""),  # not stated
        ("A1", "2024-05-04", "fuel-injector", "03.0", "worn", "", ""),
    ]
    depot.hand_in({"f.csv": as_csv(headings, rows)})
    columns = "found_at::VARCHAR, found_timed, position, severity, cost"
    assert depot.current("findings", columns) == [
        ("2024-05-01 00:00:00", False, "all", None, 150.0),
        ("2024-05-01 06:30:15.25", True, "1-2;4", "rectify", -3.0),
        ("2024-05-02 00:00:00", False, "1", None, 0.5),
        ("2024-05-03 00:00:00", False, None, None, None),
        ("2024-05-04 00:00:00", False, "3", None, None),
    ]


@pytest.mark.parametrize(
    ("found_at", "closed_at", "kept", "timed"),
    [
        ("2024-05-01 10:00", "2024-05-01", "2024-05-01 10:00:00", False),
        ("2024-05-01 10:00", "2024-05-02", "2024-05-02 00:00:00", False),
        ("2024-05-01", "2024-05-01 10:00", "2024-05-01 10:00:00", True),
        ("2024-05-01 10:00", "2024-05-01 10:00", "2024-05-01 10:00:00", True),
        ("2024-05-01", "2024-05-01", "2024-05-01 00:00:00", False),
        ("2024-05-01", "", None, None),
    ],
)
def test_closing_is_compared_at_the_coarser_precision(
    depot: Depot, found_at: str, closed_at: str, kept: str | None, timed: bool | None
) -> None:
    row = FINDING | {"found_at": found_at, "closed_at": closed_at}
    depot.hand_in({"f.csv": as_csv(TABLES["findings"].headings, [row])})
    assert depot.current("findings", "closed_at::VARCHAR, closed_timed") == [(kept, timed)]


def test_readings_are_kept_as_entered_and_in_the_catalogue_unit(depot: Depot) -> None:
    rows = [
        READING | {"value": "50", "unit": "psi"},  # 1 psi = 6.894757 kPa, NIST SP 811
        READING | {"read_at": "2024-05-02", "value": "2.5"},
        READING | {"parameter": "oil-temperature", "value": "194", "unit": "degF"},  # 90 degC
        READING
        | {"parameter": "oil-temperature", "value": "363.15", "unit": "K", "read_at": "2024-05-03"},
    ]
    depot.hand_in({"r.csv": as_csv(TABLES["readings"].headings, rows)})
    kept = depot.current("readings", "read_at::DATE::VARCHAR, value, unit, value_in_unit")
    assert [row[:3] for row in kept] == [
        ("2024-05-01", 50.0, "psi"),
        ("2024-05-01", 194.0, "degF"),
        ("2024-05-02", 2.5, None),
        ("2024-05-03", 363.15, "K"),
    ]
    # the source prints 7 digits: 5e-7 kPa off at most, times 50
    assert [row[3] for row in kept] == pytest.approx([3.4473785, 90, 2.5, 90], abs=2.5e-7)


def test_readings_follow_a_changed_catalogue_unit(depot: Depot) -> None:
    row = READING | {"unit": "bar"}
    depot.hand_in({"r.csv": as_csv(TABLES["readings"].headings, [row])})
    catalogue = depot.store.root / "catalogue" / "depot.toml"
    text = catalogue.read_text(encoding="utf-8")
    catalogue.write_text(
        text.replace('unit = "bar"', 'unit = "kPa"').replace("max = 10", "max = 1000"),
        encoding="utf-8",
    )
    report = depot.hand_in({"r.csv": as_csv(TABLES["readings"].headings, [row])})
    assert (report.files[0].duplicate, report.batch) == (1, None)
    assert depot.current("readings", "value, unit, value_in_unit") == [(2.5, "bar", 250.0)]
