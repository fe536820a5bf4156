"""Draw the invented railway: the eight tables of INPUTS, and the truth behind them.

Locomotives are drawn in blocks, so that a fleet of any size takes the memory of one block. The same
seed gives the same rows, bit for bit, with the same versions of numpy and scipy.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.catalogue.model import Catalogue
from data_demo.arrays import Ints
from data_demo.finding_table import finding_rows, finding_table
from data_demo.frames import dates, words
from data_demo.happenings import Happenings, draw_happenings
from data_demo.parts import parts_of
from data_demo.reading_table import reading_table
from data_demo.scenario import CLASSES, Scenario
from data_demo.tables import (
    draw_counters,
    inspection_table,
    locomotive_table,
    modification_table,
    out_of_use_table,
    usage_table,
    work_table,
)
from data_demo.truth import Truth, truth_of
from data_demo.world import BLOCK, World, draw_world

TABLES = (
    "locomotives",
    "usage",
    "inspections",
    "findings",
    "work",
    "out_of_use",
    "modifications",
    "readings",
)


@dataclass(frozen=True, slots=True)
class Block:
    """Some locomotives: tables by name, the depot of each row (place in DEPOTS), the true lives.

    `lives` has one row per life of one position: locomotive, class, component, position, age_in and
    age_out (the component's clock), failed, by_plan, fitted, ended, weak, rate (how many times the
    usual intensity of defects the locomotive has).
    """

    tables: dict[str, pd.DataFrame]
    depots: dict[str, Ints]
    lives: pd.DataFrame


@dataclass(frozen=True, slots=True)
class Railway:
    """The whole invented railway in memory."""

    tables: dict[str, pd.DataFrame]
    lives: pd.DataFrame
    truth: Truth


def simulate(scenario: Scenario, catalogue: Catalogue) -> Railway:
    """Draw the whole railway at once; for large fleets take `simulate_blocks`."""
    blocks = list(simulate_blocks(scenario, catalogue))
    return Railway(
        tables={name: _together([block.tables[name] for block in blocks]) for name in TABLES},
        lives=_together([block.lives for block in blocks]),
        truth=truth_of(scenario, catalogue),
    )


def simulate_blocks(scenario: Scenario, catalogue: Catalogue) -> Iterator[Block]:
    """Draw the railway block by block; the blocks do not depend on each other."""
    parts = parts_of(catalogue)
    for number in range(-(-scenario.locomotives // BLOCK)):
        rng = np.random.default_rng([scenario.seed, number])
        yield _draw_block(draw_world(scenario, catalogue, parts, number, rng), catalogue, rng)


def _draw_block(world: World, catalogue: Catalogue, rng: np.random.Generator) -> Block:
    happenings = draw_happenings(world, rng)
    counters = draw_counters(world, rng)
    rows = finding_rows(world, happenings)
    drawn = {
        "locomotives": (locomotive_table(world.fleet), world.fleet.home),
        "usage": usage_table(world, counters),
        "inspections": (inspection_table(world, rows, counters, rng), world.rounds.depot),
        "findings": (finding_table(world, rows, rng), rows["depot"]),
        "work": work_table(world, happenings.work, rng),
        "out_of_use": out_of_use_table(world.fleet),
        "modifications": modification_table(world.fleet),
        "readings": reading_table(world, catalogue, happenings, rng),
    }
    return Block(
        tables={name: table for name, (table, _) in drawn.items()},
        depots={name: depot for name, (_, depot) in drawn.items()},
        lives=_true_lives(world, happenings),
    )


def _true_lives(world: World, happenings: Happenings) -> pd.DataFrame:
    lives = happenings.lives
    position = lives["position"]
    locomotive, first_day = world.locomotive[position], world.fleet.first_day
    return pd.DataFrame(
        {
            "locomotive": words(world.fleet.names, locomotive),
            "class": words(CLASSES, world.fleet.class_index[locomotive]),
            "component": words(world.parts.names, world.component[position]),
            "position": world.number[position],
            **{name: lives[name] for name in ("age_in", "age_out", "failed", "by_plan", "weak")},
            "fitted": dates(first_day, lives["fitted"]),
            "ended": dates(first_day, lives["ended"]),
            "rate": world.fleet.rate[locomotive],
        }
    )


def _together(tables: list[pd.DataFrame]) -> pd.DataFrame:
    """Put tables of several blocks below each other, locomotives as plain text."""
    plain = [table.assign(locomotive=table["locomotive"].astype(str)) for table in tables]
    return pd.concat(plain, ignore_index=True)
