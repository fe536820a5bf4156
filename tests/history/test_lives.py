"""Worked examples, by hand, of METHODS 0: lives, their bounds, unknown starts, breaks.

Oracle: closed form by hand, written beside each table of rows.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from tests.history.world import World


def day(instant: pd.Timestamp) -> str:
    return f"{instant:%m-%d}"


def lives(world: World, counting: str = "rectified", **equal: Any) -> list[tuple[Any, ...]]:
    """Return (position, start, known, entry, lower, exit, end kind) of the injector's lives."""
    wanted = {"component": "injector"} | equal
    made = world.table("life", counting=counting, **wanted)
    made = made.sort_values(["position", "start_at", "piece"])
    return [
        (
            r.position,
            day(r.start_at),
            r.start_known,
            day(r.entry_at),
            day(r.lower_at),
            day(r.exit_at),
        )
        + (r.end_kind,)
        for r in made.itertuples()
    ]


def winter(**cells: Any) -> World:
    return World().locomotive(**cells).daily("2024-01-01", "2024-03-31")


def test_life_ends_in_its_failure_and_begins_at_the_closing() -> None:
    # found on the 10th, last seen good on the 9th, renewed on the 12th: (9th, 10th]; next from 12th
    world = winter().finding("2024-01-10", action="replaced", closed_at="2024-01-12")
    assert lives(world) == [
        (1, "01-01", True, "01-01", "01-09", "01-10", "failure"),
        (1, "01-12", True, "01-12", "03-31", "03-31", "end"),
        (2, "01-01", True, "01-01", "03-31", "03-31", "end"),
    ]


def test_restored_and_checked_episodes_let_the_life_go_on() -> None:
    world = (
        winter().finding("2024-01-10", action="cleaned").finding("2024-02-01", action="looked-at")
    )
    assert lives(world, position=1) == [(1, "01-01", True, "01-01", "03-31", "03-31", "end")]


def test_failure_in_service_is_exact() -> None:
    world = winter().finding("2024-01-10 15:30", action="replaced", severity="in-service")
    assert lives(world, position=1)[0] == (1, "01-01", True, "01-01", "01-10", "01-10", "failure")
    assert (
        world.table("life", "failed")["lower_at"].tolist() == [pd.Timestamp("2024-01-10 15:30")] * 4
    )


def test_inspection_of_a_kind_that_does_not_see_it_bounds_nothing() -> None:
    catalogue = World().catalogue.replace(
        "in_service = true\n[component.filter]",
        'in_service = true\nseen_by = ["workshop"]\n[component.filter]',
    )
    world = World(catalogue).locomotive().daily("2024-01-01", "2024-03-31")
    world.inspections("2024-01-04", kind="workshop").inspections("2024-03-20", kind="workshop")
    world.finding("2024-01-10", action="replaced")
    world.finding("2024-01-07", position="2", action="cleaned")  # a finding of it counts as seen
    world.finding("2024-02-10", position="2", action="replaced")
    assert lives(world) == [
        (1, "01-01", True, "01-01", "01-07", "01-10", "failure"),
        (1, "01-10", True, "01-10", "03-20", "03-20", "end"),
        (2, "01-01", True, "01-01", "01-10", "02-10", "failure"),
        (2, "02-10", True, "02-10", "03-20", "03-20", "end"),
    ]


def test_without_any_inspection_the_found_time_is_the_failure_time() -> None:
    world = World().locomotive(in_service_to="2024-04-01").finding("2024-01-10", action="replaced")
    assert lives(world, position=1) == [
        (1, "01-01", True, "01-01", "01-10", "01-10", "failure"),
        (1, "01-10", True, "01-10", "04-01", "04-01", "end"),
    ]
    assert not world.table("life")["inspected"].any()


def test_records_that_begin_years_after_entry_start_unknown() -> None:
    world = winter(in_service_from="2015-06-01", records_from="2024-01-01")
    world.finding("2024-01-10", action="replaced")
    assert lives(world, position=1) == [
        (1, "01-01", False, "01-01", "01-09", "01-10", "failure"),
        (1, "01-10", True, "01-10", "03-31", "03-31", "end"),
    ]


def test_records_that_begin_within_the_grace_enter_late() -> None:
    # in service 10 Dec, records from 1 Jan: age counts from 10 Dec, at risk from 1 Jan
    world = winter(in_service_from="2023-12-10", records_from="2024-01-01")
    world.finding("2024-01-10", action="replaced")
    assert lives(world, position=1)[0] == (1, "12-10", True, "01-01", "01-09", "01-10", "failure")


def test_component_not_present_since_in_service_starts_unknown() -> None:
    world = winter()
    made = world.table("life", component="filter", counting="any")
    assert made["start_known"].tolist() == [False]


