"""Every field that a planner can fill in comes back from the text that versions keep."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.planning.inputs import (
    EVERY_DAY,
    Berth,
    Costs,
    Days,
    DueVisit,
    Job,
    Labour,
    PlanInputs,
    Spare,
    Traffic,
)
from analytics.planning.read_inputs import read_inputs_text
from analytics.planning.template import to_toml
from tests.planning.test_inputs import CATALOGUE, FLEET, NAMES, TODAY

COMPONENTS = sorted(
    name
    for name in CATALOGUE.components
    if any(CATALOGUE.positions(of, name) for of in CATALOGUE.classes)
)
DATES = st.dates(TODAY, date(2027, 12, 31))
MONEY = st.floats(0, 1e6)
OPEN = st.sets(st.integers(0, 6), min_size=1).map(lambda days: tuple(sorted(days)))


@st.composite
def spans(draw: Any) -> tuple[date, date]:
    begin = draw(DATES)
    return begin, begin + timedelta(days=draw(st.integers(0, 30)))


@st.composite
def days_of(draw: Any, *, closed: bool = False) -> Days:
    begin, end = draw(spans())
    first, last = draw(st.sampled_from([(None, None), (begin, None), (None, end), (begin, end)]))
    without = tuple(draw(st.lists(spans(), max_size=2))) if closed else ()
    return Days(draw(OPEN | st.just(EVERY_DAY)), first, last, without)


@st.composite
def whole(draw: Any) -> PlanInputs:
    skills = draw(st.lists(NAMES, min_size=1, max_size=3, unique=True))
    spares = draw(st.lists(NAMES, min_size=1, max_size=3, unique=True))
    named = st.lists(NAMES.filter(lambda one: one != "mend"), max_size=3, unique=True)
    hours = st.dictionaries(st.sampled_from(skills), st.floats(0, 500), max_size=2)
    parts = st.dictionaries(st.sampled_from(spares), st.integers(0, 9), max_size=2)
    orders = st.lists(st.tuples(DATES, st.integers(1, 9)), max_size=2).map(sorted).map(tuple)
    classes = st.sampled_from(sorted(CATALOGUE.classes))
    jobs = draw(named)
    visits = [
        DueVisit(locomotive, draw(NAMES), begin, end + timedelta(days=9), draw(st.integers(1, 10)),
                 draw(hours), draw(parts))
        for locomotive in draw(st.lists(st.sampled_from(sorted(FLEET)), max_size=3, unique=True))
        for begin, end in [draw(spans())]
    ]  # fmt: skip
    takes = st.lists(st.sampled_from(["mend", *jobs]), max_size=2, unique=True).map(tuple)
    return PlanInputs(
        costs=Costs(draw(MONEY), draw(MONEY), draw(st.dictionaries(classes, MONEY)),
                    draw(st.dictionaries(st.sampled_from(COMPONENTS), MONEY, max_size=2))),
        berths=tuple(
            Berth(name, draw(days_of(closed=True)),
                  tuple(draw(st.lists(classes, max_size=2, unique=True))), draw(takes))
            for name in draw(st.lists(NAMES, min_size=1, max_size=3, unique=True))
        ),
        labour=tuple(Labour(skill, draw(MONEY), draw(days_of())) for skill in skills),
        jobs=tuple(
            Job(name, (component,), draw(st.integers(1, 9)),
                draw(st.sampled_from(["locomotive", "position"])), draw(hours), draw(parts),
                draw(MONEY))
            for name, component in zip(jobs, draw(st.permutations(COMPONENTS)), strict=False)
        ),
        spares=tuple(
            Spare(name, draw(st.integers(0, 99)), draw(st.integers(0, 9)), draw(MONEY),
                  draw(orders))
            for name in spares
        ),
        visits=tuple(visits),
        traffic=tuple(
            Traffic(name, draw(st.integers(0, 24)), draw(days_of()))
            for name in draw(st.lists(classes, max_size=3))
        ),
        weeks=draw(st.integers(1, 52)),
        mend_days=draw(st.integers(1, 9)),
        mend_hours=draw(hours),
    )  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(whole())
def test_every_field_comes_back(inputs: PlanInputs) -> None:
    assert read_inputs_text(to_toml(inputs), CATALOGUE, FLEET) == inputs
