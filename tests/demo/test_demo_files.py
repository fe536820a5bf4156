"""The files: the same seed gives the same bytes, any size can be made, names are plain."""

from __future__ import annotations

import hashlib
import re
import time

import duckdb
import pandas as pd
import pytest

from analytics.errors import InputError
from data_demo.scenario import DEPOTS, Scenario
from data_demo.simulate import TABLES, simulate_blocks
from data_demo.write import write_files


def _digests(folder, catalogue, **options):
    files = write_files(simulate_blocks(Scenario(**options), catalogue), folder)
    return {file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


def test_same_seed_gives_same_bytes(tmp_path, catalogue):
    first = _digests(tmp_path / "a", catalogue, locomotives=9, years=1)
    assert first == _digests(tmp_path / "b", catalogue, locomotives=9, years=1)


def test_other_seed_gives_other_findings(tmp_path, catalogue):
    first = _digests(tmp_path / "a", catalogue, locomotives=9, years=1, seed=1)
    other = _digests(tmp_path / "b", catalogue, locomotives=9, years=1, seed=2)
    findings = [name for name in first if name.startswith("findings")]
    assert len(findings) == len(DEPOTS)
    assert all(first[name] != other[name] for name in findings)


def test_files_are_by_depot_and_table_with_plain_names(tmp_path, catalogue):
    names = set(_digests(tmp_path, catalogue, locomotives=48, years=1))
    depots = [depot.name.lower() for depot in DEPOTS]
    by_depot = {f"{table}-{depot}" for table in TABLES[1:] for depot in depots}
    stems = {name.rpartition(".")[0] for name in names}
    assert stems <= by_depot | {"locomotives"}
    assert {stem.partition("-")[0] for stem in stems} == set(TABLES)
    assert all(re.fullmatch(r"[a-z_-]+\.(csv|parquet)", name) for name in names)


def test_dates_are_iso_and_one_depot_closes_without_time(tmp_path, catalogue):
    _digests(tmp_path, catalogue, locomotives=12, years=1)
    for depot in DEPOTS:
        rows = pd.read_csv(tmp_path / f"findings-{depot.name.lower()}.csv", dtype=str)
        minute, day = r"\d{4}-\d\d-\d\d \d\d:\d\d", r"\d{4}-\d\d-\d\d"
        assert rows["found_at"].str.fullmatch(minute).all()
        wanted = minute if depot.closes_with_time else day
        assert rows["closed_at"].dropna().str.fullmatch(wanted).all()


def test_large_fleets_are_written_block_by_block_into_the_same_files(tmp_path, catalogue):
    scenario = Scenario(locomotives=130, years=1)
    blocks = list(simulate_blocks(scenario, catalogue))
    files = write_files(blocks, tmp_path)
    assert len(blocks) == 2
    findings = pd.concat(pd.read_csv(f, dtype=str) for f in files if f.name.startswith("findings"))
    assert len(findings) == sum(len(block.tables["findings"]) for block in blocks)
    assert findings["finding_id"].dropna().is_unique
    assert findings["serial_in"].dropna().is_unique
    register = pd.read_csv(tmp_path / "locomotives.csv", dtype=str)
    assert list(register["locomotive"]) == [name for name, _ in scenario.names()]
    readings = [str(file) for file in files if file.suffix == ".parquet"]
    held = duckdb.read_parquet(readings).aggregate("count(*)").fetchall()[0][0]
    assert held == sum(len(block.tables["readings"]) for block in blocks)


def test_whole_demo_is_drawn_and_written_within_eight_seconds(tmp_path, catalogue):
    started = time.perf_counter()
    _digests(tmp_path, catalogue)
    assert time.perf_counter() - started < 8


@pytest.mark.parametrize(("locomotives", "years"), [(2, 1), (7, 3), (48, 5), (2000, 10)])
def test_sizes_give_as_many_locomotives_and_days(locomotives, years):
    scenario = Scenario(locomotives=locomotives, years=years)
    names = [name for name, _ in scenario.names()]
    assert len(set(names)) == locomotives
    assert scenario.first_day.year == 2026 - years
    assert set(scenario.bad_locomotives()) <= set(names)


@pytest.mark.parametrize(
    "options", [{"locomotives": 1}, {"years": 0}, {"years": 99}, {"law": "gamma"}]
)
def test_impossible_railways_are_refused_by_name(options):
    (value,) = options.values()
    with pytest.raises(InputError, match=re.escape(repr(value))):
        Scenario(**options)


@pytest.mark.parametrize("locomotives", [2, 3, 5])
def test_smallest_railways_can_be_drawn(tmp_path, catalogue, locomotives):
    names = _digests(tmp_path, catalogue, locomotives=locomotives, years=1)
    assert {name.partition("-")[0].partition(".")[0] for name in names} >= {
        "locomotives",
        "inspections",
        "findings",
    }
