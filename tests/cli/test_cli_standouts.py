"""`standouts` and `survival --intensity` on the command line: fixed columns, words that explain.

Oracle: the lists of columns in DEVELOPERS.md.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from tests.cli.conftest import Done

Run = Callable[..., Done]
FIGURES = (
    "class,observed,expected,ratio,shrunk,shrunk_lower,shrunk_upper,chance_above,p,q,stands_out,"
    "lost_hours,cost,method,note"
)


@pytest.mark.parametrize(
    ("by", "named"),
    [
        ("locomotive", "locomotive"),
        ("position", "locomotive,component,position"),
        ("depot, component", "depot,component"),
        ("series", "component,series"),
    ],
)
def test_standouts_names_what_it_compares(by: str, named: str, run: Run, store: Path) -> None:
    done = run("standouts", "--by", by, "--store", store, "--format", "csv")
    assert done.code == 0
    assert done.out.splitlines()[0] == f"{named},{FIGURES}"
    assert "Counted: what had to be rectified or worse, or was made good; " in done.err


def test_funnel_gives_the_limits_of_each_row(run: Run, store: Path) -> None:
    done = run("standouts", "--funnel", "--store", store, "--format", "csv")
    assert done.code == 0
    assert done.out.splitlines()[0] == (
        "locomotive,class,observed,expected,ratio,counts_as,inner_lower,inner_upper,"
        "outer_lower,outer_upper,outside"
    )
    said = run("standouts", "--funnel", "--store", store).out
    assert said.startswith("None of 2 rows lies beyond the outer lines")


def test_standouts_for_reading(run: Run, store: Path) -> None:
    said = run("standouts", "--store", store, "--rank", "cost").out
    assert said.startswith("Nothing stands out: none of 2 rows")
    assert "each component's own clock" in said


def test_standouts_by_something_else_is_wrong_use(run: Run, store: Path) -> None:
    done = run("standouts", "--by", "month", "--store", store)
    assert (done.code, done.err.count("\n")) == (2, 1)
    assert "standouts goes by one of locomotive" in done.err


def test_intensity_has_its_columns_and_sentence(run: Run, store: Path) -> None:
    given = ("survival", "--intensity", "--component", "injector", "--store", store)
    done = run(*given, "--format", "csv")
    assert done.code == 0
    assert done.out.splitlines()[0] == (
        "clock,age,intensity,lower,upper,cumulative,cumulative_lower,cumulative_upper,at_risk,"
        "events,model,shape,shape_lower,shape_upper,note"
    )
    assert len(pd.read_csv(io.StringIO(done.out))) == 20
    assert "per h" in run(*given).out
