"""The back-test: nothing of later reaches a forecast, and what came is counted as it should be.

Oracles: a store that was never given the later rows; closed form by hand; known truth.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analytics.answer import say
from analytics.answers.backtest import CALIBRATION_COLUMNS, COLUMNS
from analytics.answers.ground import lay_ground
from analytics.answers.known_at import known_at
from analytics.answers.look_lines import read_lines
from analytics.answers.outlook import look_ahead
from analytics.answers.trials import choose_cuts, run_trials
from analytics.scope import Scope
from tests.answers.hand import answer, day, railway, reader_of
from tests.history.world import World

CUT = datetime(2024, 2, 19, 23, 59, 59)  # the end of day 49
INJECTOR = Scope.of(component="injector")


def busy() -> World:
    """Add findings of every kind: closed before, closed after, put off, after; work; readings."""
    world = railway()
    for name in ("5A", "6B"):
        world.add("usage", locomotive=name, read_at=day(45), engine_hours=1450)
    world.finding(day(10), action="replaced", severity="rectify", cost=50.0)
    world.finding(day(20), action="cleaned", severity="rectify", position="2")
    world.finding(day(25), action="replaced", severity="rectify", locomotive="6B")
    world.finding(day(30), "worn", severity="rectify", position="2", action="put-off")
    world.finding(day(35), "worn", severity="rectify", locomotive="6B", position=None,
                  action="looked-at")  # fmt: skip
    world.finding(day(45), action="replaced", severity="withhold", closed_at=day(52), cost=90.0,
                  down_hours=30.0)  # fmt: skip
    return world.work(day(40), position="2", locomotive="6B")


def later(world: World) -> World:
    """Add rows after the cut."""
    world.finding(day(55), position="2", action="replaced", severity="in-service")
    world.finding(day(70), action="cleaned", severity="rectify")
    world.work(day(60), position="1")
    loan = {"from_at": day(80), "to_at": day(90), "reason": "loan"}
    return world.add("out_of_use", locomotive="5A", **loan)


def as_of_the_cut(world: World) -> World:
    """Keep what was known: a second reading of the rule, row by row in plain Python."""
    moments = {"findings": "found_at", "inspections": "inspected_at", "usage": "read_at",
               "work": "done_at", "out_of_use": "from_at"}  # fmt: skip
    found = World(catalogue=world.catalogue)
    for table, rows in world.rows.items():
        for row in rows:
            kept: dict[str, Any] = dict(row)
            moment = moments.get(table)
            if moment and pd.Timestamp(row[moment]) > CUT:
                continue
            if table == "findings" and pd.Timestamp(row.get("closed_at") or CUT) > CUT:
                for name in ("closed_at", "closed_timed", "action", "cost", "down_hours"):
                    kept[name] = None
            found.rows.setdefault(table, []).append(kept)
    return found


@pytest.mark.parametrize("table", ["record", "episode", "closing", "exposure", "life", "counter"])
def test_what_was_known_is_the_history_of_a_store_never_given_more(table: str) -> None:
    reader = reader_of(later(busy()))
    with known_at(reader, CUT) as past:
        found = past.cursor.execute(f"FROM history.{table} ORDER BY ALL").df()
    expected = as_of_the_cut(later(busy())).table(table)
    pd.testing.assert_frame_equal(found, expected)
    assert len(found)


def test_nothing_found_after_the_cut_changes_a_forecast() -> None:
    told = []
    for world in (busy(), later(busy())):
        with known_at(reader_of(world), CUT) as past:
            told.append((look_ahead(past, Scope(), 28).frame, read_lines(past, Scope())))
    pd.testing.assert_frame_equal(told[0][0], told[1][0])
    pd.testing.assert_frame_equal(told[0][1], told[1][1])
    # and what was found before does
    assert told[0][0]["expected"].gt(0).any()
    with known_at(reader_of(busy().finding(day(41), action="cleaned")), CUT) as past:
        other = look_ahead(past, Scope(), 28).frame
    assert not other["expected"].equals(told[0][0]["expected"])


def test_what_was_closed_later_was_open_then() -> None:
    with known_at(reader_of(later(busy())), CUT) as past:
        still = answer(past, "findings", open=True).table
    assert set(still["found"].dt.strftime("%Y-%m-%d")) == {day(30), day(45)}
    assert still["cost"].isna().all()


def test_the_first_new_episode_counts_and_work_ends_the_watch() -> None:
    world = later(busy())
    trials = run_trials(reader_of(world), INJECTOR, (CUT,), 28)
    rows = trials.positions.set_index(["locomotive", "position"])
    # 5A 2: found on day 55; 5A 1: the work of day 60 ends it, before day 70: followed from the end
    # of day 49 for 10 days and a second of 28
    assert rows.loc[("5A", 2), "came"] == 1.0
    assert rows.loc[("5A", 2), "weight"] == 1.0
    assert rows.loc[("5A", 1), "came"] == 0.0
    assert rows.loc[("5A", 1), "weight"] == pytest.approx(10 / 28, abs=1e-5)
    # 6B's record ends on day 50, a second after the cut
    assert rows.loc[("6B", 1), "weight"] < 1e-5
    assert trials.locomotives["locomotive"].tolist() == ["5A"]


def test_what_a_list_led_to_is_kept_out_of_what_the_lists_caught() -> None:
    # found within 7 days of the cut, on day 55, a day of an inspection with the list: 5A 1 at it,
    # 5A 2 in service
    world = railway()
    world.rows["inspections"] = [
        row | ({"looked_closer": True} if row["inspected_at"] == pd.Timestamp(day(55)) else {})
        for row in world.rows["inspections"]
    ]
    world.finding(f"{day(55)} 07:30", position="1", action="cleaned", severity="rectify")
    world.finding(day(55), position="2", action="cleaned", severity="in-service")
    reader = reader_of(world)
    trials = run_trials(reader, INJECTOR, (CUT,), 28)
    rows = trials.positions.set_index(["locomotive", "position"])
    assert rows.loc["5A", "by_list"].tolist() == [True, False]
    assert rows.loc["5A", "came_soon"].tolist() == [False, True]
    assert rows.loc["5A", "came"].tolist() == [1.0, 1.0]  # what the chances are held against
    # corrected: the list was not in hand
    reader.cursor.execute("UPDATE facts.inspections SET looked_closer = false")
    again = run_trials(reader, INJECTOR, (CUT,), 28).positions
    assert not again["by_list"].any()
    assert again["came_soon"].sum() == 2


def test_the_note_counts_what_lists_led_to() -> None:
    world = drawn(3, every=1)
    for row in world.rows["inspections"]:
        row["looked_closer"] = True
    for row in world.rows["findings"][::2]:
        row["severity"] = "rectify"
    found = answer(reader_of(world), "backtest", cuts=2, component="injector")
    note = next(note for note in found.notes if note.key == "backtest.by_list")
    assert note.values["defects"] > 0
    lists = found.table[found.table["measure"] == "list_share"]
    plain = drawn(3, every=1)
    for row in plain.rows["findings"][::2]:
        row["severity"] = "rectify"
    other = answer(reader_of(plain), "backtest", cuts=2, component="injector")
    assert "backtest.by_list" not in [note.key for note in other.notes]
    before = other.table[other.table["measure"] == "list_share"]
    assert lists["outcomes"].iloc[0] == before["outcomes"].iloc[0] - note.values["defects"]
    same = ["catch_top_5_percent", "brier", "log_score"]
    first, second = (
        each.table[each.table["measure"].isin(same)].reset_index(drop=True)
        for each in (found, other)
    )
    pd.testing.assert_frame_equal(first, second)


def test_cuts_lie_in_the_second_half_a_horizon_apart() -> None:
    ground = lay_ground(reader_of(railway()), Scope())
    cuts = choose_cuts(ground, 10, 12)
    # days 50 to 90 of 100: five cuts 10 days apart, each at the last second of the day before
    assert len(cuts) == 5
    assert cuts[0] == datetime(2024, 1, 1) + timedelta(days=50, seconds=-1)
    assert min(np.diff(cuts)) >= timedelta(days=10)
    assert choose_cuts(ground, 60, 12) == ()


def drawn(seed: int, locomotives: int = 12, days: int = 500, every: int = 5) -> World:
    """Draw locomotives that fail at random, the first two three times as often.

    They are inspected every so many days.
    """
    rng = np.random.default_rng(seed)
    world = World()
    for number in range(locomotives):
        name = f"{number:02d}"
        world.locomotive(name)
        for seen in range(0, days + 1, every):
            world.inspections(day(seen), locomotive=name, engine_hours=10.0 * seen)
        for place in ("1", "2"):
            for found in np.flatnonzero(rng.random(days) < 0.02 * (3 if number < 2 else 1)):
                world.finding(
                    day(int(found)), locomotive=name, position=place, action="cleaned",
                    severity="in-service", closed_at=day(int(found)),
                )  # fmt: skip
    return world


def test_rows_and_readings_of_a_record_drawn_at_random() -> None:
    reader = reader_of(drawn(3))
    found = answer(reader, "backtest", cuts=2, horizon="28d", component="injector")
    assert tuple(found.table.columns) == COLUMNS
    own = found.table[found.table["against"] == ""].set_index(["method", "measure"])["value"]
    # chance catches the share it looks at: 2 of 24 positions are the top 5 %, rounded up
    assert own["chance", "catch_top_5_percent"] == pytest.approx(2 / 24)
    # 10 lines hold both positions of every locomotive
    assert own["forecast", "catch_10_a_locomotive"] == 1.0
    # the two bad locomotives hold 6 / 16 of the failures but 1 / 6 of the positions
    assert own["forecast", "catch_top_5_percent"] > own["chance", "catch_top_5_percent"]
    leads = found.table[found.table["against"] != ""]
    inside = (leads["lower"] <= leads["value"]) & (leads["value"] <= leads["upper"])
    assert inside[leads["lower"].notna()].all()
    assert say(found.reading).startswith("At 2 past dates")
    tenths = answer(reader, "backtest", cuts=1, calibration=True, component="injector")
    assert tuple(tenths.table.columns) == CALIBRATION_COLUMNS
    assert tenths.table["n"].sum() == 24
    assert tenths.table["predicted"].is_monotonic_increasing


@pytest.mark.parametrize("world", [World(), World().locomotive().daily(day(0), day(20))])
def test_a_record_too_short_gives_a_sentence(world: World) -> None:
    found = answer(reader_of(world), "backtest")
    assert (found.table.empty, found.reading.key) == (True, "backtest.none")


def test_a_record_without_failures_gives_a_sentence() -> None:
    found = answer(reader_of(railway()), "backtest", horizon="10d", cuts=1)
    assert (found.table.empty, found.reading.key) == (True, "backtest.nothing")
