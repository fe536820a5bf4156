"""A reader on a tiny railway written by hand, for answers without files or a store folder."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analytics.answer import Answer, say
from analytics.answers import OPTIONS, ask_reader
from analytics.scope import Scope
from analytics.store import Reader
from tests.history.world import World

H_A_DAY = 10
"""Engine hours a day of every locomotive of `railway`."""


def reader_of(world: World) -> Reader:
    return Reader(world.connect(), "store-1.duckdb", {"catalogue.toml": world.catalogue})


def answer(reader: Reader, question: str, *, by: tuple[str, ...] = (), **asked: Any) -> Answer:
    """Ask a question; what is not the question's option makes the Scope. All words must exist."""
    options = {name: asked.pop(name) for name in OPTIONS[question] if name in asked}
    found = ask_reader(reader, question, Scope.of(**asked), by=by, **options)
    for message in (found.reading, *found.notes):
        assert say(message)
    return found


def day(number: int) -> str:
    """Return the date of the n-th day after 1 January 2024, which is day 0."""
    return f"{pd.Timestamp('2024-01-01') + pd.Timedelta(days=number):%Y-%m-%d}"


def railway(**locomotive: Any) -> World:
    """Two locomotives with two injectors each, inspected every 5 days, 10 engine hours a day.

    5A from day 0 to 100, at North to day 49 and at South from day 50; 6B from day 0 to 50 at North.
    """
    world = World().locomotive("5A", depot="North", **locomotive)
    world.locomotive("6B", depot="North", **locomotive)
    for name, last in (("5A", 100), ("6B", 50)):
        for number in [*range(0, last, 5), last]:
            depot = "South" if name == "5A" and number >= 50 else "North"
            world.inspections(day(number), locomotive=name, depot=depot)
        for number in (0, last // 2, last):
            hours = 1000 + H_A_DAY * number
            world.add("usage", locomotive=name, read_at=day(number), engine_hours=hours)
    return world


def three_failures(**locomotive: Any) -> World:
    """The railway with failures on 5A position 1 on days 20 and 60, on 6B position 2 on day 30."""
    exact = {"severity": "in-service", "action": "replaced"}
    world = railway(**locomotive)
    world.finding(day(20), **exact)
    world.finding(day(60), "worn", **exact)
    return world.finding(day(30), locomotive="6B", position="2", **exact)
