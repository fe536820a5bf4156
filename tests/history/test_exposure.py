"""Worked examples, by hand, of METHODS 0: exposure, gaps, counters, records' begin and end.

Oracle: closed form by hand, written beside each table of rows.
"""

from __future__ import annotations

import pandas as pd
import pytest

from analytics.catalogue.load import load_text
from analytics.history import clock_at, rebuild
from tests.history.world import World


def days_at_risk(world: World) -> float:
    made = world.table("exposure")
    return float(((made["to_at"] - made["from_at"]).dt.total_seconds() / 86400).sum())


def stretches(world: World) -> list[tuple[str, str]]:
    made = world.table("exposure").sort_values("from_at")
    return [(f"{r.from_at:%m-%d}", f"{r.to_at:%m-%d}") for r in made.itertuples()]


def test_exposure_is_cut_at_months_and_adds_up_to_the_record() -> None:
    world = World().locomotive(begins="2024-01-10").daily("2024-01-10", "2024-03-05")
    assert stretches(world) == [("01-10", "02-01"), ("02-01", "03-01"), ("03-01", "03-05")]
    assert world.table("exposure")["month"].dt.strftime("%Y-%m").tolist() == [
        "2024-01", "2024-02", "2024-03",
    ]  # fmt: skip


def test_gap_of_more_than_14_days_is_not_observed() -> None:
    # the gap from 31 Jan to 15 Feb is 15 days; a gap of 14 days stays at risk
    world = World().locomotive().daily("2024-01-01", "2024-01-31").daily("2024-02-15", "2024-02-20")
    assert stretches(world) == [("01-01", "01-31"), ("02-15", "02-20")]
    world = World().locomotive().daily("2024-01-01", "2024-01-31").daily("2024-02-14", "2024-02-20")
    assert days_at_risk(world) == 50


def test_gap_is_measured_against_the_locomotives_own_rhythm() -> None:
    # inspected every 10 days: 4 x 10 = 40 days may pass, 41 may not
    days = pd.date_range("2024-01-01", "2024-04-30", freq="10D").strftime("%Y-%m-%d")
    end = pd.Timestamp(days[-1])
    for wait, observed in ((40, True), (41, False)):
        later = f"{end + pd.Timedelta(days=wait):%Y-%m-%d}"
        world = World().locomotive().inspections(*days, later)
        expected = 120 + (wait if observed else 0)
        assert days_at_risk(world) == expected


def test_event_inside_a_gap_is_not_observed_and_at_its_end_is() -> None:
    world = World().locomotive().daily("2024-01-01", "2024-01-31").daily("2024-03-01", "2024-03-31")
    world.finding("2024-02-10", action="cleaned").finding("2024-03-01", action="cleaned")
    made = world.table("episode").sort_values("found_at")
    assert made["observed"].tolist() == [False, True]


def test_out_of_use_is_not_at_risk() -> None:
    world = World().locomotive().daily("2024-01-01", "2024-01-31").daily("2024-03-01", "2024-03-31")
    world.add(
        "out_of_use", locomotive="5A", from_at="2024-01-31", to_at="2024-03-01", reason="stored"
    )
    assert stretches(world) == [("01-01", "01-31"), ("03-01", "03-31")]


def test_out_of_use_without_end_lasts_to_the_end_of_the_record() -> None:
    world = World().locomotive().daily("2024-01-01", "2024-01-31")
    world.add("out_of_use", locomotive="5A", from_at="2024-01-21", to_at=None, reason="stored")
    assert days_at_risk(world) == 20


def test_recurrence_after_a_closing_is_followed_to_the_next_pause_or_planned_renewal() -> None:
    world = World().locomotive().daily("2024-01-01", "2024-03-31")
    world.finding("2024-01-05", action="cleaned").finding("2024-02-05", action="cleaned")
    world.finding("2024-03-05", action="cleaned").work("2024-01-20")
    world.add("out_of_use", locomotive="5A", from_at="2024-02-20", to_at="2024-03-01")
    made = world.table("closing").sort_values("closed_at")
    assert made["censored_at"].dt.strftime("%m-%d").tolist() == ["01-20", "02-20", "03-31"]


def test_records_begin_at_the_earliest_row_that_tells_of_findings() -> None:
    # the usage row of 1 Jan and the register alone tell of no finding
    world = World().add("locomotives", locomotive="5A", **{"class": "Alder"})
    world.add("usage", locomotive="5A", read_at="2024-01-01", engine_hours=100.0)
    world.finding("2024-01-10", action="cleaned").daily("2024-01-20", "2024-01-25")
    record = world.table("record").iloc[0]
    assert (record["begins_at"], record["ends_at"]) == (
        pd.Timestamp("2024-01-10"), pd.Timestamp("2024-01-25"),
    )  # fmt: skip
    assert not record["first_life_known"]


def test_data_cut_is_the_last_row_of_findings_or_what_was_declared() -> None:
    # usage up to 1 March does not move the cut; a declaration does
    world = World().locomotive().daily("2024-01-01", "2024-01-25")
    world.add("usage", locomotive="5A", read_at="2024-03-01", engine_hours=100.0)
    assert world.table("record")["ends_at"].tolist() == [pd.Timestamp("2024-01-25")]
    world.add("coverage", locomotive="5A", covered_until="2024-02-05")
    assert world.table("record")["ends_at"].tolist() == [pd.Timestamp("2024-02-05")]


