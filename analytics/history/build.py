"""Run the history SQL for the locomotives that a hand-in touched.

Each numbered file in `sql/` makes one temporary table (`f_*` facts in force, `h_*` history in the
making) for the locomotives of one pass; the files from 30 on add the result to the snapshot. The
same text runs on all locomotives at once or on one bucket of them.
"""

from __future__ import annotations

from collections.abc import Collection
from functools import cache
from importlib.resources import files

import duckdb
import pandas as pd

from analytics.catalogue.model import Catalogue
from analytics.scope import COUNTING_RULES
from analytics.store.current import KEYS, current_sql
from analytics.store.migrations import read_meta, write_meta

HISTORY_VERSION = 4  # raise it when any file in sql/ changes what it makes
TABLES = ("record", "counter", "exposure", "episode", "closing", "life", "replaced")
# Above this many findings and inspections, one bucket of locomotives at a time keeps memory flat.
ROWS_A_PASS = 2_000_000

# A position cell as written: a number, `all`, a list, ranges; not stated gives one NULL, or 1 where
# the class has a single place.
POSITIONS_OF = """
CREATE OR REPLACE TEMP MACRO positions_of(written, places) AS CASE
    WHEN coalesce(places, 0) = 0 THEN []::BIGINT[]
    WHEN written IS NULL THEN CASE WHEN places = 1 THEN [1]::BIGINT[] ELSE [NULL]::BIGINT[] END
    WHEN lower(written) = 'all' THEN range(1, places + 1)
    ELSE list_distinct(flatten(list_transform(
        regexp_split_to_array(written, '[;,]'),
        lambda part: range(TRY_CAST(split_part(part, '-', 1) AS BIGINT),
            TRY_CAST(split_part(part, '-', -1) AS BIGINT) + 1)))) END
"""


@cache
def sql_text(name: str) -> str:
    """Return the text of one file in `sql/`."""
    return (files("analytics.history") / "sql" / name).read_text(encoding="utf-8")


@cache
def _steps() -> tuple[str, ...]:
    names = sorted(p.name for p in (files("analytics.history") / "sql").iterdir())
    numbered = [name for name in names if name[:2].isdigit()]
    place = next(i for i, name in enumerate(numbered) if name >= "30")
    return (*numbered[:place], "clock_at.sql", *numbered[place:])


def rebuild(
    connection: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    *,
    locomotives: Collection[str] | None,
) -> None:
    """Make the history of the named locomotives anew; None means all of them.

    Everything is made anew when the history's version or the catalogue has changed since.

    Parameters
    ----------
    connection
        A connection on the snapshot under construction.
    catalogue
        The catalogue to read positions, effects and clocks by.
    locomotives
        The locomotives whose facts changed.
    """
    made_with = f"{HISTORY_VERSION}/{catalogue.fingerprint}"
    if read_meta(connection, "history") != made_with:
        connection.execute(sql_text("schema.sql"))
        write_meta(connection, "history", made_with)
        locomotives = None
    _bring_catalogue(connection, catalogue)
    for touched in _passes(connection, locomotives):
        _rebuild_pass(connection, catalogue, touched)


def _bring_catalogue(connection: duckdb.DuckDBPyConnection, catalogue: Catalogue) -> None:
    rows = catalogue.tables()
    seen_by = pd.DataFrame(
        [(c.name, c.in_service, list(c.seen_by)) for c in catalogue.components.values()],
        columns=["component", "in_service", "seen_by"],
    )
    frames = {
        "cat_class_component": pd.DataFrame(
            rows["class_component"], columns=["class", "component", "positions"]
        ),
        "cat_action": pd.DataFrame(rows["action"], columns=["action", "effect"]),
        "cat_component": seen_by,
        "counting_rule": pd.DataFrame({"counting": COUNTING_RULES}),
    }
    for name, frame in frames.items():
        connection.register("catalogue_frame", frame)
        connection.execute(f"CREATE OR REPLACE TEMP TABLE {name} AS FROM catalogue_frame")
        connection.unregister("catalogue_frame")
    connection.execute(POSITIONS_OF)


def _passes(
    connection: duckdb.DuckDBPyConnection, locomotives: Collection[str] | None
) -> list[pd.DataFrame]:
    known = connection.execute(
        "SELECT DISTINCT locomotive, bucket FROM facts.locomotives ORDER BY locomotive"
    ).df()
    if locomotives is not None:
        known = known[known["locomotive"].isin(list(locomotives))]
    rows = connection.execute(
        "SELECT (SELECT count(*) FROM facts.findings) + (SELECT count(*) FROM facts.inspections)"
    ).fetchall()[0][0]
    if rows <= ROWS_A_PASS:
        return [known] if len(known) else []
    return [group for _, group in known.groupby("bucket")]


def _rebuild_pass(
    connection: duckdb.DuckDBPyConnection, catalogue: Catalogue, touched: pd.DataFrame
) -> None:
    connection.register("touched_frame", touched)
    connection.execute("CREATE OR REPLACE TEMP TABLE touched AS FROM touched_frame")
    connection.unregister("touched_frame")
    mine = "locomotive IN (SELECT locomotive FROM touched)"
    for table in KEYS:
        query = current_sql(table, mine)
        connection.execute(f"CREATE OR REPLACE TEMP TABLE f_{table} AS {query}")
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE f_coverage AS SELECT * FROM coverage WHERE {mine} AND batch "
        "IN (SELECT batch FROM batch WHERE withdrawn_at IS NULL)"
    )
    for table in TABLES:
        connection.execute(f"DELETE FROM history.{table} WHERE {mine}")
    for step in _steps():
        text = sql_text(step)
        values = {"grace_days": catalogue.first_life_grace_days} if "$grace_days" in text else None
        connection.execute(text, values) if values else connection.execute(text)
    _drop_temporary(connection)


def _drop_temporary(connection: duckdb.DuckDBPyConnection) -> None:
    made = connection.execute(
        "SELECT table_name FROM duckdb_tables() WHERE temporary AND (table_name[:2] IN ('f_', 'h_')"
        " OR table_name IN ('instant', 'instant_clock'))"
    ).fetchall()
    for (name,) in made:
        connection.execute(f"DROP TABLE temp.{name}")
