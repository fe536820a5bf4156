"""Checked TOML tables to the entries of a catalogue, and the references between them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache

from analytics.catalogue.checked_table import CheckedTable
from analytics.catalogue.model import (
    ANY_STATE,
    CLOCKS,
    EFFECTS,
    INSPECTION_KINDS,
    RUNNING_STATES,
    Action,
    Catalogue,
    Component,
    Limit,
    LocomotiveClass,
    Parameter,
    Term,
)
from analytics.errors import unknown_name

SECTIONS = ("class", "component", "action", "parameter", "defect", "system")
REQUIRED_SECTIONS = ("class", "component", "action")
GRACE_KEY = "first_life_grace"

# One unit, or several joined by * and /: "bar", "kg/L", "1/min". The units library alone would take
# "a b c" for a product of three units, and fail in many ways on punctuation.
_ONE_UNIT = r"(%|°?[^\W\d]\w*)((\^|\*\*)-?\d)?"
_UNIT = re.compile(rf"(1/)?{_ONE_UNIT}([*/]{_ONE_UNIT})*")

# Section, then name, then its table.
Tables = dict[str, dict[str, CheckedTable]]


def build_catalogue(
    tables: Tables, grace_days: int, problems: list[str], *, check_units: bool
) -> Catalogue:
    """Build the catalogue; what is wrong goes into `problems`, the shared list of all tables.

    Where `problems` is not empty afterwards, the catalogue holds placeholders and must not be used.
    """
    problems.extend(
        f"there is no [{section}.NAME] table; a catalogue needs at least one"
        for section in REQUIRED_SECTIONS
        if not tables[section]
    )
    components = {name: _component(name, t) for name, t in tables["component"].items()}
    defects = _terms(tables["defect"], (d for c in components.values() for d in c.defects))
    catalogue = Catalogue(
        classes={name: _class(name, t) for name, t in tables["class"].items()},
        components=components,
        actions={name: _action(name, t) for name, t in tables["action"].items()},
        parameters={name: _parameter(name, t) for name, t in tables["parameter"].items()},
        defects=defects,
        systems=_terms(tables["system"], (c.system for c in components.values())),
        first_life_grace_days=grace_days,
    )
    _check_references(catalogue, tables)
    if check_units:
        _check_units(catalogue, tables["parameter"])
    return catalogue


def _class(name: str, table: CheckedTable) -> LocomotiveClass:
    positions = table.table("positions", "{ fuel-injector = 16 }")
    entry = LocomotiveClass(
        name=name,
        positions={component: positions.count(component, 0) for component in positions.values},
        max_hours_per_day=table.number("max_hours_per_day", positive=True),
        max_km_per_day=table.number("max_km_per_day", positive=True),
        labels=table.labels(),
    )
    table.finish()
    return entry


def _component(name: str, table: CheckedTable) -> Component:
    entry = Component(
        name=name,
        system=table.text("system"),
        clock=table.choice("clock", CLOCKS),
        positions=table.count("positions", 1),
        defects=table.names("defects"),
        in_service=table.flag("in_service"),
        seen_by=table.names("seen_by", ("daily", "workshop"), allowed=INSPECTION_KINDS),
        safety=table.flag("safety"),
        labels=table.labels(),
    )
    table.finish()
    return entry


def _action(name: str, table: CheckedTable) -> Action:
    entry = Action(name, table.choice("effect", EFFECTS), table.labels())
    table.finish()
    return entry


def _parameter(name: str, table: CheckedTable) -> Parameter:
    physical = table.table("physical", "{ min = 0, max = 10 }")
    entry = Parameter(
        name=name,
        unit=table.text("unit", "dimensionless"),
        component=table.text("component", "") or None,
        reset_by=table.names("reset_by", ()),
        attend=_limits(table, "attend"),
        withhold=_limits(table, "withhold"),
        physical_min=physical.number("min"),
        physical_max=physical.number("max"),
        labels=table.labels(),
    )
    physical.expect_less("min", "max")
    physical.finish()
    table.finish()
    return entry


def _limits(table: CheckedTable, key: str) -> dict[str, Limit]:
    states = table.table(key, "{ idle = { above = 1.0 } }")
    limits = {}
    for state in (*RUNNING_STATES, ANY_STATE):
        bounds = states.table(state, "{ above = 1.0 }")
        if state not in states.values:
            continue
        limits[state] = Limit(above=bounds.number("above"), below=bounds.number("below"))
        if not bounds.values:
            bounds.complain("there must be a number for above, for below, or for both")
        bounds.expect_less("below", "above")
        bounds.finish()
    states.finish()
    return limits


def _terms(tables: dict[str, CheckedTable], used: Iterable[str]) -> dict[str, Term]:
    """Return the words used by components, then those described only, each with its labels."""
    labels = {name: table.labels() for name, table in tables.items()}
    for table in tables.values():
        table.finish()
    return {name: Term(name, labels.get(name, {})) for name in (*used, *labels)}


def _check_references(catalogue: Catalogue, tables: Tables) -> None:
    for name, entry in catalogue.classes.items():
        table = tables["class"][name].table("positions", "")
        for component in entry.positions:
            _expect_known(table, "component", component, catalogue.components)
    for name, parameter in catalogue.parameters.items():
        table = tables["parameter"][name]
        if parameter.component is not None:
            _expect_known(table, "component", parameter.component, catalogue.components)
        for action in parameter.reset_by:
            _expect_known(table, "reset_by: action", action, catalogue.actions)


def _expect_known(table: CheckedTable, kind: str, name: str, known: Iterable[str]) -> None:
    names = set(known)
    if name not in names:
        table.complain(unknown_name(kind, name, names).removesuffix("."))


def _check_units(catalogue: Catalogue, tables: dict[str, CheckedTable]) -> None:
    for name, parameter in catalogue.parameters.items():
        if not _is_unit(parameter.unit):
            words = f"unit {parameter.unit!r} is not known"
            tables[name].complain(f"{words}; write it like bar, mmH2O, degC, mm or percent")


@cache
def _is_unit(text: str) -> bool:
    import pint  # here: importing takes a quarter of a second, and most catalogues were checked

    if not _UNIT.fullmatch(text):
        return False
    try:
        pint.application_registry.parse_units(text)
    except (pint.PintError, ValueError, KeyError):  # KeyError: a power of zero
        return False
    return True
