"""The difference of two mean cumulative functions.

Oracles: `mean_cumulative_difference` where the sides have nothing in common, identities where they
have, and simulated fleets.
"""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimate.cumulative_contrast import (
    ONE_LOCOMOTIVE,
    Recurrent,
    mean_cumulative_contrast,
)
from analytics.estimate.recurrent import mean_cumulative, mean_cumulative_difference


def side(
    rng: np.random.Generator, rate: np.ndarray, *, first: int = 0, until: float = 100.0
) -> Recurrent:
    """One unit for each rate, failing at random at it, the first of them of cluster `first`."""
    counts = rng.poisson(rate * until)
    number = np.arange(rate.size)
    return Recurrent(
        event_age=rng.uniform(0, until, counts.sum()),
        event_unit=np.repeat(number, counts),
        entry=np.zeros(rate.size),
        exit=np.full(rate.size, until),
        window_unit=number,
        cluster=number + first,
        multiplicity=np.ones(rate.size),
    )


def joined(first: Recurrent, second: Recurrent) -> Recurrent:
    size = first.cluster.size
    return Recurrent(
        np.concatenate([first.event_age, second.event_age]),
        np.concatenate([first.event_unit, second.event_unit + size]),
        np.concatenate([first.entry, second.entry]),
        np.concatenate([first.exit, second.exit]),
        np.concatenate([first.window_unit, second.window_unit + size]),
        np.concatenate([first.cluster, second.cluster]),
        np.concatenate([first.multiplicity, second.multiplicity]),
    )


def test_without_a_common_locomotive_the_variances_add_up() -> None:
    rng = np.random.default_rng(1)
    first = side(rng, rng.gamma(2, 0.02, 15))
    second = side(rng, rng.gamma(2, 0.03, 20), first=15)
    found = mean_cumulative_contrast(first, second)
    curves = [
        mean_cumulative(one.event_age, one.event_unit, one.entry, one.exit, one.window_unit)
        for one in (first, second)
    ]
    plain = mean_cumulative_difference(curves[0], curves[1])
    assert found.age == pytest.approx(plain.age)
    assert found.difference == pytest.approx(plain.difference)
    assert found.lower == pytest.approx(plain.lower)
    assert found.upper == pytest.approx(plain.upper)
    assert (found.at_risk[0], found.at_risk_against[0]) == (15, 20)


def test_a_group_against_itself_differs_by_nothing() -> None:
    rng = np.random.default_rng(2)
    group = side(rng, rng.gamma(2, 0.02, 12))
    found = mean_cumulative_contrast(group, group)
    for part in (found.difference, found.lower, found.upper):
        assert np.all(part == 0)


def test_by_hand_two_against_two() -> None:
    """Events at 10 of one of two units, at 20 of one of two others: (1/2, 0), bounds by Welch.

    What each unit adds: 1/2 (1 - 1/2) and -1/2 * 1/2, squared 1/16 each, summed 1/8, times 2; both
    sides alike, so 1/4 at 10 and 1/2 at 20; steps with 2 of 2 watched count as enough.
    """
    first = Recurrent(
        np.array([10.0]), np.array([0]), np.zeros(2), np.full(2, 30.0), np.arange(2),
        np.arange(2), np.ones(2),
    )  # fmt: skip
    second = Recurrent(
        np.array([20.0]), np.array([0]), np.zeros(2), np.full(2, 30.0), np.arange(2),
        np.arange(2) + 2, np.ones(2),
    )  # fmt: skip
    found = mean_cumulative_contrast(first, second)
    assert found.age.tolist() == [0.0, 10.0, 20.0]
    assert found.difference.tolist() == [0.0, 0.5, 0.0]
    # Student's 0.95 quantile: 6.314 with 1, 2.920 with 2 degrees of freedom (any table)
    assert found.upper[1] - 0.5 == pytest.approx(6.314 * 0.5, abs=0.001)
    assert found.upper[2] == pytest.approx(2.920 * np.sqrt(0.5), abs=0.001)


