"""Lives of a railway written by hand: curves and fitted laws.

Oracle: product-limit estimate and maximum likelihood by hand (Kaplan & Meier 1958; for the
exponential law, mean = time watched / failures). Lives on the days clock, F failed, C not:
5A position 1: 20 F, 40 F, 40 C; position 2: 100 C; 6B position 1: 50 C; position 2: 30 F, 20 C.
"""

from __future__ import annotations

import math

import pytest

from analytics.answer import Answer
from analytics.answers import fit, survival
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, day, railway, reader_of, three_failures
from tests.history.world import World

INJECTOR = {"component": "injector", "clock": "days"}


@pytest.fixture(scope="module")
def reader() -> Reader:
    return reader_of(three_failures())


def steps(reader: Reader, **asked: object) -> list[list[float]]:
    table = answer(reader, "survival", **(INJECTOR | asked)).table
    return table[["age", "survival", "at_risk", "events"]].values.tolist()


def test_product_limit_by_hand(reader: Reader) -> None:
    found = answer(reader, "survival", **INJECTOR)
    assert list(found.table) == list(survival.COLUMNS)
    # at risk: 7 at 20 (the life censored at 20 still counts), 5 at 30, 4 at 40
    expected = [
        [0.0, 1.0, 7.0, 0.0],
        [20.0, 6 / 7, 7.0, 1.0],
        [30.0, 6 / 7 * 4 / 5, 5.0, 1.0],
    ]
    assert steps(reader) == [pytest.approx(row) for row in expected]
    assert found.basis.events == 3
    assert found.basis.censored == 4
    assert found.basis.exposure == 300.0


def test_groups_have_their_curves_also_without_failures(reader: Reader) -> None:
    table = answer(reader, "survival", by=("locomotive", "position"), **INJECTOR).table
    counted = table.groupby(["locomotive", "position"])["events"].sum()
    assert counted.to_dict() == {("5A", 1): 2, ("5A", 2): 0, ("6B", 1): 0, ("6B", 2): 1}


def test_period_cuts_lives_and_drops_none(reader: Reader) -> None:
    # [25, 45): 5A/1 enters its second life at age 5; 6B/2 fails at 30; nothing else does
    found = answer(reader, "survival", since=day(25), until=day(45), **INJECTOR)
    assert found.basis.events == 1
    assert found.basis.exposure == 4 * 20.0
    assert found.basis.censored == 4


def test_failure_after_the_period_is_not_one_yet(reader: Reader) -> None:
    found = answer(reader, "survival", until=day(60), **INJECTOR)
    assert found.basis.events == 2


def test_unknown_start_is_left_out_and_counted() -> None:
    world = three_failures(in_service_from="2020-01-01")
    found = answer(reader_of(world), "survival", **INJECTOR)
    # only the lives after the three renewals begin on a known day: 40 F, 40 C, 20 C
    assert found.basis.left_out == {"unknown_start": 4}
    assert (found.basis.events, found.basis.censored) == (1, 2)


def test_position_not_stated_above_a_fifth_refuses_in_a_sentence() -> None:
    world = railway().finding(day(20), action="replaced", position=None)
    found = answer(reader_of(world.finding(day(60), action="replaced")), "survival", **INJECTOR)
    assert found.table.empty
    assert found.notes[0].key == "survival.not_stated"
    assert found.basis.left_out["no_position"] == 1


def test_defects_compete_and_are_refused_in_a_sentence(reader: Reader) -> None:
    found = answer(reader, "survival", defect="worn", **INJECTOR)
    assert found.table.empty
    assert found.notes[0].key == "survival.kinds_compete"
    whole = answer(reader, "survival", defect=["worn", "leaking"], **INJECTOR)
    assert whole.basis.events == 3
    with pytest.raises(ScopeError, match="survival cannot be split by 'defect'"):
        answer(reader, "survival", by=("defect",))


def test_long_intervals_between_looks_choose_turnbull() -> None:
    # seen sound on day 15, found on day 20: a quarter of the age; known only to lie in (15, 20]
    world = railway().finding(day(20), action="replaced")
    inspected = reader_of(world)
    found = answer(inspected, "survival", **INJECTOR)
    assert found.basis.method == "turnbull"
    assert found.notes[-1].key == "survival.interval_used"
    exactly = answer(inspected, "survival", method="km", **INJECTOR)
    assert exactly.basis.method == "kaplan-meier"
    assert exactly.notes[-1].key == "survival.interval_ignored"


def test_method_must_exist(reader: Reader) -> None:
    with pytest.raises(ScopeError, match="method must be one of km, turnbull"):
        answer(reader, "survival", method="weibull")


