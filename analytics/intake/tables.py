"""The eight tables a depot can hand in, as data: columns, keys, and how a header is recognised.

Everything else in intake derives from here: a new column is one line, its column in the facts and
what history makes of it.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from analytics.errors import InputError, nearest

Kind = Literal["text", "instant", "number", "choice", "yes-no", "position"]
SEVERITIES = ("remark", "rectify", "withhold", "in-service")
REASON_HEADING = "set_aside_because"  # of rows given back to be mended; not read again
_DATE_ORDERS = ("day-first", "month-first")
_DECIMALS = {",": "decimal comma", ".": "decimal point"}
CONDITIONS = ("new", "overhauled", "used", "unknown")


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name
        The heading, lower case.
    kind
        What a cell must be: text, instant (ISO date, with or without time), number, choice,
        yes-no, or position.
    required
        Whether a row without it is set aside.
    choices
        The words a choice may take.
    counted
        A number that cannot be below zero: a counter, a duration, an age, a quantity.
    observed
        An instant that somebody saw, so it cannot lie after the hand-in.
    known_as
        The kind of catalogue name that a cell must be (`class`, `component`, ...), or `locomotive`
        for the register.
    fact
        The column in the facts where it is not called like the heading.
    timed
        The column in the facts that says whether a time of day was written.
    default
        What an empty cell means.
    """

    name: str
    kind: Kind = "text"
    required: bool = False
    choices: tuple[str, ...] = ()
    counted: bool = False
    observed: bool = False
    known_as: str = ""
    fact: str = ""
    timed: str = ""
    default: str = ""

    @property
    def stored_as(self) -> str:
        """The column in the facts."""
        return self.fact or self.name


@dataclass(frozen=True, slots=True)
class Table:
    """One table: its columns and what makes two rows the same fact.

    Attributes
    ----------
    name
        The table, also in the facts.
    columns
        In the order of the facts.
    key
        The headings that name a fact.
    numbered
        Several rows of one key are several facts, numbered (two injectors found leaking).
    id_column
        The heading that is the key by itself where a row carries it.
    happened
        The heading of the instant that must lie within the locomotive's record.
    derived
        Columns of the facts made from others.
    """

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    numbered: bool = False
    id_column: str = ""
    happened: str = ""
    derived: tuple[str, ...] = ()

    @property
    def required(self) -> frozenset[str]:
        """Headings without which a file is not this table."""
        return frozenset(column.name for column in self.columns if column.required)

    @property
    def headings(self) -> tuple[str, ...]:
        """All headings the table has."""
        return tuple(column.name for column in self.columns)

    @property
    def stored(self) -> tuple[str, ...]:
        """Every column of the facts that holds something handed in, or made from it."""
        timed = [column.timed for column in self.columns if column.timed]
        return (*(column.stored_as for column in self.columns), *timed, *self.derived)

    @property
    def stored_key(self) -> tuple[str, ...]:
        """The columns of the facts that hold the key."""
        by_name = {column.name: column.stored_as for column in self.columns}
        return tuple(by_name[name] for name in self.key)


LOCOMOTIVE = Column("locomotive", required=True, known_as="locomotive")
COMPONENT = Column("component", required=True, known_as="component")
POSITION = Column("position", "position")


def _counted(name: str) -> Column:
    return Column(name, "number", counted=True)


def _seen(name: str, *, required: bool = True, fact: str = "", timed: str = "") -> Column:
    return Column(name, "instant", required=required, observed=True, fact=fact, timed=timed)


TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        Table(
            "locomotives",
            (
                Column("locomotive", required=True),
                Column("class", required=True, known_as="class"),
                Column("depot"),
                _seen("in_service_from", required=False),
                Column("in_service_to", "instant"),
                _seen("records_from", required=False),
                _counted("engine_hours_at_start"),
                _counted("km_at_start"),
            ),
            key=("locomotive",),
        ),
        Table(
            "usage",
            (LOCOMOTIVE, _seen("read_at"), _counted("engine_hours"), _counted("km")),
            key=("locomotive", "read_at"),
            happened="read_at",
        ),
        Table(
            "inspections",
            (
                LOCOMOTIVE,
                _seen("inspected_at"),
                Column(
                    "kind", "choice", choices=("daily", "workshop", "en-route"), default="daily"
                ),
                Column("depot"),
                _counted("engine_hours"),
                _counted("km"),
                Column(
                    "outcome", "choice", choices=("released", "released-with-remark", "withheld")
                ),
                Column("signed", "yes-no"),
                Column("looked_closer", "yes-no"),
            ),
            key=("locomotive", "inspected_at", "kind"),
            happened="inspected_at",
        ),
        Table(
            "findings",
            (
                LOCOMOTIVE,
                _seen("found_at", timed="found_timed"),
                COMPONENT,
                POSITION,
                Column("defect", required=True, known_as="defect"),
                Column("severity", "choice", choices=SEVERITIES),
                Column("action", known_as="action"),
                _seen("closed_at", required=False, timed="closed_timed"),
                _counted("down_hours"),
                _counted("labour_hours"),
                Column("cost", "number"),  # a credit note is below zero
                Column("finding_id"),
                _counted("quantity"),
                Column("serial_out"),
                Column("serial_in"),
                _counted("age_in"),
                Column("condition_in", "choice", choices=CONDITIONS),
                Column("team"),
                Column("note"),
            ),
            key=("locomotive", "component", "position", "found_at", "defect"),
            numbered=True,
            id_column="finding_id",
            happened="found_at",
        ),
        Table(
            "work",
            (
                LOCOMOTIVE,
                _seen("done_at", timed="done_timed"),
                COMPONENT,
                POSITION,
                Column("action", required=True, known_as="action"),
                _counted("labour_hours"),
                Column("cost", "number"),
                Column("work_id"),
                Column("serial_out"),
                Column("serial_in"),
                _counted("age_in"),
                Column("condition_in", "choice", choices=CONDITIONS),
                Column("note"),
            ),
            key=("locomotive", "component", "position", "done_at", "action"),
            numbered=True,
            id_column="work_id",
            happened="done_at",
        ),
        Table(
            "out_of_use",
            (
                LOCOMOTIVE,
                _seen("from", fact="from_at"),
                _seen("to", required=False, fact="to_at"),
                Column(
                    "reason", "choice", choices=("stored", "on-loan", "heavy-repair", "collision")
                ),
            ),
            key=("locomotive", "from"),
        ),
        Table(
            "modifications",
            (LOCOMOTIVE, _seen("done_at"), Column("name", required=True)),
            key=("locomotive", "done_at", "name"),
        ),
        Table(
            "readings",
            (
                LOCOMOTIVE,
                _seen("read_at"),
                Column("parameter", required=True, known_as="parameter"),
                Column("value", "number", required=True),
                Column("unit"),
                Column("running_state", "choice", choices=("stopped", "idle", "rated")),
            ),
            key=("locomotive", "parameter", "running_state", "read_at"),
            happened="read_at",
            derived=("value_in_unit",),
        ),
    )
}


def _combined() -> Table:
    """Return the sheet that has the inspection and a finding in one row, as one wide table."""
    inspections, findings, readings = (TABLES[n] for n in ("inspections", "findings", "readings"))
    of_findings = [replace(c, required=False) for c in findings.columns if c is not LOCOMOTIVE]
    state = [column for column in readings.columns if column.name == "running_state"]
    return Table("combined", (*inspections.columns, *of_findings, *state), inspections.key)


COMBINED = _combined()
FINDING_IN_A_ROW = frozenset({"component", "defect"})


@dataclass(frozen=True, slots=True)
class ReadingColumn:
    """A column of a combined sheet that holds one parameter: its place and the unit written."""

    place: int
    parameter: str
    unit: str


@dataclass(frozen=True, slots=True)
class Recognised:
    """What a header says: the table, where each of its columns stands, and what is not read."""

    table: Table
    places: dict[str, int]
    not_read: tuple[str, ...]
    readings: tuple[ReadingColumn, ...] = ()


def plain_heading(heading: str) -> str:
    """Return a heading as it is compared: outer blanks cut, lower case."""
    return heading.strip().casefold()


def reason_heading(date_order: str, decimal: str) -> str:
    """Return the heading of the reasons of rows given back, with how the file writes.

    Examples
    --------
    >>> heading = reason_heading("day-first", ",")
    >>> heading, written_as(["km", heading])
    ('set_aside_because (day-first, decimal comma)', ('day-first', ','))
    """
    said = [date_order if date_order in _DATE_ORDERS else "", _DECIMALS.get(decimal, "")]
    words = ", ".join(word for word in said if word)
    return f"{REASON_HEADING} ({words})" if words else REASON_HEADING


def is_reason(heading: str) -> bool:
    """Tell whether a column holds the reasons of rows given back, not to be read again."""
    return plain_heading(heading).startswith(REASON_HEADING)


def written_as(headings: Sequence[str]) -> tuple[str, str]:
    """Return the order of dates and the decimal mark that a reason's heading says, or "" each."""
    said = next((plain_heading(name) for name in headings if is_reason(name)), "")
    order = next((order for order in _DATE_ORDERS if order in said), "")
    return order, next((mark for mark, words in _DECIMALS.items() if words in said), "")


def find_readings(headings: Sequence[str], parameters: Collection[str]) -> list[ReadingColumn]:
    """Find the headings that are a parameter's name, maybe with a unit in brackets."""
    by_name = {_joined_up(name): name for name in parameters}
    found = []
    for place, heading in enumerate(headings):
        bare, unit = without_unit(heading)
        if name := by_name.get(_joined_up(bare)):
            found.append(ReadingColumn(place, name, unit))
    return found


