"""Use of the locomotives: clocks by instant, instants by clock, and what the counters show."""

from __future__ import annotations

import numpy as np

from analytics.catalogue.model import CLOCKS, Catalogue
from data_demo.arrays import DAY, Floats, Ints
from data_demo.fleet import Fleet, day_of_year
from data_demo.scenario import CLASSES, DEPOTS

HOURS, KM, DAYS = range(len(CLOCKS))
_APART = 1e7  # set apart for one clock of one locomotive in the long array


class Clocks:
    """The three clocks of every locomotive, linear between midnights; 0 when records begin."""

    def __init__(self, at_midnight: Floats) -> None:
        """Take clock values at midnight, shape (clocks, locomotives, days + 1)."""
        self._locomotives, self._days = at_midnight.shape[1], at_midnight.shape[2] - 1
        apart = _APART * np.arange(at_midnight.shape[0] * self._locomotives)
        self._long = (at_midnight.reshape(len(apart), -1) + apart[:, None]).ravel()

    def value(self, clock: Ints | int, locomotive: Ints, second: Floats) -> Floats:
        """Return the clock of a locomotive at instants (seconds since records begin)."""
        row = clock * self._locomotives + locomotive
        day = np.clip(second // DAY, 0, self._days - 1).astype(np.int64)
        at = row * (self._days + 1) + day
        low, high = self._long[at], self._long[at + 1]
        return np.asarray(low + (second / DAY - day) * (high - low) - _APART * row)

    def instant(self, clock: Ints | int, locomotive: Ints, value: Floats) -> Floats:
        """Return when the clock of a locomotive reaches values; infinity: not on record."""
        row = clock * self._locomotives + locomotive
        begin = row * (self._days + 1)
        wanted = np.maximum(value, 1e-6) + _APART * row
        known = wanted <= self._long[begin + self._days]
        wanted = np.where(known, wanted, self._long[begin + self._days])
        at = np.searchsorted(self._long, wanted, side="left")
        at = np.clip(at, begin + 1, begin + self._days)
        low, high = self._long[at - 1], self._long[at]
        part = np.divide(wanted - low, high - low, out=np.zeros_like(low), where=high > low)
        return np.where(known, (at - 1 - begin + part) * DAY, np.inf)


def draw_use(fleet: Fleet, catalogue: Catalogue, rng: np.random.Generator) -> Clocks:
    """Draw engine hours and km of every day from depot, season, weekday and locomotive."""
    size, days = fleet.in_use.shape
    day = np.arange(days)
    depot = fleet.depot_on(np.arange(size)[:, None], day[None, :])
    year = np.cos(2 * np.pi * (day_of_year(fleet.first_day, days) - 290) / 365.25)
    weekday = (day + fleet.first_day.weekday()) % 7
    swing = (1 + 0.08 * year) * np.where(weekday >= 5, 0.75, 1.1)
    own = rng.normal(1, 0.07, (size, 1)).clip(0.7, 1.3)
    hours = np.array([d.hours_a_day for d in DEPOTS])[depot] * swing * own
    hours = hours * rng.gamma(9, 1 / 9, (size, days))
    hours = np.where(rng.random((size, days)) < 0.03, 0.0, hours)  # a day in the shed
    limits = [catalogue.classes[name] for name in CLASSES]
    most_hours = np.array([min(c.max_hours_per_day or 24, 24) for c in limits])
    most_km = np.array([c.max_km_per_day or 1500 for c in limits])
    hours = np.minimum(hours, 0.93 * most_hours[fleet.class_index][:, None]) * fleet.in_use
    km = (
        hours
        * np.array([d.km_an_hour for d in DEPOTS])[depot]
        * rng.gamma(25, 1 / 25, (size, days))
    )
    km = np.minimum(km, 0.93 * most_km[fleet.class_index][:, None])
    at_midnight = np.zeros((len(CLOCKS), size, days + 1))
    at_midnight[HOURS, :, 1:] = np.cumsum(hours, axis=1)
    at_midnight[KM, :, 1:] = np.cumsum(km, axis=1)
    at_midnight[DAYS, :, 1:] = 1 + day
    return Clocks(at_midnight)


class Counters:
    """What the engine-hour counter and the km counter show, some of them replaced on the way."""

    def __init__(self, fleet: Fleet, clocks: Clocks, replaced_at: Floats) -> None:
        """Take the instants at which each counter was replaced, shape (2, locomotives)."""
        before = np.maximum(0, fleet.begins - fleet.entered)  # days of service before records
        a_day = clocks.value(HOURS, np.arange(len(before)), fleet.ends * DAY) / (
            fleet.ends - fleet.begins
        )
        km_a_day = clocks.value(KM, np.arange(len(before)), fleet.ends * DAY) / (
            fleet.ends - fleet.begins
        )
        self._clocks = clocks
        self._replaced_at = replaced_at
        self._offset = np.array(
            [fleet.hours_at_entry + before * a_day, fleet.km_at_entry + before * km_a_day]
        )

    def shown(self, clock: int, locomotive: Ints, second: Floats) -> Floats:
        """Return what the counter shows (tenths of an hour, whole km); a new one starts at 0."""
        total = self._clocks.value(clock, locomotive, second)
        replaced = self._replaced_at[clock][locomotive]
        after = second > replaced
        since = total - self._clocks.value(clock, locomotive, np.minimum(replaced, second))
        value = np.where(after, since, total + self._offset[clock][locomotive])
        return np.round(value, 1 if clock == HOURS else 0)
