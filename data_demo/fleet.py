"""The locomotives of one block: class, depot, service dates, standing stretches, rates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from data_demo.arrays import Flags, Floats, Ints
from data_demo.scenario import (
    AFTER_LAST_DAY,
    BAD_FACTOR,
    CLASSES,
    DEPOTS,
    FLEET_SPREAD,
    MODIFICATION,
    WEAK_BATCH,
    Scenario,
)

HOMES = (0, 1, 2, 0, 1, 0, 2, 0, 1)  # depots of consecutive locomotives
REASONS = ("stored", "on-loan", "heavy-repair", "collision")
NEVER = 10**6  # a day that does not come


@dataclass(frozen=True, slots=True)
class Standing:
    """Stretches out of use, one entry each; days since the first day, `to` exclusive."""

    locomotive: Ints
    from_day: Ints
    to_day: Ints
    open_end: Flags
    reason: Ints


@dataclass(frozen=True, slots=True)
class Fleet:
    """One entry per locomotive of the block; days count from the first day on record.

    `entered` is the day of entry into service (negative: before records), `begins` and `ends` the
    days on record; `moved` the day of a move from depot `home` to depot `later`; `modified` the day
    of the modification; `hours_at_entry` and `km_at_entry` the counters at entry into service.
    """

    names: tuple[str, ...]
    class_index: Ints
    first_day: date
    days: int
    entered: Ints
    begins: Ints
    ends: Ints
    leaves: Flags
    home: Ints
    later: Ints
    moved: Ints
    modified: Ints
    rate: Floats
    hours_at_entry: Floats
    km_at_entry: Floats
    standing: Standing
    in_use: Flags  # (locomotives, days)

    def depot_on(self, locomotive: Ints, day: Ints) -> Ints:
        """Return the depot to which a locomotive belongs on a day."""
        return np.where(
            day >= self.moved[locomotive], self.later[locomotive], self.home[locomotive]
        )

    def weak_days(self) -> tuple[float, float]:
        """Return the first and the last day on which parts of the weak batch are fitted."""
        start, stop = WEAK_BATCH.fitted_between
        return start * self.days, stop * self.days


def draw_fleet(scenario: Scenario, numbers: range, rng: np.random.Generator) -> Fleet:
    """Draw the locomotives with the given places in the fleet (0-based)."""
    named = [scenario.names()[number] for number in numbers]
    place, size, days = np.array(numbers), len(numbers), scenario.days
    class_index = np.array([CLASSES.index(class_name) for _, class_name in named])
    home = np.array(HOMES)[place % len(HOMES)]
    new = place % 4 == 3
    leaves = place % 24 == 10
    begins = np.where(new, rng.integers(0, max(1, int(0.3 * days)), size), 0)
    entered = np.where(new, begins, -rng.integers(6 * 365, 12 * 365, size))
    ends = np.where(leaves, (days * rng.uniform(0.6, 0.9, size)).astype(np.int64), days)
    standing = _draw_standing(scenario, begins, ends, rng)
    bad = np.isin([name for name, _ in named], scenario.bad_locomotives())
    spread = rng.gamma(FLEET_SPREAD**-2, FLEET_SPREAD**2, size)
    at_entry = rng.uniform(0, 1, (2, size))
    moves, modifies = rng.random(size) < 0.15, rng.random(size) < MODIFICATION.share
    return Fleet(
        names=tuple(name for name, _ in named),
        class_index=class_index,
        first_day=scenario.first_day,
        days=days,
        entered=entered,
        begins=begins,
        ends=ends,
        leaves=leaves,
        home=home,
        later=(home + rng.integers(1, len(DEPOTS), size)) % len(DEPOTS),
        moved=np.where(moves, (days * rng.uniform(0.3, 0.8, size)).astype(np.int64), NEVER),
        modified=np.where(modifies, (days * rng.uniform(0.3, 0.7, size)).astype(np.int64), NEVER),
        rate=np.where(bad, BAD_FACTOR, spread),
        hours_at_entry=np.round(5 + 40 * at_entry[0], 1),
        km_at_entry=np.round(1500 * at_entry[1]),
        standing=standing,
        in_use=_in_use(standing, begins, ends, days),
    )


def _draw_standing(
    scenario: Scenario, begins: Ints, ends: Ints, rng: np.random.Generator
) -> Standing:
    """Draw at most one stretch a year for each locomotive, and a few that are not over yet."""
    shape = (len(begins), scenario.days // 365)
    happens = rng.random(shape) < 0.3
    start = 365 * np.arange(shape[1]) + rng.integers(20, 250, shape)
    stop = start + rng.integers(8, 75, shape)
    still = rng.random(shape[0]) < 0.03
    happens[:, -1] |= still
    start[still, -1] = scenario.days - 26
    stop[still, -1] = scenario.days
    reason = rng.choice(len(REASONS), shape, p=(0.45, 0.15, 0.35, 0.05))
    locomotive, year = np.nonzero(
        happens
        & (start > begins[:, None] + 5)
        & (stop <= np.where(ends < scenario.days, ends - 5, ends)[:, None])
    )
    picked = (locomotive, year)
    return Standing(
        locomotive=locomotive,
        from_day=start[picked],
        to_day=stop[picked],
        open_end=stop[picked] >= scenario.days,
        reason=reason[picked],
    )


def _in_use(standing: Standing, begins: Ints, ends: Ints, days: int) -> Flags:
    day = np.arange(days)
    in_use = (day >= begins[:, None]) & (day < ends[:, None])
    change = np.zeros((len(begins), days + 1), dtype=np.int64)
    np.add.at(change, (standing.locomotive, standing.from_day), 1)
    np.add.at(change, (standing.locomotive, standing.to_day), -1)
    return np.asarray(in_use & (np.cumsum(change, axis=1)[:, :days] == 0))


def day_of_year(first_day: date, days: int) -> Ints:
    """Return the day of the year (0-based) of each day on record."""
    start = np.datetime64(first_day)
    dates = np.arange(start, np.datetime64(AFTER_LAST_DAY))[:days]
    return np.asarray((dates - dates.astype("datetime64[Y]")).astype(np.int64))
