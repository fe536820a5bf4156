"""Lives as the fits and Turnbull's estimate take them: entry, and the bounds of the failure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import BoolArray, FloatArray, IntArray, check_numbers


@dataclass(frozen=True, slots=True, eq=False)
class LifeData:
    """Lives, one an element of arrays of shape (n,), ages in the clock's unit.

    The failure of a life lies in (lower, upper]; lower == upper: it failed exactly there; upper
    infinite: it had not failed by lower; lower 0: it failed before anybody looked. `entry` is the
    age from which the life was watched, 0 where from the start: the life is known only because it
    reached that age. A lower bound below the entry says nothing more than the entry and is read as
    the entry.

    Raises
    ------
    EstimateError
        Unequal lengths, an undefined or negative age, a failure not after the entry, or a life
        without failure watched for no time.
    """

    entry: FloatArray
    lower: FloatArray
    upper: FloatArray

    def __post_init__(self) -> None:
        """Check the ages and keep own copies of them."""
        entry, lower = check_numbers(self.entry, "entry"), check_numbers(self.lower, "lower")
        upper: FloatArray = np.array(self.upper, dtype=np.float64, ndmin=1)
        if not entry.shape == lower.shape == upper.shape:
            raise EstimateError(
                f"entry, lower and upper differ in length: "
                f"{entry.size}, {lower.size}, {upper.size}."
            )
        wrong = (
            (entry < 0)
            | ~(lower <= upper)
            | (lower < 0)
            | (upper <= entry)
            | (np.isinf(upper) & (lower <= entry))
        )
        if wrong.any():
            at = int(np.argmax(wrong))
            raise EstimateError(
                f"A life needs 0 <= entry, lower <= upper, and time watched; at index {at} entry "
                f"is {float(entry[at])!r}, lower {float(lower[at])!r}, upper {float(upper[at])!r}."
            )
        object.__setattr__(self, "entry", entry)
        object.__setattr__(self, "lower", np.maximum(lower, entry))
        object.__setattr__(self, "upper", upper)

    @classmethod
    def of(cls, lower: ArrayLike, upper: ArrayLike, entry: ArrayLike | None = None) -> LifeData:
        """Make lives from bounds, watched from age 0 unless `entry` says otherwise."""
        low = np.asarray(lower, dtype=np.float64)
        start = np.zeros(low.shape) if entry is None else np.asarray(entry, dtype=np.float64)
        return cls(start, low, np.asarray(upper, dtype=np.float64))

    @classmethod
    def exactly(cls, entry: ArrayLike, exit: ArrayLike, failed: ArrayLike) -> LifeData:
        """Make lives whose failures are known exactly, as `survival.kaplan_meier` takes them."""
        end = np.asarray(exit, dtype=np.float64)
        upper = np.where(np.asarray(failed, dtype=bool), end, np.inf)
        return cls(np.asarray(entry, dtype=np.float64), end, upper)

    def only(self, which: IntArray | BoolArray | slice) -> LifeData:
        """Keep the lives `which`."""
        return LifeData(self.entry[which], self.lower[which], self.upper[which])

    @property
    def lives(self) -> int:
        """Return the number of lives."""
        return int(self.lower.size)

    @property
    def failures(self) -> int:
        """Return the number of lives that ended in a failure."""
        return int(self.failed.sum())

    @property
    def failed(self) -> BoolArray:
        """Return which lives ended in a failure."""
        return np.isfinite(self.upper)

    @property
    def exact(self) -> BoolArray:
        """Return which failures are known exactly."""
        same: BoolArray = self.lower == self.upper
        return same
