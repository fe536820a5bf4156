"""A depot's own headings and codes, as a mapping file (TOML) says them.

```toml
covered_until = 2026-05-31            # up to when the files are complete
date_format = "day-first"             # or month-first, iso, or as it is written: "DD.MM.YYYY HH:mm"
decimal = ","
[findings]
file = "hibak*.csv"                   # which files; without it, those that have the headings
[findings.columns]                    # ours = "theirs"
found_at = "Datum"
[findings.values.defect]              # theirs = "ours"; "" means that there is none
"csopog" = "leaking"
[findings.default]                    # where there is no such column, or its cell is empty:
action = "made-good"                  # a constant, or the name of another column of ours
closed_at = "found_at"
[findings.units]
down_hours = "min"
[locomotives]
from = "findings"                     # the register: the distinct vehicles of the same file
```

Headings and values are compared without case, accents and blanks.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from pathlib import Path

from analytics.catalogue.checked_table import CheckedTable, as_key, as_written
from analytics.catalogue.load import syntax_problem
from analytics.catalogue.model import Catalogue
from analytics.errors import InputError, unknown_name
from analytics.intake.tables import COMBINED, TABLES, Column, Table
from analytics.intake.units import conversion

DATE_FORMATS = ("day-first", "month-first", "iso")
_EXPLICIT = re.compile(r"(DD|MM|YYYY|YY|HH|mm|ss|[^A-Za-z0-9'\\]){3,}")
# What a number of a column is kept in, where it may come in another unit.
KEPT_IN = {
    "engine_hours": "h",
    "engine_hours_at_start": "h",
    "down_hours": "h",
    "labour_hours": "h",
    "km": "km",
    "km_at_start": "km",
}
SECTIONS = {**TABLES, COMBINED.name: COMBINED}


@dataclass(frozen=True, slots=True)
class TableMapping:
    """How one table stands in a depot's files; every part may be empty.

    Attributes
    ----------
    table
        The name of one of the eight tables, or `combined`.
    file
        A pattern of file names (`*`, `?`); empty: any file with the headings.
    made_from
        The table from whose file the register is made (locomotives only).
    columns
        Our heading to theirs; for the combined sheet also a parameter's name.
    values
        Our heading to their value to ours.
    defaults
        Our heading to a constant or to another of our headings.
    units
        Our heading (or a parameter) to the unit its numbers are in.
    date_format, decimal
        How dates and numbers are written; empty: found out from the file.
    """

    table: str
    file: str = ""
    made_from: str = ""
    columns: dict[str, str] = field(default_factory=dict)
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    defaults: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    date_format: str = ""
    decimal: str = ""


@dataclass(frozen=True, slots=True)
class Mapping:
    """A mapping file: its sections, up to when the files are complete, and its text."""

    tables: tuple[TableMapping, ...] = ()
    covered_until: datetime | None = None
    name: str = ""
    text: str = ""
    headings: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        theirs = {heading for section in self.tables for heading in section.columns.values()}
        object.__setattr__(self, "headings", tuple(sorted(theirs)))

    def covering(self, until: datetime | None) -> Mapping:
        """Return the mapping with another end of what the files cover, where one is given."""
        return self if until is None else replace(self, covered_until=until)


NO_MAPPING = Mapping()


def fold(text: str) -> str:
    """Return a heading or a value as it is compared: no case, no accents, no blanks.

    Examples
    --------
    >>> fold(" Hiba  kódja")
    'hibakodja'
    """
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in apart if not unicodedata.combining(c) and not c.isspace())


def load_mapping(path: str | Path) -> Mapping:
    """Read a mapping file (TOML, UTF-8).

    What it says of the catalogue is checked by `refuse_unknown`, of a file when that is read.

    Raises
    ------
    InputError
        One line per problem, naming table and key as written; for syntax the line.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"mapping {str(path)!r} cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise InputError(
            f"{path.name}, line {line}: this is not UTF-8 text; save the file as UTF-8."
        ) from error
    return parse_mapping(text, path.name)


def parse_mapping(text: str, name: str) -> Mapping:
    """Read the text of a mapping file; see `load_mapping`."""
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(syntax_problem(name, text, str(error))) from error
    problems: list[str] = []
    top = CheckedTable("top level", name, values, problems)
    until = _instant(top, "covered_until")
    form = (_date_format(top, ""), _decimal(top, ""))
    sections = [
        _section(top.table(table, f"[{table}.columns]", whole_name=table), SECTIONS[table], form)
        for table in SECTIONS
        if table in values
    ]
    top.asked.extend(SECTIONS)
    top.finish()
    if problems:
        raise InputError("\n".join(problems))
    return Mapping(tuple(sections), until, name, text)


