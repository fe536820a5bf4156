"""What must hold for any rows set aside: they come back cell for cell, and untouched stay aside.

Oracle: identities over the generated files of mixed faults.
"""

from __future__ import annotations

import csv
from collections import Counter

import pytest
from hypothesis import given, settings

from analytics.intake.aside import write_aside
from analytics.intake.tables import REASON_HEADING
from analytics.store.aside import choose_aside
from tests.intake.depot import REGISTER, open_facts, publish
from tests.intake.test_intake_properties import CELLS, Row, as_files, files_of_rows


@settings(max_examples=25, deadline=None)
@given(tables=files_of_rows())
def test_rows_given_back_untouched_are_set_aside_again(
    tables: dict[str, list[Row]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    connection = open_facts()
    folder = tmp_path_factory.mktemp("rows")
    publish(connection, folder, {"register.csv": REGISTER})
    first = publish(connection, folder, as_files(tables))
    back = write_aside(connection, folder / "out", choose_aside)
    assert sum(file.rows for file in back) == sum(file.set_aside for file in first.files)
    for file in back:
        with file.path.open(encoding="utf-8-sig", newline="") as text:
            headings, *rows = csv.reader(text)
        table = file.path.stem
        assert headings[:-1] == list(CELLS[table])
        assert headings[-1].startswith(REASON_HEADING)
        assert all(row[-1] for row in rows)
        given_in = Counter(tables[table])
        cells = Counter(tuple(c.removeprefix("'") for c in row[:-1]) for row in rows)
        assert cells <= given_in
    if back:
        again = publish(connection, folder, {f.path.name: f.path.read_bytes() for f in back})
        assert [(f.accepted, f.updated) for f in again.files] == [(0, 0)] * len(back)
        assert [f.set_aside for f in again.files] == [f.rows for f in again.files]
