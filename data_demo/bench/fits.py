"""How long laws of life take for many groups at once, beside a loop of the lifelines library.

Each group has 50 Weibull lives of its own shape and scale: half of them were running when records
began (delayed entry), failures lie between two inspections, the rest is cut. The loop is timed on a
sample of the groups and scaled to all of them. It gives parameters with bounds from the curvature;
the batch is timed without bounds and with its profile-likelihood bounds of shape, B10, median and
mean, which the library does not have.
"""

from __future__ import annotations

import json
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from analytics.estimate.life_batch import LifeBatch, fit_batch
from analytics.estimate.life_data import LifeData
from analytics.estimate.life_figures import MODELS
from analytics.estimate.lifelines_fits import fit_with_lifelines
from analytics.estimate.rate import FloatArray

LIVES = 50
SAMPLE = 20
SEED = 20_260_301
_INSPECTED_EVERY = 0.05  # of the group's scale
_DRAWN_AT_ONCE = 10_000


def run(
    groups: int = 2_000, *, many: int = 200_000, sample: int = SAMPLE, out: Path | None = None
) -> dict[str, float]:
    """Fit all three laws to every group by the batch and to a sample by the loop; print and return.

    Parameters
    ----------
    groups
        Groups of the comparison.
    many
        Groups of the second measurement, of growth; 0 leaves it out.
    sample
        Groups on which the loop is timed.
    out
        Where the figures are written as JSON.

    Returns
    -------
    dict
        `groups`, `lives`, `sample`; in seconds `batch`, `batch_bounds`, `loop_sample`, `loop`
        (scaled); `ratio` and `ratio_bounds`; `same` is the share of the sample's fits on whose
        log-likelihood both agree to 1e-5. Of the second measurement `many`, `many_seconds`,
        `growth` (time per group over that of the comparison), `peak_megabytes`.
    """
    found = _compare(groups, min(sample, groups))
    _print_comparison(found)
    if many:
        found |= _grow(many, found["batch"] / groups)
        _print_growth(found)
    if out is not None:
        found = {name: value for name, value in found.items() if np.isfinite(value)}
        stamped = {"date": f"{datetime.now(UTC):%Y-%m-%d}", "seed": SEED, **found}
        out.write_text(json.dumps(stamped, indent=2) + "\n", encoding="utf-8")
    return found


def draw_groups(groups: int, seed: int = SEED) -> LifeBatch:
    """Draw interval-censored lives with delayed entry, `LIVES` to a group."""
    rng = np.random.default_rng(seed)
    ages = np.empty((3, groups, LIVES))
    for first in range(0, groups, _DRAWN_AT_ONCE):
        some = min(_DRAWN_AT_ONCE, groups - first)
        ages[:, first : first + some] = _draw(rng, some)
    lives = LifeData(*ages.reshape(3, -1))
    return LifeBatch.of(lives, np.repeat(np.arange(groups), LIVES), size=groups)


def _draw(rng: np.random.Generator, groups: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return entry, lower and upper bound, (groups, LIVES) each."""
    size = (groups, LIVES)
    shape = rng.uniform(0.8, 3.0, (groups, 1))
    scale = np.exp(rng.uniform(5.0, 8.0, (groups, 1)))
    entry = rng.uniform(0.0, 0.5, size) * scale * (rng.random(size) < 0.5)
    # A life is in the record because it was still going at its entry.
    life = scale * ((entry / scale) ** shape - np.log(rng.random(size))) ** (1.0 / shape)
    cut = entry + rng.uniform(0.4, 2.0, size) * scale
    gap = _INSPECTED_EVERY * scale
    lower, upper = np.floor(life / gap) * gap, (np.floor(life / gap) + 1.0) * gap
    failed = upper <= cut
    return entry, np.where(failed, np.maximum(lower, entry), cut), np.where(failed, upper, np.inf)


def _compare(groups: int, sample: int) -> dict[str, float]:
    batch = draw_groups(groups)
    fit_batch(draw_groups(4), "weibull")  # what is made once is not timed
    found = {"groups": float(groups), "lives": float(LIVES), "sample": float(sample)}
    start = time.perf_counter()
    fits = {model: fit_batch(batch, model, bounds=False) for model in MODELS}
    found["batch"] = time.perf_counter() - start
    start = time.perf_counter()
    for model in MODELS:
        fit_batch(batch, model)
    found["batch_bounds"] = time.perf_counter() - start
    chosen = np.random.default_rng(SEED).permutation(groups)[:sample]
    ours = [fits[model].loglik[group] for group in chosen for model in MODELS]
    data = [batch.lives.only(batch.group == group) for group in chosen]
    fit_with_lifelines(data[0], "weibull")  # the import takes over a second
    start = time.perf_counter()
    theirs = [fit_with_lifelines(one, model).loglik for one in data for model in MODELS]
    found["loop_sample"] = time.perf_counter() - start
    found["loop"] = found["loop_sample"] * groups / sample
    same = np.isclose(ours, theirs, rtol=0.0, atol=1e-5)
    return found | {
        "same": float(np.mean(same)),
        "ratio": found["loop"] / found["batch"],
        "ratio_bounds": found["loop"] / found["batch_bounds"],
    }


def _grow(many: int, per_group: float) -> dict[str, float]:
    """Fit many groups in one go."""
    batch = draw_groups(many)
    start = time.perf_counter()
    for model in MODELS:
        fit_batch(batch, model, bounds=False)
    seconds = time.perf_counter() - start
    return {
        "many": float(many),
        "many_seconds": seconds,
        "growth": seconds / many / per_group,
        "peak_megabytes": _peak_megabytes(),
    }


def _peak_megabytes() -> float:
    """Return the most memory this process has held, NaN where the system does not tell."""
    try:
        import resource
    except ImportError:  # Windows
        return float("nan")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)


def _print_comparison(found: dict[str, float]) -> None:
    groups, sample = found["groups"], found["sample"]
    print(
        f"{groups:,.0f} groups of {LIVES} interval-censored lives with delayed entry, three laws "
        f"each: all at once {found['batch']:.2f} s, with profile bounds "
        f"{found['batch_bounds']:.2f} s."
    )
    print(
        f"lifelines one by one: {found['loop_sample']:.2f} s for {sample:,.0f} groups drawn from "
        f"them, scaled to all {found['loop']:.0f} s: {found['ratio']:.0f} times as long "
        f"({found['ratio_bounds']:.0f} times with our profile bounds). "
        f"Same log-likelihood in {100 * found['same']:.0f} % of these fits."
    )


def _print_growth(found: dict[str, float]) -> None:
    print(
        f"{found['many']:,.0f} groups: {found['many_seconds']:.1f} s, "
        f"{1e3 * found['many_seconds'] / found['many']:.2f} ms a group, {found['growth']:.2f} "
        f"times the time per group of the first; the whole program held at most "
        f"{found['peak_megabytes']:,.0f} MB."
    )
