"""The chance of a defect by age since the last renewal: intensity of counted failures.

A restored position goes on with its age, so several failures may follow each other in one life. A
power law is fitted; where the failures reject it, an intensity constant in each of five bands of
age takes its place; where they are too few for a shape, one rate for all ages.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analytics.estimate.age_bands import AgeBands, band_ages
from analytics.estimate.power_intensity import PowerIntensities, fit_power_intensities
from analytics.estimate.rate import (
    FloatArray,
    check_indices,
    check_level,
    check_numbers,
    exact_mtbf_bounds,
)
from analytics.estimate.risk_intervals import RiskIntervals

FEWEST_FAILURES = 3
REJECTED_P = 0.05
POWER_LAW, BANDED, CONSTANT = "power-law", "piecewise-constant", "constant"
TOO_FEW_FAILURES = "intensity.too_few_failures"
NO_MAXIMUM = "intensity.no_maximum"
NO_EXPOSURE = "intensity.no_exposure"
REJECTED = "intensity.rejected"


@dataclass(frozen=True, slots=True, eq=False)
class IntensityFits:
    """Fitted intensities of all groups, arrays of shape (groups,).

    `model` is `power-law`, `piecewise-constant`, `constant` or empty (no exposure). `shape` and its
    bounds are those of the power law, also where it is rejected; NaN where there is none. `p` tests
    the power law against steps in five bands of age (NaN below 20 failures). `left_out` failures
    fell at age 0. `note` is a message key, empty when there is nothing to say.
    """

    model: NDArray[np.str_]
    events: FloatArray
    exposure: FloatArray
    left_out: FloatArray
    shape: FloatArray
    shape_lower: FloatArray
    shape_upper: FloatArray
    p: FloatArray
    level: float
    note: NDArray[np.str_]
    power: PowerIntensities
    bands: AgeBands


@dataclass(frozen=True, slots=True, eq=False)
class IntensityCurve:
    """Intensity and cumulative intensity of one group at given ages, arrays of shape (ages,).

    `intensity` is failures per position and unit of the clock, `cumulative` failures per position
    from age 0. Bounds are pointwise.
    """

    age: FloatArray
    intensity: FloatArray
    lower: FloatArray
    upper: FloatArray
    cumulative: FloatArray
    cumulative_lower: FloatArray
    cumulative_upper: FloatArray
    level: float


def fit_intensities(
    data: RiskIntervals, *, level: float = 0.90, bounds: bool = True
) -> IntensityFits:
    """Fit the intensity of counted failures by age since renewal, for all groups at once.

    Parameters
    ----------
    data : intervals (start, stop] of age at risk with the failures at their ends
    level : two-sided confidence level of all bounds
    bounds : whether the shape is bounded, which takes most of the time; else its bounds are NaN

    Returns
    -------
    IntensityFits
        To be read at any age by `cumulative_intensity`, `expected_failures`, `intensity_curve`.

    Conventions
    -----------
    Log-likelihood: sum over failures of log intensity at their age, less the cumulative intensity
    over all intervals. Where every failure renews, this is the likelihood of Weibull lives with
    exact failures, right-censoring and delayed entry. Shape bounds by profile likelihood, widened
    where 10 or more clusters (locomotives) vary more than the model says; bounds of the intensity
    by the delta method on its logarithm, with the greater of the two variances.

    Limits
    ------
    Fewer than 3 failures, or no maximum between the shapes 0.001 and 100: one rate for all ages
    with exact Poisson bounds, and a note. A failure at age 0 has no finite likelihood: left out,
    counted. No exposure: NaN, empty model.

    References
    ----------
    Cook & Lawless (2007), The Statistical Analysis of Recurrent Events, sections 2.2 and 3.2-3.3;
    Lin & Wei (1989), JASA 84, 1074-1078 (variance by clusters).
    """
    check_level(level)
    at_birth = (data.stop == 0) & (data.events > 0)
    used = data.only(~at_birth & ((data.stop > data.start) | (data.events > 0)))
    events, exposure = used.by_group(used.events), used.exposure
    power = fit_power_intensities(used, level=level, bounds=bounds)
    bands = band_ages(used, power)
    enough, fitted = events >= FEWEST_FAILURES, np.isfinite(power.shape)
    rejected = bands.p < REJECTED_P
    nothing = exposure <= 0
    cases = [nothing, ~enough, ~fitted, rejected]
    shown = np.where(enough & ~nothing, 0.0, np.nan)
    return IntensityFits(
        model=np.select(cases, ["", CONSTANT, CONSTANT, BANDED], default=POWER_LAW),
        events=events,
        exposure=exposure,
        left_out=data.by_group(data.events * at_birth),
        shape=power.shape + shown,
        shape_lower=power.shape_lower + shown,
        shape_upper=power.shape_upper + shown,
        p=bands.p,
        level=level,
        note=np.select(cases, [NO_EXPOSURE, TOO_FEW_FAILURES, NO_MAXIMUM, REJECTED], default=""),
        power=power,
        bands=bands,
    )


def cumulative_intensity(fits: IntensityFits, group: ArrayLike, age: ArrayLike) -> FloatArray:
    """Return the failures expected of one position from age 0 to each age.

    Parameters
    ----------
    fits : as `fit_intensities` returns them
    group : (n,) index of the fit to read
    age : (n,) ages in the clock's unit; beyond the oldest one seen the law or last band goes on

    Raises
    ------
    EstimateError
        An index that no fit has, an undefined age.
    """
    ages = check_numbers(age, "age")
    of = check_indices(group, fits.events.size, "group")
    found = np.full(ages.size, np.nan)
    model = fits.model[of]
    even, power, banded = (model == name for name in (CONSTANT, POWER_LAW, BANDED))
    found[even] = (
        ages[even] * (fits.events / np.where(fits.exposure > 0, fits.exposure, 1.0))[of[even]]
    )
    found[power] = np.exp(_log_cumulative(fits, of[power], ages[power]))
    found[banded] = (
        _band_shares(fits, of[banded], ages[banded]) * _band_rates(fits)[of[banded]]
    ).sum(axis=1)
    return found


def expected_failures(fits: IntensityFits, data: RiskIntervals) -> FloatArray:
    """Return the failures that the fitted intensity expects in each interval, shape (n,).

    Over all intervals of one group they add up to its failures (those at age 0 apart).
    """
    ends = cumulative_intensity(fits, data.group, data.stop)
    return ends - cumulative_intensity(fits, data.group, data.start)


def intensity_curve(fits: IntensityFits, group: int, age: ArrayLike) -> IntensityCurve:
    """Return intensity and cumulative intensity of one group at ages above 0, with bounds.

    Without a failure, lower bounds are 0 and upper ones one-sided.
    """
    ages = check_numbers(age, "age")
    of = np.full(ages.size, group)
    figures = {
        POWER_LAW: _power_figures,
        BANDED: _band_figures,
        CONSTANT: _even_figures,
    }.get(str(fits.model[group]), _no_figures)(fits, of, ages)
    return IntensityCurve(ages, *figures, fits.level)


_Figures = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]


def _log_cumulative(fits: IntensityFits, of: NDArray[np.int64], age: FloatArray) -> FloatArray:
    power = fits.power
    with np.errstate(divide="ignore"):
        return power.log_level[of] + power.shape[of] * (np.log(age) - power.log_top[of])


def _around(value: FloatArray, variance: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
    reach = np.exp(float(special.ndtri((1.0 + level) / 2.0)) * np.sqrt(variance))
    return value / reach, value * reach


def _power_figures(fits: IntensityFits, of: NDArray[np.int64], age: FloatArray) -> _Figures:
    power = fits.power
    off = np.log(age) - power.log_top[of] - power.middle[of]
    cumulative = np.exp(_log_cumulative(fits, of, age))
    intensity = cumulative * power.shape[of] / age

    def bounds(value: FloatArray, lever: FloatArray) -> tuple[FloatArray, FloatArray]:
        model = power.level_variance[of] + lever**2 * power.shape_variance[of]
        robust = power.robust_level[of] + 2 * lever * power.robust_both[of]
        robust += lever**2 * power.robust_shape[of]
        return _around(value, np.maximum(model, robust), fits.level)

    return (
        intensity,
        *bounds(intensity, off + 1.0 / power.shape[of]),
        cumulative,
        *bounds(cumulative, off),
    )


def _band_rates(fits: IntensityFits) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        rates = fits.bands.events / fits.bands.exposure
    return np.where(fits.bands.exposure > 0, rates, 0.0)


def _band_shares(fits: IntensityFits, of: NDArray[np.int64], age: FloatArray) -> FloatArray:
    """Return how much of each age lies in each band; the last band has no end."""
    edges = fits.bands.edges[of]
    upper = np.hstack([edges[:, 1:-1], np.full((of.size, 1), np.inf)])
    return np.clip(age[:, None], edges[:, :-1], upper) - edges[:, :-1]


def _band_figures(fits: IntensityFits, of: NDArray[np.int64], age: FloatArray) -> _Figures:
    bands, power = fits.bands, fits.power
    grow = np.maximum(1.0, power.robust_level / power.level_variance)[of]
    band = np.sum(age[:, None] > bands.edges[of, 1:-1], axis=1)
    rate = _band_rates(fits)[of]
    share = _band_shares(fits, of, age)
    cumulative = (share * rate).sum(axis=1)
    events = np.maximum(bands.events[of], 1.0)
    variance = grow * (share**2 * rate**2 / events).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.nan_to_num(variance / cumulative**2)
    here = np.arange(of.size), band
    low, high = _even_bounds(bands.events[of][here], bands.exposure[of][here], fits.level)
    spread = np.sqrt(grow)
    intensity = rate[here]
    wide = _around(intensity, spread**2 / events[here], fits.level)
    return (
        intensity,
        np.minimum(low, wide[0]),
        np.maximum(high, np.where(intensity > 0, wide[1], 0.0)),
        cumulative,
        *_around(cumulative, relative, fits.level),
    )


def _even_bounds(
    events: FloatArray, exposure: FloatArray, level: float
) -> tuple[FloatArray, FloatArray]:
    shortest, longest = exact_mtbf_bounds(events, exposure, level=level)
    with np.errstate(divide="ignore"):
        lower = np.where(np.isfinite(longest), 1.0 / longest, 0.0)
        return lower, 1.0 / shortest


def _even_figures(fits: IntensityFits, of: NDArray[np.int64], age: FloatArray) -> _Figures:
    events, exposure = fits.events[of], fits.exposure[of]
    rate = events / exposure
    low, high = _even_bounds(events, exposure, fits.level)
    return rate, low, high, rate * age, low * age, high * age


def _no_figures(_fits: IntensityFits, of: NDArray[np.int64], _age: FloatArray) -> _Figures:
    nothing = np.full(of.size, np.nan)
    return nothing, nothing, nothing, nothing, nothing, nothing
