"""Points on probability paper: a curve of survival straightened so that a law of life is a line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray

PAPERS = ("weibull", "lognormal", "exponential")


@dataclass(frozen=True, slots=True, eq=False)
class PlotPoints:
    """One point for each age of failure, arrays of shape (k,).

    `survival` lies halfway down the step of the curve, `x` and `y` are its place on the paper and
    `fitted` is the law's survival. `furthest` is the greatest distance of the law from the curve,
    just before and after its steps; `outside` counts the ages at which the law leaves the curve's
    pointwise bounds. NaN and 0 where there is no point or no law.
    """

    age: FloatArray
    survival: FloatArray
    x: FloatArray
    y: FloatArray
    fitted: FloatArray
    furthest: float
    outside: int


def on_paper(model: str, age: ArrayLike, survival: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the place of ages and survivals on the paper of a law, on which the law is a line.

    Weibull: log age, log(-log survival); slope the shape. Lognormal: log age, normal quantile of
    the share failed; slope 1 / sigma. Exponential: age, -log survival; slope the rate. Survival 0
    or 1 has no place: NaN.

    Raises
    ------
    EstimateError
        A law without paper.

    References
    ----------
    Meeker, W.Q., Escobar, L.A. (1998), Statistical Methods for Reliability Data, section 6.2.
    """
    if model not in PAPERS:
        raise EstimateError(f"There is paper for {', '.join(PAPERS)}, not for {model!r}.")
    ages, left = np.asarray(age, dtype=np.float64), np.asarray(survival, dtype=np.float64)
    left = np.where((left > 0) & (left < 1), left, np.nan)
    if model == "exponential":
        return ages, -np.log(left)
    x = np.log(np.where(ages > 0, ages, np.nan))
    if model == "weibull":
        return x, np.log(-np.log(left))
    return x, np.asarray(special.ndtri(1.0 - left), dtype=np.float64)


def plot_points(
    model: str, age: ArrayLike, curve: tuple[ArrayLike, ArrayLike, ArrayLike], fitted: ArrayLike
) -> PlotPoints:
    """Set a step curve of survival against a law of life.

    Parameters
    ----------
    model : weibull, lognormal or exponential
    age : array of shape (k + 1,), the curve's ages, the first its origin
    curve : survival with its lower and upper bounds, arrays of shape (k + 1,)
    fitted : array of shape (k + 1,), the law's survival at these ages

    Conventions
    -----------
    A curve that begins above age 0 holds for lives that reach that age: it is drawn from the law's
    survival there. A point lies halfway between the curve before and after its age.

    Limits
    ------
    No failure in the curve: no points. The distance is not a test: the law was fitted to the same
    lives, and the bounds hold for one age at a time.

    References
    ----------
    Meeker & Escobar (1998), sections 6.2 and 6.4 (halfway positions).
    """
    ages, law = np.asarray(age, dtype=np.float64), np.asarray(fitted, dtype=np.float64)
    begin = law[0] if law.size else np.nan
    survival, lower, upper = (np.asarray(part, dtype=np.float64) * begin for part in curve)
    before, after = survival[:-1], survival[1:]
    halfway = (before + after) / 2.0
    x, y = on_paper(model, ages[1:], halfway)
    apart = np.abs(np.concatenate([law[1:] - before, law[1:] - after]))
    known = apart[np.isfinite(apart)]
    out = (law[1:] < lower[1:]) | (law[1:] > upper[1:])
    return PlotPoints(
        age=ages[1:],
        survival=halfway,
        x=x,
        y=y,
        fitted=law[1:],
        furthest=float(known.max()) if known.size else np.nan,
        outside=int(out.sum()),
    )
