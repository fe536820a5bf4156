"""Laws of life for many groups at once: other programs, published fits, identities, hard cases."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats

from analytics.errors import EstimateError
from analytics.estimate.life_batch import BatchFit, LifeBatch, fit_batch
from analytics.estimate.life_data import LifeData
from analytics.estimate.lifelines_fits import fit_with_lifelines
from analytics.estimate.lives import MODELS, fit_all, fit_groups

REFERENCE = Path(__file__).parents[1] / "reference"
FIGURES = [name for name in BatchFit.__slots__ if name not in {"covariance", "note"}]
AGES = [name for name in FIGURES if name.split("_")[0] in {"scale", "b10", "median", "mean"}]


def draw(seed: int, size: int = 60) -> LifeData:
    """Draw lives of a shape and scale of their own, known in every way that there is.

    Exactly, between inspections, before the first one, not failed; half of them entering late
    (drawn beyond their entry, as truncation has it).
    """
    rng = np.random.default_rng([7, seed])
    shape, scale = rng.uniform(0.7, 3.0), np.exp(rng.uniform(2.0, 9.0))
    entry = scale * rng.uniform(0, 0.6, size) * (rng.random(size) < 0.5)
    age = scale * ((entry / scale) ** shape - np.log(rng.random(size))) ** (1 / shape)
    cut = entry + scale * rng.uniform(0.3, 2.5, size)
    gap = scale * rng.uniform(0.02, 0.4, size)
    lower = np.maximum(np.floor(age / gap) * gap, entry)
    upper = (np.floor(age / gap) + 1) * gap
    exact = rng.random(size) < 0.3
    lower, upper = np.where(exact, age, lower), np.where(exact, age, upper)
    failed = age <= cut
    return LifeData.of(np.where(failed, lower, cut), np.where(failed, upper, np.inf), entry)


def law(model: str, location: float, scale: float) -> Any:
    if model == "lognormal":
        return stats.lognorm(scale, scale=np.exp(location))
    return stats.weibull_min(1 / scale, scale=np.exp(location))


def log_likelihood(data: LifeData, model: str, place: Any) -> float:
    """Write the log-likelihood down from scipy's distributions; `place`: location, log scale."""
    of = law(model, place[0], np.exp(place[1]) if len(place) > 1 else 1.0)
    exact, alive = data.exact, ~data.failed
    between = data.failed & ~exact
    low, high = of.logsf(data.lower[between]), of.logsf(data.upper[between])
    total = of.logpdf(data.lower[exact]).sum() + of.logsf(data.lower[alive]).sum()
    total += (low + np.log(-np.expm1(high - low))).sum() - of.logsf(data.entry).sum()
    return float(total)


def place_of(fit: BatchFit, model: str, at: int) -> list[float]:
    if model == "lognormal":
        return [fit.mu[at], np.log(fit.sigma[at])]
    place = [np.log(fit.scale[at])]
    return place if model == "exponential" else [*place, -np.log(fit.shape[at])]


def agree_with_scipy(seeds: range, model: Any) -> None:
    data = [draw(seed) for seed in seeds]
    fit = fit_batch(LifeBatch.join(data), model, bounds=False)
    assert (fit.note == "").all()
    for at, lives in enumerate(data):
        place = place_of(fit, model, at)
        assert fit.loglik[at] == pytest.approx(log_likelihood(lives, model, place), abs=1e-7)
        start = [np.log(np.median(lives.lower + 1e-9)), 0.0][: len(place)]
        found = optimize.minimize(
            lambda p, lives=lives: -log_likelihood(lives, model, p),
            start,
            method="Nelder-Mead",
            options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 2000},
        )
        assert fit.loglik[at] >= -found.fun - 1e-6
        # Location and log scale are logarithms: a difference is a relative one.
        assert place == pytest.approx(found.x, abs=1e-4)


# Other software: the likelihood written with scipy.stats and climbed by scipy.optimize.
@pytest.mark.parametrize("model", MODELS)
def test_groups_agree_with_scipy(model: Any) -> None:
    agree_with_scipy(range(4), model)


@pytest.mark.campaign
@pytest.mark.parametrize("model", MODELS)
def test_many_groups_agree_with_scipy(model: Any) -> None:
    agree_with_scipy(range(4, 28), model)


def agree_with_lifelines(seeds: range, model: Any) -> int:
    """Compare one batch with lifelines group by group; return how many it could fit."""
    data = [draw(seed, 50) for seed in seeds]
    fit = fit_batch(LifeBatch.join(data), model, bounds=False)
    compared = 0
    for at, lives in enumerate(data):
        theirs = fit_with_lifelines(lives, model)
        if np.isnan(theirs.loglik):
            continue
        compared += 1
        assert fit.loglik[at] >= theirs.loglik - 1e-6
        for name in ("shape", "scale", "sigma"):
            expected = pytest.approx(getattr(theirs, name), rel=1e-4, nan_ok=True)
            assert getattr(fit, name)[at] == expected, (at, name)
        assert fit.mu[at] == pytest.approx(theirs.mu, abs=1e-4, nan_ok=True)
    return compared


