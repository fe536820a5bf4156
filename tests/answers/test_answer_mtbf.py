"""MTBF and rates of a railway written by hand.

Oracle unless said otherwise: closed form by hand; exposure is days x 10 h x 2 positions, 5A 2,000 h
and 6B 1,000 h, 3 failures.
"""

from __future__ import annotations

import math

import pytest
from scipy import stats

from analytics.answer import Answer, say
from analytics.answers.mtbf import COLUMNS
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, day, railway, reader_of, three_failures
from tests.history.world import World


@pytest.fixture(scope="module")
def reader() -> Reader:
    return reader_of(three_failures())


def rows(found: Answer, *columns: str) -> list[tuple[object, ...]]:
    return list(found.table[list(columns)].itertuples(index=False, name=None))


def test_pooled_row_is_exposure_over_failures_with_chi_square_bounds(reader: Reader) -> None:
    found = answer(reader, "mtbf", component="injector")
    assert list(found.table) == list(COLUMNS)
    row = found.table.iloc[0]
    assert (row["clock"], row["exposure"], row["failures"]) == ("hours", 3000.0, 3)
    assert (row["mtbf"], row["rate"]) == (1000.0, 0.001)
    # NIST/SEMATECH e-Handbook 8.4.5.1, time-terminated: 2T/chi2(0.95; 2r+2), 2T/chi2(0.05; 2r)
    assert row["mtbf_lower"] == pytest.approx(6000 / stats.chi2.ppf(0.95, 8))
    assert row["mtbf_upper"] == pytest.approx(6000 / stats.chi2.ppf(0.05, 6))
    assert row["rate_upper"] == pytest.approx(1 / row["mtbf_lower"])
    assert (row["level"], row["method"]) == (0.9, "exact-poisson")
    assert found.basis.events == 3
    assert found.basis.exposure == 3000.0
    assert found.basis.locomotives == 2
    assert found.basis.filters == {"components": ("injector",)}
    assert str(found.basis.data_cut) == f"{day(100)} 00:00:00"


def test_groups_split_exposure_and_failures(reader: Reader) -> None:
    def of(*by: str) -> list[tuple[object, ...]]:
        return rows(
            answer(reader, "mtbf", by=by, component="injector"), *by, "exposure", "failures"
        )

    assert of("locomotive") == [("5A", 2000.0, 2), ("6B", 1000.0, 1)]
    assert of("class") == [("Alder", 3000.0, 3)]
    # 5A moves on day 50: 1,000 h of it and the failure of day 60 belong to South
    assert of("depot") == [("North", 2000.0, 2), ("South", 1000.0, 1)]
    assert of("position") == [(1, 1500.0, 2), (2, 1500.0, 1)]
    # 31 + 31, 29 + 19, 31, 9 days of 20 h
    assert of("month") == [
        ("2024-01", 1240.0, 2),
        ("2024-02", 960.0, 0),
        ("2024-03", 620.0, 1),
        ("2024-04", 180.0, 0),
    ]
    assert of("depot", "position") == [
        ("North", 1, 1000.0, 1),
        ("North", 2, 1000.0, 1),
        ("South", 1, 500.0, 1),
        ("South", 2, 500.0, 0),
    ]


def test_kinds_carry_the_whole_exposure_each(reader: Reader) -> None:
    found = answer(reader, "mtbf", by=("defect",), component="injector")
    assert rows(found, "defect", "exposure", "failures") == [
        ("leaking", 3000.0, 2),
        ("worn", 3000.0, 1),
    ]
    assert "basis.kinds_do_not_add" in [note.key for note in found.notes]
    seen = answer(reader, "mtbf", by=("action",), component="injector")
    assert rows(seen, "action", "exposure", "failures") == [("replaced", 3000.0, 3)]


def test_filters_on_defects_do_not_reduce_exposure(reader: Reader) -> None:
    found = answer(reader, "mtbf", component="injector", defect="worn")
    assert rows(found, "exposure", "failures") == [(3000.0, 1)]


