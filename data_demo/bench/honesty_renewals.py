"""Figures of positions that are renewed: rates, their ratio, cumulative curve, survival, lives.

Truth is what a very large fleet of the same kind gives: expected exposure over expected failures,
mean failures by age, survival in the record. Of lives whose locomotives do not differ it is the law
they were drawn from; otherwise the law of life per replacement of the very large fleet.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from analytics.estimate.life_batch import LifeBatch, fit_batch
from analytics.estimate.life_data import LifeData
from analytics.estimate.rate import BoolArray, FloatArray, IntArray, estimate_rate
from analytics.estimate.rate_ratio import compare_populations
from analytics.estimate.recurrent import CumulativeCurve, mean_cumulative
from analytics.estimate.survival import kaplan_meier, survival_at
from data_demo.bench.honesty_cells import Cell
from data_demo.bench.honesty_fleets import (
    DAYS,
    FROM_NEW,
    LOCOMOTIVES,
    PLACES,
    POSITIONS,
    STAGGERED,
    Lives,
    draw_lives,
    scale_of,
)
from data_demo.bench.honesty_verdict import LEVEL, Trial

EXPOSURE = POSITIONS * (DAYS - np.maximum(0.0, STAGGERED))
SECOND_CLASS = np.arange(LOCOMOTIVES) % 2 == 1
CHANGED = DAYS / 2.0
MIDDLE, LAST = DAYS / 2.0, DAYS
_TRUTH_SEED = 11
_TRUE_FAILURES = 100_000
_FEWEST_FLEETS = 300


@dataclass(frozen=True, slots=True)
class RenewalTruth:
    """What very many fleets of a cell give."""

    mtbf: float
    by_class: float
    by_date: float
    mcf: tuple[float, float]
    age: float
    survival: float


@lru_cache(maxsize=256)
def truth_of(cell: Cell) -> RenewalTruth:
    """Draw very many fleets of a cell and read off what its figures estimate."""
    lives = _many(cell)
    before = lives.end <= CHANGED
    total = lives.counts().sum(axis=0)
    early = lives.counts(before).sum(axis=0)
    exposed = _exposed_before()
    rate_before = early.sum() / exposed.sum()
    rate_after = (total - early).sum() / (EXPOSURE - exposed).sum()
    second = total[SECOND_CLASS].sum() / EXPOSURE[SECOND_CLASS].sum()
    first = total[~SECOND_CLASS].sum() / EXPOSURE[~SECOND_CLASS].sum()
    new = draw_lives(cell, scale_of(cell), _fleets(cell), _true_rng(cell, 1), FROM_NEW)
    ages = new.end[new.failed]
    each = new.runs * PLACES
    failed = (lives.end - lives.start)[lives.failed]
    age = float(np.median(failed))
    curve = kaplan_meier(*_watched(lives), least_at_risk=0)
    return RenewalTruth(
        mtbf=float(lives.runs * EXPOSURE.sum() / total.sum()),
        by_class=float(first / second),
        by_date=float(rate_before / rate_after),
        mcf=(float(np.sum(ages <= MIDDLE) / each), float(np.sum(ages <= LAST) / each)),
        age=age,
        survival=float(curve.survival[np.searchsorted(curve.age, age, side="right") - 1]),
    )


def rates(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """MTBF, kind of bounds chosen by the evidence."""
    counts = draw_lives(cell, scale_of(cell), runs, rng).counts()
    found = [estimate_rate(count, EXPOSURE, level=LEVEL) for count in counts]
    return {"MTBF": _trial(found, truth_of(cell).mtbf, "mtbf_lower", "mtbf_upper")}


def class_ratio(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Rate of one class over that of another, twelve locomotives each."""
    counts = draw_lives(cell, scale_of(cell), runs, rng).counts()
    first = ~SECOND_CLASS
    found = [
        compare_populations(
            count * first, EXPOSURE * first, count * SECOND_CLASS, EXPOSURE * SECOND_CLASS,
            level=LEVEL,
        )
        for count in counts
    ]  # fmt: skip
    return {"rate ratio, two classes": _trial(found, truth_of(cell).by_class)}


