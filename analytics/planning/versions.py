"""Versions of the plan: each kept whole, with what it was made from; none is ever changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import msgspec

from analytics.errors import PlanError
from analytics.planning.inputs import PlanInputs
from analytics.planning.plan import Plan
from analytics.store.desk import Desk


@dataclass(frozen=True, slots=True)
class Version:
    """One plan as it was made.

    `parent` is the version that it went on from, None for a plan from inputs handed in; `again` the
    version that it brought back, None but after an undo.
    """

    number: int
    made_at: datetime
    who: str
    parent: int | None
    again: int | None
    plan: Plan
    inputs: PlanInputs


@dataclass(frozen=True, slots=True)
class _Content:
    plan: Plan
    inputs: PlanInputs
    again: int | None = None


class Versions:
    """The versions of one store's plan, in its desk database; the newest is in force."""

    def __init__(self, root: Path | str) -> None:
        """Name the store's folder."""
        self._desk = Desk(root)

    def add(
        self,
        plan: Plan,
        inputs: PlanInputs,
        *,
        who: str,
        parent: int | None = None,
        again: int | None = None,
    ) -> int:
        """Keep a plan as the newest version and return its number."""
        content = msgspec.json.encode(_Content(plan, inputs, again)).decode()
        now = datetime.now().isoformat(timespec="seconds")
        with self._desk.connect() as connection:
            added = connection.execute(
                "INSERT INTO plan_version (made_at, who, parent, content) VALUES (?, ?, ?, ?)",
                (now, who, parent, content),
            )
        return int(added.lastrowid or 0)

    def latest(self) -> int | None:
        """Return the number of the version in force, None before the first plan."""
        with self._desk.connect() as connection:
            found = connection.execute("SELECT max(id) FROM plan_version").fetchone()
        return None if found is None or found[0] is None else int(found[0])

    def get(self, number: int) -> Version:
        """Return one version.

        Raises
        ------
        PlanError
            If there is none of that number; the message says which there are.
        """
        found = self._rows("WHERE id = ?", (number,))
        if not found:
            latest = self.latest()
            there = f"there are 1 to {latest}" if latest else "no plan was made yet"
            raise PlanError(f"there is no plan version {number}; {there}.")
        return found[0]

    def all(self) -> list[Version]:
        """Return all versions, newest first."""
        return self._rows("ORDER BY id DESC", ())

    def undo(self, *, who: str) -> int:
        """Bring back the version that the newest went on from, as a new version.

        Raises
        ------
        PlanError
            If there is nothing to go back to.
        """
        latest = self.latest()
        newest = self.get(latest) if latest else None
        if newest is None or newest.parent is None:
            raise PlanError("there is nothing to undo: the plan in force went on from no other.")
        back = self.get(newest.parent)
        self._desk.record("plan undone", f"version {newest.number} to {back.number}", who=who)
        return self.add(back.plan, back.inputs, who=who, parent=back.parent, again=back.number)

    def _rows(self, where: str, values: tuple[int, ...]) -> list[Version]:
        query = f"SELECT id, made_at, who, parent, content FROM plan_version {where}"
        with self._desk.connect() as connection:
            rows = connection.execute(query, values).fetchall()
        return [_version(*row) for row in rows]


def _version(number: int, made_at: str, who: str, parent: int | None, content: str) -> Version:
    kept = msgspec.json.decode(content, type=_Content)
    when = datetime.fromisoformat(made_at)
    return Version(number, when, who, parent, kept.again, kept.plan, kept.inputs)
