"""Every question on the command line: fixed columns, pure standard output, equal formats.

Oracle: the lists of columns are the contract of the command line; formats by identity.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from tests.cli.conftest import Done, beside

Run = Callable[..., Done]
COLUMNS = {
    "mtbf": "clock, exposure, failures, mtbf, mtbf_lower, mtbf_upper, rate, rate_lower, "
    "rate_upper, level, method, dispersion, constancy_p, note",
    "trend": "clock, failures, laplace_u, laplace_p, milhdbk_chi2, milhdbk_p, shape, "
    "shape_lower, shape_upper, shape_mle, mtbf_now, mtbf_now_lower, mtbf_now_upper, "
    "cvm, cvm_p, note",
    "survival": "clock, age, survival, lower, upper, at_risk, events",
    "survival --fit": "clock, model, shape, shape_lower, shape_upper, scale, mu, sigma, loglik, "
    "aicc, lives, failures, left_out, b10, b10_lower, b10_upper, median, median_lower, "
    "median_upper, mean, mean_lower, mean_upper, note",
    "mcf": "clock, age, mcf, lower, upper, at_risk, events",
    "recurrence": "findings, closings, repeats, repeat_share, matured, same_day, rate, "
    "rate_lower, rate_upper, at_risk_at_window, median_gap_days, note",
    "repeats": "locomotive, component, position, length, first, last, open, down_hours, cost, "
    "actions",
    "replace-age": "class, component, clock, failures, shape, shape_lower, failure_cost, "
    "planned_cost, age, age_from, age_to, weeks, rate, rate_failure, saving, saving_lower, "
    "saving_upper, note",
    "spares": "component, positions, failures, expected, lower, upper, seen, spread, stock, "
    "stock_upper, service, note",
    "quality": "table, column, filled_share, days_without_inspection, counters_still, note",
}
UNGROUPED = ("repeats", "replace-age", "spares", "quality")
EVERY = pytest.mark.parametrize("question", COLUMNS)


def wanted(question: str, *by: str) -> list[str]:
    return [*by, *COLUMNS[question].split(", ")]


def exactly(source: io.StringIO | Path) -> pd.DataFrame:
    return pd.read_csv(source, float_precision="round_trip")


@EVERY
def test_csv_is_the_table_alone_with_the_contracts_columns(
    question: str, run: Run, store: Path
) -> None:
    done = run(*question.split(), "--store", store, "--format", "csv")
    assert done.code == 0
    table = pd.read_csv(io.StringIO(done.out))
    assert list(table) == wanted(question)
    # reading, basis and notes went to standard error
    assert ("Looked at: " if question == "quality" else "Counted: ") in done.err
    assert "Method: " in done.err


@pytest.mark.parametrize("question", [name for name in COLUMNS if name not in UNGROUPED])
def test_groups_come_first_and_are_named_as_asked(question: str, run: Run, store: Path) -> None:
    done = run(*question.split(), "--by", "component,class", "--store", store, "--format", "csv")
    assert done.code == 0
    assert done.out.splitlines()[0].split(",") == wanted(question, "component", "class")


@EVERY
def test_formats_read_back_equal(question: str, run: Run, store: Path, tmp_path: Path) -> None:
    given = [*question.split(), "--store", store, "--component", "injector"]
    if question in ("repeats", "recurrence"):
        given += ["--window", "60d"]
    from_csv = exactly(io.StringIO(run(*given, "--format", "csv").out))
    from_json = pd.DataFrame(json.loads(run(*given, "--json").out), columns=wanted(question))
    for ending in ("csv", "parquet", "xlsx", "json"):
        done = run(*given, "--out", tmp_path / f"figures.{ending}")
        assert (done.code, done.out) == (0, "")
        assert "figures" in done.err
    from_parquet = pd.read_parquet(tmp_path / "figures.parquet")
    from_sheet = pd.read_excel(tmp_path / "figures.xlsx", engine="calamine")
    numbers = [name for name in from_csv.select_dtypes("number") if name != "note"]
    assert numbers
    for other in (from_json, from_parquet, from_sheet, exactly(tmp_path / "figures.csv")):
        assert list(other) == wanted(question)
        # a spreadsheet keeps 16 digits, everything else all 17
        rounding = 1e-14 if other is from_sheet else 0
        pd.testing.assert_frame_equal(
            from_csv[numbers].astype(float), other[numbers].astype(float), rtol=rounding, atol=0
        )


@EVERY
def test_table_for_reading_fits_the_screen_and_says_what_it_rests_on(
    question: str, run: Run, store: Path
) -> None:
    done = run(*question.split(), "--store", store)
    assert (done.code, done.err) == (0, "")
    assert max(len(line) for line in done.out.splitlines()) <= 80
    assert "\x1b" not in done.out
    assert ("Looked at: " if question == "quality" else "Counted: ") in done.out
    assert "known to 2024-06-20" in done.out


def test_parquet_goes_down_a_pipe(store: Path, tmp_path: Path) -> None:
    target = tmp_path / "piped.parquet"
    with target.open("wb") as pipe:
        beside("mtbf", "--store", store, "--format", "parquet", stdout=pipe)
    assert pd.read_parquet(target)["failures"].tolist() == [6]


def test_json_with_basis_is_an_object(run: Run, store: Path) -> None:
    done = run("mtbf", "--store", store, "--component", "injector", "--json", "--with-basis")
    whole = json.loads(done.out)
    assert sorted(whole) == ["basis", "notes", "reading", "rows"]
    assert whole["rows"][0]["failures"] == whole["basis"]["events"] == 6
    assert done.err == ""


def test_figures_agree_with_the_library(run: Run, store: Path) -> None:
    import analytics

    rows = json.loads(run("mtbf", "--store", store, "--by", "locomotive", "--json").out)
    table = analytics.ask(analytics.open_store(store), "mtbf", by="locomotive").table
    assert [row["mtbf"] for row in rows] == table["mtbf"].tolist()


def test_filters_narrow(run: Run, store: Path) -> None:
    def failures(*options: str) -> int:
        given = ("mtbf", "--store", store, "--json", *options)
        return int(json.loads(run(*given).out)[0]["failures"])

    assert failures() == 6
    assert failures("--locomotive", "5A") == 4
    assert failures("--locomotive", "5A", "--locomotive", "6B") == 6
    assert failures("--defect", "worn") == 1
    assert failures("--since", "2024-03-01") == 3
    assert failures("--until", "2024-02-10") == 1
    assert failures("--depot", "South", "--class", "Alder") == 2
    assert failures("--counting", "withheld") == 6


def test_questions_have_their_own_options(run: Run, store: Path) -> None:
    def table(*given: object) -> pd.DataFrame:
        return pd.DataFrame(json.loads(run(*given, "--store", store, "--json").out))

    assert table("recurrence", "--window", "60d")["repeats"].tolist() == [2]
    assert table("recurrence", "--window", "10d")["repeats"].tolist() == [0]
    assert table("repeats", "--window", "60d", "--same-defect")["length"].tolist() == [2, 2]
    assert table("repeats", "--window", "60d", "--at-least", "3").empty
    assert table("mcf", "--unit", "position")["at_risk"].iloc[0] == 6  # 2 x 2 injectors, 2 filters
    assert "age" in table("survival", "--method", "turnbull", "--component", "injector")


def test_wide_screen_shows_the_columns_for_a_second_look(
    run: Run, store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    narrow = run("mtbf", "--store", store).out
    monkeypatch.setenv("COLUMNS", "120")
    wide = run("mtbf", "--store", store).out
    assert "spread" not in narrow
    assert "spread" in wide
