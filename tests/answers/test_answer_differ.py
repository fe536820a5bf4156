"""Groups told apart in a railway written by hand: lives, cumulative failures, recurrence.

Oracle: by hand, and the estimators on arrays written out here (tested by themselves).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analytics.answer import say
from analytics.answers import differ, hazard, incidence, life_plot, mcf_differ, recurrence_differ
from analytics.errors import ScopeError
from analytics.estimate.group_ratio import group_ratio
from analytics.estimate.logrank import log_rank
from analytics.estimate.risk_sets import check_pieces
from analytics.store import Reader
from tests.answers.hand import answer, day, railway, reader_of, three_failures
from tests.history.world import World

INJECTOR = {"component": "injector", "clock": "days"}
EXACT = {"severity": "in-service", "action": "replaced"}
LASTS = (20, 28, 32, 36, 24, 44)
"""Days that an injector lasts on each locomotive of `many`; even ones are at North."""


def many() -> World:
    """Six locomotives, three at North, where injectors last less long, and three at South."""
    world = World()
    for number, step in enumerate(LASTS):
        name, depot = f"{number}N", "North" if number % 2 == 0 else "South"
        world.locomotive(name, depot=depot)
        world.inspections(*[day(at) for at in range(0, 101, 5)], locomotive=name, depot=depot)
        for place in ("1", "2"):
            for at in range(step + number + int(place), 100, step):
                defect = "worn" if (at + number) % 3 else "leaking"
                world.finding(day(at), defect, locomotive=name, position=place, **EXACT)
    return world


@pytest.fixture(scope="module")
def reader() -> Reader:
    return reader_of(three_failures())


@pytest.fixture(scope="module")
def fleet() -> Reader:
    return reader_of(many())


def test_kinds_by_hand(reader: Reader) -> None:
    # Lives: 20 F leaking, 40 F worn, 40 C; 100 C; 50 C; 30 F leaking, 20 C. Drawn while 5 are at
    # risk: leaking 1/7 at 20, and 6/7 x 1/5 more at 30; worn has none there, only its first row.
    found = answer(reader, "survival", kinds=True, **INJECTOR)
    assert list(found.table) == list(incidence.COLUMNS)
    assert found.table["defect"].tolist() == ["leaking", "leaking", "leaking", "worn"]
    assert found.table["incidence"].tolist() == pytest.approx([0, 1 / 7, 1 / 7 + 6 / 35, 0])
    assert found.table["at_risk"].tolist() == [7, 7, 5, 7]
    assert found.table["note"].iloc[0] == "fewer than 3 failures of this kind"


def test_kinds_and_those_still_going_add_up_to_one(fleet: Reader) -> None:
    kinds = answer(fleet, "survival", kinds=True, **INJECTOR).table
    curve = answer(fleet, "survival", **INJECTOR).table
    last = kinds.groupby("defect")["incidence"].last().sum()
    assert last + curve["survival"].iloc[-1] == pytest.approx(1.0)
    assert set(kinds["defect"]) == {"leaking", "worn"}


def test_a_kind_asked_for_competes_with_the_others(fleet: Reader) -> None:
    whole = answer(fleet, "survival", kinds=True, **INJECTOR).table
    found = answer(fleet, "survival", kinds=True, defect="worn", **INJECTOR)
    mine = whole[whole["defect"] == "worn"].reset_index(drop=True)
    assert found.table["incidence"].tolist() == mine["incidence"].tolist()
    assert found.basis.filters == {"components": ("injector",), "defects": ("worn",)}


def test_survival_by_defect_points_to_kinds(reader: Reader) -> None:
    with pytest.raises(ScopeError, match="ask with kinds \\(--kinds\\)"):
        answer(reader, "survival", by=("defect",))
    refused = answer(reader, "survival", defect="worn", **INJECTOR)
    assert "--kinds" in say(refused.notes[0])


def test_depots_differ_as_the_estimators_say(fleet: Reader) -> None:
    found = answer(fleet, "survival", differ="depot", **INJECTOR)
    table = found.table
    assert list(table) == list(differ.COLUMNS)
    assert table["model"].tolist() == ["log-rank", "clustered score", "cox", "weibull aft"]
    assert set(table["group"]) == {"South"}
    assert set(table["against"]) == {"North"}
    # the lives written out: first life from 0, then one after the other, the last cut at 100
    rows = [
        (min(step, 100 - at) if at else min(first, 100), 1.0 * ok, number % 2, number)
        for number, step in enumerate(LASTS)
        for place in (1, 2)
        for first in [step + number + place]
        for at, ok in [
            (0, first < 100),
            *((end, end + step < 100) for end in range(first, 100, step)),
        ]
    ]
    exit, failed, south, cluster = (np.array(part) for part in zip(*rows, strict=True))
    lives = np.zeros(exit.size), exit.astype(float), failed
    by_model = table.set_index("model")
    test = log_rank(*lives, south)
    assert by_model.loc["log-rank", "statistic"] == pytest.approx(test.chi2)
    cox = group_ratio(check_pieces(*lives), south, cluster, "cox")
    assert by_model.loc["cox", "ratio"] == pytest.approx(cox.ratio, rel=1e-5)
    assert by_model.loc["cox", "ratio_upper"] == pytest.approx(cox.upper, rel=1e-5)
    assert cox.ratio < 1 < by_model.loc["weibull aft", "ratio"]
    assert "fewer than 10 locomotives: rough" in by_model.loc["cox", "note"]


def test_action_is_the_one_that_began_the_life(fleet: Reader) -> None:
    table = answer(fleet, "survival", differ="action", **INJECTOR).table
    assert {*table["group"], *table["against"]} == {"replaced", "no renewal on record"}


def test_by_locomotive_there_is_the_log_rank_alone(fleet: Reader) -> None:
    found = answer(fleet, "survival", differ="locomotive", **INJECTOR)
    assert set(found.table["model"]) == {"log-rank"}
    assert found.notes[0].key == "differ.by_locomotive"
    # six locomotives: all together, and each against all others
    assert len(found.table) == 7
    assert found.table["df"].iloc[0] == 5


@pytest.mark.parametrize(
    ("failures", "note"),
    [
        (0, "fewer than 3 failures in all: nothing to compare"),
        (1, "fewer than 3 failures in all: nothing to compare"),
        (2, "fewer than 3 failures in all: nothing to compare"),
        (3, "no failure in one group: no ratio"),
    ],
)
def test_few_failures_are_said(failures: int, note: str) -> None:
    world = railway()
    for number in range(failures):
        world.finding(day(55 + 10 * number), position="1", **EXACT)
    found = answer(reader_of(world), "survival", differ="position", **INJECTOR)
    assert found.table["note"].iloc[-1] == note
    assert found.table[["ratio", "p"]].iloc[-1].isna().all()


def test_one_group_is_said(reader: Reader) -> None:
    found = answer(reader, "survival", differ="class", **INJECTOR)
    assert found.table["note"].tolist() == ["one group only"]
    assert found.reading.key == "differ.nothing"
    back = answer(reader, "recurrence", differ="action", component="injector")
    assert back.table["note"].tolist() == ["one group only"]
    none = answer(reader, "mcf", differ="class", **INJECTOR)
    assert none.table.empty
    assert none.reading.key == "mcf.differ_nothing"


def test_cumulative_failures_by_hand(reader: Reader) -> None:
    # days clock; position 1: failures on 20 and 60 of 5A; position 2: on 30 of 6B; both at risk 2
    # up to day 50, then 1
    found = answer(reader, "mcf", differ="position", **INJECTOR)
    assert list(found.table) == list(mcf_differ.COLUMNS)
    assert found.table[["age", "difference", "at_risk", "at_risk_against"]].values.tolist() == [
        [0.0, 0.0, 2, 2],
        [20.0, -0.5, 2, 2],
        [30.0, 0.0, 2, 2],
        [60.0, -1.0, 1, 1],
    ]
    assert (found.table["group"].iloc[0], found.table["against"].iloc[0]) == ("2", "1")


def test_depots_of_one_locomotive_each_have_no_bounds() -> None:
    # 6B is at North throughout; 5A at South from day 50: nobody else is there
    found = answer(reader_of(three_failures()), "mcf", differ="depot", **INJECTOR)
    assert found.table["lower"].isna().all()
    assert found.reading.key in {"mcf.differ_no_bounds", "mcf.differ_nothing"}


def test_recurrence_by_action_by_hand() -> None:
    world = railway()
    for number, place, action in (
        (10, "1", "cleaned"), (25, "1", "cleaned"), (40, "1", "replaced"), (15, "2", "replaced"),
    ):  # fmt: skip
        world.finding(day(number), action=action, position=place)
    found = answer(reader_of(world), "recurrence", differ="action", component="injector")
    assert list(found.table) == list(recurrence_differ.COLUMNS)
    row = found.table.iloc[0]
    # cleaned: both came back after 15 days; replaced: neither
    assert (row["group"], row["against"]) == ("replaced", "cleaned")
    assert (row["rate"], row["rate_against"], row["difference"]) == (0.0, 1.0, -1.0)
    assert row["note"] == "came back fewer than 3 times in all: nothing to test"
    assert found.notes[0].key == "recurrence.went_with"


def test_recurrence_by_severity() -> None:
    world = many()
    for number in range(0, 90, 12):
        for name in ("0N", "1N"):
            world.finding(day(number), action="cleaned", severity="rectify", locomotive=name)
    found = answer(reader_of(world), "recurrence", differ="severity", component="injector")
    assert set(found.table["group"]) | set(found.table["against"]) == {"in-service", "rectify"}
    assert found.table["statistic"].iloc[0] > 0


def test_words_that_cannot_be_told_apart_are_refused(reader: Reader) -> None:
    for question, word in (("survival", "month"), ("mcf", "action"), ("recurrence", "position")):
        with pytest.raises(ScopeError, match="cannot be split by"):
            answer(reader, question, differ=word)
    with pytest.raises(ScopeError, match="leave it out of by"):
        answer(reader, "survival", differ="depot", by=("depot",))
    with pytest.raises(ScopeError, match="survival takes one of"):
        answer(reader, "survival", differ="depot", fit=True)
    with pytest.raises(ScopeError, match="reached needs hazard"):
        answer(reader, "survival", reached=10.0)


def test_hazard_is_that_of_the_best_law(fleet: Reader) -> None:
    found = answer(fleet, "survival", hazard=True, **INJECTOR).table
    assert list(found) == list(hazard.COLUMNS)
    best = answer(fleet, "survival", fit=True, **INJECTOR).table.iloc[0]
    assert set(found["model"]) == {best["model"]}
    assert (found["hazard_lower"] < found["hazard"]).all()
    assert found["reliability"].between(0, 1).all()
    # Identity: chances of lasting on multiply, R(a) = R(b) x (a given b).
    reached = float(found["age"].iloc[9])
    on = answer(fleet, "survival", hazard=True, reached=reached, **INJECTOR).table
    begin = float(found["reliability"].iloc[9])
    assert begin * on["reliability"].iloc[-1] == pytest.approx(found["reliability"].iloc[-1])
    assert on["hazard"].iloc[-1] == pytest.approx(found["hazard"].iloc[-1])
    assert on["hazard_lower"].iloc[-1] == pytest.approx(found["hazard_lower"].iloc[-1], rel=1e-4)
    if best["model"] == "weibull":
        shape, scale = best["shape"], best["scale"]
        by_hand = shape / scale * (found["age"] / scale) ** (shape - 1)
        assert found["hazard"].tolist() == pytest.approx(by_hand.tolist())


def test_hazard_of_groups_is_that_of_each_alone(fleet: Reader) -> None:
    together = answer(fleet, "survival", hazard=True, by=("depot",), **INJECTOR).table
    alone = answer(fleet, "survival", hazard=True, depot="South", **INJECTOR).table
    mine = together[together["depot"] == "South"].reset_index(drop=True)
    assert mine["hazard"].tolist() == pytest.approx(alone["hazard"].tolist(), rel=1e-4)
    assert mine["reliability_lower"].tolist() == pytest.approx(
        alone["reliability_lower"].tolist(), rel=1e-4
    )


def test_plot_has_the_law_as_a_line(fleet: Reader) -> None:
    found = answer(fleet, "survival", plot=True, **INJECTOR)
    table = found.table
    assert list(table) == list(life_plot.COLUMNS)
    best = answer(fleet, "survival", fit=True, **INJECTOR).table.iloc[0]
    if best["model"] == "weibull":
        line = best["shape"] * (table["x"] - math.log(best["scale"]))
        assert np.log(-np.log(table["fitted"])).tolist() == pytest.approx(line.tolist())
    assert (table["survival"].diff().dropna() < 0).all()


@pytest.mark.parametrize("form", ["hazard", "plot"])
def test_too_few_failures_for_a_law_are_said(form: str) -> None:
    for world in (railway(), railway().finding(day(20), **EXACT)):
        found = answer(reader_of(world), "survival", **{form: True}, **INJECTOR)
        assert found.table.empty
        assert found.reading.key == "hazard.nothing"
    beyond = answer(reader_of(three_failures()), "survival", hazard=True, reached=1e6, **INJECTOR)
    assert beyond.table.empty


@pytest.mark.parametrize(
    ("question", "asked"),
    [
        ("survival", {"kinds": True}),
        ("survival", {"differ": "depot"}),
        ("survival", {"hazard": True}),
        ("survival", {"plot": True}),
        ("mcf", {"differ": "depot"}),
        ("recurrence", {"differ": "depot"}),
    ],
)
def test_before_the_first_row_there_is_a_sentence(
    question: str, asked: dict[str, object], reader: Reader
) -> None:
    found = answer(reader, question, until="2020-01-01", component="injector", **asked)
    assert len(found.table) <= 1
    assert say(found.reading)
