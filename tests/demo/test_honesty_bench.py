"""The honesty campaign: it must tell a right interval from a wrong one.

Oracle: the normal law. An exact interval of a normal mean holds its level by construction; one of
half the width holds Phi(z/2) - Phi(-z/2) = 0.589 of 0.90 (any table of the normal law).
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from analytics.cli.run import bench
from data_demo.bench import (
    honesty,
    honesty_laws,
    honesty_renewals,
    honesty_standouts,
    honesty_warnings,
)
from data_demo.bench.honesty_cells import CELLS, EVERY, FAILURES, SHAPES, SPREADS, Cell
from data_demo.bench.honesty_fleets import DAYS, STAGGERED, draw_lives, scale_of
from data_demo.bench.honesty_table import print_table
from data_demo.bench.honesty_verdict import Coverage, Figure, Trial, coverage

Z = 1.6448536269514722  # 95 % point of the normal law
FEW = Cell(1.0, 0.0, 10, 1)
WARNED = (honesty_warnings.Cell(100),)


def normal_mean(width: float) -> honesty.Draw:
    """Bounds of the mean of normal draws with known deviation, `width` times as wide as exact."""

    def draw(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, Trial]:
        mean = rng.normal(5.0, 1.0 / np.sqrt(cell.failures), runs)
        reach = width * Z / np.sqrt(cell.failures)
        return {"mean": Trial(mean - reach, mean + reach, 5.0)}

    return draw


def tried(width: float, runs: int = 3_000) -> Figure:
    (figure,) = honesty.try_family(
        honesty.Family(normal_mean(width), 1.0), CELLS, runs=runs, seed=[3]
    )
    return figure


def test_an_exact_interval_passes() -> None:
    figure = tried(1.0)
    assert figure.verdict == "pass"
    assert figure.within == 1.0
    assert np.mean([found.coverage for found in figure.cells]) == pytest.approx(0.90, abs=0.004)


def test_half_an_interval_is_a_miss_and_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    figure = tried(0.5)
    assert figure.verdict == "miss"
    assert figure.under == len(figure.counted) == sum(cell.failures >= 10 for cell in CELLS)
    assert np.mean([found.coverage for found in figure.cells]) == pytest.approx(0.589, abs=0.006)
    print_table([figure])
    assert "covers about 0.5" in capsys.readouterr().out


def test_too_wide_is_a_miss_unless_exact() -> None:
    figure = tried(2.0)
    assert (figure.verdict, figure.only_wide) == ("miss", True)
    assert replace(figure, exact=True).verdict == "pass"


def test_few_runs_decide_nothing_of_a_right_interval() -> None:
    # 60 runs: the error of a coverage is 0.04, the band 0.03 to either side
    assert tried(1.0, runs=60).verdict == "open"


def test_one_cell_too_low_is_a_miss_whatever_the_others() -> None:
    cells = [Coverage(FEW, 5_000, 1.0, 0.90, 0.004, 1.0)] * 99
    low = Coverage(FEW, 5_000, 1.0, 0.80, 0.006, 1.0)
    assert Figure("x", False, tuple(cells)).verdict == "pass"
    assert Figure("x", False, (*cells, low)).verdict == "miss"
    rare = replace(low, cell=replace(FEW, failures=5))
    assert Figure("x", False, (*cells, rare)).verdict == "pass"
    assert Figure("x", False, (*cells, rare)).outside == [rare]


def test_open_bounds_cover_and_runs_without_bounds_are_left_out() -> None:
    nan = np.nan
    trial = Trial(np.array([1.0, nan, nan, 3.0]), np.array([nan, 3.0, nan, 4.0]), 2.0)
    found = coverage(FEW, [trial])
    assert (found.runs, found.answered) == (3, 0.75)
    assert found.coverage == pytest.approx(2 / 3)


def test_the_design_holds_every_pair_of_levels() -> None:
    assert len(set(CELLS)) == len(CELLS) == 30
    levels = {"shape": SHAPES, "spread": SPREADS, "failures": FAILURES, "every": EVERY}
    names = list(levels)
    for first in names:
        for second in names[names.index(first) + 1 :]:
            met = {(getattr(cell, first), getattr(cell, second)) for cell in CELLS}
            assert len(met) == len(levels[first]) * len(levels[second])


def test_fleets_have_the_failures_they_are_asked_for() -> None:
    # Shape 1, daily inspections: a Poisson process, rate 1 / (scale + half a day), less the first
    # hours; closed form to 1 %.
    cell = Cell(1.0, 0.0, 100, 1)
    scale = scale_of(cell)
    lives = draw_lives(cell, scale, 400, np.random.default_rng(1))
    exposure = 2.0 * np.sum(DAYS - np.maximum(0.0, STAGGERED))
    assert exposure / (scale + 0.5) == pytest.approx(100.0, rel=0.02)
    assert lives.counts().sum() / 400 == pytest.approx(100.0, rel=0.02)
    assert np.all(lives.sound <= lives.end)
    assert np.all(lives.end[lives.failed] % 1 == 0)


def test_shape_one_has_no_aging_to_be_seen() -> None:
    # Memoryless: rates of classes and of halves are alike, the cumulative curve is straight.
    truth = honesty_renewals.truth_of(Cell(1.0, 0.0, 100, 1))
    assert truth.by_class == pytest.approx(1.0, abs=0.02)
    assert truth.by_date == pytest.approx(1.0, abs=0.02)
    assert truth.mcf[1] / truth.mcf[0] == pytest.approx(2.0, abs=0.04)


def test_runs_follow_the_minutes_and_nothing_else() -> None:
    few, many = honesty.plan_runs(1.0), honesty.plan_runs(10.0)
    assert few == honesty.plan_runs(1.0)
    assert all(a <= b for a, b in zip(few, many, strict=True))
    assert max(honesty.plan_runs(1e4)) == honesty.MOST_RUNS
    assert min(honesty.plan_runs(0.0)) == honesty.FEWEST_RUNS


@pytest.mark.parametrize("number", range(len(honesty.FAMILIES)))
def test_every_family_gives_bounds_about_its_truth(number: int) -> None:
    cell = Cell(2.0, 0.3, 30, 7)
    figures = honesty.try_family(honesty.FAMILIES[number], [cell], runs=20, seed=[1])
    for figure in figures:
        (found,) = figure.cells
        assert found.answered > 0.9
        assert found.coverage > 0.4, figure.name


def test_a_tiny_campaign_is_written_and_repeats(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    cells = (Cell(2.0, 0.3, 30, 7),)
    monkeypatch.setattr(honesty, "CELLS", cells)
    monkeypatch.setattr(
        honesty, "FAMILIES", tuple(f for f in honesty.FAMILIES if f.draw is honesty_laws.recurrence)
    )
    monkeypatch.setattr(honesty_standouts, "CELLS", honesty_standouts.CELLS[:2])
    monkeypatch.setattr(honesty_warnings, "CELLS", WARNED)
    monkeypatch.setattr(honesty, "FEWEST_RUNS", 5)
    monkeypatch.setattr(honesty, "MOST_RUNS", 5)
    out = tmp_path / "kept" / "honesty.json"
    first = honesty.run(0.01, seed=4, out=out)
    again = honesty.run(0.01, seed=4)
    assert first["figures"] == again["figures"]
    kept = json.loads(out.read_text(encoding="utf-8"))
    assert (kept["seed"], kept["figures"][0]["cells"][0]["runs"]) == (4, 5)
    assert {"python", "numpy", "scipy", "shedbook"} == set(kept["versions"])
    printed = capsys.readouterr().out
    assert "recurrence rate" in printed
    assert "False alarms of warnings" in printed


def test_the_command_hands_its_options_on(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    asked: dict[str, object] = {}

    def run(minutes: float, *, seed: int, out: Path | None) -> None:
        asked.update(minutes=minutes, seed=seed, out=out)

    monkeypatch.setattr(honesty, "run", run)
    out = tmp_path / "honesty.json"
    options = ["--honesty", "--minutes", "3", "--seed", "9", "--out", str(out)]
    assert CliRunner().invoke(bench, options).exit_code == 0
    assert asked == {"minutes": 3.0, "seed": 9, "out": out}
