"""What a job is worth on a day, against simulation and quadrature.

Source: Brown & Proschan (1983), J. Appl. Prob. 20, 851-859 (a failure is closed by a renewal with a
fixed chance); the policy is that of tests/estimate/test_replacement.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate

from analytics.estimate.replacement import ReplacementPolicy, replacement_policy
from analytics.planning.worth import failures_ahead, worth_by_day

SHAPE, SCALE, FAILURE, ALONE, WITHIN = 3.0, 400.0, 5.0, 1.5, 0.8
GRID = np.linspace(0, 1_600, 1_601)
DAYS, END, RUNS = 56, 90, 100_000


def policy_of(renewed: float) -> ReplacementPolicy:
    return replacement_policy(
        GRID, (GRID / SCALE) ** SHAPE, renewed=renewed, cost_failure=FAILURE, cost_planned=ALONE
    )


def worth(policy: ReplacementPolicy, age: float) -> np.ndarray:
    return worth_by_day(
        policy, np.zeros(1, np.int64), np.array([age]), np.array([1.0]),
        cost_failure=np.array([FAILURE]), cost_within=np.array([WITHIN]), days=DAYS,
    )[0]  # fmt: skip


def simulate(
    rng: np.random.Generator, policy: ReplacementPolicy, renewed: float, *, start: float, done: int
) -> np.ndarray:
    """Return costs to go: left alone for the horizon, but for the job on day `done` (-1: never).

    What was renewed, and everything after the horizon, goes on by the policy; the end is worth what
    its age is worth (Howard 1960).
    """
    age, cost = np.full(RUNS, start), np.zeros(RUNS)
    alone = np.ones(RUNS, dtype=bool)
    for day in range(END):
        if day == done:
            cost[alone] += WITHIN
            age[alone] = 0.0
            alone[:] = False
        due = (age >= policy.best_age[0]) & (~alone | (day >= DAYS))
        cost[due] += ALONE
        age[due] = 0.0
        rise = ((age + 1) / SCALE) ** SHAPE - (age / SCALE) ** SHAPE
        failed = rng.random(RUNS) < -np.expm1(-rise)
        cost[failed] += FAILURE
        new = failed & (rng.random(RUNS) < renewed)
        age += 1
        age[new] = 0.0
        alone &= ~new
    return cost + np.interp(age, GRID, policy.relative[0])


@pytest.mark.parametrize(("renewed", "age"), [(1.0, 380.0), (0.5, 300.0)])
def test_worth_is_what_simulation_saves(renewed: float, age: float) -> None:
    policy, rng, day = policy_of(renewed), np.random.default_rng(11), 10
    alone = simulate(rng, policy, renewed, start=age, done=-1)
    done = simulate(rng, policy, renewed, start=age, done=day)
    error = float(np.sqrt((alone.var() + done.var()) / RUNS))
    saved = float(alone.mean() - done.mean())
    assert worth(policy, age)[day] == pytest.approx(saved, abs=4 * error + 0.02)


def test_worth_follows_its_formula_by_quadrature() -> None:
    policy, age = policy_of(1.0), 250.0
    best, rate = GRID[np.nanargmin(policy.rate[0])], policy.best_rate[0]

    def reach(at: float) -> float:
        return float(np.exp(-((at / SCALE) ** SHAPE)))

    def relative(at: float) -> float:
        if at >= best:
            return ALONE
        time = integrate.quad(reach, at, best)[0]
        lost = FAILURE * (reach(at) - reach(best)) + ALONE * reach(best) - rate * time
        return lost / reach(at)

    end = age + DAYS
    for day in (0, 20, 55):
        now = age + day
        waited = FAILURE * (reach(now) - reach(end)) - rate * integrate.quad(reach, now, end)[0]
        waited += reach(end) * relative(end)
        expected = (waited - reach(now) * WITHIN) / reach(age)
        assert worth(policy, age)[day] == pytest.approx(expected, abs=1e-3)


def test_young_part_is_worth_nothing_and_waiting_with_an_old_one_costs() -> None:
    policy = policy_of(1.0)
    assert np.all(worth(policy, 20.0) < 0)
    old = worth(policy, 1.3 * float(policy.best_age[0]))
    assert old[0] > 0
    assert np.all(np.diff(old) < 0)


def test_failures_ahead_are_the_rise_of_the_cumulative_intensity() -> None:
    grid, cumulative = GRID[None], ((GRID / SCALE) ** SHAPE)[None]
    found = failures_ahead(
        grid, cumulative, np.zeros(1, np.int64), np.array([300.0]), np.array([56.0])
    )
    assert found[0] == pytest.approx((356 / SCALE) ** SHAPE - (300 / SCALE) ** SHAPE, rel=1e-5)
