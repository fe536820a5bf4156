"""Make a plan and keep it: from inputs handed in, or going on from a version."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

from analytics.answers.daily_use import daily_use
from analytics.answers.ground import lay_ground
from analytics.errors import PlanError
from analytics.planning.ahead import IN_SERVICE, read_ahead
from analytics.planning.build import Pin
from analytics.planning.inputs import PlanInputs
from analytics.planning.make import Wishes, plan_ahead
from analytics.planning.read_inputs import read_inputs
from analytics.planning.versions import Versions
from analytics.scope import Scope
from analytics.store import Store

USUAL_INPUTS = ("planning.toml", "planning.xlsx")


@dataclass(frozen=True, slots=True)
class Change:
    """What is asked otherwise than in the version before.

    `lifted` are pins and days to keep free that hold no more.
    """

    pins: tuple[Pin, ...] = ()
    forbidden: tuple[Pin, ...] = ()
    lifted: tuple[Pin, ...] = ()
    seconds: float = 15.0
    gap: float = 0.01
    more: bool = False
    parent: int | None = field(default=None)


def make_version(
    store: Store, change: Change, *, inputs: PlanInputs | None = None, who: str
) -> int:
    """Make a plan, keep it as the newest version and return its number.

    Parameters
    ----------
    store
        The store whose record it rests on, as it is now.
    change
        Pins and days to keep free, on top of those of `change.parent`; pins and days that have
        passed since are left out.
    inputs
        The planner's limits; None: those of `change.parent`, or of the version in force.

    Raises
    ------
    PlanError
        If there is no version to go on from, or no plan keeps all limits. Nothing is kept then.
    """
    versions = Versions(store.root)
    parent = change.parent or (versions.latest() if inputs is None else None)
    before = versions.get(parent) if parent else None
    limits = inputs or (before.inputs if before else None)
    if limits is None:
        raise PlanError("no plan was made yet: hand its inputs in with --inputs FILE.")
    with store.read() as reader:
        ahead = read_ahead(reader, days=7 * limits.weeks)
        first_day = limits.first_day or ahead.tomorrow
        kept = before.plan if before else None
        wishes = Wishes(
            pins=_all(kept.pins if kept else (), change.pins, change.lifted, first_day),
            forbidden=_all(
                kept.forbidden if kept else (), change.forbidden, change.lifted, first_day
            ),
            seconds=change.seconds,
            gap=change.gap,
            more=change.more,
            before=kept,
        )
        plan = plan_ahead(ahead, limits, reader.catalogue, wishes)
    return versions.add(plan, limits, who=who, parent=parent)


def _all(
    before: Sequence[Pin], added: Sequence[Pin], lifted: Sequence[Pin], first_day: date
) -> tuple[Pin, ...]:
    kept = [pin for pin in before if pin[1] >= first_day and pin not in lifted]
    return tuple(dict.fromkeys([*kept, *added]))


def usual_inputs(store: Store) -> Path | None:
    """Return the planner's file that lies in the store's folder, if there is one."""
    there = (store.root / name for name in USUAL_INPUTS)
    return next((path for path in there if path.is_file()), None)


def read_store_inputs(store: Store, path: Path) -> PlanInputs:
    """Read a planner's file, its names and windows held against a store.

    Raises
    ------
    PlanError
        With a line for each row that cannot be used.
    """
    with store.read() as reader:
        ground = lay_ground(reader, Scope())
        rows = ground.rows(IN_SERVICE.format(record=ground.sources["record"]))
        cut = ground.data_cut
        use = daily_use(lay_ground(reader, Scope(clock="days")))
        return read_inputs(
            path,
            reader.catalogue,
            dict(zip(rows["locomotive"], rows["class"], strict=True)),
            first_day=cut.date() + timedelta(days=1) if cut else None,
            stored=use.loc[use["stored"], "locomotive"].tolist(),
        )
