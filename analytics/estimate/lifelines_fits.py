"""A second opinion on fitted lives from the lifelines library: the only module that imports it.

The product's figures come from `lives`; this asks an independent program whether it finds the same
law. lifelines is guarded here: no fit below three failures (on one failure of five it returns a
shape of 1e16 without a warning), ages in units of a typical age, nothing undefined passed on,
its warnings turned into a note, its bounds (which leave their range) not used. It takes more than a
second to import, hence inside the functions. The slopes of two groups (`group_ratio`) are its own.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np

from analytics.errors import EstimateError
from analytics.estimate.life_batch import LifeBatch, sample_of
from analytics.estimate.life_data import LifeData
from analytics.estimate.life_figures import law_of
from analytics.estimate.life_terms import log_likelihoods
from analytics.estimate.lives import FEWEST_FAILURES, MODELS, LifeFit, Model
from analytics.estimate.rate import BoolArray, FloatArray

SAME_LOGLIK = 1e-6
"""Another program's log-likelihood may exceed ours by no more than this (relative to 1 and it)."""

SAME_PARAMETER = 1e-3
"""Parameters within this share of each other are the same; lifelines stops a little early."""


@dataclass(frozen=True, slots=True)
class LifelinesFit:
    """What lifelines found, in the conventions of `lives.LifeFit`; NaN where nothing was found.

    `note` is `survival.too_few_failures`, `survival.not_determined`,
    `survival.second_opinion_warned` (it gave figures with a warning) or empty.
    """

    model: str
    shape: float
    scale: float
    mu: float
    sigma: float
    loglik: float
    note: str


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """Whether an independent program agrees with a fit.

    `loglik_gain` is its log-likelihood less ours; `difference` the largest relative difference of
    a parameter. `note` is empty where it agrees, `survival.second_opinion_differs` where it does
    not, `survival.second_opinion_missing` where one of the two has no figures.
    """

    agrees: bool
    loglik_gain: float
    difference: float
    note: str


def fit_with_lifelines(data: LifeData, model: Model) -> LifelinesFit:
    """Fit one law of life with lifelines.

    Parameters
    ----------
    data : LifeData
    model : weibull, lognormal or exponential

    Returns
    -------
    LifelinesFit, log-likelihood with densities in the clock's unit

    Limits
    ------
    Fewer than 3 failures, no convergence or undefined figures: NaN with a note.

    Raises
    ------
    EstimateError
        An unknown model.

    References
    ----------
    Davidson-Pilon, C. (2019), lifelines: survival analysis in Python, J. Open Source Software
    4(40), 1317.
    """
    if model not in MODELS:
        raise EstimateError(f"A model of life is one of {', '.join(MODELS)}, got {model!r}.")
    if data.failures < FEWEST_FAILURES:
        return _nothing(model, "survival.too_few_failures")
    unit = float(np.median(np.where(data.failed, data.upper, data.lower)))
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        fitter = _fitted(data, model, unit)
    if fitter is None:
        return _nothing(model, "survival.not_determined")
    found = _in_our_terms(fitter, model, unit, exact=int(data.exact.sum()))
    if not _is_sound(found, data, model):
        return _nothing(model, "survival.not_determined")
    return LifelinesFit(
        model=model,
        shape=found.get("shape", np.nan),
        scale=found.get("scale", np.nan),
        mu=found.get("mu", np.nan),
        sigma=found.get("sigma", np.nan),
        loglik=found["loglik"],
        note="survival.second_opinion_warned" if caught else "",
    )


def second_opinion(data: LifeData, fit: LifeFit) -> SecondOpinion:
    """Ask lifelines for the same fit and compare.

    Agreement: its log-likelihood is not higher than ours by more than 1e-6 (times its size), and
    no parameter differs by more than 0.1 %.

    Parameters
    ----------
    data : the lives that were fitted
    fit : what `lives.fit_life` made of them
    """
    model = next((name for name in MODELS if name == fit.model), None)
    if model is None or np.isnan(fit.loglik):
        return SecondOpinion(False, np.nan, np.nan, "survival.second_opinion_missing")
    other = fit_with_lifelines(data, model)
    if np.isnan(other.loglik):
        return SecondOpinion(False, np.nan, np.nan, "survival.second_opinion_missing")
    gain = other.loglik - fit.loglik
    pairs = np.array([(fit.shape, other.shape), (fit.scale, other.scale), (fit.sigma, other.sigma)])
    relative = np.abs(pairs[:, 0] - pairs[:, 1]) / np.abs(pairs[:, 0])
    # mu is a log: its difference is the relative difference of the median life.
    apart = float(np.nanmax(np.append(relative, abs(fit.mu - other.mu))))
    agrees = gain <= SAME_LOGLIK * max(1.0, abs(fit.loglik)) and apart <= SAME_PARAMETER
    return SecondOpinion(
        agrees, float(gain), apart, "" if agrees else "survival.second_opinion_differs"
    )


