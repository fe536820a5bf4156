"""The railway as `shedbook demo` makes it, drawn once for all tests of this folder."""

from __future__ import annotations

import pytest

from analytics.catalogue.load import shipped_catalogue
from analytics.catalogue.model import Catalogue
from data_demo.scenario import Scenario
from data_demo.simulate import Railway, simulate


@pytest.fixture(scope="session")
def catalogue() -> Catalogue:
    return shipped_catalogue()


@pytest.fixture(scope="session")
def railway(catalogue: Catalogue) -> Railway:
    return simulate(Scenario(), catalogue)
