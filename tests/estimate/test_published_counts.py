"""Published bounds of counts and shares, and one published family of tests.

A binomial share has no function of its own here: the ratio of two rates is bounded through the
share of all failures that are the first population's, so with equal exposure share = ratio / (1 +
ratio) has the bounds of Clopper & Pearson. Score, adjusted and plain Wald bounds of a share, which
the same sources print, are used nowhere in this project.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analytics.estimate.multiple import benjamini_hochberg
from analytics.estimate.rate import compare_rates, estimate_rate, exact_mtbf_bounds
from analytics.estimate.tails import binomial_upper_tail

REFERENCE = Path(__file__).parents[1] / "reference"


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


def share_bounds(count: int, total: int, level: float) -> list[float]:
    found = compare_rates([count], [1.0], [total - count], [1.0], level=level)
    return [bound / (1 + bound) for bound in (found.lower, found.upper)]


# Benjamini & Hochberg (1995), J. R. Statist. Soc. B 57, 289-300, section 3.2; adjusted values as R
# prints them with p.adjust. Quoted second-hand, in the tests of several public packages.
def test_adjusted_values_agree_with_benjamini_and_hochberg() -> None:
    example = published("benjamini-hochberg-1995-table")
    p, printed = np.array(example["data"]["p"]), example["published"]
    adjusted = benjamini_hochberg(p)
    assert adjusted == pytest.approx(printed["adjusted"], abs=example["tolerance"]["default"])
    rejected = adjusted <= example["data"]["q"]
    assert rejected.sum() == printed["n_rejected_BH"]
    assert p[rejected].max() == printed["threshold_p"]


# Garwood (1936), Biometrika 28, 437-442: 95 % limits of a Poisson mean; values from memory, which a
# recomputation confirms. Without a failure our bound is one-sided; his upper limit, two-sided, is
# ours at 97.5 %.
@pytest.mark.parametrize("failures", [0, 1, 2, 5, 10])
def test_rate_bounds_agree_with_garwood(failures: int) -> None:
    example = published("garwood-exact-poisson-limits")
    key, both = f"k{failures}", example["data"]["conf"]
    within = example["tolerance"].get(key, [example["tolerance"]["default"]] * 2)
    longest, shortest = exact_mtbf_bounds(failures, 1.0, level=both if failures else (1 + both) / 2)
    lower = 1 / float(shortest) if failures else 0.0
    for found, printed, close in zip(
        (lower, 1 / float(longest)), example["published"][key], within, strict=True
    ):
        assert found == pytest.approx(printed, abs=close)


# R, help of stats::poisson.test: 137 events in 24.19893; values from memory, which R 4.2.2 and a
# recomputation confirm.
def test_rate_and_bounds_agree_with_the_help_of_poisson_test() -> None:
    example = published("r-poisson-test-137")
    data, printed = example["data"], example["published"]
    found = estimate_rate([data["events"]], [data["time_base"]], level=0.95)
    close = example["tolerance"]["default"]
    assert found.method == "exact-poisson"
    assert found.rate == pytest.approx(printed["rate"], abs=close)
    assert [found.rate_lower, found.rate_upper] == pytest.approx(printed["ci95"], abs=close)


# NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.4.1: 4 of 20, exact 90 %. Its text
# rounds the upper limit to 0.400, which is wrong for 0.401029, and its script prints 0.07134838
# because its search stops early; R's binom.test gives 0.0713539.
def test_share_bounds_agree_with_the_nist_handbook() -> None:
    example = published("nist-7241-binomial-limits")
    data, printed = example["data"]["exact"], example["published"]
    close = example["tolerance"]["default"]
    lower, upper = share_bounds(data["k"], data["n"], data["conf"])
    assert lower == pytest.approx(printed["exact_lower"], abs=close)
    assert upper == pytest.approx(printed["exact_upper"], abs=close)
    # Duality: at either limit the tail beyond the count is half of what 90 % leaves.
    k, n = data["k"], data["n"]
    assert binomial_upper_tail([k], [n], [printed["exact_lower"]]) == pytest.approx(0.05, rel=1e-4)
    assert 1 - binomial_upper_tail([k + 1], [n], [printed["exact_upper"]]) == pytest.approx(
        0.05, rel=1e-4
    )


# Millard, help page of ebinom in the R package EnvStats, printed output: 7 of 20, exact 95 %.
def test_share_bounds_agree_with_the_output_of_envstats() -> None:
    example = published("envstats-binomial-interval-methods")
    data, close = example["data"], example["tolerance"]["default"]
    found = share_bounds(data["k"], data["n"], data["conf"])
    assert found == pytest.approx(example["published"]["exact"], abs=close)


# Newcombe (1998), Statistics in Medicine 17, 857-872, table I, exact 95 %; values from memory,
# confirmed by R's binom.test.
@pytest.mark.parametrize("key", ["81_263", "15_148", "0_20", "1_29"])
def test_share_bounds_agree_with_newcombe(key: str) -> None:
    example = published("newcombe-1998-wilson-exact")
    count, total = example["data"][key]
    found = share_bounds(count, total, 0.95)
    close = example["tolerance"]["default"]
    assert found == pytest.approx(example["published"][f"exact_{key}"], abs=close)
