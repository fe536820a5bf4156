"""`readings` on the command line: fixed columns, its own options, and words for a reader.

Oracle: the lists of columns are the contract of the command line; values by hand.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from analytics.handin import ingest
from analytics.store import Store
from tests.cli.conftest import INSPECTIONS, LOCOMOTIVES, Done
from tests.history.world import CATALOGUE

Run = Callable[..., Done]
COLUMNS = (
    "locomotive, class, parameter, running_state, unit, last, last_at, attend_above, attend_below, "
    "withhold_above, withhold_below, beyond, since, readings, slope_per_day, slope_lower, "
    "slope_upper, mk_p, q, crossing, crossing_earliest, crossing_latest, note"
)
POINTS = (
    "locomotive, parameter, running_state, read_at, value, unit, as_entered, unit_as_entered, "
    "segment, attend_above, attend_below, withhold_above, withhold_below"
)
PARAMETER = """
[parameter.feed-pressure]
unit = "bar"
component = "filter"
reset_by = ["cleaned"]
attend = { idle = { above = 1.0 } }
"""
READINGS = "locomotive,read_at,parameter,value,unit,running_state\n" + "".join(
    f"5A,2024-06-{number:02},feed-pressure,{60 + number},kPa,idle\n" for number in range(1, 20)
)


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("measured")
    files = {"locomotives": LOCOMOTIVES, "inspections": INSPECTIONS, "readings": READINGS}
    for name, text in files.items():
        (root / f"{name}.csv").write_text(text, encoding="utf-8")
    store = Store.create(root / "store", {"catalogue.toml": CATALOGUE + PARAMETER})
    ingest(store, [root / f"{name}.csv" for name in files])
    return root / "store"


def test_columns_are_fixed(run: Run, measured: Path) -> None:
    done = run("readings", "--store", measured, "--format", "csv")
    assert done.code == 0
    table = pd.read_csv(io.StringIO(done.out))
    assert list(table) == COLUMNS.split(", ")
    assert table["last"].tolist() == pytest.approx([0.79])  # 79 kPa
    assert table["slope_per_day"].tolist() == pytest.approx([0.01])
    assert "Looked at: " in done.err


def test_points_keep_the_unit_as_entered(run: Run, measured: Path) -> None:
    done = run("readings", "--points", "--store", measured, "--format", "csv")
    table = pd.read_csv(io.StringIO(done.out))
    assert list(table) == POINTS.split(", ")
    assert table["as_entered"].tolist() == list(range(61, 80))
    assert table["unit_as_entered"].unique().tolist() == ["kPa"]
    assert table["value"].tolist() == pytest.approx([number / 100 for number in range(61, 80)])
    assert table["segment"].unique().tolist() == [1]


def test_table_for_reading_names_the_first_to_reach_its_limit(run: Run, measured: Path) -> None:
    done = run("readings", "--store", measured)
    assert done.code == 0
    # 0.61 on 1 June and 0.01 a day more: 1.0 on 10 July is beyond twice the 18 days; nothing told
    assert "None of 1 value is beyond a limit, and none is clearly heading for one." in " ".join(
        done.out.split()
    )
    assert "feed-pressure" in done.out
    pointed = run("readings", "--points", "--store", measured)
    assert "19 readings of 1 value from 2024-06-01 to 2024-06-19." in " ".join(pointed.out.split())


def test_parameter_is_checked_and_kept(run: Run, measured: Path) -> None:
    wrong = run("readings", "--parameter", "feed-presure", "--store", measured)
    assert wrong.code == 2
    assert "feed-pressure" in wrong.err
    kept = run("readings", "--parameter", "feed-pressure", "--store", measured, "--format", "csv")
    assert len(kept.out.splitlines()) == 2


def test_store_without_readings_gives_a_sentence(run: Run, store: Path) -> None:
    for more in ((), ("--points",)):
        done = run("readings", *more, "--store", store)
        assert done.code == 0
        assert "No measured value is on record for this." in " ".join(done.out.split())
