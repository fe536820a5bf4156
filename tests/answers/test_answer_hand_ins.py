"""Files handed in and rows set aside, on a small store of files. Oracle: counted by hand."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest

from analytics.answer import say
from analytics.answers import batches, set_aside
from analytics.errors import ScopeError
from analytics.handin import ingest, rejects, withdraw
from analytics.store import Store
from tests.answers.hand import answer, railway, reader_of
from tests.history.world import CATALOGUE

REGISTER = "locomotive,class,records_from\n5A,Alder,2024-01-01\n"
HEAD = "locomotive,found_at,component,position,defect,severity,action\n"
GOOD = "5A,2024-02-01,injector,1,leaking,rectify,cleaned\n"
BAD_NAME = "5A,2024-02-02,injektor,1,leaking,rectify,cleaned\n"
BAD_PLACE = "5A,2024-02-03,injector,9,leaking,rectify,cleaned\n"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """Batch 1: the register and three findings, two of them set aside; batch 2: one good one."""
    made = Store.create(tmp_path / "store", {"catalogue.toml": CATALOGUE})
    for name, text in (
        ("register.csv", REGISTER),
        ("findings.csv", HEAD + GOOD + BAD_NAME + BAD_PLACE),
        ("later.csv", HEAD + GOOD.replace("02-01", "02-09")),
    ):
        (tmp_path / name).write_text(text, encoding="utf-8")
    first = [tmp_path / "register.csv", tmp_path / "findings.csv"]
    ingest(made, first, who="Ann", now=datetime(2024, 3, 1, 7))
    ingest(made, [tmp_path / "later.csv"], who="Bob", now=datetime(2024, 3, 2, 7, 30))
    return made


def test_files_of_each_batch_newest_first(store: Store) -> None:
    with store.read() as reader:
        found = answer(reader, "batches")
    table = found.table
    assert list(table) == list(batches.COLUMNS)
    assert table["batch"].tolist() == [2, 1, 1]
    assert table["who"].tolist() == ["Bob", "Ann", "Ann"]
    assert table["received"].tolist()[0] == datetime(2024, 3, 2, 7, 30)
    findings = table[table["file"] == "findings.csv"].iloc[0]
    assert findings[["table", "rows", "accepted", "set_aside"]].tolist() == ["findings", 3, 1, 2]
    assert table["withdrawn"].isna().all()
    assert found.reading.key == "batches.last_kept_by"
    assert "withdrawn" not in say(found.reading)
    assert found.reading.values["who"] == "Bob"
    assert (found.reading.values["files"], found.reading.values["rows"]) == (3, 1)
    assert found.notes == ()


def test_withdrawn_batch_stays_listed(store: Store) -> None:
    withdraw(store, 2, who="Cid", now=datetime(2024, 3, 3))
    with store.read() as reader:
        found = answer(reader, "batches", locomotive="5A", since="2030-01-01")
    assert found.table["withdrawn"].notna().tolist() == [True, False, False]
    assert found.table["withdrawn_by"].iloc[0] == "Cid"
    assert found.reading.values["withdrawn"] == 1
    assert "2 batches, 1 of them withdrawn;" in say(found.reading)
    assert [note.key for note in found.notes] == ["batches.all_listed"]
    assert found.basis.filters == {}


def test_rows_set_aside_with_their_reasons(store: Store) -> None:
    with store.read() as reader:
        found = answer(reader, "set_aside")
    table = found.table
    assert list(table) == list(set_aside.COLUMNS)
    # the heading is row 1, the good finding row 2
    assert table[["batch", "file", "row", "column"]].values.tolist() == [
        [1, "findings.csv", 3, "component"],
        [1, "findings.csv", 4, "position"],
    ]
    assert json.loads(table["received"].iloc[0])["component"] == "injektor"
    assert "injector" in table["reason"].iloc[0]
    assert found.reading.values["rows"] == 2


def test_rows_set_aside_are_those_that_rejects_writes(store: Store, tmp_path: Path) -> None:
    """Oracle: identity, before and after one of the rows was mended."""
    for folder, mended in (("before", ""), ("after", HEAD + BAD_PLACE)):
        if mended:
            (tmp_path / "findings.csv").write_text(mended, encoding="utf-8")
            ingest(store, [tmp_path / "findings.csv"])
        written = rejects(store, tmp_path / folder)
        with store.read() as reader:
            table = answer(reader, "set_aside").table
        assert len(table) == sum(file.rows for file in written) == (1 if mended else 2)
    assert table["column"].tolist() == ["position"]
    with store.read() as reader:
        assert len(answer(reader, "set_aside", batch=1).table) == 2
        with pytest.raises(ScopeError, match="there is no batch 99"):
            answer(reader, "set_aside", batch=99)


def test_nothing_handed_in_is_said() -> None:
    reader = reader_of(railway())  # rows without files
    found, aside = answer(reader, "batches"), answer(reader, "set_aside", locomotive="5A")
    assert (found.table.empty, found.reading.key) == (True, "batches.none")
    assert list(found.table) == list(batches.COLUMNS)
    assert (aside.table.empty, aside.reading.key) == (True, "aside.none")
    assert list(aside.table) == list(set_aside.COLUMNS)
    assert [note.key for note in aside.notes] == ["aside.all_listed"]
