"""A planner's file to `PlanInputs`: every row that cannot be used gets one sentence."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from analytics.catalogue.model import Catalogue
from analytics.errors import PlanError, nearest, unknown_name
from analytics.planning.cells import read_cell
from analytics.planning.forms import FORMS, Column
from analytics.planning.inputs import (
    EVERY_DAY,
    PER_LOCOMOTIVE,
    Berth,
    Costs,
    Days,
    DueVisit,
    Job,
    Labour,
    PlanInputs,
    Spare,
    Traffic,
)
from analytics.planning.room_for import too_many_visits
from analytics.planning.rows import NO_HEADING, Row, read_rows, rows_of_text
from analytics.planning.work_list import MEND

MOST_WEEKS = 52
_KINDS = {
    "class": "class", "classes": "class", "component": "component", "components": "component",
    "locomotive": "locomotive",
}  # fmt: skip
EXAMPLE = "EXAMPLE"
"""Begins a cell of every example row of the template."""


@dataclass(slots=True)
class _Sheet:
    """The rows of a file as they are read, and what was wrong with them."""

    catalogue: Catalogue
    locomotives: Mapping[str, str]
    first_day: date | None
    stored: Collection[str] = ()
    rows: dict[str, list[tuple[Row, dict[str, Any]]]] = field(default_factory=dict)
    faults: list[tuple[str, str]] = field(default_factory=list)

    def fault(self, row: Row, said: str) -> None:
        self.faults.append((row.place, said))

    def known(self, row: Row, kind: str, names: Iterable[str], known: Collection[str]) -> None:
        for name in names:
            if name not in known:
                self.fault(row, unknown_name(kind, name, known))


def read_inputs(
    path: Path,
    catalogue: Catalogue,
    locomotives: Mapping[str, str],
    *,
    first_day: date | None = None,
    stored: Collection[str] = (),
) -> PlanInputs:
    """Read and check one file.

    Parameters
    ----------
    path
        `.toml` or `.xlsx`, with the tables and columns of `analytics.planning.forms`.
    catalogue
        The store's.
    locomotives
        Class of each locomotive in service.
    first_day
        The first day that a plan may have, against which windows are checked.
    stored
        Locomotives out of use: their visits due need no berth.

    Raises
    ------
    PlanError
        With a line for each row that cannot be used: where it stands, what was expected, what came.
    """
    sheet = _Sheet(catalogue, locomotives, first_day, stored)
    return _inputs(read_rows(path), path.name, sheet)


def read_inputs_text(
    text: str,
    catalogue: Catalogue,
    locomotives: Mapping[str, str],
    *,
    first_day: date | None = None,
) -> PlanInputs:
    """Read and check the text of a TOML file, as `read_inputs` does."""
    rows = rows_of_text(text, "planning.toml")
    return _inputs(rows, "planning.toml", _Sheet(catalogue, locomotives, first_day))


def _inputs(rows: list[Row], name: str, sheet: _Sheet) -> PlanInputs:
    for row in rows:
        _take(sheet, row)
    present = {row.table for row in rows}
    for table in ("costs", "berths"):
        if table not in present:
            sheet.faults.append((name, f"table {table} is missing or empty; fill it in."))
    _check_names(sheet)
    _check_windows(sheet)
    if sheet.faults:
        order = {row.place: number for number, row in enumerate(rows)}
        told = sorted(dict.fromkeys(sheet.faults), key=lambda one: order.get(one[0], len(order)))
        raise PlanError("\n".join(f"{place}: {said}" for place, said in told))
    inputs = _assemble(sheet)
    begin = inputs.first_day or sheet.first_day
    short = too_many_visits(inputs, begin, name, sheet.stored) if begin else []
    if short:
        raise PlanError("\n".join(short))
    return inputs


def _take(sheet: _Sheet, row: Row) -> None:
    """Read the cells of one row."""
    form = FORMS[row.table]
    if form.single and sheet.rows.get(row.table):
        sheet.fault(row, f"{row.table} has one row; take this one out.")
    if any(str(cell).strip().startswith(EXAMPLE) for cell in row.cells.values()):
        sheet.fault(row, "this is the template's example: write over it, or take it out.")
        return
    read: dict[str, Any] = {}
    for name, cell in row.cells.items():
        column = form.columns.get(name)
        if name.startswith(NO_HEADING):
            number = name.removeprefix(NO_HEADING).strip()
            sheet.fault(row, f"column {number} has no heading; give it one, or clear the cell.")
            continue
        if column is None:
            near = ", ".join(nearest(name, form.columns)) or ", ".join(form.columns)
            sheet.fault(row, f"column {name!r} is not known; nearest: {near}.")
            continue
        try:
            read[name] = read_cell(cell, column.holds)
        except ValueError as wanted:
            sheet.fault(row, f"{name} should be {wanted}, but is {str(cell)!r}.")
            continue
        _check_number(sheet, row, name, read[name], column)
    missing = [
        name for name, column in form.columns.items() if column.needed and name not in row.cells
    ]
    if missing:
        sheet.fault(row, f"{', '.join(missing)} is empty; fill it in.")
    _check_span(sheet, row, read)
    sheet.rows.setdefault(row.table, []).append((row, read))


def _check_number(sheet: _Sheet, row: Row, name: str, value: Any, column: Column) -> None:
    if column.least is not None and value < column.least:
        sheet.fault(row, f"{name} should be {column.least:g} or more, but is {value:g}.")
    if name == "weeks" and value > MOST_WEEKS:
        sheet.fault(row, f"weeks should be {MOST_WEEKS} or less, but is {value}.")


def _check_span(sheet: _Sheet, row: Row, read: Mapping[str, Any]) -> None:
    """Spans run forwards, and a visit has room in its window."""
    for begin, end in (("from", "to"), ("earliest", "latest")):
        first, last = read.get(begin), read.get(end)
        if first and last and last < first:
            said = "closes before it opens" if row.table == "berths" else "ends before it begins"
            what = read.get("berth") or read.get("visit") or row.table
            sheet.fault(row, f"{what} {said}: {begin} {first}, {end} {last}; turn them round.")
    earliest, latest, days = read.get("earliest"), read.get("latest"), read.get("days", 1)
    if earliest and latest and 0 < (latest - earliest).days + 1 < days:
        room = (latest - earliest).days + 1
        sheet.fault(
            row,
            f"the visit lasts {days} days, but from {earliest} to {latest} are only {room}; make"
            " the window longer.",
        )


def _check_windows(sheet: _Sheet) -> None:
    """No visit's window lies before the plan begins."""
    own = next((read["first_day"] for _, read in sheet.rows.get("plan", []) if "first_day" in read),
               sheet.first_day)  # fmt: skip
    for row, read in sheet.rows.get("visits", []):
        latest = read.get("latest")
        if latest and own and latest < own:
            sheet.fault(
                row,
                f"latest {latest} lies before the first day of the plan, {own}; move the window or"
                " take the visit out.",
            )


