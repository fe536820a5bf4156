"""Stretches at risk by age with failures at their ends: what an intensity is fitted to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, IntArray, check_indices, check_numbers, sums_by


@dataclass(frozen=True, slots=True, eq=False)
class RiskIntervals:
    """Intervals (start, stop] of age at risk, one an element of arrays of shape (n,).

    Ages are in the clock's unit, from the last renewal; a restored position keeps its age. `events`
    failures happened at `stop`. An interval of no length adds no exposure, but its events count.
    `group` is the index of the fit each interval belongs to, 0 to `groups` - 1; `cluster` the index
    of its locomotive, for variances that admit that locomotives differ.

    Raises
    ------
    EstimateError
        Unequal lengths, an undefined or negative age, a stop before its start, a count below 0.
    """

    start: FloatArray
    stop: FloatArray
    events: FloatArray
    group: IntArray
    groups: int
    cluster: IntArray

    @classmethod
    def of(
        cls,
        start: ArrayLike,
        stop: ArrayLike,
        events: ArrayLike,
        *,
        group: ArrayLike | None = None,
        groups: int | None = None,
        cluster: ArrayLike | None = None,
    ) -> RiskIntervals:
        """Check the arrays; without `group` all is one group, without `cluster` one an interval."""
        begin, end = check_numbers(start, "start"), check_numbers(stop, "stop")
        count = check_numbers(events, "events")
        size = begin.size
        if not begin.size == end.size == count.size:
            raise EstimateError(
                f"start, stop and events differ in length: {size}, {end.size}, {count.size}."
            )
        wrong = (begin < 0) | (end < begin) | (count < 0)
        if wrong.any():
            at = int(np.argmax(wrong))
            raise EstimateError(
                f"An interval needs 0 <= start <= stop and no count below 0; at index {at} start "
                f"is {float(begin[at])!r}, stop {float(end[at])!r}, events {float(count[at])!r}."
            )
        of_group = np.zeros(size, np.int64) if group is None else np.asarray(group)
        most = int(of_group.max(initial=0)) + 1 if groups is None else groups
        of_cluster = np.arange(size) if cluster is None else np.asarray(cluster)
        if of_group.size != size or of_cluster.size != size:
            raise EstimateError("group and cluster need one index for each interval.")
        return cls(
            begin,
            end,
            count,
            check_indices(of_group, most, "group"),
            most,
            check_indices(of_cluster, int(of_cluster.max(initial=0)) + 1, "cluster"),
        )

    def by_group(self, values: ArrayLike) -> FloatArray:
        """Return the sum of one value an interval for each group, shape (groups,)."""
        return sums_by(self.group, values, self.groups)

    @property
    def exposure(self) -> FloatArray:
        """Return the time at risk of each group, in the clock's unit."""
        return self.by_group(self.stop - self.start)

    def only(self, keep: ArrayLike) -> RiskIntervals:
        """Return some of the intervals; the groups stay as they are numbered."""
        kept = np.asarray(keep)
        return RiskIntervals(
            self.start[kept],
            self.stop[kept],
            self.events[kept],
            self.group[kept],
            self.groups,
            self.cluster[kept],
        )
