"""What every test gets: one time zone, one seed for Hypothesis, no home folder to write to."""

from __future__ import annotations

import os
import time

import pytest
from hypothesis import settings

os.environ["TZ"] = "UTC"
if hasattr(time, "tzset"):
    time.tzset()

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put files with campaigns first, then those in the browser: the longest begin soonest."""
    order = {"campaign": 0, "browser": 1}
    ranks: dict[object, int] = {}
    for item in items:
        own = min(
            (order[mark.name] for mark in item.iter_markers() if mark.name in order), default=2
        )
        ranks[item.path] = min(own, ranks.get(item.path, 2))
    items.sort(key=lambda item: ranks[item.path])
