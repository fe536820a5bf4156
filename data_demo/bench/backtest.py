"""What the forecasts were worth at past dates: on the demo, on demos of other laws, on any store.

One record gives one entry of the result: the rows of `backtest`, its calibration, what it rests on.
"""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from analytics.answer import Message, say
from analytics.answers.backtest import Judge, sum_up
from analytics.answers.ground import lay_ground
from analytics.answers.outlook import read_horizon
from analytics.answers.trials import choose_cuts, run_trials
from analytics.catalogue.load import load_text, shipped_files
from analytics.handin import ingest
from analytics.scope import Scope
from analytics.store import Store
from data_demo.messy import write_as_handed_in
from data_demo.scenario import Scenario
from data_demo.simulate import simulate_blocks

OTHER_LAW = Scenario(law="lognormal", shock=4.0, blank_position=0.2)
"""Lognormal lives, bad weeks with four times the defects, a fifth of the positions not written."""


def run(
    stores: Mapping[str, Path] | None = None,
    *,
    cuts: int = 10,
    horizon: str = "28d",
    scenarios: Mapping[str, Scenario] | None = None,
    out: Path | None = None,
) -> dict[str, Any]:
    """Back-test every record and return, and write where asked, what it gave.

    Parameters
    ----------
    stores
        Name to folder of stores that are there.
    cuts, horizon
        As `analytics.answers.backtest.backtest` takes them.
    scenarios
        Name to scenario of demos to draw for it; none given: the demo and `OTHER_LAW`.
    out
        A JSON file to write.
    """
    drawn = {"demo": Scenario(), "other law": OTHER_LAW} if scenarios is None else scenarios
    found: dict[str, Any] = {}
    for name, folder in (stores or {}).items():
        found[name] = _judge(Store.open(folder), cuts, horizon)
    for name, scenario in drawn.items():
        with _drawn(scenario) as store:
            found[name] = _judge(store, cuts, horizon)
    if out is not None:
        out.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    return found


def _judge(store: Store, cuts: int, horizon: str) -> dict[str, Any]:
    begun, used = time.monotonic(), time.process_time()
    scope, days = Scope(), read_horizon(horizon)
    with store.read() as reader:
        moments = choose_cuts(lay_ground(reader, scope), days, cuts)
        if not moments:
            return {"reading": say(Message("backtest.none"))}
        judge = Judge.of(run_trials(reader, scope, moments, days), scope.level)
    table, tenths = judge.table(), judge.calibration()
    return {
        "reading": say(sum_up(table, days)),
        "cuts": [f"{moment:%Y-%m-%d}" for moment in moments],
        "wall_seconds": round(time.monotonic() - begun, 1),
        "cpu_seconds": round(time.process_time() - used, 1),
        "scores": json.loads(table.to_json(orient="records", double_precision=5)),
        "calibration": json.loads(tenths.to_json(orient="records", double_precision=5)),
    }


@contextmanager
def _drawn(scenario: Scenario) -> Iterator[Store]:
    """Yield a store with one invented railway, handed in like a depot would."""
    files = shipped_files()
    catalogue = load_text(files)
    with tempfile.TemporaryDirectory() as folder:
        store = Store.create(Path(folder) / "store", files)
        blocks = simulate_blocks(scenario, catalogue)
        hand_ins = write_as_handed_in(
            blocks, Path(folder) / "handed-in", catalogue, in_workbooks=False
        )
        for call in hand_ins.calls:
            ingest(store, call.files, mapping=call.mapping)
        yield store
