"""Scores of forecasts. Oracles: closed form by hand; enumeration of all ways to break a tie."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from analytics.errors import EstimateError
from analytics.estimate.scores import (
    brier_terms,
    calibrate,
    chosen_most,
    clustered,
    log_terms,
)


def test_the_most_are_chosen_within_each_list() -> None:
    found = chosen_most([0.9, 0.1, 0.5, 0.2, 0.8], [0, 0, 0, 1, 1], [2, 1])
    assert found.tolist() == [1, 0, 1, 0, 1]


def test_ties_share_what_is_left_as_all_orders_would() -> None:
    # enumeration: three of one score after one above them, two places
    score = np.array([3.0, 1.0, 1.0, 1.0])
    mean = np.mean([[i in (0, order[0]) for i in range(4)] for order in permutations((1, 2, 3))], 0)
    assert chosen_most(score, np.zeros(4, int), [2]) == pytest.approx(mean)


def test_a_list_shorter_than_its_places_is_chosen_whole() -> None:
    assert chosen_most([1.0, 2.0], [0, 0], [5]).tolist() == [1.0, 1.0]
    assert chosen_most([], [], [3]).size == 0


def test_scores_of_two_forecasts_worked_by_hand() -> None:
    # chances 0.8 of what came and 0.3 of what did not: 0.04 and 0.09; -ln 0.8 and -ln 0.7
    came, weight = [1, 0], [1.0, 0.5]
    assert brier_terms([0.8, 0.3], came, weight) == pytest.approx([0.04, 0.045])
    expected = [-np.log(0.8), -0.5 * np.log(0.7)]
    assert log_terms([0.8, 0.3], came, weight) == pytest.approx(expected)


def test_a_chance_of_nothing_for_what_came_costs_much_but_not_without_end() -> None:
    assert log_terms([0.0], [1], [1.0]) == pytest.approx([-np.log(1e-6)])


def test_bounds_of_a_share_are_those_of_its_clusters() -> None:
    # 40 clusters alike but for one half that always and one half that never catches: the variance
    # of a mean of 40 draws of 0 or 1 is 0.25 / 40 (binomial), whatever each cluster holds
    cluster = np.repeat(np.arange(40), 25)
    caught = (cluster % 2).astype(float)
    parts = np.stack([caught, np.ones(1000)], axis=1)
    found = clustered(parts, cluster, lambda s: s[..., 0] / s[..., 1], draws=4000)
    assert found.value == 0.5
    reach = 1.645 * np.sqrt(0.25 / 40)
    assert (found.lower, found.upper) == pytest.approx((0.5 - reach, 0.5 + reach), abs=0.02)


def test_one_cluster_has_no_bounds_and_nothing_over_nothing_no_value() -> None:
    one = clustered([[1.0, 2.0]], [0], lambda s: s[..., 0] / s[..., 1])
    assert one.value == 0.5
    assert np.isnan([one.lower, one.upper]).all()
    none = clustered([[0.0, 0.0], [0.0, 0.0]], [0, 1], lambda s: s[..., 0] / s[..., 1])
    assert np.isnan([none.value, none.lower, none.upper]).all()
    with pytest.raises(EstimateError, match="one row for each"):
        clustered([[0.0, 0.0]], [0, 1], lambda s: s[..., 0])


def test_tenths_hold_what_came_and_short_follow_up_weighs_less() -> None:
    chance = np.repeat([0.1, 0.5], 10)
    came = np.r_[[1.0], np.zeros(9), np.ones(5), np.zeros(5)]
    weight = np.r_[np.ones(19), [0.0]]
    found = calibrate(chance, came, weight, np.arange(20) % 4, bins=2)
    assert found.n.tolist() == [10, 10]
    assert found.predicted == pytest.approx([0.1, 0.5])
    assert found.observed == pytest.approx([0.1, 5 / 9])
    assert np.all((found.lower <= found.observed) & (found.observed <= found.upper))
    assert calibrate([], [], [], []).n.size == 0
