"""Cumulative hazard of a life and its inverse, for whole arrays of lives at once.

Weibull lives have S(t) = exp(-(t / scale)**shape). Lognormal lives are given by the same shape and
scale: mean and coefficient of variation are those of the Weibull life.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from data_demo.arrays import Floats


def cumulative_hazard(law: str, age: Floats, shape: Floats, scale: Floats) -> Floats:
    """Return -ln S(age); ages and scales in the same unit."""
    if law == "weibull":
        return np.asarray((age / scale) ** shape)
    mu, sigma = lognormal_of(shape, scale)
    with np.errstate(divide="ignore"):  # age 0 is minus infinity here, and that is right
        return np.asarray(-special.log_ndtr((mu - np.log(age)) / sigma))


def age_at_hazard(law: str, hazard: Floats, shape: Floats, scale: Floats) -> Floats:
    """Return the age at which the cumulative hazard reaches a value: the inverse."""
    if law == "weibull":
        return np.asarray(scale * hazard ** (1 / shape))
    mu, sigma = lognormal_of(shape, scale)
    return np.asarray(np.exp(mu - sigma * special.ndtri_exp(-hazard)))


def lognormal_of(shape: Floats, scale: Floats) -> tuple[Floats, Floats]:
    """Return mu and sigma of the lognormal with mean and variation of a Weibull."""
    first, second = special.gamma(1 + 1 / shape), special.gamma(1 + 2 / shape)
    variance = np.log(second / first**2)
    return np.log(scale * first) - variance / 2, np.sqrt(variance)


def settled_age(law: str, shape: Floats, scale: Floats, rng: np.random.Generator) -> Floats:
    """Draw the age that a part has at a random moment long after the first one was fitted.

    The life running then is drawn with weight to its length, its age is uniform on it (Cox 1962,
    "Renewal Theory", section 5.3).
    """
    if law == "weibull":
        life = scale * rng.gamma(1 + 1 / shape) ** (1 / shape)
    else:
        mu, sigma = lognormal_of(shape, scale)
        life = np.exp(mu + sigma**2 + sigma * rng.normal(size=len(mu)))
    return np.asarray(life * rng.random(len(life)))