def _names(sheet: _Sheet, table: str, column: str) -> list[str]:
    return [read[column] for _, read in sheet.rows.get(table, []) if column in read]


def _check_names(sheet: _Sheet) -> None:
    """Names are known, and none stands twice where it may stand once."""
    classes, catalogue = sheet.catalogue.classes, sheet.catalogue
    jobs, spares = _names(sheet, "jobs", "job"), _names(sheet, "spares", "spare")
    skills = _names(sheet, "labour", "skill")
    visits = _names(sheet, "visits", "visit")
    known: dict[str, Collection[str]] = {
        "class": classes, "classes": classes, "component": catalogue.components,
        "components": catalogue.components, "spare": spares, "locomotive": sheet.locomotives,
    }  # fmt: skip
    for table, rows in sheet.rows.items():
        for row, read in rows:
            for column, kind in _KINDS.items():
                if column in read:
                    value = read[column]
                    names = value if isinstance(value, tuple) else (value,)
                    sheet.known(row, kind, names, known[column])
            sheet.known(row, "skill", _of(table, read, "hours", "mend_hours"), skills)
            sheet.known(row, "spare", _of(table, read, "parts"), spares)
            if table == "orders" and "spare" in read:
                sheet.known(row, "spare", [read["spare"]], spares)
            if table == "berths":
                sheet.known(row, "job", read.get("jobs", ()), [*jobs, *visits, MEND])
            if table == "closed" and "berth" in read:
                sheet.known(row, "berth", [read["berth"]], _names(sheet, "berths", "berth"))
            if table == "jobs":
                _check_has(sheet, row, read)
    for table, columns in (
        ("berths", ("berth",)), ("jobs", ("job",)), ("spares", ("spare",)),
        ("visits", ("locomotive", "visit")), ("class_costs", ("class",)),
        ("failure_costs", ("component",)),
    ):  # fmt: skip
        _check_once(sheet, table, columns)
    _check_fleet(sheet)


