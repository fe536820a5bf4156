"""Whether 90 % intervals hold the truth in 90 of 100 fleets: a campaign over all figures.

Fleets with known truth are drawn in cells fixed beforehand (`honesty_cells`), every figure is
estimated by the function that the answers use, and the share of runs whose bounds hold the truth is
set against a band (`honesty_verdict`). Beside it stand how often what stands out does so by chance
and how often warnings alarm falsely. The number of runs follows from the minutes asked for and a
fixed table of costs, so that the same seed and minutes give the same figures on any machine.
"""

from __future__ import annotations

import io
import json
import platform
import time
from collections.abc import Callable, Sequence
from contextlib import redirect_stdout
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from data_demo.bench import honesty_laws as laws
from data_demo.bench import honesty_renewals as renewals
from data_demo.bench import honesty_standouts, honesty_warnings
from data_demo.bench.honesty_cells import CELLS, Cell
from data_demo.bench.honesty_table import print_rates, print_table
from data_demo.bench.honesty_verdict import Coverage, Figure, Trial, coverage

MOST_RUNS = 5_000
FEWEST_RUNS = 20
_AT_ONCE = 200
_FALSE_DISCOVERIES = 0.10

Draw = Callable[[Cell, int, np.random.Generator], dict[str, Trial]]


@dataclass(frozen=True, slots=True)
class Family:
    """Figures that one draw gives; `cost` in ms a run, a mean over the cells, measured once.

    `exact`: bounds never narrower than exact ones of a count, which hold more than their level.
    """

    draw: Draw
    cost: float
    exact: bool = False


FAMILIES = (
    Family(renewals.rates, 0.9, exact=True),
    Family(renewals.class_ratio, 0.6, exact=True),
    Family(renewals.date_ratio, 0.6, exact=True),
    Family(laws.trend, 2.6),
    Family(renewals.cumulative, 0.9),
    Family(laws.recurrence, 0.4),
    Family(renewals.survival, 0.8),
    Family(renewals.lives_law, 2.3),
    Family(laws.intensity, 5.2),
    Family(laws.restoration, 3.0),
    Family(laws.slope, 0.9),
)
_DISCOVERY_COST, _ALARM_COST = 7.4, 0.3  # ms a run, mean over their own cells
_TRUTH_COST = 35_000.0  # ms, whatever the runs


def run(minutes: float = 10.0, *, seed: int = 1, out: Path | None = None) -> dict[str, Any]:
    """Try all intervals; print the table and return what is written to `out`.

    Parameters
    ----------
    minutes
        Time the campaign may take on an ordinary machine; sets the runs, at most 5,000 a cell.
    seed
        Of the random numbers.
    out
        Where everything is written as JSON.

    Returns
    -------
    dict
        `date`, `seed`, `minutes`, `versions`, `seconds`; `figures`, each with its verdict and its
        cells (runs with bounds, share of runs that had any, coverage, Monte-Carlo error, truth);
        `false_discovery` and `false_alarms` by cell.
    """
    began = time.perf_counter()
    *each, discovery, alarms = plan_runs(minutes)
    figures = print_table(
        figure
        for number, (family, runs) in enumerate(zip(FAMILIES, each, strict=True))
        for figure in try_family(family, CELLS, runs=runs, seed=[seed, number])
    )
    discoveries = honesty_standouts.run(discovery, seed)
    with redirect_stdout(io.StringIO()):
        false_alarms = honesty_warnings.run(alarms, seed)
    print_rates(discoveries, false_alarms, setting=_FALSE_DISCOVERIES)
    found = {
        "date": f"{datetime.now(UTC):%Y-%m-%d}",
        "seed": seed,
        "minutes": minutes,
        "versions": _versions(),
        "seconds": round(time.perf_counter() - began, 1),
        "figures": [_described(figure) for figure in figures],
        "false_discovery": {"runs": discovery, "cells": discoveries},
        "false_alarms": false_alarms,
    }
    if out is not None:
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_text(json.dumps(_plain(found), indent=1) + "\n", encoding="utf-8")
    return found


def plan_runs(minutes: float) -> list[int]:
    """Return the runs a cell of every family, of false discoveries and of false alarms.

    Runs go by one over the root of what a run costs, which makes the squared Monte-Carlo errors
    least in all; what 5,000 runs leave of the time goes to the others.
    """
    cost = [len(CELLS) * family.cost for family in FAMILIES]
    cost += [
        len(honesty_standouts.CELLS) * _DISCOVERY_COST,
        len(honesty_warnings.CELLS) * _ALARM_COST,
    ]
    left, runs = max(0.0, 60_000.0 * minutes - _TRUTH_COST), [0] * len(cost)
    waiting = float(np.sum(np.sqrt(cost)))
    for at in np.argsort(cost, kind="stable"):
        wanted = left / (np.sqrt(cost[at]) * waiting)
        runs[at] = int(np.clip(wanted, FEWEST_RUNS, MOST_RUNS))
        left = max(0.0, left - runs[at] * cost[at])
        waiting -= np.sqrt(cost[at])
    return runs


def try_family(
    family: Family, cells: Sequence[Cell], *, runs: int, seed: Sequence[int]
) -> list[Figure]:
    """Draw `runs` fleets of each cell and return the coverage of each figure of the family."""
    found: dict[str, list[Coverage]] = {}
    for cell in cells:
        parts = []
        for part, first in enumerate(range(0, runs, _AT_ONCE)):
            rng = np.random.default_rng([*seed, *cell.key, part])
            parts.append(family.draw(cell, min(_AT_ONCE, runs - first), rng))
        for name in parts[0]:
            trials = [part[name] for part in parts]
            found.setdefault(name, []).append(coverage(cell, trials))
    return [Figure(name, family.exact, tuple(each)) for name, each in found.items()]


def _described(figure: Figure) -> dict[str, Any]:
    counted = [found.coverage for found in figure.counted]
    return {
        "name": figure.name,
        "exact": figure.exact,
        "verdict": figure.verdict,
        "only_wide": figure.only_wide,
        "counted": len(counted),
        "within": figure.within,
        "under": figure.under,
        "lowest": min(counted, default=float("nan")),
        "highest": max(counted, default=float("nan")),
        "cells": [_cell(found) for found in figure.cells],
    }


def _cell(found: Coverage) -> dict[str, Any]:
    figures = asdict(found)
    cell = figures.pop("cell")
    rounded = {
        name: round(value, 5) if name in {"coverage", "error", "answered"} else value
        for name, value in figures.items()
    }
    return {**cell, **rounded}


def _versions() -> dict[str, str]:
    names = {name: version(name) for name in ("shedbook", "numpy", "scipy")}
    return {"python": platform.python_version(), **names}


def _plain(value: Any) -> Any:
    """Make values fit for JSON: what is not defined becomes null."""
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not np.isfinite(value) else value
