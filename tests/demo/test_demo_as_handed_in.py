"""The files as the depots hand them in: the same facts as the clean files, and known rows aside.

What must come out is counted here from the clean files and from the slips as written below, not
from what intake says.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from pathlib import Path

import pytest

from analytics.catalogue.load import shipped_files
from analytics.cli.run import _print_set_aside
from analytics.handin import ingest, rejects
from analytics.store import Store
from analytics.store.current import current_sql
from data_demo import write
from data_demo.build import build
from data_demo.messy import slips, write_as_handed_in
from data_demo.scenario import Scenario
from data_demo.simulate import TABLES, simulate_blocks
from data_demo.write import write_files

SIZE = {"locomotives": 14, "years": 2}
# By hand: 19 rows of Mardelow that break a rule by themselves, four typed twice, eight counters;
# nine and six rows of Quessary; seven and three of Tavrenick.
SLIPS = {
    "unknown-name": 8 + 7,
    "future": 5,
    "order": 6,
    "disagree": 2 * 4,
    "counter": 8,
    "position": 9 + 3,
    "missing": 6,
}
PROVENANCE = ("batch", "file", "row_number")


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Store:
    return build(tmp_path_factory.mktemp("demo") / "railway", **SIZE)


@pytest.fixture(scope="module")
def clean(tmp_path_factory, catalogue) -> Store:
    root = tmp_path_factory.mktemp("clean")
    store = Store.create(root / "store", shipped_files())
    ingest(store, write_files(simulate_blocks(Scenario(**SIZE), catalogue), root / "files"))
    return store


def _rows(store: Store, query: str):
    with store.read() as reader:
        return reader.cursor.execute(query).fetchall()


def _counted_rows(store: Store, source: str) -> Counter:
    """Count the rows of a table by their values, without where they came from."""
    with store.read() as reader:
        described = reader.cursor.execute(f"DESCRIBE FROM {source}").fetchall()
        columns = ", ".join(f'"{name}"' for name, *_ in described if name not in PROVENANCE)
        return Counter(reader.cursor.execute(f"SELECT {columns} FROM {source}").fetchall())


@pytest.mark.parametrize("table", TABLES)
def test_current_facts_are_those_of_the_clean_files(demo, clean, table):
    wanted = _counted_rows(clean, f"({current_sql(table)})")
    assert wanted
    assert _counted_rows(demo, f"({current_sql(table)})") == wanted


def test_histories_are_those_of_the_clean_files(demo, clean):
    listed = "SELECT table_name FROM duckdb_tables() WHERE schema_name = 'history' ORDER BY 1"
    names = [name for (name,) in _rows(demo, listed)]
    assert {"life", "exposure", "episode", "closing"} <= set(names)
    # Only files with corrections have rows that later ones replaced.
    for name in set(names) - {"replaced"}:
        assert _counted_rows(demo, f"history.{name}") == _counted_rows(clean, f"history.{name}")


def test_rows_set_aside_are_the_slips_and_the_totals_rows(demo):
    found = dict(_rows(demo, "SELECT rule, count(*) FROM set_aside GROUP BY rule"))
    totals = found.pop("totals-row")
    assert found == SLIPS == slips()
    assert sum(SLIPS.values()) == 60
    assert totals == 5  # four sheets and the second export
    card = json.loads((demo.root / "demo.json").read_text(encoding="ascii"))
    assert card["set_aside"] == {**SLIPS, "totals-row": totals}


def test_every_row_set_aside_has_a_reason_and_what_was_received(demo):
    rows = _rows(demo, "SELECT rule, reason, received FROM set_aside")
    assert all(reason.endswith((".", "?")) and json.loads(received) for _, reason, received in rows)


def test_second_export_corrects_findings_and_keeps_the_earlier_version(demo):
    updated = "SELECT batch, sum(updated), sum(duplicate) FROM batch_file GROUP BY batch ORDER BY 1"
    assert _rows(demo, updated) == [(1, 0, 0), (2, 0, 0), (3, 48, 24)]
    versions = "SELECT count(*) FROM facts.findings WHERE batch = 3"
    assert _rows(demo, versions) == [(48,)]
    held = "SELECT count(*) FROM facts.findings GROUP BY finding_id HAVING count(*) > 1"
    assert len(_rows(demo, f"{held} AND bool_and(finding_id IS NOT NULL)")) == 48


def test_depots_write_in_their_own_form(demo):
    found = _rows(demo, "SELECT name, form, mapping FROM batch_file")
    forms = {name: json.loads(form) for name, form, _ in found}
    findings = forms["Mardelow findings.csv"]
    assert (findings["delimiter"], findings["encoding"]) == (";", "cp1250")
    assert findings["decimal"] == ","
    assert forms["Quessary workshop.xlsx [work]"]["kind"] == "workbook"
    assert forms["Quessary findings.xlsx"]["header_row"] == 4
    assert [name for name, _, mapping in found if mapping] == ["Tavrenick defect book.csv"]


def test_letters_of_the_notes_survive(demo):
    notes = {note for (note,) in _rows(demo, f"SELECT note FROM ({current_sql('findings')})")}
    assert "ugyanott mint előzőleg" in notes
    assert "másik fűtőház raktárából" in notes


def test_same_seed_gives_same_bytes_in_every_form(tmp_path, catalogue):
    digests = []
    for name in ("a", "b"):
        blocks = simulate_blocks(Scenario(**SIZE), catalogue)
        write_as_handed_in(blocks, tmp_path / name, catalogue)
        files = sorted((tmp_path / name).iterdir())
        digests.append({f.name: hashlib.sha256(f.read_bytes()).hexdigest() for f in files})
    assert digests[0] == digests[1]
    assert {name.rpartition(".")[2] for name in digests[0]} == {"csv", "parquet", "toml", "xlsx"}


def test_large_fleets_do_without_workbooks_and_in_several_files(tmp_path, catalogue, monkeypatch):
    monkeypatch.setattr(write, "MOST_ROWS", 200)
    blocks = list(simulate_blocks(Scenario(locomotives=130, years=1), catalogue))
    done = write_as_handed_in(blocks, tmp_path, catalogue, in_workbooks=False)
    files = [file for call in done.calls for file in call.files]
    assert len(blocks) == 2
    assert not [file for file in files if file.suffix == ".xlsx"]
    assert [file for file in files if file.stem.endswith("-2")]
    lines = 0
    for file in files:
        of_findings = "findings" in file.name or "defect book" in file.name
        if of_findings and "second export" not in file.name:
            lines += len(file.read_bytes().splitlines()) - 1
    assert lines == sum(len(block.tables["findings"]) for block in blocks) + 52


def test_demo_says_what_was_set_aside_and_how_to_mend(demo, capsys):
    _print_set_aside(demo, Path("shedbook-demo"))
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("Set aside: 65 of ")
    assert said[1].startswith("Most often: a name that is not in the catalogue (15), no such")
    assert said[2].startswith("For example Mardelow findings.csv, row ")
    assert said[3].endswith("shedbook rejects --store shedbook-demo")
    assert len(said) == 4


def test_rows_written_out_and_handed_in_unmended_are_set_aside_again(tmp_path):
    store = build(tmp_path / "railway", locomotives=6, years=1)
    mapping = store.root / "handed-in" / "Tavrenick mapping.toml"
    given_back = rejects(store, tmp_path / "aside")
    assert {file.file for file in given_back if file.mapped} == {"Tavrenick defect book.csv"}
    for file in given_back:
        report = ingest(store, file.path, mapping=mapping if file.mapped else None)
        assert sum(found.rows for found in report.files) == file.rows
        assert sum(found.set_aside for found in report.files) == file.rows


@pytest.mark.parametrize("locomotives", [2, 3, 5])
def test_smallest_railways_set_aside_what_was_planned(tmp_path, catalogue, locomotives):
    blocks = simulate_blocks(Scenario(locomotives=locomotives, years=1), catalogue)
    done = write_as_handed_in(blocks, tmp_path / "files", catalogue)
    store = Store.create(tmp_path / "store", shipped_files())
    found: Counter[str] = Counter()
    updated = duplicate = 0
    for call in done.calls:
        report = ingest(store, call.files, mapping=call.mapping)
        found.update(report.set_aside["rule"])
        updated += sum(file.updated for file in report.files)
        duplicate += sum(file.duplicate for file in report.files)
    assert found == +done.set_aside
    assert (updated, duplicate) == (done.corrected, done.unchanged)
