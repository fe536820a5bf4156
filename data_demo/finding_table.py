"""The findings as the depots wrote them down: one row, and a second one where it was deferred."""

from __future__ import annotations

import numpy as np
import pandas as pd

from data_demo.arrays import DAY, Columns, Flags, Floats, Ints
from data_demo.fitting import CONDITIONS
from data_demo.frames import dates, distinct, numbered, running_number, whole, words
from data_demo.happenings import Happenings
from data_demo.parts import RECTIFY, SEVERITIES, WITHHOLD
from data_demo.scenario import DEPOTS, FILTER
from data_demo.serials import serial_texts
from data_demo.words import RENEWED
from data_demo.world import World

HOURLY_COST = 46.0
_NOTES = (
    "found on the evening round",
    "part from the store of another depot",
    "same place as before",
    "to be watched",
    "driver reported it",
)
_NOTE_SHARE, _SERIAL_SHARE = 0.03, 0.95
_MEDIAN_LABOUR = np.array([3.2, 0.9, 1.3, 0.5])  # by outcome


def finding_rows(world: World, happenings: Happenings) -> Columns:
    """Return one row per row of the findings table, in order of finding.

    A deferred defect has a row that leaves it open and, where it was taken up, one more at that
    inspection. Adds `row_at`, `leaves_open` and `depot` to the columns of the defects.
    """
    first = dict(happenings.defects)
    deferred = first["deferred"].astype(bool)
    first["row_at"] = first["found_at"]
    first["leaves_open"] = deferred | ~np.isfinite(first["closed_at"])
    again = deferred & (first["taken_up"] >= 0)
    second = {name: values[again] for name, values in first.items()}
    second["row_at"] = world.rounds.second[second["taken_up"]]
    second["inspection"] = second["taken_up"]
    second["leaves_open"] = ~np.isfinite(second["closed_at"])
    rows = {name: np.concatenate([first[name], second[name]]) for name in first}
    order = np.lexsort((rows["position"], rows["row_at"]))
    rows = {name: values[order] for name, values in rows.items()}
    locomotive = world.locomotive[rows["position"]]
    rows["depot"] = world.fleet.depot_on(locomotive, (rows["row_at"] // DAY).astype(np.int64))
    return rows


def finding_table(world: World, rows: Columns, rng: np.random.Generator) -> pd.DataFrame:
    """Write the rows down with the habits of each depot."""
    position, depot = rows["position"], rows["depot"]
    locomotive, component = world.locomotive[position], world.component[position]
    defects = world.parts.defects
    is_open = rows["leaves_open"].astype(bool)
    blank_action = _chance("blank_action", depot, rng) & ~is_open
    by_choice = rng.choice(defects.deferring, len(position))
    left_with = np.where(rows["deferred"], by_choice, defects.waiting)
    action = np.where(is_open, left_with, rows["action"])
    fitted = rows["renewed"].astype(bool) & ~is_open & ~blank_action
    names = world.fleet.names
    table = pd.DataFrame(
        {
            "locomotive": words(names, locomotive),
            "found_at": dates(world.fleet.first_day, rows["row_at"]),
            "component": words(world.parts.names, component),
            "position": whole(world.number[position], _unstated(world, position, depot, rng)),
            "defect": words(*distinct((*defects.names, FILTER.defect), rows["defect"])),
            "severity": words(SEVERITIES, rows["rank"], _chance("blank_severity", depot, rng)),
            "action": words(defects.action_names, action, blank_action),
            "closed_at": dates(world.fleet.first_day, np.where(is_open, np.inf, rows["closed_at"])),
        }
    )
    table = table.assign(**_effort(world, rows, rng))
    numbers = running_number(locomotive)
    ids = numbered(table["locomotive"].astype(str) + "/", numbers, 4)
    has_id = np.array([d.numbers_findings for d in DEPOTS])[depot]
    table["finding_id"] = ids.where(pd.Series(has_id), None)
    topped_up = table["action"].astype(str) == "topped-up"
    table["quantity"] = np.where(topped_up, rng.integers(2, 80, len(table)).astype(float), np.nan)
    return _what_was_fitted(world, table, rows, fitted, rng).assign(**_who_and_what(depot, rng))


def _chance(habit: str, depot: Ints, rng: np.random.Generator) -> Flags:
    share = np.array([getattr(d, habit) for d in DEPOTS])[depot]
    return np.asarray(rng.random(len(depot)) < share)


def _unstated(world: World, position: Ints, depot: Ints, rng: np.random.Generator) -> Flags:
    """Tell where the position is left blank: forgotten, or by habit where there is only one."""
    single = world.count[position] == 1
    by_habit = ~np.array([d.states_single_position for d in DEPOTS])[depot] & single
    forgotten = _chance("blank_position", depot, rng)
    if world.scenario.blank_position is not None:
        forgotten = rng.random(len(depot)) < world.scenario.blank_position
    return np.asarray(by_habit | (forgotten & ~single))


def _effort(world: World, rows: Columns, rng: np.random.Generator) -> dict[str, Floats]:
    """Return down hours, labour hours and cost (no currency; labour at a flat hourly cost)."""
    is_open, rank = rows["leaves_open"].astype(bool), rows["rank"]
    spread = np.exp(0.5 * rng.normal(size=len(rank)))
    labour = np.where(is_open, 0.2, _MEDIAN_LABOUR[rows["outcome"]] * spread).clip(0.1).round(1)
    renewed = (rows["outcome"] == RENEWED) & ~is_open
    price = world.parts.price[world.component[rows["position"]]]
    parts = np.where(renewed, price * np.exp(0.15 * rng.normal(size=len(rank))), 0.0)
    stands = ~is_open & ((rank >= WITHHOLD) | (renewed & (rank >= RECTIFY)))
    return {
        "down_hours": np.where(stands, rows["hours"], 0.0).round(1),
        "labour_hours": labour,
        "cost": (labour * HOURLY_COST + parts).round(2),
    }


def _what_was_fitted(
    world: World,
    table: pd.DataFrame,
    rows: Columns,
    fitted: Flags,
    rng: np.random.Generator,
) -> pd.DataFrame:
    tracked = world.parts.serials[world.component[rows["position"]]]
    written = fitted & tracked & (rng.random(len(fitted)) < _SERIAL_SHARE)
    return table.assign(
        serial_out=serial_texts(world, rows, "out", written),
        serial_in=serial_texts(world, rows, "in", written),
        age_in=known_age(rows, fitted),
        condition_in=words(CONDITIONS, rows["condition"], ~fitted),
    )


def known_age(rows: Columns, fitted: Flags) -> Floats:
    """Return the age of used parts where it is known; empty for all others."""
    is_used = fitted & (rows["condition"] == CONDITIONS.index("used"))
    return np.where(is_used, rows["age_in"].round(0), np.nan)


def _who_and_what(depot: Ints, rng: np.random.Generator) -> dict[str, pd.Categorical[str]]:
    teams = sorted({team for d in DEPOTS for team in d.teams})
    table = np.full((len(DEPOTS), max(len(d.teams) for d in DEPOTS)), 0)
    for row, d in enumerate(DEPOTS):
        table[row, : len(d.teams)] = [teams.index(team) for team in d.teams]
    many = np.array([len(d.teams) for d in DEPOTS])[depot]
    team = table[depot, (rng.random(len(depot)) * many).astype(np.int64)]
    note = rng.integers(0, len(_NOTES), len(depot))
    return {
        "team": words(teams, team),
        "note": words(_NOTES, note, rng.random(len(depot)) >= _NOTE_SHARE),
    }
