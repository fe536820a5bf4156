"""The fuel fine filter loads up between washes: planned washes, limits found, pressures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from data_demo.arrays import DAY, HOUR, NOT_ON_RECORD, SPAN, Flags, Floats, Ints, by_minute
from data_demo.clocks import HOURS
from data_demo.scenario import DEPOTS, FILTER
from data_demo.world import World

_NOISE = 0.012


@dataclass(frozen=True, slots=True)
class Loadings:
    """One entry per running stretch of one filter, in order of locomotive and start.

    The pressure is `clean` + `rise` times the engine hours since `hours_at_start`. `found_at` and
    `done_at` end it: the limit was seen at an inspection (place `inspection`) and the filter washed
    at `done_at`, or it was washed by plan (`found_at` infinite); both infinite: still running.
    """

    locomotive: Ints
    start: Floats
    hours_at_start: Floats
    clean: Floats
    rise: Floats
    crossed_at: Floats
    found_at: Floats
    inspection: Ints
    done_at: Floats

    def pressure(
        self, world: World, locomotive: Ints, second: Floats, rng: np.random.Generator
    ) -> Floats:
        """Return what the gauge shows at instants, with the noise of reading it."""
        keys = self.locomotive * SPAN + self.start
        at = np.searchsorted(keys, locomotive * SPAN + second, side="right") - 1
        run = world.clocks.value(HOURS, locomotive, second) - self.hours_at_start[at]
        return self.clean[at] + self.rise[at] * run + _NOISE * rng.normal(size=len(at))


def draw_loadings(world: World, rng: np.random.Generator) -> Loadings:
    """Draw the running stretches of all filters, the n-th of every locomotive in one step."""
    fleet, size = world.fleet, len(world.fleet.names)
    who, start = np.arange(size), fleet.begins * DAY
    is_old = fleet.entered < fleet.begins
    ahead = np.where(is_old, rng.uniform(0, 500, size), 0.0)  # hours run since the last wash
    pieces = []
    while who.size:
        piece = _one_stretch(world, who, start, ahead, rng)
        pieces.append(piece)
        going_on = np.isfinite(piece.done_at)
        who, start = who[going_on], piece.done_at[going_on]
        ahead = np.zeros(len(who))
    columns = {
        name: np.concatenate([getattr(piece, name) for piece in pieces])
        for name in Loadings.__slots__
    }
    order = np.lexsort((columns["start"], columns["locomotive"]))
    return Loadings(**{name: values[order] for name, values in columns.items()})


def _one_stretch(
    world: World, who: Ints, start: Floats, ahead: Floats, rng: np.random.Generator
) -> Loadings:
    fleet, clocks = world.fleet, world.clocks
    hours_at_start = clocks.value(HOURS, who, start) - ahead
    clean = FILTER.clean + 0.02 * rng.normal(size=len(who))
    to_limit = FILTER.hours_to_limit * np.exp(FILTER.spread * rng.normal(size=len(who)))
    to_limit = np.maximum(to_limit, ahead + 50)
    crossed_at = clocks.instant(HOURS, who, hours_at_start + to_limit)
    view = world.parts.view[world.parts.index(FILTER.component)]
    seen = world.rounds.next_seen(view, who, np.minimum(crossed_at, NOT_ON_RECORD))
    found_at = _second(world, seen)
    depot = fleet.depot_on(who, (start // DAY).astype(np.int64))
    after = np.array([d.wash_after_hours for d in DEPOTS])[depot] * rng.uniform(0.9, 1.1, len(who))
    due = clocks.instant(HOURS, who, np.maximum(hours_at_start + after, hours_at_start + ahead))
    visit = world.rounds.next_seen(world.workshop_view, who, np.minimum(due, NOT_ON_RECORD))
    planned_at = by_minute(_second(world, visit) + rng.uniform(1 * HOUR, 4 * HOUR, len(who)))
    found_first = found_at < planned_at
    washed_at = by_minute(found_at + rng.uniform(0.5 * HOUR, 3 * HOUR, len(who)))
    done_at = np.where(found_first, washed_at, planned_at)
    done_at = np.where(done_at < fleet.ends[who] * DAY, done_at, np.inf)
    return Loadings(
        locomotive=who,
        start=start,
        hours_at_start=hours_at_start,
        clean=clean,
        rise=(FILTER.limit - clean) / to_limit,
        crossed_at=crossed_at,
        found_at=np.where(found_first, found_at, np.inf),
        inspection=np.where(found_first, seen, -1),
        done_at=done_at,
    )


def _second(world: World, place: Ints) -> Floats:
    return np.where(place >= 0, world.rounds.second[place], np.inf)


def filter_positions(world: World) -> tuple[Ints, Flags]:
    """Return the filter's position of each locomotive, and which locomotives have one."""
    place = np.full(len(world.fleet.names), -1)
    mine = world.component == world.parts.index(FILTER.component)
    mine &= world.number == 1
    place[world.locomotive[mine]] = np.nonzero(mine)[0]
    return place, place >= 0
