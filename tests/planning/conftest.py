"""A small railway of the demo with what its planner hands in; read it, write plans beside copies."""

from __future__ import annotations

import shutil
from pathlib import Path

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


@pytest.fixture
def own_workshop(workshop: Store, tmp_path: Path) -> Store:
    """A copy that plans may be written into."""
    shutil.copytree(workshop.root, tmp_path / "railway")
    return Store.open(tmp_path / "railway")


@pytest.fixture(scope="session")
def ahead(workshop: Store) -> Ahead:
    with workshop.read() as reader:
        return read_ahead(reader, days=7 * WEEKS)


@pytest.fixture(scope="session")
def inputs(workshop: Store) -> PlanInputs:
    from dataclasses import replace

    found = read_store_inputs(workshop, workshop.root / "planning.toml")
    last = max(visit.latest for visit in found.visits)
    assert last
    return replace(found, weeks=WEEKS)
