"""One answer as one file or stream: the table alone, full precision, empty where undefined."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Callable
from dataclasses import fields
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

import pandas as pd

from analytics.answer import Answer, Basis, say
from analytics.exports.formulas import neutralise


def write_answer(
    answer: Answer, target: Path | str | BinaryIO, form: str, *, with_basis: bool = False
) -> None:
    """Write the table of an answer.

    Parameters
    ----------
    answer
        What is written.
    target
        A file to make, whole or not at all, or a binary stream.
    form
        `csv`, `json`, `xlsx` or `parquet`.
    with_basis
        JSON only: an object with rows, basis, reading and notes instead of a bare list of rows.
        XLSX always has them on a second sheet; CSV and Parquet never.

    Conventions
    -----------
    A header, a decimal point, every digit that the number has, no total row; instants as
    `2024-05-31T06:30:00`. CSV and XLSX: text that would run as a formula gets an apostrophe.
    """
    content = _WRITERS[form](answer, with_basis)
    if isinstance(target, (str, Path)):
        _write_whole(Path(target), content)
    else:
        target.write(content)


def _write_whole(path: Path, content: bytes) -> None:
    """Write beside the file first, so that nobody finds half of it."""
    beside = path.with_name(f"{path.name}.part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def basis_rows(answer: Answer) -> list[tuple[str, str]]:
    """Spread basis, reading and notes as name and text, for people to read."""
    basis = answer.basis
    rows = [("question", answer.question), ("reading", say(answer.reading))]
    for field in fields(Basis):
        value = getattr(basis, field.name)
        if field.name in ("filters", "left_out"):
            rows += [(f"{field.name}: {name}", _text(part)) for name, part in value.items()]
        else:
            rows.append((field.name, _text(value)))
    return rows + [("note", say(note)) for note in answer.notes]


def _text(value: Any) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, tuple):
        return ", ".join(value)
    return str(value)


def _csv(answer: Answer, _with_basis: bool) -> bytes:
    text = io.StringIO()
    table = neutralise(_dated_as_text(answer.table))
    table.to_csv(text, index=False, lineterminator="\n")
    return text.getvalue().encode()


def _json(answer: Answer, with_basis: bool) -> bytes:
    rows = [
        {name: _plain(value) for name, value in row.items()}
        for row in _dated_as_text(answer.table).to_dict("records")
    ]
    if not with_basis:
        return (json.dumps(rows, ensure_ascii=False, indent=1) + "\n").encode()
    whole = {
        "rows": rows,
        "basis": {field.name: _plain(getattr(answer.basis, field.name)) for field in fields(Basis)},
        "reading": say(answer.reading),
        "notes": [say(note) for note in answer.notes],
    }
    return (json.dumps(whole, ensure_ascii=False, indent=1) + "\n").encode()


def _plain(value: Any) -> Any:
    """Turn one value into what JSON knows; what is undefined is null."""
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, dict) or hasattr(value, "items"):
        return {name: _plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    if hasattr(value, "item"):  # numpy's own numbers
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _parquet(answer: Answer, _with_basis: bool) -> bytes:
    stream = io.BytesIO()
    answer.table.to_parquet(stream, index=False)
    return stream.getvalue()


def _xlsx(answer: Answer, _with_basis: bool) -> bytes:
    stream = io.BytesIO()
    basis = pd.DataFrame(basis_rows(answer), columns=["name", "value"])
    table = neutralise(answer.table)
    options = {"strings_to_formulas": False, "strings_to_urls": False, "nan_inf_to_errors": False}
    with pd.ExcelWriter(
        stream,
        engine="xlsxwriter",
        datetime_format="yyyy-mm-dd hh:mm",
        engine_kwargs={"options": options},
    ) as writer:
        for name, frame in ((answer.question, table), ("basis", neutralise(basis))):
            frame.to_excel(writer, sheet_name=name, index=False)
            sheet = writer.sheets[name]
            sheet.freeze_panes(1, 0)
            for place, column in enumerate(frame.columns):
                longest = frame[column].astype(str).str.len().max() if len(frame) else 0
                sheet.set_column(place, place, min(max(longest, len(column)) + 2, 60))
    return stream.getvalue()


def _dated_as_text(table: pd.DataFrame) -> pd.DataFrame:
    """Write instants as ISO 8601, whatever their time of day."""
    dated = table.select_dtypes("datetime").columns
    return table.assign(
        **{name: table[name].map(pd.Timestamp.isoformat, na_action="ignore") for name in dated}
    )


_WRITERS: dict[str, Callable[[Answer, bool], bytes]] = {
    "csv": _csv,
    "json": _json,
    "xlsx": _xlsx,
    "parquet": _parquet,
}
FORMATS = tuple(_WRITERS)
