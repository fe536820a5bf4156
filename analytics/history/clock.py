"""Counters at any instant, for answers that cut a history at a date of their own."""

from __future__ import annotations

import duckdb
import pandas as pd

from analytics.history.build import sql_text


def clock_at(cursor: duckdb.DuckDBPyConnection, instants: pd.DataFrame) -> pd.DataFrame:
    """Read both counters of locomotives at the instants asked.

    Parameters
    ----------
    cursor
        A reader's cursor on a snapshot.
    instants
        Columns locomotive (text) and at (datetime), any number of rows.

    Returns
    -------
    DataFrame
        One row per distinct pair: locomotive, at, hours (tenths of an engine hour, cumulative over
        replaced counters), km, estimated; a counter that is not known there is empty.
    """
    asked = instants[["locomotive", "at"]].drop_duplicates().rename(columns={"at": "moment"})
    cursor.register("instants_asked", asked)
    cursor.execute(
        "CREATE OR REPLACE TEMP TABLE instant AS SELECT locomotive,"
        " moment::TIMESTAMP AS moment FROM instants_asked"
    )
    cursor.execute(
        "CREATE OR REPLACE TEMP VIEW h_counter AS SELECT * FROM history.counter WHERE locomotive IN"
        " (SELECT locomotive FROM instant)"
    )
    cursor.execute(sql_text("clock_at.sql"))
    found = cursor.execute("FROM instant_clock ORDER BY locomotive, moment").df()
    cursor.unregister("instants_asked")
    return found.rename(columns={"moment": "at"})