def test_fit_gives_a_row_per_law_best_first(reader: Reader) -> None:
    table = answer(reader, "survival", fit=True, **INJECTOR).table
    assert list(table) == list(fit.COLUMNS)
    assert sorted(table["model"]) == ["exponential", "lognormal", "weibull"]
    assert table["aicc"].is_monotonic_increasing
    row = table.set_index("model").loc["exponential"]
    # 300 days watched, 3 failures
    assert row["scale"] == pytest.approx(100, rel=1e-6)
    assert row["loglik"] == pytest.approx(-3 * math.log(100) - 3, rel=1e-9)
    assert row["aicc"] == pytest.approx(2 - 2 * row["loglik"] + 4 / (7 - 2))
    assert row["b10"] == pytest.approx(-100 * math.log(0.9), rel=1e-6)
    assert row["mean_lower"] < 100 < row["mean_upper"]
    assert (row["lives"], row["failures"], row["left_out"]) == (7, 3, 0)
    assert math.isnan(row["mu"])


def test_fewer_than_three_failures_give_one_row_without_a_law(reader: Reader) -> None:
    table = answer(reader, "survival", fit=True, by=("locomotive",), **INJECTOR).table
    assert table[["locomotive", "model", "failures"]].values.tolist() == [
        ["5A", "", 2],
        ["6B", "", 1],
    ]
    assert table["note"].tolist() == ["fewer than 3 failures: too few to fit"] * 2
    assert table["b10"].isna().all()


def test_no_failure_at_all_gives_a_sentence_and_no_law() -> None:
    sound = reader_of(railway())
    curve = answer(sound, "survival", **INJECTOR)
    assert curve.reading.key == "survival.nothing_failed"
    fitted = answer(sound, "survival", fit=True, **INJECTOR)
    assert fitted.table["failures"].tolist() == [0]


def test_fit_between_inspections_uses_the_interval() -> None:
    world = railway()
    for number, place in ((20, "1"), (40, "2"), (60, "1")):
        world.finding(day(number), action="replaced", position=place)
    found = answer(reader_of(world), "survival", fit=True, **INJECTOR)
    assert "between inspections" in found.basis.method
    # one of many that lies between two looks is enough to say so
    for number in range(5, 100, 10):
        world.finding(day(number), action="replaced", severity="in-service", locomotive="6B")
    mixed = answer(reader_of(world), "survival", fit=True, **INJECTOR)
    assert "between inspections" in mixed.basis.method
    exponential = found.table.set_index("model").loc["exponential"]
    # (15, 20], (35, 40] and (35, 40] of the second life: the mean lies below the exact 100
    exact = 300 / 3
    assert exact - 5 < exponential["scale"] < exact


def test_before_any_failure_the_lower_bound_is_exact_and_never_all(reader: Reader) -> None:
    # p ** n = 1 - level: none of n failed (Clopper & Pearson 1934)
    sound = answer(reader_of(railway()), "survival", **INJECTOR)
    assert sound.table[["age", "upper"]].values.tolist() == [[0.0, 1.0]]
    # two of four positions are watched to the end, day 100
    assert sound.table["lower"].tolist() == [pytest.approx(0.1 ** (1 / 2))]
    assert sound.notes[0].key == "survival.one_bound_without_failure"
    failing = answer(reader, "survival", **INJECTOR).table
    assert failing["lower"].iloc[0] == pytest.approx(0.1 ** (1 / 7))


def test_fit_says_when_locomotives_differ_by_more_than_chance() -> None:
    def keys(world: World) -> list[str]:
        return [n.key for n in answer(reader_of(world), "survival", fit=True, **INJECTOR).notes]

    exact = {"severity": "in-service", "action": "replaced"}
    uneven = railway()
    for number in range(5, 100, 10):
        uneven.finding(day(number), **exact).finding(day(number), position="2", **exact)
    assert "fit.one_locomotives_differ" in keys(uneven)  # 20 failures of 5A, none of 6B
    curve = answer(reader_of(uneven), "survival", **INJECTOR)
    assert "survival.one_locomotives_differ" in [note.key for note in curve.notes]
    assert "fit.one_locomotives_differ" not in keys(three_failures())


def test_fit_allows_for_alike_lives_where_there_are_enough_locomotives() -> None:
    def fitted(locomotives: int) -> Answer:
        world = World()
        for number in range(locomotives):
            name = f"{number:02d}"
            world.locomotive(name).daily(day(0), day(100), locomotive=name)
            for found in range(5, 100, 8 if number % 2 else 90):
                world.finding(day(found), locomotive=name, severity="in-service", action="replaced")
        return answer(reader_of(world), "survival", fit=True, **INJECTOR)

    few, enough = fitted(9), fitted(10)
    assert "fit.by_locomotive" not in [note.key for note in few.notes]
    assert "fit.by_locomotive" in [note.key for note in enough.notes]
    assert enough.basis.method.endswith("profile bounds by locomotive")
    assert few.basis.method.endswith("profile bounds")
    # every second locomotive fails twelve times, the others twice
    assert "fit.held_where_they_differ" in [note.key for note in enough.notes]
    assert "fit.one_locomotives_differ" in [note.key for note in few.notes]
    # one locomotive more would narrow the bounds, if its lives were unlike the others'
    widths = [
        found.table["mean_upper"].iloc[0] / found.table["mean_lower"].iloc[0]
        for found in (few, enough)
    ]
    assert widths[1] > widths[0]
