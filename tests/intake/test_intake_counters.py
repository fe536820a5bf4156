"""Readings that only their neighbours give away. Expected outcomes are hand-written."""

from __future__ import annotations

import pytest

from tests.intake.depot import Depot

HEAD = "locomotive,read_at,engine_hours\n"


def set_aside(depot: Depot, values: list[tuple[str, str]], name: str = "u.csv") -> list[str]:
    text = HEAD + "".join(f"A1,{day},{value}\n" for day, value in values)
    report = depot.hand_in({name: text})
    rows = [int(n) - 2 for n in report.set_aside["row_number"]]
    assert all(report.set_aside["rule"] == "counter")
    return [values[row][1] for row in rows]


DAYS = ["2024-05-01", "2024-05-02", "2024-05-03", "2024-05-04", "2024-05-05"]


@pytest.mark.parametrize(
    ("values", "wrong"),
    [
        (["1000", "10010", "1020", "1030"], ["10010"]),  # a digit too many
        (["1000", "1010", "102", "1030"], ["102"]),  # a digit missing
        (["1000", "99999", "1010", "99999", "1020"], ["99999", "99999"]),
        (["1000", "5", "12", "20"], []),  # a new counter
        (["1000", "5000", "5010", "5020"], []),  # stays high: not for a single reading to say
        (["1000", "1048", "1060"], []),  # two days' worth in one: a bare date is any hour of it
        (["1000.4", "1000", "1001"], []),  # rounded by one hand and not by another
        (["1000", "1010", "9999"], []),  # the last one: nothing comes after it yet
    ],
)
def test_single_reading_off_its_neighbours_is_set_aside(
    depot: Depot, values: list[str], wrong: list[str]
) -> None:
    assert set_aside(depot, list(zip(DAYS, values, strict=False))) == wrong


def test_reason_names_the_neighbours_and_the_limit(depot: Depot) -> None:
    text = (
        "locomotive,inspected_at,km\nA1,2024-05-01,1000\nA1,2024-05-02,20000\nA1,2024-05-03,1300\n"
    )
    report = depot.hand_in({"i.csv": text})
    row = report.set_aside.iloc[0]
    assert (row["column"], row["reason"]) == (
        "km",
        "km 20000 is too high: 1000 read on 2024-05-01, 1300 on 2024-05-03, and the catalogue "
        "allows 1500 a day: check the digits.",
    )


def test_limit_that_the_catalogue_does_not_give_is_not_tested(depot: Depot) -> None:
    text = HEAD + "B1,2024-05-01,1000\nB1,2024-05-02,20000\nB1,2024-05-03,1300\n"
    assert depot.hand_in({"u.csv": text}).set_aside.empty


def test_neighbours_may_be_in_another_table_or_in_the_store(depot: Depot) -> None:
    depot.hand_in({"u.csv": HEAD + "A1,2024-05-01,1000\nA1,2024-05-05,1040\n"})
    text = "locomotive,inspected_at,engine_hours\nA1,2024-05-03 06:00,9020\n"
    report = depot.hand_in({"i.csv": text})
    assert report.set_aside["rule"].tolist() == ["counter"]


def test_row_held_already_stays_a_duplicate(depot: Depot) -> None:
    last = HEAD + "A1,2024-05-01,1000\nA1,2024-05-02,9010\n"
    assert depot.hand_in({"u.csv": last}).files[0].accepted == 2  # nothing came after it yet
    report = depot.hand_in({"u.csv": last + "A1,2024-05-03,1020\n"})
    assert (report.files[0].accepted, report.files[0].duplicate) == (1, 2)
