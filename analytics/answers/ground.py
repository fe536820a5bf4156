"""The part of the history that a question is about: names checked, period cut, clock chosen.

Everything is laid out as temporary tables of the reader's own cursor: `asked_record` (locomotives),
`asked_place` (positions of each class), `asked_exposure` and `asked_episode`. Other modules of this
folder read these, so that a filter means the same for every figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from importlib.resources import files

import duckdb
import pandas as pd

from analytics.answers.clocks import tick
from analytics.catalogue.model import Catalogue
from analytics.history import clock_at
from analytics.history.build import TABLES, sql_text
from analytics.scope import Scope
from analytics.store import Reader
from analytics.store.current import current_sql

COUNTED = {
    "any": "true",
    "rectified": "(rank >= 2 OR coalesce(effect IN ('renew', 'restore'), false))",
    "withheld": "rank >= 3",
    "in-service": "rank = 4",
}
"""Counting rule to the SQL that tells whether an episode counts as a failure."""


@dataclass(frozen=True)
class Ground:
    """What one question rests on.

    Attributes
    ----------
    reader
        A cursor on one snapshot; the temporary tables live on it.
    scope
        The Scope as asked, its clock filled in.
    sources
        Each history table's name to what to read it from.
    """

    reader: Reader
    scope: Scope
    sources: dict[str, str]

    @property
    def clock(self) -> str:
        """The clock of the figures."""
        return self.scope.clock or "days"

    @property
    def catalogue(self) -> Catalogue:
        """The catalogue inside the snapshot."""
        return self.reader.catalogue

    @property
    def since(self) -> datetime:
        """The begin of the period, or the earliest instant there is."""
        return self.scope.since or datetime.min

    @property
    def until(self) -> datetime:
        """The end of the period, or the latest instant there is."""
        return self.scope.until or datetime.max

    @property
    def counted(self) -> str:
        """The SQL that tells whether an episode counts."""
        return COUNTED[self.scope.counting]

    @cached_property
    def components(self) -> tuple[str, ...]:
        """The components in scope that some locomotive in scope has, in the catalogue's order."""
        found = self.rows(
            "SELECT DISTINCT component FROM asked_place JOIN asked_record USING (class)"
        )["component"]
        return tuple(name for name in self.catalogue.components if name in set(found))

    @cached_property
    def data_cut(self) -> datetime | None:
        """The latest instant known of any locomotive in scope, not beyond the period."""
        known = self.rows("SELECT max(ends_at) AS ends_at FROM asked_record")["ends_at"].iloc[0]
        return None if pd.isna(known) else min(known.to_pydatetime(), self.until)

    def rows(self, query: str, **values: object) -> pd.DataFrame:
        """Run one query and return its rows; `$name` in it stands for a value."""
        return self.reader.cursor.execute(query, values or None).df()

    def make(self, name: str, query: str) -> None:
        """Keep the rows of a query as a temporary table; `$since`, `$until` are the period."""
        period = {"since": self.since, "until": self.until}
        values = {word: value for word, value in period.items() if f"${word}" in query}
        self.reader.cursor.execute(
            f"CREATE OR REPLACE TEMP TABLE {name} AS {query}", values or None
        )

    def keep(self, name: str, frame: pd.DataFrame) -> None:
        """Keep the rows of a frame as a temporary table."""
        cursor = self.reader.cursor
        cursor.register("answer_frame", frame)
        cursor.execute(f"CREATE OR REPLACE TEMP TABLE {name} AS FROM answer_frame")
        cursor.unregister("answer_frame")

    def in_force(self, table: str, where: str = "true") -> str:
        """Return the SELECT of `store.current_sql`, by what the history found to be replaced.

        Over many locomotives it costs far less than to compare the versions of every key.
        """
        if "replaced" not in self.sources:  # a history made before that was kept
            return current_sql(table, where)
        return (
            f"SELECT * FROM facts.{table} SEMI JOIN (FROM batch WHERE withdrawn_at IS NULL)"
            f" USING (batch) ANTI JOIN (FROM {self.sources['replaced']}"
            f" WHERE table_name = '{table}') USING (batch, file, row_number) WHERE {where}"
        )

    def tick(self, instant: str) -> str:
        """Return the SQL of the clock at an instant, see `clocks.tick`."""
        return tick(self.clock, instant)

    def kept(self, *, depot: str | None = None, defect: str | None = None) -> str:
        """Return the SQL of the depot and defect filters on the columns named."""
        parts = [
            is_one_of(column, names)
            for column, names in ((depot, self.scope.depots), (defect, self.scope.defects))
            if column
        ]
        return " AND ".join(parts) or "true"


