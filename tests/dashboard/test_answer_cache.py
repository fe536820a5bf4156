from __future__ import annotations

import os
import threading
import time
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.answer import Answer, Basis, Message
from analytics.scope import Scope
from analytics.store import Store
from dashboard.cache import AnswerCache
from dashboard.kept_answer import read_kept, write_kept
from tests.dashboard import made_up

SCOPE = Scope(clock="hours", components=("injector",))


def make_answer() -> Answer:
    table = pd.DataFrame(
        {
            "class": ["Alder", None],
            "month": pd.to_datetime(["2026-01-01", "2026-02-01"]),
            "rate": [0.1, np.nan],
            "failures": [3, 0],
            "note": [None, None],
        }
    )
    basis = Basis(
        counting="any",
        clock="km",
        level=0.9,
        method="exact-poisson",
        since=datetime(2024, 1, 1),
        filters={"classes": ("Alder", "Birch")},
        left_out={"no_clock": 2},
        data_cut=datetime(2026, 5, 31, 6, 30),
        fingerprint="store-1/ab",
    )
    reading = Message("a.b", count=np.int64(3), at=datetime(2026, 1, 2), day=date(2026, 1, 3))
    return Answer("mtbf", table, basis, reading, (Message("c.d", p=0.5, names=["x"], none=None),))


def test_answer_comes_back_from_its_file_as_it_was(tmp_path: Path) -> None:
    answer = make_answer()
    write_kept(answer, tmp_path / "one.parquet")
    kept = read_kept(tmp_path / "one.parquet")
    assert kept is not None
    pd.testing.assert_frame_equal(kept.table, answer.table)
    assert kept.basis.filters == answer.basis.filters
    assert kept.basis.data_cut == answer.basis.data_cut
    assert dict(kept.reading.values) == dict(answer.reading.values)
    assert [note.key for note in kept.notes] == ["c.d"]
    assert [path.name for path in tmp_path.iterdir()] == ["one.parquet"]


@pytest.mark.parametrize("content", [b"", b"not parquet", b"PAR1" + bytes(40) + b"PAR1"])
def test_damaged_file_counts_as_none(tmp_path: Path, content: bytes) -> None:
    place = tmp_path / "one.parquet"
    place.write_bytes(content)
    assert read_kept(place) is None


class Maker:
    """Makes an answer and counts how often it was asked to."""

    def __init__(self, *, seconds: float = 0.0) -> None:
        self.made, self.seconds = 0, seconds

    def __call__(self) -> Answer:
        self.made += 1
        time.sleep(self.seconds)
        return made_up.recurrence(None, SCOPE)


def get(store: Store, maker: Maker, *, scope: Scope = SCOPE, window: str = "30d") -> Answer:
    with store.read() as reader:
        cache = AnswerCache(store.root)
        return cache.get(reader, "recurrence", scope=scope, options={"window": window}, make=maker)


def test_second_call_takes_what_was_kept(empty_store: Store) -> None:
    maker = Maker()
    first, second = get(empty_store, maker), get(empty_store, maker)
    assert maker.made == 1
    pd.testing.assert_frame_equal(first.table, second.table)
    assert (empty_store.root / "cache").stat().st_mode & 0o777 == 0o700


def test_another_scope_option_or_snapshot_is_another_answer(empty_store: Store) -> None:
    maker = Maker()
    get(empty_store, maker)
    get(empty_store, maker, scope=Scope(clock="km", components=("injector",)))
    get(empty_store, maker, window="60d")
    assert maker.made == 3
    with empty_store.publish():
        pass
    get(empty_store, maker)
    assert maker.made == 4


def test_many_callers_of_one_question_compute_it_once(empty_store: Store) -> None:
    maker = Maker(seconds=0.2)
    threads = [threading.Thread(target=get, args=(empty_store, maker)) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert maker.made == 1


def test_without_a_folder_nothing_is_kept(empty_store: Store) -> None:
    maker = Maker()
    for _ in range(2):
        with empty_store.read() as reader:
            AnswerCache(None).get(reader, "recurrence", scope=SCOPE, options={}, make=maker)
    assert maker.made == 2


def test_folder_that_cannot_be_made_is_no_obstacle(
    empty_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_args: object, **_options: object) -> None:
        raise PermissionError("read-only")

    maker = Maker()
    monkeypatch.setattr(Path, "mkdir", refuse)
    get(empty_store, maker)
    assert maker.made == 1


def test_folder_that_may_not_be_written_is_no_obstacle(
    empty_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    maker = Maker()
    monkeypatch.setattr(os, "access", lambda *_args: False)
    get(empty_store, maker)
    get(empty_store, maker)
    assert maker.made == 2


def test_answers_of_old_snapshots_are_dropped(empty_store: Store) -> None:
    get(empty_store, Maker())
    (old,) = (empty_store.root / "cache").iterdir()
    os.utime(old, (0, 0))
    with empty_store.publish():
        pass
    get(empty_store, Maker())
    assert not old.exists()
