"""Mann-Kendall, median slope and projected crossing against publications and other libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from analytics.errors import EstimateError
from analytics.estimate.crossing import Scatter, project_crossing, scatter_about
from analytics.estimate.drift import drift
from analytics.estimate.monotone_trend import TOO_FEW, mann_kendall
from analytics.estimate.theil_sen import MedianSlope, theil_sen

# USEPA (2009), Unified Guidance, EPA 530/R-09-007, example 17-7, p. 17-36: sodium (ppm) by date
# (years since 1900). Data from memory; figures as the examples of EnvStats for Millard (2013)
# print them. All of them come out, which they would not with a wrong number among the data.
SODIUM_AT = [89.6, 90.1, 90.8, 91.1, 92.1, 93.1, 94.1, 95.6, 96.1, 96.3]
SODIUM = [56.0, 53, 51, 55, 52, 60, 62, 59, 61, 63]
# pymannkendall 1.4.3, `original_test` and `hamed_rao_modification_test`, run on these lists.
WALK = [-0.4, -1.06, -1.19, -0.98, -0.41, -0.35, -0.63, -1.02, -0.65, 0.17, 0.31, -0.31, -0.79]
WALK += [0.01, 0.11, -0.76, -0.8, -1.38, -1.69, -1.94, -2.29, -2.02, -2.05, -2.34, -2.14, -1.72]
WALK += [-2.55, -2.67, -3.16, -3.25]
RISING = [0.61, 0.58, 0.63, 0.66, 0.62, 0.71, 0.69, 0.74, 0.70, 0.77, 0.81, 0.79, 0.78, 0.84]
RISING += [0.90, 0.86, 0.85, 0.93, 0.95, 0.91]
WAVE = [20.1, 19.8, 21.5, 21.9, 22.4, 21.0, 19.2, 18.8, 18.9, 19.7, 20.6, 22.2, 22.8, 22.1, 20.4]
WAVE += [19.0, 18.7, 18.1, 19.9, 21.2, 21.6, 22.0, 21.3, 20.0]
TIED = [7.0, 7, 8, 7, 9, 7, 8, 8, 9, 9, 8, 10, 9, 10, 10, 9]


def alone(values: list[float]) -> tuple[range, list[float], list[int]]:
    return range(len(values)), values, [0] * len(values)


def test_published_example_of_the_trend_test() -> None:
    found = mann_kendall(SODIUM_AT, SODIUM, [0] * 10, size=1, autocorrelation=False)
    assert found.z[0] == pytest.approx(2.146625, abs=5e-7)  # EnvStats, see above
    assert found.tau[0] == pytest.approx(0.5555556, abs=5e-8)
    assert found.score[0] == 25
    assert 2 * stats.norm.sf(found.z[0]) == pytest.approx(0.03182313, abs=5e-9)


def test_published_example_of_the_slope() -> None:
    found = theil_sen(SODIUM_AT, SODIUM, [0] * 10, size=1, level=0.95)
    assert found.slope[0] == pytest.approx(1.3333333, abs=5e-8)  # EnvStats, see above
    assert found.value[0] - found.slope[0] * found.time[0] == pytest.approx(-65.9666667, abs=5e-8)
    assert found.lower[0] == pytest.approx(0.3992083, abs=5e-8)
    assert found.upper[0] == pytest.approx(2.3333333, abs=5e-8)


def test_sens_own_example() -> None:
    # Sen (1968), JASA 63, section 6: slope 4, bounds 26/7 and 35/8 at 93 % by exact tables; from
    # memory. The normal approximation and places between two slopes come near.
    times, values = [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]
    found = theil_sen(times, values, [0] * 7, size=1, level=0.93)
    assert found.slope[0] == 4
    assert found.lower[0] == pytest.approx(26 / 7, abs=0.1)
    assert found.upper[0] == pytest.approx(35 / 8, abs=0.1)


def test_exact_chances_of_few_points() -> None:
    # Kendall (1975), appendix table 1, from memory: one-sided chance of S = 6, 8, 10 of 5 points
    # 0.117, 0.042, 0.0083; S = 6 of 4 points 0.042.
    for values, one_sided in (
        ([2, 1, 3, 5, 4], 0.117),
        ([1, 2, 3, 5, 4], 0.042),
        ([1, 2, 3, 4, 5], 0.0083),
        ([1, 2, 3, 4], 0.042),
    ):
        times, row, segment = alone([float(value) for value in values])
        p = mann_kendall(times, row, segment, size=1, autocorrelation=False).p[0]
        assert p == pytest.approx(2 * one_sided, rel=0.01)


@pytest.mark.parametrize(
    ("values", "score", "variance", "z", "corrected", "corrected_p"),
    [  # pymannkendall 1.4.3, see above
        (WALK, -249, 3141.6666666666665, -4.424575688868392, 9184.909323542499, 0.0096618555776),
        (RISING, 162, 950.0, 5.223529760410553, 684.0701754385965, 7.47592876e-10),
        (WAVE, -2, 1625.3333333333333, -0.024804403006957923, 878.3576877470354, 0.97308329109),
        (TIED, 71, 455.6666666666667, 3.2792491156136814, None, None),
    ],
)
def test_against_another_library(
    values: list[float],
    score: float,
    variance: float,
    z: float,
    corrected: float | None,
    corrected_p: float | None,
) -> None:
    times, row, segment = alone(values)
    plain = mann_kendall(times, row, segment, size=1, autocorrelation=False)
    assert plain.score[0] == score
    assert plain.variance[0] == pytest.approx(variance, rel=1e-12)
    assert plain.z[0] == pytest.approx(z, rel=1e-12)
    if corrected is not None:
        found = mann_kendall(times, row, segment, size=1, may_narrow=True)
        # In WALK two values tie once the slope is taken out; there rounding errors part them.
        rel = 2e-4 if values is WALK else 1e-9
        assert found.variance[0] * found.correction[0] == pytest.approx(corrected, rel=rel)
        assert found.p[0] == pytest.approx(corrected_p, rel=max(10 * rel, 1e-7))


def test_correction_never_makes_more_of_little_unless_asked() -> None:
    # pymannkendall 1.4.3 makes z = 17.5 of TIED by its negative lags, 3.28 without a correction.
    times, row, segment = alone(TIED)
    assert mann_kendall(times, row, segment, size=1, may_narrow=True).correction[0] < 0.1
    assert mann_kendall(times, row, segment, size=1).z[0] == pytest.approx(3.2792491156136814)
    times, row, segment = alone(WALK)
    assert mann_kendall(times, row, segment, size=1).correction[0] > 2


@pytest.mark.parametrize("digits", [6, 1])
def test_many_segments_at_once_against_scipy(digits: int) -> None:
    random = np.random.default_rng(11)
    lengths = [2, 3, 7, 8, 8, 12, 40, 40, 131]
    segment = np.repeat(np.arange(len(lengths)), lengths)
    times = np.concatenate([np.sort(random.choice(9 * n, n, replace=False)) for n in lengths])
    values = (0.01 * times + random.normal(size=times.size)).round(digits)
    order = random.permutation(times.size)
    given = times[order], values[order], segment[order]
    test = mann_kendall(*given, size=len(lengths), autocorrelation=False)
    fit = theil_sen(*given, size=len(lengths), level=0.9)
    for number in range(len(lengths)):
        mine = segment == number
        x, y = times[mine], values[mine]
        theirs = stats.theilslopes(y, x, 0.9)
        assert fit.slope[number] == pytest.approx(theirs.slope, abs=1e-9)
        level = fit.value[number] - fit.slope[number] * fit.time[number]
        assert level == pytest.approx(theirs.intercept, abs=1e-9)
        bounds = (fit.lower[number], theirs.low_slope), (fit.upper[number], theirs.high_slope)
        early, late = np.triu_indices(len(x), 1)
        slopes = (y[late] - y[early]) / (x[late] - x[early])
        for ours, scipys in bounds if np.isfinite(fit.lower[number]) else ():
            # scipy rounds to a place, we go between two: no slope lies between its bound and ours
            inside = (slopes > min(ours, scipys) + 1e-9) & (slopes < max(ours, scipys) - 1e-9)
            assert not inside.any()
        if len(x) > 2 and np.unique(y).size == y.size:
            exact = stats.kendalltau(x, y, method="exact" if len(x) <= 10 else "asymptotic")
            assert test.tau[number] == pytest.approx(exact.statistic, abs=1e-9)
            if len(x) <= 10:  # else scipy's has no continuity correction
                assert test.p[number] == pytest.approx(exact.pvalue, abs=1e-9)


def test_one_pass_gives_what_two_give() -> None:
    values = np.concatenate([WALK, RISING, SODIUM, [1.0], [2.0, 3.0]])
    segment = np.repeat(np.arange(6), [30, 20, 10, 1, 2, 0])
    times = np.arange(values.size)
    test, fit = drift(times, values, segment, size=6, level=0.9)
    plain = mann_kendall(times, values, segment, size=6)
    slopes = theil_sen(times, values, segment, size=6, level=0.9, correction=plain.correction)
    np.testing.assert_array_equal(test.p, plain.p)
    np.testing.assert_array_equal(
        [fit.slope, fit.lower, fit.upper], [slopes.slope, slopes.lower, slopes.upper]
    )
    uncorrected = theil_sen(times, values, segment, size=6, level=0.9)
    assert fit.lower[0] < uncorrected.lower[0]  # the walk's own memory widens its bounds


def test_few_points_and_equal_values_give_no_nonsense() -> None:
    times, values = [0.0, 0, 1, 0, 1, 2, 3, 4], [5.0, 5, 6, 2, 2, 2, 2, 2]
    segment = [1, 2, 2, 3, 3, 3, 3, 3]
    test = mann_kendall(times, values, segment, size=4)
    assert test.note == (TOO_FEW, TOO_FEW, TOO_FEW, "")
    assert np.isnan(test.p[:3]).all()
    assert (test.score[3], test.z[3], test.p[3], test.correction[3]) == (0, 0, 1, 1)
    fit = theil_sen(times, values, segment, size=4)
    assert np.isnan(fit.slope[:2]).all()
    assert fit.slope[2] == 1
    assert np.isnan(fit.lower[2])
    assert (fit.slope[3], fit.lower[3], fit.upper[3]) == (0, 0, 0)
    assert mann_kendall([], [], [], size=0).p.size == theil_sen([], [], [], size=0).slope.size == 0


def test_wrong_arrays_are_refused() -> None:
    with pytest.raises(EstimateError, match="same time"):
        theil_sen([1, 1], [2, 3], [0, 0], size=1)
    with pytest.raises(EstimateError, match="differ in length: 2, 3, 3"):
        mann_kendall([1, 2], [1, 2, 3], [0, 0, 0], size=1)
    with pytest.raises(EstimateError, match="correction above 0"):
        theil_sen([1, 2], [2, 3], [0, 0], size=1, correction=[0.0])
    with pytest.raises(EstimateError, match="finite, got nan"):
        mann_kendall([1, 2, 3], [1, np.nan, 3], [0, 0, 0], size=1)


def line(slope: float, lower: float, upper: float) -> MedianSlope:
    """A segment of days 0 to 100 whose line goes through 0.7 on day 50."""
    parts = [np.array([part]) for part in (slope, lower, upper, 50.0, 0.7)]
    return MedianSlope(parts[0], parts[1], parts[2], time=parts[3], value=parts[4], level=0.9)


def crossed(fit: MedianSlope, *, above: float = np.nan, below: float = np.nan) -> list[float]:
    found = project_crossing(fit, first=[0.0], last=[100.0], above=[above], below=[below])
    return [float(part[0]) for part in (found.at, found.earliest, found.latest)]


def test_line_carried_on_to_its_limit() -> None:
    # by hand: 0.3 away from day 50 on, at 0.003 a day 100 days, at 0.0025 and 0.004 120 and 75
    assert crossed(line(0.003, 0.0025, 0.004), above=1.0) == pytest.approx([150, 125, 170])
    assert crossed(line(-0.003, -0.004, -0.0025), below=0.4) == pytest.approx([150, 125, 170])


def test_beyond_twice_the_segment_nothing_is_told() -> None:
    # 0.3 at 0.001 a day are 300 days, on day 350; the segment is 100 days, told to day 200
    at, earliest, latest = crossed(line(0.003, 0.001, 0.004), above=1.0)
    assert [at, earliest] == pytest.approx([150, 125])
    assert np.isnan(latest)
    at, earliest, latest = crossed(line(0.0015, 0.001, 0.004), above=1.0)
    assert np.isnan([at, latest]).all()
    assert earliest == pytest.approx(125)
    assert np.isnan(crossed(line(0.001, 0.0005, 0.0015), above=1.0)).all()


def test_only_towards_a_limit_and_only_when_sure_of_the_direction() -> None:
    assert np.isnan(crossed(line(0.003, -0.001, 0.004), above=1.0)).all()
    assert np.isnan(crossed(line(-0.003, -0.004, -0.002), above=1.0)).all()
    assert np.isnan(crossed(line(0.003, 0.002, 0.004))).all()
    assert np.isnan(crossed(line(0.0, 0.0, 0.0), above=0.5, below=0.9)).all()


def test_line_already_past_the_limit_is_now() -> None:
    assert crossed(line(0.003, 0.0025, 0.004), above=0.75) == [100, 100, 100]


def about(deviation: float, points: float = 1e12) -> Scatter:
    return Scatter(*(np.array([each]) for each in (0.0, deviation, 1.0, points)))


def test_first_reading_beyond_the_limit_by_the_product_of_its_days() -> None:
    # A line that is known: 0.3 below the limit on day 50, at 0.003 a day, readings scatter by 0.04.
    # Closed form: none beyond up to day t has the chance of the product over the days.
    fit = line(0.003, 0.003, 0.003)
    found = project_crossing(
        fit, first=[0.0], last=[100.0], above=[1.0], below=[np.nan], scatter=about(0.04)
    )
    days = np.arange(101, 201)
    none = np.cumprod(stats.norm.cdf((0.3 - 0.003 * (days - 50)) / 0.04))
    expected = days[np.argmax(1 - none > 0.05)]
    assert 101 < expected < 150
    assert [found.earliest[0], found.at[0], found.latest[0]] == pytest.approx([expected, 150, 150])
    falling = project_crossing(
        line(-0.003, -0.003, -0.003), first=[0.0], last=[100.0], above=[np.nan], below=[0.4],
        scatter=about(0.04),
    )  # fmt: skip
    assert falling.earliest[0] == expected


def test_height_of_the_line_widens_its_bounds() -> None:
    # by hand: half the width at the middle is 1.6449 x 0.04 x sqrt(pi / 2) / sqrt(25) = 0.016492;
    # at the bound of the slope alone: (0.003 x - 0.3)^2 = 0.016492^2 + (0.0005 x)^2, x > 100
    fit = line(0.003, 0.0025, 0.0035)
    found = project_crossing(
        fit, first=[0.0], last=[100.0], above=[1.0], below=[np.nan], scatter=about(0.04, 25)
    )
    later = optimize.brentq(
        lambda x: (0.003 * x - 0.3) ** 2 - 0.016492**2 - (0.0005 * x) ** 2, 101, 200
    )
    assert found.latest[0] == pytest.approx(50 + later, abs=0.01)
    assert later > 120  # by the slope alone


def test_scatter_about_a_line_by_hand() -> None:
    # two segments mixed up; the first lies 0.1 above and below its line in turn, one reading 0.4
    times = np.array([0.0, 0, 1, 2, 3, 1, 4, 2])
    values = np.array([0.1, 5, 0.9, 2.1, 2.9, 5, 4.4, 5])
    segment = np.array([0, 1, 0, 0, 0, 1, 0, 1])
    fit = MedianSlope(*(np.array(part) for part in (
        [1.0, 0.0], [1.0, 0.0], [1.0, 0.0], [2.0, 1.0], [2.0, 5.0]
    )), 0.90)  # fmt: skip
    found = scatter_about(fit, times, values, segment)
    assert found.offset == pytest.approx([0.1, 0.0])  # -0.1, -0.1, 0.1, 0.1, 0.4
    assert found.deviation == pytest.approx([np.sqrt((0 + 0.04 + 0 + 0.04 + 0.09) / 3), 0.0])
    assert found.gap.tolist() == [1.0, 1.0]


# Simulated, known truth: 31 readings of independent noise, one a day, limit 14 days after the last.
def test_bounds_hold_the_first_reading_beyond_the_limit() -> None:
    runs, random = 400, np.random.default_rng(31)
    every = 0.01 * np.arange(90) + random.normal(0, 0.05, (runs, 90))
    days, segment = np.tile(np.arange(31.0), runs), np.repeat(np.arange(runs), 31)
    values = every[:, :31].ravel()
    fit = theil_sen(days, values, segment, size=runs, level=0.90)
    ends = {"first": np.zeros(runs), "last": np.full(runs, 30.0), "above": np.full(runs, 0.45)}
    low = np.full(runs, np.nan)
    first = 31 + np.argmax(every[:, 31:] > 0.45, axis=1)
    held = []
    for scatter in (None, scatter_about(fit, days, values, segment)):
        found = project_crossing(fit, **ends, below=low, scatter=scatter)
        held.append(np.mean((found.earliest <= first) & ~(found.latest < first)))
    assert held[0] < 0.60  # the bounds of the line alone: what was wrong with them
    assert 0.86 <= held[1] <= 0.97
