"""The desk database: what people do (users, audit, plan versions, jobs), in SQLite with a WAL."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from importlib.resources import files
from pathlib import Path


class Desk:
    """The small database beside the snapshots; opened for each call, so any thread may use it."""

    def __init__(self, root: Path | str) -> None:
        """Make `desk.sqlite` in the store folder `root` if it is not there yet."""
        self.path = Path(root) / "desk.sqlite"
        schema = files("analytics.store") / "schema" / "desk.sql"
        with self.connect() as connection:
            connection.executescript(schema.read_text(encoding="utf-8"))

    @contextmanager
    def connect(self) -> Iterator[sqlite3.Connection]:
        """Yield a connection whose block is one transaction."""
        with closing(sqlite3.connect(self.path, timeout=30)) as connection:
            connection.execute("PRAGMA journal_mode = WAL")
            with connection:
                yield connection

    def record(self, action: str, detail: str, *, who: str = "command line") -> None:
        """Write one line of the audit trail."""
        now = datetime.now().isoformat(timespec="seconds")
        with self.connect() as connection:
            connection.execute(
                "INSERT INTO audit (at, who, action, detail) VALUES (?, ?, ?, ?)",
                (now, who, action, detail),
            )

    def audit(self) -> list[tuple[str, str, str, str]]:
        """Return the audit trail, oldest first: (at, who, action, detail)."""
        with self.connect() as connection:
            found = connection.execute("SELECT at, who, action, detail FROM audit ORDER BY id")
            return [(str(a), str(b), str(c), str(d)) for a, b, c, d in found]
