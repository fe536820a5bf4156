"""Ages of what is fitted on a railway written by hand. Oracle: by hand (METHODS section 0)."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from analytics.answers.ages import COLUMNS, share_beyond
from analytics.estimate.survival import kaplan_meier
from tests.answers.hand import answer, day, railway, reader_of, three_failures
from tests.history.world import World


def injectors(world: World, **asked: object) -> pd.DataFrame:
    table = answer(reader_of(world), "ages", **{"component": "injector"} | asked).table
    assert list(table) == list(COLUMNS)
    return table.sort_values(["locomotive", "position"]).set_index(["locomotive", "position"])


def test_age_is_that_of_the_life_in_progress_at_the_cut_of_its_locomotive() -> None:
    table = injectors(three_failures())
    # 10 h a day. 5A to day 100: position 1 renewed on day 60, position 2 as it came on day 0;
    # 6B to day 50: position 1 as it came, position 2 renewed on day 30
    assert table["age"].tolist() == [400, 1000, 500, 200]
    assert table["since"].tolist() == [pd.Timestamp(day(n)) for n in (60, 0, 0, 30)]
    assert table["start_known"].all()
    assert table["clock"].unique().tolist() == ["hours"]
    assert table["last_action"].fillna("").tolist() == ["replaced", "", "", "replaced"]


def test_share_and_median_are_read_off_the_lives_of_its_kind() -> None:
    table = injectors(three_failures())
    # Seven lives: 200 failed, 400 failed, 400 running, 1000 running (5A), 300 failed, 200 running,
    # 500 running (6B). At risk 7 at 200: 6/7; 5 at 300: 6/7 x 4/5 = 24/35; at 400 only 4 are left
    assert table.loc[("6B", 2), "left_share"] == pytest.approx(6 / 7)
    # so the curve ends at 300, and of what is older at most 24/35 last longer
    assert table["left_share"].tolist()[:3] == pytest.approx([24 / 35] * 3)
    assert table["median"].isna().all()  # 24/35 where the curve ends


def test_fewer_than_three_failures_tell_no_share() -> None:
    found = answer(reader_of(railway().finding(day(20), severity="in-service", action="replaced")),
                   "ages", component="injector")  # fmt: skip
    assert found.table["left_share"].isna().all()
    assert found.reading.key == "ages.no_share"


def many() -> World:
    """Five locomotives: position 1 of each renewed on day 20, that of A to D again on day 60."""
    world = World()
    for name in "ABCDE":
        world.locomotive(name).daily(day(0), day(100), locomotive=name)
        for number in (0, 50, 100):
            hours = 1000 + 10 * number
            world.add("usage", locomotive=name, read_at=day(number), engine_hours=hours)
        for number in (20, 60) if name != "E" else (20,):
            cells = {"severity": "in-service", "action": "replaced", "locomotive": name}
            world.finding(day(number), **cells)
    return world


def test_lowest_share_first_and_said() -> None:
    found = answer(reader_of(many()), "ages", component="injector")
    # Of position 1: five lives of 200 h failed, four of 400 h failed, four of 400 h and one of
    # 800 h running; of position 2 five of 1000 h running: 19 lives.
    # beyond 200 h: 14/19; at 400 h 14 at risk: 14/19 x 10/14 = 10/19, from there on no failure
    table = found.table
    assert table["left_share"].tolist() == pytest.approx([10 / 19] * 10)
    # equal shares: the oldest first
    assert table["age"].tolist() == [1000] * 5 + [800] + [400] * 4
    assert found.reading.key == "ages.oldest_hours"
    assert found.reading.values["locomotive"] == "A"
    assert found.reading.values["percent"] == pytest.approx(1000 / 19)
    assert (found.basis.events, found.basis.censored) == (9, 10)


def test_one_locomotive_is_compared_with_all_of_its_class() -> None:
    table = injectors(many(), locomotive="E")
    assert table["age"].tolist() == [800, 1000]
    assert table["left_share"].tolist() == pytest.approx([10 / 19] * 2)


def test_unknown_start_is_at_least_what_was_seen() -> None:
    world = railway(in_service_from="2010-01-01")
    found = answer(reader_of(world), "ages", component="injector")
    assert not found.table["start_known"].any()
    assert sorted(found.table["age"]) == [500, 500, 1000, 1000]
    assert found.notes[0].key == "ages.at_least"
    assert found.notes[0].values["positions"] == 4


def test_until_moves_the_cut_back() -> None:
    table = injectors(three_failures(), until=day(40))
    # 5A position 1 renewed on day 20, its failure of day 60 is not known yet
    assert table["age"].tolist() == [200, 400, 400, 100]
    assert table["since"].tolist() == [pd.Timestamp(day(n)) for n in (20, 0, 0, 30)]


def test_planned_work_is_the_last_action_and_begins_a_life() -> None:
    world = three_failures().work(day(80), position="1-2")
    table = injectors(world.finding(day(90), "worn", action="cleaned"), locomotive="5A")
    assert table["age"].tolist() == [200, 200]
    assert table["last_action"].tolist() == ["cleaned", "replaced"]


def test_out_of_service_has_no_life_in_progress() -> None:
    world = railway(in_service_to=day(50))
    found = answer(reader_of(world), "ages")
    assert found.table.empty
    assert found.reading.key == "ages.none"


def test_renewed_at_the_last_look_is_left_out_and_told() -> None:
    world = railway().finding(day(100), severity="in-service", action="replaced")
    found = answer(reader_of(world), "ages", component="injector", locomotive="5A")
    assert found.table["position"].tolist() == [2]
    assert [note.key for note in found.notes] == ["ages.just_ended"]


def test_no_counter_no_age() -> None:
    world = railway()
    world.rows["usage"] = [row for row in world.rows["usage"] if row["locomotive"] == "6B"]
    found = answer(reader_of(world), "ages", component="injector", locomotive="5A")
    assert found.table["age"].isna().all()
    assert "ages.no_clock" in [note.key for note in found.notes]
    assert answer(reader_of(world), "ages", locomotive="5A", clock="days").table["age"].max() == 100


def test_some_of_the_defects_give_no_share() -> None:
    found = answer(reader_of(many()), "ages", component="injector", defect="leaking")
    assert found.table["left_share"].isna().all()
    assert "survival.kinds_compete" in [note.key for note in found.notes]


def test_share_beyond_an_age_is_told_where_the_curve_is_drawn() -> None:
    # 10 lives fail at 1, 2, ..., 10: the share beyond a is 1 - a/10 (by hand); the curve ends where
    # fewer than 5 are at risk, just after 6
    curve = kaplan_meier([0.0] * 10, range(1, 11), [True] * 10)
    share = share_beyond(curve, pd.Series([0.5, 1.0, 5.5, 6.0, 6.5, math.nan]).to_numpy())
    assert share.tolist() == pytest.approx([1, 0.9, 0.5, 0.4, math.nan, math.nan], nan_ok=True)


def test_nothing_on_record_is_said() -> None:
    found = answer(reader_of(World()), "ages")
    assert list(found.table) == list(COLUMNS)
    assert found.table.empty
    assert found.reading.key == "ages.none"
