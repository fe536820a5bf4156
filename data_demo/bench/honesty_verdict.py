"""Whether intervals hold their level: coverage by cell, and the rule by which they pass.

A run covers where lower <= truth <= upper; a bound that is not there counts as open. A run without
any bound made no statement: it is left out, and the share of runs that made one is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analytics.estimate.rate import FloatArray
from data_demo.bench.honesty_cells import Cell

LEVEL = 0.90
BAND = (0.87, 0.93)
LEAST = 0.85
SHARE = 0.95
ERRORS = 2.0
"""So many Monte-Carlo standard errors a cell is moved in its favour before it is called a miss."""

Verdict = Literal["pass", "miss", "open"]


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """Bounds of one figure in each run, (runs,), NaN where there is none, and the true value."""

    lower: FloatArray
    upper: FloatArray
    truth: float


@dataclass(frozen=True, slots=True)
class Coverage:
    """The share of runs whose bounds hold the truth in one cell, with its standard error."""

    cell: Cell
    runs: int
    answered: float
    coverage: float
    error: float
    truth: float


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure over all cells. `exact`: bounds that may hold more than their level."""

    name: str
    exact: bool
    cells: tuple[Coverage, ...]

    @property
    def counted(self) -> list[Coverage]:
        """The cells that the pass rule looks at."""
        return [found for found in self.cells if found.cell.counts and found.runs]

    @property
    def within(self) -> float:
        """Share of the counted cells inside the band."""
        return _share([self.inside(found) for found in self.counted])

    @property
    def under(self) -> int:
        """Number of counted cells that hold the truth too seldom."""
        return sum(found.coverage < LEAST for found in self.counted)

    @property
    def verdict(self) -> Verdict:
        """Pass by the figures as they are; miss where two errors in favour do not help; else open.

        With few runs the band is not much wider than the error of a coverage: a figure that holds
        its level then falls out of it in some cells by chance, and nothing is decided.
        """
        if not self.counted:
            return "open"
        if self.within >= SHARE and not self.under:
            return "pass"
        generous = _share([self.inside(found, ERRORS * found.error) for found in self.counted])
        low = any(found.coverage + ERRORS * found.error < LEAST for found in self.counted)
        return "miss" if low or generous < SHARE else "open"

    @property
    def only_wide(self) -> bool:
        """Whether what is outside the band is so by holding more than the level."""
        return all(found.coverage >= BAND[0] for found in self.counted)

    @property
    def outside(self) -> list[Coverage]:
        """Cells to be told of: outside the band, or too low with few failures; lowest first."""
        told = [
            found
            for found in self.cells
            if found.runs and not (self.inside(found) if found.cell.counts else _not_low(found))
        ]
        return sorted(told, key=lambda found: found.coverage)

    def inside(self, found: Coverage, favour: float = 0.0) -> bool:
        """Tell whether a cell is inside the band, the band moved outwards by `favour`."""
        high = self.exact or found.coverage <= BAND[1] + favour
        return found.coverage >= BAND[0] - favour and high


def coverage(cell: Cell, trials: Sequence[Trial]) -> Coverage:
    """Count in how many runs of a cell, drawn in several parts, the bounds hold the truth."""
    lower = np.concatenate([trial.lower for trial in trials])
    upper = np.concatenate([trial.upper for trial in trials])
    truth = trials[0].truth
    said = ~(np.isnan(lower) & np.isnan(upper))
    held = ~(lower[said] > truth) & ~(upper[said] < truth)
    runs = int(said.sum())
    share = float(held.mean()) if runs else float("nan")
    # A share of 0 or 1 has an error too: count one more run on either side.
    near = (held.sum() + 1.0) / (runs + 2.0)
    error = float(np.sqrt(near * (1.0 - near) / (runs + 2.0)))
    return Coverage(cell, runs, runs / max(1, lower.size), share, error, truth)


def _not_low(found: Coverage) -> bool:
    return found.coverage >= LEAST


def _share(marks: Sequence[bool]) -> float:
    return sum(marks) / len(marks) if marks else float("nan")
