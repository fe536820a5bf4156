"""What stands out on railways written by hand.

Oracle: closed form by hand; the demo's known truth is in tests/demo/test_demo_standouts.py.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson

from analytics.answer import say
from analytics.answers.expected import expect
from analytics.answers.funnel import COLUMNS as FUNNEL_COLUMNS
from analytics.answers.funnel import funnel_notes, funnel_reading, funnel_table
from analytics.answers.standouts import COLUMNS, UNITS, _notes
from analytics.errors import ScopeError
from analytics.estimate.standouts import BETA_BINOMIAL, find_standouts
from analytics.scope import Scope
from analytics.store import Reader
from tests.answers.hand import answer, day, railway, reader_of, three_failures
from tests.history.world import World


def fleet(*, bad: int = 24, serials: bool = False) -> World:
    """Six locomotives, 400 days, two injectors; `5A` fails `bad` times, the others 4 times each."""
    world = World()
    exact = {"severity": "in-service", "action": "replaced"}
    for name in ("5A", "6B", "7C", "8D", "9E", "10F"):
        world.locomotive(name, depot="North" if name < "7" else "South")
        days = [*range(0, 400, 10), 400]
        world.inspections(*(day(n) for n in days), locomotive=name)
        for number in range(0, 401, 50):
            world.add("usage", locomotive=name, read_at=day(number), engine_hours=10 * number)
        for turn in range(bad if name == "5A" else 4):
            cells = exact | {"position": str(1 + turn % 2), "down_hours": 2.0, "cost": 10.0}
            if serials:
                cells["serial_in"] = f"{'QF' if name == '5A' else 'HX'}-{name}{turn}"
            world.finding(day(5 + 16 * turn), locomotive=name, **cells)
    return world


@pytest.fixture(scope="module")
def reader() -> Reader:
    return reader_of(fleet())


def test_the_locomotive_that_fails_most_stands_out(reader: Reader) -> None:
    found = answer(reader, "standouts", component="injector")
    assert list(found.table) == ["locomotive", *COLUMNS]
    first = found.table.iloc[0]
    assert (first["locomotive"], first["class"], first["observed"]) == ("5A", "Alder", 24)
    assert first["stands_out"]
    assert found.table["stands_out"].sum() == 1
    assert found.table["observed"].sum() == 44
    assert found.table["expected"].sum() == pytest.approx(44)
    assert (first["lost_hours"], first["cost"]) == (48.0, 240.0)
    assert first["ratio"] == pytest.approx(24 / first["expected"])
    assert say(found.reading).startswith("5A stands out: 24 first findings where")


def test_ranks_by_hours_and_cost(reader: Reader) -> None:
    for rank, column in (("hours", "lost_hours"), ("cost", "cost")):
        found = answer(reader, "standouts", component="injector", rank=rank)
        assert found.table[column].is_monotonic_decreasing
    with pytest.raises(ScopeError, match="rank 'days' is not known"):
        answer(reader, "standouts", rank="days")


@pytest.mark.parametrize("by", UNITS)
def test_every_grouping_has_its_columns(reader: Reader, by: tuple[str, ...]) -> None:
    found = answer(reader, "standouts", by=by, component="injector")
    assert list(found.table) == [*UNITS[by].words, *COLUMNS]
    judged = found.table.dropna(subset=["p"])
    assert ((judged["p"] >= 0) & (judged["p"] <= judged["q"])).all()


def test_other_groupings_are_refused(reader: Reader) -> None:
    with pytest.raises(ScopeError, match="standouts goes by one of locomotive; locomotive,comp"):
        answer(reader, "standouts", by=("month",))


def test_repeats_count_once() -> None:
    # ten repairs in ten days on 6B are one trouble
    world = fleet(bad=4)
    for number in range(300, 310):
        world.finding(day(number), "worn", locomotive="6B", action="cleaned", severity="rectify")
    found = answer(reader_of(world), "standouts", component="injector")
    counts = found.table.set_index("locomotive")["observed"]
    assert counts["6B"] == 5
    assert not found.table["stands_out"].any()
    assert say(found.reading).startswith("Nothing stands out: none of 6 rows")


def test_parts_are_known_by_what_was_written_when_fitted() -> None:
    found = answer(
        reader_of(fleet(serials=True)), "standouts", by=("series",), component="injector"
    )
    counts = found.table.set_index("series")["observed"].to_dict()
    # lives that began with records have no serial: two on each locomotive, each with one failure
    assert counts == {"QF": 22, "HX": 10}
    assert found.table.iloc[0]["series"] == "QF"
    each = answer(reader_of(fleet(serials=True)), "standouts", by=("serial",), component="injector")
    assert len(each.table) == 44
    assert each.table["observed"].sum() == 32


def test_expected_adds_up_over_class_and_component_on_own_clocks(reader: Reader) -> None:
    given = expect(reader, Scope.of())
    assert len(given.clocks) > 1
    sums = given.frame.groupby(["class", "component"])[["events", "expected"]].sum()
    assert sums["expected"].to_numpy() == pytest.approx(sums["events"].to_numpy(float), abs=1e-6)
    assert answer(reader, "standouts").basis.clock == "own"


@pytest.mark.parametrize(
    ("world", "begins"),
    [
        (World().locomotive(), "Nothing was in use"),
        (railway(), "No first finding was counted"),
        (railway().finding(day(20), action="replaced"), "Nothing stands out"),
        (three_failures(), "Nothing stands out"),
    ],
)
def test_nothing_or_little_gives_a_sentence(world: World, begins: str) -> None:
    reader = reader_of(world)
    for by in UNITS:
        found = answer(reader, "standouts", by=by, component="injector")
        assert not np.isinf(found.table.select_dtypes("number")).any(axis=None)
        assert not found.table["stands_out"].any()
    assert say(answer(reader, "standouts").reading).startswith(begins)


def test_locomotives_choose_rows_and_are_compared_with_their_like_all_the_same() -> None:
    reader = reader_of(three_failures())
    everybody = answer(reader, "standouts", component="injector").table
    alone = answer(reader, "standouts", component="injector", locomotive="5A").table
    assert len(everybody) == 2
    expected = everybody[everybody["locomotive"] == "5A"]["expected"].tolist()
    assert alone["locomotive"].tolist() == ["5A"]
    assert alone["expected"].tolist() == expected
    with pytest.raises(ScopeError, match="5B"):
        answer(reader, "standouts", locomotive="5B")


@pytest.mark.parametrize(
    ("laws", "by", "said"),
    [
        ([BETA_BINOMIAL] * 2, "depot", "Counts of like locomotives vary more than chance alone;"),
        ([BETA_BINOMIAL] * 2, "position", "Counts of the like vary more than chance alone;"),
        ([BETA_BINOMIAL, ""], "depot", "In 1 of 2 rows the counts of their like vary more than"),
    ],
)
def test_spread_allowed_for_is_said_as_what_it_means(laws: list[str], by: str, said: str) -> None:
    found: Any = SimpleNamespace(stands_out=np.zeros(2, bool), method=np.array(laws), p=np.ones(2))
    given: Any = SimpleNamespace(clocks=("days",))
    note = say(_notes(found, given, UNITS[(by,)], "30d")[0])
    assert note.startswith(said)
    assert note.endswith("this was allowed for.")


def test_funnel_puts_each_ratio_between_the_limits_of_its_count(reader: Reader) -> None:
    found = answer(reader, "standouts", component="injector", funnel=True)
    assert list(found.table) == ["locomotive", *FUNNEL_COLUMNS]
    judged = answer(reader, "standouts", component="injector").table.set_index("locomotive")
    table = found.table.set_index("locomotive")
    assert table["outside"].to_dict() == {name: "above" * (name == "5A") for name in table.index}
    assert (table["ratio"] == judged.loc[table.index, "ratio"]).all()
    # these do not differ beyond chance apart from 5A: every finding counts in full
    assert table["counts_as"].tolist() == table["expected"].tolist()
    # Poisson by scipy: the interpolated limits lie within one finding of its quantiles
    for tail, column in ((0.001, "outer_lower"), (0.999, "outer_upper"), (0.975, "inner_upper")):
        whole = poisson.ppf(tail, table["expected"])
        limit = table[column] * table["expected"]
        assert ((limit <= whole) & (limit >= np.maximum(whole - 1, 0))).all()
    assert say(found.reading).startswith("Of 6 rows, 1 lies above the upper outer line and 0 below")
    assert "beyond chance" not in " ".join(say(note) for note in found.notes)


@pytest.mark.parametrize("by", UNITS)
def test_funnel_of_every_grouping_has_its_columns(reader: Reader, by: tuple[str, ...]) -> None:
    found = answer(reader, "standouts", by=by, component="injector", funnel=True)
    assert list(found.table) == [*UNITS[by].words, *FUNNEL_COLUMNS]
    assert (found.table["inner_lower"] >= found.table["outer_lower"]).all()
    assert (found.table["inner_upper"] <= found.table["outer_upper"]).all()


def test_funnel_counts_less_where_the_like_vary_more_than_chance() -> None:
    # twelve that differ from 20 by up to 13, evenly: far more than Poisson, so none is beyond it
    observed = np.array([7, 10, 12, 15, 17, 19, 21, 23, 25, 28, 30, 33], dtype=float)
    found = find_standouts(observed, np.full(12, 20.0))
    assert set(found.method) == {BETA_BINOMIAL}
    table = funnel_table(
        pd.DataFrame({"locomotive": [f"{n}A" for n in range(12)]}), found, ("locomotive",)
    )
    # by hand: sum of (o - 20)^2 / 20, over 11 degrees of freedom
    spread = float(((observed - 20) ** 2).sum()) / 20 / 11
    assert table["counts_as"].to_numpy() == pytest.approx(20 / spread, rel=0.1)
    assert set(table["outside"]) == {""}
    assert say(funnel_reading(table)).startswith("None of 12 rows lies beyond")
    assert "funnel.wider" in [note.key for note in funnel_notes(found)]


@pytest.mark.parametrize("world", [World(), railway()])
def test_funnel_of_nothing_gives_a_sentence(world: World) -> None:
    found = answer(reader_of(world), "standouts", component="injector", funnel=True)
    assert found.table.empty
    assert say(found.reading)
