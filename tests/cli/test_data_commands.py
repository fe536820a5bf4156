"""Commands that bring data in and take it back: what they print, write, and leave with.

Oracle: the contract of the command line, and the rows handed in.
"""

from __future__ import annotations

import csv
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from python_calamine import CalamineWorkbook

from analytics.cli.data import name_of_user
from analytics.store import Store
from analytics.store.desk import Desk
from tests.cli.conftest import Done, beside

Run = Callable[..., Done]
HEADINGS = "locomotive,found_at,component,position,defect,severity,action,closed_at"


@pytest.fixture
def own(store: Path, tmp_path: Path) -> Path:
    """A copy of the store, to hand in to."""
    return Path(shutil.copytree(store, tmp_path / "own"))


def batches(store: Path) -> list[tuple[object, ...]]:
    with Store.open(store).read() as reader:
        query = "SELECT batch, who, withdrawn_by FROM batch ORDER BY batch"
        return reader.cursor.execute(query).fetchall()


def test_rows_set_aside_are_written_mended_and_handed_in_again(
    run: Run, own: Path, files: Path, tmp_path: Path
) -> None:
    handed_in = run("ingest", files / "bad.csv", "--store", own)
    assert "shedbook rejects" in handed_in.out
    out = tmp_path / "out"
    done = run("rejects", "--store", own, "--out", out)
    assert (done.code, done.err) == (0, "")
    assert f"{out / 'bad.csv'}: 2 rows of bad.csv" in done.out
    assert done.out.endswith("Mend the rows and hand the files in again, under the same names.\n")
    mended = (out / "bad.csv").read_text(encoding="utf-8-sig").replace("injektor,", "injector,")
    (out / "bad.csv").write_text(mended.replace("injector,3", "injector,2"), encoding="utf-8")
    again = json.loads(run("ingest", out / "bad.csv", "--store", own, "--json").out)
    assert [(f["accepted"], f["set_aside"], f["batch"]) for f in again] == [(2, 0, 3)]
    assert run("rejects", "--store", own).out == "No row is set aside.\n"
    whole = run("rejects", "--store", own, "--batch", 2, "--out", tmp_path / "whole")
    assert "2 rows of bad.csv" in whole.out
    with (tmp_path / "whole" / "bad.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [row["component"] for row in csv.DictReader(file)] == ["injektor", "injector"]


def test_rejects_overwrites_nothing(run: Run, own: Path, files: Path, tmp_path: Path) -> None:
    run("ingest", files / "bad.csv", "--store", own)
    arguments = ("rejects", "--store", own, "--out", tmp_path / "out")
    assert run(*arguments).code == 0
    second = run(*arguments)
    assert second.code == 2
    assert re.fullmatch(r"shedbook: '.*bad.csv' is there already.*\n", second.err)
    assert run("rejects", "--store", own, "--batch", 99).err == "shedbook: there is no batch 99.\n"


def test_withdraw_says_what_changed(run: Run, own: Path, tmp_path: Path) -> None:
    corrected = tmp_path / "corrected.csv"
    rows = (
        "5A,2024-01-10,injector,1,leaking,remark,cleaned,",
        "5A,2024-06-01,injector,1,leaking,remark,cleaned,",
        "5A,2024-06-01,injector,1,creaking,remark,cleaned,",
    )
    corrected.write_text("\n".join((HEADINGS, *rows)), encoding="utf-8")
    before = run("mtbf", "--store", own, "--counting", "any", "--json").out
    run("ingest", corrected, "--store", own, "--who", "Night shift")
    assert run("mtbf", "--store", own, "--counting", "any", "--json").out != before
    done = run("withdraw", 2, "--store", own, "--who", "Records desk")
    assert done.out.splitlines() == [
        "Batch 2 is withdrawn (corrected.csv).",
        "- 2 rows of it no longer counted",
        "- 1 earlier version counted again in their place",
        "- 1 row set aside of it no longer listed",
        "- histories made anew: 1 locomotive",
    ]
    assert run("mtbf", "--store", own, "--counting", "any", "--json").out == before
    assert batches(own)[1:] == [(2, "Night shift", "Records desk")]
    assert [who for _, who, *_ in Desk(own).audit()][-2:] == ["Night shift", "Records desk"]


def test_withdrawn_register_is_said(run: Run, own: Path) -> None:
    done = run("withdraw", 1, "--store", own)
    assert done.out.splitlines()[-1] == (
        "- not on the register any more, so that none of their rows counts: 5A, 6B"
    )
    assert run("mtbf", "--store", own, "--json").code == 0


@pytest.mark.parametrize(
    ("batch", "code", "said"),
    [
        ("7", 2, "shedbook: there is no batch 7: batches go from 1 to 1."),
        ("last", 2, "shedbook: Invalid value for 'BATCH': 'last' is not a valid integer."),
    ],
)
def test_withdraw_refuses_in_one_line(
    run: Run, own: Path, batch: str, code: int, said: str
) -> None:
    done = run("withdraw", batch, "--store", own)
    assert (done.code, done.out) == (code, "")
    assert done.err.startswith(said)
    assert done.err.count("\n") == 1


def test_batch_withdrawn_twice_is_refused(run: Run, own: Path) -> None:
    run("withdraw", 1, "--store", own)
    done = run("withdraw", 1, "--store", own)
    assert done.code == 2
    assert done.err.startswith("shedbook: batch 1 was withdrawn before, on ")


def test_who_hands_in_is_the_user_unless_named(
    run: Run, own: Path, files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LOGNAME", "records-desk")  # what the standard library looks at first
    run("ingest", files / "bad.csv", "--store", own)
    assert batches(own)[-1][1] == "records-desk"


def test_account_without_a_name_is_the_command_line(monkeypatch: pytest.MonkeyPatch) -> None:
    def nobody() -> str:
        raise KeyError("uid not found")

    monkeypatch.setattr("getpass.getuser", nobody)
    assert name_of_user() == "command line"


@pytest.mark.parametrize(("language", "first"), [("en", "explanation"), ("hu", "magyar\u00e1zat")])
def test_template_offers_the_stores_own_names(
    run: Run, own: Path, tmp_path: Path, language: str, first: str
) -> None:
    path = tmp_path / "template.xlsx"
    done = run("template", "--store", own, "--language", language, "--out", path)
    assert done.out.startswith(f"{path}: lists of the catalogue of {own}.")
    book = CalamineWorkbook.from_path(str(path))
    assert book.sheet_names[0] == first
    with Store.open(own).read() as reader:
        known = set(reader.catalogue.components)
    names = {cell for row in book.get_sheet_by_name("lists").to_python() for cell in row}
    assert known <= names
    left_in = run("ingest", path, "--store", own, "--strict")
    assert left_in.code == 0
    assert "the template's example rows, explanation and lists skipped" in left_in.out
    assert run("template", "--out", path, "--store", own).code == 2


def test_template_needs_no_store(tmp_path: Path) -> None:
    done = beside("template", cwd=tmp_path)
    assert done.stdout.startswith("shedbook-template.xlsx: lists of the catalogue that ships.")
    assert (tmp_path / "shedbook-template.xlsx").is_file()
    asked = beside("template", "--store", "gone", "--out", "t.xlsx", cwd=tmp_path)
    assert (asked.returncode, (tmp_path / "t.xlsx").exists()) == (2, False)
    assert asked.stderr.startswith("shedbook: no store in")


def test_folders_and_patterns_are_handed_in(run: Run, own: Path, tmp_path: Path) -> None:
    folder = tmp_path / "handed"
    folder.mkdir()
    usage = "locomotive,read_at,km\n5A,2024-02-0{0},{0}\n"
    for day in (1, 2, 3):
        (folder / f"usage-{day}.csv").write_text(usage.format(day), encoding="utf-8")
    some = json.loads(run("ingest", folder / "usage-[12].csv", "--store", own, "--json").out)
    assert [file["file"] for file in some] == ["usage-1.csv", "usage-2.csv"]
    every = json.loads(run("ingest", folder, "--store", own, "--json").out)
    assert [(file["accepted"], file["duplicate"]) for file in every] == [(0, 1), (0, 1), (1, 0)]


def test_mapping_is_proposed_looked_through_and_used(run: Run, own: Path, tmp_path: Path) -> None:
    theirs = tmp_path / "meter.csv"
    theirs.write_text("Loco;Date;Km\n5A;01.02.2024;10\n6B;02.02.2024;20\n", encoding="utf-8")
    refused = run("ingest", theirs, "--store", own)
    assert (refused.code, batches(own)[-1][0]) == (2, 1)
    shown = run("map", theirs, "--store", own)
    assert (shown.code, "[usage]" in shown.out) == (0, True)
    mapping = tmp_path / "meter.toml"
    done = run("map", theirs, "--store", own, "--out", mapping)
    assert mapping.read_text(encoding="utf-8") == shown.out
    assert (
        done.out == f"Look through {mapping}, then: shedbook ingest {theirs} --mapping {mapping}\n"
    )
    assert run("map", theirs, "--store", own, "--out", mapping).code == 2
    mapping.write_text(
        '[usage.columns]\nlocomotive = "Loco"\nread_at = "Date"\nkm = "Km"\n', encoding="utf-8"
    )
    used = run("ingest", theirs, "--store", own, "--mapping", mapping, "--json")
    assert [file["accepted"] for file in json.loads(used.out)] == [2]


@pytest.mark.parametrize(
    "arguments",
    [
        ("rejects", "--out", "{files}/bad.csv"),
        ("template", "--out", "{files}/no/such/folder.xlsx"),
        ("map", "{files}/bad.csv", "--out", "{files}/no/such/folder.toml"),
        ("map", "{files}/gone.csv"),
    ],
    ids=["rejects", "template", "map", "map of nothing"],
)
def test_what_cannot_be_read_or_written_is_said_in_one_line(
    run: Run, own: Path, files: Path, arguments: tuple[str, ...]
) -> None:
    run("ingest", files / "bad.csv", "--store", own)
    done = run(*(word.format(files=files) for word in arguments), "--store", own)
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    assert "cannot be written" in done.err or "there is no file" in done.err


def test_bad_mapping_writes_nothing(run: Run, own: Path, files: Path, tmp_path: Path) -> None:
    mapping = tmp_path / "bad.toml"
    mapping.write_text('[findings.columns]\nfound = "Date"\n', encoding="utf-8")
    before = Store.open(own).current()
    done = run("ingest", files / "bad.csv", "--store", own, "--mapping", mapping)
    assert (done.code, done.out, Store.open(own).current()) == (2, "", before)
    assert "bad.toml" in done.err
    assert run("ingest", files / "bad.csv", "--store", own, "--mapping", "gone.toml").code == 2


def test_bench_names_what_it_can_time(run: Run) -> None:
    assert "name what to time: --ingest, --fits" in run("bench").err
    done = run("bench", "--ingest", "--rows", 2000)
    assert done.code == 0
    assert re.match(r"2,000 findings as CSV, .* times as long", done.out)


def test_bench_fits_writes_its_figures(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "fits.json"
    done = run("bench", "--fits", "--groups", 3, "--many", 5, "--out", out)
    assert done.code == 0
    assert "lifelines one by one" in done.out
    found = json.loads(out.read_text(encoding="utf-8"))
    # Other software: lifelines finds the same log-likelihood.
    assert (found["groups"], found["sample"], found["many"], found["same"]) == (3, 3, 5, 1)
    assert found["ratio"] > 1
