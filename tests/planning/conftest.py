"""A small railway of the demo with what its planner hands in."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analytics.planning.again import read_store_inputs
from analytics.planning.ahead import Ahead, read_ahead
from analytics.planning.inputs import PlanInputs
from analytics.store import Store
from data_demo.build import build

WEEKS = 4


@pytest.fixture(scope="session")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return build(tmp_path_factory.mktemp("workshop") / "railway", locomotives=16, years=3)


@pytest.fixture(scope="session")
def ahead(workshop: Store) -> Ahead:
    with workshop.read() as reader:
        return read_ahead(reader, days=7 * WEEKS)


@pytest.fixture(scope="session")
def inputs(workshop: Store) -> PlanInputs:
    return replace(read_store_inputs(workshop, workshop.root / "planning.toml"), weeks=WEEKS)
