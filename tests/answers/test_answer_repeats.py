"""Chains of repeats of a railway written by hand. Oracle: by hand (METHODS section 5)."""

from __future__ import annotations

import pandas as pd
import pytest

from analytics.answer import Answer
from analytics.answers.repeats import COLUMNS
from analytics.errors import ScopeError
from tests.answers.hand import answer, day, railway, reader_of
from tests.history.world import World


def chains(world: World, **asked: object) -> list[list[object]]:
    table = answer(reader_of(world), "repeats", **asked).table
    return table[["locomotive", "position", "length", "actions"]].values.tolist()


def one_chain() -> World:
    world = railway()
    world.finding(day(10), action="cleaned", down_hours=2, cost=10.5)
    world.finding(day(25), action="looked-at", severity="rectify", down_hours=3)
    world.finding(day(40), "worn", action="replaced", cost=100)
    return world.finding(day(90), action="cleaned")  # 50 days later: no part of it


def test_chain_is_a_run_of_repeats() -> None:
    found: Answer = answer(reader_of(one_chain()), "repeats")
    assert list(found.table) == list(COLUMNS)
    row = found.table.iloc[0]
    assert len(found.table) == 1
    assert (row["locomotive"], row["component"], row["position"]) == ("5A", "injector", 1)
    assert (row["length"], row["open"]) == (3, False)
    assert (row["first"], row["last"]) == (pd.Timestamp(day(10)), pd.Timestamp(day(40)))
    assert (row["down_hours"], row["cost"]) == (5.0, 110.5)
    assert row["actions"] == "cleaned > looked-at > replaced"


def test_what_was_not_written_is_not_a_nought() -> None:
    """A chain adds up what is written; where nothing is, hours and cost are empty, not 0."""
    world = railway()
    for number, locomotive, cells in (
        (10, "5A", {}),
        (20, "5A", {}),
        (10, "6B", {"down_hours": 0, "cost": 0}),
        (20, "6B", {}),
    ):
        world.finding(day(number), locomotive=locomotive, action="cleaned", **cells)
    reader = reader_of(world)
    table = answer(reader, "repeats").table.set_index("locomotive")
    assert table.loc["5A", ["down_hours", "cost"]].isna().all()
    assert table.loc["6B", ["down_hours", "cost"]].tolist() == [0, 0]
    steps = answer(reader, "repeats", steps=True).table.set_index(["locomotive", "step"])
    for name in ("down_hours", "cost"):
        assert steps[name].isna().to_dict() == {
            ("5A", 1): True,
            ("5A", 2): True,
            ("6B", 1): False,
            ("6B", 2): True,
        }


def test_open_at_the_end_says_so_and_so_does_a_blank() -> None:
    world = railway().finding(day(10), severity="rectify", closed_at=day(10))
    world.finding(day(20), "worn", action="put-off", severity="rectify")
    found = answer(reader_of(world), "repeats")
    assert found.table["open"].tolist() == [True]
    assert found.table["actions"].tolist() == ["? > open"]


def test_until_reopens_what_was_closed_later() -> None:
    world = railway().finding(day(10), action="cleaned")
    world.finding(day(20), action="cleaned", closed_at=day(40))
    assert chains(world, until=day(30)) == [["5A", 1, 2, "cleaned > open"]]


def test_longest_first_then_latest() -> None:
    world = one_chain()
    for number in (30, 40):
        world.finding(day(number), action="cleaned", locomotive="6B")
    for number in (60, 70):
        world.finding(day(number), action="cleaned", position="2")
    assert [row[:3] for row in chains(world)] == [["5A", 1, 3], ["5A", 2, 2], ["6B", 1, 2]]


def test_uncounted_failure_between_links_but_is_not_listed() -> None:
    world = railway().finding(day(10), action="cleaned")
    world.finding(day(30), action="looked-at", severity="remark")
    world.finding(day(50), action="cleaned")
    assert chains(world) == [["5A", 1, 2, "cleaned > cleaned"]]
    assert chains(world, counting="any") == [["5A", 1, 3, "cleaned > looked-at > cleaned"]]


def test_chain_that_reaches_into_the_period_is_kept_whole() -> None:
    assert [row[2] for row in chains(one_chain(), since=day(35), until=day(60))] == [3]
    assert chains(one_chain(), since=day(41)) == []


def test_filter_on_a_defect_keeps_whole_chains() -> None:
    assert [row[2] for row in chains(one_chain(), defect="worn")] == [3]
    assert chains(one_chain(), same_defect=True) == [["5A", 1, 2, "cleaned > looked-at"]]


def test_position_not_stated_is_its_own_place_and_told() -> None:
    world = railway()
    for number in (10, 20):
        world.finding(day(number), position=None, action="cleaned")
    found = answer(reader_of(world), "repeats")
    assert found.table["position"].isna().tolist() == [True]
    assert [note.key for note in found.notes] == ["repeats.not_stated", "repeats.uncounted"]


def test_single_failures_on_request_and_nonsense_refused() -> None:
    assert [row[2] for row in chains(one_chain(), at_least=1)] == [3, 1]
    with pytest.raises(ScopeError, match="at_least must be 1 or more, but is 0"):
        chains(one_chain(), at_least=0)


def test_no_repeats_give_an_empty_list_and_a_sentence() -> None:
    found = answer(reader_of(railway()), "repeats")
    assert found.table.empty
    assert found.reading.key == "repeats.none_days"


def test_open_chains_come_first_and_the_longest_is_named() -> None:
    world = one_chain()
    world.finding(day(60), action="cleaned", position="2")
    world.finding(day(70), "worn", action="put-off", severity="rectify", position="2")
    found = answer(reader_of(world), "repeats")
    assert found.table[["open", "length"]].values.tolist() == [[True, 2], [False, 3]]
    assert found.reading.values["length"] == 3
