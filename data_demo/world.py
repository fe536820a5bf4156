"""Everything the drawing of defects needs to know of one block of locomotives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.catalogue.model import Catalogue
from data_demo.arrays import DAY, Flags, Floats, Ints
from data_demo.clocks import Clocks, draw_use
from data_demo.fleet import Fleet, day_of_year, draw_fleet
from data_demo.parts import Parts
from data_demo.rounds import Rounds, draw_rounds
from data_demo.scenario import MODIFICATION, SHOCK_WEEKS, Scenario

WORKSHOP_VIEW = ("workshop",)
BLOCK = 100  # locomotives drawn at once


@dataclass(frozen=True, slots=True)
class World:
    """One block: fleet, use, inspections, and one entry per position in the arrays at the end."""

    scenario: Scenario
    block: int
    parts: Parts
    fleet: Fleet
    clocks: Clocks
    rounds: Rounds
    workshop_view: int
    locomotive: Ints
    component: Ints
    number: Ints
    count: Ints  # how many of the component the locomotive has
    scale: Floats
    renewed_at: Floats
    winter: Floats  # swing of the year on each day: 1 in mid January, -1 in mid July
    shocked: Flags  # (locomotives, days): the bad weeks in which all defects come oftener

    def accepts(self, position: Ints, second: Floats) -> Floats:
        """Return the chance that a defect drawn at the highest intensity happens at an instant.

        Season, modification and weeks that are not bad ones lower it; a locomotive that stands gets
        no defects.
        """
        day = np.minimum(second // DAY, self.fleet.days - 1).astype(np.int64)
        component, locomotive = self.component[position], self.locomotive[position]
        season = self.parts.season[component]
        chance = (1 + season * self.winter[day]) / (1 + np.abs(season))
        modified = (component == self.parts.index(MODIFICATION.component)) & (
            day >= self.fleet.modified[locomotive]
        )
        chance = np.where(modified, chance * MODIFICATION.factor, chance)
        chance = np.where(self.shocked[locomotive, day], chance, chance / self.scenario.shock)
        return np.where(self.fleet.in_use[locomotive, day], chance, 0.0)


def draw_world(
    scenario: Scenario,
    catalogue: Catalogue,
    parts: Parts,
    block: int,
    rng: np.random.Generator,
) -> World:
    """Draw fleet, use and inspections of the n-th block of locomotives (0-based)."""
    first = block * BLOCK
    numbers = range(first, min(first + BLOCK, scenario.locomotives))
    fleet = draw_fleet(scenario, numbers, rng)
    views = tuple(dict.fromkeys((*parts.views, WORKSHOP_VIEW)))
    each = parts.positions[fleet.class_index]  # (locomotives, components)
    locomotive, component = np.nonzero(each)
    count = each[locomotive, component]
    place = np.repeat(np.arange(len(count)), count)
    number = 1 + np.arange(len(place)) - np.repeat(np.cumsum(count) - count, count)
    locomotive, component = locomotive[place], component[place]
    class_index = fleet.class_index[locomotive]
    turn = 2 * np.pi * (day_of_year(fleet.first_day, fleet.days) - 15) / 365.25
    return World(
        scenario=scenario,
        block=block,
        parts=parts,
        fleet=fleet,
        clocks=draw_use(fleet, catalogue, rng),
        rounds=draw_rounds(fleet, views, rng),
        workshop_view=views.index(WORKSHOP_VIEW),
        locomotive=locomotive,
        component=component,
        number=number,
        count=count[place],
        scale=parts.scale[class_index, component],
        renewed_at=parts.renewed_at[class_index, component],
        winter=np.cos(turn),
        shocked=_draw_shocks(scenario, block, len(fleet.names), fleet.days),
    )


def _draw_shocks(scenario: Scenario, block: int, locomotives: int, days: int) -> Flags:
    """Draw each locomotive's bad weeks from random numbers of their own."""
    rng = np.random.default_rng([scenario.seed, block, 1])
    weeks = rng.random((locomotives, days // 7 + 1)) < SHOCK_WEEKS
    return np.repeat(weeks, 7, axis=1)[:, :days]
