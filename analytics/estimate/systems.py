"""Windows of observation of repaired systems, in order, with the failures that fell into them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import EstimateError
from analytics.estimate.rate import (
    BoolArray,
    FloatArray,
    IntArray,
    check_indices,
    check_numbers,
    sums_by,
)


@dataclass(frozen=True, slots=True, eq=False)
class Systems:
    """Windows of some length in the order of system and start, and the failures in them."""

    times: FloatArray
    window: IntArray
    start: FloatArray
    end: FloatArray
    system: IntArray  # of each window, 0..count-1
    order: IntArray  # where each window stood when handed in
    truncated: bool

    @property
    def count(self) -> int:
        """Return the number of systems."""
        return int(self.system[-1]) + 1 if self.system.size else 0

    @property
    def owner(self) -> IntArray:
        """Return the system of each failure."""
        return self.system[self.window]

    @property
    def last_end(self) -> FloatArray:
        """Return for each window the end of the last window of its system."""
        return self.end[np.searchsorted(self.system, self.system, side="right") - 1]

    @property
    def ends_observation(self) -> BoolArray:
        """Return which failures ended the observation of their system."""
        last = np.zeros(self.times.size, dtype=bool)
        if self.truncated and self.times.size:
            by_age = np.lexsort((self.times, self.owner))
            owner = self.owner[by_age]
            last[by_age[np.append(owner[1:] != owner[:-1], True)]] = True
        return last

    def elapsed(self) -> tuple[FloatArray, FloatArray]:
        """Return observed time before each failure, and in all of each system, gaps closed up."""
        length = self.end - self.start
        before = np.cumsum(length) - length
        offset = before - before[np.searchsorted(self.system, self.system)]
        total = sums_by(self.system, length, self.count)
        return offset[self.window] + self.times - self.start[self.window], total


def read_systems(
    times: ArrayLike,
    unit: ArrayLike,
    windows: tuple[ArrayLike, ArrayLike, ArrayLike | None],
    *,
    failure_truncated: bool,
) -> Systems:
    """Check and order failures and windows (start, end, system); raise EstimateError if unfit."""
    start, end = check_numbers(windows[0], "start"), check_numbers(windows[1], "end")
    if start.shape != end.shape:
        raise EstimateError(f"One end per start is needed, got {end.size} for {start.size}.")
    if np.any(end < start):
        at = int(np.argmax(end < start))
        raise EstimateError(f"A window ends at {float(end[at])!r}, before {float(start[at])!r}.")
    label = np.arange(start.size) if windows[2] is None else np.asarray(windows[2])
    if label.shape != start.shape:
        raise EstimateError(f"One system per window is needed, got shape {label.shape!r}.")
    age = check_numbers(times, "times")
    window = check_indices(unit, start.size, "unit")
    if age.shape != window.shape:
        raise EstimateError(f"One unit per failure is needed, got {window.size} for {age.size}.")
    outside = (age < start[window]) | (age > end[window])
    if outside.any():
        raise EstimateError(f"A failure at {float(age[outside][0])!r} lies outside its window.")
    return _ordered(age, window, (start, end, label), failure_truncated=failure_truncated)


def _ordered(
    age: FloatArray,
    window: IntArray,
    windows: tuple[FloatArray, FloatArray, NDArray[np.generic]],
    *,
    failure_truncated: bool,
) -> Systems:
    start, end, label = windows
    long = np.flatnonzero(end > start)
    _, system = np.unique(label[long], return_inverse=True)
    by_start = np.lexsort((start[long], system))
    order, system = long[by_start], system[by_start]
    place = np.full(start.size, -1)
    place[order] = np.arange(order.size)
    kept = place[window] >= 0
    found = Systems(
        times=age[kept],
        window=place[window[kept]],
        start=start[order],
        end=end[order],
        system=system,
        order=order,
        truncated=failure_truncated,
    )
    overlap = (found.start[1:] < found.end[:-1]) & (system[1:] == system[:-1])
    if overlap.any():
        again = float(found.start[1:][overlap][0])
        raise EstimateError(f"Windows of one system overlap: one starts at {again!r} inside.")
    last = found.ends_observation
    if np.any(found.times[last] < found.last_end[found.window[last]]):
        raise EstimateError("failure_truncated needs every system to end at its last failure.")
    return found
