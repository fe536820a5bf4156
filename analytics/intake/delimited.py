"""Delimited text to a staged table: the engine's own reader, or line by line where one is broken.

The fast way is strict and parallel. Whatever it refuses, and files with empty lines inside (which
it would leave out without counting them), go the careful way, where a line that cannot be cut into
cells is kept whole and marked, and reading goes on at the next line.
"""

from __future__ import annotations

import csv
import mmap
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import TextIO

import duckdb
import pyarrow as pa

from analytics.errors import InputError

ROWS_AT_ONCE = 50_000  # in the careful way: rows held in memory before they are staged
_PLAIN_WORDS = {
    "unexpected end of data": "a quotation mark opens a cell and none closes it",
    "field larger": "a cell is longer than 131,072 characters",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One record: its cells, or why it has none (`broken`) and the line as received."""

    row_number: int
    cells: list[str]
    broken: str | None = None
    surplus: str | None = None


def read_delimited(
    connection: duckdb.DuckDBPyConnection, path: Path, stage: str, *, delimiter: str
) -> tuple[str, ...]:
    """Stage a delimited UTF-8 text file (with or without byte order mark); return its headings.

    Raises
    ------
    InputError
        If the file is not UTF-8 text, or has no line at all.
    """
    headings = _headings(path, delimiter)
    if _has_empty_line_inside(path) or not _read_fast(
        connection, path, stage, delimiter, len(headings)
    ):
        _read_carefully(connection, path, stage, delimiter, len(headings))
    return headings


def _headings(path: Path, delimiter: str) -> tuple[str, ...]:
    first = next(_lines(path, delimiter), None)
    if first is None:
        raise InputError(f"{path.name} is empty.")
    if first.broken:
        raise InputError(f"{path.name}: the header cannot be read: {first.broken}.")
    return tuple(first.cells)


def _has_empty_line_inside(path: Path) -> bool:
    with (
        path.open("rb") as file,
        mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as text,
    ):
        end = len(text)
        while end and text[end - 1] in b"\r\n":
            end -= 1
        starts_empty = text[:1] in {b"\r", b"\n"}
        return starts_empty or any(
            text.find(gap, 0, end) >= 0 for gap in (b"\n\n", b"\n\r", b"\r\r")
        )


def _read_fast(
    connection: duckdb.DuckDBPyConnection, path: Path, stage: str, delimiter: str, width: int
) -> bool:
    columns = ", ".join(f"'c{place}': 'VARCHAR'" for place in range(width))
    source = (
        "read_csv($path, auto_detect = false, header = true, strict_mode = true, "
        f"delim = $delimiter, quote = '\"', escape = '\"', columns = {{{columns}}})"
    )
    with suppress(duckdb.Error):  # whatever it is that it does not like: the careful way says it
        connection.execute(
            f"CREATE OR REPLACE TEMP TABLE {stage} AS SELECT row_number() OVER () + 1 "
            f"AS row_number, NULL::VARCHAR AS broken, NULL::VARCHAR AS surplus, * FROM {source}",
            {"path": str(path), "delimiter": delimiter},
        )
        return True
    return False


def _read_carefully(
    connection: duckdb.DuckDBPyConnection, path: Path, stage: str, delimiter: str, width: int
) -> None:
    names = ["broken", "surplus", *(f"c{place}" for place in range(width))]
    columns = ", ".join(f"{name} VARCHAR" for name in names)
    connection.execute(f"CREATE OR REPLACE TEMP TABLE {stage} (row_number BIGINT, {columns})")
    lines = islice(_lines(path, delimiter), 1, None)
    while chunk := list(islice(lines, ROWS_AT_ONCE)):
        rows = [_fit(line, width) for line in chunk]
        texts = [pa.array(column, pa.string()) for column in zip(*rows, strict=True)]
        numbers = pa.array([line.row_number for line in chunk], pa.int64())
        connection.register("in_chunk", pa.table([numbers, *texts], names=["row_number", *names]))
        connection.execute(f"INSERT INTO {stage} FROM in_chunk")
        connection.unregister("in_chunk")


def _fit(line: Line, width: int) -> list[str | None]:
    """Return broken, surplus, then exactly as many cells as there are headings."""
    cells: list[str | None] = [cell or None for cell in line.cells[:width]]
    cells += [None] * (width - len(cells))
    beyond = line.cells[width:]
    if not any(cell.strip() for cell in beyond):
        return [line.broken, line.surplus, *cells]
    broken = (
        f"the row has {len(line.cells)} cells, but the header has {width} headings: put quotation "
        "marks around a cell that holds the delimiter"
    )
    return [broken, " | ".join(beyond), *cells]


@dataclass(slots=True)
class _Physical:
    """The lines of a file as they are, with those read since the last record, to go back to."""

    source: Iterator[str]
    since: list[str] = field(default_factory=list)
    again: list[str] = field(default_factory=list)

    def __iter__(self) -> _Physical:
        return self

    def __next__(self) -> str:
        line = self.again.pop() if self.again else next(self.source)
        self.since.append(line)
        return line

    def go_back(self) -> str:
        """Give back all but the first of the lines since the last record; return the first."""
        first, *rest = self.since
        self.again += reversed(rest)
        self.since.clear()
        return first


def _lines(path: Path, delimiter: str) -> Iterator[Line]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        try:
            yield from _records(file, delimiter)
        except UnicodeDecodeError as error:
            raise InputError(
                f"{path.name}, about line {_line_of_fault(path)}: this is not UTF-8 text; save the "
                "file as CSV UTF-8."
            ) from error


def _records(file: TextIO, delimiter: str) -> Iterator[Line]:
    physical = _Physical(iter(file))
    number = 0
    while True:
        reader = csv.reader(physical, delimiter=delimiter, strict=True, skipinitialspace=True)
        try:
            for cells in reader:
                physical.since.clear()
                number += 1
                if any(cells):
                    yield Line(number, cells)
        except csv.Error as error:
            number += 1
            received = physical.go_back().rstrip("\r\n")
            yield Line(number, [], broken=_reason(str(error)), surplus=received)
        else:
            return


def _reason(said: str) -> str:
    for start, words in _PLAIN_WORDS.items():
        if said.startswith(start):
            return words
    return "a quotation mark stands inside a quoted cell: write it twice"


def _line_of_fault(path: Path) -> int:
    with path.open("rb") as file:
        for number, line in enumerate(file, start=1):
            try:
                line.decode("utf-8")
            except UnicodeDecodeError:
                return number
    return 0
