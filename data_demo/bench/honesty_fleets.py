"""Fleets drawn from known laws: renewed positions, and positions that are only made good.

A fleet is 24 locomotives of two positions each, put into service one after the other; some were in
service before the records began. A locomotive's rate is the fleet's times a gamma factor of mean 1.
Days count from the first day of the records.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.estimate.rate import BoolArray, FloatArray, IntArray
from data_demo.bench.honesty_cells import Cell

LOCOMOTIVES = 24
POSITIONS = 2
PLACES = LOCOMOTIVES * POSITIONS
DAYS = 728.0  # whole weeks: the last day of the records is a day of inspection at every interval
STAGGERED = 7.0 * np.round(np.linspace(-0.3, 0.6, LOCOMOTIVES) * DAYS / 7.0)
FROM_FIRST_DAY = 7.0 * np.round(np.linspace(0.0, 0.6, LOCOMOTIVES) * DAYS / 7.0)
FROM_NEW = np.zeros(LOCOMOTIVES)
_SEARCH_SEED = 7
_SEARCHED_EVENTS = 8_000
_STEPS = 7


@dataclass(frozen=True, slots=True, eq=False)
class Lives:
    """Lives of many fleets that reach into the records, by run, place and start; arrays (n,).

    `start` and `end` in days, `end` the finding of the failure or the last day; `sound` is the last
    inspection without it.
    """

    runs: int
    run: IntArray
    place: IntArray
    start: FloatArray
    sound: FloatArray
    end: FloatArray
    failed: BoolArray

    @property
    def locomotive(self) -> IntArray:
        """The locomotive of each life."""
        return self.place // POSITIONS

    @property
    def entry(self) -> FloatArray:
        """Age at which each life came into the records."""
        return np.maximum(0.0, -self.start)

    def of_run(self, values: NDArray[Any]) -> list[NDArray[Any]]:
        """Split an array by run."""
        return np.split(values, np.searchsorted(self.run, np.arange(1, self.runs)))

    def counts(self, chosen: BoolArray | None = None) -> FloatArray:
        """Failures of each locomotive of each fleet, (runs, locomotives)."""
        seen = self.failed if chosen is None else self.failed & chosen
        cell = self.run[seen] * LOCOMOTIVES + self.locomotive[seen]
        counted = np.bincount(cell, minlength=self.runs * LOCOMOTIVES)
        return counted.reshape(self.runs, LOCOMOTIVES).astype(np.float64)


def draw_factors(cell: Cell, runs: int, rng: np.random.Generator) -> FloatArray:
    """Draw what each locomotive's rate is of the fleet's, (runs, locomotives)."""
    size = (runs, LOCOMOTIVES)
    if not cell.spread:
        return np.ones(size)
    return rng.gamma(cell.spread**-2, cell.spread**2, size)


def draw_lives(
    cell: Cell,
    scale: float,
    runs: int,
    rng: np.random.Generator,
    in_service: FloatArray = STAGGERED,
) -> Lives:
    """Draw fleets whose positions are renewed at each finding of a failure.

    A life is Weibull with the cell's shape and `scale` days (of a locomotive with factor 1). It
    fails unseen and is found and renewed at the next inspection.
    """
    factor = np.repeat(draw_factors(cell, runs, rng), POSITIONS, axis=1)
    start = np.broadcast_to(np.repeat(in_service, POSITIONS), factor.shape)
    number = np.indices(factor.shape)
    run, place = number[0], number[1]
    rows: list[tuple[NDArray[Any], ...]] = []
    while np.any(start < DAYS):
        life = scale * (rng.standard_exponential(factor.shape) / factor) ** (1.0 / cell.shape)
        found = cell.every * np.ceil((start + life) / cell.every)
        failed, end = found <= DAYS, np.minimum(found, DAYS)
        sound = np.where(failed, np.maximum(found - cell.every, start), DAYS)
        seen = (start < DAYS) & (end > 0)
        row: tuple[NDArray[Any], ...] = (run, place, start, sound, end, failed)
        rows.append(tuple(array[seen] for array in row))
        start = found
    columns: list[NDArray[Any]] = [np.concatenate(column) for column in zip(*rows, strict=True)]
    order = np.lexsort((columns[2], columns[1], columns[0]))
    return Lives(runs, *(column[order] for column in columns))


@lru_cache(maxsize=256)
def scale_of(cell: Cell) -> float:
    """Return the scale of life that gives the cell's failures, sought over drawn fleets."""
    runs = max(20, _SEARCHED_EVENTS // cell.failures)
    # Few failures a place: first lives, whose number grows like age ** shape.
    steep = cell.shape if cell.failures < PLACES else 1.0
    scale = PLACES * 0.8 * DAYS / cell.failures
    for _ in range(_STEPS):
        rng = np.random.default_rng([_SEARCH_SEED, *cell.key])
        drawn = max(1, int(draw_lives(cell, scale, runs, rng).failed.sum())) / runs
        scale *= float(np.clip(drawn / cell.failures, 0.3, 3.0)) ** (1.0 / steep)
    return scale


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Stretches of age at risk of one fleet, and the power law that its failures follow.

    `start` and `stop` (n,) are ages in days, `locomotive` (n,) whose they are; the expected
    failures of a stretch are `scale` * (stop ** shape - start ** shape).
    """

    start: FloatArray
    stop: FloatArray
    locomotive: IntArray
    shape: float
    scale: float

    @classmethod
    def of(cls, cell: Cell, start: FloatArray, stop: FloatArray, locomotive: IntArray) -> Stretches:
        """Scale the law so that the stretches expect the cell's failures."""
        grown = float(np.sum(stop**cell.shape - start**cell.shape))
        return cls(start, stop, locomotive, cell.shape, cell.failures / grown)

    def draw(
        self, cell: Cell, runs: int, rng: np.random.Generator
    ) -> tuple[IntArray, IntArray, FloatArray]:
        """Draw failures: the run, stretch and age of each, in this order."""
        factor = draw_factors(cell, runs, rng)[:, self.locomotive]
        low, high = self.start**self.shape, self.stop**self.shape
        count = rng.poisson(factor * self.scale * (high - low))
        at = np.repeat(np.arange(count.size), count.ravel())
        run, stretch = at // self.start.size, at % self.start.size
        grown = low[stretch] + rng.random(at.size) * (high - low)[stretch]
        age = np.clip(grown ** (1.0 / self.shape), self.start[stretch], self.stop[stretch])
        order = np.lexsort((age, at))
        return run[order], stretch[order], age[order]


def whole_records(cell: Cell) -> Stretches:
    """Return one stretch a locomotive, its two positions added; `every` 7: late records."""
    in_service = STAGGERED if cell.every > 1 else FROM_FIRST_DAY
    start = np.maximum(0.0, -in_service)
    return Stretches.of(cell, start, DAYS - in_service, np.arange(LOCOMOTIVES))


def renewed_once(cell: Cell) -> Stretches:
    """Return two stretches a position: to a renewal by plan half way, then from age 0."""
    in_service = np.repeat(STAGGERED if cell.every > 1 else FROM_FIRST_DAY, POSITIONS)
    entry = np.maximum(0.0, -in_service)
    half = (DAYS - np.maximum(0.0, in_service)) / 2.0
    locomotive = np.repeat(np.arange(LOCOMOTIVES), POSITIONS)
    return Stretches.of(
        cell,
        np.concatenate([entry, np.zeros(PLACES)]),
        np.concatenate([entry + half, half]),
        np.concatenate([locomotive, locomotive]),
    )
