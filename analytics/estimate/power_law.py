"""The power-law process (Crow-AMSAA) of several repaired systems, each with its own windows.

The intensity of each position is scale_lambda * shape * age ** (shape - 1). `trend` states what
the arrays mean.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special
from scipy.optimize import brentq

from analytics.errors import EstimateError
from analytics.estimate.rate import (
    SAME_RATE_P,
    BoolArray,
    FloatArray,
    IntArray,
    check_level,
    check_numbers,
    dispersion_of_counts,
    sums_by,
)
from analytics.estimate.systems import Systems, read_systems

TOO_FEW_FAILURES = "trend.too_few_failures"
NO_MAXIMUM = "trend.no_maximum"
FEWEST_FAILURES = 3
_SHAPES = (1e-3, 1e2)  # beyond these a fitted shape says nothing of wear
_LARGEST_LOG = 700.0
_FIGURES = (
    "shape",
    "shape_lower",
    "shape_upper",
    "shape_mle",
    "scale_lambda",
    "mtbf_now",
    "mtbf_now_lower",
    "mtbf_now_upper",
    "cvm",
    "cvm_p",
)

# Upper-tail points of W2 (1 + 0.16/n), exponential law with estimated mean: Stephens (1974),
# JASA 69, 730-737, and D'Agostino & Stephens (1986), table 4.14, values from memory that a
# simulation of 20,000 samples confirmed; above p = 0.25 by that simulation alone.
_CVM_POINTS = np.array(
    [0.0, 0.025, 0.037, 0.052, 0.075, 0.116, 0.148, 0.175, 0.222, 0.271, 0.338, 0.390, 0.442, 0.510]
)
_CVM_TAILS = np.array(
    [1.0, 0.99, 0.9, 0.75, 0.5, 0.25, 0.15, 0.10, 0.05, 0.025, 0.01, 0.005, 0.0025, 0.001]
)


@dataclass(frozen=True, slots=True)
class PowerLawFit:
    """A power-law process fitted to several systems; NaN with a `note` where it cannot be.

    `scale_lambda` has the unit clock ** -shape, `mtbf_now` the unit of the clock. `method` says
    how the bounds of the shape were found. `left_out` failures fell at age 0 or in windows of
    no length. `note` is a message key, empty when there is nothing to say.
    """

    shape: float
    shape_lower: float
    shape_upper: float
    shape_mle: float
    scale_lambda: float
    mtbf_now: float
    mtbf_now_lower: float
    mtbf_now_upper: float
    cvm: float
    cvm_p: float
    failures: int
    left_out: int
    level: float
    method: Literal["chi-square", "profile-likelihood", ""]
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class PowerLawData:
    """Failures and windows for `fit_power_law_data`, arrays as in `fit_power_law`.

    `system` joins windows of one locomotive (gaps), `failure_truncated` says that each system's
    last failure ended its observation, `common_scale` that all systems share one scale.
    """

    times: ArrayLike
    unit: ArrayLike
    start: ArrayLike
    end: ArrayLike
    unit_positions: ArrayLike | None = None
    in_service: ArrayLike | None = None
    system: ArrayLike | None = None
    failure_truncated: bool = False
    common_scale: bool = False


def fit_power_law(
    times: ArrayLike,
    unit: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    *,
    level: float = 0.90,
    unit_positions: ArrayLike | None = None,
    in_service: ArrayLike | None = None,
) -> PowerLawFit:
    """Fit a power-law process (Crow-AMSAA) to several time-truncated systems.

    Parameters
    ----------
    times : (n_events,) age of the system at each failure
    unit : (n_events,) index of the window each failure fell into
    start, end : (n_windows,) ages between which each system was observed, (S_i, T_i]
    level : two-sided confidence level of all bounds
    unit_positions : (n_windows,) positions added up in each system, default 1
    in_service : (n_windows,) whether the system is in service at the cut, default all

    Returns
    -------
    PowerLawFit
        Shape below 1: failures grow rarer with age; above 1: more frequent. No verdict where its
        bounds hold 1.

    Conventions
    -----------
    Each system may have its own rate: the likelihood of the shape is conditional on its count.
    All S_i = 0: closed form, `shape` unbiased, exact chi-square bounds. Otherwise `shape` is the
    maximum-likelihood value and the bounds are those of the profile likelihood. scale_lambda =
    failures / sum of positions * (T^shape - S^shape). mtbf_now = positions in service / summed
    fitted intensity at each system's own last age. Its bounds are the handbook's for one
    time-truncated system, with r = 2 / variance of the logarithm of mtbf_now for the count of
    failures; where the counts of the systems speak against one common scale (p <= 0.10), the
    variance between systems is used if it is larger.
    `cvm` is the Cramer-von Mises statistic; `cvm_p` its chance under the model, exact to about
    0.01 where all S_i = 0, otherwise at least the true chance.

    Limits
    ------
    Fewer than 3 usable failures, or a likelihood without a maximum between the shapes 0.001 and
    100 (all failures at the last age, say): NaN with a note. mtbf_now_upper NaN where r is too
    small for an upper bound at this level; mtbf_now NaN where nothing is in service. Failures at
    age 0 have no finite likelihood: left out, counted.

    Raises
    ------
    EstimateError
        As `laplace_test`; a negative start, no positions.

    References
    ----------
    Crow (1975), AMSAA Technical Report 138; MIL-HDBK-189C (2011); IEC 61710; NIST/SEMATECH
    e-Handbook, 8.4.5.2 (bounds of mtbf_now).
    """
    data = PowerLawData(
        times, unit, start, end, unit_positions=unit_positions, in_service=in_service
    )
    return fit_power_law_data(data, level=level)


def fit_power_law_data(data: PowerLawData, *, level: float = 0.90) -> PowerLawFit:
    """Fit a power-law process to systems with gaps, one common scale, or failure truncation.

    As `fit_power_law`, for the choices that `PowerLawData` names. With a common scale the
    likelihood uses the counts of the systems too; bounds are then exact only for one system, or
    for S_i = 0, equal ends and time truncation.
    """
    check_level(level)
    systems = read_systems(
        data.times,
        data.unit,
        (data.start, data.end, data.system),
        failure_truncated=data.failure_truncated,
    )
    if np.any(systems.start < 0):
        raise EstimateError(f"Ages must not be negative, got {float(systems.start.min())!r}.")
    windows = np.asarray(data.start).size
    positions = _per_window(data.unit_positions, systems, windows, "unit_positions")
    if np.any(positions <= 0):
        raise EstimateError(f"unit_positions must be above 0, got {float(positions.min())!r}.")
    working = _per_window(data.in_service, systems, windows, "in_service") > 0
    latest = np.append(systems.system[1:] != systems.system[:-1], True)[: systems.system.size]
    given = _likelihood(systems, positions, common_scale=data.common_scale)
    blank = _nothing_fitted(given, np.asarray(data.times).size, level)
    if given.free.sum() < FEWEST_FAILURES:
        return blank
    mle = _maximum(given)
    if np.isnan(mle):
        return replace(blank, note=NO_MAXIMUM)
    return _described(given, systems, mle, now=working & latest, blank=blank)


def _nothing_fitted(given: _Likelihood, handed_in: int, level: float) -> PowerLawFit:
    nothing = dict.fromkeys(_FIGURES, np.nan)
    return PowerLawFit(
        **nothing,
        failures=given.failures,
        left_out=handed_in - given.failures,
        level=level,
        method="",
        note=TOO_FEW_FAILURES,
    )


def _described(
    given: _Likelihood, systems: Systems, mle: float, *, now: BoolArray, blank: PowerLawFit
) -> PowerLawFit:
    closed = _has_closed_form(given)
    shape = mle * (given.free.sum() - 1.0) / given.counted.sum() if closed else mle
    lower, upper = _shape_bounds(given, mle, blank.level)
    mtbf = _mtbf_now(given, (shape, mle), now, level=blank.level)
    by_system = _likelihood(systems, given.positions, common_scale=False)
    cvm, cvm_p = _cramer_von_mises(by_system, shape)
    per_age = given.failures / given.areas_together(shape).sum()
    log_scale = float(np.log(per_age) - shape * np.log(given.unit_age))
    return replace(
        blank,
        shape=float(shape),
        shape_lower=lower,
        shape_upper=upper,
        shape_mle=mle,
        scale_lambda=float(np.exp(log_scale)) if log_scale < _LARGEST_LOG else np.nan,
        mtbf_now=mtbf[0],
        mtbf_now_lower=mtbf[1],
        mtbf_now_upper=mtbf[2],
        cvm=cvm,
        cvm_p=cvm_p,
        method="chi-square" if closed else "profile-likelihood",
        note="",
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Likelihood:
    """Log-likelihood of the shape given the count of each group of windows.

    Logarithms of ages are relative to the last age of the group, so that no power underflows;
    `top` is the logarithm of that last age over `unit_age`, the last age of all.
    """

    log_age: FloatArray  # of each scored failure
    window: IntArray  # of each scored failure
    free: BoolArray  # scored failures that did not end an observation
    log_start: FloatArray  # of each window; 0 where it starts at age 0
    log_end: FloatArray
    from_birth: BoolArray  # windows that start at age 0
    positions: FloatArray
    group: IntArray  # of each window: its system, or 0 for all with a common scale
    counted: FloatArray  # scored failures of each group
    top: FloatArray  # of each window
    failures: int
    unit_age: float

    def areas(self, shape: float, power: int = 0) -> FloatArray:
        """Return positions * (T^b - S^b) of each window, or its derivative of order `power`."""
        up = np.exp(shape * self.log_end)
        if power == 0:
            narrow = -np.expm1(shape * (self.log_start - self.log_end))
            return self.positions * up * np.where(self.from_birth, 1.0, narrow)
        down = np.where(self.from_birth, 0.0, np.exp(shape * self.log_start))
        return self.positions * (up * self.log_end**power - down * self.log_start**power)

    def areas_together(self, shape: float) -> FloatArray:
        """Return positions * (T^b - S^b) of each window, with `unit_age` as the unit of age."""
        return self.areas(shape) * np.exp(shape * self.top)

    def group_means(self, shape: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return of each group its area, and the first and second derivative over the area."""
        area, first, second = (
            sums_by(self.group, self.areas(shape, k), self.counted.size) for k in range(3)
        )
        return area, first / area, second / area

    def value(self, shape: float) -> float:
        """Return the log-likelihood up to a constant."""
        area, _, _ = self.group_means(shape)
        gain = self.counted.sum() * np.log(shape) + shape * self.log_age.sum()
        return float(gain - self.counted @ np.log(area))

    def score(self, shape: float) -> float:
        """Return the derivative of the log-likelihood."""
        _, first, _ = self.group_means(shape)
        return float(self.counted.sum() / shape + self.log_age.sum() - self.counted @ first)

    def information(self, shape: float) -> float:
        """Return minus the second derivative of the log-likelihood."""
        _, first, second = self.group_means(shape)
        return float(self.counted.sum() / shape**2 + self.counted @ (second - first**2))