def test_common_locomotives_narrow_what_they_share() -> None:
    """Two components of each locomotive, whose rates go together, are compared within it."""
    rng = np.random.default_rng(3)
    rate = rng.gamma(1.0, 0.1, 40)
    first, second = side(rng, rate), side(rng, rate)
    apart = Recurrent(
        second.event_age, second.event_unit, second.entry, second.exit, second.window_unit,
        second.cluster + 40, second.multiplicity,
    )  # fmt: skip
    within = mean_cumulative_contrast(first, second)
    between = mean_cumulative_contrast(first, apart)
    assert within.difference == pytest.approx(between.difference)
    assert np.all((within.upper - within.lower)[-20:] < 0.6 * (between.upper - between.lower)[-20:])


def test_counts_from_where_both_are_watched() -> None:
    rng = np.random.default_rng(4)
    first, second = side(rng, np.full(6, 0.1)), side(rng, np.full(6, 0.1), first=6, until=60.0)
    late = Recurrent(
        first.event_age[first.event_age > 20], first.event_unit[first.event_age > 20],
        np.full(6, 20.0), first.exit, first.window_unit, first.cluster, first.multiplicity,
    )  # fmt: skip
    found = mean_cumulative_contrast(late, second)
    assert found.age[0] == 20.0
    assert found.age[-1] <= 60.0
    assert found.difference[0] == 0.0


def test_one_locomotive_has_no_bounds_and_no_overlap_no_rows() -> None:
    rng = np.random.default_rng(5)
    found = mean_cumulative_contrast(
        side(rng, np.full(1, 0.1)), side(rng, np.full(5, 0.1), first=1)
    )
    assert np.isnan(found.lower).all()
    assert found.note == ONE_LOCOMOTIVE
    early = side(rng, np.full(3, 0.1), until=10.0)
    late = Recurrent(
        np.zeros(0), np.zeros(0, dtype=int), np.full(3, 50.0), np.full(3, 60.0), np.arange(3),
        np.arange(3), np.ones(3),
    )  # fmt: skip
    assert mean_cumulative_contrast(early, late).age.size == 0


@pytest.mark.campaign
@pytest.mark.parametrize("shared", [False, True])
def test_nine_bounds_in_ten_hold_no_difference(shared: bool) -> None:
    """A fleet of locomotives that differ (gamma, CV 0.7), split at random, or two parts of each."""
    rng = np.random.default_rng(6)
    held = []
    for _ in range(400):
        rate = rng.gamma(2.0, 0.02, 30)
        if shared:
            two = side(rng, rate), side(rng, rate)
        else:
            two = side(rng, rate[:15]), side(rng, rate[15:], first=15)
        found = mean_cumulative_contrast(*two)
        middle = found.age.size // 2
        held.append(
            [
                bool(found.lower[row] <= 0 <= found.upper[row])
                for row in (middle, found.age.size - 1)
            ]
        )
    # Binomial standard error 0.015.
    shares = np.mean(held, axis=0)
    assert np.all((shares > 0.86) & (shares < 0.95)), shares


def test_joined_units_of_one_locomotive_count_as_one() -> None:
    """Two components of each of ten locomotives against ten others: clusters, not units."""
    rng = np.random.default_rng(7)
    rate = rng.gamma(2, 0.05, 10)
    parts = joined(side(rng, rate), side(rng, rate))
    other = side(rng, rng.gamma(2, 0.05, 10), first=10)
    found = mean_cumulative_contrast(parts, other)
    assert found.at_risk[0] == 20
    alone = mean_cumulative_contrast(
        Recurrent(
            parts.event_age, parts.event_unit, parts.entry, parts.exit, parts.window_unit,
            np.concatenate([np.arange(10), np.arange(20, 30)]), parts.multiplicity,
        ),
        other,
    )  # fmt: skip
    width, independent = found.upper[-1] - found.lower[-1], alone.upper[-1] - alone.lower[-1]
    assert width > independent
