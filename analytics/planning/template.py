"""Files to fill in: a workbook or TOML with every table, empty but for examples, or a whole one."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import date
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import Any

from analytics.errors import PlanError
from analytics.planning.forms import DAYS_OF_WEEK, FORMS, PER, WEEKDAYS, Column
from analytics.planning.inputs import EVERY_DAY, Days, PlanInputs
from analytics.planning.read_inputs import EXAMPLE
from analytics.planning.rows import EXPLAINED, rows_of_text

_NOTICE = f"Write over the examples or take them out: a row with {EXAMPLE} in it is refused."
_LAST_ROW = 500
_WIDTH = 18


def write_template(path: Path) -> None:
    """Write a file to fill in, `.xlsx` or `.toml`; its examples are marked.

    Raises
    ------
    PlanError
        For another ending, or a file that cannot be written.
    """
    rows = {table: [_example_row(table)] for table in FORMS}
    _write(path, rows, explained=True)


def write_example(path: Path) -> None:
    """Write a whole example, `.xlsx` or `.toml`, of an invented workshop."""
    rows: dict[str, list[Mapping[str, Any]]] = {}
    for row in rows_of_text(example_text(), "example.toml"):
        rows.setdefault(row.table, []).append(row.cells)
    _write(path, rows, explained=False)


def example_text() -> str:
    """Return the shipped example as TOML."""
    return (files("analytics.planning") / "example.toml").read_text(encoding="utf-8")


def to_toml(inputs: PlanInputs) -> str:
    """Write inputs as the text of a TOML file that reads back as the same."""
    return _toml(
        {
            "plan": [
                {
                    "weeks": inputs.weeks, "first_day": inputs.first_day,
                    "mend_days": inputs.mend_days, "mend_hours": dict(inputs.mend_hours),
                }
            ],
            "costs": [{"day_out": inputs.costs.day_out, "labour_hour": inputs.costs.labour_hour}],
            "class_costs": [
                {"class": name, "day_out": cost}
                for name, cost in inputs.costs.day_out_of_class.items()
            ],
            "failure_costs": [
                {"component": name, "cost": cost} for name, cost in inputs.costs.failure_of.items()
            ],
            **_limits(inputs),
        }
    )  # fmt: skip


def _limits(inputs: PlanInputs) -> dict[str, list[dict[str, Any]]]:
    return {
        "berths": [
            {
                "berth": one.name, **_days(one.open, "open"), "classes": list(one.classes),
                "jobs": list(one.jobs),
            }
            for one in inputs.berths
        ],
        "closed": [
            {"berth": one.name, "from": begin, "to": end}
            for one in inputs.berths
            for begin, end in one.open.without
        ],
        "labour": [
            {"skill": one.skill, "hours": one.hours, **_days(one.days, "days")}
            for one in inputs.labour
        ],
        "jobs": [
            {
                "job": one.name, "components": list(one.components), "per": one.per,
                "days": one.days, "hours": dict(one.hours), "parts": dict(one.parts),
                "cost": one.cost,
            }
            for one in inputs.jobs
        ],
        "spares": [
            {"spare": one.name, "on_hand": one.on_hand, "keep": one.keep, "cost": one.cost}
            for one in inputs.spares
        ],
        "orders": [
            {"spare": one.name, "due": due, "number": number}
            for one in inputs.spares
            for due, number in one.on_order
        ],
        "visits": [
            {
                "locomotive": one.locomotive, "visit": one.name, "earliest": one.earliest,
                "latest": one.latest, "days": one.days, "hours": dict(one.hours),
                "parts": dict(one.parts),
            }
            for one in inputs.visits
        ],
        "traffic": [
            {"class": one.class_name, "least": one.least, **_days(one.days, "days")}
            for one in inputs.traffic
        ],
    }  # fmt: skip


def _days(days: Days, column: str) -> dict[str, Any]:
    named = [WEEKDAYS[number] for number in days.weekdays] if days.weekdays != EVERY_DAY else []
    return {column: named, "from": days.first, "to": days.last}


def _example_row(table: str) -> dict[str, Any]:
    """Return the row of examples, one cell marked, so that none is ever taken for the depot's."""
    columns = FORMS[table].columns
    row = {name: column.example for name, column in columns.items() if column.example is not None}
    marked = next((name for name in row if columns[name].needed), next(iter(row)))
    return row | {marked: f"{EXAMPLE} {row[marked]}"}


