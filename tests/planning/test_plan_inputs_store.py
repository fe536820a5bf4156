"""A planner's file held against a store: who is in service, who is out of use, what day it is."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from analytics.errors import PlanError
from analytics.handin import ingest
from analytics.planning.again import read_store_inputs
from analytics.planning.inputs import Berth, Costs, Days, DueVisit, PlanInputs
from analytics.planning.template import to_toml
from analytics.store import Store
from tests.dashboard.conftest import CATALOGUE

REGISTER = "locomotive,class,depot\nB-1,Birch,North\nB-2,Birch,North\n"
INSPECTIONS = "locomotive,inspected_at\n" + "".join(
    f"B-{number},2026-05-{day:02d} 06:00\n" for number in (1, 2) for day in range(1, 32)
)
OUT_OF_USE = "locomotive,from,to,reason\nB-2,2026-05-20,,stored\n"
BOTH_DUE = PlanInputs(
    Costs(1.0),
    (Berth("1", Days((0,))),),  # open on Mondays
    visits=tuple(
        DueVisit(name, "yearly", date(2026, 6, 1), date(2026, 6, 3), 1) for name in ("B-1", "B-2")
    ),
    weeks=2,
)


def store_of(folder: Path, *more: str) -> Store:
    store = Store.create(folder / "store", {"small.toml": CATALOGUE})
    for number, text in enumerate((REGISTER, INSPECTIONS, *more)):
        (folder / f"{number}.csv").write_text(text)
    ingest(store, sorted(folder.glob("*.csv")))
    return store


def test_more_due_than_berth_days_is_refused(tmp_path: Path) -> None:
    (path := tmp_path / "planning.toml").write_text(to_toml(BOTH_DUE))
    with pytest.raises(PlanError, match="visits due need 2 berth-days, but only 1"):
        read_store_inputs(store_of(tmp_path), path)


def test_what_is_due_of_a_stored_locomotive_waits(tmp_path: Path) -> None:
    (path := tmp_path / "planning.toml").write_text(to_toml(BOTH_DUE))
    assert read_store_inputs(store_of(tmp_path, OUT_OF_USE), path) == BOTH_DUE


def test_a_locomotive_that_is_not_in_service_is_named(tmp_path: Path) -> None:
    other = replace(BOTH_DUE, visits=(replace(BOTH_DUE.visits[0], locomotive="B-9"),))
    (path := tmp_path / "planning.toml").write_text(to_toml(other))
    with pytest.raises(PlanError, match="'B-9' is not known"):
        read_store_inputs(store_of(tmp_path), path)
