"""The rules a row must keep, each one SQL predicate with a name, a column and a reason.

A rule reads one row of `in_judged_TABLE` (see `check`): `x_HEADING` is the cell as written (outer
blanks cut, NULL where empty), `v_HEADING` what it means, and the looked-up columns beside them.
Rules of shape look at the row alone; the others at the catalogue, the register and the clock.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from analytics.intake.readers import text_literal
from analytics.intake.tables import Column, Table
from analytics.intake.totals import TOTALS_ROW

ISO_INSTANT = (
    r"\d{4}-\d{2}-\d{2}([ T]([01]\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d{1,6})?)?)?"  # 24:00 is no time
)
EXAMPLE_LOCOMOTIVE = "EXAMPLE-ROW"  # of the row that shows how the template is filled in
NUMBER = r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?"


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: `broken` (SQL, true where a row breaks it) and `reason` (SQL, plain words)."""

    name: str
    column: str
    broken: str
    reason: str


def meaning(column: Column) -> str:
    """Return SQL for what a cell means: NULL where it is empty or cannot be read."""
    cell = f"x_{column.name}"
    if column.kind == "instant":
        return (
            f"CASE WHEN regexp_full_match({cell}, '{ISO_INSTANT}') AND left({cell}, 4) <> '0000' "
            f"THEN TRY_CAST({cell} AS TIMESTAMP) END"
        )
    if column.kind == "number":
        return (
            f"CASE WHEN regexp_full_match({cell}, '{NUMBER}') AND isfinite(TRY_CAST({cell} AS "
            f"DOUBLE)) THEN CAST({cell} AS DOUBLE) END"
        )
    if column.kind == "choice":
        words = ", ".join(text_literal(word) for word in column.choices)
        return f"CASE WHEN lower({cell}) IN ({words}) THEN lower({cell}) END"
    if column.kind == "yes-no":
        return f"CASE lower({cell}) WHEN 'yes' THEN true WHEN 'no' THEN false END"
    return cell


def rules_of_shape(table: Table) -> list[Rule]:
    """Return the rules that a row breaks by itself, whatever the store holds."""
    totals = f"broken = {text_literal(TOTALS_ROW)}"
    rules = [
        Rule("totals-row", "", totals, "broken || '.'"),
        Rule("broken-line", "", "broken IS NOT NULL", "broken || '.'"),
    ]
    rules.append(_no_example())
    for column in table.columns:
        if column.required:
            words = f"{column.name} is empty, but {table.name} needs it in every row: fill it in."
            rules.append(
                Rule(
                    "missing",
                    column.name,
                    f"broken IS NULL AND x_{column.name} IS NULL",
                    text_literal(words),
                )
            )
    rules += [rule for column in table.columns if (rule := _form(column))]
    return rules


def rules_of_context(table: Table, now: datetime) -> list[Rule]:
    """Return the rules that ask the catalogue, the register or the clock (`now`, local time)."""
    rules: list[Rule] = []
    for column in table.columns:
        if column.known_as:
            words = f"u_{column.name}"
            broken = f"{words} IS NOT NULL"
            if column.name == "locomotive":
                broken += f" AND NOT ({_no_example().broken})"
            rules.append(Rule("unknown-name", column.name, broken, words))
    columns = {column.name for column in table.columns}
    if "component" in columns:
        rules += _place_rules()
    if "unit" in columns:
        rules += _unit_rules()
    for column in table.columns:
        if column.counted:
            rules.append(_not_negative(column.name))
    for column in table.columns:
        if column.observed:
            rules.append(_not_later(column.name, now))
    return rules + _order_rules(table) + _record_rules(table)


def shown(heading: str) -> str:
    """Return SQL for a cell as written, in quotation marks, cut where it is very long."""
    return f"'''' || left(x_{heading}, 60) || ''''"


def plain_number(sql: str) -> str:
    """Return SQL that writes a number without a trailing `.0`."""
    return f"regexp_replace(round({sql}, 6)::VARCHAR, '\\.0$', '')"


def plain_instant(sql: str) -> str:
    """Return SQL that writes an instant; a midnight as the date alone."""
    return f"replace(strftime({sql}, '%Y-%m-%d %H:%M'), ' 00:00', '')"


def _form(column: Column) -> Rule | None:
    wanted = {
        "instant": ("date", "is not a date: write it like 2026-05-31 or 2026-05-31 06:30."),
        "number": ("number", "is not a number: write digits with a decimal point, like 1234.5."),
        "choice": ("choice", f"is not one of {', '.join(column.choices)}."),
        "yes-no": ("choice", "is neither yes nor no."),
    }
    if column.kind not in wanted:
        return None
    name, words = wanted[column.kind]
    broken = f"x_{column.name} IS NOT NULL AND v_{column.name} IS NULL"
    return Rule(name, column.name, broken, _said(column.name, words))


