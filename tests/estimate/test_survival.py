"""Kaplan-Meier and Nelson-Aalen: published curves, other software, late entry, what must hold."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from scipy import stats
from statsmodels.duration.survfunc import SurvfuncRight

from analytics.errors import EstimateError
from analytics.estimate.survival import (
    SurvivalCurve,
    kaplan_meier,
    median_from_curve,
    nelson_aalen,
    survival_at,
)

REFERENCE = Path(__file__).parents[1] / "reference"


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


def remission() -> tuple[np.ndarray, np.ndarray, np.ndarray, dict[str, Any]]:
    example = published("freireich-6mp-kaplan-meier")
    time = np.array(example["data"]["time_weeks"])
    return np.zeros(time.size), time, np.array(example["data"]["event"]), example


def read(curve: SurvivalCurve, age: float) -> float:
    return float(curve.survival[np.searchsorted(curve.age, age, side="right") - 1])


# NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.1.5: 20 units, 6 failures.
def test_survival_agrees_with_the_nist_handbook() -> None:
    example = published("nist-8215-kaplan-meier")
    data = example["data"]
    ages = data["failures"] + data["removed"] + [data["end"]] * data["units_at_end"]
    failed = [1] * len(data["failures"]) + [0] * (len(ages) - len(data["failures"]))
    curve = kaplan_meier(np.zeros(len(ages)), ages, failed, least_at_risk=0)
    exactly = example["tolerance"]["default"]
    assert read(curve, 10) == pytest.approx(example["published"]["R10"], abs=exactly)
    assert read(curve, 32) == pytest.approx(example["published"]["R32"], abs=exactly)
    assert curve.at_risk[1:].tolist() == example["recomputed"]["n"]
    assert curve.survival[1:] == pytest.approx(example["recomputed"]["R"], abs=exactly)


# Freireich et al. (1963), Blood 21, 699-716, 6-MP arm, as printed by R's survfit.
def test_survival_and_greenwood_error_agree_with_the_printed_table() -> None:
    entry, time, event, example = remission()
    curve = kaplan_meier(entry, time, event, level=0.95, least_at_risk=0)
    printed, within = example["published"], example["tolerance"]["default"]
    assert curve.age[1:].tolist() == printed["time"]
    assert curve.at_risk[1:].tolist() == printed["n_risk"]
    survival = curve.survival[1:]
    assert survival == pytest.approx(printed["survival"], abs=within)
    # The log-log bounds carry Greenwood's error, from which the printed log bounds follow.
    z = stats.norm.ppf(0.975)
    spread = np.log(np.log(curve.lower[1:]) / np.log(survival)) / z
    error = spread * np.abs(np.log(survival)) * survival
    assert error == pytest.approx(printed["greenwood_se"], abs=example["tolerance"]["greenwood_se"])
    lower = survival * np.exp(-z * error / survival)
    upper = np.minimum(survival * np.exp(z * error / survival), 1.0)
    assert lower == pytest.approx(printed["lower95_log"], abs=within)
    assert upper == pytest.approx(printed["upper95_log"], abs=within)


# The same data: log-log limits by R 4.2.2, survival 3.5-3, conf.type = "log-log".
def test_log_log_bounds_agree_with_other_software() -> None:
    entry, time, event, example = remission()
    curve = kaplan_meier(entry, time, event, level=0.95, least_at_risk=0)
    lower, upper = example["recomputed"]["loglog95_R"]
    assert curve.lower[1:] == pytest.approx(lower, abs=1e-9)
    assert curve.upper[1:] == pytest.approx(upper, abs=1e-9)
    # Median 23 weeks: the same printout (records, events, median) in R; read off the table here.
    assert median_from_curve(curve).median == 23.0


# The same data: Nelson-Aalen with the variance sum d / n^2, recomputed independently.
def test_cumulative_hazard_agrees_with_the_recomputed_table() -> None:
    entry, time, event, example = remission()
    curve = nelson_aalen(entry, time, event, level=0.95, least_at_risk=0)
    hazard = np.array(example["recomputed"]["nelson_aalen"])
    error = np.array(example["recomputed"]["nelson_aalen_se"])
    assert curve.cumulative_hazard[1:] == pytest.approx(hazard, abs=1e-12)
    spread = np.exp(stats.norm.ppf(0.975) * error / hazard)
    assert curve.upper[1:] == pytest.approx(hazard * spread, rel=1e-9)
    assert curve.lower[1:] == pytest.approx(hazard / spread, rel=1e-9)


# Miller (1981), Survival Analysis: maintained arm, recomputed in the reference file (and R).
def test_survival_of_the_maintained_arm_agrees() -> None:
    example = published("miller-aml-logrank")
    mine = np.array(example["data"]["maintained"]) == 1
    time, event = np.array(example["data"]["time"])[mine], np.array(example["data"]["event"])[mine]
    curve = kaplan_meier(np.zeros(time.size), time, event, least_at_risk=0)
    assert curve.survival[1:] == pytest.approx(example["recomputed"]["km_maintained"], abs=1e-12)


def late_lives(rng: np.random.Generator, size: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Whole-number ages, so that entries, exits and failures tie."""
    entry = rng.integers(0, 6, size) * (rng.random(size) < 0.6)
    exit = entry + rng.integers(1, 15, size)
    return entry.astype(float), exit.astype(float), rng.random(size) < 0.6


