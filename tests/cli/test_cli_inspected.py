"""`quality --inspections` on the command line. Oracle: the lists of columns are the contract."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from tests.cli.conftest import Done

Run = Callable[..., Done]


def test_csv_has_the_columns_of_the_contract(run: Run, store: Path) -> None:
    done = run("quality", "--inspections", "--store", store, "--format", "csv")
    assert done.code == 0
    table = pd.read_csv(io.StringIO(done.out))
    assert ",".join(table) == (
        "depot,team,month,inspections,findings,findings_per_inspection,lower,upper,missed,"
        "missed_share,note"
    )
    # two depots, six months, three inspections in each of them; all findings were in service
    assert table["inspections"].tolist() == [3] * 12
    assert table["findings"].sum() == 0
    assert "less sharp eye" in done.err


def test_table_fits_a_narrow_screen(run: Run, store: Path) -> None:
    done = run("quality", "--inspections", "--store", store)
    assert done.code == 0
    assert max(len(line) for line in done.out.splitlines()) <= 80
    assert "North" in done.out
