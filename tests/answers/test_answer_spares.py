"""Spares of a railway written by hand.

Oracle: renewals drawn from the law that `survival --fit` tells and the ages that `ages` lists;
counts and Poisson sums by hand.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pandas as pd
import pytest

from analytics.answers.spares import COLUMNS
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import H_A_DAY, answer, day, railway, reader_of, three_failures

PLACES = 4


def with_more(*failures: tuple[int, str], **locomotive: str) -> Reader:
    """Add failures of 5A, by day and position, to the three."""
    world = three_failures(**locomotive)
    for number, position in failures:
        world.finding(day(number), position=position, severity="in-service", action="replaced")
    return reader_of(world)


@cache
def five_failures() -> Reader:
    """5A position 1 fails on days 20, 60, 80, position 2 on day 90, 6B position 2 on day 30."""
    return with_more((80, "1"), (90, "2"))


def row_of(reader: Reader, **asked: object) -> pd.Series:
    table = answer(reader, "spares", component="injector", **asked).table
    assert tuple(table.columns) == COLUMNS
    assert len(table) == 1
    return table.iloc[0]


@pytest.mark.parametrize("days", [28, 100])
def test_expected_renewals_agree_with_drawn_ones(days: int) -> None:
    reader = five_failures()
    row = row_of(reader, lead_time=f"{days}d")
    fit = answer(reader, "survival", fit=True, component="injector", by=("component",)).table
    law = fit[fit["model"] == "weibull"].iloc[0]
    ages = answer(reader, "ages", component="injector").table["age"].to_numpy()
    assert row["positions"] == len(ages) == PLACES
    rng, draws = np.random.default_rng(7), 40_000
    shape, scale = law["shape"], law["scale"]
    used = (ages[:, None] / scale) ** shape + rng.exponential(size=(PLACES, draws))
    at = scale * used ** (1 / shape) - ages[:, None]
    count = np.zeros(draws)
    while np.any(at <= H_A_DAY * days):
        count += (at <= H_A_DAY * days).sum(axis=0)
        at = at + scale * rng.weibull(shape, size=at.shape)
    error = count.std() / math.sqrt(draws)
    assert row["expected"] == pytest.approx(count.mean(), abs=4 * error + 2e-3 * count.mean())


def test_part_of_unknown_age_has_the_long_run_rate() -> None:
    # records begin long after entry into service: nobody knows the first lives, so that the
    # positions not renewed since, 6B position 1 alone, run at 1 / mean life; 5 later are known
    later = ((80, "1"), (95, "1"), (40, "2"), (70, "2"), (90, "2"))
    reader = with_more(*later, in_service_from="2020-01-01")
    ages = answer(reader, "ages", component="injector").table
    unknown = ages[~ages["start_known"]]
    assert unknown[["locomotive", "position"]].to_numpy().tolist() == [["6B", 1]]
    fit = answer(reader, "survival", fit=True, component="injector", by=("component",)).table
    law = fit[fit["model"] == "weibull"].iloc[0]
    both = row_of(reader, lead_time="28d", locomotive="6B")
    assert both["positions"] == 2
    # by hand: position 2 was renewed on day 30, 20 days before the end
    left = 1 - math.exp((200 / law["scale"]) ** law["shape"] - (480 / law["scale"]) ** law["shape"])
    assert law["failures"] == 5
    one = both["expected"] - 28 * H_A_DAY / law["mean"]
    assert left <= one <= left * 1.5  # a second renewal within the 28 days adds a little


def test_stock_is_the_smallest_that_is_enough() -> None:
    for service in (0.5, 0.9, 0.99):
        row = row_of(five_failures(), lead_time="60d", service=service)
        assert row["spread"] == 1
        for stock, mean in ((row["stock"], row["expected"]), (row["stock_upper"], row["upper"])):
            chance = [math.exp(-mean) * mean**n / math.factorial(n) for n in range(stock + 1)]
            assert sum(chance) >= service
            assert sum(chance[:-1]) < service
        assert row["service"] == service


def test_bounds_follow_the_number_of_failures() -> None:
    # Garwood (1936): 5 failures have exact 90 % bounds 1.970 and 10.513
    row = row_of(five_failures())
    assert row["failures"] == 5
    assert row["lower"] / row["expected"] == pytest.approx(1.970 / 5, rel=1e-3)
    assert row["upper"] / row["expected"] == pytest.approx(10.513 / 5, rel=1e-3)


def test_what_was_needed_before_is_counted_in_equal_stretches() -> None:
    # by hand, back from day 100: 80 and 90 | 60 | 30 | 20, the first day of a stretch with it
    row = row_of(five_failures(), lead_time="25d")
    assert row["seen"] == pytest.approx(5 / 4)
    # both in one half: (3 - 2.5)^2 + (2 - 2.5)^2 = 0.5 is below the 2.5 of chance
    half = row_of(five_failures(), lead_time="50d")
    assert (half["seen"], half["spread"]) == (2.5, 1)


def test_locomotives_add_up() -> None:
    parts = [row_of(five_failures(), locomotive=name) for name in ("5A", "6B")]
    whole = row_of(five_failures())
    assert sum(part["expected"] for part in parts) == pytest.approx(whole["expected"])
    assert sum(part["positions"] for part in parts) == whole["positions"]
    assert {part["failures"] for part in parts} == {5}


@pytest.mark.parametrize("failures", [0, 1, 3])
def test_too_few_failures_are_said_so(failures: int) -> None:
    world = three_failures() if failures == 3 else railway()
    if failures == 1:
        world.finding(day(20), severity="in-service", action="replaced")
    found = answer(reader_of(world), "spares", component="injector")
    row = found.table.iloc[0]
    assert row[["expected", "lower", "upper", "stock", "stock_upper"]].isna().all()
    assert "too few failures" in row["note"]
    assert found.reading.key == "spares.nothing"


@pytest.mark.parametrize(
    "options", [{"service": 1.0}, {"service": 0.0}, {"lead_time": "2y"}, {"lead_time": "400d"}]
)
def test_what_cannot_be_asked_is_refused(options: dict[str, object]) -> None:
    with pytest.raises(ScopeError):
        answer(five_failures(), "spares", **options)
