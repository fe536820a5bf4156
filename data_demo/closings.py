"""What becomes of a defect: kind and severity, when it is found, how and when it is closed."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from data_demo.arrays import DAY, HOUR, NOT_ON_RECORD, Columns, Flags, Floats, Ints, by_minute, pick
from data_demo.parts import IN_SERVICE, RECTIFY, REMARK, WITHHOLD
from data_demo.words import CHECKED, RENEWED
from data_demo.world import World

DEFER_SHARE = 0.06
# median hours from found to closed, by outcome (renewed, restored, restored otherwise, checked)
_MEDIAN_HOURS = np.array([3.0, 0.9, 1.4, 0.4])
_LONGER = np.array([0.6, 1.0, 2.5, 3.0])  # by severity: the worse, the longer
_SPREAD = 0.7
_WAIT_DAYS, _WAIT_SPREAD = 9.0, 1.0  # median, and deviation of the log


@dataclass(frozen=True, slots=True)
class Closing:
    """One entry per defect; infinity: not found, or not closed before the end of records.

    `inspection` found it and `taken_up` saw to it after it had been deferred: places in the rounds,
    -1 where there is none.
    """

    defect: Ints
    outcome: Ints
    rank: Ints
    found_at: Floats
    inspection: Ints
    deferred: Flags
    taken_up: Ints
    closed_at: Floats
    hours: Floats

    def columns(self) -> Columns:
        """Return the arrays by name."""
        return {entry.name: getattr(self, entry.name) for entry in fields(self)}


def close(world: World, who: Ints, at: Floats, again: Ints, rng: np.random.Generator) -> Closing:
    """Decide what becomes of defects at positions `who` at instants `at`.

    `again` holds the defect that is back, -1 where it is drawn.
    """
    component = world.component[who]
    defect, outcome, rank = _kind(world, component, again, rng)
    found_at, inspection = _find(world, who, at, rank)
    hours = _MEDIAN_HOURS[outcome] * _LONGER[rank] * np.exp(_SPREAD * rng.normal(size=len(who)))
    deferred = (
        (rng.random(len(who)) < DEFER_SHARE)
        & (rank <= RECTIFY)
        & (outcome != CHECKED)
        & ~world.parts.safety[component]
    )
    taken_up, work_from = _take_up(world, who, found_at, deferred, rng)
    closed_at = by_minute(work_from + hours * HOUR)
    end = world.fleet.ends[world.locomotive[who]] * DAY
    closed_at = np.where(closed_at < end, closed_at, np.inf)
    return Closing(
        defect, outcome, rank, found_at, inspection, deferred, taken_up, closed_at, hours
    )


def _kind(
    world: World, component: Ints, again: Ints, rng: np.random.Generator
) -> tuple[Ints, Ints, Ints]:
    """Draw defect (place among all), outcome and severity rank."""
    defects = world.parts.defects
    defect = defects.first[component] + pick(defects.chance[component], rng)
    defect = np.where(again >= 0, again, defect)
    outcome = pick(defects.outcomes[defect], rng)
    rank = pick(world.parts.severity[component], rng)
    rank = np.where((outcome == RENEWED) & (rank == REMARK), RECTIFY, rank)
    # nothing to be done keeps no locomotive in, unless it showed on the road
    rank = np.where((outcome == CHECKED) & (rank == WITHHOLD), REMARK, rank)
    return defect, outcome, rank


def _seen(world: World, who: Ints, second: Floats) -> Ints:
    """Return the first inspection at or after an instant that sees the component (-1: none)."""
    view, locomotive = world.parts.view[world.component[who]], world.locomotive[who]
    place = np.full(len(who), -1)
    for number in range(len(world.parts.views)):
        mine = view == number
        place[mine] = world.rounds.next_seen(number, locomotive[mine], second[mine])
    return place


def _find(world: World, who: Ints, at: Floats, rank: Ints) -> tuple[Floats, Ints]:
    """Return when a defect is found, and the place of the inspection that finds it (-1: none)."""
    on_road = rank == IN_SERVICE
    inspection = np.where(on_road, -1, _seen(world, who, at))
    found_at = np.where(inspection >= 0, world.rounds.second[inspection], np.inf)
    end = world.fleet.ends[world.locomotive[who]] * DAY
    shown_at = by_minute(at)
    return np.where(on_road & (shown_at < end), shown_at, found_at), inspection


def _take_up(
    world: World, who: Ints, found_at: Floats, deferred: Flags, rng: np.random.Generator
) -> tuple[Ints, Floats]:
    """Return the inspection at which a deferred defect is taken up, and when work starts."""
    wait = _WAIT_DAYS * np.exp(_WAIT_SPREAD * rng.normal(size=len(who))) * DAY
    until = np.where(np.isfinite(found_at), found_at + np.maximum(wait, DAY), NOT_ON_RECORD)
    taken_up = np.where(deferred, _seen(world, who, until), -1)
    started = np.where(taken_up >= 0, world.rounds.second[taken_up], np.inf)
    return taken_up, np.where(deferred, started, found_at)
