"""The measured values that crews write down: at every inspection, each week, each month."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.catalogue.model import RUNNING_STATES, Catalogue
from data_demo.arrays import DAY, SPAN, Columns, Floats, Ints
from data_demo.clocks import KM
from data_demo.frames import dates, distinct, words
from data_demo.happenings import Happenings
from data_demo.rounds import EN_ROUTE
from data_demo.scenario import FILTER
from data_demo.world import World

DAILY, WEEKLY, MONTHLY = 1, 7, 30
_BRUSH, _BRUSH_LENGTH = "traction-motor-brush", "traction-motor-brush-length"


@dataclass(frozen=True, slots=True)
class Steady:
    """A value that stays about its mean: spread between locomotives, noise, rise in summer."""

    parameter: str
    state: str
    every: int
    mean: float
    between: float
    noise: float
    summer: float = 0.0
    digits: int = 2


_STEADY = (
    Steady("lubricating-oil-pressure", "idle", WEEKLY, 2.1, 0.12, 0.06),
    Steady("lubricating-oil-pressure", "rated", WEEKLY, 4.6, 0.2, 0.09),
    Steady("crankcase-depression", "idle", WEEKLY, 20, 2.0, 1.6, digits=1),
    Steady("cooling-water-temperature", "rated", WEEKLY, 77, 1.5, 1.8, summer=4, digits=1),
    Steady("battery-current", "idle", WEEKLY, 7, 1.5, 2.0, summer=-2, digits=1),
    Steady("main-reservoir-pressure", "idle", MONTHLY, 8.9, 0.1, 0.12),
    Steady("main-circuit-insulation", "stopped", MONTHLY, 6.5, 1.0, 0.7, summer=1),
)


@dataclass(frozen=True, slots=True)
class Measured:
    """One parameter in one running state, at inspections `place` (places in the rounds)."""

    parameter: str
    state: str
    place: Ints
    value: Floats


def reading_table(
    world: World, catalogue: Catalogue, happenings: Happenings, rng: np.random.Generator
) -> tuple[pd.DataFrame, Ints]:
    """Return all readings, in order of parameter, locomotive and time, and the depot of each."""
    measured = [_steady(world, steady, rng) for steady in _STEADY]
    measured += _filter_pressure(world, happenings, rng)
    measured += _shortest_brush(world, happenings.lives, rng)
    known = [m for m in measured if m.parameter in catalogue.parameters]
    parameters, states = list(catalogue.parameters), list(RUNNING_STATES)
    units = [entry.unit for entry in catalogue.parameters.values()]
    parameter = _together([np.full(len(m.place), parameters.index(m.parameter)) for m in known])
    state = _together([np.full(len(m.place), states.index(m.state)) for m in known])
    place = _together([m.place for m in known])
    table = pd.DataFrame(
        {
            "locomotive": words(world.fleet.names, world.rounds.locomotive[place]),
            "read_at": dates(world.fleet.first_day, world.rounds.second[place]),
            "parameter": words(parameters, parameter),
            "value": np.concatenate([np.zeros(0), *(m.value for m in known)]),
            "unit": words(*distinct(units, parameter)),
            "running_state": words(states, state),
        }
    )
    return table, world.rounds.depot[place]


def _together(pieces: list[Ints]) -> Ints:
    """Join pieces, also none at all: a catalogue may have none of these parameters."""
    return np.concatenate([np.zeros(0, dtype=np.int64), *pieces])


def _places(world: World, every: int, rng: np.random.Generator) -> Ints:
    """Return the inspections at which a value is read: every so many days, some forgotten."""
    rounds = world.rounds
    phase = rng.integers(0, every, len(world.fleet.names))[rounds.locomotive]
    day = (rounds.second // DAY).astype(np.int64)
    due = ((day + phase) % every == 0) & (rounds.kind != EN_ROUTE)
    return np.nonzero(due & (rng.random(len(day)) < 0.97))[0]


def _steady(world: World, steady: Steady, rng: np.random.Generator) -> Measured:
    place = _places(world, steady.every, rng)
    day = (world.rounds.second[place] // DAY).astype(np.int64)
    own = steady.between * rng.normal(size=len(world.fleet.names))
    value = steady.mean + own[world.rounds.locomotive[place]] - steady.summer * world.winter[day]
    value = value + steady.noise * rng.normal(size=len(place))
    return Measured(steady.parameter, steady.state, place, value.round(steady.digits))


def _filter_pressure(
    world: World, happenings: Happenings, rng: np.random.Generator
) -> list[Measured]:
    if happenings.loadings is None:
        return []
    place, rounds = _places(world, DAILY, rng), world.rounds
    value = happenings.loadings.pressure(world, rounds.locomotive[place], rounds.second[place], rng)
    return [Measured(FILTER.parameter, FILTER.state, place, value.round(2))]


def _shortest_brush(world: World, lives: Columns, rng: np.random.Generator) -> list[Measured]:
    """Return the length of the shortest brush: 60 mm new, 22 mm at the scale of its life."""
    mine = world.component[lives["position"]] == world.parts.index(_BRUSH)
    if not mine.any():
        return []
    order = np.argsort(lives["position"][mine] * SPAN + lives["fitted"][mine])
    position, fitted, age_in = (
        lives[name][mine][order] for name in ("position", "fitted", "age_in")
    )
    place = _places(world, MONTHLY, rng)
    locomotive, second = world.rounds.locomotive[place], world.rounds.second[place]
    first = np.searchsorted(world.locomotive[position], np.arange(len(world.fleet.names)))
    first_position = position[first]
    count = world.count[first_position]
    shortest = np.full(len(place), np.inf)
    for number in range(int(count.max())):  # over the brushes of one locomotive
        at = first_position[locomotive] + np.minimum(number, count[locomotive] - 1)
        life = np.searchsorted(position * SPAN + fitted, at * SPAN + second, side="right") - 1
        run = world.clocks.value(KM, locomotive, second) + age_in[life]
        run = run - world.clocks.value(KM, locomotive, fitted[life])
        shortest = np.minimum(shortest, 60 - 38 * run / world.scale[at])
    value = np.maximum(shortest + 0.4 * rng.normal(size=len(place)), 15).round(1)
    return [Measured(_BRUSH_LENGTH, "stopped", place, value)]
