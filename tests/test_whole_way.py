"""From files to answers: what must not matter does not (order of rows, files of one call, scale).

Oracle: invariants. Each answer is compared with itself after a change that may not change it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.answers.mcf import mcf
from analytics.answers.mtbf import mtbf
from analytics.answers.recurrence import recurrence
from analytics.answers.repeats import repeats
from analytics.answers.survival import survival
from analytics.handin import ingest
from analytics.scope import Scope
from analytics.store import Store
from tests.history.world import CATALOGUE

Tables = dict[str, pd.DataFrame]
FIRST, DAYS = pd.Timestamp("2024-01-01"), 200


def fleet(seed: int) -> Tables:
    """Six locomotives, 200 days, random findings with every habit that history knows."""
    rng = np.random.default_rng(seed)
    names = [f"{n}" for n in range(1, 7)]
    register = pd.DataFrame(
        {"locomotive": names, "class": "Alder", "in_service_from": "2024-01-01"}
    ).assign(records_from="2024-01-01", engine_hours_at_start=1000.0, km_at_start=50000)
    days = pd.DataFrame([(n, d) for n in names for d in range(DAYS)], columns=["locomotive", "day"])
    when = (FIRST + pd.to_timedelta(days["day"], unit="D")).dt.strftime("%Y-%m-%d 06:00")
    inspections = pd.DataFrame(
        {
            "locomotive": days["locomotive"],
            "inspected_at": when,
            "kind": "daily",
            "engine_hours": 1000.0 + days["day"] * 12.5,
            "km": 50000 + days["day"] * 300,
        }
    )
    count = 240
    found = FIRST + pd.to_timedelta(rng.integers(1, DAYS, count), unit="D")
    findings = pd.DataFrame(
        {
            "finding_id": [f"F{n}" for n in range(count)],
            "locomotive": rng.choice(names, count),
            "found_at": found.strftime("%Y-%m-%d 06:00"),
            "component": "injector",
            "position": rng.choice(["1", "2", "", "all"], count, p=[0.5, 0.44, 0.03, 0.03]),
            "defect": rng.choice(["leaking", "worn"], count),
            "severity": rng.choice(["", "remark", "rectify", "withhold", "in-service"], count),
            "action": rng.choice(["replaced", "cleaned", "looked-at", "put-off", ""], count),
        }
    )
    return {"locomotives": register, "inspections": inspections, "findings": findings}


def hand_in(folder: Path, tables: Tables, pieces: int = 1) -> Store:
    paths = []
    for name, frame in tables.items():
        for piece in range(pieces):
            path = folder / f"{name}-{piece}.csv"
            frame.iloc[piece::pieces].to_csv(path, index=False)
            paths.append(path)
    store = Store.create(folder / "store", {"catalogue.toml": CATALOGUE})
    report = ingest(store, paths)
    assert sum(file.set_aside for file in report.files) == 0, report.set_aside
    return store


def answers(store: Store, clock: str) -> list[pd.DataFrame]:
    scope = Scope.of(component="injector", clock=clock)
    with store.read() as reader:
        made = [
            mtbf(reader, scope, by=("locomotive",)),
            survival(reader, scope, by=("class",)),
            mcf(reader, scope),
            recurrence(reader, scope, by=("locomotive",), window="30d"),
            repeats(reader, scope),
        ]
    return [answer.table for answer in made]


def shuffled(tables: Tables) -> Tables:
    return {name: frame.sample(frac=1, random_state=7) for name, frame in tables.items()}


@pytest.mark.parametrize("change", [shuffled, lambda tables: tables], ids=["reordered", "split"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_order_and_files_of_one_call_change_no_answer(
    tmp_path: Path, change: Callable[[Tables], Tables], seed: int
) -> None:
    tables = fleet(seed)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    before = answers(hand_in(tmp_path / "a", tables), "hours")
    after = answers(hand_in(tmp_path / "b", change(tables), pieces=3), "hours")
    for mine, theirs in zip(before, after, strict=True):
        pd.testing.assert_frame_equal(mine, theirs)


@pytest.mark.parametrize("factor", [2, 10])
def test_scaling_a_clock_scales_the_answers(tmp_path: Path, factor: int) -> None:
    tables = fleet(4)
    scaled = {name: frame.copy() for name, frame in tables.items()}
    scaled["inspections"]["engine_hours"] *= factor
    scaled["locomotives"]["engine_hours_at_start"] *= factor
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    plain = answers(hand_in(tmp_path / "a", tables), "hours")
    longer = answers(hand_in(tmp_path / "b", scaled), "hours")
    for column in ("exposure", "mtbf", "mtbf_lower", "mtbf_upper"):
        np.testing.assert_allclose(longer[0][column], plain[0][column] * factor, rtol=1e-9)
    for mine, theirs in zip(plain[1:3], longer[1:3], strict=True):  # curves: only age is stretched
        np.testing.assert_allclose(theirs["age"], mine["age"] * factor, rtol=1e-9)
        rest = [c for c in mine.columns if c not in ("age", "lower", "upper")]
        pd.testing.assert_frame_equal(mine[rest], theirs[rest])
    pd.testing.assert_frame_equal(plain[3], longer[3])  # recurrence is in days
