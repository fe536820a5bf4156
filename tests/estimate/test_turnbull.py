"""Turnbull's estimate: published curves, other software, brute force, and its identities."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from scipy.optimize import minimize

from analytics.errors import EstimateError
from analytics.estimate.survival import kaplan_meier
from analytics.estimate.turnbull import TurnbullCurve, turnbull, turnbull_bounds

REFERENCE = Path(__file__).parents[1] / "reference"
Lives = tuple[np.ndarray, np.ndarray, np.ndarray]


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


def survival_at(curve: TurnbullCurve, ages: np.ndarray) -> np.ndarray:
    return curve.survival[np.searchsorted(curve.age, ages, side="right") - 1]


# Fay & Shaw (2010), J. Statistical Software 36(2), section 4.1; data Finkelstein & Wolfe (1985).
@pytest.mark.parametrize("arm", ["Rad", "RadChem"])
def test_breast_cosmesis_agrees_with_the_printed_masses(arm: str) -> None:
    example = published("breast-cosmesis-turnbull-npmle")
    bounds = np.array([[float(end) for end in life] for life in example["data"][arm]])
    curve = turnbull(bounds[:, 0], bounds[:, 1], least_at_risk=0)
    within = example["tolerance"]["default"]
    assert -np.diff(curve.survival) == pytest.approx(
        example["published"][f"{arm}_prob"], abs=within
    )
    assert curve.age[1:].tolist() == example["published"][f"{arm}_right_ends"]
    # The reference file's own recomputation, further digits and the left ends.
    left, right, mass = np.array(example["recomputed"][arm]).T
    assert curve.interval_start[1:].tolist() == left.tolist()
    assert -np.diff(curve.survival) == pytest.approx(mass, abs=1e-6)


# Turnbull (1974), J. Amer. Statist. Assoc. 69, 169-173: exact, right- and left-censored.
def test_doubly_censored_example_agrees() -> None:
    example = published("turnbull-1974-doubly-censored")
    data = example["data"]
    counts = np.array(data["exact"] + data["right"] + data["left"])
    time = np.array(data["time"], dtype=float)
    lower = np.repeat(np.concatenate([time, time, np.zeros(4)]), counts)
    upper = np.repeat(np.concatenate([time, np.full(4, np.inf), time]), counts)
    curve = turnbull(lower, upper, least_at_risk=0)
    assert curve.age[1:].tolist() == data["time"]
    assert curve.survival[1:] == pytest.approx(
        example["published"]["survival"], abs=example["tolerance"]["default"]
    )
    assert curve.survival[1:] == pytest.approx(example["recomputed"]["survival"], abs=1e-6)


def inspected(rng: np.random.Generator, size: int, *, gap: int, late: bool) -> Lives:
    """Draw lives looked at every `gap`; a tenth of the failures are known exactly."""
    entry = rng.integers(0, 5, size) * float(late)
    life = entry + rng.weibull(1.5, size) * 12.0
    censored = entry + rng.integers(3, 30, size)
    steps = np.floor((life - entry) / gap)
    lower, upper = entry + steps * gap, entry + (steps + 1) * gap
    exact = rng.random(size) < 0.1
    lower, upper = np.where(exact, life, lower), np.where(exact, life, upper)
    over = upper > censored
    lower = np.where(over, censored, lower)
    return entry, lower, np.where(over, np.inf, upper)


# Other software: lifelines' estimate for interval censoring (it has no delayed entry, and takes
# intervals as closed: no two ages are equal here).
@pytest.mark.parametrize("seed", range(8))
def test_curve_agrees_with_lifelines(seed: int) -> None:
    rng = np.random.default_rng(seed)
    life, first = rng.weibull(1.5, 60) * 12.0, rng.uniform(0, 3, 60)
    steps = np.floor((life - first) / 3.0)
    lower, upper = np.maximum(first + 3.0 * steps, 0.0), first + 3.0 * (steps + 1.0)
    censored = rng.uniform(3, 30, 60)
    lower = np.where(upper > censored, censored, lower)
    upper = np.where(upper > censored, np.inf, upper)
    curve = turnbull(lower, upper, least_at_risk=0)
    theirs = KaplanMeierFitter().fit_interval_censoring(lower, upper, tol=1e-9).survival_function_
    # Two columns: survival before and after a fall that lies somewhere in an interval.
    after = theirs.min(axis=1).to_numpy()
    row = np.searchsorted(theirs.index, curve.age[1:], side="right") - 1
    # It stops when its own steps are small, a little short of the maximum.
    assert curve.survival[1:] == pytest.approx(after[row], abs=1e-3)


def log_likelihood(survival: Any, lives: Lives) -> float:
    entry, lower, upper = lives
    after = np.where(np.isinf(upper), 0.0, survival(np.where(np.isinf(upper), 0.0, upper)))
    chance = np.where(lower == upper, survival(lower - 1e-9) - survival(lower), 0.0)
    chance = np.where(lower < upper, survival(lower) - after, chance)
    return float((np.log(chance) - np.log(survival(entry))).sum())


def best_by_brute_force(lives: Lives) -> float:
    """Climb over the hazards of all cells between all ages mentioned, by a general optimiser."""
    entry, lower, upper = lives
    finite = np.isfinite(upper)
    grid = np.unique(np.concatenate([entry, lower, lower - 1e-9, upper[finite]]))

    def minus(logs: np.ndarray) -> float:
        total = np.concatenate([[0.0], np.cumsum(np.exp(np.clip(logs, -30.0, 3.0)))])

        def survival(ages: np.ndarray) -> np.ndarray:
            return np.exp(-total[np.searchsorted(grid, ages, side="right")])

        value = log_likelihood(survival, lives)
        return -value if np.isfinite(value) else 1e6

    options = {"maxiter": 3000, "maxfun": 10**6, "ftol": 1e-15}
    found = minimize(minus, np.full(grid.size, -1.6), method="L-BFGS-B", options=options)
    return -float(found.fun)


# Brute force: no hazards on any cell reach a higher likelihood, late entry included.
@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_no_other_hazards_are_more_likely(seed: int, *, late: bool) -> None:
    lives = inspected(np.random.default_rng(100 + seed), 25, gap=3, late=late)
    # Two lives watched throughout keep early survival from collapsing to zero.
    entry, lower, upper = (
        np.concatenate([values, added])
        for values, added in zip(lives, ([0.0, 0.0], [29.0, 33.0], [np.inf, np.inf]), strict=True)
    )
    curve = turnbull(lower, upper, entry, least_at_risk=0)
    own = log_likelihood(lambda ages: survival_at(curve, ages), (entry, lower, upper))
    brute = best_by_brute_force((entry, lower, upper))
    assert own >= brute - 1e-5
    assert own == pytest.approx(brute, abs=0.02)


# Identity: with exact and right-censored lives alone it is Kaplan-Meier, late entries included.
@given(
    st.lists(
        st.tuples(st.integers(0, 6), st.integers(1, 12), st.booleans()), min_size=1, max_size=25
    )
)
@settings(max_examples=80)
def test_curve_is_kaplan_meier_where_nothing_is_an_interval(
    lives: list[tuple[int, int, bool]],
) -> None:
    entry = np.array([float(life[0]) for life in lives])
    exit = entry + np.array([float(life[1]) for life in lives])
    failed = np.array([life[2] for life in lives])
    expected = kaplan_meier(entry, exit, failed)
    curve = turnbull(exit, np.where(failed, exit, np.inf), entry)
    assert curve.age.tolist() == expected.age.tolist()
    assert curve.survival == pytest.approx(expected.survival, abs=1e-9)
    assert curve.at_risk == pytest.approx(expected.at_risk)
    assert curve.events == pytest.approx(expected.events)
    assert (curve.origin_age, curve.cut_age) == (expected.origin_age, expected.cut_age)
    assert curve.note == expected.note


# Closed form: grouped lives, all looked at on the same days, fall by the shares of the groups.
def test_grouped_lives_fall_by_their_shares() -> None:
    lower = np.repeat([0.0, 7.0, 14.0], [5, 3, 2])
    curve = turnbull(lower, lower + 7.0, least_at_risk=0)
    assert curve.survival == pytest.approx([1.0, 0.5, 0.2, 0.0], abs=1e-9)
    assert curve.interval_start.tolist() == [0.0, 0.0, 7.0, 14.0]


def test_order_and_clock_change_nothing() -> None:
    rng = np.random.default_rng(11)
    entry, lower, upper = inspected(rng, 80, gap=3, late=True)
    curve = turnbull(lower, upper, entry)
    order = rng.permutation(80)
    again = turnbull(24 * lower[order], 24 * upper[order], 24 * entry[order])
    assert again.age == pytest.approx(24 * curve.age)
    assert again.survival == pytest.approx(curve.survival, abs=1e-7)


@pytest.mark.parametrize("gap", [1, 7, 30])
def test_two_thousand_lives_settle(gap: int) -> None:
    rng = np.random.default_rng(gap)
    size = 2000
    entry = rng.uniform(0, 100, size)
    life = entry + rng.weibull(2.0, size) * 150.0
    first = rng.uniform(0, gap, size)
    seen = np.ceil((life - entry - first) / gap)
    upper = entry + first + np.maximum(seen, 0) * gap
    lower = np.where(seen > 0, upper - gap, entry)
    curve = turnbull(lower, upper, entry)
    assert curve.note == "survival.conditional"
    assert np.all(np.diff(curve.survival) < 0)
    assert curve.survival[-1] >= 0


def test_bounds_hold_the_curve_and_repeat_with_the_seed() -> None:
    rng = np.random.default_rng(12)
    _, lower, upper = inspected(rng, 150, gap=3, late=False)
    cluster = rng.integers(0, 30, 150)
    curve = turnbull_bounds(lower, upper, cluster=cluster, level=0.9, repeats=100)
    assert curve.method == "turnbull-bootstrap"
    assert np.all((curve.lower >= 0) & (curve.upper <= 1))
    middle = (curve.survival > 0.2) & (curve.survival < 0.9)
    assert np.all((curve.lower < curve.survival)[middle])
    assert np.all((curve.upper > curve.survival)[middle])
    again = turnbull_bounds(lower, upper, cluster=cluster, level=0.9, repeats=100)
    assert again.lower.tolist() == curve.lower.tolist()
    # Near the Kaplan-Meier bounds of the same lives taken as found: three inspections in twelve.
    plain = kaplan_meier(
        np.zeros(150), np.where(np.isfinite(upper), upper, lower), np.isfinite(upper)
    )
    width = plain.upper - plain.lower
    own = curve.upper[middle] - curve.lower[middle]
    assert 0.6 < own.mean() / width[(plain.survival > 0.2) & (plain.survival < 0.9)].mean() < 1.7


def test_few_locomotives_give_no_bounds() -> None:
    lower = np.arange(1.0, 19.0)
    curve = turnbull_bounds(lower, lower + 1, cluster=np.arange(18) % 9)
    assert np.isnan(curve.lower).all()
    assert curve.note == "survival.few_clusters"


def test_no_lives_and_no_failures_are_said() -> None:
    nothing = turnbull([], [])
    assert (nothing.note, nothing.survival.tolist()) == ("survival.no_lives", [1.0])
    alive = turnbull(np.full(8, 5.0), np.full(8, np.inf))
    assert (alive.note, alive.survival.tolist()) == ("survival.no_failures", [1.0])
    assert turnbull_bounds([], [], cluster=[]).note == "survival.no_lives"


def test_one_life_and_all_failed_at_once() -> None:
    one = turnbull([3.0], [4.0])
    assert one.note == "survival.few_at_risk"
    assert one.survival == pytest.approx([1.0, 0.0])
    together = turnbull(np.full(9, 3.0), np.full(9, 10.0))
    assert together.survival == pytest.approx([1.0, 0.0])
    assert (together.interval_start[1], together.age[1]) == (3.0, 10.0)


def test_early_collapse_under_late_entry_leaves_later_survival_alone() -> None:
    # One life, watched alone, fails early; nine watched later are not dragged to zero with it.
    entry = np.array([0.0] + [10.0] * 9)
    lower = np.array([2.0] + [12.0 + 2 * step for step in range(9)])
    curve = turnbull(lower, lower + 2.0, entry)
    assert curve.origin_age == 10.0
    assert curve.survival[:3] == pytest.approx([1.0, 8 / 9, 7 / 9])


@pytest.mark.parametrize(
    ("lower", "upper", "entry"),
    [
        ([5.0], [4.0], [0.0]),
        ([-1.0], [4.0], [0.0]),
        ([1.0], [2.0], [3.0]),
        ([0.0], [np.inf], [0.0]),
        ([np.nan], [1.0], [0.0]),
        ([1.0], [np.nan], [0.0]),
        ([1.0, 2.0], [2.0], [0.0]),
    ],
)
def test_impossible_lives_are_refused(
    lower: list[float], upper: list[float], entry: list[float]
) -> None:
    with pytest.raises(EstimateError):
        turnbull(lower, upper, entry)


def test_one_repeat_is_refused() -> None:
    with pytest.raises(EstimateError, match="repeat"):
        turnbull_bounds([1.0], [2.0], cluster=[1], repeats=1)