def lay_ground(reader: Reader, scope: Scope) -> Ground:
    """Check the names of a Scope and lay out what it is about.

    Raises
    ------
    ScopeError
        For a name that neither catalogue nor record knows.
    """
    sources = _sources(reader.cursor)
    catalogue = reader.catalogue
    names = reader.cursor.execute(
        f"SELECT locomotive, depot FROM {sources['record']} UNION ALL"
        f" SELECT DISTINCT NULL, depot FROM {sources['exposure']}"
    ).fetchall()
    scope.check(
        catalogue,
        locomotives={name for name, _ in names if name is not None},
        depots={depot for _, depot in names if depot is not None},
    )
    ground = Ground(reader, scope.resolve_clock(catalogue), sources)
    _lay_places(ground)
    ground.make(
        "asked_record",
        f"SELECT * FROM {sources['record']} WHERE {is_one_of('class', scope.classes)}"
        f" AND {is_one_of('locomotive', scope.locomotives)}",
    )
    _lay_edges(ground)
    return ground


def lay_failures(ground: Ground) -> None:
    """Make `asked_exposure` and `asked_episode`, cut to the period and the filters.

    The first has the stretches at risk, the second the counted failures, also the unobserved.
    """
    ground.make("asked_exposure", _filled(ground, "exposure.sql"))
    ground.make("asked_episode", _filled(ground, "episode.sql"))


def count_failures(ground: Ground) -> dict[str, int]:
    """Count the failures that `asked_episode` would have: `seen` while observed, and `unseen`."""
    counts = ground.rows(
        f"SELECT count(*) FILTER (observed) AS seen, count(*) FILTER (NOT observed) AS unseen"
        f" FROM ({_filled(ground, 'episode.sql')})",
        since=ground.since,
        until=ground.until,
    ).iloc[0]
    return {name: int(counts[name]) for name in ("seen", "unseen")}


def is_one_of(column: str, names: tuple[str, ...]) -> str:
    """Return the SQL that keeps rows of the names; no names keep all."""
    if not names:
        return "true"
    quoted = ", ".join("'" + name.replace("'", "''") + "'" for name in names)
    return f"{column} IN ({quoted})"


def text_of(name: str) -> str:
    """Return the text of one file in `sql/`."""
    return (files("analytics.answers") / "sql" / name).read_text(encoding="utf-8")


def _filled(ground: Ground, name: str) -> str:
    return text_of(name).format(
        **ground.sources,
        clock=ground.clock,
        from_tick=ground.tick("x.from"),
        to_tick=ground.tick("x.to"),
        found_tick=ground.tick("e.found"),
        counted=ground.counted,
        depot_kept=ground.kept(depot="depot"),
        defect_kept=ground.kept(defect="defect"),
    )


def _sources(cursor: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Name where each history table is; a store without any hand-in gets empty ones."""
    found = cursor.execute(
        "SELECT table_name FROM duckdb_tables() WHERE schema_name = 'history'"
    ).fetchall()
    if found:
        return {table: f"history.{table}" for table in TABLES if (table,) in found}
    for statement in sql_text("schema.sql").split(";"):
        if "TABLE history." in statement:
            cursor.execute(statement.replace("TABLE history.", "TEMP TABLE no_"))
    return {table: f"no_{table}" for table in TABLES}


def _lay_places(ground: Ground) -> None:
    rows = pd.DataFrame(ground.catalogue.tables()["class_component"])
    scope = ground.scope
    kept = rows["positions"] > 0
    if scope.components:
        kept &= rows["component"].isin(scope.components)
    ground.keep("asked_place", rows[kept])


def _lay_edges(ground: Ground) -> None:
    """Make `asked_edge`: the clock of each locomotive at the two ends of the period."""
    cursor, scope = ground.reader.cursor, ground.scope
    ends = [end for end in (scope.since, scope.until) if end is not None]
    names = [row[0] for row in cursor.execute("SELECT locomotive FROM asked_record").fetchall()]
    edge = pd.DataFrame(
        {
            "locomotive": pd.Series([name for name in names for _ in ends], dtype=object),
            "at": pd.Series([end for _ in names for end in ends], dtype="datetime64[us]"),
        }
    )
    if len(edge) and ground.clock != "days":
        edge = clock_at(cursor, edge)[["locomotive", "at", ground.clock]]
    edge.columns = pd.Index(["locomotive", "moment", "tick"][: edge.shape[1]])
    if "tick" not in edge:
        edge["tick"] = edge["moment"].astype("int64")
    ground.keep("edge", edge)
    ground.make(
        "asked_edge",
        "SELECT locomotive, max(tick) FILTER (moment = $since)::BIGINT AS since_tick,"
        " max(tick) FILTER (moment = $until)::BIGINT AS until_tick FROM edge GROUP BY locomotive",
    )