def _write(path: Path, rows: Mapping[str, Iterable[Mapping[str, Any]]], *, explained: bool) -> None:
    ending = path.suffix.lower()
    if ending not in (".xlsx", ".toml"):
        raise PlanError(f"{path} should end in .xlsx or .toml.")
    content = _toml(rows, explained).encode() if ending == ".toml" else _workbook(rows, explained)
    try:
        path.write_bytes(content)
    except OSError as error:
        raise PlanError(f"{path} cannot be written: {error.strerror}.") from error


def _toml(rows: Mapping[str, Iterable[Mapping[str, Any]]], explained: bool = False) -> str:
    lines: list[str] = []
    for table, form in FORMS.items():
        each = list(rows.get(table, []))
        if explained:
            needed = "" if table in ("costs", "berths") else "; may be left out"
            lines.append(f"# {form.said}{needed}")
        for cells in each:
            lines.append(f"[{table}]" if form.single else f"[[{table}]]")
            for name, column in form.columns.items():
                value = cells.get(name)
                if value is None or value in ([], {}, ()):
                    lines += [f"# {name} =   # {column.said}"] if explained else []
                    continue
                said = f"  # {column.said}" if explained else ""
                lines.append(f"{name} = {_value(value)}{said}")
            lines.append("")
    if explained:
        lines.insert(0, f"# {_NOTICE}\n")
    return "\n".join(lines)


def _value(value: Any) -> str:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    if isinstance(value, Mapping):
        pairs = (f"{_text(name)} = {_value(amount)}" for name, amount in value.items())
        return "{ " + ", ".join(pairs) + " }"
    return _text(value) if isinstance(value, str) else repr(value)


def _text(value: str) -> str:
    """Write a basic string: JSON's escapes are TOML's, but for the character DEL."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _workbook(rows: Mapping[str, Iterable[Mapping[str, Any]]], explained: bool) -> bytes:
    import xlsxwriter  # only when a workbook is asked for

    stream = BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(stream, options) as book:
        bold = book.add_format({"bold": True, "bottom": 1})
        dated = book.add_format({"num_format": "yyyy-mm-dd"})
        marked = book.add_format({"italic": True}) if explained else None
        _explain(book.add_worksheet(EXPLAINED), bold, _NOTICE if explained else "")
        for table, form in FORMS.items():
            sheet = book.add_worksheet(table)
            sheet.freeze_panes(1, 0)
            for place, (name, column) in enumerate(form.columns.items()):
                sheet.write_string(0, place, name, bold)
                sheet.write_comment(0, place, column.said)
                sheet.set_column(place, place, _WIDTH)
                _choose(sheet, place, column)
            for line, cells in enumerate(rows.get(table, []), 1):
                sheet.set_row(line, None, marked)
                for place, name in enumerate(form.columns):
                    _fill(sheet, (line, place), cells.get(name), dated)
    return stream.getvalue()


def _explain(sheet: Any, bold: Any, notice: str) -> None:
    for place, head in enumerate(("sheet", "column", "what it is", "must be filled")):
        sheet.write_string(0, place, head, bold)
    line = 1
    for table, form in FORMS.items():
        sheet.write_row(line, 0, [table, "", form.said])
        for name, column in form.columns.items():
            line += 1
            sheet.write_row(line, 0, ["", name, column.said, "yes" if column.needed else ""])
        line += 1
    if notice:
        sheet.write_string(line + 1, 0, notice, bold)
    sheet.set_column(0, 1, _WIDTH)
    sheet.set_column(2, 2, 70)


def _choose(sheet: Any, place: int, column: Column) -> None:
    choices = {PER: ["locomotive", "position"], DAYS_OF_WEEK: ["Mon-Fri", "Mon-Sat", "Mon-Sun"]}
    if column.holds in choices:
        sheet.data_validation(
            1, place, _LAST_ROW, place,
            {"validate": "list", "source": choices[column.holds], "error_type": "information"},
        )  # fmt: skip


def _fill(sheet: Any, at: tuple[int, int], value: Any, dated: Any) -> None:
    if isinstance(value, Mapping):
        value = "; ".join(f"{name} {amount:g}" for name, amount in value.items())
    if isinstance(value, (list, tuple)):
        value = "; ".join(str(one) for one in value)
    if isinstance(value, date):
        sheet.write_datetime(*at, value, dated)
    elif isinstance(value, str):
        sheet.write_string(*at, value)
    elif value is not None:
        sheet.write_number(*at, value)