# Other software: lifelines 0.30 by maximum likelihood, which takes 0.1 s a fit.
@pytest.mark.parametrize("model", MODELS)
def test_groups_agree_with_lifelines(model: Any) -> None:
    assert agree_with_lifelines(range(100, 104), model) >= 3


@pytest.mark.campaign
@pytest.mark.parametrize("model", MODELS)
def test_many_groups_agree_with_lifelines(model: Any) -> None:
    assert agree_with_lifelines(range(200, 240), model) >= 32


# The published fits that test_lives.py asserts one by one, here as five groups of one batch, with
# repeated ages as weights: NIST e-Handbook 8.4.1.3; Meeker & Escobar (1998) C.2; Lieblein & Zelen
# (1956); Berkson (1966); Abernethy et al. (1983).
def test_published_fits_hold_side_by_side() -> None:
    def data(name: str) -> dict[str, Any]:
        example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
        return example

    nist, shock = data("nist-8413-weibull-censored"), data("shock-absorber-weibull-censored")
    balls, cages = data("lieblein-zelen-ball-bearings-lognormal"), data("bearing-cage-6-of-1703")
    alpha = data("berkson-alpha-200-grouped-lognormal")
    never = np.inf
    rows = [(0, t, t, 1) for t in nist["data"]["failures"]]
    rows += [(0, 500.0, never, nist["data"]["censored_at_500"])]
    rows += [(1, t, t, 1) for t in shock["data"]["failures"]]
    rows += [(1, t, never, 1) for t in shock["data"]["censored"]]
    rows += [(2, t, t, 1) for t in balls["data"]["megacycles"]]
    rows += [(3, 0.0, end, count) for end, count in alpha["data"]["left"]]
    rows += [(3, *ends, count) for ends, count in alpha["data"]["interval"]]
    rows += [(4, t, t, 1) for t in cages["data"]["failures"]]
    rows += [(4, t, never, count) for t, count in cages["data"]["censored"]]
    group, lower, upper, weight = np.array(rows, dtype=float).T
    batch = LifeBatch.of(LifeData.of(lower, upper), group, weight=weight)
    weibull, lognormal = fit_batch(batch, "weibull"), fit_batch(batch, "lognormal")
    for example, fit, at, keys in (
        (nist, weibull, 0, ("shape", "scale", "loglik")),
        (balls, lognormal, 2, ("mu", "sigma", "loglik")),
        (alpha, lognormal, 3, ("mu", "sigma", "loglik")),
        (cages, lognormal, 4, ("mu", "sigma", "loglik")),
    ):
        for key in keys:
            within = example["tolerance"].get(key, example["tolerance"]["default"])
            found = getattr(fit, key)[at]
            assert found == pytest.approx(example["published"][key], abs=float(within)), key
    within = float(shock["tolerance"].get("eta", shock["tolerance"]["default"]))
    assert weibull.scale[1] == pytest.approx(shock["published"]["eta"], abs=within)
    assert weibull.b10[1] == pytest.approx(shock["recomputed"]["B10"], rel=1e-6)
    assert weibull.shape[4] == pytest.approx(cages["recomputed"]["weibull_shape"], rel=1e-6)
    assert weibull.lives[4] == 1703
    assert weibull.failures[4] == 6


# Identity: a group's figures are the same whatever stands beside it, and in whatever order.
def test_groups_do_not_touch_each_other() -> None:
    data = [draw(seed, 20 + seed) for seed in range(10)]
    data[3] = LifeData.exactly(np.zeros(4), [5.0, 5.0, 5.0, 5.0], [True] * 4)
    data[6] = LifeData.exactly(np.zeros(9), np.arange(1.0, 10.0), np.arange(9) < 2)
    together = fit_groups(LifeBatch.join(data))
    for lives, fits in zip(data, together, strict=True):
        for one, other in zip(fit_all(lives), fits, strict=True):
            assert (one.model, one.note) == (other.model, other.note)
            assert [getattr(one, name) for name in FIGURES] == pytest.approx(
                [getattr(other, name) for name in FIGURES], rel=1e-6, nan_ok=True
            )


def test_order_of_lives_changes_nothing() -> None:
    batch = LifeBatch.join([draw(seed) for seed in range(4)])
    order = np.random.default_rng(4).permutation(batch.group.size)
    mixed = LifeBatch.of(batch.lives.only(order), batch.group[order])
    for model in MODELS:
        one, other = fit_batch(batch, model), fit_batch(mixed, model)
        for name in FIGURES:
            expected = pytest.approx(getattr(one, name), rel=1e-6, nan_ok=True)
            assert getattr(other, name) == expected, name


