"""The highest point of a log-likelihood in location and log scale, and profile bounds around it.

A profile bound of a quantity is where the log-likelihood, at its best with the quantity held there,
has fallen by half a chi-square quantile. The square root of twice the fall is nearly straight in
the quantity, so Newton's method on it lands in a few steps. What is not found is None, never the
place where the search gave up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.estimate.life_likelihood import Point
from analytics.estimate.rate import FloatArray

Evaluate = Callable[[float, float], Point]

_MOST_STEPS = 60
_LOG_SCALE_LIMITS = (-9.0, 5.0)
_NEAR = 1e-10
"""A held maximum is reached when Newton's next step would raise the log-likelihood by less."""

_NEARER = 1e-16
"""The same for the highest point of all, whose figures are printed."""

_FARTHEST = 100.0
"""A bound so many times farther than the standard error suggests counts as not there."""

_WORST_LOG_ERROR = 10.0
"""A location or log scale known no better than this standard error is not determined."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A feature of the life, as a function of location and log scale.

    With `offset`, the quantity is location + offset(log scale), where `offset` returns its value
    and its first and second derivatives. Without, it is the log scale itself.
    """

    offset: Callable[[float], tuple[float, float, float]] | None

    def value(self, point: Point) -> float:
        """Return the quantity at a point."""
        if self.offset is None:
            return point.log_scale
        return point.location + self.offset(point.log_scale)[0]


def quantile_of(standard: float) -> Quantity:
    """Return the quantity "log age at which the standard law reaches `standard`"."""

    def offset(log_scale: float) -> tuple[float, float, float]:
        shift = standard * float(np.exp(log_scale))
        return shift, shift, shift

    return Quantity(offset)


def weibull_log_mean() -> Quantity:
    """Return the quantity "log of the mean Weibull life"."""

    def offset(log_scale: float) -> tuple[float, float, float]:
        scale = float(np.exp(log_scale))
        first = scale * float(special.digamma(1.0 + scale))
        second = first + scale**2 * float(special.polygamma(1, 1.0 + scale))
        return float(special.gammaln(1.0 + scale)), first, second

    return Quantity(offset)


def lognormal_log_mean() -> Quantity:
    """Return the quantity "log of the mean lognormal life"."""

    def offset(log_scale: float) -> tuple[float, float, float]:
        variance = float(np.exp(2.0 * log_scale))
        return variance / 2.0, variance, 2.0 * variance

    return Quantity(offset)


LOG_SCALE = Quantity(None)


def highest_point(
    evaluate: Evaluate, starts: list[tuple[float, float]], *, fixed_scale: bool = False
) -> Point | None:
    """Climb from each start in turn until one leads to a maximum that determines both parameters.

    `fixed_scale` keeps the log scale where it starts. None when no start leads there.
    """
    for location, log_scale in starts:
        found = _climb(evaluate, evaluate(location, log_scale), fixed_scale=fixed_scale)
        if found is not None:
            return found
    return None


def _climb(evaluate: Evaluate, point: Point, *, fixed_scale: bool) -> Point | None:
    if not np.isfinite(point.value):
        return None
    for _ in range(_MOST_STEPS):
        slope, information = point.slope.copy(), -point.curvature
        if fixed_scale:
            slope[1], information = 0.0, np.diag([information[0, 0], 1.0])
        move, concave = _uphill(slope, information, float(np.exp(point.log_scale)))
        if concave and float(slope @ move) < _NEARER:
            return point if _determined(information, fixed_scale=fixed_scale) else None
        better = _search(evaluate, point, move)
        if better is None:
            return None
        point = better
    return None


def _uphill(slope: FloatArray, information: FloatArray, scale: float) -> tuple[FloatArray, bool]:
    """Return Newton's step, or a gradient step where the surface is not concave; both limited."""
    # In units of the scale, so that both coordinates are of one size.
    units = np.array([scale, 1.0])
    bent, steep = information * np.outer(units, units), slope * units
    least = float(np.linalg.eigvalsh(bent)[0])
    concave = least > 0
    if not concave:
        bent = bent + (1e-3 + 1e-3 * abs(steep).max() - least) * np.eye(2)
    move = np.linalg.solve(bent, steep)
    longest = float(np.max(np.abs(move) / np.array([2.0, 1.0])))
    limited: FloatArray = units * move / max(longest, 1.0)
    return limited, concave


def _search(evaluate: Evaluate, point: Point, move: FloatArray) -> Point | None:
    """Halve the step until it leads up; None if nothing does or the scale leaves its limits."""
    for halvings in range(30):
        step = move * 0.5**halvings
        log_scale = point.log_scale + float(step[1])
        if not _LOG_SCALE_LIMITS[0] < log_scale < _LOG_SCALE_LIMITS[1]:
            return None
        tried = evaluate(point.location + float(step[0]), log_scale)
        if tried.value > point.value - 1e-12 * abs(point.value):
            return tried
    return None


def _determined(information: FloatArray, *, fixed_scale: bool) -> bool:
    variances = np.diag(np.linalg.inv(information))
    checked = variances[:1] if fixed_scale else variances
    return bool(np.all(checked > 0) and np.all(checked < _WORST_LOG_ERROR**2))


