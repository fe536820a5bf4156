"""Groups of lives told apart, kinds, hazard and paper on the command line: columns and widths.

Oracle: the lists of columns are the contract of the command line.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from tests.cli.conftest import Done

Run = Callable[..., Done]
TESTED = "clock, model, group, against, ratio, ratio_lower, ratio_upper, statistic, df, p, note"
COLUMNS = {
    "survival --kinds": "defect, clock, age, incidence, lower, upper, at_risk, events, note",
    "survival --differ depot": TESTED,
    "survival --differ position": TESTED,
    "survival --hazard": "clock, model, age, hazard, hazard_lower, hazard_upper, reliability, "
    "reliability_lower, reliability_upper",
    "survival --hazard --reached 100": "clock, model, age, hazard, hazard_lower, hazard_upper, "
    "reliability, reliability_lower, reliability_upper",
    "survival --plot": "clock, model, age, survival, x, y, fitted",
    "mcf --differ depot": "group, against, clock, age, difference, lower, upper, at_risk, "
    "at_risk_against",
    "recurrence --differ action": "group, against, rate, rate_against, difference, lower, upper, "
    "statistic, df, p, note",
    "recurrence --differ severity": "group, against, rate, rate_against, difference, lower, upper, "
    "statistic, df, p, note",
}
EVERY = pytest.mark.parametrize("words", COLUMNS)


@EVERY
def test_csv_and_json_have_the_contracts_columns(words: str, run: Run, store: Path) -> None:
    given = [*words.split(), "--component", "injector", "--store", store]
    done = run(*given, "--format", "csv")
    assert done.code == 0
    table = pd.read_csv(io.StringIO(done.out))
    assert list(table) == COLUMNS[words].split(", ")
    rows = json.loads(run(*given, "--json").out)
    assert len(rows) == len(table) > 0
    grouped = run(*given, "--by", "class,component", "--format", "csv").out.splitlines()[0]
    assert grouped.split(",") == ["class", "component", *COLUMNS[words].split(", ")]


@EVERY
def test_tables_for_reading_fit_the_screen(words: str, run: Run, store: Path) -> None:
    done = run(*words.split(), "--component", "injector", "--store", store)
    assert (done.code, done.err) == (0, "")
    assert max(len(line) for line in done.out.splitlines()) <= 80
    assert "Counted: " in done.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["survival", "--by", "defect"], "--kinds"),
        (["survival", "--differ", "depot", "--kinds"], "survival takes one of"),
        (["survival", "--reached", "10"], "reached needs hazard"),
        (["survival", "--hazard", "--reached", "-1"], "an age of 0 or more"),
        (["mcf", "--differ", "depot", "--by", "depot"], "leave it out of by"),
        (["recurrence", "--differ", "month"], "month"),
    ],
)
def test_wrong_use_gets_a_sentence(words: list[str], said: str, run: Run, store: Path) -> None:
    done = run(*words, "--store", store)
    assert done.code == 2
    assert said in done.err
