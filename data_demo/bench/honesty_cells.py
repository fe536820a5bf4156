"""The cells in which intervals are tried: simulated fleets fixed beforehand.

Factors: shape of the law of life (0.7, 1, 2, 3), coefficient of variation of the true rates of
locomotives (0, 0.3, 0.6), failures expected in the record (5, 10, 30, 100, 500), inspections every
1 or 7 days. Of the 120 combinations 30 are tried. Each pair of spread and failures is tried with
two shapes, one apart from the other, so that each level of a factor meets each level of every
other one at least once, at a quarter of the time; no cell was chosen for what it showed.
"""

from __future__ import annotations

from dataclasses import dataclass

SHAPES = (0.7, 1.0, 2.0, 3.0)
SPREADS = (0.0, 0.3, 0.6)
FAILURES = (5, 10, 30, 100, 500)
EVERY = (1, 7)
ENOUGH = 10
"""Cells with fewer failures expected are shown, and do not count for the pass rule."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One kind of fleet.

    `spread`: coefficient of variation of the locomotives' true rates. `failures`: expected in the
    record, or other events that the figure rests on. `every`: days between inspections; where
    inspections do not matter, 7 stands for records that began late on the older locomotives and 1
    for records from the first day.
    """

    shape: float
    spread: float
    failures: int
    every: int

    @property
    def name(self) -> str:
        """The cell in a few words."""
        return (
            f"shape {self.shape:g}, spread {self.spread:g}, {self.failures} failures, "
            f"{self.every} d"
        )

    @property
    def key(self) -> list[int]:
        """Numbers that start the random draws of this cell."""
        return [int(10 * self.shape), int(10 * self.spread), self.failures, self.every]

    @property
    def counts(self) -> bool:
        """Whether the pass rule looks at it."""
        return self.failures >= ENOUGH


CELLS = tuple(
    Cell(
        SHAPES[(j + k + 2 * twin) % 4], spread, failures, EVERY[(j + k // 2 + k * twin + twin) % 2]
    )
    for k, spread in enumerate(SPREADS)
    for j, failures in enumerate(FAILURES)
    for twin in (0, 1)
)
