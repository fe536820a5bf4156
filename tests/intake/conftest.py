from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from analytics.store import Store
from tests.intake.depot import Depot


@pytest.fixture(scope="session")
def prepared_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with three locomotives on the register, to copy."""
    return Depot.new(tmp_path_factory.mktemp("prepared")).store.root


@pytest.fixture
def depot(prepared_store: Path, tmp_path: Path) -> Depot:
    shutil.copytree(prepared_store, tmp_path / "store")
    return Depot(tmp_path, Store.open(tmp_path / "store"))