# Other software: lifelines' and statsmodels' Kaplan-Meier with delayed entry and ties.
@pytest.mark.parametrize("seed", range(20))
def test_late_entry_with_ties_agrees_with_two_libraries(seed: int) -> None:
    entry, exit, failed = late_lives(np.random.default_rng(seed), 60)
    curve = kaplan_meier(entry, exit, failed, least_at_risk=0)
    theirs = KaplanMeierFitter().fit(exit, failed, entry=entry)
    ages = curve.age[1:]
    assert curve.survival[1:] == pytest.approx(theirs.predict(ages).to_numpy(), abs=1e-12)
    other = SurvfuncRight(exit, failed.astype(int), entry=entry)
    assert ages == pytest.approx(other.surv_times)
    assert curve.survival[1:] == pytest.approx(other.surv_prob, abs=1e-12)
    assert curve.at_risk[1:].tolist() == other.n_risk.tolist()


# Identity: without censoring the curve is the empirical share of survivors.
def test_survival_is_the_empirical_share_without_censoring() -> None:
    ages = np.random.default_rng(1).integers(1, 40, 200).astype(float)
    curve = kaplan_meier(np.zeros(200), ages, np.ones(200), least_at_risk=0)
    shares = [(ages > age).mean() for age in curve.age]
    assert curve.survival == pytest.approx(shares, abs=1e-12)


# Closed form: without ties a clustered variance, one cluster a life, is Greenwood's n / (n - 1).
def test_clustered_variance_of_single_lives_is_greenwoods() -> None:
    rng = np.random.default_rng(2)
    time, failed = rng.exponential(100, 80), rng.random(80) < 0.7
    plain = kaplan_meier(np.zeros(80), time, failed, least_at_risk=0)
    clustered = kaplan_meier(np.zeros(80), time, failed, cluster=np.arange(80), least_at_risk=0)
    alive = plain.survival[1:] > 0
    ratio = (
        np.log(np.log(clustered.lower[1:][alive]) / np.log(plain.survival[1:][alive]))
        / np.log(np.log(plain.lower[1:][alive]) / np.log(plain.survival[1:][alive]))
        * (stats.norm.ppf(0.95) / stats.t.ppf(0.95, 79))
    )
    assert ratio == pytest.approx(np.full(ratio.size, np.sqrt(80 / 79)), rel=1e-9)
    assert clustered.method == "kaplan-meier-clustered"


def test_clusters_of_alike_lives_widen_the_bounds() -> None:
    rng = np.random.default_rng(3)
    cluster = np.repeat(np.arange(15), 8)
    time = rng.exponential(100.0, 15)[cluster] * rng.uniform(0.9, 1.1, cluster.size)
    plain = kaplan_meier(np.zeros(time.size), time, np.ones(time.size))
    clustered = kaplan_meier(np.zeros(time.size), time, np.ones(time.size), cluster=cluster)
    middle = np.argmin(np.abs(plain.survival - 0.5))
    assert clustered.survival == pytest.approx(plain.survival)
    width = clustered.upper[middle] - clustered.lower[middle]
    assert width > 1.5 * (plain.upper[middle] - plain.lower[middle])


def test_few_clusters_fall_back_to_greenwood_and_say_so() -> None:
    entry, time, event, _ = remission()
    plain = kaplan_meier(entry, time, event)
    clustered = kaplan_meier(entry, time, event, cluster=np.arange(21) % 9)
    assert clustered.note == "survival.few_clusters"
    assert clustered.lower == pytest.approx(plain.lower)


