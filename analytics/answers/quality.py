"""What is missing from the record: empty cells, days without inspection, counters that stand."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.ground import Ground, is_one_of, lay_ground, text_of
from analytics.answers.inspected import inspected as by_inspection
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = ("table", "column", "filled_share", "days_without_inspection", "counters_still", "note")
STILL_DAYS = 14
# The optional columns that figures rest on, by table, each with what an empty cell costs.
ASKED: dict[str, dict[str, str]] = {
    "locomotives": {
        "depot": "quality.no_depot",
        "in_service_from": "quality.no_age",
        "records_from": "quality.no_begin",
    },
    "usage": {"engine_hours": "quality.no_hours", "km": "quality.no_km"},
    "inspections": {
        "depot": "quality.no_depot",
        "engine_hours": "quality.no_hours",
        "km": "quality.no_km",
        "outcome": "quality.no_outcome",
        "signed": "",
    },
    "findings": {
        "position": "quality.no_position",
        "severity": "quality.no_severity",
        "action": "quality.no_action",
        "closed_at": "quality.no_closing",
        "down_hours": "quality.no_sum",
        "cost": "quality.no_sum",
    },
    "work": {
        "position": "quality.no_position",
        "labour_hours": "quality.no_sum",
        "cost": "quality.no_sum",
    },
    "out_of_use": {"to_at": "quality.no_return", "reason": ""},
    "readings": {"unit": "quality.no_unit", "running_state": ""},
}
_DATED = {
    "usage": "read_at", "inspections": "inspected_at", "findings": "found_at", "work": "done_at",
    "out_of_use": "from_at", "readings": "read_at",
}  # fmt: skip
_WRITTEN = {"to_at": "to"}  # as the input calls it
_CLOCK_OF = {"engine_hours": "hours", "km": "km"}


def quality(reader: Reader, scope: Scope, *, inspections: bool = False) -> Answer:
    """Show how complete the record is, for the locomotives, depots and period in scope.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Depots are those of the register. The clock, the counting
        rule and the level are not used.
    inspections
        What inspections write and let pass instead, see `analytics.answers.inspected`.

    Returns
    -------
    Answer
        A row per table and column: the share of its rows in force that are filled (empty where the
        table has none), for inspections the locomotive-days in use without one, for counters how
        many locomotives show one value over 14 days in use or more, and what empty cells cost.
    """
    if inspections:
        return by_inspection(reader, scope)
    ground = lay_ground(reader, scope)
    inspected = _inspected(ground)
    still = _still(ground)
    rows = [row for table in ASKED for row in _rows(table, ground)]
    counted = _counter_table(rows)
    for row in rows:
        if row["table"] == "inspections" and row["column"] == "outcome":
            row["days_without_inspection"] = inspected["days"]
        if row["table"] == counted and row["column"] in _CLOCK_OF:
            row["counters_still"] = still.get(_CLOCK_OF[row["column"]], 0)
    table = pd.DataFrame(rows, columns=["rows", *COLUMNS])
    for column in ("days_without_inspection", "counters_still"):
        table[column] = table[column].astype("Int64")
    findings = int(table.loc[table["table"] == "findings", "rows"].iloc[0])
    basis = make_basis(ground, "rows in force", events=findings)
    notes = _notes(table, inspected)
    return Answer("quality", table[list(COLUMNS)], basis, _reading(table, inspected), notes)


def _rows(table: str, ground: Ground) -> list[dict[str, Any]]:
    columns = ASKED[table]
    filled = ", ".join(f"count(*) FILTER ({_filled(column)}) AS {column}" for column in columns)
    counts = ground.rows(f"SELECT count(*) AS rows, {filled} FROM ({_current(table, ground)})")
    number = int(counts["rows"].iloc[0])
    rows = []
    for column, cost in columns.items():
        share = float(counts[column].iloc[0]) / number if number else math.nan
        key = "quality.no_rows" if not number else cost if share < 1 else ""
        rows.append(
            {
                "rows": number,
                "table": table,
                "column": _WRITTEN.get(column, column),
                "filled_share": share,
                "note": say(Message(key)) if key else "",
            }
        )
    return rows


def _filled(column: str) -> str:
    """A class with one position needs none written."""
    if column != "position":
        return f"{column} IS NOT NULL"
    return "position IS NOT NULL OR places = 1"


def _current(table: str, ground: Ground) -> str:
    """Return the SELECT of the rows in force, in scope and in the period."""
    mine = f"locomotive IN (SELECT locomotive FROM asked_record WHERE {_kept(ground)})"
    query = ground.in_force(table, mine)
    conditions = []
    if table in _DATED:
        dated = _DATED[table]
        conditions.append(f"{dated} >= '{ground.since}' AND {dated} < '{ground.until}'")
    if table in ("findings", "work"):
        conditions.append(is_one_of("component", ground.scope.components))
        query = (
            "SELECT f.*, p.positions AS places FROM"
            f" ({query}) AS f JOIN asked_record AS r USING (locomotive) LEFT JOIN asked_place AS p"
            " ON p.class = r.class AND p.component = f.component"
        )
    return f"SELECT * FROM ({query}) WHERE {' AND '.join(conditions) or 'true'}"


def _kept(ground: Ground) -> str:
    return is_one_of("depot", ground.scope.depots)


def _inspected(ground: Ground) -> dict[str, int]:
    query = text_of("uninspected.sql").format(
        kept=_kept(ground),
        out_of_use=ground.in_force("out_of_use"),
        inspections=ground.in_force("inspections"),
    )
    found = ground.rows(query, since=ground.since, until=ground.until).iloc[0]
    return {"days": int(found["days"]), "never": int(found["never"])}


def _still(ground: Ground) -> dict[str, int]:
    query = text_of("still.sql").format(**ground.sources, kept=_kept(ground), days=STILL_DAYS)
    found = ground.rows(query, since=ground.since, until=ground.until)
    return dict(zip(found["clock"], found["locomotives"].astype(int), strict=True))


def _counter_table(rows: list[dict[str, Any]]) -> str:
    """Name the table that counters mostly come from."""
    used = any(row["table"] == "usage" and row["rows"] for row in rows)
    return "usage" if used else "inspections"


def _reading(table: pd.DataFrame, inspected: dict[str, int]) -> Message:
    findings = table[table["table"] == "findings"]
    if not findings["rows"].iloc[0]:
        return Message("quality.nothing")
    share = findings.set_index("column")["filled_share"]
    return Message(
        "quality.reading",
        findings=int(findings["rows"].iloc[0]),
        action=100 * float(share["action"]),
        position=100 * float(share["position"]),
        days=inspected["days"],
    )


def _notes(table: pd.DataFrame, inspected: dict[str, int]) -> tuple[Message, ...]:
    notes = []
    still = int(table["counters_still"].max()) if table["counters_still"].notna().any() else 0
    if still:
        notes.append(Message("quality.still", locomotives=still, days=STILL_DAYS))
    if inspected["never"]:
        notes.append(Message("quality.never_inspected", locomotives=inspected["never"]))
    return tuple(notes)
