"""Two thousand generated and mutated files: a sentence or an account of every row, never more.

Oracles: identities (fates add up; rows generated are rows counted), and the limits on time and
memory that the project states for itself.
"""

from __future__ import annotations

import csv
import io
import resource
import sys
import time
import zipfile
import zlib
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import duckdb
import numpy as np
import pytest

from analytics.errors import ShedbookError
from tests.intake.depot import REGISTER, open_facts, publish
from tests.intake.make_corpus import all_cases

FILES = 2000
PEAK, FORGET_PEAK = Path("/proc/self/status"), Path("/proc/self/clear_refs")
MOST_SECONDS = 10.0
MOST_BYTES = 1_000_000_000
HEAD = ["locomotive", "found_at", "component", "position", "defect", "cost", "note"]
CELLS = [
    *("A1", "A2", "B1", "Z9", "2024-05-01", "01.05.2024", "3/4/2024", "31/12/2023", "45443"),
    *("fuel-injector", "battery", "leaking", "1", "1-2", "all", "12,5", "1.234,5", "12 345", "1e9"),
    *("", "", " ", '"', '""', "'=1", "a;b", "a,b", "a\tb", "a\nb", "\r", "\u0151\u0171", "\u20ac"),
    *("\x00", "\u2028", "NULL", "nan", "-", "'", "Total", "{", "\\", "%", "x" * 200_000),
]
ENCODINGS = [
    "utf-8",
    "utf-8-sig",
    "utf-16",
    "utf-16-le",
    "utf-16-be",
    "cp1250",
    "cp1252",
    "latin-1",
]
Mutation = Callable[[np.random.Generator, bytes], bytes]


def generated(rng: np.random.Generator) -> tuple[str, bytes, int]:
    """A delimited file of random cells: its name, its bytes, the rows that hold anything."""
    rows = [
        ["A1", "2024-05-01", "battery", "", *rng.choice(CELLS, 3).tolist()]
        if rng.random() < 0.5
        else rng.choice(CELLS, len(HEAD)).tolist()
        for _ in range(rng.integers(0, 8))
    ]
    out = io.StringIO()
    writer = csv.writer(
        out,
        delimiter=rng.choice([",", ";", "\t"]),
        lineterminator=rng.choice(["\n", "\r\n"]),
        quoting=csv.QUOTE_ALL,
    )
    writer.writerows([HEAD, *rows])
    content = out.getvalue().encode(rng.choice(ENCODINGS), "replace")
    return "made.csv", content, sum(any(cell.strip() for cell in row) for row in rows)


def flip(rng: np.random.Generator, content: bytes) -> bytes:
    changed = bytearray(content)
    for place in rng.integers(0, len(changed), rng.integers(1, 20)):
        changed[place] = rng.integers(0, 256)
    return bytes(changed)


def cut(rng: np.random.Generator, content: bytes) -> bytes:
    return content[: rng.integers(0, len(content))]


def insert(rng: np.random.Generator, content: bytes) -> bytes:
    at = rng.integers(0, len(content))
    return content[:at] + rng.bytes(int(rng.integers(1, 200))) + content[at:]


def repeat(rng: np.random.Generator, content: bytes) -> bytes:
    start, end = sorted(rng.integers(0, len(content), 2))
    return content[:end] + content[start:end] * int(rng.integers(1, 5)) + content[end:]


def swap_marks(rng: np.random.Generator, content: bytes) -> bytes:
    marks = [b",", b";", b"\t", b'"', b"\n", b"\r", b".", b" ", b"-", b"/"]
    old, new = rng.choice(len(marks), 2)
    return content.replace(marks[old], marks[new], int(rng.integers(1, 50)))


def recode(rng: np.random.Generator, content: bytes) -> bytes:
    first, second = rng.choice(ENCODINGS, 2)
    return content.decode(first, "replace").encode(second, "replace")


def inside_zip(rng: np.random.Generator, content: bytes) -> bytes:
    """Change the parts of a workbook, and keep the archive whole."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = {name: archive.read(name) for name in archive.namelist()}
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, RuntimeError):
        return flip(rng, content)
    out = io.BytesIO()
    chosen = rng.choice(sorted(parts))
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            if name == chosen and part:
                archive.writestr(name, MUTATIONS[rng.integers(0, 5)](rng, part))
            else:
                archive.writestr(name, part)
    return out.getvalue()


MUTATIONS: list[Mutation] = [flip, cut, insert, repeat, swap_marks, recode]


def mutated(rng: np.random.Generator, cases: list[tuple[str, bytes]]) -> tuple[str, bytes]:
    name, content = cases[rng.integers(0, len(cases))]
    is_workbook = name.endswith(".xlsx")
    for _ in range(rng.integers(1, 4)):
        if not content:
            break
        deeper = is_workbook and rng.random() < 0.7
        change = inside_zip if deeper else MUTATIONS[rng.integers(0, len(MUTATIONS))]
        content = change(rng, content)
    return name, content


def account(
    facts: duckdb.DuckDBPyConnection, folder: Path, name: str, content: bytes
) -> int | None:
    """Hand one file in; return its rows, None where it is refused in a sentence."""
    start = time.perf_counter()
    try:
        delivery = publish(facts, folder, {name: content})
    except ShedbookError as refused:
        rows, said = None, str(refused)
    else:
        rows, said = 0, "accounted"
        for file in delivery.files:
            fates = file.accepted + file.updated + file.duplicate + file.set_aside
            assert fates == file.rows
            rows += file.rows
        assert len(delivery.set_aside) == sum(file.set_aside for file in delivery.files)
        assert delivery.set_aside["reason"].str.len().gt(0).all()
    assert said.strip()
    assert time.perf_counter() - start < MOST_SECONDS
    return rows


def _peak_bytes() -> int:
    """Return the most memory this process has held since its peak was last forgotten."""
    if PEAK.exists():
        line = next(x for x in PEAK.read_text().splitlines() if x.startswith("VmHWM"))
        return int(line.split()[1]) * 1024
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def _held_bytes() -> int:
    """Forget the peak of the tests before this one; return what is held now."""
    with suppress(OSError):
        FORGET_PEAK.write_text("5")
    return _peak_bytes()


@pytest.mark.campaign
def test_any_file_ends_in_a_sentence_or_an_account(tmp_path: Path) -> None:
    rng = np.random.default_rng(20_240_531)
    cases = [(c.name, c.content) for c in all_cases(tmp_path) if len(c.content) < 100_000]
    facts = open_facts()
    publish(facts, tmp_path, {"register.csv": REGISTER})
    outcomes = {"refused": 0, "accounted": 0}
    before = _held_bytes()
    for number in range(FILES):
        wanted = None
        if number % 3 == 0:
            name, content, wanted = generated(rng)
        else:
            name, content = mutated(rng, cases)
        try:
            rows = account(facts, tmp_path, name, content)
        except BaseException:
            print(f"file {number}, {name}: {content[:2000]!r}", file=sys.stderr)
            raise
        outcomes["refused" if rows is None else "accounted"] += 1
        assert rows is None or wanted is None or rows == wanted
    assert min(outcomes.values()) > FILES / 10
    assert _peak_bytes() - before < MOST_BYTES
