"""The question `plan`: the berth plan in force, or another version, part by part."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from analytics.answer import Answer, Message
from analytics.answers.basis import make_basis
from analytics.answers.ground import lay_ground
from analytics.errors import ScopeError, unknown_name
from analytics.planning.tables import (
    COLUMNS,
    compare_rows,
    day_rows,
    framed,
    job_rows,
    left_out_rows,
    limit_rows,
    version_rows,
    visit_rows,
    worth_rows,
)
from analytics.planning.versions import Version, Versions
from analytics.scope import Scope
from analytics.store import Reader

PARTS = tuple(COLUMNS)
_WORTH = {
    "berth": "plan.worth_berth", "labour": "plan.worth_labour", "spare": "plan.worth_spare",
}  # fmt: skip
_ROUNDING = 1e-6


def plan(
    reader: Reader,
    scope: Scope,
    *,
    part: str = "visits",
    version: int | None = None,
    other: int | None = None,
) -> Answer:
    """Show one part of a plan that was made and kept.

    Parameters
    ----------
    reader
        A cursor on a snapshot of a store.
    scope
        Filters on class and locomotive choose rows, those of `days` apart; nothing else is used.
    part
        visits, jobs, left-out, days, limits, worth, versions, compare.
    version
        Its number; default: the newest, which is in force.
    other
        The version that `compare` holds it against; default: the one it went on from.

    Returns
    -------
    Answer
        A row a visit, job, locomotive left out, berth and day, limit and week, thing of which one
        more was tried, version, or visit that differs (`analytics.planning.tables.COLUMNS`).

    Raises
    ------
    ScopeError
        For a part that does not exist, a name that is not known.
    PlanError
        For a version that does not exist.
    """
    if part not in PARTS:
        raise ScopeError(unknown_name("part of a plan", part, PARTS))
    versions = Versions(_root(reader))
    number = version or versions.latest()
    if part == "versions":
        return _all(reader, scope, versions)
    if number is None:
        return _answer(reader, scope, framed(part, ()), Message("plan.none"), None)
    shown = versions.get(number)
    if part == "compare":
        return _compared(reader, scope, shown, versions, other)
    table = _table(part, shown)
    if part != "days":  # a berth's calendar shows the berth, whoever is in it
        table = _kept(table, scope)
    reading = _reading(part, shown, table)
    if part == "visits" and len(scope.locomotives) == 1:
        reading = _of_one(scope.locomotives[0], shown, table)
    return _answer(reader, scope, table, reading, shown, cautioned=part in ("visits", "days"))


def _root(reader: Reader) -> Path:
    if reader.root is None:
        raise ScopeError("a plan is kept beside a store; this reader has none.")
    return reader.root


def _table(part: str, version: Version) -> pd.DataFrame:
    plan, inputs = version.plan, version.inputs
    rows = {
        "visits": lambda: visit_rows(plan),
        "jobs": lambda: job_rows(plan),
        "left-out": lambda: left_out_rows(plan),
        "days": lambda: day_rows(plan, inputs),
        "limits": lambda: limit_rows(plan, inputs),
        "worth": lambda: worth_rows(plan),
    }
    return framed(part, rows[part]())


def _kept(table: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    for column, names in (("locomotive", scope.locomotives), ("class", scope.classes)):
        if names and column in table:
            table = table[table[column].isin(names)]
    return table.reset_index(drop=True)


def _all(reader: Reader, scope: Scope, versions: Versions) -> Answer:
    found = versions.all()
    table = framed("versions", version_rows(found))
    for name in ("parent", "again"):
        table[name] = table[name].astype("Int64")
    if not found:
        return _answer(reader, scope, table, Message("plan.none"), None)
    reading = Message("plan.versions", number=len(found), version=found[0].number)
    return _answer(reader, scope, table, reading, None)


def _compared(
    reader: Reader, scope: Scope, shown: Version, versions: Versions, other: int | None
) -> Answer:
    before = other or shown.parent
    if before is None:
        empty = framed("compare", ())
        return _answer(reader, scope, empty, Message("plan.no_other", version=shown.number), shown)
    earlier = versions.get(before)
    table = framed("compare", compare_rows(earlier.plan, shown.plan))
    reading = Message(
        "plan.compared" if len(table) else "plan.alike",
        version=shown.number,
        other=before,
        visits=len(table),
        value=shown.plan.value - earlier.plan.value,
        bound=shown.plan.bound - earlier.plan.bound,
    )
    return _answer(reader, scope, _kept(table, scope), reading, shown)


def _reading(part: str, version: Version, table: pd.DataFrame) -> Message:
    plan = version.plan
    if part == "left-out":
        return Message("plan.left_out", locomotives=len(table))
    if part == "worth":
        if table.empty:
            return Message("plan.no_worth", version=version.number)
        best = table.iloc[0]
        key = _WORTH[str(best["more"])] if best["gain"] > 0 else "plan.worth_nothing"
        return Message(key, name=str(best["name"]), gain=float(best["gain"]))
    if part == "jobs":
        return Message(
            "plan.jobs",
            version=version.number,
            jobs=len(table),
            visits=len(table[["locomotive", "first"]].drop_duplicates()),
            ahead=float(table["failures"].sum()),
            left=float(table["failures_if_done"].sum()),
        )
    if part == "limits":
        full = table[table["fullest"] > 1 - _ROUNDING]
        names = list(dict.fromkeys(f"{row.limit} {row.name}" for row in full.itertuples()))
        return Message("plan.full" if names else "plan.room", names=names)
    return Message(
        "plan.made",
        version=version.number,
        visits=len(plan.visits),
        weeks=plan.days // 7,
        first=plan.first_day,
        value=plan.value,
        bound=plan.bound,
        gap=100 * plan.gap,
    )


def _of_one(locomotive: str, version: Version, table: pd.DataFrame) -> Message:
    """Say when one locomotive comes, or why it does not."""
    if len(table):
        first = table.iloc[0]
        return Message(
            "plan.comes",
            locomotive=locomotive,
            first=first["first"].date(),
            last=first["last"].date(),
            berth=str(first["berth"]),
            reason=str(first["reason"]),
        )
    why = {one.locomotive: one.reason for one in version.plan.left_out}
    if locomotive in why:
        return Message("plan.stays_out", locomotive=locomotive, reason=why[locomotive])
    return Message("plan.unknown", locomotive=locomotive, version=version.number)


def _answer(
    reader: Reader,
    scope: Scope,
    table: pd.DataFrame,
    reading: Message,
    version: Version | None,
    *,
    cautioned: bool = False,
) -> Answer:
    ground = lay_ground(reader, Scope(classes=scope.classes, locomotives=scope.locomotives))
    method = "mixed-integer programme (HiGHS); kept limits checked apart"
    basis = make_basis(ground, method, events=0 if version is None else len(version.plan.visits))
    notes = [Message("plan.caution"), Message("plan.what_value")] if cautioned else []
    if version and version.plan.data != reader.fingerprint:
        notes.insert(0, Message("plan.older", at=version.plan.known_to))
    return Answer("plan", table, basis, reading, tuple(notes))
