"""Many threads read while hand-ins are published: no wrong row, no torn state.

Oracle: what every snapshot must say of itself, whichever it is.
"""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

from analytics.catalogue.load import shipped_files
from analytics.handin import ingest
from analytics.store import Store

THREADS = 8
READS = 60
BATCHES = 5
NOW = datetime(2026, 1, 1)


def write(path: Path, batch: int) -> Path:
    """Write one reading per locomotive; its counters tell locomotive and batch."""
    rows = "".join(f"L{n},2024-01-{batch + 1:02d},{batch},{n}\n" for n in range(THREADS))
    path.write_text("locomotive,read_at,engine_hours,km\n" + rows, encoding="utf-8")
    return path


def read_own(store: Store, number: int) -> int:
    """Read one locomotive's readings; return how many batches the snapshot holds."""
    with store.read() as reader:
        rows = reader.cursor.execute(
            "SELECT locomotive, engine_hours, km FROM facts.usage WHERE locomotive = ? "
            "ORDER BY engine_hours",
            [f"L{number}"],
        ).fetchall()
        batches = reader.cursor.execute("SELECT count(*) FROM batch").fetchall()[0][0]
    assert rows == [(f"L{number}", float(n), float(number)) for n in range(1, batches)]
    return int(batches)


def read_many(
    store: Store, number: int, started: threading.Barrier, published: threading.Event
) -> list[int]:
    """Read READS times or more, from before the first publish until after the last."""
    seen = [read_own(store, number)]
    started.wait(60)
    while len(seen) < READS or not published.is_set():
        seen.append(read_own(store, number))
    return [*seen, read_own(store, number)]


def test_eight_threads_read_right_rows_while_hand_ins_are_published(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "store", shipped_files())
    register = tmp_path / "register.csv"
    rows = "".join(f"L{n},Alder\n" for n in range(THREADS))
    register.write_text("locomotive,class\n" + rows, encoding="utf-8")
    ingest(store, register, now=NOW)
    started, published = threading.Barrier(THREADS + 1), threading.Event()
    with ThreadPoolExecutor(THREADS) as pool:
        readers = [pool.submit(read_many, store, n, started, published) for n in range(THREADS)]
        started.wait(60)
        try:
            for batch in range(1, BATCHES + 1):
                ingest(store, write(tmp_path / f"usage-{batch}.csv", batch), now=NOW)
        finally:
            published.set()
        seen = [reader.result() for reader in readers]
    assert all(len(batches) > READS and batches == sorted(batches) for batches in seen)
    assert {(batches[0], batches[-1]) for batches in seen} == {(1, BATCHES + 1)}
