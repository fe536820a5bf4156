"""Write the tables as three depots really hand them in, each with habits and slips of its own.

Mardelow: semicolons, decimal commas, day.month.year, Windows-1250. Quessary: workbooks for
findings and workshop sheets, CSV for the long tables. Tavrenick: a defect book with headings and
codes of its own, with the mapping file it needs, the rest plain. Then Mardelow and Quessary export
some findings again, with what was filled in later.

Bad rows are added behind the good ones of the first block, never put in their place, so that what
the store holds in the end is what the clean files of `write` say.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analytics.catalogue.model import Catalogue
from data_demo.parts import SEVERITIES
from data_demo.scenario import DEPOTS, Depot
from data_demo.simulate import TABLES, Block
from data_demo.write import AS_PARQUET, ONE_FILE, Files, Workbooks, as_text, is_bare_date, tables_of

Row = dict[str, Any]
MARDELOW, QUESSARY, TAVRENICK = (depot.name for depot in DEPOTS)
TOTALS_ROW = "totals-row"
_SHEETS = {
    "findings": "Quessary findings",
    "work": "Quessary workshop",
    "out_of_use": "Quessary workshop",
    "modifications": "Quessary workshop",
}
_DEFECT_BOOK = "Tavrenick defect book"
_THEIR_HEADINGS = {
    "locomotive": "Unit",
    "found_at": "Reported",
    "component": "Part code",
    "position": "Place",
    "defect": "Fault code",
    "severity": "Grade",
    "action": "Done",
    "closed_at": "Cleared",
    "down_hours": "Standing h",
    "labour_hours": "Fitter h",
    "cost": "Spent",
}
_THEIR_CODES = {"component": "{:04d}", "defect": "F{:03d}", "severity": "G{}", "action": "D{:02d}"}
_AGAIN = "again"
_ENOUGH_HOURS = 2000  # ten times as many are a jump at any counter
_SAMPLE = 240  # rows of a table among which slips and corrections are placed
_CORRECTED_LOCOMOTIVES, _EXPORTED_AGAIN = 3, 36  # at one depot; every third row is unchanged


@dataclass(frozen=True, slots=True)
class HandIn:
    """One call of a depot: its files, and the mapping file that some of them need."""

    files: tuple[Path, ...]
    mapping: Path | None = None


@dataclass(slots=True)
class HandIns:
    """All calls in their order, and what must become of them.

    Attributes
    ----------
    calls
        The calls.
    set_aside
        How many rows each rule sets aside.
    corrected, unchanged
        Rows of the last call that correct an earlier row, and that repeat one.
    """

    calls: list[HandIn] = field(default_factory=list)
    set_aside: Counter[str] = field(default_factory=Counter)
    corrected: int = 0
    unchanged: int = 0


@dataclass(frozen=True, slots=True)
class _Slip:
    """One kind of mistake: so many rows of one table of one depot, and the rule they break."""

    depot: str
    table: str
    rule: str
    rows: int
    spoil: Callable[[Row], list[Row]]


def write_as_handed_in(
    blocks: Iterable[Block], folder: Path, catalogue: Catalogue, *, in_workbooks: bool = True
) -> HandIns:
    """Write all blocks as the depots hand them in; return the calls in their order.

    Parameters
    ----------
    blocks
        The blocks of locomotives.
    folder
        Where to; made if need be, files of the same names are replaced.
    catalogue
        The catalogue the railway was drawn with.
    in_workbooks
        Whether Quessary keeps workbooks: not where its findings would be too many for a sheet.
    """
    folder.mkdir(parents=True, exist_ok=True)
    done = HandIns()
    with ExitStack() as stack:
        books = Workbooks(folder, stack) if in_workbooks else None
        desk = _Desk(folder, Files(folder, stack), books, their_codes(catalogue))
        for place, block in enumerate(blocks):
            parts = [(name, *part) for name in TABLES for part in tables_of(block, name)]
            for name, depot, table in parts:
                first = _first_export(desk, name, table, depot, done) if place == 0 else table
                desk.write(name, first, depot)
    done.set_aside[TOTALS_ROW] = books.sheets if books else 0
    # The records office hands in two depots at once; the third comes with its mapping.
    together = desk.files.get(MARDELOW, set()) | desk.files.get(QUESSARY, set())
    calls = [(together, None), (desk.files.get(TAVRENICK, set()), desk.mapping)]
    calls.append((desk.files.get(_AGAIN, set()), None))
    done.calls = [HandIn(tuple(sorted(files)), mapping) for files, mapping in calls if files]
    return done


def slips() -> dict[str, int]:
    """Return how many rows each rule sets aside where every slip finds its place, totals apart."""
    counts: Counter[str] = Counter()
    for slip in _SLIPS:
        counts[slip.rule] += slip.rows
    return dict(counts)


class _Desk:
    """Where the files of all depots are written, each in its own way."""

    def __init__(
        self, folder: Path, text: Files, books: Workbooks | None, codes: dict[str, dict[str, str]]
    ) -> None:
        self.files: dict[str, set[Path]] = {}
        self.mapping: Path | None = None
        self._folder, self._text, self._books, self._codes = folder, text, books, codes

    def write(self, name: str, table: pa.Table, depot: Depot, *, again: bool = False) -> None:
        """Append rows to the file of a table, or to that of what is exported `again`."""
        suffix = " second export" if again else ""
        if name in (ONE_FILE, AS_PARQUET):
            path = self._plain(name, table, depot)
        elif depot.name == MARDELOW:
            stem = f"{MARDELOW} {name}{suffix}"
            text = _with_commas(as_text(name, table, depot, date_format="%d.%m.%Y"))
            path = self._text.write(stem, text, delimiter=";", encoding="cp1250")
        elif depot.name == QUESSARY and name in _SHEETS and self._books:
            bare = [column for column in table.column_names if is_bare_date(name, column, depot)]
            sheet = name.replace("_", " ")
            path = self._books.write(f"{_SHEETS[name]}{suffix}", sheet, table, bare)
        elif depot.name == TAVRENICK and name == "findings":
            path = self._defect_book(as_text(name, table, depot, date_format="%d/%m/%Y"))
        else:
            path = self._plain(name, table, depot, suffix=suffix)
        self.files.setdefault(_AGAIN if again else depot.name, set()).add(path)

    def _plain(self, name: str, table: pa.Table, depot: Depot, *, suffix: str = "") -> Path:
        stem = name if name == ONE_FILE else f"{name}-{depot.name.lower()}{suffix}"
        as_parquet = name == AS_PARQUET
        rows = table if as_parquet else as_text(name, table, depot)
        return self._text.write(stem, rows, as_parquet=as_parquet)

    def _defect_book(self, table: pa.Table) -> Path:
        codes = self._codes
        for place, column in enumerate(table.column_names):
            if column in codes:
                table = table.set_column(place, column, _replaced(table[column], codes[column]))
        if self.mapping is None:
            self.mapping = self._folder / f"{TAVRENICK} mapping.toml"
            self.mapping.write_text(mapping_text(codes), encoding="utf-8", newline="\n")
        theirs = [_THEIR_HEADINGS.get(name, name) for name in table.column_names]
        return self._text.write(_DEFECT_BOOK, table.rename_columns(theirs))


def their_codes(catalogue: Catalogue) -> dict[str, dict[str, str]]:
    """Return Tavrenick's codes: by column, our name to their code."""
    names = {**catalogue.by_kind(), "severity": SEVERITIES}
    return {
        column: {name: form.format(n) for n, name in enumerate(names[column], start=1)}
        for column, form in _THEIR_CODES.items()
    }