def date_ratio(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Rate before the middle of the record over that after it, same locomotives."""
    lives = draw_lives(cell, scale_of(cell), runs, rng)
    early, late = lives.counts(lives.end <= CHANGED), lives.counts(lives.end > CHANGED)
    before = _exposed_before()
    found = [
        compare_populations(a, before, b, EXPOSURE - before, level=LEVEL)
        for a, b in zip(early, late, strict=True)
    ]
    return {"rate ratio, before and after": _trial(found, truth_of(cell).by_date)}


def cumulative(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Mean cumulative function by age of the locomotive, at the middle and the last age."""
    lives = draw_lives(cell, scale_of(cell), runs, rng)
    found = [_bounds_by_age(curve) for curve in _curves(lives)]
    bounds = np.array(found).transpose(1, 2, 0)  # age, lower and upper, run
    truth = truth_of(cell).mcf
    return {
        f"cumulative failures, {name} age": Trial(bounds[at, 0], bounds[at, 1], truth[at])
        for at, name in enumerate(("middle", "last"))
    }


def survival(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Kaplan-Meier survival at the median age of failure, by locomotive."""
    lives = draw_lives(cell, scale_of(cell), runs, rng)
    truth = truth_of(cell)
    columns = (*_watched(lives), lives.locomotive)
    found = [
        survival_at(entry, exit, failed, truth.age, level=LEVEL, cluster=locomotive)
        for entry, exit, failed, locomotive in zip(
            *(lives.of_run(column) for column in columns), strict=True
        )
    ]
    return {"survival at the median age": _trial(found, truth.survival)}


def lives_law(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Weibull law of life: shape, B10, median, mean by profile likelihood, by locomotive."""
    lives = draw_lives(cell, scale_of(cell), runs, rng)
    fit = fit_batch(_batch(lives, lives.run, runs), "weibull", level=LEVEL)
    truth = _true_law(cell)
    return {
        f"Weibull {name}": Trial(
            getattr(fit, f"{key}_lower"), getattr(fit, f"{key}_upper"), truth[key]
        )
        for key, name in (
            ("shape", "shape"),
            ("b10", "B10"),
            ("median", "median"),
            ("mean", "mean"),
        )
    }


@lru_cache(maxsize=256)
def _true_law(cell: Cell) -> dict[str, float]:
    if cell.spread:
        lives = _many(cell)
        fit = fit_batch(_batch(lives, np.zeros_like(lives.run), 1), "weibull", bounds=False)
        return {key: float(getattr(fit, key)[0]) for key in ("shape", "b10", "median", "mean")}
    scale, power = scale_of(cell), 1.0 / cell.shape
    return {
        "shape": cell.shape,
        "b10": float(scale * (-np.log(0.9)) ** power),
        "median": float(scale * np.log(2.0) ** power),
        "mean": float(scale * special.gamma(1.0 + power)),
    }


def _batch(lives: Lives, group: IntArray, size: int) -> LifeBatch:
    """Take failures between looks, and lives of one locomotive as alike, as the answers do."""
    entry, exit, failed = _watched(lives)
    lower = np.where(failed, np.maximum(lives.sound - lives.start, entry), exit)
    data = LifeData.of(lower, np.where(failed, exit, np.inf), entry)
    return LifeBatch.of(data, group, size=size, cluster=lives.locomotive)


def _watched(lives: Lives) -> tuple[FloatArray, FloatArray, BoolArray]:
    return lives.entry, lives.end - lives.start, lives.failed


def _curves(lives: Lives) -> Iterator[CumulativeCurve]:
    age = lives.end - STAGGERED[lives.locomotive]
    places = np.full(LOCOMOTIVES, POSITIONS)
    columns = (age, lives.locomotive, lives.failed)
    for ages, unit, failed in zip(*(lives.of_run(column) for column in columns), strict=True):
        yield mean_cumulative(
            ages[failed],
            unit[failed],
            np.maximum(0.0, -STAGGERED),
            DAYS - STAGGERED,
            np.arange(LOCOMOTIVES),
            level=LEVEL,
            multiplicity=places,
        )


def _bounds_by_age(curve: CumulativeCurve) -> list[tuple[float, float]]:
    at = np.searchsorted(curve.age, [MIDDLE, LAST], side="right") - 1
    # A curve that has not risen says nothing: its bounds are 0, not an interval.
    risen = curve.mcf[at] > 0
    lower, upper = (np.where(risen, ends[at], np.nan) for ends in (curve.lower, curve.upper))
    return list(zip(lower, upper, strict=True))


def _exposed_before() -> FloatArray:
    return POSITIONS * np.maximum(0.0, CHANGED - np.maximum(0.0, STAGGERED))


def _many(cell: Cell) -> Lives:
    return draw_lives(cell, scale_of(cell), _fleets(cell), _true_rng(cell, 0))


def _fleets(cell: Cell) -> int:
    return max(_FEWEST_FLEETS, _TRUE_FAILURES // cell.failures)


def _true_rng(cell: Cell, number: int) -> np.random.Generator:
    return np.random.default_rng([_TRUTH_SEED, number, *cell.key])


def _trial(
    found: Sequence[object], truth: float, lower: str = "lower", upper: str = "upper"
) -> Trial:
    ends = [np.array([getattr(one, name) for one in found]) for name in (lower, upper)]
    return Trial(ends[0], ends[1], truth)
