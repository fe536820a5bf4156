"""The highest point of a log-likelihood in location and log scale, and profile bounds around it.

A profile bound of a quantity is where the log-likelihood, at its best with the quantity held there,
has fallen by half a chi-square quantile. The square root of twice the fall is nearly straight in
the quantity, so Newton's method on it lands in a few steps. What is not found is None, never the
place where the search gave up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from analytics.estimate.life_likelihood import Point
from analytics.estimate.rate import FloatArray

Evaluate = Callable[[float, float], Point]

_MOST_STEPS = 60
_LOG_SCALE_LIMITS = (-9.0, 5.0)
_NEAR = 1e-10
"""A maximum is reached when Newton's next step would raise the log-likelihood by less."""

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
        if concave and float(slope @ move) < _NEAR:
            return point if _determined(information, fixed_scale=fixed_scale) else None
        better = _search(evaluate, point, move)
        if better is None:
            return None
        point = better
    return None


def _uphill(
    slope: FloatArray, information: FloatArray, scale: float
) -> tuple[FloatArray, bool]:
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
    """The best point with the quantity held, and the slope of the profile there."""

    at: float
    fall: float  # square root of twice the fall of the log-likelihood
    slope: float
    point: Point


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
    fixed_scale : the log scale is known

    Returns
    -------
    lower, upper : None where the profile never falls so far
    """
    information = -best.curvature
    if fixed_scale:
        information = np.diag([information[0, 0], 1e30])
    gradient = np.array([0.0, 1.0])
    if quantity.offset is not None:
        gradient = np.array([1.0, quantity.offset(best.log_scale)[1]])
    error = float(np.sqrt(gradient @ np.linalg.solve(information, gradient)))
    hold = _Holder(evaluate, best, quantity, fixed_scale=fixed_scale)
    return (
        _one_bound(hold, drop, -error * drop),
        _one_bound(hold, drop, error * drop),
    )


def _one_bound(hold: _Holder, drop: float, step: float) -> float | None:
    centre = hold.quantity.value(hold.best)
    inside, outside = _Held(centre, 0.0, 0.0, hold.best), None
    target = centre + step
    for _ in range(_MOST_STEPS):
        held = hold.at(target, inside.point)
        if held is None:
            # Too far for the inner climb: come back half way to what worked.
            outside_at = target
            target = 0.5 * (inside.at + target)
            if abs(outside_at - inside.at) < 1e-6 * abs(step):
                return None
            continue
        if abs(held.fall - drop) < 1e-7:
            return held.at
        if held.fall < drop:
            inside = held
        else:
            outside = held
        target = _next_target(held, inside, outside, drop=drop, step=step)
        if abs(target - centre) > 200.0 * abs(step):
            return None
    return None


def _next_target(
    held: _Held, inside: _Held, outside: _Held | None, *, drop: float, step: float
) -> float:
    """Take Newton's step on the root of the fall, kept inside what is already known."""
    rate = abs(held.slope) / held.fall if held.fall > 0 else 0.0
    move = (drop - held.fall) / rate if rate > 0 else np.inf
    target = held.at + float(np.sign(step)) * move
    if outside is None:
        farthest = inside.at + 3.0 * max(abs(step), abs(inside.at - held.at)) * np.sign(step)
        return float(min(target, farthest) if step > 0 else max(target, farthest))
    low, high = sorted((inside.at, outside.at))
    return target if low < target < high else 0.5 * (low + high)


@dataclass(frozen=True, slots=True)
class _Holder:
    """Finds the best point with a quantity held at a value."""

    evaluate: Evaluate
    best: Point
    quantity: Quantity
    fixed_scale: bool
