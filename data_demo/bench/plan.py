"""How near to the best, and how soon, the solver plans invented workshops, and what that gains.

Every plan is set beside the obvious one: what must be done by its latest day, then one locomotive
after another, the most valuable first. Where the obvious plan has no place for all that must be
done it is no plan; such problems are counted apart.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.progress import track
from rich.table import Table

from analytics.planning.greedy import greedy
from analytics.planning.solve import NoPlan, solve
from data_demo.bench.plan_problems import made_up_problem


@dataclass(frozen=True, slots=True)
class Size:
    """A fleet, a horizon, a workshop; the gap asked for and the seconds given."""

    locomotives: int
    weeks: int
    berths: int
    gap: float
    seconds: float


SMALL, LARGE = Size(48, 8, 3, 0.01, 15.0), Size(500, 12, 8, 0.03, 60.0)
LARGE_INSTANCES = 3


@dataclass(frozen=True, slots=True)
class Planned:
    """One problem: plan, bound and gap, time, and the obvious plan (None: it is no plan)."""

    seed: int
    value: float
    bound: float
    gap: float
    seconds: float
    visits: int
    jobs: int
    obvious: float | None
    obvious_seconds: float


def run(instances: int = 50, *, large: bool = True, out: Path | None = None) -> dict[str, Any]:
    """Plan invented workshops of both sizes.

    Parameters
    ----------
    instances
        How many of the small size.
    large
        Whether to plan `LARGE_INSTANCES` of the large size too.
    out
        Where to write the figures as JSON.

    Returns
    -------
    dict
        By size: what was asked, how the problems came out, the sums that are printed.
    """
    before = _load()
    found = {"small": _plan(SMALL, instances)}
    if large:
        found["large"] = _plan(LARGE, LARGE_INSTANCES)
    _print(found)
    result = found | {"load_before": before, "load_after": _load(), "processors": os.cpu_count()}
    if out:
        out.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    return result


def _plan(size: Size, instances: int) -> dict[str, Any]:
    planned: list[Planned] = []
    refused: list[int] = []
    what = f"{size.locomotives} locomotives, {size.weeks} weeks, {size.berths} berths"
    for seed in track(range(instances), what, console=Console(stderr=True), transient=True):
        rng = np.random.default_rng(seed)
        problem = made_up_problem(rng, size.locomotives, size.weeks, size.berths)
        try:
            plan = solve(problem, seconds=size.seconds, gap=size.gap)
        except NoPlan:
            refused.append(seed)
            continue
        obvious = greedy(problem)
        planned.append(
            Planned(
                seed,
                plan.value,
                plan.bound,
                plan.gap,
                plan.seconds,
                plan.first.size,
                int((plan.visit_of >= 0).sum()),
                obvious.value if np.isfinite(obvious.value) else None,
                obvious.seconds,
            )
        )
    return {
        "asked": asdict(size),
        "sums": _sums(planned, size),
        "without_a_plan": refused,
        "planned": [asdict(one) for one in planned],
    }


def _sums(planned: list[Planned], size: Size) -> dict[str, float]:
    gap = np.array([one.gap for one in planned])
    seconds = np.array([one.seconds for one in planned])
    compared = [one for one in planned if one.obvious is not None]
    gain = np.array([one.value - (one.obvious or 0.0) for one in compared])
    share = gain / np.array([one.bound for one in compared])
    return {
        "problems": len(planned),
        "gap_median": _quantile(gap, 0.5),
        "gap_90": _quantile(gap, 0.9),
        "gap_worst": _quantile(gap, 1.0),
        "seconds_median": _quantile(seconds, 0.5),
        "seconds_90": _quantile(seconds, 0.9),
        "seconds_worst": _quantile(seconds, 1.0),
        "within_gap": float((gap <= size.gap).mean()) if gap.size else np.nan,
        "obvious_is_a_plan": len(compared),
        "gain_median": _quantile(gain, 0.5),
        "gain_worst": _quantile(gain, 0.0),
        "gain_share_of_bound_median": _quantile(share, 0.5),
        "gain_share_of_bound_worst": _quantile(share, 0.0),
    }


def _quantile(values: np.ndarray[Any, np.dtype[np.float64]], share: float) -> float:
    return float(np.quantile(values, share)) if values.size else float("nan")


def _load() -> float | None:
    """Return how many processes wanted a processor in the last minute, where that is known."""
    return os.getloadavg()[0] if hasattr(os, "getloadavg") else None


def _print(found: dict[str, dict[str, Any]]) -> None:
    table = Table(title="Plans of invented workshops, beside the obvious plan")
    for heading in ("", "median", "90 %", "worst"):
        table.add_column(heading, justify="left" if not heading else "right")
    for result in found.values():
        asked, sums = result["asked"], result["sums"]
        table.add_section()
        table.add_row(
            f"{sums['problems']} of {asked['locomotives']} locomotives, {asked['weeks']} weeks, "
            f"{asked['berths']} berths"
        )
        table.add_row(
            f"gap ({asked['gap']:.0%} asked)",
            *(f"{sums[f'gap_{which}']:.2%}" for which in ("median", "90", "worst")),
        )
        table.add_row(
            f"seconds ({asked['seconds']:g} given)",
            *(f"{sums[f'seconds_{which}']:.1f}" for which in ("median", "90", "worst")),
        )
        table.add_row(
            f"more than the obvious plan, of the bound ({sums['obvious_is_a_plan']} problems)",
            f"{sums['gain_share_of_bound_median']:.0%}",
            "",
            f"{sums['gain_share_of_bound_worst']:.0%}",
        )
        if result["without_a_plan"]:
            table.add_row(f"no plan keeps all limits: {len(result['without_a_plan'])}")
    Console().print(table)
