"""Two failure rates compared, with bounds that widen where locomotives differ."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.rate import (
    FEWEST_FOR_BOOTSTRAP,
    RESAMPLES,
    SAME_RATE_P,
    BoolArray,
    FloatArray,
    check_numbers,
    compare_rates,
    dispersion_of_counts,
)

FEWEST_TO_JUDGE = 5
"""Fewer failures than this of one population tell nothing of how locomotives differ."""

RatioMethod = Literal["exact-binomial", "bootstrap"]


@dataclass(frozen=True, slots=True)
class ComparedRates:
    """The rate of population a over that of population b; NaN where undefined.

    `differ` tells that locomotives of one population have different rates by more than chance.
    """

    ratio: float
    lower: float
    upper: float
    p: float
    failures_a: int
    exposure_a: float
    failures_b: int
    exposure_b: float
    level: float
    method: RatioMethod
    differ: bool


def compare_populations(
    failures_a: ArrayLike,
    exposure_a: ArrayLike,
    failures_b: ArrayLike,
    exposure_b: ArrayLike,
    *,
    level: float = 0.90,
    seed: int = 0,
) -> ComparedRates:
    """Ratio of two rates, a over b, known by locomotive, with bounds chosen by the evidence.

    For before and after a date, where a locomotive is in both, and for classes or depots.

    Parameters
    ----------
    failures_a, failures_b : (n_locomotives,) counted failures of each locomotive, one order in all
    exposure_a, exposure_b : (n_locomotives,) time on the clock, 0 where not in that population
    level : two-sided confidence level
    seed : start of the random draws; the same seed gives the same bounds

    Returns
    -------
    ComparedRates

    Conventions
    -----------
    `exact-binomial`: given the total, the failures of a are binomial (`rate.compare_rates`). Where
    the counts by locomotive of either population, 5 or more, speak against one common rate
    (one-sided p at or below 0.10) and each has 10 or more locomotives: `bootstrap`, resampling
    whole locomotives, those of a alone, of b alone and of both apart; standard error of the log
    ratio (half a failure added to both), Student's quantile for the smaller number n of
    locomotives, widened by sqrt(n/(n-1)).
    Then bounds and p are the wider and the larger of both kinds, so that bounds at level 1 - p
    touch 1.

    Limits
    ------
    As `rate.compare_rates`: no failure in b leaves a lower bound alone, none in a an upper one and
    ratio 0; nothing at all or no exposure: NaN. Locomotives that differ with fewer than 10 on one
    side: `differ` is set and the exact bounds are too narrow.

    Raises
    ------
    EstimateError
        Arrays of different length, a broken or negative count, a negative exposure.

    References
    ----------
    Przyborowski & Wilenski (1940), Biometrika 31, 313-323; Davison & Hinkley (1997), Bootstrap
    Methods and their Application, section 3.8 (whole clusters); Hesterberg (2015), The American
    Statistician 69, 371-386 (small-sample widening).
    """
    a, b = check_numbers(failures_a, "failures_a"), check_numbers(failures_b, "failures_b")
    time_a, time_b = (
        check_numbers(exposure_a, "exposure_a"),
        check_numbers(exposure_b, "exposure_b"),
    )
    if not a.shape == b.shape == time_a.shape == time_b.shape:
        raise EstimateError(
            "One count and one exposure per locomotive and population are needed, got "
            f"{a.size}, {time_a.size}, {b.size}, {time_b.size}."
        )
    exact = compare_rates(a, time_a, b, time_b, level=level)
    lower, upper, p = exact.lower, exact.upper, exact.p
    method: RatioMethod = "exact-binomial"
    differ = _differ(a, time_a, seed=seed) or _differ(b, time_b, seed=seed)
    fewest = min(int(np.sum(time_a > 0)), int(np.sum(time_b > 0)))
    if differ and exact.ratio > 0 and fewest >= FEWEST_FOR_BOOTSTRAP:
        method = "bootstrap"
        spread = _log_spread(a, time_a, b, time_b, seed=seed) * np.sqrt(fewest / (fewest - 1.0))
        free, middle = fewest - 1, float(np.log(exact.ratio))
        reach = float(special.stdtrit(free, (1.0 + level) / 2.0)) * spread
        lower = min(lower, float(np.exp(middle - reach)))
        upper = max(upper, float(np.exp(middle + reach)))
        p = max(p, float(2.0 * special.stdtr(free, -abs(middle) / spread)))
    return ComparedRates(
        ratio=exact.ratio,
        lower=lower,
        upper=upper,
        p=p,
        failures_a=exact.failures_a,
        exposure_a=exact.exposure_a,
        failures_b=exact.failures_b,
        exposure_b=exact.exposure_b,
        level=level,
        method=method,
        differ=differ,
    )


def _differ(counts: FloatArray, times: FloatArray, *, seed: int) -> bool:
    seen = np.lexsort((counts, times))
    seen = seen[times[seen] > 0]
    counts, times = counts[seen], times[seen]
    total = float(counts.sum())
    if total < FEWEST_TO_JUDGE:
        return False
    expected = total * times / times.sum()
    if float(np.sum((counts - expected) ** 2 / expected)) <= counts.size - 1:
        return False  # no more spread than one rate gives on average: spares the draws
    _, p = dispersion_of_counts(counts, times, seed=seed)
    return bool(p <= SAME_RATE_P)


def _log_spread(
    a: FloatArray, time_a: FloatArray, b: FloatArray, time_b: FloatArray, *, seed: int
) -> float:
    """Standard error of the log ratio by resampling locomotives within their kind."""
    drawn = np.zeros((4, RESAMPLES))
    in_a, in_b = time_a > 0, time_b > 0
    kinds: tuple[BoolArray, ...] = (in_a & in_b, in_a & ~in_b, in_b & ~in_a)
    for kind, members in enumerate(kinds):
        rows = np.flatnonzero(members)
        if rows.size:
            # One order whatever order they came in, so that the draws give the same bounds.
            rows = rows[np.lexsort((b[rows], a[rows], time_b[rows], time_a[rows]))]
            own = np.stack([a[rows], time_a[rows], b[rows], time_b[rows]])
            drawn += own @ _weights(rows.size, seed + kind)
    ratio = (drawn[0] + 0.5) / drawn[1] * drawn[3] / (drawn[2] + 0.5)
    return float(np.std(np.log(ratio), ddof=1))


@lru_cache(maxsize=8)
def _weights(units: int, seed: int) -> FloatArray:
    """How often each unit is drawn, (units, RESAMPLES); each column adds up to `units`."""
    random = np.random.default_rng(seed)
    drawn = random.multinomial(units, np.full(units, 1.0 / units), size=RESAMPLES)
    return np.ascontiguousarray(drawn.T, dtype=np.float64)
