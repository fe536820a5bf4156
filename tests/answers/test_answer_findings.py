"""Lists of defects of a railway written by hand. Oracle: by hand (METHODS sections 0 and 5)."""

from __future__ import annotations

import pandas as pd
import pytest

from analytics.answer import say
from analytics.answers.findings import COLUMNS
from tests.answers.hand import answer, day, railway, reader_of
from tests.history.world import World


def listed(world: World, **asked: object) -> pd.DataFrame:
    table = answer(reader_of(world), "findings", **asked).table
    assert list(table) == list(COLUMNS)
    return table


def five_defects() -> World:
    """Day 10 cleaned; 25 the same again, written twice; 40 put off; 6B blank on 20; a remark."""
    world = railway().finding(day(10), action="cleaned", down_hours=2, cost=10.5)
    world.finding(day(25), closed_at=day(27), severity="rectify", action="cleaned", cost=1)
    world.finding(day(26), severity="withhold", action="cleaned", closed_at=day(27), cost=2)
    world.finding(day(40), "worn", severity="withhold", action="put-off")
    world.finding(day(20), locomotive="6B", position=None, severity="rectify")
    return world.finding(day(45), position="2", severity="remark")


def test_one_row_for_each_episode_newest_first() -> None:
    table = listed(five_defects())
    assert table["found"].tolist() == [pd.Timestamp(day(n)) for n in (40, 25, 20, 10)]
    again = table.iloc[1]  # days 25 and 26 are one defect, as grave as its gravest finding
    assert (again["findings"], again["severity"], again["cost"]) == (2, "withhold", 3)
    assert (again["closed"], again["action"]) == (pd.Timestamp(day(27)), "cleaned")
    # 15 days after the closing of day 10; 40 was found 13 days after that of 27; 6B had none
    assert table["repeat"].tolist() == [True, True, False, False]
    assert table["deferred"].tolist() == [True, False, False, False]
    assert (table["down_hours"].iloc[3], table["cost"].iloc[3]) == (2, 10.5)
    # empty where not written, not 0
    assert table["down_hours"].isna().tolist() == [True, True, True, False]
    assert table["cost"].isna().tolist() == [True, False, True, False]


def test_age_of_what_is_open_runs_to_the_cut_of_its_own_locomotive() -> None:
    table = listed(five_defects()).set_index("locomotive")
    assert table["open"].tolist() == [True, False, True, False]
    # 5A is known to day 100, 6B to day 50
    assert table["age_days"].tolist() == pytest.approx(
        [60, float("nan"), 30, float("nan")], nan_ok=True
    )
    assert table["closed"].isna().tolist() == [True, False, True, False]
    assert table["position"].isna().tolist() == [False, False, True, False]


def test_open_alone_gravest_first_then_oldest() -> None:
    world = five_defects().finding(day(5), position="2", severity="rectify", action="put-off")
    found = answer(reader_of(world), "findings", open=True)
    assert found.table["severity"].tolist() == ["withhold", "rectify", "rectify"]
    assert found.table["age_days"].tolist() == [60, 95, 30]
    assert found.reading.key == "findings.open"
    assert dict(found.reading.values) == {
        "findings": 3, "locomotives": 2, "withheld": 1, "since": pd.Timestamp(day(5)).date(),
    }  # fmt: skip
    # nothing is written as action of 6B's alone
    told = {note.key: note.values["findings"] for note in found.notes}
    assert told == {"findings.blank": 1, "findings.not_stated": 1}


def test_open_ones_too_slight_to_withhold_are_said_without_a_nought() -> None:
    world = railway().finding(day(20), locomotive="6B", severity="rectify")
    found = answer(reader_of(world), "findings", open=True)
    assert say(found.reading) == f"1 defect is open on 1 locomotive; the oldest since {day(20)}."


def test_until_reopens_what_was_closed_later() -> None:
    table = listed(five_defects(), until=day(26), open=True)
    assert table["found"].tolist() == [pd.Timestamp(day(25)), pd.Timestamp(day(20))]
    assert table["age_days"].tolist() == [1, 6]
    assert table["action"].isna().all()


def test_period_is_that_of_found_and_hides_older_open_ones_only_when_asked() -> None:
    assert len(listed(five_defects(), since=day(25))) == 2
    assert len(listed(five_defects(), open=True)) == 2
    assert len(listed(five_defects(), open=True, since=day(25))) == 1


def test_filters_and_counting_rule_choose_the_rows() -> None:
    world = five_defects()
    assert len(listed(world, counting="any")) == 5
    assert len(listed(world, counting="withheld")) == 2
    assert len(listed(world, defect="worn")) == 1
    assert len(listed(world, depot="North", locomotive="5A")) == 3
    assert listed(world, depot="South").empty
    assert listed(world, component="filter").empty


@pytest.mark.parametrize("counting", ["any", "rectified", "withheld", "in-service"])
def test_counts_agree_with_the_other_questions(counting: str) -> None:
    """Oracle: identity. Observed defects are the failures of rates; open ones those of chains."""
    world = five_defects().finding(day(200), severity="in-service", position="2")
    reader = reader_of(world)
    found = answer(reader, "findings", counting=counting)
    rates = answer(reader, "mtbf", counting=counting).table["failures"].sum()
    assert found.basis.events == rates
    chains = answer(reader, "repeats", counting=counting, at_least=1).table["actions"]
    still = sum(actions.split(" > ").count("open") for actions in chains)
    assert answer(reader, "findings", counting=counting, open=True).basis.events == still


def test_found_while_not_observed_is_listed_and_told() -> None:
    world = railway().add(
        "out_of_use", locomotive="5A", from_at=day(30), to_at=day(60), reason="stored"
    )
    found = answer(reader_of(world.finding(day(40), action="cleaned")), "findings")
    assert (len(found.table), found.basis.events) == (1, 0)
    assert [note.key for note in found.notes] == ["findings.unobserved"]


def test_nothing_found_is_said() -> None:
    for world in (World(), railway()):
        found = answer(reader_of(world), "findings")
        assert list(found.table) == list(COLUMNS)
        assert found.table.empty
        assert found.reading.key == "findings.none"
        assert answer(reader_of(world), "findings", open=True).reading.key == "findings.none_open"


def test_all_closed_and_some_open_are_said() -> None:
    world = railway().finding(day(10), action="cleaned")
    assert answer(reader_of(world), "findings").reading.key == "findings.all_closed"
    reading = answer(reader_of(five_defects()), "findings").reading
    assert (reading.values["findings"], reading.values["open"]) == (4, 2)
    assert (reading.values["component"], reading.values["locomotive"]) == ("injector", "6B")
