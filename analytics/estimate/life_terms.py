"""The log-likelihoods of many groups of lives at once, with slope and curvature of each.

On the logarithm of age Weibull and lognormal lives are one family: z = (log age - location) /
scale, with z following the law of the smallest extreme value (Weibull: location = log of the
Weibull scale, scale = 1 / shape) or the normal law (lognormal: mu, sigma). Exact, right-, left- and
interval-censored lives and late entries each add one term to the sums of their group. Every group
is measured from its own median age, so nothing depends on the clock's unit or overflows by it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from analytics.estimate.by_group import ByGroup
from analytics.estimate.life_data import LifeData
from analytics.estimate.rate import BoolArray, FloatArray, IntArray

_LOG_OF_ZERO = -1e6
_HALF_LOG_TWO_PI = 0.5 * np.log(2.0 * np.pi)

Law = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray, FloatArray]]
"""A standard law at z: logs of survival and density, the log density's first two derivatives."""


def extreme_value(z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the law of the smallest extreme value, that of log Weibull lives."""
    rise = np.exp(z)
    return -rise, z - rise, 1.0 - rise, -rise


def normal(z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the normal law, that of log lognormal lives."""
    return special.log_ndtr(-z), -0.5 * z * z - _HALF_LOG_TWO_PI, -z, np.full_like(z, -1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Ages:
    """Log ages of one kind, ordered by group.

    `log_age` has shape (ends, n): one end, or both of an interval. `present` are the groups that
    have any, `starts` where each begins, `repeats` how many it has.
    """

    group: IntArray
    log_age: FloatArray
    weight: FloatArray
    present: IntArray
    starts: IntArray
    repeats: IntArray

    @classmethod
    def of(cls, group: IntArray, log_age: FloatArray, weight: FloatArray) -> Ages:
        """Note where each group begins; `group` must ascend."""
        starts = np.flatnonzero(np.diff(group, prepend=-1))
        repeats = np.diff(starts, append=group.size)
        return cls(group, log_age, weight, group[starts], starts, repeats)

    def only(self, keep: BoolArray, number: IntArray) -> Ages:
        """Keep the groups where `keep` is true, under their new numbers."""
        kept = keep[self.group]
        return Ages.of(number[self.group[kept]], self.log_age[:, kept], self.weight[kept])

    def moved(self, by: FloatArray) -> Ages:
        """Add to the log ages of each group."""
        return replace(self, log_age=self.log_age + by[self.group])

    def doubled(self, size: int) -> Ages:
        """Put all of it a second time behind itself, as of groups `size` and on."""
        group = np.concatenate([self.group, self.group + size])
        return Ages.of(group, np.tile(self.log_age, 2), np.tile(self.weight, 2))

    def standardised(self, location: FloatArray, scale: FloatArray) -> FloatArray:
        """Return z of every end, shape (ends, n)."""
        middle = np.repeat(location[self.present], self.repeats)
        z: FloatArray = (self.log_age - middle) / np.repeat(scale[self.present], self.repeats)
        return z

    def summed(self, rows: FloatArray, size: int) -> FloatArray:
        """Add up weighted rows (k, n) by group, shape (k, size)."""
        total = np.zeros((rows.shape[0], size))
        if self.starts.size:
            total[:, self.present] = np.add.reduceat(rows * self.weight, self.starts, axis=1)
        return total


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """The lives of `size` groups by what is known of them, each measured from `unit` (size,).

    `exact` are ages of failures, `between` the ends of intervals, `passed` ages survived, of weight
    below 0 for a late entry. `unit` is the log of the group's median age, `failures` the weight of
    its exact failures.
    """

    exact: Ages
    between: Ages
    passed: Ages
    unit: FloatArray
    failures: FloatArray

    @property
    def size(self) -> int:
        """Return the number of groups."""
        return int(self.unit.size)

    @property
    def constant(self) -> FloatArray:
        """Return what turns densities of log age into densities of age in the clock's unit."""
        logs: FloatArray = self.exact.summed(self.exact.log_age, self.size)[0]
        return -logs - self.unit * self.failures

    def only(self, which: IntArray) -> Sample:
        """Keep the groups `which`, numbered anew in this order, which must ascend."""
        if which.size == self.size:
            return self
        keep = np.zeros(self.size, dtype=bool)
        keep[which] = True
        number = np.cumsum(keep) - 1
        return Sample(
            self.exact.only(keep, number),
            self.between.only(keep, number),
            self.passed.only(keep, number),
            self.unit[which],
            self.failures[which],
        )

    def measured_from(self, unit: float) -> Sample:
        """Measure all groups from one log age; locations move by `self.unit - unit`."""
        moved = self.unit - unit
        return Sample(
            self.exact.moved(moved),
            self.between.moved(moved),
            self.passed.moved(moved),
            np.full_like(moved, unit),
            self.failures,
        )

    def doubled(self) -> Sample:
        """Put the groups a second time behind themselves."""
        return Sample(
            self.exact.doubled(self.size),
            self.between.doubled(self.size),
            self.passed.doubled(self.size),
            np.tile(self.unit, 2),
            np.tile(self.failures, 2),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Points(ByGroup):
    """Log-likelihoods of m groups, each at one location and log scale.

    `place` (2, m); `total` (6, m): value, its slopes by location and log scale, its second
    derivatives by location twice, by both, by log scale twice.
    """

    place: FloatArray
    total: FloatArray

    @property
    def value(self) -> FloatArray:
        """Return the log-likelihoods, shape (m,)."""
        values: FloatArray = self.total[0]
        return values

    def along(self, first: FloatArray, second: FloatArray) -> FloatArray:
        """Return the second derivative by two directions (2, m) each."""
        _, _, _, twice, mixed, both = self.total
        across = first[0] * second[1] + first[1] * second[0]
        bent: FloatArray = (
            twice * first[0] * second[0] + mixed * across + both * first[1] * second[1]
        )
        return bent


def read_sample(lives: LifeData, group: IntArray, size: int, weight: FloatArray) -> Sample:
    """Take logs of the ages of lives that are ordered by group."""
    seen = np.where(lives.failed, lives.upper, lives.lower)
    unit = np.log(_medians(seen, group, size))
    exact, failed = lives.exact, lives.failed
    late, between = lives.entry > 0, failed & ~exact
    low, own = lives.lower[between], unit[group]
    log_low = np.log(low, out=np.full(low.shape, _LOG_OF_ZERO), where=low > 0)
    ends = np.stack([log_low, np.log(lives.upper[between])]) - own[between]
    # A life's own end and its late entry lie side by side, so that groups stay in order.
    passing = np.stack([~failed, late], axis=1).ravel()
    ages = np.stack([lives.lower, lives.entry], axis=1).ravel()[passing]
    signed = np.stack([weight, -weight], axis=1).ravel()[passing]
    holder = np.repeat(group, 2)[passing]
    return Sample(
        exact=Ages.of(group[exact], (np.log(lives.lower[exact]) - own[exact])[None], weight[exact]),
        between=Ages.of(group[between], ends, weight[between]),
        passed=Ages.of(holder, (np.log(ages) - unit[holder])[None], signed),
        unit=unit,
        failures=np.bincount(group[exact], weight[exact], minlength=size).astype(np.float64),
    )


def _medians(values: FloatArray, group: IntArray, size: int) -> FloatArray:
    """Return the median of each group, 1 for a group of nobody."""
    ordered = values[np.lexsort((values, group))]
    count = np.bincount(group, minlength=size)
    first = np.cumsum(count) - count
    there = count > 0
    median = np.ones(size)
    low, high = (first + (count - 1) // 2)[there], (first + count // 2)[there]
    median[there] = 0.5 * (ordered[low] + ordered[high])
    return median


def log_likelihoods(law: Law, sample: Sample, place: FloatArray) -> Points:
    """Evaluate the log-likelihood of every group at its own `place` (2, m) with derivatives.

    Where a trial is so far off that the numbers overflow, the value is minus infinity.
    """
    location, log_scale = place
    scale = np.exp(log_scale)
    total = np.zeros((6, sample.size))
    with np.errstate(all="ignore"):
        for ages, terms in (
            (sample.exact, _exact_terms),
            (sample.passed, _passed_terms),
            (sample.between, _interval_terms),
        ):
            if ages.group.size:
                z = ages.standardised(location, scale)
                total += ages.summed(terms(law, z), sample.size)
        total[0] -= sample.failures * log_scale
        total[2] -= sample.failures
        total[[1, 4]] /= scale
        total[3] /= scale**2
    lost = ~np.isfinite(total).all(axis=0)
    total[:, lost] = 0.0
    total[0, lost] = -np.inf
    return Points(place, total)


# Rows of terms, still in units of the scale: value, by location, by log scale, by location twice,
# by both, by log scale twice.


def _exact_terms(law: Law, z: FloatArray) -> FloatArray:
    _, log_density, slope, bend = law(z[0])
    return _chain(log_density, slope, bend, z[0])


def _passed_terms(law: Law, z: FloatArray) -> FloatArray:
    log_survival, log_density, slope, _ = law(z[0])
    hazard = np.exp(log_density - log_survival)
    return _chain(log_survival, -hazard, -hazard * (slope + hazard), z[0])


def _chain(value: FloatArray, first: FloatArray, second: FloatArray, z: FloatArray) -> FloatArray:
    """Turn derivatives by z into those by location and log scale."""
    mixed = first + z * second
    return np.stack([value, -first, -z * first, second, mixed, z * mixed])


def _interval_terms(law: Law, z: FloatArray) -> FloatArray:
    """Return log(S(low) - S(high)); all is taken relative to S(low), which may underflow."""
    low, high = z
    log_low, density_low, slope_low, _ = law(low)
    log_high, density_high, slope_high, _ = law(high)
    chance = -np.expm1(log_high - log_low)
    log_chance = log_low + np.log(chance)
    at_low, at_high = (
        np.exp(density_low - log_low) / chance,
        np.exp(density_high - log_low) / chance,
    )
    # The density's derivative by z, and what it leaves after one turn of the chain rule.
    lean_low, lean_high = at_low * slope_low, at_high * slope_high
    turn_low, turn_high = at_low + low * lean_low, at_high + high * lean_high
    by_location, by_scale = at_low - at_high, low * at_low - high * at_high
    return np.stack(
        [
            log_chance,
            by_location,
            by_scale,
            lean_high - lean_low - by_location**2,
            turn_high - turn_low - by_location * by_scale,
            high * turn_high - low * turn_low - by_scale**2,
        ]
    )
