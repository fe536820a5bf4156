"""Lives of which an inspection knows only an interval, laid over the cells that can hold a failure.

Turnbull's innermost intervals, with late entries taken as right ends (Frydman 1994), are the only
places where the nonparametric estimate can put failures. Here they are found, and lives are brought
down to which of these cells each may have failed in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.estimate.life_data import LifeData
from analytics.estimate.rate import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Cells (left, right] (left == right: one exact age) and which lives touch which of them.

    Arrays `left`, `right` have shape (m,). Life i is certainly at risk in cells
    `enters[i] <= k < first[i]` and, when it failed, did so in one of `first[i] <= k < last[i]`
    (`first == last` for a life that has not failed).
    """

    left: FloatArray
    right: FloatArray
    enters: IntArray
    first: IntArray
    last: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Lives with the same cells counted together, and those certainly at risk in each cell.

    `weight[j]` lives failed in one of `first[j] <= k < last[j]`; `certain` has shape (m,).
    """

    first: IntArray
    last: IntArray
    weight: FloatArray
    certain: FloatArray

    def sum_over_cells(self, values: FloatArray) -> FloatArray:
        """Add a value of each kind of life to every cell it may have failed in, shape (m,)."""
        size = self.certain.size
        change = count_by(self.first, values, size + 1) - count_by(self.last, values, size + 1)
        total: FloatArray = np.cumsum(change)[:size]
        return total


def count_by(place: IntArray, weight: FloatArray, size: int) -> FloatArray:
    """Add up weights by place, shape (size,)."""
    return np.bincount(place, weight, minlength=size).astype(np.float64)


def find_cells(lives: LifeData) -> Cells:
    """Find the innermost intervals of the lives."""
    finite = lives.failed
    value = np.unique(np.concatenate([lives.entry, lives.lower, lives.upper[finite]]))
    # Three places an age: failing exactly there, just having passed it, beginning just after it.
    exact, passed, after = 0, 1, 2
    starts = 3 * np.searchsorted(value, lives.lower) + np.where(lives.exact, exact, after)
    ends = 3 * np.searchsorted(value, np.where(finite, lives.upper, lives.lower)) + passed
    entries = 3 * np.searchsorted(value, lives.entry)
    lefts = np.unique(starts)
    rights = np.unique(np.concatenate([ends[finite], entries + passed]))
    place = np.concatenate([lefts, rights])
    order = np.argsort(place)
    place, is_left = place[order], order < lefts.size
    inner = np.flatnonzero(is_left[:-1] & ~is_left[1:])
    cell_left, cell_right = place[inner], place[inner + 1]
    last = np.searchsorted(cell_right, ends, side="right")
    return Cells(
        left=value[cell_left // 3],
        right=value[cell_right // 3],
        enters=np.searchsorted(cell_left, entries + after, side="left"),
        first=np.where(finite, np.searchsorted(cell_left, starts, side="left"), last),
        last=last,
    )


def keep_cells(cells: Cells, keep: BoolArray) -> Cells:
    """Leave out the cells where `keep` (m,) is False; every failure must keep one of its cells."""
    place = np.concatenate([[0], np.cumsum(keep)])
    return Cells(
        left=cells.left[keep],
        right=cells.right[keep],
        enters=place[cells.enters],
        first=place[cells.first],
        last=place[cells.last],
    )


def spread_lives(cells: Cells, weight: FloatArray) -> Spread:
    """Count lives by the cells they may have failed in; `weight` (n,) repeats or drops lives."""
    size = cells.left.size
    begins = count_by(cells.enters, weight, size + 1)
    ends = count_by(np.maximum(cells.first, cells.enters), weight, size + 1)
    counted = (cells.last > cells.first) & (weight > 0)
    pair = cells.first[counted] * (size + 1) + cells.last[counted]
    kinds, which = np.unique(pair, return_inverse=True)
    return Spread(
        first=kinds // (size + 1),
        last=kinds % (size + 1),
        weight=count_by(which, weight[counted], kinds.size),
        certain=np.cumsum(begins - ends)[:size],
    )
