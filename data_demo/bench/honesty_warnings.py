"""Whether early warnings alarm falsely as seldom as they are set to: charts without any change.

Each cell is a fleet of charts whose true rate never changes, watched for 200 weeks after a first
baseline of 104. The share of false alarms is their number over the number that the setting puts up
with in the weeks at work: 1 is exactly the setting. Cells were fixed beforehand; those that the
method promises to hold (steady Poisson counts, 20 or more events in a baseline) are marked, the
others are printed to be known.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.estimate.baseline import WeeklySums, baseline_of
from analytics.estimate.cusum import watch_counts

WEEKS_BETWEEN = 783.0  # 180 charts that share one false alarm a month
LEAD, WATCHED = 113, 200
LOW, HIGH = 0.75, 1.33


@dataclass(frozen=True, slots=True)
class Cell:
    """A kind of chart: events expected in 104 weeks, and how its weeks differ.

    `uneven`: exposure of a week from 0.5 to 1.7 of the mean, half of it in slow waves. `bursts`:
    variance over mean of a count. `season`: amplitude of the yearly swing of the rate.
    """

    events: float
    uneven: bool = False
    bursts: float = 1.0
    season: float = 0.0

    @property
    def promised(self) -> bool:
        """Whether the setting should be held."""
        return self.events >= 20 and self.bursts == 1 and self.season == 0


CELLS = (
    Cell(20), Cell(30, uneven=True), Cell(100), Cell(100, uneven=True), Cell(500, uneven=True),
    Cell(8), Cell(50, bursts=1.6), Cell(200, bursts=1.6), Cell(100, season=0.6),
)  # fmt: skip


def run(runs: int = 2000, seed: int = 1) -> dict[str, Any]:
    """Watch `runs` charts of each cell; print and return the share of false alarms.

    Parameters
    ----------
    runs
        Charts a cell.
    seed
        Of the random numbers.

    Returns
    -------
    dict
        `runs`, `seed`, `weeks_between` (the setting of one chart); `cells`, a dict each with the
        cell's fields, `promised`, `alarms`, `share` and `held` (0.75 to 1.33); `pooled`, the share
        over the promised cells.
    """
    cells = []
    for number, cell in enumerate(CELLS):
        alarms, due = _watch(cell, runs, np.random.default_rng([seed, number]))
        share = alarms / due
        found = {"alarms": alarms, "due": due, "share": share, "held": LOW <= share <= HIGH}
        cells.append({**asdict(cell), "promised": cell.promised, **found})
        print(
            f"{cell.events:4.0f} events, {'uneven' if cell.uneven else 'even'} weeks, bursts "
            f"{cell.bursts}, season {cell.season}: {alarms} false alarms, {share:.2f} of those due"
            f"{'' if cell.promised else ' (not promised)'}"
        )
    kept = [cell for cell in cells if cell["promised"]]
    pooled = sum(cell["alarms"] for cell in kept) / sum(cell["due"] for cell in kept)
    return {
        "runs": runs,
        "seed": seed,
        "weeks_between": WEEKS_BETWEEN,
        "cells": cells,
        "pooled": pooled,
    }


def _watch(cell: Cell, charts: int, random: np.random.Generator) -> tuple[int, float]:
    """Count the alarms of charts without a change, and how many the setting puts up with."""
    counts, exposure, month = _draw(cell, charts, random)
    last = baseline_of(WeeklySums.of(counts, exposure, month), np.full(charts, month.size - 1))
    sharing = int(last.usable.sum())
    watch = watch_counts(
        counts, exposure, month, false_alarms_a_week=max(sharing, 1) / WEEKS_BETWEEN
    )
    begun = watch.alarmed[:, LEAD:] == np.arange(LEAD, month.size)
    at_work = np.isfinite(watch.h[:, LEAD:]).sum()
    return int(begun.sum()), float(at_work / WEEKS_BETWEEN)


def _draw(
    cell: Cell, charts: int, random: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
    week = np.arange(LEAD + WATCHED)
    month = (week * 7 / 30.4375).astype(np.int64) % 12 + 1
    exposure = np.ones((charts, week.size))
    if cell.uneven:
        waves = 1 + 0.3 * np.sin(2 * np.pi * (week / 70 + random.random((charts, 1))))
        exposure = waves * random.uniform(0.7, 1.3, exposure.shape)
    swing = 1 + cell.season * np.cos(2 * np.pi * week / 52.18)
    mean = cell.events / 104 * exposure * swing
    if cell.bursts == 1:
        return random.poisson(mean), exposure, month
    size = mean / (cell.bursts - 1)
    return random.negative_binomial(size, 1 / cell.bursts), exposure, month