def refuse_twice(readings: Sequence[ReadingColumn], file: str) -> None:
    """Refuse a header in which two columns hold one parameter.

    Raises
    ------
    InputError
        Naming the parameter.
    """
    names = [column.parameter for column in readings]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f"{file}: two columns hold {twice[0]!r}; keep one of them.")


def without_unit(heading: str) -> tuple[str, str]:
    """Return a heading without the unit in brackets behind it, and the unit."""
    plain = heading.strip()
    for opening, closing in ("()", "[]"):
        if plain.endswith(closing) and opening in plain:
            bare, _, unit = plain[:-1].rpartition(opening)
            return bare.strip(), unit.strip()
    return plain, ""


def _joined_up(name: str) -> str:
    return re.sub(r"[\s_-]+", "-", name.strip().casefold())


def recognise(
    headings: Sequence[str], *, file: str, parameters: Collection[str] = ()
) -> Recognised:
    """Find the one table whose required columns a header holds.

    Case and outer blanks do not matter. Of several tables that fit, the one with the most required
    columns is meant, and a table of dated rows rather than the register. A header with an
    inspection and a finding, or an inspection and readings (one of `parameters` each), is the
    combined sheet. Columns that the table does not have are not read, and named
    (`describe_not_read`).

    Raises
    ------
    InputError
        If no table fits (naming the nearest and what it lacks), several do, or a heading that is
        read stands twice.
    """
    plain = [plain_heading(heading) for heading in headings]
    readings = find_readings(headings, parameters)
    combined = is_combined(plain, readings)
    table = COMBINED if combined else _fitting(plain, file)
    twice = sorted(name for name in table.headings if plain.count(name) > 1)
    if twice:
        raise InputError(f"{file}: the heading {twice[0]!r} stands twice; keep one of the columns.")
    places = {name: plain.index(name) for name in table.headings if name in plain}
    read = {"", *places, *(name for name in plain if is_reason(name))}
    if not combined:
        readings = []
    refuse_twice(readings, file)
    read |= {plain[column.place] for column in readings}
    not_read = tuple(h for h, p in zip(headings, plain, strict=True) if p not in read)
    return Recognised(table, places, not_read, tuple(readings))


def is_combined(held: Collection[str], readings: Collection[ReadingColumn]) -> bool:
    """Tell whether our headings in a header make it a sheet of inspections with more in a row."""
    return set(held) >= COMBINED.required and (
        set(held) >= FINDING_IN_A_ROW or bool(readings) and "read_at" not in held
    )


def describe_not_read(recognised: Recognised) -> str:
    """Say which columns of a file are not read, with what may have been meant."""
    missing = [name for name in recognised.table.headings if name not in recognised.places]
    words = []
    for heading in recognised.not_read:
        close = [name for name in nearest(heading, missing, most=1) if _alike(name, heading)]
        words.append(f"{heading!r}" + (f" (meant as {close[0]}?)" if close else ""))
    return f"columns not read: {', '.join(words)}"


def _alike(name: str, heading: str) -> bool:
    # `nearest` also finds faint likenesses; a column is only offered for a slip of the pen.
    return abs(len(name) - len(heading)) <= 2 and len(set(name) ^ set(heading.casefold())) <= 2


def _fitting(plain: list[str], file: str) -> Table:
    held = set(plain)
    fits = [table for table in TABLES.values() if table.required <= held]
    if not fits:
        raise InputError(_no_table(plain, file))
    rank = {table.name: (len(table.required), table.name != "locomotives") for table in fits}
    best = max(rank.values())
    meant = [table for table in fits if rank[table.name] == best]
    if len(meant) > 1:
        names = [table.name for table in meant]
        raise InputError(
            f"{file}: its headings fit {' and '.join(names)} alike; hand in one file for each."
        )
    return meant[0]


def _no_table(plain: list[str], file: str) -> str:
    named = [repr(name[:40]) for name in plain if name]
    found = ", ".join(named[:20]) + (", ..." if len(named) > 20 else "") or "none"
    held = set(plain)
    near = max(
        TABLES.values(),
        key=lambda table: (
            len(table.required & held) / len(table.required),
            len(held & set(table.headings)),
        ),
    )
    if not held & set(near.headings):
        known = "; ".join(
            f"{t.name} needs {', '.join(sorted(t.required))}" for t in TABLES.values()
        )
        return f"{file}: no table has its headings {found}. {known}."
    missing = ", ".join(name for name in near.headings if name in near.required - held)
    return (
        f"{file}: no table has its headings {found}; the nearest is {near.name}, "
        f"which also needs {missing}."
    )
