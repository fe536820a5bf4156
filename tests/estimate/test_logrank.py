"""The log-rank test: published tests, other software, what must not change it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lifelines.statistics import multivariate_logrank_test
from statsmodels.duration.survfunc import survdiff

from analytics.errors import EstimateError
from analytics.estimate.logrank import log_rank

REFERENCE = Path(__file__).parents[1] / "reference"


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


# Value from memory (classic textbook example, e.g. Kleinbaum & Klein, Survival Analysis), with
# which an independent recomputation and R's survdiff agree: 6-MP against placebo.
def test_remission_times_differ_as_the_textbooks_say() -> None:
    example = published("freireich-6mp-logrank")
    data, printed = example["data"], example["published"]
    found = log_rank(np.zeros(42), data["time"], data["event"], data["group_6MP"])
    within = example["tolerance"]["default"]
    assert found.groups == ("0", "1")
    assert found.chi2 == pytest.approx(printed["chisq"], abs=within)
    assert found.observed[1] == printed["observed_6MP"]
    assert found.expected[1] == pytest.approx(printed["expected_6MP"], abs=within)
    assert found.expected[0] == pytest.approx(printed["expected_placebo"], abs=within)
    assert found.chi2 == pytest.approx(example["recomputed"]["R_survdiff_chisq"], abs=1e-9)


# Therneau, vignette "A package for survival analysis in R", section 2.6, printed survdiff output;
# data Miller (1981), Survival Analysis.
def test_maintenance_trial_agrees_with_the_printed_output() -> None:
    example = published("miller-aml-logrank")
    data, printed = example["data"], example["published"]
    # The printout lists the maintained arm first.
    group = ["1 maintained" if arm else "2 not" for arm in data["maintained"]]
    found = log_rank(np.zeros(23), data["time"], data["event"], group)
    within = example["tolerance"]["default"]
    assert found.chi2 == pytest.approx(printed["chisq"], abs=example["tolerance"]["chisq"])
    assert found.observed.tolist() == printed["observed"]
    assert found.expected == pytest.approx(printed["expected"], abs=within)
    parts = (found.observed - found.expected) ** 2 / found.expected
    assert parts == pytest.approx(printed["(O-E)^2/E"], abs=within)
    assert found.p == pytest.approx(printed["p"], abs=within)


# Other software: statsmodels and lifelines, two to four groups with ties.
@pytest.mark.parametrize("groups", [2, 3, 4])
def test_groups_agree_with_two_libraries(groups: int) -> None:
    rng = np.random.default_rng(groups)
    time, failed = rng.integers(1, 20, 120).astype(float), rng.random(120) < 0.7
    group = rng.integers(0, groups, 120)
    found = log_rank(np.zeros(120), time, failed, group)
    theirs = multivariate_logrank_test(time, group, failed)
    assert (found.chi2, found.p) == pytest.approx((theirs.test_statistic, theirs.p_value))
    assert found.df == groups - 1
    chi2, p = survdiff(time, failed.astype(int), group)
    assert (found.chi2, found.p) == pytest.approx((chi2, p))


# Other software: statsmodels with delayed entry, entries and failures tied.
def test_late_entry_agrees_with_statsmodels() -> None:
    rng = np.random.default_rng(7)
    entry = rng.integers(0, 6, 150).astype(float)
    exit = entry + rng.integers(1, 12, 150)
    failed, group = rng.random(150) < 0.6, rng.integers(0, 2, 150)
    found = log_rank(entry, exit, failed, group)
    chi2, p = survdiff(exit, failed.astype(int), group, entry=entry)
    assert (found.chi2, found.p) == pytest.approx((chi2, p))


def test_order_and_clock_change_nothing() -> None:
    rng = np.random.default_rng(5)
    entry = rng.integers(0, 5, 80).astype(float)
    exit = entry + rng.integers(1, 10, 80)
    failed, group = rng.random(80) < 0.5, rng.choice(["a", "b", "c"], 80)
    found = log_rank(entry, exit, failed, group)
    order = rng.permutation(80)
    again = log_rank(60 * entry[order], 60 * exit[order], failed[order], group[order])
    assert again.chi2 == pytest.approx(found.chi2)
    assert again.observed.tolist() == found.observed.tolist()


def test_one_p_in_ten_is_below_a_tenth_where_groups_are_alike() -> None:
    rng = np.random.default_rng(6)
    below = 0
    for _ in range(600):
        time, censored = rng.exponential(1.0, 60), rng.exponential(2.0, 60)
        found = log_rank(
            np.zeros(60), np.minimum(time, censored), time <= censored, np.arange(60) % 3
        )
        below += found.p < 0.10
    # Binomial standard error 0.012.
    assert 0.07 < below / 600 < 0.13


@pytest.mark.parametrize(
    ("exit", "failed", "group"),
    [
        ([], [], []),
        ([1.0, 2.0], [1, 1], ["a", "a"]),
        ([1.0, 2.0], [0, 0], ["a", "b"]),
    ],
)
def test_nothing_to_compare_is_said(exit: list[float], failed: list[int], group: list[str]) -> None:
    found = log_rank(np.zeros(len(exit)), exit, failed, group)
    assert np.isnan(found.p)
    assert found.note == "survival.nothing_to_compare"


def test_groups_never_watched_together_cannot_be_compared() -> None:
    found = log_rank([0, 0, 10, 10], [4, 5, 14, 15], [1, 1, 1, 1], ["a", "a", "b", "b"])
    assert np.isnan(found.chi2)
    assert found.note == "survival.nothing_to_compare"


def test_all_failing_at_once_cannot_be_told_apart() -> None:
    found = log_rank(np.zeros(6), np.full(6, 3.0), np.ones(6), list("aabbcc"))
    assert found.note == "survival.nothing_to_compare"


def test_wrong_length_is_refused() -> None:
    with pytest.raises(EstimateError, match="one label a row"):
        log_rank([0.0], [1.0], [1], ["a", "b"])
