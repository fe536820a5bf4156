"""Long work that pages ask for: kept as jobs of the store, done by one thread in the background."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from analytics.answers import ask_reader
from analytics.handin import withdraw
from analytics.planning.again import (
    Change,
    make_version,
    read_store_inputs,
    usual_inputs,
)
from analytics.planning.versions import Versions
from analytics.scope import Scope
from analytics.store import Store
from analytics.store.jobs import Job, Jobs
from dashboard.cache import AnswerCache

WHO = "pages"  # nobody signs in yet
_WAIT_SECONDS = 60.0
_LOOKED_AT = 20  # jobs, the latest
_REPEATED = ("withdraw", "plan", "plan-undo")  # may be asked for again once it is over


def ask_withdrawal(store: Store, batch: int) -> Job:
    """Ask for a batch to be withdrawn."""
    return _ask(store, "withdraw", str(batch))


def ask_answer(store: Store, question: str, scope: Scope, options: Mapping[str, Any]) -> Job:
    """Ask for an answer that takes minutes to be worked out and kept."""
    detail = {"question": question, "scope": scope.to_query(), "options": dict(options)}
    with store.read() as reader:  # of this snapshot: after a hand-in it is another answer
        return _ask(store, "answer", json.dumps({**detail, "snapshot": reader.name}))


def withdrawals(store: Store, most: int) -> list[Job]:
    """Return the latest withdrawals that pages asked for, newest first."""
    jobs = Jobs(store.root).latest(_LOOKED_AT)
    return [job for job in jobs if job.kind == "withdraw"][:most]


def ask_plan(store: Store, detail: str) -> Job:
    """Ask for the plan to be made anew.

    Parameters
    ----------
    store
        The store whose plan it is.
    detail
        As JSON: pins, forbidden and lifted as pairs of locomotive and day, `more` (whether to try
        one more of everything), `first` (whether to begin from the planner's file in the store).
    """
    return _ask(store, "plan", detail)


def ask_plan_undone(store: Store) -> Job:
    """Ask for the version before to be brought back."""
    return _ask(store, "plan-undo", str(Versions(store.root).latest() or 0))


def plans_asked(store: Store, most: int) -> list[Job]:
    """Return the latest changes of the plan that pages asked for, newest first."""
    jobs = Jobs(store.root).latest(_LOOKED_AT)
    return [job for job in jobs if job.kind in ("plan", "plan-undo")][:most]


def start(store: Store) -> threading.Thread:
    """Do the work that waits in a thread of its own, and return that."""
    thread = threading.Thread(target=Jobs(store.root).work, args=(_ways(store),), name="work")
    thread.daemon = True  # a publish that is cut off leaves the store as it was
    thread.start()
    return thread


def _ask(store: Store, kind: str, detail: str) -> Job:
    """Ask once: the same work is not asked again while it waits, nor after it failed."""
    jobs = Jobs(store.root)
    same = [job for job in jobs.latest(_LOOKED_AT) if (job.kind, job.detail) == (kind, detail)]
    if not same or (same[0].is_over and kind in _REPEATED) or same[0].state == "stopped":
        jobs.ask(kind, detail, who=WHO)
        same = [job for job in jobs.latest(_LOOKED_AT) if job.detail == detail]
    if not same[0].is_over:  # also what waits since another process ended
        start(store)
    return same[0]


def _ways(store: Store) -> Mapping[str, Callable[[Job], str]]:
    def take_back(job: Job) -> str:
        done = withdraw(store, int(job.detail), who=job.who, wait_seconds=_WAIT_SECONDS)
        return str(done.rows)

    def work_out(job: Job) -> str:
        asked = json.loads(job.detail)
        scope, _ = Scope.from_query(asked["scope"])
        question, options = asked["question"], asked["options"]
        with store.read() as reader:
            AnswerCache(store.root).get(
                reader,
                question,
                scope=scope,
                options=options,
                make=lambda: ask_reader(reader, question, scope, **options),
            )
        return ""

    def plan_again(job: Job) -> str:
        asked = json.loads(job.detail)
        pins, forbidden, lifted = (
            tuple((str(name), date.fromisoformat(day)) for name, day in asked[word])
            for word in ("pins", "forbidden", "lifted")
        )
        change = Change(pins, forbidden, lifted, more=bool(asked.get("more")))
        path = usual_inputs(store) if asked.get("first") else None
        inputs = read_store_inputs(store, path) if path else None
        return str(make_version(store, change, inputs=inputs, who=job.who))

    def undo_plan(job: Job) -> str:
        return str(Versions(store.root).undo(who=job.who))

    return {
        "withdraw": take_back, "answer": work_out, "plan": plan_again, "plan-undo": undo_plan,
    }  # fmt: skip
