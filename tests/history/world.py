"""A tiny railway written by hand: rows in, history tables out, without files or a store folder."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import duckdb
import pandas as pd

from analytics.catalogue.load import load_text
from analytics.history import rebuild
from analytics.store import migrations

CATALOGUE = """
first_life_grace = 31
[class.Alder]
positions = { injector = 2 }
[component.injector]
system = "engine"
clock = "hours"
defects = ["leaking", "worn"]
in_service = true
[component.filter]
system = "engine"
clock = "days"
defects = ["loaded-up", "leaking"]
[action.replaced]
effect = "renew"
[action.cleaned]
effect = "restore"
[action.looked-at]
effect = "checked"
[action.put-off]
effect = "defer"
"""


def at(text: str) -> datetime:
    return datetime.fromisoformat(text)


@dataclass
class World:
    """Rows of the input tables; `tables()` gives the history made of them."""

    catalogue: str = CATALOGUE
    rows: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    def add(self, table: str, **cells: Any) -> World:
        times = ("_at", "_from", "_to", "_until")
        row = {
            k: at(v) if isinstance(v, str) and k.endswith(times) else v for k, v in cells.items()
        }
        for moment in ("found", "closed", "done"):
            if isinstance(cells.get(f"{moment}_at"), str):
                row[f"{moment}_timed"] = len(cells[f"{moment}_at"]) > 10
        self.rows.setdefault(table, []).append(row)
        return self

    def locomotive(self, name: str = "5A", begins: str = "2024-01-01", **cells: Any) -> World:
        start = {"in_service_from": begins, "records_from": begins} | cells
        return self.add("locomotives", locomotive=name, **({"class": "Alder"} | start))

    def inspections(
        self, *days: str, locomotive: str = "5A", kind: str = "daily", **cells: Any
    ) -> World:
        for day in days:
            self.add("inspections", locomotive=locomotive, inspected_at=day, kind=kind, **cells)
        return self

    def daily(self, first: str, last: str, *, locomotive: str = "5A", **cells: Any) -> World:
        days = pd.date_range(first, last).strftime("%Y-%m-%d")
        return self.inspections(*days, locomotive=locomotive, **cells)

    def finding(self, found_at: str, defect: str = "leaking", **cells: Any) -> World:
        row = {"locomotive": "5A", "component": "injector", "position": "1"} | cells
        return self.add("findings", found_at=found_at, defect=defect, **row)

    def work(self, done_at: str, action: str = "replaced", **cells: Any) -> World:
        row = {"locomotive": "5A", "component": "injector", "position": "1"} | cells
        return self.add("work", done_at=done_at, action=action, **row)

    def connect(self) -> duckdb.DuckDBPyConnection:
        connection = duckdb.connect()
        migrations.bring_up_to_date(connection)
        connection.execute("INSERT INTO batch (batch, received_at) VALUES (1, now()::TIMESTAMP)")
        for table, rows in self.rows.items():
            frame = pd.DataFrame(rows).assign(batch=1, file=1, bucket=0, ordinal=1)
            frame["row_number"] = range(2, len(frame) + 2)
            if table in ("findings", "work"):
                frame["ordinal"] = range(1, len(frame) + 1)
            if table == "coverage":
                frame = frame.drop(columns=["file", "ordinal", "row_number"])
                target = "coverage"
            else:
                target = f"facts.{table}"
            frame = frame.astype(object).where(frame.notna(), None)
            for row in frame.to_dict("records"):
                marks = ", ".join("?" for _ in row)
                names = ", ".join(row)
                connection.execute(
                    f"INSERT INTO {target} ({names}) VALUES ({marks})", list(row.values())
                )
        rebuild(connection, load_text({"catalogue.toml": self.catalogue}), locomotives=None)
        return connection

    def table(self, name: str, where: str = "true", **equal: Any) -> pd.DataFrame:
        conditions = [where, *(f"{column} = '{value}'" for column, value in equal.items())]
        query = f"FROM history.{name} WHERE {' AND '.join(conditions)} ORDER BY ALL"
        return self.connect().execute(query).df()
