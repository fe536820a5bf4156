"""The part that sits in each position: its age, what is known of it, what is fitted after it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from data_demo.arrays import DAY, Columns, Flags, Floats, Ints
from data_demo.lifetimes import settled_age
from data_demo.scenario import WEAK_BATCH
from data_demo.world import World

CONDITIONS = ("new", "overhauled", "used", "unknown")
NEW, OVERHAULED, USED, UNKNOWN = range(len(CONDITIONS))
_USED_SHARE, _UNKNOWN_SHARE = 0.05, 0.03


@dataclass(slots=True)
class State:
    """Where each position stands: instant, its part and that part's age, a defect to come back."""

    now: Floats
    age: Floats
    age_in: Floats
    fitted: Floats
    unit: Ints
    weak: Flags
    back_at: Floats
    defect: Ints
    next_unit: int


@dataclass(slots=True)
class Log:
    """What happened, as columns in pieces, one piece per pass."""

    defects: list[Columns] = field(default_factory=list)
    planned: list[Columns] = field(default_factory=list)
    lives: list[Columns] = field(default_factory=list)

    def end_lives(
        self, state: State, who: Ints, *, failed: bool = False, by_plan: bool = False
    ) -> None:
        """Write down the true lives that end at positions `who`, as they stand now."""
        self.lives.append(
            {
                "position": who,
                "age_in": state.age_in[who],
                "age_out": state.age[who],
                "failed": np.full(len(who), failed),
                "by_plan": np.full(len(who), by_plan),
                "fitted": state.fitted[who],
                "ended": state.now[who],
                "unit": state.unit[who],
                "weak": state.weak[who],
            }
        )


def joined(pieces: list[Columns]) -> Columns:
    """Return the columns of all pieces, one array each."""
    return {name: np.concatenate([piece[name] for piece in pieces]) for name in pieces[0]}


def start(world: World, rng: np.random.Generator) -> State:
    """Begin at age 0 on new locomotives; on the others at the age a part has long after entry."""
    fleet, locomotive = world.fleet, world.locomotive
    size = len(locomotive)
    age = settled_age(world.scenario.law, world.parts.shape[world.component], world.scale, rng)
    planned = world.renewed_at * rng.uniform(0.2, 1, size)
    is_old = fleet.entered[locomotive] < fleet.begins[locomotive]
    age = np.where(is_old, np.where(age > world.renewed_at, planned, age), 0.0)
    return State(
        now=fleet.begins[locomotive] * DAY,
        age=age,
        age_in=age.copy(),
        fitted=fleet.begins[locomotive] * DAY,
        unit=np.arange(size),
        weak=np.zeros(size, dtype=bool),
        back_at=np.full(size, np.inf),
        defect=np.zeros(size, dtype=np.int64),
        next_unit=size,
    )


def fit(world: World, state: State, who: Ints, at: Floats, rng: np.random.Generator) -> Columns:
    """Fit another part at positions `who`: return what was taken out and what was put in."""
    size = len(who)
    condition = _condition(world, who, rng)
    most = np.minimum(world.scale[who], world.renewed_at[who])
    age_in = np.where(condition >= USED, most * rng.uniform(0.05, 0.4, size), 0.0)
    first, last = world.fleet.weak_days()
    weak = (
        (world.component[who] == world.parts.index(WEAK_BATCH.component))
        & (at > first * DAY)
        & (at < last * DAY)
        & (condition == NEW)
        & (rng.random(size) < WEAK_BATCH.share)
    )
    taken_out, was_weak = state.unit[who], state.weak[who]
    state.unit[who] = state.next_unit + np.arange(size)
    state.next_unit += size
    state.weak[who], state.age[who], state.age_in[who] = weak, age_in, age_in
    state.fitted[who], state.now[who], state.back_at[who] = at, at, np.inf
    return {
        "position": who,
        "at": at,
        "unit_out": taken_out,
        "weak_out": was_weak,
        "unit_in": state.unit[who],
        "weak_in": weak,
        "condition": condition,
        "age_in": age_in,
    }


def _condition(world: World, who: Ints, rng: np.random.Generator) -> Ints:
    """Draw the condition of what is fitted: new, whole units overhauled, a few used or unknown."""
    component = world.component[who]
    chance = rng.random(len(who))
    chance = np.where(world.parts.serials[component], chance, 1.0)  # no one refits worn brushes
    fresh = np.where(world.parts.unit[component], OVERHAULED, NEW)
    found = np.where(chance < _USED_SHARE + _UNKNOWN_SHARE, UNKNOWN, fresh)
    return np.where(chance < _USED_SHARE, USED, found)