def refuse_unknown(mapping: Mapping, catalogue: Catalogue) -> None:
    """Refuse a mapping that maps to names the catalogue does not have.

    Raises
    ------
    InputError
        One line per name.
    """
    unknown = [_unknown(section, catalogue, mapping.name) for section in mapping.tables]
    problems = [words for section in unknown for words in section]
    if problems:
        raise InputError("\n".join(problems))


def _section(given: CheckedTable, table: Table, form: tuple[str, str]) -> TableMapping:
    section = TableMapping(
        table.name,
        file=given.text("file", ""),
        made_from=_made_from(given, table),
        columns=_texts(given, "columns", f'{table.key[0]} = "Their heading"'),
        values=_values(given, table),
        defaults=_texts(given, "default", 'action = "made-good"'),
        units=_texts(given, "units", 'engine_hours = "min"'),
        date_format=_date_format(given, form[0]),
        decimal=_decimal(given, form[1]),
    )
    given.finish()
    _check_headings(given, section, table)
    _check_units(given, section)
    return section


def _made_from(given: CheckedTable, table: Table) -> str:
    if table.name != "locomotives":
        return ""
    source = given.text("from", "")
    sources = [name for name in SECTIONS if name != "locomotives"]
    if source and source not in sources:
        given.complain(f"from must be one of {', '.join(sources)}, but is {source!r}")
    return source


def _texts(given: CheckedTable, key: str, such_as: str) -> dict[str, str]:
    """Return a table of texts; numbers and dates as a text is written for them."""
    inner = given.table(key, f"[{given.where}.{key}] {such_as}")
    found = {}
    for name, value in inner.values.items():
        if isinstance(value, (str, int, float, date)) and not isinstance(value, bool):
            found[name] = _as_text(value)
        else:
            inner.complain(f"{as_key(name)} must be a text, but is {as_written(value)}")
    return found


def _as_text(value: str | float | date) -> str:
    if isinstance(value, datetime):
        return value.replace(tzinfo=None).isoformat(" ")
    return value.strip() if isinstance(value, str) else str(value)


def _values(given: CheckedTable, table: Table) -> dict[str, dict[str, str]]:
    inner = given.table("values", f'[{table.name}.values.defect] "their code" = "ours"')
    found = {}
    for heading in inner.values:
        pairs = _texts(inner, heading, '"their code" = "ours"')
        found[heading] = pairs
        spelled: dict[str, str] = {}
        for theirs, ours in pairs.items():
            if spelled.setdefault(fold(theirs), ours) != ours:
                inner.complain(f"{heading}: {theirs!r} stands twice, case and accents apart")
    return found


def _date_format(given: CheckedTable, default: str) -> str:
    written = given.text("date_format", default)
    if written and written not in DATE_FORMATS:
        parts = re.findall("DD|MM|YYYY|YY", written)
        if not _EXPLICIT.fullmatch(written) or len(parts) != 3 or len(set(parts)) != 3:
            given.complain(
                f"date_format must be one of {', '.join(DATE_FORMATS)}, or as it is written like "
                f"DD.MM.YYYY HH:mm, but is {written!r}"
            )
    return written


def _decimal(given: CheckedTable, default: str) -> str:
    written = given.text("decimal", default)
    if written not in {"", ",", "."}:
        given.complain(f"decimal must be ',' or '.', but is {written!r}")
    return written


def _instant(given: CheckedTable, key: str) -> datetime | None:
    given.asked.append(key)
    value = given.values.get(key)
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            given.complain(f"{key} must be a date such as 2026-05-31, but is {value!r}")
            return None
    if isinstance(value, datetime):
        return value.replace(tzinfo=None)
    if isinstance(value, date):
        return datetime.combine(value, time())
    if value is not None:
        given.complain(f"{key} must be a date such as 2026-05-31, but is {as_written(value)}")
    return None


