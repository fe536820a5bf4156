"""The store's promises: all or nothing, readers never blocked, one writer, no use after a fork."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import duckdb
import pytest

from analytics.catalogue.load import shipped_files
from analytics.errors import CatalogueError, StoreBusy, StoreError
from analytics.store import Store, migrations, snapshots
from analytics.store.desk import Desk

CATALOGUE = {
    "small.toml": '[class.Alder]\n[action.replaced]\neffect = "renew"\n'
    '[component.pump]\nsystem = "fuel"\nclock = "days"\ndefects = ["leaking"]\n'
}


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store.create(tmp_path / "store", CATALOGUE)


def add_batch(connection: duckdb.DuckDBPyConnection, number: int) -> None:
    connection.execute(
        "INSERT INTO batch (batch, received_at) VALUES (?, now()::TIMESTAMP)", [number]
    )


def batches(store: Store) -> int:
    with store.read() as reader:
        return int(reader.cursor.execute("SELECT count(*) FROM batch").fetchall()[0][0])


def test_create_keeps_the_catalogue_and_opens_again(store: Store) -> None:
    again = Store.open(store.root)
    with again.read() as reader:
        assert set(reader.catalogue.components) == {"pump"}
        assert reader.fingerprint.startswith("store-1/")
    assert (store.root / "inbox").is_dir()


def test_create_refuses_a_second_store_and_a_broken_catalogue(store: Store, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="already holds a store"):
        Store.create(store.root, CATALOGUE)
    with pytest.raises(CatalogueError):
        Store.create(tmp_path / "other", {"bad.toml": "[component.pump]\n"})
    assert not (tmp_path / "other" / "CURRENT").exists()


def test_open_without_a_store_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="shedbook init"):
        Store.open(tmp_path)


def test_a_publish_that_fails_leaves_everything_as_it_was(store: Store) -> None:
    before = store.current()
    with pytest.raises(ZeroDivisionError), store.publish() as connection:
        add_batch(connection, 1)
        raise ZeroDivisionError
    assert (store.current(), batches(store)) == (before, 0)
    with store.publish() as connection:
        add_batch(connection, 1)
    assert batches(store) == 1
    assert not list(store.root.glob("*.building*"))


def test_counts_that_do_not_add_up_are_never_published(store: Store) -> None:
    with pytest.raises(StoreError, match="counts do not add up"), store.publish() as connection:
        add_batch(connection, 1)
        connection.execute(
            "INSERT INTO batch_file VALUES (1, 1, 'f', 'usage', 'x', 5, 1, 1, 1, 1, '', '', '')"
        )
    assert batches(store) == 0


def test_a_reader_keeps_its_snapshot_while_others_see_the_next(store: Store) -> None:
    with store.read() as reader:
        with store.publish() as connection:
            add_batch(connection, 1)
        assert reader.cursor.execute("SELECT count(*) FROM batch").fetchall() == [(0,)]
        assert batches(store) == 1


def test_a_depots_edited_catalogue_arrives_with_the_next_publish(store: Store) -> None:
    path = store.root / "catalogue" / "small.toml"
    path.write_text(path.read_text() + "[class.Rowan]\n", encoding="utf-8")
    with store.read() as reader:
        assert set(reader.catalogue.classes) == {"Alder"}
    with store.publish():
        pass
    with store.read() as reader:
        assert set(reader.catalogue.classes) == {"Alder", "Rowan"}


def test_old_snapshots_go_but_never_young_ones_nor_the_current(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(1, 5):
        with store.publish() as connection:
            add_batch(connection, number)
    assert len(list(store.root.glob("store-*.duckdb"))) == 5
    monkeypatch.setattr(snapshots, "YOUNG_SECONDS", 0)
    with store.publish():
        pass
    left = sorted(path.name for path in store.root.glob("store-*.duckdb"))
    assert left == ["store-4.duckdb", "store-5.duckdb", "store-6.duckdb"]


def test_a_second_writer_is_told_who_writes_and_gives_up(store: Store) -> None:
    inside, done = threading.Event(), threading.Event()

    def write() -> None:
        with store.publish():
            inside.set()
            done.wait(30)

    thread = threading.Thread(target=write)
    thread.start()
    assert inside.wait(30)
    said = json.loads((store.root / "WRITER.json").read_text())
    refused = pytest.raises(StoreBusy, match=f"since .* process {said['process']}; gave up")
    with refused, Store(store.root).publish(wait_seconds=0.1):
        pass
    done.set()
    thread.join()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork on this system")
def test_use_in_a_forked_child_is_refused(store: Store) -> None:
    # In a process of its own: forking the test process with threads about would warn.
    script = (
        "import os, sys\nfrom analytics.store import Store\n"
        "from analytics.errors import StoreError\n"
        "store = Store.open(sys.argv[1])\nchild = os.fork()\n"
        "if child == 0:\n"
        "    try:\n        store.read().__enter__()\n"
        "    except StoreError as error:\n        os._exit(7 if 'forked' in str(error) else 1)\n"
        "    os._exit(0)\n"
        "sys.exit(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))\n"
    )
    done = subprocess.run([sys.executable, "-c", script, str(store.root)], check=False)
    assert done.returncode == 7


def test_every_older_version_is_brought_up_to_date_with_a_backup(tmp_path: Path) -> None:
    for version in range(1, migrations.NEWEST):
        root = tmp_path / f"from-{version}"
        (root / "catalogue").mkdir(parents=True)
        for name, text in CATALOGUE.items():
            (root / "catalogue" / name).write_text(text)
        connection = duckdb.connect(str(root / "store-1.duckdb"))
        migrations.bring_up_to_date(connection, to=version)
        add_batch(connection, 1)
        connection.execute("INSERT INTO catalogue_file VALUES (?, ?)", list(CATALOGUE.items())[0])
        connection.close()
        (root / "CURRENT").write_text("store-1.duckdb")
        store = Store.open(root)
        with store.read() as reader:
            assert migrations.version_of(reader.cursor, "it") == migrations.NEWEST
            fresh = duckdb.connect()
            migrations.bring_up_to_date(fresh)
            columns = "SELECT table_name, column_name, data_type FROM duckdb_columns() ORDER BY ALL"
            assert reader.cursor.execute(columns).fetchall() == fresh.execute(columns).fetchall()
        assert batches(store) == 1
        assert list(root.glob("*.backup"))


def test_a_newer_store_is_refused_with_a_sentence(store: Store) -> None:
    with store.publish() as connection:
        migrations.write_meta(connection, "schema", str(migrations.NEWEST + 1))
    with pytest.raises(StoreError, match="install the newer shedbook"):
        Store.open(store.root)


def test_shipped_catalogue_makes_a_store(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "store", shipped_files())
    with store.read() as reader:
        assert len(reader.catalogue.components) > 50


def test_desk_keeps_an_audit_trail(store: Store) -> None:
    desk = Desk(store.root)
    desk.record("ingest", "batch 1", who="records keeper")
    desk.record("withdraw", "batch 1")
    assert [(who, action) for _, who, action, _ in Desk(store.root).audit()] == [
        ("records keeper", "ingest"), ("command line", "withdraw"),
    ]  # fmt: skip
