"""What stands out: tails, shrinkage, limits of a funnel plot, and how often it is chance.

Oracles: scipy.stats and statsmodels (other software), a published hierarchical example, closed
forms by hand, identities; the campaign draws fleets of known truth.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

from analytics.errors import EstimateError
from analytics.estimate.shrinkage import shrunk_ratios
from analytics.estimate.standouts import (
    ALONE,
    BETA_BINOMIAL,
    BINOMIAL,
    NONE_EXPECTED,
    Parts,
    find_standouts,
    tails_of_parts,
)
from analytics.estimate.tails import (
    beta_binomial_upper_tail,
    binomial_upper_tail,
    funnel_limits,
)
from data_demo.bench import honesty_standouts


def test_binomial_tail_agrees_with_scipy() -> None:
    counts = np.array([0, 1, 3, 7, 40, 40])
    totals, shares = np.array([0, 5, 10, 7, 400, 1000]), np.array([0.5, 0.1, 0.2, 0.9, 0.05, 0.05])
    assert binomial_upper_tail(counts, totals, shares) == pytest.approx(
        stats.binom.sf(counts - 1, totals, shares)
    )
    # a hundred of a thousand where one in a thousand is the share: far in the tail
    assert binomial_upper_tail([100], [1000], [0.001])[0] == pytest.approx(
        stats.binom.sf(99, 1000, 0.001)
    )


def test_beta_binomial_tail_agrees_with_scipy() -> None:
    counts, shares = np.array([0, 1, 30, 55, 120]), np.array([0.02, 0.1, 0.2, 0.2, 0.2])
    for concentration in (0.7, 12.0, 900.0):
        assert beta_binomial_upper_tail(
            counts, 200, shares, concentration=concentration
        ) == pytest.approx(
            stats.betabinom.sf(
                counts - 1, 200, concentration * shares, concentration * (1 - shares)
            ),
            rel=1e-8,
        )
    # identity: a firm concentration is the binomial
    assert beta_binomial_upper_tail([30], [200], [0.1], concentration=1e9)[0] == pytest.approx(
        binomial_upper_tail([30], [200], [0.1])[0], rel=1e-5
    )


@pytest.mark.parametrize(
    ("given", "said"),
    [(([5], [4], [0.1]), "between 0 and its total"), (([1], [4], [1.2]), "A share lies between")],
)
def test_counts_that_cannot_be_are_refused(given, said: str) -> None:
    with pytest.raises(EstimateError, match=said):
        binomial_upper_tail(*given)
    with pytest.raises(EstimateError, match=said):
        beta_binomial_upper_tail(*given, concentration=3.0)


def test_funnel_limits_run_through_the_whole_counts() -> None:
    # by hand: where 15 failures are exactly the upper limit of 10 expected, it is 15 / 10
    tail = stats.poisson.sf(15, 10.0)
    assert funnel_limits([10.0], level=1 - 2 * tail)[1][0] == pytest.approx(1.5)
    low, high = funnel_limits([0.5, 20.0, 2000.0], level=0.95)
    assert low[0] == 0.0
    # for many expected the Poisson law is normal: 1 -+ 1.96 / sqrt(2000)
    assert (low[2], high[2]) == pytest.approx(
        (1 - 1.96 / 2000**0.5, 1 + 1.96 / 2000**0.5), abs=1e-3
    )
    with pytest.raises(EstimateError, match="above 0"):
        funnel_limits([0.0])


# Ten pumps of a power station, 1,000 h and failures: Gaver & O'Muircheartaigh (1987), Technometrics
# 29, 1-15, table 3; posterior mean and standard deviation of each rate by Gibbs sampling of the
# gamma-Poisson model with the priors of George, Makov & Smith (1993), Scand. J. Statist. 20,
# 147-156, as the documentation of Mamba.jl prints them. Our priors differ: 5 % on what is well
# known, a third of the standard deviation on the rest.
PUMP_HOURS = [94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5]
PUMP_FAILURES = [5, 1, 5, 14, 3, 19, 1, 1, 4, 22]
PUMP_RATES = [0.0597, 0.0998, 0.0890, 0.1162, 0.6037, 0.6089, 0.8943, 0.8843, 1.5624, 1.9879]
PUMP_DEVIATIONS = [0.0251, 0.0773, 0.0380, 0.0306, 0.3224, 0.1394, 0.6916, 0.7260, 0.7559, 0.4279]


def test_shrunk_rates_of_the_pumps_are_those_published() -> None:
    found = shrunk_ratios(PUMP_FAILURES, PUMP_HOURS)
    off = np.abs(found.ratio - PUMP_RATES)
    assert (off < np.array(PUMP_DEVIATIONS) / 3).all()
    well_known = [0, 2, 3, 5, 9]
    assert found.ratio[well_known] == pytest.approx(np.array(PUMP_RATES)[well_known], rel=0.05)


def test_many_units_teach_the_law_and_shrink_by_the_closed_form() -> None:
    # Clayton & Kaldor (1987): with shape a and mean 1 known, the mean is (a + r) / (a + e)
    rng = np.random.default_rng(2)
    shape, expected = 1 / 0.4**2, rng.uniform(2, 8, 6000)
    counts = rng.poisson(expected * rng.gamma(shape, 1 / shape, 6000))
    found = shrunk_ratios(counts, expected)
    assert found.ratio == pytest.approx((shape + counts) / (shape + expected), abs=0.06)
    law = stats.gamma(shape + counts, scale=1 / (shape + expected))
    assert found.lower == pytest.approx(law.ppf(0.05), abs=0.05)
    assert found.upper == pytest.approx(law.ppf(0.95), abs=0.08)
    assert found.chance_above == pytest.approx(law.sf(1.25), abs=0.05)
    assert found.spread == pytest.approx(0.4, abs=0.05)


def test_bounds_are_quantiles_of_the_same_law_as_the_chance() -> None:
    # duality: beyond the upper 90 % bound lies a chance of 0.05
    counts, expected = [3, 9, 1, 4], [4.0, 4.0, 4.0, 5.0]
    upper = shrunk_ratios(counts, expected).upper
    for unit in range(4):
        above = shrunk_ratios(counts, expected, above=float(upper[unit])).chance_above
        assert above[unit] == pytest.approx(0.05, abs=1e-5)


def test_adjusted_chances_are_those_of_statsmodels() -> None:
    rng = np.random.default_rng(5)
    counts = rng.poisson(20, 40)
    counts[0] = 60
    found = find_standouts(counts, np.full(40, 3.0))
    assert found.q == pytest.approx(multipletests(found.p, method="fdr_bh")[1])
    assert np.flatnonzero(found.stands_out).tolist() == [0]
    assert set(found.method) == {BINOMIAL}
    # brought to the total: by hand
    assert found.expected == pytest.approx(np.full(40, counts.sum() / 40))
    assert found.p[0] == pytest.approx(stats.binom.sf(59, counts.sum(), 1 / 40))


def test_a_raw_ratio_of_few_events_does_not_stand_out() -> None:
    # 2 where 0.4 were expected is five times as many, 45 where 12 were is not four
    found = find_standouts([2, 45, *[10] * 20], [0.4, 12, *[11] * 20])
    assert found.ratio[0] > found.ratio[1]
    assert found.stands_out[:2].tolist() == [False, True]
    assert found.shrunk[0] < found.shrunk[1]


def test_units_that_differ_anyway_set_the_mark_higher() -> None:
    rng = np.random.default_rng(8)
    counts = rng.poisson(30 * rng.gamma(1 / 0.4**2, 0.4**2, 40))
    found = find_standouts(counts, np.ones(40))
    assert set(found.method) == {BETA_BINOMIAL}
    assert (
        found.p[counts > 32] > stats.binom.sf(counts - 1, counts.sum(), 1 / 40)[counts > 32]
    ).all()


def test_strata_are_judged_apart_and_q_over_all() -> None:
    counts, expected = np.array([9, 3, 4, 3, 40, 41, 39, 44]), np.ones(8)
    stratum = np.array([0, 0, 0, 0, 1, 1, 1, 1])
    both = find_standouts(counts, expected, stratum=stratum)
    alone = find_standouts(counts[:4], expected[:4])
    assert both.p[:4] == pytest.approx(alone.p)
    assert both.shrunk[:4] == pytest.approx(alone.shrunk)
    assert both.q == pytest.approx(multipletests(both.p, method="fdr_bh")[1])


def test_parts_tell_how_much_a_unit_of_many_locomotives_varies() -> None:
    """Two series on 12 locomotives each: alike within, they are binomial; else they vary more.

    By hand: squared variation c of the parts makes a unit's count vary 1 + c sum(m^2) / sum(m).
    """
    unit, expected = np.repeat([0, 1], 12), np.full(24, 10.0)
    even = np.where(unit == 0, 14.0, 6.0)
    p, _, method = tails_of_parts(
        np.array([168.0, 72.0]), np.array([120.0, 120.0]), Parts(even, expected, unit)
    )
    assert method == BINOMIAL
    assert p[0] == pytest.approx(stats.binom.sf(167, 240, 0.5))
    rough = even + np.where(np.arange(24) % 2, 6.0, -6.0)
    wide, dispersion, method = tails_of_parts(
        np.array([168.0, 72.0]), np.array([120.0, 120.0]), Parts(rough, expected, unit)
    )
    assert method == BETA_BINOMIAL
    assert dispersion == pytest.approx((12 * 36 / 14 + 12 * 36 / 6) / 22)
    squared = (dispersion * 22 - 22) / ((168 + 72) * 11 / 12)
    grow = 1 + squared * 168 / 12
    firm = (240 - grow) / (grow - 1)
    assert wide[0] == pytest.approx(stats.betabinom.sf(167, 240, firm / 2, firm / 2))


@pytest.mark.parametrize(
    ("observed", "expected", "note"),
    [([], [], None), ([4], [2.0], ALONE), ([0], [0.0], NONE_EXPECTED), ([0, 0], [1.0, 2.0], "")],
)
def test_nothing_to_judge_gives_a_note(observed, expected, note) -> None:
    found = find_standouts(observed, expected)
    assert not found.stands_out.any()
    assert np.isnan(found.p).all()
    assert not np.isinf(found.ratio).any()
    assert found.note.tolist() == ([] if note is None else [note] * len(observed))


def test_one_two_and_three_events_stand_nowhere() -> None:
    for number in (1, 2, 3):
        found = find_standouts([number, 0, 0, 0], np.ones(4))
        assert not found.stands_out.any()
        assert np.isfinite(found.shrunk_upper).all()


def test_units_that_cannot_be_are_refused() -> None:
    with pytest.raises(EstimateError, match="one value for each"):
        find_standouts([1, 2], [1.0])
    with pytest.raises(EstimateError, match="not below 0"):
        find_standouts([-1, 2], [1.0, 1.0])


@pytest.mark.campaign
def test_what_stands_out_by_chance_is_at_most_a_tenth() -> None:
    """False discovery <= 0.10 in every kind of fleet, 1.3 findings an event among them.

    20 fleets a cell here: a true 0.10 exceeds 0.10 + 3 standard errors in 1 of 700. The long run
    is `data_demo.bench.honesty_standouts.run`.
    """
    found = honesty_standouts.run(runs=20, seed=4)
    for name, cell in found.items():
        assert cell["false_discovery"] <= 0.10 + 3 * np.sqrt(0.1 * 0.9 / 20), name
    mean = np.mean([cell["false_discovery"] for cell in found.values()])
    assert mean <= 0.10
    many = [cell for name, cell in found.items() if name.startswith("50 ") and "2 bad" in name]
    assert min(cell["found"] for cell in many) > 0.9
    plain = [v["covered"] for name, v in found.items() if name.endswith(" 1 findings an event")]
    assert np.mean(plain) >= 0.87