# By hand: of 20 lives entering one a unit at ages 0, 1, ..., five are at risk from age 4 on.
def test_curve_starts_where_enough_are_watched_and_ends_where_few_are() -> None:
    entry = np.arange(20.0)
    exit = np.full(20, 30.0)
    exit[:17] = 21.0 + np.arange(17) / 4
    failed = np.ones(20, dtype=bool)
    curve = kaplan_meier(entry, exit, failed)
    assert (curve.origin_age, curve.note) == (4.0, "survival.conditional")
    assert curve.age[0] == 4.0
    assert curve.survival[0] == 1.0
    assert curve.at_risk[0] == 5
    # The 16th failure leaves four: the curve ends there, its failure still counted.
    assert curve.cut_age == exit[15]
    assert curve.age[-1] == exit[15]
    assert curve.at_risk[-1] == 5
    assert (curve.lives, curve.failures, int(curve.events.sum())) == (20, 20, 16)


def test_small_sample_is_drawn_whole_and_says_so() -> None:
    curve = kaplan_meier(np.zeros(3), [10.0, 20.0, 30.0], [1, 0, 1])
    assert curve.note == "survival.few_at_risk"
    assert curve.age.tolist() == [0.0, 10.0, 30.0]
    assert curve.survival.tolist() == pytest.approx([1.0, 2 / 3, 0.0])
    # Survival 0: the upper bound stays where it was, it cannot rise.
    assert curve.lower[-1] == 0.0
    assert curve.upper[-1] == curve.upper[-2] < 1.0


def test_no_lives_give_the_origin_alone() -> None:
    curve = kaplan_meier([], [], [])
    assert (curve.note, curve.lives, curve.age.tolist()) == ("survival.no_lives", 0, [0.0])
    assert np.isnan(curve.low_failure_bound)
    assert nelson_aalen([], [], []).note == "survival.no_lives"


# Closed form: no failure among n lives, one-sided: (1 - level) ** (1 / n).
def test_no_failure_gives_the_exact_bound() -> None:
    curve = kaplan_meier(np.zeros(10), np.full(10, 50.0), np.zeros(10), level=0.9)
    assert curve.note == "survival.no_failures"
    assert curve.low_failure_bound == pytest.approx(0.1**0.1)
    # Clopper-Pearson's lower bound of 10 of 10, the same by the beta distribution.
    assert curve.low_failure_bound == pytest.approx(stats.beta.ppf(0.1, 10, 1))


def test_survival_at_an_age_reads_the_curve_and_its_edges() -> None:
    entry, time, event, _ = remission()
    at_10 = survival_at(entry, time, event, 10.0)
    assert at_10.survival == pytest.approx(0.7529411764705882)
    assert at_10.at_risk == 15
    before = survival_at(entry, time, event, 5.0)
    assert (before.survival, before.upper) == (1.0, 1.0)
    assert before.lower == pytest.approx(0.1 ** (1 / 21))
    beyond = survival_at(entry, time, event, 36.0)
    assert np.isnan(beyond.survival)
    assert beyond.note == "survival.beyond_observation"
    at_start = survival_at(entry, time, event, 0.0)
    assert (at_start.survival, at_start.lower, at_start.upper) == (1.0, 1.0, 1.0)
    after_all_failed = survival_at(np.zeros(4), [1.0, 2.0, 3.0, 4.0], np.ones(4), 9.0)
    assert (after_all_failed.survival, after_all_failed.lower) == (0.0, 0.0)


def test_median_not_reached_is_not_a_number() -> None:
    curve = kaplan_meier(np.zeros(10), np.arange(1.0, 11.0), np.arange(10) < 2)
    median = median_from_curve(curve)
    assert np.isnan(median.median)
    assert median.note == "survival.median_not_reached"


def test_median_at_exactly_one_half_is_the_first_age() -> None:
    # 3/4 * 2/3 = 1/2 at the second failure.
    curve = kaplan_meier(np.zeros(4), [1.0, 2.0, 3.0, 4.0], np.ones(4), least_at_risk=0)
    assert median_from_curve(curve).median == 2.0


@pytest.mark.parametrize(
    ("entry", "exit", "failed", "said"),
    [
        ([0.0], [0.0], [1], "0 <= entry < exit"),
        ([5.0], [4.0], [1], "index 0"),
        ([-1.0], [4.0], [1], "-1.0"),
        ([0.0, 0.0], [4.0], [1], "differ in length"),
        ([0.0], [4.0], [1, 0], "differ in length"),
        ([0.0], [np.nan], [1], "finite"),
        ([0.0], [np.inf], [0], "finite"),
        ([0.0], [4.0], [2], "True or False"),
    ],
)
def test_impossible_lives_are_refused(
    entry: list[float], exit: list[float], failed: list[int], said: str
) -> None:
    with pytest.raises(EstimateError, match=said):
        kaplan_meier(entry, exit, failed)