# Identity: a life of weight 2 is two lives.
@pytest.mark.parametrize("model", MODELS)
def test_weight_repeats_a_life(model: Any) -> None:
    data = draw(1, 30)
    times = np.random.default_rng(1).integers(1, 4, data.lives)
    twice = fit_batch(LifeBatch.of(data.only(np.repeat(np.arange(data.lives), times))), model)
    weighted = fit_batch(LifeBatch.of(data, weight=times), model)
    for name in FIGURES:
        expected = pytest.approx(getattr(twice, name), rel=1e-6, nan_ok=True)
        assert getattr(weighted, name) == expected, name


# Identity: the clock's unit scales ages, also when each group has its own.
@pytest.mark.parametrize("model", MODELS)
def test_each_group_may_have_its_own_unit(model: Any) -> None:
    data = [draw(seed) for seed in range(5)]
    factor = np.array([1e-9, 1 / 24, 1.0, 60.0, 1e12])
    scaled = [
        LifeData(d.entry * f, d.lower * f, d.upper * f) for d, f in zip(data, factor, strict=True)
    ]
    one, other = (fit_batch(LifeBatch.join(lives), model) for lives in (data, scaled))
    assert (other.note == one.note).all()
    assert other.shape == pytest.approx(one.shape, rel=1e-6, nan_ok=True)
    for name in AGES:
        expected = pytest.approx(getattr(one, name) * factor, rel=1e-5, nan_ok=True)
        assert getattr(other, name) == expected, name


def test_hopeless_groups_give_a_reason_and_no_figure() -> None:
    ages = np.arange(10.0, 18.0)
    few = [LifeData.exactly(np.zeros(8), ages, np.arange(8) < failures) for failures in range(3)]
    at_once = [
        LifeData.exactly(np.zeros(6), np.full(6, 50.0), [True] * 6),
        LifeData.of(np.full(6, 40.0), np.full(6, 60.0)),
    ]
    data = [*few, *at_once, LifeData.of([], []), draw(2)]
    notes = ["survival.too_few_failures"] * 3 + ["survival.all_at_once"] * 2
    notes += ["survival.too_few_failures", ""]
    fit = fit_batch(LifeBatch.join(data), "weibull")
    assert fit.note.tolist() == notes
    assert fit.failures[:3].tolist() == [0, 1, 2]
    bare = fit.note != ""
    for name in FIGURES:
        values = getattr(fit, name)
        assert not np.isinf(values).any()
        assert name in {"lives", "failures"} or np.isnan(values[bare]).all(), name
    assert np.isfinite(fit.shape[-1])


def test_failures_before_any_look_determine_nothing() -> None:
    # Every failure in (0, 10], nobody seen alive: any law on shorter ages fits as well.
    batch = LifeBatch.join([LifeData.of(np.zeros(5), np.full(5, 10.0)), draw(3)])
    for model in MODELS:
        fit = fit_batch(batch, model)
        assert np.isnan(fit.mean[0])
        assert fit.note[0] in {"survival.all_at_once", "survival.not_determined"}
        assert np.isfinite(fit.mean[1])


def test_three_failures_are_enough() -> None:
    data = LifeData.exactly(np.zeros(5), [10.0, 20.0, 30.0, 35.0, 40.0], [1, 1, 0, 0, 1])
    for model in MODELS:
        assert np.isfinite(fit_batch(LifeBatch.of(data), model).median).all()


def test_no_group_at_all_gives_no_fit() -> None:
    assert fit_groups(LifeBatch.join([])) == []


def test_without_bounds_only_bounds_are_missing() -> None:
    batch = LifeBatch.of(draw(5))
    quick, full = fit_batch(batch, "weibull", bounds=False), fit_batch(batch, "weibull")
    assert (quick.b10, quick.note) == (full.b10, [""])
    assert np.isnan([quick.b10_lower, quick.shape_upper]).all()


def test_many_pieces_are_one_batch() -> None:
    # 300 groups of 60 lives are more than one piece of work.
    data = [draw(seed) for seed in range(300)]
    batch = LifeBatch.join(data)
    assert len(list(batch.pieces())) > 1
    fit = fit_batch(batch, "exponential", bounds=False)
    last = fit_batch(LifeBatch.of(data[-1]), "exponential", bounds=False)
    assert fit.scale[-1] == pytest.approx(last.scale[0], rel=1e-9)


def test_life_of_no_length_and_nonsense_are_refused() -> None:
    with pytest.raises(EstimateError, match="time watched"):
        LifeBatch.join([LifeData.exactly([0.0], [0.0], [False])])
    data = draw(6, 4)
    with pytest.raises(EstimateError, match="differ in length"):
        LifeBatch.of(data, [0, 1])
    with pytest.raises(EstimateError, match="weight"):
        LifeBatch.of(data, weight=[1.0, 1.0, 0.0, 1.0])
    with pytest.raises(EstimateError, match=r"0\.\.1"):
        LifeBatch.of(data, [0, 1, 2, 0], size=2)
    unknown: Any = "gamma"
    with pytest.raises(EstimateError, match="gamma"):
        fit_batch(LifeBatch.of(data), unknown)
