"""The other tables of one block: register, usage, inspections, work, standing, modifications."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.catalogue.model import INSPECTION_KINDS
from data_demo.arrays import DAY, Columns, Ints
from data_demo.clocks import HOURS, KM, Counters
from data_demo.finding_table import HOURLY_COST, known_age
from data_demo.fitting import CONDITIONS
from data_demo.fleet import NEVER, REASONS, Fleet
from data_demo.frames import dates, day_dates, numbered, running_number, words
from data_demo.parts import REMARK, WITHHOLD
from data_demo.scenario import CLASSES, DEPOTS, MODIFICATION
from data_demo.serials import serial_texts
from data_demo.world import World

OUTCOMES = ("released", "released-with-remark", "withheld")
DEPOT_NAMES = tuple(depot.name for depot in DEPOTS)
_REPLACED_COUNTERS = (0.10, 0.06)  # share of locomotives: hours, km


def draw_counters(world: World, rng: np.random.Generator) -> Counters:
    """Draw which counters were replaced, each right after an inspection had read it."""
    size = len(world.fleet.names)
    last = np.searchsorted(world.rounds.locomotive, np.arange(size), side="right")
    first = np.searchsorted(world.rounds.locomotive, np.arange(size), side="left")
    chosen = first + (rng.uniform(0.1, 0.9, (2, size)) * (last - first)).astype(np.int64)
    replaced = rng.random((2, size)) < np.array(_REPLACED_COUNTERS)[:, None]
    return Counters(
        world.fleet, world.clocks, np.where(replaced, world.rounds.second[chosen], np.inf)
    )


def locomotive_table(fleet: Fleet) -> pd.DataFrame:
    """Return the register."""
    begins = day_dates(fleet.first_day, fleet.begins)
    each = np.arange(len(fleet.names))
    return pd.DataFrame(
        {
            "locomotive": words(fleet.names, each),
            "class": words(CLASSES, fleet.class_index),
            "depot": words(DEPOT_NAMES, fleet.depot_on(each, fleet.ends - 1)),
            "in_service_from": day_dates(fleet.first_day, fleet.entered),
            "in_service_to": day_dates(
                fleet.first_day, np.where(fleet.leaves, fleet.ends.astype(float), np.inf)
            ),
            "records_from": begins,
            "engine_hours_at_start": fleet.hours_at_entry,
            "km_at_start": fleet.km_at_entry,
        }
    )


def usage_table(world: World, counters: Counters) -> tuple[pd.DataFrame, Ints]:
    """Return a counter reading of every locomotive on every Monday, and the depot of each row."""
    fleet = world.fleet
    day = np.arange(fleet.days)
    is_monday = (day + fleet.first_day.weekday()) % 7 == 0
    on_record = (day >= fleet.begins[:, None]) & (day < fleet.ends[:, None]) & is_monday
    locomotive, day = np.nonzero(on_record)
    second = day * DAY
    table = pd.DataFrame(
        {
            "locomotive": words(fleet.names, locomotive),
            "read_at": dates(fleet.first_day, second),
            "engine_hours": counters.shown(HOURS, locomotive, second),
            "km": counters.shown(KM, locomotive, second),
        }
    )
    return table, fleet.depot_on(locomotive, day)


def inspection_table(
    world: World, rows: Columns, counters: Counters, rng: np.random.Generator
) -> pd.DataFrame:
    """Return all inspections, clear or not, with what came out of each."""
    rounds = world.rounds
    size = len(rounds.second)
    outcome = np.zeros(size, dtype=np.int64)
    weight = np.where(rows["leaves_open"] | (rows["rank"] == REMARK), 1, 0)
    weight = np.where(rows["rank"] >= WITHHOLD, 2, weight)
    at_inspection = rows["inspection"] >= 0
    np.maximum.at(outcome, rows["inspection"][at_inspection], weight[at_inspection])
    read = rng.random(size) < np.array([d.counters_on_sheet for d in DEPOTS])[rounds.depot]
    hours = counters.shown(HOURS, rounds.locomotive, rounds.second)
    km = counters.shown(KM, rounds.locomotive, rounds.second)
    signed = (rng.random(size) < 0.004).astype(np.int64)
    return pd.DataFrame(
        {
            "locomotive": words(world.fleet.names, rounds.locomotive),
            "inspected_at": dates(world.fleet.first_day, rounds.second),
            "kind": words(INSPECTION_KINDS, rounds.kind),
            "depot": words(DEPOT_NAMES, rounds.depot),
            "engine_hours": np.where(read, hours, np.nan),
            "km": np.where(read, km, np.nan),
            "outcome": words(OUTCOMES, outcome),
            "signed": words(("yes", "no"), signed, rng.random(size) < 0.006),
        }
    )


def work_table(world: World, work: Columns, rng: np.random.Generator) -> tuple[pd.DataFrame, Ints]:
    """Return the work done by plan, in order of time, and the depot of each row."""
    order = np.lexsort((work["position"], work["at"]))
    work = {name: values[order] for name, values in work.items()}
    position, fleet = work["position"], world.fleet
    locomotive, component = world.locomotive[position], world.component[position]
    renews = work["unit_in"] > 0  # washing a filter puts nothing in
    labour = (2.2 * np.exp(0.4 * rng.normal(size=len(position)))).clip(0.2).round(1)
    written = renews & world.parts.serials[component]
    price = np.where(renews, world.parts.price[component], 0.0)
    ids = numbered(
        "W" + pd.Series(np.array(fleet.names)[locomotive]) + "/", running_number(locomotive), 4
    )
    table = pd.DataFrame(
        {
            "locomotive": words(fleet.names, locomotive),
            "done_at": dates(fleet.first_day, work["at"]),
            "component": words(world.parts.names, component),
            "position": world.number[position],
            "action": words(world.parts.defects.action_names, work["action"]),
            "labour_hours": labour,
            "cost": (labour * HOURLY_COST + price).round(2),
            "work_id": ids,
            "serial_out": serial_texts(world, work, "out", written),
            "serial_in": serial_texts(world, work, "in", written),
            "age_in": known_age(work, renews),
            "condition_in": words(CONDITIONS, work["condition"], ~renews),
            "note": pd.Series(np.full(len(position), None, dtype=object)),
        }
    )
    return table, fleet.depot_on(locomotive, (work["at"] // DAY).astype(np.int64))


def out_of_use_table(fleet: Fleet) -> tuple[pd.DataFrame, Ints]:
    """Return the stretches out of use, and the depot of each row."""
    standing = fleet.standing
    to = np.where(standing.open_end, np.inf, standing.to_day.astype(float))
    table = pd.DataFrame(
        {
            "locomotive": words(fleet.names, standing.locomotive),
            "from": day_dates(fleet.first_day, standing.from_day),
            "to": day_dates(fleet.first_day, to),
            "reason": words(REASONS, standing.reason),
        }
    )
    return table, fleet.depot_on(standing.locomotive, standing.from_day)


def modification_table(fleet: Fleet) -> tuple[pd.DataFrame, Ints]:
    """Return the locomotives that were modified on record, and the depot of each row."""
    on_record = (fleet.modified < NEVER) & (fleet.modified < fleet.ends)
    locomotive = np.nonzero(on_record & (fleet.modified >= fleet.begins))[0]
    day = fleet.modified[locomotive]
    table = pd.DataFrame(
        {
            "locomotive": words(fleet.names, locomotive),
            "done_at": day_dates(fleet.first_day, day),
            "name": words((MODIFICATION.name,), np.zeros(len(locomotive), dtype=np.int64)),
        }
    )
    return table, fleet.depot_on(locomotive, day)