def test_component_without_failures_has_its_row_and_a_lower_bound_only(reader: Reader) -> None:
    found = answer(reader, "mtbf", by=("component",), clock="days")
    # filter: one position, 150 days, no failure: 150 / -ln(0.1) one-sided
    row = found.table.set_index("component").loc["filter"]
    assert (row["exposure"], row["failures"], row["rate"]) == (150.0, 0, 0.0)
    assert row["mtbf_lower"] == pytest.approx(150 / -math.log(0.1))
    assert math.isnan(row["mtbf"])
    assert math.isnan(row["mtbf_upper"])
    assert row["rate_upper"] == pytest.approx(1 / row["mtbf_lower"])
    assert "lower bound only" in row["note"]
    assert "calendar time" in row["note"]


def test_components_on_different_clocks_are_pooled_over_days(reader: Reader) -> None:
    found = answer(reader, "mtbf")
    # (2 injectors + 1 filter) x 150 days
    assert rows(found, "clock", "exposure", "failures") == [("days", 450.0, 3)]
    assert "basis.pooled_components" in [note.key for note in found.notes]


def test_period_cuts_exposure_and_counters_at_its_ends(reader: Reader) -> None:
    period = {"since": day(10), "until": day(60), "component": "injector"}
    found = answer(reader, "mtbf", by=("locomotive",), **period)
    # until is not included, so the failure of day 60 is out
    assert rows(found, "locomotive", "exposure", "failures") == [
        ("6B", 800.0, 1),  # the shortest first
        ("5A", 1000.0, 1),
    ]
    assert str(found.basis.data_cut) == f"{day(60)} 00:00:00"


def test_until_beyond_the_record_adds_nothing(reader: Reader) -> None:
    found = answer(reader, "mtbf", component="injector", until="2030-01-01")
    assert rows(found, "exposure", "failures") == [(3000.0, 3)]
    assert str(found.basis.data_cut) == f"{day(100)} 00:00:00"


def test_period_outside_the_record_gives_empty_figures_and_a_sentence(reader: Reader) -> None:
    found = answer(reader, "mtbf", component="injector", since="2030-01-01")
    row = found.table.iloc[0]
    assert (row["exposure"], row["failures"], row["note"]) == (0.0, 0, "no running time")
    assert all(math.isnan(row[name]) for name in ("mtbf", "mtbf_lower", "rate", "rate_upper"))
    assert found.notes[0].key == "basis.no_exposure"
    assert say(found.reading) == "Nothing was in use in this period; there is no figure."


def test_failures_without_a_clock_are_left_out_and_counted(reader: Reader) -> None:
    found = answer(reader, "mtbf", component="injector", clock="km")
    assert rows(found, "exposure", "failures") == [(0.0, 0)]
    assert found.basis.left_out == {"no_clock": 3}
    assert found.notes[0].key == "basis.no_counters"


def test_counting_rules_narrow() -> None:
    world = railway()
    for number, severity in enumerate(("remark", "rectify", "withhold", "in-service")):
        world.finding(day(10 + number), severity=severity, action="looked-at")
    counted = reader_of(world)
    failures = {}
    for rule in ("any", "rectified", "withheld", "in-service"):
        found = answer(counted, "mtbf", component="injector", counting=rule)
        failures[rule] = int(found.table["failures"].iloc[0])
    assert failures == {"any": 4, "rectified": 3, "withheld": 2, "in-service": 1}


def test_failures_without_a_position_count_except_by_position() -> None:
    stated = reader_of(railway().finding(day(20), position=None, action="replaced"))
    pooled = answer(stated, "mtbf", component="injector")
    assert rows(pooled, "exposure", "failures") == [(3000.0, 1)]
    assert pooled.basis.left_out == {}
    by_position = answer(stated, "mtbf", by=("position",), component="injector")
    assert rows(by_position, "failures") == [(0,), (0,)]
    assert by_position.basis.left_out == {"no_position": 1}


def test_failure_found_while_not_observed_is_out_of_window() -> None:
    world = railway().add(
        "out_of_use", locomotive="5A", from_at=day(30), to_at=day(60), reason="stored"
    )
    found = answer(
        reader_of(world.finding(day(45), action="replaced")), "mtbf", component="injector"
    )
    # 5A is in use for 70 of 100 days
    assert rows(found, "exposure", "failures") == [(2400.0, 0)]
    assert found.basis.left_out == {"out_of_window": 1}


def test_store_without_any_hand_in_answers_with_a_sentence() -> None:
    found = answer(reader_of(World()), "mtbf", by=("component",))
    assert found.table.empty
    assert list(found.table) == ["component", *COLUMNS]
    assert found.basis.locomotives == 0