@dataclass(frozen=True, slots=True)
class _Held:
    """The best point with a quantity held at a value, and how far the log-likelihood fell."""

    at: float
    point: Point
    fall: float  # the square root of twice the fall
    rate: float  # how fast `fall` grows with the quantity


@dataclass(frozen=True, slots=True)
class _Profile:
    """The log-likelihood at its best with one quantity held."""

    evaluate: Evaluate
    quantity: Quantity
    best: Point
    fixed_scale: bool

    def error(self) -> float:
        """Return the standard error of the quantity by the curvature at the best point."""
        information = -self.best.curvature
        if self.fixed_scale:
            return float(information[0, 0] ** -0.5)
        gradient = np.array([0.0, 1.0])
        if self.quantity.offset is not None:
            gradient = np.array([1.0, self.quantity.offset(self.best.log_scale)[1]])
        return float(np.sqrt(gradient @ np.linalg.solve(information, gradient)))

    def hold(self, at: float, near: Point) -> _Held | None:
        """Climb with the quantity held at `at`, beginning with the free parameter of `near`."""
        free = near.location if self.quantity.offset is None else near.log_scale
        point = self._point(at, free)
        for _ in range(_MOST_STEPS):
            slope, bend = self._along(point)
            limit = float(np.exp(point.log_scale)) if self.quantity.offset is None else 1.0
            step = -slope / bend if bend < 0 else np.sign(slope) * limit
            if self.fixed_scale or (bend < 0 and slope * step < _NEAR):
                return self._held(at, point)
            better = self._search(at, point, float(np.clip(step, -limit, limit)))
            if better is None:
                return None
            point = better
        return None

    def _point(self, at: float, free: float) -> Point:
        if self.quantity.offset is None:
            return self.evaluate(free, at)
        return self.evaluate(at - self.quantity.offset(free)[0], free)

    def _along(self, point: Point) -> tuple[float, float]:
        """Return first and second derivative by the free parameter."""
        if self.quantity.offset is None:
            return float(point.slope[0]), float(point.curvature[0, 0])
        _, first, second = self.quantity.offset(point.log_scale)
        path = np.array([-first, 1.0])
        bend = path @ point.curvature @ path - second * point.slope[0]
        return float(point.slope @ path), float(bend)

    def _search(self, at: float, point: Point, step: float) -> Point | None:
        free = point.location if self.quantity.offset is None else point.log_scale
        for _ in range(30):
            inside = _LOG_SCALE_LIMITS[0] < free + step < _LOG_SCALE_LIMITS[1]
            if self.quantity.offset is None or inside:
                tried = self._point(at, free + step)
                if tried.value > point.value - 1e-12 * abs(point.value):
                    return tried
            step *= 0.5
        return None

    def _held(self, at: float, point: Point) -> _Held | None:
        if not np.isfinite(point.value):
            return None
        fall = float(np.sqrt(2.0 * max(self.best.value - point.value, 0.0)))
        by_quantity = point.slope[1] if self.quantity.offset is None else point.slope[0]
        return _Held(at, point, fall, abs(float(by_quantity)) / fall if fall else 0.0)


def profile_bounds(
    evaluate: Evaluate, best: Point, quantity: Quantity, *, drop: float, fixed_scale: bool = False
) -> tuple[float | None, float | None]:
    """Return where the profile of `quantity` has fallen by `drop` ** 2 / 2 on either side.

    Parameters
    ----------
    evaluate : the log-likelihood by location and log scale
    best : its highest point
    quantity : what to bound
    drop : normal quantile of the level, such as 1.645 for 90 % two-sided
    fixed_scale : the log scale is known and stays where it is

    Returns
    -------
    lower, upper : None where the profile never falls so far
    """
    profile = _Profile(evaluate, quantity, best, fixed_scale)
    step = drop * profile.error()
    return _one_bound(profile, drop, -step), _one_bound(profile, drop, step)


def _one_bound(profile: _Profile, drop: float, step: float) -> float | None:
    centre = profile.quantity.value(profile.best)
    inside = _Held(centre, profile.best, 0.0, 0.0)
    beyond: float | None = None
    target = centre + step
    for _ in range(_MOST_STEPS):
        held = profile.hold(target, inside.point)
        if held is not None and abs(held.fall - drop) < 1e-6:
            return held.at
        if held is not None and held.fall < drop:
            inside = held
        else:
            beyond = target
        target = _next_target(held, inside, beyond, drop=drop, step=step)
        if abs(target - centre) > _FARTHEST * abs(step) or abs(target - inside.at) < 1e-9:
            return None
    return None


def _next_target(
    held: _Held | None, inside: _Held, beyond: float | None, *, drop: float, step: float
) -> float:
    """Take Newton's step on the root of the fall, kept between what is known to lie either side."""
    target = np.nan
    if held is not None and held.rate > 0:
        target = held.at + float(np.sign(step)) * (drop - held.fall) / held.rate
    if beyond is None:
        farthest = inside.at + 2.0 * step
        return float(np.fmin(target, farthest) if step > 0 else np.fmax(target, farthest))
    low, high = sorted((inside.at, beyond))
    return float(target) if low < target < high else 0.5 * (low + high)
