"""The bench of plans, on a very small workshop: what it writes adds up."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from data_demo.bench import plan
from data_demo.bench.plan_problems import made_up_problem


def test_bench_writes_every_plan_and_its_sums(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plan, "SMALL", plan.Size(6, 2, 2, 0.05, 5.0))
    plan.run(3, large=False, out=tmp_path / "bench.json")
    written = json.loads((tmp_path / "bench.json").read_text(encoding="utf-8"))
    small = written["small"]
    assert "large" not in written
    assert len(small["planned"]) + len(small["without_a_plan"]) == 3
    gaps = [one["gap"] for one in small["planned"]]
    assert small["sums"]["gap_worst"] == max(gaps)
    assert small["sums"]["gap_median"] == np.median(gaps)
    for one in small["planned"]:
        assert one["value"] <= one["bound"]
        assert one["obvious"] is None or one["obvious"] <= one["bound"]


@pytest.mark.parametrize(("locomotives", "weeks", "berths"), [(5, 2, 1), (48, 8, 3), (90, 4, 8)])
def test_made_up_problem_is_one_that_the_solver_can_take(
    locomotives: int, weeks: int, berths: int
) -> None:
    """The conventions of `Problem`: shapes, supply that never falls, one number of berths."""
    made = made_up_problem(np.random.default_rng(3), locomotives, weeks, berths)
    days = weeks * 7
    assert made.value.shape == (made.days.size, days)
    assert made.free.shape == made.day_cost.shape == (locomotives, days)
    assert (np.diff(made.supply, axis=1) >= 0).all()
    assert made.berths.max(axis=1).sum() == berths
    assert all(set(row) <= {0, max(row)} for row in made.berths.tolist())
    assert (made.day_cost >= 0).all()
    assert made.must.any()
    assert not made.must.all()
    assert np.isfinite(made.value[~made.must]).all()
