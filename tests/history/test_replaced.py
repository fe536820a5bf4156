"""Which rows no longer count: by the history's list, against the definition in the store."""

import pytest

from analytics.answers.ground import Ground
from analytics.catalogue.load import load_text
from analytics.history import rebuild
from analytics.scope import Scope
from analytics.store.current import current_sql
from tests.history.world import World


@pytest.fixture(scope="module")
def corrected():
    """Two locomotives; batch 2 corrects some rows of batch 1, batch 3 was withdrawn again."""
    world = World().locomotive("5A").locomotive("5B")
    world.daily("2024-01-01", "2024-01-20").daily("2024-01-01", "2024-01-20", locomotive="5B")
    world.finding("2024-01-05 08:00", finding_id="F1").finding("2024-01-07 09:00")
    world.finding("2024-01-08 09:00", finding_id="F2", locomotive="5B").work("2024-01-09")
    world.add("usage", locomotive="5A", read_at="2024-01-06", engine_hours=10.0, km=100.0)
    connection = world.connect()
    connection.execute("INSERT INTO batch (batch, received_at) VALUES (2, now()::TIMESTAMP)")
    connection.execute(
        "INSERT INTO batch (batch, received_at, withdrawn_at)"
        " VALUES (3, now()::TIMESTAMP, now()::TIMESTAMP)"
    )
    for batch, kept in ((2, "inspected_at < '2024-01-04'"), (3, "inspected_at > '2024-01-10'")):
        connection.execute(
            f"INSERT INTO facts.inspections SELECT * REPLACE ({batch} AS batch)"
            f" FROM facts.inspections WHERE {kept} AND locomotive = '5A' AND batch = 1"
        )
    connection.execute(
        "INSERT INTO facts.usage"
        " SELECT * REPLACE (2 AS batch, 11.0 AS engine_hours) FROM facts.usage"
    )
    # F1 was found on the other locomotive; the finding without an id was written again
    connection.execute(
        "INSERT INTO facts.findings SELECT * REPLACE (2 AS batch,"
        " CASE WHEN finding_id = 'F1' THEN '5B' ELSE locomotive END AS locomotive)"
        " FROM facts.findings WHERE locomotive = '5A'"
    )
    rebuild(connection, load_text({"catalogue.toml": world.catalogue}), locomotives=None)
    return connection


@pytest.mark.parametrize("table", ["locomotives", "usage", "inspections", "findings", "work"])
def test_rows_in_force_are_those_of_the_definition(corrected, table):
    # Consistency: the slow definition in `store.current`, on the same rows.
    ground = Ground(None, Scope(), {"replaced": "history.replaced"})
    mine = "locomotive IN ('5A', '5B')"
    quick = corrected.execute(f"FROM ({ground.in_force(table, mine)}) ORDER BY ALL").fetchall()
    slow = corrected.execute(f"FROM ({current_sql(table, mine)}) ORDER BY ALL").fetchall()
    assert quick == slow


def test_replaced_rows_are_counted_by_hand(corrected):
    # By hand: inspections of 1, 2 and 3 January; F1, the finding without an id; the reading.
    counts = corrected.execute(
        "SELECT table_name, count(*), min(batch), max(batch) FROM history.replaced"
        " GROUP BY table_name ORDER BY table_name"
    ).fetchall()
    assert counts == [("findings", 2, 1, 1), ("inspections", 3, 1, 1), ("usage", 1, 1, 1)]
