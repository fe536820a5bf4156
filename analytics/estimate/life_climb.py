"""The highest points of many log-likelihoods in location and log scale, by Newton's method.

Every group goes its own way, all of them in one evaluation: a group whose step does not lead up
halves it and tries again, a group that has arrived takes no further part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.estimate.by_group import ByGroup
from analytics.estimate.life_terms import Law, Points, Sample, log_likelihoods
from analytics.estimate.rate import BoolArray, FloatArray

LOG_SCALE_LIMITS = (-9.0, 5.0)
_MOST_TRIALS = 200
_MOST_HALVINGS = 30
_NEAR = 1e-16
"""A maximum is reached when Newton's next step would raise the log-likelihood by less."""

_WORST_LOG_ERROR = 10.0
"""A location or log scale known no better than this standard error is not determined."""


def highest_points(
    law: Law, sample: Sample, starts: list[FloatArray], *, fixed_scale: bool = False
) -> tuple[Points, BoolArray]:
    """Climb from each start (2, m) in turn until one leads to a maximum that is determined.

    Parameters
    ----------
    law : the law of log lives
    sample : the lives of m groups
    starts : locations and log scales to try
    fixed_scale : the log scale stays where it starts

    Returns
    -------
    points, found : (m,); where not found, no start leads to a maximum that determines both
    """
    size = sample.size
    best = Points(np.zeros((2, size)), np.zeros((6, size)))
    found = np.zeros(size, dtype=bool)
    for start in starts:
        which = np.flatnonzero(~found)
        if not which.size:
            break
        top, reached = _climb(law, sample.only(which), start[:, which], fixed_scale=fixed_scale)
        best.put(which[reached], top.only(reached))
        found[which[reached]] = True
    return best, found


@dataclass(frozen=True, slots=True)
class _Climb(ByGroup):
    """Where the groups still climbing stand, and the step each takes next."""

    place: FloatArray
    total: FloatArray
    step: FloatArray
    arrived: BoolArray
    halved: FloatArray

    @property
    def point(self) -> Points:
        return Points(self.place, self.total)

    @classmethod
    def at(cls, point: Points, *, fixed_scale: bool) -> _Climb:
        step, near = _uphill(point, fixed_scale=fixed_scale)
        return cls(point.place, point.total, step, near, np.zeros(near.size))

    def tried(self, trial: Points, *, fixed_scale: bool) -> _Climb:
        """Go to the trial where it is no lower, halve the step elsewhere."""
        value = self.total[0]
        better = trial.value > value - 1e-12 * np.abs(value)
        point = self.point.replaced(better, trial)
        step, near = _uphill(point, fixed_scale=fixed_scale)
        return _Climb(
            point.place,
            point.total,
            np.where(better, step, 0.5 * self.step),
            np.where(better, near, self.arrived),
            np.where(better, 0.0, self.halved + 1.0),
        )


def _climb(
    law: Law, sample: Sample, start: FloatArray, *, fixed_scale: bool
) -> tuple[Points, BoolArray]:
    """Climb from one start; tell which groups arrived at a maximum that is determined."""
    top = log_likelihoods(law, sample, start)
    reached = np.zeros(sample.size, dtype=bool)
    which = np.arange(sample.size)
    climb, lost = _Climb.at(top, fixed_scale=fixed_scale), ~np.isfinite(top.value)
    for _ in range(_MOST_TRIALS):
        top.put(which, climb.point)
        reached[which[climb.arrived & ~lost]] = True
        going = ~(climb.arrived | lost)
        if not going.all():
            which, sample, climb = (
                which[going],
                sample.only(np.flatnonzero(going)),
                climb.only(going),
            )
        if not which.size:
            break
        place = climb.place + climb.step
        trial = log_likelihoods(law, sample, place)
        # As with a step that leads nowhere, a scale beyond its limits ends the climb.
        outside = (place[1] <= LOG_SCALE_LIMITS[0]) | (place[1] >= LOG_SCALE_LIMITS[1])
        climb = climb.tried(trial, fixed_scale=fixed_scale)
        lost = outside | (climb.halved > _MOST_HALVINGS)
    return top, reached & _determined(top, fixed_scale=fixed_scale)


def _uphill(point: Points, *, fixed_scale: bool) -> tuple[FloatArray, BoolArray]:
    """Return the next step (2, m), and where Newton's step would gain next to nothing.

    Newton's step, or a gradient step where the surface is not concave; both limited.
    """
    _, by_location, by_scale, twice, mixed, both = point.total
    scale = np.exp(point.place[1])
    # In units of the scale, so that both coordinates are of one size.
    steep, tilt = by_location * scale, by_scale
    a, b, c = -twice * scale**2, -mixed * scale, -both
    if fixed_scale:
        tilt, b, c = np.zeros_like(tilt), np.zeros_like(b), np.ones_like(c)
    least = 0.5 * (a + c) - np.hypot(0.5 * (a - c), b)
    concave = least > 0
    steepest = np.maximum(np.abs(steep), np.abs(tilt))
    lift = np.where(concave, 0.0, 1e-3 + 1e-3 * steepest - least)
    a, c = a + lift, c + lift
    area = a * c - b * b
    move = np.stack([c * steep - b * tilt, a * tilt - b * steep]) / np.where(area > 0, area, np.inf)
    gain = move[0] * steep + move[1] * tilt
    longest = np.maximum(np.maximum(np.abs(move[0]) / 2.0, np.abs(move[1])), 1.0)
    return move / longest * np.stack([scale, np.ones_like(scale)]), concave & (gain < _NEAR)


def _determined(point: Points, *, fixed_scale: bool) -> BoolArray:
    variances = covariances(point, fixed_scale=fixed_scale)[[0, 1], [0, 1]]
    checked = variances[:1] if fixed_scale else variances
    sound: BoolArray = np.all((checked > 0) & (checked < _WORST_LOG_ERROR**2), axis=0)
    return sound


def covariances(point: Points, *, fixed_scale: bool) -> FloatArray:
    """Return the covariance of location and log scale by the curvature, shape (2, 2, m)."""
    twice, mixed, both = -point.total[3:]
    with np.errstate(all="ignore"):
        if fixed_scale:
            zero = np.zeros_like(twice)
            return np.stack([np.stack([1.0 / twice, zero]), np.stack([zero, zero])])
        inverse = np.stack([np.stack([both, -mixed]), np.stack([-mixed, twice])])
        turned: FloatArray = inverse / (twice * both - mixed**2)
    return turned