def _check_headings(given: CheckedTable, section: TableMapping, table: Table) -> None:
    """Complain of headings that the table lacks; parameters are checked with the catalogue."""
    ours = table.headings
    named: dict[str, Iterable[str]] = {
        "columns": section.columns,
        "values": section.values,
        "default": section.defaults,
        "units": section.units,
    }
    for key, names in named.items():
        for name in names:
            if name not in ours and not (table is COMBINED and key in {"columns", "units"}):
                words = unknown_name("heading", name, ours).removesuffix(".")
                given.complain(f"{key}: {words}")
    for name, value in section.defaults.items():
        if name == value:
            given.complain(f"default: {name} cannot be filled from itself")
    folded = [fold(theirs) for theirs in section.columns.values()]
    for name, theirs in section.columns.items():
        if not fold(theirs):
            given.complain(f"columns: {name} needs a heading of the file, but is {theirs!r}")
        elif table is COMBINED and name not in ours and folded.count(fold(theirs)) > 1:
            given.complain(f"columns: {theirs!r} cannot be {name} and another column as well")


def _check_units(given: CheckedTable, section: TableMapping) -> None:
    for name, unit in section.units.items():
        if name in KEPT_IN:
            found = conversion(unit, KEPT_IN[name])
            if isinstance(found, str):
                given.complain(f"units: {name}: {found.removesuffix('.')}")
        elif section.table != COMBINED.name:
            known = ", ".join(n for n in KEPT_IN if n in SECTIONS[section.table].headings)
            given.complain(f"units: {name} has no unit; those that have: {known or 'none'}")


def _unknown(section: TableMapping, catalogue: Catalogue, file: str) -> list[str]:
    """Say which names on our side the catalogue lacks, one sentence each."""
    table = SECTIONS[section.table]
    columns = {column.name: column for column in table.columns}
    problems = []
    for heading, pairs in section.values.items():
        known = known_values(columns[heading], catalogue)
        problems += [
            f"{section.table}.values.{heading}: {as_key(theirs)}: "
            f"{unknown_name(heading, ours, known).removesuffix('.')} ({file})"
            for theirs, ours in pairs.items()
            if ours and known and ours not in known
        ]
    for heading, value in section.defaults.items():
        known = known_values(columns[heading], catalogue)
        if known and value not in known and value not in columns:
            words = unknown_name(heading, value, known).removesuffix(".")
            problems.append(f"{section.table}.default: {words} ({file})")
    named = [*section.columns, *section.units] if table is COMBINED else []
    ours = [*columns, *catalogue.parameters]
    problems += [
        f"{section.table}: {unknown_name('column', name, ours).removesuffix('.')} ({file})"
        for name in dict.fromkeys(named)
        if name not in ours
    ]
    return problems


def known_values(column: Column, catalogue: Catalogue) -> Sequence[str]:
    """Return the values that a column may take; empty where it takes any."""
    if column.kind == "yes-no":
        return ("yes", "no")
    if column.choices:
        return column.choices
    return tuple(catalogue.by_kind().get(column.known_as, ()))


def choose_section(
    mapping: Mapping, headings: Iterable[str], file: str, *, fits_plainly: bool
) -> TableMapping | None:
    """Return the section that a file is read by, None where it is read by its own headings.

    A section whose `file` matches is meant. Else a section is meant where the file has all its
    headings, and of several the one with the most; a file that has our headings needs none.

    Raises
    ------
    InputError
        If the headings that a section names are not in the file, or two sections fit alike.
    """
    held = {fold(heading) for heading in headings}
    sections = [section for section in mapping.tables if not section.made_from]
    named = [section for section in sections if section.file and _matches(file, section.file)]
    open_to_all = [section for section in sections if not section.file and section.columns]
    fits = named or [section for section in open_to_all if not _missing(section, held)]
    most = max((len(section.columns) for section in fits), default=0)
    best = [section for section in fits if len(section.columns) == most]
    if len(best) > 1:
        names = " and ".join(f"[{section.table}]" for section in best)
        raise InputError(
            f"{file}: {names} of {mapping.name} fit it alike; say which one with file = {file!r}."
        )
    if not best:
        if fits_plainly or not open_to_all:
            return None
        best = [min(open_to_all, key=lambda section: len(_missing(section, held)))]
    missing = _missing(best[0], held)
    if missing:
        ours, theirs = missing[0]
        raise InputError(
            f"{file}: [{best[0].table}.columns] of {mapping.name} says "
            f"{as_key(ours)} = {theirs!r}, but the file has no such heading."
        )
    return best[0]


def _missing(section: TableMapping, held: set[str]) -> list[tuple[str, str]]:
    return [(o, t) for o, t in section.columns.items() if fold(t) not in held]


def _matches(file: str, pattern: str) -> bool:
    wanted = re.escape(fold(pattern)).replace(r"\*", ".*").replace(r"\?", ".")
    return re.fullmatch(wanted, fold(file)) is not None
