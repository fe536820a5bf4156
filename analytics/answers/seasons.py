"""What the calendar months ahead bring of each component: the season of a forecast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.answer import Message, say
from analytics.answers.ground import Ground, text_of
from analytics.estimate.rate import FloatArray, IntArray
from analytics.estimate.season import FEWEST_YEARS, MONTHS, month_factors

_NAMED = 3
_USUAL = 0.05  # a component that is this near its usual over the horizon is not named


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """How many times its usual each component fails by calendar month, where that is shown.

    `factors` has a row a component with a season and columns 1 to 12; `cut` is each locomotive's
    data cut.
    """

    factors: pd.DataFrame
    cut: pd.Series[pd.Timestamp]

    def ahead(self, places: pd.DataFrame, days: FloatArray) -> FloatArray:
        """Return the mean factor over so many days from each locomotive's data cut on, else 1.

        `places` has locomotive and component.
        """
        factor: FloatArray = np.ones(len(places), dtype=np.float64)
        begins = places["locomotive"].map(self.cut)
        known = (places["component"].isin(self.factors.index) & begins.notna()).to_numpy()
        known &= days > 0
        if not known.any():
            return factor
        span, first = days[known], begins[known].min().normalize()
        at = np.asarray((begins[known] - first) / pd.Timedelta(days=1), dtype=np.float64)
        calendar = pd.date_range(first, periods=int(np.ceil((at + span).max())) + 1)
        risen = self.factors.to_numpy()[:, calendar.month - 1].cumsum(axis=1)
        risen = np.concatenate([np.zeros((len(risen), 1)), risen], axis=1)
        row = self.factors.index.get_indexer(pd.Index(places["component"][known]))
        factor[known] = (_read(risen, row, at + span) - _read(risen, row, at)) / span
        return factor


def read_season(ground: Ground) -> Season:
    """Read the season of each component from the whole years before the data cut.

    Parameters
    ----------
    ground
        Its period, counting rule, defects and clock; all locomotives count, whatever its filters.

    Conventions
    -----------
    `analytics.estimate.season.month_factors`: counted failures while observed, by class and year of
    12 calendar months, the last of which is the last complete one before the data cut. Exposure is
    on the ground's clock, so that a month in which locomotives ran more is not a season.
    """
    ends = ground.rows(
        f"SELECT locomotive, begins_at, least(ends_at, $until) AS ends_at"
        f" FROM {ground.sources['record']} ORDER BY locomotive",
        until=ground.until,
    )
    cut = ends.set_index("locomotive")["ends_at"]
    none = pd.DataFrame(columns=range(1, MONTHS + 1), dtype="float64")
    begun, end = ends["begins_at"].min(), ends["ends_at"].max()
    if pd.isna(begun) or pd.isna(end):
        return Season(none, cut)
    first = max(begun, pd.Timestamp(ground.scope.since or begun))
    complete = first == first.normalize().replace(day=1)
    last = _number(end)
    years = (last - _number(first) - int(not complete)) // MONTHS
    if years < FEWEST_YEARS:
        return Season(none, cut)
    found, times, names = _counted(ground, last - MONTHS * years, years)
    # a year of the counts begins with the month of the cut; turned, it begins in January
    told = month_factors(*(np.roll(each, last % MONTHS, axis=-1) for each in (found, times)))
    factors = pd.DataFrame(told.factor, names, range(1, MONTHS + 1))
    return Season(factors[told.shown], cut)


def note_of(places: pd.DataFrame) -> Message:
    """Say which components the season raises or lowers; `places` has component and season."""
    mean = places.groupby("component")["season"].mean()
    far = mean[(mean - 1.0).abs() >= _USUAL]
    if not (mean - 1.0).abs().gt(1e-9).any():
        return Message("season.none", years=FEWEST_YEARS)
    if far.empty:
        return Message("season.usual")
    order = np.log(far.clip(lower=1e-9)).abs().sort_values(ascending=False, kind="stable").index
    parts = [
        say(Message("season.part", component=name, times=f"{far[name]:.1f}"))
        for name in order[:_NAMED]
    ]
    more = len(far) - len(parts)
    if more:
        parts.append(say(Message("season.more", more=more)))
    return Message("season.counted", parts=", ".join(parts))


def _counted(ground: Ground, first: int, years: int) -> tuple[FloatArray, FloatArray, pd.Index]:
    """Return failures by component, class, year and month, exposure likewise, and the names."""
    begin = pd.Timestamp(year=first // MONTHS, month=first % MONTHS + 1, day=1)
    period = {"first": begin, "end": begin + pd.DateOffset(years=years)}
    words = {
        "counted": ground.counted, "defect_kept": ground.kept(defect="defect"),
        "found_tick": ground.tick("found"),
        "from_tick": ground.tick("from"), "to_tick": ground.tick("to"),
    }  # fmt: skip
    rows = ground.rows(text_of("season_month.sql").format(**ground.sources, **words), **period)
    months = pd.to_datetime(rows["month"])
    at = (months.dt.year * MONTHS + months.dt.month - 1 - first).to_numpy(np.int64)
    classes, names = (pd.Index(sorted(set(rows[name].dropna()))) for name in ("class", "component"))
    kind, group = names.get_indexer(rows["component"]), classes.get_indexer(rows["class"])
    whole = kind < 0  # rows of exposure, which is of all components of a class
    size = (len(classes), years * MONTHS)
    times, found = np.zeros(size), np.zeros((len(names), *size))
    times[group[whole], at[whole]] = rows["amount"][whole]
    found[kind[~whole], group[~whole], at[~whole]] = rows["amount"][~whole]
    by_year = (len(classes), years, MONTHS)
    return found.reshape(len(names), *by_year), times.reshape(by_year), names


def _number(moment: pd.Timestamp) -> int:
    """Number calendar months; January of a year is a multiple of 12."""
    return moment.year * MONTHS + moment.month - 1


def _read(risen: FloatArray, row: IntArray, at: FloatArray) -> FloatArray:
    """Read sums over whole days between them."""
    below = np.floor(at).astype(np.int64)
    before, after = risen[row, below], risen[row, np.minimum(below + 1, risen.shape[1] - 1)]
    found: FloatArray = before + (at - below) * (after - before)
    return found
