"""Findings per inspection and defects soon after a clear one. Oracle: counted by hand.

Bounds of Poisson counts: Garwood (1936), Biometrika 28, 437-442, the exact limits of a Poisson mean
(their values here from memory).
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from analytics.answer import Answer
from analytics.answers.inspected import COLUMNS
from tests.answers.hand import answer, reader_of
from tests.history.world import World

SERVICE = {"severity": "in-service", "action": "replaced"}


def two_depots() -> World:
    """5A at North, 6B at South: both inspected on 1 to 10 January, 6B on 1 to 5 February too."""
    world = World().locomotive("5A", depot="North").locomotive("6B", depot="South")
    world.add("coverage", locomotive="5A", covered_until="2024-03-01")
    world.daily("2024-01-01", "2024-01-10", depot="North", outcome="released")
    world.daily("2024-01-01", "2024-01-10", locomotive="6B", depot="South", outcome="released")
    world.daily("2024-02-01", "2024-02-02", locomotive="6B", depot="South", outcome="released")
    world.daily("2024-02-03", "2024-02-03", locomotive="6B", depot="South", outcome="withheld")
    return world.daily("2024-02-04", "2024-02-05", locomotive="6B", depot="South")


def ask(world: World, **asked: Any) -> Answer:
    found = answer(reader_of(world), "quality", inspections=True, **asked)
    assert list(found.table) == list(COLUMNS)
    return found


def cells(world: World, **asked: Any) -> pd.DataFrame:
    return ask(world, **asked).table.set_index(["depot", "team", "month"])


def missed(world: World, **asked: Any) -> dict[tuple[str, str], int]:
    table = ask(world, **asked).table
    table = table[table["team"] == ""]
    counts = table.set_index(["depot", "month"])["missed"]
    return {key: int(count) for key, count in counts.items() if count}


def three_written() -> World:
    world = two_depots().finding("2024-01-02", severity="rectify", team="A")
    world.finding("2024-01-04", component="filter", position=None, team="B")
    return world.finding("2024-01-04 16:00", "worn", position="2", severity="remark")


def test_rows_are_depots_and_months_then_their_teams() -> None:
    table = cells(three_written())
    assert [*table.index] == [
        ("North", "", "2024-01"),
        ("North", "A", "2024-01"),
        ("North", "B", "2024-01"),
        ("South", "", "2024-01"),
        ("South", "", "2024-02"),
    ]
    # a team's findings over all ten inspections of its depot
    assert table["inspections"].tolist() == [10, 10, 10, 10, 5]
    assert table["findings"].tolist() == [3, 1, 1, 0, 0]
    each = [0.3, 0.1, 0.1, 0, 0]
    assert table["findings_per_inspection"].tolist() == pytest.approx(each)
    assert table["missed"].isna().tolist() == [False, True, True, False, False]
    assert "some findings name no team" in table["note"].iloc[0]
    assert "all inspections of the depot" in table["note"].iloc[1]


def test_bounds_are_those_of_a_poisson_count() -> None:
    table = cells(three_written())
    # 3 counted: 0.8177 to 7.7537 at 90 %; none: -ln(0.1) = 2.3026, one-sided; over 10 inspections
    bounds = table.loc[("North", "", "2024-01"), ["lower", "upper"]].tolist()
    assert bounds == pytest.approx([0.08177, 0.77537], abs=1e-5)
    bounds = table.loc[("South", "", "2024-01"), ["lower", "upper"]].tolist()
    assert bounds == pytest.approx([0, 0.23026], abs=1e-5)


def test_soon_after_a_clear_inspection_is_missed() -> None:
    world = two_depots().finding("2024-01-06 14:00", **SERVICE)
    # the last one before was on 10 January: 3 days are soon, 4 are not
    world.finding("2024-01-13", locomotive="6B", **SERVICE)
    assert missed(world) == {("North", "2024-01"): 1, ("South", "2024-01"): 1}
    assert "inspected.often" in {note.key for note in ask(world).notes}
    share = cells(world)["missed_share"]
    assert share["North", "", "2024-01"] == pytest.approx(1 / 10)
    # what came in service was not written at an inspection
    assert cells(world)["findings"].sum() == 0
    later = two_depots().finding("2024-01-14", locomotive="6B", **SERVICE)
    assert missed(later) == {}


def test_it_counts_in_the_month_and_depot_of_the_inspection() -> None:
    world = two_depots().inspections("2024-01-31", depot="East", outcome="released-with-remark")
    world.finding("2024-02-02 08:00", **SERVICE)
    assert missed(world) == {("East", "2024-01"): 1}
    assert missed(world, depot="North") == {}
    assert missed(world, since="2024-02-01") == {}
    assert missed(world, until="2024-02-01") == {}


@pytest.mark.parametrize(
    ("found_at", "written"),
    [
        ("2024-01-04 15:00", True),  # the component was written at the inspection of that day
        ("2024-01-05", True),  # no time of day: before the inspection of the 5th, after the 4th
        ("2024-01-05", False),
        ("2024-01-05 15:00", True),  # the inspection of the 5th wrote nothing of it
    ],
)
def test_a_component_that_was_written_was_not_missed(found_at: str, written: bool) -> None:
    world = two_depots().finding(found_at, **SERVICE)
    if written:
        world.finding("2024-01-04", "worn", position="2", severity="rectify", action="cleaned")
    clear = not written or found_at == "2024-01-05 15:00"
    assert missed(world) == ({("North", "2024-01"): 1} if clear else {})


@pytest.mark.parametrize("day", ["2024-02-03 14:00", "2024-02-04 14:00"])
def test_withheld_or_without_outcome_is_not_clear(day: str) -> None:
    world = two_depots()
    # one en route does not see an injector, so that the daily one before it is asked
    world.inspections(
        f"{day[:10]} 12:00", locomotive="6B", kind="en-route", depot="South", outcome="released"
    )
    world.finding(day, locomotive="6B", **SERVICE)
    assert missed(world) == {}
    found = ask(world)
    notes = {note.key: dict(note.values) for note in found.notes}
    # 4 and 5 February do not say
    assert notes["inspected.no_outcome"] == {"inspections": 2}


def test_filters_narrow_findings_and_inspections() -> None:
    assert cells(three_written(), component="filter")["findings"].max() == 1
    assert cells(three_written(), defect="worn")["findings"].max() == 1
    assert set(ask(three_written(), depot="South").table["depot"]) == {"South"}
    assert set(ask(three_written(), since="2024-02-01").table["month"]) == {"2024-02"}


def test_what_was_written_on_other_days_is_counted_and_left_out() -> None:
    found = ask(three_written().finding("2024-01-20", severity="rectify"))
    assert found.table.loc[found.table["team"] == "", "findings"].sum() == 3
    notes = {note.key: dict(note.values) for note in found.notes}
    assert notes["inspected.other_days"] == {"findings": 1}
    assert "inspected.often" not in notes  # nothing came in service
    assert "inspected.either" in notes


def test_the_last_days_are_marked_as_too_recent() -> None:
    note = cells(two_depots())["note"]
    # 5A is known to 1 March, 6B to its inspection of 5 February
    assert note["North", "", "2024-01"] == note["South", "", "2024-01"] == ""
    assert "too recent" in note["South", "", "2024-02"]


def written_daily(**findings: int) -> World:
    world = two_depots()
    for name, count in findings.items():
        for number in range(count):
            world.finding(f"2024-01-0{1 + number}", locomotive=f"{name}", severity="rectify")
    return world


def test_reading_names_depots_only_beyond_chance() -> None:
    # 9 of 9 at North, with 10 of 25 inspections: 0.4 ** 9 = 0.0003 one-sided, one pair
    found = ask(written_daily(**{"5A": 9}))
    assert found.reading.key == "inspected.differ"
    assert (found.reading.values["most"], found.reading.values["least"]) == ("North", "South")
    assert found.reading.values["most_each"] == pytest.approx(0.9)
    # 2 of 3 at North: nothing chance would not do
    assert ask(written_daily(**{"5A": 2, "6B": 1})).reading.key == "inspected.alike"
    one = ask(written_daily(**{"5A": 2}), depot="North").reading
    assert (one.key, one.values["findings"], one.values["inspections"]) == ("inspected.one", 2, 10)


def test_no_inspection_is_said() -> None:
    for world in (World(), World().locomotive("5A", depot="North")):
        found = ask(world)
        assert found.table.empty
        assert found.reading.key == "inspected.nothing"
        assert found.notes == ()