def mapping_text(codes: dict[str, dict[str, str]]) -> str:
    """Return the mapping file of the defect book (TOML)."""
    lines = ["# Tavrenick's defect book: its headings and codes.", "[findings]"]
    lines += [f"file = {json.dumps(_DEFECT_BOOK + '*')}", 'date_format = "day-first"']
    lines += ["", "[findings.columns]"]
    lines += [f"{ours} = {json.dumps(theirs)}" for ours, theirs in _THEIR_HEADINGS.items()]
    for column, of_column in codes.items():
        lines += ["", f"[findings.values.{column}]"]
        lines += [f"{json.dumps(code)} = {json.dumps(name)}" for name, code in of_column.items()]
    return "\n".join(lines) + "\n"


def _replaced(column: pa.ChunkedArray, codes: dict[str, str]) -> pa.ChunkedArray:
    place = pc.index_in(column, pa.array(list(codes)))
    return pc.coalesce(pa.array(list(codes.values())).take(place), column)


def _with_commas(table: pa.Table) -> pa.Table:
    for place, column in enumerate(table.column_names):
        if pa.types.is_floating(table[column].type):
            text = pc.replace_substring(table[column].cast(pa.string()), ".", ",")
            table = table.set_column(place, column, text)
    return table


def _first_export(desk: _Desk, name: str, table: pa.Table, depot: Depot, done: HandIns) -> pa.Table:
    """Return the rows of the first block as first handed in; write what is exported again."""
    spoilt = _spoilt(name, table, depot, done)
    if name == "findings" and depot.numbers_findings:
        chosen = _exported_again(table)
        if len(chosen):
            again = table.take(chosen)
            desk.write(name, again, depot, again=True)
            changed = [n for turn, n in enumerate(chosen) if turn % 3 < 2]
            done.corrected += len(changed)
            done.unchanged += len(chosen) - len(changed)
            table = _before_filled_in(table, changed)
    return pa.concat_tables([table, spoilt]) if len(spoilt) else table


