"""`compare` and `availability` on the command line: fixed columns, list, refusals.

Oracle: the lists of columns are the contract of the command line.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from analytics.handin import ingest
from analytics.store import Store
from tests.cli.conftest import Done
from tests.history.world import CATALOGUE

Run = Callable[..., Done]
COMPARE = (
    "clock, first, second, exposure_first, failures_first, rate_first, exposure_second, "
    "failures_second, rate_second, ratio, ratio_lower, ratio_upper, p, q, method, level, note"
)
AVAILABILITY = (
    "locomotives, days_in_use, down_days, unknown_share, availability, availability_inherent, "
    "down_intervals, still_down, restoration_mean_hours, restoration_mean_lower, "
    "restoration_mean_upper, restoration_median_hours, level, note"
)
DOWN = "locomotive, class, depot, from, to, opened_by, component, defect, planned, hours, open"
OUTCOMES = "locomotive,inspected_at,kind,outcome\n" + "".join(
    f"{name},2024-04-{day:02} 06:00,daily,{outcome}\n"
    for name in ("5A", "6B")
    for day, outcome in ((2, "withheld"), (3, "released"), (4, "released"))
)


@pytest.fixture(scope="module")
def withheld(files: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store in which both locomotives were withheld for a day."""
    folder = tmp_path_factory.mktemp("withheld")
    (folder / "outcomes.csv").write_text(OUTCOMES, encoding="utf-8")
    made = Store.create(folder / "store", {"catalogue.toml": CATALOGUE})
    handed = [files / f"{name}.csv" for name in ("locomotives", "inspections", "findings")]
    ingest(made, [*handed, folder / "outcomes.csv"])
    return folder / "store"


@pytest.mark.parametrize(
    ("words", "columns"),
    [
        (["compare", "--at", "2024-03-01"], COMPARE),
        (["compare", "--span", "4w", "--by", "component"], f"component, {COMPARE}"),
        (["compare", "--between", "depot"], COMPARE),
        (["availability"], AVAILABILITY),
        (["availability", "--by", "depot,month"], f"depot, month, {AVAILABILITY}"),
        (["availability", "--list"], DOWN),
    ],
)
def test_csv_and_json_have_the_contracts_columns(
    words: list[str], columns: str, run: Run, withheld: Path
) -> None:
    done = run(*words, "--store", withheld, "--format", "csv")
    assert done.code == 0
    table = pd.read_csv(io.StringIO(done.out))
    assert list(table) == columns.split(", ")
    rows = json.loads(run(*words, "--store", withheld, "--json").out)
    assert len(rows) == len(table) > 0
    assert all(list(row) == columns.split(", ") for row in rows)


@pytest.mark.parametrize(
    "words",
    [
        ["compare", "--at", "2024-03-01", "--by", "locomotive"],
        ["availability", "--by", "locomotive"],
        ["availability", "--list"],
    ],
)
def test_tables_name_the_locomotives(words: list[str], run: Run, withheld: Path) -> None:
    done = run(*words, "--store", withheld)
    assert done.code == 0
    assert "5A" in done.out
    assert "6B" in done.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["compare"], "one of at, span, between or modification"),
        (["compare", "--modification", "x"], "modification 'x' is not known"),
        (["availability", "--by", "action"], "cannot be split by 'action'"),
        (["availability", "--list", "--by", "depot"], "cannot be split by depot"),
    ],
)
def test_wrong_use_gets_one_sentence(words: list[str], said: str, run: Run, store: Path) -> None:
    done = run(*words, "--store", store)
    assert done.code == 2
    assert said in done.err
    assert done.err.count("\n") == 1
