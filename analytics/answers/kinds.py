"""How often positions of each class and component fail, by age, ready to look ahead with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.answers.expected import number_kinds
from analytics.answers.risk import Risk, intervals_of
from analytics.estimate.forecast import FEWEST_EVENTS
from analytics.estimate.intensity import (
    IntensityFits,
    cumulative_intensity,
    expected_failures,
    fit_intensities,
)
from analytics.estimate.rate import BoolArray, FloatArray, IntArray, sums_by

KIND = ["class", "component"]
ONE_SIDED = 0.80
"""Level of the shapes' bounds: either side of them holds at 90 % by itself."""


@dataclass(frozen=True, slots=True, eq=False)
class Kinds:
    """One entry a class and component, arrays of shape (kinds,).

    `names` has class, component and kind (its number). `scale` brings the law of age to the
    failures seen, `even` is the rate where the age is not known, `rate` that of all ages, `events`
    all failures on record, `stated` the share of them whose position is written.
    """

    names: pd.DataFrame
    fits: IntensityFits
    scale: FloatArray
    even: FloatArray
    rate: FloatArray
    events: FloatArray
    stated: FloatArray

    @classmethod
    def of(cls, risk: Risk, *, bounds: bool = False) -> tuple[Kinds, FloatArray]:
        """Fit the stretches at risk; return the kinds and the failures expected in each stretch.

        Failures without a position are no part of either.
        """
        frame = risk.frame
        kind, kinds = number_kinds(frame)
        known = frame["known"].to_numpy(dtype=bool)
        events, length = frame["events"].to_numpy(np.float64), frame["length"].to_numpy()
        aged = intervals_of(frame[known], kind[known], kinds)
        fits = fit_intensities(aged, level=ONE_SIDED, bounds=bounds)
        by_age = np.nan_to_num(expected_failures(fits, aged))
        found = sums_by(kind[known], events[known], kinds)
        names = frame[KIND].assign(kind=kind).drop_duplicates().sort_values("kind")
        placed = sums_by(kind, events, kinds)
        total = placed + _unplaced(risk, names, kinds)
        made = cls(
            names=names.reset_index(drop=True),
            fits=fits,
            scale=_over(found, sums_by(kind[known], by_age, kinds), without=1.0),
            even=_even_rates(kind, kinds, events, length, known),
            rate=_over(placed, sums_by(kind, length, kinds)),
            events=total,
            stated=_over(placed, total, without=1.0),
        )
        expected = made.even[kind] * length
        expected[known] = by_age * made.scale[kind[known]]
        return made, expected

    def usual(
        self, kind: IntArray, age: FloatArray, use: FloatArray, known: BoolArray
    ) -> FloatArray:
        """Return H(age + use) - H(age) of positions, failures without a position included.

        A position whose age is not known has the even rate.
        """
        found = self.even[kind] * use
        safe = known & np.isfinite(use)
        of, begin = kind[safe], age[safe]
        rise = cumulative_intensity(self.fits, of, begin + use[safe])
        rise -= cumulative_intensity(self.fits, of, begin)
        found[safe] = np.where(np.isnan(rise), found[safe], rise * self.scale[of])
        return self._with_unplaced(found, kind)

    def at_any_age(self, kind: IntArray, use: FloatArray) -> FloatArray:
        """Return the failures expected of positions of which nothing but their kind is known."""
        return self._with_unplaced(self.rate[kind] * use, kind)

    def _with_unplaced(self, found: FloatArray, kind: IntArray) -> FloatArray:
        share = self.stated[kind]
        return found / np.where(share > 0, share, 1.0)


def _even_rates(
    kind: IntArray, kinds: int, events: FloatArray, length: FloatArray, known: BoolArray
) -> FloatArray:
    """Return the rates where the age is not known, of all ages where that is too little to tell."""
    few = sums_by(kind[~known], events[~known], kinds) < FEWEST_EVENTS
    used = ~known | few[kind]
    return _over(sums_by(kind[used], events[used], kinds), sums_by(kind[used], length[used], kinds))


def _over(part: FloatArray, whole: FloatArray, *, without: float = 0.0) -> FloatArray:
    """Return the shares, or a given number where there is nothing to divide by."""
    some = whole > 0
    return np.where(some, part / np.where(some, whole, 1.0), without)


def _unplaced(risk: Risk, names: pd.DataFrame, kinds: int) -> FloatArray:
    counts = risk.unplaced.groupby(KIND).size().rename("number").reset_index()
    of = counts.merge(names, on=KIND)
    return np.bincount(of["kind"], weights=of["number"], minlength=kinds).astype(np.float64)
