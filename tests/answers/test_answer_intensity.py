"""Defect intensity of a railway written by hand: ages, what is at risk, what is left out.

Oracle: closed form by hand. `railway`: 5A 100 days, 6B 50 days, two injectors each, 10 h a day.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analytics.answers.ground import lay_failures, lay_ground
from analytics.answers.intensity import COLUMNS
from analytics.answers.risk import Risk, read_risk
from analytics.errors import ScopeError
from analytics.scope import Scope
from tests.answers.hand import answer, day, railway, reader_of, three_failures
from tests.history.world import World


def risk_of(world: World, **asked: object) -> Risk:
    first_within = asked.pop("first_within", None)
    reader = reader_of(world)
    ground = lay_ground(reader, Scope.of(component="injector", **asked))
    lay_failures(ground)
    return read_risk(ground, first_within=first_within)  # type: ignore[arg-type]


def stretches(risk: Risk) -> list[tuple[object, ...]]:
    """Return (locomotive, position, start, stop, events), ages in whole clock units."""
    frame = risk.aged.assign(start=risk.aged["start"].round(6), stop=risk.aged["stop"].round(6))
    columns = ["locomotive", "position", "start", "stop", "events"]
    return list(frame[columns].itertuples(index=False, name=None))


def test_renewals_set_the_age_back_and_restores_do_not() -> None:
    world = railway().finding(day(20), action="cleaned", severity="in-service")
    world.finding(day(40), "worn", action="replaced", severity="in-service").work(day(70))
    assert stretches(risk_of(world, clock="hours", locomotive="5A")) == [
        ("5A", 1, 0.0, 200.0, 1),
        ("5A", 1, 200.0, 400.0, 1),
        ("5A", 1, 0.0, 100.0, 0),  # to the change of depot on day 50
        ("5A", 1, 100.0, 300.0, 0),
        ("5A", 1, 0.0, 300.0, 0),
        ("5A", 2, 0.0, 500.0, 0),
        ("5A", 2, 500.0, 1000.0, 0),
    ]


def test_exposure_and_events_are_those_of_the_rate() -> None:
    # identity: every position's age is known here, so nothing is left out
    risk = risk_of(three_failures(), clock="hours")
    assert risk.frame["length"].sum() == 3000.0
    assert (risk.frame["events"].sum(), risk.left_out, risk.unknown_start) == (3, {}, 0)
    assert risk.aged["length"].to_numpy() == pytest.approx(risk.aged["stop"] - risk.aged["start"])


def test_period_cuts_stretches_and_keeps_ages() -> None:
    risk = risk_of(three_failures(), clock="hours", locomotive="6B", since=day(10), until=day(40))
    assert stretches(risk) == [
        ("6B", 1, 100.0, 400.0, 0),
        ("6B", 2, 100.0, 300.0, 1),
        ("6B", 2, 0.0, 100.0, 0),
    ]


def test_out_of_use_is_no_risk_while_age_in_days_goes_on() -> None:
    world = railway().add("out_of_use", locomotive="6B", from_at=day(10), to_at=day(20))
    world.finding(day(30), locomotive="6B", action="cleaned", severity="rectify")
    risk = risk_of(world, clock="days", locomotive="6B")
    assert [row[2:] for row in stretches(risk)][:3] == [(0, 10, 0), (20, 30, 1), (30, 50, 0)]


def test_unknown_start_and_missing_position_are_counted() -> None:
    world = three_failures(in_service_from="2010-01-01", records_from="2024-01-01")
    world.finding(day(40), position=None, severity="rectify", action="cleaned")
    risk = risk_of(world, clock="hours")
    # the first failure of each of the two positions; that of day 60 comes after the break on day 40
    assert risk.unknown_start == 3
    assert len(risk.unplaced) == 1
    found = answer(reader_of(world), "survival", component="injector", intensity=True)
    assert found.basis.left_out == {"unknown_start": 3, "no_position": 1}


def test_found_between_a_failure_and_its_renewal_has_no_age() -> None:
    world = railway().finding(day(20), action="replaced", closed_at=day(30), severity="rectify")
    world.finding(day(25), "worn", action="cleaned", severity="rectify")
    assert risk_of(world).left_out == {"out_of_window": 1}


def test_first_findings_are_the_heads_of_chains() -> None:
    exact = {"severity": "rectify", "action": "cleaned"}
    world = railway()
    for number, defect in (
        (10, "leaking"),
        (10, "worn"),
        (15, "leaking"),
        (38, "worn"),
        (90, "worn"),
    ):
        world.finding(day(number), defect, **exact)
    # of day 10 one; 15 and 38 follow within 30 days of a closing; 90 does not
    assert risk_of(world, first_within="30d").frame["events"].sum() == 2
    assert risk_of(world, first_within="3d").frame["events"].sum() == 4
    assert risk_of(world).frame["events"].sum() == 5


def test_table_follows_the_contract_and_adds_up() -> None:
    found = answer(reader_of(three_failures()), "survival", component="injector", intensity=True)
    table = found.table
    assert list(table) == list(COLUMNS)
    assert set(table["clock"]) == {"hours"}
    assert (np.diff(table["cumulative"]) > 0).all()
    assert (table["cumulative_lower"] <= table["cumulative"]).all()
    assert (table["cumulative"] <= table["cumulative_upper"]).all()
    # seven lives, five of them reach 300 h and four 400 h; failures at 200, 300 and 400 h
    assert table["age"].iloc[[0, -1]].tolist() == [15.0, 300.0]
    assert table.loc[table["events"] > 0, "age"].tolist() == [210.0, 300.0]
    assert table["at_risk"].iloc[[0, -1]].tolist() == [7, 5]
    # power law from age 0 and lives by hand: the Weibull fit of the same lives
    fit = answer(reader_of(three_failures()), "survival", component="injector", fit=True).table
    weibull = fit[fit["model"] == "weibull"].iloc[0]
    assert table["shape"].iloc[0] == pytest.approx(weibull["shape"], rel=1e-6)
    at_end = (300.0 / weibull["scale"]) ** weibull["shape"]
    assert table["cumulative"].iloc[-1] == pytest.approx(at_end, rel=1e-6)


def test_groups_have_their_rows_and_few_failures_a_note() -> None:
    reader = reader_of(three_failures())
    found = answer(reader, "survival", by=("locomotive",), component="injector", intensity=True)
    assert found.table.groupby("locomotive").size().to_dict() == {"5A": 20, "6B": 20}
    assert set(found.table["model"]) == {"constant"}
    assert set(found.table["note"]) == {"too few failures for a shape: one rate for all ages"}
    with pytest.raises(ScopeError, match="cannot be split by 'month'"):
        answer(reader, "survival", by=("month",), intensity=True)


@pytest.mark.parametrize(
    "world", [World().locomotive(), railway(), railway().finding(day(20), action="replaced")]
)
def test_nothing_or_little_gives_a_sentence(world: World) -> None:
    for clock in ("hours", "km", "days"):
        found = answer(
            reader_of(world), "survival", component="injector", clock=clock, intensity=True
        )
        assert not np.isinf(found.table.select_dtypes("number")).any(axis=None)
        assert isinstance(found.table, pd.DataFrame)