@pytest.mark.parametrize("level", [0.0, 1.0, -0.5])
def test_impossible_level_is_refused(level: float) -> None:
    with pytest.raises(EstimateError, match="confidence level"):
        kaplan_meier([0.0], [1.0], [1], level=level)


def test_wrong_number_of_clusters_is_refused() -> None:
    with pytest.raises(EstimateError, match="one label a row"):
        kaplan_meier([0.0], [1.0], [1], cluster=[1, 2])


some_lives = st.lists(
    st.tuples(st.integers(0, 6), st.integers(1, 12), st.booleans()), min_size=1, max_size=25
)


def as_arrays(lives: list[tuple[int, int, bool]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    entry = np.array([float(life[0]) for life in lives])
    exit = entry + np.array([float(life[1]) for life in lives])
    return entry, exit, np.array([life[2] for life in lives])


def same_curve(one: SurvivalCurve, other: SurvivalCurve, *, factor: float = 1.0) -> None:
    assert one.age * factor == pytest.approx(other.age)
    assert one.survival == pytest.approx(other.survival)
    assert one.lower == pytest.approx(other.lower)
    assert one.upper == pytest.approx(other.upper)
    assert one.at_risk.tolist() == other.at_risk.tolist()
    assert one.events.tolist() == other.events.tolist()
    assert (one.lives, one.failures, one.note) == (other.lives, other.failures, other.note)
    assert one.cut_age * factor == pytest.approx(other.cut_age)


@given(some_lives, st.randoms(use_true_random=False))
@settings(max_examples=60)
def test_order_of_rows_changes_nothing(lives: list[tuple[int, int, bool]], shuffler: Any) -> None:
    curve = kaplan_meier(*as_arrays(lives))
    shuffled = list(lives)
    shuffler.shuffle(shuffled)
    same_curve(curve, kaplan_meier(*as_arrays(shuffled)))


@given(some_lives, st.sampled_from([0.001, 1 / 60, 24.0, 1000.0]))
@settings(max_examples=60)
def test_scaling_the_clock_scales_the_ages(
    lives: list[tuple[int, int, bool]], factor: float
) -> None:
    entry, exit, failed = as_arrays(lives)
    same_curve(
        kaplan_meier(entry, exit, failed),
        kaplan_meier(entry * factor, exit * factor, failed),
        factor=factor,
    )


@given(some_lives)
@settings(max_examples=60)
def test_splitting_lives_into_pieces_changes_nothing(lives: list[tuple[int, int, bool]]) -> None:
    entry, exit, failed = as_arrays(lives)
    number = np.arange(len(lives))
    middle = entry + (exit - entry) / 2.0
    pieces = kaplan_meier(
        np.concatenate([entry, middle]),
        np.concatenate([middle, exit]),
        np.concatenate([np.zeros(len(lives)), failed]),
        life=np.concatenate([number, number]),
    )
    same_curve(kaplan_meier(entry, exit, failed), pieces)


@given(some_lives)
@settings(max_examples=60)
def test_bounds_hold_the_curve_and_stay_inside(lives: list[tuple[int, int, bool]]) -> None:
    curve = kaplan_meier(*as_arrays(lives), least_at_risk=0)
    assert np.all(np.isfinite(curve.survival))
    assert np.all(np.diff(curve.survival) <= 0)
    assert np.all((curve.lower >= 0) & (curve.lower <= curve.survival))
    assert np.all((curve.survival <= curve.upper) & (curve.upper <= 1))
    hazard = nelson_aalen(*as_arrays(lives), least_at_risk=0)
    assert np.all(np.isfinite(hazard.upper))
    assert np.all((hazard.lower <= hazard.cumulative_hazard) & (hazard.lower >= 0))


def test_inputs_are_left_as_they_were() -> None:
    entry, exit, failed = late_lives(np.random.default_rng(4), 30)
    kept = entry.copy(), exit.copy(), failed.copy()
    kaplan_meier(entry, exit, failed, cluster=np.arange(30))
    assert all(
        np.array_equal(now, was) for now, was in zip((entry, exit, failed), kept, strict=True)
    )
