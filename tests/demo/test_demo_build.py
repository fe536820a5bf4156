"""The demo store: made once, reused while it fits, never made over something else."""

from __future__ import annotations

import json

import pytest

from analytics.errors import InputError, StoreError
from analytics.store import Store
from data_demo.build import build

SMALL = {"locomotives": 4, "years": 1}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("demo") / "shedbook-demo"
    return root, build(root, **SMALL)


def _rows(store: Store, query: str):
    with store.read() as reader:
        return reader.cursor.execute(query).fetchall()


def test_every_row_of_the_demo_is_accounted_for(made):
    root, store = made
    query = (
        "SELECT sum(rows), sum(accepted + updated + duplicate + set_aside), sum(set_aside) "
        "FROM batch_file"
    )
    rows, ended, set_aside = _rows(store, query)[0]
    assert rows == ended > 1000
    card = json.loads((root / "demo.json").read_text(encoding="ascii"))
    assert sum(card["set_aside"].values()) == set_aside > 0


def test_demo_has_histories(made):
    _, store = made
    assert _rows(store, "SELECT count(*) FROM history.record")[0][0] == 4
    assert _rows(store, "SELECT count(*) FROM history.episode")[0][0] > 100


def test_complete_demo_is_reused(made):
    root, store = made
    said = []
    again = build(root, **SMALL, progress=said.append)
    assert again.current() == store.current()
    assert said == ["the demo is there already"]


def test_demo_says_what_it_is(made):
    root, _ = made
    card = json.loads((root / "demo.json").read_text(encoding="ascii"))
    assert card["complete"] is True
    assert (card["locomotives"], card["years"]) == (4, 1)


def test_unfinished_demo_is_made_anew(tmp_path):
    first = build(tmp_path / "demo", **SMALL)
    card = json.loads((first.root / "demo.json").read_text(encoding="ascii"))
    (first.root / "demo.json").write_text(json.dumps({**card, "complete": False}))
    (first.root / "CURRENT").unlink()
    again = build(tmp_path / "demo", **SMALL)
    assert _rows(again, "SELECT count(*) FROM history.record")[0][0] == 4


def test_demo_of_another_size_replaces_the_demo(tmp_path):
    build(tmp_path / "demo", **SMALL)
    store = build(tmp_path / "demo", locomotives=5, years=1)
    assert _rows(store, "SELECT count(*) FROM history.record")[0][0] == 5


def test_folder_with_something_else_in_it_is_left_alone(tmp_path):
    (tmp_path / "letters.txt").write_text("dear depot", encoding="ascii")
    with pytest.raises(StoreError, match="not the demo"):
        build(tmp_path, **SMALL)
    assert [path.name for path in tmp_path.iterdir()] == ["letters.txt"]


def test_path_that_is_a_file_is_refused(tmp_path):
    (tmp_path / "demo").write_text("", encoding="ascii")
    with pytest.raises(StoreError, match="not a folder"):
        build(tmp_path / "demo", **SMALL)


def test_impossible_size_writes_nothing(tmp_path):
    with pytest.raises(InputError, match="0"):
        build(tmp_path / "demo", locomotives=0)
    assert not (tmp_path / "demo").exists()
