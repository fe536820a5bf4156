"""Time to restoration: the mean of a lognormal law with Cox's bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from analytics.errors import EstimateError
from analytics.estimate.restoration import estimate_restoration

# Forty lengths whose logs have mean 5.127 and variance 1.010, as in the example of Olsson (2005),
# Journal of Statistics Education 13(1) (n, mean and variance from memory); his bounds, Cox's with
# Student's t, are worked out here by hand: 5.632 +- 2.0227 sqrt(1.010/40 + 1.010^2/78).
LOGS = stats.norm.ppf((np.arange(40) + 0.5) / 40)
LOGS = 5.127 + (LOGS - LOGS.mean()) / LOGS.std(ddof=1) * math.sqrt(1.010)

NOTES = ("", "restoration.not_lognormal", "restoration.few_for_bounds")


def test_example_of_olsson() -> None:
    found = estimate_restoration(np.exp(LOGS), level=0.95)
    reach = 2.0227 * 0.19578
    assert found.mean == pytest.approx(math.exp(5.632), rel=1e-6)
    assert found.mean_lower == pytest.approx(math.exp(5.632 - reach), rel=1e-3)
    assert found.mean_upper == pytest.approx(math.exp(5.632 + reach), rel=1e-3)
    assert found.median == pytest.approx(math.exp(5.127), rel=1e-6)
    assert (found.restored, found.still_down, found.note) == (40, 0, "")


# Other software: scipy's lognormal law at the same mu and sigma.
@given(st.lists(st.floats(0.1, 500), min_size=3, max_size=30, unique=True))
def test_mean_and_median_are_those_of_scipys_law(hours: list[float]) -> None:
    found = estimate_restoration(hours)
    if found.note not in NOTES or found.sigma > 5:
        return
    law = stats.lognorm(s=found.sigma, scale=math.exp(found.mu))
    assert found.mean == pytest.approx(law.mean())
    assert found.median == pytest.approx(law.median())
    if len(hours) >= 5:
        assert found.mean_lower < found.mean < found.mean_upper


def test_times_still_running_agree_with_scipys_maximum() -> None:
    rng = np.random.default_rng(5)
    true = rng.lognormal(2.0, 0.8, 60)
    cut = rng.uniform(4, 40, 60)
    hours, ended = np.minimum(true, cut), true <= cut
    found = estimate_restoration(hours, ended)

    def lost(at: np.ndarray) -> float:
        z = (np.log(hours) - at[0]) / math.exp(at[1])
        return -float(np.sum(np.where(ended, stats.norm.logpdf(z) - at[1], stats.norm.logsf(z))))

    best = optimize.minimize(lost, [1.5, 0.0], method="Nelder-Mead", options={"xatol": 1e-8})
    assert found.mu == pytest.approx(best.x[0], abs=1e-4)
    number = ended.sum()
    assert found.sigma == pytest.approx(
        math.exp(best.x[1]) * math.sqrt(number / (number - 1)), rel=1e-4
    )
    assert found.still_down == 60 - number


def test_an_interval_still_running_lengthens_the_mean() -> None:
    """Leaving it out would favour the short ones."""
    ended = [3.0, 5.0, 8.0, 4.0, 6.0]
    with_open = estimate_restoration([*ended, 60.0], [True] * 5 + [False])
    assert with_open.mean > estimate_restoration(ended).mean


def test_a_unit_of_time_changes_nothing_else() -> None:
    rng = np.random.default_rng(2)
    hours, ended = rng.lognormal(1, 1, 20), rng.random(20) < 0.8
    one, other = estimate_restoration(hours, ended), estimate_restoration(60 * hours, ended)
    assert other.mean_lower == pytest.approx(60 * one.mean_lower, rel=1e-6)
    assert other.mean_upper == pytest.approx(60 * one.mean_upper, rel=1e-6)


@pytest.mark.parametrize(
    ("hours", "restored", "note"),
    [
        ([], None, "restoration.too_few"),
        ([2.0, 3.0], None, "restoration.too_few"),
        ([2.0, 3.0, 4.0], [True, True, False], "restoration.too_few"),
        ([2.0, 2.0, 2.0], None, "restoration.all_equal"),
    ],
)
def test_too_little_gives_a_note_and_no_figure(
    hours: list[float], restored: list[bool] | None, note: str
) -> None:
    found = estimate_restoration(hours, restored)
    assert found.note == note
    assert math.isnan(found.mean)
    assert math.isnan(found.mean_upper)


def test_few_made_good_have_a_mean_and_no_bounds() -> None:
    four, five = [2.0, 8.0, 3.0, 11.0], [2.0, 8.0, 3.0, 11.0, 5.0]
    found = estimate_restoration(four)
    logs = np.log(four)
    assert found.mean == pytest.approx(math.exp(logs.mean() + logs.var(ddof=1) / 2))
    assert math.isnan(found.mean_lower)
    assert math.isnan(found.mean_upper)
    assert found.note == "restoration.few_for_bounds"
    assert estimate_restoration([*four, 40.0], [True] * 4 + [False]).note == found.note
    assert estimate_restoration(five).mean_upper > 0


def test_evenly_spread_times_are_said_not_to_be_lognormal() -> None:
    """Their average is 5; a lognormal law of the same logs has a mean of over 6."""
    found = estimate_restoration(np.linspace(0.01, 10, 500))
    assert found.note == "restoration.not_lognormal"
    assert found.mean_lower > 5.005


def test_a_length_of_nothing_is_refused() -> None:
    with pytest.raises(EstimateError, match="longer than 0"):
        estimate_restoration([1.0, 0.0, 2.0])


@pytest.mark.campaign
@pytest.mark.parametrize("size", [6, 30])
def test_bounds_hold_the_true_mean(size: int) -> None:
    """Nominal 0.90; METHODS section 11 passes 0.87 and above."""
    rng = np.random.default_rng(11)
    truth = math.exp(1.5 + 0.9**2 / 2)
    runs = 3_000
    found = [estimate_restoration(rng.lognormal(1.5, 0.9, size)) for _ in range(runs)]
    held = sum(one.mean_lower <= truth <= one.mean_upper for one in found)
    assert held / runs >= 0.87


def test_bounds_by_locomotive_are_those_of_the_sums_by_hand() -> None:
    # Twelve locomotives with two equal lengths each: within one locomotive nothing varies, so the
    # 24 lengths say no more than 12. By hand: pull = (d + (d^2 - s^2) / 2) / n of each log's
    # distance d from the mean, added up in twos, squares times 12/11, Student's t(11) = 1.79588.
    one = np.linspace(1.0, 4.0, 12)
    logs, locomotive = np.repeat(one, 2), np.repeat(np.arange(12), 2)
    away = logs - logs.mean()
    pull = (away + away**2 / 2) / 24
    pull -= pull.mean()
    reach = 1.79588 * math.sqrt(12 / 11 * np.sum((pull[::2] + pull[1::2]) ** 2))
    found = estimate_restoration(np.exp(logs), cluster=locomotive)
    assert math.log(found.mean_upper / found.mean) == pytest.approx(reach, rel=1e-4)
    assert math.log(found.mean / found.mean_lower) == pytest.approx(reach, rel=1e-4)
    alone = estimate_restoration(np.exp(logs))
    assert alone.mean_upper < found.mean_upper
    assert alone.mean == found.mean
    named = estimate_restoration(np.exp(logs), cluster=[f"L{n}" for n in locomotive])
    assert named == found
    few = estimate_restoration(np.exp(logs), cluster=locomotive % 9)
    assert few == alone


@pytest.mark.parametrize(("down", "runs"), [(0.0, 400), (0.15, 100)])
def test_bounds_by_locomotive_hold_where_locomotives_differ(down: float, runs: int) -> None:
    """Own means by locomotive, log deviation 0.3; 0.90 +- 3 Monte-Carlo errors of the runs."""
    rng = np.random.default_rng(6)
    truth = math.exp(2.0 + (0.3**2 + 0.5**2) / 2)
    held = alone_held = 0
    for _ in range(runs):
        of = rng.integers(0, 24, 150)
        hours = np.exp(2.0 + rng.normal(0, 0.3, 24)[of] + rng.normal(0, 0.5, 150))
        cut = rng.exponential(truth / down, 150) if down else np.full(150, np.inf)
        ended, hours = hours <= cut, np.minimum(hours, cut)
        found = estimate_restoration(hours, ended, cluster=of)
        held += found.mean_lower <= truth <= found.mean_upper
        alone = estimate_restoration(hours, ended)
        alone_held += alone.mean_lower <= truth <= alone.mean_upper
    assert held / runs == pytest.approx(0.90, abs=3 * math.sqrt(0.09 / runs))
    assert alone_held / runs < 0.80
