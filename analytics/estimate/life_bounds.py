"""Profile-likelihood bounds of one quantity for many groups at once.

A bound is where the log-likelihood, at its best with the quantity held there, has fallen by half a
chi-square quantile. The square root of twice the fall is nearly straight in the quantity, so
Newton's method on it lands in a few steps. What is not found is NaN, never the place where the
search gave up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.estimate.by_group import ByGroup
from analytics.estimate.life_climb import LOG_SCALE_LIMITS
from analytics.estimate.life_clusters import Alike
from analytics.estimate.life_quantities import LogScale, Path, Quantity
from analytics.estimate.life_terms import Law, Points, Sample, log_likelihoods
from analytics.estimate.rate import BoolArray, FloatArray, IntArray

_MOST_STEPS = 60
_MOST_TRIALS = 120
_MOST_HALVINGS = 12
_NEAR = 1e-6
"""A held maximum is as good as reached when Newton's next step would raise the log-likelihood by
less: half of that is added, and what is then missing is of the order of its power 1.5."""

_FARTHEST = 100.0
"""A bound so many times farther than the standard error suggests counts as not there."""

_NO_ROOM = 1e-4
"""Nor is there one closer than this share of it to where nothing can be held."""


@dataclass(frozen=True, slots=True, eq=False)
class Held(ByGroup):
    """The best points with a quantity held, and how far the log-likelihood fell there.

    `fall` is the square root of twice the fall (NaN where no held maximum was found), `rate` how
    fast it grows with the quantity, `lead` how the free parameter moves with the quantity.
    """

    at: FloatArray
    free: FloatArray
    place: FloatArray
    fall: FloatArray
    rate: FloatArray
    lead: FloatArray


def profile_bounds(
    law: Law,
    sample: Sample,
    best: Points,
    quantity: Quantity,
    *,
    drop: float,
    alike: Alike | None = None,
    fixed_scale: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Return where the profile of `quantity` has fallen by `drop` ** 2 / 2 on either side.

    Parameters
    ----------
    law : the law of log lives
    sample : the lives of m groups
    best : the highest point of each group
    quantity : what to bound
    drop : normal quantile of the level, such as 1.645 for 90 % two-sided
    alike : how alike the lives of one locomotive are; none: lives are independent
    fixed_scale : the log scale is known and stays where it is

    Returns
    -------
    lower, upper : (m,), NaN where the profile never falls so far

    References
    ----------
    Venzon, D.J., Moolgavkar, S.H. (1988), A method for computing profile-likelihood-based
    confidence intervals, Applied Statistics 37, 87-94 (the idea, not the algorithm).
    """
    at, free = quantity.value(best.place), quantity.free(best.place)
    path = quantity.path(at, free, best.place[0])
    lead, error = _curvatures(best, path, fixed_scale=fixed_scale)
    centre = Held(at, free, best.place, np.zeros_like(at), 1.0 / error, lead)
    depth = np.full_like(at, drop)
    if alike is not None:
        depth = alike.widened(drop, error, path.across + lead * path.along)
    search = _Search(law, quantity, fixed_scale)
    # Both sides at once, as if they were bounds of twice as many groups.
    sides, twice = np.repeat([-1.0, 1.0], at.size), np.tile(depth, 2)
    step = sides * twice * np.tile(error, 2)
    found = search.run(sample.doubled(), np.tile(best.value, 2), centre.doubled(), step, twice)
    return found[: at.size], found[at.size :]


