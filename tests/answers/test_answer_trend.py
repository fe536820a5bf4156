"""Trend of a railway written by hand.

Oracle: closed form by hand. One locomotive from entry into service, n failures at t_i in (0, T]:
Laplace u = (mean t - T/2) / (T sqrt(1/(12 n))); chi2 = 2 sum ln(T/t_i), 2n degrees of freedom;
shape n / sum ln(T/t_i), unbiased times (n - 1)/n (MIL-HDBK-189C; NIST e-Handbook 8.2.3.4, 8.4.5.2).
"""

from __future__ import annotations

import math

import pytest
from scipy import stats

from analytics.answers.trend import COLUMNS
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, day, railway, reader_of

FOUND_ON = (20, 60, 90, 95)


@pytest.fixture(scope="module")
def reader() -> Reader:
    world = railway(engine_hours_at_start=1000)
    for number in FOUND_ON:
        world.finding(day(number), action="cleaned", severity="in-service")
    return reader_of(world)


def test_one_locomotive_agrees_with_the_handbook(reader: Reader) -> None:
    found = answer(reader, "trend", component="injector", locomotive="5A")
    assert list(found.table) == list(COLUMNS)
    row = found.table.iloc[0]
    logs = sum(math.log(100 / number) for number in FOUND_ON)
    assert (row["clock"], row["failures"]) == ("hours", 4)
    u = (sum(FOUND_ON) / 4 - 50) / (100 * math.sqrt(1 / 48))
    assert row["laplace_u"] == pytest.approx(u)
    assert row["laplace_p"] == pytest.approx(2 * stats.norm.sf(abs(u)))
    assert row["milhdbk_chi2"] == pytest.approx(2 * logs)
    assert row["shape_mle"] == pytest.approx(4 / logs)
    assert row["shape"] == pytest.approx(3 / logs)
    # scale = n / T^shape, intensity at T = n shape / T, shared by 2 positions: T = 1,000 h
    assert row["mtbf_now"] == pytest.approx(2 * 1000 / (4 * 3 / logs))


def test_shape_does_not_depend_on_the_clock(reader: Reader) -> None:
    """Identity: hours run evenly, so the shape is the same on both clocks."""
    scope = {"component": "injector", "locomotive": "5A"}
    hours = answer(reader, "trend", **scope).table.iloc[0]
    days = answer(reader, "trend", clock="days", **scope).table.iloc[0]
    assert hours["shape"] == pytest.approx(days["shape"])
    assert hours["mtbf_now"] == pytest.approx(10 * days["mtbf_now"])


def test_fewer_than_three_failures_say_so_without_figures(reader: Reader) -> None:
    found = answer(reader, "trend", component="injector", until=day(61))
    row = found.table.iloc[0]
    assert row["failures"] == 2
    assert math.isnan(row["laplace_u"])
    assert math.isnan(row["shape"])
    assert row["note"] == "fewer than 3 failures"
    assert found.reading.key == "trend.too_few"


def test_group_without_failures_has_its_row(reader: Reader) -> None:
    table = answer(reader, "trend", by=("locomotive",), component="injector").table
    assert table[["locomotive", "failures"]].values.tolist() == [["5A", 4], ["6B", 0]]


def test_unknown_clock_at_entry_leaves_the_power_law_out() -> None:
    world = railway(in_service_from="2020-01-01")
    for number in FOUND_ON:
        world.finding(day(number), action="cleaned", severity="in-service")
    late = reader_of(world)
    found = answer(late, "trend", component="injector")
    row = found.table.iloc[0]
    assert not math.isnan(row["laplace_u"])
    assert math.isnan(row["shape"])
    assert math.isnan(row["mtbf_now"])
    assert row["note"] == "age not known: tests only"
    # on days the age is known: in service since 2020
    days = answer(late, "trend", component="injector", clock="days")
    assert days.table["shape"].iloc[0] > 1


def test_months_are_no_groups_of_a_trend(reader: Reader) -> None:
    with pytest.raises(ScopeError, match="trend cannot be split by 'month'"):
        answer(reader, "trend", by=("month",))


def test_reading_of_groups_names_what_tests_and_shape_agree_on() -> None:
    world = railway(engine_hours_at_start=1000)
    for number in (80, 85, 90, 92, 94, 96, 98, 99):
        world.finding(day(number), action="cleaned", severity="in-service")
    for number in (5, 15, 25, 35, 45):
        world.finding(day(number), action="cleaned", severity="in-service", locomotive="6B")
    found = answer(reader_of(world), "trend", by=("locomotive",), component="injector")
    assert found.table["locomotive"].tolist() == ["5A", "6B"]
    # 6B fails evenly; 5A only at the end: u = (91.75 - 50) / (100 sqrt(1/96)) = 4.1
    assert dict(found.reading.values) == {
        "groups": 2,
        "worse": 1,
        "better": 0,
        "chance": 1,
        "names": ["5A"],
    }
    assert found.table["laplace_p"].iloc[0] < 0.001
    assert found.table["laplace_p"].iloc[1] > 0.9


@pytest.mark.parametrize(
    ("found_on", "level", "note", "reading"),
    [
        ((40, 60, 75, 85, 90, 95), 0.90, "", "trend.worse_hours"),
        ((40, 60, 75, 85, 90, 95), 0.99, "no clear trend", "trend.unclear_hours"),
        # one early failure: u = (70.83 - 50) / (100 sqrt(1/72)) = 1.77, p 0.077, but the logs add
        # up to 3.90: chi-square 7.8 with 12 degrees of freedom, and the shape's bounds hold 1
        ((5, 70, 80, 85, 90, 95), 0.90, "no clear trend: the tests see one", "trend.split_hours"),
    ],
)
def test_shape_and_tests_must_agree_on_a_trend(
    found_on: tuple[int, ...], level: float, note: str, reading: str
) -> None:
    world = railway(engine_hours_at_start=1000)
    for number in found_on:
        world.finding(day(number), action="cleaned", severity="in-service")
    asked = {"component": "injector", "locomotive": "5A", "level": level}
    found = answer(reader_of(world), "trend", **asked)
    row = found.table.iloc[0]
    speaks = min(row["laplace_p"], row["milhdbk_p"]) <= 1 - level
    assert speaks == (reading != "trend.unclear_hours")
    assert (row["shape_lower"] > 1) == (reading == "trend.worse_hours")
    told = [part.split(" (")[0].split(",")[0] for part in row["note"].split("; ")]
    assert [part for part in told if "trend" in part] == ([note] if note else [])
    assert found.reading.key == reading
