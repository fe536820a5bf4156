"""Draw defects and renewals of all positions at once: the n-th of every position in one step.

There is no loop over days, locomotives or rows: one pass of the loop draws the next thing that
happens at every position that is still running, and the passes end when none is.
"""

from __future__ import annotations

import numpy as np

from data_demo.arrays import DAY, HOUR, NOT_ON_RECORD, Columns, Flags, Floats, Ints, by_minute
from data_demo.closings import Closing, close
from data_demo.fitting import Log, State, fit, start
from data_demo.lifetimes import age_at_hazard, cumulative_hazard
from data_demo.scenario import WEAK_BATCH
from data_demo.words import RENEWED
from data_demo.world import World


def draw_renewals(world: World, rng: np.random.Generator) -> Log:
    """Draw everything that happens at every position from the start to the end of records."""
    state, log = start(world, rng), Log()
    who = np.arange(len(world.locomotive))
    while who.size:
        who = _advance(world, state, log, who, rng)
    return log


def _advance(world: World, state: State, log: Log, who: Ints, rng: np.random.Generator) -> Ints:
    """Take the positions to the next thing that happens; return those still running."""
    planned_at = _next_planned(world, state, who, rng)
    back_at = state.back_at[who]
    at = np.minimum(np.minimum(_next_defect(world, state, who, rng), planned_at), back_at)
    end = world.fleet.ends[world.locomotive[who]] * DAY
    over = at >= end
    at = np.minimum(at, end - 1)
    _move(world, state, who, np.where(over, end, at))
    log.end_lives(state, who[over])
    planned = ~over & (planned_at <= at)
    log.end_lives(state, who[planned], by_plan=True)
    log.planned.append(fit(world, state, who[planned], at[planned], rng))
    is_back = ~over & ~planned & (back_at <= at)
    state.back_at[who[is_back]] = np.inf
    chance = world.accepts(who, at)
    chance = np.where(is_back & (chance > 0), 1.0, chance)
    happens = ~over & ~planned & (rng.random(len(who)) < chance)
    over[happens] = _let_happen(world, state, log, who[happens], is_back=is_back[happens], rng=rng)
    return who[~over]


def _next_defect(world: World, state: State, who: Ints, rng: np.random.Generator) -> Floats:
    """Return when the next defect comes at the highest intensity of the year."""
    parts, component = world.parts, world.component[who]
    law, shape, scale = world.scenario.law, parts.shape[component], world.scale[who]
    rate = world.fleet.rate[world.locomotive[who]] * (1 + np.abs(parts.season[component]))
    rate = rate * np.where(state.weak[who], WEAK_BATCH.factor, 1.0) * world.scenario.shock
    renew = parts.renew[component]
    step = np.where(renew > 0, renew, 1.0) * rng.exponential(size=len(who)) / rate  # see laws.py
    age = state.age[who]
    hazard = cumulative_hazard(law, age, shape, scale) + step
    reached = age_at_hazard(law, hazard, shape, scale)
    return _instant_at_age(world, state, who, np.maximum(reached, age))


def _instant_at_age(world: World, state: State, who: Ints, age: Floats) -> Floats:
    clock, locomotive = world.parts.clock[world.component[who]], world.locomotive[who]
    now = world.clocks.value(clock, locomotive, state.now[who])
    at = world.clocks.instant(clock, locomotive, now + age - state.age[who])
    return np.asarray(np.maximum(at, state.now[who]))


def _next_planned(world: World, state: State, who: Ints, rng: np.random.Generator) -> Floats:
    """Return when parts are renewed by plan: at the workshop visit after their age is reached."""
    at = np.full(len(who), np.inf)
    some = np.isfinite(world.renewed_at[who])
    which = who[some]
    age = np.maximum(world.renewed_at[which], state.age[which])
    due = np.minimum(_instant_at_age(world, state, which, age), NOT_ON_RECORD)
    visit = world.rounds.next_seen(world.workshop_view, world.locomotive[which], due)
    delay = rng.uniform(1 * HOUR, 5 * HOUR, len(which))
    at[some] = np.where(visit >= 0, by_minute(world.rounds.second[visit] + delay), np.inf)
    return at


def _move(world: World, state: State, who: Ints, at: Floats) -> None:
    """Let time and age run on to instants."""
    clock, locomotive = world.parts.clock[world.component[who]], world.locomotive[who]
    before = world.clocks.value(clock, locomotive, state.now[who])
    state.age[who] += world.clocks.value(clock, locomotive, at) - before
    state.now[who] = at


def _let_happen(
    world: World, state: State, log: Log, who: Ints, *, is_back: Flags, rng: np.random.Generator
) -> Flags:
    """Let defects happen, be found and closed; return which positions have no more to come."""
    happened = state.now[who]
    again = np.where(is_back, state.defect[who], -1)
    closing = close(world, who, happened, again, rng)
    state.defect[who] = closing.defect
    renewed, gone = closing.outcome == RENEWED, ~np.isfinite(closing.closed_at)
    log.end_lives(state, who[renewed], failed=True)
    log.end_lives(state, who[gone & ~renewed])
    state.now[who] = np.where(gone, happened, closing.closed_at)
    state.back_at[who] = _back_at(world, closing, rng)
    fitted = _fit_renewed(world, state, who, closing, rng)
    found = np.isfinite(closing.found_at)
    row: Columns = {"happened": happened, "is_back": is_back, **closing.columns(), **fitted}
    log.defects.append({name: values[found] for name, values in row.items()})
    return gone


def _back_at(world: World, closing: Closing, rng: np.random.Generator) -> Floats:
    """Return when a defect is back because nothing was done or the cleaning does not hold."""
    defects, which = world.parts.defects, (closing.defect, closing.outcome)
    days = 0.2 + rng.exponential(size=len(closing.defect)) * defects.back_days[which]
    comes = rng.random(len(days)) < defects.back_chance[which]
    return np.where(comes, closing.closed_at + days * DAY, np.inf)


def _fit_renewed(
    world: World, state: State, who: Ints, closing: Closing, rng: np.random.Generator
) -> Columns:
    """Fit new parts where the defect was closed by a renewal; the other rows are left 0."""
    renewed = (closing.outcome == RENEWED) & np.isfinite(closing.closed_at)
    fitted = fit(world, state, who[renewed], closing.closed_at[renewed], rng)
    columns: Columns = {}
    for name, values in fitted.items():
        columns[name] = np.zeros(len(who), dtype=values.dtype)
        columns[name][renewed] = values
    return {**columns, "position": who, "renewed": renewed}
