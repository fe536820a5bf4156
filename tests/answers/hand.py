"""A reader on a tiny railway written by hand, for answers without files or a store folder."""

from __future__ import annotations

from typing import Any

from analytics.answer import Answer
from analytics.answers import ask_reader
from analytics.scope import Scope
from analytics.store import Reader
from tests.history.world import World


def reader_of(world: World) -> Reader:
    return Reader(world.connect(), "store-1.duckdb", {"catalogue.toml": world.catalogue})


def answer(world: World, question: str, *, by: tuple[str, ...] = (), **asked: Any) -> Answer:
    """Ask a question of a world; words that are not the question's options make the Scope."""
    options = {
        name: asked.pop(name)
        for name in ("method", "fit", "unit", "window", "same_defect", "at_least")
        if name in asked
    }
    return ask_reader(reader_of(world), question, Scope.of(**asked), by=by, **options)
