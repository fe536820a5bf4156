"""Early warning: cumulative sums of weekly counts, many charts at once, against their own past."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import EstimateError
from analytics.estimate.baseline import GAP, WEEKS, Baseline, WeeklySums, baseline_of
from analytics.estimate.run_length import DOUBLING, alarm_limits

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LONGEST = WEEKS + GAP
"""Weeks after which the level since then fills a baseline itself, and is taken as the usual."""


@dataclass(frozen=True, slots=True, eq=False)
class Watch:
    """Charts over weeks; every array is (charts, weeks).

    Attributes
    ----------
    expected
        Count expected by the baseline in force; NaN where there is no chart.
    s, h
        The cumulative sum after the week and the limit in force, in counts; NaN without a chart.
    alarm
        Whether an alarm is at work after the week.
    left_zero
        Index of the week in which the sum left zero for the last time; -1 where it is at zero.
    alarmed
        Index of the week of the alarm at work; -1 where there is none.
    false_alarm_weeks
        Mean weeks to a false alarm by the limit in force; NaN without a chart.
    baseline
        The baseline of each chart in force after the last week.
    charts
        How many charts the false alarms are shared by.
    """

    expected: FloatArray
    s: FloatArray
    h: FloatArray
    alarm: BoolArray
    left_zero: IntArray
    alarmed: IntArray
    false_alarm_weeks: FloatArray
    baseline: Baseline
    charts: int


def watch_counts(
    counts: ArrayLike, exposure: ArrayLike, month: ArrayLike, *, false_alarms_a_week: float
) -> Watch:
    """Run a cumulative sum for a doubled rate on each series of weekly counts.

    Parameters
    ----------
    counts : (charts, weeks)
        Events of each week, oldest first.
    exposure : (charts, weeks)
        Running time of each week, in any unit: h, km or days of all locomotives of the chart.
    month : (weeks,)
        Calendar month of each week, 1 to 12.
    false_alarms_a_week
        Over all charts together, shared equally by those that have a baseline at the end.

    Returns
    -------
    Watch

    Conventions
    -----------
    S = max(0, S + x - k), k = m / ln 2, m the count expected of that week's own exposure: in counts
    this is the log-likelihood ratio of a doubled Poisson rate, whatever the exposure, so that one
    limit h serves weeks of unequal exposure; it is designed for the mean exposure of the 52 weeks
    before. Alarm at S >= h. The baseline is the 104 weeks ending 8 weeks before the last zero, so
    it stands still while the sum is above zero. An alarm is closed, and the sum set to zero, when
    the sum has fallen by h from its highest, or after 112 weeks; a sum above zero for 112 weeks
    without an alarm begins anew too. A week without exposure moves
    nothing but by its events.

    Limits
    ------
    Fewer than 26 weeks with exposure or 5 events in the baseline: no chart, NaN. Limits and
    posterior: `alarm_limits`. Season and dispersion: `baseline_of`.

    Raises
    ------
    EstimateError
        Arrays of different shape, a negative or undefined number, or a setting that is not above 0.

    References
    ----------
    Lucas (1985), Technometrics 27, 129-144; Hawkins & Olwell (1998), Cumulative Sum Charts and
    Charting for Quality Improvement, ch. 5; Mei, Han & Tsui (2011), Statistica Sinica 21, 597-624
    (unequal exposure).
    """
    if not false_alarms_a_week > 0:
        raise EstimateError(
            f"The false alarms a week must be above 0, got {false_alarms_a_week!r}."
        )
    sums = WeeklySums.of(counts, exposure, month)
    last = baseline_of(sums, np.full(sums.charts, sums.weeks - 1))
    sharing = int(last.usable.sum())
    steps = max(sharing, 1) / false_alarms_a_week
    run = _Run.start(sums, max(steps, 1.0 + 1e-9))
    for week in range(sums.weeks):
        run.step(week)
    return Watch(
        expected=run.expected,
        s=run.s,
        h=run.h,
        alarm=run.alarmed >= 0,
        left_zero=run.left_zero,
        alarmed=run.alarmed,
        false_alarm_weeks=run.false_alarm_weeks,
        baseline=run.baseline,
        charts=sharing,
    )


@dataclass(slots=True, eq=False)
class _Run:
    """Where every chart stands, and what it has written so far."""

    sums: WeeklySums
    steps: float
    baseline: Baseline
    limit: FloatArray
    gives: FloatArray
    now: FloatArray  # the sum
    highest: FloatArray  # of the sum since its alarm
    since: IntArray  # week in which the sum left zero, -1 at zero
    alarm_since: IntArray
    expected: FloatArray
    s: FloatArray
    h: FloatArray
    false_alarm_weeks: FloatArray
    left_zero: IntArray
    alarmed: IntArray = field(repr=False)

    @classmethod
    def start(cls, sums: WeeklySums, steps: float) -> _Run:
        charts, shape = sums.charts, (sums.charts, sums.weeks)
        return cls(
            sums=sums,
            steps=steps,
            baseline=baseline_of(sums, np.full(charts, -1)),
            limit=np.full(charts, np.nan),
            gives=np.full(charts, np.nan),
            now=np.zeros(charts),
            highest=np.zeros(charts),
            since=np.full(charts, -1),
            alarm_since=np.full(charts, -1),
            expected=np.full(shape, np.nan),
            s=np.full(shape, np.nan),
            h=np.full(shape, np.nan),
            false_alarm_weeks=np.full(shape, np.nan),
            left_zero=np.full(shape, -1),
            alarmed=np.full(shape, -1),
        )

    def step(self, week: int) -> None:
        """Take in one week: renew the baselines of charts at zero, add up, alarm, close."""
        self._renew(week)
        base = self.baseline
        usable = base.usable
        mean = base.rate * base.factor[:, self.sums.month[week] - 1] * self.sums.exposure[:, week]
        moved = np.maximum(0.0, self.now + self.sums.counts[:, week] - mean / DOUBLING)
        self.now = np.where(usable, moved, 0.0)
        self.since = np.where(self.now > 0, np.where(self.since < 0, week, self.since), -1)
        self._alarm(week)
        self.expected[:, week] = np.where(usable, mean, np.nan)
        self.s[:, week] = np.where(usable, self.now, np.nan)
        self.h[:, week] = np.where(usable, self.limit, np.nan)
        self.false_alarm_weeks[:, week] = np.where(usable, self.gives, np.nan)
        self.left_zero[:, week], self.alarmed[:, week] = self.since, self.alarm_since

    def _renew(self, week: int) -> None:
        charts = np.flatnonzero(self.now == 0)
        fresh = baseline_of(self.sums, np.full(charts.size, week - 1), charts)
        self.baseline.put(charts, fresh)
        kept = charts[fresh.usable]
        if kept.size:
            part = fresh.take(fresh.usable)
            found = alarm_limits(part.mean, part.worth, part.dispersion, steps=self.steps)
            self.limit[kept], self.gives[kept] = found.h, found.false_alarm_steps

    def _alarm(self, week: int) -> None:
        stale = (self.since >= 0) & (self.alarm_since < 0) & (week - self.since >= LONGEST)
        self._clear(stale)
        starts = (self.alarm_since < 0) & self.baseline.usable & (self.now >= self.limit)
        self.alarm_since[starts] = week
        running = self.alarm_since >= 0
        self.highest = np.where(running, np.maximum(self.highest, self.now), 0.0)
        fallen = self.now <= self.highest - self.limit
        old = week - self.alarm_since >= LONGEST
        self._clear(running & ~starts & (fallen | old))

    def _clear(self, charts: BoolArray) -> None:
        """Begin anew from zero."""
        self.now[charts] = self.highest[charts] = 0.0
        self.since[charts] = self.alarm_since[charts] = -1
