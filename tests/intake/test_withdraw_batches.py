"""A batch taken back. Oracle: a store that never had it has the same history and facts."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from analytics.errors import InputError
from analytics.handin import withdraw
from analytics.intake.tables import TABLES
from analytics.store.current import versions_sql
from analytics.store.desk import Desk
from tests.intake.depot import NOW, REGISTER, Depot, counts, write_files

FINDINGS = "locomotive,found_at,component,position,defect,action,finding_id,cost\n"
FIRST = {
    "f.csv": FINDINGS
    + "A1,2024-05-01,fuel-injector,1,leaking,replaced,,10\n"
    + "A1,2024-05-20,fuel-injector,1,leaking,replaced,F1,10\n"
    + "B1,2024-05-02,battery,,discharged,adjusted,,\n",
    "i.csv": "locomotive,inspected_at,engine_hours\nA1,2024-05-01,100\nA1,2024-06-30,500\n"
    "B1,2024-05-01,10\nB1,2024-06-30,300\n",
}
SECOND = {
    "g.csv": FINDINGS
    + "A1,2024-05-01,fuel-injector,1,leaking,adjusted,,12\n"  # corrects
    + "B1,2024-05-20,fuel-injector,1,leaking,replaced,F1,10\n"  # moves a row to another locomotive
    + "A1,2024-06-05,fuel-injector,2,worn,replaced,,\n"  # new
    + "A1,2024-06-06,fuel-injector,9,worn,replaced,,\n",  # set aside
    "u.csv": "locomotive,read_at,engine_hours\nA1,2024-06-10,400\n",
}
HISTORY = ("record", "counter", "exposure", "episode", "closing", "life")


def history(depot: Depot) -> dict[str, list[tuple[object, ...]]]:
    return {name: depot.rows(f"SELECT * FROM history.{name} ORDER BY ALL") for name in HISTORY}


def facts(depot: Depot) -> dict[str, list[tuple[object, ...]]]:
    return {name: depot.current(name, ", ".join(table.stored)) for name, table in TABLES.items()}


def test_store_is_as_if_the_batch_had_never_come(depot: Depot) -> None:
    depot.hand_in(FIRST)
    never = history(depot), facts(depot)
    report = depot.hand_in(SECOND, covered_until=datetime(2026, 1, 1))
    assert counts(report) == [(1, 2, 0, 1), (1, 0, 0, 0)]
    assert report.batch is not None
    done = withdraw(depot.store, report.batch, now=NOW)
    assert (history(depot), facts(depot)) == never
    assert (done.rows, done.restored, done.set_aside, done.locomotives) == (4, 2, 1, 2)
    assert done.files == ("g.csv", "u.csv")
    assert done.off_register == ()


def test_facts_of_a_withdrawn_batch_stay_on_record(depot: Depot) -> None:
    depot.hand_in(FIRST)
    depot.hand_in(SECOND)
    withdraw(depot.store, 3, who="Records desk", now=NOW)
    assert depot.rows("SELECT count(*) FROM facts.findings WHERE batch = 3") == [(3,)]
    assert depot.rows("SELECT withdrawn_at, withdrawn_by FROM batch WHERE batch = 3") == [
        (NOW, "Records desk")
    ]
    assert Desk(depot.store.root).audit()[-1][1:] == (
        "Records desk",
        "withdraw",
        "batch 3: g.csv, u.csv",
    )


def test_withdrawn_files_can_be_handed_in_again(depot: Depot) -> None:
    depot.hand_in(FIRST)
    first = counts(depot.hand_in(SECOND))
    withdraw(depot.store, 3)
    assert counts(depot.hand_in(SECOND)) == first


def test_correction_of_a_correction_stands_when_the_first_is_withdrawn(depot: Depot) -> None:
    depot.hand_in(FIRST)
    depot.hand_in(SECOND)
    third = FINDINGS + "A1,2024-05-01,fuel-injector,1,leaking,looked-at,,15\n"
    depot.hand_in({"h.csv": third})
    withdraw(depot.store, 3)
    where = "locomotive = 'A1' AND found_at = DATE '2024-05-01'"
    cost = f"SELECT cost FROM ({versions_sql('findings', where)}) WHERE replaced_by IS NULL"
    assert depot.rows(f"{cost} AND withdrawn_at IS NULL") == [(15.0,)]


def test_register_withdrawn_leaves_no_history(depot: Depot) -> None:
    depot.hand_in(FIRST)
    done = withdraw(depot.store, 1)
    assert done.off_register == ("A1", "A2", "B1")
    assert history(depot) == {name: [] for name in HISTORY}
    assert depot.rows("SELECT count(*) FROM facts.findings") == [(3,)]
    depot.hand_in({"register.csv": REGISTER})
    assert {row[0] for row in history(depot)["record"]} == {"A1", "A2", "B1"}


def test_history_comes_back_with_the_register(depot: Depot) -> None:
    depot.hand_in(FIRST)
    before = history(depot)
    withdraw(depot.store, 1)
    depot.hand_in({"register.csv": REGISTER})
    assert history(depot) == before


def test_edited_catalogue_counts_from_the_withdrawal_on(depot: Depot) -> None:
    depot.hand_in(FIRST)
    depot.hand_in(SECOND)
    catalogue = depot.store.root / "catalogue" / "depot.toml"
    text = catalogue.read_text(encoding="utf-8")
    changed = text.replace(
        '[action.adjusted]\neffect = "restore"', '[action.adjusted]\neffect = "renew"'
    )
    catalogue.write_text(changed, encoding="utf-8")
    withdraw(depot.store, 3)
    effects = depot.rows("SELECT effect FROM history.episode WHERE component = 'battery'")
    assert effects == [("renew",)]


def test_batch_that_is_not_there_is_refused_and_nothing_is_published(depot: Depot) -> None:
    before = depot.store.current()
    with pytest.raises(InputError, match="there is no batch 7: batches go from 1 to 1"):
        withdraw(depot.store, 7)
    assert depot.store.current() == before
    assert not list(depot.store.root.glob("*.building*"))


def test_batch_withdrawn_before_is_refused(depot: Depot) -> None:
    depot.hand_in(FIRST)
    withdraw(depot.store, 2, now=NOW)
    with pytest.raises(InputError, match="batch 2 was withdrawn before, on 2026-06-01 12:00"):
        withdraw(depot.store, 2)


def test_empty_store_has_no_batch(tmp_path: Path) -> None:
    depot = Depot.new(tmp_path, register=None)
    with pytest.raises(InputError, match="nothing has been handed in yet"):
        withdraw(depot.store, 1)


def test_every_version_is_kept_with_who_replaced_it(depot: Depot) -> None:
    from analytics.handin import ingest

    for who, files, now in (
        ("Day shift", FIRST, datetime(2026, 5, 1)),
        ("Night shift", SECOND, datetime(2026, 5, 2)),
    ):
        ingest(depot.store, write_files(depot.folder, files), who=who, now=now)
    shown = "cost, version, who, received_at, replaced_by, replaced_who, replaced_at"
    one = versions_sql("findings", "locomotive = 'A1' AND finding_id IS NULL")
    assert depot.rows(f"SELECT {shown} FROM ({one}) WHERE position = '1' ORDER BY batch") == [
        (10.0, 1, "Day shift", datetime(2026, 5, 1), 3, "Night shift", datetime(2026, 5, 2)),
        (12.0, 2, "Night shift", datetime(2026, 5, 2), None, None, None),
    ]
    moved = versions_sql("findings", "finding_id = 'F1'")
    assert depot.rows(f"SELECT locomotive, version, replaced_by FROM ({moved}) ORDER BY 2") == [
        ("A1", 1, 3),
        ("B1", 2, None),
    ]
    withdraw(depot.store, 3, who="Records desk")
    assert depot.rows(
        f"SELECT locomotive, version, replaced_by, withdrawn_by FROM ({moved}) ORDER BY 1"
    ) == [("A1", 1, None, ""), ("B1", None, None, "Records desk")]


@pytest.mark.parametrize("table", sorted(TABLES))
def test_versions_in_force_are_the_current_rows(depot: Depot, table: str) -> None:
    depot.hand_in(FIRST)
    depot.hand_in(SECOND)
    in_force = "replaced_by IS NULL AND withdrawn_at IS NULL"
    columns = "batch, file, row_number, locomotive"
    assert depot.current(table, columns) == depot.rows(
        f"SELECT {columns} FROM ({versions_sql(table)}) WHERE {in_force} ORDER BY ALL"
    )