def _likelihood(systems: Systems, positions: FloatArray, *, common_scale: bool) -> _Likelihood:
    unit_age = float(systems.end.max(initial=1e-300))
    aged = systems.times > 0
    scored = aged if common_scale else aged & ~systems.ends_observation
    window = systems.window[scored]
    if common_scale:
        group, last_age = np.zeros_like(systems.system), np.full(systems.end.size, unit_age)
    else:
        group, last_age = systems.system, systems.last_end
    from_birth = systems.start == 0
    return _Likelihood(
        log_age=np.log(systems.times[scored] / last_age[window]),
        window=window,
        free=~systems.ends_observation[scored],
        log_start=np.log(np.where(from_birth, last_age, systems.start) / last_age),
        log_end=np.log(systems.end / last_age),
        from_birth=from_birth,
        positions=positions,
        group=group,
        counted=sums_by(group[window], np.ones(window.size), int(group.max(initial=-1)) + 1),
        top=np.log(last_age / unit_age),
        failures=int(aged.sum()),
        unit_age=unit_age,
    )


def _has_closed_form(given: _Likelihood) -> bool:
    """Whether the shape is a ratio with a chi-square law: all from age 0, groups alike within."""
    alone = np.unique(given.group).size == given.group.size
    alike = bool(np.ptp(given.log_end) == 0 and given.free.all())
    return bool(given.from_birth.all()) and (alone or alike)


