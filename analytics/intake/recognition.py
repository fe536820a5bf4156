"""What a file is: by its own headings, or by the section of a mapping file that is meant."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from contextlib import suppress

from analytics.errors import InputError
from analytics.intake.mapping import SECTIONS, Mapping, TableMapping, choose_section, fold
from analytics.intake.tables import (
    COMBINED,
    FINDING_IN_A_ROW,
    ReadingColumn,
    Recognised,
    find_readings,
    is_reason,
    plain_heading,
    recognise,
    refuse_twice,
)


def recognise_by(
    mapping: Mapping, headings: Sequence[str], *, file: str, parameters: Collection[str]
) -> tuple[Recognised, TableMapping]:
    """Find what a header is; without a section for it, the section returned is empty.

    Raises
    ------
    InputError
        If no table fits, or the mapping names headings that the file lacks.
    """
    plain: Recognised | None = None
    with suppress(InputError):
        plain = recognise(headings, file=file, parameters=parameters)
    section = choose_section(mapping, headings, file, fits_plainly=plain is not None)
    if section is not None:
        where = f"{file}: [{section.table}] of {mapping.name}"
        return _mapped(section, headings, parameters, where)
    found = plain or recognise(headings, file=file, parameters=parameters)
    return found, TableMapping(found.table.name)


def _mapped(
    section: TableMapping, headings: Sequence[str], parameters: Collection[str], where: str
) -> tuple[Recognised, TableMapping]:
    table = SECTIONS[section.table]
    found = {ours: _place(theirs, headings, where) for ours, theirs in section.columns.items()}
    places = {ours: place for ours, place in found.items() if ours in table.headings}
    readings = [
        ReadingColumn(place, name, section.units.get(name, ""))
        for name, place in found.items()
        if name not in places
    ]
    used = set(found.values())
    for place, heading in enumerate(headings):
        name = plain_heading(heading)
        if name in table.headings and name not in places and place not in used:
            places[name] = place
    if table is COMBINED:
        own = find_readings(headings, parameters)
        readings += [column for column in own if column.place not in used]
        refuse_twice(readings, where)
    _refuse_lacking(section, places, readings, where)
    read = used | set(places.values()) | {column.place for column in readings}
    read |= {p for p, h in enumerate(headings) if not h.strip() or is_reason(plain_heading(h))}
    not_read = tuple(h for p, h in enumerate(headings) if p not in read)
    return Recognised(table, places, not_read, tuple(readings)), section


def _place(theirs: str, headings: Sequence[str], where: str) -> int:
    folded = [fold(heading) for heading in headings]
    if folded.count(fold(theirs)) > 1:
        raise InputError(f"{where}: the heading {theirs!r} stands twice; keep one of the columns.")
    return folded.index(fold(theirs))


def _refuse_lacking(
    section: TableMapping, places: Collection[str], readings: Collection[ReadingColumn], where: str
) -> None:
    table = SECTIONS[section.table]
    held = {*places, *section.defaults}
    needed = table.required
    if table is COMBINED and not readings:
        needed |= FINDING_IN_A_ROW
    lacking = [name for name in table.headings if name in needed - held]
    if lacking:
        raise InputError(
            f"{where} says no heading for {', '.join(lacking)}, which {table.name} needs."
        )
