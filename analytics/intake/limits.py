"""What a file may be, looked at before it is opened: its size, what it unpacks to, whether whole.

The largest file is 200 MB, or `SHEDBOOK_MAX_FILE_MB`. A workbook may unpack to 1 GB, or to 200
times its size where that is less (but always to 10 MB), and span 25 million cells.
"""

from __future__ import annotations

import lzma
import os
import re
import struct
import zipfile
import zlib
from pathlib import Path

from analytics.errors import InputError

DEFAULT_FILE_MB = 200
MOST_UNPACKED = 1_000_000_000
MOST_RATIO = 200
ALWAYS_UNPACKED = 10_000_000  # even an empty workbook's shared parts pack well
MOST_CELLS = 25_000_000
_CHUNK = 4_000_000
_DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    EOFError,
    OSError,
    ValueError,
    NotImplementedError,
)
_ROW = re.compile(rb"""\sr=["'](\d{1,10})["']""")
_COLUMN = re.compile(rb"""\sr=["']([A-Za-z]{1,5})\d""")
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # the container of encrypted and of old workbooks


def refuse_large(path: Path) -> None:
    """Refuse a file over the size limit.

    Raises
    ------
    InputError
        Naming both sizes and how to raise the limit.
    """
    most = _most_megabytes()
    size = path.stat().st_size
    if size > most * 1_000_000:
        raise InputError(
            f"{path.name} has {size / 1e6:,.1f} MB, more than the limit of {most:g} MB: split it, "
            "or set SHEDBOOK_MAX_FILE_MB."
        )


def check_workbook(path: Path) -> None:
    """Refuse a workbook that is encrypted, damaged, or unpacks to too much.

    Raises
    ------
    InputError
        Saying which.
    """
    with path.open("rb") as file:
        start = file.read(8)
    if start == _OLE:
        raise InputError(
            f"{path.name} is encrypted, or an old workbook under a new ending: save it as .xlsx "
            "without a password."
        )
    try:
        with zipfile.ZipFile(path) as archive:
            _refuse_bomb(path, archive)
            if any(entry.flag_bits & 1 for entry in archive.infolist()):
                raise InputError(f"{path.name} is encrypted: save it without a password.")
            for entry in archive.infolist():
                _walk(path, archive, entry)
    except _DAMAGE as error:
        raise InputError(
            f"{path.name} is not an XLSX workbook that can be read, or it is cut short."
        ) from error


def _most_megabytes() -> float:
    written = os.environ.get("SHEDBOOK_MAX_FILE_MB", "")
    if not written:
        return DEFAULT_FILE_MB
    try:
        most = float(written)
    except ValueError:
        most = 0
    if not most > 0:
        raise InputError(
            f"SHEDBOOK_MAX_FILE_MB must be a number of megabytes above zero, not {written!r}."
        )
    return most


def _refuse_bomb(path: Path, archive: zipfile.ZipFile) -> None:
    unpacked = sum(entry.file_size for entry in archive.infolist())
    size = path.stat().st_size
    if unpacked > max(min(MOST_UNPACKED, MOST_RATIO * size), ALWAYS_UNPACKED):
        raise InputError(
            f"{path.name} would unpack from {size / 1e6:,.1f} MB to {unpacked / 1e6:,.0f} MB, more "
            "than a workbook of depot records can be: nothing was opened."
        )


def _walk(path: Path, archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> None:
    """Read one part to its end, which checks its sum; refuse a sheet that spans too many cells.

    The workbook reader holds the whole rectangle from the first to the last cell, so one stray cell
    in the farthest corner would ask for all memory.
    """
    is_sheet = entry.filename.startswith("xl/worksheets/")
    rows = columns = 1
    rest = b""
    with archive.open(entry) as part:
        while chunk := part.read(_CHUNK):
            if is_sheet:
                text = rest + chunk
                rows = max([rows, *map(int, _ROW.findall(text))])
                columns = max([columns, *map(_column, set(_COLUMN.findall(text)))])
                rest = text[-64:]
    if rows * columns > MOST_CELLS:
        raise InputError(
            f"{path.name}: a sheet reaches to row {rows:,} and column {columns:,}, too far for a "
            "table: delete what stands far outside the table."
        )


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number