def _maximum(given: _Likelihood) -> float:
    """Return the shape of greatest likelihood, NaN where that is at no positive, finite shape."""
    if given.score(_SHAPES[0]) <= 0 or given.score(_SHAPES[1]) >= 0:
        return np.nan
    if _has_closed_form(given):
        return float(given.counted.sum() / np.sum(given.log_end[given.window] - given.log_age))
    return float(brentq(given.score, *_SHAPES, xtol=1e-12, rtol=1e-13))


def _shape_bounds(given: _Likelihood, mle: float, level: float) -> tuple[float, float]:
    tail = (1.0 - level) / 2.0
    if _has_closed_form(given):
        per_unit = mle / given.counted.sum()
        used = int(given.free.sum())
        lower, upper = special.gammaincinv(used, [tail, 1.0 - tail])
        return float(lower * per_unit), float(upper * per_unit)
    least = given.value(mle) - float(special.chdtri(1, 1.0 - level)) / 2.0

    def above(shape: float) -> float:
        return given.value(shape) - least

    # The likelihood is log-concave: one crossing on each side, none where it stays up to shape 0.
    lower = 0.0 if above(_SHAPES[0] / 1e3) >= 0 else brentq(above, _SHAPES[0] / 1e3, mle)
    high = 2.0 * mle
    while above(high) > 0:
        high *= 2.0
    return float(lower), float(brentq(above, mle, high))


