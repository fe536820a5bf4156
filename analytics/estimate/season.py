"""How many times the usual things fail in each calendar month, where the record shows a season."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.rate import BoolArray, FloatArray

MONTHS = 12
FEWEST_YEARS = 2
FEWEST_EVENTS = 24
"""Failures of one kind, two a month on average, below which no season is told."""
CLEAR = 0.05

_ANGLE = 2.0 * np.pi * np.arange(MONTHS) / MONTHS
_WAVE = np.stack([np.cos(_ANGLE), np.sin(_ANGLE)])
_NEAR = sum(np.roll(np.eye(MONTHS), by, axis=1) for by in (-1, 0, 1))
_LEAST_SPREAD = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Seasons:
    """One entry a kind, arrays of shape (kinds,).

    `factor` (kinds, 12) says how many times the year's rate January to December have, 1 where no
    season is `shown`. `p` is that of the test (NaN: not made), `dispersion` how unevenly failures
    come beside chance, `events` how many it rests on.
    """

    factor: FloatArray
    shown: BoolArray
    p: FloatArray
    dispersion: FloatArray
    events: FloatArray


def month_factors(events: ArrayLike, exposure: ArrayLike) -> Seasons:
    """Tell a season of each kind from counts by calendar month of whole years.

    Parameters
    ----------
    events : (kinds, groups, years, 12) failures found
    exposure : (groups, years, 12) or as `events`, time at risk on one clock, in any unit

    Returns
    -------
    Seasons

    Conventions
    -----------
    Within each group and year the failures of a kind are shared over the months by exposure, which
    takes out what differs between groups and years. The first yearly wave of what is beyond, as a
    quadratic form with its multinomial covariance, over the dispersion: F with 2 and the
    dispersion's degrees of freedom. Dispersion: Pearson's, of the same calendar month between
    years, 1 at least, so that a season does not count as unevenness. Shown where p < 0.05, with 2
    years and 24 failures at least and every calendar month seen in 2 years. Then the factor of a
    month is that of it and its two neighbours, drawn to 1 by a gamma prior with the wave's own
    variance; over the exposure on record the factors average 1.

    Limits
    ------
    A steep rise within every year is taken for a season. Between calendar months the factor jumps.

    Raises
    ------
    EstimateError
        Shapes that do not fit, a number that is negative or undefined.

    References
    ----------
    Mardia & Jupp (2000), Directional Statistics, 6.3.1 (Rayleigh's test); McCullagh & Nelder
    (1989), Generalized Linear Models, section 4.5 (dispersion); Clayton & Kaldor (1987), Biometrics
    43, 671-681 (gamma prior of relative rates).
    """
    found, due, inner = _shared_out(events, exposure)
    total = due.sum(axis=(1, 2))
    dispersion, free = _dispersion(found, due)
    beyond = (found - due).sum(axis=1) @ _WAVE.T
    noise = np.trace(inner, axis1=1, axis2=2)
    seen = np.all((due > 0).sum(axis=1) >= FEWEST_YEARS, axis=1)
    made = seen & (total >= FEWEST_EVENTS) & (free > 0)
    p = np.full(total.size, np.nan)
    if made.any():
        solved = np.linalg.solve(inner[made], beyond[made][..., None])[..., 0]
        form = (beyond[made] * solved).sum(axis=1) / (2.0 * dispersion[made])
        p[made] = stats.f.sf(form, 2, free[made])
    shown: BoolArray = np.nan_to_num(p, nan=1.0) < CLEAR
    strength = 2.0 * ((beyond**2).sum(axis=1) - noise * dispersion) / np.maximum(total, 1.0) ** 2
    factor = np.ones((total.size, MONTHS))
    spread = np.maximum(strength[shown], _LEAST_SPREAD)
    factor[shown] = _drawn(found[shown], due[shown], dispersion[shown], spread)
    return Seasons(factor, shown, p, dispersion, total)


def _drawn(
    found: FloatArray, due: FloatArray, dispersion: FloatArray, spread: FloatArray
) -> FloatArray:
    """Return each month's factor with its neighbours', drawn to 1; spread: the prior's variance."""
    firm, even = 1.0 / spread[:, None], dispersion[:, None]
    x, e = found.sum(axis=1), due.sum(axis=1)
    factor = (x @ _NEAR / even + firm) / (e @ _NEAR / even + firm)
    drawn: FloatArray = factor * (e.sum(axis=1) / (e * factor).sum(axis=1))[:, None]
    return drawn


def _shared_out(
    events: ArrayLike, exposure: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return counts and expected by kind, year and month, and the covariance of the wave."""
    counts, times = np.asarray(events, np.float64), np.asarray(exposure, np.float64)
    if counts.ndim != 4 or counts.shape[-1] != MONTHS:
        raise EstimateError(
            f"events needs kinds, groups, years and 12 months, got shape {counts.shape}."
        )
    if times.shape not in (counts.shape, counts.shape[1:]):
        raise EstimateError(f"exposure has shape {times.shape}, events {counts.shape}.")
    if not (np.all(counts >= 0) and np.all(times >= 0)):
        raise EstimateError("Counts and exposure are numbers of 0 or more.")
    times = np.broadcast_to(times, counts.shape)
    counts = np.where(times > 0, counts, 0.0)  # where nothing was at risk nothing is expected
    number, whole = counts.sum(axis=-1), times.sum(axis=-1)
    share = times / np.where(whole > 0, whole, 1.0)[..., None]
    outer = np.einsum("kgym,im,jm->kgyij", share, _WAVE, _WAVE)
    middle = share @ _WAVE.T
    inner = outer - middle[..., :, None] * middle[..., None, :]
    covariance = (number[..., None, None] * inner).sum(axis=(1, 2))
    return counts.sum(axis=1), (number[..., None] * share).sum(axis=1), covariance


def _dispersion(found: FloatArray, due: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return variance over mean between years of equal calendar months, and degrees of freedom."""
    x, e = found.sum(axis=1, keepdims=True), due.sum(axis=1, keepdims=True)
    mean = due * x / np.where(e > 0, e, 1.0)
    own = mean.sum(axis=2, keepdims=True)  # keeps each year's total
    mean = mean * found.sum(axis=2, keepdims=True) / np.where(own > 0, own, 1.0)
    safe = np.where(mean > 0, mean, 1.0)
    squares = np.where(mean > 0, (found - mean) ** 2 / safe, 0.0).sum(axis=(1, 2))
    months = (x[:, 0] > 0).sum(axis=1)
    years = (found.sum(axis=2) > 0).sum(axis=1)
    free = np.maximum((months - 1) * (years - 1), 0).astype(np.float64)
    return np.maximum(1.0, squares / np.maximum(free, 1.0)), free
