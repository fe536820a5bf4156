"""The inspections that were made: when, of which kind, and which is the next to see a defect."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.catalogue.model import INSPECTION_KINDS
from data_demo.arrays import DAY, HOUR, MINUTE, SPAN, Flags, Floats, Ints
from data_demo.fleet import Fleet
from data_demo.scenario import DEPOTS

DAILY, WORKSHOP, EN_ROUTE = (INSPECTION_KINDS.index(k) for k in ("daily", "workshop", "en-route"))
EN_ROUTE_SHARE = 0.015


@dataclass(frozen=True, slots=True)
class Rounds:
    """One entry per inspection, in order of locomotive and second since records begin.

    `views[v]` are the places of the inspections whose kinds belong to view v.
    """

    locomotive: Ints
    second: Floats
    kind: Ints
    depot: Ints
    views: tuple[Ints, ...]
    view_keys: tuple[Floats, ...]

    def next_seen(self, view: int, locomotive: Ints, second: Floats) -> Ints:
        """Return the place of the first inspection at or after an instant; -1: none follows."""
        places, keys = self.views[view], self.view_keys[view]
        found = np.searchsorted(keys, locomotive * SPAN + second, side="left")
        within = found < len(places)
        place = places[np.minimum(found, len(places) - 1)]
        return np.where(within & (self.locomotive[place] == locomotive), place, -1)


def draw_rounds(
    fleet: Fleet, views: tuple[tuple[str, ...], ...], rng: np.random.Generator
) -> Rounds:
    """Draw all inspections; `views` are the sets of kinds to look up later.

    Every day of use has one, but for Sundays by the depot's habit, a day missed here and there,
    and a few stretches of two to three weeks whose sheets were lost.
    """
    made = _days_inspected(fleet, rng)
    locomotive, day = np.nonzero(made)
    depot = fleet.depot_on(locomotive, day)
    every = np.array([d.workshop_every_days for d in DEPOTS])[depot]
    phase = rng.integers(0, 400, len(fleet.names))
    workshop = (day + phase[locomotive]) % every == 0
    at = np.array([d.inspects_at for d in DEPOTS])[depot] * HOUR
    at = np.where(workshop, 9 * HOUR, at)
    scatter = np.where(workshop, 40.0, np.array([d.scatter_minutes for d in DEPOTS])[depot])
    at = (at + scatter * MINUTE * rng.normal(size=len(day))).clip(0.2 * HOUR, 23.7 * HOUR)
    on_road = rng.random(len(day)) < EN_ROUTE_SHARE
    road_at = np.where(at < 12 * HOUR, 16 * HOUR, 7 * HOUR)[on_road] + rng.uniform(
        0, 2.5 * HOUR, on_road.sum()
    )
    kind = np.where(workshop, WORKSHOP, DAILY)
    return _in_order(
        np.concatenate([locomotive, locomotive[on_road]]),
        np.concatenate([day * DAY + at, day[on_road] * DAY + road_at]),
        np.concatenate([kind, np.full(on_road.sum(), EN_ROUTE)]),
        np.concatenate([depot, depot[on_road]]),
        views,
    )


def _days_inspected(fleet: Fleet, rng: np.random.Generator) -> Flags:
    size, days = fleet.in_use.shape
    day = np.arange(days)
    depot = fleet.depot_on(np.arange(size)[:, None], day[None, :])
    sunday = (day + fleet.first_day.weekday()) % 7 == 6
    share = np.where(sunday, np.array([d.sunday_share for d in DEPOTS])[depot], 0.99)
    made = fleet.in_use & (rng.random((size, days)) < share)
    made[np.arange(size), fleet.begins] = True  # the first day is always on record
    lost_from = rng.integers(60, max(61, days - 60), size)
    lost_for = np.where(rng.random(size) < 0.025 * days / 365, rng.integers(16, 26, size), 0)
    since = day[None, :] - np.maximum(lost_from, fleet.begins + 30)[:, None]
    return np.asarray(made & ~((since >= 0) & (since < lost_for[:, None])))


def _in_order(
    locomotive: Ints, second: Floats, kind: Ints, depot: Ints, views: tuple[tuple[str, ...], ...]
) -> Rounds:
    second = np.round(second / MINUTE) * MINUTE
    key = locomotive * SPAN + second
    order = np.argsort(key, kind="stable")
    key, kind = key[order], kind[order]
    places = tuple(
        np.nonzero(np.isin(kind, [INSPECTION_KINDS.index(k) for k in kinds]))[0] for kinds in views
    )
    return Rounds(
        locomotive=locomotive[order],
        second=second[order],
        kind=kind,
        depot=depot[order],
        views=places,
        view_keys=tuple(key[p] for p in places),
    )