def _mtbf_now(
    given: _Likelihood, shapes: tuple[float, float], now: BoolArray, *, level: float
) -> tuple[float, float, float]:
    """Return mtbf_now at the first shape, and its bounds from the second, the likeliest one."""
    if not now.any():
        return np.nan, np.nan, np.nan
    value, likeliest = (_mtbf_at(given, shape, now) for shape in shapes)
    z = float(special.ndtri((1.0 + level) / 2.0))
    size = 2.0 * (z / _log_mtbf_reach(given, shapes[1], now, level=level)) ** 2
    lower = likeliest * (size / (size + z**2 / 4 + z * np.sqrt(size / 2 + z**2 / 16))) ** 2
    room = size - z * np.sqrt(size / 2)
    upper = likeliest * (size / room) ** 2 if room > 0 else np.nan
    return value, float(lower), float(upper)


def _mtbf_at(given: _Likelihood, shape: float, now: BoolArray) -> float:
    each = given.areas_together(shape).sum() * given.unit_age / (given.failures * shape)
    steep = given.positions[now] @ np.exp((shape - 1) * (given.log_end + given.top)[now])
    return float(given.positions[now].sum() * each / steep) if steep > 0 else np.nan


def _log_mtbf_reach(given: _Likelihood, shape: float, now: BoolArray, *, level: float) -> float:
    """Return the half width of the bounds of the logarithm of mtbf_now.

    From the model's variance; where the counts of the systems speak against one common scale,
    from the variance between systems with Student's quantile, if that is wider.
    """
    pull = _pull_of_shape(given, shape, now)
    information = given.information(shape)
    tail = (1.0 + level) / 2.0
    model = np.sqrt(1.0 / given.failures + pull**2 / information) * special.ndtri(tail)
    group_area = sums_by(given.group, given.areas_together(shape), given.counted.size)
    _, p = dispersion_of_counts(given.counted, group_area)
    if not p <= SAME_RATE_P:
        return float(model)
    _, first, _ = given.group_means(shape)
    systems = given.counted.size
    ages = sums_by(given.group[given.window], given.log_age, systems)
    score = given.counted * (1.0 / shape - first) + ages
    excess = given.counted / given.counted.sum() - group_area / group_area.sum()
    between = np.sum((pull * score / information - excess) ** 2) * systems / (systems - 1)
    return float(max(model, np.sqrt(between) * special.stdtrit(systems - 1, tail)))


def _pull_of_shape(given: _Likelihood, shape: float, now: BoolArray) -> float:
    """Return the derivative of the logarithm of mtbf_now by the shape."""
    area = given.areas_together(shape)
    slope = given.areas(shape, 1) * np.exp(shape * given.top) + area * given.top
    log_now = (given.log_end + given.top)[now]
    weight = given.positions[now] * np.exp((shape - 1) * (log_now - log_now.max()))
    return float(slope.sum() / area.sum() - 1.0 / shape - weight @ log_now / weight.sum())


def _cramer_von_mises(given: _Likelihood, shape: float) -> tuple[float, float]:
    """Return the statistic and its p; groups of `given` are the systems."""
    area = given.areas(shape) / given.positions
    before = np.cumsum(area) - area
    offset = before - before[np.searchsorted(given.group, given.group)]
    total = sums_by(given.group, area, given.counted.size)
    age = np.exp(shape * given.log_age)
    begun = np.where(given.from_birth, 0.0, np.exp(shape * given.log_start))
    observed = offset[given.window] + age - begun[given.window]
    place = np.sort(observed / total[given.group[given.window]])
    number = place.size
    middle = (np.arange(number) + 0.5) / number
    cvm = float(1.0 / (12 * number) + np.sum((place - middle) ** 2))
    return cvm, _cvm_tail(cvm * (1.0 + 0.16 / number))


def _cvm_tail(scaled: float) -> float:
    """Chance of a larger statistic; log-linear between the points, and beyond the last."""
    logs = np.log(_CVM_TAILS)
    if scaled > _CVM_POINTS[-1]:
        fall = (logs[-1] - logs[-2]) / (_CVM_POINTS[-1] - _CVM_POINTS[-2])
        return float(np.exp(logs[-1] + fall * (scaled - _CVM_POINTS[-1])))
    return float(np.exp(np.interp(scaled, _CVM_POINTS, logs)))


def _per_window(given: ArrayLike | None, systems: Systems, size: int, name: str) -> FloatArray:
    """Bring one value per window (default 1) into the order of `systems`."""
    values = np.ones(size) if given is None else check_numbers(given, name)
    if values.size != size:
        raise EstimateError(f"One of {name} per window is needed, got {values.size} for {size}.")
    return values[systems.order]
