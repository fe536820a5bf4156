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


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest files first, and all that need a browser into one process.

    Two browsers with their servers on two cores would make each other wait. Each other file is a
    group of its own, so that what it sets up is set up once.
    """
    marks = {item.path: set[str]() for item in items}
    for item in items:
        marks[item.path] |= {mark.name for mark in item.iter_markers()}
    order = {path: _place(found) for path, found in marks.items()}
    for item in items:
        group = "browser" if "browser" in marks[item.path] else str(item.path)
        item.add_marker(pytest.mark.xdist_group(group))
    items.sort(key=lambda item: order[item.path])


def _place(marks: set[str]) -> int:
    return 0 if "browser" in marks else 1 if "campaign" in marks else 2
