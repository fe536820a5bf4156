"""Figures of given laws: trend, defect intensity, recurrence, restoration, slope of readings.

Truth is the law that was drawn from, averaged over locomotives.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from analytics.estimate.drift import drift
from analytics.estimate.intensity import fit_intensities, intensity_curve
from analytics.estimate.recurrence import recurrence_rate
from analytics.estimate.restoration import estimate_restoration
from analytics.estimate.risk_intervals import RiskIntervals
from analytics.estimate.trend import fit_power_law
from data_demo.bench.honesty_cells import Cell
from data_demo.bench.honesty_fleets import (
    LOCOMOTIVES,
    POSITIONS,
    Stretches,
    draw_factors,
    renewed_once,
    whole_records,
)
from data_demo.bench.honesty_verdict import LEVEL, Trial

WINDOW = 30.0
COMES_BACK = 0.25
_WATCHED = 120.0
_CLOSINGS = 4.6  # for each episode that comes back, some closings not being watched to the end
_STILL_DOWN = 0.1
_RISE = 0.1  # of the readings, a day


def trend(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Power law of repaired locomotives: shape, and MTBF at the last day of the records."""
    fleet = whole_records(cell)
    run, stretch, age = fleet.draw(cell, runs, rng)
    begin = np.searchsorted(run, np.arange(1, runs))
    places = np.full(LOCOMOTIVES, POSITIONS)
    found = [
        fit_power_law(times, unit, fleet.start, fleet.stop, level=LEVEL, unit_positions=places)
        for times, unit in zip(np.split(age, begin), np.split(stretch, begin), strict=True)
    ]
    now = fleet.scale * fleet.shape * np.sum(fleet.stop ** (fleet.shape - 1.0))
    true = {"shape": cell.shape, "mtbf_now": float(POSITIONS * LOCOMOTIVES / now)}
    return {
        f"trend {name}": Trial(
            np.array([getattr(fit, f"{key}_lower") for fit in found]),
            np.array([getattr(fit, f"{key}_upper") for fit in found]),
            true[key],
        )
        for key, name in (("shape", "shape"), ("mtbf_now", "MTBF now"))
    }


