"""Availability in the long run against the formula of a unit that is either up or down."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.estimate.restoration import point_availability
from tests.answers.hand import answer, reader_of
from tests.history.world import World

EXAMPLE = Path(__file__).parents[1] / "reference" / "availability-point-two-state.json"


# IEC 61703, two-state formula, with the figures printed in the documentation of the Python package
# fiabilipy (lambda 1e-4 and mu 0.03 an hour): up 10,000 h, down 33 h 20 min on average. What is
# measured over a record is the value for long times, mu / (lambda + mu).
def test_measured_availability_is_the_published_one_for_long_times() -> None:
    example = json.loads(EXAMPLE.read_text("utf-8"))
    data, printed = example["data"], example["published"]
    down = pd.Timedelta(hours=1 / data["mu"]).round("s")
    cycle = pd.Timedelta(hours=1 / data["lambda"]) + down
    begin, end = pd.Timestamp("2024-01-01"), pd.Timestamp("2024-01-01") + cycle
    world = World().locomotive("5A", f"{begin:%Y-%m-%d}")
    for at in [*pd.date_range(begin, end, freq="10D"), end]:
        world.inspections(f"{at:%Y-%m-%d %H:%M:%S}", outcome="released")
    found = begin + pd.Timedelta(days=200, hours=1)  # over before the next inspection
    world.finding(
        f"{found:%Y-%m-%d %H:%M}",
        severity="in-service",
        action="replaced",
        down_hours=down.total_seconds() / 3600,
    )
    row = answer(reader_of(world), "availability").table.loc[0]
    assert row["down_intervals"] == 1
    assert row["availability"] == pytest.approx(printed["steady"], abs=1e-9)
    assert row["availability"] == pytest.approx(printed["A_1000"], abs=1e-9)
    assert 1 - row["availability"] == pytest.approx(printed["transient_coefficient"], abs=1e-9)


# The same source: all that it prints of the formula, read off its values.
def test_point_availability_is_the_published_formula() -> None:
    example = json.loads(EXAMPLE.read_text("utf-8"))
    data, printed, within = example["data"], example["published"], example["tolerance"]
    at = [0.0, 10.0, 1000.0, np.inf]
    new, soon, later, steady = point_availability(data["lambda"], data["mu"], at)
    assert new == 1.0
    assert later == pytest.approx(printed["A_1000"], abs=within["A_1000"])
    assert steady == pytest.approx(printed["steady"], abs=within["default"])
    assert new - steady == pytest.approx(printed["transient_coefficient"], abs=within["default"])
    decay = np.log((new - steady) / (soon - steady)) / 10.0
    assert decay == pytest.approx(printed["decay"], rel=1e-9)
