"""The lists on the command line: fixed columns, what they rest on, the options of each.

Oracle: the lists of columns are the contract of the command line; rows counted by hand.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from analytics.handin import ingest
from analytics.store import Store
from tests.cli.conftest import Done
from tests.history.world import CATALOGUE

Run = Callable[..., Done]
COLUMNS = {
    "findings": "locomotive,class,depot,component,position,defect,severity,found,closed,action,"
    "open,deferred,age_days,findings,repeat,down_hours,cost",
    "ages": "locomotive,class,component,position,clock,since,start_known,age,left_share,median,"
    "last_action",
    "counters": "locomotive,clock,read_at,value,raw,reset",
    "batches": "batch,received,who,file,table,rows,accepted,updated,duplicate,set_aside,withdrawn,"
    "withdrawn_by",
    "rejects --list": "batch,file,row,column,rule,reason,received",
}
EVERY = pytest.mark.parametrize("command", COLUMNS)
COUNTED = ("findings", "ages")


@EVERY
def test_csv_has_exactly_the_columns(command: str, run: Run, store: Path) -> None:
    done = run(*command.split(), "--store", store, "--format", "csv")
    assert done.code == 0
    assert done.out.splitlines()[0] == COLUMNS[command]
    assert ("Counted: " if command in COUNTED else "Looked at: ") in done.err
    assert "Method: " in done.err


@EVERY
def test_empty_store_gives_a_sentence_and_the_heading(
    command: str, run: Run, tmp_path: Path
) -> None:
    Store.create(tmp_path / "store", {"catalogue.toml": CATALOGUE})
    done = run(*command.split(), "--store", tmp_path / "store", "--format", "csv")
    assert (done.code, done.out.splitlines()) == (0, [COLUMNS[command]])
    assert done.err.splitlines()[0].endswith(".")


@EVERY
def test_screen_fits_and_says_what_it_rests_on(command: str, run: Run, store: Path) -> None:
    done = run(*command.split(), "--store", store)
    assert (done.code, done.err) == (0, "")
    assert max(len(line) for line in done.out.splitlines()) <= 80
    assert "known to 2024-06-20" in done.out


@EVERY
def test_lists_take_no_groups(command: str, run: Run, store: Path) -> None:
    assert run(*command.split(), "--store", store, "--by", "component").code == 2


def test_open_keeps_what_is_open(run: Run, store: Path) -> None:
    given = ("findings", "--store", store, "--json")
    assert len(json.loads(run(*given).out)) == 6
    assert json.loads(run(*given, "--open").out) == []
    # handed in as closed on the day found: up to that day it is not known yet
    assert len(json.loads(run(*given, "--locomotive", "5A", "--until", "2024-03-01").out)) == 2


def test_rejects_list_and_files_share_the_out_option(run: Run, files: Path, tmp_path: Path) -> None:
    made = Store.create(tmp_path / "store", {"catalogue.toml": CATALOGUE})
    ingest(made, [files / "locomotives.csv", files / "bad.csv"])
    given = ("rejects", "--store", tmp_path / "store")
    done = run(*given, "--list", "--out", tmp_path / "aside.csv")
    assert (done.code, done.out) == (0, "")
    assert pd.read_csv(tmp_path / "aside.csv")["row"].tolist() == [2, 3]
    table = pd.read_csv(io.StringIO(run(*given, "--list", "--batch", 1, "--format", "csv").out))
    assert table["column"].tolist() == ["component", "position"]
    refused = run(*given, "--json")
    assert (refused.code, refused.out) == (2, "")
    assert "--list" in refused.err
    assert run(*given, "--list", "--batch", 9).err == "shedbook: there is no batch 9.\n"
    assert run(*given, "--out", tmp_path / "folder").code == 0
    assert (tmp_path / "folder" / "bad.csv").exists()
