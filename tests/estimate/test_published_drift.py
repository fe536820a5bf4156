"""Published trend tests by ranks and median slopes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analytics.estimate.monotone_trend import mann_kendall
from analytics.estimate.theil_sen import theil_sen

REFERENCE = Path(__file__).parents[1] / "reference"


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


# USEPA (2009), Unified Guidance, EPA 530/R-09-007, example 17-6, p. 17-33 (23 sulfate values), with
# the digits printed in the help and scripts of the R package EnvStats.
def test_trend_and_slope_agree_with_the_unified_guidance() -> None:
    example = published("epa-17-6-mann-kendall-sulfate")
    x, y, printed = example["data"]["x"], example["data"]["y"], example["published"]
    test = mann_kendall(x, y, [0] * len(x), size=1, autocorrelation=False)
    line = theil_sen(x, y, [0] * len(x), size=1, level=0.95)
    found = {
        "tau": test.tau[0],
        "slope": line.slope[0],
        "intercept": line.value[0] - line.slope[0] * line.time[0],
        "z": test.z[0],
        "p": test.p[0],
        "lcl": line.lower[0],
        "ucl": line.upper[0],
    }
    assert found.keys() == printed.keys()
    for key, value in found.items():
        assert value == pytest.approx(printed[key], abs=example["tolerance"][key]), key
    assert test.score[0] == example["recomputed"]["S"]
    assert test.variance[0] == pytest.approx(example["recomputed"]["varS"])


# NIST Dataplot reference manual, RELIABILITY TRENDS TEST, reverse arrangements, on the data of Hahn
# & Shapiro (1967), p. 284. A reversal is a pair of intervals of which the later is longer, so S is
# the reversals less the pairs of which it is shorter. The printed z = -21.4079 is wrong and not
# asserted: the manual's own (R - C1 + 0.5) / sqrt(C2) gives -3.07 with its R = 215. Ours is -2.10
# because 77 pairs are ties, which the manual counts as if the later were shorter.
def test_reverse_arrangements_agree_with_the_dataplot_sample_run() -> None:
    example = published("dataplot-hahn-locomotive-trend-tests")
    intervals = np.diff(example["data"]["times_miles"], prepend=0.0)
    printed, size = example["published"], intervals.size
    found = mann_kendall(np.arange(size), intervals, [0] * size, size=1, autocorrelation=False)
    ties = sum(int(np.sum(intervals[at + 1 :] == one)) for at, one in enumerate(intervals))
    pairs = size * (size - 1) // 2
    assert (pairs, pairs / 2) == (printed["max_reversals"], printed["expected_reversals"])
    assert (pairs - ties + found.score[0]) / 2 == printed["reversals"]
    assert (printed["reversals"] - pairs / 2 + 0.5) / np.sqrt(
        size * (size - 1) * (2 * size + 5) / 72
    ) == pytest.approx(example["recomputed"]["reverse_arrangement_z"], abs=1e-9)
