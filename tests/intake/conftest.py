from __future__ import annotations

from pathlib import Path

import pytest

from tests.intake.depot import Depot


@pytest.fixture
def depot(tmp_path: Path) -> Depot:
    return Depot(tmp_path)
