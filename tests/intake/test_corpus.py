"""Every file of the corpus ends as written beside it; expectations are in `make_corpus`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import duckdb
import pytest

from analytics.errors import InputError
from analytics.intake.publish import Delivery
from tests.intake.corpus_case import Case
from tests.intake.depot import REGISTER, open_facts, publish
from tests.intake.make_corpus import all_cases

with TemporaryDirectory() as made_in:
    CASES = all_cases(Path(made_in))


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> duckdb.DuckDBPyConnection:
    connection = open_facts()
    publish(connection, tmp_path_factory.mktemp("register"), {"register.csv": REGISTER})
    return connection


@pytest.fixture
def facts(prepared: duckdb.DuckDBPyConnection) -> Iterator[duckdb.DuckDBPyConnection]:
    """Facts that hold the register only: what a case brought counts as withdrawn after it."""
    yield prepared
    prepared.execute("UPDATE batch SET withdrawn_at = received_at WHERE batch > 1")


def test_corpus_is_large_enough_and_every_name_stands_once() -> None:
    names = [case.name for case in CASES]
    assert len(set(names)) == len(names) >= 60
    assert all(name.isascii() and " " not in name for name in names)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_file_ends_as_expected(
    case: Case, facts: duckdb.DuckDBPyConnection, tmp_path: Path
) -> None:
    if case.error:
        with pytest.raises(InputError) as refused:
            publish(facts, tmp_path, {case.name: case.content})
        assert case.error in str(refused.value)
        assert "\n" not in str(refused.value)
        return
    delivery = publish(facts, tmp_path, {case.name: case.content})
    assert sum(file.accepted for file in delivery.files) == case.accepted
    assert sum(file.set_aside for file in delivery.files) == case.set_aside
    assert sum(file.rows for file in delivery.files) == case.accepted + case.set_aside
    assert all(case.says in reason for reason in delivery.set_aside["reason"])
    if case.kept:
        assert _kept(facts, delivery, case.kept[0]) == case.kept[1]


def _kept(facts: duckdb.DuckDBPyConnection, delivery: Delivery, sql: str) -> list[object]:
    rows = facts.execute(
        f"SELECT {sql} FROM facts.{delivery.files[0].table} WHERE batch = {delivery.batch} "
        "ORDER BY row_number"
    ).fetchall()
    return [value for (value,) in rows]


def test_sheets_that_are_skipped_are_named(
    facts: duckdb.DuckDBPyConnection, tmp_path: Path
) -> None:
    case = next(case for case in CASES if case.name == "several_sheets.xlsx")
    delivery = publish(facts, tmp_path, {case.name: case.content})
    assert [(file.file, file.table) for file in delivery.files] == [
        ("several_sheets.xlsx [Findings]", "findings"),
        ("several_sheets.xlsx [Usage]", "usage"),
    ]
    assert delivery.files[0].notes[:2] == (
        "hidden sheet 'Lists' skipped",
        "sheet 'Read me' skipped: no row of it is a header",
    )