def _said(heading: str, words: str) -> str:
    return f"'{heading} ' || {shown(heading)} || {text_literal(' ' + words)}"


def _no_example() -> Rule:
    return Rule(
        "example-row",
        "locomotive",
        f"coalesce(x_locomotive = '{EXAMPLE_LOCOMOTIVE}', false)",
        text_literal("this is the example row of the template: delete it."),
    )


def _place_rules() -> list[Rule]:
    none = (
        "'a locomotive of class ' || of_class || ' has no ' || x_component || "
        "': the catalogue allows 0 of it.'"
    )
    strange = (
        "'locomotive ' || x_locomotive || ' is of class ' || of_class || "
        "', which the catalogue does not have: add the class or correct the register.'"
    )
    return [
        Rule(
            "unknown-class",
            "locomotive",
            "of_class IS NOT NULL AND u_component IS NULL AND places IS NULL AND x_component "
            "IS NOT NULL",
            strange,
        ),
        Rule("no-such-part", "component", "places = 0", none),
        Rule("position", "position", "place_fault IS NOT NULL", "place_fault"),
    ]


def _unit_rules() -> list[Rule]:
    written = f"'value ' || {shown('value')} || coalesce(' ' || x_unit, '')"
    changed = f"CASE WHEN x_unit <> unit THEN ' is ' || {plain_number('v_value_in_unit')} || ' ' "
    changed += "|| unit || ' and' ELSE '' END"
    bounds = (
        f"CASE WHEN physical_min IS NULL THEN 'at most ' || {plain_number('physical_max')} "
        f"WHEN physical_max IS NULL THEN 'at least ' || {plain_number('physical_min')} "
        f"ELSE {plain_number('physical_min')} || ' to ' || {plain_number('physical_max')} END"
    )
    reason = (
        f"{written} || {changed} || ' lies outside what the catalogue says is possible for ' || "
        f"x_parameter || ' (' || {bounds} || ' ' || unit || '): check the value and its unit.'"
    )
    outside = "v_value_in_unit < physical_min OR v_value_in_unit > physical_max"
    return [
        Rule("unit", "unit", "unit_fault IS NOT NULL", "unit_fault"),
        Rule("physical-range", "value", outside, reason),
    ]


def _not_negative(heading: str) -> Rule:
    return Rule("negative", heading, f"v_{heading} < 0", _said(heading, "is below zero."))


def _not_later(heading: str, now: datetime) -> Rule:
    instant = text_literal(now.isoformat(sep=" "))
    words = "lies in the future: what was seen cannot be later than the hand-in."
    return Rule("future", heading, f"v_{heading} > TIMESTAMP {instant}", _said(heading, words))


def _order_rules(table: Table) -> list[Rule]:
    """Return the rules that one instant of a row cannot lie before another."""
    pairs = {
        "findings": ("closed_at", "found_at"),
        "out_of_use": ("to", "from"),
        "locomotives": ("in_service_to", "in_service_from"),
    }
    if table.name not in pairs:
        return []
    later, earlier = pairs[table.name]
    reason = f"'{later} ' || {shown(later)} || ' lies before {earlier} ' || {shown(earlier)} || '.'"
    return [Rule("order", later, f"v_{later} < v_{earlier}", reason)]


def _record_rules(table: Table) -> list[Rule]:
    """Return the rules that a row must lie within its locomotive's record, both ends included."""
    known = "on the register: correct the date, or the register."
    before = "' lies before the record of locomotive ' || x_locomotive || ' begins, ' || "
    after = "' lies after locomotive ' || x_locomotive || ' left the record, ' || "
    # A modification may be older than the records, but not older than the locomotive in service;
    # a stretch out of use may reach over either end.
    first = {"modifications": ("done_at", "entered"), "out_of_use": ("to", "begins")}
    last = {"modifications": "done_at", "out_of_use": "from"}
    begin_heading, begin = first.get(table.name, (table.happened, "begins"))
    end_heading = last.get(table.name, table.happened)
    if not begin_heading:
        return []
    early = f"'{begin_heading} ' || {shown(begin_heading)} || {before}{plain_instant(begin)}"
    late = f"'{end_heading} ' || {shown(end_heading)} || {after}{plain_instant('ends')}"
    return [
        Rule(
            "outside-record",
            begin_heading,
            f"v_{begin_heading} < {begin}",
            f"{early} || {text_literal(' ' + known)}",
        ),
        Rule(
            "outside-record",
            end_heading,
            f"v_{end_heading} > ends",
            f"{late} || {text_literal(' ' + known)}",
        ),
    ]