def test_planned_renewal_censors_and_so_does_an_uncounted_one() -> None:
    world = winter().work("2024-02-01")
    world.finding("2024-03-01", severity="remark", action="replaced")
    assert lives(world, position=1) == [
        (1, "01-01", True, "01-01", "02-01", "02-01", "renewed-by-plan"),
        (1, "02-01", True, "02-01", "02-29", "03-01", "failure"),  # closed by renew: rectified
        (1, "03-01", True, "03-01", "03-31", "03-31", "end"),
    ]
    assert [row[-1] for row in lives(world, "withheld", position=1)] == [
        "renewed-by-plan", "renewed-uncounted", "end",
    ]  # fmt: skip


def test_condition_of_the_part_fitted_sets_the_age() -> None:
    world = winter()
    world.work("2024-01-10", condition_in="used", age_in=500.0)
    world.work("2024-01-20", condition_in="used")
    world.work("2024-01-30", condition_in="unknown")
    world.work("2024-02-10", condition_in="overhauled")
    made = world.table("life", component="injector", counting="any", position=1)
    made = made.sort_values("start_at")
    assert made["start_known"].tolist() == [True, True, False, False, True]
    assert made["start_age"].tolist() == [0, 500, 0, 0, 0]


def test_renewal_without_position_breaks_every_life_of_the_component() -> None:
    # on 1 Feb one of the two injectors was replaced, nobody wrote which
    world = winter().work("2024-02-01", position=None).finding("2024-03-01", action="replaced")
    assert lives(world) == [
        (1, "01-01", True, "01-01", "02-01", "02-01", "position-not-stated"),
        (1, "02-01", False, "02-01", "02-29", "03-01", "failure"),
        (1, "03-01", True, "03-01", "03-31", "03-31", "end"),
        (2, "01-01", True, "01-01", "02-01", "02-01", "position-not-stated"),
        (2, "02-01", False, "02-01", "03-31", "03-31", "end"),
    ]


def test_failure_without_position_breaks_only_where_it_counts() -> None:
    world = winter().finding("2024-02-01", position=None, severity="rectify", action="cleaned")
    assert [row[-1] for row in lives(world)] == ["position-not-stated", "end"] * 2
    assert [row[-1] for row in lives(world, "withheld")] == ["end", "end"]


def test_break_between_failure_and_renewal_leaves_that_life_whole() -> None:
    world = winter().finding("2024-01-10", action="replaced", closed_at="2024-01-20")
    world.finding("2024-01-15", "worn", position=None, action="cleaned")
    assert lives(world, position=1) == [
        (1, "01-01", True, "01-01", "01-09", "01-10", "failure"),
        (1, "01-20", True, "01-20", "03-31", "03-31", "end"),
    ]


def test_life_of_zero_length_is_not_a_life() -> None:
    # two defects of one position put right by one replacement; a second one at the same instant
    world = winter()
    world.finding("2024-01-10", action="replaced").finding("2024-01-10", "worn", action="replaced")
    world.work("2024-01-10")
    assert [row[3:] for row in lives(world, position=1)] == [
        ("01-01", "01-09", "01-10", "failure"),
        ("01-10", "03-31", "03-31", "end"),
    ]


def test_deferred_failure_closed_by_planned_renewal_is_a_failure() -> None:
    world = winter().finding("2024-01-10", action="put-off", severity="rectify").work("2024-02-10")
    assert lives(world, position=1) == [
        (1, "01-01", True, "01-01", "01-09", "01-10", "failure"),
        (1, "02-10", True, "02-10", "03-31", "03-31", "end"),
    ]


def test_out_of_use_is_not_at_risk_while_age_goes_on() -> None:
    # stored 1 to 20 Feb; failure found on 1 Mar: two stretches at risk of one life
    world = winter().add("out_of_use", locomotive="5A", from_at="2024-02-01", to_at="2024-02-20")
    world.finding("2024-03-01", action="replaced")
    assert lives(world, position=1) == [
        (1, "01-01", True, "01-01", "02-01", "02-01", "pause"),
        (1, "01-01", True, "02-20", "02-29", "03-01", "failure"),
        (1, "03-01", True, "03-01", "03-31", "03-31", "end"),
    ]


def test_gap_without_inspections_widens_the_interval() -> None:
    world = World().locomotive().daily("2024-01-01", "2024-01-31").daily("2024-03-01", "2024-03-31")
    world.finding("2024-03-01", action="replaced")
    assert lives(world, position=1)[0] == (1, "01-01", True, "01-01", "01-31", "03-01", "failure")


def test_first_known_life_of_a_position_is_marked() -> None:
    world = (
        winter().finding("2024-01-10", action="replaced").finding("2024-02-10", action="replaced")
    )
    made = world.table("life", component="injector", counting="any", position=1)
    assert made.sort_values("start_at")["first_known"].tolist() == [True, False, False]
