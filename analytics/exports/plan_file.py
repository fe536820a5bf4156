"""A whole plan as one file: a workbook with a sheet for each part, iCalendar, or a PDF."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from analytics.errors import PlanError
from analytics.exports.formulas import neutralise
from analytics.exports.plan_calendar import calendar_of
from analytics.exports.plan_pdf import pdf_of
from analytics.planning import tables
from analytics.planning.versions import Version


def write_plan(version: Version, path: Path, form: str) -> None:
    """Write one version of the plan.

    Parameters
    ----------
    version
        What is written.
    path
        The file to make, whole or not at all.
    form
        `xlsx`, `ics` or `pdf`.

    Raises
    ------
    PlanError
        If the file cannot be written, or a PDF is asked for where its library is not installed.
    """
    content = plan_bytes(version, form)
    beside = path.with_name(f"{path.name}.part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    except OSError as error:
        raise PlanError(f"{path} cannot be written: {error.strerror}.") from error
    finally:
        beside.unlink(missing_ok=True)


def plan_bytes(version: Version, form: str) -> bytes:
    """Return the content of the file that `write_plan` writes."""
    return PLAN_FORMS[form](version)


def plan_tables(version: Version) -> dict[str, pd.DataFrame]:
    """Return the parts of a plan that belong into a file, by name."""
    plan, inputs = version.plan, version.inputs
    rows = {
        "visits": tables.visit_rows(plan),
        "jobs": tables.job_rows(plan),
        "left-out": tables.left_out_rows(plan),
        "limits": tables.limit_rows(plan, inputs),
        "days": tables.day_rows(plan, inputs),
        "worth": tables.worth_rows(plan),
        "versions": tables.version_rows([version]),
    }
    return {part: tables.framed(part, found) for part, found in rows.items()}


def _workbook(version: Version) -> bytes:
    stream = io.BytesIO()
    options = {"strings_to_formulas": False, "strings_to_urls": False, "nan_inf_to_errors": False}
    with pd.ExcelWriter(
        stream, engine="xlsxwriter", datetime_format="yyyy-mm-dd",
        engine_kwargs={"options": options},
    ) as writer:  # fmt: skip
        for part, table in plan_tables(version).items():
            neutralise(table).to_excel(writer, sheet_name=part, index=False)
            sheet = writer.sheets[part]
            sheet.freeze_panes(1, 0)
            for place, column in enumerate(table.columns):
                longest = table[column].astype(str).str.len().max() if len(table) else 0
                sheet.set_column(place, place, min(max(longest, len(column)) + 2, 60))
    return stream.getvalue()


PLAN_FORMS: dict[str, Callable[[Version], bytes]] = {
    "xlsx": _workbook,
    "ics": calendar_of,
    "pdf": pdf_of,
}
