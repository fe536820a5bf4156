"""How often what stands out does so by chance: fleets drawn with and without real differences.

A fleet is one class of locomotives, each with its own running time. An event is first findings of
one trouble: one, or several with a chance (1.3 findings an event), which is what a crew writes down
when it finds more on the same day. True ratios are 1, or gamma with a coefficient of variation, or
1 with a few bad ones. A discovery is false when its true ratio is at most 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.estimate.standouts import find_standouts

FloatArray = NDArray[np.float64]
LOCOMOTIVES = 24
BAD = 2
BAD_RATIO = 2.5


@dataclass(frozen=True, slots=True)
class Cell:
    """One kind of fleet: events a locomotive, how locomotives differ, findings an event."""

    expected: float
    spread: float = 0.0
    bad: int = 0
    findings: float = 1.0

    @property
    def name(self) -> str:
        """The cell in a few words."""
        return (
            f"{self.expected:g} events, spread {self.spread:g}, {self.bad} bad, "
            f"{self.findings:g} findings an event"
        )


CELLS = tuple(
    Cell(expected, spread, bad, findings)
    for expected in (3.0, 10.0, 50.0)
    for findings in (1.0, 1.3)
    for spread, bad in ((0.0, 0), (0.15, 0), (0.3, 0), (0.0, BAD), (0.15, BAD))
)


def run(runs: int = 1_000, seed: int = 0) -> dict[str, dict[str, float]]:
    """Draw fleets of every cell and judge them; return what was found, by cell.

    Parameters
    ----------
    runs
        Fleets a cell.
    seed
        Of the random numbers.

    Returns
    -------
    dict
        By cell: `false_discovery` (mean share of the rows that stand out which should not),
        `false_discovery_error` (its standard error), `flagged` (rows that stand out a fleet),
        `fleets_flagged` (share of fleets with any), `found` (share of the bad locomotives named;
        NaN where there are none), `covered` (share of true ratios inside the shrunk bounds).
    """
    rng = np.random.default_rng(seed)
    return {cell.name: _judge(cell, runs, rng) for cell in CELLS}


def _judge(cell: Cell, runs: int, rng: np.random.Generator) -> dict[str, float]:
    false, flagged, found, covered = (np.zeros(runs) for _ in range(4))
    for number in range(runs):
        ratio, observed, expected = draw_fleet(cell, rng)
        judged = find_standouts(observed, expected)
        named, bad = judged.stands_out, ratio >= BAD_RATIO
        # what is compared is the ratio to the whole fleet's
        true = ratio * expected.sum() / (ratio * expected).sum()
        false[number] = (named & (true <= 1)).sum() / max(1, named.sum())
        flagged[number] = named.sum()
        found[number] = named[bad].mean() if cell.bad else np.nan
        inside = (judged.shrunk_lower <= true) & (true <= judged.shrunk_upper)
        covered[number] = inside.mean()
    return {
        "false_discovery": float(false.mean()),
        "false_discovery_error": float(false.std() / np.sqrt(runs)),
        "flagged": float(flagged.mean()),
        "fleets_flagged": float((flagged > 0).mean()),
        "found": float(found.mean()),
        "covered": float(covered.mean()),
    }


def draw_fleet(cell: Cell, rng: np.random.Generator) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return true ratios, observed and expected first findings of one fleet, shape (24,) each."""
    expected = cell.expected * rng.uniform(0.5, 1.5, LOCOMOTIVES)
    ratio = np.ones(LOCOMOTIVES)
    if cell.spread:
        ratio = rng.gamma(1.0 / cell.spread**2, cell.spread**2, LOCOMOTIVES)
    ratio[: cell.bad] = BAD_RATIO
    events = rng.poisson(expected * ratio)
    more = rng.poisson(events * (cell.findings - 1.0))  # further findings of the same events
    return ratio, (events + more).astype(np.float64), expected * cell.findings
