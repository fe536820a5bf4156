"""Recovery of known truth: how often 90 % intervals of lives hold it, in simulated depots.

1,500 groups for each way of knowing lives, each drawn from its own seed: Weibull lives of shape 0.8
to 3 and scale 100 to 1,000, ten or more failures expected, right-censored by staggered cuts,
entering late, or known only from inspections every 1 to 7 days.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from scipy.special import gamma

from analytics.estimate.life_batch import LifeBatch, fit_batch
from analytics.estimate.life_data import LifeData
from analytics.estimate.survival import survival_at

RUNS = 1_500
# A quarter of the runs per shape; binomial standard error of a share of 0.90 over 1,500 is 0.008.
SHAPES = (0.8, 1.2, 2.0, 3.0)


class Group(NamedTuple):
    """Lives as they are known, and as Kaplan-Meier takes them, with what is true of them."""

    data: LifeData
    found: np.ndarray
    failed: np.ndarray
    shape: float
    scale: float


def draw_group(kind: str, seed: int) -> Group:
    rng = np.random.default_rng([sum(map(ord, kind)), seed])
    shape = SHAPES[seed % len(SHAPES)]
    scale, size = rng.uniform(100, 1000), int(rng.integers(25, 80))
    entry = np.zeros(size)
    if kind == "late":
        # Half of the lives were running, at ages up to half the scale, when records began.
        entry = rng.uniform(0, 0.5, size) * scale * (rng.random(size) < 0.5)
    # Truncation: a life is in the record because it was still running at its entry.
    reached = rng.uniform(0, 1, size) * np.exp(-((entry / scale) ** shape))
    life = scale * (-np.log(reached)) ** (1.0 / shape)
    cut = entry + rng.uniform(0.4, 2.0, size) * scale
    if kind != "inspected":
        failed = life <= cut
        age = np.minimum(life, cut)
        return Group(LifeData.exactly(entry, age, failed), age, failed, shape, scale)
    gap, first = rng.integers(1, 8, size).astype(float), rng.uniform(0, 1, size)
    looks = np.ceil(life / gap - first)
    upper, lower = (looks + first) * gap, np.maximum((looks + first - 1) * gap, 0.0)
    last = (np.floor(cut / gap - first) + first) * gap
    failed = upper <= cut
    lower, upper = np.where(failed, lower, last), np.where(failed, upper, np.inf)
    age = np.where(failed, upper, last)
    return Group(LifeData.of(lower, upper), age, failed, shape, scale)


def holds(lower: float, upper: float, truth: float) -> bool:
    # A bound that does not exist is open.
    return not (lower > truth or upper < truth)


@pytest.mark.campaign
@pytest.mark.parametrize("kind", ["right", "late", "inspected"])
def test_nine_intervals_in_ten_hold_the_truth(kind: str) -> None:
    held: dict[str, list[bool]] = {
        name: [] for name in ("shape", "b10", "median", "mean", "survival")
    }
    groups = [draw_group(kind, seed) for seed in range(RUNS)]
    fit = fit_batch(LifeBatch.join([group.data for group in groups]), "weibull", level=0.90)
    assert np.isfinite(fit.shape).all(), set(fit.note)
    for run, group in enumerate(groups):
        truths = {
            "shape": group.shape,
            "b10": group.scale * (-np.log(0.9)) ** (1.0 / group.shape),
            "median": group.scale * np.log(2.0) ** (1.0 / group.shape),
            "mean": group.scale * gamma(1.0 + 1.0 / group.shape),
        }
        for name, truth in truths.items():
            ends = getattr(fit, f"{name}_lower")[run], getattr(fit, f"{name}_upper")[run]
            held[name].append(holds(*ends, truth))
        # Survival to seven tenths of the scale, given survival to the first age watched.
        age, start = 0.7 * group.scale, group.data.entry.min()
        truth = np.exp((start / group.scale) ** group.shape - 0.7**group.shape)
        read = survival_at(group.data.entry, group.found, group.failed, age, level=0.90)
        held["survival"].append(holds(read.lower, read.upper, float(truth)))
    shares = {name: float(np.mean(hits)) for name, hits in held.items()}
    assert all(0.86 <= share <= 0.94 for share in shares.values()), shares
