"""Delimited text to a staged table: the engine's own reader, or line by line where one is broken.

Encoding, delimiter and the row of the header are found from the file itself. The fast way is strict
and parallel. Whatever it refuses, and files with empty lines inside (which it would leave out
without counting them), go the careful way, where a line that cannot be cut into cells is kept whole
and marked, and reading goes on at the next line.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TextIO

import duckdb
import numpy as np
import numpy.typing as npt

from analytics.errors import InputError
from analytics.intake.encodings import decode_to, find_encoding
from analytics.intake.received import (
    LOOKED_THROUGH,
    NO_BLANK_ENDS,
    IsHeader,
    make_stage,
    refuse_many_headings,
    stage_rows,
)

DELIMITERS = (",", ";", "\t")
BYTES_AT_ONCE = 1 << 24
_PLAIN_WORDS = {
    "unexpected end of data": "a quotation mark opens a cell and none closes it",
    "field larger": "a cell is longer than 131,072 characters",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One record: its cells, or why it has none (`broken`) and the line as received.

    `ends_at`: how many lines of the file there are up to its end.
    """

    row_number: int
    cells: list[str]
    ends_at: int
    broken: str | None = None
    surplus: str | None = None


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where the header stands and what divides its cells."""

    delimiter: str
    header: Line
    no_blank_ends: bool = False

    @property
    def lines_above(self) -> int | None:
        """Lines above the header, None where a record among them spans several."""
        one_each = self.header.ends_at == self.header.row_number
        return self.header.row_number - 1 if one_each else None


def read_delimited(
    connection: duckdb.DuckDBPyConnection, path: Path, stage: str, is_header: IsHeader
) -> tuple[tuple[str, ...], dict[str, object]]:
    """Stage a delimited text file; return its headings and how it was written.

    The delimiter (comma, semicolon, tab) and the header are those with which one of the first 20
    rows is a table's header; where none is, the first row counts, cut by what cuts it most.

    Raises
    ------
    InputError
        If the file is no text in a known encoding, or has no line at all.
    """
    encoding = find_encoding(path)
    if encoding in {"utf-8", "utf-8-sig"}:
        layout = _read(connection, path, path, stage, is_header)
    else:
        with TemporaryDirectory(prefix="shedbook-") as folder:
            plain = Path(folder) / "plain.csv"
            decode_to(path, encoding, plain)
            layout = _read(connection, path, plain, stage, is_header)
    form = {
        "kind": "text",
        "delimiter": layout.delimiter,
        "encoding": encoding,
        "header_row": layout.header.row_number,
        NO_BLANK_ENDS: layout.no_blank_ends,
    }
    return tuple(layout.header.cells), form


def _read(
    connection: duckdb.DuckDBPyConnection,
    named: Path,
    path: Path,
    stage: str,
    is_header: IsHeader,
) -> _Layout:
    """Stage a UTF-8 file that is called `named`."""
    layout = _find_layout(named.name, path, is_header)
    refuse_many_headings(named.name, layout.header.cells)
    above = layout.lines_above
    width, delimiter = len(layout.header.cells), layout.delimiter
    seen = None if above is None else _look_at_bytes(path, above, delimiter)
    if (
        above is None
        or seen is None
        or seen.empty_line_inside
        or not _read_fast(connection, path, stage, delimiter, width, above=above)
    ):
        header_row = layout.header.row_number
        _read_carefully(connection, path, stage, delimiter, width, header_row=header_row)
        return layout
    return replace(layout, no_blank_ends=seen.no_blank_ends)


def _find_layout(name: str, path: Path, is_header: IsHeader) -> _Layout:
    first: list[_Layout] = []
    for delimiter in DELIMITERS:
        lines = list(islice(_lines(path, delimiter), LOOKED_THROUGH))
        for line in lines:
            if not line.broken and is_header(line.cells):
                return _Layout(delimiter, line)
        first += [_Layout(delimiter, line) for line in lines[:1]]
    if not first:
        raise InputError(f"{name} is empty.")
    best = max(first, key=lambda layout: len(layout.header.cells))
    if best.header.broken:
        raise InputError(f"{name}: the header cannot be read: {best.header.broken}.")
    return best


@dataclass(frozen=True, slots=True)
class _Bytes:
    """What one pass over the bytes shows, so that dearer looks at every cell can be left out."""

    empty_line_inside: bool
    no_blank_ends: bool  # no cell can end with a blank of any alphabet


def _look_at_bytes(path: Path, above: int, delimiter: str) -> _Bytes:
    """Read the file from the header on, under `above` lines, without cutting it into cells."""
    with path.open("rb") as file:
        if b"\n" not in file.read(BYTES_AT_ONCE):
            return _Bytes(empty_line_inside=True, no_blank_ends=False)  # lines end otherwise
        file.seek(0)
        for _ in range(above):
            file.readline()
        gap = pending = False
        plain = True
        text = b"\n"  # what comes before the header is the end of a line
        while chunk := file.read(BYTES_AT_ONCE):
            text = text[-1:] + chunk
            codes = np.frombuffer(text, np.uint8)
            low = np.flatnonzero(codes[:-1] <= 13)
            gap, pending = _gaps(codes, low, len(text.rstrip(b"\r\n")), gap=gap, pending=pending)
            plain = plain and text.isascii() and _ends_plainly(codes, low, delimiter)
    return _Bytes(gap, plain and not text.endswith(b" "))


def _gaps(
    codes: npt.NDArray[np.uint8], low: npt.NDArray[np.intp], size: int, *, gap: bool, pending: bool
) -> tuple[bool, bool]:
    """Return whether an empty line has something after it, and whether one may still have.

    `low` says where a line may end, `size` where the line ends at the end begin.
    """
    here, after = codes[low], codes[low + 1]
    empty = ((here == 10) & ((after == 10) | (after == 13))) | ((here == 13) & (after == 13))
    inside = bool(np.any(empty & (low + 1 < size)))
    found = gap or inside or (pending and size > 1)
    return found, pending or bool(np.any(empty & (low + 1 >= size)))


def _ends_plainly(codes: npt.NDArray[np.uint8], low: npt.NDArray[np.intp], delimiter: str) -> bool:
    """Tell whether no cell in a stretch of ASCII bytes can end with a blank of any alphabet."""
    lines = (codes[low] == 10) | (codes[low] == 13)
    tabs = codes[low] == 9 if delimiter == "\t" else np.zeros(low.size, bool)
    if np.count_nonzero(codes[:-1] < 32) > np.count_nonzero(lines | tabs):
        return False  # a control character that may be a blank
    after = codes[np.flatnonzero(codes[:-1] == 32) + 1]
    ends = np.array([ord(delimiter), 34, 10, 13], np.uint8)
    return not (np.any(np.isin(after, ends)) or np.any(codes[low[lines] + 1] == 34))


def _read_fast(
    connection: duckdb.DuckDBPyConnection,
    path: Path,
    stage: str,
    delimiter: str,
    width: int,
    *,
    above: int = 0,
) -> bool:
    columns = ", ".join(f"'c{place}': 'VARCHAR'" for place in range(width))
    source = (
        f"read_csv($path, auto_detect = false, header = true, skip = {above}, strict_mode = true, "
        f"delim = $delimiter, quote = '\"', escape = '\"', columns = {{{columns}}})"
    )
    with suppress(duckdb.Error):  # whatever it is that it does not like: the careful way says it
        connection.execute(
            f"CREATE OR REPLACE TEMP TABLE {stage} AS SELECT row_number() OVER () + {above + 1} "
            f"AS row_number, NULL::VARCHAR AS broken, NULL::VARCHAR AS surplus, * FROM {source}",
            {"path": str(path), "delimiter": delimiter},
        )
        return True
    return False


def _read_carefully(
    connection: duckdb.DuckDBPyConnection,
    path: Path,
    stage: str,
    delimiter: str,
    width: int,
    *,
    header_row: int = 1,
) -> None:
    make_stage(connection, stage, width)
    lines = (line for line in _lines(path, delimiter) if line.row_number > header_row)
    stage_rows(connection, stage, ((line.row_number, _fit(line, width)) for line in lines))


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
    passed: int = 0

    def __iter__(self) -> _Physical:
        return self

    def __next__(self) -> str:
        line = self.again.pop() if self.again else next(self.source)
        self.since.append(line)
        self.passed += 1
        return line

    def go_back(self) -> str:
        """Give back all but the first of the lines since the last record; return the first."""
        first, *rest = self.since
        self.again += reversed(rest)
        self.passed -= len(rest)
        self.since.clear()
        return first


def _lines(path: Path, delimiter: str) -> Iterator[Line]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        yield from _records(file, delimiter)


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
                    yield Line(number, cells, physical.passed)
        except csv.Error as error:
            number += 1
            received = physical.go_back().rstrip("\r\n")
            reason = _reason(str(error))
            yield Line(number, [], physical.passed, broken=reason, surplus=received)
        else:
            return


def _reason(said: str) -> str:
    for start, words in _PLAIN_WORDS.items():
        if said.startswith(start):
            return words
    return "a quotation mark stands inside a quoted cell: write it twice"
