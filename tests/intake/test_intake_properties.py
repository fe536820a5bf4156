"""What must hold for any files: every row is accounted for, and order and splitting change nothing.

Oracle: identities over generated files with mixed faults.
"""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.intake.publish import Delivery
from analytics.intake.tables import TABLES
from tests.intake.depot import REGISTER, accepted_facts, as_csv, open_facts, publish

DATES = ["2024-05-01", "2024-05-02", "2024-05-02 06:30", "2024-13-01", "2030-01-01", "1.2.2024", ""]
NUMBERS = ["", "", "100", "110.5", "9000", "-1", "x", "1e999"]
CELLS: Mapping[str, Mapping[str, list[str]]] = {
    "findings": {
        "locomotive": ["A1", "A1", " A1 ", "A2", "B1", "A9", ""],
        "found_at": DATES,
        "component": ["fuel-injector", "fuel-injector", "battery", "shutter-linkage", "fuel", ""],
        "position": ["", "1", "2", "1-2", "all", "5", "x"],
        "defect": ["leaking", "leaking", "worn", "discharged", "leak", ""],
        "severity": ["", "rectify", "withhold", "urgent"],
        "closed_at": ["", "2024-05-02", "2024-04-01", "2024-05-03 10:00"],
        "cost": ["", "", "1", "x"],
        "finding_id": ["", "", "", "", "7", "8"],
        "note": ["", "a", 'b, "c"', "two\nlines", "=1+1", "\u00e1"],
        "colour": ["", "red"],
    },
    "inspections": {
        "locomotive": ["A1", "A2", "A9"],
        "inspected_at": DATES,
        "kind": ["", "daily", "workshop", "weekly"],
        "engine_hours": NUMBERS,
        "signed": ["", "yes", "no", "maybe"],
    },
    "usage": {"locomotive": ["A1", "A2"], "read_at": DATES, "engine_hours": NUMBERS, "km": NUMBERS},
    "readings": {
        "locomotive": ["A1", "A9"],
        "read_at": DATES,
        "parameter": ["feed-pressure", "oil-temperature", "pressure"],
        "value": ["1", "2", "900", ""],
        "unit": ["", "bar", "psi", "degF", "lots"],
    },
    "locomotives": {
        "locomotive": ["C1", "C2", "C3", "A1"],
        "class": ["Alder", "Birch", "Oak"],
        "depot": ["", "North", "South"],
    },
}
Row = tuple[str, ...]


@st.composite
def files_of_rows(draw: st.DrawFn) -> dict[str, list[Row]]:
    """One list of rows per table; each may hold faults, repeats and contradictions."""
    tables = draw(st.lists(st.sampled_from(sorted(CELLS)), min_size=1, max_size=4, unique=True))
    files = {}
    for table in tables:
        row = st.tuples(*(st.sampled_from(cells) for cells in CELLS[table].values()))
        rows = draw(st.lists(row, min_size=1, max_size=25))
        files[table] = rows + draw(st.lists(st.sampled_from(rows), max_size=5))
    return files


def as_files(tables: Mapping[str, list[Row]]) -> dict[str, str]:
    return {f"{t}.csv": as_csv(list(CELLS[t]), rows) for t, rows in tables.items()}


def received_rows(delivery: Delivery) -> Counter[tuple[str, str]]:
    return Counter(zip(delivery.set_aside["table"], delivery.set_aside["received"], strict=True))


@settings(max_examples=25, deadline=None)
@given(tables=files_of_rows())
def test_every_row_ends_in_one_place_and_set_aside_rows_are_found_as_received(
    tables: dict[str, list[Row]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    connection = open_facts()
    folder = tmp_path_factory.mktemp("rows")
    publish(connection, folder, {"register.csv": REGISTER})
    delivery = publish(connection, folder, as_files(tables))
    for report in delivery.files:
        rows = [row for row in tables[report.table] if any(cell.strip() for cell in row)]
        fates = report.accepted + report.updated + report.duplicate + report.set_aside
        assert fates == report.rows == len(rows)
        kept = delivery.set_aside[delivery.set_aside["table"] == report.table]
        assert len(kept) == report.set_aside
        assert kept["row_number"].is_unique
        for row in kept.itertuples():
            headings = CELLS[report.table]
            cells = tables[report.table][row.row_number - 2]
            assert json.loads(row.received) == {
                heading: cell or None for heading, cell in zip(headings, cells, strict=True)
            }
            assert row.reason
            assert row.rule
        facts = connection.execute(
            f"SELECT count(*) FROM facts.{report.table} WHERE batch = {delivery.batch}"
        ).fetchall()
        assert facts == [(report.accepted + report.updated,)]


@settings(max_examples=20, deadline=None)
@given(tables=files_of_rows(), seed=st.integers(0, 2**32))
def test_reordering_rows_and_splitting_files_changes_no_fact(
    tables: dict[str, list[Row]], seed: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    shuffle = random.Random(seed)
    pieces: dict[str, str] = {}
    for table, rows in tables.items():
        mixed = shuffle.sample(rows, len(rows))
        cut = shuffle.randint(0, len(mixed))
        for n, part in enumerate((mixed[:cut], mixed[cut:])):
            pieces[f"{table}-{n}.csv"] = as_csv(list(CELLS[table]), part)
    names = shuffle.sample(sorted(pieces), len(pieces))
    outcomes = []
    for files in (as_files(tables), {name: pieces[name] for name in names}):
        connection = open_facts()
        folder = tmp_path_factory.mktemp("split")
        publish(connection, folder, {"register.csv": REGISTER})
        delivery = publish(connection, folder, files)
        outcomes.append((accepted_facts(connection), received_rows(delivery)))
    assert outcomes[0] == outcomes[1]


@settings(max_examples=15, deadline=None)
@given(tables=files_of_rows())
def test_same_files_again_bring_nothing(
    tables: dict[str, list[Row]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    connection = open_facts()
    folder = tmp_path_factory.mktemp("again")
    publish(connection, folder, {"register.csv": REGISTER})
    publish(connection, folder, as_files(tables))
    again = publish(connection, folder, as_files(tables))
    assert not again.is_new
    assert all(report.duplicate == report.rows for report in again.files)


@pytest.mark.parametrize("table", CELLS)
def test_generated_columns_are_those_of_the_table(table: str) -> None:
    assert set(CELLS[table]) - {"colour"} <= set(TABLES[table].headings)
