"""One answer as one file: its table as Parquet, the rest as JSON in the file's metadata.

No pickle: a file that somebody left in the folder can be wrong, but it cannot run.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import fields
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from analytics.answer import Answer, Basis, Message

_META = b"shedbook"


def write_kept(answer: Answer, place: Path) -> None:
    """Write one answer, under another name first, so that no reader sees half of it.

    An answer that cannot be written (a full disk, a column of objects) is silently not kept.
    """
    rest = {
        "question": answer.question,
        "basis": {field.name: getattr(answer.basis, field.name) for field in fields(Basis)},
        "reading": answer.reading,
        "notes": answer.notes,
    }
    writing = place.with_suffix(f".{os.getpid()}")
    with suppress(OSError, pa.ArrowException, TypeError):
        table = pa.Table.from_pandas(answer.table)
        text = json.dumps(rest, default=to_json).encode()
        metadata = {**(table.schema.metadata or {}), _META: text}
        pq.write_table(table.replace_schema_metadata(metadata), writing)
        writing.replace(place)


def read_kept(place: Path) -> Answer | None:
    """Return the answer kept in a file; None where there is none or it is damaged."""
    try:
        table = pq.read_table(place)
        rest = json.loads((table.schema.metadata or {})[_META], object_hook=_from_json)
        basis = rest["basis"]
        basis["filters"] = {word: tuple(names) for word, names in basis["filters"].items()}
        return Answer(
            question=rest["question"],
            table=table.to_pandas(),
            basis=Basis(**basis),
            reading=rest["reading"],
            notes=tuple(rest["notes"]),
        )
    except (OSError, pa.ArrowException, KeyError, TypeError, ValueError):
        return None


def to_json(value: Any) -> Any:
    """Spread what JSON does not know; give it to `json.dumps` as `default`.

    Raises
    ------
    TypeError
        For anything else than messages, dates, mappings and numpy's numbers.
    """
    if isinstance(value, Message):
        return {"$key": value.key, "values": dict(value.values)}
    if isinstance(value, date):  # a datetime is one too
        return {"$datetime" if isinstance(value, datetime) else "$date": value.isoformat()}
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"{type(value).__name__} cannot be kept in the answer cache.")


def _from_json(found: dict[str, Any]) -> Any:
    if "$key" in found:
        return Message(found["$key"], **found["values"])
    if "$datetime" in found:
        return datetime.fromisoformat(found["$datetime"])
    if "$date" in found:
        return date.fromisoformat(found["$date"])
    return found
