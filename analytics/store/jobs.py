"""Long work as rows of the desk database: asked for, under way, done; one worker for a store.

The worker holds a lock while it works, so that work whose process was killed is told from work
under way: it is marked as stopped, and may be asked for again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from analytics.errors import ShedbookError
from analytics.store.desk import Desk

STATES = ("waiting", "working", "done", "refused", "failed", "stopped")
"""`refused`: a sentence says why; `failed`: nobody foresaw it; `stopped`: its process ended."""
_COLUMNS = "id, asked_at, who, kind, detail, state, finished_at, result"


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of work: `detail` says on what, `result` what came of it (empty until the end)."""

    number: int
    asked_at: datetime
    who: str
    kind: str
    detail: str
    state: str
    finished_at: datetime | None
    result: str

    @property
    def is_over(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state not in ("waiting", "working")


class Jobs:
    """The work of one store; any thread or process may ask, one at a time works."""

    def __init__(self, root: Path) -> None:
        """Name the store's folder."""
        self._desk = Desk(root)
        self._lock = FileLock(root / "JOBS.lock", timeout=0)

    def ask(self, kind: str, detail: str, *, who: str) -> int:
        """Put work into the queue and return its number."""
        with self._desk.connect() as connection:
            added = connection.execute(
                "INSERT INTO job (asked_at, who, kind, detail, state)"
                " VALUES (?, ?, ?, ?, 'waiting')",
                (_now(), who, kind, detail),
            )
            return int(added.lastrowid or 0)

    def latest(self, most: int = 5) -> list[Job]:
        """Return the latest work, newest first; what was cut off is marked as stopped."""
        jobs = self._read(most)
        if any(job.state == "working" for job in jobs):
            try:
                with self._lock:
                    self._mark_stopped()
            except Timeout:
                return jobs  # a worker is at it
            jobs = self._read(most)
        return jobs

    def work(self, ways: Mapping[str, Callable[[Job], str]]) -> None:
        """Do all that waits, oldest first; return at once where another worker is at it.

        Parameters
        ----------
        ways
            For each kind what does it: a function of the job that returns a sentence. A
            ShedbookError it raises is kept as a refusal, anything else as a failure.
        """
        try:
            with self._lock:
                self._mark_stopped()
                while job := self._take():
                    self._finish(job, *_do(job, ways))
        except Timeout:
            return

    def _read(self, most: int) -> list[Job]:
        with self._desk.connect() as connection:
            query = f"SELECT {_COLUMNS} FROM job ORDER BY id DESC LIMIT ?"
            return [_job(row) for row in connection.execute(query, (most,)).fetchall()]

    def _take(self) -> Job | None:
        with self._desk.connect() as connection:
            query = f"SELECT {_COLUMNS} FROM job WHERE state = 'waiting' ORDER BY id LIMIT 1"
            rows = connection.execute(query).fetchall()
            for row in rows:
                connection.execute("UPDATE job SET state = 'working' WHERE id = ?", (row[0],))
            return _job(rows[0]) if rows else None

    def _finish(self, job: Job, state: str, result: str) -> None:
        with self._desk.connect() as connection:
            connection.execute(
                "UPDATE job SET state = ?, finished_at = ?, result = ? WHERE id = ?",
                (state, _now(), result, job.number),
            )

    def _mark_stopped(self) -> None:
        with self._desk.connect() as connection:
            connection.execute(
                "UPDATE job SET state = 'stopped', finished_at = ? WHERE state = 'working'",
                (_now(),),
            )


def _do(job: Job, ways: Mapping[str, Callable[[Job], str]]) -> tuple[str, str]:
    try:
        return "done", ways[job.kind](job)
    except ShedbookError as refusal:
        return "refused", str(refusal)
    except Exception as error:  # noqa: BLE001 - the edge of a thread: nobody else would hear of it
        return "failed", f"{type(error).__name__}: {error}"


def _job(row: tuple[object, ...]) -> Job:
    number, asked_at, who, kind, detail, state, finished_at, result = row
    return Job(
        int(str(number)),
        datetime.fromisoformat(str(asked_at)),
        str(who),
        str(kind),
        str(detail),
        str(state),
        datetime.fromisoformat(str(finished_at)) if finished_at else None,
        str(result or ""),
    )


def _now() -> str:
    return datetime.now().isoformat(timespec="seconds")
