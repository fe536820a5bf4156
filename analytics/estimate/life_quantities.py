"""Features of a life as coordinates of the law: quantiles, mean, scale, hazard, reliability.

A profile bound needs the law written with the quantity itself as a coordinate. Every quantity here
moves one way with the location at any given scale, so location and log scale are replaced by the
quantity and the log scale (for the log scale itself: by the log scale and the location).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy import special

from analytics.estimate.by_group import ByGroup
from analytics.estimate.life_terms import Law
from analytics.estimate.rate import FloatArray

_MOST_STEPS = 60

Shift = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]
Surface = Callable[[FloatArray, FloatArray], tuple[FloatArray, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class Path(ByGroup):
    """Places (2, m) with a quantity held, and how they move.

    `along` and `bend` are the first and second derivatives by the free parameter, `across` the
    first by the quantity.
    """

    place: FloatArray
    along: FloatArray
    bend: FloatArray
    across: FloatArray


class Quantity(Protocol):
    """A feature of the life as a coordinate; arrays of shape (m,)."""

    def value(self, place: FloatArray) -> FloatArray:
        """Return the quantity at places (2, m)."""

    def free(self, place: FloatArray) -> FloatArray:
        """Return the free parameter at places."""

    def path(self, at: FloatArray, free: FloatArray, near: FloatArray) -> Path:
        """Return the places with the quantity `at`, beginning a search at locations `near`."""


def _row(place: FloatArray, which: int) -> FloatArray:
    values: FloatArray = place[which]
    return values


@dataclass(frozen=True, slots=True)
class LogScale:
    """The log scale itself; the location is free."""

    def value(self, place: FloatArray) -> FloatArray:
        """Return the log scale."""
        return _row(place, 1)

    def free(self, place: FloatArray) -> FloatArray:
        """Return the location."""
        return _row(place, 0)

    def path(self, at: FloatArray, free: FloatArray, near: FloatArray) -> Path:  # noqa: ARG002
        """Return the places of that log scale."""
        one, zero = np.ones_like(at), np.zeros_like(at)
        nothing = np.zeros((2, at.size))
        return Path(np.stack([free, at]), np.stack([one, zero]), nothing, np.stack([zero, one]))


@dataclass(frozen=True, slots=True)
class Shifted:
    """Location + shift(log scale); `shift` returns its value and two derivatives."""

    shift: Shift

    def value(self, place: FloatArray) -> FloatArray:
        """Return the quantity."""
        return _row(place, 0) + self.shift(place[1])[0]

    def free(self, place: FloatArray) -> FloatArray:
        """Return the log scale."""
        return _row(place, 1)

    def path(self, at: FloatArray, free: FloatArray, near: FloatArray) -> Path:  # noqa: ARG002
        """Return the places that have the quantity at each log scale."""
        shift, first, second = self.shift(free)
        one, zero = np.ones_like(at), np.zeros_like(at)
        return Path(
            np.stack([at - shift, free]),
            np.stack([-first, one]),
            np.stack([-second, zero]),
            np.stack([one, zero]),
        )


@dataclass(frozen=True, slots=True)
class Solved:
    """A quantity whose location has to be searched for.

    `surface` returns, by location and log scale: the quantity, its two slopes, and its second
    derivatives by location twice, by both, by log scale twice.
    """

    surface: Surface

    def value(self, place: FloatArray) -> FloatArray:
        """Return the quantity."""
        return self.surface(place[0], place[1])[0]

    def free(self, place: FloatArray) -> FloatArray:
        """Return the log scale."""
        return _row(place, 1)

    def path(self, at: FloatArray, free: FloatArray, near: FloatArray) -> Path:
        """Search the locations by Newton's method; NaN where the search does not settle."""
        location, reach = near, 5.0 * np.exp(free)
        with np.errstate(all="ignore"):
            for _ in range(_MOST_STEPS):
                value, by_location, *_ = self.surface(location, free)
                step = (at - value) / by_location
                location = location + np.clip(step, -reach, reach)
                settled = np.abs(step) < 1e-13 * (reach + np.abs(location))
                if (settled | np.isnan(step)).all():
                    break
            _, by_location, by_scale, twice, mixed, both = self.surface(location, free)
            lean = -by_scale / by_location
            bend = -(both + 2.0 * mixed * lean + twice * lean**2) / by_location
            rise = 1.0 / by_location
        one, zero = np.ones_like(at), np.zeros_like(at)
        return Path(
            np.stack([np.where(settled, location, np.nan), free]),
            np.stack([lean, one]),
            np.stack([bend, zero]),
            np.stack([rise, zero]),
        )


def log_quantile(standard: float) -> Quantity:
    """Return "log age at which the standard law reaches `standard`"."""

    def shift(log_scale: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        moved = standard * np.exp(log_scale)
        return moved, moved, moved

    return Shifted(shift)


def _weibull_mean(log_scale: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    scale = np.exp(log_scale)
    first = scale * special.digamma(1.0 + scale)
    second = first + scale**2 * special.polygamma(1, 1.0 + scale)
    return special.gammaln(1.0 + scale), first, second


def _lognormal_mean(log_scale: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    variance = np.exp(2.0 * log_scale)
    return 0.5 * variance, variance, 2.0 * variance


LOG_SCALE: Quantity = LogScale()
WEIBULL_LOG_MEAN: Quantity = Shifted(_weibull_mean)
LOGNORMAL_LOG_MEAN: Quantity = Shifted(_lognormal_mean)


def log_hazard(law: Law, log_age: float) -> Quantity:
    """Return "log of the hazard at a log age"."""

    def surface(location: FloatArray, log_scale: FloatArray) -> tuple[FloatArray, ...]:
        scale = np.exp(log_scale)
        z = (log_age - location) / scale
        log_survival, log_density, slope, bend = law(z)
        rise = slope + np.exp(log_density - log_survival)
        second = bend + np.exp(log_density - log_survival) * rise
        return (
            log_density - log_survival - log_scale - log_age,
            -rise / scale,
            -z * rise - 1.0,
            second / scale**2,
            (rise + z * second) / scale,
            z * (rise + z * second),
        )

    return Solved(surface)


def log_conditional_hazard(law: Law, from_log_age: float, to_log_age: float) -> Quantity:
    """Return "log of what the cumulative hazard gains between two log ages".

    The chance of living on from one age to the other is exp(-exp(quantity)). The first log age is
    minus infinity for age 0.
    """

    def surface(location: FloatArray, log_scale: FloatArray) -> tuple[FloatArray, ...]:
        scale = np.exp(log_scale)
        early = _cumulative(law, from_log_age, location, scale)
        gained = _cumulative(law, to_log_age, location, scale) - early
        value, by_location, by_scale, twice, mixed, both = gained
        by_location, by_scale = by_location / value, by_scale / value
        return (
            np.log(value),
            by_location,
            by_scale,
            twice / value - by_location**2,
            mixed / value - by_location * by_scale,
            both / value - by_scale**2,
        )

    return Solved(surface)


def _cumulative(law: Law, log_age: float, location: FloatArray, scale: FloatArray) -> FloatArray:
    """Return the cumulative hazard and its derivatives by location and log scale, (6, m)."""
    if log_age == -np.inf:
        return np.zeros((6, location.size))
    z = (log_age - location) / scale
    log_survival, log_density, slope, _ = law(z)
    hazard = np.exp(log_density - log_survival)
    second = hazard * (slope + hazard)
    mixed = hazard + z * second
    return np.stack(
        [-log_survival, -hazard / scale, -z * hazard, second / scale**2, mixed / scale, z * mixed]
    )