def test_depot_handing_in_late_holds_back_only_its_own_locomotives() -> None:
    world = World().locomotive("5A", depot="North").locomotive("6", depot="South")
    world.daily("2024-01-01", "2024-03-31").daily("2024-01-01", "2024-01-31", locomotive="6")
    ends = world.table("record").set_index("locomotive")["ends_at"].dt.strftime("%m-%d").to_dict()
    assert ends == {"5A": "03-31", "6": "01-31"}


def test_exposure_follows_the_depot_of_the_latest_inspection() -> None:
    world = World().locomotive(depot="North").daily("2024-01-01", "2024-01-10")
    world.daily("2024-01-11", "2024-01-20", depot="South")
    world.finding("2024-01-11", action="cleaned").finding("2024-01-10", "worn", action="cleaned")
    made = world.table("exposure")
    spans = {r.depot: (r.to_at - r.from_at).days for r in made.itertuples()}
    assert spans == {"North": 10, "South": 9}
    found = world.table("episode").sort_values("found_at")
    assert found["depot"].tolist() == ["North", "South"]


def with_usage(*readings: tuple[str, float], until: str = "2024-06-30") -> World:
    world = World().locomotive().daily("2024-01-01", until)
    for read_at, hours in readings:
        world.add("usage", locomotive="5A", read_at=read_at, engine_hours=hours)
    return world


def hours_at(world: World, *instants: str) -> list[float | None]:
    asked = pd.DataFrame({"locomotive": "5A", "at": pd.to_datetime(list(instants))})
    made = clock_at(world.connect(), asked).sort_values("at")
    return [None if pd.isna(v) else v / 10 for v in made["hours"]]


def test_counter_is_linear_between_readings_and_runs_on_for_31_days() -> None:
    # 10 h a day from 1 to 31 Jan, then 31 days at the median rate, then nothing
    world = with_usage(("2024-01-01", 1000), ("2024-01-11", 1100), ("2024-01-31", 1300))
    assert hours_at(world, "2023-12-31", "2024-01-06", "2024-01-31", "2024-02-10", "2024-03-02",
        "2024-03-03") == [None, 1050, 1300, 1400, 1610, None]  # fmt: skip


def test_readings_more_than_62_days_apart_leave_a_hole() -> None:
    world = with_usage(("2024-01-01", 1000), ("2024-03-03", 1620), ("2024-05-05", 2250))
    assert hours_at(world, "2024-02-01", "2024-03-03", "2024-04-01", "2024-05-05") == [
        1310, 1620, None, 2250,
    ]  # fmt: skip
    made = world.table("exposure", "to_hours IS NOT NULL")
    # known: 1 Jan to 3 March (620 h) and 31 days at 10 h beyond 5 May (10 h a day, rounded)
    assert (made["to_hours"] - made["from_hours"]).sum() / 10 == pytest.approx(620 + 310)


def test_counter_reset_carries_its_offset() -> None:
    # a new counter between 11 and 12 Jan: 1100, then 8; 200 h after it 208
    world = with_usage(
        ("2024-01-01", 1000), ("2024-01-11", 1100), ("2024-01-12", 8), ("2024-02-01", 208)
    )
    assert hours_at(world, "2024-01-01", "2024-01-11", "2024-01-12", "2024-02-01") == [
        1000, 1100, 1108, 1308,
    ]  # fmt: skip
    assert world.table("counter", "reset")["moment"].tolist() == [pd.Timestamp("2024-01-12")]


def test_single_wild_reading_is_dropped() -> None:
    spike = with_usage(("2024-01-01", 1000), ("2024-01-11", 11000), ("2024-01-21", 1200))
    dip = with_usage(("2024-01-01", 1000), ("2024-01-11", 110), ("2024-01-21", 1200))
    for world in (spike, dip):
        assert hours_at(world, "2024-01-11", "2024-01-21") == [1100, 1200]


def test_clock_of_a_life_counts_from_its_start() -> None:
    world = with_usage(("2024-01-01", 1000), ("2024-01-31", 1300), until="2024-01-31")
    world.finding("2024-01-11", action="replaced", severity="in-service")
    life = world.table("life", "failed", counting="any").iloc[0]
    assert (life["exit_hours"] - life["start_hours"]) / 10 == 100
    assert (life["entry_hours"] - life["start_hours"]) == 0


def test_rebuilding_one_locomotive_leaves_the_others_and_equals_a_whole_rebuild() -> None:
    world = World().locomotive("5A").locomotive("6")
    world.daily("2024-01-01", "2024-03-31").daily("2024-01-01", "2024-03-31", locomotive="6")
    world.finding("2024-01-11", action="replaced").finding(
        "2024-02-11", locomotive="6", action="cleaned"
    )
    connection = world.connect()
    tables = ("record", "exposure", "episode", "closing", "life")
    before = {t: connection.execute(f"FROM history.{t} ORDER BY ALL").df() for t in tables}
    rebuild(connection, load_text({"catalogue.toml": world.catalogue}), locomotives=["6"])
    for table in tables:
        after = connection.execute(f"FROM history.{table} ORDER BY ALL").df()
        pd.testing.assert_frame_equal(before[table], after)
