"""Random small railways: the SQL's histories against a plain reading of the same definitions.

Oracle: `tests/history/plain.py`, written from METHODS 0 and 5 before the SQL was read; its
docstring names the choices that both share. Every locomotive of a world is a case of its own, so
one rebuild tests many.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import cache
from operator import itemgetter
from typing import Any
from zlib import crc32

import duckdb
import numpy as np
import pandas as pd
import pytest

from analytics.catalogue.load import load_text
from analytics.history import rebuild
from analytics.store import migrations
from tests.history.plain import DAY, Plain
from tests.history.world import CATALOGUE, World

LIMITS = "max_hours_per_day = 24\nmax_km_per_day = 2400"
CATALOGUES = (
    CATALOGUE.replace("[class.Alder]", f"[class.Alder]\n{LIMITS}"),
    CATALOGUE.replace("[class.Alder]", f"[class.Alder]\n{LIMITS}").replace(
        'clock = "days"', 'clock = "days"\nin_service = true\nseen_by = ["workshop"]'
    ),
)
FIRST_DAY = datetime(2024, 1, 1)
SEEDS, LOCOMOTIVES = range(8), 50
RULES = ("any", "rectified", "withheld", "in-service")
TABLES = ("record", "counter", "exposure", "episode", "closing", "life")
Rng = np.random.Generator
Rows = list[dict[str, Any]]


# A random railway


def pick(rng: Rng, *values: Any) -> Any:
    return values[rng.integers(len(values))]


def written(rng: Rng, day: int, *, timed: bool = False) -> str:
    """Write a day, with a time of day now and then; few different times, so that instants tie."""
    at = FIRST_DAY + day * DAY
    if timed and rng.random() < 0.5:
        return f"{at + timedelta(hours=int(pick(rng, 1, 8, 12))):%Y-%m-%d %H:%M}"
    return f"{at:%Y-%m-%d}"


def fitted(*about: str) -> dict[str, Any]:
    """Return what was fitted there and then: told twice, it is the same part."""
    rng = np.random.default_rng(crc32("|".join(about).encode()))
    condition = pick(rng, None, None, None, None, "new", "overhauled", "used", "used", "unknown")
    return {
        "condition_in": condition,
        "age_in": pick(rng, None, 500.0) if condition == "used" else None,
    }


def add_register(world: World, rng: Rng, name: str, span: tuple[int, int]) -> None:
    begin, end = span
    entered = pick(rng, None, begin, begin - 31, begin - 32, begin - 400, begin + 5)
    dates = {
        "in_service_from": entered,
        "records_from": pick(rng, None, None, begin, begin, begin - 8, begin - 8, begin + 10),
        "in_service_to": pick(rng, *[None] * 6, end, end, end + 20, end + 20, end - 15),
    }
    cells = {k: None if v is None else written(rng, v) for k, v in dates.items()}
    cells["depot"] = pick(rng, None, "North")
    if entered is not None and entered < begin - 3:
        cells["engine_hours_at_start"] = pick(rng, None, 900.0)
    world.locomotive(name, **cells)
    if rng.random() < 0.2:
        until = written(rng, end + int(rng.integers(-10, 40)))
        world.add("coverage", locomotive=name, covered_until=until)


def inspection_days(rng: Rng, begin: int, end: int) -> list[int]:
    style = pick(rng, "daily", "daily", "daily", "weekly", "sparse", "few", "none")
    if style == "none":
        return []
    if style == "few":
        return sorted({int(day) for day in rng.integers(begin, end, size=rng.integers(1, 4))})
    step = {"daily": 1, "weekly": 7}.get(style, int(rng.integers(2, 12)))
    days = [day for day in range(begin, end, step) if rng.random() < 0.9]
    for _ in range(rng.integers(0, 3)):
        first, length = int(rng.integers(begin, end)), pick(rng, 13, 14, 15, 20, 30)
        days = [day for day in days if not first < day < first + length]
    return days


def add_inspections(world: World, rng: Rng, name: str, span: tuple[int, int], timed: bool) -> None:
    depots = pick(rng, (None, None), ("South", "South"), ("East", "South"), (None, "South"))
    for day in inspection_days(rng, *span):
        kind = pick(rng, *["daily"] * 8, "workshop", "en-route")
        cells = {"kind": kind, "depot": depots[day > sum(span) / 2]}
        world.inspections(written(rng, day, timed=timed), locomotive=name, **cells)


def add_idle(world: World, rng: Rng, name: str, span: tuple[int, int]) -> None:
    for first in {int(day) for day in rng.integers(span[0] - 3, span[1], size=rng.integers(0, 4))}:
        last = None if rng.random() < 0.1 else written(rng, first + int(rng.integers(1, 25)))
        world.add("out_of_use", locomotive=name, from_at=written(rng, first), to_at=last)


def add_finding(world: World, rng: Rng, name: str, day: int, timed: bool) -> None:
    component = pick(rng, "injector", "injector", "filter")
    found, closed = written(rng, day, timed=timed), None
    if rng.random() < 0.5:
        closed = written(rng, day + pick(rng, 0, 0, 1, 2, 5, 10, 20, 40), timed=timed)
        if closed[:10] == found[:10] and closed < found:
            closed = found[:10]
    world.finding(
        found,
        pick(rng, "leaking", "worn" if component == "injector" else "loaded-up"),
        locomotive=name,
        component=component,
        position=pick(rng, *POSITIONS[component]),
        severity=pick(rng, None, None, "remark", "rectify", "withhold", "in-service"),
        action=pick(rng, None, "put-off", "looked-at", "cleaned", *["replaced"] * 3),
        closed_at=closed,
        down_hours=pick(rng, None, 12.0, 36.0),
    )
    row = world.rows["findings"][-1]
    if closed and len(closed) == 10 and closed == found[:10]:
        row["closed_at"] = row["found_at"]  # as intake keeps it
    row.update(fitted(name, component, str(row["closed_at"] or row["found_at"])))


POSITIONS = {"injector": ("1", "1", "1", "2", None, "all", "1-2", "2;1"), "filter": (None, "1")}


def add_work(world: World, rng: Rng, name: str, day: int, timed: bool) -> None:
    component, done = pick(rng, "injector", "injector", "filter"), written(rng, day, timed=timed)
    cells = fitted(name, component, str(datetime.fromisoformat(done)))
    place = {"component": component, "position": pick(rng, *POSITIONS[component])}
    world.work(
        done, pick(rng, "replaced", "replaced", "cleaned"), locomotive=name, **place, **cells
    )


def add_usage(world: World, rng: Rng, name: str, span: tuple[int, int]) -> None:
    """Add counters that run, start anew, and are misread now and then (one reading at a time)."""
    step = pick(rng, 3, 5, 10, 30, 40)
    day, hours, km, misread = span[0] - 3, 1000.0, 5000.0, 1
    while day <= span[1]:
        shown, misread = hours, misread - 1
        if misread < 0 and rng.random() < 0.2:
            misread = 4
            shown = pick(rng, hours * 10, hours / 10, float(rng.integers(0, 8)))
            hours = shown if shown < 8 else hours
        cells = {"engine_hours": round(shown, 1), "km": pick(rng, km, km, km, None)}
        world.add("usage", locomotive=name, read_at=written(rng, day), **cells)
        passed = step * pick(rng, 1, 1, 1, 1, 1, 3)
        day, hours = day + passed, hours + passed * int(rng.integers(5, 15))
        km = (
            float(rng.integers(0, 50))
            if rng.random() < 0.05
            else km + passed * rng.integers(0, 300)
        )


def add_case(world: World, rng: Rng, name: str) -> None:
    begin, end, timed = int(rng.integers(0, 8)), int(rng.integers(40, 120)), rng.random() < 0.5
    add_register(world, rng, name, (begin, end))
    add_inspections(world, rng, name, (begin, end), timed)
    add_idle(world, rng, name, (begin, end))
    favoured = [int(day) for day in rng.integers(begin, end + 1, size=rng.integers(1, 5))]
    days = [pick(rng, *favoured, int(rng.integers(begin - 1, end + 3))) for _ in range(12)]
    for day in days[: rng.integers(0, 9)]:
        add_finding(world, rng, name, day, timed)
    for day in days[9 : rng.integers(9, 13)]:
        add_work(world, rng, name, day, timed)
    if rng.random() < 0.6:
        add_usage(world, rng, name, (begin, end))


def connect(world: World) -> duckdb.DuckDBPyConnection:
    """Do what `World.connect` does, many rows at a time."""
    connection = duckdb.connect()
    migrations.bring_up_to_date(connection)
    connection.execute("INSERT INTO batch (batch, received_at) VALUES (1, now()::TIMESTAMP)")
    for table, rows in world.rows.items():
        frame = pd.DataFrame(rows)
        for name in frame.columns[frame.columns.str.fullmatch(r".*(_at|_from|_to|_until)")]:
            frame[name] = pd.to_datetime(frame[name])
        frame = frame.assign(batch=1, bucket=0)
        if table != "coverage":
            frame = frame.assign(file=1, row_number=range(len(frame)), ordinal=range(len(frame)))
        connection.register("handed_in", frame)
        target = "coverage" if table == "coverage" else f"facts.{table}"
        connection.execute(f"INSERT INTO {target} BY NAME FROM handed_in")
        connection.unregister("handed_in")
    rebuild(connection, load_text({"catalogue.toml": world.catalogue}), locomotives=None)
    return connection


def histories(world: World) -> dict[str, dict[str, Rows]]:
    """Return the rows that the SQL makes, by locomotive and table."""
    made = {row["locomotive"]: {t: [] for t in TABLES} for row in world.rows["locomotives"]}
    connection = connect(world)
    for table in TABLES:
        found = connection.execute(f"FROM history.{table} ORDER BY ALL")
        names = [column[0] for column in found.description]
        for values in found.fetchall():
            row = dict(zip(names, values, strict=True))
            made[row["locomotive"]][table].append(row)
    return made


@cache
def cases(seed: int) -> list[tuple[Plain, dict[str, Rows]]]:
    """Return the locomotives of one random world, each with what the SQL makes of its rows."""
    rng = np.random.default_rng(seed)
    world = World(CATALOGUES[seed % len(CATALOGUES)])
    for number in range(LOCOMOTIVES):
        add_case(world, rng, f"{number:02d}")
    catalogue = load_text({"catalogue.toml": world.catalogue})
    made = histories(world)
    return [(Plain(world, catalogue, name), made[name]) for name in made]


# What is compared


def plain_record(plain: Plain) -> list[tuple[Any, ...]]:
    wait = plain.median_interval
    ends = plain.observation or (None, None)
    told = (len(plain.inspected), None if wait is None else wait / DAY)
    return [(*ends, plain.first_life_known, *told)]


def plain_episodes(plain: Plain) -> Iterator[tuple[Any, ...]]:
    for e in plain.episodes:
        at, end = e.found_at, e.closing
        how = (end.at, end.timed, end.effect, end.action, end.by) if end else (None,) * 5
        seen = any(a <= at <= b for a, b in plain.at_risk)
        ranks = (len(e.findings), e.rank, e.first_rank, e.down_hours)
        yield (*e.place, e.defect, at, *how, *ranks, seen, plain.depot(at))


def plain_links(plain: Plain) -> Iterator[tuple[Any, ...]]:
    for e in plain.episodes:
        before = (plain.previous(e, same_defect=False), plain.previous(e, same_defect=True))
        yield (*e.place, e.defect, e.found_at, plain.open_at_found(e), *before)


def plain_closings(plain: Plain) -> Iterator[tuple[Any, ...]]:
    for e in plain.episodes:
        if e.closing:
            yield (*e.place, e.defect, e.closed_at, plain.censored_at(e))


def plain_lives(plain: Plain) -> Iterator[tuple[Any, ...]]:
    for rule in RULES:
        for life in plain.lives(rule):
            yield (rule, *vars(life).values())


def plain_exposure(plain: Plain) -> Iterator[tuple[Any, ...]]:
    for (month, depot), length in plain.exposure().items():
        if length:
            yield (month.date(), depot, length)


def sql_exposure(rows: Rows) -> Iterator[tuple[Any, ...]]:
    total: Counter[Any] = Counter()
    for r in rows:
        total[r["month"], r["depot"]] += (r["to_at"] - r["from_at"]) // timedelta(microseconds=1)
    for (month, depot), length in total.items():
        yield (month, depot, timedelta(microseconds=length))


def sql_closings(rows: Rows) -> Iterator[tuple[Any, ...]]:
    for r in rows:
        censored_at = r["censored_at"] if r["observed"] else None
        yield (r["component"], r["position"], r["defect"], r["closed_at"], censored_at)


def plain_counters(plain: Plain) -> Iterator[tuple[Any, ...]]:
    for clock, read in plain.counters.items():
        yield from ((clock, *reading) for reading in read)


PLACE = "component position defect "
# What is compared: table, its columns (or how to read it), the plain reading of the same.
COMPARED: dict[str, tuple[str, str | Callable[..., Any], Callable[[Plain], Any]]] = {
    "record": (
        "record",
        "begins_at ends_at first_life_known inspections median_interval_days",
        plain_record,
    ),
    "counter": ("counter", "clock moment value reset", plain_counters),
    "exposure": ("exposure", sql_exposure, plain_exposure),
    "episode": (
        "episode",
        PLACE + "found_at closed_at closed_timed effect action closed_by findings rank first_rank"
        " down_hours observed depot",
        plain_episodes,
    ),
    "links": (
        "episode",
        PLACE + "found_at open_at_found prev_any_at prev_same_at",
        plain_links,
    ),
    "closing": ("closing", sql_closings, plain_closings),
    "life": (
        "life",
        "counting component position start_at start_known start_age entry_at lower_at exit_at"
        " failed end_kind inspected",
        plain_lives,
    ),
}


def both(compared: str, plain: Plain, made: dict[str, Rows]) -> tuple[list[Any], list[Any]]:
    table, columns, read_plainly = COMPARED[compared]
    if isinstance(columns, str):
        theirs = [tuple(r[c] for c in columns.split()) for r in made[table]]
    else:
        theirs = list(columns(made[table]))
    return sorted(read_plainly(plain), key=str), sorted(theirs, key=str)


@pytest.mark.parametrize("compared", COMPARED)
@pytest.mark.parametrize("seed", SEEDS)
def test_sql_and_plain_reading_agree(seed: int, compared: str) -> None:
    for plain, made in cases(seed):
        mine, theirs = both(compared, plain, made)
        assert theirs == mine, plain.locomotive


# Counters at instants: what the columns begin with, and the instant that they are read at.
CLOCKED = {
    "record": {"begins": "begins_at", "ends": "ends_at", "service": "in_service_from"},
    "episode": {
        "found": "found_at",
        "closed": "closed_at",
        "prev_any": "prev_any_at",
        "prev_same": "prev_same_at",
    },
    "closing": {"closed": "closed_at", "censored": "censored_at"},
    "life": {"start": "start_at", "entry": "entry_at", "exit": "exit_at", "lower": "lower_at"},
}


@pytest.mark.parametrize("clock", ["hours", "km"])
@pytest.mark.parametrize("seed", SEEDS)
def test_counters_at_instants_agree(seed: int, clock: str) -> None:
    for plain, made in cases(seed):
        read = cache(plain.clock_at)
        for table, columns in CLOCKED.items():
            for row in made[table]:
                for name, instant in columns.items():
                    expected = read(clock, row[instant]) if row[instant] else None
                    assert same_counter(row[f"{name}_{clock}"], expected), (row, instant)
        for row in made["exposure"]:
            start, end = row["from_at"], row["to_at"]
            known = [read(clock, at) for at in (start, start + (end - start) / 2, end)]
            run = None if None in known else known[2] - known[0]
            ends = (row[f"from_{clock}"], row[f"to_{clock}"])
            theirs = None if None in ends else ends[1] - ends[0]
            assert same_counter(theirs, run, roundings=2), (row, run)


def same_counter(value: int | None, expected: float | None, *, roundings: int = 1) -> bool:
    """Tell whether both are unknown or the value is the expected one, rounded."""
    if value is None or expected is None:
        return value is expected
    return abs(value - expected) <= roundings * 0.5 + 1e-6


@pytest.mark.parametrize("seed", SEEDS)
def test_first_known_life_is_the_earliest_of_its_position(seed: int) -> None:
    for _, made in cases(seed):
        firsts: dict[Any, datetime] = {}
        key = itemgetter("counting", "component", "position")
        for row in sorted(made["life"], key=itemgetter("start_at")):
            if row["start_known"]:
                firsts.setdefault(key(row), row["start_at"])
        for row in made["life"]:
            first = row["start_known"] and row["start_at"] == firsts[key(row)]
            assert row["first_known"] == first, row


def test_order_of_rows_changes_no_history() -> None:
    plain, _ = cases(SEEDS[0])[0]
    rng = np.random.default_rng(1)
    mixed = World(plain.world.catalogue)
    for table, rows in plain.world.rows.items():
        mixed.rows[table] = [rows[i] for i in rng.permutation(len(rows))]
    made = histories(mixed)
    for other, expected in cases(SEEDS[0]):
        for table in TABLES:
            assert made[other.locomotive][table] == expected[table], (other.locomotive, table)
