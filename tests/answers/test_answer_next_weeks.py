"""Forecasts of a railway written by hand. Oracle: closed form by hand.

`three_failures`: 5A 100 days, 6B 50 days, two injectors each, 10 h a day; all lives begin at 0.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analytics.answer import say
from analytics.answers.kinds import Kinds
from analytics.answers.next_weeks import COLUMNS, POSITION_COLUMNS
from analytics.answers.risk import Risk
from analytics.errors import ScopeError
from analytics.estimate.shrinkage import shrunk_ratios
from tests.answers.hand import answer, day, railway, reader_of, three_failures
from tests.history.world import World


def five_failures() -> World:
    """Add two failures to the three, all of them renewed at once."""
    exact = {"severity": "in-service", "action": "replaced"}
    return three_failures().finding(day(80), **exact).finding(day(90), position="2", **exact)


def test_chance_and_expected_follow_the_fitted_intensity_by_hand() -> None:
    table = answer(
        reader_of(five_failures()), "next-weeks", component="injector", positions=True
    ).table
    assert tuple(table.columns) == POSITION_COLUMNS
    # the power law by maximum likelihood, ages at failure 200, 400, 200, 900, 300; lives:
    lives = [
        (200, 1),
        (400, 1),
        (200, 1),
        (200, 0),
        (900, 1),
        (100, 0),
        (500, 0),
        (300, 1),
        (200, 0),
    ]
    shape, scale = weibull(lives)
    ratio = ratio_of_5a(shape, scale, lives)
    row = table[(table["locomotive"] == "5A") & (table["position"] == 1)].iloc[0]
    assert (row["age"], row["use"], row["clock"]) == (200.0, 280.0, "hours")
    due = ((200 + 280) / scale) ** shape - (200 / scale) ** shape
    assert row["ratio"] == pytest.approx(ratio, rel=1e-6)
    assert row["expected"] == pytest.approx(ratio * due, rel=1e-5)
    assert row["chance"] == pytest.approx(1 - np.exp(-ratio * due), rel=1e-5)
    new = ratio * (280 / scale) ** shape
    assert row["expected_if_done"] == pytest.approx(min(new, ratio * due), rel=1e-5)


def weibull(lives: list[tuple[int, int]]) -> tuple[float, float]:
    """Maximise the Weibull likelihood of (age, failed) on a grid refined by hand."""
    from scipy.optimize import brentq

    age = np.array([a for a, _ in lives], dtype=float)
    failed = np.array([f for _, f in lives], dtype=float)

    def slope(k: float) -> float:
        power = age**k
        mean = (power * np.log(age)).sum() / power.sum()
        return float(failed.sum() / k + (failed * np.log(age)).sum() - failed.sum() * mean)

    shape = float(brentq(slope, 0.1, 20, xtol=1e-13))
    return shape, float(((age**shape).sum() / failed.sum()) ** (1 / shape))


def ratio_of_5a(shape: float, scale: float, lives: list[tuple[int, int]]) -> float:
    expected = [sum((a / scale) ** shape for a, _ in lives[i:j]) for i, j in ((0, 0), (0, 9))]
    of_6b = sum((a / scale) ** shape for a in (500, 300, 200))
    shrunk = shrunk_ratios([4, 1], [expected[1] - of_6b, of_6b])
    return float(shrunk.ratio[0] / shrunk.mean)


def test_rows_by_locomotive_add_up_those_by_position() -> None:
    reader = reader_of(five_failures())
    by_place = answer(reader, "next-weeks", component="injector", positions=True).table
    found = answer(reader, "next-weeks", component="injector")
    assert tuple(found.table.columns) == COLUMNS
    sums = by_place.groupby("locomotive")[["expected", "expected_if_done"]].sum()
    table = found.table.set_index("locomotive")
    assert table["expected"].to_dict() == pytest.approx(sums["expected"].to_dict())
    # two positions each: both are among the three worst
    assert table["expected_if_done"].to_dict() == pytest.approx(sums["expected_if_done"].to_dict())
    assert (table["lower"] <= table["upper"]).all()
    assert "injector" in table["reason"]["5A"]


def test_days_and_cost_with_and_without_the_job() -> None:
    # by hand: 30 h down and 200 of cost over the 5 failures, of which 2 have a cost written
    world = five_failures()
    for finding, down, cost in zip(
        world.rows["findings"], (30, 0, 0, 0, 0), (120, 80), strict=False
    ):
        finding.update(down_hours=float(down), cost=float(cost))
    reader = reader_of(world)
    places = answer(reader, "next-weeks", component="injector", positions=True).table
    assert (places["expected_if_done"] < places["expected"]).any()
    for failures, days, cost in (
        ("expected", "lost_days", "cost"),
        ("expected_if_done", "lost_days_if_done", "cost_if_done"),
    ):
        assert places[days].tolist() == pytest.approx((places[failures] * 30 / 24 / 5).tolist())
        assert places[cost].tolist() == pytest.approx((places[failures] * 100).tolist())
    table = answer(reader, "next-weeks", component="injector").table.set_index("locomotive")
    sums = places.groupby("locomotive").sum(numeric_only=True)
    for name in ("lost_days", "lost_days_if_done", "cost", "cost_if_done"):
        assert table[name].to_dict() == pytest.approx(sums[name].to_dict())


def with_filters(world: World, *days_of_failure: int) -> World:
    world.catalogue = world.catalogue.replace("injector = 2", "injector = 2, filter = 1")
    for number in days_of_failure:
        world.finding(
            day(number), "loaded-up", component="filter", action="cleaned", severity="rectify"
        )
    return world


def test_a_kind_with_fewer_than_five_failures_has_no_percentage() -> None:
    world = with_filters(three_failures(), 10, 40)
    table = answer(reader_of(world), "next-weeks", component="injector", positions=True).table
    assert table["chance"].isna().all()
    assert (table["expected"] > 0).all()
    assert table["note"].str.contains("too few").all()


@pytest.mark.parametrize("positions", [False, True])
def test_fewer_than_five_failures_in_all_are_too_short_a_record(positions: bool) -> None:
    found = answer(reader_of(three_failures()), "next-weeks", positions=positions)
    assert found.reading.key == "outlook.too_short"
    assert found.reading.values["failures"] == 3
    figures = {"expected", "lower", "upper", "chance", "expected_if_done", "lost_days", "cost",
               "lost_days_if_done", "cost_if_done"}  # fmt: skip
    assert len(found.table)
    assert found.table[sorted(figures & set(found.table))].isna().all(axis=None)


def young() -> World:
    """Two locomotives over three weeks, 10 h a day: five injector failures and three of filters."""
    world = World()
    for name in ("5A", "6B"):
        world.locomotive(name).daily(day(0), day(21), locomotive=name)
        for number in (0, 10, 21):
            world.add("usage", locomotive=name, read_at=day(number), engine_hours=10 * number)
    for number, name in ((4, "5A"), (8, "6B"), (9, "5A"), (14, "5A"), (18, "5A")):
        world.finding(day(number), locomotive=name, severity="in-service", action="replaced")
    return with_filters(world, 6, 12, 15)


def test_a_young_record_looks_ahead_on_what_was_read_and_names_no_rare_kind() -> None:
    reader = reader_of(young())
    places = answer(reader, "next-weeks", positions=True).table
    # nobody has 30 days: each its own 10 h a day
    assert places[places["clock"] == "hours"]["use"].tolist() == pytest.approx([280.0] * 4)
    found = answer(reader, "next-weeks")
    assert found.reading.key == "outlook.locomotives"
    assert (found.table["upper"] > 0).all()
    assert found.table["reason"].str.contains("injector").all()
    assert not found.table["reason"].str.contains("filter").any()


def test_equal_positions_are_no_reason() -> None:
    # renewals before the record are not known: the six injectors all have one rate
    world = railway(in_service_from="2010-01-01")
    world.catalogue = world.catalogue.replace("injector = 2", "injector = 6")
    for number in (10, 20, 30, 40, 60):
        world.finding(day(number), severity="in-service", action="cleaned")
    found = answer(reader_of(world), "next-weeks", component="injector")
    assert found.table["reason"].tolist() == ["", ""]
    assert found.table["expected_if_done"].tolist() == found.table["expected"].tolist()
    assert found.table["expected"].gt(0).all()
    assert "above all" not in say(found.reading)


def test_the_horizon_of_a_chance_is_said() -> None:
    found = answer(reader_of(five_failures()), "next-weeks", positions=True, horizon="10d")
    assert any("within the next 10 days" in say(note) for note in found.notes)
    assert any("as they were lately" in say(note) for note in found.notes)


def test_a_filter_on_locomotives_changes_no_figure() -> None:
    reader = reader_of(five_failures())
    whole = answer(reader, "next-weeks", positions=True).table
    one = answer(reader, "next-weeks", positions=True, locomotive="6B").table
    same = whole[whole["locomotive"] == "6B"].reset_index(drop=True)
    pd.testing.assert_frame_equal(one.drop(columns="rank"), same.drop(columns="rank"))


def test_what_stands_is_expected_to_run_nothing() -> None:
    world = five_failures().add("out_of_use", locomotive="6B", from_at=day(49), reason="stored")
    table = answer(reader_of(world), "next-weeks", component="injector").table
    stood = table.set_index("locomotive").loc["6B"]
    assert (stood["expected"], stood["upper"]) == (0.0, 0.0)
    assert "out of use" in stood["note"]


def test_use_is_the_median_of_the_days_read_and_of_the_class_where_few() -> None:
    # 6B is read 10 h a day over 50 days; a third locomotive over 10 days only, at 2 h a day
    world = five_failures().locomotive("7C", depot="North")
    for number in range(0, 11, 5):
        world.inspections(day(number), locomotive="7C", engine_hours=2 * number)
    table = answer(
        reader_of(world), "next-weeks", component="injector", positions=True, horizon="10d"
    ).table
    assert table.groupby("locomotive")["use"].first().to_dict() == pytest.approx(
        {"5A": 100.0, "6B": 100.0, "7C": 100.0}
    )


def test_failures_without_a_position_raise_the_expected_by_their_share() -> None:
    # by hand: 2 failures in 100 days of unknown age; 2 more without a position: the share stated is
    # a half, so that 10 days let expect 10 x 2 / 100 / 0.5 = 0.4
    frame = pd.DataFrame(
        {
            "class": "Alder", "component": "injector", "locomotive": "5A", "start": np.nan,
            "stop": np.nan, "known": False, "length": [40.0, 60.0], "events": [1, 1],
        }
    )  # fmt: skip
    missing = pd.DataFrame({"class": ["Alder"] * 2, "component": ["injector"] * 2})
    for unplaced, expected in ((missing.iloc[:0], 0.2), (missing, 0.4)):
        kinds, due = Kinds.of(Risk(frame, unplaced, {}))
        assert due == pytest.approx([0.8, 1.2])
        one = np.zeros(1, dtype=np.int64)
        found = kinds.usual(one, np.array([np.nan]), np.array([10.0]), np.array([False]))
        assert found == pytest.approx([expected])


@pytest.mark.parametrize("horizon", ["0d", "-5d", "soon", "400d", ""])
def test_a_horizon_that_is_none_is_refused_in_a_sentence(horizon: str) -> None:
    with pytest.raises(ScopeError, match="a horizon must read like 28d"):
        answer(reader_of(railway()), "next-weeks", horizon=horizon)


@pytest.mark.parametrize("positions", [False, True])
def test_no_history_and_no_failures_give_sentences(positions: bool) -> None:
    assert answer(reader_of(World()), "next-weeks", positions=positions).table.empty
    found = answer(reader_of(railway()), "next-weeks", positions=positions)
    assert found.reading.key == "outlook.too_short"
    assert found.table["expected"].isna().all()


def test_one_locomotive_is_drawn_to_nothing_but_told() -> None:
    world = World().locomotive().daily(day(0), day(60))
    for number in range(5):
        world.finding(day(8 + 10 * number), component="filter", position="1", action="replaced",
                      severity="rectify", defect="loaded-up")  # fmt: skip
    world.catalogue = world.catalogue.replace("injector = 2", "injector = 2, filter = 1")
    table = answer(reader_of(world), "next-weeks", component="filter", positions=True).table
    assert table["chance"].between(0, 1).all()
