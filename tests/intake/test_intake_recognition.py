"""Which table a header is, and what is said where none fits. Expected outcomes are hand-written."""

from __future__ import annotations

import duckdb
import pytest

from analytics.errors import InputError
from analytics.intake.tables import TABLES, describe_not_read, recognise
from analytics.store.current import IDS, KEYS
from analytics.store.migrations import bring_up_to_date


@pytest.mark.parametrize("table", TABLES)
def test_full_header_is_recognised_in_any_order_and_case(table: str) -> None:
    headings = [f" {name.upper()} " for name in reversed(TABLES[table].headings)]
    assert recognise(headings, file="x.csv").table.name == table


@pytest.mark.parametrize("table", TABLES)
def test_required_columns_alone_are_enough(table: str) -> None:
    found = recognise(sorted(TABLES[table].required), file="x.csv")
    assert found.table.name == table
    assert found.not_read == ()


def test_more_specific_table_is_meant() -> None:
    assert recognise(["locomotive", "read_at", "parameter", "value"], file="x").table.name == (
        "readings"
    )
    assert recognise(["locomotive", "read_at", "class"], file="x").table.name == "usage"


def test_columns_not_read_are_named_with_what_may_be_meant() -> None:
    found = recognise(["locomotive", "read_at", "engine_hour", "colour", ""], file="x")
    assert describe_not_read(found) == (
        "columns not read: 'engine_hour' (meant as engine_hours?), 'colour'"
    )


@pytest.mark.parametrize(
    ("headings", "words"),
    [
        (
            ["locomotive", "found_at", "component"],
            "no table has its headings 'locomotive', 'found_at', 'component'; the nearest is "
            "findings, which also needs defect.",
        ),
        (["a", "b"], "no table has its headings 'a', 'b'. locomotives needs class, locomotive;"),
        (
            ["locomotive", "inspected_at", "read_at"],
            "its headings fit usage and inspections alike; hand in one file for each.",
        ),
        (
            ["locomotive", "class", "Class"],
            "the heading 'class' stands twice; keep one of the columns.",
        ),
    ],
)
def test_header_that_fits_no_single_table_is_refused(headings: list[str], words: str) -> None:
    with pytest.raises(InputError) as caught:
        recognise(headings, file="x.csv")
    assert str(caught.value).startswith(f"x.csv: {words}")


def test_tables_agree_with_the_store() -> None:
    connection = duckdb.connect()
    bring_up_to_date(connection)
    for table in TABLES.values():
        ordinal = ("ordinal",) if table.numbered else ()
        assert (*table.stored_key, *ordinal) == KEYS[table.name]
        assert IDS.get(table.name, "") == table.id_column
        described = connection.execute(f"DESCRIBE facts.{table.name}").fetchall()
        own = {"batch", "file", "row_number", "ordinal", "bucket"}
        assert {row[0] for row in described} - own == set(table.stored)
