"""Long work that pages ask for: kept as jobs of the store, done by one thread in the background."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping

from analytics.handin import withdraw
from analytics.store import Store
from analytics.store.jobs import Job, Jobs

WHO = "pages"  # nobody signs in yet
_WAIT_SECONDS = 60.0


def ask_withdrawal(store: Store, batch: int) -> None:
    """Ask for a batch to be withdrawn; once asked and not yet over, it is not asked again."""
    jobs = Jobs(store.root)
    asked = [job for job in jobs.latest(20) if job.detail == str(batch) and not job.is_over]
    if not asked:
        jobs.ask("withdraw", str(batch), who=WHO)
    start(store)


def start(store: Store) -> threading.Thread:
    """Do the work that waits in a thread of its own, and return that."""
    thread = threading.Thread(target=Jobs(store.root).work, args=(_ways(store),), name="work")
    thread.daemon = True  # a publish that is cut off leaves the store as it was
    thread.start()
    return thread


def _ways(store: Store) -> Mapping[str, Callable[[Job], str]]:
    def take_back(job: Job) -> str:
        done = withdraw(store, int(job.detail), who=job.who, wait_seconds=_WAIT_SECONDS)
        return str(done.rows)

    return {"withdraw": take_back}
