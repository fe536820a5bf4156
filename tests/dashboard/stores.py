"""Stores that every page has to bear: empty, one row, a small railway, a metro's real record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from analytics.catalogue.load import shipped_files
from analytics.handin import ingest
from analytics.planning.again import Change, make_version, read_store_inputs
from analytics.store import Store
from dashboard.record import count_findings, read_record
from dashboard.urls import LISTS, SUBJECTS, page_url
from data_demo.build import build
from tests.metro import convert

KINDS = ("empty", "one row", "demo", "metro")
DAY_OUT = 300.0
PINNED, KEPT_FREE = ("A-02", date(2026, 1, 7)), ("", date(2026, 1, 8))
NOBODY = "A-1"
"""Where a store has no locomotive, its page is asked for by this name."""


def make_store(kind: str, folder: Path) -> Store:
    if kind == "demo":
        return plan_twice(build(folder / "railway", locomotives=6, years=1))
    if kind == "empty":
        return Store.create(folder / "store", shipped_files())
    if kind == "one row":
        return _one_row(folder)
    catalogue = {convert.CATALOGUE.name: convert.CATALOGUE.read_text(encoding="utf-8")}
    store = Store.create(folder / "store", catalogue)
    ingest(store, convert.convert(folder))
    return store


def plan_twice(store: Store) -> Store:
    """Give a store of the demo two versions of a berth plan: its own, and one changed by hand.

    A day out of traffic is made cheap, so that jobs are worth a visit in a small fleet too.
    """
    inputs = read_store_inputs(store, store.root / "planning.toml")
    cheap = replace(inputs.costs, day_out=DAY_OUT, day_out_of_class={})
    make_version(store, Change(more=True), inputs=replace(inputs, costs=cheap), who="planner")
    make_version(store, Change(pins=(PINNED,), forbidden=(KEPT_FREE,)), who="planner")
    return store


def _one_row(folder: Path) -> Store:
    register = folder / "locomotives.csv"
    register.write_text("locomotive,class,depot\nA-1,Alder,Mardelow\n", encoding="utf-8")
    findings = folder / "findings.csv"
    findings.write_text(
        "locomotive,found_at,component,position,defect,severity,action,closed_at\n"
        "A-1,2025-03-04 05:10,fuel-injector,3,leaking,rectify,replaced,2025-03-04 09:00\n",
        encoding="utf-8",
    )
    store = Store.create(folder / "store", shipped_files())
    report = ingest(store, [register, findings])
    assert [file.accepted for file in report.files] == [1, 1]
    return store


def paths_of(store: Store) -> dict[str, str]:
    """Return an address of every page; a component and a locomotive with the most findings."""
    with store.read() as reader:
        found = count_findings(reader)
        components = [name for name in reader.catalogue.components if name in found]
        locomotives = list(read_record(reader).locomotives)
        most = _most_found(reader) if locomotives else ""
        component = max(
            components or [next(iter(reader.catalogue.components))],
            key=lambda name: found.get(name, (0, 0)),
        )
    names = {"component": component, "locomotive": most or next(iter(locomotives), NOBODY)}
    subjects = {page: page_url(page, names[page]) for page in SUBJECTS}
    return {**{page: page_url(page) for page in LISTS}, **subjects}


def _most_found(reader: object) -> str:
    rows = reader.cursor.execute(  # type: ignore[attr-defined]
        "SELECT locomotive FROM history.episode GROUP BY locomotive"
        " ORDER BY count(*) DESC, locomotive LIMIT 1"
    ).fetchall()
    return str(rows[0][0]) if rows else ""