def _fitted(data: LifeData, model: Model, unit: float) -> Any:
    """Return a lifelines fitter, or None where it gives up."""
    from lifelines import ExponentialFitter, LogNormalFitter, WeibullFitter
    from lifelines.exceptions import ConvergenceError, StatError

    fitters = {
        "weibull": WeibullFitter,
        "lognormal": LogNormalFitter,
        "exponential": ExponentialFitter,
    }
    fitter = fitters[model]()
    entry = data.entry / unit if np.any(data.entry > 0) else None
    lower, upper = data.lower / unit, data.upper / unit
    try:
        if np.all(data.exact | ~data.failed):
            return fitter.fit(lower, data.failed, entry=entry)
        return fitter.fit_interval_censoring(lower, upper, entry=entry)
    except (ConvergenceError, StatError, ValueError, FloatingPointError, np.linalg.LinAlgError):
        return None


def _in_our_terms(fitter: Any, model: Model, unit: float, *, exact: int) -> dict[str, float]:
    """Return the fields of `LifelinesFit` that apply, ages back in the clock's unit."""
    found = {"loglik": float(fitter.log_likelihood_) - exact * float(np.log(unit))}
    if model == "lognormal":
        return found | {"mu": float(fitter.mu_ + np.log(unit)), "sigma": float(fitter.sigma_)}
    if model == "weibull":
        found["shape"] = float(fitter.rho_)
    return found | {"scale": float(fitter.lambda_) * unit}


def _is_sound(found: dict[str, float], data: LifeData, model: Model) -> bool:
    """Tell whether the figures are finite and the log-likelihood is that of these parameters.

    Where lifelines loses its way it may report a log-likelihood of 1e276.
    """
    if not np.isfinite(list(found.values())).all():
        return False
    if model == "lognormal":
        location, scale = found["mu"], found["sigma"]
    else:
        location, scale = float(np.log(found["scale"])), 1.0 / found.get("shape", 1.0)
    sample = sample_of(LifeBatch.of(data, size=1))
    place = np.array([location - sample.unit, [np.log(scale)]])
    value = float((log_likelihoods(law_of(model), sample, place).value + sample.constant)[0])
    return bool(np.isclose(value, found["loglik"], rtol=1e-6, atol=1e-6))


def _nothing(model: str, note: str) -> LifelinesFit:
    return LifelinesFit(model, np.nan, np.nan, np.nan, np.nan, np.nan, note)


def cox_slope(
    entry: FloatArray, exit: FloatArray, failed: BoolArray, covariate: FloatArray
) -> float:
    """Return the log hazard ratio of a Cox model with one covariate, NaN where there is none.

    Arrays of shape (n,); ties by Efron's method. Its errors are not used: in version 0.30 the
    robust ones leave out late entries and ties.
    """
    from lifelines import CoxPHFitter

    fitted = _regression(CoxPHFitter(), entry, exit, failed, covariate)
    return float("nan") if fitted is None else float(fitted.params_["covariate"])


def weibull_slopes(
    entry: FloatArray, exit: FloatArray, failed: BoolArray, covariate: FloatArray
) -> tuple[float, float, float]:
    """Return intercept and slope of log life and log scale of a Weibull model; NaN where none.

    Arrays of shape (n,), ages in the clock's unit. Its errors are not used: it has none by cluster.
    """
    from lifelines import WeibullAFTFitter

    unit = float(np.median(exit))
    fitted = _regression(WeibullAFTFitter(), entry / unit, exit / unit, failed, covariate)
    if fitted is None:
        return float("nan"), float("nan"), float("nan")
    found = fitted.params_
    location = float(found["lambda_", "Intercept"]) + float(np.log(unit))
    return location, float(found["lambda_", "covariate"]), -float(found["rho_", "Intercept"])


def _regression(
    fitter: Any, entry: FloatArray, exit: FloatArray, failed: BoolArray, covariate: FloatArray
) -> Any:
    """Return a fitter with one covariate, or None where it gives up or warns of no convergence."""
    import pandas as pd
    from lifelines.exceptions import ConvergenceError, ConvergenceWarning, StatError

    frame = pd.DataFrame({"exit": exit, "failed": failed.astype(int), "covariate": covariate})
    late = {"entry_col": "entry"} if np.any(entry > 0) else {}
    if late:
        frame["entry"] = entry
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", ConvergenceWarning)
        try:
            return fitter.fit(frame, "exit", "failed", **late)
        except (ConvergenceError, ConvergenceWarning, StatError, ValueError, FloatingPointError):
            return None
        except np.linalg.LinAlgError:
            return None
