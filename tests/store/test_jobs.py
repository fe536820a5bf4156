"""Work of a store: in order, once, told apart when it was refused, failed or cut off."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from analytics.errors import InputError
from analytics.store.jobs import Job, Jobs


@pytest.fixture
def jobs(tmp_path: Path) -> Jobs:
    return Jobs(tmp_path)


def test_work_is_done_once_and_in_order(jobs: Jobs) -> None:
    done: list[str] = []

    def note(job: Job) -> str:
        done.append(job.detail)
        return f"noted {job.detail}"

    for detail in ("first", "second"):
        jobs.ask("note", detail, who="tester")
    jobs.work({"note": note})
    jobs.work({"note": note})
    assert done == ["first", "second"]
    newest, oldest = jobs.latest()
    assert (newest.state, newest.result, newest.who) == ("done", "noted second", "tester")
    assert newest.number > oldest.number
    assert newest.is_over
    assert newest.finished_at is not None


def test_refusal_and_failure_are_told_apart(jobs: Jobs) -> None:
    def refuse(_job: Job) -> str:
        raise InputError("there is no batch 9.")

    def fail(_job: Job) -> str:
        raise ZeroDivisionError("by hand")

    for kind in ("refuse", "fail", "nobody-does-this"):
        jobs.ask(kind, "", who="tester")
    jobs.work({"refuse": refuse, "fail": fail})
    unknown, failed, refused = jobs.latest()
    assert (refused.state, refused.result) == ("refused", "there is no batch 9.")
    assert (failed.state, failed.result) == ("failed", "ZeroDivisionError: by hand")
    assert unknown.state == "failed"


def test_work_cut_off_is_marked_as_stopped(jobs: Jobs, tmp_path: Path) -> None:
    jobs.ask("note", "first", who="tester")
    with sqlite3.connect(tmp_path / "desk.sqlite") as connection:
        connection.execute("UPDATE job SET state = 'working'")  # as a killed process leaves it
    (job,) = jobs.latest()
    assert (job.state, job.is_over) == ("stopped", True)


def test_one_worker_at_a_time(jobs: Jobs, tmp_path: Path) -> None:
    seen: list[str] = []

    def look(_job: Job) -> str:
        Jobs(tmp_path).work({"look": look})  # another worker: leaves at once
        seen.extend(job.state for job in Jobs(tmp_path).latest())
        return ""

    jobs.ask("look", "", who="tester")
    jobs.work({"look": look})
    assert seen == ["working"]
