"""All findings and all planned work of one block as columns, before they are written in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from data_demo.arrays import HOUR, Columns
from data_demo.filters import Loadings, draw_loadings, filter_positions
from data_demo.fitting import joined
from data_demo.parts import RECTIFY
from data_demo.renewals import draw_renewals
from data_demo.scenario import FILTER
from data_demo.words import RENEWED, RESTORED
from data_demo.world import World


@dataclass(frozen=True, slots=True)
class Happenings:
    """What happened in one block: defects found, work done by plan, true lives, filters.

    Defects refer to the names of the catalogue's defects in `Parts.defects` plus one more, the
    filter's; `loadings` is None where the catalogue has no such filter.
    """

    defects: Columns
    work: Columns
    lives: Columns
    loadings: Loadings | None


def draw_happenings(world: World, rng: np.random.Generator) -> Happenings:
    """Draw everything that happens to the locomotives of one block."""
    log = draw_renewals(world, rng)
    defects, work = joined(log.defects), joined(log.planned)
    actions = world.parts.defects.actions
    defects["action"] = actions[defects["defect"], defects["outcome"]]
    first_defect = world.parts.defects.first[world.component[work["position"]]]
    work["action"] = actions[first_defect, RENEWED]
    loadings = None
    if _has_filter(world):
        loadings = draw_loadings(world, rng)
        defects = _with(defects, _limit_seen(world, loadings))
        work = _with(work, _washed_by_plan(world, loadings))
    return Happenings(defects, work, joined(log.lives), loadings)


def _has_filter(world: World) -> bool:
    return bool(filter_positions(world)[1].all()) and (
        FILTER.action in world.parts.defects.action_names
    )


def _limit_seen(world: World, loadings: Loadings) -> Columns:
    """Return the defects that are a filter found at its limit, closed by washing it."""
    seen = np.isfinite(loadings.found_at)
    size = int(seen.sum())
    return {
        "position": filter_positions(world)[0][loadings.locomotive[seen]],
        "happened": loadings.crossed_at[seen],
        "found_at": loadings.found_at[seen],
        "inspection": loadings.inspection[seen],
        "closed_at": loadings.done_at[seen],
        "hours": np.where(
            np.isfinite(loadings.done_at[seen]),
            (loadings.done_at[seen] - loadings.found_at[seen]) / HOUR,
            1.0,
        ),
        "defect": np.full(size, len(world.parts.defects.names)),
        "action": np.full(size, world.parts.defects.action_names.index(FILTER.action)),
        "outcome": np.full(size, RESTORED),
        "rank": np.full(size, RECTIFY),
        "taken_up": np.full(size, -1),
    }


def _washed_by_plan(world: World, loadings: Loadings) -> Columns:
    planned = np.isfinite(loadings.done_at) & ~np.isfinite(loadings.found_at)
    return {
        "position": filter_positions(world)[0][loadings.locomotive[planned]],
        "at": loadings.done_at[planned],
        "action": np.full(
            int(planned.sum()), world.parts.defects.action_names.index(FILTER.action)
        ),
    }


def _with(columns: Columns, more: Columns) -> Columns:
    """Put rows below; what the further rows do not have is 0 or false there."""
    size = len(more["position"])
    return {
        name: np.concatenate([values, more.get(name, np.zeros(size)).astype(values.dtype)])
        for name, values in columns.items()
    }