def _exported_again(table: pa.Table) -> list[int]:
    """Choose closed findings of a few locomotives."""
    few = pc.unique(table["locomotive"])[:_CORRECTED_LOCOMOTIVES]
    fits = pc.and_(pc.is_in(table["locomotive"], few), pc.is_valid(table["closed_at"]))
    fits = pc.and_(fits, pc.and_(pc.is_valid(table["action"]), pc.greater(table["cost"], 0)))
    places = np.nonzero(fits.to_numpy())[0]
    return [int(place) for place in places[:: max(1, len(places) // _EXPORTED_AGAIN)]][
        :_EXPORTED_AGAIN
    ]


def _before_filled_in(table: pa.Table, places: list[int]) -> pa.Table:
    """Return the table as it stood before action, or cost and closing, were filled in."""
    row = np.arange(len(table))
    blank = {
        "action": np.isin(row, places[::2]),
        "closed_at": np.isin(row, places[1::2]),
        "cost": np.isin(row, places[1::2]),
    }
    for column, is_blank in blank.items():
        place = table.column_names.index(column)
        empty = pa.scalar(None, type=table[column].type)
        filled = pc.if_else(pa.array(is_blank), empty, table[column])
        table = table.set_column(place, column, filled)
    return table


def _spoilt(name: str, table: pa.Table, depot: Depot, done: HandIns) -> pa.Table:
    """Return the bad rows of one table of one depot: copies of good rows, each with one slip."""
    rows: list[Row] = []
    sample = _sample(name, table)
    used = 0
    for slip in _SLIPS:
        if (slip.depot, slip.table) == (depot.name, name):
            made: list[Row] = []
            while len(made) < slip.rows and used < len(sample):
                made += slip.spoil(sample[used])
                used += 1
            done.set_aside[slip.rule] += len(made)
            rows += made
    return pa.Table.from_pylist(rows, schema=table.schema)


def _sample(name: str, table: pa.Table) -> list[Row]:
    """Return some rows, spread over the table, that a slip can be made of."""
    fits = np.ones(len(table), dtype=bool)
    if name == "findings":
        closed = pc.and_(pc.is_valid(table["closed_at"]), pc.is_valid(table["action"]))
        fits = closed.to_numpy()
    if name == "usage":  # between two readings of one locomotive, a week apart
        locomotive, at = table["locomotive"].to_numpy(), table["read_at"].to_numpy()
        follows = (locomotive[1:] == locomotive[:-1]) & (np.diff(at) <= np.timedelta64(7, "D"))
        fits = np.append(follows, False) & (table["engine_hours"].to_numpy() > _ENOUGH_HOURS)
    places = np.nonzero(fits)[0]
    some = places[:: max(1, len(places) // _SAMPLE)]
    rows: list[Row] = table.take(some).to_pylist()
    return [row | {"finding_id": None} if "finding_id" in row else row for row in rows]


def _misspelt(row: Row) -> list[Row]:
    name = row["component"]
    return [row | {"component": name[:2] + name[3:]}]


def _unknown_code(row: Row) -> list[Row]:
    return [row | {"component": "9000"}]


def _in_the_future(row: Row) -> list[Row]:
    return [row | {"found_at": row["found_at"].replace(year=2086), "closed_at": None}]


def _closed_before_found(row: Row) -> list[Row]:
    return [row | {"closed_at": row["found_at"] - timedelta(days=3)}]


def _no_such_position(row: Row) -> list[Row]:
    return [row | {"position": 99}]


def _no_locomotive(row: Row) -> list[Row]:
    return [row | {"locomotive": None}]


def _typed_twice(row: Row) -> list[Row]:
    number = f"{row['locomotive']}/again-{row['found_at']:%Y%m%d%H%M}"
    first = row | {"finding_id": number}
    return [first, first | {"labour_hours": first["labour_hours"] + 10}]


def _digit_too_many(row: Row) -> list[Row]:
    later = row["read_at"] + timedelta(days=3)
    return [row | {"read_at": later, "engine_hours": row["engine_hours"] * 10, "km": None}]


_SLIPS = (
    _Slip(MARDELOW, "findings", "unknown-name", 8, _misspelt),
    _Slip(MARDELOW, "findings", "future", 5, _in_the_future),
    _Slip(MARDELOW, "findings", "order", 6, _closed_before_found),
    _Slip(MARDELOW, "findings", "disagree", 8, _typed_twice),
    _Slip(MARDELOW, "usage", "counter", 8, _digit_too_many),
    _Slip(QUESSARY, "findings", "position", 9, _no_such_position),
    _Slip(QUESSARY, "findings", "missing", 6, _no_locomotive),
    _Slip(TAVRENICK, "findings", "unknown-name", 7, _unknown_code),
    _Slip(TAVRENICK, "findings", "position", 3, _no_such_position),
)
