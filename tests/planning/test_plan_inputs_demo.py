"""What the invented railway's planner hands in, at every size of fleet."""

from __future__ import annotations

import pytest

from analytics.planning.inputs import EVERY_DAY
from analytics.planning.read_inputs import read_inputs_text
from analytics.store import Store
from data_demo.build import build
from data_demo.laws import law_of
from data_demo.planning import demo_inputs, demo_toml
from data_demo.scenario import AFTER_LAST_DAY, Scenario
from tests.planning.test_inputs import CATALOGUE

LEAST_SHAPE = 1.3


@pytest.mark.parametrize(
    ("locomotives", "berths", "visits"),
    [(2, 3, 1), (48, 3, 12), (500, 8, 125), (2000, 33, 500)],
)
def test_inputs_grow_with_the_fleet_and_read_back(
    locomotives: int, berths: int, visits: int
) -> None:
    fleet = dict(Scenario(locomotives=locomotives).names())
    made = demo_inputs(CATALOGUE, fleet, AFTER_LAST_DAY)
    assert made is not None
    assert (len(made.berths), len(made.visits)) == (berths, visits)
    text = demo_toml(CATALOGUE, fleet, AFTER_LAST_DAY)
    assert text == demo_toml(CATALOGUE, fleet, AFTER_LAST_DAY)
    assert read_inputs_text(text, CATALOGUE, fleet, first_day=AFTER_LAST_DAY) == made
    end = AFTER_LAST_DAY.toordinal() + 7 * made.weeks
    assert all(
        one.earliest >= AFTER_LAST_DAY and one.latest.toordinal() < end for one in made.visits
    )
    assert made.berths[0].open.weekdays != EVERY_DAY


def test_jobs_are_for_what_wears_out_by_the_known_truth() -> None:
    fleet = dict(Scenario().names())
    made = demo_inputs(CATALOGUE, fleet, AFTER_LAST_DAY)
    assert made is not None
    assert 6 <= len(made.jobs) <= 8
    shapes = {
        (component, name): law_of(CATALOGUE, component, name).shape
        for job in made.jobs
        for component in job.components
        for name in CATALOGUE.classes
    }
    assert min(shapes.values()) > LEAST_SHAPE, shapes


def test_folder_made_once_keeps_the_planners_own_changes(workshop: Store) -> None:
    path = workshop.root / "planning.toml"
    before = path.read_text(encoding="utf-8")
    try:
        path.write_text(before + "# mine\n", encoding="utf-8")
        build(workshop.root, locomotives=16, years=3)
        assert path.read_text(encoding="utf-8").endswith("# mine\n")
    finally:
        path.write_text(before, encoding="utf-8")
