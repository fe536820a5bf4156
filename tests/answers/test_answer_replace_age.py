"""Renewal by plan on railways written by hand and drawn with a seed.

Oracle: age replacement by quadrature and direct minimisation (Barlow & Proschan 1965, Mathematical
Theory of Reliability, chapter 4), of the law that `survival --fit` tells; sums by hand.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, optimize
from scipy.special import gamma

from analytics.answers.replace_age import COLUMNS, CURVE
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import H_A_DAY, answer, day, railway, reader_of, three_failures
from tests.history.world import CATALOGUE, World

DAYS = 500
FAILURE, PLANNED = 100.0, 20.0
SAFE = CATALOGUE.replace("in_service = true", "in_service = true\nsafety = true")


@cache
def worn(shape: float = 3.0, *, catalogue: str = CATALOGUE, costs: bool = True) -> Reader:
    """Two locomotives with two injectors each, 10 h a day; lives of scale 300 h, renewed at once.

    A failure costs 90 or 110 in turn and is down for 12 h; two renewals by plan cost 15 and 25 and
    take 6 h of labour.
    """
    world, rng = World(catalogue=catalogue), np.random.default_rng(11)
    for name in ("5A", "6B"):
        world.locomotive(name, depot="North")
        for number in range(0, DAYS + 1, 10):
            world.inspections(day(number), locomotive=name, depot="North")
        for number in range(0, DAYS + 1, 50):
            world.add("usage", locomotive=name, read_at=day(number), engine_hours=H_A_DAY * number)
        for position in ("1", "2"):
            _fail(world, name, position, rng.weibull(shape, size=DAYS) * 300 / H_A_DAY, costs)
        price = {"cost": 15.0 if name == "5A" else 25.0} if costs else {}
        world.work(day(DAYS - 1), locomotive=name, labour_hours=6.0, **price)
    return reader_of(world)


def _fail(world: World, name: str, position: str, lives: np.ndarray, costs: bool) -> None:
    ages = np.cumsum(np.maximum(np.round(lives * 1440), 1))  # minutes
    for number, age in enumerate(ages[ages < (DAYS - 2) * 1440]):
        found = f"{pd.Timestamp(day(0)) + pd.Timedelta(minutes=int(age)):%Y-%m-%dT%H:%M}"
        price = {"cost": 90.0 + 20.0 * (number % 2)} if costs else {}
        world.finding(
            found, locomotive=name, position=position, severity="in-service", action="replaced",
            closed_at=found, down_hours=12.0, **price,
        )  # fmt: skip


def law(reader: Reader, level: float = 0.90) -> pd.Series:
    table = answer(
        reader, "survival", fit=True, component="injector", by=("component",), level=level
    ).table
    return table[table["model"] == "weibull"].iloc[0]


def best_of(shape: float, scale: float, failure: float, planned: float) -> tuple[float, float]:
    """Return the age of least cost and its saving against running to failure, by quadrature."""

    def reach(age: float) -> float:
        return float(np.exp(-((age / scale) ** shape)))

    def rate(age: float) -> float:
        lost = failure * (1 - reach(age)) + planned * reach(age)
        return float(lost / integrate.quad(reach, 0, age)[0])

    bounds = (0.02 * scale, 4 * scale)
    found = optimize.minimize_scalar(rate, bounds=bounds, method="bounded")
    return float(found.x), float(1 - found.fun / (failure / (scale * gamma(1 + 1 / shape))))


def only(reader: Reader, **options: object) -> pd.Series:
    table = answer(reader, "replace-age", component="injector", **options).table
    assert tuple(table.columns) == COLUMNS
    assert len(table) == 1
    return table.iloc[0]


def test_age_and_saving_are_those_of_direct_minimisation() -> None:
    reader = worn()
    row, fit = only(reader, failure_cost=FAILURE, planned_cost=PLANNED), law(reader)
    age, saving = best_of(fit["shape"], fit["scale"], FAILURE, PLANNED)
    assert (row["class"], row["clock"], row["failures"]) == ("Alder", "hours", fit["failures"])
    assert row["age"] == pytest.approx(age, rel=2e-3)
    assert row["saving"] == pytest.approx(saving, abs=1e-3)
    assert row["rate_failure"] == pytest.approx(FAILURE / fit["mean"], rel=1e-4)
    assert row["rate"] == pytest.approx((1 - saving) * FAILURE / fit["mean"], rel=1e-3)
    assert row["weeks"] == pytest.approx(row["age"] / (7 * H_A_DAY))
    assert row["age_from"] < age < row["age_to"]
    assert row["note"] == ""


def test_bounds_of_the_saving_are_those_of_the_shape() -> None:
    reader = worn()
    row, fit = only(reader, failure_cost=FAILURE, planned_cost=PLANNED), law(reader)
    for bound, of in (("saving_lower", "shape_lower"), ("saving_upper", "shape_upper")):
        saving = best_of(fit[of], 1.0, FAILURE, PLANNED)[1]
        assert row[bound] == pytest.approx(saving, abs=1e-3)
    one_sided = law(reader, level=0.80)["shape_lower"]
    assert row["shape_lower"] == pytest.approx(one_sided)


def test_costs_on_record_and_days_down_by_hand() -> None:
    reader = worn()
    found = only(reader)
    costs = answer(reader, "findings", component="injector").table["cost"]
    assert set(costs) == {90.0, 110.0}
    assert found["failure_cost"] == pytest.approx(costs.mean())
    assert found["planned_cost"] == 20.0
    dear = only(reader, day_cost=40.0)
    assert dear["failure_cost"] == pytest.approx(costs.mean() + 40 * 12 / 24)
    assert dear["planned_cost"] == pytest.approx(20 + 40 * 6 / 24)


def test_curve_is_the_cost_rate_with_the_best_age_marked() -> None:
    reader = worn()
    options = {"failure_cost": FAILURE, "planned_cost": PLANNED}
    table = answer(reader, "replace-age", component="injector", curve=True, **options).table
    row, fit = only(reader, **options), law(reader)
    assert tuple(table.columns) == CURVE
    assert table["is_best"].sum() == 1
    best = table[table["is_best"]].iloc[0]
    assert abs(best["age"] - row["age"]) <= np.diff(table["age"]).max() / 2
    for at in (5, 20, 50):
        age = table["age"][at]
        mean = integrate.quad(lambda x: np.exp(-((x / fit["scale"]) ** fit["shape"])), 0, age)[0]
        left = np.exp(-((age / fit["scale"]) ** fit["shape"]))
        rate = (FAILURE * (1 - left) + PLANNED * left) / mean
        assert table["rate"][at] == pytest.approx(rate, rel=1e-3)
    assert (table["rate_lower"] <= table["rate"]).all()
    assert (table["rate"] <= table["rate_upper"]).all()


def test_safety_component_has_no_figure_of_running_to_failure() -> None:
    plain = {"failure_cost": FAILURE, "planned_cost": PLANNED}
    row = only(worn(catalogue=SAFE), **plain)
    assert "rule or the maker" in row["note"]
    none = ["rate_failure", "saving", "saving_lower", "saving_upper"]
    assert row[none].isna().all()
    assert row["age"] == pytest.approx(only(worn(), **plain)["age"])
    curve = answer(
        worn(catalogue=SAFE), "replace-age", component="injector", curve=True, **plain
    ).table
    assert curve["age"].max() <= row["age"] * 1.05
    assert curve["is_best"].iloc[-1]


def test_lives_without_wear_have_no_case() -> None:
    row = only(worn(1.0), failure_cost=FAILURE, planned_cost=1.0)
    assert row["shape_lower"] < 1
    assert np.isnan(row["age"])
    assert "does not clearly" in row["note"]


def test_saving_is_not_told_too_high_where_wear_is_slight() -> None:
    # exact: with shape 1.5 or so and half the cost nothing or next to nothing is saved
    reader = worn(1.6)
    row, fit = only(reader, failure_cost=FAILURE, planned_cost=0.5 * FAILURE), law(reader)
    assert row["shape_lower"] > 1
    exact = max(best_of(fit["shape"], 1.0, FAILURE, 0.5 * FAILURE)[1], 0.0)
    assert row["saving"] <= exact + 2e-3
    assert row["saving_lower"] == pytest.approx(0.0, abs=1e-3)
    assert np.isnan(row["age"])
    assert "no case for planned replacement" in row["note"]


@pytest.mark.parametrize("planned", [FAILURE, 2 * FAILURE])
def test_planned_work_that_costs_as_much_has_no_case(planned: float) -> None:
    row = only(worn(), failure_cost=FAILURE, planned_cost=planned)
    assert np.isnan(row["age"])
    assert np.isnan(row["saving"])
    assert "no more than the work by plan" in row["note"]


def test_without_costs_on_record_it_says_what_to_give() -> None:
    reader = worn(costs=False)
    row = only(reader)
    assert row[["failure_cost", "planned_cost"]].isna().all()
    assert "--failure-cost" in row["note"]
    assert only(reader, failure_cost=FAILURE, planned_cost=PLANNED)["age"] > 0


@pytest.mark.parametrize("failures", [0, 1, 2])
def test_few_failures_give_no_row(failures: int) -> None:
    world = railway()
    for number in range(failures):
        world.finding(day(20 + 20 * number), severity="in-service", action="replaced")
    found = answer(reader_of(world), "replace-age", failure_cost=5.0, planned_cost=1.0)
    assert found.table.empty
    assert tuple(found.table.columns) == COLUMNS
    assert found.reading.key == "replacement.nothing"
    curve = answer(reader_of(world), "replace-age", failure_cost=5.0, planned_cost=1.0, curve=True)
    assert curve.table.empty
    assert tuple(curve.table.columns) == CURVE


def test_three_failures_alone_are_no_wear_for_sure() -> None:
    # they came at 200, 400 and 300 h, among lives of up to 1,000 h without a failure
    row = only(reader_of(three_failures()), failure_cost=5.0, planned_cost=1.0)
    assert row["failures"] == 3
    assert row["shape_lower"] < 1
    assert np.isnan(row["age"])


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"failure_cost": 0.0}, "failure_cost"),
        ({"planned_cost": -1.0}, "planned_cost"),
        ({"failure_cost": float("nan")}, "failure_cost"),
        ({"day_cost": -1.0}, "day_cost"),
    ],
)
def test_impossible_costs_are_refused(options: dict[str, float], said: str) -> None:
    with pytest.raises(ScopeError, match=said):
        answer(worn(), "replace-age", **options)
