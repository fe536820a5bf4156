"""A class without the component asked for: every question says so, and in the same words."""

from __future__ import annotations

import pytest

from analytics.answer import say
from analytics.answers import QUESTIONS
from analytics.answers.places import NOT_BY_PLACE
from tests.answers.hand import answer, railway, reader_of
from tests.history.world import World

# Exhaustive over the questions; look-closer is for one locomotive, compare needs to know of what.
HOW = {"look-closer": {"locomotive": "5A"}, "compare": {"span": "4w"}}
SAID = "No position of filter on locomotives of class Alder: there is nothing to count."


def without_filters() -> World:
    world = railway()
    world.catalogue = world.catalogue.replace("injector = 2", "injector = 2, filter = 0")
    return world


@pytest.mark.parametrize("question", [q for q in QUESTIONS if q not in NOT_BY_PLACE])
def test_a_component_that_the_class_has_not_is_told(question: str) -> None:
    reader = reader_of(without_filters())
    found = answer(reader, question, component="filter", **HOW.get(question, {}))
    assert say(found.reading) == SAID
    other = answer(reader, question, component="injector", **HOW.get(question, {}))
    assert other.reading.key != "places.none"


def test_one_class_of_two_is_enough_and_no_locomotive_is_another_matter() -> None:
    world = without_filters().locomotive("9E", **{"class": "Beech"})
    world.catalogue += "[class.Beech]\npositions = { filter = 1 }\n"
    reader = reader_of(world)
    assert answer(reader, "mtbf", component="filter").reading.key != "places.none"
    for by_name in ({"class_": "Alder"}, {"locomotive": "5A"}):
        assert say(answer(reader, "mtbf", component="filter", **by_name).reading) == SAID
    empty = World(catalogue=without_filters().catalogue)
    assert answer(reader_of(empty), "mtbf", component="filter").reading.key != "places.none"