def _of(table: str, read: Mapping[str, Any], *columns: str) -> list[str]:
    if table == "labour":
        return []
    return [name for column in columns for name in read.get(column, ())]


def _check_has(sheet: _Sheet, row: Row, read: Mapping[str, Any]) -> None:
    """A job is for components that some class has, each of one job alone."""
    if read.get("job") == MEND:
        sheet.fault(row, f"a job cannot be called {MEND}, which means any mending; rename it.")
    for component in read.get("components", ()):
        if component not in sheet.catalogue.components:
            continue
        if not any(sheet.catalogue.positions(name, component) for name in sheet.catalogue.classes):
            sheet.fault(row, f"no class has the component {component!r}; take it out of the job.")
        others = [
            other.get("job", "without a name")
            for _, other in sheet.rows["jobs"]
            if other is not read and component in other.get("components", ())
        ]
        if others:
            sheet.fault(row, f"{component} also belongs to job {others[0]!r}; leave it in one.")


def _check_once(sheet: _Sheet, table: str, columns: tuple[str, ...]) -> None:
    seen: dict[tuple[Any, ...], Row] = {}
    for row, read in sheet.rows.get(table, []):
        key = tuple(read.get(column) for column in columns)
        if None in key:
            continue
        if key in seen:
            named = " ".join(str(part) for part in key)
            sheet.fault(row, f"{named!r} stands here a second time; leave one of the two.")
        seen[key] = row


def _check_fleet(sheet: _Sheet) -> None:
    for row, read in sheet.rows.get("traffic", []):
        of_class, least = read.get("class"), read.get("least", 0)
        size = sum(of == of_class for of in sheet.locomotives.values())
        if of_class in sheet.catalogue.classes and least > size:
            sheet.fault(
                row,
                f"at least {least} {of_class} in traffic, but there are {size}; ask for fewer.",
            )


def _assemble(sheet: _Sheet) -> PlanInputs:
    def rows(table: str) -> list[dict[str, Any]]:
        return [read for _, read in sheet.rows.get(table, [])]

    plan, costs = (rows("plan") or [{}])[0], rows("costs")[0]
    return PlanInputs(
        costs=Costs(
            costs["day_out"],
            costs.get("labour_hour", 0.0),
            {one["class"]: one["day_out"] for one in rows("class_costs")},
            {one["component"]: one["cost"] for one in rows("failure_costs")},
        ),
        berths=tuple(_berth(one, rows("closed")) for one in rows("berths")),
        labour=tuple(
            Labour(one["skill"], one["hours"], _days(one, "days")) for one in rows("labour")
        ),
        jobs=tuple(_job(one) for one in rows("jobs")),
        spares=tuple(_spare(one, rows("orders")) for one in rows("spares")),
        visits=tuple(_visit(one) for one in rows("visits")),
        traffic=tuple(
            Traffic(one["class"], one["least"], _days(one, "days")) for one in rows("traffic")
        ),
        weeks=plan.get("weeks", 8),
        first_day=plan.get("first_day"),
        mend_days=plan.get("mend_days", 1),
        mend_hours=plan.get("mend_hours", {}),
    )


def _days(read: Mapping[str, Any], column: str) -> Days:
    return Days(read.get(column, EVERY_DAY), read.get("from"), read.get("to"))


def _berth(read: Mapping[str, Any], closed: list[dict[str, Any]]) -> Berth:
    spans = tuple(
        (one["from"], one["to"])
        for one in closed
        if one.get("berth", read["berth"]) == read["berth"]
    )
    days = Days(read.get("open", EVERY_DAY), read.get("from"), read.get("to"), spans)
    return Berth(read["berth"], days, read.get("classes", ()), read.get("jobs", ()))


def _job(read: Mapping[str, Any]) -> Job:
    return Job(
        read["job"], read["components"], read.get("days", 1), read.get("per", PER_LOCOMOTIVE),
        read.get("hours", {}), read.get("parts", {}), read.get("cost", 0.0),
    )  # fmt: skip


def _spare(read: Mapping[str, Any], orders: list[dict[str, Any]]) -> Spare:
    due = sorted((one["due"], one["number"]) for one in orders if one["spare"] == read["spare"])
    return Spare(
        read["spare"], read["on_hand"], read.get("keep", 0), read.get("cost", 0.0), tuple(due)
    )


def _visit(read: Mapping[str, Any]) -> DueVisit:
    return DueVisit(
        read["locomotive"], read["visit"], read["earliest"], read["latest"], read.get("days", 1),
        read.get("hours", {}), read.get("parts", {}),
    )  # fmt: skip
