"""Hazard and conditional reliability of fitted laws of life, with profile-likelihood bounds.

A hazard is bounded through its logarithm and a reliability through the logarithm of the cumulative
hazard it stands for, so that no bound leaves its space: above 0, between 0 and 1.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.life_batch import LifeBatch, check_model, find_highest
from analytics.estimate.life_bounds import profile_bounds
from analytics.estimate.life_figures import Model, finite_exp, law_of
from analytics.estimate.life_quantities import Quantity, log_conditional_hazard, log_hazard
from analytics.estimate.rate import FloatArray, check_numbers


@dataclass(frozen=True, slots=True, eq=False)
class AtAges:
    """A figure at k ages for m groups, each (k, m); NaN where a group has no law or no bound."""

    value: FloatArray
    lower: FloatArray
    upper: FloatArray


def hazard_at(batch: LifeBatch, model: Model, ages: ArrayLike, *, level: float = 0.90) -> AtAges:
    """Return the hazard of every group at each age, per unit of the clock.

    Parameters
    ----------
    batch : lives of m groups
    model : weibull, lognormal or exponential
    ages : (k,), above 0, in the clock's unit
    level : two-sided level of the profile-likelihood bounds

    Conventions
    -----------
    The hazard at an age is the density over the survival there. Bounds as in `fit_batch`.

    Limits
    ------
    Groups that `fit_batch` does not fit, and bounds that the profile never reaches: NaN.

    Raises
    ------
    EstimateError
        An unknown model, a level outside (0, 1), or an age not above 0.

    References
    ----------
    Meeker, W.Q., Escobar, L.A. (1998), Statistical Methods for Reliability Data, chapter 8.
    """
    drop = check_model(model, level)
    at = check_numbers(ages, "ages")
    if np.any(at <= 0):
        raise EstimateError(f"A hazard is asked for at ages above 0, got {float(at.min())!r}.")

    law = law_of(model)
    asked = [(float(unit), log_hazard(law, 0.0)) for unit in np.log(at)]
    logs = _logs(batch, model, asked, drop=drop)
    value, lower, upper = finite_exp(logs - np.log(at)[:, None])
    return AtAges(value, lower, upper)


def conditional_reliability(
    batch: LifeBatch, model: Model, ages: ArrayLike, further: float, *, level: float = 0.90
) -> AtAges:
    """Return the chance of living `further` on, having reached each age.

    Parameters
    ----------
    batch : lives of m groups
    model : weibull, lognormal or exponential
    ages : (k,), 0 or above, in the clock's unit
    further : how long, above 0
    level : two-sided level of the profile-likelihood bounds

    Conventions
    -----------
    S(age + further) / S(age). Bounds as in `fit_batch`.

    Limits
    ------
    Groups that `fit_batch` does not fit, and bounds that the profile never reaches: NaN.

    Raises
    ------
    EstimateError
        An unknown model, a level outside (0, 1), an age below 0, or `further` not above 0.

    References
    ----------
    Meeker, W.Q., Escobar, L.A. (1998), Statistical Methods for Reliability Data, chapter 8.
    """
    drop = check_model(model, level)
    at = check_numbers(ages, "ages")
    if np.any(at < 0) or not 0 < further < np.inf:
        raise EstimateError(f"Ages are 0 or above and further above 0, got {ages!r}, {further!r}.")
    law = law_of(model)
    asked = []
    for age in at:
        begin = float(np.log(age / (age + further))) if age > 0 else -np.inf
        asked.append((float(np.log(age + further)), log_conditional_hazard(law, begin, 0.0)))
    logs = _logs(batch, model, asked, drop=drop)
    value, upper, lower = np.exp(-finite_exp(logs))
    return AtAges(value, lower, upper)


def _logs(
    batch: LifeBatch, model: Model, asked: list[tuple[float, Quantity]], *, drop: float
) -> FloatArray:
    """Return quantities with their bounds (3, k, m); each goes with the log age it counts from."""
    found, first = np.full((3, len(asked), batch.size), np.nan), 0
    fixed = model == "exponential"
    for piece in batch.pieces():
        top = find_highest(piece, model)
        where = first + top.which
        for at, (unit, quantity) in enumerate(asked):
            sample = top.sample.measured_from(unit)
            moved = np.stack([top.sample.unit - unit, np.zeros(top.which.size)])
            best = replace(top.best, place=top.best.place + moved)
            ends = profile_bounds(
                law_of(model), sample, best, quantity, drop=drop, alike=top.alike, fixed_scale=fixed
            )
            found[:, at, where] = quantity.value(best.place), *ends
        first += piece.size
    return found