def test_class_with_no_position_of_a_component_has_no_row() -> None:
    world = railway()
    world.catalogue += "[class.Rowan]\npositions = { injector = 0 }\n"
    world.locomotive("7C", **{"class": "Rowan"}).inspections(day(0), day(7), locomotive="7C")
    found = answer(reader_of(world), "mtbf", by=("class",), component="injector")
    assert rows(found, "class") == [("Alder",)]


def test_names_that_do_not_exist_are_refused(reader: Reader) -> None:
    with pytest.raises(ScopeError, match="locomotive '5B' is not known; nearest: 6B, 5A"):
        answer(reader, "mtbf", locomotive="5B")
    with pytest.raises(ScopeError, match="component 'injektor' is not known; nearest: injector"):
        answer(reader, "mtbf", component="injektor")


def test_scaling_the_clock_scales_the_figures(reader: Reader) -> None:
    """Identity: all locomotives run 10 h a day, so hours are ten times the days."""
    hours = answer(reader, "mtbf", component="injector").table.iloc[0]
    days = answer(reader, "mtbf", component="injector", clock="days").table.iloc[0]
    for name in ("exposure", "mtbf", "mtbf_lower", "mtbf_upper"):
        assert hours[name] == pytest.approx(10 * days[name])
    assert hours["constancy_p"] == pytest.approx(days["constancy_p"])


@pytest.mark.parametrize("cut", [1, 20, 33, 50, 77])
def test_two_adjoining_periods_add_up_to_the_whole(reader: Reader, cut: int) -> None:
    """Identity: exposure and failures before and from an instant are those of the record."""
    before = answer(reader, "mtbf", component="injector", until=day(cut)).table.iloc[0]
    after = answer(reader, "mtbf", component="injector", since=day(cut)).table.iloc[0]
    assert before["exposure"] + after["exposure"] == pytest.approx(3000)
    assert before["failures"] + after["failures"] == 3


def test_reading_names_the_group_that_fails_most_often(reader: Reader) -> None:
    pooled = answer(reader, "mtbf", component="injector")
    assert say(pooled.reading) == (
        "injector: one failure per position every 1\u202f000 h (387 to 3\u202f670 h at 90 %), "
        "per locomotive every 500 h; 3 failures."
    )
    grouped = answer(reader, "mtbf", by=("locomotive",), component="injector")
    assert grouped.reading.key == "mtbf.most_often_each_hours"
    # 1 in 1,000 h is surely less often than 2 in 2,000 h
    assert grouped.reading.values["subject"] == "5A"
    assert answer(reader, "mtbf").reading.key == "mtbf.all_each_days"
    none = answer(reader, "mtbf", component="injector", until=day(10))
    assert none.reading.key == "mtbf.none_failed_each_hours"


def test_reading_of_one_position_needs_no_figure_per_locomotive(reader: Reader) -> None:
    by_place = answer(reader, "mtbf", by=("locomotive", "position"), component="injector")
    assert by_place.reading.key == "mtbf.most_often_hours"
    kinds = answer(reader, "mtbf", by=("defect",), component="injector")
    assert kinds.reading.key == "mtbf.kind_each_hours"


def test_most_frequent_first_and_undefined_last(reader: Reader) -> None:
    table = answer(reader, "mtbf", by=("component",), clock="days").table
    assert table["component"].tolist() == ["injector", "filter"]


def test_days_in_use_without_an_inspection_are_told() -> None:
    """By hand: 100 days, out of use for 20 of them, no inspection from day 35 to day 60."""
    world = World().locomotive("5A").finding(day(10), action="cleaned")
    world.inspections(*(day(n) for n in (*range(0, 36, 5), *range(60, 101, 5))))
    world.add("out_of_use", locomotive="5A", from_at=day(70), to_at=day(85), reason="stored")
    world.add("out_of_use", locomotive="5A", from_at=day(75), to_at=day(90), reason="stored")
    found = answer(reader_of(world), "mtbf", component="injector", clock="days")
    told = [note for note in found.notes if note.key == "basis.unseen"]
    assert [dict(note.values) for note in told] == [{"days": 25, "percent": 31.25}]
    assert rows(found, "exposure") == [(2 * 55.0,)]


def test_nothing_is_told_where_every_day_in_use_is_seen(reader: Reader) -> None:
    keys = [note.key for note in answer(reader, "mtbf", component="injector").notes]
    assert "basis.unseen" not in keys