def _curvatures(point: Points, path: Path, *, fixed_scale: bool) -> tuple[FloatArray, FloatArray]:
    """Return how the free parameter leads, and the standard error of the quantity."""
    across = point.along(path.across, path.across)
    lead = np.zeros_like(across)
    with np.errstate(all="ignore"):
        if not fixed_scale:
            mixed, bent = point.along(path.across, path.along), point.along(path.along, path.along)
            lead = np.where(bent < 0, -mixed / bent, 0.0)
            across = across + mixed * lead
        return lead, np.asarray((-across) ** -0.5, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Search:
    law: Law
    quantity: Quantity
    fixed_scale: bool

    def run(
        self, sample: Sample, top: FloatArray, inside: Held, step: FloatArray, drop: FloatArray
    ) -> FloatArray:
        """Search one bound of every group on the side of `step`.

        `top` is the highest value of each, `drop` the root of twice the fall that it looks for.
        """
        found = np.full(top.size, np.nan)
        which = np.flatnonzero(np.isfinite(step))
        inside, step, drop, centre = inside.only(which), step[which], drop[which], inside.at[which]
        before = inside
        beyond, target = np.full(which.size, np.nan), centre + step
        for _ in range(_MOST_STEPS):
            if not which.size:
                break
            held = self._hold(sample.only(which), top[which], inside, target)
            arrived = np.abs(held.fall - drop) < 1e-6
            found[which[arrived]] = held.at[arrived]
            within = held.fall < drop
            inside = inside.replaced(within, held)
            beyond = np.where(within, beyond, target)
            # Where the bound is far off or nowhere, each stride is longer than the one before.
            farthest = 2.0 * (inside.at + step) - centre
            ahead = _where_fallen(before, held, drop, np.sign(farthest - inside.at))
            target = _next(inside, beyond, ahead, farthest)
            room = np.where(np.isnan(held.fall), _NO_ROOM * np.abs(step), 1e-9)
            far = np.abs(target - centre) > _FARTHEST * np.abs(step)
            keep = ~(arrived | far | (np.abs(target - inside.at) < room))
            which, inside, step, before = (
                which[keep],
                inside.only(keep),
                step[keep],
                held.only(keep),
            )
            centre, beyond, target, drop = centre[keep], beyond[keep], target[keep], drop[keep]
        return found

    def _hold(self, sample: Sample, top: FloatArray, near: Held, at: FloatArray) -> Held:
        """Climb with the quantity held at `at`, beginning where `near` leads."""
        held = Held(at, near.free, near.place, *(np.full(at.size, np.nan) for _ in range(3)))
        free = near.free + near.lead * (at - near.at)
        if isinstance(self.quantity, LogScale):
            free = np.where(np.isfinite(free), free, near.free)
        elif not self.fixed_scale:
            # A line drawn too far: begin inside the limits of the scale.
            free = np.clip(free, LOG_SCALE_LIMITS[0] + 0.1, LOG_SCALE_LIMITS[1] - 0.1)
        which = np.arange(at.size)
        path, point = self._at(sample, at, free, near.place[0])
        halved = np.zeros(at.size)
        step, near_top = self._step(point, path)
        for _ in range(_MOST_TRIALS):
            arrived = near_top & np.isfinite(point.value)
            if arrived.any():
                self._note(held, which[arrived], top, point.only(arrived), path.only(arrived))
            going = ~near_top & (halved <= _MOST_HALVINGS) & np.isfinite(point.value)
            if not going.any():
                break
            if not going.all():
                sample = sample.only(np.flatnonzero(going))
                which, at, halved, step = which[going], at[going], halved[going], step[going]
                path, point, near_top = path.only(going), point.only(going), near_top[going]
            free = self.quantity.free(point.place) + step
            tried_path, tried = self._at(sample, at, free, point.place[0])
            better = self._better(point, tried, free)
            path, point = path.replaced(better, tried_path), point.replaced(better, tried)
            onward, near_top = self._step(point, path)
            step, halved = np.where(better, onward, 0.5 * step), np.where(better, 0.0, halved + 1)
            near_top &= better
        return held

    def _at(
        self, sample: Sample, at: FloatArray, free: FloatArray, near: FloatArray
    ) -> tuple[Path, Points]:
        path = self.quantity.path(at, free, near)
        return path, log_likelihoods(self.law, sample, path.place)

    def _better(self, point: Points, tried: Points, free: FloatArray) -> BoolArray:
        better: BoolArray = tried.value > point.value - 1e-12 * np.abs(point.value)
        if isinstance(self.quantity, LogScale):
            return better
        return better & (free > LOG_SCALE_LIMITS[0]) & (free < LOG_SCALE_LIMITS[1])

    def _step(self, point: Points, path: Path) -> tuple[FloatArray, BoolArray]:
        """Return the free parameter's next step, limited, and where it would gain next to none."""
        if self.fixed_scale:
            return np.zeros_like(point.value), np.ones(point.value.size, dtype=bool)
        slope, bend = self._slopes(point, path)
        limit = np.ones_like(slope)
        if isinstance(self.quantity, LogScale):
            limit = np.exp(point.place[1])
        with np.errstate(all="ignore"):
            step = np.where(bend < 0, -slope / bend, np.sign(slope) * limit)
        return np.clip(step, -limit, limit), (bend < 0) & (slope * step < _NEAR)

    def _slopes(self, point: Points, path: Path) -> tuple[FloatArray, FloatArray]:
        """Return first and second derivative by the free parameter."""
        if self.fixed_scale:
            return np.zeros_like(point.value), np.zeros_like(point.value)
        slope = (point.total[1:3] * path.along).sum(axis=0)
        bend = (point.total[1:3] * path.bend).sum(axis=0)
        return slope, bend + point.along(path.along, path.along)

    def _note(
        self, held: Held, which: IntArray, top: FloatArray, point: Points, path: Path
    ) -> None:
        """Write down where held maxima were reached."""
        slope, bend = self._slopes(point, path)
        missing = np.divide(slope**2, -2.0 * bend, out=np.zeros_like(bend), where=bend < 0)
        fall = np.sqrt(2.0 * np.maximum(top[which] - point.value - missing, 0.0))
        rise = np.abs((point.total[1:3] * path.across).sum(axis=0))
        held.free[which], held.place[:, which] = self.quantity.free(point.place), point.place
        held.fall[which] = fall
        held.rate[which] = np.divide(rise, fall, out=np.zeros_like(fall), where=fall > 0)
        held.lead[which] = _curvatures(point, path, fixed_scale=self.fixed_scale)[0]


def _next(inside: Held, beyond: FloatArray, ahead: FloatArray, farthest: FloatArray) -> FloatArray:
    """Take the next step on the root of the fall, kept between what lies either side."""
    outward = np.sign(farthest - inside.at)
    onward = np.where(outward > 0, np.fmin(ahead, farthest), np.fmax(ahead, farthest))
    low, high = np.minimum(inside.at, beyond), np.maximum(inside.at, beyond)
    between = np.where((low < ahead) & (ahead < high), ahead, 0.5 * (low + high))
    return np.where(np.isnan(beyond), onward, between)


def _where_fallen(before: Held, held: Held, drop: FloatArray, sign: FloatArray) -> FloatArray:
    """Read off where the fall is `drop`, by a cubic through the last two places and their slopes.

    Where there is no cubic, by Newton's step; NaN where there is no slope either.
    """
    with np.errstate(all="ignore"):
        slope = np.where(held.rate > 0, sign / held.rate, np.nan)
        newton = held.at + slope * (drop - held.fall)
        width = held.fall - before.fall
        part = (drop - held.fall) / width
        # q(part) = at + width slope part + a part^2 + b part^3, with place and slope of `before`
        # at part = -1.
        bow = before.at - held.at + width * slope
        third = width * (sign / before.rate - slope) + 2.0 * bow
        cubic = newton + part**2 * (bow + third + third * part)
    return np.where(np.isfinite(cubic) & (np.abs(part) < 1.0), cubic, newton)
