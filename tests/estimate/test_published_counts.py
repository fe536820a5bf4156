"""Published bounds of counts and shares, and one published family of tests."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from analytics.errors import EstimateError
from analytics.estimate.multiple import benjamini_hochberg
from analytics.estimate.rate import compare_rates, estimate_rate, exact_mtbf_bounds
from analytics.estimate.share import agresti_coull, clopper_pearson, wald, wilson
from analytics.estimate.tails import binomial_upper_tail

REFERENCE = Path(__file__).parents[1] / "reference"


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


def bounds(found: tuple[np.ndarray, np.ndarray]) -> list[float]:
    return [float(found[0][0]), float(found[1][0])]


def exact_bounds(count: int, total: int, level: float) -> list[float]:
    """Exact bounds of a share; the ratio of two rates has the same, as share / (1 - share)."""
    found = bounds(clopper_pearson([count], [total], level=level))
    ratio = compare_rates([count], [1.0], [total - count], [1.0], level=level)
    both = [bound / (1 + bound) for bound in (ratio.lower, ratio.upper)]
    assert found == pytest.approx(both, abs=1e-12)
    return found


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
    lower, upper = exact_bounds(data["k"], data["n"], data["conf"])
    assert lower == pytest.approx(printed["exact_lower"], abs=close)
    assert upper == pytest.approx(printed["exact_upper"], abs=close)
    # Duality: at either limit the tail beyond the count is half of what 90 % leaves.
    k, n = data["k"], data["n"]
    assert binomial_upper_tail([k], [n], [printed["exact_lower"]]) == pytest.approx(0.05, rel=1e-4)
    assert 1 - binomial_upper_tail([k + 1], [n], [printed["exact_upper"]]) == pytest.approx(
        0.05, rel=1e-4
    )


# The same section: 13 % of 200, lower one-sided 95 % score limit: that of two sides at 90 %.
def test_score_limit_agrees_with_the_nist_handbook() -> None:
    example = published("nist-7241-binomial-limits")
    data, within = example["data"]["wilson"], example["tolerance"]["wilson_lower"]
    count, both = round(data["p_hat"] * data["n"]), 2 * data["one_sided_conf"] - 1
    lower, _ = bounds(wilson(count, data["n"], level=both))
    assert lower == pytest.approx(example["published"]["wilson_lower"], abs=within)


# Millard, help page of ebinom in the R package EnvStats, printed output: 7 of 20, 95 %.
def test_share_bounds_agree_with_the_output_of_envstats() -> None:
    example = published("envstats-binomial-interval-methods")
    data, close = example["data"], example["tolerance"]["default"]
    k, n, level = data["k"], data["n"], data["conf"]
    found = {
        "score_no_cc": bounds(wilson(k, n, level=level)),
        "exact": exact_bounds(k, n, level),
        "adjusted_wald": bounds(agresti_coull(k, n, level=level)),
        "wald": bounds(wald(k, n, level=level)),
    }
    assert found.keys() == example["published"].keys()
    for name, printed in example["published"].items():
        assert found[name] == pytest.approx(printed, abs=close), name


# Newcombe (1998), Statistics in Medicine 17, 857-872, table I, exact and score 95 % limits;
# values from memory, which a recomputation (of the exact ones R's binom.test) confirms.
@pytest.mark.parametrize("key", ["81_263", "15_148", "0_20", "1_29"])
def test_share_bounds_agree_with_newcombe(key: str) -> None:
    example = published("newcombe-1998-wilson-exact")
    count, total = example["data"][key]
    close, printed = example["tolerance"]["default"], example["published"]
    assert exact_bounds(count, total, 0.95) == pytest.approx(printed[f"exact_{key}"], abs=close)
    score = bounds(wilson(count, total, level=0.95))
    assert score == pytest.approx(printed[f"wilson_{key}"], abs=close)


# Other software: statsmodels, all four kinds at once on counts from none to all.
def test_share_bounds_agree_with_statsmodels() -> None:
    count, total = np.array([0, 1, 3, 9, 17, 40, 40]), np.array([12, 12, 8, 10, 300, 41, 40])
    kinds = {"beta": clopper_pearson, "wilson": wilson, "agresti_coull": agresti_coull,
             "normal": wald}  # fmt: skip
    for method, kind in kinds.items():
        theirs = proportion_confint(count, total, alpha=0.10, method=method)
        assert np.array(kind(count, total)) == pytest.approx(np.array(theirs), abs=1e-12), method


def test_a_share_of_nothing_has_no_bounds_and_a_broken_count_is_refused() -> None:
    for kind in (clopper_pearson, wilson, agresti_coull, wald):
        assert np.isnan(kind([0], [0])).all()
        for broken in ((5, 4), (-1, 4), (1.5, 4)):
            with pytest.raises(EstimateError, match="lies between 0 and its total"):
                kind(*broken)
