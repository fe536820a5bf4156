"""Fits of the first known life of each position, beside and instead of those of all lives.

Oracle: the exponential law by hand, mean = time watched / failures (Lawless 2003, section 4.1). On
the days clock the positions of `worn_again` fail first on days 80, 90, 40 and 45, then every other
day: 255 days of first lives with 4 failures, against short lives from then on.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from analytics.answer import say
from analytics.answers import fit
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, day, railway, reader_of, three_failures
from tests.history.world import World

INJECTOR: dict[str, Any] = {"component": "injector", "clock": "days", "fit": True}
EXACT = {"severity": "in-service", "action": "replaced"}


def worn_again() -> World:
    world = railway()
    for name, place, first, end in (
        ("5A", "1", 80, 100),
        ("5A", "2", 90, 100),
        ("6B", "1", 40, 50),
        ("6B", "2", 45, 50),
    ):
        for number in range(first, end, 2):
            world.finding(day(number), locomotive=name, position=place, **EXACT)
    return world


@pytest.fixture(scope="module")
def reader() -> Reader:
    return reader_of(worn_again())


def law(table: pd.DataFrame, model: str) -> pd.Series:
    return table.set_index("model").loc[model]


def test_first_lives_alone_by_hand(reader: Reader) -> None:
    found = answer(reader, "survival", first_life=True, **INJECTOR)
    assert list(found.table) == list(fit.COLUMNS)
    row = law(found.table, "exponential")
    assert row["mean"] == pytest.approx(255 / 4, rel=1e-6)
    assert (row["lives"], row["failures"]) == (4, 4)
    assert (found.basis.events, found.basis.exposure) == (4, 255)
    keys = [note.key for note in found.notes]
    assert "fit.first_lives_only" in keys
    assert "fit.per_replacement" not in keys


def test_disagreement_is_said_on_the_row_and_in_a_note(reader: Reader) -> None:
    found = answer(reader, "survival", **INJECTOR)
    alone = law(answer(reader, "survival", first_life=True, **INJECTOR).table, "exponential")
    pooled = law(found.table, "exponential")
    # 10 + 5 + 5 + 3 failures; in all 4 positions watched to day 100 or 50
    assert pooled["mean"] == pytest.approx(300 / 23, rel=1e-6)
    assert pooled["median_upper"] < alone["median"]
    note = next(note for note in found.notes if note.key.startswith("fit.first_lives"))
    best, *others = found.table["model"]
    assert found.table["note"].iloc[0].startswith("first lives alone: half by")
    assert found.table["note"].iloc[1:].tolist() == [""] * len(others)
    assert note.key == "fit.first_lives_differ_days"
    again = law(answer(reader, "survival", first_life=True, **INJECTOR).table, best)
    assert note.values["median"] == pytest.approx(again["median"])
    assert (note.values["failures"], note.values["percent"]) == (4, 0)


def test_nothing_is_said_where_no_position_has_a_second_life() -> None:
    found = answer(reader_of(railway()), "survival", **INJECTOR)
    assert not any(note.key.startswith("fit.first_lives") for note in found.notes)


def test_too_few_first_failures_give_a_sentence() -> None:
    # first lives: 20 F, 100 C, 50 C, 30 F
    found = answer(reader_of(three_failures()), "survival", **INJECTOR)
    note = next(note for note in found.notes if note.key == "fit.first_lives_too_few")
    assert (note.values["failures"], note.values["lives"]) == (2, 4)
    assert (found.table["note"] == "").all()
    alone = answer(reader_of(three_failures()), "survival", first_life=True, **INJECTOR)
    assert alone.table["model"].tolist() == [""]
    assert alone.table["note"].tolist() == ["fewer than 3 failures: too few to fit"]


def test_positions_whose_first_life_is_not_known_are_counted() -> None:
    # records begin after service did: only lives after a renewal begin on a known day
    world = three_failures(in_service_from="2020-01-01")
    found = answer(reader_of(world), "survival", first_life=True, **INJECTOR)
    note = next(note for note in found.notes if note.key == "fit.first_lives_only")
    # positions 5A/2 and 6B/1 have never been renewed; 5A/1 has a later life
    assert note.values["percent"] == pytest.approx(50)
    assert note.values["lives"] == 1


def test_many_groups_are_summed_up(reader: Reader) -> None:
    found = answer(reader, "survival", by=("locomotive", "position"), **INJECTOR)
    note = next(note for note in found.notes if note.key == "fit.first_lives")
    # one first life a group is too few to fit
    assert (note.values["fitted"], note.values["all"]) == (0, 4)
    assert say(note)


@pytest.mark.parametrize("failures", [0, 1, 2, 3])
@pytest.mark.parametrize("first_life", [False, True])
def test_few_failures_give_a_sentence(failures: int, *, first_life: bool) -> None:
    world = railway()
    for number, name, place in [(20, "5A", "1"), (30, "5A", "2"), (40, "6B", "1")][:failures]:
        world.finding(day(number), locomotive=name, position=place, **EXACT)
    found = answer(reader_of(world), "survival", first_life=first_life, **INJECTOR)
    assert say(found.reading)
    numbers = found.table.select_dtypes("number").to_numpy(dtype=float)
    assert not np.isinf(numbers).any()
    assert len(found.table) == (3 if failures == 3 else 1)


def test_all_failed_at_once_gives_a_sentence() -> None:
    world = railway()
    for name, place in (("5A", "1"), ("5A", "2"), ("6B", "1"), ("6B", "2")):
        world.finding(day(50), locomotive=name, position=place, **EXACT)
    found = answer(reader_of(world), "survival", until=day(51), **INJECTOR)
    assert not np.isinf(found.table.select_dtypes("number").to_numpy(dtype=float)).any()
    assert say(found.reading)


def test_nothing_in_the_period_gives_an_empty_table(reader: Reader) -> None:
    found = answer(reader, "survival", by=("component",), until="2020-01-01", **INJECTOR)
    assert found.table.empty
    assert say(found.reading)


def test_first_life_needs_a_fit(reader: Reader) -> None:
    with pytest.raises(ScopeError, match="first_life needs fit"):
        answer(reader, "survival", component="injector", clock="days", first_life=True)