def intensity(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Defect intensity by age since renewal: cumulative at the middle age, and its shape."""
    fleet = renewed_once(cell)
    fits = fit_intensities(_at_risk(fleet, cell, runs, rng), level=LEVEL)
    middle = float(np.median(fleet.stop))
    curves = [intensity_curve(fits, run, [middle]) for run in range(runs)]
    return {
        "defect intensity, cumulative": Trial(
            np.array([curve.cumulative_lower[0] for curve in curves]),
            np.array([curve.cumulative_upper[0] for curve in curves]),
            float(fleet.scale * middle**fleet.shape),
        ),
        "defect intensity, shape": Trial(fits.shape_lower, fits.shape_upper, cell.shape),
    }


def recurrence(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Share of closings after which the position fails again within 30 days.

    Gaps are Weibull with the cell's shape, a quarter of them within the window; an episode is found
    at the next inspection. Closings are watched for up to 120 days.
    """
    seen_by = cell.every * np.floor(WINDOW / cell.every)
    hazard = _mixed_hazard(COMES_BACK, cell.spread)
    scale = WINDOW / hazard ** (1.0 / cell.shape)
    closings = round(_CLOSINGS * cell.failures)
    factors = draw_factors(cell, runs, rng)
    share = np.linspace(1.0, 2.5, LOCOMOTIVES)
    locomotive = rng.choice(LOCOMOTIVES, size=(runs, closings), p=share / share.sum())
    drawn = rng.standard_exponential((runs, closings))
    factor = np.take_along_axis(factors, locomotive, axis=1)
    gap = scale * (drawn / factor) ** (1.0 / cell.shape)
    gap = cell.every * np.ceil(gap / cell.every)
    watched = rng.uniform(0.0, _WATCHED, (runs, closings))
    found = [
        recurrence_rate(
            np.minimum(gap[run], watched[run]),
            gap[run] <= watched[run],
            locomotive[run],
            window=WINDOW,
            level=LEVEL,
        )
        for run in range(runs)
    ]
    truth = _mixed_share(hazard * (seen_by / WINDOW) ** cell.shape, cell.spread)
    lower, upper = (np.array([getattr(one, end) for one in found]) for end in ("lower", "upper"))
    return {"recurrence rate": Trial(lower, upper, truth)}


def restoration(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Mean restoration time: lognormal, logarithms of deviation 1 / shape, locomotives apart.

    With inspections every 7 days about a tenth is still down.
    """
    size = (runs, cell.failures)
    between = np.log1p(cell.spread**2)
    own = rng.normal(-between / 2.0, np.sqrt(between), (runs, LOCOMOTIVES))
    of = rng.integers(0, LOCOMOTIVES, size)
    sigma = 1.0 / cell.shape
    hours = np.exp(np.take_along_axis(own, of, axis=1) + rng.normal(0.0, sigma, size))
    mean = float(np.exp(sigma**2 / 2.0))
    ended = np.ones(size, dtype=bool)
    if cell.every > 1:
        cut = rng.exponential(mean / _STILL_DOWN, size)
        ended, hours = hours <= cut, np.minimum(hours, cut)
    found = [
        estimate_restoration(hours[run], ended[run], level=LEVEL, cluster=of[run])
        for run in range(runs)
    ]
    lower = np.array([one.mean_lower for one in found])
    upper = np.array([one.mean_upper for one in found])
    return {"mean restoration": Trial(lower, upper, mean)}


def slope(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
    """Slope of readings about a line, as many as the cell has failures.

    The noise is Weibull with the cell's shape; `spread` is how each reading hangs on the one
    before it (autocorrelation), which a correction only partly sees.
    """
    points = cell.failures
    # Less its mean: what hangs on the first reading must not drift by itself.
    noise = rng.weibull(cell.shape, (runs, points)) - special.gamma(1.0 + 1.0 / cell.shape)
    hang = cell.spread
    for at in range(1, points):
        noise[:, at] = hang * noise[:, at - 1] + np.sqrt(1.0 - hang**2) * noise[:, at]
    times = cell.every * np.arange(points, dtype=np.float64)
    values = noise + _RISE * times
    at_once = max(1, 2_000_000 // points**2)
    lower, upper = [], []
    for first in range(0, runs, at_once):
        part = values[first : first + at_once]
        segment = np.repeat(np.arange(len(part)), points)
        fit = drift(np.tile(times, len(part)), part.ravel(), segment, size=len(part), level=LEVEL)[
            1
        ]
        lower.append(fit.lower)
        upper.append(fit.upper)
    return {"slope of readings": Trial(np.concatenate(lower), np.concatenate(upper), _RISE)}


def _at_risk(fleet: Stretches, cell: Cell, runs: int, rng: np.random.Generator) -> RiskIntervals:
    """Cut each stretch at its failures; the rest of it has none."""
    run, stretch, age = fleet.draw(cell, runs, rng)
    stretches = fleet.start.size
    every = np.arange(runs * stretches)
    owner = np.concatenate([run * stretches + stretch, every])
    stop = np.concatenate([age, np.tile(fleet.stop, runs)])
    event = np.concatenate([np.ones(age.size), np.zeros(every.size)])
    order = np.lexsort((-event, stop, owner))
    owner, stop, event = owner[order], stop[order], event[order]
    first = np.append(True, owner[1:] != owner[:-1])
    start = np.where(first, fleet.start[owner % stretches], np.append(0.0, stop[:-1]))
    group = owner // stretches
    cluster = group * LOCOMOTIVES + fleet.locomotive[owner % stretches]
    return RiskIntervals.of(start, stop, event, group=group, groups=runs, cluster=cluster)


def _mixed_share(hazard: float, spread: float) -> float:
    """Share that fails where the hazard differs by a gamma factor of this spread."""
    if not spread:
        return float(-np.expm1(-hazard))
    return float(1.0 - (1.0 + spread**2 * hazard) ** (-1.0 / spread**2))


def _mixed_hazard(share: float, spread: float) -> float:
    if not spread:
        return float(-np.log1p(-share))
    return float(((1.0 - share) ** -(spread**2) - 1.0) / spread**2)
